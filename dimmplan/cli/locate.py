"""``dimmplan locate``: the slot that an error record means."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

import typer

from dimmplan.boardfile.read import load_board
from dimmplan.cli import options, terminal
from dimmplan.cli.files import check_ending, write_files
from dimmplan.cli.options import InventoryOptions, MapOptions, option
from dimmplan.cli.sheets import rendered
from dimmplan.errors import InputError, Problem
from dimmplan.locate import Location, locate_log
from dimmplan.locate import locate as located
from dimmplan.output.locating import location_record, location_text
from dimmplan.output.record import to_json
from dimmplan.sheet.marked import compose_marked


@options.grouped
def locate(
    *,
    board: options.Board,
    records: Annotated[
        list[str], typer.Argument(help="Error records, or - for a log on standard input.", metavar="RECORD...")
    ],
    origin: Annotated[
        str | None,
        option("The machine's inventory: SMBIOS handles, ranks of modules.", "INVENTORY", "--from"),
    ] = None,
    slots: options.Slots = None,
    output: Annotated[
        Path | None, option("Draw the map with the slots marked: .svg or .png.", "FILE", "-o", "--output")
    ] = None,
    drawing: MapOptions,
    force: options.Force = False,
    as_json: options.Json = False,
) -> None:
    """Say which slot an error record means, or which it can mean, and what to do first.

    Records are names that Linux EDAC and RAS give, whole log lines, SMBIOS handles, Redfish paths, or plain locators.
    """
    loaded = load_board(board)
    found, matching = InventoryOptions(slots=slots).matched(origin, loaded) if origin else (None, None)
    if records == ["-"]:
        location = locate_log(loaded, _lines(), found=found, matching=matching)
    else:
        location = located(loaded, records, found=found, matching=matching)
    drawn = _draw(location, output, drawing, force=force) if output else []
    if as_json:
        typer.echo(to_json(location_record(location)), nl=False)
    else:
        terminal.say(location_text(location))
        for path in drawn:
            terminal.wrote(path)
    if not location.records or not all(record.slots for record in location.records):
        raise typer.Exit(1)


def _lines() -> Iterator[str]:
    """Standard input line by line; of a line without an end pieces, of bytes that are no text what can be read."""
    while line := sys.stdin.buffer.readline(1 << 16):
        yield line.decode("utf-8", "replace")


def _draw(location: Location, output: Path, drawing: MapOptions, *, force: bool) -> list[Path]:
    check_ending(output, (".svg", ".png"))
    drawing.check()
    if not location.marked:
        raise InputError(Problem(file=str(output), found="no slot to mark", allowed="a record that fits one"))
    made = compose_marked(location.board, location.marked, **drawing.named())
    files = rendered(made, output)
    write_files(files, force=force)
    return list(files)
