"""Nothing touches: measured on pixels that independent renderers draw, never on our own text widths."""

from __future__ import annotations

import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from dimmplan.output.svg import render_svg
from dimmplan.sheet.compose import compose
from dimmplan.sheet.shapes import Text
from tests.sheet.inkcheck import check, masked
from tests.sheet.pages import BOARDS, board, sheet
from tests.sheet.placements import make, renamed

LONG = {
    "title": "Memory, second upgrade of the year for the accounts machine in the far row of the old hall",
    "tag": "R12-U07-accounts-far-row-2",
    "date": "Wednesday, 25 November 2026",
    "code": "68T0-0000-0000-0000-0004-DMM0-0000-0000-0000-002Q-E0T9-JRYJ-8E1S-F72K",
}


def clean_pages(pages, renderer="rsvg", dpi=120) -> None:
    for page in pages:
        found = check(render_svg(page), renderer, dpi=dpi)
        assert (found.on_text, found.on_line, found.in_margin) == (0, 0, 0), (page.name, found)


@pytest.mark.system_tool("rsvg-convert")
@pytest.mark.parametrize("fill", ["full", "sparse"])
@pytest.mark.parametrize("name", BOARDS)
def test_no_text_touches_text_or_line(name: str, fill: str) -> None:
    clean_pages(sheet(name, fill).pages)


@pytest.mark.system_tool("rsvg-convert")
@pytest.mark.parametrize(
    ("name", "fill", "options"),
    [
        ("skerry-16", "hold", {"paper": "a5", "front": "up"}),
        ("machair-20", "hold", {"paper": "letter"}),
        ("machair-20", "one-socket", {"front": "up", "ink": "mono"}),
        ("tombolo-32", "mixed", {"paper": "letter"}),
        ("groyne-24", "one-socket", {"paper": "a5"}),
        ("strand-12", "mixed", {"front": "up"}),
        ("causeway-48", "one-socket", {"paper": "a5"}),
        ("firth-96", "hold", {"paper": "letter", "front": "up"}),
        ("marram-4", "mixed", {"paper": "a5", "ink": "mono"}),
    ],
)
@pytest.mark.parametrize("given", [{}, LONG], ids=["lines to write on", "long title block"])
def test_other_papers_ways_and_states(name: str, fill: str, options: dict, given: dict) -> None:
    clean_pages(sheet(name, fill, **options, **given).pages)


@pytest.mark.parametrize(
    ("name", "fill"), [("skerry-16", "mixed"), ("lagoon-32", "full"), ("strand-12", "sparse"), ("firth-96", "full")]
)
def test_the_other_renderer_agrees(name: str, fill: str) -> None:
    clean_pages(sheet(name, fill, **LONG).pages[:2], "cairosvg")


@pytest.mark.system_tool("rsvg-convert")
def test_names_that_no_page_could_show_whole() -> None:
    names = {slot: f"{slot} " + "long-winded name " * 2 for slot in board("skerry-16").slots}
    wordy = renamed(board("skerry-16"), names)
    clean_pages(compose(wordy, make(wordy, "mixed")).pages)


@pytest.mark.system_tool("rsvg-convert")
def test_names_in_other_scripts() -> None:
    pieces = ("日本語", "Ωμέγα", "слот", "שקע", "Größe", "ñandú")
    names = {slot: f"{pieces[n % 6]}{n}" for n, slot in enumerate(board("skerry-16").slots)}
    foreign = renamed(board("skerry-16"), names)
    for page in compose(foreign, make(foreign, "mixed")).pages:
        found = check(render_svg(page), "rsvg", dpi=120)
        assert (found.on_text, found.in_margin) == (0, 0), found


# The check itself is proven: planted faults are found.


def planted(text: Text) -> str:
    page = sheet("skerry-16").pages[0]
    return render_svg(page._replace(shapes=(*page.shapes, text)))


@pytest.mark.system_tool("rsvg-convert")
def test_a_planted_overlap_is_found() -> None:
    heading = next(s for s in sheet("skerry-16").pages[0].shapes if isinstance(s, Text))
    assert check(planted(heading._replace(x=heading.x + 0.4, y=heading.y + 0.4))).on_text > 20


@pytest.mark.system_tool("rsvg-convert")
def test_planted_text_over_a_line_and_off_the_page_is_found() -> None:
    over_frame = Text(x=20.0, y=150.0, text="over the frame", size=3.0, look="", anchor="middle")
    assert check(planted(over_frame)).on_line > 5
    off_page = Text(x=205.0, y=293.0, text="off the page", size=3.0, look="")
    assert check(planted(off_page)).in_margin > 20


@pytest.mark.system_tool("rsvg-convert")
def test_a_font_that_runs_wider_is_found() -> None:
    listed = (
        subprocess.run(["fc-list"], capture_output=True, text=True, check=False).stdout
        if shutil.which("fc-list")
        else ""
    )
    if "DejaVu Sans" not in listed:
        pytest.skip("needs the font DejaVu Sans, which runs 8 to 20 % wider")
    found = check(render_svg(sheet("tombolo-32").pages[0]), font="DejaVu Sans")
    assert found.on_text + found.on_line > 50


# The same page as a PDF of another program: names are words there, in the letters asked for.


def pdf_words(svg: str, folder: Path) -> list[tuple[str, float, float]]:
    """Words of the page as a PDF reader finds them, with the width and height of their boxes in mm."""
    pdf, out = folder / "page.pdf", folder / "page.html"
    subprocess.run(["rsvg-convert", "-f", "pdf", "-o", str(pdf)], input=svg.encode(), check=True)
    subprocess.run(["pdftotext", "-bbox", str(pdf), str(out)], check=True)
    root = ET.parse(out).getroot()
    return [
        (
            word.text or "",
            (float(word.get("xMax", 0)) - float(word.get("xMin", 0))) * 25.4 / 72,
            (float(word.get("yMax", 0)) - float(word.get("yMin", 0))) * 25.4 / 72,
        )
        for word in root.iter("{http://www.w3.org/1999/xhtml}word")
    ]


@pytest.mark.system_tool("rsvg-convert")
@pytest.mark.system_tool("pdftotext")
@pytest.mark.parametrize("name", BOARDS)
def test_every_slot_name_is_a_word_of_the_pdf(name: str, tmp_path: Path) -> None:
    found = [w for page in sheet(name).pages for w in pdf_words(render_svg(page), tmp_path)]
    spoken = {word for word, _, _ in found}
    assert set(board(name).slots) <= spoken
    # across its line a word's box is 1.12 font sizes in this family of fonts: that of capitals 2 mm high is 3.25 mm
    assert min(min(wide, high) for word, wide, high in found if len(word) > 4) >= 1.1 * 2.0 / 0.688


def test_masking_keeps_what_is_drawn() -> None:
    """The check replaces the stylesheet alone: every shape of the page is still there."""
    svg = render_svg(sheet("skerry-16").pages[0])
    changed = masked(svg)
    assert re.sub(r"<style.*?</style>", "", changed, flags=re.DOTALL) == re.sub(
        r"<style.*?</style>", "", svg, flags=re.DOTALL
    )
    assert "#ff00ff" in changed and "#ff00ff" not in svg
