"""Page one, for the open chassis: map, legend, steps, cautions, title block, pick list.

Every way to lay it out is measured before anything is drawn; the one with the largest letters that keeps all of it
on one page wins. Where none does, whole panels go on to a second page. Print never gets smaller than its floor.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

from dimmplan.sheet import care, panels
from dimmplan.sheet.blocks import Block, columns_height, columns_needed, in_columns, label, stacked
from dimmplan.sheet.facts import Facts, SlotFact, State, clean
from dimmplan.sheet.map import SlotMap, scale_words
from dimmplan.sheet.measure import fitted, width
from dimmplan.sheet.paper import PAD_MM, TEAR_MM, Frame, PaperName, draw_frame, draw_margin, draw_tear, frame
from dimmplan.sheet.shapes import Group, Line, Rect, Shape
from dimmplan.sheet.slotbox import SlotStyle, style_for
from dimmplan.sheet.style import BODY_MM
from dimmplan.sheet.titleblock import HEIGHT_MM, Given, title_block
from dimmplan.sheet.view import Front, View

GUTTER_MM = 4.0
GAP_MM = 2.4
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


@dataclass(frozen=True)
class Job:
    """What is asked of a sheet."""

    facts: Facts
    paper: PaperName
    front: Front
    given: Given

    @cached_property
    def _blocks(self) -> dict[object, Block | None]:
        return {}

    def block(self, name: str, cap_mm: float, width_mm: float) -> Block | None:
        """A panel by name at a letter height and width, measured once."""
        key = (name, cap_mm, round(width_mm, 3))
        if key not in self._blocks:
            self._blocks[key] = self._make(name, cap_mm, width_mm)
        return self._blocks[key]

    def _make(self, name: str, cap: float, wide: float) -> Block | None:
        facts = self.facts
        if name == "before":
            return care.before_start(cap, wide)
        if name == "access":
            return panels.access(facts, cap, wide)
        if name == "warning":
            return care.warning(facts, cap, wide)
        if name == "caution":
            return care.caution(cap, wide)
        if name == "notice":
            return care.notice(cap, wide)
        if name == "install":
            return panels.install(facts, facts.steps, cap, wide)
        if name == "know":
            return panels.must_know(facts, cap, wide)
        if name == "power":
            return care.before_power(facts, cap, wide)
        if name == "boot":
            return care.first_boot(facts, cap, wide)
        if name == "pick":
            return panels.pick_list(facts, cap, wide)
        assert name == "deference"
        return care.deference(cap, wide)

    def blocks(self, names: Sequence[str], cap_mm: float, width_mm: float) -> list[Block]:
        """Panels by name, those with nothing to say left out."""
        found = [self.block(name, cap_mm, width_mm) for name in names]
        return [block for block in found if block is not None]


COLUMN_PANELS = ("before", "access", "warning", "caution", "notice", "know", "power", "boot", "deference")
Form = Literal["stack", "side"]

PARTS: tuple[tuple[str, ...], ...] = (
    (),
    ("pick",),
    ("pick", "install"),
    ("pick", "install", "know"),
    ("pick", "install", "know", "power", "boot"),
    ("pick", "install", "know", "power", "boot", "before", "access", "caution", "notice", "deference"),
)
"""What goes on to the second page, the least first."""


@dataclass(frozen=True, kw_only=True)
class Layout:
    """One way to lay out page one, measured."""

    job: Job
    page: Frame
    plan: SlotMap
    body_mm: float
    form: Form
    columns: int
    later: tuple[str, ...]
    shown: tuple[SlotFact, ...] = field(init=False)

    def __post_init__(self) -> None:
        """Collect the slots that the map shows."""
        facts = self.job.facts
        object.__setattr__(self, "shown", tuple(facts.slots[slot.slot] for slot in self.plan.view.slots))

    @property
    def names(self) -> list[str]:
        """Panels in the columns."""
        side = ["install"] if self.form == "side" and "install" not in self.later else []
        names = [name for name in COLUMN_PANELS if name not in self.later]
        at = names.index("notice") + 1 if "notice" in names else len(names)
        return names[:at] + side + names[at:]

    @property
    def column_mm(self) -> float:
        """Width of one column."""
        if self.form == "side":
            return 62.0 if self.columns == 2 else 80.0
        return (self.page.inner_width - (self.columns - 1) * GUTTER_MM) / self.columns

    @property
    def map_mm(self) -> float:
        """Width of the map."""
        if self.form == "stack":
            return self.page.inner_width
        return self.page.inner_width - self.columns * (self.column_mm + GUTTER_MM)

    @cached_property
    def column_blocks(self) -> list[Block]:
        """The panels of the columns."""
        return self.job.blocks(self.names, self.body_mm, self.column_mm)

    @cached_property
    def columns_mm(self) -> float:
        """Height that the columns take."""
        return columns_height(self.column_blocks, self.columns, GAP_MM)

    @cached_property
    def legend(self) -> Block:
        """The legend below the map."""
        wide = self.map_mm
        note = scale_words(self.job.facts.board.physical, True)
        brackets = any(b.channels or b.controllers for b in self.plan.needs.brackets)
        return panels.legend(self.job.facts, self.shown, max(2.0, self.body_mm - 0.3), wide, note=note, brackets=brackets)

    @cached_property
    def install(self) -> Block | None:
        """The steps across the whole width, where they do not stand in a column."""
        if self.form == "side" or "install" in self.later:
            return None
        return self.job.block("install", self.body_mm, self.page.inner_width)

    @cached_property
    def pick(self) -> Block | None:
        """The pick list below the tear line."""
        if "pick" in self.later:
            return None
        return self.job.block("pick", self.body_mm, self.page.width)

    @property
    def main_mm(self) -> float:
        """Height of the frame."""
        return self.page.height - (self.pick.height + TEAR_MM if self.pick else 0.0)

    @property
    def banner_mm(self) -> float:
        """Height of the line that shouts where a board file is only drafted."""
        return 7.0 if self.job.facts.board.trust == "drafted" else 0.0

    @property
    def body_room_mm(self) -> float:
        """Height between banner and title block."""
        return self.main_mm - 2 * PAD_MM - self.banner_mm - HEIGHT_MM - GAP_MM

    @property
    def map_room_mm(self) -> float:
        """Height left to the map."""
        room = self.body_room_mm - self.legend.height
        if self.form == "side":
            return room
        below = [block.height + GAP_MM for block in (self.install,) if block]
        return room - sum(below) - (self.columns_mm + GAP_MM if self.column_blocks else 0.0)

    def fits(self) -> bool:
        """True where everything has its room."""
        if self.plan.least_width > self.map_mm or self.plan.least_height > self.map_room_mm:
            return False
        return self.form == "stack" or self.columns_mm <= self.body_room_mm

    def draw(self, sheet: str) -> list[Shape]:
        """The page."""
        page, x = self.page, self.page.x + PAD_MM
        y = page.y + PAD_MM
        shapes: list[Shape] = [*draw_frame(page, self.main_mm), *draw_margin(page, sheet)]
        if self.banner_mm:
            shapes += banner(x, y, page.inner_width)
            y += self.banner_mm
        shapes += self._stack(x, y) if self.form == "stack" else self._side(x, y)
        bottom = page.y + self.main_mm
        block = title_block(self.job.facts, self.job.given, sheet, min(page.width, 186.0))
        shapes += [Group(children=tuple(block.draw(page.x + page.width - block.width, bottom - HEIGHT_MM)), look="title-block")]
        if self.pick:
            shapes += draw_tear(page, bottom)
            top = bottom + TEAR_MM
            shapes.append(Group(children=tuple(self.pick.draw(page.x, top)), id="pick-list", look="pick-list"))
        return shapes

    def _map(self, x: float, y: float, room: float) -> tuple[list[Shape], float]:
        high = self.plan.height_for(self.map_mm, room)
        slack = room - high
        shapes = self.plan.draw(x, y + min(slack / 2, 4.0), self.map_mm, high)
        shapes += heading(self.job, self.plan.front, x, y, self.map_mm)
        return [Group(children=tuple(shapes), id="map", look="map")], slack

    def _stack(self, x: float, y: float) -> list[Shape]:
        room = self.map_room_mm
        shapes, _ = self._map(x, y, room)
        y += room
        shapes += self.legend.draw(x, y)
        y += self.legend.height + GAP_MM
        if self.install:
            shapes += self.install.draw(x, y)
            y += self.install.height + GAP_MM
        return shapes + in_columns(
            self.column_blocks, x, y, width_mm=self.column_mm, height=self.columns_mm, gap=GAP_MM, gutter=GUTTER_MM
        )

    def _side(self, x: float, y: float) -> list[Shape]:
        room = self.map_room_mm
        shapes, _ = self._map(x, y, room)
        shapes += self.legend.draw(x, y + room)
        at = x + self.map_mm + GUTTER_MM
        return shapes + in_columns(
            self.column_blocks, at, y, width_mm=self.column_mm, height=self.columns_mm, gap=GAP_MM, gutter=GUTTER_MM
        )


def heading(job: Job, front: Front, x: float, y: float, wide: float) -> list[Shape]:
    """What this is and what to expect, on either side of the word at the top of the map."""
    facts, cap = job.facts, 3.5
    room = wide / 2 - (12.0 if front == "down" else 50.0)
    base = y + cap + 0.2
    said = fitted(clean(job.given.tag or facts.board.title.split(",")[0]), cap, room, bold=True)
    rate = f" · {facts.figures.rate_mts} MT/s" if facts.figures else ""
    expect = f"{facts.usable_gib} GiB{rate}"
    return [
        label(x, base, said, cap, "b"),
        label(x + wide, base, fitted(expect, cap, room, bold=True), cap, "b", "end"),
    ]


def banner(x: float, y: float, wide: float) -> list[Shape]:
    """The shout of a board file that nobody has checked."""
    said = "DRAFTED BOARD FILE: places and names are not checked. Compare every slot name before you insert."
    cap = 2.5 if width(said, 2.5, bold=True) < wide - 4 else 2.0
    said = fitted(said, cap, wide - 3, bold=True)
    return [
        Rect(x=x, y=y, width=wide, height=5.6, look="ink"),
        label(x + wide / 2, y + 2.8 + cap / 2, said, cap, "b inv", "middle"),
    ]


def layouts(job: Job, view: View) -> Iterator[Layout]:
    """Every way to lay out page one, the wanted ones first: all on one page, large letters, upright paper."""
    slots = [job.facts.slots[slot.slot] for slot in view.slots]
    small = job.paper == "a5"
    plans = [
        SlotMap(job.facts, view, style_for(slots, name, words, two_lines=two), job.front)
        for name, words, two in (STYLES + SMALL_STYLES if small else STYLES)
    ]
    upright, lying = frame(job.paper, landscape=False), frame(job.paper, landscape=True)
    forms: list[tuple[Frame, Form, int]] = [
        (upright, "stack", 2 if small else 3),
        (lying, "side", 1),
        (lying, "side", 2),
        (lying, "stack", 3 if small else 4),
    ]
    for later in PARTS:
        for body in BODY_MM:
            for plan in plans:
                for page, form, columns in forms:
                    yield Layout(
                        job=job, page=page, plan=plan, body_mm=body, form=form, columns=columns, later=later
                    )


def choose(job: Job, view: View) -> Layout | None:
    """The first layout that fits; ``None`` where the board is too dense for one map."""
    if len(view.slots) > MOST_ON_ONE_MAP:
        return None
    return next((layout for layout in layouts(job, view) if layout.fits()), None)


def continued(job: Job, page: Frame, names: Sequence[str], sheet: str) -> tuple[list[Shape], list[str]]:
    """A further page for panels that had no room, and the names of those that still have none."""
    body, columns = BODY_MM[0], 2 if page.inner_width < 190 else 3
    wide = (page.inner_width - (columns - 1) * GUTTER_MM) / columns
    order = [name for name in ("install", *COLUMN_PANELS) if name in names]
    pick = job.block("pick", body, page.width) if "pick" in names else None
    main = page.height - (pick.height + TEAR_MM if pick else 0.0)
    room = main - 2 * PAD_MM - HEIGHT_MM - GAP_MM
    y = page.y + PAD_MM
    shapes: list[Shape] = [*draw_frame(page, main), *draw_margin(page, sheet)]
    if "install" in order:
        block = job.block("install", body, page.inner_width)
        assert block is not None
        shapes += block.draw(page.x + PAD_MM, y)
        y, room = y + block.height + GAP_MM, room - block.height - GAP_MM
        order.remove("install")
    blocks = job.blocks(order, body, wide)
    taken = len(blocks)
    while taken and columns_needed(blocks[:taken], room, GAP_MM) > columns:
        taken -= 1
    high = columns_height(blocks[:taken], columns, GAP_MM)
    shapes += in_columns(
        blocks[:taken], page.x + PAD_MM, y, width_mm=wide, height=high, gap=GAP_MM, gutter=GUTTER_MM
    )
    bottom = page.y + main
    block = title_block(job.facts, job.given, sheet, min(page.width, 186.0))
    shapes += block.draw(page.x + page.width - block.width, bottom - HEIGHT_MM)
    if pick:
        shapes += [*draw_tear(page, bottom), *pick.draw(page.x, bottom + TEAR_MM)]
    left = [name for name in order if job.block(name, body, wide) is not None][taken:]
    return shapes, left


