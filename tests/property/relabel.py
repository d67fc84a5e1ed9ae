"""A board under other names and in another order: sockets, controllers, channels and slots relabelled throughout."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from dimmplan.model.board import Board, Channel, Controller, Socket
from dimmplan.model.request import Request
from dimmplan.rules import RuleRow, fitted_default


@dataclass(frozen=True, kw_only=True)
class Relabelled:
    """The board anew, with what became of its names."""

    board: Board
    sockets: dict[str, str]
    slots: dict[str, str]

    def request(self, request: Request) -> Request:
        """The same request of the relabelled board."""
        return replace(request, fitted=tuple(self.sockets[socket] for socket in request.fitted))


def relabelled(board: Board, rng: random.Random, *, reorder: bool) -> Relabelled:
    """Every name replaced; with ``reorder`` sockets, controllers and channels also stand in another order.

    Equally built sockets stay equally built. What a channel's slots are, and their fill order, stays.
    """
    board = replace(board, rules=(*board.rules, *fitted_default(board)))  # or the first socket would be special
    sockets = _names(rng, [socket.id for socket in board.sockets], "socket")
    slots = _names(rng, board.slots, "slot")
    channels = _names(rng, sorted({channel.id for channel in board.channels}), "channel")
    controllers = _names(rng, sorted({c.id for socket in board.sockets for c in socket.controllers}), "controller")
    orders = {build: rng.getrandbits(64) for build in dict.fromkeys(socket.build for socket in board.sockets)}
    found = []
    for socket in board.sockets:
        shuffle = random.Random(orders[socket.build])
        parts = []
        for controller in socket.controllers:
            of_controller = [
                Channel(
                    id=channels[channel.id],
                    socket=sockets[socket.id],
                    controller=controllers[controller.id],
                    slots=tuple(slots[slot] for slot in channel.slots),
                )
                for channel in controller.channels
            ]
            if reorder:
                shuffle.shuffle(of_controller)
            parts.append(Controller(id=controllers[controller.id], channels=tuple(of_controller)))
        if reorder:
            shuffle.shuffle(parts)
        found.append(Socket(id=sockets[socket.id], controllers=tuple(parts)))
    if reorder:
        rng.shuffle(found)
    groups = tuple(
        group.model_copy(
            update={"channels": tuple(rng.sample([channels[c] for c in group.channels], len(group.channels)))}
        )
        for group in board.interleave.groups
    )
    made = replace(
        board,
        sockets=tuple(found),
        interleave=board.interleave.model_copy(update={"groups": groups}),
        rules=tuple(_row(row, sockets, slots) for row in board.rules),
        code_order=tuple(slots[slot] for slot in board.code_order),
        aliases=tuple((slots[slot], names) for slot, names in board.aliases),
    )
    return Relabelled(board=made, sockets=sockets, slots=slots)


def _names(rng: random.Random, old: Sequence[str], stem: str) -> dict[str, str]:
    """A new name for each old one, in an order that has nothing to do with the old."""
    numbers = rng.sample(range(100, 100 + 10 * len(old)), len(old))
    return {name: f"{stem}-{number}" for name, number in zip(old, numbers, strict=True)}


def _row(row: RuleRow, sockets: dict[str, str], slots: dict[str, str]) -> RuleRow:
    """A rule row with the names in it replaced."""
    names: dict[str, Any] = {}
    for field, known in (("sockets", sockets), ("slots", slots)):
        if hasattr(row, field):
            names[field] = tuple(known[name] for name in getattr(row, field))
    if hasattr(row, "socket"):
        names["socket"] = sockets[row.socket]
    if hasattr(row, "sets"):
        names["sets"] = tuple(tuple(sockets[name] for name in fitted) for fitted in row.sets)
    return row.model_copy(update=names)
