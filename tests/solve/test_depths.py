"""Depth, number and narrowest of regions from amounts alone: ties worked out by hand, and the same as the regions."""

from __future__ import annotations

import random
from typing import Any

import pytest

from dimmplan.interleave import permitted_sets, regions
from dimmplan.solve.profiles import Depths, Evaluator
from tests.support import Shape, interleave_row, regions_of, socket_of, ways_and_gib

AC = {"channels": ["A", "C"], "excess": "alone"}
BC = {"channels": ["B", "C"], "excess": "layers"}
FIRST_ALONE = [(2, 32), (1, 16), (1, 16)]
FIRST_LAYERS = [(2, 32), (2, 32)]


@pytest.mark.parametrize(
    ("groups", "amounts", "regions"),
    [
        # equal depth, sum and remainder: the order in which the board lists the groups
        ([AC, BC], [[16, 16, 32]], FIRST_ALONE),
        ([BC, AC], [[16, 16, 32]], FIRST_LAYERS),
        # the remainders differ by controller, 16 beside 16 against 16 apart from 16, and go before the order
        ([AC, BC], [[16], [16, 32]], FIRST_ALONE),
        ([BC, AC], [[16], [16, 32]], FIRST_ALONE),
        ([AC, BC], [[16, 16], [32]], FIRST_ALONE),
        ([BC, AC], [[16, 16], [32]], FIRST_LAYERS),
        # a controller left with 32 and nothing comes before one left with 32 alone: the second group, then the first
        (
            [{"channels": ["A", "E"], "excess": "alone"}, {"channels": ["C", "E"]}],
            [[32, 0], [32], [16, 48]],
            [(2, 64), (2, 32), (1, 16), (1, 16)],
        ),
        # an exclusive group holds only where no other channel was filled at the start
        ([AC | {"exclusive": True}], [[16, 0, 32]], [(2, 32), (1, 16)]),
        ([AC | {"exclusive": True}], [[16, 16, 32]], [(1, 32), (1, 16), (1, 16)]),
        ([BC, AC | {"exclusive": True}], [[16, 16, 32]], [(2, 32), (1, 16), (1, 16)]),
        # and one without excess only where its members are equal
        ([AC | {"excess": "none"}], [[16, 0, 32]], [(1, 32), (1, 16)]),
        ([AC | {"excess": "none"}], [[32, 0, 32]], [(2, 64)]),
    ],
)
def test_listed_groups(groups: list[dict[str, Any]], amounts: Shape, regions: list[tuple[int, int]]) -> None:
    same(interleave_row("groups", groups=groups), amounts, regions)


@pytest.mark.parametrize(
    ("style", "ways", "excess", "amounts", "regions"),
    [
        ("even", [1, 2, 4], "layers", [[32, 32], [16, 16]], [(4, 64), (2, 32)]),
        ("even", [1, 2, 4], "alone", [[32, 32], [16, 16]], [(4, 64), (1, 16), (1, 16)]),
        ("even", [1, 2, 4], "none", [[32, 32], [16, 16]], [(2, 64), (2, 32)]),
        ("even", [1, 2], "none", [[32, 16], [16]], [(2, 32), (1, 32)]),
        ("even", [1, 3], "layers", [[32, 16], [16, 16]], [(1, 32), (1, 16), (1, 16), (1, 16)]),
        ("even", [1, 3], "layers", [[32], [16], [16]], [(3, 48), (1, 16)]),
        # of equal depth the greater sum, whether on one controller or on several
        ("even", [2], "layers", [[32], [16, 48, 16, 48]], [(2, 96), (2, 32), (2, 32)]),
        ("even", [3], "alone", [[48, 48, 16], [16], [16]], [(3, 48), (1, 32), (1, 32), (1, 16), (1, 16)]),
        ("any", [1, 2], "layers", [[48], [16], [16]], [(2, 32), (2, 32), (1, 16)]),
        ("any", [1, 2], "alone", [[48], [16], [16]], [(2, 32), (1, 32), (1, 16)]),
        ("any", [1, 2, 3], "none", [[48], [16], [16]], [(2, 32), (1, 48)]),
        ("any", [1], "layers", [[48], [16], [16]], [(1, 48), (1, 16), (1, 16)]),
        ("any", [2, 3], "layers", [[6], [3], [3]], [(3, 9), (1, 3)]),
    ],
)
def test_numbers_of_ways(
    style: str, ways: list[int], excess: str, amounts: Shape, regions: list[tuple[int, int]]
) -> None:
    same(interleave_row(style, ways, excess), amounts, regions)


@pytest.mark.parametrize("style", ["even", "any", "groups"])
def test_rates_of_channels_change_no_depth(style: str) -> None:
    """The search leaves populations out by it: rates decide among sets that are alike otherwise."""
    rng = random.Random(f"depths {style}")
    for _ in range(60):
        shape = [rng.randint(1, 3) for _ in range(rng.randint(2, 3))]
        amounts = tuple(tuple(rng.choice((0, 16, 16, 32, 48)) for _ in range(size)) for size in shape)
        rates = tuple(tuple(rng.choice((2400, 2933, 3200)) for _ in range(size)) for size in shape)
        if not any(map(any, amounts)):
            continue
        names = "ABCDEFGHI"[: sum(shape)]
        sets = {"".join(sorted(rng.sample(names, rng.randint(2, len(names))))) for _ in range(3)}
        listed = [{"channels": list(each)} for each in sorted(sets)]
        ways = sorted({1, *rng.sample(range(1, 10), 3)})
        row = interleave_row(style, groups=listed) if style == "groups" else interleave_row(style, ways, "layers")
        permitted = permitted_sets(row, socket_of(shape))
        own = regions(amounts, permitted, rates)
        assert sum(region.depth for region in own) == Evaluator(permitted)(amounts).depth, (amounts, rates, row)


def same(row: Any, amounts: Shape, regions: list[tuple[int, int]]) -> None:
    """The regions are these, and the figures remembered of amounts are theirs, at any scale and asked again."""
    assert ways_and_gib(regions_of(row, amounts)) == regions
    figures = Depths(sum(gib // ways for ways, gib in regions), len(regions), min(ways for ways, _ in regions))
    evaluate = Evaluator(permitted_sets(row, socket_of([len(controller) for controller in amounts])))
    for factor in (1, 3, 3, 1):
        scaled = [[factor * amount for amount in controller] for controller in amounts]
        assert evaluate(scaled) == figures._replace(depth=factor * figures.depth)
