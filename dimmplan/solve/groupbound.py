"""How long a socket with listed groups is swept at least, while its channels are loaded one after another."""

from __future__ import annotations

import itertools
import math
from collections.abc import Hashable, Sequence

from dimmplan.interleave import Permitted
from dimmplan.solve.space import Load

Loads = Sequence[Load | None]
"""What each channel is loaded with; ``None`` where that is open."""


def loading_order(shapes: Sequence[Hashable]) -> list[int]:
    """Places of channels in the order in which they are loaded: equal ones behind one another."""
    places: dict[Hashable, list[int]] = {}
    for index, shape in enumerate(shapes):
        places.setdefault(shape, []).append(index)
    return [index for indices in places.values() for index in indices]


class GroupBound:
    """A lower bound on sweep time: each GiB waits in the widest group that its channel may yet join.

    Channels are loaded in ``order``, and what holds after each step is kept for the next. ``low_gib`` is the least that
    the socket is to hold, ``rate`` that of the system in MT/s, or 0 where each load has its own; times are in GiB x
    (``rate_unit`` / MT/s). A load is that of ``width`` channels that work as one.
    """

    def __init__(
        self, permitted: Permitted, order: Sequence[int], *, low_gib: int, rate_unit: int, rate: int, width: int = 1
    ) -> None:
        self.groups = sorted(permitted.groups, key=lambda group: -len(group.channels))
        self.order = order
        self.low_gib = low_gib
        self.fastest = rate_unit // rate if rate else 0
        self.rate_unit = rate_unit
        self.scale = math.lcm(*(len(group.channels) for group in self.groups))
        self.width = width
        bits = [(1 << index, group) for index, group in enumerate(self.groups)]
        self.without_empty = [
            ~sum(bit for bit, group in bits if channel in group.channels) for channel in range(len(order))
        ]
        """By channel: the groups, as bits, that stay possible when it is empty."""
        self.without_others = [
            ~sum(bit for bit, group in bits if group.exclusive and channel not in group.channels)
            for channel in range(len(order))
        ]
        """By channel: the groups that stay possible when it is filled."""
        self.without_unequal: list[dict[int, int]] = [{} for _ in order]
        """By channel and one loaded before it: the groups that stay possible when their amounts differ."""
        for bit, group in bits:
            members = [channel for channel in order if channel in group.channels]
            for one, other in itertools.pairwise(members if group.excess == "none" else ()):
                known = self.without_unequal[other]
                known[one] = known.get(one, -1) & ~bit
        self._open = [(1 << len(bits)) - 1] * (len(order) + 1)
        self._times = [0] * (len(order) + 1)
        self._known: dict[int, tuple[list[int], list[int]]] = {}

    def least_time(self, step: int, chosen: Loads, gib: int) -> int:
        """No completion is swept in less, when the channels up to that step hold these loads, ``gib`` in all."""
        time, rest = self._loaded(step, chosen)
        missing = self.low_gib - gib
        return -(-(time + (missing * self.fastest * rest if missing > 0 else 0)) // (self.scale * self.width))

    def _loaded(self, step: int, chosen: Loads) -> tuple[int, int]:
        """Scaled time of what is loaded, and the least share of its time that a GiB waits in the channels left."""
        channel = self.order[step]
        before = self._open[step]
        after = self._open[step + 1] = before & self._kept(channel, chosen)
        known = self._known.get(after)
        if known is None:
            possible = [bool(after >> index & 1) for index in range(len(self.groups))]
            known = self._known[after] = self._shares(possible), self._rests(possible)
        shares, rests = known
        loaded = self.order[step : step + 1] if after == before else self.order[: step + 1]
        time = self._times[step] if after == before else 0
        for each in loaded:
            load = chosen[each]
            if load and load.gib:
                time += load.gib * shares[each] * self._unit(load)
        self._times[step + 1] = time
        return time, rests[step + 1]

    def _kept(self, channel: int, chosen: Loads) -> int:
        """The groups that are still possible with the load of a channel."""
        load = chosen[channel]
        if not load or not load.gib:
            return self.without_empty[channel]
        kept = self.without_others[channel]
        for other, groups in self.without_unequal[channel].items():
            beside = chosen[other]
            if beside and beside.gib != load.gib:
                kept &= groups
        return kept

    def _rests(self, possible: Sequence[bool]) -> list[int]:
        """The least scaled share of its time that a GiB waits in any channel from each step on."""
        shares = self._shares(possible)
        return [*reversed(list(itertools.accumulate([shares[c] for c in reversed(self.order)], min))), 0]

    def _shares(self, possible: Sequence[bool]) -> list[int]:
        """By channel: the scaled share of its time that a GiB waits in the widest of the possible groups."""
        shares = [self.scale] * len(self.order)
        for group, holds in zip(reversed(self.groups), reversed(possible), strict=True):
            if holds:
                for channel in group.channels:
                    shares[channel] = self.scale // len(group.channels)
        return shares

    def _unit(self, load: Load) -> int:
        """The least time of one GiB of a load."""
        return self.fastest or self.rate_unit // load.rate
