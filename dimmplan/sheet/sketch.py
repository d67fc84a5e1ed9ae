"""What every map has: the words and arrows for front and rear, the heading beside them, text in boxes."""

from __future__ import annotations

from collections.abc import Sequence

from dimmplan.model.board import Physical
from dimmplan.sheet.blocks import label
from dimmplan.sheet.facts import Facts, State, clean, socket_words
from dimmplan.sheet.measure import fitted, widest, width
from dimmplan.sheet.shapes import Anchor, Group, Polygon, Rect, Shape
from dimmplan.sheet.style import SMALLEST_TEXT_MM
from dimmplan.sheet.view import Area, Front
from dimmplan.units import counted, listed

FRONT_BAND_MM = 9.2
REAR_BAND_MM = 5.6
_HEAD_MM = 3.5

Lines = list[tuple[str, float, str]]
"""Lines of text, each with its letter height and its look."""


def rect_of(area: Area, look: str) -> Rect:
    """An area as a rectangle."""
    return Rect(x=area.left, y=area.top, width=area.right - area.left, height=area.bottom - area.top, look=look)


def edges(front: Front, board: Area, *, note: tuple[str, str], whole: bool = True) -> list[Shape]:
    """Front and rear outside the board: arrows and words that cannot be taken for anything else.

    ``note`` stands beside them; where there is little room, the words get shorter and the arrows fewer.
    """
    down = front == "down"
    middle, wide = board.centre[0], board.right - board.left
    front_y, rear_y = (board.bottom, board.top) if down else (board.top, board.bottom)
    beside = widest([line for words in note for line in words.split("/")], SMALLEST_TEXT_MM) + 2.0
    long, rear = ("FRONT OF THE MACHINE", "REAR") if whole else ("TOWARDS THE FRONT", "towards the rear")
    for words, arrows in ((long, 2), (long, 1), ("FRONT", 2), ("FRONT", 1)):
        half = width(words, _HEAD_MM, bold=True) / 2
        if half + 7 + 10 * (arrows - 1) + 4.2 + beside <= wide / 2:
            break
    shapes: list[Shape] = [
        _arrow(middle + side * (half + 7 + number * 10), front_y, 1 if down else -1)
        for side in (-1, 1)
        for number in range(arrows)
    ]
    shapes.append(label(middle, front_y + 6.6 if down else front_y - 3.1, words, _HEAD_MM, "b", anchor="middle"))
    shapes.append(label(middle, rear_y - 1.5 if down else rear_y + 4.0, rear, 2.5, "", anchor="middle"))
    return [Group(children=tuple(shapes), look="edge", title="Front edge of the board")]


def _arrow(x: float, front_y: float, sign: int) -> Polygon:
    tip, base, neck = front_y + sign * 8.2, front_y + sign * 1.4, front_y + sign * 4.2
    points = ((1.6, base), (1.6, neck), (4.2, neck), (0.0, tip), (-4.2, neck), (-1.6, neck), (-1.6, base))
    return Polygon(points=tuple((x + dx, y) for dx, y in points), look="ink")


def heading(
    said: tuple[str, str], note: tuple[str, str], front: Front, box: Area, *, whole: bool = True
) -> list[Shape]:
    """Beside the words for front and rear: which machine, what to expect, what the drawing is worth."""
    x, wide = box.left, box.right - box.left
    rear_line, front_line = (box.top + 4.0, box.bottom - 5.2) if front == "down" else (box.bottom - 0.8, box.top + 2.4)
    room = wide / 2 - (9.0 if whole else 17.0)
    shapes: list[Shape] = []
    ends: tuple[tuple[float, Anchor], ...] = ((x, "start"), (x + wide, "end"))
    for words, beside, (at, anchor) in zip(said, note, ends, strict=True):
        cap = next((cap for cap in (_HEAD_MM, 2.5) if width(words, cap, bold=True) <= room), 2.5)
        shapes.append(label(at, rear_line, fitted(words, cap, room, bold=True), cap, "b", anchor=anchor))
        for number, line in enumerate(beside.split("/")):
            shapes.append(label(at, front_line + number * 3.2, line, SMALLEST_TEXT_MM, anchor=anchor))
    return shapes


def machine_words(facts: Facts, machine: str) -> tuple[str, str]:
    """Which machine, its board in short, and what it should show."""
    board = clean(facts.board.title.split(",")[0])
    return f"{clean(machine)} · {board}" if machine else board, facts.amount


def part_words(facts: Facts, sockets: Sequence[str]) -> tuple[str, str]:
    """The board and some of its sockets, and how many modules go there."""
    named = listed([socket_words(socket) for socket in sockets])
    count = sum(
        facts.slots[slot].state is State.FILLED for socket in sockets for slot in facts.board.socket(socket).slots
    )
    return f"{clean(facts.board.title.split(',')[0])}: {named}", counted(count, "module")


def scale_words(physical: Physical, *, enlarged: bool) -> tuple[str, str]:
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
        if kept and (used + step > across or width(text, cap, bold="b" in look) > along):
            continue
        said = fitted(text, cap, along, bold="b" in look)
        if said and step <= across:
            kept.append((said, cap, look))
            used += step
    return kept, used
