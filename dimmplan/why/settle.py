"""The same population with as many modules as can be left where they are: equal channels and sockets trade places."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from dimmplan.model.board import Controller, Socket
from dimmplan.model.module import Module
from dimmplan.why.weigh import Case, Weighed

Held = Mapping[str, Module | None]
_MOST_PERMUTED = 5
"""Up to so many equal things every order is tried; above it a matching finds the best one."""
_FORBIDDEN = -(10**6)
"""Worth of a pairing that would put a module into a slot on hold."""


def settle(case: Case, stay: Held, target: Weighed, *, worth: Callable[[Weighed], object]) -> Weighed | None:
    """A population worth as much as ``target`` that leaves as many modules of ``stay`` in place as is found.

    ``stay`` itself where it is worth as much, then one move away from it, then the target with equal channels,
    controllers and sockets traded. ``None`` where all of them would fill a slot on hold.
    """
    wanted = worth(target)
    near: Iterator[Weighed] = iter(())
    if _count(stay) == _count(target.content):  # otherwise modules are taken out, and no move comes to as many
        near = itertools.chain([case.weigh(stay)], _one_move(case, stay))
    candidates = itertools.chain(near, (_traded(case, stay, target) for _ in range(1)), [target])
    for candidate in candidates:
        usable = not any(candidate.content.get(slot) for slot in case.placement.hold)
        if usable and candidate.vector is not None and worth(candidate) == wanted:
            return candidate
    return None


def _count(held: Held) -> int:
    return sum(module is not None for module in held.values())


def _one_move(case: Case, stay: Held) -> Iterator[Weighed]:
    """Every population one move away, one of each look."""
    here = Case(case.board, replace(case.placement, slots=tuple(stay.items())), extra=case.placement.types)
    seen: set[object] = set()
    for start, goal in itertools.product(here.last_filled(), here.first_empty()):
        look = here.look(start), here.look(goal, start)
        if look not in seen:
            seen.add(look)
            yield case.weigh({**stay, start: None, goal: stay[start]})


def _traded(case: Case, stay: Held, target: Weighed) -> Weighed:
    """The target with equal sockets, controllers and channels in the order that keeps most modules in place."""
    pairs = _Pairs(case, stay, target.content)
    sockets = case.sockets()
    content: dict[str, Module | None] = dict.fromkeys(case.board.slots)
    for alike in _alike(list(range(len(sockets))), lambda index: (case.space.shapes[index], sockets[index].build)):
        for source, goal in _matched(alike, lambda one, other: pairs.sockets(sockets[one], sockets[other])[0]):
            for start, end in pairs.sockets(sockets[source], sockets[goal])[1].items():
                content[end] = target.content.get(start)
    return case.weigh(content)


class _Pairs:
    """How many modules stay in place where the content of one thing goes to another, and which slot becomes which."""

    def __init__(self, case: Case, stay: Held, content: Held) -> None:
        self.case, self.stay, self.content = case, stay, content
        self._shapes = {
            (socket.id, channel.id): shape
            for socket, its in zip(case.sockets(), case.space.shapes, strict=True)
            for controller, shapes in zip(socket.controllers, its.controllers, strict=True)
            for channel, shape in zip(controller.channels, shapes, strict=True)
        }
        self._sockets: dict[tuple[str, str], tuple[int, dict[str, str]]] = {}

    def sockets(self, one: Socket, other: Socket) -> tuple[int, dict[str, str]]:
        """For two sockets of one shape."""
        key = one.id, other.id
        if key not in self._sockets:
            self._sockets[key] = self._of_sockets(one, other)
        return self._sockets[key]

    def _of_sockets(self, one: Socket, other: Socket) -> tuple[int, dict[str, str]]:
        total = 0
        slots: dict[str, str] = {}
        shapes = [self._controller_shape(one, controller) for controller in one.controllers]
        for alike in _alike(list(range(len(shapes))), lambda index: shapes[index]):

            def pair(source: int, goal: int) -> tuple[int, dict[str, str]]:
                return self._of_controllers(one.controllers[source], other.controllers[goal])

            for source, goal in _matched(alike, lambda a, b: pair(a, b)[0]):
                kept, named = pair(source, goal)
                total += kept
                slots |= named
        return total, slots

    def _controller_shape(self, socket: Socket, controller: Controller) -> tuple[object, ...]:
        return tuple(self._shapes[socket.id, channel.id] for channel in controller.channels)

    def _of_controllers(self, one: Controller, other: Controller) -> tuple[int, dict[str, str]]:
        total = 0
        slots: dict[str, str] = {}
        shapes = [self._shapes[channel.socket, channel.id] for channel in one.channels]
        for alike in _alike(list(range(len(shapes))), lambda index: shapes[index]):

            def kept(source: int, goal: int) -> int:
                return self._kept(one.channels[source].slots, other.channels[goal].slots)

            for source, goal in _matched(alike, kept):
                total += kept(source, goal)
                slots |= dict(zip(one.channels[source].slots, other.channels[goal].slots, strict=True))
        return total, slots

    def _kept(self, starts: Sequence[str], goals: Sequence[str]) -> int:
        pairs = [(self.content.get(start), goal) for start, goal in zip(starts, goals, strict=True)]
        if any(module and goal in self.case.placement.hold for module, goal in pairs):
            return _FORBIDDEN
        return sum(module is not None and self.stay.get(goal) == module for module, goal in pairs)


def _alike(indexes: Sequence[int], look: Callable[[int], object]) -> list[list[int]]:
    """Indexes of one look together."""
    found: dict[object, list[int]] = {}
    for index in indexes:
        found.setdefault(look(index), []).append(index)
    return list(found.values())


def _matched(alike: Sequence[int], worth: Callable[[int, int], int]) -> list[tuple[int, int]]:
    """The pairing of equal things that is worth most in all."""
    if len(alike) <= _MOST_PERMUTED:
        orders = itertools.permutations(alike)
        best = max(orders, key=lambda order: sum(worth(a, b) for a, b in zip(alike, order, strict=True)))
        return list(zip(alike, best, strict=True))
    import networkx  # noqa: PLC0415 - heavy; only where many equal things trade places

    graph: Any = networkx.Graph()
    for one, other in itertools.product(alike, alike):
        graph.add_edge(("from", one), ("to", other), weight=worth(one, other))
    matched = networkx.max_weight_matching(graph, maxcardinality=True)
    pairs = [pair if pair[0][0] == "from" else (pair[1], pair[0]) for pair in matched]
    return sorted((start[1], goal[1]) for start, goal in pairs)
