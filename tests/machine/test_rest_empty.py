"""Lists of filled slots alone, and failed commands in a pipe: each refusal names its own cause and its remedy."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.cli import run
from dimmplan.errors import InputError
from dimmplan.inventory.match import match_slots, with_rest_empty
from dimmplan.model.inventory import Inventory
from tests.machine.support import device

BOARD = load_board("skerry-16")
M32 = BOARD.module_of_size(32)
FILLED = "slot,label\nK1,32GB 2Rx4 PC4-2933Y-R\nT1,32GB 2Rx4 PC4-2933Y-R\n"


def called(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    status = run.run(list(words))
    out, err = capsys.readouterr()
    return status, out, err


@pytest.fixture
def typed(tmp_path: Path) -> str:
    path = tmp_path / "filled.csv"
    path.write_text(FILLED, encoding="utf-8")
    return str(path)


def test_a_refusal_names_its_remedy_and_one_word_settles_it(typed: str, capsys: pytest.CaptureFixture[str]) -> None:
    plan = ["plan", "skerry-16", "--capacity", "512GiB", "--module", "32GiB", "--keep", typed]
    status, _, err = called(capsys, *plan)
    told = " ".join(err.split())
    assert status == 1 and "K2,empty" in told and "--rest-empty" in told and "--data-saved K2" in told
    assert called(capsys, *plan, "--rest-empty")[0] == 0


def test_moves_and_audits_take_the_word_too(typed: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = called(capsys, "plan", "skerry-16", "--capacity", "64GiB", "--module", "32GiB", "--json")
    plan = tmp_path / "plan.json"
    plan.write_text(out, encoding="utf-8")
    assert called(capsys, "audit", typed, "--against", str(plan))[0] == 1
    assert called(capsys, "audit", typed, "--against", str(plan), "--rest-empty")[0] == 0
    assert called(capsys, "moves", typed, "--to", str(plan), "--rest-empty")[0] == 0


def test_a_device_without_a_slot_may_be_any_of_the_rest() -> None:
    found = Inventory(form="labels", slots=(device("K1", M32), device("elsewhere", M32)))
    with pytest.raises(InputError, match="elsewhere"):
        with_rest_empty(found, BOARD)
    whole = with_rest_empty(Inventory(form="labels", slots=(device("K1", M32),)), BOARD)
    assert len(match_slots(whole, BOARD).index_of) == len(BOARD.slots)


@pytest.mark.parametrize(
    "command", [["draw", "-o", "x.svg"], ["why"], ["moves", "LIST", "--to"], ["audit", "LIST", "--against"]]
)
@pytest.mark.parametrize(
    ("document", "status", "words"),
    [
        (
            {"format": 1, "errors": [{"file": "--capacity", "place": "", "found": "'banana'", "allowed": "a number"}]},
            2,
            "--capacity",
        ),
        (
            {
                "format": 1,
                "status": "impossible",
                "causes": [{"rule": "slots", "text": "Too few slots."}],
                "nearest": {"below_gib": 64, "above_gib": None},
            },
            1,
            "Too few slots.",
        ),
        ({"format": 1, "status": "stopped"}, 2, "stopped"),
        (None, 2, "that command failed"),
    ],
)
def test_what_a_failed_command_said_is_told_again(
    command: list[str],
    document: dict[str, Any] | None,
    status: int,
    words: str,
    typed: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    given = tmp_path / "given.json"
    given.write_text("" if document is None else json.dumps(document), encoding="utf-8")
    at = 1 if command[0] in ("draw", "why") else len(command)
    line = [typed if word == "LIST" else word for word in command]
    line.insert(at, str(given))
    got, _, err = called(capsys, *line)
    assert got == status
    assert words in " ".join(err.split())
