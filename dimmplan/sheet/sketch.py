"""What every map has: the words and arrows for front and rear, and text in boxes."""

from __future__ import annotations

from dimmplan.sheet.blocks import label
from dimmplan.sheet.measure import fitted, width
from dimmplan.sheet.shapes import Group, Polygon, Rect, Shape
from dimmplan.sheet.style import TEXT_MM
from dimmplan.sheet.view import Area, Front

FRONT_BAND_MM = 6.7
REAR_BAND_MM = 3.7
_FRONT_MM = 3.5

Lines = list[tuple[str, float, str]]
"""Lines of text, each with its letter height and its look."""


def rect_of(area: Area, look: str, *, radius: float = 0.0) -> Rect:
    """An area as a rectangle."""
    wide, high = area.right - area.left, area.bottom - area.top
    return Rect(x=area.left, y=area.top, width=wide, height=high, look=look, radius=radius)


def edges(front: Front, board: Area, *, whole: bool = True) -> list[Shape]:
    """Front and rear outside the board: arrows and words that cannot be taken for anything else."""
    down = front == "down"
    middle, wide = board.centre[0], board.right - board.left
    front_y, rear_y = (board.bottom, board.top) if down else (board.top, board.bottom)
    long, rear = ("FRONT OF THE MACHINE", "REAR") if whole else ("TOWARDS THE FRONT", "towards the rear")
    for words, arrows in ((long, 2), (long, 1), ("FRONT", 2), ("FRONT", 1)):
        half = width(words, _FRONT_MM, bold=True) / 2
        if half + 7 + 10 * (arrows - 1) + 4.2 <= wide / 2:
            break
    shapes: list[Shape] = [
        _arrow(middle + side * (half + 7 + number * 10), front_y, 1 if down else -1)
        for side in (-1, 1)
        for number in range(arrows)
    ]
    shapes.append(label(middle, front_y + 5.2 if down else front_y - 1.9, words, _FRONT_MM, "b", anchor="middle"))
    shapes.append(label(middle, rear_y - 0.9 if down else rear_y + 3.4, rear, TEXT_MM, "", anchor="middle"))
    return [Group(children=tuple(shapes), look="edge", title="Front edge of the board")]


def _arrow(x: float, front_y: float, sign: int) -> Polygon:
    tip, base, neck = front_y + sign * 6.6, front_y + sign * 1.0, front_y + sign * 3.2
    points = ((1.6, base), (1.6, neck), (4.2, neck), (0.0, tip), (-4.2, neck), (-1.6, neck), (-1.6, base))
    return Polygon(points=tuple((x + dx, y) for dx, y in points), look="ink")


def stacked_lines(area: Area, lines: Lines, *, backed: bool = False) -> list[Shape]:
    """Lines in the middle of an area, as many as fit; upright where the area is too narrow for the widest.

    ``backed`` puts white behind them, where lines cross the area.
    """
    wide, high = area.right - area.left - 1.0, area.bottom - area.top - 1.0
    turned = max(width(text, cap, bold="b" in look) for text, cap, look in lines) > wide and high > wide
    along, across = (high, wide) if turned else (wide, high)
    kept, used = _kept(lines, along, across)
    x, y = area.centre
    backs: list[Shape] = []
    texts: list[Shape] = []
    at = -used / 2
    for text, cap, look in kept:
        base = at + cap
        at = base + 1.3
        half = width(text, cap, bold="b" in look) / 2 + 0.8
        behind = Area(-half, base - cap - 0.7, half, base + 1.2)
        behind = Area(behind.top, -half, behind.bottom, half) if turned else behind
        backs.append(rect_of(Area(x + behind.left, y + behind.top, x + behind.right, y + behind.bottom), "paper"))
        place = (x + base, y, -90) if turned else (x, y + base, 0)
        texts.append(label(place[0], place[1], text, cap, look, anchor="middle", turn=place[2]))
    return [*backs, *texts] if backed else texts


def _kept(lines: Lines, along: float, across: float) -> tuple[Lines, float]:
    """The lines that fit, the first cut if need be, and the height that they take."""
    kept: Lines = []
    used = 0.0
    for text, cap, look in lines:
        step = cap + (1.3 if kept else 0.0)
        if kept and (used + step + 0.8 > across or width(text, cap, bold="b" in look) > along):
            continue
        said = fitted(text, cap, along, bold="b" in look)
        if said and step <= across:
            kept.append((said, cap, look))
            used += step
    return kept, used
