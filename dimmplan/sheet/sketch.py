"""What every map has: the words and arrows for front and rear, the heading beside them, text in boxes."""

from __future__ import annotations

from dimmplan.model.board import Physical
from dimmplan.sheet.facts import Facts, clean
from dimmplan.sheet.measure import fitted, font_size, width
from dimmplan.sheet.shapes import Anchor, Group, Polygon, Rect, Shape, Text
from dimmplan.sheet.style import SMALLEST_TEXT_MM
from dimmplan.sheet.view import Area, Front

FRONT_BAND_MM = 9.5
REAR_BAND_MM = 6.0
_HEAD_MM = 3.5

Lines = list[tuple[str, float, str]]
"""Lines of text, each with its letter height and its look."""


def text_at(x: float, y: float, text: str, cap_mm: float, look: str, anchor: Anchor = "start") -> Text:
    """One line of text on its base line."""
    return Text(x=x, y=y, text=text, size=font_size(cap_mm), look=look, anchor=anchor)


def rect_of(area: Area, look: str) -> Rect:
    """An area as a rectangle."""
    return Rect(x=area.left, y=area.top, width=area.right - area.left, height=area.bottom - area.top, look=look)


def edges(front: Front, left: float, top: float, wide: float, high: float) -> list[Shape]:
    """Front and rear outside the board: arrows and words that cannot be taken for anything else."""
    down = front == "down"
    middle = left + wide / 2
    front_y, rear_y = (top + high, top) if down else (top, top + high)
    words = "FRONT OF THE MACHINE" if wide > 110 else "FRONT"
    half = width(words, _HEAD_MM, bold=True) / 2
    shapes: list[Shape] = [
        _arrow(middle + side * (half + 7 + number * 10), front_y, 1 if down else -1)
        for side in (-1, 1)
        for number in range(2 if wide > 80 else 1)
    ]
    shapes.append(text_at(middle, front_y + 6.6 if down else front_y - 3.1, words, _HEAD_MM, "b", "middle"))
    shapes.append(text_at(middle, rear_y - 1.5 if down else rear_y + 4.0, "REAR", 2.5, "", "middle"))
    return [Group(children=tuple(shapes), look="edge", title="Front edge of the board")]


def _arrow(x: float, front_y: float, sign: int) -> Polygon:
    tip, base, neck = front_y + sign * 8.2, front_y + sign * 1.4, front_y + sign * 4.2
    points = ((1.6, base), (1.6, neck), (4.2, neck), (0.0, tip), (-4.2, neck), (-1.6, neck), (-1.6, base))
    return Polygon(points=tuple((x + dx, y) for dx, y in points), look="ink")


def heading(
    facts: Facts, front: Front, note: tuple[str, str], x: float, y: float, wide: float, high: float
) -> list[Shape]:
    """Beside the words for front and rear: which machine, what to expect, what the drawing is worth."""
    rear_line, front_line = (y + 4.0, y + high - 5.4) if front == "down" else (y + high - 0.8, y + 2.4)
    room = wide / 2 - 9.0
    rate = f" · {facts.figures.rate_mts} MT/s" if facts.figures else ""
    board = fitted(clean(facts.board.title.split(",")[0]), _HEAD_MM, room, bold=True)
    expect = fitted(f"{facts.usable_gib} GiB{rate}", _HEAD_MM, room, bold=True)
    shapes: list[Shape] = [
        text_at(x, rear_line, board, _HEAD_MM, "b"),
        text_at(x + wide, rear_line, expect, _HEAD_MM, "b", "end"),
    ]
    ends: tuple[tuple[float, Anchor], ...] = ((x, "start"), (x + wide, "end"))
    for words, (at, anchor) in zip(note, ends, strict=True):
        for number, line in enumerate(words.split("/")):
            shapes.append(text_at(at, front_line + number * 3.2, line, SMALLEST_TEXT_MM, "", anchor))
    return shapes


def scale_words(physical: Physical, enlarged: bool) -> tuple[str, str]:
    """What the reader may believe of the drawing's distances: for the left and the right, a slash parts lines."""
    if not physical.to_scale:
        return "Schematic: places/were not measured.", "Go by the/slot names."
    if enlarged:
        return "Not to scale: spacing/is enlarged for print.", "Order, side and/direction are true."
    return "To scale.", ""


def stacked_lines(area: Area, lines: Lines, *, backed: bool = False) -> list[Shape]:
    """Lines in the middle of an area, as many as fit; upright where the area is too narrow for the first.

    ``backed`` puts white behind them, where lines cross the area.
    """
    wide, high = area.right - area.left - 1.0, area.bottom - area.top - 1.0
    first, cap, look = lines[0]
    turned = width(first, cap, bold="b" in look) > wide and high > wide
    along, across = (high, wide) if turned else (wide, high)
    kept, used = _kept(lines, along, across)
    x, y = area.centre
    shapes: list[Shape] = []
    at = -used / 2
    for text, cap, look in kept:
        base = at + cap
        at = base + 1.3
        half = width(text, cap, bold="b" in look) / 2 + 0.6
        if backed:
            box = (x + base - cap - 0.5, y - half, cap + 1.0, 2 * half)
            box = box if turned else (x - half, y + base - cap - 0.5, 2 * half, cap + 1.0)
            shapes.append(Rect(x=box[0], y=box[1], width=box[2], height=box[3], look="paper"))
        place = (x + base, y, -90) if turned else (x, y + base, 0)
        shapes.append(
            Text(x=place[0], y=place[1], text=text, size=font_size(cap), look=look, anchor="middle", turn=place[2])
        )
    return shapes


def _kept(lines: Lines, along: float, across: float) -> tuple[Lines, float]:
    """The lines that fit, the first cut if need be, and the height that they take."""
    kept: Lines = []
    used = 0.0
    for text, cap, look in lines:
        step = cap + (1.3 if kept else 0.0)
        if kept and (used + step > across or width(text, cap, bold="b" in look) > along):
            continue
        said = fitted(text, cap, along, bold="b" in look)
        if said and step <= across + 1.0:
            kept.append((said, cap, look))
            used += step
    return kept, used
