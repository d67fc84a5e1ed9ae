"""Shapes to PNG. The only place that knows cairo; without the system's libcairo it says what to install.

Letters are drawn as outlines, so no font of the machine shows in the picture.
"""

from __future__ import annotations

import io
import math
import struct
import zlib
from collections.abc import Iterable
from typing import Any

from dimmplan.errors import InputError, Problem
from dimmplan.output.paint import Looks, Paint, Step, letter_path, path_of
from dimmplan.sheet.letters import face, laid
from dimmplan.sheet.shapes import Group, Page, Text, walk

DOTS_PER_INCH = 300
_DOTS_PER_MM = DOTS_PER_INCH / 25.4
_MADE_BY = b"dimmplan"


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
        stands = laid(text, bold)
        for letter, x in stands.letters:
            trace(context, letter_path(face(bold).glyph(letter).path), at + x)
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
