"""Help and errors as a person meets them on a terminal of 80 columns."""

from __future__ import annotations

import io
import shlex
import sys
from typing import Any

import pytest
import typer

from dimmplan.cli.app import application
from dimmplan.cli.run import run


def paths(command: Any, words: tuple[str, ...] = ()) -> list[tuple[str, ...]]:
    """Every command and every group of commands, by its words."""
    inner = getattr(command, "commands", {})
    return [words, *(path for name, each in inner.items() for path in paths(each, (*words, name)))]


class Screen(io.StringIO):
    """Standard error of a person."""

    def isatty(self) -> bool:
        return True


@pytest.fixture(autouse=True)
def eighty(monkeypatch: pytest.MonkeyPatch) -> None:
    """A terminal of 80 columns that shows no colour."""
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("NO_COLOR", "1")


@pytest.mark.parametrize("words", paths(typer.main.get_command(application(every=True))), ids=" ".join)
def test_help_at_80_columns(words: tuple[str, ...], capsys: pytest.CaptureFixture[str]) -> None:
    """No line of a help is wider, none of its summaries is cut short, and it is ASCII."""
    assert run([*words, "--help"]) == 0
    text = capsys.readouterr().out
    assert text.startswith(f"Usage: dimmplan{''.join(f' {word}' for word in words)}")
    assert max(map(len, text.splitlines())) <= 80
    for meant in ("COMMAND [ARGS]...", "FILE...", "LABEL...", "RECORD...", "SLOT,SLOT,..."):
        text = text.replace(meant, "")
    assert "..." not in text
    assert text.isascii()


ERRORS = [
    ("plan skery-16 --capacity 384GiB", "Did you mean skerry-16?"),
    ("plan skerry-16", "--capacity"),
    ("plan skerry-16 --capacity 384", "unit"),
    ("plan skerry-16 --capacity 512TiB", "nearest capacities"),
    ("plan skerry-16 --capacity 384GiB --module '32GB 2Rx4 PC4-2934Y-R'", "2933"),
    ("plan skerry-16 --capacity 384GiB --module '16GB 1Rx8 PC4-2933Y-E'", "kind"),
    ("plan skerry-16 --capacity 384GiB --prefer speed", "bandwidth-first"),
    ("plan skerry-16 --capacity 384GiB --fitted NEER", "NEAR"),
    ("plan skerry-16 --capacity 384GiB --mode mirored", "mirrored"),
    ("plan skerry-16 --capacity 384GiB --processor tern-21", "tern-20"),
    ("plan skerry-16 --capacity 384GiB --colour", "--help"),
    ("plan none.toml --capacity 384GiB", "no such file"),
    ("draw none.json -o map.svg", "no such file"),
    ("draw 0000-0000-0000 -o map.svg", "code"),
    ("found none.txt", "no such file"),
    ("docs figurs", "figures"),
    ("bords list", "boards"),
    ("mix skerry-16 32GiB", "2 to 4 labels"),
]


@pytest.mark.parametrize(("line", "told"), ERRORS, ids=[line for line, _ in ERRORS])
def test_errors_at_80_columns(line: str, told: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a terminal a problem is wrapped, says the next thing to do, and begins with what it is."""
    screen = Screen()
    monkeypatch.setattr(sys, "stderr", screen)
    assert run(shlex.split(line)) in (1, 2)
    lines = screen.getvalue().splitlines()
    assert max(map(len, lines)) <= 80
    assert lines[0].startswith(("error: ", "no: "))
    assert told in " ".join(screen.getvalue().split())
