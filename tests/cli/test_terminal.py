"""What a terminal gets and what a pipe gets: colour, width, encodings."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pytest

from dimmplan.cli import terminal
from dimmplan.cli.run import run

ESCAPE = re.compile(r"\x1b\[[0-9;]*m")
PLAN = ["plan", "skerry-16", "--capacity", "512GiB", "--module", "32GiB"]


class Screen(io.StringIO):
    """Something that says it is a terminal."""

    def isatty(self) -> bool:
        return True


@pytest.fixture
def plain_environment(monkeypatch: pytest.MonkeyPatch) -> pytest.MonkeyPatch:
    """An environment that says nothing of colour."""
    for name in ("NO_COLOR", "FORCE_COLOR", "TERM", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)
    return monkeypatch


@pytest.mark.parametrize(
    ("variables", "on_screen", "in_pipe"),
    [
        ({}, True, False),
        ({"TERM": "dumb"}, False, False),
        ({"NO_COLOR": "1"}, False, False),
        ({"NO_COLOR": ""}, True, False),
        ({"FORCE_COLOR": "1"}, True, True),
        ({"FORCE_COLOR": "1", "NO_COLOR": "1"}, False, False),
    ],
    ids=str,
)
def test_who_gets_colour(
    variables: dict[str, str], on_screen: bool, in_pipe: bool, plain_environment: pytest.MonkeyPatch
) -> None:
    for name, value in variables.items():
        plain_environment.setenv(name, value)
    assert terminal.coloured(Screen()) is on_screen
    assert terminal.coloured(io.StringIO()) is in_pipe


@pytest.mark.parametrize(
    "arguments", [PLAN, ["rules", "skerry-16"], ["boards", "show", "skerry-16"], ["plan", "skery"]], ids=" ".join
)
def test_colour_changes_no_letter(
    arguments: list[str], plain_environment: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """An answer without its colours is the plain answer; JSON is never coloured."""
    run(arguments)
    plain = capsys.readouterr()
    run([*arguments, "--json"])
    record = capsys.readouterr().out
    plain_environment.setenv("FORCE_COLOR", "1")
    run(arguments)
    coloured = capsys.readouterr()
    assert "\x1b[" in coloured.out + coloured.err
    assert (ESCAPE.sub("", coloured.out), ESCAPE.sub("", coloured.err)) == (plain.out, plain.err)
    run([*arguments, "--json"])
    assert capsys.readouterr().out == record


def test_a_head_of_two_lines_is_one_head(
    plain_environment: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A head that is broken is bold on both of its lines; the lines above an indented one at the top are no head."""
    plain_environment.setenv("FORCE_COLOR", "1")
    terminal.say("A board\n384 GiB as\n  asked\n\nNEAR: 320 GiB over 4\nchannels.\n  K1: first\n")
    assert re.findall(r"\x1b\[1m(.*?)\x1b\[0m", capsys.readouterr().out) == [
        "384 GiB as",
        "NEAR: 320 GiB over 4",
        "channels.",
    ]


def test_a_table_on_a_terminal(plain_environment: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """On a terminal the board list is a table with a rule under its heads; each cell stands in the plain one too."""
    run(["boards", "list"])
    plain = capsys.readouterr().out
    plain_environment.setenv("FORCE_COLOR", "1")
    plain_environment.setenv("COLUMNS", "120")
    run(["boards", "list"])
    lines = ESCAPE.sub("", capsys.readouterr().out).splitlines()
    assert set(lines[1].strip()) == {"─"}
    del lines[1]
    assert [line.split() for line in lines] == [line.split() for line in plain.splitlines()]


def test_problems_are_folded_for_people(plain_environment: pytest.MonkeyPatch) -> None:
    """On a terminal no line is wider than it; in a pipe one problem is one line."""
    text = "error: " + "a rather long way of saying it " * 8
    assert terminal.folded(text, io.StringIO()) == text
    for columns in (40, 80, 200):
        plain_environment.setenv("COLUMNS", str(columns))
        lines = terminal.folded(text, Screen()).splitlines()
        assert len(lines) > 1
        assert max(map(len, lines)) <= min(columns, 80)
        assert " ".join(" ".join(lines).split()) == text.strip()


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("30 °C", "30 deg C"),
        ("2 × 4 – 8 …", "2 x 4 - 8 ..."),
        ("Kälteschrank é", "Kalteschrank e"),
        ("箱", "\\u7bb1"),
        ("plain", "plain"),
    ],
)
def test_ascii_terminals(text: str, written: str) -> None:
    """What ASCII lacks is said in ASCII; nothing ends in an error."""
    assert text.encode("ascii", errors="dimmplan-plain").decode("ascii") == written


def test_markdown(plain_environment: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Docs are Markdown in a pipe and set on a terminal, without the marks that tests read."""
    terminal.say_markdown("# Head\n\n<!-- test: x -->\nSome **bold** words.\n")
    assert capsys.readouterr().out.startswith("# Head")
    plain_environment.setenv("FORCE_COLOR", "1")
    terminal.say_markdown("# Head\n\n<!-- test: x -->\nSome **bold** words.\n")
    said = ESCAPE.sub("", capsys.readouterr().out)
    assert "Some bold words." in said
    assert "test:" not in said


def test_the_docs_command(plain_environment: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Topics are listed, one is read, a near miss is answered with the right one."""
    from dimmplan.docs import read_topic, topics

    assert run(["docs"]) == 0
    listed = capsys.readouterr().out
    assert "json-schema" in listed
    for topic, title in topics().items():
        assert topic in listed
        assert title in listed
        assert title != topic, "every document begins with a heading"
        assert run(["docs", topic]) == 0
        assert capsys.readouterr().out == read_topic(topic)
    assert run(["docs", "word"]) == 2
    assert "Did you mean words?" in capsys.readouterr().err


def test_outputs_end_lines_alike_everywhere(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Written files carry line feeds alone, whatever the system's own line ending is."""
    assert run([*PLAN, "--out", str(tmp_path / "made")]) == 0
    capsys.readouterr()
    for path in (tmp_path / "made").iterdir():
        assert b"\r" not in path.read_bytes(), path.name
