"""Why not exactly these slots? The best that the plan's modules make of the slots that somebody expected."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from dimmplan.errors import Cause, ImpossibleError, InputError, Problem, RefusedError
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.request import Lot, Request, Supply
from dimmplan.reasons.case import Alternative, Case, Separation
from dimmplan.reasons.slots import read_slot
from dimmplan.rules import TRAY_RULE, CountsRow, SequenceRow
from dimmplan.solve.answer import solve

EXPECTED = "expected"
"""Begin of the ids of the rows that hold a copy of the board to just those slots."""


@dataclass(frozen=True, kw_only=True)
class Expectation:
    """What comes of filling exactly ``slots``.

    ``exact``: it takes just the plan's modules; otherwise the plan's types in other numbers. ``proven``: of all
    assignments of them to the slots, ``alternative`` is the best by the plan's list, or the first where it is refused.
    ``only_plan`` and ``only_expected`` are the slots that one of the two fills and the other does not.
    """

    slots: tuple[str, ...]
    exact: bool
    proven: bool
    alternative: Alternative
    separation: Separation
    only_plan: tuple[str, ...]
    only_expected: tuple[str, ...]


def read_slots(case: Case, text: str, *, file: str) -> tuple[str, ...]:
    """Slots from a list with commas, in board order.

    Raises ``InputError`` for an unknown name, ``RefusedError`` for a slot that is dead or on hold.
    """
    problems: list[Problem] = []
    named: set[str] = set()
    for part in text.split(","):
        try:
            named.add(read_slot(case.board, part, file=file))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    require_usable(case, sorted(named))
    return tuple(slot for slot in case.board.slots if slot in named)


def require_usable(case: Case, slots: Sequence[str]) -> None:
    """Raise ``RefusedError`` for slots that are dead or on hold."""
    causes: list[Cause] = []
    for slot in slots:
        socket = case.board.channel_of[slot].socket
        if socket not in case.placement.fitted:
            text = f"{slot} is dead: socket {socket} has no processor in this plan."
            causes.append(Cause(rule="dead", text=text, source="PRACTICE"))
        elif case.board.tray_of.get(slot) in case.placement.absent:
            text = f"{slot} is dead: its tray {case.board.tray_of[slot]} is not there."
            causes.append(Cause(rule=TRAY_RULE, text=text, source="PRACTICE"))
        elif slot not in case.board.served:
            text = f"{slot} is dead: the processor of this plan does not serve its channel."
            causes.append(Cause(rule="served", text=text, source="MODEL"))
        elif slot in case.placement.hold:
            text = f"{slot} is on hold: nothing is pulled, moved or inserted there."
            causes.append(Cause(rule="hold", text=text, source="PRACTICE"))
    if causes:
        raise RefusedError(causes)


def expectation(case: Case, slots: Sequence[str]) -> Expectation:
    """Judge exactly these slots filled. Raises ``RefusedError`` where the plan itself breaks a rule."""
    case.require_sound()
    modules = [module for module in case.content.values() if module]
    exact = len(modules) == len(slots)
    content, proven = _best_content(case, slots, exact=exact)
    alternative = case.weigh(content)
    mine = [slot for slot, module in case.placement.slots if module]
    return Expectation(
        slots=tuple(slots),
        exact=exact,
        proven=proven,
        alternative=alternative,
        separation=case.part(alternative),
        only_plan=tuple(slot for slot in mine if slot not in slots),
        only_expected=tuple(slot for slot in slots if slot not in mine),
    )


def _best_content(case: Case, slots: Sequence[str], *, exact: bool) -> tuple[dict[str, Module | None], bool]:
    """The best assignment of modules to the slots by the exact search, or a plain one where none is allowed."""
    types = case.placement.types
    if exact and len(types) == 1:
        return {slot: types[0] if slot in slots else None for slot in case.board.slots}, True
    supplies = tuple(
        Supply(module=module, lots=(Lot(count=case.placement.count(module) if exact else None),)) for module in types
    )
    board = _held_to(case, slots)
    if board is not None:
        asked = math.ceil(case.usable_gib) if exact else case.request.capacity_gib
        request = replace(case.request, capacity_gib=asked, supplies=supplies, over_gib=None)
        found = _solved(board, request)
        if found is not None:
            return found
    return _plain(case, slots, exact=exact), False


def _solved(board: Board, request: Request) -> tuple[dict[str, Module | None], bool] | None:
    """The answer of the search, or the nearest one below the capacity asked."""
    try:
        answer = solve(board, request, alternatives=False)
    except ImpossibleError as error:
        if error.below_gib is None or error.below_gib >= request.capacity_gib:
            return None
        below = math.floor(error.below_gib)
        return _solved(board, replace(request, capacity_gib=below)) if below else None
    return answer.best.content, answer.proven


def _held_to(case: Case, slots: Sequence[str]) -> Board | None:
    """A copy of the board on which exactly these slots can be filled; ``None`` where a socket would be empty."""
    rows: list[SequenceRow | CountsRow] = []
    for index, socket in enumerate(case.sockets()):
        here = [slot for slot in socket.slots if slot in slots]
        if not here:
            return None
        order = (*here, *(slot for slot in socket.slots if slot not in here))
        ids = f"{EXPECTED}-slots-{index}", f"{EXPECTED}-count-{index}"  # of their own, or sockets would look equal
        rows.append(SequenceRow(id=ids[0], check="sequence", socket=socket.id, slots=order, source="MODEL"))
        rows.append(CountsRow(id=ids[1], check="counts", modules=(len(here),), sockets=(socket.id,), source="MODEL"))
    return replace(case.board, rules=(*case.board.rules, *rows))


def _plain(case: Case, slots: Sequence[str], *, exact: bool) -> dict[str, Module | None]:
    """Modules on the slots without a search: more ranks first, then larger ones, first slots before second ones."""
    held = sorted(
        (module for module in case.content.values() if module),
        key=lambda module: (-module.package_ranks, *module.order_key),
    )
    if not exact:
        held = [case.placement.types[0]] * len(slots)

    def place(slot: str) -> int:
        return case.board.channel_of[slot].slots.index(slot)

    order = sorted(slots, key=place)
    content: dict[str, Module | None] = dict.fromkeys(case.board.slots)
    return content | dict(zip(order, held, strict=True))
