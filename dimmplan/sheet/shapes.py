"""What a sheet is made of: plain shapes in millimetres, y downwards from the top left corner of the page.

A shape names its ``look``: one or more class names of the page's stylesheet. Writers know these shapes only.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Literal, NamedTuple

from dimmplan.sheet.letters import width_of

Anchor = Literal["start", "middle", "end"]
Point = tuple[float, float]
Segment = tuple[float, float, float, float]


class Rect(NamedTuple):
    """An upright rectangle; ``radius`` rounds its corners."""

    x: float
    y: float
    width: float
    height: float
    look: str
    radius: float = 0.0


class Polygon(NamedTuple):
    """A closed polygon."""

    points: tuple[Point, ...]
    look: str


class Line(NamedTuple):
    """One straight line."""

    x1: float
    y1: float
    x2: float
    y2: float
    look: str


class Strokes(NamedTuple):
    """Many straight lines of one look, drawn as one: hatching, dots (lines of no length), crosses."""

    segments: tuple[Segment, ...]
    look: str


class Text(NamedTuple):
    """One line of text on its base line. ``size`` is the font size; ``turn`` is 0 or -90 degrees (reads upwards).

    ``spans`` are pieces of the same line, each with whether it is bold; together they are ``text``.
    """

    x: float
    y: float
    text: str
    size: float
    look: str
    anchor: Anchor = "start"
    turn: int = 0
    spans: tuple[tuple[str, bool], ...] = ()

    @property
    def runs(self) -> tuple[tuple[str, bool], ...]:
        """The pieces of the line, each with whether it is bold."""
        return self.spans or ((self.text, "b" in self.look.split()),)

    @property
    def width(self) -> float:
        """How long the line is."""
        return sum(width_of(text, bold) for text, bold in self.runs) * self.size / 1000

    @property
    def start(self) -> Point:
        """Where the line begins on its base line, whatever its anchor."""
        back = {"start": 0.0, "middle": 0.5, "end": 1.0}[self.anchor] * self.width
        return (self.x, self.y + back) if self.turn else (self.x - back, self.y)


class Group(NamedTuple):
    """Shapes that belong together. ``title`` is shown on hovering; ``id`` is unique on the whole sheet."""

    children: tuple[Shape, ...]
    look: str = ""
    id: str = ""
    title: str = ""


Shape = Rect | Polygon | Line | Strokes | Text | Group


class Page(NamedTuple):
    """One page of paper. ``name`` says what it is for: ``chassis``, ``reference``, ``socket-1``."""

    name: str
    title: str
    desc: str
    width_mm: float
    height_mm: float
    stylesheet: str
    shapes: tuple[Shape, ...]


class Sheet(NamedTuple):
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
        return shape._replace(children=tuple(moved(child, dx, dy) for child in shape.children))
    if isinstance(shape, Polygon):
        return shape._replace(points=tuple((x + dx, y + dy) for x, y in shape.points))
    if isinstance(shape, Line):
        return shape._replace(x1=shape.x1 + dx, y1=shape.y1 + dy, x2=shape.x2 + dx, y2=shape.y2 + dy)
    if isinstance(shape, Strokes):
        return shape._replace(segments=tuple((a + dx, b + dy, c + dx, d + dy) for a, b, c, d in shape.segments))
    return shape._replace(x=shape.x + dx, y=shape.y + dy)


_PLAIN = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-.")


def ident(kind: str, name: str) -> str:
    """``kind-name``; a letter that is not plain becomes its number between underscores, the underscore too."""
    return f"{kind}-" + "".join(c if c in _PLAIN else f"_{ord(c):x}_" for c in name)
