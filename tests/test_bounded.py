"""Files that people give are read within bounds: what never ends, is no file, or is larger than any real one."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from dimmplan.boardfile.read import examine_text, shipped_folder
from dimmplan.bounded import MOST_JSON_CONTAINERS, MOST_KEYS, parse_json, read_file
from dimmplan.cli.run import run
from dimmplan.errors import MOST_PROBLEMS, InputError, Problem
from tests.bench.hostile_inputs import EXCESS
from tests.support import one_document

SKERRY = (shipped_folder() / "skerry-16.toml").read_bytes()
GENEROUS_SECONDS = 20
"""The bench holds these calls to a second and 150 MB; a test only asks that they end."""


def dimmplan(*words: str, **variables: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "dimmplan", *words],
        capture_output=True,
        text=True,
        check=False,
        timeout=GENEROUS_SECONDS,
        env=os.environ | variables,
    )


@pytest.fixture
def pipe(tmp_path: Path) -> Path:
    """A named pipe that nobody writes to."""
    os.mkfifo(tmp_path / "pipe.toml")
    return tmp_path / "pipe.toml"


CALLS = {
    "board": ["plan", "{}", "--capacity", "32GiB"],
    "check": ["boards", "check", "{}"],
    "stock": ["plan", "marram-4", "--capacity", "32GiB", "--stock", "{}"],
    "machines": ["plan", "--machines", "{}", "--out", "{}.out"],
    "plan": ["draw", "{}", "-o", "x.svg"],
    "inventory": ["found", "{}"],
    "mapping": ["audit", "{}.csv", "--board", "marram-4", "--slots", "{}"],
}


@pytest.mark.parametrize("what", [name for name in CALLS if name != "check"])
@pytest.mark.parametrize("source", ["pipe", "/dev/zero", "folder"])
def test_what_is_no_regular_file_is_refused_and_never_waited_for(
    what: str, source: str, pipe: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    given = {"pipe": str(pipe), "folder": str(tmp_path / "in")}.get(source, source)
    (tmp_path / "in").mkdir()
    Path(f"{pipe}.csv").write_text("slot,label\n", encoding="utf-8")
    assert run([word.format(given) for word in CALLS[what]]) == 2
    assert "error: " in capsys.readouterr().err


def test_one_of_several_boards_that_is_no_file_is_told_beside_the_others(tmp_path: Path, pipe: Path) -> None:
    (tmp_path / "good.toml").write_bytes(SKERRY)
    done = dimmplan("boards", "check", str(tmp_path / "good.toml"), "/dev/zero", str(pipe))
    assert done.returncode == 1
    assert "good.toml: good" in done.stdout and done.stdout.count("found no regular file") == 2


def test_a_pipe_among_the_boards_at_hand_is_left_out(pipe: Path) -> None:
    done = dimmplan("boards", "list", DIMMPLAN_BOARDS=str(pipe.parent))
    assert done.returncode == 0
    assert "left out" in done.stderr and "skerry-16" in done.stdout


def test_a_pipe_of_the_shell_is_read() -> None:
    """``<(command)`` has no name in any folder; it ends when its command does."""
    reading, writing = os.pipe()
    os.write(writing, b"slot,label\nA1,8GB 1Rx8 PC4-2666V-E\n")
    os.close(writing)
    try:
        assert read_file(Path(f"/dev/fd/{reading}"), most=100, allowed="a list").startswith(b"slot,label")
    finally:
        os.close(reading)


@pytest.mark.parametrize("name", EXCESS)
def test_a_board_with_more_than_any_real_one_has_one_problem(name: str) -> None:
    text, told = EXCESS[name]
    board, problems = examine_text(text.encode(), file="x.toml")
    assert board is None
    assert len(problems) == 1 and told in problems[0].sentence()


def test_the_largest_board_is_far_from_the_bounds() -> None:
    counts = [path.read_text(encoding="utf-8") for path in shipped_folder().glob("*.toml")]
    assert max(text.count("=") + text.count("[") + text.count("{") for text in counts) * 10 < MOST_KEYS
    note = 'title = "A note. With. Many. Short. Words. ' + "Very. " * 20 + '"'
    assert "parts" not in examine_text(note.encode(), file="x.toml")[1][0].sentence()


def test_the_first_hundred_problems_are_told_and_the_rest_is_counted(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Of a check as text and JSON, and of every refusal."""
    rows = b'[[rates]]\nid = "x"\ndpc = 1\nmts = "zz"\nsource = "Q"\n' * 1500
    (tmp_path / "x.toml").write_bytes(SKERRY + rows)
    assert run(["boards", "check", str(tmp_path / "x.toml")]) == 1
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == MOST_PROBLEMS + 2
    assert lines[-2].endswith(" more problems.") and lines[-1].endswith(" problems")
    told, more = (int(line.split()[-3 if line.endswith(".") else -2]) for line in (lines[-1], lines[-2]))
    assert told == more + MOST_PROBLEMS >= 1500
    assert run(["boards", "check", str(tmp_path / "x.toml"), "--json"]) == 1
    (file,) = one_document(capsys.readouterr().out)["files"]
    assert len(file["problems"]) == MOST_PROBLEMS and file["problem_count"] == told
    error = InputError(Problem(file="x", place=str(i), found="a", allowed="b") for i in range(500))
    assert len(error.problems) == MOST_PROBLEMS + 1 and "400 more problems" in error.problems[-1].sentence()


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"[" * 100_000, "JSON"),
        (b'{"a":' * 50_000, "JSON"),
        (b"[]," * (MOST_JSON_CONTAINERS + 1), "objects and lists"),
        (b'{"a": {"slot": 1, "b": 2, "slot": 3}}', "the key 'slot' twice"),
        (b'{"a": \xff}', "not UTF-8"),
        (b'{"a": ' + b"9" * 10_000 + b"}", "JSON"),
    ],
)
def test_json_is_bounded_and_names_each_key_once(content: bytes, told: str) -> None:
    with pytest.raises(InputError, match=told):
        parse_json(content, file="x.json", allowed="a plan")
