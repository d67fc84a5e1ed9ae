"""Among equal answers the one in which most modules stay where they lie: equal parts of a board trade places.

Equal channels of a controller, equal controllers of a socket and equal sockets may hold each other's modules: the
figures stay the same. Which part takes the content of which is an assignment, nested level by level, so the answer is
exact: no exchange of equal parts leaves more modules in their slots. Of those that leave as many, the first in board
order is given.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import replace
from typing import Any, NamedTuple, cast

from dimmplan.model.board import Board, Channel
from dimmplan.model.module import Module
from dimmplan.model.request import Request
from dimmplan.solve.criteria import CRITERIA, vector_of
from dimmplan.solve.shapes import ChannelShape
from dimmplan.solve.space import Space

Content = Mapping[str, Module | None]

_FORBIDDEN = -(10**6)
"""Worth of a module on a slot on hold: no number of modules that stay makes up for it."""
_Value = tuple[int, ...]
"""What a slot holds at each step, as ranks of modules in board order; 0 is empty."""


def most_staying(
    board: Board, request: Request, contents: Sequence[Content], lying: Content, *, hold: Iterable[str] = ()
) -> list[Content]:
    """The placements (one, or the steps of a chain) with equal parts exchanged so that most modules of ``lying`` stay.

    Counted are the modules of the first placement. Where a rule names slots, the same slots stay filled; slots on hold
    stay empty, as they are in ``contents``.
    """
    used = {module for content in contents for module in content.values()} | set(lying.values())
    space = Space(board, replace(request, supplies=tuple(s for s in request.supplies if s.module in used)))
    every = {socket.id for socket in space.sockets}
    named = {socket_id for socket_id in every if space.shapes.tell_slots_apart(socket_id)}
    for as_filled in (named, every):
        found = _Exchange(space, contents, lying, hold=frozenset(hold), as_filled=as_filled).best()
        if all(_worth(space, one) == _worth(space, other) for one, other in zip(contents, found, strict=True)):
            return found
    return list(contents)


def _worth(space: Space, content: Content) -> object:
    return vector_of(space, CRITERIA.values(), content)


class _Part(NamedTuple):
    """The machine, a socket, a controller or a channel; parts of one key may trade places.

    A channel has ``slots`` instead of parts: at each place one slot, or one of each socket where the sockets have to
    hold the same.
    """

    key: object
    parts: tuple[_Part, ...] = ()
    slots: tuple[tuple[str, ...], ...] = ()


class _Fit(NamedTuple):
    """The content of one part put into another: modules that stay, and what its slots then hold in board order."""

    stays: int
    values: tuple[_Value, ...]


class _Exchange:
    """The exchange of equal parts for some placements; sockets in ``as_filled`` keep the same slots filled."""

    def __init__(
        self,
        space: Space,
        contents: Sequence[Content],
        lying: Content,
        *,
        hold: frozenset[str],
        as_filled: AbstractSet[str],
    ) -> None:
        self.space = space
        self.contents = contents
        self.hold = hold
        self.as_filled = as_filled
        ranks = {module: len(space.types) - index for index, module in enumerate(space.types)}
        slots = [slot for socket in space.wired for slot in socket.slots]
        self.values: dict[str, _Value] = {
            slot: tuple(ranks[module] if (module := content.get(slot)) else 0 for content in contents) for slot in slots
        }
        self.lying = {slot: ranks.get(module, 0) for slot in slots if (module := lying.get(slot))}
        self._fits: dict[tuple[int, int], _Fit] = {}
        self._arranged: dict[tuple[ChannelShape, tuple[_Value, ...]], list[tuple[_Value, ...]]] = {}

    def best(self) -> list[Content]:
        """The placements after the best exchange."""
        whole = self._whole()
        values = self._fit(whole, whole).values
        slots = [place for socket in whole.parts for part in socket.parts for ch in part.parts for place in ch.slots]
        found: list[dict[str, Module | None]] = [dict(content) for content in self.contents]
        types = self.space.types
        for place, value in zip(slots, values, strict=True):
            for content, rank in zip(found, value, strict=True):
                content.update(dict.fromkeys(place, types[len(types) - rank] if rank else None))
        return list(found)

    # -- the parts -------------------------------------------------------------------------------------------------

    def _whole(self) -> _Part:
        space = self.space
        held = {tuple(self.values[slot] for slot in socket.slots) for socket in space.sockets}
        tied = len(held) == 1 and "population" in space.alike(frozenset())
        groups = [space.sockets] if tied else [[socket] for socket in space.sockets]
        shapes = [space.shapes.joined(space.shapes.each)] if tied else space.shapes.each
        sockets = []
        for group, shape in zip(groups, shapes, strict=True):
            if shape is None:
                continue
            controllers = []
            for place, channel_shapes in enumerate(shape.controllers):
                of_each = [socket.controllers[place].channels for socket in group]
                channels = [
                    self._channel(channel_shape, self._places(column))
                    for channel_shape, *column in zip(channel_shapes, *of_each, strict=True)
                ]
                controllers.append(_joined("controller", channels))
            sockets.append(_joined((shape.rules, shape.permitted), controllers))
        return _joined("machine", sockets)

    def _places(self, column: Sequence[Channel]) -> tuple[tuple[str, ...], ...]:
        """The slots of a channel, each with those that hold the same."""
        rows = zip(*(channel.slots for channel in column), strict=True)
        return tuple(tuple(each for slot in row for each in self.space.both(slot)) for row in rows)

    def _channel(self, shape: ChannelShape, slots: tuple[tuple[str, ...], ...]) -> _Part:
        filled: object = None
        if self.space.board.channel_of[slots[0][0]].socket in self.as_filled:
            filled = tuple(tuple(map(bool, self.values[place[0]])) for place in slots)
        return _Part(key=(shape, filled), slots=slots)

    # -- putting one part's content into another ---------------------------------------------------------------------

    def _fit(self, source: _Part, goal: _Part) -> _Fit:
        key = id(source), id(goal)
        if key not in self._fits:
            self._fits[key] = self._fit_parts(source, goal) if goal.parts else self._fit_channel(source, goal)
        return self._fits[key]

    def _fit_parts(self, source: _Part, goal: _Part) -> _Fit:
        chosen: dict[int, _Fit] = {}
        for key in dict.fromkeys(part.key for part in goal.parts):
            goals = [index for index, part in enumerate(goal.parts) if part.key == key]
            sources = [part for part in source.parts if part.key == key]
            fits = [[self._fit(part, goal.parts[index]) for part in sources] for index in goals]
            for index, row, place in zip(goals, fits, _assigned(fits), strict=True):
                chosen[index] = row[place]
        ordered = [chosen[index] for index in range(len(goal.parts))]
        return _Fit(sum(fit.stays for fit in ordered), tuple(value for fit in ordered for value in fit.values))

    def _fit_channel(self, source: _Part, goal: _Part) -> _Fit:
        return max(
            _Fit(sum(self._staying(place, value) for place, value in zip(goal.slots, values, strict=True)), values)
            for values in self._arrangements(source)
        )

    def _staying(self, place: Iterable[str], value: _Value) -> int:
        if any(value) and not self.hold.isdisjoint(place):
            return _FORBIDDEN
        return sum(value[0] > 0 and self.lying.get(slot) == value[0] for slot in place)

    def _arrangements(self, source: _Part) -> list[tuple[_Value, ...]]:
        """Every order in which the rules let a channel hold its modules; a chain's channel keeps its own."""
        shape, filled = cast("tuple[ChannelShape, object]", source.key)
        values = tuple(self.values[place[0]] for place in source.slots)
        if len(self.contents) > 1 or len(set(values)) == 1:
            return [values]
        key = shape, values
        if key not in self._arranged:
            self._arranged[key] = [values, *(each for each in self._legal(shape, values) if each != values)]
        if filled is None:
            return self._arranged[key]
        return [each for each in self._arranged[key] if tuple(tuple(map(bool, value)) for value in each) == filled]

    def _legal(self, shape: ChannelShape, values: tuple[_Value, ...]) -> Iterator[tuple[_Value, ...]]:
        wanted = sorted(values)
        for load in self.space.loads(shape, frozenset(), every_order=True):
            each = tuple((rank,) for rank in load.board_order)
            if sorted(each) == wanted:
                yield each


def _joined(key: object, parts: Sequence[_Part]) -> _Part:
    return _Part(key=(key, frozenset(Counter(part.key for part in parts).items())), parts=tuple(parts))


def _assigned(fits: Sequence[Sequence[_Fit]]) -> list[int]:
    """For each goal the source whose content it takes: most stay in all, then the first in board order.

    A weight is a whole number: above all what stays, below it one digit for each goal, the first goal's the highest.
    """
    count = len(fits)
    if all(fit == row[0] for row in fits for fit in row):
        return list(range(count))
    import networkx  # noqa: PLC0415 - heavy; only where parts that differ trade places

    orders = {values: rank for rank, values in enumerate(sorted({fit.values for row in fits for fit in row}))}
    base = len(orders)
    graph: Any = networkx.Graph()
    for goal, row in enumerate(fits):
        for source, fit in enumerate(row):
            order = orders[fit.values] * base ** (count - 1 - goal)
            graph.add_edge(("goal", goal), ("source", source), weight=fit.stays * base**count + order)
    pairs = dict(sorted(pair) for pair in networkx.max_weight_matching(graph, maxcardinality=True))
    return [pairs["goal", goal][1] for goal in range(count)]
