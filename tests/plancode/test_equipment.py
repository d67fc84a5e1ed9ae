"""Codes of plans with different processors and absent trays: brought back whole, and nothing else gets through."""

from __future__ import annotations

import random

import pytest

from dimmplan.errors import InputError
from dimmplan.model.module import Module
from dimmplan.model.placement import Placement
from dimmplan.plancode.code import CodeHead, decode, encode, read_head
from tests.oracle.random_boards import random_equipment_case


@pytest.mark.parametrize("start", range(0, 120, 40))
def test_random_plans_come_back(start: int) -> None:
    versions = set()
    for seed in range(start, start + 40):
        rng = random.Random(seed)
        board, request = random_equipment_case(seed)
        served = board.serving(board.processor(request.processor)).served
        slots = [slot for slot in board.slots if slot in served and board.channel_of[slot].socket in request.fitted]
        if not slots:
            continue
        filled: dict[str, Module] = {
            slot: rng.choice(board.modules) for slot in rng.sample(slots, rng.randint(1, len(slots)))
        }
        placement = Placement(
            board=board.id,
            electrical_digest=board.electrical_digest,
            fitted=request.fitted,
            processor=request.processor,
            mode=request.mode,
            prefer=request.prefer,
            capacity_gib=rng.randint(1, 4096),
            status="best-found",
            slots=tuple((slot, filled.get(slot)) for slot in board.slots),
            absent=board.absent,
            inlet_c=board.inlet_c,
        )
        head = read_head(encode(board, placement))
        versions.add(head.version)
        assert decode(head, board) == placement, f"seed {seed}"
    assert versions == {1, 2}


def test_other_content_is_refused_and_never_ends_in_a_fault() -> None:
    rng = random.Random(3)
    board, _ = next(
        case for case in map(random_equipment_case, range(200)) if case[0].absent and "=" in str(case[1].processor)
    )
    of_board = next(number for number in range(1 << 12) if CodeHead(2, number, 0, 0, 0, 0).is_of(board.id))
    through = 0
    for _ in range(4000):
        head = CodeHead(2, of_board, 0, 0, rng.randrange(1 << 12), rng.randrange(1 << rng.randint(4, 60)))
        try:
            decode(head, board)
        except InputError:
            continue
        through += 1
    assert through < 20, "the check of names lets one in 4,096 through"
