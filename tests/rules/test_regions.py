"""Rates of their own decide which channels work together only where nothing else tells the sets apart."""

from __future__ import annotations

from typing import Any

import pytest

from dimmplan.interleave import permitted_sets, regions
from tests.support import Shape, interleave_row, socket_of

PAIRS = {"style": "even", "ways": [1, 2]}
ANY = {"style": "any", "ways": [1, 2]}
FOUR = [[32, 32], [32, 32]]


@pytest.mark.parametrize(
    ("row", "amounts", "rates", "channels"),
    [
        # both channels of the faster controller
        (PAIRS, FOUR, [[2400, 2400], [2933, 2933]], [(2, 3), (0, 1)]),
        (PAIRS, FOUR, [[2933, 2933], [2400, 2400]], [(0, 1), (2, 3)]),
        # the slowest member first, then the others
        (PAIRS, FOUR, [[2933, 2400], [2666, 2666]], [(2, 3), (0, 1)]),
        (PAIRS, FOUR, [[2400, 2666], [2933, 2400]], [(2, 3), (0, 1)]),
        (PAIRS, FOUR, [[2400, 2933], [2666, 2400]], [(0, 1), (2, 3)]),
        (
            {"style": "even", "ways": [1, 3]},
            [[32, 32, 32], [32, 32, 32]],
            [[2400, 2666, 2666], [2400, 2933, 2400]],
            [(3, 4, 5), (0, 1, 2)],
        ),
        # what is left goes before rates: two channels of one controller leave the other whole
        (PAIRS, FOUR, [[2400, 2933], [2933, 2400]], [(0, 1), (2, 3)]),
        # depth and sum go before rates
        (PAIRS, [[32, 32], [16, 16]], [[2400, 2400], [2933, 2933]], [(0, 1), (2, 3)]),
        (PAIRS, [[16, 16], [32, 32]], [[2933, 2933], [2400, 2400]], [(2, 3), (0, 1)]),
        # sums and remainders alike: of equally slow sets the one whose other member is fast
        (PAIRS, [[16, 16], [32, 16]], [[2933, 2933], [2400, 2400]], [(0, 2), (1, 2), (3,)]),
        # one channel of each controller, the faster of each
        (PAIRS, [[32, 32], [32]], [[2400, 2933], [2400]], [(1, 2), (0,)]),
        ({"style": "even", "ways": [1, 3]}, [[32, 32], [32], [32]], [[2400, 2933], [2400], [2400]], [(1, 2, 3), (0,)]),
        (ANY, FOUR, [[2400, 2933], [2400, 2933]], [(0, 1), (2, 3)]),
        (ANY, [[32, 32, 32, 32]], [[2400, 2933, 2400, 2933]], [(1, 3), (0, 2)]),
        (ANY, [[48], [32], [32]], [[2400], [2400], [2933]], [(0, 2), (0, 1), (1,)]),
        (ANY, [[32], [32], [32]], [[2933], [2400], [2933]], [(0, 2), (1,)]),
        # single channels
        ({"style": "any", "ways": [1]}, [[32, 32]], [[2400, 2933]], [(1,), (0,)]),
        ({"style": "any", "ways": [1]}, [[48, 32]], [[2400, 2933]], [(0,), (1,)]),
    ],
)
def test_rates_come_last(row: dict[str, Any], amounts: Shape, rates: Shape, channels: list[tuple[int, ...]]) -> None:
    permitted = permitted_sets(interleave_row(**row), socket_of([len(controller) for controller in amounts]))
    found = regions(tuple(map(tuple, amounts)), permitted, tuple(map(tuple, rates)))
    assert [region.channels for region in found] == channels


def test_listed_groups_go_by_their_order_whatever_the_rates() -> None:
    groups = [{"channels": ["A", "B"]}, {"channels": ["C", "D"]}]
    permitted = permitted_sets(interleave_row("groups", groups=groups), socket_of([4]))
    found = regions(((32, 32, 32, 32),), permitted, ((2400, 2400, 2933, 2933),))
    assert [region.channels for region in found] == [(0, 1), (2, 3)]


def test_excess_alone_stays_with_its_channels() -> None:
    permitted = permitted_sets(interleave_row("any", [1, 3], "alone"), socket_of([3]))
    found = regions(((48, 32, 40),), permitted)
    assert [tuple(region) for region in found] == [(3, 96, (0, 1, 2)), (1, 16, (0,)), (1, 8, (2,))]


def test_depth_of_a_region() -> None:
    permitted = permitted_sets(interleave_row("any", [1, 3]), socket_of([3]))
    found = regions(((48, 32, 32),), permitted)
    assert [(region.ways, region.capacity, region.depth) for region in found] == [(3, 96, 32), (1, 16, 16)]


def test_the_sets_of_a_row_on_one_socket() -> None:
    """Ways above one, widest first, each once; groups by place, in the row's order, without those it has not all of."""
    row = interleave_row("any", [1, 4, 2, 4], "alone")
    assert permitted_sets(row, socket_of([4])) == ("any", (4, 2), "alone", ())
    groups = [
        {"channels": ["C", "A"], "exclusive": True, "excess": "none"},
        {"channels": ["A", "E"]},
        {"channels": ["A", "B"], "excess": "alone"},
    ]
    found = permitted_sets(interleave_row("groups", groups=groups), socket_of([2, 2]))
    assert found == ("groups", (), "layers", (((0, 2), True, "none"), ((0, 1), False, "alone")))
