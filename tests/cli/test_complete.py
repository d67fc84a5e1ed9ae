"""What the shell is offered: board ids, slots, processors, labels in stock; and that nothing bad comes of asking."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from dimmplan.boardfile.read import load_board, shipped_ids
from dimmplan.cli.run import run
from dimmplan.plancode.code import encode
from dimmplan.planner import ask, plan
from dimmplan.solve.criteria import LISTS

BOARD = load_board("skerry-16")
CODE = encode(BOARD, plan(BOARD, ask(BOARD, "512GiB", modules=["32GiB"])).placement)


Offered = Callable[[str], tuple[list[str], str]]


@pytest.fixture
def offered(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Offered:
    """What the tool offers a bash for the last word of a line, and what it says beside."""
    monkeypatch.chdir(tmp_path)

    def asked(line: str) -> tuple[list[str], str]:
        monkeypatch.setenv("_DIMMPLAN_COMPLETE", "complete_bash")
        monkeypatch.setenv("COMP_WORDS", line)
        monkeypatch.setenv("COMP_CWORD", str(line.count(" ")))
        run([])
        said = capsys.readouterr()
        return said.out.split(), said.err

    return asked


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
def test_a_shell_is_offered_what_fits(line: str, wanted: list[str], offered: Offered, tmp_path: Path) -> None:
    (tmp_path / "shelf.csv").write_text("label,count\n32GB 2Rx4 PC4-2933Y-R,8\n64GB 2Rx4 PC4-2933Y-R,0\n")
    assert offered(line) == (wanted, "")


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
def test_what_cannot_be_told_offers_nothing(line: str, offered: Offered) -> None:
    assert offered(line) == ([], "")


@pytest.mark.parametrize(("shell", "word"), [("bash", "complete_bash"), ("zsh", "#compdef"), ("fish", "complete_fish")])
def test_the_script_of_the_shell_that_is_named(shell: str, word: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Whatever shell is above, and where there is none."""
    assert run(["--show-completion", shell]) == 0
    assert word in capsys.readouterr().out
