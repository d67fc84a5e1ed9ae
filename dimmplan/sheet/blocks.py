"""Blocks of text that know their height before they are drawn, and the ways to stack them."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Sequence
from functools import cache, lru_cache
from typing import NamedTuple

from dimmplan.sheet.letters import Run, font_size, line_pitch, missing_letters, width, wrap_runs
from dimmplan.sheet.shapes import Anchor, Line, Rect, Shape, Text

Lines = list[tuple[str, float, str]]
"""Lines of text, each with its letter height and its look."""


class Block(NamedTuple):
    """Something of a known size. ``draw(x, y)`` gives its shapes with the upper left corner there."""

    width: float
    height: float
    draw: Callable[[float, float], list[Shape]]


def label(
    x: float, y: float, text: str, cap_mm: float, look: str = "", *, anchor: Anchor = "start", turn: int = 0
) -> Text:
    """One line of text on its base line."""
    return Text(x=x, y=y, text=text, size=font_size(cap_mm), look=look, anchor=anchor, turn=turn)


def paragraph(runs: Sequence[Run], cap_mm: float, width_mm: float, *, indent: float = 0.0) -> Block:
    """Running text; bold pieces are set apart by the runs."""
    return _paragraph(tuple(runs), cap_mm, width_mm, indent)


@lru_cache(maxsize=4000)
def _paragraph(runs: tuple[Run, ...], cap_mm: float, width_mm: float, indent: float) -> Block:
    """Remembered: a page is tried in many ways that have most of their paragraphs in common."""
    lines = wrap_runs(runs, cap_mm, width_mm - indent)
    higher = 1.1 if missing_letters(text for text, _ in runs) else 1.0  # other scripts reach farther
    pitch = line_pitch(cap_mm) * higher

    def draw(x: float, y: float) -> list[Shape]:
        shapes: list[Shape] = []
        for number, line in enumerate(lines):
            base = y + cap_mm + 0.3 + number * pitch
            pieces = [(f" {text}" if n else text, bold) for n, (text, bold) in enumerate(line)]
            whole = label(x + indent, base, "".join(text for text, _ in pieces), cap_mm, "b" if line[0][1] else "")
            shapes.append(whole._replace(look="", spans=tuple(pieces)) if len(pieces) > 1 else whole)
        return shapes

    return Block(width_mm, len(lines) * pitch, draw)


def ticked(runs: Sequence[Run], cap_mm: float, width_mm: float) -> Block:
    """A paragraph behind a box to tick."""
    side = cap_mm + 0.7
    text = paragraph(runs, cap_mm, width_mm, indent=side + 1.3)

    def draw(x: float, y: float) -> list[Shape]:
        return [Rect(x=x + 0.2, y=y + 0.05, width=side, height=side, look="box"), *text.draw(x, y)]

    return Block(width_mm, text.height + 0.3, draw)


def ticked_row(items: Sequence[Sequence[Run]], cap_mm: float, width_mm: float) -> Block:
    """Boxes to tick side by side, each as wide as its words, in as many rows as they take."""
    rows: list[list[Block]] = [[]]
    used = 0.0
    for runs in items:
        words = sum(width(text, cap_mm, bold) for text, bold in runs) + width(" ", cap_mm) * len(runs)
        wide = min(cap_mm + 2.1 + words, width_mm)
        if rows[-1] and used + wide > width_mm + 1e-6:
            rows.append([])
            used = 0.0
        rows[-1].append(ticked(runs, cap_mm, wide))
        used += wide + 3.0
    return stacked([side_by_side(row, 3.0) for row in rows if row], 0.4)


def stacked(blocks: Sequence[Block], gap: float = 0.0) -> Block:
    """Blocks one below the other."""
    kept = [block for block in blocks if block.height > 0]

    def draw(x: float, y: float) -> list[Shape]:
        shapes: list[Shape] = []
        for block in kept:
            shapes += block.draw(x, y)
            y += block.height + gap
        return shapes

    height = sum(block.height for block in kept) + gap * max(0, len(kept) - 1)
    return Block(max((block.width for block in kept), default=0.0), height, draw)


def side_by_side(blocks: Sequence[Block], gutter: float) -> Block:
    """Blocks in columns, their upper edges level."""

    def draw(x: float, y: float) -> list[Shape]:
        shapes: list[Shape] = []
        for block in blocks:
            shapes += block.draw(x, y)
            x += block.width + gutter
        return shapes

    wide = sum(block.width + gutter for block in blocks) - gutter
    return Block(wide, max((block.height for block in blocks), default=0.0), draw)


def headed(title: str, body: Block, cap_mm: float) -> Block:
    """A panel: its title in bold over a thin line, then the body."""
    head = paragraph([(title, True)], max(cap_mm, 2.2), body.width)
    deep = head.height + 0.9

    def draw(x: float, y: float) -> list[Shape]:
        line = Line(x1=x, y1=y + deep - 0.7, x2=x + body.width, y2=y + deep - 0.7, look="medium")
        return [*head.draw(x, y), line, *body.draw(x, y + deep)]

    return Block(body.width, deep + body.height, draw)


def signal(word: str, texts: Sequence[Sequence[Run]], cap_mm: float, width_mm: float) -> Block:
    """A safety panel: the signal word on its own ground, the texts in a frame below."""
    look, pad, head = word.lower(), 1.2, cap_mm + 1.8
    body = stacked([paragraph(runs, cap_mm, width_mm - 2 * pad) for runs in texts], 0.3)

    def draw(x: float, y: float) -> list[Shape]:
        outer = body.width + 2 * pad
        ground = Rect(x=x, y=y, width=outer, height=head, look=look)
        frame = Rect(x=x, y=y, width=outer, height=head + body.height + 1.2, look="thick")
        said, said_look = (word, "b on-notice") if word == "NOTICE" else (f"! {word}", "b")
        said_look += " on-warning" if word == "WARNING" else ""
        text = label(x + pad, y + head / 2 + cap_mm / 2, said, cap_mm, said_look)
        return [ground, frame, text, *body.draw(x + pad, y + head + 0.8)]

    return Block(body.width + 2 * pad, head + body.height + 1.6, draw)


_GUTTER_MM, _LEAST_COLUMN_MM, _STEP_MM = 4.0, 30.0, 2.0


def in_columns(columns: Sequence[Callable[[float], Block]], wide: float) -> Block:
    """Columns side by side, as low as their widths allow: each is as narrow as the common height lets it be."""
    free = wide - (len(columns) - 1) * _GUTTER_MM
    made = [cache(column) for column in columns]
    widths = [_LEAST_COLUMN_MM + _STEP_MM * n for n in range(int((free - _LEAST_COLUMN_MM) / _STEP_MM) + 1)]

    def narrowest(height: float) -> list[float] | None:
        """The least width of each column at a height; ``None`` where they are too wide together."""
        at = [bisect_left(widths, True, key=lambda each: column(each).height <= height) for column in made]
        found = [widths[index] for index in at if index < len(widths)]
        return found if len(found) == len(made) and sum(found) <= free else None

    low, high = 0.0, max(column(free / len(columns)).height for column in made) + 60
    while high - low > 1.0:
        middle = (low + high) / 2
        low, high = (low, middle) if narrowest(middle) else (middle, high)
    least = narrowest(high) or [free / len(columns)] * len(columns)
    more = (free - sum(least)) / len(columns)
    return side_by_side([column(each + more) for column, each in zip(columns, least, strict=True)], _GUTTER_MM)


class Column(NamedTuple):
    """A table column: its head and its share of the width left over (0 keeps it as narrow as its content)."""

    head: str
    grow: float = 0.0
    right: bool = False
    bold: bool = False
    tick: bool = False

    def least_width(self, texts: Sequence[str], cap_mm: float) -> float:
        """Width of its widest cell, none of them wrapped."""
        if self.tick:
            return cap_mm + 0.7
        return max(width(self.head, cap_mm), *(width(text, cap_mm, self.bold) for text in texts), 0.0)

    def cell(self, text: str, cap_mm: float, wide: float, *, head: bool = False) -> Block:
        """One cell: a box to tick, a figure at the right, or running text."""
        bold = self.bold and not head
        if self.tick and not head:
            side = cap_mm + 0.7
            return Block(wide, 0.0, lambda x, y: [Rect(x=x, y=y + 0.1, width=side, height=side, look="box")])
        said = paragraph([(text, bold)], cap_mm, wide)
        if not self.right:
            return said
        look = "b" if bold else ""
        return said._replace(draw=lambda x, y: [label(x + wide, y + 0.3 + cap_mm, text, cap_mm, look, anchor="end")])


def table(columns: Sequence[Column], rows: Sequence[Sequence[str]], cap_mm: float, width_mm: float) -> Block:
    """A table with thin lines between its rows; cells of growing columns are wrapped."""
    pad = 1.0
    texts = list(zip(*rows, strict=True))
    fixed = [0.0 if c.grow else c.least_width(said, cap_mm) for c, said in zip(columns, texts, strict=True)]
    left = width_mm - sum(fixed) - 2 * pad * len(columns)
    shares = sum(column.grow for column in columns)
    wides = [left * c.grow / shares if c.grow else wide for c, wide in zip(columns, fixed, strict=True)]
    heads = [c.cell(c.head, cap_mm, wide, head=True) for c, wide in zip(columns, wides, strict=True)]
    cells = [[c.cell(said, cap_mm, wide) for c, said, wide in zip(columns, row, wides, strict=True)] for row in rows]
    lines = [side_by_side(row, 2 * pad) for row in (heads, *cells)]

    def draw(x: float, y: float) -> list[Shape]:
        shapes: list[Shape] = []
        for number, line in enumerate(lines):
            shapes += line.draw(x + pad, y + 0.4)
            y += line.height + 1.0
            shapes.append(Line(x1=x, y1=y, x2=x + width_mm, y2=y, look="thin" if number else "medium"))
        return shapes

    return Block(width_mm, sum(line.height + 1.0 for line in lines), draw)
