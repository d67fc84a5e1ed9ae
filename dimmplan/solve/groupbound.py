"""How long a socket with listed groups is swept at least, while its channels are loaded one after another."""

from __future__ import annotations

import itertools
import math
from collections.abc import Hashable, Sequence

from dimmplan.interleave import Permitted
from dimmplan.solve.space import Load


def loading_order(shapes: Sequence[Hashable]) -> list[int]:
    """Places of channels in the order in which they are loaded: equal ones behind one another."""
    places: dict[Hashable, list[int]] = {}
    for index, shape in enumerate(shapes):
        places.setdefault(shape, []).append(index)
    return [index for indices in places.values() for index in indices]


class GroupBound:
    """A lower bound on sweep time for listed groups: each GiB waits in the widest set that its channel may yet join.

    Channels are loaded in ``order``; what holds after each step is kept for the next. ``low_gib`` is the least that the
    socket is to hold, ``rate`` that of the system in MT/s, or 0 where each load has its own; times are in GiB x
    (``rate_unit`` / MT/s).
    """

    def __init__(self, permitted: Permitted, order: Sequence[int], *, low_gib: int, rate_unit: int, rate: int) -> None:
        groups = sorted(permitted.groups, key=lambda group: -len(group.channels))
        self.order = order
        self.low_gib = low_gib
        self.fastest = rate_unit // rate if rate else 0
        self.rate_unit = rate_unit
        self.scale = math.lcm(*(len(group.channels) for group in groups))
        self.members = [(1 << index, group.channels) for index, group in enumerate(groups)]
        equal = all(group.excess != "layers" for group in groups)
        self.without_empty = [0] * len(order)
        """By channel: the groups, as bits, that stay possible when it is empty."""
        self.without_others = [0] * len(order)
        """By channel: the groups that stay possible when it is filled."""
        self.without_unequal: list[dict[int, int]] = [{} for _ in order]
        """By channel and one loaded before it: the groups that stay possible when their amounts differ."""
        for channel in range(len(order)):
            joined = [bit for bit, channels in self.members if channel in channels]
            self.without_empty[channel] = ~sum(joined)
            exclusive = [1 << index for index, group in enumerate(groups) if group.exclusive]
            self.without_others[channel] = ~sum(bit for bit in exclusive if bit not in joined)
        for (bit, channels), group in zip(self.members, groups, strict=True):
            if equal and group.excess == "none":
                for one, other in itertools.pairwise(channel for channel in order if channel in channels):
                    known = self.without_unequal[other]
                    known[one] = known.get(one, -1) & ~bit
        self._open = [(1 << len(groups)) - 1] * (len(order) + 1)
        self._times = [0] * (len(order) + 1)
        self._known: dict[int, tuple[list[int], list[int]]] = {}

    def least_time(self, step: int, chosen: Sequence[Load | None], gib: int) -> int:
        """No completion is swept in less, when the channels up to that step hold these loads, ``gib`` in all."""
        channel = self.order[step]
        before = self._open[step]
        after = self._open[step + 1] = before & self._kept(channel, chosen)
        shares, rest = self._waits(after)
        loaded = self.order[step : step + 1] if after == before else self.order[: step + 1]
        time = self._times[step] if after == before else 0
        for each in loaded:
            load = chosen[each]
            if load and load.gib:
                time += load.gib * shares[each] * (self.fastest or self.rate_unit // load.rate)
        self._times[step + 1] = time
        missing = self.low_gib - gib
        return -(-(time + (missing * self.fastest * rest[step + 1] if missing > 0 else 0)) // self.scale)

    def _kept(self, channel: int, chosen: Sequence[Load | None]) -> int:
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

    def _waits(self, possible: int) -> tuple[list[int], list[int]]:
        """Scaled share of its time that a GiB waits at least: by channel, and the least from each step on."""
        known = self._known.get(possible)
        if known is None:
            shares = [self.scale] * len(self.order)
            for bit, channels in reversed(self.members):
                if possible & bit:
                    for channel in channels:
                        shares[channel] = self.scale // len(channels)
            rest = list(itertools.accumulate([shares[channel] for channel in reversed(self.order)], min))
            known = self._known[possible] = shares, [*reversed(rest), 0]
        return known
