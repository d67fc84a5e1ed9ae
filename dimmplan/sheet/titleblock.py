"""The title block at the lower right, with the fields of ISO 7200 that a slot map has, and lines to write on."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

from dimmplan.sheet.blocks import Block, label
from dimmplan.sheet.facts import Facts, clean
from dimmplan.sheet.measure import fitted, width
from dimmplan.sheet.shapes import Line, Rect, Shape
from dimmplan.wording.placement import TRUST

LABEL_MM = 2.0
VALUE_MM = 2.5
_ROW_MM, _LOW_ROW_MM = 6.6, 5.1
_HEAD_MM = 0.6
"""Above the name of a field: what a letter of it reaches below its line stays clear of the value."""
WIDTH_MM = 186.0
"""The block's most width: about that of upright paper."""

HEIGHT_MM = 2 * _ROW_MM + 2 * _LOW_ROW_MM


class Given(NamedTuple):
    """What the caller gave for the title block; ``None`` leaves a line to write on."""

    title: str | None = None
    tag: str | None = None
    date: str | None = None
    code: str | None = None
    matrix: tuple[tuple[bool, ...], ...] | None = None


class _Field(NamedTuple):
    head: str
    value: str | None
    share: float


def title_block(facts: Facts, given: Given, sheet: str, width_mm: float) -> Block:
    """The block, its height always ``HEIGHT_MM``."""
    square = HEIGHT_MM
    fields = width_mm - square
    trust = TRUST[facts.board.trust]
    rows = [
        [
            _Field("Title", given.title, 0.50),
            _Field("Machine tag", given.tag, 0.30),
            _Field("Date", given.date, 0.20),
        ],
        [
            _Field("Board", facts.board.title, 0.68),
            _Field("Board file", trust, 0.32),
        ],
    ]

    def draw(x: float, y: float) -> list[Shape]:
        shapes: list[Shape] = [Rect(x=x, y=y, width=width_mm, height=HEIGHT_MM, look="thick")]
        top = y
        for row in rows:
            shapes += _row(row, x, top, fields)
            top += _ROW_MM
        shapes += _code_row(given, x, top, fields)
        top += _LOW_ROW_MM
        shapes += _signing(x, top, fields, sheet)
        shapes.append(Line(x1=x + fields, y1=y, x2=x + fields, y2=y + HEIGHT_MM, look="medium"))
        return [*shapes, *_square(given, x + fields, y, square)]

    return Block(width_mm, HEIGHT_MM, draw)


def _row(row: Sequence[_Field], x: float, y: float, wide: float) -> list[Shape]:
    shapes: list[Shape] = []
    at = x
    for number, field in enumerate(row):
        room = wide * field.share
        shapes.append(label(at + 1.2, y + _HEAD_MM + LABEL_MM, field.head, LABEL_MM))
        if field.value is None:
            base = y + _ROW_MM - 0.9
            shapes.append(Line(x1=at + 1.2, y1=base, x2=at + room - 1.2, y2=base, look="write"))
        else:
            shapes += _value(field.head, clean(field.value), at + 1.2, y, room - 2.4)
        if number:
            shapes.append(Line(x1=at, y1=y, x2=at, y2=y + _ROW_MM, look="thin"))
        at += room
    shapes.append(Line(x1=x, y1=y + _ROW_MM, x2=x + wide, y2=y + _ROW_MM, look="thin"))
    return shapes


def _value(head: str, text: str, x: float, y: float, room: float) -> list[Shape]:
    """A value at the usual height, a little lower where that is enough, else on two lines that begin at its head."""
    base = y + _ROW_MM - 0.9
    for cap in (VALUE_MM, 2.2, LABEL_MM):
        if width(text, cap, bold=True) <= room:
            return [label(x, base, text, cap, "b")]
    lead = width(head, LABEL_MM) + 1.5
    pieces = re.findall(r"[^\s-]+-?\s*|-\s*", text)
    taken = 0
    while taken < len(pieces) and width("".join(pieces[: taken + 1]).rstrip(), LABEL_MM, bold=True) <= room - lead:
        taken += 1
    first, second = "".join(pieces[:taken]).rstrip(), fitted("".join(pieces[taken:]), LABEL_MM, room, bold=True)
    return [label(x + lead, y + _HEAD_MM + LABEL_MM, first, LABEL_MM, "b"), label(x, base, second, LABEL_MM, "b")]


def _code_row(given: Given, x: float, y: float, wide: float) -> list[Shape]:
    base = y + _LOW_ROW_MM - 1.3
    shapes: list[Shape] = [label(x + 1.2, base, "Plan code", LABEL_MM)]
    start = x + 1.2 + width("Plan code", LABEL_MM) + 2.0
    if given.code:
        shapes += _code(clean(given.code), start, y, x + wide - 1.2 - start)
    else:
        shapes.append(Line(x1=start, y1=base, x2=x + wide - 1.2, y2=base, look="write"))
    shapes.append(Line(x1=x, y1=y + _LOW_ROW_MM, x2=x + wide, y2=y + _LOW_ROW_MM, look="thin"))
    return shapes


def _code(code: str, x: float, y: float, room: float) -> list[Shape]:
    """The code whole: on one line where it fits, else on two, parted at a hyphen."""
    for cap in (VALUE_MM, 2.2, LABEL_MM):
        if width(code, cap, bold=True) <= room:
            return [label(x, y + _LOW_ROW_MM - 1.3, code, cap, "b")]
    groups = code.split("-")
    half = (len(groups) + 1) // 2
    lines = "-".join(groups[:half]) + "-", "-".join(groups[half:])
    return [
        label(x, y + 0.3 + LABEL_MM + number * 2.5, fitted(line, LABEL_MM, room, bold=True), LABEL_MM, "b")
        for number, line in enumerate(lines)
    ]


def _signing(x: float, y: float, wide: float, sheet: str) -> list[Shape]:
    shapes: list[Shape] = []
    base = y + _LOW_ROW_MM - 1.3
    last = width(f"Sheet {sheet}", VALUE_MM, bold=True) + 3.0
    half = (wide - last) / 2
    for number, head in enumerate(("Installed by, date", "Checked by, date")):
        at = x + number * half
        start = at + 1.2 + width(head, LABEL_MM) + 1.5
        shapes.append(label(at + 1.2, base, head, LABEL_MM))
        shapes.append(Line(x1=start, y1=base, x2=at + half - 1.2, y2=base, look="write"))
        shapes.append(Line(x1=at + half, y1=y, x2=at + half, y2=y + _LOW_ROW_MM, look="thin"))
    return [*shapes, label(x + wide - 1.2, base, f"Sheet {sheet}", VALUE_MM, "b", anchor="end")]


def _square(given: Given, x: float, y: float, side: float) -> list[Shape]:
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
        start: int | None = None
        for column, dark in enumerate([*line, False]):
            if dark and start is None:
                start = column
            elif not dark and start is not None:
                shapes.append(
                    Rect(
                        x=x + (start + 4) * module,
                        y=y + (row + 4) * module,
                        width=(column - start) * module,
                        height=module,
                        look="ink",
                    )
                )
                start = None
    return shapes
