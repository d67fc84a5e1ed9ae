"""The search held against brute force where sockets carry different processors and trays are absent."""

from __future__ import annotations

import pytest

from dimmplan.errors import ImpossibleError
from dimmplan.solve.answer import solve
from dimmplan.solve.space import Space
from tests.oracle.brute import best
from tests.oracle.random_boards import as_wired, random_equipment_case
from tests.support import sampled, whole_matrix

SEEDS = range(160)
BLOCK = 20


@pytest.mark.parametrize("start", sampled(SEEDS[::BLOCK], 2))
def test_plans_are_those_of_a_board_with_what_is_there_alone(start: int) -> None:
    """Vector, slots, and the nearest capacities where nothing fits."""
    for seed in sampled(range(start, start + BLOCK), 8):
        board, request = random_equipment_case(seed)
        expected = best(as_wired(board, request), request)
        try:
            answer = solve(board, request, alternatives=False)
        except ImpossibleError as error:
            assert expected.vector is None, f"seed {seed}: refused, and {expected.vector} is there"
            assert (error.below_gib, error.above_gib) == (expected.below_gib, expected.above_gib), f"seed {seed}"
            continue
        assert expected.vector is not None, f"seed {seed}: {answer.best.vector} where nothing fits"
        names = [criterion.name for criterion in answer.criteria]
        assert list(zip(names, answer.best.vector, strict=True)) == expected.vector, f"seed {seed}"
        assert expected.placement is not None
        filled = {slot: module for slot, module in answer.best.content.items() if module}
        assert filled == {slot: module for slot, module in expected.placement.items() if module}, f"seed {seed}"


@whole_matrix
def test_the_cases_hold_different_processors_and_absent_trays() -> None:
    cases = [random_equipment_case(seed) for seed in SEEDS]
    assert sum("=" in str(request.processor) for _, request in cases) > 50
    assert sum(bool(board.absent) for board, _ in cases) > 50
    assert (
        sum(board.serving(board.processor(request.processor)).served < {*board.slots} for board, request in cases) > 60
    )


@pytest.mark.parametrize("seed", [157, 243])
def test_no_channel_at_all_is_the_answer_no(seed: int) -> None:
    """Where trays are absent or dead channels leave the fitted sockets nothing to hold modules."""
    board, request = random_equipment_case(seed)
    assert not any(socket.channels for socket in Space(board, request).sockets)
    with pytest.raises(ImpossibleError):
        solve(board, request)
