"""A small irregular board whose rules a test puts in, and modules that differ in one thing at a time.

``M32S`` is ``M32`` with a slower rate on its label."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from pydantic import TypeAdapter

from dimmplan.model.board import Board
from dimmplan.model.label import parse_label
from dimmplan.model.module import Module
from dimmplan.rules import RuleRow
from tests.oracle.random_boards import make_board

M16, M16X8, M32, M32S, M64, L64, S64, M24 = (
    parse_label(label)
    for label in (
        "16GB 1Rx4 PC4-2933Y-R",
        "16GB 2Rx8 PC4-2666V-R",
        "32GB 2Rx4 PC4-2933Y-R",
        "32GB 2Rx4 PC4-2666V-R",
        "64GB 2Rx4 PC4-3200AA-R",
        "64GB 4Rx4 PC4-2933Y-L",
        "64GB 2S2Rx4 PC4-2933Y-R",
        "24GB 1Rx4 PC4-2933Y-R",
    )
)
V15, V135 = parse_label("8GB 2Rx4 PC3-12800R"), parse_label("8GB 2Rx4 PC3L-12800R")

ROWS: TypeAdapter[RuleRow] = TypeAdapter(RuleRow)
WIRING = {
    "S1": {"M0": {"A": ["A1", "A2"], "B": ["B1", "B2"]}, "M1": {"C": ["C1", "C2"]}},
    "S2": {"M0": {"A": ["D1", "D2"]}, "M1": {"B": ["E1"]}},
}
BOARD = make_board(
    WIRING,
    modules=[M32.label],
    interleave={"style": "any", "ways": [1, 2, 3]},
    rules=[{"id": "kinds", "check": "accept", "field": "kind", "values": ["RDIMM", "LRDIMM"], "source": "INVENTED"}],
    rates=[{"id": f"dpc-{dpc}", "dpc": dpc, "mts": 2933, "source": "INVENTED"} for dpc in (1, 2)],
    rates_mts=[1600, 2133, 2400, 2666, 2933],
)


def row_of(**fields: Any) -> RuleRow:
    """A rule row from plain values."""
    return ROWS.validate_python({"id": "row", "source": "SOME-SOURCE", **fields})


def board_with(*rows: Mapping[str, Any], **changed: Any) -> Board:
    """The board with just these rules."""
    return replace(BOARD, rules=tuple(row_of(**row) for row in rows), **changed)


def in_slots(**modules: Module) -> dict[str, Module | None]:
    """What the slots hold, by their names."""
    return dict(modules)
