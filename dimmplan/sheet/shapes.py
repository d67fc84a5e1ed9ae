"""What a sheet is made of, and how it looks.

Plain shapes in millimetres, y downwards from the top left corner of the page. A shape names its ``look``: one or more
class names of the page's stylesheet. Writers know these shapes only.

Heights of letters are those of ISO 3098, widths of lines those of ISO 128. Meaning never rests on colour: states differ
in form, types in pattern and letter, and ``mono`` uses black on white alone. A test holds every pair of colours to WCAG
2.2: text 4.5 to 1, lines 3 to 1. Marks of types are plain lines, cut to their box, the same with every renderer and on
every printer. A mark keeps its direction on paper whether a slot lies or stands, so that legend and map agree.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
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
    """The shape, no line and no group, shifted by ``dx``, ``dy``."""
    assert not isinstance(shape, Line | Group)
    if isinstance(shape, Polygon):
        return shape._replace(points=tuple((x + dx, y + dy) for x, y in shape.points))
    if isinstance(shape, Strokes):
        return shape._replace(segments=tuple((a + dx, b + dy, c + dx, d + dy) for a, b, c, d in shape.segments))
    return shape._replace(x=shape.x + dx, y=shape.y + dy)


_PLAIN = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-.")


def ident(kind: str, name: str) -> str:
    """``kind-name``; a letter that is not plain becomes its number between underscores, the underscore too."""
    return f"{kind}-" + "".join(c if c in _PLAIN else f"_{ord(c):x}_" for c in name)


# -- looks -------------------------------------------------------------------------------------------------------------

Ink = Literal["colour", "mono"]

COLOURS = 6
"""Colours of module types; with more types a pattern tells them apart."""

TEXT_MM = 2.5
"""Least height of what is read at the chassis."""

SMALLEST_TEXT_MM = 2.0
"""Height of figures and of the captions in the title block."""

THIN, MEDIUM, THICK, HEAVY, DOUBLE = 0.25, 0.35, 0.5, 0.7, 1.4
"""Line widths in mm; ``DOUBLE`` is drawn as two lines, by a white one along its middle."""


class Palette(NamedTuple):
    """Colours of one ink. ``types`` are the grounds of filled slots and the colours of their patterns.

    A colour means a type and nothing else. Blue and red-brown are left out: slots, latches and handles wear them
    themselves, to tell first from second or what may be pulled while it runs. So are the colours of signal words.
    """

    ink: str
    paper: str
    board: str
    mark: str
    pale: str
    zone: str
    types: tuple[str, ...]
    warning: str
    caution: str
    notice: str
    on_warning: str
    on_notice: str


PALETTES: dict[Ink, Palette] = {
    "colour": Palette(
        ink="#14181c",
        paper="#ffffff",
        board="#f5f4ef",
        mark="#fafaf7",
        pale="#686d72",
        zone="#dfe5e3",
        types=("#6a2f86", "#46640b", "#0b5c66", "#6b5208", "#8c1d4f", "#3f4a5a"),
        warning="#f39a3b",
        caution="#f2dc5a",
        notice="#17527a",
        on_warning="#14181c",
        on_notice="#ffffff",
    ),
    "mono": Palette(
        ink="#000000",
        paper="#ffffff",
        board="#ffffff",
        mark="#ffffff",
        pale="#000000",
        zone="#ffffff",
        types=("#000000",) * COLOURS,
        warning="#000000",
        caution="#ffffff",
        notice="#ffffff",
        on_warning="#ffffff",  # white on black, which nothing else on paper is
        on_notice="#000000",
    ),
}


def stylesheet(ink: Ink) -> str:
    """The one stylesheet of a page; user units are mm."""
    use = PALETTES[ink]
    stroke = f"fill:none;stroke:{use.ink}"
    rules = {
        "text": f"font-family:sans-serif;fill:{use.ink};fill-opacity:0",
        ".t": f"fill:{use.ink}",
        ".seen": "fill-opacity:1",
        ".b": "font-weight:bold",
        ".inv": f"fill:{use.paper}",
        ".on-warning": f"fill:{use.on_warning}",
        ".on-notice": f"fill:{use.on_notice}",
        ".paper": f"fill:{use.paper}",
        ".ink": f"fill:{use.ink}",
        ".thin": f"{stroke};stroke-width:{THIN}",
        ".medium": f"{stroke};stroke-width:{MEDIUM}",
        ".thick": f"{stroke};stroke-width:{THICK}",
        ".heavy": f"{stroke};stroke-width:{HEAVY}",
        ".write": f"{stroke};stroke-width:{THIN};stroke-dasharray:0.3 0.9;stroke-linecap:round",
        ".tear": f"{stroke};stroke-width:{MEDIUM};stroke-dasharray:3 1.5",
        ".box": f"fill:{use.paper};stroke:{use.ink};stroke-width:{MEDIUM}",
        ".box-inv": f"fill:none;stroke:{use.paper};stroke-width:{MEDIUM}",
        ".bar": f"fill:{use.mark};stroke:{use.ink};stroke-width:{THIN}",
        ".bar-open": f"fill:{use.paper};stroke:{use.ink};stroke-width:{THIN}",
        ".bar-dead": f"fill:{use.paper};stroke:{use.ink};stroke-width:{THIN};stroke-dasharray:0.7 0.7",
        ".board": f"fill:{use.board};stroke:{use.ink};stroke-width:{HEAVY};stroke-linejoin:round",
        ".detail": f"fill:{use.board};stroke:{use.ink};stroke-width:{THIN};stroke-dasharray:6 1 1 1",
        ".mark": f"fill:{use.mark};stroke:{use.ink};stroke-width:{THIN}",
        ".cpu": f"fill:{use.paper};stroke:{use.ink};stroke-width:{THICK}",
        ".tray": f"fill:none;stroke:{use.ink};stroke-width:{HEAVY};stroke-linejoin:round",
        ".tray-absent": f"fill:none;stroke:{use.ink};stroke-width:{HEAVY};stroke-dasharray:3 1.8",
        ".cpu-absent": f"fill:{use.paper};stroke:{use.ink};stroke-width:{THIN};stroke-dasharray:2 1",
        ".zone": f"fill:{use.zone};stroke:{use.pale};stroke-width:{THIN};stroke-dasharray:0.3 1.1;stroke-linecap:round",
        ".pale": f"fill:none;stroke:{use.pale};stroke-width:{THIN}",
        ".slot-empty": f"fill:{use.paper};stroke:{use.pale};stroke-width:{THIN};stroke-dasharray:1.2 0.8",
        ".slot-pull": f"fill:{use.paper};stroke:{use.ink};stroke-width:{HEAVY};stroke-dasharray:2.4 1.2",
        ".slot-blank": f"fill:{use.paper};stroke:{use.pale};stroke-width:{THIN}",
        ".slot-kept": f"fill:{use.paper};stroke:{use.pale};stroke-width:{THIN}",
        ".slot-dead": f"fill:{use.paper};stroke:{use.pale};stroke-width:{THIN}",
        ".slot-hold": f"fill:{use.paper};stroke:{use.ink};stroke-width:{DOUBLE}",
        ".slot-hold-inner": f"fill:none;stroke:{use.paper};stroke-width:{THICK}",
        ".warning": f"fill:{use.warning};stroke:{use.ink};stroke-width:{MEDIUM}",
        ".caution": f"fill:{use.caution};stroke:{use.ink};stroke-width:{MEDIUM}",
        ".notice": f"fill:{use.notice};stroke:{use.ink};stroke-width:{MEDIUM}",
    }
    for number, colour in enumerate(use.types):
        rules[f".slot-{number}"] = f"fill:{colour};stroke:{use.ink};stroke-width:{THICK}"
        rules[f".hatch-{number}"] = f"fill:none;stroke:{colour};stroke-width:{THICK}"
        rules[f".dots-{number}"] = f"fill:none;stroke:{colour};stroke-width:0.9;stroke-linecap:round"
    return "\n".join(f"{selector}{{{rule}}}" for selector, rule in rules.items())


_PITCH_MM = 1.7


def _range(low: float, high: float, pitch: float) -> list[float]:
    """Even positions between two ends, the same distance from both."""
    count = max(1, int((high - low) / pitch))
    first = (low + high - (count - 1) * pitch) / 2
    return [first + index * pitch for index in range(count)]


def _falling(width: float, height: float) -> Iterator[Segment]:
    for offset in _range(-height, width, _PITCH_MM * 1.414):
        low, high = max(0.0, -offset), min(height, width - offset)
        if high - low > 0.3:
            yield offset + low, low, offset + high, high


def _rising(width: float, height: float) -> Iterator[Segment]:
    return ((x1, height - y1, x2, height - y2) for x1, y1, x2, y2 in _falling(width, height))


def _upright(width: float, height: float) -> Iterator[Segment]:
    return ((x, 0.0, x, height) for x in _range(0, width, _PITCH_MM))


def _lying(width: float, height: float) -> Iterator[Segment]:
    return ((0.0, y, width, y) for y in _range(0, height, _PITCH_MM))


def _dots(width: float, height: float) -> Iterator[Segment]:
    """Dots in staggered rows, as lines of no length, whole ones only."""
    for number, y in enumerate(_range(0.3, height - 0.3, 1.35)):
        shift = 0.9 if number % 2 else 0.0
        yield from ((x, y, x + 0.01, y) for x in _range(0.2 + shift, width - 1.1 + shift, 1.8))


_PATTERNS: tuple[tuple[Callable[[float, float], Iterator[Segment]], ...], ...] = (
    (_rising,),
    (_dots,),
    (_upright,),
    (_lying,),
    (_falling,),
    (_upright, _lying),
    (_rising, _falling),
    (_rising, _upright),
    (_falling, _lying),
    (_rising, _lying),
    (_falling, _upright),
)


class Mark(NamedTuple):
    """The mark of a type: its colour, a number below ``COLOURS``; its pattern; heavy bars before the pattern."""

    colour: int
    pattern: int
    bars: int

    def lines(self, width: float, height: float) -> list[Segment]:
        """The pattern in a box at the origin."""
        return [line for part in _PATTERNS[self.pattern] for line in part(width, height)]

    @property
    def look(self) -> str:
        """How its lines are drawn."""
        return f"{'dots' if _PATTERNS[self.pattern] == (_dots,) else 'hatch'}-{self.colour}"


def mark_of(key: str) -> Mark:
    """The mark of a key letter. No two letters have one mark: six colours, eleven patterns, then bars as well."""
    number = ord(key) - ord("a")
    return Mark(number % COLOURS, number % len(_PATTERNS), number // len(_PATTERNS))
