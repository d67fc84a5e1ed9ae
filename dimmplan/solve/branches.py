"""The branches of a search: every way to fix what couples the sockets, with the counts that each socket can hold."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from dimmplan.solve.branch import Branch, Kind
from dimmplan.solve.budget import Budget
from dimmplan.solve.profiles import NEVER, Limit, Profile, Query, loads_within, mirrored_codes
from dimmplan.solve.space import ChannelShape, Rows, SocketShape, Space


class Aim(NamedTuple):
    """Which placements are asked for: usable capacities in GiB, some total counts left out, perhaps only some types."""

    low_gib: int
    high_gib: int
    without: frozenset[int] = frozenset()
    types: frozenset[int] | None = None
    least_sweep: Fraction = Fraction(0)
    """No socket may sweep slower than that, in GB/s."""


class Branches:
    """Makes the branches of a space; what a socket can hold is remembered between aims."""

    def __init__(self, space: Space, budget: Budget) -> None:
        self.space = space
        self.budget = budget
        self._counts: dict[tuple[SocketShape, tuple[int, ...], Rows, int], tuple[int, ...]] = {}

    def of(self, size: int, may_break: Rows, aim: Aim) -> Iterator[Branch]:
        """The branches of exactly ``size`` types for an aim, before any figure is known."""
        if any(row.severity == "error" or row.id not in may_break for row in self.space.fitted_breaches()):
            return
        rows = self.space.alike_rows(may_break)
        tied = any(row.what == "population" for row in rows)
        for layout in self.space.layouts(may_break):
            joined = self.space.joined_shape(layout) if tied else None
            if joined is not None or not tied:
                yield from self._of_layout([joined] * len(layout) if joined else layout, tied, size, may_break, aim)

    def _of_layout(
        self, layout: Sequence[SocketShape], tied: bool, size: int, may_break: Rows, aim: Aim
    ) -> Iterator[Branch]:
        """The branches of sockets of these shapes."""
        shapes: dict[SocketShape, tuple[int, ...]] = {}
        for place, shape in enumerate(layout):
            shapes[shape] = (*shapes.get(shape, ()), place)
        for types in self.space.subsets(size, may_break):
            if aim.types is not None and not aim.types.issuperset(types):
                continue
            targets = self._targets(types, aim)
            if not targets:
                continue
            for rate in self._rates(shapes, types, may_break):
                kinds = tuple(
                    Kind(shape, places, tuple(self._bare(self._reachable(shape, types, may_break, rate))), tied)
                    for shape, places in shapes.items()
                )
                yield from self._alike(Branch(types, may_break, rate, kinds, targets, least_sweep=aim.least_sweep))

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
        return list(range(0, most * self.space.channel_count + 1, self.space.loss_step(types)))

    def _most(self, kind: int) -> int:
        available = self.space.supplies[kind].available
        return self.space.slot_count if available is None else min(available, self.space.slot_count)

    def _rates(self, shapes: Iterable[SocketShape], types: tuple[int, ...], may_break: Rows) -> list[int]:
        """Rates that the system may run at, highest first; 0 alone where sockets or channels have their own."""
        if self.space.board.rate_scope != "system":
            return [0]
        rates = {
            load.rate
            for shape in shapes
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
            query = Query(shape, types, may_break, rate, 0, 1 << 40, Limit(NEVER))
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
        measures: dict[str, Callable[[int], int]] = {
            "capacity": self.space.installed_gib,
            "count": lambda code: sum(self.space.counts(code)),
        }
        for what in sorted({row.what for row in rows} & set(measures)):
            branches = [part for each in branches for part in self._shared(each, measures[what])]
        yield from branches

    def _shared(self, branch: Branch, measure: Callable[[int], int]) -> Iterator[Branch]:
        """A branch for each value of a measure of counts that every kind of socket reaches, and that targets allow."""
        groups: list[dict[int, list[Profile]]] = []
        for kind in branch.kinds:
            by_value: dict[int, list[Profile]] = {}
            for profile in kind.profiles:
                by_value.setdefault(measure(profile.code), []).append(profile)
            groups.append(by_value)
        sockets = sum(len(kind.places) for kind in branch.kinds)
        targets: dict[int, set[int]] = {}
        for target in branch.targets:
            each, rest = divmod(measure(target), sockets)
            if not rest:
                targets.setdefault(each, set()).add(target)
        for value in sorted(set.intersection(set(targets), *(set(each) for each in groups))):
            kinds = [k._replace(profiles=tuple(each[value])) for k, each in zip(branch.kinds, groups, strict=True)]
            yield branch._replace(kinds=tuple(kinds), targets=frozenset(targets[value]))
