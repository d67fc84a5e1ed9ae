"""Shapes as paths and how they are painted, for writers that know no stylesheet; and shapes to PNG.

The only place that knows cairo; without the system's libcairo it says what to install. Letters are drawn as outlines,
so no font of the machine shows in the picture.
"""

from __future__ import annotations

import io
import math
import re
import struct
import zlib
from collections.abc import Iterable, Sequence
from functools import cache
from typing import Any, NamedTuple

from dimmplan.errors import InputError, Problem
from dimmplan.sheet.letters import face, typeset
from dimmplan.sheet.shapes import Group, Line, Page, Polygon, Rect, Strokes, Text, walk

DOTS_PER_INCH = 300
_DOTS_PER_MM = DOTS_PER_INCH / 25.4
_MADE_BY = b"dimmplan"


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
            style: dict[str, str] = {}
            for selector, rule in self._rules:
                if selector in wanted:
                    style |= rule
            self._known[look] = Paint(
                fill=_colour(style.get("fill", "#000000")),
                stroke=_colour(style.get("stroke", "none")),
                width=float(style.get("stroke-width", 1)),
                dashes=tuple(map(float, style.get("stroke-dasharray", "").split())),
                round_caps=style.get("stroke-linecap") == "round",
                round_joins=style.get("stroke-linejoin") == "round",
            )
        return self._known[look]


def _colour(text: str) -> Colour | None:
    if text == "none":
        return None
    red, green, blue = (int(text[at : at + 2], 16) / 255 for at in (1, 3, 5))
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
def letter_path(letter: str, bold: bool) -> tuple[Step, ...]:
    """The outline of a letter; curves of the second degree become curves of the third."""
    counts = {"m": 2, "l": 2, "h": 1, "v": 1, "q": 4}
    steps: list[Step] = []
    x = y = start_x = start_y = 0.0
    for word, rest in re.findall(r"([a-zA-Z])([^a-zA-Z]*)", face(bold).path(letter)):
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


# -- PNG ---------------------------------------------------------------------------------------------------------------


def _cairo() -> Any:
    """The library. Raises ``InputError`` where libcairo is missing."""
    try:
        import cairocffi  # noqa: PLC0415 - only where a PNG is asked for
    except (ImportError, OSError) as error:
        raise InputError(
            Problem(
                file="PNG",
                found=f"no usable cairo library ({type(error).__name__})",
                hint="Install libcairo2 (Debian: apt install libcairo2; macOS: brew install cairo). "
                "SVG, PDF and HTML work without.",
            )
        ) from None
    return cairocffi


def png_bytes(page: Page) -> bytes:
    """A page as PNG at 300 dots per inch, the density recorded in the file."""
    cairo = _cairo()
    wide, high = (round(side * _DOTS_PER_MM) for side in (page.width_mm, page.height_mm))
    surface = cairo.ImageSurface(cairo.FORMAT_RGB24, wide, high)
    context = cairo.Context(surface)
    context.set_source_rgb(1, 1, 1)
    context.paint()
    context.scale(_DOTS_PER_MM, _DOTS_PER_MM)
    context.set_miter_limit(4)  # as SVG has it
    looks = Looks(page.stylesheet)
    for shape in walk(page.shapes):
        if isinstance(shape, Text):
            _trace_line(context, shape)
            _paint(context, looks[f"t {shape.look}"])
        elif not isinstance(shape, Group):
            trace(context, path_of(shape))
            _paint(context, looks[shape.look])
    output = io.BytesIO()
    surface.write_to_png(output)
    return _with_marks(output.getvalue())


def _with_marks(png: bytes) -> bytes:
    """The PNG with its density (pHYs) and its maker (tEXt) right behind the header chunk."""
    header_end = 8 + 25  # signature, then IHDR of 13 bytes with length, name and checksum
    dots_per_metre = round(DOTS_PER_INCH / 0.0254)
    density = struct.pack(">IIB", dots_per_metre, dots_per_metre, 1)
    marks = _chunk(b"pHYs", density) + _chunk(b"tEXt", b"Software\0" + _MADE_BY)
    return png[:header_end] + marks + png[header_end:]


def _chunk(name: bytes, content: bytes) -> bytes:
    checksum = zlib.crc32(name + content)
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", checksum)


def system_outline(piece: str, bold: bool, wide: float) -> list[Step]:
    """Letters that the sheet does not bring along, in a font of the machine: 1000 high, squeezed to a width.

    Raises ``InputError`` where libcairo is missing.
    """
    cairo = _cairo()
    context = cairo.Context(cairo.ImageSurface(cairo.FORMAT_A8, 1, 1))
    context.select_font_face("sans-serif", cairo.FONT_SLANT_NORMAL, int(bold))
    context.set_font_size(1000)
    own = context.text_extents(piece)[4]
    if own and wide:
        context.scale(wide / own, 1)
    context.text_path(piece)
    context.identity_matrix()
    return [("mlch"[kind], tuple(points)) for kind, points in context.copy_path()]


def trace(context: Any, steps: Iterable[Step], dx: float = 0.0, dy: float = 0.0) -> None:
    """Add a path, shifted."""
    for word, numbers in steps:
        if word == "m":
            context.move_to(dx + numbers[0], dy + numbers[1])
        elif word == "l":
            context.line_to(dx + numbers[0], dy + numbers[1])
        elif word == "c":
            x1, y1, x2, y2, x, y = numbers
            context.curve_to(dx + x1, dy + y1, dx + x2, dy + y2, dx + x, dy + y)
        else:
            context.close_path()


def _trace_line(context: Any, line: Text) -> None:
    context.save()
    context.translate(*line.start)
    context.rotate(math.radians(line.turn))
    context.scale(line.size / 1000, line.size / 1000)
    at = 0
    for text, bold in line.runs:
        stands = typeset(text, bold)
        for letter, x in stands.letters:
            trace(context, letter_path(letter, bold), at + x)
        for piece, x, wide in stands.others:
            trace(context, system_outline(piece, bold, wide), at + x)
        at += stands.width
    context.restore()


def _paint(context: Any, paint: Paint) -> None:
    if paint.fill is not None:
        context.set_source_rgb(*paint.fill)
        context.fill_preserve()
    if paint.stroke is not None:
        context.set_source_rgb(*paint.stroke)
        context.set_line_width(paint.width)
        context.set_dash(paint.dashes)
        context.set_line_cap(int(paint.round_caps))
        context.set_line_join(int(paint.round_joins))
        context.stroke_preserve()
    context.new_path()
