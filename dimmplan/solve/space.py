"""The space to search, compiled from a board and a request: shapes of sockets, loads of channels, counts of modules.

A number of modules of each type is carried as one integer, the *count code*: codes add up as counts do.
"""

from __future__ import annotations

import copy
import itertools
import math
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import cached_property, partial
from types import MappingProxyType
from typing import NamedTuple, get_args

from dimmplan.figures import is_low_rank
from dimmplan.model.board import Board, Channel
from dimmplan.model.module import Module
from dimmplan.model.request import Mode, Request, Supply
from dimmplan.model.rows import ProcessorOption
from dimmplan.rates import channel_rate
from dimmplan.rules import (
    Breach,
    Content,
    Rule,
    Scope,
    SocketView,
    SystemView,
    all_rows,
    judge_channel,
    judge_module,
    judge_socket,
    judge_system,
    mode_row,
    rows_of_scope,
)
from dimmplan.solve.shapes import ChannelShape, Controllers, Pins, Shapes, SocketShape
from dimmplan.units import Gib, whole

Rows = frozenset[str]
"""Ids of advised rows that may be broken; every other row is enforced."""


class Load(NamedTuple):
    """One way to load a channel. ``board_order`` orders loads as board order does: greater comes first.

    ``displaced`` are the modules that lie in the channel and do not stay in their slots.
    """

    code: int
    gib: int
    rate: int
    low_rank: bool
    displaced: int
    board_order: bytes


class Space:
    """Everything that a search over one request asks about; pure look-ups, cached.

    A channel with settled slots (``pins``) only has fewer loads. ``lying`` is what is in the machine, for the criterion
    ``displaced``. ``symmetry=False`` treats every channel and socket as one of its own; the answer is the same, only
    slower.
    """

    def __init__(
        self,
        board: Board,
        request: Request,
        pins: Pins = MappingProxyType({}),
        *,
        lying: Content = MappingProxyType({}),
        symmetry: bool = True,
    ) -> None:
        self.pins = pins
        self._kept = sum(supply.kept for supply in request.supplies)
        self.lying = lying
        self.request = request
        self.option: ProcessorOption | None = board.processor(request.processor)
        self.board = board = board.serving(self.option)
        self.rows: list[Rule] = [row for row in all_rows(board, self.option) if row.in_mode(request.mode)]
        self.mode_row = row = mode_row(board, request.mode)
        self.shapes = Shapes(board, request, self.rows, mode_row=row, pins=pins, lying=lying, symmetry=symmetry)
        self.wired, self.sockets, self.both = self.shapes.wired, self.shapes.sockets, self.shapes.both
        self.width = 2 if row and row.folds else 1
        """How many channels a channel of ``sockets`` stands for."""
        self.channel_count = sum(len(socket.channels) for socket in self.wired)
        """Channels of all fitted sockets."""
        self.fewest_channels = min(len(socket.channels) for socket in self.wired)
        """Channels of the fitted socket with the fewest."""
        self.slot_count = sum(len(socket.slots) for socket in self.wired)
        self.base = self.slot_count + 1
        usable = [s for s in request.supplies if not any(judge_module(self.enforced_always, s.module))]
        self.rate_unit = math.lcm(*board.rates_mts)
        self.peak_unit = 8 * self.rate_unit * (row.peak if row else 1)
        """GB/s x 1000 of a channel, times its time for one GiB."""
        self.spares = row is not None and row.spares
        """True where channels give up some of what they hold, so that counts alone do not tell the capacity."""
        self.scale = math.lcm(*(row.parts_of(supply.module) for supply in usable)) if row else 1
        """Capacities are carried in GiB times this, so that what a mode leaves stays whole."""
        scopes: tuple[Scope, ...] = ("controller", "socket")
        close = {each.reads(scope) for scope in scopes for each in rows_of_scope(self.rows, scope)} - {"counts"}
        self.orders_matter = "slots" in close or bool((pins or lying) and close)
        """True where a load is not the same in every order of its modules, rules of the channel aside."""
        self.types_told = any(row.tells_types and row.judged_at(scope) for row in self.rows for scope in scopes)
        """True where a row of controller or socket scope may tell types apart that load channels alike."""
        self.names_matter = any(each.reads("channel") == "slots" for each in rows_of_scope(self.rows, "channel"))
        """True where a row of channel scope tells channels apart by their names."""
        self._variants: dict[tuple[SocketShape, Rows], list[Controllers]] = {}
        self._enforced: dict[tuple[Scope | None, Rows], list[Rule]] = {}
        self._allowed: dict[tuple[SocketShape, Rows], dict[tuple[int, int, tuple[Module, ...]], bool]] = {}
        """Of a socket with so many modules and so much capacity; of which types where a row may tell types apart."""
        self._use(sorted(usable, key=lambda supply: supply.module.order_key))

    def _use(self, supplies: list[Supply]) -> None:
        """Take these supplies as the types of the space, and forget what was known of others."""
        self.supplies = supplies
        self.types = [supply.module for supply in supplies]
        self.kept_elsewhere = self._kept - sum(supply.kept for supply in supplies)
        """Kept modules of other types, such as those that the board refuses: discarded whatever is chosen."""
        share = self.mode_row.share if self.mode_row else 1
        self.weights = [int(module.capacity_gib * self.scale * share) for module in self.types]
        """Scaled usable capacity that a module of each type brings, before a channel gives up what it has to."""
        self.loss_place = self.base ** len(self.types)
        """Place value of what channels give up, as the top digit of a count code."""
        self._loads: dict[tuple[ChannelShape, Rows], tuple[Load, ...]] = {}
        self._close: dict[tuple[SocketShape, int | None, tuple[str, ...]], CloseLook] = {}
        self._breaches: dict[int, list[Breach]] = {}
        self._mixes: dict[int, tuple[object, ...]] = {}
        self.measured: dict[frozenset[tuple[str, Module | None]], dict[str, int | Fraction] | None] = {}
        """The criteria of placements that were judged and measured, ``None`` for one that may not be."""
        self._best_rates: dict[int, tuple[int, ...]] = {}

    def of_types(self, types: Sequence[int]) -> Space:
        """The same space with just some of its types; what does not depend on types is shared."""
        _ = self.advised
        found = copy.copy(self)
        found._use([self.supplies[kind] for kind in types])
        return found

    @property
    def most_gib(self) -> int:
        """What the fitted sockets would hold with the largest type in every slot."""
        return max((module.capacity_gib for module in self.types), default=0) * self.slot_count

    def loss(self, modules: Sequence[Module]) -> int:
        """What a channel with these modules gives up, scaled."""
        if self.mode_row is None or not self.spares:
            return 0
        return int((sum(module.capacity_gib for module in modules) - self.mode_row.usable_gib(modules)) * self.scale)

    def loss_step(self, types: Iterable[int]) -> int:
        """What every loss is a multiple of, with modules of these types, scaled."""
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
        judged = (row for row in self.rows if any(row.judged_at(scope) for scope in get_args(Scope)))
        return tuple(sorted({row.id for row in judged if row.severity == "advised"}))

    @property
    def options(self) -> tuple[ProcessorOption | None, ...]:
        """The processors that some socket carries, each once; ``None`` for a board that lists none."""
        return (None,) if self.option is None else self.option.each

    def rate_of(self, shape: ChannelShape, modules: Sequence[Module]) -> int:
        """The rate of a channel with these modules, in MT/s; 0 where it is empty or does not run."""
        if not modules:
            return 0
        options = [self.board.processor(name) for name in shape.processors] or [self.option]
        sizes = set(shape.sizes or (shape.slots,))
        rates = [channel_rate(self.board, option, modules, slots) for option in options for slots in sizes]
        return min(rate.rate_mts if rate else 0 for rate in rates)

    @cached_property
    def enforced_always(self) -> list[Rule]:
        """The rows that no placement may break."""
        return [row for row in self.rows if row.severity == "error"]

    def enforced(self, may_break: Rows, scope: Scope | None = None) -> list[Rule]:
        """The rows that a branch enforces, perhaps those of one scope."""
        key = scope, may_break
        if key not in self._enforced:
            kept = [row for row in self.rows if row.severity == "error" or row.id not in may_break]
            self._enforced[key] = kept if scope is None else rows_of_scope(kept, scope)
        return self._enforced[key]

    def layouts(self, may_break: Rows) -> Iterator[list[SocketShape]]:
        """The shapes of the fitted sockets, in each way in which rows let the whole machine be filled."""
        return self.shapes.layouts(self.enforced(may_break))

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
    def mixing_rows(self) -> list[Rule]:
        """Rows that say which types may stand in one system together."""
        return [row for row in rows_of_scope(self.rows, "system") if row.couples == "types"]

    def mixes(self, kind: int) -> tuple[object, ...]:
        """What each of the mixing rows tells a type apart by."""
        if kind not in self._mixes:
            self._mixes[kind] = tuple(row.apart_by(self.types[kind]) for row in self.mixing_rows)
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
        """What rules and figures tell a type by, its rate and label aside unless a row may look at them."""
        module = self.types[kind]
        return module if self._alike_apart else replace(module, label="", rate_mts=0)

    @cached_property
    def _alike_apart(self) -> bool:
        return any(row.tells_alike_apart for row in self.rows)

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
        return [*places, (self.loss_place * self.loss_step(every), 1 << 24)] if self.spares else places

    def gib(self, code: int) -> int:
        """Usable capacity of a count code, in scaled GiB."""
        loss = code // self.loss_place if self.spares else 0
        return sum([n * weight for n, weight in zip(self.counts(code), self.weights, strict=True)]) - loss

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
        held, sockets = Fraction(gib, self.scale), len(self.sockets)  # each keeps the same share, or the same amount
        return whole(held if self.mode_row is None else sockets * self.mode_row.shown_gib(held / sockets))

    def needed(self, shown: int) -> Fraction:
        """The scaled GiB of which the system shows just so much."""
        row, sockets = self.mode_row, len(self.sockets)
        if row is None:
            return Fraction(shown)
        return (shown + sockets * row.copies_gib(0)) / self._shown_share * self.scale

    def shown_difference(self, gib: int) -> Gib:
        """The difference, in scaled GiB, between two sockets in what the system shows of them."""
        return whole(Fraction(gib, self.scale) * self._shown_share)

    @property
    def _shown_share(self) -> Fraction:
        """What the system shows of a GiB more."""
        return 1 - (self.mode_row.copies_gib(1) - self.mode_row.copies_gib(0)) if self.mode_row else Fraction(1)

    # -- loads of a channel ------------------------------------------------------------------------------------

    def loads(self, shape: ChannelShape, may_break: Rows) -> tuple[Load, ...]:
        """Every way to load a channel of that shape in board order, the empty load last.

        One load for each set of modules, in its best order, or all of them where a row that looks closely at several
        channels may want another order.
        """
        key = (shape._replace(membership=(), names=shape.names if self.names_matter else ()), may_break)
        if key not in self._loads:
            every_order = self.orders_matter or bool(shape.lying)
            loads = tuple(self._enumerate_loads(shape, may_break, every_order=every_order))
            self._loads[key] = loads if self.orders_matter or not shape.lying else self._most_staying(loads)
        return self._loads[key]

    @staticmethod
    def _most_staying(loads: Iterable[Load]) -> tuple[Load, ...]:
        """Of each set of modules the order in which most of what lies in the channel stays."""
        best: dict[int, Load] = {}
        for load in sorted(loads, key=lambda load: load.displaced):
            best.setdefault(load.code, load)
        return tuple(sorted(best.values(), key=lambda load: load.board_order, reverse=True))

    def _enumerate_loads(self, shape: ChannelShape, may_break: Rows, *, every_order: bool) -> Iterator[Load]:
        rows, channels = self.enforced(may_break, "channel"), self._channels(shape)
        seen = set()
        for chosen in itertools.product(*self._choices(shape)):
            kinds = [kind for kind in chosen if kind is not None]
            code = self.code((kind, self.width) for kind in kinds)
            load = tuple(None if kind is None else self.types[kind] for kind in chosen)
            if code in seen and not every_order:
                continue  # the product runs in board order, so the first of a multiset is its best
            padded = ((each, load + (None,) * (len(each.slots) - len(load))) for each in channels)
            if any(any(judge_channel(rows, each, its)) for each, its in padded):
                continue
            modules = [module for module in load if module]
            rate = self.rate_of(shape, modules)
            if (modules and not rate) or (self.mode_row and not self.mode_row.works_with(modules)):
                continue
            seen.add(code)
            loss = self.loss(modules)
            yield Load(
                code=code + loss * self.loss_place,
                gib=self.width * sum(self.weights[kind] for kind in kinds) - loss,
                rate=rate,
                low_rank=is_low_rank(modules),
                displaced=sum(module != each for module, its in zip(load, shape.lying, strict=False) for each in its),
                board_order=bytes(0 if kind is None else len(self.types) - kind for kind in chosen),
            )

    def _channels(self, shape: ChannelShape) -> list[Channel]:
        """The channels that a load of a shape is judged on: those meant, where rows tell them apart, else just one."""
        if self.names_matter and shape.names:
            there = [channel for socket in self.wired for channel in socket.channels]
            slots = {each for channel in there if channel.name in shape.names for each in map(self.both, channel.slots)}
            held = {slot for each in slots for slot in each}
            return [channel for channel in there if not held.isdisjoint(channel.slots)]
        return [Channel(id="", socket="", controller="", slots=tuple(str(i) for i in range(shape.slots)))]

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

    def variants(self, shape: SocketShape, may_break: Rows) -> list[Controllers]:
        """The controllers of a shape; one variant for each number of modules where an order is prescribed."""
        key = (shape, may_break)
        if key not in self._variants:
            self._variants[key] = self.shapes.variants(shape, self.enforced(may_break))
        return self._variants[key]

    def allowed(self, shape: SocketShape, codes: Iterable[int], may_break: Rows) -> list[int]:
        """The counts, rising, that obey every enforced row of socket scope that reads no more."""
        rows = [row for row in self.enforced(may_break, "socket") if row.reads("socket") == "counts"]
        if not rows:
            return sorted(codes)
        fitted, mode = self.request.fitted, self.request.mode
        places = [self.board.socket(socket.id) for socket in self.shapes.sockets_of(shape)]
        known = self._allowed.setdefault((shape, may_break), {})
        found = []
        for code in sorted(codes):
            counts = self.counts(code)
            used = tuple(module for module, n in zip(self.types, counts, strict=True) if n) if self.types_told else ()
            gib = sum([n * module.capacity_gib for n, module in zip(counts, self.types, strict=True)])
            held = sum(counts), gib, used
            if held not in known:
                views = (SocketView(place, *held, fitted=fitted, mode=mode) for place in places)
                known[held] = not any(any(judge_socket(rows, view)) for view in views)
            if known[held]:
                found.append(code)
        return found

    def close_look(self, shape: SocketShape, may_break: Rows, controller: int | None = None) -> CloseLook | None:
        """What judges the loads of a socket, or of one controller of it; ``None`` where no row looks so closely."""
        scope: Scope = "socket" if controller is None else "controller"
        rows = self.enforced(may_break, scope)
        rows = [row for row in rows if scope == "controller" or row.reads(scope) != "counts"]
        if not rows:
            return None
        place = None if controller is None else shape.controllers.index(shape.controllers[controller])
        key = shape, place, tuple(row.id for row in rows)
        if key not in self._close:
            self._close[key] = CloseLook(self, shape, rows, place)
        return self._close[key]

    @cached_property
    def every_socket(self) -> bool:
        """True where no fitted socket may be empty."""
        empty = partial(SocketView.of, content={}, fitted=self.request.fitted, mode=self.request.mode)
        return all(any(judge_socket(self.enforced_always, empty(socket))) for socket in self.wired)

    def fitted_breaches(self) -> list[Breach]:
        """The rows about fitted sockets that this request's set breaks, whatever the placement."""
        view = SystemView(board=self.board, fitted=self.request.fitted, content={})
        return list(judge_system([row for row in self.rows if row.couples == "fitted"], view))

    def fitted_allowed(self) -> bool:
        """False where an error row forbids to fit just these sockets."""
        return all(breach.severity != "error" for breach in self.fitted_breaches())

    def possible(self) -> bool:
        """False where no placement can be: no type, no row for the mode, sockets fitted wrongly, or slots that the mode
        leaves empty and that have to hold a module.
        """
        there = {each for socket in self.sockets for slot in socket.slots for each in self.both(slot)}
        empty = [slot for socket in self.wired for slot in socket.slots if slot not in there and slot in self.pins]
        settled = all(None in self.pins[slot] for slot in empty)
        return bool(self.types) and self.mode_possible() and self.fitted_allowed() and settled

    def alike(self, may_break: Rows) -> set[str]:
        """What the enforced rows want fitted sockets to have the same of; nothing where one socket is fitted."""
        if len(self.sockets) < 2:
            return set()
        return {row.alike for row in self.enforced(may_break) if row.alike}


class CloseLook:
    """Judges what the channels of a socket, or of one controller of it, hold by rows that look closer than at counts.

    Where no row tells channels apart it is remembered by what they hold, whichever of them holds it.
    """

    def __init__(self, space: Space, shape: SocketShape, rows: Sequence[Rule], controller: int | None) -> None:
        self.faults_of = [row.of_socket if controller is None else row.of_controller for row in rows]
        self.by_slot = any(row.reads("socket" if controller is None else "controller") == "slots" for row in rows)
        self.trades = not self.by_slot and controller is None
        """True where equal channels of different controllers may trade as well."""
        self._types = space.types
        self._known: dict[tuple[bytes, ...], bool] = {}
        self._places: list[tuple[list[tuple[tuple[str, ...], ...]], SocketView]] = []
        for socket in space.shapes.sockets_of(shape):
            part = socket if controller is None else socket.part([socket.controllers[controller].id])
            real = space.board.socket(socket.id)
            real = real if controller is None else real.part([each.id for each in part.controllers])
            slots = [tuple(map(space.both, channel.slots)) for channel in part.channels]
            view = SocketView.of(real, {}, fitted=space.request.fitted, mode=space.request.mode)
            self._places.append((slots, view))

    def __call__(self, loads: Sequence[Load]) -> bool:
        """True where these loads of the channels, in board order, break no row."""
        orders = [load.board_order for load in loads]
        key = tuple(orders if self.by_slot else sorted([order.rstrip(b"\0") for order in orders]))
        known = self._known.get(key)
        if known is None:
            known = self._known[key] = all(self._holds(orders, slots, view) for slots, view in self._places)
        return known

    def _holds(self, orders: Sequence[bytes], slots: Sequence[Sequence[tuple[str, ...]]], view: SocketView) -> bool:
        size = len(self._types)
        content = {
            slot: self._types[size - rank] if rank else None
            for ranks, its in zip(orders, slots, strict=True)
            for rank, both in zip(ranks, its, strict=True)
            for slot in both
        }
        whole = view.holding(content, [module for module in content.values() if module])
        return not any(any(faults(whole)) for faults in self.faults_of)
