"""When nothing fits: which rules stand in the way, and the nearest capacities that do fit."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from dimmplan.errors import Cause
from dimmplan.model.board import Board
from dimmplan.model.request import Lot, Request
from dimmplan.rules import (
    KINDS,
    Rule,
    judge_alone,
    judge_module,
    of_kind,
)
from dimmplan.solve.branches import Aim
from dimmplan.solve.budget import Budget
from dimmplan.solve.search import Search
from dimmplan.solve.space import Space
from dimmplan.units import Gib, format_capacity


def nearest_capacities(board: Board, request: Request) -> tuple[Gib | None, Gib | None]:
    """The nearest capacities below and above the request that some placement has."""
    reached = sorted(capacities(Space(board, request)))
    below = [gib for gib in reached if gib < request.capacity_gib]
    above = [gib for gib in reached if gib > request.capacity_gib]
    return (below[-1] if below else None), (above[0] if above else None)


def capacities(space: Space) -> set[Gib]:
    """Every capacity that some placement has without breaking an error row."""
    return Search(space, Budget(0)).capacities(Aim(1, most_gib(space))) if _may_run(space) else set()


def _may_run(space: Space) -> bool:
    """True where neither the mode nor the sockets fitted rule every placement out."""
    return space.mode_possible() and space.fitted_allowed()


def most_gib(space: Space) -> int:
    """What the fitted sockets would hold with the largest type in every slot."""
    return max((module.capacity_gib for module in space.types), default=0) * space.slot_count


def causes_of(board: Board, request: Request) -> tuple[Cause, ...]:
    """What stands in the way of a request that has no answer, the plainest first."""
    return tuple(dict.fromkeys(_causes(board, request)))


def _causes(board: Board, request: Request) -> Iterator[Cause]:
    space = Space(board, request)
    refused = [row for row in space.fitted_breaches() if row.severity == "error"]
    for row in refused:
        allowed = "; ".join(", ".join(fitted) for fitted in row.sets)
        text = f"The sockets {', '.join(request.fitted)} may not be fitted so; allowed: {allowed}."
        yield Cause(rule=row.id, text=text, source=row.source)
    enforced = [row for row in space.rows if row.severity == "error"]
    unusable = 0
    for module in (supply.module for supply in request.supplies):
        kept_out = [*judge_module(enforced, module)]
        for breach in kept_out:
            text = f"{module.label}: {breach.found}; allowed: {breach.allowed}."
            yield Cause(rule=breach.rule, text=text, source=breach.source)
        without_rate = [] if kept_out else [*judge_alone(board, space.option, module)]
        for breach in without_rate:
            _, _, processor = breach.rule.partition(":")
            text = f"{processor or 'The board'} lists no rate for {breach.found}."
            yield Cause(rule=breach.rule, text=text, source=breach.source)
        unusable += bool(kept_out or without_rate)
    if not space.mode_possible():
        mode = request.mode.value
        yield Cause(rule=mode, text=f"The board has no row for the mode {mode}, so nobody knows that it can.")
        return
    if refused or not space.types or unusable == len(request.supplies):
        if not request.supplies:
            yield Cause(rule="modules", text="There is no module to plan with.")
        return
    alone = list(_alone_in_the_way(board, request, space))
    yield from alone
    if not alone:
        yield from _too_much(space)


def advised_in_the_way(board: Board, request: Request, usable_gib: Gib) -> Iterator[Cause]:
    """Advised rows of which one alone keeps capacities between the request and ``usable_gib`` from being as advised."""
    for row in Space(board, request).rows:
        if row.limits != "nothing" and row.severity == "advised":
            space = Space(_without(board, row), request)
            aim = Aim(request.capacity_gib, math.ceil(usable_gib) - 1)
            nearer = Search(space, Budget(0)).capacities(aim, as_advised=True) if _may_run(space) else set()
            if nearer:
                text = f"{format_capacity(min(nearer))} would fit but for this advised rule. {row.brief()}"
                yield Cause(rule=row.id, text=text, source=row.source)


def _alone_in_the_way(board: Board, request: Request, space: Space) -> Iterator[Cause]:
    """Rows, or the stock, without which the request would have an answer."""
    for row in space.rows:
        if row.limits != "nothing" and row.severity == "error" and _answers(_without(board, row), request):
            yield Cause(rule=row.id, text=row.brief(), source=row.source)
    unlimited = tuple(supply._replace(lots=(*supply.lots, Lot())) for supply in request.supplies)
    if any(supply.available is not None for supply in request.supplies) and _answers(
        board, replace(request, supplies=unlimited)
    ):
        yield Cause(rule="stock", text="The modules at hand are too few.")


def _without(board: Board, row: Rule) -> Board:
    rules = tuple(other for other in board.rules if other.id != row.id)
    processors = tuple(
        option.model_copy(update={"ceiling_gib": None}) if row.id == f"processor:{option.id}" else option
        for option in board.processors
    )
    return replace(board, rules=rules, processors=processors)


def _answers(board: Board, request: Request) -> bool:
    space = Space(board, request)
    most = most_gib(space)
    within = request.capacity_gib <= most and _may_run(space)
    return within and Search(space, Budget(0)).reaches(Aim(request.capacity_gib, most))


def _too_much(space: Space) -> Iterator[Cause]:
    """No row alone stands in the way: the slots do, or several rows together."""
    request = space.request
    largest = max(module.capacity_gib for module in space.types)
    if space.slot_count * largest < request.capacity_gib:
        slots = f"{space.slot_count} slots of the fitted sockets"
        text = f"The {slots} and modules of at most {largest} GiB do not reach the capacity asked."
        yield Cause(rule="slots", text=text)
        return
    rows = [row for row in space.rows if row.limits != "nothing" and row.severity == "error"]
    for kind in KINDS:
        alike = of_kind(rows, kind)
        board = space.board
        for row in alike:
            board = _without(board, row)
        if len(alike) > 1 and _answers(board, request):
            for row in alike:
                yield Cause(rule=row.id, text=row.brief(), source=row.source)
            return
    capping = [row for row in rows if row.limits == "capacity"]
    text = f"Several rules together stand in the way, such as {', '.join(row.id for row in capping) or 'mixing rules'}."
    yield Cause(rule="rules", text=text)
