"""Reads what commands call PLAN_OR_CODE: a plan file, standard input or a plan code, with the board it was made on."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import typer

from dimmplan.boardfile.read import board_files, boards_by_id, examine_file, load_board
from dimmplan.bounded import read_file
from dimmplan.cli import terminal
from dimmplan.errors import InputError, Problem, did_you_mean
from dimmplan.model.board import Board
from dimmplan.model.placement import Placement
from dimmplan.output.reading import MOST_BYTES, JudgedPlan, judge_code, judge_file, read_plan
from dimmplan.output.record import Document, JudgementEntry, OfPlan
from dimmplan.plancode.code import CodeHead, read_head
from dimmplan.plancode.symbols import looks_like_code
from dimmplan.units import cleaned, quoted


def read_judged(plan: str, board_file: Path | None) -> JudgedPlan:
    """A plan or a code, judged against its board; says on standard error what has changed since.

    Raises ``InputError``.
    """
    if plan != "-" and looks_like_code(plan) and not Path(plan).exists():
        judged = judge_code(plan, load_board(str(board_file)) if board_file else _board_of_code(read_head(plan)))
    else:
        file, content = _content_of(plan)
        read = read_plan(content, file=file)
        board_id = read.record.board.id
        judged = judge_file(read, load_board(str(board_file)) if board_file else _board_of(board_id, file))
    _warn_of_changes(judged.board, judged.placement, same_drawing=judged.same_drawing)
    return judged


def tell(judged: JudgedPlan) -> None:
    """Say on standard error what is wrong with a plan, where something is."""
    if judged.broken:
        terminal.complain(f"warning: this plan does not obey the board {judged.board.id}; do not place anything by it.")
    elif judged.disagreements:
        terminal.complain("warning: this plan contradicts itself; plan again before you place anything.")
    for cause in judged.causes:
        terminal.complain(f"{cleaned(cause.text, most=2000)} [{cause.rule}]", indent="  ")


def with_judgement(document: Document, judged: JudgedPlan | None) -> Document:
    """A JSON answer about a plan; of one that is not good it says so first."""
    if judged is None or judged.good or not isinstance(document, OfPlan):
        return document
    judgement = JudgementEntry.of(judged, obeys_board=not judged.broken, agrees_with_itself=not judged.disagreements)
    return document.model_copy(update={"plan": judgement})


def _warn_of_changes(board: Board, placement: Placement, *, same_drawing: bool) -> None:
    """Say what has changed since, where every name still resolves: slots, rules or rates, or the drawing alone."""
    if placement.electrical_digest != board.electrical_digest:
        text = (
            f"the slots, rules or rates of {board.id} have changed since this map was made. All its slots still exist, "
            "but plan again before you place anything."
        )
        typer.echo(f"warning: {text}", err=True)
    elif not same_drawing:
        typer.echo(f"warning: the drawing of {board.id} has changed since; the wiring is the same.", err=True)


def _board_of_code(head: CodeHead) -> Board:
    """The board that a code speaks of: file names first, since a board's id usually is its file's name.

    One whose electrical part is still the same goes before one that only the short check of the id speaks for.
    """
    meant: Board | None = None
    for path in sorted(board_files(), key=lambda path: not head.is_of(path.stem)):
        if meant is not None and not head.is_of(path.stem):
            break
        board, _ = examine_file(path)
        if board is None or not head.is_of(board.id):
            continue
        if head.made_on(board.electrical_digest):
            return board
        meant = meant or board
    if meant is not None:
        return meant
    raise _not_at_hand("plan code", "", "a board that is not found")


def _not_at_hand(file: str, place: str, found: str, near: str = "") -> InputError:
    hint = f"{near} Give its file with --board-file, or put it into a folder of DIMMPLAN_BOARDS.".strip()
    return InputError(Problem(file=file, place=place, found=found, hint=hint))


def _board_of(board_id: str, file: str) -> Board:
    if "/" in board_id or os.sep in board_id or board_id.endswith(".toml"):
        raise InputError(Problem(file=file, place="board.id", found=quoted(board_id), allowed="a board id"))
    at_hand = boards_by_id()
    if board_id not in at_hand:
        near = did_you_mean(board_id, list(at_hand))
        raise _not_at_hand(file, "board.id", f"{quoted(board_id)}, a board that is not found", near)
    return load_board(board_id)


def _content_of(plan: str) -> tuple[str, bytes]:
    if plan == "-":
        return "standard input", sys.stdin.buffer.read(MOST_BYTES + 1)
    allowed = "a plan file, - for standard input, or a plan code"
    return cleaned(plan), read_file(Path(plan), most=MOST_BYTES, allowed=allowed)
