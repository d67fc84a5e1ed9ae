"""The man page, made from the command tree and from tables of the documents: ``python -m tests.docs.man_page``.

``dimmplan/docs/dimmplan.1`` is what this prints; a test holds it so, and the wheel installs it.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from typing import Any

import typer

import dimmplan
from dimmplan.cli import app
from dimmplan.cli.app import application
from dimmplan.docs import read_topic

_CELL = re.compile(r"`|\*")


def man_page() -> str:
    """The page in roff, the same bytes for the same command tree."""
    command: Any = typer.main.get_command(application(every=True))
    context = command.make_context("dimmplan", [], resilient_parsing=True)
    lines = [
        f'.TH DIMMPLAN 1 "" "dimmplan {dimmplan.__version__}" "User Commands"',
        ".SH NAME",
        f"dimmplan \\- {_escaped(_first_words(command.help))}",
        ".SH SYNOPSIS",
        ".B dimmplan",
        "[\\fIOPTIONS\\fR] \\fICOMMAND\\fR [\\fIARGUMENTS\\fR]",
        ".SH DESCRIPTION",
        *_text(command.help),
        ".PP",
        "Begin with",
        '.BR "dimmplan demo" .',
        "Each command has an example in its help, and the documents are read with",
        '.BR "dimmplan docs" .',
        ".SH OPTIONS",
        *_parameters(command, context),
        ".SH COMMANDS",
        *_commands(command, context),
        ".SH EXIT STATUS",
        *_rows("exit-status"),
        ".SH ENVIRONMENT",
        *_rows("terminals"),
        ".SH SEE ALSO",
        "The documents:",
        '.BR "dimmplan docs" .',
    ]
    return "\n".join(lines) + "\n"


def _commands(group: Any, context: Any) -> Iterator[str]:
    for name in group.list_commands(context):
        command = group.commands[name]
        inner = command.make_context(name, [], parent=context, resilient_parsing=True)
        if hasattr(command, "commands"):
            yield from _commands(command, inner)
            continue
        yield f".SS {_escaped(inner.command_path)} {_escaped(app.usage(command, inner))}"
        yield from _text(command.help)
        yield from _parameters(command, inner)
        if command.epilog:
            example = command.epilog.removeprefix("Example: ")
            yield from (".PP", "Example:", ".PP", ".RS 4", ".nf", _escaped(example), ".fi", ".RE")


def _parameters(command: Any, context: Any) -> Iterator[str]:
    """The parameters as tagged paragraphs, in the order of the help; ``--help`` itself is left out."""
    for _, (tag, text) in app.parameters(command, context):
        if "--help" not in tag:
            yield from (".TP", f"\\fB{_escaped(tag)}\\fR", *_text(text))


def _rows(topic: str) -> Iterator[str]:
    """The first table of a document as tagged paragraphs: the first column is the tag."""
    table = re.search(r"^\|[^\n]*\n\|[-|]+\n((?:\|[^\n]*\n)+)", read_topic(topic), re.MULTILINE)
    for row in table[1].splitlines() if table else ():
        tag, *cells = (_CELL.sub("", cell).strip() for cell in row.strip("|").split("|"))
        yield from (".TP", f"\\fB{_escaped(tag)}\\fR", *_text(": ".join(cell for cell in cells if cell)))


def _first_words(text: str) -> str:
    return text.splitlines()[0].rstrip(".")


def _text(text: str | None) -> Iterator[str]:
    """Text as lines of roff; an empty line begins a paragraph."""
    for paragraph in re.split(r"\n\s*\n", (text or "").strip()):
        yield from (".PP",) if paragraph != (text or "").strip().split("\n\n")[0] else ()
        yield from (_escaped(line.strip()) for line in paragraph.splitlines())


def _escaped(text: str) -> str:
    """Text that roff prints as it is: hyphens that can be copied, no line that begins like a request."""
    escaped = text.replace("\\", "\\e").replace("-", "\\-")
    return f"\\&{escaped}" if escaped[:1] in {".", "'"} else escaped


if __name__ == "__main__":
    sys.stdout.write(man_page())
