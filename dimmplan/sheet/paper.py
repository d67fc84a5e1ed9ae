"""Paper: sizes, the margins of ISO 5457 (20 mm to file, 10 mm elsewhere), the frame, and what stands outside it."""

from __future__ import annotations

from typing import Literal, NamedTuple

from dimmplan.sheet.blocks import label
from dimmplan.sheet.measure import fitted, width
from dimmplan.sheet.shapes import Group, Line, Rect, Shape
from dimmplan.sheet.style import SMALLEST_TEXT_MM

PaperName = Literal["a4", "letter", "a5"]
SIZES_MM: dict[PaperName, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4), "a5": (148.0, 210.0)}
_MARGINS_MM: dict[PaperName, tuple[float, float]] = {"a4": (20.0, 10.0), "letter": (20.0, 10.0), "a5": (13.0, 7.0)}
PAD_MM = 2.0
TEAR_MM = 4.2
"""Room for the line along which the pick list is torn off."""


class Frame(NamedTuple):
    """A page and the frame on it."""

    page_width: float
    page_height: float
    x: float
    y: float
    width: float
    height: float

    @property
    def landscape(self) -> bool:
        """True where the page lies on its long side."""
        return self.page_width > self.page_height

    @property
    def inner_width(self) -> float:
        """Width inside the frame's padding."""
        return self.width - 2 * PAD_MM


def frame(paper: PaperName, *, landscape: bool) -> Frame:
    """The frame of a page."""
    wide, high = SIZES_MM[paper]
    if landscape:
        wide, high = high, wide
    left, rest = _MARGINS_MM[paper]
    return Frame(wide, high, left, rest, wide - left - rest, high - 2 * rest)


def draw_frame(page: Frame, height: float) -> list[Shape]:
    """The frame itself, ``height`` from the top."""
    return [Rect(x=page.x, y=page.y, width=page.width, height=height, look="heavy")]


def check_bar(x: float, y: float) -> list[Shape]:
    """An upright bar of 50 mm with a tick every 10 mm, to see that the printer kept the size. ``y`` is its foot."""
    shapes: list[Shape] = [Line(x1=x, y1=y, x2=x, y2=y - 50, look="thick")]
    for tenth in range(6):
        at, tick = y - tenth * 10.0, 2.2 if tenth in (0, 5) else 1.3
        shapes.append(Line(x1=x, y1=at, x2=x - tick, y2=at, look="thin"))
    cap = SMALLEST_TEXT_MM
    return [*shapes, label(x + 1.0 + cap, y - 25, "50 mm if printed at 100 %", cap, anchor="middle", turn=-90)]


def draw_margin(page: Frame, sheet: str) -> list[Shape]:
    """In the filing margin: the bar to check the printed size, and what this paper is."""
    line = page.x - 5.4
    bar = check_bar(line, page.y + 52)
    said = f"dimmplan slot map, sheet {sheet}"
    words = label(line + 1.0 + SMALLEST_TEXT_MM, page.y + 58, said, SMALLEST_TEXT_MM, "", anchor="end", turn=-90)
    check = Group(children=tuple(bar), look="check", title="50 mm if printed at 100 %")
    return [check, words]


def draw_tear(page: Frame, y: float, machine: str) -> list[Shape]:
    """The line along which the pick list comes off, from edge to edge, and whose list it is."""
    middle = page.x + page.width / 2
    said = fitted(f"tear off: pick list for {machine}", SMALLEST_TEXT_MM, page.width * 0.7)
    half = width(said, SMALLEST_TEXT_MM) / 2 + 2.0
    line = y + TEAR_MM / 2
    return [
        Line(x1=4.5, y1=line, x2=middle - half, y2=line, look="tear"),
        Line(x1=middle + half, y1=line, x2=page.page_width - 4.5, y2=line, look="tear"),
        label(middle, line + 1.0, said, SMALLEST_TEXT_MM, "", anchor="middle"),
    ]
