"""Every way to populate one socket that fits a window of capacity and a bound on sweep time.

A *profile* stands for all populations that differ only by swapping equal channels or controllers, and carries the
best of them in board order. Times are integers in GiB x (rate unit / MT/s): exact, and comparable between sockets.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from dimmplan.interleave import Amounts, Permitted, regions
from dimmplan.solve.budget import Budget
from dimmplan.solve.space import ChannelShape, Load, Rows, SocketShape, Space


NO_REGION = 1 << 20
"""Ways of the narrowest region of an empty socket: it never is the narrowest."""


class Profile(NamedTuple):
    """One socket populated. ``parallel`` is the time that its fullest channel takes; ``text`` its board order."""

    code: int
    gib: int
    time: int
    parallel: int
    controller_difference: int
    regions: int
    narrowest: int
    low_rank: int
    text: bytes


@dataclass(frozen=True, slots=True)
class Query:
    """What a branch of the search wants to know of one socket shape.

    ``rate`` is the system's rate (channels may run no slower), or 0 where sockets or channels run at their own.
    """

    shape: SocketShape
    types: tuple[int, ...]
    may_break: Rows
    rate: int
    low_gib: int
    high_gib: int
    most_time: int


class Evaluator:
    """Regions of a socket, remembered: figures depend on capacities alone, up to a common factor."""

    def __init__(self) -> None:
        self._known: dict[tuple[Permitted, Amounts], tuple[int, int, int]] = {}

    def __call__(self, permitted: Permitted, amounts: Amounts) -> tuple[int, int, int]:
        """Sum of region depths, number of regions, fewest ways; GiB per channel at one rate for all."""
        factor = math.gcd(*(amount for controller in amounts for amount in controller))
        if permitted.style == "groups":
            reduced = tuple(tuple(amount // factor for amount in controller) for controller in amounts)
        else:
            reduced = tuple(
                sorted(tuple(sorted((a // factor for a in controller), reverse=True)) for controller in amounts)
            )
        key = (permitted, reduced)
        if key not in self._known:
            found = regions(reduced, permitted)
            self._known[key] = (sum(r.depth for r in found), len(found), min(r.ways for r in found))
        depth, count, narrowest = self._known[key]
        return depth * factor, count, narrowest


class _Part(NamedTuple):
    """One controller loaded (or, for groups, the whole socket so far)."""

    code: int
    gib: int
    loads: tuple[Load, ...]
    text: bytes


class ProfileSource:
    """Generates the profiles of a space."""

    def __init__(self, space: Space, budget: Budget) -> None:
        self.space = space
        self.budget = budget
        self.evaluate = Evaluator()
        self.by_channel = space.board.rate_scope == "channel"

    def profiles(self, query: Query) -> list[Profile]:
        """All profiles that answer the query, one for each set of figures, in board order."""
        best: dict[tuple[int, ...], Profile] = {}
        for variant in self.space.variants(query.shape, query.may_break):
            parts = self._grouped(query, variant) if query.shape.permitted.groups else self._even(query, variant)
            for controllers in parts:
                profile = self._profile(query, controllers)
                if profile is None:
                    continue
                known = best.get(profile[:-1])
                if known is None or profile.text > known.text:
                    best[profile[:-1]] = profile
        return sorted(best.values(), key=lambda profile: profile.text, reverse=True)

    def loads(self, query: Query, shape: ChannelShape) -> list[Load]:
        """The loads of a channel that keep the bounds of the query."""
        unit = self.space.rate_unit
        return [
            load
            for load in self.space.loads(shape, query.types, query.may_break)
            if not load.gib
            or (
                load.rate >= query.rate
                and load.gib * (unit // (query.rate or load.rate)) <= query.most_time
                and load.gib <= query.high_gib
            )
        ]

    # -- styles even and any: controllers with equal channels are interchangeable ----------------------------------

    def _even(self, query: Query, variant: Sequence[tuple[ChannelShape, ...]]) -> Iterator[tuple[_Part, ...]]:
        options = {shapes: self._options(query, shapes, alone=len(variant) == 1) for shapes in dict.fromkeys(variant)}
        most = [max((part.gib for part in options[shapes]), default=-1) for shapes in variant]
        if min(most) < 0:
            return
        rest = [sum(most[index:]) for index in range(len(most) + 1)]

        def extend(
            index: int, chosen: tuple[_Part, ...], gib: int, places: dict[object, int]
        ) -> Iterator[tuple[_Part, ...]]:
            if index == len(variant):
                if gib >= query.low_gib:
                    yield chosen
                return
            shapes = variant[index]
            parts = options[shapes]
            start = places.get(shapes, 0)
            self.budget.spend(len(parts) - start)
            for place in range(start, len(parts)):
                part = parts[place]
                total = gib + part.gib
                if total <= query.high_gib and total + rest[index + 1] >= query.low_gib:
                    yield from extend(index + 1, (*chosen, part), total, {**places, shapes: place})

        yield from extend(0, (), 0, {})

    def _options(self, query: Query, shapes: tuple[ChannelShape, ...], *, alone: bool) -> list[_Part]:
        """Every way to load one controller, one for each set of figures, best board order first."""
        best: dict[object, _Part] = {}
        low = query.low_gib if alone else 0
        for part in self._fill(query, shapes, low, lambda _loads, _gib: True):
            amounts = sorted((load.gib, load.rate if self.by_channel else 0) for load in part.loads)
            low_rank = sum(load.low_rank for load in part.loads)
            slowest = min((load.rate for load in part.loads if load.gib), default=0)
            key = (part.code, tuple(amounts), low_rank, slowest)
            known = best.get(key)
            if known is None or part.text > known.text:
                best[key] = part
        return sorted(best.values(), key=lambda part: part.text, reverse=True)

    def _fill(
        self,
        query: Query,
        shapes: tuple[ChannelShape, ...],
        low_gib: int,
        hopeful: Callable[[list[Load | None], int], bool],
    ) -> Iterator[_Part]:
        """Loads for a row of channels, equal channels loaded in falling board order, within the capacity window."""
        places: dict[ChannelShape, list[int]] = {}
        for index, shape in enumerate(shapes):
            places.setdefault(shape, []).append(index)
        order = [index for indices in places.values() for index in indices]
        choices = {shape: self.loads(query, shape) for shape in places}
        most = [max((load.gib for load in choices[shapes[index]]), default=-1) for index in order]
        if min(most) < 0:
            return
        rest = [sum(most[index:]) for index in range(len(most) + 1)]
        chosen: list[Load | None] = [None] * len(shapes)

        def extend(step: int, gib: int, first: int) -> Iterator[_Part]:
            if step == len(order):
                loads = tuple(load for load in chosen if load is not None)
                code = sum(load.code for load in loads)
                yield _Part(code, gib, loads, b"".join(load.text for load in loads))
                return
            shape = shapes[order[step]]
            loads_here = choices[shape]
            self.budget.spend(1)
            for place in range(first, len(loads_here)):
                load = loads_here[place]
                total = gib + load.gib
                if total > query.high_gib or total + rest[step + 1] < low_gib:
                    continue
                chosen[order[step]] = load
                if hopeful(chosen, total):
                    same = step + 1 < len(order) and shapes[order[step + 1]] == shape
                    yield from extend(step + 1, total, place if same else 0)
            chosen[order[step]] = None

        yield from extend(0, 0, 0)

    # -- style groups: channels of equal membership are interchangeable, controllers are not -----------------------

    def _grouped(self, query: Query, variant: Sequence[tuple[ChannelShape, ...]]) -> Iterator[tuple[_Part, ...]]:
        shapes = tuple(
            ChannelShape(s.slots, (*s.membership, -1 - index), s.pattern)
            for index, controller in enumerate(variant)
            for s in controller
        )
        bound = _GroupBound(query, self.space.rate_unit)
        ends = list(itertools.accumulate(len(controller) for controller in variant))
        for part in self._fill(query, shapes, query.low_gib, bound.hopeful):
            yield tuple(
                _Part(0, sum(load.gib for load in part.loads[a:b]), part.loads[a:b], b"")
                for a, b in zip([0, *ends], ends, strict=False)
            )

    # -- figures ---------------------------------------------------------------------------------------------------

    def _profile(self, query: Query, controllers: tuple[_Part, ...]) -> Profile | None:
        loads = [load for part in controllers for load in part.loads]
        code = sum(load.code for load in loads)
        if not self.space.socket_allows(query.shape, code, query.may_break):
            return None
        self.budget.spend(1)
        if not code:
            return self._empty(loads)
        unit = self.space.rate_unit
        amounts = tuple(tuple(load.gib for load in part.loads) for part in controllers)
        if self.by_channel:
            slowest = min(load.rate for load in loads if load.gib)
            rates = tuple(tuple(load.rate or slowest for load in part.loads) for part in controllers)
            flat = [rate for controller in rates for rate in controller]
            found = regions(amounts, query.shape.permitted, rates)
            time = sum(r.depth * (unit // min(flat[channel] for channel in r.channels)) for r in found)
            count, narrowest = len(found), min(r.ways for r in found)
            parallel = max(load.gib * (unit // load.rate) for load in loads if load.gib)
        else:
            rate = query.rate or min(load.rate for load in loads if load.gib)
            depth, count, narrowest = self.evaluate(query.shape.permitted, amounts)
            time = depth * (unit // rate)
            parallel = max(load.gib for load in loads) * (unit // rate)
        if time > query.most_time:
            return None
        per_controller = [part.gib for part in controllers]
        return Profile(
            code=code,
            gib=sum(per_controller),
            time=time,
            parallel=parallel,
            controller_difference=max(per_controller) - min(per_controller),
            regions=count,
            narrowest=narrowest,
            low_rank=sum(load.low_rank for load in loads),
            text=b"".join(load.text for load in loads),
        )


    @staticmethod
    def _empty(loads: Sequence[Load]) -> Profile:
        """A fitted socket without modules, where the board's rules let it be."""
        return Profile(0, 0, 0, 0, 0, 0, NO_REGION, 0, b"".join(load.text for load in loads))


class _GroupBound:
    """A lower bound on sweep time for listed groups: each GiB waits in the widest set that its channel may yet join."""

    def __init__(self, query: Query, rate_unit: int) -> None:
        permitted = query.shape.permitted
        self.groups = sorted(permitted.groups, key=lambda group: -len(group.channels))
        self.needs_equal = all(group.excess != "layers" for group in permitted.groups)
        self.scale = math.lcm(*(len(group.channels) for group in self.groups))
        self.low_gib = query.low_gib
        self.rate, self.rate_unit = query.rate, rate_unit
        self.most_time = query.most_time * self.scale
        self.channels = query.shape.channels

    def hopeful(self, chosen: list[Load | None], gib: int) -> bool:
        """False where no completion of these loads keeps the time bound."""
        widest = [1] * self.channels
        for group in reversed(self.groups):
            if self._possible(group.channels, group.exclusive, group.excess, chosen):
                for channel in group.channels:
                    widest[channel] = len(group.channels)
        fastest = self.rate_unit // self.rate if self.rate else 0
        time = 0
        widest_open = 1
        for channel, load in enumerate(chosen):
            if load is None:
                widest_open = max(widest_open, widest[channel])
            elif load.gib:
                unit = fastest or self.rate_unit // load.rate
                time += load.gib * unit * (self.scale // widest[channel])
        missing = max(0, self.low_gib - gib)
        return time + missing * fastest * (self.scale // widest_open) <= self.most_time

    def _possible(self, members: tuple[int, ...], exclusive: bool, excess: str, chosen: list[Load | None]) -> bool:
        amounts = {load.gib for channel in members if (load := chosen[channel]) is not None}
        if 0 in amounts or (excess == "none" and self.needs_equal and len(amounts) > 1):
            return False
        if not exclusive:
            return True
        return not any(load is not None and load.gib for c, load in enumerate(chosen) if c not in members)
