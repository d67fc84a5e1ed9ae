"""Board files, and what is said of them: the library, one board, a check, a copied table; and the documents."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from pydantic import Field

from dimmplan.errors import MOST_PROBLEMS, Problem
from dimmplan.model.board import Board
from dimmplan.output.columns import Column, table
from dimmplan.output.record import BoardEntry, Document, ErrorEntry, Label, Record
from dimmplan.output.text import board_line, indented, wrapped
from dimmplan.rules import rules_of
from dimmplan.units import counted
from dimmplan.wording.request import CheckNote

LIST_COLUMNS = (
    Column[Board](key="id", title="board", always=True),
    Column[Board](key="sockets", value=lambda board: len(board.sockets), title="sockets", align="right"),
    Column[Board](key="channels", value=lambda board: len(board.channels), title="channels", align="right"),
    Column[Board](key="slots", value=lambda board: len(board.slots), title="slots", align="right"),
    Column[Board](key="title", title="title"),
)
"""The board library, one row for each board."""


class ListedBoard(Record):
    """A board of the library."""

    id: str = Field(description="name of the board in other commands")
    title: str = Field(description="what it is")
    sockets: int = Field(description="how many")
    channels: int = Field(description="how many")
    slots: int = Field(description="how many")


class BoardList(Document):
    """The board library."""

    commands = "boards list"
    about = "The board library."

    boards: list[ListedBoard] = Field(description="every board that goes by its id")


def list_record(boards: Iterable[Board]) -> BoardList:
    """The board library as JSON."""
    return BoardList(boards=[ListedBoard(**{c.key: c.of(board) for c in LIST_COLUMNS}) for board in boards])


class ChannelEntry(Record):
    """A channel."""

    id: str = Field(description="the channel")
    slots: list[str] = Field(description="its slots in fill order")


class ControllerEntry(Record):
    """A memory controller."""

    id: str = Field(description="the controller")
    channels: list[ChannelEntry] = Field(description="its channels")


class WiringEntry(Record):
    """A socket and its wiring."""

    id: str = Field(description="the socket")
    controllers: list[ControllerEntry] = Field(description="its controllers")


class RuleText(Record):
    """A rule in words."""

    id: str = Field(description="id of the row")
    check: str = Field(description="what kind of rule it is")
    severity: str = Field(description="`error` or `advised`")
    text: str = Field(description="in words")
    source: str = Field(description="id of the source")


class BoardDocument(BoardEntry, Document):
    """A board."""

    commands = "boards show"
    about = "A board file, expanded; rows have the keys of the board file (`boards schema`)."

    title: str = Field(description="what it is")
    generation: str = Field(description="`DDR3`, `DDR4` or `DDR5`")
    rate_scope: str = Field(description="`system`, `socket` or `channel`")
    rates_mts: list[int] = Field(description="rates that the board runs at")
    sockets: list[WiringEntry] = Field(description="sockets and their wiring")
    interleave: dict[str, Any] = Field(description="the interleave row")
    modules: list[Label] = Field(description="usual modules")
    processors: list[dict[str, Any]] = Field(description="processor options")
    rates: list[dict[str, Any]] = Field(description="rate rows")
    rules: list[RuleText] = Field(description="rules in words")
    access: list[str] = Field(description="what comes off first")


def board_record(board: Board) -> BoardDocument:
    """What a board file says, expanded: wiring, modules, processors, rules in words, digests."""
    return BoardDocument.of(
        board,
        interleave=board.interleave.model_dump(mode="json"),
        processors=[option.model_dump(mode="json") for option in board.processors],
        rates=[row.model_dump(mode="json") for row in board.rates],
        rules=[RuleText.of(row, text=row.sentence()) for row in rules_of(board)],
        access=board.physical.access,
    )


def board_text(board: Board) -> str:
    """A board in words: what it is, its wiring, its usual modules, its processors, what comes off first."""
    lines = [*wrapped(board_line(board)), ""]
    for socket in board.sockets:
        lines.append(f"{socket.id}: {counted(len(socket.channels), 'channel')}, {counted(len(socket.slots), 'slot')}")
        rows = [
            [f"  {controller.id}", channel.id, " ".join(channel.slots)]
            for controller in socket.controllers
            for channel in controller.channels
        ]
        lines += table(rows)
    lines += ["", "Usual modules (the first of a size is meant by a bare size)"]
    lines += [f"  {module.label}  {module.kind.value}" for module in board.modules]
    if board.processors:
        lines += ["", "Processor options"]
        lines += [f"  {option.id}: {option.title or option.id}" for option in board.processors]
    lines += ["", "Rules"]
    for row in rules_of(board):
        if row.scopes and row.couples != "mode":
            lines += indented(f"{row.sentence()} [{row.id}, {row.source}]")
    lines += ["", "What comes off first"]
    lines += [line for step in board.physical.access for line in indented(step)]
    return "\n".join(lines) + "\n"


# -- checks ------------------------------------------------------------------------------------------------------------


class FileProblem(ErrorEntry):
    """A problem of a board file."""

    line: int | None = Field(description="its line in the file, counted from one; null where there is none")


class NoteEntry(Record):
    """What is to be known of a row that is not wrong."""

    rule: str = Field(description="id of a population table or a row of rates")
    modules: int | None = Field(description="the number of modules meant; null for the whole row")
    text: str = Field(
        description="what a table leaves out, what the model would fill instead, or why a rate is never used"
    )


class CheckedFile(Record):
    """A board file that was checked."""

    file: str = Field(description="the file")
    id: str | None = Field(description="id of the board, null where it cannot be read")
    problems: list[FileProblem] = Field(description="what is wrong, the first hundred")
    problem_count: int = Field(description="how many there are")
    notes: list[NoteEntry] = Field(description="what its population tables leave out, and rates that are never used")


class CheckDocument(Document):
    """Board files that were checked."""

    commands = "boards check"
    about = (
        "Problems of board files; exit status 1 where there is one. `boards schema` prints the JSON Schema of a file."
    )

    files: list[CheckedFile] = Field(description="every file")


def checked_file(file: str, board: str | None, problems: Sequence[Problem], notes: Sequence[CheckNote]) -> CheckedFile:
    """A checked file as JSON."""
    few = problems[:MOST_PROBLEMS]
    return CheckedFile.of(file=file, id=board, problems=few, problem_count=len(problems), notes=notes)


class TableRow(Record):
    """A rule row that holds a population table."""

    id: str = Field(description="id of the row")
    check: str = Field(description="`table`")
    socket: str | None = Field(description="the socket whose modules it counts, or null")
    mode: str | None = Field(description="the only mode that it is for, or null")
    source: str = Field(description="its source id")


class TableCount(Record):
    """The slots for a number of modules."""

    modules: int = Field(description="how many")
    slots: list[str] = Field(description="the slots for that many")


class TableDocument(Document):
    """A population table."""

    commands = "boards table"
    about = "A population table, as copied from a manual, as a rule row."

    row: TableRow = Field(description="the row")
    rows: list[TableCount] = Field(description="its lines")


class TopicEntry(Record):
    """A document of the tool."""

    topic: str = Field(description="its name")
    title: str = Field(description="what it says")


class TopicsDocument(Document):
    """The documents of the tool."""

    commands = "docs"
    about = "The documents."

    topics: list[TopicEntry] = Field(description="every document")


class TopicDocument(Document):
    """One document of the tool."""

    commands = "docs TOPIC"
    about = "One document."

    topic: str = Field(description="its name")
    title: str = Field(description="what it says")
    text: str = Field(description="the document in Markdown")
