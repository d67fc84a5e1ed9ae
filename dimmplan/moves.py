"""From what is in a machine to what should be: fewest modules handled, then least travel.

Modules of one type are interchangeable. Which of them goes where is a cheapest flow from the slots that have one too
many to the slots that want one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, Literal, cast

from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.placement import Change, LeftOver, Move, Placement, Step
from dimmplan.rules import install_order, judge
from dimmplan.supply import in_types_of

Content = Mapping[str, Module | None]
_PER_MM = 10
"""Travel is counted in tenths of a millimetre, as whole numbers."""


def plan_moves(board: Board, current: Content, target: Placement, *, untouchable: Iterable[str] = ()) -> Change:
    """The change from ``current`` to ``target``, never touching ``untouchable`` slots.

    ``current`` leaves out slots whose content is not known; those must be untouchable. A module that the board cannot
    tell from a planned one, and whose label promises no less, serves as that one.
    """
    fixed = set(untouchable)
    wanted = target.content
    lying = in_types_of(board, current, target.types)
    blocked = tuple(slot for slot in board.slots if slot in fixed and _differs(lying, wanted, slot))
    free = [slot for slot in board.slots if slot not in fixed]
    keeps = [slot for slot in free if lying.get(slot) and lying.get(slot) == wanted.get(slot)]
    leaving = {slot: module for slot in free if (module := lying.get(slot)) and slot not in keeps}
    missing = {slot: module for slot in free if (module := wanted.get(slot)) and slot not in keeps}
    travels = dict(_travels(board, leaving, missing))
    order = [slot for slot in install_order(board, target) if slot in missing]
    origin = {goal: start for start, goal in travels.items()}
    moves = [_move("keep", current[slot], slot, slot) for slot in keeps]
    moves += [_move("pull", current[slot], slot, None) for slot in leaving if slot not in travels]
    moves += [
        _move("move", current[origin[slot]], origin[slot], slot)
        if slot in origin
        else _move("insert", missing[slot], None, slot)
        for slot in order
    ]
    hold = tuple(slot for slot in board.slots if slot in fixed)
    stranded = tuple(_stranded(board, target, moves, hold))
    return Change(moves=tuple(moves), steps=tuple(_steps(board, moves)), stranded=stranded, blocked=blocked, hold=hold)


def _steps(board: Board, moves: Sequence[Move]) -> Iterator[Step]:
    """What comes out, in board order, then what goes in, in the order of the moves; numbered from 1."""
    leaving = {move.source: move for move in moves if move.kind in ("pull", "move")}
    outs = [("out", slot, leaving[slot]) for slot in board.slots if slot in leaving]
    ins = [("in", move.target, move) for move in moves if move.kind in ("move", "insert") and move.target]
    for number, (act, slot, move) in enumerate([*outs, *ins], start=1):
        yield Step(number, cast("Literal['out', 'in']", act), slot, move)


def _differs(current: Content, wanted: Content, slot: str) -> bool:
    """True where an untouchable slot would have to change; the unknown can only stay where nothing is wanted."""
    if slot not in current:
        return wanted.get(slot) is not None
    return current[slot] != wanted.get(slot)


def _move(kind: Any, module: Module | None, source: str | None, target: str | None) -> Move:
    if module is None:
        raise ValueError(f"nothing to {kind} at {source or target}")
    return Move(kind=kind, module=module, source=source, target=target)


def _travels(board: Board, leaving: Mapping[str, Module], missing: Mapping[str, Module]) -> Iterator[tuple[str, str]]:
    """Pairs of slots between which modules move, type by type: as many as can, over the least distance."""
    import networkx  # noqa: PLC0415 - heavy; only where modules really move

    middles = {
        place.slot: (place.box.x_mm + place.box.width_mm / 2, place.box.y_mm + place.box.depth_mm / 2)
        for place in board.physical.slots
    }
    for kind in dict.fromkeys(leaving.values()):
        starts = [slot for slot, module in leaving.items() if module == kind]
        goals = [slot for slot, module in missing.items() if module == kind]
        if not goals:
            continue
        graph: Any = networkx.DiGraph()
        for start in starts:
            graph.add_edge("source", ("from", start), capacity=1, weight=0)
            for goal in goals:
                (x1, y1), (x2, y2) = middles[start], middles[goal]
                distance = round((abs(x1 - x2) + abs(y1 - y2)) * _PER_MM)
                graph.add_edge(("from", start), ("to", goal), capacity=1, weight=distance)
        for goal in goals:
            graph.add_edge(("to", goal), "sink", capacity=1, weight=0)
        flow = networkx.max_flow_min_cost(graph, "source", "sink")
        for start in starts:
            for goal in goals:
                if flow[("from", start)][("to", goal)]:
                    yield start, goal


def _stranded(board: Board, target: Placement, moves: Iterable[Move], untouchable: Sequence[str]) -> Iterator[LeftOver]:
    """Types left over, with the slots that would take one of them on top of the target."""
    shut = {*target.hold, *untouchable}
    pulled = [move.module for move in moves if move.kind == "pull"]
    option = board.processor(target.processor)
    broken = {breach.rule for breach in judge(board, option, target.fitted, target.content, mode=target.mode)}
    for module in sorted(set(pulled), key=lambda each: each.order_key):
        fits = []
        for socket in board.sockets:
            for slot in socket.slots if socket.id in target.fitted else ():
                if target.content.get(slot) is None and slot not in shut:
                    more = {**target.content, slot: module}
                    breaches = judge(board, option, target.fitted, more, mode=target.mode)
                    if not any(b.severity == "error" and b.rule not in broken for b in breaches):
                        fits.append(slot)
        yield LeftOver(module=module, count=pulled.count(module), fits=tuple(fits))
