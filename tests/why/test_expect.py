"""Why not exactly these slots: the best assignment is the best by brute force, and what separates it is recomputed."""

from __future__ import annotations

import itertools
import random
from dataclasses import replace

import pytest

from dimmplan.errors import InputError, RefusedError
from dimmplan.planner import ask, plan
from dimmplan.reasons.case import Case
from dimmplan.reasons.changes import expectation
from dimmplan.reasons.slots import read_slots
from tests.support import shipped_boards
from tests.why.seeds import broken_by, seeded_plans, vector_anew

BOARDS = {board.id: board for board in shipped_boards()}


def ranked(case: Case, content):
    """The criteria of a content as a tuple of which less is better; ``None`` where it is refused."""
    vector = vector_anew(case.board, case.placement, content, over_gib=case.request.over_gib or 0)
    if vector is None:
        return None
    return tuple(-vector[c.name] if c.better == "high" else vector[c.name] for c in case.criteria)


def assignments(case: Case, slots):
    """Every way to put the plan's modules into exactly these slots."""
    held = sorted((m for m in case.content.values() if m), key=lambda module: module.order_key)
    for order in set(itertools.permutations(held)):
        yield dict.fromkeys(case.board.slots) | dict(zip(slots, order, strict=True))


def small_case(board, count: int) -> Case:
    """A seeded plan of two types and few modules, which brute force can go through."""
    for placement in seeded_plans(board, 60):
        modules = [module for module in placement.content.values() if module]
        if len(placement.types) == 2 and len(modules) <= count:
            return Case(board, placement)
    raise AssertionError(f"no small plan of two types on {board.id}")


@pytest.mark.parametrize("board_id", ["marram-4", "skerry-16", "strand-12", "machair-20"])
def test_the_best_assignment_is_the_best(board_id: str) -> None:
    """Two types over random slots: no assignment comes before the one that is answered."""
    case = small_case(BOARDS[board_id], 7)
    slots = [slot for socket in case.sockets() for slot in socket.slots]
    count = sum(module is not None for module in case.content.values())
    rng = random.Random(board_id)
    legal = 0
    for _ in range(6):
        chosen = tuple(sorted(rng.sample(slots, count), key=case.board.slots.index))
        expected = expectation(case, chosen)
        found = [rank for content in assignments(case, chosen) if (rank := ranked(case, content)) is not None]
        assert expected.exact
        if expected.alternative.vector is None:
            assert not found, f"{chosen}: refused, and an assignment is allowed"
            assert expected.separation.by == "rule" and broken_by(
                case.board, case.placement, expected.alternative.content
            )
        else:
            legal += 1
            assert ranked(case, expected.alternative.content) == min(found)
            assert {s for s, m in expected.alternative.content.items() if m} == set(chosen)
    own = tuple(slot for slot in case.board.slots if case.content[slot])
    assert expectation(case, own).separation.by == "same"
    assert legal or len(case.board.slots) > 4


def test_the_plan_comes_before_what_is_expected() -> None:
    """Over seeded plans no expected set of slots beats a proven plan; refused ones name a rule that breaks."""
    rng = random.Random(3)
    seen = set()
    for board in BOARDS.values():
        for placement in seeded_plans(board, 2):
            case = Case(board, placement)
            count = sum(module is not None for module in case.content.values())
            slots = [slot for socket in case.sockets() for slot in socket.slots]
            chosen = rng.sample(slots, count)
            expected = expectation(case, tuple(sorted(chosen, key=board.slots.index)))
            assert expected.separation.first == "plan"
            seen.add(expected.separation.by)
            if expected.separation.by == "rule":
                rules = {breach.rule for breach in broken_by(board, placement, expected.alternative.content)}
                assert {breach.rule for breach in expected.separation.breaches} == rules
    assert {"rule", "same"} <= seen


def test_other_numbers_take_the_plans_types() -> None:
    """Fewer slots than modules: the plan's types fill them, and what is missing of the request is said."""
    board = BOARDS["skerry-16"]
    placement = plan(board, ask(board, "512GiB", modules=["32GiB"]), alternatives=False).placement
    case = Case(board, placement)
    slots = read_slots(case, "t1,u1,k1,l1", file="--expect")
    assert slots == ("K1", "L1", "T1", "U1")
    expected = expectation(case, slots)
    size = placement.types[0].capacity_gib
    assert not expected.exact and expected.separation.by == "below"
    assert (expected.separation.plan, expected.separation.alternative) == (16 * size, len(slots) * size)
    assert len(expected.only_plan) == 12 and not expected.only_expected


def test_slots_that_cannot_be_filled_are_refused() -> None:
    """Unknown names are wrong input, all of them named; dead slots and slots on hold are a no."""
    board = BOARDS["skerry-16"]
    placement = plan(board, ask(board, "160GiB", modules=["32GiB"], fitted="NEAR"), alternatives=False).placement
    case = Case(board, replace(placement, hold=("R1",)))
    with pytest.raises(InputError) as wrong:
        read_slots(case, "K1,K7,Z9", file="--expect")
    assert len(wrong.value.problems) == 2 and "K1" in wrong.value.problems[0].hint
    with pytest.raises(RefusedError) as refused:
        read_slots(case, "K1,R1,T1", file="--expect")
    assert [cause.rule for cause in refused.value.causes] == ["hold", "dead"]


def test_exact_means_the_plans_own_modules() -> None:
    """Two types of one size: exactly as many of each as the plan has, although others would make the same capacity."""
    board = BOARDS["machair-20"]
    placement = plan(board, ask(board, "128GiB", modules=["32GiB"], fitted="loch"), alternatives=False).placement
    other = next(m for m in board.modules if m.capacity_gib == 32 and m != placement.types[0])
    filled = [slot for slot, module in placement.slots if module]
    mixed = replace(placement, slots=tuple((placement.content | {filled[0]: other}).items()))
    case = Case(board, mixed)
    expected = expectation(case, read_slots(case, "clover-far,daisy-far,orchid-far,vetch-far", file="--expect"))
    held = [module for module in expected.alternative.content.values() if module]
    assert expected.exact and held.count(other) == 1 and len(held) == len(filled)
