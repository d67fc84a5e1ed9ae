"""What comes next: the best single slot and the best group are the best by brute force; changes are measured anew."""

from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path

import pytest

from dimmplan.boardfile.read import examine_text
from dimmplan.figures import placement_figures
from dimmplan.planner import ask, plan, read_module
from dimmplan.reasons.case import Case
from dimmplan.reasons.changes import change_of, next_answer
from dimmplan.rules import AlikeRow
from tests.support import WHOLE, shipped_boards
from tests.why.seeds import broken_by, seeded_plans

BOARDS = {board.id: board for board in shipped_boards()}
MOST_FREE = 9


def legal_additions(case: Case, module):
    """Every set of free slots that takes one more module each and breaks no error row, with its figures."""
    free = [
        slot
        for socket in case.sockets()
        for slot in socket.slots
        if case.content[slot] is None and slot not in case.placement.hold
    ]
    assert len(free) <= MOST_FREE
    for count in range(1, len(free) + 1):
        for slots in itertools.combinations(free, count):
            content = case.content | dict.fromkeys(slots, module)
            if not broken_by(case.board, case.placement, content):
                yield slots, content


def best_by_hand(case: Case, module, *, count: int | None = None):
    """Fewest advised rules broken, then the highest sweep, then the fewest slots."""
    ranks = []
    for slots, content in legal_additions(case, module):
        if count in (None, len(slots)):
            figures = placement_figures(
                case.board, case.option, case.placement.fitted, content, mode=case.placement.mode
            )
            advised = {b.rule for b in case.judge_content(content) if b.severity == "advised"}
            ranks.append((len(advised), -figures.balanced_sweep_gb_s, len(slots)))
    return min(ranks, default=None)


def roomy_plans(board, wanted: int):
    """Seeded plans with a few free slots, so that all ways to add can be gone through."""
    found = 0
    for placement in seeded_plans(board, 40):
        free = sum(
            module is None and board.channel_of[slot].socket in placement.fitted for slot, module in placement.slots
        )
        if 2 <= free <= MOST_FREE:
            yield placement
            empty = [slot for slot, module in placement.slots if module is None]
            yield replace(placement, hold=tuple(empty[found::3]))
            found += 1
            if found == wanted:
                return


@pytest.mark.parametrize("board_id", ["marram-4", "skerry-16", "strand-12", "machair-20", "groyne-24", "causeway-48"])
def test_single_and_group_are_the_best(board_id: str) -> None:
    """Against every set of free slots: the group sweeps highest with the fewest modules, the single is the best one."""
    board = BOARDS[board_id]
    checked = 0
    for placement in roomy_plans(board, 3 if WHOLE else 1):
        case = Case(board, placement)
        answer = next_answer(case)
        assert answer.complete
        for module in placement.types:
            groups = [step for step in answer.groups if step.module == module]
            best = best_by_hand(case, module)
            assert bool(groups) is (best is not None)
            if best is not None:
                (group,) = groups
                advised = {b.rule for b in group.change.after.breaches}
                sweep = group.change.after_figures.balanced_sweep_gb_s
                assert (len(advised), -sweep, len(group.slots)) == best, f"{placement.slots} {group.slots}"
            checked += 1
            singles = [step for step in answer.singles if step.module == module]
            one = best_by_hand(case, module, count=1)
            assert bool(singles) is (one is not None)
            if one is not None and placement.prefer in ("capacity-first", "bandwidth-first"):
                (single,) = singles
                assert -single.change.after_figures.balanced_sweep_gb_s == one[1]
                for slot in single.equal:
                    other = case.changed({slot: module})
                    rank = [v for c, v in zip(case.criteria, other.vector, strict=True) if c.name != "over_gib"]
                    mine = zip(case.criteria, single.change.after.vector, strict=True)
                    assert rank == [value for criterion, value in mine if criterion.name != "over_gib"]
    assert checked


def test_one_more_on_every_long_channel() -> None:
    """One on every channel of ten and six: the group is the four second slots, the single one of them."""
    board = BOARDS["skerry-16"]
    placement = plan(board, ask(board, "384GiB", modules=["32GiB"]), alternatives=False).placement
    answer = next_answer(Case(board, placement))
    second = tuple(channel.slots[1] for channel in board.channels if len(channel.slots) > 1)
    assert answer.groups[0].slots == second
    assert (*answer.singles[0].slots, *answer.singles[0].equal) == second


def test_a_larger_module_behind_a_smaller_one_is_refused() -> None:
    """Along a channel the larger comes first: 64 GiB does not go behind 32 GiB, and the rule says so."""
    board = BOARDS["skerry-16"]
    placement = plan(board, ask(board, "384GiB", modules=["32GiB"]), alternatives=False).placement
    large = read_module(board, "64GiB")
    answer = next_answer(Case(board, placement, extra=[large]), [large])
    assert not answer.possible and not answer.groups
    assert {breach.rule for step in answer.refused for breach in step.change.after.errors} == {"more-ranks-first"}


def test_a_full_board_and_holds_have_no_next() -> None:
    """No free slot, or none that may be touched: nothing comes next."""
    board = BOARDS["skerry-16"]
    full = plan(board, ask(board, "512GiB", modules=["32GiB"]), alternatives=False).placement
    assert not next_answer(Case(board, full)).possible
    part = plan(board, ask(board, "384GiB", modules=["32GiB"]), alternatives=False).placement
    held = replace(part, hold=("K2", "L2", "P2"))
    answer = next_answer(Case(board, held))
    assert answer.singles[0].slots == answer.groups[0].slots == ("Q2",)


def test_sockets_that_must_be_alike_grow_together() -> None:
    """Where capacity must be the same on every socket, a single module is refused and the group adds one to each."""
    board = BOARDS["causeway-48"]
    alike = next(row for row in board.rules if isinstance(row, AlikeRow))
    placement = plan(board, ask(board, "512GiB", modules=["32GiB"], fitted="pier,ramp"), alternatives=False).placement
    answer = next_answer(Case(board, placement))
    assert not answer.singles
    assert {breach.rule for step in answer.refused for breach in step.change.after.errors} == {alike.id}
    added = [board.channel_of[slot].socket for slot in answer.groups[0].slots]
    assert added.count("pier") == added.count("ramp") > 0


def test_changes_are_what_they_say() -> None:
    """Put and clear: figures before and after, rows that break anew and rows that no longer do."""
    board = BOARDS["quay-24"]
    placement = plan(board, ask(board, "320GiB", modules=["32GiB"]), alternatives=False).placement
    case = Case(board, placement)
    module = placement.types[0]
    change = change_of(case, {"1-lee": module, "7-sea": None})
    content = placement.content | {"1-lee": module, "7-sea": None}
    after = placement_figures(board, case.option, placement.fitted, content)
    assert change.after_figures == after and not change.refused
    assert {breach.rule for breach in change.broken} == {"even-counts", "same-at-both"}
    back = change_of(Case(board, replace(placement, slots=tuple(content.items()))), {"1-lee": None, "7-sea": module})
    assert {breach.rule for breach in back.mended} == {"even-counts", "same-at-both"} and not back.broken
    worse = change_of(Case(board, replace(placement, slots=tuple(content.items()))), {"2-lee": module})
    assert worse.after.breaches and not worse.mended and not worse.broken  # the same rows, by another amount
    gap = change_of(case, {"1-sea": None, "1-lee": module})
    assert gap.refused and [breach.rule for breach in gap.after.errors] == ["fill-order"]


def test_of_equal_groups_the_smallest_comes_first() -> None:
    """One and two on a channel run at one rate here: the one that is missing is the group, not five more."""
    board = BOARDS["groyne-24"]
    rates = {row.id: row.mts for row in board.rates}
    assert rates["one-per-channel"] == rates["two-per-channel"]
    placement = plan(board, ask(board, "48GiB", modules=["16GiB"], fitted="fore"), alternatives=False).placement
    case = Case(board, placement)
    more = [slot for channel in board.socket("fore").channels for slot in channel.slots[:2]]
    two_each = change_of(case, {slot: placement.types[0] for slot in more if not placement.content[slot]})
    (group,) = next_answer(case).groups
    assert two_each.after_figures.balanced_sweep_gb_s == group.change.after_figures.balanced_sweep_gb_s
    assert len(group.slots) == 1 and len(two_each.changes) == 5


def test_the_next_group_where_a_socket_can_hold_nothing() -> None:
    """No sweep tells how the other sockets are populated: the balanced one is 0 whatever comes."""
    rows = """[[rules]]
id = "least"
check = "socket-minimum"
severity = "advised"
source = "INVENTED"

[[rules]]
id = "nothing"
check = "ceiling"
socket_gib = 16
sockets = ["S"]
source = "INVENTED"

"""
    text = Path("tests/rules/staithe-16.toml").read_text("utf-8").replace("[[rules]]", f"{rows}[[rules]]", 1)
    board, problems = examine_text(text.encode(), file="board.toml")
    assert board is not None, problems
    found = plan(board, ask(board, "64GiB", modules=["64GiB"]), alternatives=False)
    assert found.figures.balanced_sweep_gb_s == 0
    (group,) = next_answer(Case(found.board, found.placement)).groups
    assert group.slots == ("N3",)
