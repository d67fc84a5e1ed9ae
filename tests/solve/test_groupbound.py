"""The least sweep time of listed groups: never above that of what is loaded, and never falling while channels fill."""

from __future__ import annotations

import random
from collections.abc import Sequence
from typing import Any

import pytest

from dimmplan.interleave import permitted_sets, regions
from dimmplan.solve.groupbound import GroupBound, loading_order
from dimmplan.solve.space import Load
from tests.support import interleave_row, socket_of

UNIT = 4800 * 4400
RATES = (4800, 4400)


def bounds_of(groups: Sequence[Any], loads: Sequence[Load], order: Sequence[int], rate: int, low_gib: int) -> list[int]:
    """The bound after each step of loading the channels in order."""
    permitted = permitted_sets(interleave_row("groups", groups=groups), socket_of([len(loads)]))
    bound = GroupBound(permitted, order, most=[64] * len(loads), rate_unit=UNIT, rate=rate)
    chosen: list[Load | None] = [None] * len(loads)
    found, gib = [], 0
    for step, channel in enumerate(order):
        chosen[channel] = loads[channel]
        gib += loads[channel].gib
        found += bound.least_times(step, chosen, gib, (max(gib, low_gib),))
    return found


def load(gib: int, rate: int = 4800) -> Load:
    return Load(code=0, gib=gib, rate=rate, low_rank=False, displaced=0, board_order=b"")


@pytest.mark.parametrize(
    ("groups", "gib", "depths"),
    [
        # two and two channels together: an empty one leaves its partner alone
        ([{"channels": ["A", "B"]}, {"channels": ["C", "D"]}], [16, 16, 0, 16], [8, 16, 16, 32]),
        # no set of three holds after the second differs from the first; the pair of A and C still does
        (
            [{"channels": ["A", "B", "C"], "excess": "none"}, {"channels": ["A", "C"], "excess": "none"}],
            [48, 16, 48],
            [16, 40, 64],
        ),
        # no more of a channel waits with four than each of the four holds, and with two what those leave
        ([{"channels": ["A", "B", "C", "D"]}, {"channels": ["A", "B"]}], [64, 32, 16, 16], [16, 48, 60, 64]),
        # an exclusive pair only while the third is empty
        ([{"channels": ["A", "B"], "exclusive": True}], [16, 16, 16], [8, 16, 48]),
        ([{"channels": ["A", "B"], "exclusive": True}], [16, 16, 0], [8, 16, 16]),
    ],
)
def test_by_hand(groups: list[Any], gib: list[int], depths: list[int]) -> None:
    loads = [load(amount) for amount in gib]
    found = bounds_of(groups, loads, range(len(gib)), 4800, low_gib=0)
    assert found == [depth * (UNIT // 4800) for depth in depths]


def test_what_is_missing_waits_in_the_widest_set_left() -> None:
    """96 GiB wanted: after A 32 of them may wait with A and 48 alone, after B and C 64 in D, which is alone."""
    groups = [{"channels": ["A", "B", "C"]}, {"channels": ["A", "B"]}]
    loads = [load(gib) for gib in (16, 16, 0, 64)]
    found = bounds_of(groups, loads, range(4), 4800, low_gib=96)
    assert found == [depth * (UNIT // 4800) for depth in (64, 64, 80, 80)]
    # what no channel is left for waits nowhere
    assert bounds_of(groups, loads, range(4), 4800, low_gib=160)[-1] == 80 * (UNIT // 4800)


@pytest.mark.parametrize("seed", range(6))
def test_never_above_the_time_of_what_is_loaded(seed: int) -> None:
    rng = random.Random(f"group bound {seed}")
    tight = 0
    for _ in range(150):
        count = rng.randint(2, 6)
        names = "ABCDEF"[:count]
        excess = rng.choice((["none"], ["none", "alone"], ["layers", "none", "alone"]))
        sets = {frozenset(rng.sample(names, rng.randint(2, count))) for _ in range(rng.randint(1, 6))}
        groups = [
            {"channels": sorted(each), "excess": rng.choice(excess), "exclusive": rng.random() < 0.2}
            for each in sorted(sets, key=sorted)
        ]
        rate = rng.choice((0, 4400))
        own = 4800 if rate else rng.choice(RATES)
        loads = [load(rng.choice((0, 16, 16, 32, 48)), own) for _ in names]
        gib = sum(each.gib for each in loads)
        order = rng.sample(range(count), count)
        permitted = permitted_sets(interleave_row("groups", groups=groups), socket_of([count]))
        depth = sum(region.depth for region in regions((tuple(each.gib for each in loads),), permitted))
        time = depth * (UNIT // (rate or own))
        found = bounds_of(groups, loads, order, rate, low_gib=rng.choice((0, gib)))
        assert found == sorted(found)
        assert found[-1] <= time
        tight += found[-1] == time > 0
    assert tight > 50


def test_equal_channels_are_loaded_behind_one_another() -> None:
    assert loading_order(["x", "y", "x", "z", "y"]) == [0, 2, 1, 4, 3]
