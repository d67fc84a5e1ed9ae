"""Paper: sizes, the margins of ISO 5457 (20 mm to file, 10 mm elsewhere), the frame, and what stands outside it.

The title block at the lower right has the fields of ISO 7200 that a slot map has, and lines to write on.
"""

from __future__ import annotations

import re
from itertools import groupby
from typing import Literal, NamedTuple

from dimmplan.sheet.blocks import Block, label
from dimmplan.sheet.facts import Facts, clean
from dimmplan.sheet.letters import fitted, width
from dimmplan.sheet.shapes import Group, Line, Rect, Shape
from dimmplan.sheet.style import SMALLEST_TEXT_MM
from dimmplan.wording.placement import TRUST

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


def draw_tear(page: Frame, y: float, machine: str, given: TitleFields) -> list[Shape]:
    """The line along which the pick list comes off, from edge to edge, and whose list it is."""
    middle = page.x + page.width / 2
    more = [f"{name} {clean(text)}" for name, text in (("tag", given.tag), ("code", given.code)) if text]
    said = fitted(", ".join([f"tear off: pick list for {machine}", *more]), SMALLEST_TEXT_MM, page.width * 0.9)
    half = width(said, SMALLEST_TEXT_MM) / 2 + 2.0
    line = y + TEAR_MM / 2
    return [
        Line(x1=4.5, y1=line, x2=middle - half, y2=line, look="tear"),
        Line(x1=middle + half, y1=line, x2=page.page_width - 4.5, y2=line, look="tear"),
        label(middle, line + 1.0, said, SMALLEST_TEXT_MM, "", anchor="middle"),
    ]


LABEL_MM = 2.0
VALUE_MM = 2.5
_ROW_MM, _LOW_ROW_MM = 6.6, 5.1
_HEAD_MM = 0.6
"""Above the name of a field: what a letter of it reaches below its line stays clear of the value."""
WIDTH_MM = 186.0
"""The block's most width: about that of upright paper."""

HEIGHT_MM = 2 * _ROW_MM + 2 * _LOW_ROW_MM


class TitleFields(NamedTuple):
    """What the caller gave for the title block; ``None`` leaves a line to write on."""

    title: str | None = None
    tag: str | None = None
    date: str | None = None
    code: str | None = None
    matrix: tuple[tuple[bool, ...], ...] | None = None


class _Field(NamedTuple):
    """A field of the title block: its head, its value or ``None`` for a line to write on, its share of the row.

    ``lead`` is the room after the head of a low row, where head and value stand on one line.
    """

    head: str
    value: str | None
    share: float
    lead: float = 1.5


def title_block(facts: Facts, given: TitleFields, sheet: str, width_mm: float) -> Block:
    """The block, its height always ``HEIGHT_MM``."""
    square = HEIGHT_MM
    wide = width_mm - square
    number = f"Sheet {sheet}"
    sign = (1 - (width(number, VALUE_MM, bold=True) + 3.0) / wide) / 2
    board = _Field("Board", facts.board.title, 0.68), _Field("Board file", TRUST[facts.board.trust], 0.32)
    rows = (
        (_Field("Title", given.title, 0.50), _Field("Machine tag", given.tag, 0.30), _Field("Date", given.date, 0.20)),
        board,
        (_Field("Plan code", given.code or None, 1.0, lead=2.0),),
        (
            _Field("Installed by, date", None, sign),
            _Field("Checked by, date", None, sign),
            _Field("", "", 1 - 2 * sign),
        ),
    )

    def draw(x: float, y: float) -> list[Shape]:
        shapes: list[Shape] = [Rect(x=x, y=y, width=width_mm, height=HEIGHT_MM, look="thick")]
        top = y
        for row, high in zip(rows, (_ROW_MM, _ROW_MM, _LOW_ROW_MM, _LOW_ROW_MM), strict=True):
            if row is not rows[0]:
                shapes.append(Line(x1=x, y1=top, x2=x + wide, y2=top, look="thin"))
            at = x
            for field in row:
                if field is not row[0]:
                    shapes.append(Line(x1=at, y1=top, x2=at, y2=top + high, look="thin"))
                shapes += _field(field, at, top, wide * field.share, high)
                at += wide * field.share
            top += high
        shapes.append(label(x + wide - 1.2, top - 1.3, number, VALUE_MM, "b", anchor="end"))
        shapes.append(Line(x1=x + wide, y1=y, x2=x + wide, y2=y + HEIGHT_MM, look="medium"))
        return [*shapes, *_square(given, x + wide, y, square)]

    return Block(width_mm, HEIGHT_MM, draw)


def _field(field: _Field, x: float, y: float, room: float, high: float) -> list[Shape]:
    """Head and value: one above the other, in a low row side by side."""
    low = high == _LOW_ROW_MM
    base, start, end = y + high - (1.3 if low else 0.9), x + 1.2, x + room - 1.2
    head = label(start, base if low else y + _HEAD_MM + LABEL_MM, field.head, LABEL_MM)
    start += width(field.head, LABEL_MM) + field.lead if low else 0.0
    if field.value is None:
        return [head, Line(x1=start, y1=base, x2=end, y2=base, look="write")]
    value = _code if low else _value
    return [head, *value(field.head, clean(field.value), start, y, end - start)] if field.head else []


def _on_one_line(x: float, base: float, text: str, room: float) -> list[Shape]:
    """A value at the usual height, or a little lower where that is enough; nothing where it takes two lines."""
    caps = (cap for cap in (VALUE_MM, 2.2, LABEL_MM) if width(text, cap, bold=True) <= room)
    cap = next(caps, None)
    return [] if cap is None else [label(x, base, text, cap, "b")]


def _value(head: str, text: str, x: float, y: float, room: float) -> list[Shape]:
    """A value on one line, else on two that begin at its head."""
    base = y + _ROW_MM - 0.9
    lead = width(head, LABEL_MM) + 1.5
    pieces = re.findall(r"[^\s-]+-?\s*|-\s*", text)
    starts = ["".join(pieces[:count]).rstrip() for count in range(len(pieces) + 1)]
    taken = sum(width(start, LABEL_MM, bold=True) <= room - lead for start in starts) - 1
    first, second = starts[taken], fitted("".join(pieces[taken:]), LABEL_MM, room, bold=True)
    return _on_one_line(x, base, text, room) or [
        label(x + lead, y + _HEAD_MM + LABEL_MM, first, LABEL_MM, "b"),
        label(x, base, second, LABEL_MM, "b"),
    ]


def _code(_: str, code: str, x: float, y: float, room: float) -> list[Shape]:
    """The code whole: on one line where it fits, else on two, parted at a hyphen."""
    groups = code.split("-")
    half = (len(groups) + 1) // 2
    lines = "-".join(groups[:half]) + "-", "-".join(groups[half:])
    return _on_one_line(x, y + _LOW_ROW_MM - 1.3, code, room) or [
        label(x, y + 0.3 + LABEL_MM + number * 2.5, fitted(line, LABEL_MM, room, bold=True), LABEL_MM, "b")
        for number, line in enumerate(lines)
    ]


def _square(given: TitleFields, x: float, y: float, side: float) -> list[Shape]:
    """The QR symbol with its quiet zone, or the place kept for it."""
    if given.matrix is None:
        inner = side - 6.0
        return [
            Rect(x=x + 3, y=y + 3, width=inner, height=inner, look="write"),
            label(x + side / 2, y + side / 2 - 0.6, "plan code", LABEL_MM, "", anchor="middle"),
            label(x + side / 2, y + side / 2 + 2.4, "as QR", LABEL_MM, "", anchor="middle"),
        ]
    count = len(given.matrix)
    module = side / (count + 8)
    shapes: list[Shape] = [Rect(x=x + 0.2, y=y + 0.2, width=side - 0.4, height=side - 0.4, look="paper")]
    for row, line in enumerate(given.matrix):
        for dark, columns in groupby(range(count), key=line.__getitem__):
            if dark:
                first, *more = columns
                left, top = x + (first + 4) * module, y + (row + 4) * module
                shapes.append(Rect(x=left, y=top, width=(1 + len(more)) * module, height=module, look="ink"))
    return shapes
