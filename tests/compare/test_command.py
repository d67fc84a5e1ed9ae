"""``compare`` and ``plan --stock`` from outside: exit status, JSON, files, messages."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path
from typing import Any

import pytest

from dimmplan.cli.app import COMMANDS
from dimmplan.cli.run import run
from tests.support import one_document, sampled, unprintable

SHELF = """label,count,price,currency,note
32GB 2Rx4 PC4-2933Y-R,8,61.50,EUR,bin 4
32GB 2Rx4 PC4-3200AA-R,8,58,EUR,bin 5
64GB 2Rx4 PC4-2933Y-R,2,119,EUR,
64GB 2Rx4 PC4-2933Y-R,0,131,EUR,offer
32GB 2Rx8 PC5-4800B-R,8,,,for another board
"""
PNG = b"\x89PNG\r\n\x1a\n"


@pytest.fixture(autouse=True)
def at_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("shelf.csv").write_text(SHELF, encoding="utf-8")


def say(capsys: pytest.CaptureFixture[str], call: str) -> tuple[int, str, str]:
    status = run(shlex.split(call))
    said = capsys.readouterr()
    return status, said.out, said.err


def document(capsys: pytest.CaptureFixture[str], call: str) -> tuple[int, Any]:
    status, out, err = say(capsys, f"{call} --json")
    assert err == ""
    return status, one_document(out)


def test_the_example_of_the_help_works(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = say(capsys, "compare --help")
    assert status == 0
    example = COMMANDS["compare"].example
    assert " ".join(example.split()) in " ".join(out.split())
    status, out, err = say(capsys, example.removeprefix("dimmplan "))
    assert status == 0 and "384 GiB" in out and "wrote compare.svg" in err
    assert Path("compare.svg").read_text(encoding="utf-8").lstrip().startswith("<?xml")


@pytest.mark.parametrize("ending", sampled(["png", "svg", "csv", "html"], 2))
def test_files_carry_the_mark_and_are_remade(capsys: pytest.CaptureFixture[str], ending: str) -> None:
    call = f"compare skerry-16 --capacity 384GiB --module 32GiB --module 64GiB -o out.{ending}"
    status, record = document(capsys, call)
    assert status == 0 and record["files"] == [f"out.{ending}"]
    first = Path(f"out.{ending}").read_bytes()
    assert b"dimmplan" in first[:4096]
    if ending == "png":
        assert first.startswith(PNG)
    status, _, _ = say(capsys, call)
    assert status == 0 and Path(f"out.{ending}").read_bytes() == first


def test_a_foreign_file_stays(capsys: pytest.CaptureFixture[str]) -> None:
    Path("out.csv").write_text("mine\n", encoding="utf-8")
    call = "compare skerry-16 --capacity 384GiB --module 32GiB -o out.csv"
    status, out, err = say(capsys, call)
    assert status == 2 and "--force" in err and out == ""
    assert Path("out.csv").read_text(encoding="utf-8") == "mine\n"
    assert say(capsys, f"{call} --force")[0] == 0


@pytest.mark.parametrize(
    ("call", "file"),
    [
        ("compare skerry-16 -o out.pdf", "out.pdf"),
        ("compare skerry-16 -o out", "out"),
        ("compare skerry-17", "board"),
        ("compare skerry-16 --capacity 384", "--capacity"),
        ("compare skerry-16 --processor tern-21", "--processor"),
        ("compare skerry-16 --stock no.csv", "no.csv"),
        ("compare skerry-16 --prefer cheapest", "--prefer"),
        ("compare skerry-16 --max-types 9", "--max-types"),
        ("compare skerry-16 --over lots --capacity 384GiB", "--over"),
        ("plan skerry-16 --capacity 384GiB --stock no.csv", "no.csv"),
    ],
)
def test_wrong_calls(capsys: pytest.CaptureFixture[str], call: str, file: str) -> None:
    status, record = document(capsys, call)
    assert status == 2
    assert {error["file"] for error in record["errors"]} == {file}


def test_status_1_where_no_row_has_a_placement(capsys: pytest.CaptureFixture[str]) -> None:
    status, record = document(capsys, "compare skerry-16 --capacity 4TiB --capacity 5TiB")
    assert status == 1 and {row["status"] for row in record["rows"]} == {"impossible"}
    assert document(capsys, "compare skerry-16 --capacity 4TiB --capacity 384GiB")[0] == 0
    status, record = document(capsys, "compare skerry-16 --fitted FAR")
    assert status == 1 and record["status"] == "impossible"


def test_bad_rows_of_a_shelf_are_named_by_line(capsys: pytest.CaptureFixture[str]) -> None:
    rows = ["32GB 2Rx4 PC4-2933Y-R,-4,61.50,EUR,", "a heap,4,,,", '32GB 2Rx4 PC4-2933Y-R,4,"61,50",EUR,']
    Path("bad.csv").write_text(SHELF + "\n".join(rows) + "\n", encoding="utf-8")
    for command in ("plan skerry-16 --capacity 384GiB", "compare skerry-16"):
        status, record = document(capsys, f"{command} --stock bad.csv")
        assert status == 2
        places = [error["place"] for error in record["errors"]]
        assert places == ["line 7, count", "line 8, label", "line 9, price"]


def test_plan_from_a_shelf(capsys: pytest.CaptureFixture[str]) -> None:
    status, record = document(capsys, "plan skerry-16 --capacity 512GiB --stock shelf.csv")
    assert status == 0
    take = {(each["place"], each["count"]) for each in record["stock"]["take"]}
    assert take == {("line 4", 2), ("line 3", 8), ("line 2", 4)}
    assert record["totals"]["cost"] == 2 * 119 + 8 * 58 + 4 * 61.5
    assert record["stock"]["currency"] == "EUR"
    assert [each["label"] for each in record["stock"]["left_out"]] == ["32GB 2Rx8 PC5-4800B-R"]
    substitute = next(each for each in record["stock"]["take"] if each["place"] == "line 3")
    assert (substitute["label"], substitute["serves_as"]) == ("32GB 2Rx4 PC4-3200AA-R", "32GB 2Rx4 PC4-2933Y-R")
    status, out, _ = say(capsys, "plan skerry-16 --capacity 512GiB --stock shelf.csv")
    assert status == 0 and re.search(r"8 x +32GB 2Rx4 PC4-3200AA-R +at 58.00 EUR +line 3 \(bin 5\)", out)
    assert "cost 948.00 EUR" in out and not list(unprintable(out))


def test_plan_from_a_shelf_that_cannot_serve(capsys: pytest.CaptureFixture[str]) -> None:
    call = "plan skerry-16 --capacity 640GiB --stock shelf.csv --module 32GiB --module 64GiB"
    status, record = document(capsys, call)
    assert status == 1 and record["status"] == "impossible"
    assert record["nearest"] == {"below_gib": 576, "above_gib": None}
    assert record["buy"] == [
        {"label": "64GB 2Rx4 PC4-2933Y-R", "count": 2, "cost": 262.0, "part": "", "watts": None, "substitutes": []},
    ]
    assert (record["buy_status"], record["currency"]) == ("proven", "EUR")
    status, out, err = say(capsys, call)
    assert status == 1 and out == ""
    assert "2 x 64GB 2Rx4 PC4-2933Y-R, 262.00 EUR" in err
    status, record = document(capsys, "plan skerry-16 --capacity 8TiB --stock shelf.csv")
    assert status == 1 and record["buy"] is None


def test_without_a_shelf_there_is_nothing_to_buy(capsys: pytest.CaptureFixture[str]) -> None:
    status, record = document(capsys, "plan skerry-16 --capacity 8TiB")
    assert status == 1 and "buy" not in record


def test_a_plan_from_a_shelf_is_read_back(capsys: pytest.CaptureFixture[str]) -> None:
    assert say(capsys, "plan skerry-16 --capacity 512GiB --stock shelf.csv --out made")[0] == 0
    record = json.loads(Path("made/plan.json").read_text(encoding="utf-8"))
    assert record["stock"]["take"]
    assert say(capsys, "draw made/plan.json -o again.svg")[0] == 0


def test_json_keys_of_a_comparison(capsys: pytest.CaptureFixture[str]) -> None:
    _, record = document(capsys, "compare skerry-16 --capacity 384GiB --processor tern-20 --processor tern-12")
    assert record["format"] == 1
    assert {"board", "fitted", "mode", "prefer", "processors", "capacities", "rows", "swaps", "limits"} <= set(record)
    row = record["rows"][0]
    assert {"capacity_gib", "processor", "status", "modules", "placement", "totals", "slots", "code"} <= set(row)
    assert {"unbeaten", "plan_answer", "picked_by", "every_channel_alike", "findings", "command"} <= set(row)
