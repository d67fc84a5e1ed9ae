"""The search held against brute force on boards with population tables."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dimmplan.errors import ImpossibleError
from dimmplan.model.board import Board
from dimmplan.model.request import Request
from dimmplan.rules import TableRow
from dimmplan.solve.answer import Answer, solve
from tests.oracle.brute import best
from tests.oracle.random_boards import random_table_case
from tests.support import sampled, whole_matrix

SEEDS = range(160)
BLOCK = 20


def solved(board: Board, request: Request) -> Answer | ImpossibleError:
    try:
        return solve(board, request, alternatives=False)
    except ImpossibleError as error:
        return error


@pytest.mark.parametrize("start", sampled(SEEDS[::BLOCK], 1))
def test_tables_are_obeyed_as_brute_force_obeys_them(start: int) -> None:
    """Vector, slots, and the nearest capacities where nothing fits."""
    for seed in sampled(range(start, start + BLOCK), 8):
        board, request = random_table_case(seed)
        expected, answer = best(board, request), solved(board, request)
        if isinstance(answer, ImpossibleError):
            assert expected.vector is None, f"seed {seed}: refused, and {expected.vector} is there"
            assert (answer.below_gib, answer.above_gib) == (expected.below_gib, expected.above_gib), f"seed {seed}"
            continue
        assert expected.vector is not None, f"seed {seed}: {answer.best.vector} where nothing fits"
        names = [criterion.name for criterion in answer.criteria]
        assert list(zip(names, answer.best.vector, strict=True)) == expected.vector, f"seed {seed}"
        assert {slot: answer.best.content.get(slot) for slot in board.slots} == expected.placement, f"seed {seed}"


@whole_matrix
def test_the_cases_hold_tables_of_each_sort_and_answers_that_they_change() -> None:
    cases = [random_table_case(seed) for seed in SEEDS]
    tables = [row for board, _ in cases for row in board.rules if isinstance(row, TableRow)]
    assert {row.severity for row in tables} == {"error", "advised"}
    assert any(row.of_machine for row in tables) and any(row.socket for row in tables)
    assert any("{socket}" in str(row.rows) for row in tables)
    answers = [solved(board, request) for board, request in cases]
    assert sum(isinstance(answer, Answer) for answer in answers) > 60
    assert sum(isinstance(answer, ImpossibleError) for answer in answers) > 10
    changed = 0
    for (board, request), answer in zip(cases, answers, strict=True):
        free = solved(replace(board, rules=tuple(row for row in board.rules if row.check != "table")), request)
        if isinstance(answer, Answer) and isinstance(free, Answer):
            changed += answer.best.content != free.best.content
    assert changed > 30
