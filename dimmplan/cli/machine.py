"""``dimmplan found``, ``audit``, ``moves`` and ``locate``: what is in a machine, how it compares with a plan, how to
get from here to there, and the slot that an error record means.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from dimmplan.audit import Audit
from dimmplan.audit import audit as compare
from dimmplan.boardfile.read import load_board
from dimmplan.cli import NO, options, terminal
from dimmplan.cli.files import changes, check_ending, write_files
from dimmplan.cli.options import InventoryOptions, MapOptions, option
from dimmplan.cli.plans import read_judged, tell, with_judgement
from dimmplan.errors import Cause, InputError, Problem, RefusedError
from dimmplan.inventory.match import Matching, mapping_text, read_mapping
from dimmplan.inventory.reader import read_inventory
from dimmplan.locate import Location, locate_log
from dimmplan.locate import locate as locate_records
from dimmplan.model.board import Board
from dimmplan.model.inventory import Inventory
from dimmplan.model.placement import Change, Placement
from dimmplan.moves import plan_moves
from dimmplan.output.machine import (
    AuditDocument,
    FoundDocument,
    LocateDocument,
    audit_text,
    found_text,
    location_text,
)
from dimmplan.output.moves import MovesDocument, blocked_text, moves_text
from dimmplan.output.reading import JudgedPlan
from dimmplan.planner import read_processor, read_trays

InventoryArgument = Annotated[
    str, typer.Argument(help="A file or folder of any known form, or this-machine.", metavar="INVENTORY")
]


def found(
    inventory: InventoryArgument,
    serials: Annotated[bool, typer.Option("--serials", help="Show serial numbers and asset tags.")] = False,
    as_json: options.Json = False,
) -> None:
    """Show what a machine reports: sockets, slots, modules, and everything odd in the report."""
    read = read_inventory(inventory)
    terminal.answer(lambda: FoundDocument.of(read, serials), lambda: found_text(read, serials=serials), as_json=as_json)


@options.grouped
def audit(
    *,
    inventory: InventoryArgument,
    against: Annotated[str | None, option("The plan: a file, - or a plan code.", "PLAN_OR_CODE")] = None,
    board: Annotated[
        str | None,
        option("A board instead of a plan: only its rules are checked.", "BOARD", offers=options.board_ids),
    ] = None,
    board_file: options.BoardFile = None,
    processor: options.Processor = None,
    without_tray: options.WithoutTray = None,
    found: InventoryOptions,
    save_slots: Annotated[Path | None, option("Write the slot mapping here, open questions included.", "FILE")] = None,
    follow: Annotated[
        bool, option("Audit again whenever the inventory changes, until Ctrl-C.", None, "--follow")
    ] = False,
    force: options.Force = False,
    as_json: options.Json = False,
) -> None:
    """Compare a machine with a plan, slot by slot: as planned, different or cannot tell. Then check the rules."""
    target, judged = _target(against, board, board_file)
    for name, said in {"--processor": processor, "--without-tray": without_tray}.items():
        if said and judged is not None:
            raise InputError(Problem(file=name, found="with --against", allowed="with --board"))
    if judged is None:
        target = read_trays(target, without_tray or ())
    chosen = read_processor(target, processor) if processor else None
    placement = judged.placement if judged else None
    for _ in changes([Path(inventory)]):
        read, matching = found.matched(inventory, target)
        result = compare(target, read, matching, placement, data_saved=found.data_saved, processor=chosen)
        if save_slots is not None:
            _save_mapping(save_slots, target, read, matching, force=force)
        _say(result, matching, judged, as_json=as_json)
        if not follow:
            if not (result.good and (judged is None or judged.good)):
                raise typer.Exit(NO)
            return


def _say(result: Audit, matching: Matching, judged: JudgedPlan | None, *, as_json: bool) -> None:
    terminal.answer(
        lambda: with_judgement(AuditDocument.of(result, questions=matching.questions), judged),
        lambda: audit_text(result, matching),
        as_json=as_json,
    )


def _save_mapping(path: Path, board: Board, read: Inventory, matching: Matching, *, force: bool) -> None:
    """Write the mapping; answers that a person has put into the file there stay, so that nothing is lost."""
    answers: dict[tuple[str, str], str] = {}
    if path.is_file():
        try:
            answers = read_mapping(path, board)
        except InputError:
            answers = {}  # no mapping for this board: written over only where it is ours
    kept = bool(answers) and "\n#" not in path.read_text(encoding="utf-8-sig").partition("\n# dimmplan ")[0]
    write_files({path: mapping_text(read, matching, answers).encode("utf-8")}, force=force or kept)


def _target(against: str | None, board: str | None, board_file: Path | None) -> tuple[Board, JudgedPlan | None]:
    if (against is None) == (board is None):
        found = "both" if against else "neither"
        raise InputError(
            Problem(file="dimmplan audit", found=f"{found} of --against and --board", allowed="one of them")
        )
    if against is not None:
        judged = read_judged(against, board_file)
        tell(judged)
        return judged.board, judged

    return load_board(str(board_file or board)), None


@options.grouped
def moves(
    *,
    inventory: InventoryArgument,
    to: Annotated[str, option("The plan: a file, - or a plan code.", "PLAN_OR_CODE", "--to")],
    board_file: options.BoardFile = None,
    found: InventoryOptions,
    as_json: options.Json = False,
) -> None:
    """Say what to keep, pull, move and insert, in order, so that a machine is as planned, and what is left over."""
    judged = read_judged(to, board_file)
    tell(judged)
    change = _change(inventory, found, judged.board, judged.placement)
    terminal.answer(
        lambda: with_judgement(MovesDocument.of(change), judged), lambda: moves_text(change), as_json=as_json
    )
    if change.blocked or not judged.good:
        raise typer.Exit(NO)


def _change(inventory: str, found: InventoryOptions, board: Board, placement: Placement) -> Change:
    """The change from an inventory to a plan. What lies in a slot on hold whose data is saved comes out first."""
    result = compare(board, *found.matched(inventory, board), placement)
    released = tuple(slot for slot in result.untouchable if slot in found.data_saved)
    hold = set(result.untouchable).difference(released)
    change = plan_moves(board, result.content | dict.fromkeys(released), placement, untouchable=hold)
    return change._replace(released=released)


def change_from(
    inventory: str, found: InventoryOptions, board: Board, placement: Placement
) -> tuple[Placement, Change]:
    """The plan with its held slots, and the change to it. Raises ``RefusedError`` where it cannot be done."""
    change = _change(inventory, found, board, placement)
    if change.blocked:
        raise RefusedError([Cause(rule="hold", text=blocked_text(change.blocked))])
    held = {*change.hold, *placement.hold}
    return replace(placement, hold=tuple(slot for slot in board.slots if slot in held)), change


@options.grouped
def locate(
    *,
    board: options.Board,
    records: Annotated[
        list[str], typer.Argument(help="Error records, or - for a log on standard input.", metavar="RECORD...")
    ],
    origin: Annotated[
        str | None,
        option("The machine's inventory, for records that name SMBIOS handles or ranks.", "INVENTORY", "--from"),
    ] = None,
    slots: options.Slots = None,
    output: Annotated[
        Path | None, option("Draw the map with the slots marked: .svg or .png.", "FILE", "-o", "--output")
    ] = None,
    drawing: MapOptions,
    force: options.Force = False,
    as_json: options.Json = False,
) -> None:
    """Say which slot an error record means, or which slots it can mean, and what to do first.

    Records are names that Linux EDAC and RAS give, whole log lines, SMBIOS handles, Redfish paths, or plain locators.
    """
    loaded = load_board(board)
    found, matching = InventoryOptions(slots=slots).matched(origin, loaded) if origin else (None, None)
    if records == ["-"]:
        location = locate_log(loaded, _lines(), found=found, matching=matching)
    else:
        location = locate_records(loaded, records, found=found, matching=matching)
    drawn = _draw_marked(location, output, drawing, force=force) if output else []
    terminal.answer(lambda: LocateDocument.of(location), lambda: location_text(location), as_json=as_json, files=drawn)
    if not location.records or not all(record.slots for record in location.records):
        raise typer.Exit(NO)


def _lines() -> Iterator[str]:
    """Standard input line by line; of a line without an end pieces, of bytes that are no text what can be read."""
    while line := sys.stdin.buffer.readline(1 << 16):
        yield line.decode("utf-8", "replace")


def _draw_marked(location: Location, output: Path, drawing: MapOptions, *, force: bool) -> list[Path]:
    check_ending(output, (".svg", ".png"))
    drawing.check()
    if not location.marked:
        raise InputError(Problem(file=str(output), found="no slot to mark", allowed="a record that fits one"))
    from dimmplan.cli.sheets import rendered
    from dimmplan.sheet.marked import compose_marked  # only a picture needs them

    made = compose_marked(location.board, location.marked, **drawing.named())
    files = rendered(made, output)
    write_files(files, force=force)
    return list(files)
