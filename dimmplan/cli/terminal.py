"""Answers on a terminal: colour, tables and Markdown there, the same text plain everywhere else.

``NO_COLOR`` and ``TERM=dumb`` make a terminal plain, ``FORCE_COLOR`` makes a pipe or a file coloured. rich is imported
only where something is coloured, so that a piped command does not pay for it.
"""

from __future__ import annotations

import codecs
import os
import re
import shutil
import sys
import textwrap
import unicodedata
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from dimmplan.units import cleaned

if TYPE_CHECKING:
    from rich.console import Console

    from dimmplan.output.columns import Table

WIDTH = 80
"""Text is made for this width; a narrower terminal gets its own."""

ASCII = {"×": "x", "–": "-", "—": "-", "…": "...", "°": "deg ", "²": "2", "→": "->", "≤": "<=", "≥": ">=", "·": "."}
"""What stands for the characters of our own texts where a terminal cannot write them."""

_STYLES = (
    # a head, of several lines after an empty one: what is indented under it follows
    (re.compile(r"(?<=\n\n)\S.*(?:\n\S.*)*(?=\n  )|^(?=\S).+(?=\n  )", re.MULTILINE), "bold"),
    (re.compile(r"^ *(?:error|no)(?=: )", re.MULTILINE), "bold red"),
    (re.compile(r"^ *warning(?=: )", re.MULTILINE), "bold yellow"),
    (re.compile(r"^ *note(?=: )", re.MULTILINE), "cyan"),
    (re.compile(r"\[[\w.:-]+(?:, [\w.:-]+)*\]$", re.MULTILINE), "dim"),  # a rule and its source
)


def _plain(error: UnicodeError) -> tuple[str, int]:
    """What is written for characters that an encoding lacks: ASCII for our own, letters without accents, escapes."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    written = []
    for character in error.object[error.start : error.end]:
        bare = "".join(c for c in unicodedata.normalize("NFKD", character) if c.isascii())
        written.append(ASCII.get(character) or bare or character.encode("ascii", "backslashreplace").decode("ascii"))
    return "".join(written), error.end


codecs.register_error("dimmplan-plain", _plain)


def coloured(stream: Any) -> bool:
    """Whether a stream takes colour: a terminal that can, unless the environment says otherwise."""
    if os.environ.get("NO_COLOR"):
        return False
    if os.environ.get("FORCE_COLOR"):
        return True
    is_terminal = bool(getattr(stream, "isatty", lambda: False)())
    return is_terminal and os.environ.get("TERM") != "dumb"


def columns() -> int:
    """Columns of the terminal, or what ``COLUMNS`` says."""
    return max(20, shutil.get_terminal_size((WIDTH, 24)).columns)


def _console(stream: Any, *, most: int) -> Console:
    from rich.console import Console

    width = min(most, columns())
    return Console(file=stream, force_terminal=True, highlight=False, emoji=False, markup=False, width=width)


def say(text: str, *, err: bool = False) -> None:
    """Print a text that ends in its own line break; on a terminal with heads and severities in colour."""
    stream = sys.stderr if err else sys.stdout
    if not coloured(stream):
        typer.echo(text, nl=False, err=err)
        return
    from rich.text import Text

    styled = Text(text, end="")
    for pattern, style in _STYLES:
        for match in pattern.finditer(text):
            styled.stylize(style, match.start(), match.end())
    _console(stream, most=WIDTH).print(styled, soft_wrap=True, end="")


def say_table(table: Table[Any], *, width: int | None = None) -> None:
    """Print a table: drawn on a terminal, in plain columns elsewhere, broken where it would be wider than ``width``."""
    if not coloured(sys.stdout):
        typer.echo("\n".join(table.plain(width=width)))
        return
    from rich.box import SIMPLE_HEAD
    from rich.table import Table as Drawn
    from rich.text import Text

    drawn = Drawn(box=SIMPLE_HEAD, pad_edge=False, show_edge=False, header_style="bold")
    titled = any(part.title for part in table.parts)
    if titled:
        drawn.add_column("", style="bold", overflow="fold")
    for column in table.columns:
        drawn.add_column(column.screen_head.strip(), justify=column.align, overflow="fold")
    for part in table.parts:
        rows = table.rows(part) or [[""] * len(table.columns)]
        for index, cells in enumerate(rows):
            title = [Text("" if index else part.title)] if titled else []
            drawn.add_row(*title, *(Text(cell) for cell in cells), end_section=titled and index == len(rows) - 1)
    _console(sys.stdout, most=200).print(drawn)
    for part in table.parts:
        say("".join(f"{part.title}: {remark.strip()}\n" for remark in part.remarks))


def answer(document: Callable[[], Any], text: Callable[[], str], *, as_json: bool, files: Iterable[Path] = ()) -> None:
    """Print an answer: as one JSON document, or as its text, and then the names of the files that were written."""
    if as_json:
        from dimmplan.output.record import to_json

        typer.echo(to_json(document()), nl=False)
        return
    say(text())
    for path in files:
        wrote(path)


def say_markdown(text: str) -> None:
    """Print Markdown: set on a terminal, as it was written elsewhere."""
    if not coloured(sys.stdout):
        typer.echo(text, nl=False)
        return
    from rich.markdown import Markdown

    _console(sys.stdout, most=WIDTH).print(Markdown(re.sub(r"^<!--.*?-->\n", "", text, flags=re.MULTILINE | re.DOTALL)))


def clear() -> None:
    """Clear the screen, where standard output is one."""
    if sys.stdout.isatty() and coloured(sys.stdout):
        _console(sys.stdout, most=WIDTH).clear()


def folded(text: str, stream: Any, *, within: int = WIDTH) -> str:
    """A message for a stream: one line where a program reads it, wrapped where a person does."""
    if not bool(getattr(stream, "isatty", lambda: False)()):
        return text
    width = min(within, columns())
    return textwrap.fill(text, width, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False)


def complain(text: str, *, indent: str = "") -> None:
    """Say on standard error what is wrong."""
    text = folded(text, sys.stderr, within=WIDTH - len(indent))
    say(f"{textwrap.indent(text, indent)}\n", err=True)


def open_streams() -> None:
    """Stand in for closed streams, and write characters that a terminal cannot show in ASCII."""
    sys.stdin = sys.stdin or open(os.devnull, encoding="utf-8")  # noqa: PTH123, SIM115 - for the whole run
    sys.stdout = sys.stdout or open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115
    sys.stderr = sys.stderr or open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="dimmplan-plain")


# -- what is said beside an answer -------------------------------------------------------------------------------------


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
