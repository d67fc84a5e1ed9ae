"""Board files, and what is said of them: the library, one board, a check, a draft, a table; and the documents."""

from __future__ import annotations

from functools import cache
from importlib import import_module
from pkgutil import iter_modules
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import BeforeValidator

import dimmplan.output
from dimmplan.boardfile.expand import USUAL
from dimmplan.boardfile.tables import unused_rates
from dimmplan.model.board import Board
from dimmplan.output.columns import Column, Text, board_line
from dimmplan.output.record import BoardEntry, Document, ErrorEntry, Label, Record, means
from dimmplan.rules import rules_of
from dimmplan.tables import TableNote, table_notes
from dimmplan.units import counted, listed
from dimmplan.wording import criterion_phrase

if TYPE_CHECKING:
    from dimmplan.boardfile.draft import Draft

Number = Annotated[int, BeforeValidator(lambda value: value if isinstance(value, int) else len(value))]


class ListedBoard(Record):
    """A board of the library."""

    id: str = means("name of the board in other commands")
    title: str = means("what it is")
    sockets: Number = means("how many")
    channels: Number = means("how many")
    slots: Number = means("how many")


class BoardList(Document, commands="boards list"):
    """The board library."""

    boards: list[ListedBoard] = means("every board that goes by its id")


LIST_COLUMNS = (
    Column[ListedBoard](key="id", title="board", always=True),
    *(Column[ListedBoard](key=name, title=name, align="right") for name in ("sockets", "channels", "slots")),
    Column[ListedBoard](key="title", title="title"),
)
"""The board library, one row for each board."""


class ChannelEntry(Record):
    """A channel."""

    id: str = means("the channel")
    slots: list[str] = means("its slots in fill order")


class ControllerEntry(Record):
    """A memory controller."""

    id: str = means("the controller")
    channels: list[ChannelEntry] = means("its channels")


class WiringEntry(Record):
    """A socket and its wiring."""

    id: str = means("the socket")
    controllers: list[ControllerEntry] = means("its controllers")


class RuleText(Record):
    """A rule in words."""

    id: str = means("id of the row")
    check: str = means("what kind of rule it is")
    severity: str = means("`error` or `advised`")
    text: str = means("in words", by=lambda row: row.sentence())
    source: str = means("id of the source")


Row = Annotated[dict[str, Any], BeforeValidator(lambda row: row.model_dump(mode="json"))]
"""A row as the board file has it."""


class BoardDocument(BoardEntry, Document, commands="boards show"):
    """A board file, expanded; rows have the keys of the board file (`boards schema`)."""

    title: str = means("what it is")
    generation: str = means("`DDR3`, `DDR4` or `DDR5`")
    rate_scope: str = means("`system`, `socket` or `channel`")
    rates_mts: list[int] = means("rates that the board runs at")
    sockets: list[WiringEntry] = means("sockets and their wiring")
    interleave: Row = means("the interleave row")
    modules: list[Label] = means("usual modules")
    processors: list[Row] = means("processor options")
    rates: list[Row] = means("rate rows")
    rules: list[RuleText] = means("rules in words", by=rules_of)
    access: list[str] = means("what comes off first", of="physical.access")


def board_text(board: Board) -> str:
    """A board in words: what it is, its wiring, its usual modules, its processors, what comes off first."""
    page = Text(board_line(board))
    page.heading()
    for socket in board.sockets:
        page.note(f"{socket.id}: {counted(len(socket.channels), 'channel')}, {counted(len(socket.slots), 'slot')}", 0)
        page.rows([[channel.controller, channel.id, " ".join(channel.slots)] for channel in socket.channels])
    modules = [f"{module.label}  {module.kind.value}" for module in board.modules]
    page.notes("Usual modules (the first of a size is meant by a bare size)", modules)
    page.notes("Processor options", [f"{option.id}: {option.title or option.id}" for option in board.processors])
    rules = [row for row in rules_of(board) if row.scopes and row.question != "modes"]
    page.notes("Rules", [f"{row.sentence()} [{row.id}, {row.source}]" for row in rules])
    page.notes("What comes off first", board.physical.access)
    return str(page)


# -- checks ------------------------------------------------------------------------------------------------------------


class FileProblem(ErrorEntry):
    """A problem of a board file."""

    line: int | None = means("its line in the file, counted from one; null where there is none")


class NoteEntry(Record):
    """What is to be known of a row that is not wrong."""

    rule: str = means("id of a population table or a row of rates")
    modules: int | None = means("the number of modules meant; null for the whole row")
    text: str = means("what a table leaves out, what the model would fill instead, or why a rate is never used")


def check_notes(board: Board) -> list[NoteEntry]:
    """What the file leaves to the tool, what population tables leave out, rows of rates that are never used."""
    row = board.interleave
    ways = listed([str(ways) for ways in row.ways], last="or")
    text = f"the file does not say which channels work together: as usual {row.style}, {ways} of a socket"
    usual = [_note(row.id, text)] if row.id == USUAL else []
    tables = [_note(note.table.id, table_note_text(note), note.modules) for note in table_notes(board)]
    return usual + tables + [_note(rule, text) for rule, text in unused_rates(board)]


def _note(rule: str, text: str, modules: int | None = None) -> NoteEntry:
    return NoteEntry(rule=rule, modules=modules, text=text)


def table_note_text(note: TableNote) -> str:
    """What a table leaves out, or where the model would fill other slots, in words."""
    if note.criterion is None:
        return note.text
    name, there, here = note.criterion
    gain = f"{criterion_phrase(name, there)} instead of {criterion_phrase(name, here)}"
    return f"the model would fill {', '.join(note.slots)}: {gain}"


class CheckedFile(Record):
    """A board file that was checked."""

    file: str = means("the file")
    id: str | None = means("id of the board, null where it cannot be read")
    problems: list[FileProblem] = means("what is wrong, the first hundred")
    problem_count: int = means("how many there are")
    notes: list[NoteEntry] = means("what its population tables leave out, and rates that are never used")


class CheckDocument(Document, commands="boards check"):
    """Problems of board files; exit status 1 where there is one. `boards schema` prints the JSON Schema of a file."""

    files: list[CheckedFile] = means("every file")


# -- drafts ------------------------------------------------------------------------------------------------------------


class LayoutEntry(Record):
    """A layout that a guess offers."""

    choice: str = means("a choice")
    layout: str = means("its layout, drawn in text")


class GuessEntry(Record):
    """What a draft had to guess."""

    about: str = means("`slots`, `sockets`, `channels`, `generation`, `fill-order`, `modules`, `width` or `interleave`")
    text: str = means("the question")
    chosen: str = means("the choice that was drafted")
    candidates: list[str] = means("choices for `--answer`")
    layouts: list[LayoutEntry] = means(
        "what the choices look like",
        by=lambda guess: [{"choice": choice, "layout": layout} for choice, layout in guess.layouts.items()],
    )


class DraftDocument(Document, commands="boards draft"):
    """A first board file from an inventory, and what the machine does not say."""

    board: str = means("id of the board")
    file: str = means("the file written")
    fitted: list[str] | None = means(
        "sockets to plan for where not every processor is seated; null where all are, or it is not known",
        by=lambda draft: draft.fitted or None,
    )
    guesses: list[GuessEntry] = means("what is open")
    to_do: list[str] = means("the guesses, and what else is to be seen to by hand")


def draft_text(draft: Draft, again: str) -> str:
    """A draft's questions for a terminal, each with its candidate layouts and how to answer it."""
    page = Text()
    if draft.fitted:
        page.lines += [f"Not every processor is seated: plan with --fitted {','.join(draft.fitted)}", ""]
    if draft.guesses:
        page.note("Questions that the machine does not answer", 0)
    for guess in draft.guesses:
        page.note(f"{guess.about}: {guess.text}")
        width = max(map(len, guess.candidates)) + 2
        for choice in guess.candidates:
            mark = "drafted" if choice == guess.chosen else ""
            drawn = guess.layouts.get(choice, "right as it stands")
            page.note(f"{mark:<8} {choice:<{width}}{drawn}", 4, hang=9 + width)
    if draft.guesses:
        first = draft.guesses[0]
        page.lines += ["", f"To answer: {again} --answer {first.about}={first.candidates[-1]}"]
        page.lines += ["or correct the file, and delete the line under [guesses].", ""]
    page.lines += ["To do by hand", *(f"  [ ] {item}" for item in draft.to_do[len(draft.guesses) :])]
    return str(page)


# -- tables, and documents ---------------------------------------------------------------------------------------------


class TableRow(Record):
    """A rule row that holds a population table."""

    id: str = means("id of the row")
    check: str = means("`table`")
    socket: str | None = means("the socket whose modules it counts, or null")
    mode: str | None = means("the only mode that it is for, or null")
    source: str = means("its source id")


class TableCount(Record):
    """The slots for a number of modules."""

    modules: int = means("how many")
    slots: list[str] = means("the slots for that many")


class TableDocument(Document, commands="boards table"):
    """A population table, as copied from a manual, as a rule row."""

    row: TableRow = means("the row")
    rows: list[TableCount] = means("its lines")


class TopicEntry(Record):
    """A document of the tool."""

    topic: str = means("its name")
    title: str = means("what it says")


class TopicsDocument(Document, commands="docs"):
    """The documents."""

    topics: list[TopicEntry] = means("every document")


class TopicDocument(TopicEntry, Document, commands="docs TOPIC"):
    """One document."""

    text: str = means("the document in Markdown")


@cache
def documents() -> tuple[type[Document], ...]:
    """Every document that a command prints, by the commands."""
    for module in iter_modules(dimmplan.output.__path__):
        import_module(f"dimmplan.output.{module.name}")
    return tuple(Document.every[commands] for commands in sorted(Document.every))


def output_schema() -> dict[str, Any]:
    """The JSON Schema of every document, each under the commands that print it."""
    from pydantic.json_schema import models_json_schema  # noqa: PLC0415 - a document needs none

    refs, schema = models_json_schema([(document, "serialization") for document in documents()])
    every = {document.commands: refs[document, "serialization"] for document in documents()}
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "documents": every, **schema}
