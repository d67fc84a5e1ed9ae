"""Options and arguments that several commands share, worded once."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dimmplan.cli import complete
from dimmplan.units import cleaned

REQUEST, LIMITS, MACHINE = "The request", "Limits", "What is in the machine"
LATER, MANY, SHEET = "Later steps", "Many machines", "The sheet"
"""Heads of the help under which options stand together."""

Board = Annotated[
    str, typer.Argument(help="A shipped board id, or a board file.", metavar="BOARD", autocompletion=complete.board_ids)
]
Plan = Annotated[str, typer.Argument(help="A plan file, - for standard input, or a plan code.", metavar="PLAN_OR_CODE")]
BoardFile = Annotated[
    Path | None, typer.Option(help="The board's file, where it is not a shipped one.", metavar="FILE")
]
Modules = Annotated[
    list[str] | None,
    typer.Option(
        "--module",
        help="A JEDEC label or a bare size; may be repeated. Without it: the board's usual ones.",
        metavar="M",
        rich_help_panel=REQUEST,
        autocompletion=complete.labels,
    ),
]
Stock = Annotated[
    Path | None,
    typer.Option(
        help="Stock list, CSV or TOML: only modules on it are used; with --module, only those in both.",
        metavar="FILE",
        rich_help_panel=REQUEST,
    ),
]
Over = Annotated[
    str | None,
    typer.Option(
        help="How far above the capacity still counts as equal: 10% or 64GiB.", metavar="A", rich_help_panel=REQUEST
    ),
]
Fitted = Annotated[
    str | None,
    typer.Option(
        help="Sockets fitted, with commas. Without it: all.",
        metavar="S,S",
        rich_help_panel=REQUEST,
        autocompletion=complete.sockets,
    ),
]
Processor = Annotated[
    list[str] | None,
    typer.Option(
        help="Processor option, or SOCKET=OPTION where the board lets sockets differ; may be repeated. Without it: "
        "the first.",
        metavar="OPTION",
        rich_help_panel=REQUEST,
        autocompletion=complete.processors,
    ),
]
WithoutTray = Annotated[
    list[str] | None,
    typer.Option(
        help="A tray or riser that is not there; may be repeated.",
        metavar="TRAY",
        rich_help_panel=REQUEST,
        autocompletion=complete.trays,
    ),
]
Mode = Annotated[
    str,
    typer.Option(
        help="Memory mode: independent, mirrored or sparing.",
        metavar="MODE",
        rich_help_panel=REQUEST,
        autocompletion=complete.modes,
    ),
]
MaxTypes = Annotated[
    int, typer.Option(help="How many module types may be used at once.", metavar="N", rich_help_panel=LIMITS)
]
Effort = Annotated[
    int,
    typer.Option(
        help="At most so many search nodes for one answer; there is no time limit.", metavar="N", rich_help_panel=LIMITS
    ),
]
Json = Annotated[bool, typer.Option("--json", help="One JSON document on standard output.")]
Force = Annotated[bool, typer.Option("--force", help="Overwrite files that this tool did not make.")]
Paper = Annotated[
    str,
    typer.Option(help="a4, letter or a5.", metavar="PAPER", rich_help_panel=SHEET, autocompletion=complete.papers),
]
Ink = Annotated[
    str, typer.Option(help="colour or mono.", metavar="INK", rich_help_panel=SHEET, autocompletion=complete.inks)
]
Front = Annotated[
    str,
    typer.Option(
        help="Where the front edge is drawn: down or up.",
        metavar="SIDE",
        rich_help_panel=SHEET,
        autocompletion=complete.fronts,
    ),
]
Title = Annotated[str | None, typer.Option(help="Title of the sheet.", metavar="TEXT", rich_help_panel=SHEET)]
Tag = Annotated[str | None, typer.Option(help="Tag of the machine.", metavar="TEXT", rich_help_panel=SHEET)]
Date = Annotated[
    str | None, typer.Option(help="Date, printed on the sheet as given.", metavar="TEXT", rich_help_panel=SHEET)
]
Slots = Annotated[
    Path | None,
    typer.Option(
        help="Slot mapping: which slot each locator of the inventory means.", metavar="MAPPING", rich_help_panel=MACHINE
    ),
]
DataSaved = Annotated[
    list[str] | None,
    typer.Option(
        help="A slot on hold whose data is saved; may be repeated.",
        metavar="SLOT",
        rich_help_panel=MACHINE,
        autocompletion=complete.slots,
    ),
]


RestEmpty = Annotated[
    bool,
    typer.Option(
        "--rest-empty",
        help="Slots that the inventory does not list are empty: for a list of filled slots alone.",
        rich_help_panel=MACHINE,
    ),
]


class Volume:
    """How much is said on standard error: set once by ``-q`` or ``-v`` before the command."""

    quiet = False
    verbose = False


def wrote(path: Path) -> None:
    """Say that a file was written."""
    if not Volume.quiet:
        typer.echo(f"wrote {cleaned(str(path), most=400)}", err=True)


def warn(text: str) -> None:
    """Say what a person should know of the outcome."""
    if not Volume.quiet:
        typer.echo(f"warning: {cleaned(text, most=400)}", err=True)


def detail(text: str) -> None:
    """Say what only ``-v`` asks for."""
    if Volume.verbose:
        typer.echo(cleaned(text, most=400), err=True)
