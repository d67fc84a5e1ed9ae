"""The search held against a second exact solver; ``python -m tests.bench opinion`` takes many more instances."""

from __future__ import annotations

import functools
import statistics
from collections.abc import Callable, Sequence
from dataclasses import replace

import pytest

from tests.opinion.cases import Case, random_instance, shipped_instance
from tests.opinion.compare import Compared, compared
from tests.oracle.random_boards import random_mode_case

SHIPPED = {
    "causeway-48": (1, 3),
    "firth-96": (0, 2),
    "groyne-24": (3, 9),
    "lagoon-32": (2, 3),
    "machair-20": (4, 6),
    "marram-4": (1, 3),
    "quay-24": (0, 1),
    "saltern-24": (2, 3),
    "skerry-16": (0, 3),
    "strand-12": (1, 3),
    "tombolo-32": (0, 1),
}
"""Seeds of quick instances on every shipped board."""

LONG_MS = 50


@functools.cache
def of_board(board_id: str) -> tuple[Compared, ...]:
    """The instances of one shipped board, solved by both."""
    return tuple(compared(shipped_instance(board_id, seed)) for seed in SHIPPED[board_id])


@pytest.mark.parametrize("board_id", SHIPPED)
def test_shipped_boards(board_id: str) -> None:
    """Every criterion has the same value on shipped boards, or both find nothing."""
    for each in of_board(board_id):
        assert each.difference() is None, each.difference()


@pytest.mark.parametrize(
    ("make", "seeds"),
    # in mode 179 channels of three slots and of one mirror each other
    [(random_instance, range(500, 530)), (None, [179, *range(500, 515)])],
)
def test_random_boards(make: Callable[[int], Case] | None, seeds: Sequence[int]) -> None:
    """So it is on small random boards, in the modes that leave less usable too."""
    for seed in seeds:
        case = make(seed) if make else Case(f"mode {seed}", *random_mode_case(seed))
        difference = compared(case).difference()
        assert difference is None, difference


def test_the_search_is_the_faster_one() -> None:
    """Where the solver alone takes long, the search takes a tenth of its time, and never more than all of it."""
    long = [each for board_id in SHIPPED for each in of_board(board_id) if each.solving * 1000 >= LONG_MS]
    assert len(long) >= 5
    assert all(each.answering <= each.solving for each in long)
    assert statistics.median(each.answering / each.solving for each in long) <= 0.1


def test_a_worse_answer_would_be_seen() -> None:
    """The comparison says which criterion differs, and a missing answer is not taken for an equal one."""
    each = next(each for each in of_board("skerry-16") if each.mine is not None)
    assert each.mine is not None and each.theirs == each.mine and each.rows > 1
    name, value = each.mine[-1]
    worse = replace(each, mine=[*each.mine[:-1], (name, value + 1)])
    assert name in str(worse.difference())
    assert replace(each, mine=None).difference() is not None
    assert replace(each, mine_outside=not each.mine_outside).difference() is not None
