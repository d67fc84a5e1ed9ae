"""From a placement on its board to the sheet: which pages there are, and what stands on each."""

from __future__ import annotations

from dimmplan.model.board import Board
from dimmplan.model.placement import Placement
from dimmplan.sheet.chassis import choose
from dimmplan.sheet.job import Job
from dimmplan.sheet.facts import clean, gather
from dimmplan.sheet.paper import PaperName
from dimmplan.sheet.shapes import Page, Sheet
from dimmplan.sheet.style import Ink, stylesheet
from dimmplan.sheet.titleblock import Given
from dimmplan.sheet.view import Front, look_at


def compose(
    board: Board,
    placement: Placement,
    *,
    paper: PaperName = "a4",
    ink: Ink = "colour",
    front: Front = "down",
    title: str | None = None,
    tag: str | None = None,
    date: str | None = None,
    code: str | None = None,
) -> Sheet:
    """The sheet of a placement."""
    facts = gather(board, placement)
    job = Job(facts, paper, front, Given(title=title, tag=tag, date=date, code=code))
    view = look_at(board, front)
    layout = choose(job, view)
    assert layout
    pages = [(layout.page, layout.draw("1 of 2"))]
    css = stylesheet(ink)
    name = clean(title or board.title)
    return Sheet(title=name, desc="", pages=tuple(
        Page(name="chassis", title=name, desc=f"{layout.body_mm} {layout.plan.style.name_mm} {layout.plan.style.words_mm} {layout.plan.style.two_lines} later={layout.later}", width_mm=f.page_width, height_mm=f.page_height, stylesheet=css, shapes=tuple(s)) for f, s in pages))
