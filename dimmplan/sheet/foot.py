"""The foot of a page: the title block in the frame, and the pick list to tear off below it."""

from __future__ import annotations

from dimmplan.sheet.facts import clean
from dimmplan.sheet.job import Job
from dimmplan.sheet.paper import TEAR_MM, Frame, draw_tear
from dimmplan.sheet.shapes import Group, Shape
from dimmplan.sheet.titleblock import HEIGHT_MM, WIDTH_MM, title_block


def draw_foot(job: Job, page: Frame, main_mm: float, sheet: str, pick_mm: float | None) -> list[Shape]:
    """Title block at the lower right of the frame, and the pick list below the tear line."""
    bottom = page.y + main_mm
    block = title_block(job.facts, job.given, sheet, min(page.width, WIDTH_MM))
    drawn = block.draw(page.x + page.width - block.width, bottom - HEIGHT_MM)
    shapes: list[Shape] = [Group(children=tuple(drawn), look="title-block")]
    pick = job.block("pick", pick_mm, page.width) if pick_mm else None
    if pick:
        machine = job.facts.board.title.split(",")[0] + (f", {job.given.tag}" if job.given.tag else "")
        shapes += draw_tear(page, bottom, clean(machine))
        shapes.append(Group(children=tuple(pick.draw(page.x, bottom + TEAR_MM)), id="pick-list", look="pick-list"))
    return shapes
