"""``boards check --watch`` and ``--draw``: checks and draws as one types, survives what editors do to files."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from dimmplan.boardfile.read import shipped_folder
from dimmplan.cli.run import run

GOOD = (shipped_folder() / "strand-12.toml").read_text(encoding="utf-8")


def waited(what: Callable[[], bool]) -> None:
    """Wait until something is so; half a minute of a loaded machine at most."""
    for _ in range(600):
        if what():
            return
        time.sleep(0.05)
    raise AssertionError("it did not come")


@pytest.fixture
def watched(tmp_path: Path) -> Iterator[tuple[subprocess.Popen[bytes], Path, Path, Path]]:
    """A running watch: its process, the board file, the picture, and what it has said so far."""
    board, picture, said = tmp_path / "mine.toml", tmp_path / "mine.svg", tmp_path / "said.txt"
    board.write_text(GOOD, encoding="utf-8")
    command = [sys.executable, "-m", "dimmplan", "boards", "check", str(board), "--watch", "--draw", str(picture)]
    with said.open("wb") as out, subprocess.Popen(command, stdout=out, stderr=subprocess.STDOUT) as process:
        yield process, board, picture, said
        process.kill()


def test_a_watch_follows_an_editor(watched: tuple[subprocess.Popen[bytes], Path, Path, Path]) -> None:
    """Good, half-written, away, back under another name's inode, drawn again; Ctrl-C ends it with 0."""
    process, board, picture, said = watched
    waited(lambda: b"good" in said.read_bytes() and picture.exists())
    first = picture.read_bytes()

    board.write_text(GOOD[: len(GOOD) // 2], encoding="utf-8")
    waited(lambda: b"problem" in said.read_bytes())
    assert picture.read_bytes() == first, "the last good drawing stands"

    board.unlink()
    waited(lambda: b"no such file" in said.read_bytes())

    other = board.with_suffix(".swp")
    other.write_text(GOOD.replace("Strand 12", "Shingle 12"), encoding="utf-8")
    other.replace(board)
    waited(lambda: picture.read_bytes() != first)
    assert b"Shingle 12" in picture.read_bytes()

    process.send_signal(signal.SIGINT)
    assert process.wait(timeout=30) == 0
    assert b"Traceback" not in said.read_bytes()


def test_a_picture_of_one_good_board(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Without --watch the picture is drawn once; of a faulty board, of two boards or of no known ending it is none."""
    board, picture = tmp_path / "mine.toml", tmp_path / "mine.svg"
    board.write_text(GOOD, encoding="utf-8")
    assert run(["boards", "check", str(board), "--draw", str(picture)]) == 0
    assert b"Board as drawn" in picture.read_bytes()
    picture.unlink()

    assert run(["boards", "check", str(board), str(board), "--draw", str(picture)]) == 2
    assert run(["boards", "check", str(board), "--draw", str(tmp_path / "mine.gif")]) == 2
    board.write_text(GOOD.replace("generation", "generations"), encoding="utf-8")
    assert run(["boards", "check", str(board), "--draw", str(picture)]) == 1
    assert not picture.exists()
    assert "generations" in capsys.readouterr().out


def test_of_several_files_one_that_is_not_there_is_a_problem(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    board = tmp_path / "mine.toml"
    board.write_text(GOOD, encoding="utf-8")
    assert run(["boards", "check", str(tmp_path / "none.toml"), str(board)]) == 1
    said = capsys.readouterr().out
    assert "none.toml: 1 problem" in said
    assert "mine.toml: good" in said
    assert run(["boards", "check", str(tmp_path / "none.toml"), str(tmp_path / "nor.toml")]) == 2
    said = capsys.readouterr().err
    assert "none.toml: found no such file" in said
    assert "nor.toml: found no such file" in said
