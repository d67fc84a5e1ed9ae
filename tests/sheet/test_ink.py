"""Nothing touches: measured on pixels that independent renderers draw, never on our own text widths."""

from __future__ import annotations

import io
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from dimmplan.output.raster import DOTS_PER_INCH, png_bytes
from dimmplan.output.svg import render_svg
from dimmplan.sheet.compose import compose
from dimmplan.sheet.shapes import Text
from tests.sheet.inkcheck import check, masked, pixels
from tests.sheet.matrix import LONG
from tests.sheet.pages import BOARDS, board, sheet
from tests.sheet.placements import make, renamed
from tests.support import WHOLE, sampled


def clean_pages(pages, renderer="rsvg", dpi=120) -> None:
    for page in pages:
        found = check(render_svg(page), renderer, dpi=dpi)
        assert (found.on_text, found.on_line, found.in_margin) == (0, 0, 0), (page.name, found)


@pytest.mark.system_tool("rsvg-convert", "libcairo2")
def test_names_that_no_page_could_show_whole() -> None:
    names = {slot: f"{slot} " + "long-winded name " * 2 for slot in board("skerry-16").slots}
    wordy = renamed(board("skerry-16"), names)
    clean_pages(compose(wordy, make(wordy, "mixed")).pages)


@pytest.mark.system_tool("rsvg-convert", "libcairo2")
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


@pytest.mark.system_tool("rsvg-convert", "libcairo2")
def test_a_planted_overlap_is_found() -> None:
    heading = next(s for s in sheet("skerry-16").pages[0].shapes if isinstance(s, Text))
    assert check(planted(heading._replace(x=heading.x + 0.4, y=heading.y + 0.4))).on_text > 20


@pytest.mark.system_tool("rsvg-convert", "libcairo2")
def test_planted_text_over_a_line_and_off_the_page_is_found() -> None:
    over_frame = Text(x=20.0, y=150.0, text="over the frame", size=3.0, look="", anchor="middle")
    assert check(planted(over_frame)).on_line > 5
    off_page = Text(x=205.0, y=293.0, text="off the page", size=3.0, look="")
    assert check(planted(off_page)).in_margin > 20


# Whatever fonts a machine has


@pytest.fixture(params=sampled(["empty", "the machine's"], 1))
def fonts(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """Renderers that are started see no font at all, or those of this machine."""
    if request.param == "empty":
        (tmp_path / "fonts.conf").write_text("<fontconfig></fontconfig>")
        monkeypatch.setenv("FONTCONFIG_FILE", str(tmp_path / "fonts.conf"))
    return str(request.param)


@pytest.mark.system_tool("rsvg-convert", "libcairo2")
def test_the_page_is_clean_with_any_fonts_in_one_renderer(fonts: str) -> None:
    clean_pages(sheet("skerry-16", "mixed", **LONG).pages[:1])


@pytest.mark.system_tool("libcairo2")
@pytest.mark.parametrize(
    ("name", "fill"),
    sampled([("strand-12", "sparse"), ("skerry-16", "mixed"), ("lagoon-32", "full"), ("firth-96", "full")], 1),
)
def test_the_page_is_clean_with_any_fonts_in_the_other_renderer(fonts: str, name: str, fill: str) -> None:
    code = (
        "from tests.sheet.test_ink import LONG, clean_pages, sheet\n"
        f"clean_pages(sheet({name!r}, {fill!r}, **LONG).pages[:{2 if WHOLE else 1}], 'cairosvg')"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


PICTURED = sampled(sorted(BOARDS, key=lambda name: len(board(name).slots)), 1)
PICTURES = f"""
import hashlib
from dimmplan.output.raster import png_bytes
from tests.sheet.pages import sheet
for name in {tuple(PICTURED)}:
    for page in sheet(name, "mixed").pages:
        print(name, hashlib.sha256(png_bytes(page)).hexdigest())
"""


@pytest.mark.system_tool("libcairo2")
def test_pictures_are_the_same_with_and_without_fonts(tmp_path: Path) -> None:
    """All pages of the sheet of every shipped board as PNG, byte for byte; CI takes a sample of boards."""
    (tmp_path / "fonts.conf").write_text("<fontconfig></fontconfig>")
    drawn = {
        subprocess.run([sys.executable, "-c", PICTURES], env=environment, stdout=subprocess.PIPE, check=True).stdout
        for environment in (os.environ, os.environ | {"FONTCONFIG_FILE": str(tmp_path / "fonts.conf")})
    }
    assert len(drawn) == 1 and next(iter(drawn)).count(b"\n") >= 2 * len(PICTURED)


@pytest.mark.system_tool("libcairo2")
@pytest.mark.parametrize("ink", sampled(["colour", "mono"], 1))
def test_the_png_is_the_picture_that_another_renderer_makes_of_the_svg(ink: str) -> None:
    """Our own drawing against that of the SVG: every pixel within what smoothing of edges may differ by."""
    import cairocffi

    page = sheet("marram-4", "hold", ink=ink, paper="a5").pages[0]
    theirs, width, height = pixels(render_svg(page), "cairosvg", DOTS_PER_INCH)
    surface = cairocffi.ImageSurface.create_from_png(io.BytesIO(png_bytes(page)))
    data, stride = bytes(surface.get_data()), surface.get_stride()
    high, wide = min(height, surface.get_height()), min(width, surface.get_width())
    far = 0
    for y in range(high):
        one, other = data[y * stride : y * stride + 4 * wide], theirs[y * 4 * width : y * 4 * width + 4 * wide]
        far += (
            0 if one[1::4] == other[1::4] else sum(abs(a - b) > 96 for a, b in zip(one[1::4], other[1::4], strict=True))
        )
    assert far < 0.0005 * high * wide


def test_masking_keeps_what_is_drawn() -> None:
    """The check replaces the stylesheet alone: every shape of the page is still there."""
    svg = render_svg(sheet("skerry-16").pages[0])
    changed = masked(svg)
    assert re.sub(r"<style.*?</style>", "", changed, flags=re.DOTALL) == re.sub(
        r"<style.*?</style>", "", svg, flags=re.DOTALL
    )
    assert "#ff00ff" in changed and "#ff00ff" not in svg
