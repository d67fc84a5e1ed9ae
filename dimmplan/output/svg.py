"""Shapes to SVG: one self-contained document per page. It knows nothing of memory.

Letters are drawn as outlines, each once among the definitions; unpainted text lies over them, to be selected, searched
and read out. Letters that the sheet does not bring along are shown in a font of the machine, in the room kept for them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import lru_cache

from dimmplan.sheet.letters import face, typeset
from dimmplan.sheet.shapes import Group, Line, Page, Polygon, Rect, Shape, Text, walk

MARK = "made by dimmplan"
"""Stands in every document this tool wrote."""

_SPACE, _LINKS = 'xmlns="http://www.w3.org/2000/svg"', 'xmlns:xlink="http://www.w3.org/1999/xlink"'
"""Links are those of XLink: programs of any age follow them, and HTML knows their name without being told."""

_NOT_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_ESCAPES = str.maketrans({"&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;"})


def render_svg(page: Page) -> str:
    """One page as an SVG document. Same page, same text."""
    width, height = _number(page.width_mm), _number(page.height_mm)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg {_SPACE} {_LINKS} width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}" version="1.1">'
        f"<title>{_inert(page.title)}</title><metadata>{MARK}</metadata><desc>{_inert(page.desc)}</desc>"
        f"<defs><style>\n{_inert(page.stylesheet)}\n</style>{outlines([page])}</defs>"
        f'<rect class="paper" width="{width}" height="{height}"/>{_written(page.shapes)}</svg>\n'
    )


def inline_svg(page: Page) -> str:
    """One page as an SVG element inside another document, which has its stylesheet and its ``outlines``."""
    width, height = _number(page.width_mm), _number(page.height_mm)
    return (
        f'<svg {_SPACE} viewBox="0 0 {width} {height}" role="group" '
        f'aria-label="{_inert(f"{page.title}: {page.name}")}">'
        f'<rect class="paper" width="{width}" height="{height}"/>{_written(page.shapes)}</svg>'
    )


def outlines(pages: Iterable[Page]) -> str:
    """The letters that stand on some pages, to be put among the definitions of a document."""
    used = {
        (bold, letter)
        for page in pages
        for shape in walk(page.shapes)
        if isinstance(shape, Text)
        for text, bold in shape.runs
        for letter, _ in typeset(text, bold).letters
    }
    return "".join(f'<path id="{_name(letter, bold)}" d="{face(bold).path(letter)}"/>' for bold, letter in sorted(used))


def _number(value: float) -> str:
    """A coordinate as written: the one place where coordinates are rounded, to a hundredth of a millimetre."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _inert(text: str) -> str:
    """Text without mark-up and without what XML cannot carry."""
    return _NOT_XML.sub("\ufffd", text).translate(_ESCAPES)


def _written(shapes: Iterable[Shape]) -> str:
    return "".join(_element(shape) for shape in shapes)


def _element(shape: Shape) -> str:
    if isinstance(shape, Text):
        return _text(shape)
    look = f' class="{shape.look}"' if shape.look else ""
    if isinstance(shape, Group):
        name = f' id="{_inert(shape.id)}"' if shape.id else ""
        title = f"<title>{_inert(shape.title)}</title>" if shape.title else ""
        return f"<g{look}{name}>{title}{_written(shape.children)}</g>"
    if isinstance(shape, Rect):
        radius = f' rx="{_number(shape.radius)}"' if shape.radius else ""
        corner = f'x="{_number(shape.x)}" y="{_number(shape.y)}"'
        return f'<rect{look} {corner} width="{_number(shape.width)}" height="{_number(shape.height)}"{radius}/>'
    if isinstance(shape, Line):
        start = f'x1="{_number(shape.x1)}" y1="{_number(shape.y1)}"'
        return f'<line{look} {start} x2="{_number(shape.x2)}" y2="{_number(shape.y2)}"/>'
    if isinstance(shape, Polygon):
        points = " ".join(f"{_number(x)},{_number(y)}" for x, y in shape.points)
        return f'<polygon{look} points="{points}"/>'
    path = "".join(f"M{_number(a)} {_number(b)}L{_number(c)} {_number(d)}" for a, b, c, d in shape.segments)
    return f'<path{look} d="{path}"/>'


def _name(letter: str, bold: bool) -> str:
    """The id of a letter's outline."""
    return f"{'b' if bold else 'r'}{ord(letter):x}"


@lru_cache(maxsize=4000)
def _uses(text: str, bold: bool, start: int) -> str:
    """The letters of a piece of a line, as one prepared string: a page has thousands."""
    letters = typeset(text, bold).letters
    return "".join(f'<use xlink:href="#{_name(letter, bold)}" x="{start + at}"/>' for letter, at in letters)


def _text(shape: Text) -> str:
    """A line twice: its outlines, and unpainted text over them."""
    x, y = shape.start
    unit = shape.size / 1000
    at, uses, others = 0, "", ""
    for text, bold in shape.runs:
        uses += _uses(text, bold, at)
        for piece, begins, wide in typeset(text, bold).others:
            look = " ".join(("t", "seen", *shape.look.split(), *(("b",) if bold else ())))
            others += _words(piece, (at + begins) * unit, wide * unit, shape, look)
        at += typeset(text, bold).width
    look = f"t {shape.look}" if shape.look else "t"
    turn = f"rotate({shape.turn})" if shape.turn else ""
    place = f"translate({_number(x)} {_number(y)}){turn}scale({unit:.7f})"
    outline = f'<g class="{look}" aria-hidden="true" transform="{place}">{uses}</g>' if uses else ""
    return outline + others + _words(shape.text, 0.0, at * unit, shape)


def _words(text: str, at: float, wide: float, line: Text, look: str = "") -> str:
    """Text of a line, from a place on it and so wide; painted where it has a look."""
    left, base = line.start
    x, y = _number(left if line.turn else left + at), _number(base - at if line.turn else base)
    turn = f' transform="rotate({line.turn} {x} {y})"' if line.turn else ""
    painted = f' class="{look}" aria-hidden="true" lengthAdjust="spacingAndGlyphs"' if look else ""
    fit = f' textLength="{_number(wide)}"' if wide else ""
    return f'<text{painted} x="{x}" y="{y}" font-size="{_number(line.size)}"{turn}{fit}>{_inert(text)}</text>'
