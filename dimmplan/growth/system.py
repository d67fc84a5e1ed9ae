"""Chains of the whole machine: sockets put together, with the types, the stock and the likeness that couple them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple, Protocol, TypeVar

from dimmplan.growth.measure import NO_RATE, Measure
from dimmplan.growth.pins import PinnedSpace
from dimmplan.growth.socket import NONE, Bounds, ChainProfile, Chains, Numbers
from dimmplan.growth.steps import Content, Window, whole_gib
from dimmplan.solve.budget import Budget
from dimmplan.solve.evaluate import content_of
from dimmplan.solve.space import SocketShape

Front = dict[int, list[tuple[Numbers, Numbers]]]
"""Total chain code to the rates and times that no other way to reach it beats."""

Sweeps = tuple[Fraction, ...]
"""System sweep of each step in GB/s."""


class Coded(Protocol):
    """Anything that has a chain code."""

    @property
    def code(self) -> int: ...


C = TypeVar("C", bound=Coded)


class Reached(NamedTuple):
    """A total of one socket that some chain has."""

    code: int


class Winner(NamedTuple):
    """Chains of some types that share all that their worth depends on; rates and times as in ``ChainProfile``."""

    types: Numbers
    code: int
    rates: Numbers
    times: Numbers
    sweeps: Sweeps


class System:
    """Chains over a space; ``windows`` are the usable GiB that count at each step, ``measure`` may be shared."""

    def __init__(
        self, space: PinnedSpace, windows: Sequence[Window], budget: Budget, measure: Measure | None = None
    ) -> None:
        self.space = space
        self.windows = list(windows)
        self.steps = range(len(windows))
        self.budget = budget
        self.measure = measure or Measure(space.board, space.rate_unit)
        self._chains: dict[Numbers, Chains] = {}
        self._subsets: list[Numbers] | None = None

    # -- types, shapes, sockets that must be alike -----------------------------------------------------------------

    @property
    def subsets(self) -> list[Numbers]:
        """Sets of types that a chain may use, the largest only: what uses fewer types is among them."""
        if self._subsets is None:
            found: list[Numbers] = []
            for size in range(min(self.space.request.max_types, len(self.space.types)), 0, -1):
                new = self.space.subsets(size, NONE)
                found += [types for types in new if not any(set(types) < set(other) for other in found)]
            self._subsets = found
        return self._subsets

    def chains(self, types: Numbers) -> Chains:
        """The chains of a set of types."""
        if types not in self._chains:
            self._chains[types] = Chains(self.space, len(self.steps), types, budget=self.budget, measure=self.measure)
        return self._chains[types]

    def _shapes(self) -> list[SocketShape]:
        """The shape of each fitted socket; one for all where they are to hold the same."""
        if not any(row.what == "population" for row in self.space.alike_rows(NONE)):
            return self.space.shapes
        joined = self.space.joined_shape()
        return [joined] if joined is not None else []

    def _times(self) -> int:
        """How many sockets one shape stands for."""
        tied = any(row.what == "population" for row in self.space.alike_rows(NONE))
        return len(self.space.sockets) if tied else 1

    def _alike(self, chains: Chains, lists: Sequence[Sequence[C]]) -> Iterator[list[list[C]]]:
        """The choices of each socket, split by what the sockets must share at every step."""
        if not lists or not all(lists):
            return
        measures = sorted({row.what for row in self.space.alike_rows(NONE)} - {"population"})
        if self._times() > 1 or not measures:
            yield [list(each) for each in lists]
            return

        def shared(entry: C) -> Numbers:
            measure: dict[str, Callable[[int], int]] = {
                "capacity": self.space.installed_gib,
                "count": lambda code: sum(self.space.counts(code)),
            }
            return tuple(measure[what](code) for what in measures for code in chains.codes(entry.code))

        grouped: list[dict[Numbers, list[C]]] = []
        for each in lists:
            by_measure: dict[Numbers, list[C]] = {}
            for entry in each:
                by_measure.setdefault(shared(entry), []).append(entry)
            grouped.append(by_measure)
        for key in sorted(set.intersection(*(set(each) for each in grouped))):
            yield [each[key] for each in grouped]

    # -- which counts ----------------------------------------------------------------------------------------------

    def reach(self) -> Iterator[tuple[Chains, int]]:
        """Every total chain code within the windows and the stock that some chain has; no figures."""
        times = self._times()
        for types in self.subsets:
            chains = self.chains(types)
            lists = [[Reached(code) for code in chains.reach(shape)] for shape in self._shapes()]
            for split in self._alike(chains, lists):
                totals = {0}
                for index, codes in enumerate(split):
                    self.budget.spend(len(totals) * len(codes) // 16 + 1)
                    rest = self._ranges([[chains.gibs(each.code) for each in later] for later in split[index + 1 :]])
                    sums = {total + each.code * times for total in totals for each in codes}
                    totals = {total for total in sums if self._can_reach(chains.gibs(total), rest)}
                yield from ((chains, total) for total in totals if self.in_stock(chains, total))

    def in_stock(self, chains: Chains, code: int) -> bool:
        """True where the modules of the last step are there."""
        pairs = zip(self.space.supplies, self.space.counts(chains.codes(code)[-1]), strict=True)
        return all(supply.available is None or count <= supply.available for supply, count in pairs)

    def _ranges(self, lists: Sequence[Sequence[Numbers]]) -> list[tuple[int, int]]:
        """The least and the most scaled GiB that some sockets can add at each step."""
        return [
            (
                sum(min(gibs[step] for gibs in each) for each in lists),
                sum(max(gibs[step] for gibs in each) for each in lists),
            )
            for step in self.steps
        ]

    def _can_reach(self, gibs: Numbers, rest: Sequence[tuple[int, int]]) -> bool:
        """True where the sockets that are left can bring every step into its window."""
        scale = self.space.scale
        for gib, window, (least, most) in zip(gibs, self.windows, rest, strict=True):
            if gib + least > window.high * scale or gib + most < window.low * scale:
                return False
        return True

    # -- sweeps ----------------------------------------------------------------------------------------------------

    def above(self, types: Numbers, least: Sequence[Fraction]) -> Iterator[Winner]:
        """What chains of some types reach, one for each set of figures, where every step sweeps at least so fast."""
        chains = self.chains(types)
        lists = self._drawn(chains, self._most_times(least), self.windows)
        for split in self._alike(chains, lists):
            for code, front in self._merged(chains, split, least).items():
                if not self.in_stock(chains, code):
                    continue
                for rates, times in front:
                    sweeps = self._sweeps(chains.gibs(code), rates, times)
                    if all(sweep >= each for sweep, each in zip(sweeps, least, strict=True)):
                        yield Winner(types, code, rates, times, sweeps)

    def _most_times(self, least: Sequence[Fraction]) -> Numbers:
        """The longest time of each step in which its largest capacity is swept so fast."""
        scale, unit = self.space.scale, self.space.rate_unit * 8
        return tuple(
            int(window.high * scale * unit / (1000 * sweep)) if sweep else 1 << 90
            for window, sweep in zip(self.windows, least, strict=True)
        )

    def _time(self, rate: int, time: int) -> int:
        return time if rate == NO_RATE else time * (self.space.rate_unit // rate)

    def _sweeps(self, gibs: Numbers, rates: Numbers, times: Numbers) -> Sweeps:
        unit = self.space.rate_unit * 8
        return tuple(
            Fraction(gib * unit, 1000 * self._time(rate, time))
            for gib, rate, time in zip(gibs, rates, times, strict=True)
        )

    def _drawn(self, chains: Chains, most_times: Numbers, windows: Sequence[Window]) -> list[list[ChainProfile]]:
        """The growth of each socket, within what the others leave to it; nothing where one has none."""
        shapes, scale, times = self._shapes(), self.space.scale, self._times()
        most = [gibs for shape in shapes if (gibs := chains.most_gibs(shape, most_times)) is not None]
        if len(most) < len(shapes):
            return []
        least = [chains.least_gibs(shape) for shape in shapes]
        known: dict[SocketShape, list[ChainProfile]] = {}
        for index, shape in enumerate(shapes):
            if shape in known:
                continue
            lows, highs = [], []
            for step, window in enumerate(windows):
                others = sum(each[step] for place, each in enumerate(most) if place != index)
                rest = sum(each[step] for place, each in enumerate(least) if place != index)
                lows.append(-(-(int(window.low * scale) - others) // times))
                highs.append((int(window.high * scale) - rest) // times)
            known[shape] = chains.profiles(shape, Bounds(tuple(lows), tuple(highs), most_times))
            if not known[shape]:
                return []
        return [known[shape] for shape in shapes]

    def _merged(self, chains: Chains, lists: Sequence[Sequence[ChainProfile]], least: Sequence[Fraction]) -> Front:
        """The sockets put together: for each total, the rates and times that nothing beats."""
        bounds, times = self._most_times(least), self._times()
        total: Front = {0: [((NO_RATE,) * len(self.steps), (0,) * len(self.steps))]}
        for index, profiles in enumerate(lists):
            front = _front(profiles)
            rest = self._ranges([[profile.gibs for profile in each] for each in lists[index + 1 :]])
            merged: Front = {}
            for code, entries in total.items():
                self.budget.spend(len(front))
                for more, others in front.items():
                    both = code + more * times
                    if self._can_reach(chains.gibs(both), rest):
                        held = merged.setdefault(both, [])
                        for entry in self._together(entries, others, bounds):
                            _keep(held, entry)
            total = {code: entries for code, entries in merged.items() if entries}
        return total

    def _together(
        self, ones: Iterable[tuple[Numbers, Numbers]], others: Sequence[tuple[Numbers, Numbers]], bounds: Numbers
    ) -> Iterator[tuple[Numbers, Numbers]]:
        """The slower rate and the longer time of each step, where they keep the bounds."""
        for one in ones:
            for other in others:
                rates, times = tuple(map(min, one[0], other[0])), tuple(map(max, one[1], other[1]))
                if all(self._time(r, t) <= b for r, t, b in zip(rates, times, bounds, strict=True)):
                    yield rates, times

    # -- board order -----------------------------------------------------------------------------------------------

    def first_step(self, winner: Winner) -> Content:
        """The first step of a winner that comes first in board order: socket by socket, what can still be completed."""
        chains = self.chains(winner.types)
        usable = [whole_gib(gib, self.space.scale) for gib in chains.gibs(winner.code)]
        most_times = tuple(map(self._time, winner.rates, winner.times))
        lists = self._drawn(chains, most_times, [Window(gib, gib) for gib in usable])
        kept = [[profile for profile in each if _keeps_up(profile, winner)] for each in lists]
        texts = [text for split in self._alike(chains, kept) if (text := self._texts(split, winner.code))]
        content: Content = dict.fromkeys(self.space.board.slots)
        return content | content_of(self.space, max(texts))

    def _texts(self, lists: Sequence[Sequence[ChainProfile]], target: int) -> tuple[bytes, ...]:
        times = self._times()
        tails: list[set[int]] = [{0}]
        for profiles in reversed(lists):
            steps = {profile.code * times for profile in profiles}
            self.budget.spend(len(tails[-1]))
            tails.append({total + step for total in tails[-1] for step in steps if total + step <= target})
        tails.reverse()
        texts: list[bytes] = []
        left = target
        for profiles, tail in zip(lists, tails[1:], strict=True):
            chosen = next((profile for profile in profiles if left - profile.code * times in tail), None)
            if chosen is None:
                return ()
            texts += [chosen.text] * times
            left -= chosen.code * times
        return tuple(texts)


def _keeps_up(profile: ChainProfile, winner: Winner) -> bool:
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
    rates = all(a >= b for a, b in zip(one[0], other[0], strict=True))
    return rates and all(a <= b for a, b in zip(one[1], other[1], strict=True))
