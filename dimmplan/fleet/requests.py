"""Rows of a list of machines as requests, each distinct one read and solved once."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from dimmplan.boardfile.read import load_board
from dimmplan.errors import ImpossibleError, InputError, Problem, RefusedError
from dimmplan.fleet.rows import MachineList, Row
from dimmplan.model.board import Board
from dimmplan.model.request import Request
from dimmplan.planner import MOST_INLET_C, Terms, ask, plan, read_trays
from dimmplan.stock import Shelf, ShelfLot, read_shelf
from dimmplan.units import quoted


@dataclass(frozen=True, kw_only=True, slots=True)
class BoardRequest:
    """A request and its board. Equal ones have equal answers."""

    board: Board
    request: Request

    @property
    def key(self) -> Key:
        """What decides the answer and all that is drawn of it."""
        board = self.board
        return (board.id, board.electrical_digest, board.drawing_digest, board.absent, board.inlet_c), self.request

    @property
    def place(self) -> tuple[object, ...]:
        """What decides which modules may go in."""
        return self.board.electrical_digest, self.board.absent, self.board.inlet_c, self.request.processor


Key = tuple[tuple[object, ...], Request]

Bad = InputError | RefusedError
"""Why a row is no request, or its request has no answer."""


class Requests:
    """Reads rows and solves requests; everything is remembered by what decides it, not by machine.

    ``terms``, absent ``trays`` and the ``inlet`` air hold for every machine; where a row has a word of its own, that
    goes before.
    """

    def __init__(
        self,
        machines: MachineList,
        terms: Terms,
        shelf: Path | None = None,
        *,
        trays: Sequence[str] = (),
        inlet: int | None = None,
    ) -> None:
        self.machines = machines
        self.terms = terms
        self.trays = trays
        self.inlet = inlet
        self.shelf_path = shelf
        self._boards: dict[str, Board | InputError] = {}
        self._shelves: dict[str, Shelf] = {}
        self._asked: dict[tuple[object, ...], BoardRequest | Bad] = {}
        self._failures: dict[tuple[object, ...], ImpossibleError | None] = {}

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
            found: BoardRequest | Bad
            try:
                board = self._equipped(row, self.board(row.board))
            except InputError as error:
                found = error
            else:
                shelf = self.shelf(board)
                try:
                    found = BoardRequest(board=board, request=self._request(row, board, shelf))
                except (InputError, RefusedError) as error:
                    found = error
            self._asked[row.asked] = found
        return self._asked[row.asked]

    def _equipped(self, row: Row, board: Board) -> Board:
        """The board with the trays and the inlet air of a row. Raises ``InputError``."""
        inlet = self.inlet
        if row.inlet:
            if not re.fullmatch(r"\d{1,3}", row.inlet, re.ASCII):
                problem = Problem(file="--inlet", found=quoted(row.inlet), allowed=f"0 to {MOST_INLET_C} °C")
                raise InputError(problem)
            inlet = int(row.inlet)
        return read_trays(board, row.without_tray or self.trays, inlet)

    def _request(self, row: Row, board: Board, shelf: Shelf | None) -> Request:
        said: Terms = {"modules": row.modules, "fitted": row.fitted, "processor": row.processor, "prefer": row.prefer}
        own: Terms = {name: its for name, its in said.items() if its}  # type: ignore[assignment]
        return ask(board, row.capacity, shelf=shelf, **(self.terms | own))

    def _failure(self, key: tuple[object, ...], work: Callable[[], object]) -> ImpossibleError | None:
        """Why something is impossible, remembered; ``None`` where it is done."""
        if key not in self._failures:
            self._failures[key] = None
            try:
                work()
            except ImpossibleError as error:
                self._failures[key] = error.with_traceback(None)
        return self._failures[key]

    def alone(self, asked: BoardRequest) -> ImpossibleError | None:
        """Why a request has no plan even with the whole shelf; ``None`` where it has one."""
        return self._failure(("alone", asked.key), lambda: plan(asked.board, asked.request, alternatives=False))

    def lacking(self, row: Row, asked: BoardRequest, left: Iterable[ShelfLot]) -> ImpossibleError | None:
        """Why a row is not served by what is ``left`` of the shelf, with what there is to buy.

        ``None`` where it is, though only above its allowance.
        """
        board, shelf = asked.board, self.shelf(asked.board)
        assert shelf is not None, "called where a shelf is shared"
        counts = {lot.place: lot.count for lot in left}
        lots = tuple(replace(lot, count=min(lot.count, counts.get(lot.place, 0))) for lot in shelf.lots)
        rest, modules = replace(shelf, lots=lots), row.modules or self.terms.get("modules", ())

        def work() -> object:
            return plan(board, self._request(row, board, rest), alternatives=False, shelf=rest, modules=modules)

        return self._failure(("lacking", row.asked), work)

    def problems(self, row: Row, why: Bad) -> tuple[Problem, ...]:
        """What is wrong with a row, each problem with the line of the file, and the column that it stands in."""
        if isinstance(why, RefusedError):
            return tuple(self.machines.problem(row.line, "", "", "", hint=cause.text) for cause in why.causes)
        cells = {
            "--capacity": ("capacity", row.capacity),
            "--fitted": ("fitted", row.fitted),
            "--processor": ("processor", row.processor),
            "--without-tray": ("without-tray", row.without_tray),
            "--inlet": ("inlet", row.inlet),
            "--prefer": ("prefer", row.prefer),
            "--module": ("modules", row.modules),
        }
        names = {option: column for option, (column, said) in cells.items() if said}
        return tuple(
            self.machines.problem(row.line, names.get(each.file, each.file), each.found, each.allowed, each.hint)
            for each in why.problems
        )
