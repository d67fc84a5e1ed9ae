"""Slots on hold are never filled, emptied or moved: by no step, no move, no next slot, no option of an upgrade."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping
from dataclasses import replace

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.errors import ImpossibleError
from dimmplan.growth.grow import grow
from dimmplan.growth.keep import upgrade_of
from dimmplan.growth.pinned import Start, next_by_adding, plan_from
from dimmplan.model.module import Module
from dimmplan.model.request import Request
from dimmplan.moves import plan_moves
from dimmplan.planner import Planned, ask
from dimmplan.reasons.case import Case
from dimmplan.reasons.changes import next_answer
from dimmplan.rules import install_order
from dimmplan.solve.criteria import LISTS
from tests.support import WHOLE, sampled

BOARDS = sampled(("strand-12", "machair-20", "skerry-16", "groyne-24"), 1)
Content = Mapping[str, Module | None]


def held_machine(rng: random.Random, planned: Planned) -> tuple[dict[str, Module | None], tuple[str, ...]]:
    """What lies in a machine that was planned so, with some modules gone astray, and some slots on hold."""
    content = dict(planned.placement.slots)
    for _ in range(3):
        one, other = rng.sample(sorted(content), 2)
        content[one], content[other] = content[other], content[one]
    fitted = [slot for socket_id in planned.request.fitted for slot in planned.board.socket(socket_id).slots]
    hold = tuple(slot for slot in planned.board.slots if slot in fitted and rng.random() < 0.12)
    return {slot: module for slot, module in content.items() if slot not in hold}, hold


def contents_of(request: Request, planned: Planned, start: Start) -> Iterator[tuple[str, Content]]:
    """Every placement that an answer or something beside it names."""
    answer = planned.answer
    yield "best", answer.best.content
    yield "install order", dict.fromkeys(install_order(planned.board, planned.placement), answer)  # type: ignore[arg-type]
    for step in (answer.step_above, answer.step_below):
        if step is not None:
            yield "one step", step.content
    yield from (("runner-up", choice.content) for choice in answer.runners_up)
    yield from (("next by adding", each.content) for each in next_by_adding(planned))
    upgrade = upgrade_of(planned, start.lying, start)
    if upgrade.no_slower is not None:
        yield "no slower", upgrade.no_slower.content
    case = Case(planned.board, planned.placement)
    for module in planned.placement.types:
        after = next_answer(case, [module])
        for step in (*after.singles, *after.groups, *after.refused):
            yield "why --next", dict.fromkeys((*step.slots, *step.equal), module)


@pytest.mark.parametrize("board_id", BOARDS)
def test_slots_on_hold_are_never_touched(board_id: str) -> None:
    board = load_board(board_id)
    rng = random.Random(f"hold {board.id}")
    sizes = sorted({module.capacity_gib for module in board.modules})
    looked = 0
    for prefer in rng.sample(sorted(LISTS), 3 if WHOLE else 2):
        size = rng.choice(sizes[:3])
        asked = size * rng.randint(len(board.channels) // 2, len(board.channels))
        try:
            request = ask(board, f"{asked}GiB", prefer=prefer)
            planned = plan_from(board, request, Start(stays={}), alternatives=False)
            lying, hold = held_machine(rng, planned)
            start = Start(stays={}, hold=hold, lying=lying)
            answered = plan_from(board, request, start)
        except ImpossibleError:
            continue
        for what, content in contents_of(request, answered, start):
            assert not [slot for slot in hold if content.get(slot)], f"{what} of {prefer}"
        change = plan_moves(board, lying, answered.placement, untouchable=hold)
        touched = {slot for move in change.moves for slot in (move.source, move.target)}
        assert not touched & set(hold)
        assert not {step.slot for step in change.steps} & set(hold)
        try:
            growth = grow(board, [request, replace(request, capacity_gib=asked + 2 * size)], start=start)
            moved = grow(board, [request, replace(request, capacity_gib=asked + 2 * size)], start=start, may_move=True)
        except ImpossibleError:
            continue
        for content in (*growth.chain.contents, *moved.chain.contents, *(free.best.content for free in growth.free)):
            assert not [slot for slot in hold if content.get(slot)]
        looked += len(hold) > 0
    assert looked
