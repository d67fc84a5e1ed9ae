"""Change sheets: the same map with what stays, comes out and goes in, and nothing that touches."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

from dimmplan.model.placement import Change, Placement
from dimmplan.output.svg import render_svg
from dimmplan.sheet.compose import compose
from dimmplan.sheet.shapes import Sheet, Text, ident, stylesheet, walk
from tests.sheet.pages import board, changed, groups
from tests.sheet.placements import Fill


def change_sheet(name: str, *, fill: Fill = "mixed", hold: bool = False, **options) -> tuple[Sheet, Placement, Change]:
    """A sheet that changes a random population of the board to a made one."""
    target, change = changed(name, fill, hold=hold)
    return compose(board(name), target, change=change, **options), target, change


def words_of(sheet: Sheet) -> list[str]:
    return ["".join(e.itertext()) for page in sheet.pages for e in ET.fromstring(render_svg(page)).iter() if e.text]


def test_a_module_that_moves_is_told_at_both_ends() -> None:
    """By the names of the slots where there is room, by the numbers of the steps where there is not."""
    for name in ("lagoon-32", "saltern-24"):
        sheet, _, change = change_sheet(name)
        said = {
            g.id: " ".join(s.text for s in walk(g.children) if isinstance(s, Text))
            for g in groups(sheet.pages[0], "slot")
        }
        number = {(step.act, step.slot): step.number for step in change.steps}
        moves = [move for move in change.moves if move.kind == "move"]
        assert moves
        for move in moves:
            left, went = said[ident("slot", move.source)], said[ident("slot", move.target)]
            assert f"to {move.target}" in left or f"→{number['in', move.target]}" in left
            assert f"from {move.source}" in went or f"←{number['out', move.source]}" in went


def test_a_module_that_waits_is_marked_with_its_new_slot() -> None:
    """Said before the work on every change with a move, and on page one where there is room; else not at all."""
    for fill, told in (("mixed", True), ("full", False)):
        sheet, _, change = change_sheet("saltern-24", fill=fill)
        assert any(move.kind == "move" for move in change.moves) == told
        assert ("Waiting modules: mark each with its new slot" in " ".join(words_of(sheet))) == told


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
    assert "do not fetch: left over" in text
    assert all(left.module.label in text for left in change.stranded)


def test_the_same_change_gives_the_same_bytes() -> None:
    one, other = (render_svg(change_sheet("saltern-24")[0].pages[0]) for _ in range(2))
    assert one == other
