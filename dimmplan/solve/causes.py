"""When nothing fits: which rules stand in the way, and the nearest capacities that do fit."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

from dimmplan.errors import Cause
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.request import Lot, Mode, Request
from dimmplan.model.rows import Severity
from dimmplan.rules import (
    KINDS,
    RATE_RULE,
    Breach,
    Rule,
    judge_alone,
    of_kind,
    refusals,
)
from dimmplan.solve.branches import Aim
from dimmplan.solve.budget import Budget
from dimmplan.solve.search import Search
from dimmplan.solve.space import Rows, Space
from dimmplan.units import Gib, format_capacity, listed


def nearest_capacities(board: Board, request: Request) -> tuple[Gib | None, Gib | None]:
    """The nearest capacities below and above the request that some placement has."""
    space = Space(board, request)
    asked, most = request.capacity_gib, space.most_gib
    if space.request.mode is not Mode.INDEPENDENT:  # what a mode leaves may be a fraction
        reached = capacities(space)
        below, above = [gib for gib in reached if gib < asked], [gib for gib in reached if gib > asked]
        return max(below, default=None), min(above, default=None)
    if not _may_run(space):
        return None, None
    search, may_break = Search(space, Budget(0)), frozenset(space.advised)
    return (
        search.greatest_capacity(Aim(1, min(asked - 1, most)), may_break),
        search.least_capacity(Aim(asked + 1, most), may_break),
    )


def capacities(space: Space) -> set[Gib]:
    """Every capacity that some placement has without breaking an error row."""
    return Search(space, Budget(0)).capacities(Aim(1, space.most_gib)) if _may_run(space) else set()


def _may_run(space: Space) -> bool:
    """True where neither the mode nor the sockets fitted rule every placement out."""
    return space.mode_possible() and space.fitted_allowed()


def causes_of(board: Board, request: Request) -> tuple[Cause, ...]:
    """What stands in the way of a request that has no answer, the plainest first."""
    return tuple(dict.fromkeys(_causes(board, request)))


def _causes(board: Board, request: Request) -> Iterator[Cause]:
    space = Space(board, request)
    refused = [breach for breach in space.fitted_breaches() if breach.severity == "error"]
    for breach in refused:
        noun, how = ("socket", "alone") if len(request.fitted) == 1 else ("sockets", "together")
        text = f"The {noun} {breach.found} may not be fitted {how}; allowed: {breach.allowed}."
        yield Cause(rule=breach.rule, text=text, source=breach.source)
    usable = len(request.supplies)
    for module in (supply.module for supply in request.supplies):
        refused_here = refusals(board, space.option, module)
        usable -= bool(refused_here)
        for breach in refused_here:
            text = f"{module.label}: {breach.found}; allowed: {breach.allowed}."
            cause = Cause(rule=breach.rule, text=text, source=breach.source)
            yield _rate_cause(breach) if breach.check == RATE_RULE else cause
    if not space.mode_possible():
        mode = request.mode.value
        without = [socket.id for socket in space.sockets if not socket.channels]
        text = f"At {listed(without)} no two channels can work in lockstep." if without else ""
        yield Cause(rule=mode, text=text or f"The board file has no row for the mode {mode}.")
        return
    if refused or not space.types or not usable:
        if not request.supplies:
            yield Cause(rule="modules", text="There is no module to plan with.")
        return
    alone = list(_in_the_way(space, _answered, lambda row, _: row.brief()))
    yield from alone
    if not alone:
        yield from _too_much(space)


def rounded_up(space: Space, usable_gib: Gib, budget: Budget, *, as_advised: bool) -> Iterator[Cause]:
    """What keeps an answer of ``usable_gib`` from being nearer to the capacity asked, the plainest first.

    Nothing where it is as asked, or where a nearer capacity fits as well and the list prefers this one. Advice counts
    where the answer breaks none (``as_advised``).
    """
    request = space.request
    nearer = Aim(request.capacity_gib, math.ceil(usable_gib) - 1)

    def least(space: Space) -> Gib | None:
        may_break: Rows = frozenset() if as_advised else frozenset(space.advised)
        return Search(space, budget).least_capacity(nearer, may_break) if space.possible() else None

    if usable_gib <= request.capacity_gib or least(space) is not None:
        return
    rateless = [(module, breach) for module in space.types for breach in judge_alone(space.board, space.option, module)]
    without = {module for module, _ in rateless}
    if not _sizes_add_up(space, nearer, space.types):
        yield Cause(rule="modules", text=f"No number of these modules gives {_span_text(nearer)}.")
    elif not _sizes_add_up(space, nearer, [module for module in space.types if module not in without]):
        yield from (_rate_cause(breach) for _, breach in rateless)
    elif least(Space(space.board, request)) is not None:
        text = "The modules that stay and the slots on hold allow no capacity in between."
        yield Cause(rule="hold", text=text)
    else:
        found = list(_all_in_the_way(space, least, advised=as_advised))
        yield from found or [Cause(rule="rules", text=f"Several rules together forbid {_span_text(nearer)}.")]


def _rate_cause(breach: Breach) -> Cause:
    _, _, processor = breach.rule.partition(":")
    text = f"{processor or 'The board'} lists no rate for {breach.found}."
    return Cause(rule=breach.rule, text=text, source=breach.source)


def _span_text(aim: Aim) -> str:
    low, high = format_capacity(aim.low_gib), format_capacity(aim.high_gib)
    return low if low == high else f"{low} to {high}"


def _sizes_add_up(space: Space, aim: Aim, modules: Iterable[Module]) -> bool:
    """True where such modules without number would make a capacity of an aim, rules aside; in other modes always."""
    if space.request.mode is not Mode.INDEPENDENT:
        return True
    sizes = {module.capacity_gib for module in modules}
    for chosen in itertools.combinations(sorted(sizes), min(space.request.max_types, len(sizes))):
        made = {0}
        for size in chosen:
            made = {have + more for have in made for more in range(0, aim.high_gib - have + 1, size)}
        if max(made) >= aim.low_gib:
            return True
    return False


def _in_the_way(
    space: Space, reached: Callable[[Space], Gib | None], text: Callable[[Rule, Gib], str], *, advised: bool = False
) -> Iterator[Cause]:
    """Rows, or the stock, without each of which alone something is reached that is not with it."""
    request, board = space.request, space.board
    limiting = [row for row in space.rows if row.limits != "nothing"]

    def but_for(severity: Severity) -> Iterator[Cause]:
        for row in (row for row in limiting if row.severity == severity):
            gib = reached(Space(_without(board, row), request, space.pins))
            if gib is not None:
                yield Cause(rule=row.id, text=text(row, gib), source=row.source)

    yield from but_for("error")
    limited = any(supply.available is not None for supply in request.supplies)
    if limited and reached(Space(board, _unlimited(request), space.pins)) is not None:
        yield Cause(rule="stock", text="The modules at hand are too few.")
    if advised:
        yield from but_for("advised")


def _all_in_the_way(space: Space, least: Callable[[Space], Gib | None], *, advised: bool) -> Iterator[Cause]:
    """What alone keeps every capacity asked about from fitting, where rows and stock do so at all."""
    board = space.board
    for row in space.rows:
        if row.limits != "nothing" and (row.severity == "error" or advised):
            board = _without(board, row)
    if least(Space(board, _unlimited(space.request), space.pins)) is None:
        return

    def text(row: Rule, gib: Gib) -> str:
        rule = "advised rule" if row.severity == "advised" else "rule"
        return f"Without this {rule} {format_capacity(gib)} would fit. {row.brief()}"

    yield from _in_the_way(space, least, text, advised=advised)


def _unlimited(request: Request) -> Request:
    """The request with modules without number."""
    return replace(request, supplies=tuple(each._replace(lots=(*each.lots, Lot())) for each in request.supplies))


def _without(board: Board, row: Rule) -> Board:
    rules = tuple(other for other in board.rules if other.id != row.id)
    processors = tuple(
        option.model_copy(update={"ceiling_gib": None}) if row.id == f"processor:{option.id}" else option
        for option in board.processors
    )
    return replace(board, rules=rules, processors=processors)


def _answered(space: Space) -> Gib | None:
    """The capacity asked, where the request of a space has an answer."""
    asked = space.request.capacity_gib
    within = asked <= space.most_gib and _may_run(space)
    return asked if within and Search(space, Budget(0)).reaches(Aim(asked, space.most_gib)) else None


def _too_much(space: Space) -> Iterator[Cause]:
    """No row alone stands in the way: the slots do, or several rows together."""
    request = space.request
    largest = max(module.capacity_gib for module in space.types)
    if space.slot_count * largest < request.capacity_gib:
        slots = f"{space.slot_count} slots of the fitted sockets"
        text = f"The {slots} and modules of at most {largest} GiB cannot reach the capacity asked."
        yield Cause(rule="slots", text=text)
        return
    rows = [row for row in space.rows if row.limits != "nothing" and row.severity == "error"]
    for kind in KINDS:
        alike = of_kind(rows, kind)
        board = space.board
        for row in alike:
            board = _without(board, row)
        if len(alike) > 1 and _answered(Space(board, request)) is not None:
            for row in alike:
                yield Cause(rule=row.id, text=row.brief(), source=row.source)
            return
    capping = [row for row in rows if row.limits == "capacity"]
    text = f"Several rules together forbid it, such as {', '.join(row.id for row in capping) or 'mixing rules'}."
    yield Cause(rule="rules", text=text)
