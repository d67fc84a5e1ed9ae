"""The man page: made from the command tree, held still, and well-formed."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from dimmplan.cli.app import COMMANDS
from dimmplan.docs import FOLDER
from tests.docs.man_page import man_page

PAGE = FOLDER / "dimmplan.1"


def test_the_page_is_what_is_made() -> None:
    """What travels is made from today's commands: python -m tests.docs.man_page > dimmplan/docs/dimmplan.1."""
    assert PAGE.read_text(encoding="utf-8") == man_page()


def test_the_page_says_everything() -> None:
    """Every command, the exit statuses and the variables stand in it; no line is an unknown request."""
    text = PAGE.read_text(encoding="utf-8").replace("\\-", "-")
    for command in COMMANDS:
        assert f".SS dimmplan {command}" in text
    for word in ("NO_COLOR", "DIMMPLAN_BOARDS", "--capacity C", "Example:", "\\fB130\\fR"):
        assert word in text
    requests = {line.split()[0] for line in text.splitlines() if line.startswith((".", "'"))}
    assert requests <= {".TH", ".SH", ".SS", ".PP", ".TP", ".B", ".BR", ".RS", ".RE", ".nf", ".fi"}


@pytest.mark.system_tool("groff")
def test_the_page_is_well_formed(tmp_path: Path) -> None:
    """The formatter has no warning, at any width of a terminal."""
    for width in (60, 80, 132):
        command = ["groff", "-man", "-ww", "-Tascii", f"-rLL={width}n", str(PAGE)]
        done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
        assert (done.returncode, done.stderr) == (0, "")
        assert "dimmplan docs" in done.stdout
