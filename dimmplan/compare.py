"""Many requests side by side: capacities x module types x processors, with the figures that ``plan`` gives for each.

A *group* is one capacity with one processor. Its rows are the best placement of each type alone, and that of all
types together where it is another one. Rows are compared within their group only: groups answer different questions.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial
from typing import Literal, Unpack

from dimmplan.errors import ImpossibleError, InputError, Problem
from dimmplan.figures import PlacementFigures
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.request import Request, Supply
from dimmplan.planner import Planned, Terms, ask, plan
from dimmplan.solve.answer import STEP_SHARE, solve_in
from dimmplan.solve.causes import capacities as reached_capacities
from dimmplan.solve.causes import causes_of
from dimmplan.solve.criteria import LISTS, Value, ranked
from dimmplan.solve.space import Space
from dimmplan.stock import Shelf
from dimmplan.supply import Limit, left_out_causes, processor_limits
from dimmplan.units import Gib

MOST_CAPACITIES = 12
"""Where nobody says which capacities, so many are looked at: few, and each good for something."""
WORTH_A_STEP = Fraction(11, 10)
"""A capacity is passed over where a small step above it sweeps faster by more than this."""
WIDE = Fraction(3, 2)
"""Between two capacities further apart than this, one more is shown."""
MOST_REQUESTS = 5_000
"""Capacities x types x processors beyond this are refused: nobody looks at such a table."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """One request and its answer; without a placement, ``below_gib`` and ``above_gib`` are the nearest that fit.

    ``is_answer``: what ``plan`` answers when all types of the comparison are allowed. ``unbeaten``: no other row of
    its group is at least as good in balanced sweep, cost and free slots, and better in one. ``picked_by`` names the
    preference lists by which it comes first in its group.
    """

    request: Request
    planned: Planned | None
    below_gib: Gib | None = None
    above_gib: Gib | None = None
    is_answer: bool = False
    unbeaten: bool = False
    picked_by: tuple[str, ...] = ()

    @property
    def types(self) -> tuple[Module, ...]:
        """The types that this row may use."""
        return tuple(supply.module for supply in self.request.supplies)

    @property
    def figures(self) -> PlacementFigures | None:
        """The figures of the placement."""
        return None if self.planned is None else self.planned.figures

    @property
    def cost(self) -> Fraction | None:
        """What the modules cost; ``None`` where a type that the row may use has no price."""
        return None if self.planned is None else self.planned.cost

    @property
    def outside(self) -> bool:
        """True where nothing fits within the request's allowance, and this is the first above it."""
        return self.planned is not None and self.planned.answer.outside_window

    @property
    def even(self) -> bool:
        """True where every channel of the fitted sockets carries the same modules."""
        if self.planned is None:
            return False
        board, content = self.planned.board, self.planned.placement.content
        loads = {
            tuple(sorted(module.order_key for slot in channel.slots if (module := content.get(slot))))
            for channel in board.channels
            if channel.socket in self.request.fitted
        }
        return len(loads) == 1


@dataclass(frozen=True, kw_only=True, slots=True)
class Group:
    """One capacity with one processor; rows best first by the comparison's list, those without a placement last."""

    capacity_gib: int
    processor: str | None
    rows: tuple[Row, ...]

    @property
    def answer(self) -> Row | None:
        """What ``plan`` answers with all types allowed; ``None`` where nothing fits."""
        return next((row for row in self.rows if row.is_answer), None)


@dataclass(frozen=True, slots=True)
class Worth:
    """A capacity and why it is looked at: ``asked`` for; ``even``: one type puts the same on every channel; ``step``:
    no capacity up to a quarter above is clearly faster; ``between``: the fastest within a wide gap.
    """

    capacity_gib: int
    why: Literal["asked", "even", "step", "between"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Comparison:
    """All groups, capacities rising, processors in board order. ``priced``: every allowed type has a price."""

    board: Board
    base: Request
    chosen: tuple[Worth, ...]
    processors: tuple[str | None, ...]
    groups: tuple[Group, ...]
    limits: tuple[Limit, ...]
    priced: bool
    shelf: Shelf | None

    @property
    def rows(self) -> tuple[Row, ...]:
        """All rows in order."""
        return tuple(row for group in self.groups for row in group.rows)


def compare(
    board: Board,
    *,
    capacities: Sequence[str] = (),
    processors: Sequence[str] = (),
    shelf: Shelf | None = None,
    **terms: Unpack[Terms],
) -> Comparison:
    """Compare capacities, types and processors on a board, all given as people type them; ``terms`` are as for ``ask``.

    Without ``capacities``: those worth looking at. Without ``modules`` and ``shelf``: every usual module. Without
    ``processors``: the board's first. Each row is what ``plan`` answers for the same request.

    Raises ``InputError`` with every problem of the call, ``RefusedError`` for a module that the board refuses and
    ``ImpossibleError`` where no capacity at all fits.
    """
    request = partial(ask, board, shelf=shelf, **terms)
    problems: dict[Problem, None] = {}
    options, sizes = _read(board, request, capacities, processors, problems)
    if problems:
        raise InputError(problems)
    bases = {option: request("1GiB", processor=option) for option in options}
    base = bases[options[0]]
    chosen = tuple(Worth(gib, "asked") for gib in sizes) if capacities else worth_looking_at(board, base)
    if not chosen:
        nothing = left_out_causes(board, shelf, base.processor) if shelf and not base.supplies else ()
        raise ImpossibleError((*causes_of(board, base), *nothing), below_gib=None, above_gib=None)
    _check_number(len(chosen) * sum(len(each.supplies) + 1 for each in bases.values()))
    return Comparison(
        board=board,
        base=base,
        chosen=chosen,
        processors=options,
        groups=_groups(board, request, chosen, options),
        limits=tuple(limit for each in bases.values() for limit in processor_limits(board, each)),
        priced=_priced(bases.values()),
        shelf=shelf,
    )


Ask = Callable[..., Request]
"""A request for a capacity with a ``processor``, all else as the comparison was asked."""


def _groups(board: Board, request: Ask, chosen: Sequence[Worth], options: Sequence[str | None]) -> tuple[Group, ...]:
    reaches = {option: _reach(board) for option in options}
    return tuple(
        _group(board, request(f"{worth.capacity_gib}GiB", processor=option), reaches[option])
        for worth in chosen
        for option in options
    )


def _read(
    board: Board,
    request: Ask,
    capacities: Sequence[str],
    processors: Sequence[str],
    problems: dict[Problem, None],
) -> tuple[tuple[str | None, ...], tuple[int, ...]]:
    """Processor options in board order, capacities rising, each once; ``problems`` gets what is wrong with the call."""

    def tried(capacity: str, processor: str | None) -> Request | None:
        try:
            return request(capacity, processor=processor)
        except InputError as error:
            problems.update(dict.fromkeys(error.problems))
            return None

    first = processors[0] if processors else None
    texts = capacities or ("1GiB",)
    asked = [tried(text, first) for text in texts]
    named = [tried(texts[0], processor) for processor in processors or (None,)]
    order = [option.id for option in board.processors]
    found = {each.processor or "" for each in named if each}
    options = [name or None for name in sorted(found, key=lambda n: (order.index(n) if n in order else len(order), n))]
    return tuple(options), tuple(sorted({each.capacity_gib for each in asked if each}))


def _check_number(number: int) -> None:
    if number > MOST_REQUESTS:
        found = f"{number} requests (capacities x modules x processors)"
        raise InputError(Problem(file="compare", found=found, allowed=f"at most {MOST_REQUESTS}"))


def _priced(bases: Iterable[Request]) -> bool:
    return all(base.supplies and all(supply.priced for supply in base.supplies) for base in bases)


# -- one group ---------------------------------------------------------------------------------------------------------


Reach = Callable[[Request], list[Gib]]
"""The capacities that some placement of a request's supplies has, rising."""


def _reach(board: Board) -> Reach:
    """Asked once for each set of supplies: capacities depend on nothing else of the requests of a group."""
    known: dict[tuple[Supply, ...], list[Gib]] = {}

    def reached(request: Request) -> list[Gib]:
        if request.supplies not in known:
            known[request.supplies] = sorted(reached_capacities(Space(board, request)))
        return known[request.supplies]

    return reached


def _group(board: Board, asked: Request, reach: Reach) -> Group:
    """The rows of one capacity and processor, marked and in order."""
    alone = [_row(board, replace(asked, supplies=(supply,)), reach) for supply in asked.supplies]
    if not alone:
        rows = [Row(request=asked, planned=None)]
    elif len(alone) == 1:
        rows = [replace(row, is_answer=row.planned is not None) for row in alone]
    else:
        rows = _with_answer(alone, _row(board, asked, reach))
    priced = _priced([asked])
    marked = _marked(rows, asked, priced=priced)
    ordered = sorted(marked, key=lambda row: _order(row, asked.prefer, priced=priced))
    return Group(capacity_gib=asked.capacity_gib, processor=asked.processor, rows=tuple(ordered))


def _row(board: Board, request: Request, reach: Reach) -> Row:
    reached = reach(request)
    if not reached or reached[-1] < request.capacity_gib:
        return Row(request=request, planned=None, below_gib=reached[-1] if reached else None)
    return Row(request=request, planned=plan(board, request, alternatives=False, steps=True))


def _with_answer(alone: Sequence[Row], together: Row) -> list[Row]:
    """The rows of single types with the answer of all types marked among them, or beside them."""
    if together.planned is None:
        return list(alone)
    content = together.planned.placement.content
    rows = [
        replace(row, is_answer=row.planned is not None and row.planned.placement.content == content) for row in alone
    ]
    return rows if any(row.is_answer for row in rows) else [replace(together, is_answer=True), *rows]


def _marked(rows: Sequence[Row], asked: Request, *, priced: bool) -> list[Row]:
    """Rows with what no other beats and what each list picks; above the allowance only where all of them are."""
    placed = [row for row in rows if row.planned is not None]
    eligible = [row for row in placed if not row.outside] or placed
    lists = [name for name in LISTS if name != "upgrade" and (priced or name != "cost-first")]
    picks = {name: min(eligible, key=lambda row: _order(row, name, priced=priced)) for name in lists if eligible}
    return [
        replace(
            row,
            unbeaten=any(row is each for each in eligible)
            and not any(_beats(other, row, priced=priced) for other in eligible),
            picked_by=tuple(name for name, picked in picks.items() if picked is row),
        )
        for row in rows
    ]


def _beats(one: Row, other: Row, *, priced: bool) -> bool:
    """True where one row is at least as good in balanced sweep, cost and free slots, and better in one of them."""
    assert one.figures is not None and other.figures is not None
    pairs: list[tuple[Value, Value]] = [
        (one.figures.balanced_sweep_gb_s, other.figures.balanced_sweep_gb_s),
        (one.figures.free_slots, other.figures.free_slots),
    ]
    if priced:
        pairs.append((-(one.cost or 0), -(other.cost or 0)))
    return all(a >= b for a, b in pairs) and any(a > b for a, b in pairs)


def _order(row: Row, prefer: str, *, priced: bool) -> tuple[object, ...]:
    """The place of a row in its group: by the list's criteria, then by board order; without a placement last."""
    if row.planned is None or row.figures is None:
        return (2, [module.order_key for module in row.types])
    answer = row.planned.answer
    values = answer.values | {
        "free_slots": row.figures.free_slots,
        "cost": row.cost or 0,
        "bought": row.figures.modules,
    }
    criteria = [criterion for criterion in LISTS[prefer] if priced or criterion.name != "cost"]
    slots = [module.order_key if module else _EMPTY for _, module in row.planned.placement.slots]
    return (int(row.outside), ranked(criteria, (values.get(c.name, 0) for c in criteria)), slots)


_EMPTY = (1, 0, "")
"""After the order key of every module: at the first slot that differs, filled comes first."""


# -- capacities worth looking at ------------------------------------------------------------------------------------


def worth_looking_at(board: Board, base: Request) -> tuple[Worth, ...]:
    """At most twelve capacities that one type reaches without breaking a rule, advised ones included, rising.

    Even ones go before others, faster ones before slower ones; the largest is always there. None where nothing fits.
    """
    sweeps, even = _sweeps_of_one_type(board, base)
    rising = sorted(sweeps)
    near = [c for c in rising if not _a_step_is_faster(c, sweeps)]
    chosen: dict[int, Literal["asked", "even", "step", "between"]] = dict.fromkeys(near, "step")
    chosen |= dict.fromkeys(sorted(even), "even")
    chosen |= dict.fromkeys(_between(sorted(chosen), sweeps), "between")
    return tuple(Worth(gib, chosen[gib]) for gib in thinned(sorted(chosen), sweeps, even))


def thinned(rising: Sequence[int], sweeps: Mapping[int, Fraction], even: Collection[int]) -> list[int]:
    """At most twelve of some rising capacities: the slowest that are not even go first, then even ones that have a
    near neighbour. The largest always stays.
    """
    left = list(rising)
    while len(left) > MOST_CAPACITIES:
        others = [gib for gib in left[:-1] if gib not in even]
        left.remove(min(others, key=lambda gib: (sweeps[gib], gib)) if others else _closest(left))
    return left


def _sweeps_of_one_type(board: Board, base: Request) -> tuple[dict[int, Fraction], set[int]]:
    """Capacities that one type reaches with no rule broken and their best balanced sweep; those of even placements."""
    strict = replace(
        board,
        rules=tuple(
            row.model_copy(update={"severity": "error"}) if row.severity == "advised" else row for row in board.rules
        ),
    )
    sweeps: dict[int, Fraction] = {}
    even: set[int] = set()
    for supply in base.supplies:
        alone = replace(base, supplies=(supply,), prefer="capacity-first")
        for gib in sorted(reached_capacities(Space(strict, alone))):
            if gib < 1 or int(gib) != gib:
                continue
            asked = replace(alone, capacity_gib=int(gib), over_gib=0)
            answer = solve_in(Space(strict, asked), alternatives=False)
            if answer is None:
                continue
            sweeps[int(gib)] = max(sweeps.get(int(gib), Fraction(0)), Fraction(answer.values["balanced_sweep"]))
            content = answer.best.content
            loads = {
                sum(content.get(slot) is not None for slot in channel.slots)
                for channel in board.channels
                if channel.socket in base.fitted
            }
            if len(loads) == 1:
                even.add(int(gib))
    return sweeps, even


def _a_step_is_faster(gib: int, sweeps: dict[int, Fraction]) -> bool:
    limit = gib + gib * STEP_SHARE
    return any(sweep > sweeps[gib] * WORTH_A_STEP for other, sweep in sweeps.items() if gib < other <= limit)


def _between(chosen: Sequence[int], sweeps: dict[int, Fraction]) -> Iterable[int]:
    """The fastest capacity well inside each wide gap; of equally fast ones the one nearest to its middle."""
    margin = 1 + STEP_SHARE / 2
    for low, high in itertools.pairwise(chosen):
        inside = [gib for gib in sweeps if low * margin <= gib <= high / margin]
        if high > low * WIDE and inside:
            middle = math.sqrt(low * high)
            yield max(inside, key=lambda gib: (sweeps[gib], -abs(math.log(gib / middle)), gib))


def _closest(rising: Sequence[int]) -> int:
    """The capacity with the nearest neighbour below: the one least missed. The largest always stays."""
    return min(rising[1:-1], key=lambda gib: (Fraction(gib, rising[rising.index(gib) - 1]), gib))
