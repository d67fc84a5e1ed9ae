"""What a shell offers at each place of a command line. Never fails and never prints: no offer beats a wrong one."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from dimmplan.model.board import Board

Offer = Callable[[typer.Context, str], list[str]]


ASKED_BY = "_DIMMPLAN_COMPLETE"
"""Set by the shell when it asks for completions."""


def _offered(choices: Callable[[typer.Context], Iterable[str]]) -> Offer:
    """Choices as a completion: those that begin with what is typed; the last of several with commas between."""

    def complete(context: typer.Context, incomplete: str) -> list[str]:
        found: list[str] = []
        with suppress(Exception, SystemExit):
            before, comma, last = incomplete.rpartition(",")
            found = [f"{before}{comma}{choice}" for choice in choices(context) if choice.startswith(last)]
        return found

    return complete


def _board(context: typer.Context) -> Board:
    """The board that the command line names so far: by itself, or by the plan or code that it is about.

    Where an option still lacks its value, the parser has not yet got to the arguments; they wait in ``args``.
    """
    from dimmplan.boardfile.read import load_board

    said, waiting = context.params, next(iter(context.args), None)
    plan = said.get("against") or said.get("to") or said.get("plan")
    named = said.get("board") or (waiting if "board" in said else None)
    if named and not plan:
        return load_board(str(named))
    from dimmplan.cli.plans import read_judged

    board_file = said.get("board_file")
    return read_judged(str(plan or waiting), Path(board_file) if board_file else None).board


def _board_ids(_: typer.Context) -> list[str]:
    from dimmplan.boardfile.read import boards_by_id

    return sorted(boards_by_id())


def _lists(_: typer.Context) -> list[str]:
    from dimmplan.solve.criteria import LISTS

    return list(LISTS)


def _topics(_: typer.Context) -> list[str]:
    from dimmplan.docs import topics

    return list(topics())


def _modes(_: typer.Context) -> list[str]:
    from dimmplan.model.request import Mode

    return [mode.value for mode in Mode]


def _labels(context: typer.Context) -> list[str]:
    """Labels of the shelf that is named, or the board's usual ones, and their sizes."""
    board = _board(context)
    stock = context.params.get("stock")
    if stock:
        from dimmplan.stock import read_shelf

        return list(dict.fromkeys(lot.label for lot in read_shelf(Path(stock), board).lots if lot.count))
    sizes = dict.fromkeys(f"{module.capacity_gib}GiB" for module in board.modules)
    return [*sizes, *(module.label for module in board.modules)]


def _slots(context: typer.Context) -> list[str]:
    return list(_board(context).slots)


def _slots_with_modules(context: typer.Context) -> list[str]:
    board = _board(context)
    return [f"{slot}={module.capacity_gib}GiB" for slot in board.slots for module in board.modules]


board_ids = _offered(_board_ids)
sockets = _offered(lambda context: [socket.id for socket in _board(context).sockets])
trays = _offered(lambda context: [tray.name for tray in _board(context).physical.trays])
processors = _offered(lambda context: [option.id for option in _board(context).processors])
lists = _offered(_lists)
modes = _offered(_modes)
topics = _offered(_topics)
labels = _offered(_labels)
slots = _offered(_slots)
puts = _offered(_slots_with_modules)
papers = _offered(lambda _: ["a4", "letter", "a5"])
inks = _offered(lambda _: ["colour", "mono"])
fronts = _offered(lambda _: ["down", "up"])
