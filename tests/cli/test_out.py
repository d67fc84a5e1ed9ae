"""The committed examples are what the commands in front of them draw, byte for byte."""

from __future__ import annotations

from pathlib import Path

import pytest

from dimmplan.cli.run import run

OUT = Path(__file__).resolve().parents[2] / "out"
COMMANDS = {
    "demo": ["demo"],
    "strand-12": ["plan", "strand-12", "--capacity", "768GiB"],
    "firth-96": ["plan", "firth-96", "--capacity", "3TiB"],
}


@pytest.mark.parametrize("name", COMMANDS)
def test_the_examples_are_remade_byte_for_byte(name: str, tmp_path: Path) -> None:
    assert run([*COMMANDS[name], "--out", str(tmp_path / name)]) == 0
    made = {path.name: path.read_bytes() for path in (tmp_path / name).iterdir()}
    kept = {path.name: path.read_bytes() for path in (OUT / name).iterdir()}
    assert sorted(made) == sorted(kept)
    assert [file for file in made if made[file] != kept[file]] == []


def test_there_is_no_example_that_no_command_makes() -> None:
    assert sorted(path.name for path in OUT.iterdir()) == sorted(COMMANDS)
