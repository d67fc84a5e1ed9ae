"""Chains of placements for rising capacities: modules that stand stay, and every step is found well.

No search goes over whole chains. Each step in turn is taken at its best first; the steps before it lie within it, the
steps after it around it. That is tried with every set of module types that can still do better, and the best chain of
all is the answer: *best found*. What each step could be by itself bounds what any chain could be worth.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any, NamedTuple

from dimmplan.errors import Cause, DimmplanError, ImpossibleError, StoppedError
from dimmplan.growth.pinned import (
    NOTHING,
    SWEEP,
    Start,
    all_of,
    capacities_from,
    closed,
    impossible_from,
    planned_as,
    solve_from,
    staying,
    within,
)
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.request import Request, Supply
from dimmplan.planner import Planned
from dimmplan.rules import judge
from dimmplan.solve.answer import Answer
from dimmplan.solve.branches import Aim
from dimmplan.solve.budget import Budget
from dimmplan.solve.criteria import CRITERIA, Criterion, Value, content_of, ranked, vector_of
from dimmplan.solve.search import Search
from dimmplan.solve.shapes import Pins
from dimmplan.solve.space import Space
from dimmplan.units import Gib, channel_peak_gb_s, format_capacity

Content = Mapping[str, Module | None]
Types = frozenset[int] | None

STEP_STOPPED = "it is one step of a chain, chosen together with the others"
"""Why a step is not called proven first by its own list: it was chosen as a part of the chain."""

_LATER = ("advised_broken", "over_gib", SWEEP, "bought", "cost")
_FIRST = ("advised_broken", "over_gib", "discarded", SWEEP, "bought", "cost")
_AFTER_MOVES = ("advised_broken", "discarded", "over_gib", SWEEP, "bought", "cost")
"""What a step is chosen by on the way to a chain: the first, one that adds, one that may move and discards nothing."""


class Chain(NamedTuple):
    """Placements step by step, the sweep of each in GB/s, and the criteria that order chains with their values.

    ``advised_broken`` counts distinct advised rows broken at any step, ``over_gib_N`` GiB above a request and its
    allowance, ``discarded`` modules in the machine that the first step leaves out, ``bought`` and ``cost`` (where all
    is priced) those of the last step.
    """

    contents: tuple[Content, ...]
    sweeps: tuple[Fraction, ...]
    criteria: tuple[Criterion, ...]
    vector: tuple[Value, ...]
    order: tuple[Any, ...]
    """Modules in the machine that the first step moves, then board order of the steps: smaller comes first."""

    @property
    def worth(self) -> tuple[Value, ...]:
        """Where the chain stands by its criteria: smaller comes first."""
        return ranked(self.criteria, self.vector)

    @property
    def key(self) -> tuple[Any, ...]:
        """The same, and then its order: no two chains are equal."""
        return (*self.worth, self.order)


@dataclass(frozen=True, kw_only=True, slots=True)
class Growth:
    """The best chain found for some requests, each step as a plan, and each step chosen by itself (``free``).

    After Ctrl-C no step is chosen by itself.

    ``bound`` names the first criterion of the chain at which a better one is not ruled out, and the best value that it
    could have; ``None`` where no chain has better figures.
    """

    board: Board
    may_move: bool
    chain: Chain
    steps: tuple[Planned, ...]
    free: tuple[Answer | None, ...]
    bound: tuple[str, Value] | None
    effort: int
    outside_window: bool
    stopped: str | None = None
    """Why the search of chains ended before all that it would try was tried."""


def grow(board: Board, requests: Sequence[Request], *, may_move: bool = False, start: Start = NOTHING) -> Growth:
    """A good chain for requests that rise, and differ in capacity and allowance only.

    Chains are compared by: no error row broken at any step, then fewest advised ones; least usable capacity above each
    request, in step order; fewest modules discarded (only the first step can leave any out of the machine); highest
    smallest sweep of the steps; highest sum of them; fewest modules bought; cost, where all is priced; fewest modules
    that the first step moves; board order of the steps. Later steps only add modules, or with ``may_move`` never have
    fewer of a type. At most ``max_types`` types are used over the whole chain. Each step keeps its request's window of
    capacity unless no chain is found so.

    Raises ``ImpossibleError`` where no chain is found.
    """
    budget = Budget(requests[0].effort)
    for outside in (False, True):
        task = _Task(board=board, requests=requests, may_move=may_move, start=start, outside=outside, budget=budget)
        chain = task.best()
        if chain is not None:
            break
    else:
        raise _impossible(task)
    bound, stopped = task.bound(chain), budget.reason if task.cut else None
    free = tuple(_by_itself(board, request, start, budget) for request in requests)
    return Growth(
        board=board,
        may_move=may_move,
        chain=chain,
        steps=tuple(
            planned_as(board, request, content, alone, stopped=stopped or STEP_STOPPED, hold=start.hold)
            for request, content, alone in zip(requests, chain.contents, free, strict=True)
        ),
        free=free,
        bound=bound,
        effort=budget.spent,
        outside_window=outside,
        stopped=stopped,
    )


def _by_itself(board: Board, request: Request, start: Start, budget: Budget) -> Answer | None:
    """A step chosen by its own list; ``None`` where searches are to end."""
    if budget.stopping:
        return None
    try:
        answer = solve_from(board, request, start._replace(stays={}), alternatives=False)
    except StoppedError:
        return None
    return None if budget.stopping else answer


def chain_of(
    board: Board, requests: Sequence[Request], contents: Sequence[Content], lying: Content = NOTHING.lying
) -> Chain:
    """Measure a chain of legal placements by rules and figures alone."""
    advised: set[str] = set()
    measured: list[dict[str, Any]] = []
    for request, content in zip(requests, contents, strict=True):
        space = Space(board, request)
        vector = vector_of(space, CRITERIA.values(), content)
        if vector is None:
            raise DimmplanError("internal: a step of a chain breaks a rule")
        measured.append(dict(zip(CRITERIA, vector, strict=True)))
        breaches = judge(board, space.option, request.fitted, content, mode=request.mode)
        advised |= {breach.rule for breach in breaches if breach.severity == "advised"}
    sweeps = tuple(Fraction(each[SWEEP]) for each in measured)
    priced = all(supply.priced for supply in requests[0].supplies)
    values: dict[str, Value] = {
        "advised_broken": len(advised),
        **{f"over_gib_{number}": each["over_gib"] for number, each in enumerate(measured, start=1)},
        "discarded": measured[0]["discarded"],
        "smallest_sweep": min(sweeps),
        "sum_of_sweeps": sum(sweeps, Fraction(0)),
        "bought": measured[-1]["bought"],
    } | ({"cost": measured[-1]["cost"]} if priced else {})
    displaced = sum(contents[0].get(slot) != module for slot, module in lying.items() if module)
    return Chain(
        contents=tuple(contents),
        sweeps=sweeps,
        criteria=tuple(Criterion(name, "high" if "sweep" in name else "low") for name in values),
        vector=tuple(values.values()),
        order=(displaced, *(board_order(board, content) for content in contents)),
    )


def board_order(board: Board, content: Content) -> tuple[Any, ...]:
    """Board order of a placement: at the first slot that differs filled wins, then the module's own order."""
    return tuple((0, module.order_key) if (module := content.get(slot)) else (1,) for slot in board.slots)


class _Alone(NamedTuple):
    """The best of one step under some conditions: the values of its criteria by name, and whether it is proven."""

    content: Content
    values: Mapping[str, Any]
    proven: bool


@dataclass(kw_only=True)
class _Task:
    """Chains within the windows of the requests, or above them (``outside``) as far as the slots go."""

    board: Board
    requests: Sequence[Request]
    may_move: bool
    start: Start
    outside: bool
    budget: Budget
    searches: dict[object, Search] = field(default_factory=dict)
    known: dict[tuple[int, Types], _Alone | None] = field(default_factory=dict)
    found: Chain | None = None
    cut: bool = False
    """True where not all was searched that would have been."""

    # -- the chain -------------------------------------------------------------------------------------------------

    def best(self) -> Chain | None:
        """The best chain found; ``None`` where none is.

        Once a step is found its chain is finished, and once a chain is found the search may end at any time.
        """
        for types in (None, *self._type_sets()):
            if self.found is not None and self.budget.over:
                self.cut = True
                break
            ideal = self._ideal(types)
            if ideal is not None and (self.found is None or ideal < self.found.worth[: len(ideal)]):
                for first in range(len(self.requests)):
                    for chain in self._from(first, types):
                        self.found = chain if self.found is None else min(self.found, chain, key=lambda each: each.key)
        return self.found

    def _type_sets(self) -> Iterator[Types]:
        """The largest sets of types that a chain may use."""
        space = Space(self.board, self.requests[0], self.start.pins)
        seen: list[frozenset[int]] = []
        for size in range(min(self.requests[0].max_types, len(space.types)), 0, -1):
            new = [frozenset(types) for types in itertools.combinations(range(len(space.types)), size)]
            fit = [types for types in new if space.broken_alone(types) <= set(space.advised)]
            seen += [types for types in fit if not any(types < other for other in seen)]
        yield from seen

    def _ideal(self, types: Types) -> tuple[Any, ...] | None:
        """The worth down to the sum of sweeps that no chain of some types passes; ``None`` where a step has none."""
        each = [self._alone(step, types) for step in range(len(self.requests))]
        values = [alone.values for alone in each if alone is not None]
        if len(values) < len(each):
            return None
        sweeps = [value[SWEEP] for value in values]
        overs = (value["over_gib"] for value in values)
        return max(v["advised_broken"] for v in values), *overs, values[0]["discarded"], -min(sweeps), -sum(sweeps)

    def bound(self, chain: Chain) -> tuple[str, Value] | None:
        """The first criterion at which a better chain is not ruled out, and the best that it could be."""
        each = [alone for step in range(len(self.requests)) if (alone := self._alone(step)) is not None]
        ideal: dict[str, Value] = {"advised_broken": max(alone.values["advised_broken"] for alone in each)}
        sure = [alone.proven and alone.values["advised_broken"] == chain.vector[0] for alone in each]
        for step, alone in enumerate(each):
            ideal[f"over_gib_{step + 1}"] = alone.values["over_gib"] if sure[step] else 0
        ideal["discarded"] = each[0].values["discarded"] if sure[0] else 0
        peak = channel_peak_gb_s(max(self.board.rates_mts)) * Space(self.board, self.requests[0]).channel_count
        sweeps = [alone.values[SWEEP] if sure[step] else peak for step, alone in enumerate(each)]
        ideal |= {"smallest_sweep": min(sweeps), "sum_of_sweeps": sum(sweeps, Fraction(0))}
        last = each[-1].values
        ideal |= {name: last[name] if sure[-1] else 0 for name in ("bought", "cost") if name in last}
        names = [criterion.name for criterion in chain.criteria]
        return next(
            ((name, ideal[name]) for name, value in zip(names, chain.vector, strict=True) if value != ideal[name]), None
        )

    # -- its steps -------------------------------------------------------------------------------------------------

    def _from(self, first: int, types: Types) -> Iterator[Chain]:
        """Chains that begin with one step at its best; with moves, the one without any is among them."""
        for may_move in (False, True)[: 1 + self.may_move]:
            alone = self._alone(first, types)
            found = {} if alone is None else {first: alone.content}
            for step in (*reversed(range(first)), *range(first + 1, len(self.requests))):
                beside = found.get(step + 1 if step < first else step - 1)
                content = None if beside is None else self._beside(step, beside, step < first, types, may_move=may_move)
                if content is not None:
                    found[step] = content
            if len(found) == len(self.requests):
                contents = [found[step] for step in range(len(found))]
                yield chain_of(self.board, self.requests, contents, self.start.lying)

    def _alone(self, step: int, types: Types = None) -> _Alone | None:
        """The best of a step with nothing but what lies in the machine; with moves, later steps are free of that."""
        if (step, types) not in self.known:
            criteria, supplies = _LATER if step else _FIRST, self.requests[step].supplies
            self.known[step, types] = self._search(step, self._pins(step), criteria, types, supplies)
        return self.known[step, types]

    def _pins(self, step: int) -> Pins:
        return closed(self.start.hold) if step and self.may_move else self.start.pins

    def _beside(self, step: int, beside: Content, before: bool, types: Types, *, may_move: bool) -> Content | None:
        """The best of a step within the next one (``before``) or around the one before it."""
        criteria, pins, supplies = _LATER if step else _FIRST, self._pins(step), self.requests[step].supplies
        held = Counter(module for module in beside.values() if module)
        if not may_move:
            pins = all_of(self.start.pins, within(self.board, beside) if before else staying(beside))
        elif before:  # no more of a type than the next step has
            supplies = tuple(
                each._replace(kept=min(each.kept, held[each.module]), lots=each.split(held[each.module])[0])
                for each in supplies
            )
        else:  # all that the step before has is owned
            criteria = _AFTER_MOVES
            supplies = tuple(
                each._replace(kept=held[each.module], lots=each.split(held[each.module])[1]) for each in supplies
            )
        alone = self._search(step, pins, criteria, types, supplies)
        discards = alone is not None and criteria is _AFTER_MOVES and alone.values["discarded"]
        return None if alone is None or discards else alone.content

    def _search(
        self, step: int, pins: Pins, criteria: Sequence[str], types: Types, supplies: tuple[Supply, ...]
    ) -> _Alone | None:
        """The first placement by some criteria and board order; each search remembers what it worked out."""
        key = step, frozenset(pins.items()), supplies
        lying = self.start.lying if not step or not self.may_move else NOTHING.lying
        if key not in self.searches:
            request = replace(self.requests[step], supplies=supplies)
            self.searches[key] = Search(Space(self.board, request, pins, lying=lying), self.budget)
        search, request = self.searches[key], self.requests[step]
        if not search.space.possible():
            return None
        most = search.space.most_gib
        high = max(most, request.capacity_gib) if self.outside else request.limit_gib
        aim = Aim(request.capacity_gib, high, types=types)
        found, proven = search.by((*criteria, "displaced") if lying else criteria).first(
            aim, may_end_empty=self.found is not None
        )
        self.cut |= not proven
        if found is None:
            return None
        self.budget.patient = True
        return _Alone(content_of(search.space, found.board_order), search.values(found), proven)


def _impossible(task: _Task) -> ImpossibleError:
    """The first step that nothing reaches, by itself or after those before it, and the nearest capacity for it."""
    board, requests, start = task.board, task.requests, task.start
    for index, request in enumerate(requests):
        before = start if index == 0 or not task.may_move else start._replace(stays={})
        try:
            solve_from(board, request, before, alternatives=False)
        except ImpossibleError as error:
            return error
    for count in range(2, len(requests) + 1):
        shorter = replace(task, requests=requests[: count - 1], searches={}).best()
        if shorter is None:
            break
        if replace(task, requests=requests[:count], searches={}).best() is None:
            below = _reached_after(task, shorter.contents[-1], requests[count - 1])
            causes = [Cause(rule="growth", text=_cannot_follow(task, count))]
            return ImpossibleError(causes, below_gib=max(below, default=None), above_gib=None)
    return impossible_from(board, requests[0], start)


def _reached_after(task: _Task, content: Content, request: Request) -> list[Gib]:
    """Capacities under a request that the types of a step reach, in place or with moves."""
    held = Counter(module for module in content.values() if module)
    if len(held) >= request.max_types:
        request = replace(request, supplies=tuple(each for each in request.supplies if each.module in held))
    start = task.start._replace(stays={} if task.may_move else content)
    return [gib for gib in capacities_from(task.board, request, start) if gib < request.capacity_gib]


def _cannot_follow(task: _Task, count: int) -> str:
    *before, asked = (format_capacity(request.capacity_gib) for request in task.requests[:count])
    how = "without discarding a module" if task.may_move else "by adding modules only"
    most = task.requests[0].max_types
    types = f"{most} module type{'s' if most > 1 else ''}"
    return f"No way was found to reach {asked} after {' and '.join(before)} {how}, with at most {types} in all."
