"""Sheets measured: board x paper x ink x front x what is in it, each cell a list of faults.

Run as ``python -m tests.sheet.matrix [--board NAME] [--quick]`` for every cell: prints the faults of
each, and ends with status 1 where there is one. CI measures a seeded sample.
"""

from __future__ import annotations

import argparse
import itertools
import re
import sys
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from typing import NamedTuple

from dimmplan.errors import InputError
from dimmplan.model.placement import Change
from dimmplan.model.request import Mode
from dimmplan.output.svg import render_svg
from dimmplan.sheet.compose import MOST_ON_ONE_MAP, compose
from dimmplan.sheet.letters import CAP
from dimmplan.sheet.shapes import Group, Page, Rect, Sheet, Text, walk
from tests.sheet.inkcheck import check
from tests.sheet.pages import BOARDS, board, changed, groups, texts
from tests.sheet.placements import make

PAPERS, INKS, WAYS = ("a4", "letter", "a5"), ("colour", "mono"), ("down", "up")
FILLS = ("full", "sparse", "one-socket", "mixed", "hold", "mirrored", "change", "draft")
LONG = {
    "title": "Memory, second upgrade of the year for the accounts machine in the far row of the old hall",
    "tag": "R12-U07-accounts-far-row-2",
    "date": "Wednesday, 25 November 2026",
    "code": "68T0-0000-0000-0000-0004-DMM0-0000-0000-0000-002Q-E0T9-JRYJ-8E1S-F72K",
}
STAGES = ("1 Before", "2 Take off", "3 ", "4 Put back and close", "5 First boot")


class Cell(NamedTuple):
    """One sheet of the matrix."""

    board: str
    paper: str
    ink: str
    way: str
    fill: str
    long: bool


def cells(boards: tuple[str, ...] = BOARDS) -> list[Cell]:
    """Every cell; the long title block in every other one."""
    found = itertools.product(boards, PAPERS, INKS, WAYS, FILLS)
    return [Cell(*cell, long=bool(number % 2)) for number, cell in enumerate(found)]


@cache
def drawn(cell: Cell) -> tuple[Sheet, Change | None]:
    """The sheet of a cell, and its change where it has one."""
    options = {"paper": cell.paper, "ink": cell.ink, "front": cell.way, **(LONG if cell.long else {})}
    on = board(cell.board)
    if cell.fill == "change":
        target, change = changed(cell.board)
        return compose(on, target, change=change, **options), change  # type: ignore[arg-type]
    if cell.fill == "draft":
        on = replace(on, trust="drafted", guesses=(("channels", "Which slots share a channel?"),))
    if cell.fill == "mirrored":
        return compose(on, make(on, "full", mode=Mode.MIRRORED), **options), None  # type: ignore[arg-type]
    fill = "full" if cell.fill == "draft" else cell.fill
    return compose(on, make(on, fill), **options), None  # type: ignore[arg-type]


def faults(cell: Cell, *, pixels: bool) -> list[str]:
    """What is wrong with a cell; with ``pixels`` also what a renderer sees touch."""
    try:
        sheet, change = drawn(cell)
    except InputError:  # small paper may be too small for a dense board
        return [] if cell.paper == "a5" and len(_names(cell)) > MOST_ON_ONE_MAP else ["refused"]
    found = [*_sizes(cell, sheet), *_page_one(cell, sheet), *_counts(sheet, change)]
    for page in sheet.pages if pixels else ():
        ink = check(render_svg(page), dpi=110)
        if ink.on_text + ink.on_line + ink.in_margin:
            found.append(f"{page.name}: text touches something at {ink.where_mm}")
    return found


def _cap(text: Text) -> float:
    return round(text.size * CAP, 3)


def _sizes(cell: Cell, sheet: Sheet) -> Iterator[str]:
    """2.5 mm at the chassis, 2 mm for figures and captions; names larger than what is around them."""
    for page in sheet.pages:
        small = {id(t) for g in groups(page, "title-block") for t in walk(g.children)}
        margin = {id(t) for t in page.shapes if isinstance(t, Text) and t.turn}
        margin |= {id(t) for g in groups(page, "check") for t in walk(g.children)}
        tear = {id(t) for t in page.shapes if isinstance(t, Text) and t.text.startswith("tear off")}
        for text in texts(page):
            at_chassis = not page.name.startswith("reference") and id(text) not in small | margin | tear
            if _cap(text) < (2.5 if at_chassis else 2.0):
                yield f"{page.name}: {text.text!r} has capitals of {_cap(text)} mm"
        furniture = [_cap(t) for g in groups(page, "landmark") for t in walk(g.children) if isinstance(t, Text)]
        names = [
            _cap(t) for g in _slots(page) for t in walk(g.children) if isinstance(t, Text) and t.text in _names(cell)
        ]
        if names and min(names) <= max(furniture, default=0.0):
            yield f"{page.name}: names of {min(names)} mm beside landmarks of {max(furniture)} mm"
        if names and min(names) < 3.0:
            yield f"{page.name}: names of {min(names)} mm"


def _names(cell: Cell) -> set[str]:
    return set(board(cell.board).slots)


def _slots(page: Page) -> list[Group]:
    return [group for group in groups(page, "slot") if group.id.startswith("slot-")]


def _said(group: Group) -> str:
    return " ".join(shape.text for shape in walk(group.children) if isinstance(shape, Text))


def _page_one(cell: Cell, sheet: Sheet) -> Iterator[str]:
    """Page one is enough, two pages are all; the stages stand in one order."""
    page = sheet.pages[0]
    if cell.paper != "a5" and len(_names(cell)) <= MOST_ON_ONE_MAP:
        if len(sheet.pages) > 2:
            yield f"{len(sheet.pages)} pages"
        named = {t.text for g in _slots(page) for t in walk(g.children) if isinstance(t, Text)}
        if missing := _names(cell) - named:
            yield f"page one does not name {sorted(missing)}"
        stages = groups(page, "stage")
        heads = [next(t for t in walk(g.children) if isinstance(t, Text)) for g in stages]
        told = tuple(next((head for head in STAGES if _said(g).startswith(head)), _said(g)[:20]) for g in stages)
        if told != STAGES:
            yield f"stages are {told}"
        places = [(round(head.y), head.x) for head in heads]
        if places != sorted(places):
            yield f"stages stand at {places}"
        words = ("WARNING", "CAUTION", "NOTICE")
        for number, (word, stage) in enumerate(zip(words, stages, strict=False), 1):
            if word not in _said(stage):
                yield f"stage {number} has no {word}"
        if not groups(page, "title-block") or not groups(page, "legend"):
            yield "page one has no title block or no legend"
    head = " ".join(t.text for t in page.shapes if isinstance(t, Text))
    if cell.fill == "mirrored" and not re.search(r"GiB MIRRORED \(\d+ GiB installed\)", head):
        yield f"heading is {head}"
    if cell.fill == "draft":
        every = " ".join(_said(g) for p in sheet.pages for g in groups(p, "legend"))
        if "DRAFTED BOARD FILE" not in head or "share a channel: not checked" not in every:
            yield "a draft does not say so"
    if any(t.text.endswith("…") for p in sheet.pages for t in p.shapes if isinstance(t, Text) and "inv" in t.look):
        yield "a banner is cut"
    first, *others = (" ".join(t.text for t in texts(p)) for p in sheet.pages)
    if any("For this machine" in other for other in others) and not re.search("For this machine|read sheet 2", first):
        yield "page one does not say where the notes of this machine are"
    title, board_top = _top(page), min((g.y for g in _rects(page, "map")), default=0.0)
    if title > board_top:
        yield f"the heading stands at {title}, below the map's top {board_top}"


def _rects(page: Page, look: str) -> list[Rect]:
    return [s for g in groups(page, look) for s in walk(g.children) if isinstance(s, Rect)]


def _top(page: Page) -> float:
    return next(t.y for t in page.shapes if isinstance(t, Text) and not t.turn)


def ranges(said: str) -> list[tuple[int, int]]:
    """First and last step of each batch."""
    batch = r"(?:^| )(\d+)(?: to (\d+))?(?= [^\d ])(?! blank| left| [a-z]\b)"  # no count of what to bring
    return [(int(first), int(last or first)) for first, last in re.findall(batch, said)]


def _counts(sheet: Sheet, change: Change | None) -> Iterator[str]:
    """Legend, steps, pick list and map count alike; numbers are those of ``moves``."""
    large = [page for page in sheet.pages if _slots(page)]
    slots = [group for page in large for group in _slots(page)]
    legends = " ".join(_said(g) for page in large for g in groups(page, "legend"))
    pages = [page for page in sheet.pages if groups(page, "stage")]
    steps = " ".join(t.text for g in groups(pages[0], "stage") if "stage-3" in g.look for t in _ticked(g))
    picks = [_said(group) for page in sheet.pages for group in groups(page, "pick-list")]
    pick = " ".join(picks) or _said(Group(children=sheet.pages[-1].shapes))
    numbers = sorted(int(t.text) for g in slots for t in walk(g.children) if isinstance(t, Text) and t.text.isdecimal())
    told = [n for first, last in ranges(steps) for n in range(first, last + 1)]
    if numbers != told:
        yield f"numbers on the map {numbers}, in the steps {told}"
    filled = [group for group in slots if "filled" in group.look.split()]
    fetched = sum(
        int(n) for n in re.findall(r"(\d+) × (?!do not fetch|\S+ for)", re.sub(r"blank for a slot \d+ ×", "", pick))
    )
    if change is None:
        shown = sum(int(n) for n in re.findall(r"PC\d\S*(?:, width not known)?: (\d+)", legends))
        if not len(filled) == shown == fetched == len(told):
            yield f"filled {len(filled)}, legend {shown}, picked {fetched}, steps {len(told)}"
    else:
        ins, stays = (sum(int(n) for n in re.findall(p, legends)) for p in (r": (\d+) in,", r"(\d+) stay"))
        inserted = sum(move.kind == "insert" for move in change.moves)
        stay = sum("stays" in group.look.split() for group in filled)
        if [step.number for step in change.steps] != told:
            yield f"steps are {told}"
        if (ins, stays) != (len(filled) - stay, stay) or fetched != inserted:
            yield f"legend {ins} in, {stays} stay; map {len(filled) - stay} and {stay}; picked {fetched} of {inserted}"
        outs = sum(step.act == "out" for step in change.steps)
        band = f"CHANGE: {outs} out, then {ins} in; {stays} stay"
        if band not in " ".join(t.text for t in sheet.pages[0].shapes if isinstance(t, Text)):
            yield f"no band {band}"
    blanks = sum(
        1
        for group in slots
        if any(getattr(s, "look", "") == "pale" for s in group.children) and "stays" not in group.look
    )
    legend_blanks = sum(int(n) for n in re.findall(r"takes a blank: (\d+)", legends))
    step_blanks = sum(
        int(n) for n in re.findall(r"(\d+) blanks?, see map", " ".join(_said(g) for g in groups(pages[0], "stage")))
    )
    pick_blanks = sum(int(n) for n in re.findall(r"blank for a slot (\d+) ×", pick))
    if not blanks == legend_blanks == step_blanks == pick_blanks:
        yield f"blanks: map {blanks}, legend {legend_blanks}, steps {step_blanks}, picked {pick_blanks}"


def _ticked(stage: Group) -> list[Text]:
    """The lines of a stage below its signal panel."""
    children = list(walk(stage.children))
    boxes = [s.y for s in children if isinstance(s, Rect) and s.look == "box"]
    return [s for s in children if isinstance(s, Text) and boxes and s.y > min(boxes)]


def main() -> int:
    """Measure every cell; the number of cells with a fault."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--board", choices=BOARDS)
    parser.add_argument("--quick", action="store_true", help="without drawing any pixels")
    asked = parser.parse_args()
    bad = 0
    for cell in cells((asked.board,) if asked.board else BOARDS):
        found = faults(cell, pixels=not asked.quick)
        sys.stdout.write(f"{' '.join(map(str, cell)):48} {found or 'no fault'}\n")
        bad += bool(found)
        drawn.cache_clear()
    sys.stdout.write(f"{bad} cells with faults\n")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
