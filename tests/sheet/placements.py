"""Placements made by hand for any board, so that the drawing is tested without the search."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.placement import Placement
from dimmplan.model.request import Mode
from dimmplan.rates import channel_rate
from dimmplan.rules import FittedRow, SocketView, SystemView, judge_channel, judge_module, judge_socket, judge_system

Fill = Literal["full", "sparse", "one-socket", "mixed", "hold"]
FILLS: tuple[Fill, ...] = ("full", "sparse", "one-socket", "mixed", "hold")


def runs_alone(board: Board, module: Module, depth: int) -> bool:
    """True where the board takes ``depth`` such modules on its longest channel."""
    option = board.processor(None)
    channel = max(board.channels, key=lambda channel: len(channel.slots))
    load = tuple(module if place < depth else None for place in range(len(channel.slots)))
    errors = (*judge_module(board.rules, module), *judge_channel(board.rules, channel, load))
    return not errors and channel_rate(board, option, [module] * depth, len(channel.slots)) is not None


def usual_modules(board: Board, depth: int) -> list[Module]:
    """Modules that the board takes so deep, the middle sizes first."""
    taken = [module for module in board.modules if runs_alone(board, module, depth)]
    return sorted(taken, key=lambda module: (abs(module.capacity_gib - 32), module.label))


def fitted_sockets(board: Board, fill: Fill) -> tuple[str, ...]:
    """All sockets, or the fewest that the board lets start."""
    every = tuple(socket.id for socket in board.sockets)
    if fill != "one-socket":
        return every
    rows = [row for row in board.rules if isinstance(row, FittedRow)]
    return min(rows[0].sets, key=len) if rows else every[:1]


def make(board: Board, fill: Fill = "full", **changes: object) -> Placement:
    """A placement that obeys the board's rules roughly: never a gap in a channel, never more ranks than it takes."""
    deepest = max(len(channel.slots) for channel in board.channels)
    depth = 1 if fill in ("sparse", "hold") else next(d for d in range(deepest, 0, -1) if usual_modules(board, d))
    modules = usual_modules(board, depth)
    fitted = fitted_sockets(board, fill)
    second = next((m for m in modules[1:] if _mixes(board, modules[0], m)), modules[0])
    if fill == "mixed":
        modules = sorted([modules[0], second], key=lambda m: (-m.package_ranks, -m.capacity_gib))
    content: dict[str, Module | None] = dict.fromkeys(board.slots)
    for socket_id in fitted:
        for number, channel in enumerate(board.socket(socket_id).channels):
            if fill in ("sparse", "hold") and number % 2 and len(board.channels) > 2:
                continue
            for place, slot in enumerate(channel.slots[:depth]):
                content[slot] = modules[min(place, 1)] if fill == "mixed" and deepest > 1 else modules[0]
                if fill == "mixed" and deepest == 1:
                    content[slot] = modules[number % 2]
    hold: tuple[str, ...] = ()
    if fill == "hold":
        free = [slot for slot, module in content.items() if not module]
        hold = tuple(free[:2])
    usable = sum(module.capacity_gib for module in content.values() if module)
    values = {
        "board": board.id,
        "electrical_digest": board.electrical_digest,
        "fitted": fitted,
        "processor": board.processors[0].id if board.processors else None,
        "mode": Mode.INDEPENDENT,
        "prefer": "capacity-first",
        "capacity_gib": usable,
        "status": "proven",
        "slots": tuple(content.items()),
        "hold": hold,
    }
    return Placement(**(values | changes))  # type: ignore[arg-type]


def _mixes(board: Board, one: Module, other: Module) -> bool:
    """True where two types may stand in one system on one channel."""
    socket = board.sockets[0]
    channel = max(socket.channels, key=lambda channel: len(channel.slots))
    pair = sorted([one, other], key=lambda m: (-m.package_ranks, -m.capacity_gib))
    load = tuple((*pair, *(None for _ in channel.slots))[: len(channel.slots)])
    option = board.processor(None)
    if (
        list(judge_channel(board.rules, channel, load))
        or channel_rate(board, option, [module for module in load if module], len(channel.slots)) is None
    ):
        return False
    view = SocketView(socket=socket, modules=2, capacity_gib=1, types=tuple(pair))
    mixed = [b for b in judge_socket(board.rules, view) if b.check == "mix"]
    content = dict(zip(board.slots, pair, strict=False))
    mixed += [
        b for b in judge_system(board.rules, SystemView(board=board, fitted=(), content=content)) if b.check == "mix"
    ]
    return not mixed


def renamed(board: Board, names: dict[str, str]) -> Board:
    """The same board with other slot names."""

    def name(slot: str) -> str:
        return names.get(slot, slot)

    sockets = tuple(
        socket._replace(
            controllers=tuple(
                controller._replace(
                    channels=tuple(c._replace(slots=tuple(map(name, c.slots))) for c in controller.channels),
                )
                for controller in socket.controllers
            ),
        )
        for socket in board.sockets
    )
    physical = board.physical._replace(
        slots=tuple(place._replace(slot=name(place.slot)) for place in board.physical.slots)
    )
    return replace(board, sockets=sockets, physical=physical, code_order=tuple(map(name, board.code_order)))
