"""The exact search: criterion by criterion, over all populations, by bounds that lose nothing.

A *branch* fixes what couples the sockets: the types used, the advised rows that may be broken, the rate of the
system, the total capacity. Inside a branch every criterion is one of three things, and that is what makes it exact
and fast: a figure of the total counts (capacity, cost, modules), a bottleneck over sockets (a threshold that each
socket's profile must keep), or a sum over sockets. A branch that cannot equal the best value so far is dropped.
"""

from __future__ import annotations

import bisect
import heapq
import itertools
import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import combinations
from typing import Any, Literal, NamedTuple

from dimmplan.solve.budget import Budget
from dimmplan.solve.criteria import Criterion, criteria_of
from dimmplan.solve.profiles import Profile, ProfileSource, Query, loads_within, mirrored_codes
from dimmplan.solve.space import ChannelShape, Rows, SocketShape, Space
from dimmplan.solve.sums import reached, sums
from dimmplan.units import Gib

Value = int | Fraction
MOST_GROWTH = 0.25
"""A time bound below which nothing was found widens by this share of itself at most."""
FIRST_STEP = 32
"""At first it widens by one part in so many, then by as much as it lies above the least time."""


class Kind(NamedTuple):
    """Equal sockets: ``places`` are their positions, ``profiles`` what each may hold.

    ``tied`` sockets all hold the same profile.
    """

    shape: SocketShape
    places: tuple[int, ...]
    profiles: tuple[Profile, ...]
    tied: bool = False

    def steps(self) -> list[int]:
        """How often each independent choice counts: once for each socket, or all at once where tied."""
        return [len(self.places)] if self.tied else [1] * len(self.places)


class Branch(NamedTuple):
    """One way to fix what couples the sockets; ``targets`` are the total counts still possible."""

    types: tuple[int, ...]
    may_break: Rows
    rate: int
    kinds: tuple[Kind, ...]
    targets: frozenset[int]
    drawn: bool = False
    """False while profiles are counts of modules only, without figures."""
    summed: tuple[str, ...] = ()
    """Sums over sockets that are part of the totals already: regions, low-rank channels."""


class Found(NamedTuple):
    """A best placement: texts of the sockets in board order, and the vector that decided, as far as it went."""

    texts: tuple[bytes, ...]
    types: tuple[int, ...]
    code: int
    vector: tuple[Value, ...]

    @property
    def text(self) -> bytes:
        """All slots in board order."""
        return b"".join(self.texts)


class Aim(NamedTuple):
    """Which placements are asked for: usable capacities in GiB, some total counts left out, perhaps only some types."""

    low_gib: int
    high_gib: int
    without: frozenset[int] = frozenset()
    types: frozenset[int] | None = None


class _Job(NamedTuple):
    """A branch at one total capacity, ordered by how fast it may be: ``hope`` is minus the sweep nothing beats."""

    hope: Fraction
    gib: int
    number: int
    least: int
    bound: int
    branch: Branch


class Search:
    """One exact search over a space. ``budget`` counts nodes; profiles and regions are remembered between aims.

    ``bounds=False`` draws every population of every branch; the answer is the same, only slower. ``prefer`` orders by
    another list than the request's, and ``like`` is a search of the same space whose memory is shared.
    """

    def __init__(
        self,
        space: Space,
        budget: Budget,
        *,
        bounds: bool = True,
        prefer: str | None = None,
        like: Search | None = None,
    ) -> None:
        self.bounds = bounds
        self.space = space
        self.budget = budget
        self.incumbent: Found | None = None
        self.source: ProfileSource = ProfileSource(space, budget) if like is None else like.source
        self.priced = all(supply.priced for supply in space.request.supplies)
        self.criteria: tuple[Criterion, ...] = criteria_of(prefer or space.request.prefer, priced=self.priced)
        self._counts: dict[tuple[SocketShape, tuple[int, ...], Rows, int], tuple[int, ...]] = (
            {} if like is None else like._counts
        )
        self._prices: dict[tuple[int, int], Fraction] = {}
        self._fullest: dict[Any, list[list[tuple[list[int], list[int]]]]] = {} if like is None else like._fullest
        self._filling: dict[Any, tuple[list[int], list[int]]] = {} if like is None else like._filling
        self._kinds: dict[SocketShape, tuple[int, ...]] = {}
        for place, shape in enumerate(space.shapes):
            self._kinds[shape] = (*self._kinds.get(shape, ()), place)

    # -- the whole -------------------------------------------------------------------------------------------------

    def best(self, aim: Aim, incumbent: Found | None = None) -> Found | None:
        """The placement that comes first, or ``None`` where there is none.

        Types are added one at a time, so that a search that runs out of effort keeps the best of fewer types in
        ``incumbent``. Raises ``EffortSpent``.
        """
        self.incumbent = incumbent
        for size in range(1, self._most_types() + 1):
            self.incumbent = self._best_of_size(size, aim, self.incumbent) or self.incumbent
            self.budget.armed = self.incumbent is not None
        return self.incumbent

    def _most_types(self) -> int:
        return min(self.space.request.max_types, len(self.space.types))

    def capacities(self, aim: Aim, *, as_advised: bool = False) -> set[Gib]:
        """Every usable capacity within the aim that some placement has; advised rows count with ``as_advised``."""
        found: set[Gib] = set()
        may_break: Rows = frozenset() if as_advised else frozenset(self.space.advised)
        for size in range(1, self._most_types() + 1):
            for branch in self._branches(size, may_break, aim, None):
                found |= {self.space.unscaled(self.space.gib(total)) for total in self._reached(branch, branch.targets)}
        return found

    def reaches(self, aim: Aim) -> bool:
        """True where some placement has a capacity within the aim, advised rows aside."""
        return any(
            self._reached(branch, branch.targets)
            for size in range(1, self._most_types() + 1)
            for branch in self._branches(size, frozenset(self.space.advised), aim, None)
        )

    def nearest_faster(self, aim: Aim, sweep: Fraction, *, most_broken: int, up: bool) -> int | None:
        """The nearest usable capacity of an aim whose best placement sweeps faster than ``sweep``; or ``None``.

        Only placements that break at most ``most_broken`` advised rows count, those with fewest first, as in the
        lists. Raises ``EffortSpent`` with an armed budget.
        """
        peak = self._sweep(1, 1) * self.space.channel_count * max(self.space.board.rates_mts)
        if peak / self.space.rate_unit <= sweep:
            return None
        by_gib: dict[int, list[Branch]] = {}
        for broken in range(most_broken + 1):
            reached_now = self._branches_by_gib(aim, broken)
            by_gib |= {gib: branches for gib, branches in reached_now.items() if gib not in by_gib}
        for gib in sorted(by_gib, reverse=not up):
            value, _ = self._sweep_stage(by_gib[gib], sweep)
            if value is not None and value > sweep and gib % self.space.scale == 0:
                return gib // self.space.scale
        return None

    def _branches_by_gib(self, aim: Aim, broken: int) -> dict[int, list[Branch]]:
        """Branches that break just so many advised rows, by the scaled capacity that their targets reach."""
        found: dict[int, list[Branch]] = {}
        for chosen in combinations(self.space.advised, broken):
            for size in range(1, self._most_types() + 1):
                for branch in self._branches(size, frozenset(chosen), aim, None):
                    by_gib: dict[int, set[int]] = {}
                    for total in self._reached(branch, branch.targets):
                        by_gib.setdefault(self.space.gib(total), set()).add(total)
                    for gib, targets in by_gib.items():
                        found.setdefault(gib, []).append(branch._replace(targets=frozenset(targets)))
        return found

    def _best_of_size(self, size: int, aim: Aim, incumbent: Found | None) -> Found | None:
        """The best with exactly ``size`` types allowed, where it is better than the incumbent; else ``None``."""
        most_broken = len(self.space.advised) if incumbent is None else int(incumbent.vector[0])
        for broken in range(most_broken + 1):
            rival = incumbent if incumbent is not None and broken == incumbent.vector[0] else None
            branches = [
                branch
                for chosen in combinations(self.space.advised, broken)
                for branch in self._branches(size, frozenset(chosen), aim, rival)
            ]
            found = self._decide(branches, broken, rival) if branches else None
            if found is not None:
                return found
        return None

    def _decide(self, branches: list[Branch], broken: int, rival: Found | None) -> Found | None:
        """Go down the list of criteria; ``None`` where no branch comes before the rival."""
        vector: list[Value] = [broken]
        alive: Found | None = rival
        for index, criterion in enumerate(self.criteria[1:], start=1):
            bar = alive.vector[index] if alive is not None else None
            value, branches = self._stage(criterion, branches, bar)
            if not branches or value is None:
                return None
            if bar is not None and value != bar:
                alive = None
            vector.append(value)
        found = max((self._first_in_board_order(branch) for branch in branches), key=lambda pair: pair[0])
        texts, types, code = found[1]
        answer = Found(texts, types, code, tuple(vector))
        return None if alive is not None and alive.text >= answer.text else answer

    # -- branches --------------------------------------------------------------------------------------------------

    def _branches(self, size: int, may_break: Rows, aim: Aim, rival: Found | None) -> Iterator[Branch]:
        """The branches of exactly ``size`` types for an aim, before any figure is known."""
        if any(row.severity == "error" or row.id not in may_break for row in self.space.fitted_breaches()):
            return
        high = aim.high_gib
        over_first = self.criteria[1].name == "over_gib" and not self.space.request.over_gib
        if self.bounds and rival is not None and over_first:
            high = min(high, -(-self.space.gib(rival.code) // self.space.scale))
        rows = self.space.alike_rows(may_break)
        tied = any(row.what == "population" for row in rows)
        joined = self.space.joined_shape() if tied else None
        if tied and joined is None:
            return
        shapes = {joined: tuple(range(len(self.space.sockets)))} if joined else self._kinds
        for types in self.space.subsets(size, may_break):
            if aim.types is not None and not aim.types.issuperset(types):
                continue
            targets = self._targets(types, aim._replace(high_gib=high))
            if not targets:
                continue
            for rate in self._rates(types, may_break):
                kinds = tuple(
                    Kind(shape, places, tuple(self._bare(self._reachable(shape, types, may_break, rate))), tied)
                    for shape, places in shapes.items()
                )
                yield from self._alike(Branch(types, may_break, rate, kinds, targets))

    def _targets(self, types: tuple[int, ...], aim: Aim) -> frozenset[int]:
        """Count codes of those types, within stock and slots, whose usable capacity the aim wants."""
        sizes = [self.space.weights[kind] for kind in types]
        most = [self._most(kind) for kind in types]
        low, high = aim.low_gib * self.space.scale, aim.high_gib * self.space.scale
        losses = self._losses(types)
        loss_most = losses[-1]

        def extend(index: int, code: int, gib: int, free: int) -> Iterator[int]:
            if index == len(types):
                for loss in losses:
                    if low <= gib - loss <= high:
                        yield code + loss * self.space.loss_place
                return
            last = index == len(types) - 1
            least = max(0, -(-(low - gib) // sizes[index])) if last else 0
            weight = self.space.base ** types[index]
            for count in range(least, min(most[index], free, (high + loss_most - gib) // sizes[index]) + 1):
                yield from extend(index + 1, code + count * weight, gib + count * sizes[index], free - count)

        return frozenset(extend(0, 0, 0, self.space.slot_count)) - aim.without

    def _losses(self, types: tuple[int, ...]) -> list[int]:
        """All that rank sparing could take in all, scaled; nothing in other modes."""
        if self.space.sparing is None:
            return [0]
        most = max(self.space.loss([self.space.types[kind]]) for kind in types)
        return list(range(0, most * self.space.channel_count + 1, self._loss_step(types)))

    def _loss_step(self, types: tuple[int, ...]) -> int:
        """What every loss of rank sparing is a multiple of."""
        return math.gcd(*(self.space.loss([self.space.types[kind]]) for kind in types))

    def _most(self, kind: int) -> int:
        available = self.space.supplies[kind].available
        return self.space.slot_count if available is None else min(available, self.space.slot_count)

    def _rates(self, types: tuple[int, ...], may_break: Rows) -> list[int]:
        """Rates that the system may run at, highest first; 0 alone where sockets or channels have their own."""
        if self.space.board.rate_scope != "system":
            return [0]
        rates = {
            load.rate
            for shape in self._kinds
            for variant in self.space.variants(shape, may_break)
            for controller in variant
            for channel in controller
            for load in self.space.loads(channel, types, may_break)
            if load.gib
        }
        return sorted(rates, reverse=True)

    def _reachable(self, shape: SocketShape, types: tuple[int, ...], may_break: Rows, rate: int) -> tuple[int, ...]:
        """Count codes that some population of the socket has, its rules obeyed."""
        key = (shape, types, may_break, rate)
        if key not in self._counts:
            codes: set[int] = set()
            query = Query(shape, types, may_break, rate, 0, 1 << 40, 1 << 80)
            for variant in self.space.variants(shape, may_break):
                sums = {0}
                for steps in self._steps_of(query, variant):
                    self.budget.spend(len(sums))
                    sums = {total + step for total in sums for step in steps}
                codes |= sums
            self._counts[key] = tuple(
                sorted(code for code in codes if self.space.socket_allows(shape, code, may_break))
            )
        return self._counts[key]

    def _steps_of(self, query: Query, variant: Sequence[tuple[ChannelShape, ...]]) -> Iterator[set[int]]:
        """The count codes that each part of a socket can add: a channel, or what has to mirror together."""
        row = self.space.mirroring
        if row is None:
            for channel in (channel for controller in variant for channel in controller):
                yield {load.code for load in loads_within(self.space, query, channel)}
        elif row.within == "controller":
            for controller in variant:
                yield mirrored_codes(self.space, self.budget, query, controller)
        else:
            whole = [channel for controller in variant for channel in controller]
            yield mirrored_codes(self.space, self.budget, query, whole)

    def _bare(self, codes: Iterable[int]) -> Iterator[Profile]:
        for code in codes:
            yield Profile(code, self.space.gib(code), 0, 0, 0, 0, 0, 0, b"")

    def _alike(self, branch: Branch) -> Iterator[Branch]:
        """Split a branch where a row wants the sockets alike: one branch for each thing they may share."""
        rows = self.space.alike_rows(branch.may_break)
        branches = [branch]
        measures: dict[str, Callable[[Profile], int]] = {
            "capacity": lambda profile: self.space.installed_gib(profile.code),
            "count": lambda profile: sum(self.space.counts(profile.code)),
        }
        for what in sorted({row.what for row in rows} & set(measures)):
            branches = [part for each in branches for part in self._shared(each, measures[what])]
        yield from branches

    def _shared(self, branch: Branch, measure: Callable[[Profile], int]) -> Iterator[Branch]:
        """A branch for each value of a measure that every kind of socket reaches; each profile is measured once."""
        groups: list[dict[int, list[Profile]]] = []
        for kind in branch.kinds:
            by_value: dict[int, list[Profile]] = {}
            for profile in kind.profiles:
                by_value.setdefault(measure(profile), []).append(profile)
            groups.append(by_value)
        for value in sorted(set.intersection(*(set(each) for each in groups))):
            kinds = [k._replace(profiles=tuple(each[value])) for k, each in zip(branch.kinds, groups, strict=True)]
            yield branch._replace(kinds=tuple(kinds))

    # -- criteria --------------------------------------------------------------------------------------------------

    def _stage(
        self, criterion: Criterion, branches: list[Branch], bar: Value | None
    ) -> tuple[Value | None, list[Branch]]:
        """The best value of one criterion and the branches that reach it; nothing where the bar is not reached."""
        name = criterion.name
        if name == "system_sweep":
            return self._sweep_stage(branches, bar)
        totals = self._total_measures()
        best: Value | None = bar
        kept: list[Branch] = []
        for branch in branches:
            if name in totals:
                options = self._by_total(branch, totals[name], criterion.better, bar)
            elif name == "socket_difference_gib":
                options = self._by_difference(branch)
            elif name in _SUMS:
                options = self._by_sum(branch, name, _SUMS[name])
            else:
                options = self._by_bottleneck(branch, self._bottleneck(name), criterion.better)
            for value, part in options:
                if best is None or _better(value, best, criterion.better):
                    best, kept = value, []
                if value == best:
                    kept.append(part)
        return (best if kept else None), kept

    def _total_measures(self) -> dict[str, Callable[[int], Value]]:
        """Criteria that the total counts decide alone."""
        request, space = self.space.request, self.space
        allowance = (request.capacity_gib + (request.over_gib or 0)) * space.scale

        def kept_unused(code: int) -> int:
            unused = sum(max(0, s.kept - n) for s, n in zip(space.supplies, space.counts(code), strict=True))
            return space.refused_kept + unused

        def bought(code: int) -> int:
            return sum(max(0, n - s.kept) for s, n in zip(space.supplies, space.counts(code), strict=True))

        def cost(code: int) -> Fraction:
            pairs = enumerate(space.counts(code))
            return sum((self._price(kind, n) for kind, n in pairs if n), Fraction(0))

        return {
            "over_gib": lambda code: space.unscaled(max(0, space.gib(code) - allowance)),
            "types": lambda code: sum(n > 0 for n in space.counts(code)),
            "cost": cost,
            "modules": lambda code: sum(space.counts(code)),
            "free_slots": lambda code: space.slot_count - sum(space.counts(code)),
            "discarded": kept_unused,
            "bought": bought,
        }

    def _price(self, kind: int, count: int) -> Fraction:
        """Price of so many modules of one type."""
        key = (kind, count)
        if key not in self._prices:
            self._prices[key] = self.space.supplies[kind].cost(count)
        return self._prices[key]

    def _bottleneck(self, name: str) -> Callable[[Profile], Value]:
        unit = self.space.rate_unit * 8

        def sweep(profile: Profile) -> Fraction:
            return Fraction(profile.gib * unit, 1000 * profile.time) if profile.time else Fraction(0)

        def parallel(profile: Profile) -> Fraction:
            return Fraction(profile.gib * unit, 1000 * profile.parallel) if profile.parallel else Fraction(0)

        measures: dict[str, Callable[[Profile], Value]] = {
            "worst_sweep": sweep,
            "worst_parallel": parallel,
            "controller_difference_gib": lambda profile: self.space.unscaled(profile.controller_difference),
            "narrowest_ways": lambda profile: profile.narrowest,
        }
        return measures[name]

    def _by_total(
        self,
        branch: Branch,
        measure: Callable[[int], Value],
        better: Literal["high", "low"],
        bar: Value | None,
    ) -> Iterator[tuple[Value, Branch]]:
        """The best value that the totals allow.

        Totals that only equal the bar are passed on unproven before populations are drawn: the system sweep proves
        them, and most branches end there.
        """
        self.budget.spend(1 + len(branch.targets) // 64)
        by_value: dict[Value, set[int]] = {}
        for total in branch.targets:
            by_value.setdefault(measure(self._code(branch, total)), set()).add(total)
        above = {value for value in by_value if bar is None or branch.drawn or _better(value, bar, better)}
        proven = self._reached(branch, (total for value in above for total in by_value[value]))
        for value in sorted(by_value, reverse=better == "high"):
            if value in above and (targets := proven & by_value[value]):
                yield value, branch._replace(targets=frozenset(targets))
                return
            if value == bar and value not in above:
                yield value, branch._replace(targets=frozenset(by_value[value]))
                return

    def _by_bottleneck(
        self, branch: Branch, measure: Callable[[Profile], Value], better: Literal["high", "low"]
    ) -> Iterator[tuple[Value, Branch]]:
        values = sorted({measure(p) for kind in branch.kinds for p in kind.profiles}, reverse=better == "high")

        def within(position: int) -> Branch | None:
            edge = values[position]
            return _keep(branch, lambda p: not _better(edge, measure(p), better))

        place = self._first_feasible(len(values), within)
        if place is not None:
            position, part = place
            yield values[position], part

    def _first_feasible(self, count: int, within: Callable[[int], Branch | None]) -> tuple[int, Branch] | None:
        """The first position whose filter leaves something to choose; filters only widen with the position."""
        known: dict[int, Branch | None] = {}

        def feasible(position: int) -> bool:
            part = within(position)
            targets = self._reached(part, part.targets) if part else frozenset()
            known[position] = part._replace(targets=targets) if part and targets else None
            return known[position] is not None

        position = bisect.bisect_left(range(count), True, key=feasible)
        if position == count:
            return None
        part = known[position]
        return (position, part) if part else None

    def _by_difference(self, branch: Branch) -> Iterator[tuple[Value, Branch]]:
        """Windows of socket capacity, narrowest first; every window of the least width is a branch."""
        gibs = sorted({profile.gib for kind in branch.kinds for profile in kind.profiles})
        totals = [self.space.gib(self._code(branch, total)) for total in branch.targets]
        sockets = len(self.space.sockets)
        windows = sorted(
            (high - low, low)
            for index, low in enumerate(gibs)
            for high in gibs[index:]
            if low * sockets <= max(totals) and high * sockets >= min(totals)
        )
        least: int | None = None
        for width, low in windows:
            if least is not None and width > least:
                return
            part = _keep(branch, lambda p, low=low, width=width: low <= p.gib <= low + width)  # type: ignore[misc]
            targets = self._reached(part, part.targets) if part else frozenset()
            if part and targets:
                least = width
                yield self.space.unscaled(width), part._replace(targets=targets)

    def _by_sum(self, branch: Branch, name: str, measure: Callable[[Profile], int]) -> Iterator[tuple[Value, Branch]]:
        """The least sum over sockets; it becomes part of the totals, so that later criteria keep it."""
        weight = self._weight(len(branch.summed))
        kinds = tuple(
            kind._replace(profiles=tuple(p._replace(code=p.code + weight * measure(p)) for p in kind.profiles))
            for kind in branch.kinds
        )
        by_value: dict[int, set[int]] = {}
        for total in sums(_steps(kinds), None, budget=self.budget):
            value, old = divmod(total, weight)
            if old in branch.targets:
                by_value.setdefault(value, set()).add(total)
        if by_value:
            least = min(by_value)
            yield (
                least,
                branch._replace(kinds=kinds, targets=frozenset(by_value[least]), summed=(*branch.summed, name)),
            )

    def _weight(self, sums: int) -> int:
        """Place value of the next sum in a total: above counts and losses, and above the sums before it."""
        return int(self.space.loss_place) << (24 + 20 * sums)

    def _code(self, branch: Branch, total: int) -> int:
        return total % self._weight(0) if branch.summed else total

    # -- the system sweep: where populations are drawn ---------------------------------------------------------

    def _sweep_stage(self, branches: list[Branch], bar: Value | None) -> tuple[Value | None, list[Branch]]:
        """The highest system sweep: each branch is split by total capacity, and the most hopeful is tried next.

        A try within a time bound that finds nothing leaves a lower hope, so no branch is drawn in more time than
        the fastest of all needs, but for the last widening of a bound.
        """
        best = None if bar is None else Fraction(bar)
        kept: list[Branch] = []
        jobs = list(self._jobs(branches))
        heapq.heapify(jobs)
        while jobs:
            job = heapq.heappop(jobs)
            if self.bounds and best is not None and -job.hope < best:
                break
            most = self._most_time(job, best)
            bound = min(job.bound, most) if self.bounds else most
            found = self._fastest(job, bound)
            if found is not None:
                time, part = found
                value = self._sweep(job.gib, time)
                if best is None or value > best:
                    best, kept = value, []
                if value == best:
                    kept.append(part)
            elif bound < most:
                wider = bound + 1 + min(int(bound * MOST_GROWTH), max(bound // FIRST_STEP, bound - job.least))
                heapq.heappush(jobs, job._replace(hope=-self._sweep(job.gib, bound + 1), bound=wider))
        return (best if kept else None), kept

    def _jobs(self, branches: list[Branch]) -> Iterator[_Job]:
        """A job for each branch and each total capacity of its targets."""
        numbers = itertools.count()
        for branch in branches:
            by_gib: dict[int, set[int]] = {}
            for total in branch.targets:
                by_gib.setdefault(self.space.gib(total), set()).add(total)
            for gib, targets in by_gib.items():
                least = self._least_time(branch, gib)
                bound = max(least, self._first_time(branch, gib))
                part = branch._replace(targets=frozenset(targets))
                yield _Job(-self._sweep(gib, bound), gib, next(numbers), least, bound, part)

    def _sweep(self, gib: int, time: int) -> Fraction:
        return Fraction(gib * self.space.rate_unit * 8, 1000 * time)

    def _least_time(self, branch: Branch, gib: int) -> int:
        """No population of that capacity sweeps faster: every channel working all the time, at the best rate."""
        rate = branch.rate or max(self.space.board.rates_mts)
        return max(1, -(-gib * (self.space.rate_unit // rate) // self.space.channel_count))

    def _first_time(self, branch: Branch, gib: int) -> int:
        """The least time within which all channels together hold that capacity; 0 where they never do."""
        kinds = tuple((kind.shape, len(kind.places)) for kind in branch.kinds)
        key = (kinds, branch.types, branch.may_break, branch.rate)
        if key not in self._filling:
            every = {
                time for shape, _ in kinds for each in self._full(branch, shape) for times, _ in each for time in times
            }
            rising = sorted(every)
            held = [sum(self._most_gib(branch, shape, time) * count for shape, count in kinds) for time in rising]
            self._filling[key] = rising, held
        times, most = self._filling[key]
        place = bisect.bisect_left(most, gib)
        return times[place] if place < len(times) else 0

    def _most_time(self, job: _Job, at_least: Fraction | None) -> int:
        """The longest that a placement may take: at the slowest rate, one channel at a time, or as long as the best."""
        slowest = job.branch.rate or min(self.space.board.rates_mts)
        most = job.gib * (self.space.rate_unit // slowest)
        if at_least is not None and self.bounds:
            most = min(most, int(job.gib * self.space.rate_unit * 8 / (1000 * at_least)))
        return most

    def _fastest(self, job: _Job, bound: int) -> tuple[int, Branch] | None:
        """The least time within the bound in which a job's capacity can be swept, and the branch with all profiles
        that keep it."""
        drawn = self._draw(job.branch, job.gib, bound)
        targets = self._reached(drawn, drawn.targets) if drawn else frozenset()
        if drawn is None or not targets:
            return None
        times = sorted({profile.time for kind in drawn.kinds for profile in kind.profiles})
        found = self._first_feasible(
            len(times), lambda place: _keep(drawn, lambda profile: profile.time <= times[place])
        )
        return (times[found[0]], found[1]) if found else None

    def _draw(self, branch: Branch, gib: int, most_time: int) -> Branch | None:
        """Replace counts by populations: every profile that some placement of that capacity and time can hold."""
        least = [min((p.gib for p in kind.profiles), default=0) for kind in branch.kinds]
        most = [
            min(max((p.gib for p in kind.profiles), default=-1), self._most_gib(branch, kind.shape, most_time))
            for kind in branch.kinds
        ]
        if min(most) < 0:
            return None
        all_least = sum(low * len(kind.places) for low, kind in zip(least, branch.kinds, strict=True))
        all_most = sum(high * len(kind.places) for high, kind in zip(most, branch.kinds, strict=True))
        if not all_least <= gib <= all_most:
            return None
        kinds = []
        for low, high, kind in zip(least, most, branch.kinds, strict=True):
            query = Query(
                shape=kind.shape,
                types=branch.types,
                may_break=branch.may_break,
                rate=branch.rate,
                low_gib=max(low, gib - (all_most - high)) if self.bounds else 0,
                high_gib=min(high, gib - (all_least - low)) if self.bounds else gib,
                most_time=most_time if self.bounds else gib * self.space.rate_unit,
            )
            profiles = tuple(self.source.profiles(query, self._within_targets(branch, kind)))
            if not profiles:
                return None
            kinds.append(kind._replace(profiles=profiles))
        return branch._replace(kinds=tuple(kinds), drawn=True)

    def _within_targets(self, branch: Branch, kind: Kind) -> set[int]:
        """Count codes of a socket that hold no more of any type than some target does."""
        counts = [self.space.counts(target) for target in branch.targets]
        most = [max(numbers) for numbers in zip(*counts, strict=True)]
        return {
            profile.code
            for profile in kind.profiles
            if all(n <= top for n, top in zip(self.space.counts(profile.code), most, strict=True))
        }

    def _most_gib(self, branch: Branch, shape: SocketShape, most_time: int) -> int:
        """The most that a socket can hold when no channel takes longer than the bound."""
        totals = [-1]
        for channels in self._full(branch, shape):
            places = [bisect.bisect_right(times, most_time) for times, _ in channels]
            if all(places):
                totals.append(sum(most[place - 1] for place, (_, most) in zip(places, channels, strict=True)))
        return max(totals)

    def _full(self, branch: Branch, shape: SocketShape) -> list[list[tuple[list[int], list[int]]]]:
        """For each way to fill a socket what each of its channels holds within which time."""
        key = (shape, branch.types, branch.may_break, branch.rate)
        if key not in self._fullest:
            self._fullest[key] = [
                [self._full_channel(channel, branch) for controller in variant for channel in controller]
                for variant in self.space.variants(shape, branch.may_break)
            ]
        return self._fullest[key]

    def _full_channel(self, channel: ChannelShape, branch: Branch) -> tuple[list[int], list[int]]:
        """Times of a channel's loads, rising, and the most that the channel holds within each of them."""
        unit = self.space.rate_unit
        loads = sorted(
            (load.gib * (unit // (branch.rate or load.rate)) if load.gib else 0, load.gib)
            for load in self.space.loads(channel, branch.types, branch.may_break)
            if not load.gib or load.rate >= branch.rate
        )
        return [time for time, _ in loads], list(itertools.accumulate((gib for _, gib in loads), max))

    # -- sums over sockets -------------------------------------------------------------------------------------

    def _reached(self, branch: Branch, targets: Iterable[int]) -> frozenset[int]:
        """The targets that some choice of profiles adds up to."""
        steps = _steps(branch.kinds)
        if branch.summed:
            wanted = set(targets)
            return frozenset(wanted & sums(steps, wanted, budget=self.budget)) if wanted else frozenset()
        base = self.space.base
        places = [(base**kind, base) for kind in branch.types]
        if self.space.sparing is not None:
            places.append((self.space.loss_place * self._loss_step(branch.types), 1 << 24))
        return reached(steps, targets, places=places, budget=self.budget)

    # -- board order -------------------------------------------------------------------------------------------

    def _first_in_board_order(self, branch: Branch) -> tuple[bytes, tuple[tuple[bytes, ...], tuple[int, ...], int]]:
        """The placement of a branch that comes first in board order: socket by socket, what can still be completed."""
        order: list[tuple[int, Kind, int]] = []
        for kind in branch.kinds:
            places = kind.places[:1] if kind.tied else kind.places
            order += [(place, kind, len(kind.places) if kind.tied else 1) for place in places]
        order.sort(key=lambda entry: entry[0])
        tails: list[set[int]] = [{0}]
        for _, kind, times in reversed(order):
            steps = {profile.code * times for profile in kind.profiles}
            self.budget.spend(len(tails[-1]))
            tails.append({total + step for total in tails[-1] for step in steps})
        tails.reverse()
        texts: dict[int, bytes] = {}
        left, total = set(branch.targets), 0
        for (place, kind, times), tail in zip(order, tails[1:], strict=True):
            for profile in sorted(kind.profiles, key=lambda p: p.text, reverse=True):
                rest = {goal - profile.code * times for goal in left} & tail
                if rest:
                    left, total = rest, total + profile.code * times
                    for each in kind.places if kind.tied else (place,):
                        texts[each] = profile.text
                    break
        ordered = tuple(texts[place] for place in sorted(texts))
        return b"".join(ordered), (ordered, branch.types, self._code(branch, total))


_SUMS: dict[str, Callable[[Profile], int]] = {
    "regions": lambda profile: profile.regions,
    "low_rank_channels": lambda profile: profile.low_rank,
}


def _steps(kinds: Sequence[Kind]) -> list[list[int]]:
    """The codes that each independent choice of a profile may add."""
    return [sorted({profile.code * times for profile in kind.profiles}) for kind in kinds for times in kind.steps()]


def _better(one: Any, other: Any, better: Literal["high", "low"]) -> bool:
    return bool(one > other if better == "high" else one < other)


def _keep(branch: Branch, test: Callable[[Profile], bool]) -> Branch | None:
    """The branch with only the profiles that pass; ``None`` where a socket is left without any."""
    kinds = []
    for kind in branch.kinds:
        profiles = tuple(profile for profile in kind.profiles if test(profile))
        if not profiles:
            return None
        kinds.append(kind._replace(profiles=profiles))
    return branch._replace(kinds=tuple(kinds))
