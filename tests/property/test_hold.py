"""Slots on hold stay empty, whatever is asked: the answer, what stands beside it, what follows, the next slot."""

from __future__ import annotations

import random

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.errors import ImpossibleError
from dimmplan.growth.grow import grow
from dimmplan.growth.pinned import Start, next_by_adding, plan_from
from dimmplan.output.record import plan_record
from dimmplan.planner import ask
from dimmplan.solve.criteria import LISTS
from dimmplan.why.failed import failure_of
from dimmplan.why.grow import next_answer
from dimmplan.why.weigh import Case

BOARDS = ("skerry-16", "strand-12", "saltern-24")
MODES = ("independent", "mirrored", "sparing")


@pytest.mark.parametrize("board_id", BOARDS)
@pytest.mark.parametrize("prefer", LISTS)
def test_nothing_is_put_into_a_slot_on_hold(board_id: str, prefer: str) -> None:
    """Answer, runners-up, steps, chains of later steps, next capacities, next slots and sets after a failure."""
    board = load_board(board_id)
    rng = random.Random(f"{board_id} {prefer}")
    beside = 0
    for seed in range(3):
        # first slots too: what cannot be filled without them must not be proposed
        hold = tuple(sorted(rng.sample(board.slots, rng.randint(1, 3)), key=board.slots.index))
        capacity = rng.choice((96, 160, 192))
        mode = MODES[seed % 3] if board_id == "saltern-24" else "independent"
        request = ask(board, f"{capacity}GiB", prefer=prefer, mode=mode)
        start = Start(stays={}, hold=hold)
        try:
            planned = plan_from(board, request, start)
        except ImpossibleError as error:
            assert error.causes
            continue
        record = plan_record(planned)
        assert record["hold"] == list(hold)
        choices = [record, *record["runners_up"], *(step for step in record["one_step"].values() if step)]
        beside += len(choices) - 1
        assert not [slot for each in choices for slot in hold if each["slots"][slot]]
        assert not {slot for each in next_by_adding(planned) for slot, _ in each.added} & set(hold)
        case = Case(board, planned.placement)
        answer = next_answer(case)
        steps = (*answer.singles, *answer.groups, *answer.refused)
        assert not {slot for step in steps for slot in step.slots} & set(hold)
        failed = next(slot for slot, module in planned.placement.slots if module)
        failure = failure_of(case, [failed])
        for left in (failure.best, failure.fastest, failure.independent, failure.smallest):
            assert left is None or not any(left.weighed.content.get(slot) for slot in hold)
        if mode == "independent" and seed < 2:
            chain = [request, ask(board, f"{2 * capacity}GiB", prefer=prefer)]
            try:
                growth = grow(board, chain, start=start)
            except ImpossibleError:
                continue
            assert not [s for step in growth.steps for s in hold if step.placement.content[s]]
    assert beside >= 2
