"""Finds text that touches other text or a line, on pixels that a renderer drew and not on our own widths.

The page is drawn again with its stylesheet replaced: grounds white, lines cyan, letters half-transparent magenta. Text
over text is then dark in green, text over a line dark in red and green.
"""

from __future__ import annotations

import io
import re
import subprocess
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

Renderer = Literal["rsvg", "cairosvg"]

_WHITE, _LINE = "#ffffff", "#00ffff"
_TEXT = "text{font-family:sans-serif;fill-opacity:0}.b{font-weight:bold}.t{fill:#ff00ff}.seen{fill-opacity:1}"


def masked(svg: str, *, by_letter: bool = False) -> str:
    """The page with lines in cyan and text in magenta, each line of text as one layer.

    ``by_letter`` makes each letter a layer and leaves out text that is there for searching alone, in a quarter of the
    time: letters of one line that touch count as well.
    """
    if by_letter:
        svg = re.sub(r"<text(?![^>]*seen)[^>]*>.*?</text>", "", svg, flags=re.DOTALL)
    style = re.search(r"<style[^>]*>(?:<!\[CDATA\[)?(.*?)(?:\]\]>)?</style>", svg, re.DOTALL)
    assert style is not None
    rules: list[str] = []
    for selector, body in re.findall(r"([^{}\n]+)\{([^}]*)\}", style[1]):
        if selector in ("text", ".t", ".seen", ".b", ".inv") or selector.startswith(".on-"):
            continue
        kept = dict(part.split(":", 1) for part in body.split(";") if ":" in part)
        stroke = kept.get("stroke", "none")
        drawn = {
            "fill": "none" if kept.get("fill", "none") == "none" else _WHITE,
            "stroke": "none" if stroke == "none" else _WHITE if stroke == _WHITE else _LINE,
        }
        drawn |= {key: value for key, value in kept.items() if key.startswith("stroke-")}
        rules.append(selector + "{" + ";".join(f"{key}:{value}" for key, value in drawn.items()) + "}")
    layer = ".t{fill-opacity:0.5}" if by_letter else ".t{opacity:0.5}"
    return svg.replace(style[1], "\n".join([_TEXT, layer, *rules]))


@dataclass(frozen=True)
class Ink:
    """What was found: pixels where text meets text, and where text meets a line; text in the outer margin."""

    on_text: int
    on_line: int
    in_margin: int
    where_mm: tuple[tuple[float, float], ...]


def pixels(svg: str, renderer: Renderer, dpi: int) -> tuple[bytes, int, int]:
    """The drawn page as BGRA bytes with its width and height."""
    import cairocffi

    if renderer == "rsvg":
        command = ["rsvg-convert", "-d", str(dpi), "-p", str(dpi), "-b", "white"]
        png = subprocess.run(command, input=svg.encode(), stdout=subprocess.PIPE, check=True).stdout
    else:
        import cairosvg

        png = cairosvg.svg2png(bytestring=svg.encode(), dpi=96, scale=dpi / 96, background_color="#ffffff")
    surface = cairocffi.ImageSurface.create_from_png(io.BytesIO(png))
    data, stride, width = bytes(surface.get_data()), surface.get_stride(), surface.get_width()
    rows = [data[y * stride : y * stride + 4 * width] for y in range(surface.get_height())]
    return b"".join(rows), width, surface.get_height()


def _below(limit: int) -> bytes:
    return bytes(1 if value < limit else 0 for value in range(256))


def _both(one: bytes, other: bytes) -> bytes:
    return (int.from_bytes(one, "big") & int.from_bytes(other, "big")).to_bytes(len(one), "big")


def check(svg: str, renderer: Renderer = "rsvg", *, dpi: int = 144) -> Ink:
    """Draw a page and count the pixels where text meets something."""
    fast = _seen(masked(svg, by_letter=True), renderer, dpi)
    return _seen(masked(svg), renderer, dpi) if fast.on_text + fast.on_line + fast.in_margin else fast


@lru_cache(maxsize=256)
def _seen(svg: str, renderer: Renderer, dpi: int) -> Ink:
    data, width, height = pixels(svg, renderer, dpi)
    # the outermost pixels are only partly covered by the page; nothing is drawn there
    inner = [data[(y * width + 2) * 4 : ((y + 1) * width - 2) * 4] for y in range(2, height - 2)]
    data, width, height = b"".join(inner), width - 4, height - 4
    green, red = data[1::4], data[2::4]
    # one layer of text leaves 127 of 255 in green, two leave 63; a line leaves 0 in red, text over it 127
    on_text = green.translate(_below(100))
    on_line = _both(green.translate(_below(185)), red.translate(_below(185)))
    margin = round(4.2 / 25.4 * dpi)
    ink = green.translate(_below(200))
    edge = ink[: margin * width].count(1) + ink[-margin * width :].count(1)
    edge += sum(ink[y * width : y * width + margin].count(1) for y in range(height))
    edge += sum(ink[(y + 1) * width - margin : (y + 1) * width].count(1) for y in range(height))
    spots: list[tuple[float, float]] = []
    for mask in (on_text, on_line):
        at = mask.find(1)
        while at >= 0 and len(spots) < 12:
            spots.append((round(at % width * 25.4 / dpi, 1), round(at // width * 25.4 / dpi, 1)))
            at = mask.find(1, at + 40)
    return Ink(on_text.count(1), on_line.count(1), edge, tuple(spots))
