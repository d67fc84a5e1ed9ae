"""Options and arguments that several commands share, worded once."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from dimmplan.units import cleaned

Board = Annotated[str, typer.Argument(help="A shipped board id, or a board file.", metavar="BOARD")]
Json = Annotated[bool, typer.Option("--json", help="One JSON document on standard output.")]
Force = Annotated[bool, typer.Option("--force", help="Overwrite files that this tool did not make.")]
Paper = Annotated[str, typer.Option(help="a4, letter or a5.", metavar="PAPER")]
Ink = Annotated[str, typer.Option(help="colour or mono.", metavar="INK")]
Front = Annotated[str, typer.Option(help="Where the front edge is drawn: down or up.", metavar="SIDE")]
Title = Annotated[str | None, typer.Option(help="Title of the sheet.", metavar="TEXT")]
Tag = Annotated[str | None, typer.Option(help="Tag of the machine.", metavar="TEXT")]
Date = Annotated[str | None, typer.Option(help="Date as it is to stand on the sheet.", metavar="TEXT")]
Slots = Annotated[Path | None, typer.Option(help="Mapping file with answers about locators.", metavar="MAPPING")]
DataSaved = Annotated[
    list[str] | None, typer.Option(help="A slot on hold whose data is saved; again for more.", metavar="SLOT")
]


class Volume:
    """How much is said on standard error: set once by ``-q`` or ``-v`` before the command."""

    quiet = False
    verbose = False


def wrote(path: Path) -> None:
    """Say that a file was written."""
    if not Volume.quiet:
        typer.echo(f"wrote {cleaned(str(path), most=400)}", err=True)


def detail(text: str) -> None:
    """Say what only ``-v`` asks for."""
    if Volume.verbose:
        typer.echo(cleaned(text, most=400), err=True)
