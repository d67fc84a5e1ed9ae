"""Which totals a choice of one number from each list can add up to.

Numbers are count codes: digits in a base, one for each module type, that never carry. Where the digits are few, the
set of all sums is one big integer with a bit for each sum, and adding a list is a handful of shifts.
"""

from __future__ import annotations

import itertools
from collections.abc import Collection, Iterable, Mapping, Sequence
from operator import contains

from dimmplan.solve.budget import Budget

DENSE_BITS = 1 << 24
"""Above this many possible totals a plain set is kept instead."""
MANY_BITS = 1 << 24
"""Above this many bits to be shifted, totals are first looked for by dealing."""


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
    dealt: set[int] = set()
    if sum(map(len, steps)) * bits > MANY_BITS:
        dealt = _dealt(steps, targets, places, budget)
        targets -= dealt
    if not targets or bits > DENSE_BITS:
        return frozenset(dealt | sums(steps, targets, budget=budget))
    weights = [1]
    for width in widths[:-1]:
        weights.append(weights[-1] * width)
    total = 1
    for rows in digits:
        budget.spend(1 + len(rows) * bits // 4096)
        total = _shifted(total, {sum(d * w for d, w in zip(row, weights, strict=True)) for row in rows})
    data = total.to_bytes(bits // 8 + 1, "little")
    digits_of = list(zip(places, widths, weights, strict=True))
    found = dealt
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


def some_reached(
    steps: Sequence[Sequence[int]], wanted: Collection[int], *, places: Sequence[tuple[int, int]], budget: Budget
) -> bool:
    """True where one number from each of ``steps`` adds up to any of the wanted totals."""
    return bool(_dealt(steps, wanted, places, budget, enough=1) or reached(steps, wanted, places=places, budget=budget))


def _dealt(
    steps: Sequence[Sequence[int]],
    wanted: Iterable[int],
    places: Sequence[tuple[int, int]],
    budget: Budget,
    enough: int | None = None,
) -> set[int]:
    """Wanted totals, ``enough`` of them, that are reached when the modules are dealt to the lists one by one.

    There and back, so that the larger sums of one round get the smaller numbers of the next. What is not among them may
    be reached all the same.
    """
    found: set[int] = set()
    if len({base for _, base in places}) != 1:
        return found  # not all digits are modules
    have = [set(step) for step in steps]
    for target in wanted:
        digits = [target // value % base for value, base in places]
        budget.spend(1 + sum(digits) // 16)
        hands = itertools.cycle([*range(len(have)), *reversed(range(len(have)))])
        dealt = [0] * len(have)
        for (value, _), digit in zip(places, digits, strict=True):
            for hand in itertools.islice(hands, digit):
                dealt[hand] += value
        if all(map(contains, have, dealt)):
            found.add(target)
            if len(found) == enough:
                break
    return found


def _shifted(total: int, steps: Iterable[int]) -> int:
    found = 0
    for step in steps:
        found |= total << step
    return found


def sums(steps: Sequence[Sequence[int]], wanted: set[int], *, budget: Budget) -> set[int]:
    """The wanted totals that one number from each list adds up to; sums that cannot end there are dropped early."""
    ends = tails(steps, wanted, budget=budget)
    return ends[0] & wanted if ends else set()


def tails(steps: Sequence[Sequence[int]], wanted: Collection[int], *, budget: Budget) -> list[set[int]]:
    """For each list, and after the last, the sums of one number from each list from there on.

    Sums that are too small or too large to become a wanted total are left out. Empty where there can be no total.
    """
    if not wanted or not all(steps):
        return []
    before = [(0, 0)]
    for step in steps:
        least, most = before[-1]
        before.append((least + min(step), most + max(step)))
    low, high = min(wanted), max(wanted)
    found = [{0}]
    for (least, most), step in zip(reversed(before[:-1]), reversed(steps), strict=True):
        budget.spend(len(found[-1]))
        floor, ceiling = low - most, high - least
        found.append({total for have in found[-1] for each in step if floor <= (total := have + each) <= ceiling})
    return found[::-1]


def least_beside(steps: Sequence[Mapping[int, int]], wanted: Collection[int], *, budget: Budget) -> dict[int, int]:
    """For each wanted total that one number from each mapping adds up to, the least sum of what they map to."""
    if not wanted or not all(steps):
        return {}
    rest = [(0, 0)]
    for step in reversed(steps):
        least, most = rest[-1]
        rest.append((least + min(step), most + max(step)))
    rest.pop()
    low, high = min(wanted), max(wanted)
    found = {0: 0}
    for step in steps:
        budget.spend(len(found))
        least, most = rest.pop()
        floor, ceiling = low - most, high - least
        best: dict[int, int] = {}
        for have, beside in found.items():
            for each, more in step.items():
                total = have + each
                if floor <= total <= ceiling and best.get(total, beside + more + 1) > beside + more:
                    best[total] = beside + more
        found = best
    return {total: found[total] for total in wanted if total in found}
