"""What each kind of socket could hold, tabulated by the oracle's rules and its interleave loop.

Equal channels of a controller and equal controllers are loaded in one order only; everything else is tried. A row of
the table stands for all populations with the same figures. Nothing here is read from the planner's search.
"""

from __future__ import annotations

import itertools
import time
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from dimmplan.model.board import Board, Socket
from dimmplan.model.request import Mode, Request
from dimmplan.rules import AlikeRow, SequenceRow
from tests.oracle.brute import Filling, Oracle, Slots, groups_by_index

Rate = int | None


@dataclass(frozen=True, slots=True)
class Held:
    """One row: a filling that stands for all like it, its slowest rate, and its figures at each rate it may run at.

    Figures are seconds, sweep and parallel, by the system's rate; by ``None`` where that does not decide.
    """

    filling: Filling
    rate: Rate
    figures: dict[Rate, tuple[Fraction, Fraction, Fraction]]
    controller_difference: Any
    regions: int
    narrowest: int | None


@dataclass(frozen=True, slots=True)
class Kind:
    """Equal sockets and what each of them could hold."""

    sockets: tuple[Socket, ...]
    rows: tuple[Held, ...]


class Tables:
    """The tables of one request, made once for each limit of capacity."""

    def __init__(self, board: Board, request: Request) -> None:
        self.board, self.request = board, request
        self._known: dict[int | None, tuple[Oracle, list[Kind], float]] = {}

    def within(self, most_gib: int | None) -> tuple[Oracle, list[Kind], float]:
        """A table for each kind of fitted socket, no filling above the limit, and the seconds that making it took."""
        if most_gib not in self._known:
            began = time.process_time()
            oracle = Oracle(self.board, self.request)
            kinds: dict[Any, list[Socket]] = {}
            for socket in oracle.fitted:
                kinds.setdefault(_kind_of(self.board, socket), []).append(socket)
            tables = [Kind(tuple(alike), tuple(_rows(oracle, alike[0], most_gib))) for alike in kinds.values()]
            self._known[most_gib] = oracle, tables, time.process_time() - began
        return self._known[most_gib]


def _kind_of(board: Board, socket: Socket) -> Any:
    named = [row.id for row in board.rules if socket.id in getattr(row, "sockets", ())]
    ordered = [row.id for row in board.rules if isinstance(row, SequenceRow) and row.socket == socket.id]
    shape = tuple(tuple(len(channel.slots) for channel in each.channels) for each in socket.controllers)
    groups = groups_by_index(board.interleave, [channel.id for channel in socket.channels])
    return shape, tuple(groups), tuple(named), tuple(ordered)


def _rows(oracle: Oracle, socket: Socket, most_gib: int | None) -> Iterator[Held]:
    """One row for each set of figures."""
    alike = any(isinstance(row, AlikeRow) and row.what == "population" for row in oracle.board.rules)
    seen = set()
    for slots in fillings(oracle, socket, most_gib):
        filling = oracle.filling(socket, slots)
        if filling.errors:
            continue
        row = _held(oracle, filling)
        key = (
            filling.counts,
            filling.usable,
            filling.low_rank_channels,
            filling.advised,
            row.rate,
            tuple(row.figures.values()),
            row.controller_difference,
            row.regions,
            row.narrowest,
            filling.slots if alike else None,
        )
        if key not in seen:
            seen.add(key)
            yield row


def _held(oracle: Oracle, filling: Filling) -> Held:
    scope = oracle.board.rate_scope
    running = [rate for rate in filling.rates if rate is not None]
    rate = min(running, default=None)
    by_system = scope == "system"
    at: list[Rate] = [mts for mts in oracle.board.rates_mts if rate is None or mts <= rate] if by_system else [None]
    figures = {each: oracle.figures(filling, rate if scope == "socket" else each) for each in at}
    parts = next(iter(figures.values())).regions
    sums = [sum(amounts) for amounts in filling.amounts]
    return Held(
        filling=filling,
        rate=rate,
        figures={each: (found.seconds, found.sweep, found.parallel) for each, found in figures.items()},
        controller_difference=max(sums) - min(sums),
        regions=len(parts),
        narrowest=min((region.ways for region in parts), default=None),
    )


def fillings(oracle: Oracle, socket: Socket, most_gib: int | None) -> Iterator[Slots]:
    """Contents of a socket, one for each way that does not differ by swapping equal channels or controllers."""
    swaps = not any(isinstance(row, SequenceRow) and row.socket == socket.id for row in oracle.board.rules)
    classes = _classes(oracle, socket, swaps=swaps)
    loads = [_loads(oracle, len(channel.slots), swaps=swaps) for channel in socket.channels]
    spans = list(itertools.accumulate((len(each.channels) for each in socket.controllers), initial=0))
    swap_controllers = swaps and oracle.board.interleave.style != "groups"
    stock = [supply.available for supply in oracle.request.supplies]
    independent = oracle.request.mode is Mode.INDEPENDENT
    most = most_gib if independent else None
    chosen: list[int] = []

    def in_order() -> bool:
        """True unless the controller just filled comes before its equal neighbour."""
        end = len(chosen)
        if not swap_controllers or end not in spans[2:]:
            return True
        here, before = spans.index(end), spans.index(end) - 1
        one, other = (slice(spans[n - 1], spans[n]) for n in (before, here))
        return classes[one] != classes[other] or chosen[one] <= chosen[other]

    def extend(slots: Slots, gib: int, counts: list[int]) -> Iterator[Slots]:
        place = len(chosen)
        if place == len(loads):
            yield slots
            return
        same = place and place not in spans and classes[place] == classes[place - 1]
        for index in range(chosen[-1] if same else 0, len(loads[place])):
            load = loads[place][index]
            more = [count + load.count(module) for count, module in zip(counts, oracle.types, strict=True)]
            total = gib + sum(module.capacity_gib for module in load if module is not None)
            if most is not None and total > most:
                continue
            if any(limit is not None and count > limit for count, limit in zip(more, stock, strict=True)):
                continue
            chosen.append(index)
            if in_order():
                yield from extend(slots + load, total, more)
            chosen.pop()

    yield from extend((), 0, [0] * len(oracle.types))


def _classes(oracle: Oracle, socket: Socket, *, swaps: bool) -> list[Any]:
    """What makes a channel equal to its neighbour."""
    found: list[Any] = []
    for channel in socket.channels:
        row = oracle.board.interleave
        listed = tuple(n for n, group in enumerate(row.groups) if channel.id in group.channels)
        own = channel.id if not swaps else listed if row.style == "groups" else ()
        found.append((len(channel.slots), own))
    return found


def _loads(oracle: Oracle, slots: int, *, swaps: bool) -> list[Slots]:
    """What one channel may hold; of orders that are judged alike only one, unless the order of slots counts.

    It does where channels are to be identical, as those that mirror each other.
    """
    found: dict[Any, Slots] = {}
    counts = not swaps or oracle.request.mode is Mode.MIRRORED
    for content in itertools.product((None, *oracle.types), repeat=slots):
        rate, errors, advised = oracle.channel(content)
        if not errors:
            held = tuple(sorted(module.label for module in content if module is not None))
            found.setdefault((held, rate, advised, content if counts else None), content)
    return list(found.values())
