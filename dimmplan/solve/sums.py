"""Which totals a choice of one number from each list can add up to.

Numbers are count codes: digits in a base, one for each module type, that never carry. Where the digits are few, the
set of all sums is one big integer with a bit for each sum, and adding a list is a handful of shifts.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from dimmplan.solve.budget import Budget

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
    digits = [[[code // value % base for value, base in places] for code in step] for step in steps]
    widths = [1 + sum(max(row[place] for row in rows) for rows in digits) for place in range(len(places))]
    bits = 1
    for width in widths:
        bits *= width
    if bits > DENSE_BITS:
        return frozenset(targets & sums(steps, targets, budget=budget))
    weights = [1]
    for width in widths[:-1]:
        weights.append(weights[-1] * width)
    total = 1
    for rows in digits:
        budget.spend(1 + len(rows) * bits // 4096)
        total = _shifted(total, {sum(d * w for d, w in zip(row, weights, strict=True)) for row in rows})
    data = total.to_bytes(bits // 8 + 1, "little")
    digits_of = list(zip(places, widths, weights, strict=True))
    found = set()
    for target in targets:
        place = 0
        for (value, base), width, weight in digits_of:
            digit = target // value % base
            if digit >= width:
                break
            place += digit * weight
        else:
            if data[place >> 3] >> (place & 7) & 1:
                found.add(target)
    return frozenset(found)


def _shifted(total: int, steps: Iterable[int]) -> int:
    found = 0
    for step in steps:
        found |= total << step
    return found


def sums(steps: Sequence[Sequence[int]], wanted: set[int] | None, *, budget: Budget) -> set[int]:
    """All sums of one number from each list. With ``wanted``, sums that cannot end there are dropped early."""
    if not all(steps):
        return set()
    least = [sum(min(step) for step in steps[i:]) for i in range(len(steps) + 1)]
    most = [sum(max(step) for step in steps[i:]) for i in range(len(steps) + 1)]
    low, high = (min(wanted), max(wanted)) if wanted else (least[0], most[0])
    found = {0}
    for index, step in enumerate(steps):
        budget.spend(len(found))
        floor, ceiling = low - most[index + 1], high - least[index + 1]
        found = {total for have in found for each in step if floor <= (total := have + each) <= ceiling}
    return found
