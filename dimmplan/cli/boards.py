"""``dimmplan boards``: the board library, the check, and the schema for editors."""

from __future__ import annotations

import re
import shlex
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Annotated, Any, TypeVar

import typer

from dimmplan.boardfile.draft import draft_board
from dimmplan.boardfile.read import MOST_BYTES, boards_by_id, examine_file, find_board_file, load_board
from dimmplan.boardfile.schema import json_schema
from dimmplan.boardfile.tables import SLOT, read_copied
from dimmplan.bounded import read_file
from dimmplan.cli import NO, app, options, terminal
from dimmplan.cli.files import SHEET_FORMATS, changes, ending_problem, write_files
from dimmplan.cli.sheets import sheet_files
from dimmplan.errors import MOST_PROBLEMS, InputError, Problem, first_problems
from dimmplan.inventory.reader import read_inventory
from dimmplan.model.board import Board
from dimmplan.model.placement import Placement, for_the_map
from dimmplan.output.boards import (
    LIST_COLUMNS,
    BoardDocument,
    BoardList,
    CheckDocument,
    CheckedFile,
    DraftDocument,
    NoteEntry,
    TableCount,
    TableDocument,
    TableRow,
    board_text,
    check_notes,
    draft_text,
)
from dimmplan.output.columns import Part, Table
from dimmplan.output.record import to_json
from dimmplan.planner import read_mode
from dimmplan.sheet.marked import compose_rules
from dimmplan.units import cleaned, counted, quoted

C = TypeVar("C", bound=Callable[..., Any])

boards = typer.Typer(
    cls=app.Group,
    help="The board library: list, show, check, schema, draft, table.",
    epilog="To write a board of your own: dimmplan docs writing-a-board",
    rich_markup_mode=None,
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _command(name: str, example: str, short_help: str | None = None) -> Callable[[C], C]:
    """A command of the group; without a short help it is the first sentence of its help."""
    epilog = f"Example: dimmplan boards {example}"
    return boards.command(name=name, cls=app.Command, short_help=short_help, epilog=epilog)


@_command("list", "list --json", "List the boards that are known by their id.")
def list_boards(as_json: options.Json = False) -> None:
    """List the boards that are known by their id: the shipped ones, and those in the folders of DIMMPLAN_BOARDS."""
    loaded = sorted(_boards_by_id(), key=lambda board: board.id)
    library = BoardList.of(boards=loaded)
    if as_json:
        typer.echo(to_json(library), nl=False)
    else:
        terminal.say_table(Table(LIST_COLUMNS, [Part(items=library.boards)]))


def _boards_by_id() -> Iterator[Board]:
    """Every board that goes by its id; files that should hold one and do not are told on standard error."""
    for name, path in boards_by_id().items():
        board, problems = examine_file(path)
        file = cleaned(str(path))
        if board is None:
            terminal.complain(f"left out: {file}: {len(problems)} problems. See: dimmplan boards check {file}")
        elif board.id != name:
            terminal.complain(f"left out: {file}: it holds {board.id}, which goes by its id as {board.id}.toml")
        else:
            yield board


@_command("show", "show skerry-16", "Show one board, or print its file.")
def show(
    board: options.Board,
    toml: Annotated[bool, typer.Option("--toml", help="Print the board file, as a start for your own.")] = False,
    as_json: options.Json = False,
) -> None:
    """Show one board: wiring, usual modules, processors, rules, access steps."""
    loaded = load_board(board)
    if toml:
        text = read_file(find_board_file(board), most=MOST_BYTES, allowed="a board file").decode("utf-8-sig")
        typer.echo("\n".join(cleaned(line, most=10_000) for line in text.splitlines()))
    else:
        terminal.answer(lambda: BoardDocument.of(loaded), lambda: board_text(loaded), as_json=as_json)


@_command("check", "check my-board.toml")
def check(
    files: Annotated[list[Path], typer.Argument(help="Board files.", metavar="FILE...")],
    watch: Annotated[bool, typer.Option("--watch", help="Check again whenever a file changes, until Ctrl-C.")] = False,
    picture: Annotated[
        Path | None,
        typer.Option(
            "--draw",
            help="Draw the board into this file if it has no problem, each slot with the rules that name it: .svg, "
            ".png, .pdf or .html.",
            metavar="PICTURE",
        ),
    ] = None,
    force: options.Force = False,
    as_json: options.Json = False,
) -> None:
    """Check board files and report every problem at once."""
    _require(files, picture)
    if watch:
        _watch(files, picture, force=force, as_json=as_json)
    elif not _check(files, picture, force=force, as_json=as_json):
        raise typer.Exit(NO)


@_command("schema", "schema > board.schema.json")
def schema(as_json: options.Json = False) -> None:
    """Print the JSON Schema of the board file."""
    del as_json  # the schema is JSON either way
    typer.echo(to_json(json_schema()), nl=False)


@_command("table", "table copied.csv >> my-board.toml", "Turn a manual's population table into a rule row.")
def table(
    file: Annotated[
        str, typer.Argument(help="The table as CSV: slot names above marks, or count,slots.", metavar="FILE.csv")
    ],
    row_id: Annotated[str, typer.Option("--id", help="The row's id.", metavar="ID")] = "population-table",
    source: Annotated[str, typer.Option(help="The row's source id.", metavar="ID")] = "manual",
    socket: Annotated[str | None, typer.Option(help="The socket whose modules the table counts.", metavar="S")] = None,
    mode: Annotated[
        str | None, typer.Option(help="The only memory mode that the table is for.", metavar="MODE")
    ] = None,
    names: Annotated[
        str,
        typer.Option(help="How the board file names a slot; {slot} stands for the name in the table.", metavar="FORM"),
    ] = SLOT,
    as_json: options.Json = False,
) -> None:
    """Turn a population table, as copied from a manual, into a rule row for a board file.

    The table has slot names in its first row and marks for filled slots below them; or it has two columns, count and
    slots. Cells are separated by commas, semicolons, tabs or bars.
    """
    chosen = read_mode(mode).value if mode else None
    copied = read_copied(file).named(names)
    if as_json:
        row = TableRow(id=row_id, check="table", socket=socket, mode=chosen, source=source)
        rows = [TableCount(modules=count, slots=list(slots)) for count, slots in sorted(copied.rows.items())]
        typer.echo(to_json(TableDocument(row=row, rows=rows)), nl=False)
    else:
        typer.echo(copied.toml(row_id, source, socket=socket, mode=chosen), nl=False)


@_command("draft", "draft listing.txt -o my-board.toml", "Draft a board file from a machine's inventory.")
def draft(
    inventory: Annotated[str, typer.Argument(help="A machine's inventory of any known form.", metavar="INVENTORY")],
    output: Annotated[Path, typer.Option("-o", "--output", help="The board file to write: .toml.", metavar="FILE")],
    title: Annotated[str | None, typer.Option(help="Title of the board.", metavar="TEXT")] = None,
    answer: Annotated[
        list[str] | None,
        typer.Option(help="An answer to a question of the draft; may be repeated.", metavar="ABOUT=CHOICE"),
    ] = None,
    force: options.Force = False,
    as_json: options.Json = False,
) -> None:
    """Draft a first board file from a machine's inventory. What it does not say is asked, with possible layouts."""
    found = read_inventory(inventory)
    board_id = re.sub(r"[^a-z0-9]+", "-", output.stem.lower()).strip("-")[:40].strip("-") or "drafted"
    board_id = board_id if len(board_id) > 1 else f"board-{board_id}"
    answers = _answers(answer or [])
    made = draft_board(found, board_id=board_id, title=(title or output.stem)[:80], answers=answers)
    write_files({output: made.text.encode("utf-8")}, force=force)
    names = (shlex.quote(cleaned(str(name), most=400)) for name in (inventory, output))
    again = "dimmplan boards draft {} -o {}".format(*names)
    terminal.answer(
        lambda: DraftDocument.of(made, board=board_id, file=str(output)),
        lambda: draft_text(made, again),
        as_json=as_json,
        files=[output],
    )


def _answers(texts: list[str]) -> dict[str, str]:
    """Answers by what they are about. Raises ``InputError``."""
    answers: dict[str, str] = {}
    for text in texts:
        about, equals, choice = text.partition("=")
        if not equals or not about.strip() or not choice.strip():
            allowed = "ABOUT=CHOICE, such as channels=apart-6"
            raise InputError(Problem(file="--answer", found=quoted(text), allowed=allowed))
        answers[about.strip()] = choice.strip()
    return answers


# -- the check ---------------------------------------------------------------------------------------------------------


def _require(files: Sequence[Path], picture: Path | None) -> None:
    """Raise ``InputError`` where none of the files is there, and for a picture of none or of several.

    Of several files the others are checked, and one that is not there is among the problems.
    """
    problems = []
    if not any(file.is_file() for file in files):
        problems = [Problem(file=cleaned(str(file)), found="no such file", allowed="a board file") for file in files]
    if picture is not None:
        wrong = ending_problem(picture, SHEET_FORMATS, file="--draw")
        problems += [wrong] if wrong is not None else []
        if len(files) > 1:
            problems.append(Problem(file="--draw", found=f"{len(files)} board files", allowed="one"))
    if problems:
        raise InputError(problems)


def _watch(files: Sequence[Path], picture: Path | None, *, force: bool, as_json: bool) -> None:
    """Check again whenever a file changes, until stopped. A file that an editor is just replacing is no end."""
    with suppress(KeyboardInterrupt):
        for _ in changes(files):
            terminal.clear()
            _check(files, picture, force=force, as_json=as_json)
            if not as_json:
                typer.echo("watching; stop with Ctrl-C", err=True)


def _check(files: Sequence[Path], picture: Path | None, *, force: bool, as_json: bool) -> bool:
    """Check, print and draw; true where nothing was wrong."""
    good = True
    told = []
    for file in files:
        board, problems = examine_file(file)
        good = good and not problems
        notes = check_notes(board) if board is not None else []
        if as_json:
            few, board_id = problems[:MOST_PROBLEMS], board.id if board else None
            checked = {"problems": few, "problem_count": len(problems), "notes": notes}
            told.append(CheckedFile.of(file=cleaned(str(file)), id=board_id, **checked))
        else:
            _say_checked(file, board, problems, notes)
        if board is not None and picture is not None:
            _draw(board, picture, force=force)
    if as_json:
        typer.echo(to_json(CheckDocument(files=told)), nl=False)
    return good


def _say_checked(file: Path, board: Board | None, problems: Sequence[Problem], notes: Sequence[NoteEntry]) -> None:
    for problem in first_problems(problems):
        typer.echo(terminal.folded(problem.sentence(), sys.stdout))
    for note in notes:
        where = f"{note.rule}, {counted(note.modules, 'module')}" if note.modules else note.rule
        typer.echo(terminal.folded(f"{cleaned(str(file))}: note: {where}: {note.text}", sys.stdout))
    said = f"good: {_size_of(board)}" if board is not None else counted(len(problems), "problem")
    typer.echo(f"{cleaned(str(file))}: {said}")


def _size_of(board: Board) -> str:
    """What was read, to be held against the manual."""
    parts = [("socket", board.sockets), ("channel", board.channels), ("slot", board.slots), ("rate row", board.rates)]
    return ", ".join(counted(len(each), name) for name, each in parts)


def _draw(board: Board, picture: Path, *, force: bool) -> None:
    try:
        files = sheet_files(board, _first_slots(board), picture, sheet=compose_rules(board))
        write_files(files, force=force)
    except InputError as error:
        for problem in error.problems:
            terminal.complain(f"not drawn: {problem.sentence()}")
        return
    for path in files:
        terminal.wrote(path)


def _first_slots(board: Board) -> Placement:
    """The first usual module in the first slot of every channel, for the page that is read on a screen."""
    module = board.modules[0]
    return for_the_map(board, {channel.slots[0]: module for channel in board.channels})
