"""Which totals a choice of one number from each list can add up to.

Numbers are count codes: digits in a base, one for each module type, that never carry. Where the digits are few, the
set of all sums is one big integer with a bit for each sum, and adding a list is a handful of shifts.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from operator import le, lt, mul

from dimmplan.solve.budget import Budget

OPERATIONS = 4
"""So many additions count as one node."""
DENSE_BITS = 1 << 24
"""Above this many possible totals a plain set is kept instead."""


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
        return frozenset(sums(steps, targets, budget=budget))
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


def sums(steps: Sequence[Sequence[int]], wanted: set[int], *, budget: Budget) -> set[int]:
    """The wanted totals that one number from each list adds up to; sums that cannot end there are dropped early."""
    if not wanted or not all(steps):
        return set()
    found = {0}
    for step, (floor, ceiling) in zip(reversed(steps), _edges(steps, wanted), strict=True):
        budget.spend(1 + len(found) * len(step) // OPERATIONS)
        found = {total for have in found for each in step if floor <= (total := have + each) <= ceiling}
    return found & wanted


def least_tails(steps: Sequence[Mapping[int, int]], wanted: Collection[int], *, budget: Budget) -> list[dict[int, int]]:
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
