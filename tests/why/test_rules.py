"""The rules in words: every row in force once, by question, with its source in full; the rate table as a table."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dimmplan.output.rules import RulesDocument, rule_groups, rules_text
from dimmplan.rules import all_rows, default_rows
from dimmplan.sources import SOURCES, citation
from tests.support import shipped_boards

BOARDS = {board.id: board for board in shipped_boards()}


@pytest.mark.parametrize("board", BOARDS.values(), ids=list(BOARDS))
def test_every_row_is_told_once(board) -> None:
    """Rows of the board and defaults, each under one question, with severity, source and whether it is a default."""
    lines = [line for group in rule_groups(board) for line in group.rules]
    defaults = {row.id for row in default_rows(board.generation)} | {"first-socket"}
    own = {row.id: row for row in all_rows(board, None)}
    for row in own.values():
        told = [line for line in lines if line.rule == row.id]
        assert len(told) == 1, row.id
        assert told[0].source == row.source and told[0].text
        assert told[0].usual is (row.id in defaults)
        if row.severity == "advised":
            assert told[0].severity == "advised"
    for option in board.processors:
        if option.ceiling_gib is not None:
            assert any(line.rule == f"processor:{option.id}" and option.id in line.text for line in lines)
    assert all(line.source in SOURCES for line in lines)


@pytest.mark.parametrize("board", BOARDS.values(), ids=list(BOARDS))
def test_the_rate_table_has_every_row(board) -> None:
    """One line for each rate row, in order; a column is left out only where it says nothing."""
    table = next(group for group in rule_groups(board) if group.id == "rate").table
    heading, *rows = table
    assert [row[heading.index("row")] for row in rows] == [rate.id for rate in board.rates]
    shown = [row[heading.index("MT/s")] for row in rows]
    assert shown == ["does not run" if rate.mts == "none" else str(rate.mts) for rate in board.rates]
    assert ("ranks" in heading) is any(rate.package_ranks for rate in board.rates)
    assert ("voltage" in heading) is any(rate.voltage_mv for rate in board.rates)
    assert ("of slots" in heading) is any(rate.slots for rate in board.rates)


@pytest.mark.parametrize("board", BOARDS.values(), ids=list(BOARDS))
def test_sources_stand_in_full(board) -> None:
    """The terminal lists every source cited, rate rows included; the JSON carries the document beside each row."""
    text = " ".join(rules_text(board).split())
    for row in (*board.rules, *board.rates):
        assert citation(row.source) in text, row.id
    record = RulesDocument.of(board).plain()
    for group in record["groups"]:
        for rule in group["rules"]:
            assert rule["citation"] == citation(rule["source"])
    assert max(len(line) for line in rules_text(board).splitlines()) <= 80


def test_documents_of_the_board_file_stand_in_full() -> None:
    """An id that the board file declares is explained by its own words, on the terminal and in the JSON."""
    board = BOARDS["skerry-16"]
    own = [board.rules[0].model_copy(update={"source": "our-guide"}), *board.rules[1:]]
    board = replace(board, rules=tuple(own), sources=(("our-guide", "Skerry 16 guide, second printing"),))
    assert "our-guide: Skerry 16 guide, second printing" in " ".join(rules_text(board).split())
    citations = {rule["citation"] for group in RulesDocument.of(board).plain()["groups"] for rule in group["rules"]}
    assert "Skerry 16 guide, second printing" in citations
    assert "our-guide" not in citations


def test_channels_that_work_together_are_said_in_each_style() -> None:
    """Even, any and listed groups read differently, and what lies above the common depth is said."""
    said = {
        board.id: " ".join(
            line.text for group in rule_groups(board) if group.id == "interleave" for line in group.rules
        )
        for board in BOARDS.values()
    }
    assert "on each controller" in said["skerry-16"] and "2, 3, 4 or 6" in said["skerry-16"]
    assert "whichever" in said["strand-12"]
    for group in BOARDS["tombolo-32"].interleave.groups:
        assert " ".join(group.channels) in said["tombolo-32"]
    assert "alone" in said["causeway-48"] and "alone" not in said["lagoon-32"].split("A single")[0]
