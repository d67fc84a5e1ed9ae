"""A column is one object: added to the list, it stands in text, on a terminal, in HTML, CSV and JSON, each aligned."""

from __future__ import annotations

import csv
import io
import re

import pytest

from dimmplan.cli import terminal
from dimmplan.output import boards, fleet
from dimmplan.output.boards import BoardList
from dimmplan.output.columns import Column, Part, Table, at, csv_text, lines_of
from dimmplan.output.compare_rows import CompareDocument, Line, columns, compare_csv, compare_table
from dimmplan.output.compare_rows import lines_of as lines_in
from dimmplan.page.comparison import compare_html
from tests.compare.cases import NAMES, compare_text, report_of
from tests.support import sampled


@pytest.fixture
def extra(monkeypatch: pytest.MonkeyPatch) -> Column[Line]:
    """One more column of a comparison, of something that its JSON holds."""
    column = Column[Line](
        key="totals.capacity_gib",
        value=lambda line: at(line.record, "totals.capacity_gib"),
        title="installed",
        unit="GiB",
        align="right",
    )
    before = columns
    for module in ("output.compare_rows", "page.comparison"):
        monkeypatch.setattr(
            f"dimmplan.{module}.columns", lambda report: (*before(report)[:7], column, *before(report)[7:])
        )
    return column


def test_a_new_column_stands_everywhere(extra: Column[Line]) -> None:
    """In the middle of the others, and every other one keeps its alignment."""
    report = report_of("stocked")
    placed = [row for row in CompareDocument.of(report).plain()["rows"] if row["status"] != "impossible"]
    installed = [row["totals"]["capacity_gib"] for row in placed]
    rows = list(csv.DictReader(io.StringIO(compare_csv(report))))
    assert [int(row["capacity_gib"]) for row in rows if row["status"] != "impossible"]  # the first of that name stays
    heads = next(csv.reader(io.StringIO(compare_csv(report))))
    at_column = [index for index, head in enumerate(heads) if head == "capacity_gib"][1]
    cells = [row[at_column] for row in csv.reader(io.StringIO(compare_csv(report)))][1:]
    assert [int(cell) for cell in cells if cell] == installed
    table = compare_table(report)
    assert extra in table.columns
    lines = compare_text(report).splitlines()
    (head,) = (line for line in lines if "installed, GiB" in line)
    end = head.index("installed, GiB") + len("installed, GiB")
    shown = [row for row in placed if not row["outside_window"]]
    found = [match[1] for line in lines if (match := re.search(r"(\d+)$", line[:end])) and line[:3].strip(" >*=") == ""]
    assert [int(each) for each in found] == [row["totals"]["capacity_gib"] for row in shown]
    page = compare_html(report)
    assert '<th scope="col" class="n">installed, GiB</th>' in page
    assert all(f'<td class="n">{row["totals"]["capacity_gib"]}</td>' in page for row in shown)


@pytest.mark.parametrize("name", sampled(NAMES, 1))
def test_numbers_of_a_comparison_stand_at_the_right_edge(name: str) -> None:
    """In HTML and in text alike, whichever columns are left out; cost among them."""
    report = report_of(name)
    page = compare_html(report)
    numeric = {"MT/s", "worst share", "balanced sweep", "worst socket", "apart", "free slots", "cost"}
    for column in columns(report):
        if column.title:
            assert (column.align == "right") == (column.title in numeric), column.title
            right = ' class="n"' if column.align == "right" else ""
            assert re.search(rf'<th scope="col"{right}[^>]*>{re.escape(column.head)}</th>', page)


@pytest.mark.parametrize("name", sampled(NAMES, 1))
def test_what_a_column_shows_stands_in_json(name: str) -> None:
    """Every column with a key: its value stands at that place of the row, but for what every row shares."""
    report = report_of(name)
    shared = {"currency"}
    for group in report.comparison.groups:
        for line in lines_in(report, group):
            for column in columns(report):
                if column.key and column.key not in shared:
                    assert column.of(line) == at(line.record, column.key)


def test_heads_of_one_table_differ() -> None:
    for of_table in (columns(report_of("stocked")), fleet.COLUMNS, boards.LIST_COLUMNS):
        names = [column.csv_name for column in of_table if column.key]
        assert len(names) == len(set(names))


def test_the_board_list_has_what_its_json_has(capsys: pytest.CaptureFixture[str]) -> None:
    from dimmplan.boardfile.read import load_board

    loaded = [load_board("skerry-16"), load_board("firth-96")]
    library = BoardList.of(boards=loaded)
    (first, _) = library.plain()["boards"]
    assert first == {"id": "skerry-16", "title": loaded[0].title, "sockets": 2, "channels": 12, "slots": 16}
    terminal.say_table(Table(boards.LIST_COLUMNS, [Part(items=library.boards)]))
    lines = capsys.readouterr().out.splitlines()
    assert [line.index("96") + 2 for line in lines if "firth-96 " in line] and lines[0].startswith("board ")
    ends = {line[: lines[0].index("slots") + 5].rstrip() for line in lines[1:]}
    assert all(each.endswith(("16", "96")) for each in ends)


def test_plain_columns() -> None:
    """Numbers at the right edge, long cells broken before their mark, an empty column left out."""
    some = (
        Column[dict[str, object]](key="name", title="name", breaks=" + "),
        Column[dict[str, object]](key="count", title="count", align="right"),
        Column[dict[str, object]](key="none", title="none"),
        Column[dict[str, object]](key="quiet"),
    )
    rows: list[dict[str, object]] = [
        {"name": "kelp + wrack", "count": 7, "none": None, "quiet": "=1+1"},
        {"name": "sand", "count": 120, "none": None, "quiet": None},
    ]
    assert lines_of(some, rows) == ["name          count", "kelp + wrack      7", "sand            120"]
    assert Table(some, [Part(items=rows)]).plain(width=14) == [
        "name     count",
        "kelp         7",
        "+ wrack",
        "sand       120",
    ]
    assert csv_text(some, rows) == "name,count,none,quiet\nkelp + wrack,7,,'=1+1\nsand,120,,\n"
