"""The figures of a placement: rates, regions, sweep, parallel, shares. Exact fractions; no choosing.

All bandwidths are peaks in decimal GB/s and a model of firmware, never a promise (``MODEL``): STREAM usually
measures 70 to 85 % of peak (report-03).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from dimmplan.interleave import Region, paired_regions, permitted_sets, regions
from dimmplan.model.board import Board, Socket
from dimmplan.model.module import Module
from dimmplan.model.request import Mode
from dimmplan.model.rows import ProcessorOption
from dimmplan.rates import ChannelRate, rate_on
from dimmplan.rules import Content, mode_row, shown_gib, usable_gib
from dimmplan.units import Gib, channel_peak_gb_s, whole

NO_RATE = ChannelRate(0, "no modules")
"""The rate of a socket without modules."""


class RegionFigures(NamedTuple):
    """One region of a socket: channel names, and its peak at the rate of its slowest channel."""

    ways: int
    capacity_gib: Gib
    channels: tuple[str, ...]
    rate_mts: int
    peak_gb_s: Fraction


class SocketFigures(NamedTuple):
    """The figures of one fitted socket. ``rate`` is the rate it runs at; GiB and GB/s."""

    socket: str
    capacity_gib: int = 0
    usable_gib: Gib = 0
    modules: int = 0
    rate: ChannelRate = NO_RATE
    channel_gib: tuple[int, ...] = ()
    peak_gb_s: Fraction = Fraction(0)
    sweep_gb_s: Fraction = Fraction(0)
    parallel_gb_s: Fraction = Fraction(0)
    share: Fraction = Fraction(0)
    controller_difference_gib: Gib = 0
    low_rank_channels: int = 0
    regions: tuple[RegionFigures, ...] = ()

    @property
    def swept_gib(self) -> Fraction:
        """What the regions hold: what is usable, and in a partial mirror the copies too."""
        return sum((Fraction(region.capacity_gib) for region in self.regions), Fraction(0))

    @property
    def sweep_time(self) -> Fraction:
        """GiB per GB/s: what one sweep takes, in the unit in which times of sockets are compared."""
        return self.swept_gib / self.sweep_gb_s if self.sweep_gb_s else Fraction(0)


class NodeFigures(NamedTuple):
    """The figures of one node of a socket with a firmware setting (``setting`` is its row)."""

    setting: str
    node: str
    figures: SocketFigures


class PlacementFigures(NamedTuple):
    """The figures of a whole placement over the fitted sockets."""

    sockets: tuple[SocketFigures, ...]
    free_slots: int
    nodes: tuple[NodeFigures, ...] = ()
    watts: Fraction | None = None
    """The most that the modules take; ``None`` where the board file does not say it of each."""

    @property
    def usable_gib(self) -> Gib:
        """Usable capacity over all fitted sockets."""
        return whole(sum((Fraction(socket.usable_gib) for socket in self.sockets), Fraction(0)))

    @property
    def capacity_gib(self) -> int:
        """Capacity of all modules that count as memory."""
        return sum(socket.capacity_gib for socket in self.sockets)

    @property
    def modules(self) -> int:
        """Number of modules."""
        return sum(socket.modules for socket in self.sockets)

    @property
    def rate_mts(self) -> int:
        """The lowest rate that a fitted socket with modules runs at."""
        return min(socket.rate.rate_mts for socket in self.sockets if socket.modules)

    @property
    def system_sweep_gb_s(self) -> Fraction:
        """All that is swept over the longest of the sockets' sweep times."""
        longest = max(socket.sweep_time for socket in self.sockets)
        swept = sum((socket.swept_gib for socket in self.sockets), Fraction(0))
        return swept / longest if longest else Fraction(0)

    @property
    def worst_sweep_gb_s(self) -> Fraction:
        """The sweep of the slowest fitted socket; 0 where one has no memory."""
        return min(socket.sweep_gb_s for socket in self.sockets)

    @property
    def own_sweep_gb_s(self) -> Fraction:
        """What the sockets sweep together when each works in its own memory, all as hard as the slowest can."""
        return len(self.sockets) * self.worst_sweep_gb_s

    @property
    def balanced_sweep_gb_s(self) -> Fraction:
        """The lower of system sweep and own sweep: what the machine gives whichever way its memory is used."""
        return min(self.system_sweep_gb_s, self.own_sweep_gb_s)

    @property
    def socket_difference_gib(self) -> Gib:
        """Largest minus smallest usable capacity of a fitted socket."""
        usable = [Fraction(socket.usable_gib) for socket in self.sockets]
        return whole(max(usable) - min(usable))

    @property
    def worst_share(self) -> Fraction:
        """The smallest share of the fitted sockets."""
        return min(socket.share for socket in self.sockets)


def socket_rates(
    board: Board, option: ProcessorOption | None, socket: Socket, content: Content
) -> list[ChannelRate | None]:
    """Rate of each channel of a socket by its own rows; ``None`` for an empty channel or one without a row."""
    found: list[ChannelRate | None] = []
    for channel in socket.channels:
        modules = [module for slot in channel.slots if (module := content.get(slot))]
        found.append(rate_on(board, option, channel, modules) if modules else None)
    return found


def placement_figures(
    board: Board,
    option: ProcessorOption | None,
    fitted: Sequence[str],
    content: Content,
    *,
    mode: Mode = Mode.INDEPENDENT,
) -> PlacementFigures:
    """The figures of a placement on the fitted sockets, regions over what the mode leaves usable.

    In the mirrored mode ways count physical channels and the sweep is that of reading; writing is half of it. In a
    partial mirror regions hold the copies too. In lockstep a pair of channels is two ways of one region.

    A socket without modules runs at rate 0 and has figures of 0. Raises ``ValueError`` where there is no module at
    all, or a filled channel has no rate: judge the rules first.
    """
    board = board.serving(option)
    sockets = [board.socket(socket_id) for socket_id in fitted]
    own = [socket_rates(board, option, socket, content) for socket in sockets]
    lowest = [min((rate for rate in rates if rate), key=_by_rate, default=NO_RATE) for rates in own]
    running = [rate for rate in lowest if rate.rate_mts]
    if not running:
        raise ValueError("no fitted socket has a module that runs")
    slowest = min(running, key=_by_rate)
    bound = [slowest if board.rate_scope == "system" and rate.rate_mts else rate for rate in lowest]
    figures = tuple(
        _socket_figures(board, socket, content, rate=rate, own=rates, mode=mode)
        for socket, rate, rates in zip(sockets, bound, own, strict=True)
    )
    free = sum(content.get(slot) is None for socket in sockets for slot in socket.slots)
    nodes = tuple(
        NodeFigures(
            row.id, node, _socket_figures(board, part, content, rate=rate, own=rates, mode=mode, whole_socket=False)
        )
        for row in board.nodes
        for socket, rate in zip(sockets, bound, strict=True)
        for node, controllers in row.nodes.items()
        if row.socket in (None, socket.id) and (part := socket.part(controllers)).channels
        for rates in (socket_rates(board, option, part, content),)
    )
    held = [module for socket in sockets for slot in socket.slots if (module := content.get(slot))]
    return PlacementFigures(sockets=figures, free_slots=free, nodes=nodes, watts=board.watts_of(held))


def figures_if_any(
    board: Board,
    option: ProcessorOption | None,
    fitted: Sequence[str],
    content: Content,
    *,
    mode: Mode = Mode.INDEPENDENT,
) -> PlacementFigures | None:
    """As ``placement_figures``; ``None`` where there is no module, or where something cannot run."""
    try:
        return placement_figures(board, option, fitted, content, mode=mode)
    except ValueError:
        return None


def _by_rate(rate: ChannelRate) -> int:
    return rate.rate_mts


def _socket_figures(
    board: Board,
    socket: Socket,
    content: Content,
    *,
    rate: ChannelRate,
    own: list[ChannelRate | None],
    mode: Mode,
    whole_socket: bool = True,
) -> SocketFigures:
    """Of a part of a socket nobody knows what copies of a partial mirror it holds: all that it has is usable there."""
    loads = [[module for slot in channel.slots if (module := content.get(slot))] for channel in socket.channels]
    if any(load and not each for load, each in zip(loads, own, strict=True)):
        raise ValueError(f"a channel of {socket.id} has no rate")
    gib = [sum(module.capacity_gib for module in load) for load in loads]
    if not any(gib):
        return SocketFigures(socket.id, channel_gib=tuple(gib))
    usable = [usable_gib(board, mode, load) for load in loads]
    scale = math.lcm(*(amount.denominator for amount in usable))
    by_channel = board.rate_scope == "channel"
    rates = [each.rate_mts if each and by_channel else rate.rate_mts for each in own]
    amounts = _per_controller(socket, [int(amount * scale) for amount in usable])
    grouped = _per_controller(socket, rates) if by_channel else None
    permitted, row = permitted_sets(board.interleave, socket), mode_row(board, mode)
    share = Fraction(1) if row is None else row.peak
    if row is not None and row.folds:
        places = {channel.id: place for place, channel in enumerate(socket.channels)}
        pairs = [[places[channel.id] for channel in pair] for pair in row.pairs_of(socket)]
        found = paired_regions(amounts, permitted, pairs, grouped)
    else:
        found = regions(amounts, permitted, grouped)
    shown = tuple(_region_figures(socket, region, rates, scale, share) for region in found)
    total = sum(usable, Fraction(0))
    time = sum((Fraction(r.capacity_gib) / r.peak_gb_s for r in shown), Fraction(0))
    sweep = total / time if time else Fraction(0)
    peak = sum((channel_peak_gb_s(each) for each in rates), Fraction(0))
    fullest = max(amount / (channel_peak_gb_s(each) * share) for amount, each in zip(usable, rates, strict=True))
    controllers = [sum(controller) for controller in amounts]
    return SocketFigures(
        socket=socket.id,
        capacity_gib=sum(gib),
        usable_gib=whole(shown_gib(board, mode, total) if whole_socket else total),
        modules=sum(len(load) for load in loads),
        rate=rate,
        channel_gib=tuple(gib),
        peak_gb_s=peak,
        sweep_gb_s=sweep,
        parallel_gb_s=total / fullest if fullest else Fraction(0),
        share=sweep / peak,
        controller_difference_gib=whole(Fraction(max(controllers) - min(controllers), scale)),
        low_rank_channels=sum(is_low_rank(load) for load in loads),
        regions=shown,
    )


def is_low_rank(load: Sequence[Module]) -> bool:
    """True for a filled channel with under two package ranks: it cannot overlap ranks."""
    return bool(load) and sum(module.package_ranks for module in load) < 2


def _per_controller(socket: Socket, values: Sequence[int]) -> tuple[tuple[int, ...], ...]:
    each = iter(values)
    return tuple(tuple(next(each) for _ in controller.channels) for controller in socket.controllers)


def _region_figures(socket: Socket, region: Region, rates: Sequence[int], scale: int, share: Fraction) -> RegionFigures:
    slowest = min(rates[index] for index in region.channels)
    return RegionFigures(
        ways=region.ways,
        capacity_gib=whole(Fraction(region.capacity, scale)),
        channels=tuple(socket.channels[index].name for index in region.channels),
        rate_mts=slowest,
        peak_gb_s=region.ways * channel_peak_gb_s(slowest) * share,
    )
