"""Letter heights measured on the glyphs that two renderers draw, not on our own table."""

from __future__ import annotations

import functools
import re

import pytest

from dimmplan.output.svg import render_svg
from dimmplan.sheet.measure import font_size
from dimmplan.sheet.shapes import Page, Text
from tests.sheet.inkcheck import Renderer, pixels
from tests.sheet.pages import BOARDS, board, sheet, texts

DPI = 1200
PIXEL_MM = 25.4 / DPI
LEAST_MM = 2.0
LEAST_NAME_MM = {"a4": 3.5, "letter": 2.8, "a5": 2.8}
"""Slot names: 3.5 mm or more on A4 for boards of up to 32 slots, never under 2.8 mm."""


@functools.cache
def capital_mm(size: float, look: str, renderer: Renderer) -> float:
    """Height of a capital E of that font size as drawn, in mm."""
    style = re.search(r"<style[^>]*>.*?</style>", render_svg(sheet("marram-4").pages[0]), re.DOTALL)
    assert style is not None
    drawn = f'<text class="{look}" x="2" y="15" font-size="{size}">E</text>'
    box = 'width="20mm" height="20mm" viewBox="0 0 20 20"'
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" {box}>{style[0]}{drawn}</svg>'
    data, width, height = pixels(svg, renderer, DPI)
    green = data[1::4]
    rows = [y for y in range(height) if min(green[y * width : (y + 1) * width]) < 128]
    return (rows[-1] - rows[0] + 1) * PIXEL_MM


def too_small(page: Page, least_mm: float, renderer: Renderer) -> list[str]:
    """Texts whose capitals are drawn lower than that, whatever their colour; one pixel of tolerance."""
    return [
        text.text
        for text in texts(page)
        if capital_mm(text.size, "b" if "b" in text.look.split() else "", renderer) < least_mm - PIXEL_MM
    ]


@pytest.mark.system_tool("rsvg-convert")
@pytest.mark.parametrize("renderer", ["rsvg", "cairosvg"])
@pytest.mark.parametrize("name", BOARDS)
def test_no_text_is_drawn_under_2_mm(name: str, renderer: Renderer) -> None:
    for paper in LEAST_NAME_MM:
        for page in sheet(name, "mixed", paper=paper).pages:
            assert too_small(page, LEAST_MM, renderer) == []


@pytest.mark.system_tool("rsvg-convert")
@pytest.mark.parametrize("renderer", ["rsvg", "cairosvg"])
@pytest.mark.parametrize("name", [name for name in BOARDS if len(board(name).slots) <= 32])
def test_slot_names_are_drawn_as_large_as_an_arm_s_length_asks(name: str, renderer: Renderer) -> None:
    slots = set(board(name).slots)
    for paper, least in LEAST_NAME_MM.items():
        pages = sheet(name, "full", paper=paper).pages
        names = [t for page in pages if page.name != "desk" for t in texts(page) if t.text in slots and t.turn]
        names += [t for page in pages for t in texts(page) if t.text in slots and not t.turn and t.size > 4]
        assert {text.text for text in names} == slots
        drawn = min(capital_mm(text.size, "b", renderer) for text in names)
        assert drawn >= least - PIXEL_MM, (paper, drawn)


@pytest.mark.system_tool("rsvg-convert")
@pytest.mark.parametrize("renderer", ["rsvg", "cairosvg"])
def test_a_planted_text_of_1_9_mm_is_found(renderer: Renderer) -> None:
    page = sheet("marram-4").pages[0]
    planted = Text(x=50, y=50, text="PLANTED", size=font_size(1.9), look="")
    assert too_small(page._replace(shapes=(*page.shapes, planted)), LEAST_MM, renderer) == ["PLANTED"]
