"""How long a socket with listed groups is swept at least, while its channels are loaded one after another."""

from __future__ import annotations

import itertools
import math
from collections.abc import Hashable, Iterator, Sequence
from typing import Any, NamedTuple

from dimmplan.interleave import Group, Permitted
from dimmplan.solve.space import Load

Loads = Sequence[Load | None]
"""What each channel is loaded with; ``None`` where that is open."""


NO_LIMIT = 1 << 80


def loading_order(shapes: Sequence[Hashable]) -> list[int]:
    """Places of channels in the order in which they are loaded: equal ones behind one another."""
    places: dict[Hashable, list[int]] = {}
    for index, shape in enumerate(shapes):
        places.setdefault(shape, []).append(index)
    return [index for indices in places.values() for index in indices]


def _may_level(one: Group, other: Group) -> bool:
    """True where what ``one`` serves may make the members of ``other`` equal, and leave something in all of them."""
    mine, its = set(one.channels), set(other.channels)
    return one.excess == "layers" and bool(mine & its) and not (mine <= its or its <= mine)


class _Member(NamedTuple):
    """A group that a channel is in; ``nested`` where it lies within every wider one of that channel."""

    number: int
    width: int
    nested: bool


class GroupBound:
    """A lower bound on sweep time: each GiB waits in the widest group that its channel may yet join.

    No group serves more of a channel than its least member holds, and a group within wider ones only what those leave.
    Channels are loaded in ``order``, and what holds after each step is kept for the next. ``rate`` is that of the
    system in MT/s, or 0 where each load has its own, ``most`` GiB what each channel may hold; times are in GiB x
    (``rate_unit`` / MT/s). A load is that of ``width`` channels that work as one.
    """

    def __init__(
        self,
        permitted: Permitted,
        order: Sequence[int],
        *,
        most: Sequence[int],
        rate_unit: int,
        rate: int,
        width: int = 1,
    ) -> None:
        groups = sorted(permitted.groups, key=lambda group: -len(group.channels))
        self.order = order
        self.most = most
        self.fastest = rate_unit // rate if rate else 0
        self.rate_unit = rate_unit
        self.width = width
        self.scale = math.lcm(*(len(group.channels) for group in groups))
        bits = [(1 << index, group) for index, group in enumerate(groups)]
        self.members: list[list[_Member]] = [[] for _ in order]
        """By channel: its groups, the widest first."""
        for index, group in enumerate(groups):
            for channel in group.channels:
                wider = [set(groups[member.number].channels) for member in self.members[channel]]
                nested = all(set(group.channels) <= each for each in wider)
                self.members[channel].append(_Member(index, len(group.channels), nested))
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
            stays_unequal = group.excess == "none" and not any(_may_level(other, group) for other in groups)
            for one, other in itertools.pairwise(members if stays_unequal else ()):
                known = self.without_unequal[other]
                known[one] = known.get(one, -1) & ~bit
        self._open = [(1 << len(bits)) - 1] * (len(order) + 1)
        self._times = [0] * (len(order) + 1)
        self._least = [[NO_LIMIT] * len(bits)] * (len(order) + 1)
        self._known: dict[tuple[int, ...], dict[Any, Any]] = {}
        """What channels wait for how much, by the groups that are possible and the least that is held in each."""

    def least_times(self, step: int, chosen: Loads, gib: int, ends: Sequence[int]) -> list[int]:
        """No completion to either of these capacities is swept in less; in between it takes as much in proportion.

        The channels up to that step hold these loads, ``gib`` in all.
        """
        channel = self.order[step]
        load, before = chosen[channel], self._open[step]
        amount = load.gib if load else 0
        after = self._open[step + 1] = before & self._kept(channel, chosen)
        least = self._least[step + 1] = list(self._least[step])
        changed = after != before
        for index, _, _ in self.members[channel]:
            if amount < least[index]:
                changed |= least[index] < NO_LIMIT
                least[index] = amount
        loaded = self.order[: step + 1] if changed else self.order[step : step + 1]
        time = 0 if changed else self._times[step]
        known = self._known.setdefault((after, *least), {})
        for each in loaded:
            held = chosen[each]
            if held and held.gib:
                waiting = known.get((each, held.gib))
                if waiting is None:
                    waiting = known[each, held.gib] = self._waiting(each, held.gib, after, least)
                time += waiting * (self.fastest or self.rate_unit // held.rate)
        self._times[step + 1] = time
        missing, slope = ends[0] - gib, 0
        if self.fastest:
            more, slope = self._missing(step, missing, known, after, least)
            time, slope = time + more * self.fastest, slope * self.fastest
        return [-(-(time + (end - ends[0]) * slope) // (self.scale * self.width)) for end in ends]

    def _missing(
        self, step: int, missing: int, known: dict[Any, Any], possible: int, least: Sequence[int]
    ) -> tuple[int, int]:
        """The least scaled time that so many GiB wait in the channels not loaded yet, and that of one more."""
        if step not in known:
            lengths: dict[int, int] = {}
            for channel in self.order[step + 1 :]:
                for share, part in self._parts(channel, self.most[channel], possible, least):
                    lengths[share] = lengths.get(share, 0) + part
            known[step] = sorted(lengths.items())
        time = 0
        for share, length in known[step]:
            if missing < length:
                return time + missing * share, share
            time, missing = time + length * share, missing - length
        return time, 0

    def _waiting(self, channel: int, amount: int, possible: int, least: Sequence[int]) -> int:
        """The least scaled time that a channel works for so many GiB, at one GiB a unit of time."""
        return sum([share * part for share, part in self._parts(channel, amount, possible, least)])

    def _parts(self, channel: int, amount: int, possible: int, least: Sequence[int]) -> Iterator[tuple[int, int]]:
        """Scaled shares of its time that a channel works for so many GiB at best, rising, and how many for each."""
        served = 0
        for index, width, nested in self.members[channel]:
            if possible >> index & 1:
                part = min(amount - served, least[index] - served if nested else least[index])
                if part > 0:
                    served += part
                    yield self.scale // width, part
        if amount > served:
            yield self.scale, amount - served

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
