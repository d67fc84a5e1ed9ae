"""Part numbers and watts of a board's module rows and of a shelf, and the thermal limit that refuses by them."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from dimmplan.boardfile.read import examine_text
from dimmplan.errors import ImpossibleError, InputError
from dimmplan.figures import placement_figures
from dimmplan.model.board import Board, ModuleFacts
from dimmplan.model.label import parse_label
from dimmplan.model.request import Lot, Request, Supply
from dimmplan.output.plan import PlanDocument, plan_text
from dimmplan.output.reading import judge_code, judge_file, read_plan
from dimmplan.output.record import to_json
from dimmplan.output.stock import ShelfEntry, pick_csv, shelf_text, shortfall_lines
from dimmplan.planner import ask, plan, read_trays
from dimmplan.sheet.facts import gather
from dimmplan.sheet.panels import FiguresPanel, PickList
from dimmplan.solve.answer import solve
from dimmplan.stock import read_shelf
from dimmplan.supply import same_on_board, takes_of
from dimmplan.wording import placement_findings
from tests.rules.boards import board_with

TEXT = (Path(__file__).parent / "staithe-16.toml").read_text("utf-8")
PARTS = TEXT.replace(
    'modules = ["32GB 2Rx4 PC4-2933Y-R", "64GB 2Rx4 PC4-2933Y-R"]',
    """modules = [
    { label = "32GB 2Rx4 PC4-2933Y-R", part = "ST-32", watts = 4.5 },
    { label = "64GB 2Rx4 PC4-2933Y-R", part = "ST-64", watts = 7.5 },
]""",
)
LIMIT = """
[[rules]]
id = "hot"
check = "thermal-limit"
from_watts = 7
processors = ["dunlin"]
source = "INVENTED"
"""


def read(text: str = PARTS) -> Board:
    board, problems = examine_text(text.encode(), file="board.toml")
    assert board is not None, problems
    return board


def test_parts_and_watts_stand_in_text_json_sheet_and_come_back_by_code() -> None:
    board = read()
    planned = plan(board, ask(board, "384GiB", modules=["64GiB"]), alternatives=False)
    assert planned.figures.watts == 45
    record = PlanDocument.of(planned).plain()
    assert [(each["part"], each["watts"]) for each in record["modules"]] == [("ST-64", 7.5)]
    assert record["totals"]["watts"] == 45.0
    assert "ST-64  7.5 W" in plan_text(planned)
    judged = judge_code(record["code"], board)
    assert judged.placement == planned.placement
    facts = gather(board, judged.placement)
    assert PickList(facts).rows[0][-1].endswith("(ST-64, 7.5 W)")
    assert ("modules take at most", "45 W") in FiguresPanel(facts).rows
    assert judge_file(read_plan(to_json(record).encode(), file="plan.json"), board).good


def test_a_rule_on_watts_tells_modules_apart_whose_rates_are_all_the_same_here() -> None:
    known, other = (parse_label(f"32GB 2Rx4 PC4-{rate}-R") for rate in ("2933Y", "3200AA"))
    assert same_on_board(read(), known, other)
    assert not same_on_board(read(PARTS + LIMIT), known, other)


def test_a_board_without_them_says_nothing_of_watts() -> None:
    board = read(TEXT)
    planned = plan(board, ask(board, "384GiB", modules=["64GiB"]), alternatives=False)
    record = PlanDocument.of(planned).plain()
    assert record["totals"]["watts"] is None and record["modules"][0]["part"] is None
    assert PickList(gather(board, planned.placement)).rows[0][-1].endswith("S5")


def test_the_total_is_told_only_where_all_are_known() -> None:
    board = read(PARTS.replace(", watts = 4.5", ""))
    small, large = board.modules
    for held, watts in ((small, None), (large, 15)):
        content = {"N1": large, "S1": held}
        assert placement_figures(board, board.processor(None), ["N", "S"], content).watts == watts


def test_a_part_number_changes_the_drawing_and_watts_the_wiring() -> None:
    plain, parts = read(TEXT), read(PARTS)
    other = read(PARTS.replace("ST-32", "ST-33"))
    assert parts.electrical_digest == other.electrical_digest != plain.electrical_digest
    assert len({plain.drawing_digest, parts.drawing_digest, other.drawing_digest}) == 3


def test_a_thermal_limit_refuses_at_the_sockets_of_its_processor() -> None:
    board = read(PARTS + LIMIT)
    free = plan(board, ask(board, "384GiB", modules=["64GiB"], processor="curlew"), alternatives=False)
    assert free.figures.watts == 45
    with pytest.raises(ImpossibleError) as error:
        plan(board, ask(board, "384GiB", modules=["64GiB"], processor="dunlin"))
    assert "hot" in [cause.rule for cause in error.value.causes]
    mixed = plan(board, ask(board, "640GiB", processor=["curlew", "S=dunlin"]), alternatives=False)
    held = {(slot[0], module.capacity_gib) for slot, module in mixed.placement.slots if module}
    assert ("N", 64) in held and ("S", 64) not in held


def test_a_limit_by_the_air_at_the_inlet_travels_with_the_plan() -> None:
    board = read(PARTS + LIMIT.replace('processors = ["dunlin"]', "above_inlet_c = 30"))
    request = ask(board, "384GiB", modules=["64GiB"])
    told = [each.rule for each in placement_findings(board, plan(board, request).placement, None)]
    assert "hot" in told, "nobody has said how warm it is"
    warm, cool = (read_trays(board, (), inlet) for inlet in (31, 30))
    with pytest.raises(ImpossibleError):
        plan(warm, request)
    planned = plan(cool, request, alternatives=False)
    assert "hot" not in [each.rule for each in placement_findings(cool, planned.placement, planned.figures)]
    record = PlanDocument.of(planned).plain()
    assert record["inlet_c"] == 30
    assert judge_code(record["code"], board).placement == planned.placement
    assert judge_file(read_plan(to_json(record).encode(), file="plan.json"), board).good
    broken = judge_file(read_plan(to_json(record | {"inlet_c": 31}).encode(), file="plan.json"), board)
    assert {finding.rule for finding in broken.broken} == {"hot"}
    with pytest.raises(InputError):
        read_trays(board, (), 63)


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        ('["dunlin"]\nsource', '["dunli"]\nsource', "rules[2].processors"),
        ("from_watts = 7\n", "", "rules[2]"),
        ("from_watts = 7", "from_watts = 0", "rules[2].from_watts"),
        ('part = "ST-32"', "part = 32", "modules[1].part"),
        ("watts = 4.5", 'watts = "4.5 W"', "modules[1].watts"),
        ("watts = 4.5", "wats = 4.5", "modules[1].wats"),
    ],
)
def test_each_wrong_part_is_one_problem(old: str, new: str, place: str) -> None:
    text = PARTS + LIMIT
    assert text.count(old) == 1
    _, problems = examine_text(text.replace(old, new).encode(), file="board.toml")
    assert [problem.place for problem in problems] == [place], problems


def test_parts_and_watts_of_a_shelf(tmp_path: Path) -> None:
    board = read()
    shelf_file = tmp_path / "shelf.csv"
    shelf_file.write_text("label,count,part,watts\n64GB 2Rx4 PC4-2933Y-R,4,OLD-64,8.25\n32GB 2Rx4 PC4-2933Y-R,1,,\n")
    shelf = read_shelf(shelf_file, board)
    planned = plan(board, ask(board, "256GiB", shelf=shelf), alternatives=False)
    take = ShelfEntry.of(shelf, planned).plain()["take"]
    assert [(each["part"], each["watts"], each["count"]) for each in take] == [("OLD-64", 8.3, 4)]
    assert "OLD-64" in shelf_text(planned, shelf) and "8.3 W" in shelf_text(planned, shelf)
    picked = pick_csv(planned.placement, takes_of(board, shelf, planned.placement)).splitlines()
    assert picked[0].endswith(",part,watts") and picked[1].endswith(",OLD-64,8.25")
    with pytest.raises(ImpossibleError) as error:
        plan(board, ask(board, "384GiB", shelf=shelf, modules=["64GiB"]), shelf=shelf, modules=["64GiB"])
    assert error.value.shortfall is not None
    assert any("64GB 2Rx4 PC4-2933Y-R (OLD-64, 8.3 W each)" in line for line in shortfall_lines(error.value.shortfall))


def test_wrong_watts_of_a_shelf_are_one_problem(tmp_path: Path) -> None:

    shelf_file = tmp_path / "shelf.csv"
    shelf_file.write_text("label,count,watts\n64GB 2Rx4 PC4-2933Y-R,4,warm\n")
    with pytest.raises(InputError) as error:
        read_shelf(shelf_file, read())
    assert [problem.found for problem in error.value.problems] == ["'warm'"]


def test_a_slower_module_stands_where_the_faster_one_is_too_hot() -> None:
    """Of types alike but for rate and label only the best is looked at, unless a row tells them apart."""
    fast, slow = (parse_label(f"32GB 2Rx4 PC4-{speed}-R") for speed in ("2933Y", "2666V"))
    facts = (ModuleFacts(fast.label, "", Fraction(9)), ModuleFacts(slow.label, "", Fraction(5)))
    board = board_with({"id": "hot", "check": "thermal-limit", "from_watts": 8}, module_facts=facts)
    supplies = tuple(Supply(module=m, lots=(Lot(price=Fraction(price)),)) for m, price in ((fast, 10), (slow, 20)))
    request = Request(capacity_gib=64, supplies=supplies, fitted=("S1", "S2"))
    used = {module for module in solve(board, request, alternatives=False).best.content.values() if module}
    assert used == {slow}
