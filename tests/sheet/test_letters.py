"""Letter heights measured on the glyphs that two renderers draw, not on our own table."""

from __future__ import annotations

import functools
import json
from pathlib import Path

import pytest

import dimmplan.sheet
from dimmplan.output.raster import letter_path, trace
from dimmplan.output.svg import render_svg
from dimmplan.sheet.letters import CAP, face, font_size, width
from dimmplan.sheet.shapes import Page, Text
from tests.sheet.inkcheck import Renderer, pixels
from tests.sheet.pages import SAMPLE, board, sheet, texts
from tests.support import sampled

DPI = 1200
PIXEL_MM = 25.4 / DPI
LEAST_MM = 2.0
LEAST_NAME_MM = {"a4": 3.5, "letter": 2.8, "a5": 2.8}
"""Slot names: 3.5 mm or more on A4 for boards of up to 32 slots, never under 2.8 mm."""


@functools.cache
def capital_mm(size: float, look: str, renderer: Renderer) -> float:
    """Height of a capital E of that font size as drawn, in mm."""
    page = (
        sheet("marram-4")
        .pages[0]
        ._replace(width_mm=20.0, height_mm=20.0, shapes=(Text(x=2, y=15, text="E", size=size, look=look),))
    )
    data, width, height = pixels(render_svg(page), renderer, DPI)
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


@pytest.mark.system_tool("rsvg-convert", "libcairo2")
@pytest.mark.parametrize("renderer", ["rsvg", "cairosvg"])
@pytest.mark.parametrize("name", sampled(SAMPLE[::-1], 1))
def test_no_text_is_drawn_under_2_mm(name: str, renderer: Renderer) -> None:
    for paper in LEAST_NAME_MM:
        for page in sheet(name, "mixed", paper=paper).pages:
            assert too_small(page, LEAST_MM, renderer) == []


@pytest.mark.system_tool("rsvg-convert", "libcairo2")
@pytest.mark.parametrize("renderer", ["rsvg", "cairosvg"])
@pytest.mark.parametrize("name", [name for name in SAMPLE if len(board(name).slots) <= 32])
def test_slot_names_are_drawn_as_large_as_an_arm_s_length_asks(name: str, renderer: Renderer) -> None:
    slots = set(board(name).slots)
    for paper, least in LEAST_NAME_MM.items():
        pages = sheet(name, "full", paper=paper).pages
        names = [t for page in pages if page.name != "reference" for t in texts(page) if t.text in slots and t.turn]
        names += [t for page in pages for t in texts(page) if t.text in slots and not t.turn and t.size > 4]
        assert {text.text for text in names} == slots
        drawn = min(capital_mm(text.size, "b", renderer) for text in names)
        assert drawn >= least - PIXEL_MM, (paper, drawn)


@pytest.mark.system_tool("rsvg-convert", "libcairo2")
@pytest.mark.parametrize("renderer", ["rsvg", "cairosvg"])
def test_a_planted_text_of_1_9_mm_is_found(renderer: Renderer) -> None:
    page = sheet("marram-4").pages[0]
    planted = Text(x=50, y=50, text="PLANTED", size=font_size(1.9), look="")
    assert too_small(page._replace(shapes=(*page.shapes, planted)), LEAST_MM, renderer) == ["PLANTED"]


# The face itself


@pytest.mark.system_tool("libcairo2")
@pytest.mark.parametrize("bold", [False, True])
def test_letters_that_are_mistaken_for_each_other_differ(bold: bool) -> None:
    """Each pair as ink: what only one of them covers is a good part of what they cover together."""
    for one, other in ("Il", "I1", "l1", "O0", "B8", "S5", "Z2", "G6", "|I", "|l"):
        first, second = (ink(letter, bold) for letter in (one, other))
        assert len(first ^ second) > 0.2 * len(first | second), one + other


@functools.cache
def ink(letter: str, bold: bool) -> frozenset[int]:
    """The dark pixels of a letter, moved to the left edge of its box."""
    import cairocffi

    surface = cairocffi.ImageSurface(cairocffi.FORMAT_A8, 96, 96)
    context = cairocffi.Context(surface)
    left = min(numbers[0] for _, numbers in letter_path(letter, bold) if numbers)
    context.scale(0.08, 0.08)
    trace(context, letter_path(letter, bold), dx=-left, dy=900)
    context.fill()
    data = bytes(surface.get_data())
    return frozenset(at for at, value in enumerate(data) if value > 127)


@pytest.mark.parametrize("bold", [False, True])
def test_figures_have_equal_width_and_are_not_kerned(bold: bool) -> None:
    assert len({width(a + b + ".", 1.0, bold) - width(".", 1.0, bold) for a in "0123456789" for b in "0123456789"}) == 1


@pytest.mark.parametrize("bold", [False, True])
def test_every_letter_of_latin_1_and_every_sign_of_the_sheet_is_there(bold: bool) -> None:
    latin_1 = bytes([*range(0x20, 0x7F), *range(0xA0, 0x100)]).decode("latin-1")
    assert set(latin_1 + "–—‘’“”„•…→←↑↓≥≤≠✓−×·€ŁŐŞžœ") <= set(face(bold).glyphs)


def test_measures_are_those_of_the_drawn_letters() -> None:
    """Capitals stand as high as the measure says; nothing of a letter reaches far beyond its width."""
    for bold in (False, True):
        assert face(bold).glyphs["E"][2] == pytest.approx(CAP * 1000)
        for letter, (advance, bottom, top, _) in face(bold).glyphs.items():
            drawn = [numbers for _, numbers in letter_path(letter, bold) if numbers]
            if drawn:
                ys = [-y for numbers in drawn for y in numbers[1::2]]
                xs = [x for numbers in drawn for x in numbers[::2]]
                assert min(ys) == pytest.approx(bottom, abs=2) and max(ys) == pytest.approx(top, abs=2), letter
                assert min(xs) >= -80 and max(xs) <= advance + 80, letter


def test_the_licence_travels_with_the_letters() -> None:
    folder = Path(dimmplan.sheet.__file__).parent
    owner = json.loads((folder / "letters.json").read_text(encoding="utf-8"))["copyright"]
    licence = (folder / "letters-OFL.txt").read_text(encoding="utf-8")
    assert owner in licence and "SIL OPEN FONT LICENSE Version 1.1" in licence
