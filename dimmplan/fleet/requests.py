"""Rows of a list of machines as requests, each distinct one read and solved once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from dimmplan.boardfile.read import load_board
from dimmplan.errors import ImpossibleError, InputError, Problem, RefusedError
from dimmplan.fleet.rows import MachineList, Row
from dimmplan.model.board import Board
from dimmplan.model.request import Request
from dimmplan.planner import Terms, ask, plan
from dimmplan.stock import Shelf, read_shelf


@dataclass(frozen=True, kw_only=True, slots=True)
class BoardRequest:
    """A request and its board. Equal ones have equal answers."""

    board: Board
    request: Request

    @property
    def key(self) -> Key:
        """What decides the answer and all that is drawn of it."""
        return (self.board.id, self.board.electrical_digest, self.board.drawing_digest), self.request


Key = tuple[tuple[str, str, str], Request]

Bad = InputError | RefusedError
"""Why a row is no request, or its request has no answer."""


class Requests:
    """Reads rows and solves requests; everything is remembered by what decides it, not by machine.

    ``terms`` hold for every machine; where a row has a word of its own, that goes before.
    """

    def __init__(self, machines: MachineList, terms: Terms, shelf: Path | None = None) -> None:
        self.machines = machines
        self.terms = terms
        self.shelf_path = shelf
        self._boards: dict[str, Board | InputError] = {}
        self._shelves: dict[str, Shelf] = {}
        self._asked: dict[tuple[object, ...], BoardRequest | Bad] = {}
        self._alone: dict[Key, ImpossibleError | None] = {}
        self._lacking: dict[tuple[object, ...], ImpossibleError | None] = {}

    def board(self, text: str) -> Board:
        """A board by id or file. Raises ``InputError``."""
        if text not in self._boards:
            try:
                self._boards[text] = load_board(text)
            except InputError as error:
                self._boards[text] = error
        found = self._boards[text]
        if isinstance(found, InputError):
            raise found
        return found

    def shelf(self, board: Board) -> Shelf | None:
        """The shelf as that board reads its labels. Raises ``InputError``."""
        if self.shelf_path is None:
            return None
        key = board.electrical_digest
        if key not in self._shelves:
            self._shelves[key] = read_shelf(self.shelf_path, board)
        return self._shelves[key]

    def asked(self, row: Row) -> BoardRequest | Bad:
        """The request of a row, or what is wrong with it. Raises ``InputError`` for a shelf that cannot be read."""
        if row.asked not in self._asked:
            try:
                board = self.board(row.board)
            except InputError as error:
                self._asked[row.asked] = error
                return error
            shelf = self.shelf(board)
            try:
                self._asked[row.asked] = BoardRequest(board=board, request=self._request(row, board, shelf))
            except (InputError, RefusedError) as error:
                self._asked[row.asked] = error
        return self._asked[row.asked]

    def _request(self, row: Row, board: Board, shelf: Shelf | None) -> Request:
        own: Terms = {}
        if row.modules:
            own["modules"] = row.modules
        if row.fitted:
            own["fitted"] = row.fitted
        if row.processor:
            own["processor"] = row.processor
        if row.prefer:
            own["prefer"] = row.prefer
        return ask(board, row.capacity, shelf=shelf, **(self.terms | own))

    def alone(self, asked: BoardRequest) -> ImpossibleError | None:
        """Why a request has no plan even with the whole shelf; ``None`` where it has one."""
        if asked.key not in self._alone:
            try:
                plan(asked.board, asked.request, alternatives=False)
                self._alone[asked.key] = None
            except ImpossibleError as error:
                self._alone[asked.key] = error
        return self._alone[asked.key]

    def lacking(self, row: Row, asked: BoardRequest, left: Mapping[str, int]) -> ImpossibleError | None:
        """Why a row is not served by what is ``left`` of each row of the shelf, with what there is to buy.

        ``None`` where it is, though only above its allowance.
        """
        if row.asked not in self._lacking:
            shelf = self.shelf(asked.board)
            assert shelf is not None, "called where a shelf is shared"
            rest = replace(
                shelf, lots=tuple(replace(lot, count=min(lot.count, left.get(lot.place, 0))) for lot in shelf.lots)
            )
            try:
                plan(
                    asked.board,
                    self._request(row, asked.board, rest),
                    alternatives=False,
                    shelf=rest,
                    modules=row.modules or self.terms.get("modules", ()),
                )
                self._lacking[row.asked] = None
            except ImpossibleError as error:
                self._lacking[row.asked] = error
        return self._lacking[row.asked]

    def problems(self, row: Row, why: Bad) -> tuple[Problem, ...]:
        """What is wrong with a row, each problem with the line of the file, and the column that it stands in."""
        if isinstance(why, RefusedError):
            return tuple(self.machines.problem(row.line, "", "", "", hint=cause.text) for cause in why.causes)
        cells = {
            "--capacity": ("capacity", row.capacity),
            "--fitted": ("fitted", row.fitted),
            "--processor": ("processor", row.processor),
            "--prefer": ("prefer", row.prefer),
            "--module": ("modules", row.modules),
        }
        return tuple(
            self.machines.problem(
                row.line,
                cells[each.file][0] if each.file in cells and cells[each.file][1] else each.file,
                each.found,
                each.allowed,
                each.hint,
            )
            for each in why.problems
        )
