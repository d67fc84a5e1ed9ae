"""Boards as JSON, and the board library as a table."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from pydantic import Field

from dimmplan.model.board import Board
from dimmplan.output.columns import Column
from dimmplan.output.values import Document, Label, Record
from dimmplan.rules import rules_of

LIST_COLUMNS = (
    Column[Board](key="id", title="board", always=True),
    Column[Board](key="sockets", value=lambda board: len(board.sockets), title="sockets", align="right"),
    Column[Board](key="channels", value=lambda board: len(board.channels), title="channels", align="right"),
    Column[Board](key="slots", value=lambda board: len(board.slots), title="slots", align="right"),
    Column[Board](key="title", title="title"),
)
"""The board library, one row for each board."""


class BoardEntry(Record):
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

    boards: list[BoardEntry] = Field(description="every board that goes by its id")


def list_record(boards: Iterable[Board]) -> BoardList:
    """The board library as JSON."""
    return BoardList(boards=[BoardEntry(**{c.key: c.of(board) for c in LIST_COLUMNS}) for board in boards])


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


class BoardDocument(Document):
    """A board."""

    commands = "boards show"
    about = "A board file, expanded; rows have the keys of the board file (`boards schema`)."

    id: str = Field(description="the board")
    title: str = Field(description="what it is")
    trust: str = Field(description="`example`, `drafted`, `manual` or `running`")
    electrical_digest: str = Field(description="changes with slots, rules, rates, processors and modules")
    drawing_digest: str = Field(description="changes with the drawing")
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
    return BoardDocument(
        id=board.id,
        title=board.title,
        trust=board.trust,
        electrical_digest=board.electrical_digest,
        drawing_digest=board.drawing_digest,
        generation=board.generation.value,
        rate_scope=board.rate_scope,
        rates_mts=list(board.rates_mts),
        sockets=WiringEntry.all_of(board.sockets),
        interleave=board.interleave.model_dump(mode="json"),
        modules=list(board.modules),
        processors=[option.model_dump(mode="json") for option in board.processors],
        rates=[row.model_dump(mode="json") for row in board.rates],
        rules=[
            RuleText(id=row.id, check=row.check, severity=row.severity, text=row.sentence(), source=row.source)
            for row in rules_of(board)
        ],
        access=list(board.physical.access),
    )
