"""What the shortcuts save: requests that take no more nodes than they did. A bound that stops working shows here alone.

A change that makes the search count fewer may lower these numbers; one that needs more has to say what for.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.errors import ImpossibleError
from dimmplan.model.board import Board
from dimmplan.model.request import Request
from dimmplan.planner import ask
from dimmplan.solve.answer import solve
from tests.oracle.random_boards import random_case, random_mode_case


def effort_of(board: Board, request: Request) -> int:
    """Nodes that a request takes; 0 where nothing fits."""
    try:
        return solve(board, request, alternatives=False).effort
    except ImpossibleError:
        return 0


@pytest.mark.parametrize(
    ("board_id", "nodes"),
    [
        ("causeway-48", {"96GiB": 3059, "416GiB": 2166, "640GiB": 3927}),
        ("firth-96", {"416GiB": 5893, "640GiB": 2488}),
        ("groyne-24", {"96GiB": 1397, "416GiB": 1461}),
        ("lagoon-32", {"96GiB": 1859, "416GiB": 2611, "640GiB": 3171}),
        ("machair-20", {"96GiB": 3687, "416GiB": 4052, "640GiB": 8508}),
        ("quay-24", {"96GiB": 1876, "416GiB": 1928, "640GiB": 2395}),
        ("saltern-24", {"96GiB": 2835, "416GiB": 5172, "640GiB": 2713}),
        ("skerry-16", {"96GiB": 2333, "416GiB": 2139, "640GiB": 2020}),
        ("strand-12", {"96GiB": 1122, "416GiB": 2146, "640GiB": 1938}),
        ("tombolo-32", {"96GiB": 2778, "640GiB": 4223}),
    ],
)
def test_effort_on_shipped_boards(board_id: str, nodes: dict[str, int]) -> None:
    board = load_board(board_id)
    taken = {capacity: effort_of(board, ask(board, capacity)) for capacity in nodes}
    assert all(0 < taken[capacity] <= most for capacity, most in nodes.items()), taken


@pytest.mark.parametrize(
    ("case", "nodes"),
    [(random_case, [3416, 1585, 1368]), (random_mode_case, [2547, 802, 1335])],
    ids=["rules", "modes"],
)
def test_effort_on_random_boards(case: Callable[[int], tuple[Board, Request]], nodes: list[int]) -> None:
    """Twenty seeds in each number."""
    taken = [sum(effort_of(*case(seed)) for seed in range(20 * block, 20 * block + 20)) for block in range(len(nodes))]
    assert all(0 < now <= most for now, most in zip(taken, nodes, strict=True)), taken
