"""The shapes of sockets and channels: what decides how they may be populated.

Equal shapes have equal populations. That symmetry is what keeps the exact search small: what is worked out for one
socket holds for all of its shape, and of placements that differ only by equal parts that trade, one is looked at.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from typing import NamedTuple

from dimmplan.interleave import Permitted, folded, permitted_sets
from dimmplan.model.board import Board, Channel, Socket
from dimmplan.model.module import Module
from dimmplan.model.request import Request
from dimmplan.model.rows import ProcessorOption
from dimmplan.rules import Content, ModeRow, Populations, Rule, Scope

Pattern = tuple[bool, ...] | None
"""Which slots of a channel must be filled, where a prescribed order says so."""

Pins = Mapping[str, frozenset[Module | None]]
"""What a slot may hold, settled before the search; a slot that is not named may hold anything."""

CLOSE: tuple[Scope, ...] = ("channel", "controller", "socket")
"""Where a row may look closer than at counts."""


class ChannelShape(NamedTuple):
    """What decides how a channel may be loaded: two channels of one shape in one controller are interchangeable."""

    slots: int
    membership: tuple[int, ...]
    """The listed groups of channels that it is in."""
    pattern: Pattern = None
    processors: tuple[str, ...] = ()
    """The options that the channel must run with, where sockets have different ones."""
    pins: tuple[frozenset[Module | None] | None, ...] = ()
    """What each slot may hold, where that is settled for some."""
    sizes: tuple[int, ...] = ()
    """The slots of each channel of a pair in lockstep; empty for a channel that works by itself."""
    lying: tuple[tuple[Module, ...], ...] = ()
    """What lies in each slot already, where it is asked what stays."""
    names: tuple[str, ...] = ()
    """Its name where a row tells it from others, and the names of channels that have to hold the same."""


Controllers = tuple[tuple[ChannelShape, ...], ...]


class SocketShape(NamedTuple):
    """What decides how a socket may be populated: equal shapes have equal populations."""

    controllers: Controllers
    rules: tuple[str, ...]
    permitted: Permitted
    idle: int = 0
    """Controllers beside these, on which no channel can be filled in the mode."""


class Shapes:
    """The shapes of the fitted sockets of a request.

    In lockstep each pair of channels is one channel of ``sockets``, with the slots of the first; a load of it counts
    for both. ``symmetry=False`` gives every channel a shape of its own.
    """

    def __init__(
        self,
        board: Board,
        request: Request,
        rows: Sequence[Rule],
        *,
        mode_row: ModeRow | None,
        pins: Pins,
        lying: Content,
        symmetry: bool,
    ) -> None:
        self.board = board
        self.request = request
        self.rows = rows
        self.mode_row = mode_row
        self.pins = pins
        self.lying = lying
        self.symmetry = symmetry
        self.option: ProcessorOption | None = board.processor(request.processor)
        self.wired: list[Socket] = [socket for socket in board.sockets if socket.id in request.fitted]
        """The fitted sockets as they are."""
        self.partner: dict[str, str] = {}
        """In lockstep the slot of the other channel that holds the same."""
        self.sockets: list[Socket] = [self._folded(socket) for socket in self.wired]
        self._sockets_of: dict[SocketShape, tuple[Socket, ...]] = {}

    @cached_property
    def each(self) -> list[SocketShape]:
        """The shape of each fitted socket, in board order."""
        return [self._shape(socket) for socket in self.sockets]

    def sockets_of(self, shape: SocketShape) -> tuple[Socket, ...]:
        """One socket of a shape, or all that have to have it in common."""
        return self._sockets_of[shape]

    def _known(self, shape: SocketShape, *sockets: Socket) -> SocketShape:
        self._sockets_of.setdefault(shape, sockets)
        return shape

    # -- lockstep --------------------------------------------------------------------------------------------------

    def _pairs(self, socket: Socket) -> list[tuple[Channel, Channel]]:
        """The channels of a fitted socket that work as one."""
        return self.mode_row.pairs_of(self.board.socket(socket.id)) if self.mode_row else []

    def _folded(self, socket: Socket) -> Socket:
        """The socket with one channel for each pair that works in lockstep, and no others."""
        if self.mode_row is None or not self.mode_row.folds:
            return socket
        pairs = self._pairs(socket)
        for one, other in pairs:
            self.partner |= dict(zip(one.slots, other.slots, strict=False))
        first = {one.id for one, _ in pairs}
        return socket.with_slots(lambda channel, slot: channel.id in first and slot in self.partner)

    def both(self, slot: str) -> tuple[str, ...]:
        """A slot of ``sockets``, and the one that holds the same."""
        return (slot, self.partner[slot]) if slot in self.partner else (slot,)

    def _permitted(self, socket: Socket) -> Permitted:
        """The permitted sets of the channels of a socket; of pairs in lockstep, as of single channels."""
        real = self.board.socket(socket.id)
        if real == socket:
            return permitted_sets(self.board.interleave, socket)
        places = {channel.id: place for place, channel in enumerate(real.channels)}
        kept = {channel.id for channel in socket.channels}
        pairs = [[places[channel.id] for channel in pair] for pair in self._pairs(socket) if pair[0].id in kept]
        return folded(permitted_sets(self.board.interleave, real), pairs)

    # -- a shape ---------------------------------------------------------------------------------------------------

    def _shape(self, socket: Socket) -> SocketShape:
        permitted = self._permitted(socket)
        processor = self._processor(socket)
        sizes = {one.id: (len(one.slots), len(other.slots)) for one, other in self._pairs(socket)}
        rows = [row for row in self.rows if not row.only_at or socket.id in row.only_at]
        rows = [row for row in rows if any(row.judged_at(scope) for scope in CLOSE)]
        named = not self.symmetry or self._read_by_slot(socket.id)
        places = iter(range(len(socket.channels)))

        def of_channel(channel: Channel) -> ChannelShape:
            place = next(places)
            return ChannelShape(
                slots=len(channel.slots),
                membership=tuple(g for g, group in enumerate(permitted.groups) if place in group.channels),
                processors=processor,
                pins=self._pinned(channel),
                lying=self._lying(channel),
                sizes=sizes.get(channel.id, ()),
                names=(channel.name,) if named else (),
            )

        controllers = tuple(tuple(map(of_channel, controller.channels)) for controller in socket.controllers)
        rules = (*(row.id for row in rows), *self._prescribed(socket), *processor)
        idle = len(self.board.socket(socket.id).controllers) - len(controllers)
        return self._known(SocketShape(controllers, rules, permitted, idle), socket)

    def _pinned(self, *channels: Channel) -> tuple[frozenset[Module | None] | None, ...]:
        """What the slots of a channel may hold, or of several that hold the same; nothing where none is settled."""
        found = []
        for slots in zip(*(channel.slots for channel in channels), strict=True):
            pins = [self.pins[each] for slot in slots for each in self.both(slot) if each in self.pins]
            found.append(frozenset.intersection(*pins) if pins else None)
        return tuple(found) if any(each is not None for each in found) else ()

    def _lying(self, *channels: Channel) -> tuple[tuple[Module, ...], ...]:
        """What lies in the slots of a channel, or of several that hold the same; nothing where all are empty."""
        found = [
            tuple(module for slot in slots for each in self.both(slot) if (module := self.lying.get(each)))
            for slots in zip(*(channel.slots for channel in channels), strict=True)
        ]
        return tuple(found) if any(found) else ()

    def _processor(self, socket: Socket) -> tuple[str, ...]:
        """The processor of a socket, where sockets have different ones."""
        differ = self.option is not None and len(self.option.each) > 1
        return (self.option.at(socket.id).id,) if self.option is not None and differ else ()

    def joined(self, shapes: Sequence[SocketShape]) -> SocketShape | None:
        """One shape that obeys the rules of every fitted socket; ``None`` where they cannot be populated alike.

        What is settled at one socket is then settled at all of them.
        """
        patterns = {tuple(channel.pattern for part in shape.controllers for channel in part) for shape in shapes}
        if len(patterns) > 1 or any(socket.build != self.wired[0].build for socket in self.wired):
            return None
        rules = tuple(sorted({rule for shape in shapes for rule in shape.rules}))

        def common(its: Sequence[ChannelShape], channels: Sequence[Channel]) -> ChannelShape:
            return its[0]._replace(
                processors=tuple(sorted({name for each in its for name in each.processors})),
                pins=self._pinned(*channels),
                lying=self._lying(*channels),
                names=tuple(name for each in its for name in each.names),
            )

        of_places = zip(*(shape.controllers for shape in shapes), strict=True)
        there = zip(*(socket.controllers for socket in self.sockets), strict=True)
        controllers = tuple(
            tuple(map(common, zip(*its, strict=True), zip(*(each.channels for each in at), strict=True)))
            for its, at in zip(of_places, there, strict=True)
        )
        return self._known(shapes[0]._replace(controllers=controllers, rules=("joined", *rules)), *self.sockets)

    # -- slots that rows prescribe -----------------------------------------------------------------------------------

    def _populations(self, socket: str | None, rows: Iterable[Rule]) -> list[Populations]:
        """What rows prescribe of the slots of a socket, or of the whole machine."""
        there = self.board.served
        found: list[Populations] = []
        for row in rows:
            populations = row.populations(socket, self.request.fitted, self.request.mode)
            if populations is not None:
                left = [slots & there if row.passes_over else slots for slots in populations.values()]
                found.append({len(slots): slots for slots in left if slots <= there})
        return found

    def tell_slots_apart(self, socket: str) -> bool:
        """True where a row says which slots of a socket are filled, or looks at them by their names."""
        return self._read_by_slot(socket) or bool(
            self._populations(socket, self.rows) or self._populations(None, self.rows)
        )

    def _read_by_slot(self, socket: str) -> bool:
        """True where a row looks at slots or channels of a socket by their names."""
        rows = [row for row in self.rows if not row.only_at or socket in row.only_at]
        return any(row.reads(scope) == "slots" for row in rows for scope in CLOSE if row.judged_at(scope))

    def _prescribed(self, socket: Socket) -> Iterator[str]:
        """What rows prescribe of a socket's slots, by their places in it: the same for all sockets of one shape."""
        slots = self.board.socket(socket.id).slots
        for populations in self._populations(socket.id, self.rows):
            yield str([(count, sorted(map(slots.index, populations[count]))) for count in sorted(populations)])

    def layouts(self, rows: Sequence[Rule]) -> Iterator[list[SocketShape]]:
        """The shapes of the fitted sockets; once for each number of modules where a table fills the whole machine."""
        tables = self._populations(None, rows)
        if not tables:
            yield self.each
            return
        there = {slot for socket in self.wired for slot in socket.slots}
        for count in sorted(set.intersection(*map(set, tables))):
            filled = {populations[count] for populations in tables}
            if len(filled) == 1 and (slots := filled.pop()) <= there:
                found = []
                for shape, socket in zip(self.each, self.sockets, strict=True):
                    controllers = self._patterned(shape, socket, slots)
                    if controllers is None:
                        break
                    found.append(self._known(shape._replace(controllers=controllers), socket))
                else:
                    yield found

    def variants(self, shape: SocketShape, rows: Sequence[Rule]) -> list[Controllers]:
        """The controllers of a shape; one variant for each number of modules where an order is prescribed."""
        orders = [(socket, each) for socket in self.sockets_of(shape) for each in self._populations(socket.id, rows)]
        if not orders:
            return [shape.controllers]
        found: list[Controllers] = []
        for count in sorted(set.intersection(*(set(populations) for _, populations in orders))):
            patterns = {self._patterned(shape, socket, populations[count]) for socket, populations in orders}
            found += [pattern for pattern in patterns if pattern is not None and len(patterns) == 1]
        return found

    def _patterned(self, shape: SocketShape, socket: Socket, filled: frozenset[str]) -> Controllers | None:
        """The controllers of a shape with just those slots to be filled; ``None`` where others must be filled."""
        here = filled.intersection(self.board.socket(socket.id).slots)
        if here != {each for slot in socket.slots if slot in filled for each in self.both(slot)}:
            return None
        found: list[tuple[ChannelShape, ...]] = []
        for shapes, controller in zip(shape.controllers, socket.controllers, strict=True):
            patterns = [tuple(slot in filled for slot in channel.slots) for channel in controller.channels]
            if any(its.pattern not in (None, new) for its, new in zip(shapes, patterns, strict=True)):
                return None
            found.append(tuple(its._replace(pattern=new) for its, new in zip(shapes, patterns, strict=True)))
        return tuple(found)
