"""What a sheet is made of: plain shapes in millimetres, y downwards from the top left corner of the page.

A shape names its ``look``: one or more class names of the page's stylesheet. Writers know these shapes only.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Literal

Anchor = Literal["start", "middle", "end"]
Point = tuple[float, float]
Segment = tuple[float, float, float, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class Rect:
    """An upright rectangle; ``radius`` rounds its corners."""

    x: float
    y: float
    width: float
    height: float
    look: str
    radius: float = 0.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Polygon:
    """A closed polygon."""

    points: tuple[Point, ...]
    look: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Line:
    """One straight line."""

    x1: float
    y1: float
    x2: float
    y2: float
    look: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Strokes:
    """Many straight lines of one look, drawn as one: hatching, dots (lines of no length), crosses."""

    segments: tuple[Segment, ...]
    look: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Text:
    """One line of text on its base line. ``size`` is the font size; ``turn`` is 0 or -90 degrees (reads upwards).

    ``spans`` are pieces of the same line with looks of their own; together they are ``text``.
    """

    x: float
    y: float
    text: str
    size: float
    look: str
    anchor: Anchor = "start"
    turn: int = 0
    spans: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Group:
    """Shapes that belong together. ``title`` is shown on hovering; ``id`` is unique on the whole sheet."""

    children: tuple[Shape, ...]
    look: str = ""
    id: str = ""
    title: str = ""


Shape = Rect | Polygon | Line | Strokes | Text | Group


@dataclass(frozen=True, kw_only=True, slots=True)
class Page:
    """One page of paper. ``name`` says what it is for: ``chassis``, ``desk``, ``socket-1``."""

    name: str
    title: str
    desc: str
    width_mm: float
    height_mm: float
    stylesheet: str
    shapes: tuple[Shape, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Sheet:
    """All pages of a slot map, the chassis page first."""

    title: str
    desc: str
    pages: tuple[Page, ...]


def walk(shapes: Iterable[Shape]) -> Iterator[Shape]:
    """Every shape with its descendants, groups before their children."""
    for shape in shapes:
        yield shape
        if isinstance(shape, Group):
            yield from walk(shape.children)


def moved(shape: Shape, dx: float, dy: float) -> Shape:
    """The shape shifted by ``dx``, ``dy``."""
    if isinstance(shape, Group):
        return replace(shape, children=tuple(moved(child, dx, dy) for child in shape.children))
    if isinstance(shape, Polygon):
        return replace(shape, points=tuple((x + dx, y + dy) for x, y in shape.points))
    if isinstance(shape, Line):
        return replace(shape, x1=shape.x1 + dx, y1=shape.y1 + dy, x2=shape.x2 + dx, y2=shape.y2 + dy)
    if isinstance(shape, Strokes):
        return replace(shape, segments=tuple((a + dx, b + dy, c + dx, d + dy) for a, b, c, d in shape.segments))
    return replace(shape, x=shape.x + dx, y=shape.y + dy)
