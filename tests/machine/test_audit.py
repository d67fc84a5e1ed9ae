"""Audits: three answers for a slot, typed differences, the rules, and the fault to look for first."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from dimmplan.audit import Audit, audit
from dimmplan.inventory.match import match_slots
from dimmplan.model.inventory import Inventory
from dimmplan.model.module import Generation, Kind
from dimmplan.output.machine import answer_text, audit_findings, audit_text, found_text, suspect_text
from tests.machine.support import device, found_of, planned

BOARD, PLAN = planned("skerry-16", "384GiB", modules=["32GiB"])
CONTENT = PLAN.content
M32, M64 = BOARD.module_of_size(32), BOARD.module_of_size(64)


def audited(found: Inventory, plan=PLAN, **more: Any) -> Audit:
    return audit(BOARD, found, match_slots(found, BOARD), plan, **more)


def with_slot(slot: str, **changed: Any) -> Inventory:
    """The machine as planned, but for one slot that says something else."""
    found = found_of(CONTENT)
    slots = [replace(s, **changed) if s.locator == slot else s for s in found.slots]
    return replace(found, slots=tuple(slots))


def answer(result: Audit, slot: str):
    return next(each for each in result.slots if each.slot == slot)


def test_a_machine_as_planned_is_good_and_has_the_planned_figures() -> None:
    result = audited(found_of(CONTENT))
    assert result.good and result.suspect is None
    assert {each.answer for each in result.slots} == {"as-planned"}
    assert result.figures_found == result.figures_planned


def test_without_a_plan_no_slot_is_said_to_be_as_planned() -> None:
    found = with_slot("K1", state="cannot-tell")
    told = audit_text(audited(found, None), match_slots(found, BOARD))
    assert "15 slots known, 1\ncannot tell; no plan to compare with" in told and "as planned" not in told
    assert "15 as planned, 0 different, 1 cannot tell" in " ".join(
        audit_text(audited(found), match_slots(found, BOARD)).split()
    )


@pytest.mark.parametrize(
    ("changed", "kind"),
    [
        ({"capacity_kib": 64 << 20}, "size"),
        ({"generation": Generation.DDR3}, "generation"),
        ({"kind": Kind.LRDIMM}, "kind"),
        ({"ranks_said": 4}, "rank"),
        ({"device_width": 8}, "width"),
        ({"rated_mts": 2400}, "rate"),
    ],
)
def test_each_typed_difference_is_told(changed: dict[str, Any], kind: str) -> None:
    result = audited(with_slot("K1", **changed))
    its = answer(result, "K1")
    assert (its.answer, [d.kind for d in its.differences]) == ("different", [kind])
    assert result.suspect is not None and result.suspect.fault == "wrong-module"
    assert "K1" in suspect_text(result.suspect)


def test_what_is_not_said_is_no_difference() -> None:
    result = audited(with_slot("K1", ranks_said=None, rated_mts=None, generation=None))
    assert answer(result, "K1").answer == "as-planned"


def test_a_faster_module_is_no_fault() -> None:
    assert audited(with_slot("K1", rated_mts=3200)).good


def test_a_missing_module_is_suspected_of_not_being_seated() -> None:
    result = audited(found_of(CONTENT | {"M1": None}))
    assert answer(result, "M1").differences[0].kind == "empty"
    assert result.suspect is not None
    assert (result.suspect.fault, result.suspect.slots) == ("not-seated", ("M1",))
    assert result.figures_found is not None and result.figures_found.worst_share < 1


def test_all_modules_of_a_socket_missing_points_at_the_processor() -> None:
    gone = dict.fromkeys(BOARD.socket("FAR").slots)
    result = audited(found_of(CONTENT | gone))
    assert result.suspect is not None and (result.suspect.fault, result.suspect.found) == ("socket", "FAR")


def test_many_missing_modules_are_no_matter_of_seating() -> None:
    result = audited(found_of(CONTENT | dict.fromkeys(["K1", "L1", "P1"])))
    assert result.suspect is not None and (result.suspect.fault, result.suspect.found) == ("missing", "3")


def test_a_swapped_pair_is_told_as_one() -> None:
    mixed = planned("skerry-16", "400GiB")[1]
    twisted = mixed.content | {"K1": mixed.content["K2"], "K2": mixed.content["K1"]}
    assert twisted["K1"] != mixed.content["K1"]
    result = audited(found_of(twisted), plan=mixed)
    assert answer(result, "K1").differences[0].other == "K2"
    assert result.suspect is not None and result.suspect.fault == "swapped"
    assert any(breach.check == "channel-order" for breach in result.breaches)


@pytest.mark.parametrize("other", ["K2", "Q2"])
def test_a_module_in_the_wrong_slot_is_told_where_it_is(other: str) -> None:
    """One that was planned for an empty slot, in a slot planned empty: nothing has changed places."""
    assert CONTENT[other] is None
    result = audited(found_of(CONTENT | {"K1": None, other: M32}))
    assert result.suspect is not None and result.suspect.fault == "misplaced"
    assert suspect_text(result.suspect) == f"The module planned for K1 is in {other}."
    assert f"its module is in {other}" in answer_text(answer(result, "K1"))
    assert "holds the module planned for K1" in answer_text(answer(result, other))


def test_a_faster_label_in_the_wrong_slot_is_the_planned_module_where_the_board_cannot_tell_them_apart() -> None:
    faster = device("K2", M32, label="32GB 2Rx4 PC4-3200AA-R", rated_mts=3200)
    found = found_of(CONTENT | {"K1": None})
    result = audited(replace(found, slots=tuple(faster if each.locator == "K2" else each for each in found.slots)))
    assert result.suspect is not None and result.suspect.fault == "misplaced"


def test_several_modules_in_other_slots_mean_another_plan() -> None:
    moved = {"K1": None, "L1": None, "K2": M32, "L2": M32}
    result = audited(found_of(CONTENT | moved))
    assert result.suspect is not None and (result.suspect.fault, result.suspect.found) == ("another-plan", "2")


def _upgrade(new: int) -> Audit:
    """Eight old modules stand for eight planned larger ones; the first ``new`` of these are in already."""
    plan = planned("skerry-16", "512GiB", modules=["64GiB"])[1]
    wanted = [slot for slot, module in plan.content.items() if module]
    content = {slot: M64 if slot in wanted[:new] else M32 if slot in wanted else None for slot in BOARD.slots}
    return audited(found_of(content), plan=plan)


@pytest.mark.parametrize(
    ("new", "fault", "text"),
    [
        (0, "not-upgraded", "None of the new modules is in, and 8 slots hold modules that the plan does not have"),
        (3, "half-done", "half done: 3 of 8 new modules are in"),
    ],
)
def test_an_upgrade_that_is_not_or_half_done_is_told_as_one(new: int, fault: str, text: str) -> None:
    suspect = _upgrade(new).suspect
    assert suspect is not None and suspect.fault == fault
    assert text in suspect_text(suspect)


def test_rows_of_the_wiring_are_no_faults_of_the_machine_while_the_draft_guesses_it() -> None:
    found = found_of(CONTENT | {"K1": None, "K2": M32})
    drafted = replace(BOARD, guesses=(("channels", "which slots share a channel"),))
    result = audit(drafted, found, match_slots(found, drafted), None)
    assert result.good and any(breach.check == "fill-order" for breach in result.doubtful)
    told = [finding for finding in audit_findings(result) if finding.rule != "drafted-channels"]
    assert {finding.severity for finding in told} == {"note"}
    assert all("the draft may guess the wiring wrongly" in finding.text for finding in told)
    assert "drafted-channels" in {finding.rule for finding in audit_findings(result)}


def test_modules_below_a_gib_are_told_by_their_size() -> None:
    small = audited(with_slot("K1", capacity_kib=512 << 10))
    assert "size: planned 32 GiB, found 512 MiB" in answer_text(answer(small, "K1"))


@pytest.mark.parametrize(
    ("kib", "total"),
    [(512 << 10, "6 filled, 3 GiB"), (80 << 20, "6 filled, 480 GiB"), (81559 << 10, "6 filled, 477.9 GiB")],
)
def test_totals_count_modules_that_are_no_whole_gib(kib: int, total: str) -> None:
    found = Inventory(form="redfish", slots=tuple(device(f"A{n}", M32, capacity_kib=kib) for n in range(6)))
    assert total in " ".join(found_text(found).split())


def test_found_counts_what_is_not_known_and_tells_ecc_where_no_kind_is_told() -> None:
    slots = (device("A1", M32, kind=None, ecc=True), replace(device("A2", M32), state="cannot-tell", why="a reason"))
    text = " ".join(found_text(Inventory(form="smbios-text", slots=slots)).split())
    assert "2 memory slots, 1 filled, 1 not known, 32 GiB" in text and "32 GiB DDR4 ECC" in text


def test_slots_that_are_not_listed_cannot_be_told_but_dead_ones_need_not_be() -> None:
    found = found_of({slot: module for slot, module in CONTENT.items() if slot != "K2"})
    assert answer(audited(found), "K2").answer == "cannot-tell"
    assert "(planned empty)" in answer_text(answer(audited(found), "K2"))
    assert "planned" not in answer_text(answer(audited(found, plan=None), "K2"))
    board, alone = planned("skerry-16", "192GiB", modules=["32GiB"], fitted="NEAR")
    near = found_of({slot: alone.content[slot] for slot in board.socket("NEAR").slots})
    assert audited(near, plan=alone).good


def test_a_persistent_module_is_on_hold_until_its_data_is_said_to_be_saved() -> None:
    found = with_slot("K1", state="hold")
    result = audited(found)
    assert answer(result, "K1").answer == "cannot-tell"
    assert "K1" in result.untouchable and "K1" not in result.content
    assert "hold" in answer_text(answer(result, "K1"))
    assert "K1" not in audited(found, data_saved=["K1"]).untouchable


def test_only_a_board_judges_its_rules() -> None:
    found = found_of(CONTENT | {"K1": None, "K2": M32})
    result = audited(found, plan=None)
    assert any(breach.check == "fill-order" for breach in result.breaches)
    assert not result.good


def test_without_a_plan_a_slot_not_known_leaves_no_figures_at_whichever_socket() -> None:
    near = CONTENT | dict.fromkeys(BOARD.socket("FAR").slots)
    assert audited(found_of(near), plan=None).figures_found is not None
    odd = device("T1", M32, capacity_kib=24 << 20)
    found = found_of(near)
    found = replace(found, slots=tuple(odd if each.locator == "T1" else each for each in found.slots))
    assert audited(found, plan=None).figures_found is None


def test_a_module_of_no_known_type_cannot_be_told() -> None:
    odd = device("K1", M32, capacity_kib=24 << 20)
    found = replace(found_of({}), slots=(odd,))
    assert answer(audited(found, plan=None), "K1").answer == "cannot-tell"


def test_a_lower_configured_rate_is_suspected_where_all_else_is_right() -> None:
    found = found_of(CONTENT)
    slow = replace(found, slots=tuple(replace(s, configured_mts=2133) for s in found.slots))
    result = audited(slow)
    assert result.suspect is not None
    assert (result.suspect.fault, result.suspect.found, result.suspect.expected) == ("slow", "2133 MT/s", "2933 MT/s")


def test_the_date_of_the_inventory_is_kept() -> None:
    assert audited(found_of(CONTENT, date="2026-03-01")).date == "2026-03-01"


def test_extra_modules_are_told_with_what_they_are() -> None:
    result = audited(found_of(CONTENT | {"K2": M64}))
    its = answer(result, "K2")
    assert (its.answer, its.differences[0].kind, its.module) == ("different", "extra", M64)


def test_a_broken_rule_is_told_though_another_slot_is_not_listed() -> None:
    """K1 is empty in front of a filled K2, whatever Y1 holds; what Y1 may mend or break is not told."""
    content = dict.fromkeys(BOARD.slots) | {"K2": M32, "T1": M32}
    found = found_of(content)
    whole = audited(found, None)
    part = audited(replace(found, slots=tuple(slot for slot in found.slots if slot.locator != "Y1")), None)
    assert [breach.rule for breach in whole.breaches] == ["fill-order"]
    assert part.breaches == whole.breaches and not part.good
    unsure = audited(replace(found, slots=tuple(slot for slot in found.slots if slot.locator != "K1")), None)
    assert unsure.breaches == ()
