"""Other systems, as far as they can be tried without them: paths, line ends, encodings, and names that meet."""

from __future__ import annotations

import codecs
from collections.abc import Callable
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any

import pytest

from dimmplan.boardfile.read import board_folders, shipped_folder
from dimmplan.cli.run import run
from dimmplan.cli.sheets import page_path
from dimmplan.fleet.rows import folder_name

BOARD = (shipped_folder() / "skerry-16.toml").read_text(encoding="utf-8")
INPUTS: dict[str, tuple[str, list[str]]] = {
    "mine.toml": (BOARD, ["boards", "check", "mine.toml"]),
    "shelf.csv": (
        "label,count\n32GB 2Rx4 PC4-2933Y-R,24\n",
        ["plan", "skerry-16", "--capacity", "384GiB", "--stock", "shelf.csv"],
    ),
    "labels.csv": ("slot,label\nK1,32GB 2Rx4 PC4-2933Y-R\n", ["found", "labels.csv"]),
    "racks.csv": ("tag,board,capacity\nQ-1,skerry-16,384GiB\n", ["plan", "--machines", "racks.csv", "--out", "racks"]),
}
FORMS: dict[str, Callable[[str], bytes]] = {
    "line feeds": lambda text: text.encode("utf-8"),
    "carriage returns too": lambda text: text.replace("\n", "\r\n").encode("utf-8"),
    "byte order mark": lambda text: codecs.BOM_UTF8 + text.encode("utf-8"),
}


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("name", INPUTS)
def test_line_ends_and_marks_of_any_system(name: str, form: str, tmp_path: Path, monkeypatch: Any) -> None:
    """What an editor or a spreadsheet of another system saves is read alike."""
    monkeypatch.chdir(tmp_path)
    text, arguments = INPUTS[name]
    (tmp_path / name).write_bytes(FORMS[form](text))
    assert run(arguments) == 0


def test_utf_16_is_read_or_named(tmp_path: Path, monkeypatch: Any, capsys: pytest.CaptureFixture[str]) -> None:
    """An older shell writes UTF-16 with ``>``: spreadsheets' lists are read so, board files are told what to do."""
    monkeypatch.chdir(tmp_path)
    for name in ("shelf.csv", "racks.csv"):
        text, arguments = INPUTS[name]
        (tmp_path / name).write_bytes(text.encode("utf-16"))
        assert run(arguments) == 0
    (tmp_path / "mine.toml").write_bytes(BOARD.encode("utf-16"))
    assert run(["boards", "check", "mine.toml"]) == 1
    assert "It is UTF-16: save it as UTF-8." in capsys.readouterr().out


@pytest.mark.parametrize(
    ("path", "second"),
    [
        (PureWindowsPath(r"C:\plans\map.svg"), r"C:\plans\map-2.svg"),
        (PureWindowsPath(r"\\server\share\my plan\map.png"), r"\\server\share\my plan\map-2.png"),
        (PurePosixPath("/Volumes/Desk/map.v1.svg"), "/Volumes/Desk/map.v1-2.svg"),
    ],
)
def test_further_pages_stay_beside_the_first(path: Any, second: str) -> None:
    assert str(page_path(path, 2)) == second
    assert page_path(path, 1) == path


@pytest.mark.parametrize("name", [r"C:\boards\mine.toml", r"..\mine.toml", "C:mine.toml", "NUL.toml"])
def test_paths_of_another_system_are_only_missing_here(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A path that means nothing here is a file that is not there, named as it was typed."""
    assert run(["boards", "check", name]) == 2
    assert f"error: {name}: found no such file" in capsys.readouterr().err


def test_folders_of_boards_are_parted_as_the_system_does(monkeypatch: pytest.MonkeyPatch) -> None:
    """A drive letter's colon parts nothing where the system parts folders with semicolons."""
    monkeypatch.setattr("os.pathsep", ";")
    monkeypatch.setenv("DIMMPLAN_BOARDS", r"C:\boards;D:\more boards;")
    assert [str(folder) for folder in board_folders()][:-1] == [r"C:\boards", r"D:\more boards"]


def test_folders_of_machines_never_meet() -> None:
    """Reserved names, case, decomposed letters, dots and blanks at the end: each tag its own folder on every system."""
    tags = [
        "CON",
        "con",
        "Con",
        "NUL.txt",
        "nul.txt",
        "Kälte",
        "Ka\u0308lte",
        "a.",
        "a",
        "A",
        "a ",
        "x/y",
        "x\\y",
        "x:y",
    ]
    names = [folder_name(tag) for tag in tags]
    assert None not in names
    folded = [str(name).casefold() for name in names]
    assert len(set(folded)) == len(tags)
    for name in folded:
        assert not set(name) & set('<>:"/\\|?*')
        assert not name.endswith((".", " "))
        assert name.split(".")[0].partition("~")[0] not in {"con", "nul"}
