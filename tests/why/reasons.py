"""Checks a slot's reason against the placement: each alternative is what it says, and is separated as it says."""

from __future__ import annotations

import functools
import math
from collections import Counter
from typing import Any

from dimmplan.figures import PlacementFigures, placement_figures
from dimmplan.model.board import Board
from dimmplan.model.placement import Placement
from dimmplan.reasons.case import Case
from dimmplan.reasons.slots import Attempt, SlotReason
from dimmplan.solve.criteria import criteria_of
from tests.why.seeds import Held, broken_by, vector_anew, without_rules


def figures_anew(board: Board, placement: Placement, content: Held) -> PlacementFigures:
    """The figures of a content, measured apart from the answer."""
    option = board.processor(placement.processor)
    return placement_figures(board, option, placement.fitted, content, mode=placement.mode)


@functools.lru_cache(maxsize=2)
def _plan_anew(placement: Placement) -> list[Any]:
    """Room for the figures and the criteria of a plan, which every alternative is compared with."""
    return []


def plan_anew(board: Board, placement: Placement) -> tuple[PlacementFigures, Any]:
    """The figures and the criteria of the plan itself, measured once for all its alternatives."""
    room = _plan_anew(placement)
    if not room:
        held = dict(placement.slots)
        figures = figures_anew(board, placement, held)
        over = max(0, math.ceil(figures.usable_gib) - placement.capacity_gib)
        room += [figures, vector_anew(board, placement, held, over_gib=over)]
    return room[0], room[1]


def check_reason(case: Case, reason: SlotReason) -> Counter[str]:
    """Assert that a reason holds, and count what it rests on."""
    board, placement = case.board, case.placement
    channel = board.channel_of[reason.slot]
    held = dict(placement.slots)
    assert reason.module == held[reason.slot]
    counted: Counter[str] = Counter([f"kind {reason.kind}"])
    if channel.socket not in placement.fitted:
        assert (reason.state, reason.tried) == ("dead", ()) and reason.row is not None
        assert set(placement.fitted) in [set(fitted) for fitted in reason.row.sets]
        return counted
    if reason.slot in placement.hold:
        assert (reason.state, reason.tried) == ("hold", ())
        return counted
    assert reason.state == ("filled" if reason.module else "empty")
    assert reason.tried, f"{reason.slot} has no alternative"
    for tried in reason.tried:
        assert_is_what_it_says(board, placement, reason.slot, tried)
        counted[f"by {assert_separates(board, placement, tried)}"] += 1
    assert_kind(board, placement, reason)
    return counted


def assert_is_what_it_says(board: Board, placement: Placement, slot: str, tried: Attempt) -> None:
    """The alternative differs from the plan in just the slots that its kind names."""
    held = dict(placement.slots)
    content = tried.alternative.content
    changed = {name for name in board.slots if held[name] != content[name]}
    if tried.what == "fill":
        assert changed == {slot} and held[slot] is None and content[slot] == tried.module
        return
    if tried.what == "empty":
        assert changed == {slot} and held[slot] == tried.module and content[slot] is None
        return
    assert tried.other is not None and changed == {slot, tried.other}
    assert board.channel_of[tried.other].socket in placement.fitted
    assert Counter(content.values()) == Counter(held.values()), "a move or an exchange changes what there is"
    if tried.what == "move-here":
        assert held[slot] is None and content[slot] == held[tried.other] == tried.module
    elif tried.what == "move-away":
        assert held[tried.other] is None and content[tried.other] == held[slot] == tried.module
    else:
        assert content[slot] == held[tried.other] == tried.module and content[tried.other] == held[slot]


def assert_separates(board: Board, placement: Placement, tried: Attempt) -> str:
    """What is said to separate the alternative does, first of all, and the plan is the better one."""
    parted, content = tried.separation, tried.alternative.content
    assert parted.first == "plan", f"{tried.what} {tried.other}: {parted}"
    broken = broken_by(board, placement, content)
    if broken:
        rules = {breach.rule for breach in broken}
        assert parted.by == "rule" and {breach.rule for breach in parted.breaches} == rules
        freed, placed = without_rules(board, placement, rules)
        assert not broken_by(freed, placed, content), f"still refused without {rules}"
        return "rule"
    usable = figures_anew(board, placement, content).usable_gib
    mine = plan_anew(board, placement)[0].usable_gib
    asked = placement.capacity_gib
    if usable < min(asked, mine):
        assert (parted.by, parted.plan, parted.alternative) == ("below", mine, usable)
        return "below"
    if usable > max(asked + asked // 4, mine):
        assert (parted.by, parted.plan, parted.alternative) == ("above", mine, usable)
        return "above"
    return _assert_criterion(board, placement, tried, over=max(0, math.ceil(mine) - asked))


def _assert_criterion(board: Board, placement: Placement, tried: Attempt, *, over: int) -> str:
    parted, content = tried.separation, tried.alternative.content
    here = plan_anew(board, placement)[1]
    there: Any = vector_anew(board, placement, content, over_gib=over)
    for criterion in criteria_of(placement.prefer, priced=False):
        mine, theirs = here[criterion.name], there[criterion.name]
        if mine != theirs:
            assert (parted.by, parted.name) == ("criterion", criterion.name)
            assert (parted.plan, parted.alternative, parted.better) == (mine, theirs, criterion.better)
            assert mine > theirs if criterion.better == "high" else mine < theirs
            return criterion.name
    assert parted.by == "board-order"
    held = dict(placement.slots)
    slot = next(name for name in board.slots if held[name] != content[name])
    mine, theirs = held[slot], content[slot]
    assert mine is not None and (theirs is None or mine.order_key < theirs.order_key)
    return "board-order"


def assert_kind(board: Board, placement: Placement, reason: SlotReason) -> None:
    """The kind's own fact, from the placement."""
    held = dict(placement.slots)
    channel = board.channel_of[reason.slot]
    place = channel.slots.index(reason.slot)
    first = reason.tried[0]
    if reason.kind == "first-in-channel":
        assert held[channel.slots[place + 1]] is not None
        assert any(breach.check == "fill-order" for breach in first.separation.breaches)
    elif reason.kind == "stacked":
        assert place > 0 and all(held[each.slots[0]] for each in board.socket(channel.socket).channels)
    elif reason.kind == "equal-share":
        gib = [
            sum(m.capacity_gib for s in each.slots if (m := held[s])) for each in board.socket(channel.socket).channels
        ]
        assert place == 0 and len({amount for amount in gib if amount}) == 1
    elif reason.kind == "board-order":
        assert any(tried.what == "move-away" and tried.separation.by == "board-order" for tried in reason.tried)
    elif reason.kind == "breaks-rule":
        assert first.separation.by == "rule"
    elif reason.kind == "needed":
        assert first.separation.by == "below"
    elif reason.kind in ("lowers-rate", "splits-range", "exceeds-request"):
        _assert_empty_kind(board, placement, reason)
    else:
        assert reason.kind == "ranks-lower" and first.separation.by == "criterion"


def _assert_empty_kind(board: Board, placement: Placement, reason: SlotReason) -> None:
    before = plan_anew(board, placement)[0]
    after = figures_anew(board, placement, reason.tried[0].alternative.content)
    assert (after.rate_mts < before.rate_mts) is (reason.kind == "lowers-rate")
    if reason.kind == "lowers-rate":
        return
    index = placement.fitted.index(board.channel_of[reason.slot].socket)
    more = len(after.sockets[index].regions) > len(before.sockets[index].regions)
    assert more is (reason.kind == "splits-range")
    if reason.kind == "exceeds-request":
        assert after.usable_gib > max(placement.capacity_gib, before.usable_gib)
