"""Criteria over branches, decided one at a time: what is best, and the branches that keep it.

A criterion is a figure of the total counts, a bottleneck over sockets (a threshold that each socket's profile must
keep), or a sum over sockets. Only the sweeps are decided elsewhere, where populations are enumerated.

All of them ask which totals a choice of one profile for each socket can add up to. Count codes are digits in a base,
one for each module type, that never carry. Where the digits are few, the set of all sums is one big integer with a bit
for each sum, and adding a list is a handful of shifts.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from operator import le, lt, mul
from typing import Any, Literal

from dimmplan.solve.branches import Branch, SocketGroup
from dimmplan.solve.budget import Budget
from dimmplan.solve.criteria import Criterion, Value
from dimmplan.solve.profiles import Profile
from dimmplan.solve.space import Space

_SUMS: dict[str, Callable[[Profile], int]] = {
    "regions": lambda profile: profile.regions,
    "low_rank_channels": lambda profile: profile.low_rank,
    "displaced": lambda profile: profile.displaced,
}


SUM_PLACE = 1 << 20
"""Place value of a sum over sockets before the sums after it."""


class Decisions:
    """Decides criteria for the branches of a space."""

    def __init__(self, space: Space, budget: Budget) -> None:
        self.space = space
        self.budget = budget

    def best(
        self, criterion: Criterion, branches: list[Branch], bar: Value | None
    ) -> tuple[Value | None, list[Branch]]:
        """The best value of one criterion and the branches that reach it; nothing where the bar is not reached."""
        name = criterion.name
        totals = self._total_measures()
        best: Value | None = bar
        kept: list[Branch] = []
        for branch in branches:
            if name in totals:
                options = self._by_total(branch, totals[name], criterion.better, bar)
            elif name == "socket_difference_gib":
                options = self._by_difference(branch)
            elif name in _SUMS:
                options = self._by_sum(branch, name)
            else:
                options = self._by_bottleneck(branch, self._bottleneck(name, branch), criterion.better)
            for value, part in options:
                if best is None or _better(value, best, criterion.better):
                    best, kept = value, []
                if value == best:
                    kept.append(part)
        return (best if kept else None), kept

    def _total_measures(self) -> dict[str, Callable[[int], Value]]:
        """Criteria that the total counts decide alone."""
        request, space = self.space.request, self.space
        allowance = request.capacity_gib + (request.over_gib or 0)

        def kept_unused(code: int) -> int:
            unused = sum(max(0, s.kept - n) for s, n in zip(space.supplies, space.counts(code), strict=True))
            return space.kept_elsewhere + unused

        def bought(code: int) -> int:
            return sum(max(0, n - s.kept) for s, n in zip(space.supplies, space.counts(code), strict=True))

        def cost(code: int) -> Fraction:
            pairs = enumerate(space.counts(code))
            return sum((space.supplies[kind].cost(n) for kind, n in pairs if n), Fraction(0))

        return {
            "over_gib": lambda code: max(0, space.shown(space.gib(code)) - allowance),
            "types": lambda code: sum(n > 0 for n in space.counts(code)),
            "cost": cost,
            "modules": lambda code: sum(space.counts(code)),
            "free_slots": lambda code: space.slot_count - sum(space.counts(code)),
            "discarded": kept_unused,
            "bought": bought,
        }

    def _bottleneck(self, name: str, branch: Branch) -> Callable[[Profile], Value]:
        unit = self.space.peak_unit
        total = self.space.gib(min(branch.targets))  # a populated branch has one

        def system(profile: Profile) -> Fraction:
            return Fraction(total * unit, 1000 * profile.time)

        def sweep(profile: Profile) -> Fraction:
            return Fraction(profile.gib * unit, 1000 * profile.time) if profile.time else Fraction(0)

        def parallel(profile: Profile) -> Fraction:
            return Fraction(profile.gib * unit, 1000 * profile.parallel) if profile.parallel else Fraction(0)

        measures: dict[str, Callable[[Profile], Value]] = {
            "system_sweep": system,
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
        """The best value of the totals that are reached."""
        self.budget.spend(1 + len(branch.targets) // 64)
        values = {total: measure(total) for total in branch.targets}
        wanted = [total for total, value in values.items() if bar is None or not _better(bar, value, better)]
        if proven := self.reached(branch, wanted):
            best = (max if better == "high" else min)(values[total] for total in proven)
            yield best, branch._replace(targets=frozenset(total for total in proven if values[total] == best))

    def _by_bottleneck(
        self, branch: Branch, measure: Callable[[Profile], Value], better: Literal["high", "low"]
    ) -> Iterator[tuple[Value, Branch]]:
        values = sorted({measure(p) for group in branch.groups for p in group.profiles}, reverse=better == "high")

        def within(position: int) -> Branch | None:
            edge = values[position]
            return branch.keeping(lambda p: not _better(edge, measure(p), better))

        place = self.first_feasible(len(values), within)
        if place is not None:
            position, part = place
            yield values[position], part

    def first_feasible(self, count: int, within: Callable[[int], Branch | None]) -> tuple[int, Branch] | None:
        """The first position whose filter leaves something to choose; filters only widen with the position."""
        known: dict[int, Branch | None] = {}

        def feasible(position: int) -> bool:
            known[position] = self.completable(within(position))
            return known[position] is not None

        position = bisect.bisect_left(range(count), True, key=feasible)
        part = known.get(position)
        return (position, part) if part else None

    def _by_difference(self, branch: Branch) -> Iterator[tuple[Value, Branch]]:
        for width, part in self.windows(branch):
            yield self.space.shown_difference(width), part

    def windows(self, branch: Branch) -> Iterator[tuple[int, Branch]]:
        """Windows of socket capacity that suffice, and their width; every window of the least width is a branch."""
        gibs = branch.gibs()
        totals = [self.space.gib(total) for total in branch.targets]
        fewest, most, sockets = min(totals), max(totals), len(self.space.sockets)
        self.budget.spend(1 + len(gibs) ** 2 // 64 + len(totals) // 64)
        windows = sorted(
            (high - low, low)
            for index, low in enumerate(gibs)
            for high in gibs[index:]
            if low * sockets <= most and high * sockets >= fewest
        )
        least: int | None = None
        for width, low in windows:
            if least is not None and width > least:
                return
            part = self.completable(
                branch.keeping(lambda p, low=low, width=width: low <= p.gib <= low + width)  # type: ignore[misc]
            )
            if part:
                least = width
                yield width, part

    def _by_sum(self, branch: Branch, name: str) -> Iterator[tuple[Value, Branch]]:
        """The least sum over sockets; what is decided later has to keep it."""
        summed = branch._replace(summed=(*branch.summed, name), least_sums=branch.least_sums * SUM_PLACE)
        values = {
            total: value - summed.least_sums for total, value in self._least_totals(summed, branch.targets).items()
        }
        if values:
            least = min(values.values())
            targets = frozenset(total for total, value in values.items() if value == least)
            yield least, summed._replace(targets=targets, least_sums=summed.least_sums + least)

    def _least_totals(self, branch: Branch, wanted: Collection[int]) -> dict[int, int]:
        """The wanted totals that are reached, each with the least that the branch's sums over sockets can be."""
        each = [(group, times) for group in branch.groups for times in group.steps()]
        found = completions(
            [self.codes_with_sums(branch, group, times) for group, times in each], wanted, budget=self.budget
        )
        return {total: found[0][total] for total in wanted if total in found[0]} if found else {}

    def codes_with_sums(self, branch: Branch, group: SocketGroup, times: int) -> dict[int, int]:
        """The codes that a choice of a profile adds, each with the least that it adds to the branch's sums."""
        least: dict[int, int] = {}
        for profile in group.profiles:
            value = self.sums_of(branch, profile) * times
            code = profile.code * times
            least[code] = min(value, least.get(code, value))
        return least

    def sums_of(self, branch: Branch, profile: Profile) -> int:
        """What a profile adds to the branch's sums over sockets, as digits of one number."""
        value = 0
        for name in branch.summed:
            value = value * SUM_PLACE + _SUMS[name](profile)
        return value

    def reached(self, branch: Branch, targets: Iterable[int] | None = None) -> frozenset[int]:
        """The targets (all of the branch, or these) that some choice of profiles adds up to."""
        wanted = set(branch.targets if targets is None else targets)
        if branch.summed:
            found = self._least_totals(branch, wanted)
            return frozenset(total for total, value in found.items() if value == branch.least_sums)
        return reached(branch.steps(), wanted, places=self.space.places(), budget=self.budget)

    def completable(self, branch: Branch | None) -> Branch | None:
        """The branch with the targets that it reaches; ``None`` where there is none."""
        targets = self.reached(branch) if branch else frozenset()
        return branch._replace(targets=targets) if branch and targets else None


def _better(one: Any, other: Any, better: Literal["high", "low"]) -> bool:
    return bool(one > other if better == "high" else one < other)


# -- which totals are reached ------------------------------------------------------------------------------------------

OPERATIONS = 4
"""So many additions count as one node."""
DENSE_BITS = 1 << 24
"""Above this many possible totals they are kept one by one instead."""


def reached(
    steps: Sequence[Sequence[int]], wanted: Iterable[int], *, places: Sequence[tuple[int, int]], budget: Budget
) -> frozenset[int]:
    """The wanted totals that one number from each of ``steps`` adds up to.

    ``places`` are value and base of the digits that may differ from zero.
    """
    targets = set(wanted)
    if not targets or not all(steps):
        return frozenset()
    tops = [max(target // value % base for target in targets) for value, base in places]
    digits = [[row for row in _digits(step, places) if all(map(le, row, tops))] for step in steps]
    if not all(digits):
        return frozenset()
    most = [[max(row[place] for row in rows) for rows in digits] for place in range(len(places))]
    widths = [1 + min(sum(each), top + max(each)) for each, top in zip(most, tops, strict=True)]
    bits = math.prod(widths)
    if bits > DENSE_BITS:
        of_all = completions([dict.fromkeys(step, 0) for step in steps], targets, budget=budget)
        return frozenset(targets.intersection(of_all[0])) if of_all else frozenset()
    weights = [math.prod(widths[:place]) for place in range(len(widths))]
    of_use = 1
    for weight, width, top in zip(weights, widths, tops, strict=True):
        of_use = _shifted(of_use, [weight * digit for digit in range(min(top + 1, width))])
    total = 1
    for rows in digits:
        budget.spend(1 + len(rows) * bits // 4096)
        total = _shifted(total, {sum(map(mul, row, weights)) for row in rows}) & of_use
    data = total.to_bytes(bits // 8 + 1, "little")
    found = set()
    for target, row in zip(targets, _digits(targets, places), strict=True):
        place = sum(map(mul, row, weights))
        if all(map(lt, row, widths)) and data[place >> 3] >> (place & 7) & 1:
            found.add(target)
    return frozenset(found)


def _digits(codes: Iterable[int], places: Sequence[tuple[int, int]]) -> list[list[int]]:
    return [[code // value % base for value, base in places] for code in codes]


def _shifted(total: int, steps: Iterable[int]) -> int:
    found = 0
    for step in steps:
        found |= total << step
    return found


def completions(steps: Sequence[Mapping[int, int]], wanted: Collection[int], *, budget: Budget) -> list[dict[int, int]]:
    """For each mapping, and after the last, the sums of one number from each mapping from there on.

    With the least sum of what the numbers that add up to each of them map to. Sums that are too small or too large to
    become a wanted total are left out. Empty where there can be no total.
    """
    if not wanted or not all(steps):
        return []
    found = [{0: 0}]
    for step, (floor, ceiling) in zip(reversed(steps), _edges(steps, wanted), strict=True):
        budget.spend(1 + len(found[-1]) * len(step) // OPERATIONS)
        best: dict[int, int] = {}
        for have, beside in found[-1].items():
            for each, more in step.items():
                total = have + each
                if floor <= total <= ceiling and best.get(total, beside + more + 1) > beside + more:
                    best[total] = beside + more
        found.append(best)
    return found[::-1]


def _edges(steps: Sequence[Collection[int]], wanted: Collection[int]) -> Iterator[tuple[int, int]]:
    """From the last list to the first: the least and the most of a sum from there on that may become a wanted total."""
    before = [(0, 0)]
    for step in steps:
        least, most = before[-1]
        before.append((least + min(step), most + max(step)))
    low, high = min(wanted), max(wanted)
    for least, most in reversed(before[:-1]):
        yield low - most, high - least
