"""Page one, for the open chassis: map, legend, steps, cautions, title block, pick list.

Every way to lay it out is measured before anything is drawn; the one with the largest letters that keeps all of it
on one page wins. Where none does, whole panels go on to a second page. Print never gets smaller than its floor.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, partial
from typing import NamedTuple, Protocol

from dimmplan.sheet import panels
from dimmplan.sheet.blocks import Block, packed
from dimmplan.sheet.foot import draw_foot
from dimmplan.sheet.further import ORDER, spread
from dimmplan.sheet.job import GAP_MM, GUTTER_MM, Job
from dimmplan.sheet.map import SlotMap
from dimmplan.sheet.paper import PAD_MM, TEAR_MM, Frame, banner, draw_frame, draw_margin, frame
from dimmplan.sheet.shapes import Group, Shape
from dimmplan.sheet.slotbox import style_for
from dimmplan.sheet.titleblock import HEIGHT_MM, WIDTH_MM
from dimmplan.sheet.view import View

Further = Callable[[Frame, tuple[str, ...]], Sequence[Sequence[str]]]
"""Which of some panels stand on which further page."""

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

PASSES = ((2.5, 5.0), (2.2, 5.0), (2.5, 0.0), (2.2, 0.0), (2.0, 0.0))
"""Height of running text and least height of slot names, tried in turn: names are read first and from farthest."""

SMALL_STYLES: tuple[tuple[float, float, bool], ...] = ((2.8, 2.0, False), (2.8, 2.0, True))
"""For small paper only."""

ORDERS: tuple[tuple[str, ...], ...] = (
    ORDER,
    ("before", "warning", "caution", "notice", "access", "know", "power", "boot"),
    ("before", "warning", "access", "caution", "notice", "know", "power", "boot"),
    ("warning", "caution", "before", "access", "notice", "know", "power", "boot"),
    ("warning", "before", "notice", "caution", "access", "know", "power", "boot"),
    ("before", "access", "know", "warning", "caution", "notice", "power", "boot"),
    ("warning", "know", "before", "access", "caution", "notice", "power", "boot"),
    ("warning", "caution", "notice", "before", "access", "know", "power", "boot"),
)
"""Orders of the panels that read well: safety before work, work before the first boot. The lowest is used."""


class Keep(NamedTuple):
    """Which panels go on to the second page, and whether the steps are given in short."""

    later: tuple[str, ...] = ()
    short: bool = False

    def moved(self, *, dense: bool) -> tuple[str, ...]:
        """Panels on further chassis pages: also the full list of steps where page one has the short one.

        A dense board has the full list with its slots, and no further page for it.
        """
        later = (*self.later, *(["install"] if self.short and self.later else []))
        return tuple(name for name in later if not (dense and name == "install"))


_AFTER = ("boot", "power")
_TOLD = (*_AFTER, "know")
_READY = (*_TOLD, "pick", "install", "access", "before")
KEEPS = (
    Keep(),
    Keep(short=True),
    Keep(_AFTER[:1]),
    Keep(_AFTER),
    Keep(_AFTER, short=True),
    Keep(_TOLD),
    Keep(_TOLD, short=True),
    Keep((*_TOLD, "pick"), short=True),
    Keep((*_TOLD, "pick", "install")),
    Keep(_READY),
    Keep((*_READY, "caution", "notice")),
    Keep((*_READY, "caution", "notice", "warning", "deference")),
)
"""What page one keeps, the most first: what is needed last goes first, warnings go last."""

SHORT_KEEPS = tuple(keep for keep in KEEPS if keep.short or "install" in keep.later)
"""The same for a board whose slots are on pages of their own: the full list of steps stands there."""

_SIDE_MM = (78.0, 64.0, 50.0)
_LEAST_COLUMN_MM = 50.0


class Plan(Protocol):
    """A map that knows the least paper it needs: the map of slots, or the overview of a dense board."""

    @property
    def least_width(self) -> float:
        """Paper that it needs across, in mm."""

    @property
    def least_height(self) -> float:
        """Paper that it needs down, in mm."""

    @property
    def name_mm(self) -> float:
        """Letter height of slot names."""

    def legend(self, cap_mm: float, width_mm: float) -> Block:
        """What its forms mean."""

    def height_for(self, width_mm: float, room_mm: float) -> float:
        """Height that it takes of the room there is."""

    def draw(self, x: float, y: float, width_mm: float, height_mm: float) -> list[Shape]:
        """Its shapes in a box."""


class Arrangement(NamedTuple):
    """Where everything but the map goes: blocks below the map, blocks with a place of their own, room for the map."""

    page: Frame
    body_mm: float
    keep: Keep
    x: float
    wide: float
    top: float
    bottom: float
    below: tuple[Block, ...]
    beside: tuple[tuple[Block, float, float], ...]
    main_mm: float

    @property
    def room(self) -> float:
        """Height left to the map."""
        return self.bottom - self.top - sum(block.height + GAP_MM for block in self.below)

    def takes(self, plan: Plan) -> bool:
        """True where a map fits."""
        return plan.least_width <= self.wide and plan.least_height <= self.room


@dataclass(frozen=True, kw_only=True)
class Layout:
    """Page one, decided: an arrangement and the map that goes in."""

    job: Job
    plan: Plan
    at: Arrangement

    @property
    def later(self) -> tuple[str, ...]:
        """Panels that page one does not hold, the full list of steps where it has the short one and a second page."""
        return self.at.keep.moved(dense=bool(self.job.sheets))

    def draw(self, sheet: str) -> list[Shape]:
        """The page's shapes."""
        at, page, job = self.at, self.at.page, self.job
        shapes = [*draw_frame(page, at.main_mm), *draw_margin(page, sheet)]
        if job.facts.banner:
            shapes += banner(job.facts.banner, page.x + PAD_MM, page.y + PAD_MM, page.inner_width)
        high = self.plan.height_for(at.wide, at.room)
        spare = (at.room - high) / (len(at.below) + 1)
        y = at.top + min(spare, 3.0)
        shapes.append(Group(children=tuple(self.plan.draw(at.x, y, at.wide, high)), id="map", look="map"))
        y += high + GAP_MM / 2 + min(spare, 3.0)
        for number, block in enumerate(at.below):
            shapes += block.draw(at.x, y)
            y += block.height + GAP_MM + (min(spare, 4.0) if number else 0.0)
        for block, left, upper in at.beside:
            shapes += block.draw(left, upper)
        return shapes + draw_foot(job, page, at.main_mm, sheet, None if "pick" in self.later else at.body_mm)


@dataclass(frozen=True, kw_only=True)
class Arranger:
    """Arranges the panels of one page for one letter height.

    ``further`` tells what stands on which further page, as ``spread`` does.
    """

    job: Job
    page: Frame
    legend: Callable[[float, float], Block]
    further: Further
    body_mm: float
    keep: Keep

    @property
    def main_mm(self) -> float:
        """Height of the frame."""
        pick = None if "pick" in self.keep.later else self.job.block("pick", self.body_mm, self.page.width)
        return self.page.height - (pick.height + TEAR_MM if pick else 0.0)

    @property
    def top(self) -> float:
        """Where map and columns begin."""
        return self.page.y + PAD_MM + (BANNER_MM if self.job.facts.banner else 0.0)

    @property
    def bottom(self) -> float:
        """Where the title block begins."""
        return self.page.y + self.main_mm - HEIGHT_MM - GAP_MM

    def kept(self, order: Sequence[str]) -> list[str]:
        """Panels of an order that this page holds."""
        return [name for name in order if name not in self.keep.later]

    def under_map(self, wide: float) -> list[Block]:
        """Legend and steps."""
        legend = self.legend(max(2.0, self.body_mm - 0.3), wide)
        steps = self.kept(["install-short" if self.keep.short else "install"])
        return [legend, *self.job.blocks(steps, self.body_mm, wide)]

    def more(self, wide: float) -> Block:
        """What is elsewhere."""
        later = self.keep.moved(dense=bool(self.job.sheets))
        return panels.elsewhere(self.further(self.page, later), self.body_mm, wide)

    def hopeless(self, map_width: float, least_height: float) -> bool:
        """True where the panels are far too much for the paper beside the map: nothing need be measured then."""
        names = self.kept((*ORDER, "deference", *(() if self.keep.short else ("install",))))
        panes = sum(self.job.area(name, self.body_mm) for name in names)
        high = self.bottom - self.top
        room = high * self.page.inner_width + HEIGHT_MM * max(0.0, self.page.width - WIDTH_MM)
        return 0.8 * panes + (least_height + 5.0) * map_width > room

    def stack(self, columns: int, least_height: float) -> Arrangement | None:
        """The map over the whole width, panels in columns below it; ``None`` where the map surely has no room."""
        wide = self.page.inner_width
        if self.hopeless(wide, least_height):
            return None
        column = (wide - (columns - 1) * GUTTER_MM) / columns
        below = [*self.under_map(wide), self.more(wide)]
        below += self.job.blocks(self.kept(["deference"]), self.body_mm, wide)
        panes = self.job.blocks(self.kept(ORDER), self.body_mm, column)
        least = sum(block.height for block in panes) / columns + sum(block.height for block in below)
        if self.bottom - self.top - least < least_height:
            return None
        best = self.job.packing([self.kept(order) for order in ORDERS], self.body_mm, column, columns)
        below.insert(len(below) - ("deference" not in self.keep.later), best.block(column))
        return self._arrangement(wide, below, [])

    def side(self, column: float, least: tuple[float, float]) -> Arrangement | None:
        """The map on the left with panels below it, safety in a column on the right, panels by the title block.

        ``None`` where the map surely has no room.
        """
        x, wide = self.page.x + PAD_MM, self.page.inner_width - column - GUTTER_MM
        if least[0] > wide or self.hopeless(wide, least[1]):
            return None
        beside: list[tuple[Block, float, float]] = []
        rest: list[str] = []
        y = self.top
        for name in self.kept((*ORDER[:5], "deference", *ORDER[5:])):
            block = self.job.block(name, self.body_mm, column)
            if block and y + block.height <= self.bottom:
                beside.append((block, x + wide + GUTTER_MM, y))
                y += block.height + GAP_MM
            elif block:
                rest.append(name)
        below = self.under_map(wide)
        beside += self._by_title(rest, below, wide)
        columns = max(1, int((wide + GUTTER_MM) / (_LEAST_COLUMN_MM + GUTTER_MM)))
        each = (wide - (columns - 1) * GUTTER_MM) / columns
        if rest:
            panes = self.job.blocks(rest, self.body_mm, each)
            below.append(packed(panes, columns, GAP_MM, GUTTER_MM).block(each))
        return self._arrangement(wide, below, beside)

    def _by_title(self, rest: list[str], below: list[Block], wide: float) -> list[tuple[Block, float, float]]:
        """Fill the room left of the title block with panels of the rest, which they leave, and what is elsewhere."""
        x, y, room = self.page.x + PAD_MM, self.bottom + GAP_MM + 0.5, HEIGHT_MM - 1.0
        by_title = self.page.width - min(self.page.width, WIDTH_MM) - PAD_MM - 3.0
        if by_title < _LEAST_COLUMN_MM:
            below.append(self.more(wide))
            return []
        placed: list[tuple[Block, float, float]] = []
        for name in [*reversed(rest), ""]:
            block = self.job.block(name, self.body_mm, by_title) if name else self.more(by_title)
            if block and block.height <= room:
                placed.append((block, x, y))
                y, room = y + block.height + GAP_MM, room - block.height - GAP_MM
                rest[:] = [other for other in rest if other != name]
            elif not name:
                below.append(self.more(wide))
        return placed

    def _arrangement(self, wide: float, below: list[Block], beside: list[tuple[Block, float, float]]) -> Arrangement:
        return Arrangement(
            page=self.page,
            body_mm=self.body_mm,
            keep=self.keep,
            x=self.page.x + PAD_MM,
            wide=wide,
            top=self.top,
            bottom=self.bottom,
            below=tuple(block for block in below if block.height),
            beside=tuple(beside),
            main_mm=self.main_mm,
        )


def arrangements(
    job: Job,
    legend: Callable[[float, float], Block],
    further: Further,
    least: tuple[float, float],
    *,
    keep: Keep,
    body_mm: float,
) -> list[Arrangement]:
    """Every arrangement of what page one keeps that has room for the least map, upright paper first."""
    small = job.paper == "a5"
    upright, lying = frame(job.paper, landscape=False), frame(job.paper, landscape=True)
    tall, wide = (
        Arranger(job=job, page=page, legend=legend, further=further, body_mm=body_mm, keep=keep)
        for page in (upright, lying)
    )
    across, down = least
    found: list[Arrangement | None] = []
    found += [tall.stack(n, down) for n in ((2,) if small else (3, 2))] if across <= upright.inner_width else []
    found += [wide.side(column, least) for column in _SIDE_MM]
    found += [wide.stack(n, down) for n in ((3, 2) if small else (4, 3))] if across <= lying.inner_width else []
    return [at for at in found if at and at.room >= down]


def slot_maps(job: Job, view: View) -> list[SlotMap]:
    """The map in every style that the paper allows, the wanted ones first."""
    slots = [job.facts.slots[slot.slot] for slot in view.slots]
    return [
        SlotMap(job.facts, view, style_for(slots, name, words, two_lines=two), job.front, job.given.tag or "")
        for name, words, two in (STYLES + SMALL_STYLES if job.paper == "a5" else STYLES)
    ]


def choose(job: Job, plans: Sequence[Plan], keeps: Sequence[Keep]) -> Layout | None:
    """The first layout that fits: all on one page, then large letters, then upright paper. ``None`` without one."""
    least = min(p.least_width for p in plans), min(p.least_height for p in plans)
    legend = cache(plans[0].legend)
    further = cache(partial(spread, job))
    for keep in keeps:
        measured: dict[float, list[Arrangement]] = {}
        for body, name in PASSES:
            if body not in measured:
                measured[body] = arrangements(job, legend, further, least, keep=keep, body_mm=body)
            for plan in (plan for plan in plans if plan.name_mm >= name):
                for at in measured[body]:
                    if at.takes(plan):
                        return Layout(job=job, plan=plan, at=at)
    return None
