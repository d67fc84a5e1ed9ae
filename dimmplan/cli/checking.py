"""What ``boards check`` does: every problem at once, the board drawn while it is good, and both again as one types."""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

import typer

from dimmplan.boardfile.read import examine_file
from dimmplan.cli import options, terminal
from dimmplan.cli.draw import FORMATS, sheet_files
from dimmplan.cli.files import ending_problem, write_files
from dimmplan.errors import InputError, Problem, first_problems
from dimmplan.model.board import Board
from dimmplan.model.placement import Placement, for_the_map
from dimmplan.output.boards import CheckDocument, checked_file
from dimmplan.output.record import to_json
from dimmplan.units import cleaned, counted
from dimmplan.wording.request import CheckNote, check_notes

WATCH_SECONDS = 0.3
TITLE = "Board as drawn, first slots filled"


def require(files: Sequence[Path], picture: Path | None) -> None:
    """Raise ``InputError`` where none of the files is there, and for a picture of none or of several.

    Of several files the others are checked, and one that is not there is among the problems.
    """
    problems = []
    if not any(file.is_file() for file in files):
        problems = [
            Problem(file=cleaned(str(file)), place="", found="no such file", allowed="a board file") for file in files
        ]
    if picture is not None:
        wrong = ending_problem(picture, FORMATS, file="--draw")
        problems += [wrong] if wrong is not None else []
        if len(files) > 1:
            problems.append(Problem(file="--draw", place="", found=f"{len(files)} board files", allowed="one"))
    if problems:
        raise InputError(problems)


def watch(files: Sequence[Path], picture: Path | None, *, force: bool, as_json: bool) -> None:
    """Check again whenever a file changes, until stopped. A file that an editor is just replacing is no end."""
    with suppress(KeyboardInterrupt):
        while True:
            seen = [_stamp(file) for file in files]
            terminal.clear()
            check(files, picture, force=force, as_json=as_json)
            if not as_json:
                typer.echo("watching; stop with Ctrl-C", err=True)
            while seen == [_stamp(file) for file in files]:
                time.sleep(WATCH_SECONDS)


def _stamp(file: Path) -> tuple[int, int]:
    try:
        status = file.stat()
    except OSError:
        return 0, 0
    return status.st_mtime_ns, status.st_size


def check(files: Sequence[Path], picture: Path | None, *, force: bool, as_json: bool) -> bool:
    """Check, print and draw; true where nothing was wrong."""
    good = True
    told = []
    for file in files:
        board, problems = examine_file(file)
        good = good and not problems
        notes = check_notes(board) if board is not None else []
        if as_json:
            told.append((cleaned(str(file)), board.id if board else None, problems, notes))
        else:
            _say(file, problems, notes)
        if board is not None and picture is not None:
            _draw(board, picture, force=force)
    if as_json:
        typer.echo(to_json(CheckDocument(files=[checked_file(*each) for each in told])), nl=False)
    return good


def _say(file: Path, problems: Sequence[Problem], notes: Sequence[CheckNote]) -> None:
    for problem in first_problems(problems):
        typer.echo(terminal.folded(problem.sentence(), sys.stdout))
    for note in notes:
        where = f"{note.rule}, {counted(note.modules, 'module')}" if note.modules else note.rule
        typer.echo(terminal.folded(f"{cleaned(str(file))}: note: {where}: {note.text}", sys.stdout))
    found = f"{len(problems)} problem{'s' if len(problems) != 1 else ''}"
    typer.echo(f"{cleaned(str(file))}: {found if problems else 'good'}")


def _draw(board: Board, picture: Path, *, force: bool) -> None:
    try:
        files = sheet_files(board, _first_slots(board), picture, page="chassis", title=TITLE)
        write_files(files, force=force)
    except InputError as error:
        for problem in error.problems:
            terminal.complain(f"not drawn: {problem.sentence()}")
        return
    for path in files:
        options.wrote(path)


def _first_slots(board: Board) -> Placement:
    """The first usual module in the first slot of every channel: shows names, places and fill order; no plan."""
    module = board.modules[0]
    return for_the_map(board, {channel.slots[0]: module for channel in board.channels})
