"""A board as JSON, for ``boards show --json``."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Literal

from pydantic import Field

from dimmplan.model.board import Board
from dimmplan.output.columns import Column
from dimmplan.output.values import FORMAT, Record
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


class BoardList(Record):
    """The board library."""

    format: Literal[1] = Field(description="1")
    boards: list[BoardEntry] = Field(description="every board that goes by its id")


def list_record(boards: Iterable[Board]) -> BoardList:
    """The board library as JSON."""
    entries = [BoardEntry(**{column.key: column.of(board) for column in LIST_COLUMNS}) for board in boards]
    return BoardList(format=FORMAT, boards=entries)


def board_record(board: Board) -> dict[str, Any]:
    """What a board file says, expanded: wiring, modules, processors, rules in words, digests."""
    return {
        "format": 1,
        "id": board.id,
        "title": board.title,
        "trust": board.trust,
        "electrical_digest": board.electrical_digest,
        "drawing_digest": board.drawing_digest,
        "generation": board.generation.value,
        "rate_scope": board.rate_scope,
        "rates_mts": list(board.rates_mts),
        "sockets": [
            {
                "id": socket.id,
                "controllers": [
                    {"id": c.id, "channels": [{"id": ch.id, "slots": list(ch.slots)} for ch in c.channels]}
                    for c in socket.controllers
                ],
            }
            for socket in board.sockets
        ],
        "interleave": board.interleave.model_dump(mode="json"),
        "modules": [module.label for module in board.modules],
        "processors": [option.model_dump(mode="json") for option in board.processors],
        "rates": [row.model_dump(mode="json") for row in board.rates],
        "rules": [
            {
                "id": row.id,
                "check": row.check,
                "severity": row.severity,
                "text": row.sentence(),
                "source": row.source,
            }
            for row in rules_of(board)
        ],
        "access": list(board.physical.access),
    }
