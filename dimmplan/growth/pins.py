"""Slots whose content is settled before a search begins: modules that stay, slots that nobody may fill.

A search over a ``PinnedSpace`` is as exact as any other: a channel with settled slots only has fewer loads.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence

from dimmplan.figures import is_low_rank
from dimmplan.model.board import Board, Channel, Socket
from dimmplan.model.module import Module
from dimmplan.model.request import Request, Supply
from dimmplan.rules import Content, judge_channel, ranks_of
from dimmplan.solve.space import ChannelShape, Load, Rows, SocketShape, Space

Pins = Mapping[str, frozenset[Module | None]]
"""What a slot may hold; a slot that is not named may hold anything."""

_Slots = tuple[frozenset[Module | None] | None, ...]
_FIRST_PIN = 1 << 20
"""Pinned channels are told apart by a number of at most minus this, among the numbers of their groups."""


def staying(content: Content) -> Pins:
    """Every module stays where it is; empty slots are open."""
    return {slot: frozenset({module}) for slot, module in content.items() if module}


def closed(slots: Iterable[str]) -> Pins:
    """Slots that are not filled."""
    return dict.fromkeys(slots, frozenset({None}))


def within(board: Board, content: Content) -> Pins:
    """Nothing but some of what the content has, each module in its slot."""
    return {slot: frozenset({None, content.get(slot)}) for slot in board.slots}


def all_of(*pins: Pins) -> Pins:
    """What every one of the pins allows."""
    found: dict[str, frozenset[Module | None]] = {}
    for each in pins:
        for slot, allowed in each.items():
            found[slot] = found[slot] & allowed if slot in found else allowed
    return found


class PinnedSpace(Space):
    """The space of a request whose pinned slots hold only what their pins allow."""

    def __init__(self, board: Board, request: Request, pins: Pins) -> None:
        super().__init__(board, request)
        self.pins = all_of(pins, {slot: pins[other] for slot, other in self.partner.items() if other in pins})
        """Of two slots that hold the same, the pins of both stand at the first."""
        self._pinned: list[_Slots] = []

    def _use(self, supplies: list[Supply]) -> None:
        super()._use(supplies)
        self._every: dict[ChannelShape, tuple[Load, ...]] = {}
        self._within_pins: dict[tuple[ChannelShape, Rows], tuple[Load, ...]] = {}

    def on(self, board: Board, request: Request) -> PinnedSpace:
        """The space of another board and request with the same pins."""
        return PinnedSpace(board, request, self.pins)

    def possible(self) -> bool:
        """As in ``Space``; and no slot that the mode leaves empty has to hold a module."""
        open_slots = {each for socket in self.sockets for slot in socket.slots for each in self.both(slot)}
        closed_ones = {slot for socket in self.wired for slot in socket.slots} - open_slots
        return super().possible() and all(None in self.pins[slot] for slot in closed_ones if slot in self.pins)

    def permits(self, content: Content) -> bool:
        """False where a slot holds what its pins forbid."""
        return all(content.get(slot) in allowed for slot, allowed in self.pins.items() if slot in content)

    # -- shapes: only channels with equal pins are interchangeable ---------------------------------------------------

    def _shape(self, socket: Socket) -> SocketShape:
        plain = super()._shape(socket)
        slots = [tuple(self.pins.get(slot) for slot in channel.slots) for channel in socket.channels]
        shape = self._with_pins(plain, slots)
        if shape != plain:
            self._sockets_of_shape.setdefault(shape, []).append(socket)
        return shape

    def joined_shape(self, shapes: Sequence[SocketShape]) -> SocketShape | None:
        """As in ``Space``; what is pinned at one socket is then pinned at all of them."""
        joined = super().joined_shape(shapes)
        if joined is None:
            return None
        columns = zip(*([channel.slots for channel in socket.channels] for socket in self.sockets), strict=True)
        slots = [tuple(self._allowed_at(names) for names in zip(*column, strict=True)) for column in columns]
        shape = self._with_pins(joined, slots)
        self._sockets_of_shape[shape] = list(self.sockets)
        return shape

    def _allowed_at(self, slots: Iterable[str]) -> frozenset[Module | None] | None:
        pins = [self.pins[slot] for slot in slots if slot in self.pins]
        return frozenset.intersection(*pins) if pins else None

    def _with_pins(self, shape: SocketShape, slots: list[_Slots]) -> SocketShape:
        each = iter(slots)
        controllers = tuple(
            tuple(self._pin(channel, next(each)) for channel in controller) for controller in shape.controllers
        )
        return shape._replace(controllers=controllers)

    def _pin(self, shape: ChannelShape, slots: _Slots) -> ChannelShape:
        free = tuple(number for number in shape.membership if number > -_FIRST_PIN)
        if not any(slot is not None for slot in slots):
            return shape._replace(membership=free)
        if slots not in self._pinned:
            self._pinned.append(slots)
        return shape._replace(membership=(*free, -_FIRST_PIN - self._pinned.index(slots)))

    def _pins_of(self, shape: ChannelShape) -> _Slots:
        number = next((number for number in shape.membership if number <= -_FIRST_PIN), None)
        return (None,) * shape.slots if number is None else self._pinned[-_FIRST_PIN - number]

    def code_of(self, content: Content) -> int:
        """The count code of a placement."""
        counts = Counter(module for socket in self.wired for slot in socket.slots if (module := content.get(slot)))
        loads = ([m for slot in ch.slots if (m := content.get(slot))] for s in self.wired for ch in s.channels)
        code = self.code((index, counts[module]) for index, module in enumerate(self.types))
        lost: int = sum(map(self.loss, loads)) * self.loss_place
        return code + lost

    # -- loads -----------------------------------------------------------------------------------------------------

    def loads(self, shape: ChannelShape, may_break: Rows) -> tuple[Load, ...]:
        """Every way to load a channel of that shape, as far as its pins allow, best first.

        One load for each set of modules; all of them where channels are to mirror, since a pin may want another order.
        """
        if self._pins_of(shape) == (None,) * shape.slots:
            return super().loads(shape, may_break)
        key = (shape, may_break)
        if key not in self._within_pins:
            best: dict[object, Load] = {}
            for load in self.arrangements(shape, may_break):
                best.setdefault((load.code, load.board_order if self.mirroring else b""), load)
            self._within_pins[key] = tuple(best.values())
        return self._within_pins[key]

    def arrangements(self, shape: ChannelShape, may_break: Rows = frozenset()) -> tuple[Load, ...]:
        """Every legal way to load a channel, slot by slot, in board order: the same modules in another order too."""
        if may_break:
            return tuple(self._arrange(shape, may_break))
        if shape not in self._every:
            self._every[shape] = tuple(self._arrange(shape, may_break))
        return self._every[shape]

    def _arrange(self, shape: ChannelShape, may_break: Rows) -> Iterator[Load]:
        rows = self.enforced_of("channel", may_break)
        channel = Channel(id="", socket="", controller="", slots=tuple(str(i) for i in range(shape.slots)))
        pins = self._pins_of(shape)
        filled = shape.pattern or (None,) * shape.slots
        choices = [
            [
                kind
                for kind in (*range(len(self.types)), None)
                if (pin is None or (None if kind is None else self.types[kind]) in pin)
                and must in (None, kind is not None)
            ]
            for pin, must in zip(pins, filled, strict=True)
        ]
        for chosen in itertools.product(*choices):
            load = tuple(None if kind is None else self.types[kind] for kind in chosen)
            if not any(judge_channel(rows, channel, load)):
                yield from self._load(shape, chosen)

    def _load(self, shape: ChannelShape, chosen: tuple[int | None, ...]) -> Iterator[Load]:
        """The load of a channel, unless it does not run or has too few ranks for its mode."""
        kinds = [kind for kind in chosen if kind is not None]
        modules = [self.types[kind] for kind in kinds]
        if self.sparing is not None and 0 < sum(ranks_of(self.sparing, m) for m in modules) < self.sparing.min_ranks:
            return
        rate = self.rate_of(shape, modules)
        if modules and not rate:
            return
        loss = self.loss(modules)
        yield Load(
            code=self.code((kind, self.width) for kind in kinds) + loss * self.loss_place,
            gib=self.width * sum(self.weights[kind] for kind in kinds) - loss,
            rate=rate,
            low_rank=is_low_rank(modules),
            board_order=bytes(0 if kind is None else len(self.types) - kind for kind in chosen),
        )
