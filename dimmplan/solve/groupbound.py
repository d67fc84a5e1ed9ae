"""How long a socket with listed groups is swept at least, while its channels are loaded one after another."""

from __future__ import annotations

import itertools
import math
from abc import ABC, abstractmethod
from collections.abc import Hashable, Sequence
from typing import NamedTuple

from dimmplan.interleave import Permitted
from dimmplan.solve.depths import UNLIMITED
from dimmplan.solve.space import Load

Loads = Sequence[Load | None]
"""What each channel is loaded with; ``None`` where that is open."""


def loading_order(shapes: Sequence[Hashable]) -> list[int]:
    """Places of channels in the order in which they are loaded: equal ones behind one another."""
    places: dict[Hashable, list[int]] = {}
    for index, shape in enumerate(shapes):
        places.setdefault(shape, []).append(index)
    return [index for indices in places.values() for index in indices]


def group_bound(permitted: Permitted, order: Sequence[int], *, low_gib: int, rate_unit: int, rate: int) -> GroupBound:
    """The bound for a socket with these groups, whose channels are loaded in ``order``.

    ``low_gib`` is the least that the socket is to hold, ``rate`` that of the system in MT/s, or 0 where each load has
    its own; times are in GiB x (``rate_unit`` / MT/s).
    """
    layered = any(group.excess == "layers" for group in permitted.groups)
    return (DepthBound if layered else WidthBound)(permitted, order, low_gib, rate_unit, rate)


class GroupBound(ABC):
    """A lower bound on sweep time. What holds after each step is kept for the next."""

    def __init__(self, permitted: Permitted, order: Sequence[int], low_gib: int, rate_unit: int, rate: int) -> None:
        self.groups = sorted(permitted.groups, key=lambda group: -len(group.channels))
        self.order = order
        self.low_gib = low_gib
        self.fastest = rate_unit // rate if rate else 0
        self.rate_unit = rate_unit
        self.scale = math.lcm(*(len(group.channels) for group in self.groups))

    def least_time(self, step: int, chosen: Loads, gib: int) -> int:
        """No completion is swept in less, when the channels up to that step hold these loads, ``gib`` in all."""
        time, rest = self._loaded(step, chosen)
        missing = self.low_gib - gib
        return -(-(time + (missing * self.fastest * rest if missing > 0 else 0)) // self.scale)

    @abstractmethod
    def _loaded(self, step: int, chosen: Loads) -> tuple[int, int]:
        """Scaled time of what is loaded, and the least share of its time that a GiB waits in the channels left."""

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


class WidthBound(GroupBound):
    """Where no group leaves layers: each GiB waits in the widest group that its channel may yet join.

    Groups without excess want their members equal, so how deep they are says nothing more.
    """

    def __init__(self, permitted: Permitted, order: Sequence[int], low_gib: int, rate_unit: int, rate: int) -> None:
        super().__init__(permitted, order, low_gib, rate_unit, rate)
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

    def _loaded(self, step: int, chosen: Loads) -> tuple[int, int]:
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


class _Depths(NamedTuple):
    """How deep each group may still be, the scaled time of what is loaded, and what a GiB waits from each step on."""

    room: list[int]
    time: int
    rests: list[int]


class DepthBound(GroupBound):
    """Where groups leave layers: each channel fills its groups, the widest first, and is alone for the rest.

    A group is used once at most, as deep as the least of its members holds: after that one of them is empty. What a
    wider group around it serves is served to that member too, and no longer there for the narrower one. Where several
    stand inside the same wider one, that counts for one of them alone: the wider may turn out impossible, and then all
    the narrower ones are as deep as they can.
    """

    def __init__(self, permitted: Permitted, order: Sequence[int], low_gib: int, rate_unit: int, rate: int) -> None:
        super().__init__(permitted, order, low_gib, rate_unit, rate)
        self.joined = [self._ways(channel) for channel in range(len(order))]
        """By channel: its groups, the scaled share of its time that a GiB waits there, and which of them are around."""
        self.shut_out = [
            [index for index, group in enumerate(self.groups) if group.exclusive and channel not in group.channels]
            for channel in range(len(order))
        ]
        """By channel: the groups that are impossible when it is filled."""
        self._known: dict[tuple[bool, ...], list[int]] = {}
        room = [UNLIMITED] * len(self.groups)
        self._states = [_Depths(room, 0, self._rests_of(room))] * (len(order) + 1)
        """What holds before each step."""

    def _ways(self, channel: int) -> list[tuple[int, int, list[int]]]:
        """A group stands inside one other at most, and only one inside each, so that the widest first is the best."""
        found: list[tuple[int, int, list[int]]] = []
        joined = [(index, set(group.channels)) for index, group in enumerate(self.groups) if channel in group.channels]
        free: set[int] = set()
        for place, (index, members) in enumerate(joined):
            chains = [[wider, *found[wider][2]] for wider in sorted(free) if members <= joined[wider][1]]
            around = max(chains, key=len, default=[])
            free = free - set(around) | {place}
            found.append((index, self.scale // len(members), around))
        return found

    def _loaded(self, step: int, chosen: Loads) -> tuple[int, int]:
        before = self._states[step]
        room = self._after(before.room, self.order[step], chosen)
        if room is before.room:
            after = before._replace(time=before.time + self._waits(self.order[step : step + 1], chosen, room))
        else:
            after = _Depths(room, self._waits(self.order[: step + 1], chosen, room), self._rests_of(room))
        self._states[step + 1] = after
        return after.time, after.rests[step + 1]

    def _rests_of(self, room: Sequence[int]) -> list[int]:
        possible = tuple([depth > 0 for depth in room])
        known = self._known.get(possible)
        if known is None:
            known = self._known[possible] = self._rests(possible)
        return known

    def _after(self, room: list[int], channel: int, chosen: Loads) -> list[int]:
        """How deep each group may be once a channel is loaded; the same list where nothing changes."""
        load = chosen[channel]
        gib = load.gib if load else 0
        less = [(index, gib) for index, _, _ in self.joined[channel] if room[index] > gib]
        if gib:
            less += [(index, 0) for index in self.shut_out[channel] if room[index]]
        if not less:
            return room
        after = room.copy()
        for index, depth in less:
            after[index] = depth
        return after

    def _waits(self, channels: Sequence[int], chosen: Loads, room: Sequence[int]) -> int:
        """The scaled time that the GiB of some channels wait at least."""
        time = 0
        for channel in channels:
            load = chosen[channel]
            if load and load.gib:
                time += self._wait(channel, load.gib, room) * self._unit(load)
        return time

    def _wait(self, channel: int, gib: int, room: Sequence[int]) -> int:
        """The scaled time that so many GiB of a channel wait at least, at one GiB a time."""
        wait = 0
        taken: list[int] = []
        for index, share, around in self.joined[channel]:
            depth = room[index]
            for place in around:
                depth -= taken[place]
            if depth >= gib:
                return wait + gib * share
            depth = max(depth, 0)
            taken.append(depth)
            wait += depth * share
            gib -= depth
        return wait + gib * self.scale
