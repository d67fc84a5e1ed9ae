"""The capacities worth looking at: few, reached by one type with no rule broken, each good for something."""

from __future__ import annotations

from fractions import Fraction

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.compare import MOST_CAPACITIES, Worth, thinned, worth_looking_at
from dimmplan.errors import ImpossibleError
from dimmplan.model.board import Board
from dimmplan.planner import ask, plan
from dimmplan.wording import placement_findings
from tests.compare.cases import priced_shelf
from tests.support import sampled

BOARDS = ("skerry-16", "saltern-24", "marram-4", "quay-24")


def chosen(board_id: str) -> tuple[Board, tuple[Worth, ...]]:
    board = load_board(board_id)
    return board, worth_looking_at(board, ask(board, "1GiB"))


@pytest.mark.parametrize("board_id", sampled(BOARDS, 1))
def test_one_type_reaches_them_with_no_rule_broken(board_id: str) -> None:
    """By the planner itself, type by type, at that capacity exactly."""
    board, worth = chosen(board_id)
    assert 2 < len(worth) <= MOST_CAPACITIES
    assert [each.capacity_gib for each in worth] == sorted({each.capacity_gib for each in worth})
    for each in worth:
        reached = []
        for module in board.modules:
            request = ask(board, f"{each.capacity_gib}GiB", modules=[module.label], over="0GiB")
            try:
                planned = plan(board, request, alternatives=False)
            except ImpossibleError:
                continue
            findings = placement_findings(board, planned.placement, None)
            if planned.answer.best.usable_gib == each.capacity_gib and all(f.severity == "note" for f in findings):
                reached.append(planned)
        assert reached
        per_channel = [
            {sum(p.placement.content[slot] is not None for slot in channel.slots) for channel in board.channels}
            for p in reached
        ]
        if each.why == "even":
            assert any(len(counts) == 1 for counts in per_channel)


def test_the_irregular_board() -> None:
    """Twelve channels of 8 to 128 GiB are even, and nothing beyond one module each: some channels have one slot."""
    _, worth = chosen("skerry-16")
    assert [each.capacity_gib for each in worth if each.why == "even"] == [96, 192, 384, 768, 1536]
    assert worth[-1].capacity_gib == 1792, "the most that its processor takes is always there"


def test_every_even_capacity_of_a_regular_board() -> None:
    _, worth = chosen("lagoon-32")
    even = {each.capacity_gib for each in worth if each.why == "even"}
    channels, sizes = 16, (16, 24, 32, 64, 96, 128)
    assert even == {size * channels * depth for size in sizes for depth in (1, 2)}


def test_a_step_is_passed_over_where_a_small_one_more_is_clearly_faster() -> None:
    """One socket of six channels: 160 GiB as five modules of 32 is no capacity to look at, 192 is."""
    board = load_board("skerry-16")
    worth = worth_looking_at(board, ask(board, "1GiB", modules=["32GiB"], fitted="NEAR"))
    capacities = {each.capacity_gib: each.why for each in worth}
    assert 160 not in capacities
    assert capacities[192] == "even"


def test_a_shelf_bounds_them() -> None:
    board = load_board("skerry-16")
    shelf = priced_shelf(count=3)
    worth = worth_looking_at(board, ask(board, "1GiB", shelf=shelf))
    assert worth
    assert max(each.capacity_gib for each in worth) == 3 * 128
    assert all(Fraction(each.capacity_gib, 8).denominator == 1 for each in worth)


def test_none_where_nothing_fits() -> None:
    board = load_board("skerry-16")
    assert worth_looking_at(board, ask(board, "1GiB", fitted="FAR")) == ()


def test_slow_ones_go_first_and_the_largest_stays() -> None:
    """Twenty capacities, the largest the slowest of them: it stays, and so do the even ones."""
    sweeps = {gib: Fraction(1000 - gib) for gib in range(100, 120)}
    left = thinned(sorted(sweeps), sweeps, {100, 117})
    assert len(left) == MOST_CAPACITIES and left[-1] == 119
    assert set(left) == {*range(100, 110), 117, 119}


def test_of_even_ones_the_nearest_neighbours_go() -> None:
    capacities = [100 * 2**step for step in range(11)] + [101, 1601]
    left = thinned(sorted(capacities), dict.fromkeys(capacities, Fraction(1)), capacities)
    assert len(left) == MOST_CAPACITIES and set(capacities) - set(left) == {1601}
