"""Moves: what is done gives the plan, as few modules as possible are handled, and held slots stay untouched."""

from __future__ import annotations

import itertools
import random
import re
from dataclasses import replace
from typing import Any

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.model.module import Module
from dimmplan.moves import plan_moves
from dimmplan.output.moves import moves_text
from dimmplan.rules import install_order
from dimmplan.sheet.facts import gather
from tests.machine.support import apply_moves, planned
from tests.support import WHOLE

BOARD, PLAN = planned("skerry-16", "384GiB", modules=["32GiB"])
MIXED_BOARD, MIXED = planned("skerry-16", "640GiB", modules=["32GiB", "64GiB"])
M16, M32, M64 = (BOARD.module_of_size(size) for size in (16, 32, 64))


def random_content(rng: random.Random) -> dict[str, Module | None]:
    return {slot: rng.choice([None, M16, M32, M64]) for slot in BOARD.slots}


@pytest.mark.parametrize("seed", range(40 if WHOLE else 12))
def test_the_moves_give_the_plan_and_only_what_must_be_handled_is(seed: int) -> None:
    rng = random.Random(seed)
    current = random_content(rng)
    change = plan_moves(BOARD, current, PLAN)
    assert apply_moves(current, change.moves) == PLAN.content
    wrong = [slot for slot in BOARD.slots if current[slot] != PLAN.content[slot]]
    leaving = [current[slot] for slot in wrong if current[slot]]
    wanted = [PLAN.content[slot] for slot in wrong if PLAN.content[slot]]
    reused = sum(min(leaving.count(module), wanted.count(module)) for module in set(leaving))
    assert len(change.handled) == len(leaving) + len(wanted) - reused
    assert sum(left.count for left in change.stranded) == len(leaving) - reused


def test_pulls_come_before_inserts() -> None:
    kinds = [move.kind for move in plan_moves(BOARD, dict.fromkeys(BOARD.slots, M64), PLAN).moves]
    assert kinds == sorted(kinds, key=["keep", "pull", "move", "insert"].index)


@pytest.mark.parametrize("seed", range(30 if WHOLE else 10))
def test_steps_can_be_done_one_after_another(seed: int) -> None:
    """All that comes out does so first, so each slot is empty when its turn comes, in rings of moves too."""
    rng = random.Random(seed)
    modules = [module for _, module in MIXED.slots]
    rng.shuffle(modules)
    content: dict[str, Module | None] = dict(zip(MIXED_BOARD.slots, modules, strict=True))
    steps = plan_moves(MIXED_BOARD, content, MIXED).steps
    assert [step.number for step in steps] == list(range(1, len(steps) + 1))
    assert [step.act for step in steps] == sorted((step.act for step in steps), reverse=True)
    for step in steps:
        assert content[step.slot] == (step.move.module if step.act == "out" else None)
        content[step.slot] = None if step.act == "out" else step.move.module
    assert content == MIXED.content


def test_moves_sheet_and_install_order_number_steps_alike() -> None:
    """In a board's own order too: by lid-order a fourth slot goes before the second one of the board file."""
    for board_id, capacity in (("marram-4", "32GiB"), ("skerry-16", "512GiB"), ("machair-20", "480GiB")):
        board, placement = planned(board_id, capacity)
        order = install_order(board, placement)
        installed = {slot: fact.step for slot, fact in gather(board, placement).slots.items() if fact.step}
        assert installed == {slot: number for number, slot in enumerate(order, 1)}
        first = next(slot for slot, module in placement.slots if module)
        (spare,) = [slot for slot in board.slots if not placement.content[slot]][:1]
        current = dict.fromkeys(board.slots) | {first: next(m for m in board.modules), spare: M32}
        change = plan_moves(board, current, placement)
        on_sheet = gather(board, placement, change)
        for step in change.steps:
            assert (on_sheet.outs if step.act == "out" else on_sheet.ins)[step.slot] == step
        ins = [step.slot for step in change.steps if step.act == "in"]
        assert ins == [slot for slot in order if slot in ins]
        told = re.findall(r"^  (\d+)\.", moves_text(change), flags=re.MULTILINE)
        assert told == [str(step.number) for step in change.steps]
    lid = planned("marram-4", "32GiB", modules=["16GiB"])
    assert install_order(*lid) == ("rush", "sedge")


def test_slots_that_fill_in_an_order_of_their_own_go_in_by_it() -> None:
    """rush, sedge, lyme, reed is lid-order; by channels it would be sedge, rush, reed, lyme."""
    board, placement = planned("marram-4", "32GiB", modules=["8GiB"])
    assert install_order(board, placement) == ("rush", "sedge", "lyme", "reed")


@pytest.mark.parametrize("seed", range(15 if WHOLE else 6))
def test_travel_is_the_least_of_all_ways(seed: int) -> None:
    """Against every assignment of four modules that move."""
    rng = random.Random(seed)
    goals = [slot for slot, module in PLAN.slots if module]
    rest = [slot for slot, module in PLAN.slots if not module]
    starts, missing = rng.sample(rest, 4), rng.sample(goals, 4)
    current: dict[str, Any] = PLAN.content | dict.fromkeys(missing) | dict.fromkeys(starts, M32)
    change = plan_moves(BOARD, current, PLAN)
    middles = {p.slot: (p.box.x_mm + p.box.width_mm / 2, p.box.y_mm + p.box.depth_mm / 2) for p in BOARD.physical.slots}

    def far(one: str, other: str) -> float:
        return sum(abs(a - b) for a, b in zip(middles[one], middles[other], strict=True))

    least = min(sum(far(s, g) for s, g in zip(starts, order, strict=True)) for order in itertools.permutations(missing))
    moved = [(move.source, move.target) for move in change.moves if move.kind == "move"]
    assert len(moved) == 4
    assert sum(far(str(s), str(g)) for s, g in moved) == pytest.approx(least)


def test_untouchable_slots_are_never_moved_and_block_where_they_must_change() -> None:
    current = PLAN.content | {"K2": M64}
    change = plan_moves(BOARD, current, PLAN, untouchable=["K2", "K1"])
    assert change.blocked == ("K2",)
    assert "Not possible" in moves_text(change) and "Before power-on" not in moves_text(change)
    assert not {"K1", "K2"} & {slot for move in change.moves for slot in (move.source, move.target)}


def test_a_slot_whose_content_is_not_known_blocks_only_where_something_is_wanted() -> None:
    unknown = {slot: module for slot, module in PLAN.content.items() if slot not in ("K1", "K2")}
    change = plan_moves(BOARD, unknown, PLAN, untouchable=["K1", "K2"])
    assert change.blocked == ("K1",)


def test_stranded_modules_are_told_where_else_they_would_fit() -> None:
    change = plan_moves(BOARD, PLAN.content | {"K2": M32}, PLAN)
    (left,) = change.stranded
    assert (left.module, left.count) == (M32, 1)
    assert left.fits == ("K2", "L2", "P2", "Q2")


def test_a_stranded_module_fits_in_no_slot_that_nobody_may_touch() -> None:
    change = plan_moves(BOARD, PLAN.content | {"K2": M32}, PLAN, untouchable=["P2"])
    assert change.stranded[0].fits == ("K2", "L2", "Q2")
    assert "not to be touched, on hold or not known: P2" in moves_text(change)


def test_a_faster_label_that_the_board_cannot_tell_from_the_planned_one_stays_and_moves() -> None:
    """As ``plan --keep`` and ``audit`` say of it; a slower label than the planned one does not serve."""
    faster = replace(M32, label="32GB 2Rx4 PC4-3200AA-R", rate_mts=3200)
    slower = replace(M32, label="32GB 2Rx4 PC4-2400T-R", rate_mts=2400)
    change = plan_moves(BOARD, PLAN.content | {"K1": faster, "L1": None, "L2": faster, "M1": slower}, PLAN)
    done = {(move.kind, move.module.label, move.source) for move in change.moves if move.module != M32}
    assert done == {("keep", faster.label, "K1"), ("move", faster.label, "L2"), ("pull", slower.label, "M1")}


def test_nothing_to_do_is_only_keeps() -> None:
    assert {move.kind for move in plan_moves(BOARD, PLAN.content, PLAN).moves} == {"keep"}


def test_moves_work_on_every_shipped_shape() -> None:
    board, plan = planned("strand-12", "768GiB")
    assert board == load_board("strand-12")
    backwards = dict(zip(board.slots, reversed([m for _, m in plan.slots]), strict=True))
    assert apply_moves(backwards, plan_moves(board, backwards, plan).moves) == plan.content
