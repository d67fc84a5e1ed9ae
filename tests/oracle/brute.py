"""The best placement found by trying all of them: plain, slow, and apart from the planner's own search.

Everything is an exact integer or fraction.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, TypeVar

from dimmplan.model.board import Board, Socket
from dimmplan.model.module import Kind, Module
from dimmplan.model.request import Mode, Request
from dimmplan.model.rows import InterleaveRow, ProcessorOption, ProcessorRate, RateRow
from dimmplan.rules import (
    AcceptRow,
    AlikeRow,
    CeilingRow,
    ChannelOrderRow,
    CountsRow,
    FillOrderRow,
    FittedRow,
    LockstepRow,
    MirroringRow,
    MixRow,
    PartialMirroringRow,
    RankLimitRow,
    RuleRow,
    SequenceRow,
    SocketMinimumRow,
    SparingRow,
    TableRow,
    ThermalLimitRow,
)
from dimmplan.solve.criteria import criteria_of

T = TypeVar("T")
Slots = tuple[Module | None, ...]
Placement = dict[str, Module | None]


# Regions of a socket


@dataclass(frozen=True, slots=True)
class Region:
    """What ``channels`` (by index) serve together; ``rate_mts`` of the slowest, where rates were given."""

    ways: int
    capacity_gib: int
    channels: tuple[int, ...]
    rate_mts: int | None = None


@dataclass(frozen=True, slots=True)
class _Candidate:
    members: tuple[int, ...]
    excess: str = "layers"
    position: int = 0


def groups_by_index(row: InterleaveRow, channel_ids: Sequence[str]) -> list[tuple[int, ...] | None]:
    """Each group of the row as channel indices; ``None`` where the socket has not all of its channels."""
    index = {channel: i for i, channel in enumerate(channel_ids)}
    return [
        tuple(index[channel] for channel in group.channels) if set(group.channels) <= set(index) else None
        for group in row.groups
    ]


def regions(
    amounts: Sequence[Sequence[int]],
    row: InterleaveRow,
    groups_by_index: Sequence[tuple[int, ...] | None] | None = None,
    rates: Sequence[int | None] | None = None,
    partner: dict[int, int] | None = None,
) -> list[Region]:
    """The interleave loop over GiB per channel, one list for each controller, in the order the regions come.

    ``groups_by_index`` goes with ``row.groups``. ``rates`` per channel are for a rate scope of channel:
    of sets that the loop's own keys leave tied, the greater slowest rate comes first, then what remains with
    its rates. ``partner`` is the other channel of each that works in lockstep: no set splits a pair.
    """
    left = [amount for controller in amounts for amount in controller]
    controller_of = [number for number, controller in enumerate(amounts) for _ in controller]
    filled = {channel for channel, amount in enumerate(left) if amount > 0}
    found: list[Region] = []

    def emit(members: tuple[int, ...], capacity: int) -> None:
        rate = min(rates[channel] or 0 for channel in members) if rates is not None else None
        found.append(Region(len(members), capacity, members, rate))

    def remainder(members: tuple[int, ...], worth: Callable[[int, int], Any]) -> list[list[Any]]:
        after = list(left)
        for channel in members:
            after[channel] -= min(left[each] for each in members)
        lists: list[list[Any]] = [[] for _ in amounts]
        for channel, amount in enumerate(after):
            lists[controller_of[channel]].append(worth(channel, amount))
        return sorted((sorted(each, reverse=True) for each in lists), reverse=True)

    def alone(channel: int, amount: int) -> int:
        return amount

    def with_rate(channel: int, amount: int) -> tuple[int, int]:
        return amount, (rates[channel] or 0) if rates is not None and amount else 0

    while live := [channel for channel, amount in enumerate(left) if amount > 0]:
        sets = list(_candidates(live, left, filled, controller_of, row, groups_by_index))
        if partner:
            whole = [s for s in sets if {partner[channel] for channel in s.members} == set(s.members)]
            sets = whole + [_Candidate(tuple(sorted((c, partner[c])))) for c in live]
        sets = _greatest(sets, lambda s: len(s.members))
        sets = _greatest(sets, lambda s: min(left[channel] for channel in s.members))
        sets = _greatest(sets, lambda s: sum(left[channel] for channel in s.members))
        sets = _greatest(sets, lambda s: remainder(s.members, alone))
        sets = _greatest(sets, lambda s: -s.position)
        if rates is not None:
            sets = _greatest(sets, lambda s: min(rates[channel] or 0 for channel in s.members))
            sets = _greatest(sets, lambda s: remainder(s.members, with_rate))
        chosen = sets[0]
        depth = min(left[channel] for channel in chosen.members)
        emit(chosen.members, len(chosen.members) * depth)
        for channel in chosen.members:
            left[channel] -= depth
        if chosen.excess == "alone":
            for channel in chosen.members:
                if left[channel]:
                    alone_too = (channel,) if not partner else tuple(sorted((channel, partner[channel])))
                    emit(alone_too, len(alone_too) * left[channel])
                    for each in alone_too:
                        left[each] = 0
    return found


def _greatest(things: list[T], key: Callable[[T], Any]) -> list[T]:
    if len(things) == 1:
        return things
    keys = [key(thing) for thing in things]
    top = max(keys)
    return [thing for thing, value in zip(things, keys, strict=True) if value == top]


def _candidates(
    live: list[int],
    left: list[int],
    filled: set[int],
    controller_of: list[int],
    row: InterleaveRow,
    groups: Sequence[tuple[int, ...] | None] | None,
) -> Iterator[_Candidate]:
    """Single channels, and every subset of the live ones that the row permits now."""
    if row.style == "groups" and groups is None:
        raise ValueError("the style groups needs the groups by index")
    for channel in live:
        yield _Candidate((channel,))
    for size in range(2, len(live) + 1):
        for members in itertools.combinations(live, size):
            equal = len({left[channel] for channel in members}) == 1
            if row.style == "groups":
                for position, (group, indices) in enumerate(zip(row.groups, groups or (), strict=True)):
                    if indices is None or set(indices) != set(members):
                        continue
                    if group.exclusive and filled - set(indices):
                        continue
                    if group.excess != "none" or equal:
                        yield _Candidate(members, group.excess, position)
                continue
            if size not in row.ways or (row.excess == "none" and not equal):
                continue
            per_controller = Counter(controller_of[channel] for channel in members)
            if row.style == "any" or len(set(per_controller.values())) == 1:
                yield _Candidate(members, row.excess)


# Rates and rules


def channel_rate(board: Board, option: ProcessorOption | None, channel: Slots) -> int | None:
    """MT/s that a filled channel could run at by itself; ``None`` where it does not run."""
    modules = [module for module in channel if module is not None]
    limits = [module.rate_mts for module in modules]
    for module in modules:
        said = [
            row.mts
            for row in board.rates
            if row.dpc == len(modules)
            and (not row.kinds or module.kind in row.kinds)
            and (not row.package_ranks or module.package_ranks in row.package_ranks)
            and (not row.slots or len(channel) in row.slots)
            and (not row.voltage_mv or module.voltage_mv in row.voltage_mv)
            and _meant(row, module)
        ]
        if not said:
            return None
        for mts in said:
            if mts == "none":
                return None
            limits.append(mts)
        if option is not None and option.rates:
            allowed = [
                row.mts
                for row in option.rates
                if (not row.kinds or module.kind in row.kinds)
                and (not row.dpc or len(modules) in row.dpc)
                and _meant(row, module)
            ]
            if not allowed:
                return None
            limits += allowed
    return max((mts for mts in board.rates_mts if mts <= min(limits)), default=None)


def _meant(row: RateRow | ProcessorRate, module: Module) -> bool:
    """True where size, dies and ranks of a module are those that a row about rates names."""
    gbit = Fraction(module.capacity_gib * module.device_width, 8 * module.logical_ranks)
    return (
        (not row.capacity_gib or module.capacity_gib in row.capacity_gib)
        and (not row.die_gbit or gbit in row.die_gbit)
        and (not row.logical_ranks or module.logical_ranks in row.logical_ranks)
        and (not row.package_ranks or module.package_ranks in row.package_ranks)
    )


def _differ(modules: Iterable[Module | None], field: str) -> bool:
    return len({str(getattr(module, field)) for module in modules if module is not None}) > 1


def _has_gap(flags: Sequence[bool]) -> bool:
    return any(later and not earlier for earlier, later in itertools.pairwise(flags))


def _ranks(module: Module, count: str) -> int:
    if count == "logical":
        return module.logical_ranks
    if count == "loads" and module.kind in (Kind.LRDIMM, Kind.LRDIMM_3DS):
        return 1
    return module.package_ranks


def channel_breaks(row: RuleRow, channel: Slots) -> bool:
    """True where what lies in one channel, slot by slot, breaks the row."""
    modules = [module for module in channel if module is not None]
    match row:
        case AcceptRow():
            allowed = {str(value) for value in row.values}
            return any(str(getattr(module, row.field)) not in allowed for module in modules)
        case MixRow(apart="system" | "socket" | "channel"):
            return _differ(modules, row.field)
        case RankLimitRow():
            return sum(_ranks(module, row.count) for module in modules) > row.most
        case FillOrderRow():
            return _has_gap([module is not None for module in channel])
        case ChannelOrderRow():
            keys = [tuple(getattr(module, key) for key in row.keys) for module in modules]
            return any(later > earlier for earlier, later in itertools.pairwise(keys))
    return False


def _too_hot(
    row: ThermalLimitRow, module: Module, watts: dict[str, Fraction | None], processor: str, inlet: int | None
) -> bool:
    known = watts.get(module.label)
    return (
        (not row.processors or processor in row.processors)
        and (row.above_inlet_c is None or (inlet is not None and inlet > row.above_inlet_c))
        and (not row.kinds or module.kind in row.kinds)
        and (row.from_gib is None or module.capacity_gib >= row.from_gib)
        and (row.from_watts is None or (known is not None and float(known) >= row.from_watts))
    )


def socket_breaks(
    row: RuleRow, socket: Socket, slots: Slots, watts: dict[str, Fraction | None], processor: str, inlet: int | None
) -> bool:
    """True where what lies in one fitted socket breaks the row, the rows of single channels apart."""
    modules = [module for module in slots if module is not None]
    match row:
        case MixRow(apart="system" | "socket"):
            return _differ(modules, row.field)
        case SocketMinimumRow():
            return len(modules) < row.modules
        case CeilingRow():
            meant = not row.sockets or socket.id in row.sockets
            return meant and sum(module.capacity_gib for module in modules) > row.socket_gib
        case CountsRow():
            meant = not row.sockets or socket.id in row.sockets
            return meant and len(modules) not in row.modules
        case SequenceRow():
            lying = dict(zip(socket.slots, slots, strict=True))
            order = [slot for slot in row.slots if slot in lying]
            return row.socket == socket.id and _has_gap([lying[slot] is not None for slot in order])
        case ThermalLimitRow():
            return any(_too_hot(row, module, watts, processor, inlet) for module in modules)
    return False


def system_breaks(row: RuleRow, fillings: Sequence[Filling]) -> bool:
    """True where the fitted sockets together break the row."""
    match row:
        case MixRow(apart="system"):
            return _differ((module for filling in fillings for module in filling.slots), row.field)
        case AlikeRow(what="capacity"):
            return len({filling.capacity for filling in fillings}) > 1
        case AlikeRow(what="count"):
            return len({sum(filling.counts) for filling in fillings}) > 1
        case AlikeRow():
            builds = {filling.socket.build for filling in fillings}
            return len(builds) > 1 or any(filling.where != fillings[0].where for filling in fillings)
        case FittedRow():
            fitted = {filling.socket.id for filling in fillings}
            return all(set(allowed) != fitted for allowed in row.sets)
    return False


def broken_tables(
    rows: Iterable[RuleRow], board: Board, request: Request, fillings: Sequence[Filling]
) -> Iterator[TableRow]:
    """The population tables among some rows that the fitted sockets break; a table that says more goes before."""
    tables = [row for row in board.rules if isinstance(row, TableRow)]
    lying = {f.socket.id: {s for s, m in zip(f.socket.slots, f.slots, strict=True) if m is not None} for f in fillings}
    whole = set().union(*lying.values())

    def says(table: TableRow) -> list[object]:
        return [part for part in (table.socket, table.fitted, table.mode) if part]

    def holds(table: TableRow, socket: str) -> bool:
        at_socket = table.socket == socket if table.socket else True
        at_sockets = sorted(table.fitted) == sorted(lying) if table.fitted else True
        return at_socket and at_sockets and (table.mode == request.mode if table.mode else True)

    for row in rows:
        if not isinstance(row, TableRow):
            continue
        machine = not row.socket and "{socket}" not in str(row.rows)
        for socket, filled in [("", whole)] if machine else lying.items():
            before = [other for other in tables if holds(other, socket) and len(says(other)) > len(says(row))]
            if not holds(row, socket) or before:
                continue
            allowed = [{name.replace("{socket}", socket) for name in names} for names in row.rows.values()]
            if filled not in allowed:
                yield row
                break


@dataclass(frozen=True, slots=True, eq=False)
class Filling:
    """What lies in one fitted socket, with what follows from it alone; ``counts`` goes with the supplies."""

    socket: Socket
    slots: Slots
    capacity: int
    usable: Any
    shown: Any
    counts: tuple[int, ...]
    amounts: tuple[tuple[int, ...], ...]
    rates: tuple[int | None, ...]
    where: dict[tuple[int, int, int], Module]
    low_rank_channels: int
    errors: frozenset[str]
    advised: frozenset[str]


@dataclass(frozen=True, slots=True)
class Figures:
    """Regions and bandwidths in GB/s of one socket."""

    regions: tuple[Region, ...]
    seconds: Fraction
    sweep: Fraction
    parallel: Fraction


@dataclass(frozen=True, slots=True)
class Outcome:
    """The best placement and its criteria, or, both ``None``, the nearest capacities that can be reached."""

    vector: list[tuple[str, Any]] | None
    placement: Placement | None
    below_gib: int | None = None
    above_gib: int | None = None


class Oracle:
    """One board and one request, with what has been worked out for them already."""

    def __init__(self, board: Board, request: Request, lying: Placement | None = None) -> None:
        self.board = board
        self.request = request
        self.lying = lying or {}
        seats = [seat.partition("=") for seat in (request.processor or "").split(",")]
        known: dict[str, ProcessorOption | None] = {option.id: option for option in board.processors}
        first = board.processors[0] if board.processors else None
        self._options = {socket: known[option] for socket, _, option in seats if option}
        self._usual = known.get(request.processor or "", first)
        self.fitted = [socket for socket in board.sockets if socket.id in request.fitted]
        self.types = [supply.module for supply in request.supplies]
        self.criteria = criteria_of(request.prefer, priced=all(supply.priced for supply in request.supplies))
        self.errors = [row for row in board.rules if row.severity == "error"]
        self.advised = [row for row in board.rules if row.severity == "advised"]
        self._channels: dict[tuple[Slots, str], tuple[int | None, frozenset[str], frozenset[str]]] = {}
        self._regions: dict[Any, tuple[Region, ...]] = {}
        self._figures: dict[Any, Figures] = {}

    def option(self, socket: str) -> ProcessorOption | None:
        """The processor of a socket."""
        return self._options.get(socket, self._usual)

    def channel(self, slots: Slots, socket: str = "") -> tuple[int | None, frozenset[str], frozenset[str]]:
        """Rate, ids of error rows and of advised rows broken in one channel of a socket."""
        socket = socket if self._options else ""
        if (slots, socket) not in self._channels:
            errors = {row.id for row in self.errors if channel_breaks(row, slots)}
            advised = {row.id for row in self.advised if channel_breaks(row, slots)}
            rate = None
            if any(module is not None for module in slots):
                rate = channel_rate(self.board, self.option(socket), slots)
                if rate is None:
                    errors.add("no rate")
            self._channels[slots, socket] = rate, frozenset(errors), frozenset(advised)
        return self._channels[slots, socket]

    def filling(self, socket: Socket, slots: Slots) -> Filling:
        """One socket with these modules in its slots, judged and counted."""
        watts = {facts.label: facts.watts for facts in self.board.module_facts}
        processor = option.id if (option := self.option(socket.id)) else ""
        errors = {
            row.id for row in self.errors if socket_breaks(row, socket, slots, watts, processor, self.board.inlet_c)
        }
        advised = {
            row.id for row in self.advised if socket_breaks(row, socket, slots, watts, processor, self.board.inlet_c)
        }
        amounts: list[tuple[int, ...]] = []
        rates: list[int | None] = []
        where: dict[tuple[int, int, int], Module] = {}
        low_rank_channels = start = 0
        for a, controller in enumerate(socket.controllers):
            of_controller = []
            for b, channel in enumerate(controller.channels):
                content = slots[start : start + len(channel.slots)]
                start += len(channel.slots)
                rate, channel_errors, channel_advised = self.channel(content, socket.id)
                rates.append(rate)
                errors |= channel_errors
                advised |= channel_advised
                modules = [module for module in content if module is not None]
                where |= {(a, b, c): module for c, module in enumerate(content) if module is not None}
                of_controller.append(self.usable(modules))
                if modules and sum(module.package_ranks for module in modules) < 2:
                    low_rank_channels += 1
            amounts.append(tuple(of_controller))
        capacity = sum(module.capacity_gib for module in slots if module is not None)
        errors |= self.mode_errors(socket, slots)
        option = self.option(socket.id)
        ceiling = option.ceiling_gib if option is not None else None
        if ceiling is not None and capacity > ceiling:
            errors.add("processor ceiling")
        counts = tuple(slots.count(module) for module in self.types)
        return Filling(
            socket=socket,
            slots=slots,
            capacity=capacity,
            usable=sum(map(sum, amounts)),
            shown=self.shown(sum(map(sum, amounts))),
            counts=counts,
            amounts=tuple(amounts),
            rates=tuple(rates),
            where=where,
            low_rank_channels=low_rank_channels,
            errors=frozenset(errors),
            advised=frozenset(advised),
        )

    def usable(self, modules: Sequence[Module]) -> Any:
        """GiB that the mode leaves of one channel: half where it mirrors, all but the largest rank where it spares."""
        total = Fraction(sum(module.capacity_gib for module in modules))
        if self.request.mode is Mode.MIRRORED:
            return total / 2
        row = next((row for row in self.errors if isinstance(row, SparingRow)), None)
        if self.request.mode is Mode.SPARING and row is not None and modules:
            return total - max(Fraction(m.capacity_gib, _mode_ranks(row, m)) for m in modules)
        return total

    def shown(self, usable: Any) -> Any:
        """GiB that the system shows of a socket: less the copies of a partial mirror."""
        row = next((row for row in self.errors if isinstance(row, PartialMirroringRow)), None)
        if self.request.mode is not Mode.PARTLY_MIRRORED or row is None:
            return usable
        return usable - (row.mirrored_gib or usable * Fraction(row.mirrored_percent or 0, 100))

    def lockstep(self) -> LockstepRow | None:
        """The row on lockstep, where that is asked for."""
        rows = (row for row in self.errors if isinstance(row, LockstepRow))
        return next(rows, None) if self.request.mode is Mode.LOCKSTEP else None

    def partners(self, socket: Socket) -> dict[int, int]:
        """Channels that work in lockstep, by their places in the socket, each with the other."""
        row, names = self.lockstep(), [channel.id for channel in socket.channels]
        pairs = [(names.index(a), names.index(b)) for a, b in row.pairs if {a, b} <= set(names)] if row else []
        return dict(pairs) | {b: a for a, b in pairs}

    def mode_errors(self, socket: Socket, slots: Slots) -> set[str]:
        """What the mode misses in one socket."""
        contents: list[list[Slots]] = []
        start = 0
        for controller in socket.controllers:
            contents.append([])
            for channel in controller.channels:
                contents[-1].append(slots[start : start + len(channel.slots)])
                start += len(channel.slots)
        if self.request.mode is Mode.MIRRORED:
            return self._mirror_errors(contents, MirroringRow)
        if self.request.mode is Mode.PARTLY_MIRRORED:
            row = next((row for row in self.errors if isinstance(row, PartialMirroringRow)), None)
            gib = sum(module.capacity_gib for module in slots if module)
            small = row is not None and gib < 2 * (gib - self.shown(gib))
            return self._mirror_errors(contents, PartialMirroringRow) | ({"small"} if small else set())
        if self.request.mode is Mode.LOCKSTEP:
            return self._lockstep_errors(socket, [content for part in contents for content in part])
        if self.request.mode is Mode.SPARING:
            row = next((row for row in self.errors if isinstance(row, SparingRow)), None)
            if row is None:
                return {"no sparing"}
            ranks = [
                sum(_mode_ranks(row, module) for module in content if module)
                for of_controller in contents
                for content in of_controller
                if any(content)
            ]
            return {row.id} if any(count < row.min_ranks for count in ranks) else set()
        return set()

    def _lockstep_errors(self, socket: Socket, contents: list[Slots]) -> set[str]:
        partner = self.partners(socket)
        if not partner:
            return {"no lockstep"}
        alike = all(_stripped(contents[a]) == _stripped(contents[b]) for a, b in partner.items())
        idle = any(any(content) for place, content in enumerate(contents) if place not in partner)
        return set() if alike and not idle else {"lockstep"}

    def _mirror_errors(
        self, contents: list[list[Slots]], kind: type[MirroringRow] | type[PartialMirroringRow]
    ) -> set[str]:
        row = next((row for row in self.errors if isinstance(row, kind)), None)
        if row is None:
            return {"no mirroring"}
        sizes = row.group_channels if isinstance(row.group_channels, tuple) else (row.group_channels,)
        modules = sum(module is not None for part in contents for content in part for module in content)
        if row.modules and modules not in row.modules:
            return {row.id}
        parts = contents if row.within == "controller" else [[content for part in contents for content in part]]
        for part in parts:
            loads = sorted(str([m and m.label for m in _stripped(content)]) for content in part if any(content))
            if sizes and not _splits(loads, sizes):
                return {row.id}
        return set()

    def refusals(self, fillings: Sequence[Filling]) -> set[str]:
        """Why the fitted sockets together are no answer: ids of error rows, stock, too many types."""
        refused = {row.id for row in self.errors if system_breaks(row, fillings)}
        refused |= {error for filling in fillings for error in filling.errors}
        refused |= {row.id for row in broken_tables(self.errors, self.board, self.request, fillings)}
        has_row = any(isinstance(row, FittedRow) for row in self.board.rules)
        if not has_row and self.board.sockets[0].id not in self.request.fitted:
            refused.add("first socket absent")
        used = _added(fillings)
        for supply, count in zip(self.request.supplies, used, strict=True):
            if supply.available is not None and count > supply.available:
                refused.add("stock")
        if sum(count > 0 for count in used) > self.request.max_types:
            refused.add("max types")
        kinds = {Mode.MIRRORED: MirroringRow, Mode.PARTLY_MIRRORED: PartialMirroringRow}
        kind = kinds.get(self.request.mode)
        alone = kind is not None and any(isinstance(row, kind) and row.one_type for row in self.errors)
        if alone and sum(count > 0 for count in used) > 1:
            refused.add("one type")
        return refused

    def figures(self, filling: Filling, rate_mts: int | None) -> Figures:
        """Figures of one socket at ``rate_mts``; where that is ``None``, each channel runs at its own."""
        key = (filling, rate_mts)
        if key not in self._figures:
            own = filling.rates if rate_mts is None else None
            parts = self._regions_of(filling, own)
            row = self.lockstep()
            gives = Fraction(1, 2) if row is not None and row.pair_peak == "one" else Fraction(1)
            times = (r.capacity_gib / (r.ways * gives * _peak(rate_mts or r.rate_mts or 0)) for r in parts)
            seconds = sum(times, Fraction(0))
            busiest = max(
                amount / (gives * _peak(rate_mts or rate or 0)) if amount else Fraction(0)
                for amount, rate in zip(itertools.chain(*filling.amounts), filling.rates, strict=True)
            )
            sweep = filling.usable / seconds if seconds else Fraction(0)
            parallel = filling.usable / busiest if busiest else Fraction(0)
            self._figures[key] = Figures(parts, seconds, sweep, parallel)
        return self._figures[key]

    def _regions_of(self, filling: Filling, rates: tuple[int | None, ...] | None) -> tuple[Region, ...]:
        key = (filling.socket.id, filling.amounts, rates)
        if key not in self._regions:
            row = self.board.interleave
            groups = groups_by_index(row, [channel.id for channel in filling.socket.channels])
            self._regions[key] = tuple(regions(filling.amounts, row, groups, rates, self.partners(filling.socket)))
        return self._regions[key]

    def measure(self, fillings: Sequence[Filling]) -> dict[str, Any]:
        """Every criterion of a placement by name; ``cost`` means nothing unless every supply is priced."""
        request = self.request
        running = [[rate for rate in filling.rates if rate is not None] for filling in fillings]
        if self.board.rate_scope == "system":
            slowest = min(rate for rates in running for rate in rates)
            figures = [self.figures(filling, slowest) for filling in fillings]
        elif self.board.rate_scope == "socket":
            pairs = zip(fillings, running, strict=True)
            figures = [self.figures(filling, min(rates, default=None)) for filling, rates in pairs]
        else:
            figures = [self.figures(filling, None) for filling in fillings]
        capacities = [filling.usable for filling in fillings]
        total = sum(capacities)
        shown = sum(filling.shown for filling in fillings)
        used = _added(fillings)
        stock = list(zip(request.supplies, used, strict=True))
        advised = {row.id for row in self.advised if system_breaks(row, fillings)}
        advised |= {row_id for filling in fillings for row_id in filling.advised}
        advised |= {row.id for row in broken_tables(self.advised, self.board, self.request, fillings)}
        of_controllers = [[sum(amounts) for amounts in filling.amounts] for filling in fillings]
        system = total / max(each.seconds for each in figures)
        alone = [each.sweep if held else Fraction(0) for each, held in zip(figures, capacities, strict=True)]
        own = len(alone) * min(alone)
        return {
            "advised_broken": len(advised),
            "over_gib": max(0, shown - request.capacity_gib - (request.over_gib or 0)),
            "balanced_sweep": min(system, own),
            "system_sweep": system,
            "socket_difference_gib": max(each.shown for each in fillings) - min(each.shown for each in fillings),
            "worst_sweep": min(each.sweep for each in figures),
            "worst_parallel": min(each.parallel for each in figures),
            "controller_difference_gib": max(max(sums) - min(sums) for sums in of_controllers),
            "regions": sum(len(each.regions) for each in figures),
            "narrowest_ways": min(region.ways for each in figures for region in each.regions),
            "types": sum(count > 0 for count in used),
            "cost": sum((supply.cost(count) for supply, count in stock), Fraction(0)),
            "low_rank_channels": sum(filling.low_rank_channels for filling in fillings),
            "modules": sum(used),
            "free_slots": sum(filling.slots.count(None) for filling in fillings),
            "discarded": sum(max(0, supply.kept - count) for supply, count in stock),
            "bought": sum(max(0, count - supply.kept) for supply, count in stock),
        }

    def rank(self, fillings: Sequence[Filling]) -> tuple[Any, ...]:
        """What orders placements, the smallest first: the criteria, better is smaller, then what lies elsewhere or not
        at all, then board order.
        """
        figures = self.measure(fillings)
        whole = dict(pair for filling in fillings for pair in zip(filling.socket.slots, filling.slots, strict=True))
        moved = sum(module is not None and whole.get(slot) != module for slot, module in self.lying.items())
        signed = [figures[c.name] if c.better == "low" else -figures[c.name] for c in self.criteria]
        order = [
            (1,) if module is None else (0, -module.capacity_gib, -module.package_ranks, module.label)
            for filling in fillings
            for module in filling.slots
        ]
        return (*signed, moved, *order)

    def outcome(self, fillings: Sequence[Filling]) -> Outcome:
        """A placement as answer."""
        figures = self.measure(fillings)
        placement: Placement = dict.fromkeys(self.board.slots)
        for filling in fillings:
            placement.update(zip(filling.socket.slots, filling.slots, strict=True))
        return Outcome([(criterion.name, figures[criterion.name]) for criterion in self.criteria], placement)


def _stripped(content: Slots) -> Slots:
    """The content up to its last module: identical channels may differ in empty slots behind it."""
    last = max((place for place, module in enumerate(content) if module), default=-1)
    return content[: last + 1]


def _mode_ranks(row: SparingRow, module: Module) -> int:
    return module.package_ranks if row.spare == "package" else module.logical_ranks


def _splits(loads: list[str], sizes: tuple[int, ...]) -> bool:
    """True where the channels can be taken away group by group, each group of equal ones."""
    if not loads:
        return True
    same = loads.count(loads[0])
    rest = [load for load in loads if load != loads[0]]
    return any(size <= same and _splits([loads[0]] * (same - size) + rest, sizes) for size in sizes)


def _peak(rate_mts: int) -> Fraction:
    """GB/s of one channel."""
    return Fraction(rate_mts * 8, 1000)


def _added(fillings: Sequence[Filling]) -> list[int]:
    return [sum(counts) for counts in zip(*(filling.counts for filling in fillings), strict=True)]


def every_filling(oracle: Oracle, socket: Socket) -> Iterator[Filling]:
    """All that one socket could hold by itself; contents that no channel may have are left out first."""
    legal = [
        [
            content
            for content in itertools.product((None, *oracle.types), repeat=len(channel.slots))
            if not oracle.channel(content, socket.id)[1]
        ]
        for channel in socket.channels
    ]
    for contents in itertools.product(*legal):
        filling = oracle.filling(socket, tuple(itertools.chain(*contents)))
        if not filling.errors:
            yield filling


def best(board: Board, request: Request, lying: Placement | None = None) -> Outcome:
    """The best placement of all, by trying every one that reaches the capacity asked. ``lying`` is in the machine."""
    oracle = Oracle(board, request, lying)
    by_capacity: list[dict[int, list[Filling]]] = []
    for socket in oracle.fitted:
        sorted_out: dict[int, list[Filling]] = {}
        for filling in every_filling(oracle, socket):
            sorted_out.setdefault(filling.shown, []).append(filling)
        by_capacity.append(sorted_out)
    shares: dict[int, list[tuple[int, ...]]] = {}
    for capacities in itertools.product(*by_capacity):
        shares.setdefault(sum(capacities), []).append(capacities)

    def answers(totals: Iterable[int]) -> Iterator[tuple[Filling, ...]]:
        for total in totals:
            for capacities in shares[total]:
                lists = [of[capacity] for of, capacity in zip(by_capacity, capacities, strict=True)]
                for fillings in itertools.product(*lists):
                    if not oracle.refusals(fillings):
                        yield fillings

    asked, limit = request.capacity_gib, request.limit_gib
    inside = answers(total for total in shares if asked <= total <= limit)
    first = min(inside, key=oracle.rank, default=None)
    if first is None:
        above = answers(total for total in shares if total > limit)
        first = min(above, key=oracle.rank, default=None)
    if first is not None:
        return oracle.outcome(first)
    below = answers(total for total in sorted(shares, reverse=True) if 0 < total < asked)
    nearest = next(below, None)
    return Outcome(None, None, below_gib=sum(f.shown for f in nearest) if nearest else None)
