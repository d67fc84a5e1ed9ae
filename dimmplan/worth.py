"""The capacities worth looking at on a board, where nobody says which: few, and each good for something."""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from dimmplan.model.board import Board
from dimmplan.model.request import Request
from dimmplan.solve.answer import STEP_SHARE, solve_in
from dimmplan.solve.causes import capacities
from dimmplan.solve.space import Space

MOST = 12
WORTH_A_STEP = Fraction(11, 10)
"""A capacity is passed over where a small step above it sweeps faster by more than this."""
WIDE = Fraction(3, 2)
"""Between two capacities further apart than this, one more is shown."""


@dataclass(frozen=True, slots=True)
class Worth:
    """A capacity and why it is looked at: ``asked`` for; ``even``: one type puts the same on every channel; ``step``:
    no capacity up to a quarter above is clearly faster; ``between``: the fastest within a wide gap.
    """

    capacity_gib: int
    why: Literal["asked", "even", "step", "between"]


def worth_looking_at(board: Board, base: Request) -> tuple[Worth, ...]:
    """At most twelve capacities that one type reaches without breaking a rule, advised ones included, rising.

    Even ones go before others, faster ones before slower ones; the largest is always there. None where nothing fits.
    """
    sweeps, even = _reached(board, base)
    rising = sorted(sweeps)
    near = [c for c in rising if not _a_step_is_faster(c, sweeps)]
    chosen: dict[int, Literal["asked", "even", "step", "between"]] = dict.fromkeys(near, "step")
    chosen |= dict.fromkeys(sorted(even), "even")
    chosen |= dict.fromkeys(_between(sorted(chosen), sweeps), "between")
    return tuple(Worth(gib, chosen[gib]) for gib in thinned(sorted(chosen), sweeps, even))


def thinned(rising: Sequence[int], sweeps: Mapping[int, Fraction], even: Collection[int]) -> list[int]:
    """At most twelve of some rising capacities: the slowest that are not even go first, then even ones that have a
    near neighbour. The largest always stays.
    """
    left = list(rising)
    while len(left) > MOST:
        others = [gib for gib in left[:-1] if gib not in even]
        left.remove(min(others, key=lambda gib: (sweeps[gib], gib)) if others else _closest(left))
    return left


def _reached(board: Board, base: Request) -> tuple[dict[int, Fraction], set[int]]:
    """Capacities that one type reaches with no rule broken and their best balanced sweep; those of even placements."""
    strict = replace(
        board,
        rules=tuple(
            row.model_copy(update={"severity": "error"}) if row.severity == "advised" else row for row in board.rules
        ),
    )
    sweeps: dict[int, Fraction] = {}
    even: set[int] = set()
    for supply in base.supplies:
        alone = replace(base, supplies=(supply,), prefer="capacity-first")
        for gib in sorted(capacities(Space(strict, alone))):
            if gib < 1 or int(gib) != gib:
                continue
            asked = replace(alone, capacity_gib=int(gib), over_gib=0)
            answer = solve_in(Space(strict, asked), alternatives=False)
            if answer is None:
                continue
            sweeps[int(gib)] = max(sweeps.get(int(gib), Fraction(0)), Fraction(answer.values["balanced_sweep"]))
            content = answer.best.content
            loads = {
                sum(content.get(slot) is not None for slot in channel.slots)
                for channel in board.channels
                if channel.socket in base.fitted
            }
            if len(loads) == 1:
                even.add(int(gib))
    return sweeps, even


def _a_step_is_faster(gib: int, sweeps: dict[int, Fraction]) -> bool:
    limit = gib + gib * STEP_SHARE
    return any(sweep > sweeps[gib] * WORTH_A_STEP for other, sweep in sweeps.items() if gib < other <= limit)


def _between(chosen: Sequence[int], sweeps: dict[int, Fraction]) -> Iterable[int]:
    """The fastest capacity well inside each wide gap; of equally fast ones the one nearest to its middle."""
    margin = 1 + STEP_SHARE / 2
    for low, high in itertools.pairwise(chosen):
        inside = [gib for gib in sweeps if low * margin <= gib <= high / margin]
        if high > low * WIDE and inside:
            middle = math.sqrt(low * high)
            yield max(inside, key=lambda gib: (sweeps[gib], -abs(math.log(gib / middle)), gib))


def _closest(rising: Sequence[int]) -> int:
    """The capacity with the nearest neighbour below: the one least missed. The largest always stays."""
    return min(rising[1:-1], key=lambda gib: (Fraction(gib, rising[rising.index(gib) - 1]), gib))
