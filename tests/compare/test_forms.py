"""Every form of a comparison: what it holds, that it fits, and that it harms nobody who opens it."""

from __future__ import annotations

import base64
import csv
import io
import itertools
import re
import xml.etree.ElementTree as ET
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.compare import compare
from dimmplan.output.columns import inert
from dimmplan.output.compare import View
from dimmplan.output.compare_chart import chart_page, description
from dimmplan.output.compare_columns import compare_csv
from dimmplan.output.compare_record import compare_record
from dimmplan.output.compare_text import WIDTH, compare_text
from dimmplan.output.svg import render_svg
from dimmplan.page.comparison import compare_html
from dimmplan.sheet.measure import cap_height, width
from dimmplan.sheet.shapes import Group, Rect, Shape, Text, walk
from dimmplan.units import decimal
from tests.compare.cases import NAMES, stocked, view_of
from tests.support import shipped_raw, toml_text, unprintable

SVG = "{http://www.w3.org/2000/svg}"


def placed(record: dict[str, Any]) -> list[dict[str, Any]]:
    return [row for row in record["rows"] if row["status"] != "impossible"]


# -- the terminal ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_the_table_fits_100_columns(name: str) -> None:
    text = compare_text(view_of(name))
    assert max(map(len, text.splitlines())) <= WIDTH
    assert not list(unprintable(text))


@pytest.mark.parametrize("name", NAMES)
def test_the_table_has_every_row_worth_showing(name: str) -> None:
    """Sweep, share and free slots of each row stand in one line, together with its marks."""
    view = view_of(name)
    lines = compare_text(view).splitlines()
    shown = [row for group in view.comparison.groups for row in view.shown(group)]
    assert shown
    by_command = {row["command"]: row for row in placed(compare_record(view))}
    for row in shown:
        totals = by_command[view.command(row)]["totals"]
        assert row.figures is not None
        share = f"{decimal(row.figures.worst_share, 3):.3f}"
        pattern = rf"{totals['rate_mts']}<? +{share} +{totals['system_sweep_gb_s']:.1f} .*"
        pattern += rf" {totals['free_slots']}\b"
        marks = (">" if row.is_answer else " ") + ("*" if row.unbeaten else " ") + ("=" if row.even else " ")
        assert any(line.startswith(marks) and re.search(pattern, line) for line in lines), (marks, pattern)


def test_the_irregular_board_from_a_shelf() -> None:
    text = re.sub(r"\n {5}(?=PC4)", " ", compare_text(view_of("stocked")))
    assert "each 6c" in text and ">*=  12 x 32GB c" in text
    assert "20 on the shelf at 58.00 to 61.50 EUR; equal here: 32GB 2Rx4 PC4-3200AA-R" in text
    assert "4 TiB  nothing fits; plan with this capacity says why and what to buy" in text
    assert "Cost is compared" in text and "cost EUR" in text


def test_short_forms_of_placements() -> None:
    """The notation of the legend, checked against the slots themselves."""
    for name in NAMES:
        view = view_of(name)
        for row in view.comparison.rows:
            if row.planned is None:
                continue
            text = view.placement(row)
            sockets: list[str] = []
            for part in text.removeprefix("each ").split(" | "):
                run = re.fullmatch(r"\((.*)\)x(\d+)", part)
                sockets += [run[1]] * int(run[2]) if run else [part]
            sockets *= len(row.request.fitted) if text.startswith("each ") else 1
            content = row.planned.placement.content
            assert len(sockets) == len(row.request.fitted)
            for socket, said in zip(row.request.fitted, sockets, strict=True):
                loads = [
                    "".join(view.keys[m] for slot in channel.slots if (m := content.get(slot))) or "-"
                    for channel in view.board.socket(socket).channels
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
    view = view_of(name)
    record = compare_record(view)
    rows = list(csv.DictReader(io.StringIO(compare_csv(view))))
    assert len(rows) == len(record["rows"])
    for cells, row in zip(rows, record["rows"], strict=True):
        assert (cells["capacity_gib"], cells["status"]) == (str(row["capacity_gib"]), row["status"])
        assert cells["command"] == row["command"]
        if row["status"] == "impossible":
            continue
        for key in ("usable_gib", "rate_mts", "worst_share", "system_sweep_gb_s", "free_slots"):
            assert float(cells[key]) == float(row["totals"][key])
        assert cells["cost"] == ("" if row["totals"]["cost"] is None else str(row["totals"]["cost"]))
        assert cells["plan_answer"] == ("yes" if row["plan_answer"] else "no")


@pytest.mark.parametrize("mark", ["=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"])
def test_no_cell_is_a_formula(mark: str) -> None:
    assert inert(f"{mark}1+1") == f"'{mark}1+1"
    assert inert(f"  {mark}1+1").startswith("'")
    assert inert(-3) == "-3" and inert("8 x 64GB") == "8 x 64GB" and inert("") == ""


def hostile(tmp_path: Path) -> View:
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
    return View(compare(board, capacities=["32GiB", "64GiB"]), board_name=str(path))


def test_a_hostile_board_stays_text(tmp_path: Path) -> None:
    view = hostile(tmp_path)
    for row in csv.reader(io.StringIO(compare_csv(view))):
        assert not any(cell[:1] in "=+-@\t\r" for cell in row if cell)
    page = compare_html(view)
    assert "<script" not in page and "onerror=alert(1)>" not in page.replace("&gt;", "")
    svg = render_svg(chart_page(view))
    assert {element.tag for element in ET.fromstring(svg).iter()} <= {
        SVG + tag
        for tag in ("svg", "title", "desc", "metadata", "defs", "style", "rect", "g", "line", "path", "polygon", "text")
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


@pytest.mark.parametrize("name", NAMES)
def test_the_page_is_whole_and_loads_nothing(name: str) -> None:
    view = view_of(name)
    page = compare_html(view)
    outline = Outline()
    outline.feed(page)
    outline.close()
    assert outline.open == []
    sources = [attributes[key] for _, attributes in outline.met for key in ("src", "href") if key in attributes]
    assert sources and all(source and source.startswith("data:image/svg+xml;base64,") for source in sources)
    assert not {tag for tag, _ in outline.met} & {"script", "link", "iframe", "object"}
    assert b"dimmplan" in page.encode()[:4096]
    shown = [row for group in view.comparison.groups for row in view.shown(group)]
    cells = [row for row in outline.rows if len(row) > 1][1:]
    assert len(cells) == len(shown)
    for row, told in zip(shown, cells, strict=True):
        assert view.placement(row) in told and told[-1] == view.command(row)
    (image,) = (attributes for tag, attributes in outline.met if tag == "img")
    assert image["alt"] and "table" in image["alt"]
    chart = base64.b64decode((image["src"] or "").partition(",")[2]).decode("utf-8")
    assert chart == render_svg(chart_page(view))


# -- the chart ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_the_chart_tells_its_data_in_words(name: str) -> None:
    view = view_of(name)
    root = ET.fromstring(render_svg(chart_page(view)))
    title, desc = root.findtext(f"{SVG}title") or "", root.findtext(f"{SVG}desc") or ""
    assert title.startswith("dimmplan") and view.board.title in title
    assert desc == description(view)
    for row in placed(compare_record(view)):
        if not row["outside_window"] or f"{row['totals']['system_sweep_gb_s']:.1f}" in desc:
            modules = " + ".join(f"{each['count']} x {each['label']}" for each in row["modules"])
            assert f"{modules}, system sweep {row['totals']['system_sweep_gb_s']:.1f} GB/s" in desc


@pytest.mark.parametrize("name", NAMES)
def test_every_bar_is_one_row_and_as_high_as_its_figure(name: str) -> None:
    view = view_of(name)
    page = chart_page(view)
    groups = [shape for shape in walk(page.shapes) if isinstance(shape, Group) and shape.id]
    assert len({group.id for group in groups}) == len(groups)
    speed = [group for group in groups if group.id.startswith("speed-")]
    shown = [row for group in view.comparison.groups for row in view.shown(group)]
    assert len(speed) == len(shown)
    heights = {}
    for group in speed:
        (bar,) = (shape for shape in group.children if isinstance(shape, Rect))
        (figure,) = re.findall(r"system sweep ([\d.]+) GB/s", group.title)
        heights[group.id] = (bar.height, float(figure))
    scale = {round(height / figure, 2) for height, figure in heights.values()}
    assert max(scale) - min(scale) <= 0.011, "one scale for every bar"


@pytest.mark.parametrize("name", NAMES)
def test_bars_stand_apart_and_capacities_below_each_other(name: str) -> None:
    """Within a panel no bar covers another; every panel has a capacity at the same place."""
    page = chart_page(view_of(name))
    spans: dict[str, list[tuple[float, float]]] = {}
    for group in (s for s in walk(page.shapes) if isinstance(s, Group) and s.id.startswith("speed-")):
        (bar,) = (shape for shape in group.children if isinstance(shape, Rect))
        spans.setdefault(group.id.split("-")[2], []).append((bar.x, bar.x + bar.width))
    for panel in spans.values():
        for (_, end), (start, _) in itertools.pairwise(sorted(panel)):
            assert start > end
    places: dict[str, set[float]] = {}
    for text in (s for s in walk(page.shapes) if isinstance(s, Text) and s.text.endswith(("GiB", "TiB"))):
        places.setdefault(text.text, set()).add(round(text.x, 6))
    assert places and all(len(each) == 1 for each in places.values())


@pytest.mark.parametrize("name", NAMES)
def test_no_text_of_the_chart_lies_on_another(name: str) -> None:
    page = chart_page(view_of(name))
    boxes = [box(shape) for shape in walk(page.shapes) if isinstance(shape, Text)]
    assert min(min(b) for b in boxes) >= 0
    assert all(b[2] <= page.width_mm and b[3] <= page.height_mm for b in boxes)
    for index, one in enumerate(boxes):
        for other in boxes[index + 1 :]:
            across = min(one[2], other[2]) - max(one[0], other[0])
            down = min(one[3], other[3]) - max(one[1], other[1])
            assert across <= 0.05 or down <= 0.05, (one, other)


def box(text: Text) -> tuple[float, float, float, float]:
    """Where the capitals of a text lie: left, top, right, bottom."""
    cap = cap_height(text.size)
    assert cap > 1.99, "nothing smaller than 2 mm"
    wide = width(text.text, cap, "b" in text.look.split())
    before = {"start": 0.0, "middle": wide / 2, "end": wide}[text.anchor]
    if text.turn:
        return (text.x - cap, text.y + before - wide, text.x, text.y + before)
    return (text.x - before, text.y - cap, text.x - before + wide, text.y)


@pytest.mark.parametrize("name", NAMES)
def test_types_differ_without_colour(name: str) -> None:
    """Every bar says its types in letters, and every look is one of the page's stylesheet."""
    view = view_of(name)
    page = chart_page(view)
    looks = {look for shape in walk(page.shapes) for look in look_of(shape).split()}
    styled = set(re.findall(r"\.([a-z-]+)\{", page.stylesheet))
    assert looks <= styled
    for group in (s for s in walk(page.shapes) if isinstance(s, Group) and s.id.startswith("speed-")):
        texts = [shape.text for shape in group.children if isinstance(shape, Text)]
        letters = set("".join(text for text in texts if not re.fullmatch(r"[\d.]+", text))) - {"+"}
        assert letters <= set(view.keys.values()) and letters


def look_of(shape: Shape) -> str:
    return shape.look


def test_cost_has_its_own_bars_where_it_is_known() -> None:
    """One for each row with a cost, as high as the cost; none at all where nothing has a price."""
    ids = {s.id for s in walk(chart_page(view_of("stocked")).shapes) if isinstance(s, Group) and s.id}
    assert len([i for i in ids if i.startswith("cost-")]) == len([i for i in ids if i.startswith("speed-")])
    bare = {s.id for s in walk(chart_page(view_of("skerry")).shapes) if isinstance(s, Group) and s.id}
    assert not any(i.startswith("cost-") for i in bare)
    assert stocked().priced


@pytest.mark.parametrize("name", NAMES)
def test_same_comparison_same_bytes(name: str) -> None:
    view, again = view_of(name), view_of.__wrapped__(name)
    assert render_svg(chart_page(view)) == render_svg(chart_page(again))
    assert compare_html(view) == compare_html(again)
