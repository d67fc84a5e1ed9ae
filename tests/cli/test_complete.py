"""What the shell is offered: board ids, slots, processors, labels in stock; and that nothing bad comes of asking."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from dimmplan.boardfile.read import load_board, shipped_ids
from dimmplan.cli.run import run
from dimmplan.plancode.code import encode
from dimmplan.planner import ask, plan
from dimmplan.solve.criteria import LISTS

BOARD = load_board("skerry-16")
CODE = encode(BOARD, plan(BOARD, ask(BOARD, "512GiB", modules=["32GiB"])).placement)


def offered(line: str, *, folder: Path) -> tuple[list[str], str]:
    """What the tool offers a bash for the last word of a line, and what it says beside."""
    words = line.split(" ")
    environment = os.environ | {
        "_DIMMPLAN_COMPLETE": "complete_bash",
        "COMP_WORDS": line,
        "COMP_CWORD": str(len(words) - 1),
    }
    done = subprocess.run(
        [sys.executable, "-m", "dimmplan"],
        env=environment,
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    return done.stdout.split(), done.stderr


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("dimmplan plan sk", ["skerry-16"]),
        ("dimmplan rules ", shipped_ids()),
        ("dimmplan plan skerry-16 --processor ", [option.id for option in BOARD.processors]),
        ("dimmplan plan skerry-16 --fitted F", ["FAR"]),
        ("dimmplan plan skerry-16 --fitted NEAR,", ["NEAR,NEAR", "NEAR,FAR"]),
        ("dimmplan plan skerry-16 --prefer ", list(LISTS)),
        ("dimmplan plan skerry-16 --mode s", ["sparing"]),
        ("dimmplan plan skerry-16 --stock shelf.csv --module ", ["32GB", "2Rx4", "PC4-2933Y-R"]),
        ("dimmplan docs wo", ["words"]),
        (f"dimmplan why {CODE} K", [slot for slot in BOARD.slots if slot.startswith("K")]),
        (f"dimmplan why {CODE} --without ", list(BOARD.slots)),
        (f"dimmplan draw {CODE} --ink ", ["colour", "mono"]),
        ("dimmplan audit list.csv --board tom", ["tombolo-32"]),
    ],
)
def test_a_shell_is_offered_what_fits(line: str, wanted: list[str], tmp_path: Path) -> None:
    (tmp_path / "shelf.csv").write_text("label,count\n32GB 2Rx4 PC4-2933Y-R,8\n64GB 2Rx4 PC4-2933Y-R,0\n")
    assert offered(line, folder=tmp_path) == (wanted, "")


@pytest.mark.parametrize(
    "line",
    [
        "dimmplan plan no-such-board --processor ",
        "dimmplan plan --module ",
        "dimmplan why NOT-A-CODE ",
        "dimmplan why missing.json ",
        "dimmplan plan skerry-16 --stock missing.csv --module ",
        "dimmplan mix \x1b[31m ",
    ],
)
def test_what_cannot_be_told_offers_nothing(line: str, tmp_path: Path) -> None:
    assert offered(line, folder=tmp_path) == ([], "")


@pytest.mark.parametrize(("shell", "word"), [("bash", "complete_bash"), ("zsh", "#compdef"), ("fish", "complete_fish")])
def test_the_script_of_the_shell_that_is_named(shell: str, word: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Whatever shell is above, and where there is none."""
    assert run(["--show-completion", shell]) == 0
    assert word in capsys.readouterr().out
