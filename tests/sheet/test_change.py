"""Change sheets: the same map with what stays, comes out and goes in, and nothing that touches."""

from __future__ import annotations

import random
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from dimmplan.model.placement import Placement
from dimmplan.moves import plan_moves
from dimmplan.output.svg import render_svg
from dimmplan.sheet.compose import compose
from dimmplan.sheet.shapes import Sheet, Text, walk
from dimmplan.sheet.style import stylesheet
from tests.sheet.inkcheck import check
from tests.sheet.pages import BOARDS, board, groups
from tests.sheet.placements import make
from tests.support import sampled


def change_sheet(name: str, *, fill: str = "mixed", hold: bool = False, **options) -> tuple[Sheet, Placement, object]:
    """A sheet that changes a random population of the board to a made one."""
    rng = random.Random(name)
    on = board(name)
    target = make(on, fill)
    types = [None, *target.types, on.modules[-1]]
    current = {slot: rng.choice([module, module, rng.choice(types)]) for slot, module in target.slots}
    held: tuple[str, ...] = ()
    if hold:
        held = tuple(slot for slot, module in target.slots if current[slot] == module)[:1]
        target = replace(target, hold=held)
    change = plan_moves(on, current, target, untouchable=held)
    return compose(on, target, change=change, **options), target, change


def words_of(sheet: Sheet) -> list[str]:
    return ["".join(e.itertext()) for page in sheet.pages for e in ET.fromstring(render_svg(page)).iter() if e.text]


@pytest.mark.system_tool("rsvg-convert", "libcairo2")
@pytest.mark.parametrize("name", sampled(BOARDS, 4))
def test_no_text_touches_anything_on_a_change_sheet(name: str) -> None:
    for page in change_sheet(name)[0].pages:
        found = check(render_svg(page), "rsvg", dpi=120)
        assert (found.on_text, found.on_line, found.in_margin) == (0, 0, 0), (page.name, found)


@pytest.mark.system_tool("rsvg-convert", "libcairo2")
@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("skerry-16", {"paper": "a5", "front": "up", "ink": "mono"}),
        ("lagoon-32", {"paper": "letter", "hold": True}),
        ("firth-96", {"fill": "sparse", "front": "up"}),
        ("groyne-24", {"fill": "sparse", "hold": True, "ink": "mono"}),
    ],
)
def test_other_papers_and_states_too(name: str, options: dict) -> None:
    for page in change_sheet(name, **options)[0].pages:
        found = check(render_svg(page), "rsvg", dpi=120)
        assert (found.on_text, found.on_line, found.in_margin) == (0, 0, 0), (page.name, found)


@pytest.mark.parametrize("name", BOARDS)
def test_every_act_has_its_own_number_and_outs_come_before_ins(name: str) -> None:
    sheet, _, change = change_sheet(name)
    outs = sum(move.kind in ("pull", "move") for move in change.moves)
    ins = sum(move.kind in ("move", "insert") for move in change.moves)
    numbers = {word for word in words_of(sheet) if word.isdecimal()}
    assert {str(number) for number in range(1, outs + ins + 1)} <= numbers
    text = " ".join(words_of(sheet))
    assert "This is a change sheet" in text and f"{outs} module" in text


def test_slots_are_marked_by_class_for_what_is_done_with_them() -> None:
    sheet, target, change = change_sheet("skerry-16", fill="sparse")
    root = ET.fromstring(render_svg(sheet.pages[0]))
    classes = [group.get("class", "") for group in root.iter("{http://www.w3.org/2000/svg}g")]
    emptied = {m.source for m in change.moves if m.kind in ("pull", "move")} - {m.target for m in change.moves}
    assert sum("slot pull" in each for each in classes) == len(emptied) > 0
    assert sum("slot filled" in each for each in classes) == sum(module is not None for _, module in target.slots)


def test_a_slot_to_empty_has_a_form_of_its_own() -> None:
    """Heavy dashes and two arrow heads out of the slot; the word OUT; in mono too."""
    page = change_sheet("skerry-16", fill="sparse", ink="mono")[0].pages[0]
    pulled = groups(page, "slot")
    pulled = [group for group in pulled if "pull" in group.look]
    assert pulled
    for group in pulled:
        looks = [shape.look for shape in walk(group.children)]
        assert "slot-pull" in looks and "heavy" in looks
        assert any(isinstance(shape, Text) and shape.text.startswith("OUT") for shape in walk(group.children))
    rule = re.search(r"\.slot-pull\{([^}]*)\}", stylesheet("mono"))
    empty = re.search(r"\.slot-empty\{([^}]*)\}", stylesheet("mono"))
    assert rule and empty and rule[1] != empty[1] and "dasharray" in rule[1]


def test_what_is_left_over_stands_on_the_pick_list() -> None:
    sheet, _, change = change_sheet("skerry-16")
    text = " ".join(words_of(sheet))
    assert change.stranded
    assert "left over: keep them safe" in text
    assert all(left.module.label in text for left in change.stranded)


def test_the_same_change_gives_the_same_bytes() -> None:
    one, other = (render_svg(change_sheet("saltern-24")[0].pages[0]) for _ in range(2))
    assert one == other
