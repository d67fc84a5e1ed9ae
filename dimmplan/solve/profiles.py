"""Every way to populate one socket that fits a window of capacity and a bound on sweep time.

A *profile* stands for all populations that differ only by swapping equal channels or controllers, and carries the
best of them in board order. Times are integers in GiB x (rate unit / MT/s): exact, and comparable between sockets.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Container, Iterator, Sequence
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from dimmplan.interleave import Permitted, depths, regions
from dimmplan.solve.budget import Budget
from dimmplan.solve.groupbound import GroupBound, loading_order
from dimmplan.solve.shapes import ChannelShape, Controllers, SocketShape
from dimmplan.solve.space import Load, Rows, Space

NEVER = 1 << 80
"""A time that no population takes."""
MOST_KEPT = 1 << 15
"""Figures at own rates are remembered of so many amounts."""
BOUND = 1
"""What it counts, in nodes, to bound the time of a socket with listed groups while it is loaded."""
Shape = tuple[tuple[int, ...], ...]
"""A number for each channel, a tuple for each controller."""
NO_REGION = 1 << 20
"""Ways of the narrowest region of an empty socket: it never is the narrowest."""


class Profile(NamedTuple):
    """One socket populated. ``parallel`` is the time that its fullest channel takes.

    ``displaced`` are modules that lie in the socket and do not stay in their slots.
    ``board_order`` has a number for each slot: greater comes first, 0 is empty.
    """

    code: int
    gib: int
    time: int
    parallel: int
    controller_difference: int
    regions: int
    narrowest: int
    low_rank: int
    displaced: int
    board_order: bytes


Time = int | Fraction
"""GiB x (rate unit / MT/s); a fraction where a socket counts with more than its own sweep time."""


class Limit(NamedTuple):
    """How long a socket may be swept, by what it holds.

    With a ``total`` over so many ``sockets`` the time is that of the balanced sweep: a socket that holds less than the
    even share has as much less of it. ``per_gib`` is the most that each GiB may take, whatever the time.
    """

    time: Time
    total: int = 0
    sockets: int = 1
    per_gib: Fraction | None = None

    def most_time(self, gib: int) -> int:
        """The longest sweep time of a socket that holds so much; -1 where it must not hold so little."""
        if not gib and (self.total or self.per_gib):
            return -1
        most = self.time
        if self.total > self.sockets * gib:
            most = most * self.sockets * gib // self.total
        return int(most if self.per_gib is None else min(most, self.per_gib * gib))

    def time_of(self, time: int, gib: int) -> Time:
        """What a socket that holds so much and is swept in a time counts with."""
        return Fraction(time * self.total, self.sockets * gib) if self.total > self.sockets * gib else time

    def holds(self, profile: Profile) -> bool:
        """True for a profile within the limit."""
        return profile.time <= self.most_time(profile.gib)

    def ever_holds(self, time: int, gib: int) -> bool:
        """True where such a socket would be within the limit, were only the time longer."""
        return self.per_gib is None or time <= self.per_gib * gib


class Profiles(NamedTuple):
    """Profiles, and the next time worth trying: no population left out for its time alone comes in before it."""

    profiles: tuple[Profile, ...]
    next_time: Time


class Query(NamedTuple):
    """What a branch of the search wants to know of one socket shape.

    ``rate`` is the system's rate (channels may run no slower), or 0 where sockets or channels run at their own.
    """

    shape: SocketShape
    may_break: Rows
    rate: int
    low_gib: int
    high_gib: int
    limit: Limit


class Depths(NamedTuple):
    """Sum of region depths, number of regions, fewest ways of a region."""

    depth: int
    regions: int
    narrowest: int


class Evaluator:
    """Regions of the sockets of one permitted kind, remembered."""

    def __init__(self, permitted: Permitted) -> None:
        self.grouped = permitted.style == "groups"
        self.pooled = permitted.style == "any"
        self.permitted = permitted
        self.at_own_rates = lru_cache(MOST_KEPT)(self._at_own_rates)
        self.depths = lru_cache(MOST_KEPT)(lambda amounts: Depths(*depths(amounts, permitted)))

    def _at_own_rates(self, amounts: Shape, rates: Shape, unit: int) -> tuple[int, int, int]:
        """Sum of region times, number of regions, fewest ways; each region at the rate of its slowest channel."""
        found = regions(amounts, self.permitted, rates)
        flat = [rate for controller in rates for rate in controller]
        time = sum(r.depth * (unit // min(flat[channel] for channel in r.channels)) for r in found)
        return time, len(found), min(r.ways for r in found)

    def __call__(self, amounts: Sequence[Sequence[int]]) -> Depths:
        """What the regions are like with so many GiB per channel, all at one rate."""
        lists = [tuple(controller) for controller in amounts]
        if self.pooled:
            lists = [tuple(sorted(itertools.chain(*lists), reverse=True))]
        elif not self.grouped:
            lists = sorted((tuple(sorted(controller, reverse=True)) for controller in lists), reverse=True)
        found: Depths = self.depths(tuple(lists))
        return found


@lru_cache(16)
def evaluator_of(permitted: Permitted) -> Evaluator:
    """What is remembered of sockets with those permitted sets; it depends on nothing else."""
    return Evaluator(permitted)


class _Part(NamedTuple):
    """One controller loaded, with what follows from it alone."""

    code: int
    gib: int
    loads: tuple[Load, ...]
    board_order: bytes
    low_rank: int
    displaced: int
    slowest: int
    fullest: int
    time: int
    """That of the channel that works longest."""


def profiles_of(space: Space, budget: Budget, query: Query, codes: Container[int]) -> Profiles:
    """All profiles with those count codes that answer the query, one for each set of figures, in board order."""
    enumeration = _Enumeration(space, budget, query, evaluator_of(query.shape.permitted))
    return Profiles(tuple(enumeration.profiles(codes)), enumeration.next_time())


def steps_of(space: Space, budget: Budget, query: Query, variant: Controllers) -> Iterator[set[int]]:
    """The count codes that each part of a socket can add: a channel by itself, or what some row judges together."""
    enumeration = _Enumeration(space, budget, query, evaluator_of(query.shape.permitted))
    if enumeration.look is not None:
        loads = enumeration.fill(variant, 0, trading=enumeration.look.trades and not any(enumeration.looks))
        yield {sum([load.code for load in each]) for each in loads if enumeration.whole_holds(variant, each)}
        return
    for controller, look in zip(variant, enumeration.looks, strict=True):
        if look is None:
            yield from ({load.code for load in enumeration.loads(channel)} for channel in controller)
        else:
            yield {sum([load.code for load in each]) for each in enumeration.fill((controller,), 0) if look(each)}


class _Enumeration:
    """One query being answered."""

    def __init__(self, space: Space, budget: Budget, query: Query, evaluate: Evaluator) -> None:
        self.space = space
        self.budget = budget
        self.query = query
        self.evaluate = evaluate
        self.unit = space.rate_unit
        self.width = space.width
        self.idle = [0] * query.shape.idle
        self.by_channel = space.board.rate_scope == "channel"
        self._most: dict[int, int] = {}
        """The longest sweep time for a capacity."""
        self._left_out: dict[int, int] = {}
        """The least sweep time of what was left out for its time alone, for a capacity."""
        self._next_load: Time = NEVER
        """The least time of a channel's load that was left out for its time alone."""
        self._loads: dict[ChannelShape, list[Load]] = {}
        self.look = space.close_look(query.shape, query.may_break)
        """Judges the loads of the socket, and ``looks`` those of each controller, where a row looks so closely."""
        places = range(len(query.shape.controllers))
        self.looks = [space.close_look(query.shape, query.may_break, place) for place in places]

    def whole_holds(self, variant: Controllers, loads: Sequence[Load]) -> bool:
        """True where the loads of a socket break no row that looks closely at it, or at a controller of it."""
        its = iter(loads)
        parts = [tuple(itertools.islice(its, len(controller))) for controller in variant]
        return all(look is None or look(part) for look, part in zip(self.looks, parts, strict=True)) and (
            self.look is None or self.look(loads)
        )

    def profiles(self, codes: Container[int]) -> list[Profile]:
        """The answer, one profile for each set of figures."""
        best: dict[tuple[int, ...], Profile] = {}
        grouped = bool(self.query.shape.permitted.groups)
        for variant in self.space.variants(self.query.shape, self.query.may_break):
            for controllers in self._grouped(variant) if grouped else self._even(variant):
                profile = self._profile(controllers, codes)
                if profile is None:
                    continue
                figures = profile[:-2]
                known = best.get(figures)
                if known is None or _order(profile) > _order(known):
                    best[figures] = profile
        return sorted(best.values(), key=lambda profile: profile.board_order, reverse=True)

    def loads(self, shape: ChannelShape) -> list[Load]:
        """The loads of a channel that keep the limits of the query, best board order first."""
        if shape not in self._loads:
            self._loads[shape] = list(self._loads_within(shape))
        return self._loads[shape]

    def _loads_within(self, shape: ChannelShape) -> Iterator[Load]:
        query = self.query
        for load in self.space.loads(shape, query.may_break):
            if load.gib:
                if load.rate < query.rate or load.gib > query.high_gib:
                    continue
                time = self._alone(load)
                if time > query.limit.time:
                    self._next_load = min(self._next_load, time)
                    continue
            yield load

    def _alone(self, load: Load) -> int:
        """How long its channel works for a load: no region has it work faster."""
        return load.gib // self.width * (self.unit // (self.query.rate or load.rate))

    # -- styles even and any: controllers with equal channels are interchangeable ----------------------------------

    def _even(self, variant: Controllers) -> Iterator[Sequence[_Part]]:
        query = self.query
        options = {shapes: self._options(variant, variant.index(shapes)) for shapes in dict.fromkeys(variant)}
        parts_of = [options[shapes] for shapes in variant]
        most = [max((part.gib for part in parts), default=-1) for parts in parts_of]
        if min(most) < 0:
            return
        rest = [sum(most[index:]) for index in range(len(most) + 1)]
        before = [
            max((i for i in range(index) if variant[i] == variant[index]), default=-1) for index in range(len(most))
        ]
        chosen: list[_Part] = [parts[0] for parts in parts_of]
        places = [0] * len(variant)
        last = len(variant) - 1

        def extend(index: int, gib: int, time: int) -> Iterator[Sequence[_Part]]:
            parts = parts_of[index]
            start = places[before[index]] if before[index] >= 0 else 0
            self.budget.spend(len(parts) - start)
            floor, ceiling = query.low_gib - gib - rest[index + 1], query.high_gib - gib
            for place in range(start, len(parts)):
                part = parts[place]
                if floor <= part.gib <= ceiling:
                    longest = max(time, part.time)
                    if longest and self._over((longest, min(query.high_gib, gib + part.gib + rest[index + 1]))):
                        continue
                    chosen[index], places[index] = part, place
                    if index == last:
                        yield chosen
                    else:
                        yield from extend(index + 1, gib + part.gib, longest)

        yield from extend(0, 0, 0)

    def _options(self, variant: Controllers, place: int) -> list[_Part]:
        """Every way to load one controller, best board order first."""
        low, look = self.query.low_gib if len(variant) == 1 else 0, self.looks[place]
        filled = self.fill(variant[place : place + 1], low)
        parts = [self._part(loads) for loads in filled if look is None or look(loads)]
        return sorted(parts, key=lambda part: part.board_order, reverse=True)

    def fill(
        self,
        controllers: Controllers,
        low_gib: int,
        hopeful: Callable[[int, list[Load | None], int, int], bool] | None = None,
        *,
        trading: bool = False,
    ) -> Iterator[tuple[Load, ...]]:
        """Loads for the channels of some controllers, within the capacity window.

        Equal channels of one controller are loaded in falling board order: what differs only by their trading places is
        the same population. Equal channels of two controllers are not the same, since rows and figures see controllers.
        With ``trading`` they are loaded as if they were, for a caller that asks for counts alone.
        ``hopeful`` says of a step, the loads up to it, and the capacities of them alone and with all that can be added,
        whether it may become of use.
        """
        shapes = [shape for controller in controllers for shape in controller]
        kinds = shapes if trading else tagged(controllers)
        order = loading_order(kinds)
        choices = [self.loads(shapes[index]) for index in order]
        if not all(choices):
            return
        same = [kinds[a] == kinds[b] for a, b in itertools.pairwise(order)] + [False]
        most = [max(load.gib for load in loads) for loads in choices]
        rest = [sum(most[index:]) for index in range(len(most) + 1)]
        high_gib, steps = self.query.high_gib, len(order)
        chosen: list[Load | None] = [None] * len(shapes)

        def extend(step: int, gib: int, first: int) -> Iterator[tuple[Load, ...]]:
            if step == steps:
                yield tuple(chosen)  # type: ignore[arg-type]
                return
            loads_here, floor, ceiling = choices[step], low_gib - gib - rest[step + 1], high_gib - gib
            self.budget.spend(1)
            for place in range(first, len(loads_here)):
                load = loads_here[place]
                if floor <= load.gib <= ceiling:
                    chosen[order[step]] = load
                    if hopeful is None or hopeful(step, chosen, gib + load.gib, gib + load.gib + rest[step + 1]):
                        yield from extend(step + 1, gib + load.gib, place if same[step] else 0)
            chosen[order[step]] = None

        yield from extend(0, 0, 0)

    def _part(self, loads: tuple[Load, ...]) -> _Part:
        gibs = [load.gib for load in loads]
        return _Part(
            code=sum([load.code for load in loads]),
            gib=sum(gibs),
            loads=loads,
            board_order=b"".join([load.board_order for load in loads]),
            low_rank=sum([load.low_rank for load in loads]),
            displaced=sum([load.displaced for load in loads]),
            slowest=min([load.rate for load in loads if load.gib], default=0),
            fullest=max(gibs) // self.width,
            time=max([self._alone(load) for load in loads if load.gib], default=0),
        )

    # -- style groups: channels of equal membership are interchangeable, controllers are not -----------------------

    def _grouped(self, variant: Controllers) -> Iterator[Sequence[_Part]]:
        bound = GroupBound(
            self.query.shape.permitted,
            loading_order(tagged(variant)),
            most=[max((load.gib for load in self.loads(shape)), default=0) for its in variant for shape in its],
            rate_unit=self.unit,
            rate=self.query.rate,
            width=self.width,
        )

        def hopeful(step: int, chosen: list[Load | None], gib: int, most: int) -> bool:
            self.budget.spend(BOUND)
            low, high = max(gib, self.query.low_gib, 1), min(most, self.query.high_gib)
            least, later = bound.least_times(step, chosen, gib, (low, high))
            if self.query.limit.per_gib is not None:
                return not self._over((least, high))
            return high < low or not self._over((least, low), (later, high))

        ends = list(itertools.accumulate(len(controller) for controller in variant))
        spans = [slice(a, b) for a, b in zip([0, *ends], ends, strict=False)]
        for loads in self.fill(variant, self.query.low_gib, hopeful):
            if not any(self.looks) or self.whole_holds(variant, loads):
                yield [self._part(loads[span]) for span in spans]

    # -- figures ---------------------------------------------------------------------------------------------------

    def _profile(self, controllers: Sequence[_Part], codes: Container[int]) -> Profile | None:
        code = sum([part.code for part in controllers])
        if code not in codes or (self.look and not self.look([load for part in controllers for load in part.loads])):
            return None
        self.budget.spend(1)
        displaced, board_order = sum([part.displaced for part in controllers]), _board_order(controllers)
        if not code:
            empty = Profile(0, 0, 0, 0, 0, 0, NO_REGION, 0, displaced, board_order)
            return None if self._most_time(0) < 0 else empty
        times = self._times_by_channel(controllers) if self.by_channel else self._times(controllers)
        if times is None:
            return None
        gibs = [*(part.gib for part in controllers), *self.idle]
        low_rank = sum([part.low_rank for part in controllers]) * self.width
        time, parallel, count, narrowest = times
        return Profile(
            code,
            sum(gibs),
            time,
            parallel,
            max(gibs) - min(gibs),
            count,
            narrowest * self.width,
            low_rank,
            displaced,
            board_order,
        )

    def _most_time(self, gib: int) -> int:
        """The longest that a socket with that capacity may be swept."""
        most = self._most.get(gib)
        if most is None:
            most = self._most[gib] = self.query.limit.most_time(gib)
        return most

    def _over(self, *ends: tuple[int, int]) -> bool:
        """True for a time with a capacity beyond the limit of the query; the least of them is remembered.

        With two of them: at both ends of a span, on one side of the even share, and so everywhere between.
        """
        if any(time <= self._most_time(gib) for time, gib in ends):
            return False
        for time, gib in ends:
            self._left_out[gib] = min(self._left_out.get(gib, NEVER), time)
        return True

    def next_time(self) -> Time:
        """No population, and no load of a channel, that was left out for its time alone comes in before that time."""
        limit = self.query.limit
        times = (limit.time_of(time, gib) for gib, time in self._left_out.items() if limit.ever_holds(time, gib))
        return min([self._next_load, *times])

    def _times(self, controllers: Sequence[_Part]) -> tuple[int, int, int, int] | None:
        """Sweep time, time of the fullest channel, number of regions, fewest ways; one rate for the socket."""
        rate = self.query.rate or min([part.slowest for part in controllers if part.slowest])
        unit = self.unit // rate
        fullest = max([part.fullest for part in controllers]) * unit
        gib = sum([part.gib for part in controllers])
        if self._over((fullest, gib)):
            return None
        width = self.width
        depth, count, narrowest = self.evaluate([[load.gib // width for load in part.loads] for part in controllers])
        time = depth * unit
        return None if self._over((time, gib)) else (time, fullest, count, narrowest)

    def _times_by_channel(self, controllers: Sequence[_Part]) -> tuple[int, int, int, int] | None:
        """As ``_times``, each channel at a rate of its own and each region at its slowest channel's.

        Rates decide among sets that are alike otherwise, so that the depths are those of one rate: no region is faster
        than its depth at the fastest rate.
        """
        alone, gib = max([part.time for part in controllers]), sum([part.gib for part in controllers])
        if self._over((alone, gib)):
            return None
        amounts = tuple(tuple(load.gib // self.width for load in part.loads) for part in controllers)
        loads = [load for part in controllers for load in part.loads if load.gib]
        if self._over((self.evaluate(amounts).depth * (self.unit // max(load.rate for load in loads)), gib)):
            return None
        slowest = min(load.rate for load in loads)
        rates = tuple(tuple(load.rate or slowest for load in part.loads) for part in controllers)
        time, count, narrowest = self.evaluate.at_own_rates(amounts, rates, self.unit)
        return None if self._over((time, gib)) else (time, alone, count, narrowest)


def _order(profile: Profile) -> tuple[int, bytes]:
    """Which of two profiles of equal figures comes first: the greater."""
    return -profile.displaced, profile.board_order


def _board_order(controllers: Sequence[_Part]) -> bytes:
    return b"".join([part.board_order for part in controllers])


def tagged(controllers: Controllers) -> list[tuple[int, ChannelShape]]:
    """The shape of each channel with its controller: only channels of one controller are interchangeable."""
    return [(place, shape) for place, controller in enumerate(controllers) for shape in controller]
