"""The best chain of placements in which later steps only add modules, exact over the whole chain.

The order is gone through criterion by criterion. Capacities and discarded modules follow from counts: which counts all
steps can have together is asked of all chains of channel loads, without figures. Sweeps are decided by drawing the
growth of each socket within a time bound for each step; the bounds come from the best chain known so far and from what
each step could reach by itself, so they only ever leave out what is worse. Then the first step is taken, the first in
board order of all that begin a best chain, and the rest is decided again with its modules in place.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from dimmplan.growth.measure import Measure
from dimmplan.growth.pins import PinnedSpace, Pins, all_of, staying, within
from dimmplan.growth.socket import Chains, Numbers
from dimmplan.growth.steps import (
    STEP_CRITERIA,
    Chain,
    Content,
    Steps,
    Window,
    board_order,
    chain_of,
    over_of,
    whole_gib,
    window_of,
)
from dimmplan.growth.system import System, Winner
from dimmplan.model.board import Board
from dimmplan.model.request import Request
from dimmplan.solve.budget import Budget
from dimmplan.units import Gib

SHRINK = Fraction(4, 5)
"""Factor by which a bound on sweeps falls while nothing has been found above it."""

Tell = Callable[[str, Any], None]
"""Told the name of what is being decided and the best that it could still become, or ``incumbent`` and a chain."""

Aims = tuple[tuple[Gib, ...], int]
"""GiB above each request, and modules in the machine that the first step leaves out."""


@dataclass(frozen=True, slots=True)
class Goal:
    """What a chain is known to reach. ``before`` is the sweep of the steps that are settled already, where there are.

    Once ``price`` (modules bought, cost) is set, nothing better than the goal is left to be found.
    """

    smallest: Fraction
    total: Fraction
    before: Fraction | None = None
    price: tuple[int, Fraction] | None = None

    def least(self, step: int, bests: Sequence[Fraction]) -> Fraction:
        """No step of a chain as good as the goal sweeps slower than this."""
        others = sum(bests[:step], Fraction(0)) + sum(bests[step + 1 :], Fraction(0))
        return max(self.smallest, self.total - others)


class Adding:
    """Chains for some requests over slots pinned from the beginning; ``limits`` are the windows of capacity."""

    def __init__(
        self,
        board: Board,
        requests: Sequence[Request],
        limits: Sequence[Window],
        *,
        pins: Pins,
        budget: Budget,
        tell: Tell,
        measure: Measure | None = None,
    ) -> None:
        self.board = board
        self.requests = requests
        self.limits = limits
        self.pins = pins
        self.budget = budget
        self.tell = tell
        self.steps = Steps(board, requests)
        self.system = System(PinnedSpace(board, requests[0], pins), limits, budget, measure)
        self.discarded: int | None = None
        """Where set, how many modules in the machine the first step leaves out."""
        self._reaching: set[Numbers] | None = None
        """Where known, the sets of types with which some chain has the least capacities."""

    # -- the whole -------------------------------------------------------------------------------------------------

    def best(self, incumbent: Chain | None) -> Chain | None:
        """The best chain where it comes before ``incumbent``, else ``None``. Raises ``EffortSpent``."""
        space = self.system.space
        if not space.types or not space.fitted_allowed():
            return None
        rival = min(filter(None, (incumbent, self.quick(self.limits))), key=lambda chain: chain.key, default=None)
        if rival is not None:
            self.tell("incumbent", rival)
        aims = self._least_aims(rival)
        if aims is None:
            return None
        overs, self.discarded = aims
        known = (rival.worth.overs, rival.worth.discarded) if rival else None
        if known is not None and aims > known:
            return None
        self.system.windows = self._windows(overs)
        goal = Goal(rival.worth.smallest_sweep, rival.worth.sum_of_sweeps) if rival and aims == known else None
        winners = self.winners(goal)
        if not winners:
            return None
        found = chain_of(self.board, self.requests, list(self._settle(winners)))
        return found if rival is None or found.key <= rival.key else None

    def last_capacities(self) -> Iterator[Gib]:
        """Capacities within the limits that the last step of some chain has."""
        for chains, code in self.system.reach():
            yield whole_gib(chains.gibs(code)[-1], self.system.space.scale)

    def _settle(self, winners: list[Winner]) -> Iterator[Content]:
        """The steps of the best chain, one after another: each the first in board order that begins a best one."""
        firsts = [(self.system.first_step(winner), winner) for winner in winners]
        content, winner = min(firsts, key=lambda pair: board_order(self.board, pair[0]))
        yield content
        if len(self.requests) == 1:
            return
        first = winner.sweeps[0]
        goal = Goal(min(winner.sweeps), sum(winner.sweeps, -first), first, self._price(winner))
        rest = Adding(
            self.board,
            self.requests[1:],
            self.system.windows[1:],
            pins=all_of(self.pins, staying(content)),
            budget=self.budget,
            tell=self.tell,
            measure=self.system.measure,
        )
        yield from rest._settle(rest.winners(goal))

    def _price(self, winner: Winner) -> tuple[int, Fraction]:
        """Modules bought and their cost (0 where not all is priced), from the counts of the last step."""
        space = self.system.space
        last = space.counts(self.system.chains(winner.types).codes(winner.code)[-1])
        pairs = list(zip(space.supplies, last, strict=True))
        priced = all(supply.priced for supply in self.requests[0].supplies)
        cost = sum((supply.cost(count) for supply, count in pairs), Fraction(0)) if priced else Fraction(0)
        return sum(max(0, count - supply.kept) for supply, count in pairs), cost

    # -- a first chain ---------------------------------------------------------------------------------------------

    def quick(self, limits: Sequence[Window], types: Numbers | None = None) -> Chain | None:
        """A chain to begin with: one step at its best, those before it within it, those after it around it.

        The best of those that begin with each step in turn; ``None`` where none of them gets through.
        """
        only = None if types is None else frozenset(types)
        found = [
            chain_of(self.board, self.requests, contents)
            for first in range(len(limits))
            if (contents := self._from(first, limits, only)) is not None
        ]
        return min(found, key=lambda chain: chain.key, default=None)

    def _from(self, first: int, limits: Sequence[Window], types: frozenset[int] | None) -> list[Content] | None:
        contents: dict[int, Content] = {}
        for step in (first, *reversed(range(first)), *range(first + 1, len(limits))):
            pins = [self.pins]
            if step < first:
                pins.append(within(self.board, contents[step + 1]))
            elif step > first:
                pins.append(staying(contents[step - 1]))
            alone = self.steps.best(step, all_of(*pins), limits[step], STEP_CRITERIA, types=types)
            if alone is None:
                return None
            contents[step] = alone.content
        return [contents[step] for step in range(len(limits))]

    # -- capacities and discarded modules --------------------------------------------------------------------------

    def _least_aims(self, rival: Chain | None) -> Aims | None:
        """The least capacity above each request, in step order, then the fewest discarded; ``None`` without a chain.

        What each step needs by itself bounds it; where the rival needs no more, that is the answer.
        """
        alone = [self.steps.best(step, self.pins, limit, STEP_CRITERIA) for step, limit in enumerate(self.limits)]
        vectors: list[Any] = [each.vector for each in alone if each is not None]
        if len(vectors) < len(alone):
            return None
        proven = all(each.proven for each in alone if each is not None)
        least: Aims = tuple(vector[1] for vector in vectors), vectors[0][2]
        if rival is not None and proven and (rival.worth.overs, rival.worth.discarded) == least:
            return least
        self.tell("over_gib_1", least[0][0] if proven else 0)
        exact = System(self.system.space, self._windows(least[0]), self.budget)
        return (self._reached(exact) if proven else None) or self._reached(self.system)

    def _reached(self, system: System) -> Aims | None:
        """The least that chains within the windows of a system need, and which types they have."""
        least: dict[Numbers, Aims] = {}
        for chains, code in system.reach():
            types, aims = tuple(sorted(chains.types)), self._aims(chains, code)
            least[types] = min(least.get(types, aims), aims)
        best = min(least.values(), default=None)
        self._reaching = {types for types, aims in least.items() if aims == best}
        return best

    def _windows(self, overs: Sequence[Gib]) -> list[Window]:
        return [window_of(request, over) for request, over in zip(self.requests, overs, strict=True)]

    def _aims(self, chains: Chains, code: int) -> Aims:
        usable = [whole_gib(gib, self.system.space.scale) for gib in chains.gibs(code)]
        overs = tuple(over_of(request, gib) for request, gib in zip(self.requests, usable, strict=True))
        return overs, self._left_out(chains.codes(code)[0])

    def _left_out(self, code: int) -> int:
        """Modules in the machine that a first step with these counts leaves out."""
        space = self.system.space
        pairs = zip(space.supplies, space.counts(code), strict=True)
        return space.refused_kept + sum(max(0, supply.kept - count) for supply, count in pairs)

    # -- sweeps ----------------------------------------------------------------------------------------------------

    def winners(self, goal: Goal | None) -> list[Winner]:
        """All that share the highest smallest sweep, then the highest sum, fewest bought and least cost.

        With a goal that a chain is known to reach, only what is at least as good is looked for.
        """
        subsets = [types for types in self.system.subsets if self._reaching is None or types in self._reaching]
        bests = {types: each for types in subsets if (each := self._bests(types)) is not None}
        order = sorted(bests, key=lambda types: (min(bests[types]), sum(bests[types])), reverse=True)
        found: list[Winner] = []
        for types in order:
            goal = self._raised(goal, types, bests[types])
        for place, types in enumerate(order):
            if goal is not None and goal.price is None:
                self._tell_of(goal, [bests[each] for each in order[place:]])
            found += self._of_types(types, bests[types], goal)
            if found:
                found = self._leading(found, goal)
                smallest, total = self._sweeps_of(found[0], goal)
                goal = replace(goal, smallest=smallest, total=total) if goal else Goal(smallest, total)
        return found

    def _raised(self, goal: Goal | None, types: Numbers, bests: Sequence[Fraction]) -> Goal | None:
        """The goal, or what a quick chain of some types reaches where that is better."""
        if goal is not None and (goal.price is not None or (min(bests), sum(bests)) <= (goal.smallest, goal.total)):
            return goal
        chain = self.quick(self.system.windows, types)
        if chain is None or chain.worth.discarded != self.discarded:
            return goal
        self.tell("incumbent", chain)
        reached = Goal(chain.worth.smallest_sweep, chain.worth.sum_of_sweeps)
        return reached if goal is None or (reached.smallest, reached.total) > (goal.smallest, goal.total) else goal

    def _tell_of(self, goal: Goal, bests: Iterable[Sequence[Fraction]]) -> None:
        """Say what the sweeps could still become, as long as these sets of types are not decided."""
        most = [(min(each), sum(each, Fraction(0))) for each in bests]
        smallest = max(each[0] for each in most)
        if smallest > goal.smallest:
            self.tell("smallest_sweep", smallest)
            return
        totals = [total for least, total in most if least >= goal.smallest]
        self.tell("sum_of_sweeps", max([*totals, goal.total]))

    def _bests(self, types: Numbers) -> list[Fraction] | None:
        """The highest sweep of each step by itself with these types; ``None`` where a step has no placement."""
        found: list[Fraction] = []
        peak = Fraction(max(self.board.rates_mts) * 8 * self.system.space.channel_count, 1000)
        for step, window in enumerate(self.system.windows):
            criteria = ("advised_broken", "system_sweep")
            alone = self.steps.best(step, self.pins, window, criteria, types=frozenset(types))
            if alone is None:
                return None
            found.append(Fraction(alone.vector[1]) if alone.proven else peak)
        return found

    def _of_types(self, types: Numbers, bests: Sequence[Fraction], goal: Goal | None) -> list[Winner]:
        """The leading chains of one set of types, as far as they are no worse than the goal."""
        before = goal.before if goal else None
        ceiling = min(bests) if before is None else min(before, *bests)
        if goal is not None and (ceiling, sum(bests)) < (goal.smallest, goal.total):
            return []
        if goal is not None and (goal.price is not None or ceiling == goal.smallest):
            return self._above(types, [goal.least(step, bests) for step in self.system.steps], goal)
        floor = goal.smallest if goal is not None else Fraction(0)
        bound = ceiling
        while True:
            found = self._above(types, [bound] * len(bests), goal)
            if found or bound <= floor:
                return found
            bound = max(floor, bound * SHRINK) if bound > ceiling / 50 else floor

    def _above(self, types: Numbers, least: Sequence[Fraction], goal: Goal | None) -> list[Winner]:
        """The leading chains of which every step sweeps at least so fast."""
        chains = self.system.chains(types)
        price = goal.price if goal else None
        return self._leading(
            [
                winner
                for winner in self.system.above(types, least)
                if (self.discarded is None or self._left_out(chains.codes(winner.code)[0]) == self.discarded)
                and (price is None or self._price(winner) == price)
            ],
            goal,
        )

    def _sweeps_of(self, winner: Winner, goal: Goal | None) -> tuple[Fraction, Fraction]:
        before = goal.before if goal else None
        smallest = min(winner.sweeps) if before is None else min(before, *winner.sweeps)
        return smallest, sum(winner.sweeps, Fraction(0))

    def _leading(self, winners: Sequence[Winner], goal: Goal | None) -> list[Winner]:
        """Those that share the best figures."""
        ranked = []
        for winner in winners:
            smallest, total = self._sweeps_of(winner, goal)
            ranked.append(((-smallest, -total, *self._price(winner)), winner))
        best = min((rank for rank, _ in ranked), default=None)
        return [winner for rank, winner in ranked if rank == best]
