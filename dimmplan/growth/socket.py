"""Every way in which one socket can grow, step by step, when later steps only add modules.

A *chain load* is what one channel holds at each step: nothing that lies there ever moves. Chain loads of equal
channels are interchangeable just as loads are, so growth is drawn like a single placement, with a window of capacity
and a bound on sweep time for each step. Count codes of the steps are carried as one integer, the *chain code*.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from operator import add, le
from typing import NamedTuple

from dimmplan.growth.measure import NO_RATE, Measure
from dimmplan.growth.pins import PinnedSpace
from dimmplan.solve.budget import Budget
from dimmplan.solve.groupbound import group_bound, loading_order
from dimmplan.solve.profiles import loads_mirror
from dimmplan.solve.space import ChannelShape, Load, SocketShape

Numbers = tuple[int, ...]
"""One number for each step."""

Shapes = tuple[ChannelShape, ...]
"""One channel at each step; its prescribed pattern may differ from step to step."""

NONE: frozenset[str] = frozenset()


class ChainLoad(NamedTuple):
    """What a channel holds at each step."""

    code: int
    gibs: Numbers
    loads: tuple[Load, ...]


class ChainProfile(NamedTuple):
    """One socket at each step, rates and times as ``Measure`` has them; ``text`` is board order at the first step."""

    code: int
    gibs: Numbers
    rates: Numbers
    times: Numbers
    text: bytes


@dataclass(frozen=True, slots=True)
class Bounds:
    """Scaled capacity of one socket at each step, and the longest sweep time of each step."""

    lows: Numbers
    highs: Numbers
    most_times: Numbers


class _Part(NamedTuple):
    """One controller."""

    code: int
    gibs: Numbers
    loads: tuple[ChainLoad, ...]
    text: bytes


class Chains:
    """All chains of some types over a space; the types that lie there already are among them."""

    def __init__(self, space: PinnedSpace, steps: int, types: Numbers, *, budget: Budget, measure: Measure) -> None:
        self.space = space
        self.steps = steps
        self.types = frozenset(types)
        self.budget = budget
        self.measure = measure
        self.place = space.loss_place << 24
        """Place value of a step in a chain code: above all counts and what rank sparing takes."""
        self._loads: dict[Shapes, list[ChainLoad]] = {}
        self._codes: dict[int, Numbers] = {}
        self._allowed: dict[SocketShape, dict[int, bool]] = {}
        self._reach: dict[SocketShape, frozenset[int]] = {}

    def codes(self, code: int) -> Numbers:
        """The count code of each step."""
        known = self._codes.get(code)
        if known is None:
            left, found = code, []
            for _ in range(self.steps):
                left, digit = divmod(left, self.place)
                found.append(digit)
            known = self._codes[code] = tuple(found)
        return known

    def gibs(self, code: int) -> Numbers:
        """Scaled usable capacity at each step."""
        return tuple(map(self.space.gib, self.codes(code)))

    # -- one channel -----------------------------------------------------------------------------------------------

    def loads(self, shapes: Shapes) -> list[ChainLoad]:
        """Every chain load of a channel, best board order first; one for each set of figures.

        Channels that are to mirror need all of them: identical means slot by slot.
        """
        if shapes not in self._loads:
            mirror = self.space.mirroring is not None
            best: dict[object, ChainLoad] = {}
            for loads in self._grow(shapes):
                code = sum(load.code * self.place**step for step, load in enumerate(loads))
                rates = tuple(load.rate for load in loads)
                texts = tuple(load.text for load in loads) if mirror else ()
                best.setdefault((code, rates, texts), ChainLoad(code, tuple(load.gib for load in loads), loads))
            self._loads[shapes] = list(best.values())
        return self._loads[shapes]

    def _grow(self, shapes: Shapes) -> Iterator[tuple[Load, ...]]:
        """Chains of loads, each within the next, in board order of the first, then of the second, and so on."""
        every = [[load for load in self.space.arrangements(s) if load.types <= self.types] for s in shapes]

        def extend(before: tuple[Load, ...]) -> Iterator[tuple[Load, ...]]:
            if len(before) == len(shapes):
                yield before
                return
            for load in every[len(before)]:
                if not before or all(not a or a == b for a, b in zip(before[-1].text, load.text, strict=True)):
                    yield from extend((*before, load))

        yield from extend(())

    # -- one socket: which counts ----------------------------------------------------------------------------------

    def reach(self, shape: SocketShape) -> frozenset[int]:
        """Chain codes that some growth of the socket has, its rules obeyed at every step; no figures."""
        if shape not in self._reach:
            found: set[int] = set()
            for variant in self._variants(shape):
                sums = {0}
                for steps in self._steps_of(variant):
                    self.budget.spend(len(sums))
                    sums = {total + step for total in sums for step in steps}
                found |= sums
            allowed = self._allowed_of(shape)
            self._reach[shape] = frozenset(code for code in found if self._allows(shape, allowed, code))
        return self._reach[shape]

    def _steps_of(self, variant: Sequence[tuple[Shapes, ...]]) -> Iterator[set[int]]:
        """The chain codes that each part of a socket can add: a channel, or what has to mirror together."""
        row = self.space.mirroring
        if row is None:
            for shapes in itertools.chain(*variant):
                yield {load.code for load in self.loads(shapes)}
            return
        whole = (tuple(itertools.chain(*variant)),)
        for part in variant if row.within == "controller" else whole:
            yield {code for code, _, loads in self._fill(part, self.open(), None) if self._mirrors(loads)}

    def open(self) -> Bounds:
        """Bounds that bind nothing."""
        return Bounds((0,) * self.steps, (1 << 60,) * self.steps, (1 << 90,) * self.steps)

    def _allowed_of(self, shape: SocketShape) -> dict[int, bool]:
        """What is known of counts at one step of a socket: looked up once, since shapes are slow to look up."""
        return self._allowed.setdefault(shape, {})

    def _allows(self, shape: SocketShape, allowed: dict[int, bool], code: int) -> bool:
        """True where the counts of every step obey the rules of the socket."""
        for each in self.codes(code):
            allows = allowed.get(each)
            if allows is None:
                allows = allowed[each] = self.space.socket_allows(shape, each, NONE)
            if not allows:
                return False
        return True

    def _variants(self, shape: SocketShape) -> Iterator[tuple[tuple[Shapes, ...], ...]]:
        """The controllers of a socket at each step; several where an order of filling is prescribed."""
        variants = self.space.variants(shape, NONE)
        for chosen in itertools.combinations_with_replacement(variants, self.steps):
            yield tuple(tuple(zip(*controllers, strict=True)) for controllers in zip(*chosen, strict=True))

    # -- one socket: all figures -----------------------------------------------------------------------------------

    def profiles(self, shape: SocketShape, bounds: Bounds) -> list[ChainProfile]:
        """Every growth of a socket within the bounds, one for each set of figures, in board order of the first step."""
        best: dict[tuple[object, ...], ChainProfile] = {}
        grouped, allowed = bool(shape.permitted.groups), self._allowed_of(shape)
        for variant in self._variants(shape):
            for parts in self._listed(shape, variant, bounds) if grouped else self._even(variant, bounds):
                profile = self._profile(shape, allowed, parts, bounds)
                if profile is not None:
                    known = best.get(profile[:-1])
                    if known is None or profile.text > known.text:
                        best[profile[:-1]] = profile
        return sorted(best.values(), key=lambda profile: profile.text, reverse=True)

    def most_gibs(self, shape: SocketShape, most_times: Numbers) -> Numbers | None:
        """The most that a socket can hold at each step when no channel takes longer; ``None`` where none is legal."""
        bounds = Bounds((0,) * self.steps, (1 << 60,) * self.steps, most_times)
        found: Numbers | None = None
        for variant in self._variants(shape):
            loads = [self._within(shapes, bounds) for shapes in itertools.chain(*variant)]
            if all(loads):
                most = tuple(sum(max(load.gibs[i] for load in each) for each in loads) for i in range(self.steps))
                found = most if found is None else tuple(map(max, found, most))
        return found

    def least_gibs(self, shape: SocketShape) -> Numbers:
        """The least that a socket can hold at each step: what lies there already."""
        found: list[Numbers] = []
        for variant in self._variants(shape):
            loads = [self.loads(shapes) for shapes in itertools.chain(*variant)]
            if all(loads):
                found.append(
                    tuple(sum(min(load.gibs[i] for load in each) for each in loads) for i in range(self.steps))
                )
        return tuple(min(column) for column in zip(*found, strict=True)) if found else (0,) * self.steps

    def _within(self, shapes: Shapes, bounds: Bounds) -> list[ChainLoad]:
        """The chain loads of a channel that keep the bounds."""
        unit = self.space.rate_unit
        return [
            chain
            for chain in self.loads(shapes)
            if all(
                not load.gib or (load.gib <= high and load.gib * (unit // load.rate) <= most)
                for load, high, most in zip(chain.loads, bounds.highs, bounds.most_times, strict=True)
            )
        ]

    def _fill(
        self,
        shapes: Sequence[Shapes],
        bounds: Bounds,
        hopeful: Callable[[int, list[ChainLoad | None], Numbers], bool] | None,
    ) -> Iterator[tuple[int, Numbers, tuple[ChainLoad, ...]]]:
        """Chain loads for a row of channels, equal ones in falling board order, within the windows."""
        order = loading_order(shapes)
        choices = [self._within(shapes[index], bounds) for index in order]
        if not all(choices):
            return
        same = [shapes[a] == shapes[b] for a, b in itertools.pairwise(order)] + [False]
        limits = list(_limits(choices, bounds))
        chosen: list[ChainLoad | None] = [None] * len(shapes)

        def extend(depth: int, gibs: Numbers, first: int) -> Iterator[tuple[int, Numbers, tuple[ChainLoad, ...]]]:
            if depth == len(order):
                loads: tuple[ChainLoad, ...] = tuple(chosen)  # type: ignore[arg-type]
                yield sum([load.code for load in loads]), gibs, loads
                return
            here, window = choices[depth], limits[depth]
            self.budget.spend(1)
            for place in range(first, len(here)):
                total = tuple(map(add, gibs, here[place].gibs))
                if not _inside(total, window):
                    continue
                chosen[order[depth]] = here[place]
                if hopeful is None or hopeful(depth, chosen, total):
                    yield from extend(depth + 1, total, place if same[depth] else 0)
            chosen[order[depth]] = None

        yield from extend(0, (0,) * self.steps, 0)

    # -- styles even and any: controllers with equal channels are interchangeable ----------------------------------

    def _even(self, variant: Sequence[tuple[Shapes, ...]], bounds: Bounds) -> Iterator[Sequence[_Part]]:
        parts_of = [self._options(shapes, bounds, alone=len(variant) == 1) for shapes in variant]
        if not all(parts_of):
            return
        limits = list(_limits(parts_of, bounds))
        before = [
            max((i for i in range(index) if variant[i] == variant[index]), default=-1) for index in range(len(variant))
        ]
        places = [0] * len(variant)
        chosen = [parts[0] for parts in parts_of]

        def extend(index: int, gibs: Numbers) -> Iterator[Sequence[_Part]]:
            parts, window = parts_of[index], limits[index]
            start = places[before[index]] if before[index] >= 0 else 0
            self.budget.spend(len(parts) - start)
            for place in range(start, len(parts)):
                total = tuple(map(add, gibs, parts[place].gibs))
                if not _inside(total, window):
                    continue
                chosen[index], places[index] = parts[place], place
                if index == len(variant) - 1:
                    yield chosen
                else:
                    yield from extend(index + 1, total)

        yield from extend(0, (0,) * self.steps)

    def _options(self, shapes: tuple[Shapes, ...], bounds: Bounds, *, alone: bool) -> list[_Part]:
        """Every way to grow one controller, one for each set of figures, best board order of the first step first."""
        lows = bounds.lows if alone else (0,) * self.steps
        row, by_channel = self.space.mirroring, self.space.board.rate_scope == "channel"
        best: dict[object, _Part] = {}
        for code, gibs, loads in self._fill(shapes, Bounds(lows, bounds.highs, bounds.most_times), None):
            if row is not None and row.within == "controller" and not self._mirrors(loads):
                continue
            columns = list(zip(*(chain.loads for chain in loads), strict=True))
            amounts = tuple(tuple(sorted([(x.gib, x.rate if by_channel else 0) for x in column])) for column in columns)
            texts = tuple(sorted([tuple(x.text for x in chain.loads) for chain in loads])) if row is not None else ()
            text = b"".join([chain.loads[0].text for chain in loads])
            key = (code, amounts, tuple(map(_slowest, columns)), texts)
            if key not in best or text > best[key].text:
                best[key] = _Part(code, gibs, loads, text)
        return sorted(best.values(), key=lambda part: part.text, reverse=True)

    # -- style groups: no two channels are interchangeable ---------------------------------------------------------

    def _listed(
        self, shape: SocketShape, variant: Sequence[tuple[Shapes, ...]], bounds: Bounds
    ) -> Iterator[Sequence[_Part]]:
        ends = list(itertools.accumulate(len(controller) for controller in variant))
        spans = [slice(a, b) for a, b in zip([0, *ends], ends, strict=False)]
        apart = [
            tuple(ChannelShape(s.slots, (*s.membership, -1 - index), s.pattern) for s in shapes)
            for index, shapes in enumerate(itertools.chain(*variant))
        ]
        for alone, shapes in zip(apart, itertools.chain(*variant), strict=True):
            self._loads.setdefault(alone, self.loads(shapes))
        if not all(self.loads(shapes) for shapes in apart):
            return
        fastest = max(load.rate for shapes in apart for chain in self.loads(shapes) for load in chain.loads)
        limits = [
            group_bound(
                shape.permitted, loading_order(apart), low_gib=low, rate_unit=self.space.rate_unit, rate=fastest
            )
            for low in bounds.lows
        ]

        def hopeful(depth: int, chosen: list[ChainLoad | None], gibs: Numbers) -> bool:
            times = [
                limit.least_time(depth, [chain and chain.loads[step] for chain in chosen], gibs[step])
                for step, limit in enumerate(limits)
            ]
            return all(map(le, times, bounds.most_times))

        for _, _, loads in self._fill(apart, bounds, hopeful):
            yield [_Part(0, (), loads[span], b"") for span in spans]

    # -- figures ---------------------------------------------------------------------------------------------------

    def _mirrors(self, loads: Sequence[ChainLoad]) -> bool:
        row = self.space.mirroring
        columns = zip(*(chain.loads for chain in loads), strict=True)
        return row is None or all(loads_mirror(column, row) for column in columns)

    def _profile(
        self, shape: SocketShape, allowed: dict[int, bool], parts: Sequence[_Part], bounds: Bounds
    ) -> ChainProfile | None:
        loads = [chain for part in parts for chain in part.loads]
        code = sum([chain.code for chain in loads])
        row = self.space.mirroring
        together = [loads] if row is not None and row.within == "socket" else [part.loads for part in parts]
        if not self._allows(shape, allowed, code) or not all(map(self._mirrors, together)):
            return None
        self.budget.spend(1)
        rates, times = [], []
        for step, most in enumerate(bounds.most_times):
            rate, time = self.measure(shape.permitted, [[chain.loads[step] for chain in part.loads] for part in parts])
            if time * (1 if rate == NO_RATE else self.space.rate_unit // rate) > most:
                return None
            rates.append(rate)
            times.append(time)
        gibs = tuple(sum([chain.gibs[step] for chain in loads]) for step in range(self.steps))
        text = b"".join([chain.loads[0].text for chain in loads])
        return ChainProfile(code, gibs, tuple(rates), tuple(times), text)


def _inside(gibs: Numbers, window: Sequence[tuple[int, int]]) -> bool:
    return all(low <= gib <= high for gib, (low, high) in zip(gibs, window, strict=True))


def _slowest(column: Sequence[Load]) -> int:
    return min((load.rate for load in column if load.gib), default=NO_RATE)


def _limits(choices: Sequence[Sequence[ChainLoad | _Part]], bounds: Bounds) -> Iterator[list[tuple[int, int]]]:
    """For each choice, what the sums may be once it is made, so that the others can still reach the windows."""
    steps = range(len(bounds.lows))
    most = [[max([each.gibs[step] for each in options]) for step in steps] for options in choices]
    least = [[min([each.gibs[step] for each in options]) for step in steps] for options in choices]
    for index in range(len(choices)):
        yield [
            (
                bounds.lows[step] - sum(row[step] for row in most[index + 1 :]),
                bounds.highs[step] - sum(row[step] for row in least[index + 1 :]),
            )
            for step in steps
        ]
