"""What a board file leaves out, filled in: a schematic, channels that work together, rates."""

from __future__ import annotations

from typing import Any

import pytest

from dimmplan.boardfile.expand import USUAL
from dimmplan.boardfile.read import examine_text
from dimmplan.model.board import Board
from tests.support import shipped_raw, toml_text


def read(raw: dict[str, Any]) -> Board:
    """The board of a file without problems."""
    board, problems = examine_text(toml_text(raw).encode(), file="mine.toml")
    assert problems == [] and board is not None
    return board


@pytest.mark.parametrize("board_id", ["skerry-16", "causeway-48", "strand-12"])
def test_a_file_without_places_is_a_schematic(board_id: str) -> None:
    """Sockets that differ, four of them, one controller: every slot has a place of its own, none is to scale."""
    raw = shipped_raw(board_id)
    raw["physical"] = {"access": ["Lid off."]}
    del raw["electrical"]["interleave"], raw["electrical"]["rates_mts"]
    board = read(raw)
    assert {place.slot for place in board.physical.slots} == set(board.slots)
    assert not board.physical.to_scale and board.physical.access == ("Lid off.",)
    assert board.interleave.id == USUAL
    several = max(len(socket.controllers) for socket in board.sockets) > 1
    assert board.interleave.style == ("even" if several else "any")
    assert max(board.interleave.ways) == max(len(socket.channels) for socket in board.sockets)


def test_the_slots_of_a_tray_lie_together() -> None:
    """A tray's slots are one row: nothing else lies between them."""
    raw = shipped_raw("skerry-16")
    del raw["physical"]
    slots = ["K1", "K2", "L1"]
    raw["electrical"]["trays"] = {"riser": slots}
    physical = read(raw).physical
    (tray,) = physical.trays
    inside = [
        place.slot
        for place in physical.slots
        if tray.box.x_mm <= place.box.x_mm <= tray.box.x_mm + tray.box.width_mm
        and tray.box.y_mm <= place.box.y_mm <= tray.box.y_mm + tray.box.depth_mm
    ]
    assert inside == slots


def test_places_without_rows_are_told() -> None:
    """Who says where sockets lie has to say it of the slots."""
    raw = shipped_raw("skerry-16")
    del raw["physical"]["rows"]
    _, problems = examine_text(toml_text(raw).encode(), file="mine.toml")
    assert [problem.place for problem in problems] == ["physical"]
