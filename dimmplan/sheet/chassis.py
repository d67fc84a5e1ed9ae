"""Page one, for the open chassis: map, legend, steps, cautions, title block, pick list.

Every way to lay it out is measured before anything is drawn; the one with the largest letters that keeps all of it
on one page wins. Where none does, whole panels go on to a second page. Print never gets smaller than its floor.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from dimmplan.sheet import panels
from dimmplan.sheet.blocks import Block, columns_height, columns_needed, in_columns
from dimmplan.sheet.job import Job
from dimmplan.sheet.map import SlotMap
from dimmplan.sheet.paper import PAD_MM, TEAR_MM, Frame, banner, draw_frame, draw_margin, draw_tear, frame
from dimmplan.sheet.shapes import Group, Shape
from dimmplan.sheet.slotbox import style_for
from dimmplan.sheet.style import BODY_MM
from dimmplan.sheet.titleblock import HEIGHT_MM, WIDTH_MM, title_block
from dimmplan.sheet.view import View

GUTTER_MM = 4.0
GAP_MM = 2.2
BANNER_MM = 7.0
MOST_ON_ONE_MAP = 32
"""Boards with more slots get an overview and a page for each socket or pair."""

STYLES: tuple[tuple[float, float, bool], ...] = (
    (5.0, 3.5, False),
    (5.0, 2.5, False),
    (3.5, 2.5, False),
    (3.5, 2.5, True),
    (3.5, 2.0, False),
    (3.5, 2.0, True),
)
"""Letter heights of slot names and of what goes in, and whether they stand on two lines; the wanted ones first."""

SMALL_STYLES: tuple[tuple[float, float, bool], ...] = ((2.8, 2.0, False), (2.8, 2.0, True))
"""For small paper only."""

ORDERS: tuple[tuple[str, ...], ...] = (
    ("before", "access", "warning", "caution", "notice", "know", "power", "boot"),
    ("before", "warning", "caution", "notice", "access", "know", "power", "boot"),
    ("warning", "caution", "before", "access", "notice", "know", "power", "boot"),
    ("before", "access", "know", "warning", "caution", "notice", "power", "boot"),
    ("warning", "before", "notice", "caution", "access", "know", "power", "boot"),
    ("warning", "before", "access", "caution", "notice", "know", "power", "boot"),
)
"""Orders of the panels in columns that read well; the one that takes least height is used."""

LATER: tuple[tuple[str, ...], ...] = (
    (),
    ("pick",),
    ("pick", "install"),
    ("pick", "install", "know"),
    ("pick", "install", "know", "power", "boot"),
    ("pick", "install", "know", "power", "boot", "before", "access"),
    ("pick", "install", "know", "power", "boot", "before", "access", "caution", "notice"),
    ("pick", "install", "know", "power", "boot", "before", "access", "caution", "notice", "warning"),
)
"""What goes on to the second page, the least first."""

_SIDE_MM = (80.0, 70.0, 62.0, 54.0, 48.0)


@dataclass(frozen=True, kw_only=True)
class Layout:
    """One way to lay out page one that fits: boxes of map and panels on the page."""

    job: Job
    page: Frame
    plan: SlotMap
    body_mm: float
    map_box: tuple[float, float, float, float]
    placed: tuple[tuple[Block, float, float], ...]
    main_mm: float
    later: tuple[str, ...]

    def draw(self, sheet: str) -> list[Shape]:
        """The page's shapes."""
        page, job = self.page, self.job
        shapes = [*draw_frame(page, self.main_mm), *draw_margin(page, sheet)]
        if job.facts.board.trust == "drafted":
            shapes += banner(page.x + PAD_MM, page.y + PAD_MM, page.inner_width)
        shapes.append(Group(children=tuple(self.plan.draw(*self.map_box)), id="map", look="map"))
        for block, x, y in self.placed:
            shapes += block.draw(x, y)
        return shapes + draw_foot(job, page, self.main_mm, sheet, None if "pick" in self.later else self.body_mm)


def draw_foot(job: Job, page: Frame, main_mm: float, sheet: str, pick_mm: float | None) -> list[Shape]:
    """Title block at the lower right of the frame, and the pick list below the tear line."""
    bottom = page.y + main_mm
    block = title_block(job.facts, job.given, sheet, min(page.width, WIDTH_MM))
    drawn = block.draw(page.x + page.width - block.width, bottom - HEIGHT_MM)
    shapes: list[Shape] = [Group(children=tuple(drawn), look="title-block")]
    pick = job.block("pick", pick_mm, page.width) if pick_mm else None
    if pick:
        shapes += draw_tear(page, bottom)
        shapes.append(Group(children=tuple(pick.draw(page.x, bottom + TEAR_MM)), id="pick-list", look="pick-list"))
    return shapes


@dataclass(frozen=True, kw_only=True)
class _Try:
    """One page, letter height and map style being tried."""

    job: Job
    page: Frame
    plan: SlotMap
    body_mm: float
    later: tuple[str, ...]

    @property
    def main_mm(self) -> float:
        pick = None if "pick" in self.later else self.job.block("pick", self.body_mm, self.page.width)
        return self.page.height - (pick.height + TEAR_MM if pick else 0.0)

    @property
    def top(self) -> float:
        return self.page.y + PAD_MM + (BANNER_MM if self.job.facts.board.trust == "drafted" else 0.0)

    @property
    def bottom(self) -> float:
        """Where the title block begins."""
        return self.page.y + self.main_mm - HEIGHT_MM - GAP_MM

    def kept(self, order: Sequence[str]) -> list[str]:
        return [name for name in order if name not in self.later]

    def legend(self, wide: float) -> Block:
        facts = self.job.facts
        shown = [facts.slots[slot.slot] for slot in self.plan.view.slots]
        return panels.legend(facts, shown, max(2.0, self.body_mm - 0.3), wide, brackets=self.plan.has_brackets)

    def stack(self, columns: int) -> Layout | None:
        """The map over the whole width, panels in columns below it."""
        x, wide = self.page.x + PAD_MM, self.page.inner_width
        if self.plan.least_width > wide:
            return None
        below = [self.legend(wide)]
        if "install" not in self.later:
            below += self.job.blocks(["install"], self.body_mm, wide)
        column = (wide - (columns - 1) * GUTTER_MM) / columns
        best = min(
            (self.job.blocks(self.kept(order), self.body_mm, column) for order in ORDERS),
            key=lambda blocks: round(columns_height(blocks, columns, GAP_MM), 2),
        )
        if best:
            below.append(_columned(best, columns, column))
        aside = self.page.width - WIDTH_MM
        if "deference" not in self.later and aside < 40:
            below += self.job.blocks(["deference"], self.body_mm, wide)
        return self._layout(x, wide, below, [])

    def side(self, column: float) -> Layout | None:
        """The map on the left with panels below it, safety in a column on the right."""
        x, whole = self.page.x + PAD_MM, self.page.inner_width
        wide = whole - column - GUTTER_MM
        if self.plan.least_width > wide:
            return None
        names = self.kept(ORDERS[0])
        taken, used = 0, 0.0
        room = self.bottom - self.top
        right: list[tuple[Block, float, float]] = []
        for name in names:
            block = self.job.block(name, self.body_mm, column)
            if block and used + block.height > room:
                break
            taken += 1
            if block:
                right.append((block, x + wide + GUTTER_MM, self.top + used))
                used += block.height + GAP_MM
        below = [self.legend(wide)]
        if "install" not in self.later:
            below += self.job.blocks(["install"], self.body_mm, wide)
        columns = max(1, int((wide + GUTTER_MM) / (52.0 + GUTTER_MM)))
        rest = self.job.blocks(names[taken:], self.body_mm, (wide - (columns - 1) * GUTTER_MM) / columns)
        if rest:
            below.append(_columned(rest, columns, (wide - (columns - 1) * GUTTER_MM) / columns))
        return self._layout(x, wide, below, right)

    def _layout(
        self, x: float, wide: float, below: list[Block], beside: list[tuple[Block, float, float]]
    ) -> Layout | None:
        room = self.bottom - self.top - sum(block.height + GAP_MM for block in below)
        if room < self.plan.least_height:
            return None
        high = self.plan.height_for(wide, room)
        spare = (room - high) / (len(below) + 1)
        y = self.top + min(spare, 3.0)
        box = (x, y, wide, high)
        y += high + GAP_MM / 2 + min(spare, 3.0)
        placed = list(beside)
        for number, block in enumerate(below):
            placed.append((block, x, y))
            y += block.height + GAP_MM + (min(spare, 4.0) if number else 0.0)
        aside = self.page.width - WIDTH_MM
        if aside >= 40 and "deference" not in self.later:
            block = self.job.block("deference", self.body_mm, aside - PAD_MM - 3.0)
            if block:
                placed.append((block, x, self.page.y + self.main_mm - HEIGHT_MM + 1.0))
        return Layout(
            job=self.job,
            page=self.page,
            plan=self.plan,
            body_mm=self.body_mm,
            map_box=box,
            placed=tuple(placed),
            main_mm=self.main_mm,
            later=self.later,
        )


def _columned(blocks: Sequence[Block], columns: int, width_mm: float) -> Block:
    """Blocks in even columns as one block."""
    height = columns_height(blocks, columns, GAP_MM)

    def draw(x: float, y: float) -> list[Shape]:
        return in_columns(blocks, x, y, width_mm=width_mm, height=height, gap=GAP_MM, gutter=GUTTER_MM)

    return Block(columns * (width_mm + GUTTER_MM) - GUTTER_MM, height, draw)


def layouts(job: Job, view: View) -> Iterator[Layout]:
    """Every way to lay out page one that fits, the wanted ones first: all on one page, large letters, upright."""
    slots = [job.facts.slots[slot.slot] for slot in view.slots]
    small = job.paper == "a5"
    plans = [
        SlotMap(job.facts, view, style_for(slots, name, words, two_lines=two), job.front)
        for name, words, two in (STYLES + SMALL_STYLES if small else STYLES)
    ]
    upright, lying = frame(job.paper, landscape=False), frame(job.paper, landscape=True)
    for later in LATER:
        for body in BODY_MM:
            for plan in plans:
                tall = _Try(job=job, page=upright, plan=plan, body_mm=body, later=later)
                wide = _Try(job=job, page=lying, plan=plan, body_mm=body, later=later)
                tries = [tall.stack(2 if small else 3), *(wide.side(column) for column in _SIDE_MM)]
                tries.append(wide.stack(3 if small else 4))
                yield from (layout for layout in tries if layout)


def choose(job: Job, view: View) -> Layout | None:
    """The first layout that fits; ``None`` where the board is too dense for one map."""
    if len(view.slots) > MOST_ON_ONE_MAP:
        return None
    return next(layouts(job, view), None)


def continued(job: Job, page: Frame, names: Sequence[str], sheet: str) -> tuple[list[Shape], list[str]]:
    """A further page for panels that had no room, and the names of those that still have none."""
    body, columns = BODY_MM[0], 2 if page.inner_width < 190 else 3
    wide = (page.inner_width - (columns - 1) * GUTTER_MM) / columns
    pick = job.block("pick", body, page.width) if "pick" in names else None
    main = page.height - (pick.height + TEAR_MM if pick else 0.0)
    y, room = page.y + PAD_MM, main - 2 * PAD_MM - HEIGHT_MM - GAP_MM
    shapes: list[Shape] = [*draw_frame(page, main), *draw_margin(page, sheet)]
    for block in job.blocks(["install"] if "install" in names else [], body, page.inner_width):
        shapes += block.draw(page.x + PAD_MM, y)
        y, room = y + block.height + GAP_MM, room - block.height - GAP_MM
    order = [name for name in ORDERS[0] if name in names and job.block(name, body, wide)]
    blocks = job.blocks(order, body, wide)
    taken = len(blocks)
    while taken and columns_needed(blocks[:taken], room, GAP_MM) > columns:
        taken -= 1
    if taken:
        shapes += _columned(blocks[:taken], columns, wide).draw(page.x + PAD_MM, y)
    return shapes + draw_foot(job, page, main, sheet, body if pick else None), order[taken:]
