"""PNG and PDF, read back by tools that are not the writer's."""

from __future__ import annotations

import builtins
import re
import subprocess
import xml.etree.ElementTree as ET
import zlib
from pathlib import Path

import pytest

from dimmplan.cli.run import run
from dimmplan.cli.sheets import sheet_files
from dimmplan.errors import InputError
from dimmplan.output import raster
from dimmplan.plancode.code import encode
from dimmplan.sheet.compose import compose
from dimmplan.sheet.letters import CAP, width
from dimmplan.sheet.shapes import Text, walk
from tests.machine.support import planned
from tests.support import sampled

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4), "a5": (148.0, 210.0)}
BOARD, PLAN = planned("skerry-16", "512GiB", modules=["32GiB"])


def drawn(tmp_path: Path, name: str, **options) -> Path:
    options = {"paper": "a4", "ink": "colour", "front": "down", "title": None, "tag": None, "date": None} | options
    for path, content in sheet_files(BOARD, PLAN, tmp_path / name, **options).items():
        path.write_bytes(content)
    return tmp_path / name


@pytest.mark.system_tool("libcairo2")
def test_png_has_300_dots_per_inch_and_the_size_of_the_paper(tmp_path: Path) -> None:
    png = drawn(tmp_path, "x.png").read_bytes()
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    wide, high = (int.from_bytes(png[at : at + 4], "big") for at in (16, 20))
    assert (wide / 300 * 25.4, high / 300 * 25.4) == pytest.approx(PAPERS["a4"], abs=0.1)
    at = png.index(b"pHYs")
    dots, unit = int.from_bytes(png[at + 4 : at + 8], "big"), png[at + 12]
    assert (dots, unit) == (11811, 1)
    assert zlib.crc32(png[at : at + 13]) == int.from_bytes(png[at + 13 : at + 17], "big")


@pytest.mark.system_tool("pdfinfo")
@pytest.mark.parametrize("paper", PAPERS)
def test_pdf_holds_all_pages_at_the_exact_size(tmp_path: Path, paper: str) -> None:
    path = drawn(tmp_path, "x.pdf", paper=paper)
    said = subprocess.run(["pdfinfo", "-l", "99", path], capture_output=True, text=True, check=True).stdout
    count = int(re.search(r"Pages:\s+(\d+)", said)[1])
    assert count == len(sheet_files(BOARD, PLAN, tmp_path / "x.svg", paper=paper))
    sizes = re.findall(r"Page\s+\d+ size:\s+([\d.]+) x ([\d.]+) pts", said)
    assert len(sizes) == count
    for size in sizes:
        mm = sorted(float(points) / 72 * 25.4 for points in size)
        assert mm == pytest.approx(sorted(PAPERS[paper]), abs=0.1)


@pytest.mark.system_tool("pdftotext")
def test_every_slot_name_is_a_word_of_the_pdf(tmp_path: Path) -> None:
    path = drawn(tmp_path, "x.pdf")
    text = subprocess.run(["pdftotext", "-l", "1", path, "-"], capture_output=True, text=True, check=True).stdout
    assert set(BOARD.slots) <= set(text.split())
    assert "512 GiB · 2666 MT/s" in text and "All cords pulled" in text


@pytest.mark.system_tool("pdftotext")
def test_words_of_the_pdf_lie_where_they_are_drawn(tmp_path: Path) -> None:
    """A reader finds a word's box by the widths that the file gives: it is as wide as the measure says."""
    path = drawn(tmp_path, "x.pdf")
    subprocess.run(["pdftotext", "-bbox", "-l", "1", path, tmp_path / "x.html"], check=True)
    root = ET.parse(tmp_path / "x.html").getroot()
    boxes = {
        str(word.text): [float(word.get(side, 0)) * 25.4 / 72 for side in ("xMin", "xMax")]
        for word in root.iter("{http://www.w3.org/1999/xhtml}word")
    }
    left, right = boxes["WARNING"]
    page = compose(BOARD, PLAN).pages[0]
    line = next(shape for shape in walk(page.shapes) if isinstance(shape, Text) and shape.text == "! WARNING")
    assert right == pytest.approx(line.start[0] + line.width, abs=0.05)
    assert right - left == pytest.approx(width("WARNING", line.size * CAP, bold=True), abs=0.05)


@pytest.mark.system_tool("pdftotext")
def test_letters_of_other_scripts_are_found_too(tmp_path: Path) -> None:
    path = drawn(tmp_path, "x.pdf", title="Größe 日本語 слот e\u0323", tag="ŁŐŞ → ≥")
    text = subprocess.run(["pdftotext", "-l", "1", path, "-"], capture_output=True, text=True, check=True).stdout
    assert "日本語" in text and "слот" in text and "Größe" in text and "ŁŐŞ → ≥" in text


@pytest.mark.system_tool("libcairo2", "pdftoppm")
@pytest.mark.parametrize("ink", sampled(["mono", "colour"], 1))
def test_the_pdf_is_the_picture_of_the_png(tmp_path: Path, ink: str) -> None:
    """Drawn by a reader that is not ours; compared by square millimetres, since it moves thin lines to whole pixels."""
    image = pytest.importorskip("PIL.Image")
    path = drawn(tmp_path, "x.pdf", ink=ink)
    subprocess.run(["pdftoppm", "-r", "300", "-l", "1", "-png", path, tmp_path / "p"], check=True)
    theirs = image.open(next(tmp_path.glob("p*.png"))).convert("L").resize((206, 291), image.Resampling.BOX)
    ours = image.open(drawn(tmp_path, "x.png", ink=ink)).convert("L").resize((206, 291), image.Resampling.BOX)
    far = [abs(a - b) for a, b in zip(ours.tobytes(), theirs.tobytes(), strict=True)]
    assert sum(far) / len(far) < 4 and max(far) < 64


def test_pdf_has_the_same_bytes_each_time(tmp_path: Path) -> None:
    assert drawn(tmp_path, "x.pdf").read_bytes() == drawn(tmp_path, "y.pdf").read_bytes()


@pytest.mark.system_tool("libcairo2")
@pytest.mark.parametrize("ink", sampled(["mono", "colour"], 1))
def test_the_code_is_read_from_a_grey_200_dpi_picture_turned_by_3_degrees(tmp_path: Path, ink: str) -> None:
    """By a reader that is not the writer's."""
    zxingcpp = pytest.importorskip("zxingcpp")
    image = pytest.importorskip("PIL.Image")
    picture = image.open(drawn(tmp_path, "x.png", ink=ink)).convert("L")
    picture = picture.resize((picture.width * 2 // 3, picture.height * 2 // 3)).rotate(3, expand=True, fillcolor=255)
    read = [symbol.text for symbol in zxingcpp.read_barcodes(picture)]
    assert read == [encode(BOARD, PLAN)]


def test_without_libcairo_png_says_what_to_install_and_all_else_still_works(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    real = builtins.__import__

    def without(name, *rest, **more):
        if name.startswith("cairo"):
            raise OSError("no library called cairo was found")
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(InputError, match="libcairo2"):
        raster.png_bytes(compose(BOARD, PLAN).pages[0])
    plan = tmp_path / "plan.json"
    assert run(["plan", "skerry-16", "--capacity", "384GiB", "--json"]) == 0
    plan.write_text(capsys.readouterr().out)
    assert run(["draw", str(plan), "-o", str(tmp_path / "x.png")]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1 and "apt install libcairo2" in error
    for name in ("x.svg", "x.pdf", "x.html"):
        assert run(["draw", str(plan), "-o", str(tmp_path / name), "--title", "日本"]) == 0


def test_letters_that_the_sheet_cannot_bring_along_are_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code = encode(BOARD, PLAN)
    assert run(["draw", code, "-o", str(tmp_path / "x.svg"), "--title", "Größe 日本"]) == 0
    assert "warning: the sheet has no letters of its own for '日本'" in capsys.readouterr().err
    assert run(["draw", code, "-o", str(tmp_path / "y.svg"), "--title", "Größe ŁŐ → 5"]) == 0
    assert "warning" not in capsys.readouterr().err
