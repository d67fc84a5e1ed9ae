"""Every slot of seeded plans has a reason that holds; wording rests on such reasons alone."""

from __future__ import annotations

import functools
from collections import Counter
from dataclasses import replace

import pytest

from dimmplan.errors import InputError, RefusedError
from dimmplan.output.why import reason_statements, reason_title
from dimmplan.planner import ask, plan
from dimmplan.reasons.case import Case
from dimmplan.reasons.slots import SlotReason, read_slot, slot_reason, slot_reasons
from dimmplan.sources import SOURCES
from tests.support import sampled, shipped_boards, whole_matrix
from tests.why.reasons import check_reason
from tests.why.seeds import seeded_plans

BOARDS = shipped_boards()
PLANS = 4


@functools.cache
def explained(board_id: str) -> list[tuple[Case, tuple[SlotReason, ...]]]:
    """Seeded plans of a board with the reasons of all their slots."""
    board = next(board for board in BOARDS if board.id == board_id)
    cases = [Case(board, placement) for placement in seeded_plans(board, PLANS)]
    return [(case, slot_reasons(case)) for case in cases]


@pytest.mark.parametrize("board", sampled(BOARDS, 2), ids=lambda board: board.id)
def test_every_slot_has_a_reason_that_holds(board) -> None:
    """Each alternative is recomputed: rules by a board without them, figures from the placement."""
    for case, reasons in explained(board.id):
        assert [reason.slot for reason in reasons] == list(board.slots)
        for reason in reasons:
            check_reason(case, reason)
            said = reason_statements(case, reason)
            assert said or reason.state in ("hold", "dead")
            assert reason_title(case, reason)
            for each in said:
                assert each.source in SOURCES, each


@whole_matrix
def test_the_usual_kinds_come_up() -> None:
    """Over all boards, the kinds that a caller hears of most are all there: none is dead wording."""
    found: Counter[str] = Counter()
    for board in BOARDS:
        for _, reasons in explained(board.id):
            found.update(reason.kind for reason in reasons)
    wanted = {"first-in-channel", "stacked", "equal-share", "needed", "lowers-rate", "exceeds-request", "dead"}
    assert wanted <= set(found), found


def skerry(capacity: str, **options):
    board = next(board for board in BOARDS if board.id == "skerry-16")
    return board, plan(board, ask(board, capacity, modules=["32GiB"], **options), alternatives=False).placement


def test_slots_of_the_ten_and_six_board() -> None:
    """The reasons of a plan that fills every slot of ten and six."""
    board, placement = skerry("512GiB")
    kinds = {reason.slot: reason.kind for reason in slot_reasons(Case(board, placement))}
    assert {kinds[slot] for slot in ("K1", "L1", "P1", "Q1")} == {"first-in-channel"}
    assert {kinds[slot] for slot in ("K2", "L2", "P2", "Q2")} == {"stacked"}
    assert {kinds[slot] for slot in ("T1", "U1", "V1", "W1", "X1", "Y1")} == {"equal-share"}


def test_an_empty_second_slot_names_rate_and_request() -> None:
    """One on every channel: a second one exceeds the request and lowers the rate; moved there it halves the sweep."""
    board, placement = skerry("384GiB")
    reason = slot_reason(Case(board, placement), "K2")
    assert reason.kind == "lowers-rate"
    fill, move = reason.tried
    assert (fill.what, fill.separation.name, fill.separation.plan, fill.separation.alternative) == (
        "fill",
        "over_gib",
        0,
        32,
    )
    assert (move.what, move.separation.name) == ("move-here", "balanced_sweep")
    assert move.separation.alternative < move.separation.plan


def test_five_of_six_are_a_tie_of_places() -> None:
    """Five modules on six equal channels: which one stays empty is board order alone."""
    board, placement = skerry("160GiB", fitted="NEAR")
    case = Case(board, placement)
    assert slot_reason(case, "K1").kind == "board-order"
    empty = slot_reason(case, "R1")
    assert empty.kind == "exceeds-request" and empty.tried[1].separation.by == "board-order"
    dead = slot_reason(case, "T1")
    assert (dead.kind, dead.row.id) == ("dead", "near-boots-alone")


def test_every_slot_of_a_plan_in_lockstep_has_a_reason() -> None:
    """A module alone is refused in either channel of a pair, and so is one taken out of it."""
    board = next(board for board in BOARDS if board.id == "groyne-24")
    case = Case(board, plan(board, ask(board, "128GiB", mode="lockstep")).placement)
    for reason in slot_reasons(case):
        for tried in reason.tried:
            assert "lockstep-pairs" in {breach.rule for breach in tried.separation.breaches}, (reason.slot, tried.what)


def test_a_slot_on_hold_is_left_alone() -> None:
    """A slot on hold has no alternative, and no other slot's alternative touches it."""
    board, placement = skerry("384GiB")
    case = Case(board, replace(placement, hold=("K2",)))
    assert slot_reason(case, "K2").kind == "hold"
    for reason in slot_reasons(case):
        for tried in reason.tried:
            assert tried.other != "K2" and tried.alternative.content["K2"] is None


def test_a_worse_plan_says_that_something_comes_before_it() -> None:
    """A plan that no search made: two stacked instead of spread is told so, with the figure."""
    board, placement = skerry("384GiB")
    module = placement.types[0]
    content = dict(placement.slots) | {"R1": None, "K2": module}
    worse = replace(placement, slots=tuple(content.items()), status="best-found")
    reason = slot_reason(Case(board, worse), "R1")
    assert reason.kind == "alternative-first"
    better = next(tried for tried in reason.tried if tried.separation.first == "alternative")
    assert (better.what, better.other, better.separation.name) == ("move-here", "K2", "balanced_sweep")
    text = " ".join(said.text for said in reason_statements(Case(board, worse), reason))
    assert "better than the plan" in text


def test_a_plan_that_breaks_a_rule_has_no_reasons() -> None:
    """Nothing can be measured against a plan that breaks a rule itself: refused with that rule."""
    board, placement = skerry("384GiB")
    content = dict(placement.slots) | {"K1": None, "K2": placement.types[0]}
    with pytest.raises(RefusedError) as refused:
        slot_reasons(Case(board, replace(placement, slots=tuple(content.items()))))
    assert [cause.rule for cause in refused.value.causes] == ["fill-order"]


def test_slot_names_are_read_leniently() -> None:
    """Case is forgiven; a name that is none gets the nearest ones."""
    board, _ = skerry("384GiB")
    assert read_slot(board, " k2 ", file="SLOT") == "K2"
    with pytest.raises(InputError) as wrong:
        read_slot(board, "K9", file="SLOT")
    assert "K1" in wrong.value.problems[0].hint
    with pytest.raises(InputError) as none:
        read_slot(board, "", file="SLOT")
    assert none.value.problems[0].hint == ""
