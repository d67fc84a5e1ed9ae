"""Every form of a comparison: what it holds, that it fits, and that it harms nobody who opens it."""

from __future__ import annotations

import base64
import csv
import io
import itertools
import re
import sys
import xml.etree.ElementTree as ET
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.compare import compare
from dimmplan.errors import InputError
from dimmplan.output.columns import inert
from dimmplan.output.compare import Report, counts_of
from dimmplan.output.compare_chart import chart_svg, description, fastest_unbeaten, looks_of, points_of
from dimmplan.output.compare_rows import WIDTH, CompareDocument, compare_csv
from dimmplan.page.comparison import compare_html
from dimmplan.units import decimal
from tests.compare.cases import NAMES, compare_text, report_of
from tests.support import sampled, shipped_raw, toml_text, unprintable

SVG = "{http://www.w3.org/2000/svg}"


def placed(record: dict[str, Any]) -> list[dict[str, Any]]:
    return [row for row in record["rows"] if row["status"] != "impossible"]


# -- the terminal ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_the_table_fits_100_columns(name: str) -> None:
    text = compare_text(report_of(name))
    assert max(map(len, text.splitlines())) <= WIDTH
    assert not list(unprintable(text))


@pytest.mark.parametrize("name", NAMES)
def test_the_table_has_every_row_worth_showing(name: str) -> None:
    """Sweep, share and free slots of each row stand in one line, together with its marks."""
    report = report_of(name)
    lines = compare_text(report).splitlines()
    shown = [row for group in report.comparison.groups for row in report.shown(group)]
    assert shown
    by_command = {row["command"]: row for row in placed(CompareDocument.of(report).plain())}
    for row in shown:
        totals = by_command[report.command(row)]["totals"]
        assert row.figures is not None
        share = f"{decimal(row.figures.worst_share, 3):.3f}"
        sweeps = rf"{totals['balanced_sweep_gb_s']:.1f} +{totals['worst_sweep_gb_s']:.1f}"
        pattern = rf"{totals['rate_mts']}<? +{share} +{sweeps} .*"
        pattern += rf" {totals['free_slots']}\b"
        marks = (">" if row.is_answer else " ") + ("*" if row.unbeaten else " ") + ("=" if row.even else " ")
        assert any(line.startswith(marks) and re.search(pattern, line) for line in lines), (marks, pattern)


def test_the_irregular_board_from_a_shelf() -> None:
    text = re.sub(r"\n {5}(?=PC4)", " ", compare_text(report_of("stocked")))
    assert "each 6c" in text and ">*=  12 x 32GB c" in text
    assert "20 on the shelf at 58.00 to 61.50 EUR; equal here: 32GB 2Rx4 PC4-3200AA-R" in text
    assert "4 TiB  nothing fits; plan with this capacity says why and what to buy" in text
    assert "Cost is compared" in text and "cost EUR" in text


def test_short_forms_of_placements() -> None:
    """The notation of the legend, checked against the slots themselves."""
    for name in NAMES:
        report = report_of(name)
        for row in report.comparison.rows:
            if row.planned is None:
                continue
            text = report.placement(row)
            sockets: list[str] = []
            for part in text.removeprefix("each ").split(" | "):
                run = re.fullmatch(r"\((.*)\)x(\d+)", part)
                sockets += [run[1]] * int(run[2]) if run else [part]
            sockets *= len(row.request.fitted) if text.startswith("each ") else 1
            content = row.planned.placement.content
            assert len(sockets) == len(row.request.fitted)
            for socket, said in zip(row.request.fitted, sockets, strict=True):
                loads = [
                    "".join(report.keys[m] for slot in channel.slots if (m := content.get(slot))) or "-"
                    for channel in report.board.socket(socket).channels
                ]
                told = [
                    load
                    for word in said.split()
                    for load in [word.lstrip("0123456789")] * int(re.findall(r"^\d+", word)[0])
                ]
                assert sorted(told) == sorted(loads)


# -- CSV ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_csv_holds_what_json_holds(name: str) -> None:
    report = report_of(name)
    record = CompareDocument.of(report).plain()
    rows = list(csv.DictReader(io.StringIO(compare_csv(report))))
    assert len(rows) == len(record["rows"])
    for cells, row in zip(rows, record["rows"], strict=True):
        assert (cells["capacity_gib"], cells["status"]) == (str(row["capacity_gib"]), row["status"])
        assert cells["command"] == row["command"]
        if row["status"] == "impossible":
            continue
        for key in ("usable_gib", "rate_mts", "worst_share", "balanced_sweep_gb_s", "free_slots"):
            assert float(cells[key]) == float(row["totals"][key])
        assert cells["cost"] == ("" if row["totals"]["cost"] is None else str(row["totals"]["cost"]))
        assert cells["plan_answer"] == ("yes" if row["plan_answer"] else "no")


@pytest.mark.parametrize("mark", ["=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"])
def test_no_cell_is_a_formula(mark: str) -> None:
    assert inert(f"{mark}1+1") == f"'{mark}1+1"
    assert inert(f"  {mark}1+1").startswith("'")
    assert inert(-3) == "-3" and inert("8 x 64GB") == "8 x 64GB" and inert("") == ""


def hostile(tmp_path: Path) -> Report:
    """A board file whose words try to be formulas and mark-up."""
    raw = shipped_raw("marram-4")
    raw["title"] = "<script>alert(1)</script>&\"'"
    raw["processors"][0] |= {"id": "+cmd|' /C calc'!A0", "title": "<img src=x onerror=alert(1)>"}
    raw["rules"].append(
        {"id": "loud", "check": "note", "about": "care", "text": "</style><script>x</script>", "source": "INVENTED"}
    )
    path = tmp_path / "marram-4.toml"
    path.write_text(toml_text(raw), encoding="utf-8")
    board = load_board(str(path))
    return Report(compare(board, capacities=["32GiB", "64GiB"]), board_name=str(path))


def test_a_hostile_board_stays_text(tmp_path: Path) -> None:
    report = hostile(tmp_path)
    for row in csv.reader(io.StringIO(compare_csv(report))):
        assert not any(cell[:1] in "=+-@\t\r" for cell in row if cell)
    page = compare_html(report)
    assert "<script" not in page and "onerror=alert(1)>" not in page.replace("&gt;", "")
    svg = chart_svg(report)
    assert {element.tag for element in ET.fromstring(svg).iter()} <= {
        SVG + tag
        for tag in ("svg", "title", "desc", "metadata", "defs", "style", "clipPath", "rect", "g", "path", "use")
    }


# -- HTML --------------------------------------------------------------------------------------------------------------


class Outline(HTMLParser):
    """Tags that are open, tags met, and the cells of the table."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.met: list[tuple[str, dict[str, str | None]]] = []
        self.rows: list[list[str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.met.append((tag, dict(attrs)))
        if tag not in ("meta", "img"):
            self.open.append(tag)
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "td" in self.open or "th" in self.open:
            self.rows[-1][-1] += data


@pytest.mark.parametrize("name", sampled(NAMES, 1))
def test_the_page_is_whole_and_loads_nothing(name: str) -> None:
    report = report_of(name)
    page = compare_html(report)
    outline = Outline()
    outline.feed(page)
    outline.close()
    assert outline.open == []
    sources = [attributes[key] for _, attributes in outline.met for key in ("src", "href") if key in attributes]
    assert sources and all(source and source.startswith("data:image/svg+xml;base64,") for source in sources)
    assert not {tag for tag, _ in outline.met} & {"script", "link", "iframe", "object"}
    assert b"dimmplan" in page.encode()[:4096]
    shown = [row for group in report.comparison.groups for row in report.shown(group)]
    cells = [row for row in outline.rows if len(row) > 1][1:]
    assert len(cells) == len(shown)
    for row, told in zip(shown, cells, strict=True):
        assert report.placement(row) in told and told[-1] == report.command(row)
    (image,) = (attributes for tag, attributes in outline.met if tag == "img")
    assert image["alt"] and "table" in image["alt"]
    chart = base64.b64decode((image["src"] or "").partition(",")[2]).decode("utf-8")
    assert chart == chart_svg(report)


# -- the chart ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_the_chart_tells_its_data_in_words(name: str) -> None:
    report = report_of(name)
    root = ET.fromstring(chart_svg(report))
    title, desc = root.findtext(f"{SVG}title") or "", root.findtext(f"{SVG}desc") or ""
    assert title.startswith("dimmplan") and report.board.title in title
    assert desc == description(report)
    for row in placed(CompareDocument.of(report).plain()):
        if not row["outside_window"]:
            modules = " + ".join(f"{each['count']} x {each['label']}" for each in row["modules"])
            assert f"{modules}, balanced sweep {row['totals']['balanced_sweep_gb_s']:.1f} GB/s" in desc


@pytest.mark.parametrize("name", NAMES)
def test_every_row_is_a_point_that_says_what_it_is(name: str) -> None:
    """Same placement for two capacities is one point; every other row has its own place in both views."""
    report = report_of(name)
    priced = any(row.cost is not None for row in report.comparison.rows)
    for processor in report.comparison.processors:
        points = points_of(report, processor)
        told = {(point.label, point.capacity, point.sweep) for point in points}
        assert len(told) == len(points)
        rows = [row for g in report.comparison.groups for row in report.shown(g) if row.request.processor == processor]
        for row in rows:
            assert row.figures is not None
            modules = sorted((module.capacity_gib, count) for module, count in counts_of(row))
            (point,) = (
                point
                for point in points
                if sorted((int(size), int(n)) for n, size in re.findall(r"(\d+) x (\d+)GB", point.label)) == modules
                and point.capacity == row.figures.usable_gib
                and point.sweep == float(row.figures.balanced_sweep_gb_s)
            )
            assert point.second == (float(row.cost or 0) if priced else row.figures.free_slots)
        for places in (
            [(p.capacity, p.sweep, p.aside) for p in points],
            [(p.capacity, p.second, p.second_aside) for p in points],
        ):
            assert len(set(places)) == len(places), "no point lies on another"


def test_types_differ_without_colour() -> None:
    """However many types there are: no form and filling comes twice."""
    keys = [letter * (1 + n) for n in range(4) for letter in "abcdefghijklmnopqrstuvwxyz"]
    looks = looks_of(keys)
    assert len({(form, fill) for form, fill, _ in looks.values()}) == len(keys)


@pytest.mark.parametrize("name", NAMES)
def test_the_line_joins_the_fastest_unbeaten_row_of_each_capacity(name: str) -> None:
    report = report_of(name)
    for processor in report.comparison.processors:
        points = points_of(report, processor)
        joined = fastest_unbeaten(points)
        asked = [point.row.request.capacity_gib for point in joined]
        assert joined and asked == sorted(set(asked))
        for point in joined:
            same = [other for other in points if other.row.request.capacity_gib == point.row.request.capacity_gib]
            assert point.row.unbeaten and point.sweep == max(other.sweep for other in same)


@pytest.mark.parametrize("name", sampled(NAMES, 1))
def test_words_lie_on_nothing_and_answers_have_theirs(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Measured where they are drawn: no words on words, on points, on the line, or beyond the figure."""
    from matplotlib.figure import Figure
    from matplotlib.text import Text

    drawn: list[Any] = []
    monkeypatch.setattr(Figure, "savefig", lambda figure, output, **_: (drawn.append(figure), output.write(b"<svg >")))
    report = report_of(name)
    chart_svg(report)
    (figure,) = drawn
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    renderer = FigureCanvasAgg(figure).get_renderer()
    figure.draw_without_rendering()
    every = [*figure.texts, *(text for ax in figure.axes for text in ax.texts)]
    texts = [(text.get_text(), Text.get_window_extent(text, renderer).extents) for text in every]
    for (_, one), (_, other) in itertools.combinations(texts, 2):
        assert not (one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3])
    wide, high = figure.get_size_inches() * figure.dpi
    assert all(b[0] >= 0 and b[1] >= 0 and b[2] <= wide and b[3] <= high for _, b in texts)
    labels = {text for text, _ in texts}
    top = figure.axes[: len(report.comparison.processors)]
    for processor, ax in zip(report.comparison.processors, top, strict=True):
        points = points_of(report, processor)
        answers = {point.label for point in points if point.row.is_answer}
        assert len(answers - labels) <= len(answers) // 5, "nearly every answer has its words"
        assert len({point.label for point in points} & labels) >= 0.6 * len({point.label for point in points})
        for point in points:
            x, y = ax.transData.transform((point.capacity, point.sweep))
            x += 0.6 * 9 * point.aside * figure.dpi / 72
            assert not any(b[0] < x < b[2] and b[1] < y < b[3] for _, b in texts)
        frame = ax.get_window_extent()
        assert frame.width * len(top) > 0.85 * wide, "the panels fill the width"


def test_a_chart_without_matplotlib(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A clear word for a picture; a page goes without, and says so."""
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    with pytest.raises(InputError) as caught:
        chart_svg(report_of("skerry"))
    (problem,) = caught.value.problems
    assert "pip install 'dimmplan[charts]'" in problem.hint and "matplotlib" in problem.found
    page = compare_html(report_of("skerry"))
    assert "<img" not in page and "pip install" in page


@pytest.mark.parametrize("name", sampled(NAMES, 1))
def test_same_comparison_same_bytes(name: str) -> None:
    report, again = report_of(name), report_of.__wrapped__(name)
    assert compare_html(report) == compare_html(again)
