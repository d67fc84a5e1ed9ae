"""``dimmplan locate``: the slot that an error record means."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any

import typer

from dimmplan.boardfile.read import load_board
from dimmplan.cli import options, terminal
from dimmplan.cli.draw import check_sheet_options, rendered
from dimmplan.cli.files import check_ending, write_files
from dimmplan.cli.machine import Machine
from dimmplan.errors import InputError, Problem
from dimmplan.inventory.match import Matching
from dimmplan.locate import Location, locate_log
from dimmplan.locate import locate as located
from dimmplan.model.board import Board
from dimmplan.model.inventory import Inventory
from dimmplan.output.locating import location_record, location_text
from dimmplan.output.record import to_json
from dimmplan.sheet.marked import compose_marked


def locate(
    board: options.Board,
    records: Annotated[
        list[str], typer.Argument(help="Error records, or - for a log on standard input.", metavar="RECORD...")
    ],
    origin: Annotated[
        str | None,
        typer.Option("--from", help="The machine's inventory: SMBIOS handles, ranks of modules.", metavar="INVENTORY"),
    ] = None,
    slots: options.Slots = None,
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", help="Draw the map with the slots marked: .svg or .png.", metavar="FILE"),
    ] = None,
    paper: options.Paper = "a4",
    ink: options.Ink = "colour",
    front: options.Front = "down",
    tag: options.Tag = None,
    force: options.Force = False,
    as_json: options.Json = False,
) -> None:
    """Say which slot an error record means, or which it can mean, and what to do first.

    Records are names that Linux EDAC and RAS give, whole log lines, SMBIOS handles, Redfish paths, or plain locators.
    """

    loaded = load_board(board)
    found, matching = _inventory(origin, loaded, slots)
    if records == ["-"]:
        location = locate_log(loaded, _lines(), found=found, matching=matching)
    else:
        location = located(loaded, records, found=found, matching=matching)
    drawn = _draw(location, output, paper=paper, ink=ink, front=front, tag=tag, force=force) if output else []
    if as_json:
        typer.echo(to_json(location_record(location)), nl=False)
    else:
        terminal.say(location_text(location))
        for path in drawn:
            options.wrote(path)
    if not location.records or not all(record.slots for record in location.records):
        raise typer.Exit(1)


def _lines() -> Iterator[str]:
    """Standard input line by line; of a line without an end pieces, of bytes that are no text what can be read."""
    while line := sys.stdin.buffer.readline(1 << 16):
        yield line.decode("utf-8", "replace")


def _inventory(origin: str | None, board: Board, slots: Path | None) -> tuple[Inventory | None, Matching | None]:
    if origin is None:
        return None, None

    return Machine(inventory=origin, slots=slots).matched(board)


def _draw(location: Location, output: Path, *, force: bool, **sheet: Any) -> list[Path]:
    check_ending(output, (".svg", ".png"))
    check_sheet_options(sheet)
    if not location.marked:
        raise InputError(Problem(file=str(output), place="", found="no slot to mark", allowed="a record that fits one"))
    made = compose_marked(location.board, location.marked, **sheet)
    files = rendered(made, output)
    write_files(files, force=force)
    return list(files)
