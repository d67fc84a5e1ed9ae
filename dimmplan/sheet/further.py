"""Further chassis pages: panels that page one has no room for, safety before everything else."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from dimmplan.sheet.blocks import Block, packed, paragraph
from dimmplan.sheet.foot import draw_foot
from dimmplan.sheet.job import GAP_MM, GUTTER_MM, Job
from dimmplan.sheet.paper import PAD_MM, TEAR_MM, Frame, draw_frame, draw_margin
from dimmplan.sheet.shapes import Shape
from dimmplan.sheet.sketch import machine_words
from dimmplan.sheet.style import BODY_MM
from dimmplan.sheet.titleblock import HEIGHT_MM

SAFETY = ("warning", "caution", "notice")
ORDER = ("before", "access", *SAFETY, "know", "power", "boot")
"""Panels in columns, in the usual order of reading."""

_FIRST = (*SAFETY, *(name for name in ORDER if name not in SAFETY), "deference")
_BODY_MM = BODY_MM[0]


class _Room(NamedTuple):
    """A page with the head, the steps and the pick list that it may carry: what is left to the columns."""

    page: Frame
    head: Block
    steps: Block | None
    main_mm: float

    @property
    def columns(self) -> int:
        return 2 if self.page.inner_width < 190 else 3

    @property
    def wide(self) -> float:
        return (self.page.inner_width - (self.columns - 1) * GUTTER_MM) / self.columns

    @property
    def used(self) -> float:
        """Height that head and steps take."""
        return sum(block.height + GAP_MM for block in (self.head, self.steps) if block)

    @property
    def high(self) -> float:
        return self.main_mm - 2 * PAD_MM - HEIGHT_MM - GAP_MM - self.used


def _room(job: Job, page: Frame, names: Sequence[str]) -> _Room:
    words = " · ".join(machine_words(job.facts, job.given.tag or ""))
    pick = job.block("pick", _BODY_MM, page.width) if "pick" in names else None
    return _Room(
        page=page,
        head=paragraph([(words, True)], 3.5, page.inner_width),
        steps=job.block("install", _BODY_MM, page.inner_width) if "install" in names else None,
        main_mm=page.height - (pick.height + TEAR_MM if pick else 0.0),
    )


def _fitting(job: Job, page: Frame, names: Sequence[str]) -> tuple[str, ...]:
    """Panels that one page takes, from the first on, beside what of steps and pick list is among the names."""
    room = _room(job, page, names)
    shown = [name for name in _FIRST if name in names and job.block(name, _BODY_MM, room.wide)]
    while shown and packed(job.blocks(shown, _BODY_MM, room.wide), room.columns, GAP_MM, GUTTER_MM).height > room.high:
        shown.pop()
    return tuple(shown)


def spread(job: Job, page: Frame, names: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    """What stands on each further page. Steps and pick list wait where safety would not be whole on the first.

    A panel that has no room even on a page of its own is on none.
    """
    pages: list[tuple[str, ...]] = []
    left = [name for name in (*_FIRST, "install", "pick") if name in names and job.block(name, _BODY_MM, page.width)]
    while left:
        for waiting in ((), ("install",), ("install", "pick")):
            here = [name for name in left if name not in waiting]
            shown = _fitting(job, page, here)
            if all(name in shown for name in here if name in SAFETY):
                break
        shown += tuple(name for name in ("install", "pick") if name in here)
        if not shown:
            break
        pages.append(shown)
        left = [name for name in left if name not in shown]
    return tuple(pages)


def draw_further(job: Job, page: Frame, names: Sequence[str], sheet: str) -> list[Shape]:
    """The shapes of one further page with the panels that ``spread`` gives it."""
    room = _room(job, page, names)
    panes = job.blocks([name for name in _FIRST if name in names], _BODY_MM, room.wide)
    columns = packed(panes, room.columns, GAP_MM, GUTTER_MM).block(room.wide)
    work = (columns, room.steps) if "warning" in names else (room.steps, columns)
    shapes: list[Shape] = [*draw_frame(page, room.main_mm), *draw_margin(page, sheet)]
    y = page.y + PAD_MM
    for block in (room.head, *work):
        if block:
            shapes += block.draw(page.x + PAD_MM, y)
            y += block.height + GAP_MM
    return shapes + draw_foot(job, page, room.main_mm, sheet, _BODY_MM if "pick" in names else None)
