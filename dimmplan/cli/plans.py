"""Reads what commands call PLAN: a plan file or standard input, with the board it was made on."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from dimmplan.boardfile.read import find_board_file, load_board
from dimmplan.errors import InputError, Problem
from dimmplan.model.board import Board
from dimmplan.model.placement import Placement
from dimmplan.output.record import MOST_BYTES, placement_of, read_plan
from dimmplan.units import cleaned, quoted


def read_placement(plan: str, board_file: Path | None) -> tuple[Board, Placement]:
    """The board and the placement of a plan. Raises ``InputError``."""
    file, text = _text_of(plan)
    record = read_plan(text, file=file)
    board = load_board(str(board_file)) if board_file else _board_of(record.board.id, file)
    return board, placement_of(record, board, file=file)


def _board_of(board_id: str, file: str) -> Board:
    if "/" in board_id or os.sep in board_id or board_id.endswith(".toml"):
        raise InputError(Problem(file=file, place="board.id", found=quoted(board_id), allowed="a board id"))
    find_board_file(board_id)
    return load_board(board_id)


def _text_of(plan: str) -> tuple[str, str]:
    if plan == "-":
        content, file = sys.stdin.buffer.read(MOST_BYTES + 1), "standard input"
    else:
        file = cleaned(plan)
        try:
            with Path(plan).open("rb") as handle:
                content = handle.read(MOST_BYTES + 1)
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or "not a usable name"
            problem = Problem(file=file, place="", found=reason.lower(), allowed="a plan file, or - for standard input")
            raise InputError(problem) from None
    try:
        return file, content.decode("utf-8-sig")
    except UnicodeDecodeError:
        problem = Problem(file=file, place="", found="bytes that are not UTF-8 text", allowed="a plan of dimmplan")
        raise InputError(problem) from None
