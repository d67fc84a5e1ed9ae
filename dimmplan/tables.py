"""What a population table costs and leaves open, by the model: for plans, and for the check of a board file."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

from dimmplan.model.board import Board, Socket
from dimmplan.model.module import Module
from dimmplan.model.request import Lot, Mode, Request, Supply
from dimmplan.planner import Planned
from dimmplan.rules import FittedRow, Rule, TableRow, all_rows, of_kind
from dimmplan.solve.answer import Answer, Choice, solve_in
from dimmplan.solve.criteria import Value, ranked, vector_of
from dimmplan.solve.space import Space


class ModelChoice(NamedTuple):
    """What the model would fill without a table, where that is better."""

    table: TableRow
    choice: Choice


class TableNote(NamedTuple):
    """What a table leaves out, or where the model would fill other slots.

    Either ``text`` says it, or with so many ``modules`` the model would fill ``slots``, and ``criterion`` is the first
    that is better: its value there and by the table.
    """

    table: TableRow
    text: str = ""
    modules: int | None = None
    slots: tuple[str, ...] = ()
    criterion: tuple[str, Value, Value] | None = None


def without_tables(board: Board) -> Board:
    """The board without its population tables that are error rows."""
    tables = {row.id for row in of_kind(board.rules, TableRow) if row.severity == "error"}
    return replace(board, rules=tuple(row for row in board.rules if row.id not in tables))


def tables_in_force(board: Board, request: Request) -> list[TableRow]:
    """The tables, error rows, that speak of a request's sockets and mode."""
    places = (None, *request.fitted)
    tables = of_kind(all_rows(board, board.processor(request.processor)), TableRow)
    return [
        row
        for row in tables
        if row.severity == "error"
        and any(row.populations(place, request.fitted, request.mode) is not None for place in places)
    ]


def preferred(planned: Planned) -> ModelChoice | None:
    """What the model would have preferred over a table; ``None`` without a table, or where both agree.

    Modules that stay in their slots, or slots on hold, may decide as well; where they do, nothing is said.
    """
    board, request = planned.board, planned.request
    tables = tables_in_force(board, request)
    if not tables:
        return None
    free = solve_in(Space(without_tables(board), request), alternatives=False)
    if free is None or not _is_better(planned.answer, free.best):
        return None
    if planned.placement.hold or any(supply.kept for supply in request.supplies):
        alone = solve_in(Space(board, request), alternatives=False)
        if alone is None or alone.best.vector != planned.answer.best.vector:
            return None
    return ModelChoice(tables[0], free.best)


def _is_better(answer: Answer, choice: Choice) -> bool:
    return ranked(answer.criteria, choice.vector) < ranked(answer.criteria, answer.best.vector)


# -- the check of a board file ---------------------------------------------------------------------------------------

MOST_EFFORT = 300_000


def table_notes(board: Board) -> list[TableNote]:
    """Numbers and slots that the tables of a board leave out, and rows for which the model would fill other slots."""
    return [note for row in of_kind(board.rules, TableRow) for note in _notes(board, row)]


def _notes(board: Board, table: TableRow) -> Iterator[TableNote]:
    places = table.places(board.sockets)
    for sockets in places[:1]:
        slots = [slot for socket in sockets for slot in socket.slots]
        missing = [count for count in range(1, len(slots) + 1) if count not in table.rows]
        if missing:
            numbers = ", ".join(map(str, missing))
            yield TableNote(table, f"numbers of modules that it does not list are refused: {numbers}")
        filled = _populations(table, sockets)
        unused = [slot for slot in slots if not any(slot in used for used in filled.values())]
        if unused:
            yield TableNote(table, f"slots that no row fills: {', '.join(unused)}")
        for count in sorted(filled):
            yield from _compared(board, table, sockets, count, filled[count])


def _populations(table: TableRow, sockets: list[Socket]) -> dict[int, frozenset[str]]:
    fitted = table.fitted or tuple(socket.id for socket in sockets)
    where = None if table.of_machine else sockets[0].id
    return dict(table.populations(where, fitted, table.mode or Mode.INDEPENDENT) or {})


def _compared(
    board: Board, table: TableRow, sockets: list[Socket], count: int, slots: frozenset[str]
) -> Iterator[TableNote]:
    """Where the model would fill other slots with so many modules of the first usual type."""
    used = tuple(socket.id for socket in sockets if not slots.isdisjoint(socket.slots))
    fitted = tuple(socket.id for socket in sockets) if table.fitted and table.of_machine else used
    if not count or not fitted:
        return
    module = board.modules[0]
    kept: list[Rule] = [row for row in of_kind(board.rules, Rule) if row.couples != "fitted" and row.check != "table"]
    allowed = FittedRow(id="these-sockets", check="fitted", sets=(fitted,), source="MODEL")
    free = replace(board, rules=(*kept, allowed))
    content: dict[str, Module | None] = {slot: module if slot in slots else None for slot in board.slots}
    request = _exactly(free, module, count, fitted, table.mode or Mode.INDEPENDENT)
    space = Space(free, request) if request else None
    answer = solve_in(space, alternatives=False) if space else None
    vector = vector_of(space, answer.criteria, content) if space and answer else None
    if answer is None or vector is None:
        return
    if ranked(answer.criteria, answer.best.vector) < ranked(answer.criteria, vector):
        names = tuple(slot for slot in board.slots if answer.best.content.get(slot))
        pairs = zip(answer.criteria, answer.best.vector, vector, strict=True)
        first = next((criterion.name, there, here) for criterion, there, here in pairs if there != here)
        yield TableNote(table, modules=count, slots=names, criterion=first)


def _exactly(board: Board, module: Module, count: int, fitted: tuple[str, ...], mode: Mode) -> Request | None:
    """A request for just so many modules of a type; ``None`` where the mode leaves no whole GiB."""
    capacity = module.capacity_gib * count
    if mode is Mode.MIRRORED:
        capacity, odd = divmod(capacity, 2)
        if odd:
            return None
    if mode is Mode.SPARING:
        return None  # what sparing leaves depends on the slots
    return Request(
        capacity_gib=capacity,
        supplies=(Supply(module=module, lots=(Lot(count=count),)),),
        fitted=fitted,
        processor=board.processors[0].id if board.processors else None,
        mode=mode,
        max_types=1,
        effort=MOST_EFFORT,
    )
