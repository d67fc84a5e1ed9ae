"""The best chain of placements in which later steps only add modules, exact over the whole chain.

The order is gone through criterion by criterion. Capacities and modules follow from counts: which counts every step
can have together is asked of all chains of channel loads, without figures. Sweeps are decided by drawing the growth of
each socket within a time bound for each step; the bounds come from the best chain known so far and from what each step
could reach by itself, and they only ever leave out what is worse. Then the first step is taken, the best in board
order of all that begin a best chain, and the rest is decided again with its modules in place.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, NamedTuple, TypeVar

from dimmplan.chain import NO_RATE, Bounds, ChainProfile, Chains, Numbers
from dimmplan.model.board import Board
from dimmplan.model.request import Request
from dimmplan.pins import PinnedSpace, Pins, all_of, staying, within
from dimmplan.solve.budget import Budget
from dimmplan.solve.evaluate import content_of
from dimmplan.solve.space import SocketShape
from dimmplan.steps import (
    STEP_CRITERIA,
    Chain,
    Content,
    Steps,
    Window,
    Worth,
    board_order,
    chain_of,
    over_of,
    whole_gib,
    window_of,
)
from dimmplan.units import Gib

T = TypeVar("T")
NONE: frozenset[str] = frozenset()
SHRINK = Fraction(4, 5)
"""Factor by which a bound on sweeps falls while nothing has been found above it."""

Front = dict[int, list[tuple[Numbers, Numbers]]]
"""Total chain code to the rates and times that no other way to reach it beats."""


class Winner(NamedTuple):
    """Chains of some types that share all that their worth depends on."""

    types: Numbers
    code: int
    rates: Numbers
    times: Numbers
    sweeps: tuple[Fraction, ...]


@dataclass(frozen=True, slots=True)
class Goal:
    """What a best chain is known to reach; ``before`` is the smallest sweep of the steps that are settled already."""

    before: Fraction | None
    smallest: Fraction
    total: Fraction
    bought: int | None = None
    cost: Fraction | None = None

    def least(self, step: int, bests: Sequence[Fraction]) -> Fraction:
        """No step of a chain as good as the goal sweeps slower than this."""
        return max(self.smallest, self.total - sum(bests[:step], Fraction(0)) - sum(bests[step + 1 :], Fraction(0)))


class Adding:
    """Chains of some steps over slots that are pinned at the beginning; ``limits`` are the windows of capacity.

    ``tell`` is told what is being decided and the best that it could still become.
    """

    def __init__(
        self,
        board: Board,
        requests: Sequence[Request],
        limits: Sequence[Window],
        pins: Pins,
        budget: Budget,
        tell: Callable[[str, Any], None],
    ) -> None:
        self.board = board
        self.requests = requests
        self.limits = list(limits)
        self.pins = pins
        self.budget = budget
        self.tell = tell
        self.steps = Steps(board, requests)
        self.space = PinnedSpace(board, requests[0], pins)
        self.count = len(requests)
        self.discarded: int | None = None
        """Where set, what the first step may leave out of the machine."""
        self._chains: dict[Numbers, Chains] = {}

    # -- the whole -------------------------------------------------------------------------------------------------

    def best(self, incumbent: Chain | None) -> Chain | None:
        """The best chain where it comes before ``incumbent``, else ``None``. Raises ``EffortSpent``."""
        if not self.space.types or any(row.severity == "error" for row in self.space.fitted_breaches()):
            return None
        rival = min(filter(None, (incumbent, self.quick())), key=lambda chain: chain.key, default=None)
        if rival is not None:
            self.tell("incumbent", rival)
        aims = self._least_overs(rival)
        if aims is None:
            return None
        overs, self.discarded = aims
        if rival is not None and (overs, self.discarded) > (rival.worth.overs, rival.worth.discarded):
            return None
        self.limits = [window_of(request, over) for request, over in zip(self.requests, overs, strict=True)]
        same = rival is not None and (overs, self.discarded) == (rival.worth.overs, rival.worth.discarded)
        goal = Goal(None, rival.worth.smallest_sweep, rival.worth.sum_of_sweeps) if rival and same else None
        winners = self.winners(goal)
        if not winners:
            return None
        found = chain_of(self.board, self.requests, list(self._settle(winners)))
        return found if rival is None or found.key <= rival.key else None

    def _settle(self, winners: list[Winner]) -> Iterator[Content]:
        """The steps of the best chain, one after another: each the first in board order that begins a best one."""
        contents = [(self._first(winner), winner) for winner in winners]
        content, winner = min(contents, key=lambda pair: board_order(self.board, pair[0]))
        yield content
        if self.count == 1:
            return
        chains = self._chains[winner.types]
        bought, cost = self._price(chains.codes(winner.code)[-1])
        first = winner.sweeps[0]
        rest = Adding(
            self.board, self.requests[1:], self.limits[1:], all_of(self.pins, staying(content)), self.budget, self.tell
        )
        sums = {sum(each.sweeps, Fraction(0)) for each in winners}
        smallest = min(winner.sweeps)
        goal = Goal(first, smallest, sums.pop() - first, bought, cost)
        yield from rest._settle(rest.winners(goal))

    def _price(self, code: int) -> tuple[int, Fraction]:
        """Modules bought and their cost, from the counts of the last step."""
        pairs = list(zip(self.space.supplies, self.space.counts(code), strict=True))
        bought = sum(max(0, count - supply.kept) for supply, count in pairs)
        priced = all(supply.priced for supply in self.requests[0].supplies)
        return bought, sum((supply.cost(n) for supply, n in pairs), Fraction(0)) if priced else Fraction(0)

    # -- a first chain ---------------------------------------------------------------------------------------------

    def quick(self) -> Chain | None:
        """A chain to start from: step by step from the first on, or from the last one back; whichever is better."""
        found: list[Chain] = []
        for contents in (self._forward(), self._backward()):
            if contents is not None:
                found.append(chain_of(self.board, self.requests, contents))
        return min(found, key=lambda chain: chain.key, default=None)

    def _forward(self) -> list[Content] | None:
        pins, contents = self.pins, []
        for step in range(self.count):
            alone = self.steps.best(step, pins, self.limits[step], STEP_CRITERIA)
            if alone is None:
                return None
            contents.append(alone.content)
            pins = all_of(self.pins, staying(alone.content))
        return contents

    def _backward(self) -> list[Content] | None:
        pins, contents = self.pins, []
        for step in reversed(range(self.count)):
            alone = self.steps.best(step, pins, self.limits[step], STEP_CRITERIA)
            if alone is None:
                return None
            contents.insert(0, alone.content)
            pins = all_of(self.pins, within(self.board, alone.content))
        return contents

    # -- capacities and discarded modules --------------------------------------------------------------------------

    def _least_overs(self, rival: Chain | None) -> tuple[tuple[Gib, ...], int] | None:
        """The least capacity above each request, in step order, then the fewest discarded; ``None`` without a chain."""
        alone = [
            self.steps.best(step, self.pins, self.limits[step], STEP_CRITERIA[: 3 if step == 0 else 2])
            for step in range(self.count)
        ]
        if any(each is None for each in alone):
            return None
        overs: tuple[Any, ...] = tuple(each.vector[1] for each in alone if each)
        discarded: Any = alone[0].vector[2] if alone[0] else 0
        proven = all(each.proven for each in alone if each)
        if rival is not None and proven and (rival.worth.overs, rival.worth.discarded) == (overs, discarded):
            return overs, discarded
        self.tell("over_gib_1", overs[0] if proven else 0)
        return min((self._aims(chains, code) for chains, code in self.reach()), default=None)

    def _aims(self, chains: Chains, code: int) -> tuple[tuple[Gib, ...], int]:
        usable = [whole_gib(gib, self.space.scale) for gib in chains.gibs(code)]
        overs = tuple(over_of(request, gib) for request, gib in zip(self.requests, usable, strict=True))
        return overs, self._left_out(chains.codes(code)[0])

    def _left_out(self, code: int) -> int:
        """Modules in the machine that a first step with these counts leaves out."""
        pairs = zip(self.space.supplies, self.space.counts(code), strict=True)
        return self.space.refused_kept + sum(max(0, supply.kept - count) for supply, count in pairs)

    def reach(self) -> Iterator[tuple[Chains, int]]:
        """Every total chain code within the limits that some chain has; no figures."""
        for types in self.subsets():
            chains = self.chains(types)
            lists = [[_Coded(code) for code in chains.reach(shape)] for shape in self._shapes()]
            for split, times in self._alike(chains, lists):
                totals = {0}
                for codes in split:
                    self.budget.spend(len(totals) * len(codes) // 16 + 1)
                    totals = {total + each.code * times for total in totals for each in codes}
                for total in totals:
                    if self._counts(chains, total):
                        yield chains, total

    def _counts(self, chains: Chains, code: int) -> bool:
        """True where capacities, stock and what is left out of the machine are as wanted."""
        scale = self.space.scale
        for gib, window in zip(chains.gibs(code), self.limits, strict=True):
            if not window.low * scale <= gib <= window.high * scale:
                return False
        codes = chains.codes(code)
        last = zip(self.space.supplies, self.space.counts(codes[-1]), strict=True)
        if any(supply.available is not None and count > supply.available for supply, count in last):
            return False
        return self.discarded is None or self._left_out(codes[0]) == self.discarded

    # -- types, shapes, sockets that must be alike -----------------------------------------------------------------

    def subsets(self) -> list[Numbers]:
        """Sets of types that a chain may use, the largest only: what uses fewer types is among them."""
        found: list[Numbers] = []
        for size in range(min(self.requests[0].max_types, len(self.space.types)), 0, -1):
            found += [types for types in self.space.subsets(size, NONE) if not any(set(types) < set(o) for o in found)]
        return found

    def chains(self, types: Numbers) -> Chains:
        """The chains of a set of types."""
        if types not in self._chains:
            self._chains[types] = Chains(self.space, self.count, types, self.budget)
        return self._chains[types]

    def _shapes(self) -> list[SocketShape]:
        """The shape of each fitted socket; one for all where they are to hold the same."""
        if not any(row.what == "population" for row in self.space.alike_rows(NONE)):
            return self.space.shapes
        joined = self.space.joined_shape()
        return [joined] if joined is not None else []

    def _alike(self, chains: Chains, lists: Sequence[Sequence[T]]) -> Iterator[tuple[list[list[T]], int]]:
        """The choices of each socket, split by what the sockets must share; and how many sockets one choice stands for.

        What is listed has a chain code.
        """
        if not lists:
            return
        rows = {row.what for row in self.space.alike_rows(NONE)}
        times = len(self.space.sockets) if "population" in rows else 1
        measures = sorted(rows - {"population"})
        if times > 1 or not measures:
            yield [list(each) for each in lists], times
            return

        def shared(entry: Any) -> tuple[int, ...]:
            measure: dict[str, Callable[[int], int]] = {
                "capacity": self.space.installed_gib,
                "count": lambda code: sum(self.space.counts(code)),
            }
            return tuple(measure[what](code) for what in measures for code in chains.codes(entry.code))

        grouped = [_by(shared, each) for each in lists]
        for key in sorted(set.intersection(*(set(each) for each in grouped))):
            yield [each[key] for each in grouped], times

    # -- sweeps ----------------------------------------------------------------------------------------------------

    def winners(self, goal: Goal | None) -> list[Winner]:
        """All that share the highest smallest sweep, then the highest sum, fewest bought and least cost.

        With a goal that a chain is known to reach, only what is at least as good is looked for.
        """
        bests = {types: bests for types in self.subsets() if (bests := self._bests(types)) is not None}
        order = sorted(bests, key=lambda types: (min(bests[types]), sum(bests[types])), reverse=True)
        found: list[Winner] = []
        for place, types in enumerate(order):
            if goal is not None and goal.bought is None:
                self._tell_of(goal, [bests[each] for each in order[place:]])
            found += self._of_types(types, bests[types], goal)
            if found:
                found = _leading(found, goal.before if goal else None, self._price_of)
                before = goal.before if goal else None
                smallest, total, _, _ = _rank(found[0], before, self._price_of)
                goal = Goal(before, smallest, total, goal.bought if goal else None, goal.cost if goal else None)
        return found

    def _price_of(self, winner: Winner) -> tuple[int, Fraction]:
        return self._price(self.chains(winner.types).codes(winner.code)[-1])

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
        peak = Fraction(max(self.board.rates_mts) * 8 * self.space.channel_count, 1000)
        for step, window in enumerate(self.limits):
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
        if goal is not None and ceiling == goal.smallest:
            return self._above(types, [goal.least(step, bests) for step in range(self.count)], goal)
        floor = goal.smallest if goal is not None else Fraction(0)
        bound = ceiling
        while True:
            found = self._above(types, [bound] * self.count, goal)
            if found or bound <= floor:
                return found
            bound = max(floor, bound * SHRINK) if bound > ceiling / 50 else floor

    def _above(self, types: Numbers, least: Sequence[Fraction], goal: Goal | None) -> list[Winner]:
        """The leading chains of which every step sweeps at least so fast."""
        chains = self.chains(types)
        found: list[Winner] = []
        lists = self._drawn(chains, self._bounds(least), self.limits)
        for split, times in self._alike(chains, lists) if lists else ():
            for code, front in self._merged(chains, split, times, least).items():
                if not self._counts(chains, code):
                    continue
                if goal is not None and goal.bought is not None:
                    if self._price(chains.codes(code)[-1]) != (goal.bought, goal.cost):
                        continue
                for rates, duration in front:
                    sweeps = self._sweeps(chains.gibs(code), rates, duration)
                    if all(sweep >= each for sweep, each in zip(sweeps, least, strict=True)):
                        found.append(Winner(types, code, rates, duration, sweeps))
        return _leading(found, goal.before if goal else None, self._price_of)

    def _bounds(self, least: Sequence[Fraction]) -> Numbers:
        """The longest time of each step in which its largest capacity is swept so fast."""
        scale, unit = self.space.scale, self.space.rate_unit * 8
        return tuple(
            int(window.high * scale * unit / (1000 * sweep)) if sweep else 1 << 90
            for window, sweep in zip(self.limits, least, strict=True)
        )

    def _time(self, rate: int, duration: int) -> int:
        return duration if rate == NO_RATE else duration * (self.space.rate_unit // rate)

    def _sweeps(self, gibs: Numbers, rates: Numbers, times: Numbers) -> tuple[Fraction, ...]:
        unit = self.space.rate_unit * 8
        return tuple(
            Fraction(gib * unit, 1000 * self._time(rate, time))
            for gib, rate, time in zip(gibs, rates, times, strict=True)
        )

    def _drawn(self, chains: Chains, most_times: Numbers, windows: Sequence[Window]) -> list[list[ChainProfile]] | None:
        """The growth of each socket, within what the others leave to it; ``None`` where one has none."""
        shapes, scale = self._shapes(), self.space.scale
        times = len(self.space.sockets) if len(shapes) < len(self.space.sockets) else 1
        most = [chains.most_gibs(shape, most_times) for shape in shapes]
        least = [chains.least_gibs(shape) for shape in shapes]
        known: dict[SocketShape, list[ChainProfile]] = {}
        for index, shape in enumerate(shapes):
            lows, highs = [], []
            for step, window in enumerate(windows):
                others = [each[step] for place, each in enumerate(most) if place != index and each is not None]
                rest = [each[step] for place, each in enumerate(least) if place != index]
                lows.append(-(-(int(window.low * scale) - sum(others)) // times))
                highs.append((int(window.high * scale) - sum(rest)) // times)
            if most[index] is None:
                return None
            if shape not in known:
                known[shape] = chains.profiles(shape, Bounds(tuple(lows), tuple(highs), most_times))
            if not known[shape]:
                return None
        return [known[shape] for shape in shapes]

    def _merged(
        self, chains: Chains, lists: Sequence[Sequence[ChainProfile]], times: int, least: Sequence[Fraction]
    ) -> Front:
        """The sockets put together: for each total, the rates and times that nothing beats."""
        bounds = self._bounds(least)
        total: Front = {0: [((NO_RATE,) * self.count, (0,) * self.count)]}
        for index, profiles in enumerate(lists):
            front = _front(profiles)
            rest = [self._range(lists[index + 1 :], step) for step in range(self.count)]
            merged: Front = {}
            for code, entries in total.items():
                self.budget.spend(len(front))
                for more, others in front.items():
                    both = code + more * times
                    if not self._can_reach(chains.gibs(both), rest):
                        continue
                    held = merged.setdefault(both, [])
                    for one in entries:
                        for other in others:
                            rates, spans = tuple(map(min, one[0], other[0])), tuple(map(max, one[1], other[1]))
                            if all(self._time(r, t) <= b for r, t, b in zip(rates, spans, bounds, strict=True)):
                                _keep(held, (rates, spans))
            total = {code: entries for code, entries in merged.items() if entries}
        return total

    @staticmethod
    def _range(lists: Sequence[Sequence[ChainProfile]], step: int) -> tuple[int, int]:
        least = sum(min(profile.gibs[step] for profile in each) for each in lists)
        return least, sum(max(profile.gibs[step] for profile in each) for each in lists)

    def _can_reach(self, gibs: Numbers, rest: Sequence[tuple[int, int]]) -> bool:
        scale = self.space.scale
        for gib, window, (least, most) in zip(gibs, self.limits, rest, strict=True):
            if gib + least > window.high * scale or gib + most < window.low * scale:
                return False
        return True

    # -- board order -----------------------------------------------------------------------------------------------

    def _first(self, winner: Winner) -> Content:
        """The first step of a winner that comes first in board order: socket by socket, what can still be completed."""
        chains = self.chains(winner.types)
        exact = [Window(gib, gib) for gib in (whole_gib(g, self.space.scale) for g in chains.gibs(winner.code))]
        bounds = tuple(map(self._time, winner.rates, winner.times))
        found: list[tuple[bytes, ...]] = []
        lists = self._drawn(chains, bounds, exact) or []
        kept = [[p for p in each if _within(p, winner)] for each in lists]
        for split, times in self._alike(chains, kept) if all(kept) else ():
            texts = self._texts(split, times, winner.code)
            found += [texts * times] if texts else []
        return {slot: None for slot in self.board.slots} | content_of(self.space, max(found))

    def _texts(self, lists: Sequence[Sequence[ChainProfile]], times: int, target: int) -> tuple[bytes, ...]:
        tails: list[set[int]] = [{0}]
        for profiles in reversed(lists):
            steps = {profile.code * times for profile in profiles}
            self.budget.spend(len(tails[-1]))
            tails.append({total + step for total in tails[-1] for step in steps if total + step <= target})
        tails.reverse()
        texts: list[bytes] = []
        left = target
        for profiles, tail in zip(lists, tails[1:], strict=True):
            chosen = next((p for p in profiles if left - p.code * times in tail), None)
            if chosen is None:
                return ()
            texts.append(chosen.text)
            left -= chosen.code * times
        return tuple(texts)


class _Coded(NamedTuple):
    code: int


def _by(key: Callable[[T], tuple[int, ...]], entries: Iterable[T]) -> dict[tuple[int, ...], list[T]]:
    found: dict[tuple[int, ...], list[T]] = {}
    for entry in entries:
        found.setdefault(key(entry), []).append(entry)
    return found


def _within(profile: ChainProfile, winner: Winner) -> bool:
    rates = all(mine >= theirs for mine, theirs in zip(profile.rates, winner.rates, strict=True))
    return rates and all(mine <= theirs for mine, theirs in zip(profile.times, winner.times, strict=True))


def _front(profiles: Iterable[ChainProfile]) -> Front:
    found: Front = {}
    for profile in profiles:
        _keep(found.setdefault(profile.code, []), (profile.rates, profile.times))
    return found


def _keep(front: list[tuple[Numbers, Numbers]], entry: tuple[Numbers, Numbers]) -> None:
    """Add an entry unless one at least as good is there; drop those that it beats."""
    if any(_beats(each, entry) for each in front):
        return
    front[:] = [each for each in front if not _beats(entry, each)]
    front.append(entry)


def _beats(one: tuple[Numbers, Numbers], other: tuple[Numbers, Numbers]) -> bool:
    return all(a >= b for a, b in zip(one[0], other[0], strict=True)) and all(
        a <= b for a, b in zip(one[1], other[1], strict=True)
    )


def _rank(
    winner: Winner, before: Fraction | None, price: Callable[[Winner], tuple[int, Fraction]]
) -> tuple[Fraction, Fraction, int, Fraction]:
    smallest = min(winner.sweeps) if before is None else min(before, *winner.sweeps)
    return smallest, sum(winner.sweeps, Fraction(0)), *price(winner)


def _leading(
    winners: Sequence[Winner], before: Fraction | None, price: Callable[[Winner], tuple[int, Fraction]]
) -> list[Winner]:
    """Those that share the best figures."""
    ranked = []
    for winner in winners:
        smallest, total, bought, cost = _rank(winner, before, price)
        ranked.append(((-smallest, -total, bought, cost), winner))
    best = min((rank for rank, _ in ranked), default=None)
    return [winner for rank, winner in ranked if rank == best]
