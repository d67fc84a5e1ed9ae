"""The space to search, compiled from a board and a request: shapes of sockets, loads of channels, counts of modules.

Equal channels, controllers and sockets have equal shapes; that symmetry is what keeps the exact search small. A
number of modules of each type is carried as one integer, the *count code*: codes add up as counts do.
"""

from __future__ import annotations

import copy
import itertools
import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import cached_property
from types import MappingProxyType
from typing import NamedTuple

from dimmplan.figures import is_low_rank
from dimmplan.interleave import Permitted, folded, permitted_sets
from dimmplan.model.board import Board, Channel, Socket
from dimmplan.model.module import Module
from dimmplan.model.request import Mode, Request, Supply
from dimmplan.model.rows import ProcessorOption
from dimmplan.rates import channel_rate
from dimmplan.rules import (
    AlikeRow,
    Breach,
    Content,
    FittedRow,
    LockstepRow,
    MirroringRow,
    MixRow,
    PartialMirroringRow,
    Populations,
    Rule,
    Scope,
    SocketView,
    SparingRow,
    SystemView,
    all_rows,
    judge_channel,
    judge_module,
    judge_socket,
    judge_system,
    mode_row,
    of_kind,
    ranks_of,
    rows_of_scope,
    usable_gib,
    value_of,
)
from dimmplan.units import Gib, whole

Rows = frozenset[str]
"""Ids of advised rows that may be broken; every other row is enforced."""

Pattern = tuple[bool, ...] | None
"""Which slots of a channel must be filled, where a prescribed order says so."""

Pins = Mapping[str, frozenset[Module | None]]
"""What a slot may hold, settled before the search; a slot that is not named may hold anything."""


class ChannelShape(NamedTuple):
    """What decides how a channel may be loaded: two channels of one shape in one controller are interchangeable."""

    slots: int
    membership: tuple[int, ...]
    pattern: Pattern = None
    processors: tuple[str, ...] = ()
    """The options that the channel must run with, where sockets have different ones."""
    pins: tuple[frozenset[Module | None] | None, ...] = ()
    """What each slot may hold, where that is settled for some."""
    sizes: tuple[int, ...] = ()
    """The slots of each channel of a pair in lockstep; empty for a channel that works by itself."""


class SocketShape(NamedTuple):
    """What decides how a socket may be populated: equal shapes have equal populations."""

    controllers: tuple[tuple[ChannelShape, ...], ...]
    rules: tuple[str, ...]
    permitted: Permitted

    @property
    def channels(self) -> int:
        """Number of channels."""
        return sum(len(controller) for controller in self.controllers)


class Load(NamedTuple):
    """One way to load a channel. ``board_order`` orders loads as board order does: greater comes first."""

    code: int
    gib: int
    rate: int
    low_rank: bool
    board_order: bytes


class Space:
    """Everything that a search over one request asks about; pure look-ups, cached.

    A channel with settled slots (``pins``) only has fewer loads. In lockstep each pair of channels is one channel of
    ``sockets``, with the slots of the first; a load of it counts for both. ``symmetry=False`` treats every channel and
    socket as one of its own; the answer is the same, only slower.
    """

    def __init__(
        self, board: Board, request: Request, pins: Pins = MappingProxyType({}), *, symmetry: bool = True
    ) -> None:
        self.symmetry = symmetry
        self.pins = pins
        self.request = request
        self.option: ProcessorOption | None = board.processor(request.processor)
        self.board = board = board.serving(self.option)
        self.rows: list[Rule] = all_rows(board, self.option)
        self.mode_row = mode_row(board, request.mode)
        self.wired: list[Socket] = [socket for socket in board.sockets if socket.id in request.fitted]
        """The fitted sockets as they are."""
        self.partner: dict[str, str] = {}
        """In lockstep the slot of the other channel that holds the same."""
        self.sockets: list[Socket] = [self._folded(socket) for socket in self.wired]
        self.width = 2 if isinstance(self.mode_row, LockstepRow) else 1
        """How many channels a channel of ``sockets`` stands for."""
        self.slot_count = sum(len(socket.slots) for socket in self.wired)
        self.base = self.slot_count + 1
        enforced = [row for row in self.rows if row.severity == "error"]
        usable = [s for s in request.supplies if not any(judge_module(enforced, s.module))]
        self.types: list[Module] = sorted((each.module for each in usable), key=lambda module: module.order_key)
        self.rate_unit = math.lcm(*board.rates_mts)
        self.peak_unit = 8 * self.rate_unit * (self.mode_row.peak if self.mode_row else 1)
        """GB/s x 1000 of a channel, times its time for one GiB."""
        row = self.mode_row
        self.mirroring = row if isinstance(row, MirroringRow | PartialMirroringRow) else None
        self.sparing = row if isinstance(row, SparingRow) else None
        self.scale = self._scale()
        """Capacities are carried in GiB times this, so that what a mode leaves stays whole."""
        self._variants: dict[tuple[SocketShape, Rows], list[tuple[tuple[ChannelShape, ...], ...]]] = {}
        self._enforced: dict[Rows, list[Rule]] = {}
        self._enforced_of: dict[tuple[str, Rows], list[Rule]] = {}
        self._sockets_of_shape: dict[SocketShape, list[Socket]] = {}
        self._use(sorted(usable, key=lambda supply: supply.module.order_key))

    def _use(self, supplies: list[Supply]) -> None:
        """Take these supplies as the types of the space, and forget what was known of others."""
        self.supplies = supplies
        self.types = [supply.module for supply in supplies]
        used = {supply.module for supply in supplies}
        self.kept_elsewhere = sum(each.kept for each in self.request.supplies if each.module not in used)
        """Kept modules of other types, such as those that the board refuses: discarded whatever is chosen."""
        self.weights = [self._weight(module) for module in self.types]
        self.loss_place = self.base ** len(self.types)
        """Place value of what rank sparing takes, as the top digit of a count code."""
        self._loads: dict[tuple[ChannelShape, Rows, bool], tuple[Load, ...]] = {}
        self._gib: dict[int, int] = {}
        self._allowed: dict[tuple[SocketShape, int, Rows], bool] = {}
        self._breaches: dict[int, list[Breach]] = {}
        self._mixes: dict[int, tuple[object, ...]] = {}
        self._best_rates: dict[int, tuple[int, ...]] = {}

    def of_types(self, types: Sequence[int]) -> Space:
        """The same space with just some of its types; what does not depend on types is shared."""
        _ = self.shapes, self.advised, self.channel_count
        found = copy.copy(self)
        found._use([self.supplies[kind] for kind in types])
        return found

    def _folded(self, socket: Socket) -> Socket:
        """The socket with one channel for each pair that works in lockstep, and no others."""
        if not isinstance(self.mode_row, LockstepRow):
            return socket
        paired = {one.id: (one, other) for one, other in self.mode_row.pairs_of(socket)}
        for one, other in paired.values():
            self.partner |= dict(zip(one.slots, other.slots, strict=False))
        return socket.with_slots(lambda channel, slot: channel.id in paired and slot in self.partner)

    def both(self, slot: str) -> tuple[str, ...]:
        """A slot of ``sockets``, and the one that holds the same."""
        return (slot, self.partner[slot]) if slot in self.partner else (slot,)

    def _scale(self) -> int:
        if isinstance(self.mode_row, MirroringRow):
            return 2
        if self.sparing is not None:
            return math.lcm(*(ranks_of(self.sparing, module) for module in self.types))
        return 1

    def _weight(self, module: Module) -> int:
        """Scaled usable capacity that one module brings, before rank sparing takes its share."""
        halved = isinstance(self.mode_row, MirroringRow)
        return module.capacity_gib if halved else module.capacity_gib * self.scale

    def loss(self, modules: Sequence[Module]) -> int:
        """What rank sparing takes from a channel with these modules, scaled."""
        if self.sparing is None or not modules:
            return 0
        usable = usable_gib(self.board, Mode.SPARING, modules)
        return int((sum(module.capacity_gib for module in modules) - usable) * self.scale)

    def loss_step(self, types: Iterable[int]) -> int:
        """What every loss of rank sparing is a multiple of, with modules of these types, scaled."""
        return math.gcd(*(self.loss([self.types[kind]]) for kind in types))

    def permits(self, content: Content) -> bool:
        """False where a slot holds what its pins forbid."""
        return all(content.get(slot) in allowed for slot, allowed in self.pins.items() if slot in content)

    def mode_possible(self) -> bool:
        """False where the board has no row for the mode asked, or a socket no channels that can work in it."""
        has_row = self.request.mode is Mode.INDEPENDENT or self.mode_row is not None
        return has_row and all(socket.channels for socket in self.sockets)

    @cached_property
    def advised(self) -> tuple[str, ...]:
        """Ids of the advised rows that a placement can break."""
        scopes = ("module", "channel", "socket", "system")
        judged = [row for scope in scopes for row in rows_of_scope(self.rows, scope)]  # type: ignore[arg-type]
        return tuple(sorted({row.id for row in judged if row.severity == "advised"}))

    @cached_property
    def shapes(self) -> list[SocketShape]:
        """The shape of each fitted socket, in board order."""
        return [self._shape(socket) for socket in self.sockets]

    @cached_property
    def channel_count(self) -> int:
        """Channels of all fitted sockets."""
        return sum(len(socket.channels) for socket in self.wired)

    def _shape(self, socket: Socket) -> SocketShape:
        permitted = self._permitted(socket)
        sizes = self._sizes(socket)
        membership: dict[str, tuple[int, ...]] = {}
        for index, channel in enumerate(socket.channels):
            groups = tuple(g for g, group in enumerate(permitted.groups) if index in group.channels)
            membership[channel.id] = groups if self.symmetry else (*groups, -1 - index)
        shape = SocketShape(
            controllers=tuple(
                tuple(
                    ChannelShape(
                        len(ch.slots),
                        membership[ch.id],
                        processors=self._processor(socket),
                        pins=self._pinned(ch),
                        sizes=sizes.get(ch.id, ()),
                    )
                    for ch in controller.channels
                )
                for controller in socket.controllers
            ),
            rules=(
                *(row.id for row in rows_of_scope(self.rows, "socket") if not row.only_at or socket.id in row.only_at),
                *self._prescribed(socket),
                *self._processor(socket),
                *(() if self.symmetry else (socket.id,)),
            ),
            permitted=permitted,
        )
        self._sockets_of_shape.setdefault(shape, []).append(socket)
        return shape

    def _pinned(self, *channels: Channel) -> tuple[frozenset[Module | None] | None, ...]:
        """What the slots of a channel may hold, or of several that hold the same; nothing where none is settled."""
        found = []
        for slots in zip(*(channel.slots for channel in channels), strict=True):
            pins = [self.pins[each] for slot in slots for each in self.both(slot) if each in self.pins]
            found.append(frozenset.intersection(*pins) if pins else None)
        return tuple(found) if any(each is not None for each in found) else ()

    def _permitted(self, socket: Socket) -> Permitted:
        """The permitted sets of the channels of a socket; of pairs in lockstep, as of single channels."""
        if not isinstance(self.mode_row, LockstepRow):
            return permitted_sets(self.board.interleave, socket)
        real = self.board.socket(socket.id)
        places = {channel.id: place for place, channel in enumerate(real.channels)}
        pairs = [[places[channel.id] for channel in pair] for pair in self._pairs(socket)]
        return folded(permitted_sets(self.board.interleave, real), pairs)

    def _pairs(self, socket: Socket) -> list[tuple[Channel, Channel]]:
        """The pairs of a socket in lockstep, in its order."""
        row, own = self.mode_row, {channel.id for channel in socket.channels}
        pairs = row.pairs_of(self.board.socket(socket.id)) if isinstance(row, LockstepRow) else []
        return [(one, other) for one, other in pairs if one.id in own]

    def _sizes(self, socket: Socket) -> dict[str, tuple[int, ...]]:
        """The slots of both channels of each pair, by the id of the first."""
        return {one.id: (len(one.slots), len(other.slots)) for one, other in self._pairs(socket)}

    @property
    def options(self) -> tuple[ProcessorOption | None, ...]:
        """The processors that some socket carries, each once; ``None`` for a board that lists none."""
        return (None,) if self.option is None else self.option.each

    def _processor(self, socket: Socket) -> tuple[str, ...]:
        """The processor of a socket, where sockets have different ones."""
        differ = self.option is not None and len(self.option.each) > 1
        return (self.option.at(socket.id).id,) if self.option is not None and differ else ()

    def idle_controllers(self, shape: SocketShape) -> int:
        """Controllers of a socket of that shape on which no channel can be filled in the mode."""
        socket = self._sockets_of_shape[shape][0]
        return len(self.board.socket(socket.id).controllers) - len(socket.controllers)

    def rate_of(self, shape: ChannelShape, modules: Sequence[Module]) -> int:
        """The rate of a channel with these modules, in MT/s; 0 where it is empty or does not run."""
        if not modules:
            return 0
        options = [self.board.processor(name) for name in shape.processors] or [self.option]
        sizes = set(shape.sizes or (shape.slots,))
        rates = [channel_rate(self.board, option, modules, slots) for option in options for slots in sizes]
        return min(rate.rate_mts if rate else 0 for rate in rates)

    def _populations(self, socket: str | None, rows: Iterable[Rule]) -> list[Populations]:
        """What rows prescribe of the slots of a socket, or of the whole machine."""
        fitted, mode = self.request.fitted, self.request.mode
        found = (row.populations(socket, fitted, mode) for row in rows)
        there = self.board.served
        return [
            {count: slots for count, slots in populations.items() if slots <= there}
            for populations in found
            if populations is not None
        ]

    def prescribes(self, socket: str) -> bool:
        """True where a row says which slots of a socket are filled."""
        return bool(self._populations(socket, self.rows) or self._populations(None, self.rows))

    def _prescribed(self, socket: Socket) -> Iterator[str]:
        """What rows prescribe of a socket's slots, by their places in it: the same for all sockets of one shape."""
        slots = self.board.socket(socket.id).slots
        for populations in self._populations(socket.id, self.rows):
            yield str([(count, sorted(map(slots.index, populations[count]))) for count in sorted(populations)])

    def layouts(self, may_break: Rows) -> Iterator[list[SocketShape]]:
        """The shapes of the fitted sockets; once for each number of modules where a table fills the whole machine."""
        tables = self._populations(None, self.enforced(may_break))
        if not tables:
            yield self.shapes
            return
        there = {slot for socket in self.wired for slot in socket.slots}
        for count in sorted(set.intersection(*map(set, tables))):
            filled = {populations[count] for populations in tables}
            if len(filled) == 1 and (slots := filled.pop()) <= there:
                shapes = [
                    self._filled_shape(shape, of, slots) for shape, of in zip(self.shapes, self.sockets, strict=True)
                ]
                if all(shapes):
                    yield [shape for shape in shapes if shape]

    def _filled_shape(self, shape: SocketShape, socket: Socket, filled: frozenset[str]) -> SocketShape | None:
        """The shape of a socket of which just those slots are filled; ``None`` where the mode fills others."""
        controllers = self._patterned(shape, socket, filled)
        if controllers is None:
            return None
        found = shape._replace(controllers=controllers)
        sockets = self._sockets_of_shape.setdefault(found, [])
        if socket not in sockets:
            sockets.append(socket)
        return found

    def joined_shape(self, shapes: Sequence[SocketShape]) -> SocketShape | None:
        """One shape that obeys the rules of every fitted socket; ``None`` where they cannot be populated alike.

        What is settled at one socket is then settled at all of them.
        """
        first = shapes[0]
        patterns = {tuple(channel.pattern for part in shape.controllers for channel in part) for shape in shapes}
        if len(patterns) > 1 or any(socket.build != self.wired[0].build for socket in self.wired):
            return None
        rules = tuple(sorted({rule for shape in shapes for rule in shape.rules}))
        columns = zip(*(socket.controllers for socket in self.sockets), strict=True)
        channels = [zip(*(each.channels for each in column), strict=True) for column in columns]
        controllers = tuple(
            tuple(
                its[0]._replace(
                    processors=tuple(sorted({name for each in its for name in each.processors})),
                    pins=self._pinned(*next(there)),
                )
                for its in zip(*same, strict=True)
            )
            for same, there in zip(zip(*(shape.controllers for shape in shapes), strict=True), channels, strict=True)
        )
        joined = SocketShape(controllers, ("joined", *rules), first.permitted)
        self._sockets_of_shape[joined] = list(self.sockets)
        return joined

    def enforced(self, may_break: Rows) -> list[Rule]:
        """The rows that a branch enforces."""
        if may_break not in self._enforced:
            kept = [row for row in self.rows if row.severity == "error" or row.id not in may_break]
            self._enforced[may_break] = kept
        return self._enforced[may_break]

    def enforced_of(self, scope: Scope, may_break: Rows) -> list[Rule]:
        """The rows of one scope that a branch enforces."""
        key = scope, may_break
        if key not in self._enforced_of:
            self._enforced_of[key] = rows_of_scope(self.enforced(may_break), scope)
        return self._enforced_of[key]

    # -- types -------------------------------------------------------------------------------------------------

    def best_rates(self, kind: int) -> tuple[int, ...]:
        """The best rate of a type in MT/s with at least one, two and more modules on a channel; 0 where none runs."""
        if kind not in self._best_rates:
            sizes = {len(channel.slots) for socket in self.wired for channel in socket.channels}
            best = [0] * max(sizes, default=0)
            for option, slots in itertools.product(self.options, sizes):
                for held in range(1, slots + 1):
                    rate = channel_rate(self.board, option, [self.types[kind]] * held, slots)
                    best[held - 1] = max(best[held - 1], rate.rate_mts if rate else 0)
            self._best_rates[kind] = tuple(itertools.accumulate(reversed(best), max))[::-1]
        return self._best_rates[kind]

    @cached_property
    def mixing_rows(self) -> list[MixRow]:
        """Rows that say which types may stand in one system together."""
        return [row for row in of_kind(self.rows, MixRow) if row.judged_at("system")]

    def mixes(self, kind: int) -> tuple[object, ...]:
        """What each of the mixing rows tells a type apart by."""
        if kind not in self._mixes:
            self._mixes[kind] = tuple(value_of(self.types[kind], row.field) for row in self.mixing_rows)
        return self._mixes[kind]

    def broken_together(self, mixes: Sequence[tuple[object, ...]]) -> Rows:
        """Ids of the mixing rows that types break that are told apart so."""
        return frozenset(row.id for row, *each in zip(self.mixing_rows, *mixes, strict=True) if len(set(each)) > 1)

    def broken_alone(self, types: Iterable[int]) -> Rows:
        """Ids of the rows that modules of these types break by themselves, wherever they go."""
        chosen = list(types)
        found = {breach.rule for kind in chosen for breach in self._breaches_of(kind)}
        return self.broken_together([self.mixes(kind) for kind in chosen]) | found

    @cached_property
    def named(self) -> frozenset[Module]:
        """Modules that pins name: no other may stand for them."""
        return frozenset(module for allowed in self.pins.values() for module in allowed if module)

    def identity(self, kind: int) -> Module:
        """What rules and figures tell a type by, its rate aside unless a row names rates."""
        module = self.types[kind]
        by_rate = any(row.module_field == "rate_mts" for row in self.rows)
        return replace(module, label="", rate_mts=module.rate_mts if by_rate else 0)

    def _breaches_of(self, kind: int) -> list[Breach]:
        if kind not in self._breaches:
            self._breaches[kind] = list(judge_module(self.rows, self.types[kind]))
        return self._breaches[kind]

    def code(self, counts: Iterable[tuple[int, int]]) -> int:
        """The count code of (type, count) pairs."""
        return sum(count * self.base**kind for kind, count in counts)

    def counts(self, code: int) -> tuple[int, ...]:
        """Modules of each type, from a count code."""
        found = []
        for _ in self.types:
            code, count = divmod(code, self.base)
            found.append(count)
        return tuple(found)

    def types_of(self, code: int) -> frozenset[int]:
        """The types of which a count code has some."""
        return frozenset(kind for kind, count in enumerate(self.counts(code)) if count)

    def code_among(self, types: Sequence[int], code: int) -> int:
        """A count code of ``of_types(types)`` as one of this space."""
        counts = []
        for _ in types:
            code, count = divmod(code, self.base)
            counts.append(count)
        total: int = self.code(zip(types, counts, strict=True)) + code * self.loss_place
        return total

    def code_of(self, content: Content) -> int:
        """The count code of a placement."""
        channels = (channel for socket in self.wired for channel in socket.channels)
        loads = [[module for slot in channel.slots if (module := content.get(slot))] for channel in channels]
        counts = Counter(module for load in loads for module in load)
        code = self.code((index, counts[module]) for index, module in enumerate(self.types))
        lost: int = sum(map(self.loss, loads)) * self.loss_place
        return code + lost

    def places(self) -> list[tuple[int, int]]:
        """Value and base of the digits of a count code."""
        every = range(len(self.types))
        places = [(self.base**kind, self.base) for kind in every]
        return places if self.sparing is None else [*places, (self.loss_place * self.loss_step(every), 1 << 24)]

    def gib(self, code: int) -> int:
        """Usable capacity of a count code, in scaled GiB."""
        known = self._gib.get(code)
        if known is None:
            loss = code // self.loss_place if self.sparing is not None else 0
            known = sum([n * weight for n, weight in zip(self.counts(code), self.weights, strict=True)]) - loss
            self._gib[code] = known
        return known

    def installed_gib(self, code: int) -> int:
        """Capacity of all modules of a count code in GiB."""
        return sum(n * module.capacity_gib for n, module in zip(self.counts(code), self.types, strict=True))

    def by_gib(self, codes: Iterable[int]) -> dict[int, frozenset[int]]:
        """Count codes by their usable capacity in scaled GiB, in the order in which the capacities come."""
        found: dict[int, set[int]] = {}
        for code in codes:
            found.setdefault(self.gib(code), set()).add(code)
        return {gib: frozenset(of_it) for gib, of_it in found.items()}

    def unscaled(self, gib: int) -> Gib:
        """Scaled GiB as GiB."""
        return whole(Fraction(gib, self.scale))

    def shown(self, gib: int) -> Gib:
        """What the system shows in all of so much, in scaled GiB, at the fitted sockets together."""
        held = Fraction(gib, self.scale)
        if isinstance(self.mode_row, PartialMirroringRow):
            sockets = len(self.sockets)  # each keeps the same share, or the same amount
            return whole(sockets * self.mode_row.shown_gib(held / sockets))
        return whole(held)

    def needed(self, shown: int) -> Fraction:
        """The scaled GiB of which the system shows just so much."""
        row, sockets = self.mode_row, len(self.sockets)
        if isinstance(row, PartialMirroringRow):
            copied = sockets * row.copies_gib(0)
            left = 1 - (row.copies_gib(1) - row.copies_gib(0))
            return (shown + copied) / left * self.scale
        return Fraction(shown * self.scale)

    # -- loads of a channel ------------------------------------------------------------------------------------

    def loads(self, shape: ChannelShape, may_break: Rows, *, every_order: bool = False) -> tuple[Load, ...]:
        """Every way to load a channel of that shape in board order, the empty load last.

        One load for each set of modules, in its best order, or all of them: ``every_order``, or where a pin may want
        another order of channels that mirror.
        """
        every_order |= bool(shape.pins and self.mirroring)
        key = (shape._replace(membership=()), may_break, every_order)
        if key not in self._loads:
            self._loads[key] = tuple(self._enumerate_loads(shape, may_break, every_order=every_order))
        return self._loads[key]

    def _enumerate_loads(self, shape: ChannelShape, may_break: Rows, *, every_order: bool) -> Iterator[Load]:
        rows = self.enforced_of("channel", may_break)
        channel = Channel(id="", socket="", controller="", slots=tuple(str(i) for i in range(shape.slots)))
        seen = set()
        for chosen in itertools.product(*self._choices(shape)):
            kinds = [kind for kind in chosen if kind is not None]
            code = self.code((kind, self.width) for kind in kinds)
            load = tuple(None if kind is None else self.types[kind] for kind in chosen)
            if (code in seen and not every_order) or any(judge_channel(rows, channel, load)):
                continue  # the product runs in board order, so the first of a multiset is its best
            modules = [module for module in load if module]
            ranks = 0 if self.sparing is None else sum(ranks_of(self.sparing, module) for module in modules)
            rate = self.rate_of(shape, modules)
            if (self.sparing is not None and 0 < ranks < self.sparing.min_ranks) or (modules and not rate):
                continue
            seen.add(code)
            loss = self.loss(modules)
            yield Load(
                code=code + loss * self.loss_place,
                gib=self.width * sum(self.weights[kind] for kind in kinds) - loss,
                rate=rate,
                low_rank=is_low_rank(modules),
                board_order=bytes(0 if kind is None else len(self.types) - kind for kind in chosen),
            )

    def _choices(self, shape: ChannelShape) -> Iterator[list[int | None]]:
        """What each slot of a channel may hold, in board order."""
        every: list[int | None] = [*range(len(self.types)), None]
        nothing = (None,) * shape.slots
        for filled, pin in zip(shape.pattern or nothing, shape.pins or nothing, strict=True):
            yield [
                kind
                for kind in every
                if filled in (None, kind is not None)
                and (pin is None or (None if kind is None else self.types[kind]) in pin)
            ]

    # -- rules of a socket and of the system -------------------------------------------------------------------

    def variants(self, shape: SocketShape, may_break: Rows) -> list[tuple[tuple[ChannelShape, ...], ...]]:
        """The controllers of a shape; one variant for each number of modules where an order is prescribed."""
        key = (shape, may_break)
        if key not in self._variants:
            self._variants[key] = self._list_variants(shape, may_break)
        return self._variants[key]

    def _list_variants(self, shape: SocketShape, may_break: Rows) -> list[tuple[tuple[ChannelShape, ...], ...]]:
        rows = self.enforced(may_break)
        sockets = self._sockets_of_shape[shape]
        orders = [(socket, each) for socket in sockets for each in self._populations(socket.id, rows)]
        if not orders:
            return [shape.controllers]
        found = []
        for count in sorted(set.intersection(*(set(populations) for _, populations in orders))):
            patterns = {self._patterned(shape, socket, populations[count]) for socket, populations in orders}
            found += [pattern for pattern in patterns if pattern is not None and len(patterns) == 1]
        return found

    def _patterned(
        self, shape: SocketShape, socket: Socket, filled: frozenset[str]
    ) -> tuple[tuple[ChannelShape, ...], ...] | None:
        """The controllers of a shape with just those slots to be filled; ``None`` where others must be filled."""
        here = filled.intersection(self.board.socket(socket.id).slots)
        if here != {each for slot in socket.slots if slot in filled for each in self.both(slot)}:
            return None
        found = tuple(
            tuple(
                its._replace(pattern=tuple(slot in filled for slot in channel.slots))
                for its, channel in zip(shapes, controller.channels, strict=True)
            )
            for shapes, controller in zip(shape.controllers, socket.controllers, strict=True)
        )
        before = [channel.pattern for part in shape.controllers for channel in part]
        after = [channel.pattern for part in found for channel in part]
        return found if all(old in (None, new) for old, new in zip(before, after, strict=True)) else None

    def socket_allows(self, shape: SocketShape, code: int, may_break: Rows) -> bool:
        """True where the counts obey every enforced row of socket scope."""
        key = (shape, code, may_break)
        if key not in self._allowed:
            self._allowed[key] = self._judge_counts(shape, code, may_break)
        return self._allowed[key]

    def _judge_counts(self, shape: SocketShape, code: int, may_break: Rows) -> bool:
        rows = self.enforced_of("socket", may_break)
        counts = self.counts(code)
        types = tuple(module for module, n in zip(self.types, counts, strict=True) if n)
        gib = self.installed_gib(code)
        if self.mirroring is not None and not self.mirroring.allows(sum(counts), gib):
            return False
        views = (
            SocketView(
                socket=self.board.socket(socket.id),
                modules=sum(counts),
                capacity_gib=gib,
                types=types,
                fitted=self.request.fitted,
                mode=self.request.mode,
            )
            for socket in self._sockets_of_shape[shape]
        )
        return not any(any(judge_socket(rows, view)) for view in views)

    def fitted_breaches(self) -> list[FittedRow]:
        """The rows about fitted sockets that this request's set breaks, whatever the placement."""
        view = SystemView(board=self.board, fitted=self.request.fitted, content={})
        rows = of_kind(self.rows, FittedRow)
        return [row for row in rows if any(judge_system([row], view))]

    def fitted_allowed(self) -> bool:
        """False where an error row forbids to fit just these sockets."""
        return all(row.severity != "error" for row in self.fitted_breaches())

    def possible(self) -> bool:
        """False where no placement can be: no type, no row for the mode, sockets fitted wrongly, or slots that the mode
        leaves empty and that have to hold a module.
        """
        there = {each for socket in self.sockets for slot in socket.slots for each in self.both(slot)}
        empty = [slot for socket in self.wired for slot in socket.slots if slot not in there and slot in self.pins]
        settled = all(None in self.pins[slot] for slot in empty)
        return bool(self.types) and self.mode_possible() and self.fitted_allowed() and settled

    def alike_rows(self, may_break: Rows) -> list[AlikeRow]:
        """The enforced rows that want sockets alike; none where one socket is fitted."""
        if len(self.sockets) < 2:
            return []
        return of_kind(self.enforced(may_break), AlikeRow)
