"""The branches of a search: every way to fix what couples the sockets, with the counts that each socket can hold."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from fractions import Fraction
from typing import NamedTuple

from dimmplan.solve.budget import Budget
from dimmplan.solve.profiles import NEVER, Limit, Profile, Query, steps_of
from dimmplan.solve.shapes import SocketShape
from dimmplan.solve.space import Load, Rows, Space


class SocketGroup(NamedTuple):
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

    may_break: Rows
    rate: int
    groups: tuple[SocketGroup, ...]
    targets: frozenset[int]
    populated: bool = False
    """False while profiles are counts of modules only, without figures."""
    summed: tuple[str, ...] = ()
    """Sums over sockets that are decided: regions, low-rank channels."""
    least_sums: int = 0
    """What they are, as digits of one number: no choice of profiles has less, and what is chosen has just that."""
    least_sweep: Fraction = Fraction(0)
    """No socket may sweep slower than that, in GB/s."""

    def gibs(self) -> list[int]:
        """Every capacity that some socket may have, scaled, rising."""
        return sorted({profile.gib for group in self.groups for profile in group.profiles})

    def steps(self) -> list[list[int]]:
        """The codes that each independent choice of a profile may add."""
        return [
            sorted({profile.code * times for profile in group.profiles})
            for group in self.groups
            for times in group.steps()
        ]

    def keeping(self, test: Callable[[Profile], bool]) -> Branch | None:
        """The branch with only the profiles that pass; ``None`` where a socket is left without any."""
        groups = []
        for group in self.groups:
            profiles = tuple(profile for profile in group.profiles if test(profile))
            if not profiles:
                return None
            groups.append(group._replace(profiles=profiles))
        return self._replace(groups=tuple(groups))


class Aim(NamedTuple):
    """Which placements are asked for: usable capacities in GiB, total counts left out or asked for, perhaps some types.

    Count codes are those of the whole space.
    """

    low_gib: int
    high_gib: int
    without: frozenset[int] = frozenset()
    only: int | None = None
    types: frozenset[int] | None = None
    least_sweep: Fraction = Fraction(0)
    """No socket may sweep slower than that, in GB/s."""
    faster_than: Fraction | None = None
    """The balanced sweep has to be higher than that, in GB/s."""
    may_break: Rows | None = None
    """The advised rows that may be broken; where it is ``None``, as few as possible are."""


class Branches:
    """Makes the branches of a space, every type of which is used; what a socket can hold is remembered."""

    def __init__(self, space: Space, budget: Budget) -> None:
        self.space = space
        self.budget = budget
        self._known: dict[tuple[SocketShape, Rows, int], tuple[Profile, ...]] = {}

    def of(self, may_break: Rows, targets: frozenset[int], rate: int, least_sweep: Fraction) -> Iterator[Branch]:
        """The branches for some total counts at a rate of the system, before any figure is known."""
        tied = self._tied(may_break)
        for layout in self._layouts(may_break):
            shapes: dict[SocketShape, tuple[int, ...]] = {}
            for place, shape in enumerate(layout):
                shapes[shape] = (*shapes.get(shape, ()), place)
            groups = tuple(
                SocketGroup(shape, places, self._reachable(shape, may_break, rate), tied)
                for shape, places in shapes.items()
            )
            yield from self._alike(Branch(may_break, rate, groups, targets, least_sweep=least_sweep))

    def _tied(self, may_break: Rows) -> bool:
        return "population" in self.space.alike(may_break)

    def _layouts(self, may_break: Rows) -> Iterator[list[SocketShape]]:
        """The shapes of the sockets, as far as the rows let them be fitted and be populated alike."""
        if any(each.severity == "error" or each.rule not in may_break for each in self.space.fitted_breaches()):
            return
        for layout in self.space.layouts(may_break):
            joined = self.space.shapes.joined(layout) if self._tied(may_break) else None
            if joined is not None:
                yield [joined] * len(layout)
            elif not self._tied(may_break):
                yield layout

    def rates(self, may_break: Rows) -> list[int]:
        """Rates that the system may run at, highest first; 0 alone where sockets or channels have their own."""
        if self.space.board.rate_scope != "system":
            return [0]
        rates = {load.rate for loads in self._loads(may_break) for load in loads if load.gib}
        return sorted(rates, reverse=True)

    def runs(self, may_break: Rows, rate: int) -> tuple[object, ...]:
        """All that may be loaded at a rate of the system, and how it runs: equal for types that sweep alike."""
        loads = tuple(
            tuple(
                (load.code, load.gib, rate or load.rate, load.board_order)
                for load in loads
                if load.rate >= rate or not load.gib
            )
            for loads in self._loads(may_break)
        )
        return may_break, loads, tuple(self.space.types) if self.space.types_told else ()

    def _loads(self, may_break: Rows) -> list[tuple[Load, ...]]:
        """The loads of each channel that is not like another."""
        channels = {
            channel: None
            for layout in self._layouts(may_break)
            for shape in layout
            for variant in self.space.variants(shape, may_break)
            for controller in variant
            for channel in controller
        }
        return [self.space.loads(channel, may_break) for channel in channels]

    def targets(self, low_gib: int, high_gib: int) -> frozenset[int]:
        """Count codes with some of every type, within stock and slots, of a usable capacity in GiB."""
        types = range(len(self.space.types))
        sizes = self.space.weights
        most = [self._most(kind) for kind in types]
        low, high = math.ceil(self.space.needed(low_gib)), math.floor(self.space.needed(high_gib))
        losses = self._losses()

        def extend(kind: int, code: int, gib: int, free: int) -> Iterator[int]:
            if kind == len(types):
                for loss in losses:
                    if low <= gib - loss <= high:
                        yield code + loss * self.space.loss_place
                return
            last = kind == len(types) - 1
            least = max(1, -(-(low - gib) // sizes[kind])) if last else 1
            weight = self.space.base**kind
            for count in range(least, min(most[kind], free, (high + losses[-1] - gib) // sizes[kind]) + 1):
                yield from extend(kind + 1, code + count * weight, gib + count * sizes[kind], free - count)

        return frozenset(extend(0, 0, 0, self.space.slot_count))

    def _losses(self) -> list[int]:
        """All that channels could give up in all, scaled."""
        if not self.space.spares:
            return [0]
        most = max(self.space.loss([module]) for module in self.space.types)
        return list(range(0, most * self.space.channel_count + 1, self.space.loss_step(range(len(self.space.types)))))

    def _most(self, kind: int) -> int:
        available = self.space.supplies[kind].available
        return self.space.slot_count if available is None else min(available, self.space.slot_count)

    def _reachable(self, shape: SocketShape, may_break: Rows, rate: int) -> tuple[Profile, ...]:
        """A bare profile for each count code that some population of the socket has, its rules obeyed."""
        key = (shape, may_break, rate)
        if key not in self._known:
            codes: set[int] = set()
            query = Query(shape, may_break, rate, 0, 1 << 40, Limit(NEVER))
            for variant in self.space.variants(shape, may_break):
                sums = {0}
                for steps in steps_of(self.space, self.budget, query, variant):
                    self.budget.spend(len(sums))
                    sums = {total + step for total in sums for step in steps}
                codes |= sums
            allowed = self.space.allowed(shape, codes, may_break)
            self._known[key] = tuple(Profile(code, self.space.gib(code), 0, 0, 0, 0, 0, 0, 0, b"") for code in allowed)
        return self._known[key]

    def _alike(self, branch: Branch) -> Iterator[Branch]:
        """Split a branch where a row wants the sockets alike: one branch for each thing they may share."""
        branches = [branch]
        measures: dict[str, Callable[[int], int]] = {
            "capacity": self.space.installed_gib,
            "count": lambda code: sum(self.space.counts(code)),
        }
        for what in sorted(self.space.alike(branch.may_break) & set(measures)):
            branches = [part for each in branches for part in self._shared(each, measures[what])]
        yield from branches

    def _shared(self, branch: Branch, measure: Callable[[int], int]) -> Iterator[Branch]:
        """A branch for each value of a measure of counts that all groups of sockets reach and targets allow."""
        by_values: list[dict[int, list[Profile]]] = []
        for group in branch.groups:
            by_value: dict[int, list[Profile]] = {}
            for profile in group.profiles:
                by_value.setdefault(measure(profile.code), []).append(profile)
            by_values.append(by_value)
        sockets = sum(len(group.places) for group in branch.groups)
        targets: dict[int, set[int]] = {}
        for target in branch.targets:
            each, rest = divmod(measure(target), sockets)
            if not rest:
                targets.setdefault(each, set()).add(target)
        for value in sorted(set.intersection(set(targets), *(set(each) for each in by_values))):
            groups = [k._replace(profiles=tuple(each[value])) for k, each in zip(branch.groups, by_values, strict=True)]
            yield branch._replace(groups=tuple(groups), targets=frozenset(targets[value]))
