"""What the shortcuts save: requests that take no more nodes than they did. A bound that stops working shows here alone.

A change that makes the search count fewer may lower these numbers; one that needs more has to say what for.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.errors import ImpossibleError
from dimmplan.model.board import Board
from dimmplan.model.request import Request
from dimmplan.planner import ask
from dimmplan.solve.answer import solve
from dimmplan.solve.criteria import ranked
from tests.oracle.large import ADVICE, ANY, EVEN, GROUPS, large_board, large_request
from tests.oracle.random_boards import random_case, random_mode_case
from tests.oracle.shelves import random_shelf
from tests.support import WHOLE, sampled


def effort_of(board: Board, request: Request) -> int:
    """Nodes that a request takes; 0 where nothing fits."""
    try:
        return solve(board, request, alternatives=False).effort
    except ImpossibleError:
        return 0


@pytest.mark.parametrize(
    ("board_id", "nodes"),
    [
        ("causeway-48", {"96GiB": 2188, "416GiB": 1553, "640GiB": 4176}),
        ("firth-96", {"416GiB": 1945, "640GiB": 1237}),
        ("groyne-24", {"96GiB": 1149, "416GiB": 1919}),
        ("lagoon-32", {"96GiB": 859, "416GiB": 3937, "640GiB": 3003}),
        ("machair-20", {"96GiB": 820, "416GiB": 9604, "640GiB": 6056}),
        ("quay-24", {"96GiB": 306, "416GiB": 3607, "640GiB": 2921}),
        ("saltern-24", {"96GiB": 336, "416GiB": 8908, "640GiB": 4464}),
        ("skerry-16", {"96GiB": 324, "416GiB": 2006, "640GiB": 1953}),
        ("strand-12", {"96GiB": 318, "416GiB": 1812, "640GiB": 1144}),
        ("tombolo-32", {"96GiB": 384, "640GiB": 16_467}),
    ],
)
def test_effort_on_shipped_boards(board_id: str, nodes: dict[str, int]) -> None:
    board = load_board(board_id)
    taken = {capacity: effort_of(board, ask(board, capacity)) for capacity in nodes}
    assert all(0 < taken[capacity] <= 2 * most for capacity, most in nodes.items()), taken


@pytest.mark.parametrize(
    ("case", "nodes"),
    [(random_case, [5000, 3000, 2000]), (random_mode_case, [4000, 1700, 2600])],
    ids=["rules", "modes"],
)
def test_effort_on_random_boards(case: Callable[[int], tuple[Board, Request]], nodes: list[int]) -> None:
    """Twenty seeds in each number."""
    blocks = range(len(nodes) if WHOLE else 1)
    taken = [sum(effort_of(*case(seed)) for seed in range(20 * block, 20 * block + 20)) for block in blocks]
    assert all(0 < now <= 2 * most for now, most in zip(taken, nodes, strict=WHOLE)), taken


@pytest.mark.parametrize(
    ("board", "seed", "stock", "nodes"),
    sampled(
        [
            (large_board(1, 1, 12, 2, ANY), 5, False, 16_000),
            (large_board(2, 4, 2, 2, GROUPS), 18, False, 60_000),
            (large_board(8, 4, 2, 3, EVEN), 10, True, 272_000),
        ],
        2,
    ),
)
def test_effort_on_large_boards(board: Board, seed: int, stock: bool, nodes: int) -> None:
    """Five types allowed, two used."""
    assert 0 < effort_of(board, large_request(board, seed, stock=stock)) <= nodes


@pytest.mark.parametrize("effort", [1, 1000, 10_000])
@pytest.mark.parametrize("seed", sampled([0, 3], 1))
def test_more_types_never_give_less_with_the_same_effort(seed: int, effort: int) -> None:
    board = large_board(2, 4, 2, 2, EVEN)
    found = []
    for types in (1, 2, 3, 4):
        answer = solve(board, replace(large_request(board, seed, types=types), effort=effort), alternatives=False)
        found.append(ranked(answer.criteria, answer.best.vector))
    assert found == sorted(found, reverse=True)


@pytest.mark.parametrize("effort", sampled([300, 1000, 2000, 3000], 2))
@pytest.mark.parametrize(("board_id", "capacity"), [("machair-20", "640GiB"), ("saltern-24", "416GiB")])
def test_what_the_bound_of_a_cut_answer_rules_out(board_id: str, capacity: str, effort: int) -> None:
    """Nothing that is as good in the criteria before passes the bound."""
    board = load_board(board_id)
    request = ask(board, capacity, effort=effort)
    cut, whole = solve(board, request, alternatives=False), solve(board, ask(board, capacity), alternatives=False)
    assert cut.bound is not None and whole.proven
    place = [criterion.name for criterion in cut.criteria].index(cut.bound.criterion)
    bound = (*cut.best.vector[:place], cut.bound.value)
    assert ranked(cut.criteria[: place + 1], bound) <= ranked(cut.criteria, whole.best.vector)[: place + 1]


def test_an_effort_of_one_node_ends_at_the_first_placement() -> None:
    """On a shelf of a hundred labels too, with nothing beside the answer."""
    board = load_board("skerry-16")
    request = ask(board, "416GiB", shelf=random_shelf(100, 100, 3), max_types=4, effort=1)
    answer = solve(board, request)
    assert not answer.proven and answer.effort < 1000
    assert answer.runners_up == () and answer.step_above is None


def test_a_shelf_of_a_hundred_labels_is_proven_quickly() -> None:
    board = load_board("skerry-16")
    answer = solve(board, ask(board, "416GiB", shelf=random_shelf(100, 100, 3)), alternatives=False)
    assert answer.proven and answer.effort < 50_000


def test_seventeen_advised_rows_cost_no_power_of_two() -> None:
    board = large_board(2, 2, 2, 2, EVEN, advice=ADVICE)
    answer = solve(board, large_request(board, 1), alternatives=False)
    assert answer.proven and int(answer.best.vector[0]) > 1 and answer.effort < 10_000
