"""Paper: sizes, the margins of ISO 5457 (20 mm to file, 10 mm elsewhere), and what every page has: frame, heading,
what stands in the margin, and at the lower right the title block, with the fields of ISO 7200 that a slot map has and
lines to write on.
"""

from __future__ import annotations

import re
from itertools import groupby
from typing import Literal, NamedTuple

from dimmplan.sheet.blocks import Block, label, stacked
from dimmplan.sheet.facts import Facts, clean
from dimmplan.sheet.letters import fitted, line_pitch, width, wrap_runs
from dimmplan.sheet.shapes import SMALLEST_TEXT_MM, TEXT_MM, Group, Line, Point, Rect, Shape
from dimmplan.wording import TRUST

PaperName = Literal["a4", "letter", "a5"]
SIZES_MM: dict[PaperName, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4), "a5": (148.0, 210.0)}
_MARGINS_MM: dict[PaperName, tuple[float, float]] = {"a4": (20.0, 10.0), "letter": (20.0, 10.0), "a5": (13.0, 7.0)}
PAD_MM = 2.0
TEAR_MM = 4.2
"""Room for the line along which the pick list is torn off."""

_HEAD_MM, _BAND_GAP_MM = 7.0, 0.8


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


def frame(paper: PaperName, *, landscape: bool = False) -> Frame:
    """The frame of a page."""
    wide, high = reversed(SIZES_MM[paper]) if landscape else SIZES_MM[paper]
    left, rest = _MARGINS_MM[paper]
    return Frame(wide, high, left, rest, wide - left - rest, high - 2 * rest)


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
    line, cap = page.x - 5.4, SMALLEST_TEXT_MM
    check = Group(children=tuple(check_bar(line, page.y + 52)), look="check", title="50 mm if printed at 100 %")
    said = f"dimmplan slot map, sheet {sheet}"
    return [check, label(line + 1.0 + cap, page.y + 58, said, cap, anchor="end", turn=-90)]


def heading(facts: Facts, page: Frame, left: str, right: str, *, most: float = 5.0) -> Block:
    """Which machine on the left, what it comes to on the right, and below it what nobody may miss."""
    wide, band = page.inner_width, facts.band
    both = width(left, 1.0, bold=True) + width(right, 1.0, bold=True)
    middle = width(band, 3.0, bold=True) + 3.0
    small = 3.5 if both * 3.5 + middle + 6 <= wide else 3.0
    beside = band and not facts.banner and both * small + middle + 6 <= wide
    caps = (cap for cap in (5.0, 4.2, 3.5, 3.0) if cap <= most and both * cap + 8 <= wide)
    cap = small if beside else next(caps, TEXT_MM)
    below = [] if beside else [_band(text, wide) for text in (facts.banner, band) if text]
    bands = stacked(below, _BAND_GAP_MM)

    def draw(x: float, y: float) -> list[Shape]:
        room = wide - width(right, cap, bold=True) - 4
        shapes: list[Shape] = [label(x, y + 5.2, fitted(left, cap, room, bold=True), cap, "b")]
        shapes.append(label(x + wide, y + 5.2, right, cap, "b", anchor="end"))
        if beside:
            shapes += _band(band, wide - both * cap - 6).draw(x + width(left, cap, bold=True) + 3, y + 0.6)
        return shapes + bands.draw(x, y + _HEAD_MM)

    return Block(wide, _HEAD_MM + (bands.height + _BAND_GAP_MM if below else 0.0), draw)


def _band(text: str, wide: float) -> Block:
    """What nobody may miss, white on black and whole, on as many lines as it takes."""
    cap = next((c for c in (3.5, 3.0) if width(text, c, bold=True) <= wide - 3), TEXT_MM)
    lines = [line[0][0] for line in wrap_runs(((text, True),), cap, wide - 3)]
    pitch = line_pitch(cap)
    high = 5.6 + pitch * (len(lines) - 1)

    def draw(x: float, y: float) -> list[Shape]:
        middle, base = x + wide / 2, y + 2.8 + cap / 2
        said = [label(middle, base + n * pitch, line, cap, "b inv", anchor="middle") for n, line in enumerate(lines)]
        return [Rect(x=x, y=y, width=wide, height=high, look="ink"), *said]

    return Block(wide, high, draw)


_LABEL_MM, _VALUE_MM = 2.0, 2.5
_ROW_MM, _LOW_ROW_MM = 6.6, 5.1
_HEAD_BASE_MM = 0.6 + _LABEL_MM
"""Of the name of a field: what a letter of it reaches below its line stays clear of the value."""

WIDTH_MM = 186.0
"""The title block's most width: about that of upright paper."""

HEIGHT_MM = 2 * _ROW_MM + 2 * _LOW_ROW_MM


class TitleFields(NamedTuple):
    """What the caller gave for the title block; ``None`` leaves a line to write on."""

    title: str | None = None
    tag: str | None = None
    date: str | None = None
    code: str | None = None
    matrix: tuple[tuple[bool, ...], ...] | None = None


def draw_tear(page: Frame, y: float, machine: str, given: TitleFields) -> list[Shape]:
    """The line along which the pick list comes off, from edge to edge, and whose list it is."""
    middle, line, cap = page.x + page.width / 2, y + TEAR_MM / 2, SMALLEST_TEXT_MM
    more = [f"{name} {clean(text)}" for name, text in (("tag", given.tag), ("code", given.code)) if text]
    said = fitted(", ".join([f"tear off: pick list for {machine}", *more]), cap, page.width * 0.9)
    half = width(said, cap) / 2 + 2.0
    return [
        Line(x1=4.5, y1=line, x2=middle - half, y2=line, look="tear"),
        Line(x1=middle + half, y1=line, x2=page.page_width - 4.5, y2=line, look="tear"),
        label(middle, line + 1.0, said, cap, anchor="middle"),
    ]


def title_block(facts: Facts, given: TitleFields, sheet: str, width_mm: float) -> Block:
    """The block, its height always ``HEIGHT_MM``: rows of fields, each with its name, value and share of the row.

    A value is ``None`` for a line to write on. In low rows name and value stand on one line, with a lead between them.
    """
    wide, number = width_mm - HEIGHT_MM, f"Sheet {sheet}"
    sign = (1 - (width(number, _VALUE_MM, bold=True) + 3.0) / wide) / 2
    rows: tuple[tuple[float, tuple[tuple[str, str | None, float], ...]], ...] = (
        (0.0, (("Title", given.title, 0.50), ("Machine tag", given.tag, 0.30), ("Date", given.date, 0.20))),
        (0.0, (("Board", facts.board.title, 0.68), ("Board file", TRUST[facts.board.trust], 0.32))),
        (2.0, (("Plan code", given.code or None, 1.0),)),
        (1.5, (("Installed by, date", None, sign), ("Checked by, date", None, sign))),
    )

    def draw(x: float, y: float) -> list[Shape]:
        shapes: list[Shape] = [Rect(x=x, y=y, width=width_mm, height=HEIGHT_MM, look="thick")]
        top = y
        for lead, row in rows:
            high = _LOW_ROW_MM if lead else _ROW_MM
            if top > y:
                shapes.append(Line(x1=x, y1=top, x2=x + wide, y2=top, look="thin"))
            at = x
            for head, value, share in row:
                if at > x:
                    shapes.append(Line(x1=at, y1=top, x2=at, y2=top + high, look="thin"))
                shapes += _field(head, value, (at, top), wide * share, lead)
                at += wide * share
            if row is rows[-1][1]:  # beside it: the number of the sheet
                shapes.append(Line(x1=at, y1=top, x2=at, y2=top + high, look="thin"))
            top += high
        shapes.append(label(x + wide - 1.2, top - 1.3, number, _VALUE_MM, "b", anchor="end"))
        shapes.append(Line(x1=x + wide, y1=y, x2=x + wide, y2=y + HEIGHT_MM, look="medium"))
        return [*shapes, *_square(given.matrix, x + wide, y, HEIGHT_MM)]

    return Block(width_mm, HEIGHT_MM, draw)


def _field(head: str, value: str | None, at: Point, room: float, lead: float) -> list[Shape]:
    """Name and value: one above the other, in a low row side by side."""
    x, y = at
    base, start, end = y + (_LOW_ROW_MM - 1.3 if lead else _ROW_MM - 0.9), x + 1.2, x + room - 1.2
    name = label(start, base if lead else y + _HEAD_BASE_MM, head, _LABEL_MM)
    if lead:
        start += width(head, _LABEL_MM) + lead
    if value is None:
        return [name, Line(x1=start, y1=base, x2=end, y2=base, look="write")]
    text, room = clean(value), end - start
    cap = next((cap for cap in (_VALUE_MM, 2.2, _LABEL_MM) if width(text, cap, bold=True) <= room), None)
    if cap is not None:
        return [name, label(start, base, text, cap, "b")]
    return [name, *(_halves(text, start, y, room) if lead else _two_lines(head, text, start, y, room))]


def _two_lines(head: str, text: str, x: float, y: float, room: float) -> list[Shape]:
    """A value on two lines that begin at its name."""
    lead = width(head, _LABEL_MM) + 1.5
    pieces = re.findall(r"[^\s-]+-?\s*|-\s*", text)
    starts = ["".join(pieces[:count]).rstrip() for count in range(len(pieces) + 1)]
    taken = sum(width(start, _LABEL_MM, bold=True) <= room - lead for start in starts) - 1
    second = fitted("".join(pieces[taken:]), _LABEL_MM, room, bold=True)
    return [
        label(x + lead, y + _HEAD_BASE_MM, starts[taken], _LABEL_MM, "b"),
        label(x, y + _ROW_MM - 0.9, second, _LABEL_MM, "b"),
    ]


def _halves(code: str, x: float, y: float, room: float) -> list[Shape]:
    """A code whole, on two lines, parted at a hyphen."""
    groups = code.split("-")
    half = (len(groups) + 1) // 2
    lines = "-".join(groups[:half]) + "-", "-".join(groups[half:])
    return [
        label(x, y + 0.3 + _LABEL_MM + number * 2.5, fitted(line, _LABEL_MM, room, bold=True), _LABEL_MM, "b")
        for number, line in enumerate(lines)
    ]


def _square(matrix: tuple[tuple[bool, ...], ...] | None, x: float, y: float, side: float) -> list[Shape]:
    """The QR symbol with its quiet zone, or the place kept for it."""
    if matrix is None:
        inner = side - 6.0
        return [
            Rect(x=x + 3, y=y + 3, width=inner, height=inner, look="write"),
            label(x + side / 2, y + side / 2 - 0.6, "plan code", _LABEL_MM, anchor="middle"),
            label(x + side / 2, y + side / 2 + 2.4, "as QR", _LABEL_MM, anchor="middle"),
        ]
    count = len(matrix)
    module = side / (count + 8)
    shapes: list[Shape] = [Rect(x=x + 0.2, y=y + 0.2, width=side - 0.4, height=side - 0.4, look="paper")]
    for row, line in enumerate(matrix):
        for dark, columns in groupby(range(count), key=line.__getitem__):
            if dark:
                first, *more = columns
                left, top = x + (first + 4) * module, y + (row + 4) * module
                shapes.append(Rect(x=left, y=top, width=(1 + len(more)) * module, height=module, look="ink"))
    return shapes
