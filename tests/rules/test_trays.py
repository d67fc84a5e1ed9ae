"""Trays that may be absent, and sockets with different processors: board file, plan, code, JSON, sheet, reasons."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from dimmplan.boardfile.read import examine_text
from dimmplan.errors import InputError
from dimmplan.model.board import Board
from dimmplan.model.placement import dead_slots
from dimmplan.output.plan import PlanDocument
from dimmplan.output.reading import judge_code, judge_file, read_plan
from dimmplan.output.record import to_json
from dimmplan.output.why import reason_title
from dimmplan.planner import Planned, ask, plan, read_processor, read_trays
from dimmplan.reasons.case import Case
from dimmplan.reasons.slots import slot_reason
from dimmplan.rules import install_order, judge
from dimmplan.sheet.facts import gather
from dimmplan.sheet.stages import access_steps, power_checks

FILE = Path(__file__).parent / "staithe-16.toml"
TEXT = FILE.read_text("utf-8")


def read(text: str = TEXT) -> tuple[Board | None, list[Any]]:
    return examine_text(text.encode(), file="board.toml")


def board() -> Board:
    found, problems = read()
    assert found is not None, problems
    return found


def planned(capacity: str = "384GiB", *, trays: tuple[str, ...] = (), processor: tuple[str, ...] = ()) -> Planned:
    there = read_trays(board(), trays)
    return plan(there, ask(there, capacity, modules=["64GiB"], processor=processor), alternatives=False)


def test_an_absent_tray_has_no_slots_and_comes_back_by_code_and_file() -> None:
    found = planned(trays=("UPPER",))
    assert dead_slots(board(), found.placement) == ("N5", "N6", "N7", "N8")
    record = PlanDocument.of(found).plain()
    assert record["absent_trays"] == ["upper"] and record["dead"] == ["N5", "N6", "N7", "N8"]
    by_file = judge_file(read_plan(to_json(record).encode(), file="plan.json"), board())
    by_code = judge_code(record["code"], board())
    for judged in (by_file, by_code):
        assert judged.good and judged.placement == found.placement and judged.board == found.board


def test_a_plan_without_the_first_slots_of_a_channel_agrees_with_itself() -> None:
    """What is left of the channel is its first slot: it is installed with the first slots of the others."""
    found, problems = read(TEXT.replace('["N5", "N6", "N7", "N8"]', '["N1", "N5"]'))
    assert found is not None, problems
    there = read_trays(found, ["upper"])
    record = PlanDocument.of(plan(there, ask(there, "384GiB", modules=["64GiB"], fitted=["N"]), alternatives=False))
    assert record.plain()["install_order"] == ["N2", "N3", "N6", "N7", "N4", "N8"]
    assert judge_file(read_plan(to_json(record.plain()).encode(), file="plan.json"), found).good


def test_a_plan_with_a_module_in_an_absent_tray_does_not_obey_its_board() -> None:
    record = PlanDocument.of(planned("512GiB")).plain()
    assert record["slots"]["N5"]
    judged = judge_file(read_plan(to_json(record | {"absent_trays": ["upper"]}).encode(), file="plan.json"), board())
    assert "tray" in [finding.rule for finding in judged.broken]


def test_sockets_with_different_processors_come_back_by_code_and_file() -> None:
    found = planned(processor=("curlew", "S=dunlin"))
    assert found.placement.processors == {"N": "curlew", "S": "dunlin"}
    assert found.figures.rate_mts == 2400
    record = PlanDocument.of(found).plain()
    assert record["processor"] is None and record["processors"] == {"N": "curlew", "S": "dunlin"}
    assert judge_file(read_plan(to_json(record).encode(), file="plan.json"), board()).good
    assert judge_code(record["code"], board()).placement == found.placement
    assert [(limit.name, limit.kind) for limit in Case(board(), found.placement).plan.errors] == []


def test_one_processor_and_every_tray_leave_the_code_as_it_was() -> None:
    """Version 1 is what codes of plans without any of it carry."""
    found = planned(processor=("dunlin",))
    record = PlanDocument.of(found).plain()
    assert record["processor"] == "dunlin" and record["absent_trays"] == []
    assert judge_code(record["code"], board()).placement == found.placement
    assert PlanDocument.of(planned(processor=("N=dunlin", "S=dunlin"))).plain()["code"] == record["code"]


def test_a_module_in_an_absent_tray_breaks_the_board() -> None:
    there = board().without(["upper"])
    module = there.modules[0]
    (breach,) = judge(there, there.processor(None), ("N", "S"), {"N1": module, "N5": module, "S1": module})
    assert (breach.rule, breach.where) == ("tray", ("N5",))


def test_a_prescribed_order_passes_over_slots_that_are_not_there() -> None:
    """The order begins in the tray: without it the slots after those come first, for the search and the judge."""
    order = """[[rules]]
id = "order"
check = "sequence"
socket = "N"
slots = ["N5", "N1", "N6", "N2", "N7", "N3", "N8", "N4"]
source = "INVENTED"

"""
    found, problems = read(TEXT.replace("[[rules]]", f"{order}[[rules]]", 1))
    assert found is not None, problems
    there = read_trays(found, ["upper"])
    answer = plan(there, ask(there, "256GiB", modules=["64GiB"], fitted=["N"]), alternatives=False)
    assert [slot for slot, module in answer.placement.slots if module] == ["N1", "N2", "N3", "N4"]
    assert install_order(answer.board, answer.placement) == ("N1", "N2", "N3", "N4")
    assert install_order(found, answer.placement) == ("N1", "N2", "N3", "N4")
    content = {slot: module for slot, module in answer.placement.slots if slot != "N1"}
    (breach,) = [each for each in judge(answer.board, None, ["N"], content) if each.rule == "order"]
    assert breach.allowed == "N1, N2, N3 first"


def test_ceilings_are_those_of_each_socket() -> None:
    there = board()
    module = there.modules[1]
    held = dict.fromkeys(("N1", "N2", "N3", "N4", "N5", "S1", "S2", "S3", "S4", "S5"), module)
    mixed = there.processor("N=curlew,S=dunlin")
    assert [b.rule for b in judge(there, mixed, ("N", "S"), held)] == ["processor:dunlin"]
    assert [b.where for b in judge(there, mixed, ("N", "S"), held)] == [("S",)]


@pytest.mark.parametrize(
    ("given", "found"),
    [
        (("plover",), "'plover'"),
        (("Z=dunlin",), "'Z'"),
        (("S=",), "''"),
        (("=dunlin",), "''"),
    ],
)
def test_wrong_processors_are_named(given: tuple[str, ...], found: str) -> None:
    with pytest.raises(InputError) as error:
        read_processor(board(), given)
    assert error.value.problems[0].found == found


def test_sockets_differ_only_where_the_board_allows_it() -> None:
    other, _ = read(TEXT.replace("processors_differ = true\n", ""))
    assert other is not None
    with pytest.raises(InputError, match="one option for all sockets"):
        read_processor(other, ("S=dunlin",))


def test_a_socket_without_slots_cannot_be_fitted() -> None:
    text = TEXT.replace('upper = ["N5"', 'upper = ["N1", "N2", "N3", "N4", "N5"')
    found, problems = read(text)
    assert found is not None, problems
    with pytest.raises(InputError, match="no slot left at N") as error:
        ask(found.without(["upper"]), "128GiB")
    assert error.value.problems[0].hint == "Leave a tray in."  # S alone may not be fitted
    assert ask(found.without(["upper"]), "128GiB", fitted="S").fitted == ("S",)


@pytest.mark.parametrize(
    ("old", "new", "place", "found"),
    [
        ('["N5", "N6"', '["N5", "N99"', "electrical.trays.upper", "'N99'"),
        ('["S5"]', '["S5", "N5"]', "electrical.trays.riser", "'N5', which upper holds"),
        ('["S5"]', '["S5", "S5"]', "electrical.trays.riser", "'S5', twice"),
        ('["S5"]', "[]", "electrical.trays.riser", "a list of 0"),
        ("[physical.trays.upper]", "[physical.trays.uper]", "physical.trays", "'uper'"),
        ('access = ["Press', 'at_mm = [1, 1]\naccess = ["Press', "physical.trays.upper", "one of at_mm and size_mm"),
        ('access = ["Press', 'at_mm = [400, 1]\nsize_mm = [200, 20]\naccess = ["Press', "physical.trays.upper", None),
        ('[[processors]]\nid = "dunlin"', '[[processors]]\nid = "curlew"', "processors", None),
    ],
)
def test_each_wrong_tray_is_one_problem(old: str, new: str, place: str, found: str | None) -> None:
    assert TEXT.count(old) == 1
    _, problems = read(TEXT.replace(old, new))
    assert [problem.place for problem in problems] == [place]
    assert found is None or problems[0].found == found


def test_one_description_makes_a_tray_for_each_socket() -> None:
    old = 'upper = ["N5", "N6", "N7", "N8"]\nriser = ["S5"]\n'
    assert TEXT.count(old) == 1
    text = TEXT.replace(old, '"tray {socket}" = ["{socket}5", "{socket}6"]\n').replace(".upper]", '."tray {socket}"]')
    found, problems = read(text)
    assert found is not None, problems
    trays = [(tray.name, tray.slots, len(tray.access)) for tray in found.physical.trays]
    assert trays == [("tray N", ("N5", "N6"), 1), ("tray S", ("S5", "S6"), 1)]
    _, problems = read(text.replace('access = ["Press', 'at_mm = [1, 1]\nsize_mm = [9, 9]\naccess = ["Press'))
    assert [problem.found for problem in problems] == ["one place for several trays"]
    _, problems = read(text.replace('"tray {socket}" = [', "tray = ["))
    assert problems and "{socket}5" in problems[0].found


def test_the_sheet_takes_the_tray_out_and_in() -> None:
    facts = gather(board(), planned("512GiB").placement)
    assert access_steps(facts) == [
        "Slide the lid back.",
        "Tray upper: Press both catches and lift it straight up.",
        "Tray riser: Take it out.",
    ]
    assert "Tray upper and tray riser back in, latched." in power_checks(facts)
    closed, _ = read(TEXT.replace('access = ["Press', 'closing = ["Push it down."]\naccess = ["Press'))
    assert closed is not None and closed.drawing_digest != board().drawing_digest
    said = power_checks(gather(closed, planned("512GiB").placement))
    assert said.index("Tray riser back in, latched.") < said.index("Tray upper: Push it down.")
    without = planned(trays=("upper", "riser"))
    facts = gather(board(), without.placement)
    assert access_steps(facts) == ["Slide the lid back."]
    assert facts.slots["N5"].words == "no tray"
    case = Case(board(), without.placement)
    assert reason_title(case, slot_reason(case, "N5")) == "dead: its tray upper is not there"


def test_a_plan_of_today_is_read() -> None:
    """Plan files without the later keys mean one processor and every tray."""
    found = planned(processor=("dunlin",))
    record = json.loads(to_json(PlanDocument.of(found).plain()))
    del record["processors"], record["absent_trays"]
    assert judge_file(read_plan(json.dumps(record).encode(), file="plan.json"), board()).placement == found.placement
