"""What a writer that knows no stylesheet needs of shapes: their paths, and how the stylesheet has them painted."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from functools import cache
from typing import NamedTuple

from dimmplan.sheet.shapes import Line, Polygon, Rect, Strokes

Step = tuple[str, tuple[float, ...]]
"""``m`` and ``l`` with a point, ``c`` with three, ``h`` (close) with none; all absolute, y downwards."""

Colour = tuple[float, float, float]


class Paint(NamedTuple):
    """How a path is painted; colours from 0 to 1, lengths in mm."""

    fill: Colour | None
    stroke: Colour | None
    width: float = 1.0
    dashes: tuple[float, ...] = ()
    round_caps: bool = False
    round_joins: bool = False


class Looks:
    """The stylesheet of a page: a look to its paint, a later rule before an earlier one."""

    def __init__(self, stylesheet: str) -> None:
        self._rules = [
            (selector.strip(), dict(each.split(":", 1) for each in body.split(";")))
            for selector, body in re.findall(r"([^{}]+)\{([^{}]*)\}", stylesheet)
        ]
        self._known: dict[str, Paint] = {}

    def __getitem__(self, look: str) -> Paint:
        if look not in self._known:
            wanted = {f".{name}" for name in look.split()}
            said: dict[str, str] = {}
            for selector, rule in self._rules:
                if selector in wanted:
                    said |= rule
            self._known[look] = Paint(
                fill=_colour(said.get("fill", "#000000")),
                stroke=_colour(said.get("stroke", "none")),
                width=float(said.get("stroke-width", 1)),
                dashes=tuple(map(float, said.get("stroke-dasharray", "").split())),
                round_caps=said.get("stroke-linecap") == "round",
                round_joins=said.get("stroke-linejoin") == "round",
            )
        return self._known[look]


def _colour(said: str) -> Colour | None:
    if said == "none":
        return None
    red, green, blue = (int(said[at : at + 2], 16) / 255 for at in (1, 3, 5))
    return red, green, blue


def path_of(shape: Rect | Line | Polygon | Strokes) -> list[Step]:
    """The path of a shape."""
    if isinstance(shape, Rect):
        return _rounded(shape) if shape.radius else _closed(_corners(shape))
    if isinstance(shape, Polygon):
        return _closed(shape.points)
    segments = shape.segments if isinstance(shape, Strokes) else ((shape.x1, shape.y1, shape.x2, shape.y2),)
    return [step for x1, y1, x2, y2 in segments for step in (("m", (x1, y1)), ("l", (x2, y2)))]


def _corners(rect: Rect) -> list[tuple[float, float]]:
    right, bottom = rect.x + rect.width, rect.y + rect.height
    return [(rect.x, rect.y), (right, rect.y), (right, bottom), (rect.x, bottom)]


def _closed(points: Sequence[tuple[float, float]]) -> list[Step]:
    return [("l" if number else "m", point) for number, point in enumerate(points)] + [("h", ())]


def _rounded(rect: Rect) -> list[Step]:
    radius = min(rect.radius, rect.width / 2, rect.height / 2)
    pull = radius * (1 - 4 / 3 * (math.sqrt(2) - 1))  # the usual four curves for a circle
    steps: list[Step] = []
    for (x, y), (into, out) in zip(
        _corners(rect), [((0, 1), (1, 0)), ((-1, 0), (0, 1)), ((0, -1), (-1, 0)), ((1, 0), (0, -1))], strict=True
    ):
        begin, end = ((x + dx * radius, y + dy * radius) for dx, dy in (into, out))
        controls = [coordinate for dx, dy in (into, out) for coordinate in (x + dx * pull, y + dy * pull)]
        steps += [("l" if steps else "m", begin), ("c", (*controls, *end))]
    return [*steps, ("h", ())]


@cache
def letter_path(path: str) -> tuple[Step, ...]:
    """The outline of a letter, from ``Glyph.path``; curves of the second degree become curves of the third."""
    counts = {"m": 2, "l": 2, "h": 1, "v": 1, "q": 4}
    steps: list[Step] = []
    x = y = start_x = start_y = 0.0
    for word, rest in re.findall(r"([a-zA-Z])([^a-zA-Z]*)", path):
        if word == "z":
            steps.append(("h", ()))
            x, y = start_x, start_y
            continue
        numbers = [float(number) for number in re.findall(r"-?\d+", rest)]
        count = counts[word.lower()]
        for at in range(0, len(numbers), count):
            some = numbers[at : at + count]
            if word == "q":
                cx, cy, dx, dy = some
                first, second = (x + cx * 2 / 3, y + cy * 2 / 3), (x + (2 * cx + dx) / 3, y + (2 * cy + dy) / 3)
                x, y = x + dx, y + dy
                steps.append(("c", (*first, *second, x, y)))
                continue
            dx, dy = {"h": (some[0], 0.0), "v": (0.0, some[0])}.get(word, (some[0], some[-1]))
            x, y = (dx, dy) if word == "M" else (x + dx, y + dy)
            steps.append(("m" if word in "mM" else "l", (x, y)))
            if word in "mM":
                start_x, start_y = x, y
    return tuple(steps)
