"""Rows of rates that other rules make unreachable are told by the check; those that can happen are not."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from dimmplan.boardfile.tables import unused_rates
from dimmplan.cli.run import run
from dimmplan.model.board import Board
from tests.oracle.random_boards import make_board
from tests.support import shipped_boards, shipped_raw, toml_text


def board_of(*rules: dict[str, Any], kinds: str = "LRDIMM", rates: list[dict[str, Any]] | None = None) -> Board:
    """Four channels of three slots for 4-rank LRDIMMs and a row for one, two and three on a channel."""
    accepts = {"id": "kinds", "check": "accept", "field": "kind", "values": [kinds], "source": "INVENTED"}
    return make_board(
        {"S": {"M": {channel: [f"{channel}{slot}" for slot in "123"] for channel in "ABCD"}}},
        modules=[{"LRDIMM": "64GB 4DRx4 PC4-2133P-L", "RDIMM": "32GB 4Rx4 PC4-2133P-R"}[kinds]],
        interleave={"style": "any", "ways": [1, 2, 3, 4]},
        rules=[accepts, *(row | {"source": "INVENTED"} for row in rules)],
        rates=rates or [{"id": f"dpc-{dpc}", "dpc": dpc, "mts": 1600, "source": "INVENTED"} for dpc in (1, 2, 3)],
        rates_mts=[1600, 1866, 2133],
    )


def test_three_lrdimms_are_reached_by_default_and_not_where_ranks_are_counted() -> None:
    """Twelve ranks; three loads. Three RDIMMs of four ranks are twelve either way."""
    in_ranks = {"id": "eight", "check": "rank-limit", "count": "package", "most": 8}
    assert [*unused_rates(board_of())] == []
    for board, rule, found in (
        (board_of(in_ranks), "eight", "12 ranks"),
        (board_of(kinds="RDIMM"), "eight-ranks", "12 ranks"),
    ):
        ((row, why),) = unused_rates(board)
        assert row == "dpc-3" and f"the rule {rule} does not allow it ({found}; allowed: at most 8)" in why


def test_a_lighter_type_beside_it_reaches_a_row() -> None:
    """One of four ranks and two of one rank are six."""
    board = board_of(kinds="RDIMM")
    one_rank = make_board(
        {"S": {"M": {"A": ["A1", "A2", "A3"]}}},
        modules=["32GB 4Rx4 PC4-2133P-R", "8GB 1Rx4 PC4-2133P-R"],
        interleave={"style": "any", "ways": [1]},
        rules=[row.model_dump(mode="json", exclude_none=True) for row in board.rules if row.id == "kinds"],
        rates=[{"id": f"dpc-{dpc}", "dpc": dpc, "mts": 1600, "source": "INVENTED"} for dpc in (1, 2, 3)],
        rates_mts=[1600],
    )
    assert [*unused_rates(one_rank)] == []


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ({"kinds": ["RDIMM"]}, "the rule kinds does not allow it (RDIMM; allowed: LRDIMM)"),
        ({"slots": [4]}, "no channel has 4 slots"),
        ({"slots": [1], "dpc": 1}, "no channel has 1 slot"),
        ({"voltage_mv": [1350]}, "the rule takes-voltage does not allow it (1.35 V; allowed: 1.2 V)"),
    ],
)
def test_what_keeps_a_row_out_is_named(row: dict[str, Any], why: str) -> None:
    more = {"id": "odd", "dpc": 2, "mts": 1866, "source": "INVENTED"} | row
    common = {"kinds": ["LRDIMM"], "slots": [3], "voltage_mv": [1200], "mts": 1600, "source": "INVENTED"}
    usual = [common | {"id": f"dpc-{dpc}", "dpc": dpc} for dpc in (1, 2, 3)]
    ((found, text),) = unused_rates(board_of(rates=[*usual, more]))
    assert found == "odd" and text.endswith(why)
    assert [*unused_rates(board_of(rates=[*usual, more | {"mts": "none"}]))] == []


def test_shipped_boards_have_none() -> None:
    assert [note for board in shipped_boards() for note in unused_rates(board)] == []


def test_the_check_tells_it_and_is_content(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    raw = shipped_raw("skerry-16")
    raw["rates"].append({"id": "unbuffered", "kinds": ["UDIMM"], "dpc": 3, "mts": 2400, "source": "INVENTED"})
    Path("mine.toml").write_text(toml_text(raw), encoding="utf-8")
    assert run(["boards", "check", "mine.toml"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "mine.toml: note: unbuffered: this row of rates is never used: no channel meant has 3 slots" in told
    assert run(["boards", "check", "mine.toml", "--json"]) == 0
    (file,) = json.loads(capsys.readouterr().out)["files"]
    assert [note["rule"] for note in file["notes"]] == ["unbuffered"]
