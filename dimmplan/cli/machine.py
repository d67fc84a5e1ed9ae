"""``dimmplan found``, ``audit`` and ``moves``: what is in a machine, how it compares, how to get from here to there."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from dimmplan.audit import Audit
from dimmplan.audit import audit as compare
from dimmplan.boardfile.read import load_board
from dimmplan.cli import options, terminal
from dimmplan.cli.files import write_files
from dimmplan.cli.options import InventoryOptions, option
from dimmplan.cli.plans import read_judged, tell, with_judgement
from dimmplan.errors import Cause, InputError, Problem, RefusedError
from dimmplan.inventory.match import Matching, mapping_text, read_mapping
from dimmplan.inventory.reader import read_inventory
from dimmplan.model.board import Board
from dimmplan.model.inventory import Inventory
from dimmplan.model.move import Change
from dimmplan.model.placement import Placement
from dimmplan.moves import plan_moves
from dimmplan.output.machine import audit_record, audit_text, found_record, found_text
from dimmplan.output.moves import moves_record, moves_text
from dimmplan.output.reading import JudgedPlan
from dimmplan.output.record import to_json
from dimmplan.planner import read_processor, read_trays
from dimmplan.wording.machine import blocked_text

FOLLOW_SECONDS = 0.3

InventoryArgument = Annotated[
    str, typer.Argument(help="A file or folder of any known form, or this-machine.", metavar="INVENTORY")
]


def found(
    inventory: InventoryArgument,
    serials: Annotated[bool, typer.Option("--serials", help="Show serial numbers and asset tags.")] = False,
    as_json: options.Json = False,
) -> None:
    """Show what a machine says of itself: sockets, slots, modules, and everything odd about how it says it."""
    read = read_inventory(inventory)
    if as_json:
        typer.echo(to_json(found_record(read, serials=serials)), nl=False)
    else:
        terminal.say(found_text(read, serials=serials))


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
        bool, option("Audit again whenever the inventory grows, until stopped.", None, "--follow")
    ] = False,
    force: options.Force = False,
    as_json: options.Json = False,
) -> None:
    """Hold a machine against a plan, slot by slot: as planned, different, cannot tell; then the rules."""
    target, judged = _target(against, board, board_file)
    for name, said in {"--processor": processor, "--without-tray": without_tray}.items():
        if said and judged is not None:
            raise InputError(Problem(file=name, found="with --against", allowed="with --board"))
    if judged is None:
        target = read_trays(target, without_tray or ())
    chosen = read_processor(target, processor) if processor else None
    placement = judged.placement if judged else None
    good = True
    while True:
        stamp = _stamp(inventory)
        result, matching, read = _audited(inventory, found, target, placement, chosen)
        good = result.good and (judged is None or judged.good)
        if save_slots is not None:
            _save_mapping(save_slots, target, read, matching, force=force)
        _say(result, matching, judged, as_json=as_json)
        if not follow:
            break
        while stamp == _stamp(inventory):
            time.sleep(FOLLOW_SECONDS)
    if not good:
        raise typer.Exit(1)


def _say(result: Audit, matching: Matching, judged: JudgedPlan | None, *, as_json: bool) -> None:
    if as_json:
        typer.echo(to_json(with_judgement(audit_record(result, matching), judged)), nl=False)
    else:
        terminal.say(audit_text(result, matching))


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


def _audited(
    inventory: str,
    found: InventoryOptions,
    board: Board,
    placement: Placement | None,
    processor: str | None = None,
) -> tuple[Audit, Matching, Inventory]:
    read, matching = found.matched(inventory, board)
    saved = found.data_saved
    return compare(board, read, matching, placement, data_saved=saved, processor=processor), matching, read


def _stamp(inventory: str) -> tuple[int, int]:
    try:
        status = Path(inventory).stat()
    except (OSError, ValueError):
        return 0, 0
    return status.st_mtime_ns, status.st_size


@options.grouped
def moves(
    *,
    inventory: InventoryArgument,
    to: Annotated[str, option("The plan: a file, - or a plan code.", "PLAN_OR_CODE", "--to")],
    board_file: options.BoardFile = None,
    found: InventoryOptions,
    as_json: options.Json = False,
) -> None:
    """Say what to keep, pull, move and insert, in order, to get from a machine to a plan; and what is left over."""
    judged = read_judged(to, board_file)
    tell(judged)
    change = _change(inventory, found, judged.board, judged.placement)[0]
    if as_json:
        typer.echo(to_json(with_judgement(moves_record(change), judged)), nl=False)
    else:
        terminal.say(moves_text(change))
    if change.blocked or not judged.good:
        raise typer.Exit(1)


def _change(
    inventory: str, found: InventoryOptions, board: Board, placement: Placement
) -> tuple[Change, tuple[str, ...]]:
    """The change from an inventory to a plan, and the slots that nobody may touch."""
    result, _, _ = _audited(inventory, found, board, placement)
    change = plan_moves(board, result.content, placement, untouchable=result.untouchable)
    return change, result.untouchable


def change_from(
    inventory: str, found: InventoryOptions, board: Board, placement: Placement
) -> tuple[Placement, Change]:
    """The plan with its held slots, and the change to it. Raises ``RefusedError`` where it cannot be done."""
    change, untouchable = _change(inventory, found, board, placement)
    if change.blocked:
        raise RefusedError([Cause(rule="hold", text=blocked_text(change.blocked))])
    held = set(untouchable) | set(placement.hold)
    return replace(placement, hold=tuple(slot for slot in board.slots if slot in held)), change
