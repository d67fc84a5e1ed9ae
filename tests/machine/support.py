"""Inventories made by hand for the tests of matching, audits, moves and drafts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from dimmplan.boardfile.read import load_board
from dimmplan.model.board import Board
from dimmplan.model.inventory import Inventory, InventorySlot
from dimmplan.model.module import Module
from dimmplan.model.placement import Move, Placement
from dimmplan.planner import ask, plan


def planned(board_id: str, capacity: str, **asked: Any) -> tuple[Board, Placement]:
    """A shipped board and the placement that the planner finds on it."""
    board = load_board(board_id)
    return board, plan(board, ask(board, capacity, **asked), alternatives=False).placement


def device(locator: str, module: Module | None, *, bank: str = "", **said: Any) -> InventorySlot:
    """A memory device as firmware lists it: size, generation, ranks and rate, but no device width."""
    if module is None:
        return InventorySlot(locator=locator, bank=bank, state="empty")
    return InventorySlot(
        **{
            "locator": locator,
            "bank": bank,
            "state": "filled",
            "capacity_kib": module.capacity_gib << 20,
            "generation": module.generation,
            "ranks_said": module.package_ranks,
            "rated_mts": module.rate_mts,
        }
        | said
    )


def found_of(content: Mapping[str, Module | None], *, form: str = "smbios-text", **more: Any) -> Inventory:
    """An inventory that names slots as the board does."""
    return Inventory(form=form, slots=tuple(device(slot, module) for slot, module in content.items()), **more)


def apply_moves(current: Mapping[str, Module | None], moves: Iterable[Move]) -> dict[str, Module | None]:
    """The content after a change, each move held against what its slot holds."""
    content, moves = dict(current), tuple(moves)
    for move in moves:
        assert move.source is None or content.get(move.source) == move.module
        if move.kind in ("pull", "move") and move.source is not None:
            content[move.source] = None
    for move in moves:
        if move.kind in ("move", "insert") and move.target is not None:
            assert content.get(move.target) is None
            content[move.target] = move.module
    return content
