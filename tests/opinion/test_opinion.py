"""The search held against a second exact solver; ``python -m tests.bench opinion`` takes many more instances."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from dataclasses import replace

import pytest

from tests.opinion.cases import Case, random_instance, shelf_instance, shipped_instance
from tests.opinion.compare import Compared, compared
from tests.oracle.random_boards import random_mode_case
from tests.support import sampled

SHIPPED = {
    "causeway-48": 7,
    "firth-96": 0,
    "groyne-24": 3,
    "lagoon-32": 2,
    "machair-20": 4,
    "marram-4": 1,
    "quay-24": 0,
    "saltern-24": 2,
    "skerry-16": 5,
    "strand-12": 1,
    "tombolo-32": 0,
}
"""The seed of a quick instance on every shipped board."""


@functools.cache
def of_board(board_id: str) -> Compared:
    """The instance of one shipped board, solved by both."""
    return compared(shipped_instance(board_id, SHIPPED[board_id]))


@pytest.mark.parametrize("board_id", sampled(list(SHIPPED), 3))
def test_shipped_boards(board_id: str) -> None:
    """Every criterion has the same value on shipped boards, or both find nothing."""
    difference = of_board(board_id).difference()
    assert difference is None, difference


@pytest.mark.parametrize(
    ("make", "seeds"),
    # in mode 179 channels of three slots and of one mirror each other
    [(random_instance, range(500, 504)), (shelf_instance, range(5)), (None, [179, *range(500, 502)])],
)
def test_random_boards(make: Callable[[int], Case] | None, seeds: Sequence[int]) -> None:
    """So it is on small random boards, with a refurbisher's shelf, and in the modes that leave less usable."""
    for seed in seeds:
        case = make(seed) if make else Case(f"mode {seed}", *random_mode_case(seed))
        difference = compared(case).difference()
        assert difference is None, difference


def test_a_worse_answer_would_be_seen() -> None:
    """The comparison says which criterion differs, and a missing answer is not taken for an equal one."""
    each = of_board("skerry-16")
    assert each.mine is not None and each.theirs == each.mine and each.rows > 1
    name, value = each.mine[-1]
    worse = replace(each, mine=[*each.mine[:-1], (name, value + 1)])
    assert name in str(worse.difference())
    assert replace(each, mine=None).difference() is not None
    assert replace(each, mine_outside=not each.mine_outside).difference() is not None
