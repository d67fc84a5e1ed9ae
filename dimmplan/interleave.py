"""Which channels of a socket work together: capacity per channel in, regions out.

A model of what firmware does, not a limit of the hardware: greedy, and independent of how channels, controllers or
sockets are named or ordered. The published rules behind the three styles are guide-02 p. 15 (``groups``), kernel-01
(``any``) and kernel-02 (``even``); the order in which sets are chosen is this planner's own model (``MODEL``).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from dimmplan.model.board import Socket
from dimmplan.model.rows import InterleaveRow

Amounts = tuple[tuple[int, ...], ...]
"""GiB per channel, one tuple for each controller, channels in board order."""


class Region(NamedTuple):
    """Addresses that one set of channels serves: ``capacity`` GiB over ``channels`` (indices within the socket)."""

    ways: int
    capacity: int
    channels: tuple[int, ...]

    @property
    def depth(self) -> int:
        """GiB that each channel of the set gives to the region."""
        return self.capacity // self.ways


class Group(NamedTuple):
    """A listed channel set as indices within the socket."""

    channels: tuple[int, ...]
    exclusive: bool
    excess: str


class Permitted(NamedTuple):
    """The permitted sets of one socket. ``ways`` are those above one, widest first."""

    style: str
    ways: tuple[int, ...]
    excess: str
    groups: tuple[Group, ...]


def permitted_sets(row: InterleaveRow, socket: Socket) -> Permitted:
    """The interleave row of a board as it applies to one socket: groups with channels it lacks do not exist there."""
    index_of = {channel.id: index for index, channel in enumerate(socket.channels)}
    groups = tuple(
        Group(tuple(sorted(index_of[name] for name in group.channels)), group.exclusive, group.excess)
        for group in row.groups
        if all(name in index_of for name in group.channels)
    )
    ways = tuple(sorted((ways for ways in set(row.ways) if ways > 1), reverse=True))
    return Permitted(row.style, ways, row.excess, groups)


def folded(permitted: Permitted, pairs: Sequence[Sequence[int]]) -> Permitted:
    """The permitted sets of channels that work in pairs, each pair as one channel; sets that split a pair go."""
    groups = []
    for group in permitted.groups:
        inside = tuple(number for number, pair in enumerate(pairs) if set(pair) <= set(group.channels))
        if len(inside) * 2 == len(group.channels):
            groups.append(group._replace(channels=inside))
    ways = tuple(ways // 2 for ways in permitted.ways if ways > 2 and ways % 2 == 0)
    return permitted._replace(ways=ways, groups=tuple(group for group in groups if len(group.channels) > 1))


def paired_regions(
    amounts: Amounts, permitted: Permitted, pairs: Sequence[Sequence[int]], rates: Amounts | None = None
) -> tuple[Region, ...]:
    """The regions of a socket whose channels work in pairs, as ``regions`` gives them: what both channels have."""

    def halved(values: Amounts) -> Amounts:
        """The lower value of each pair, a tuple for each controller."""
        ends = list(itertools.accumulate(len(controller) for controller in values))
        flat = [value for controller in values for value in controller]
        spans = zip([0, *ends], ends, strict=False)
        return tuple(tuple(min(flat[c] for c in pair) for pair in pairs if a <= pair[0] < b) for a, b in spans)

    found = regions(halved(amounts), folded(permitted, pairs), halved(rates) if rates else None)
    return tuple(
        Region(2 * region.ways, 2 * region.capacity, tuple(sorted(c for unit in region.channels for c in pairs[unit])))
        for region in found
    )


def regions(amounts: Amounts, permitted: Permitted, rates: Amounts | None = None) -> tuple[Region, ...]:
    """The regions of a socket, in address order.

    ``amounts`` is usable GiB per channel. ``rates`` in MT/s matter only where channels run at rates of their own:
    among sets that the model cannot tell apart, the faster one is taken.
    """
    loop = _Loop(amounts, permitted, rates)
    found: list[Region] = []
    while any(loop.left):
        found.extend(loop.step())
    return tuple(found)


def depths(amounts: Amounts, permitted: Permitted) -> tuple[int, int, int]:
    """Of the regions of a socket with memory: the sum of their depths, their number, and the fewest ways."""
    loop = _Loop(amounts, permitted, None)
    total, ways = 0, list[int]()
    while any(loop.left):
        for region in loop.step():
            total += region.depth
            ways.append(region.ways)
    return total, len(ways), min(ways)


class _Choice(NamedTuple):
    """A candidate set, its depth and what happens to its excess."""

    channels: tuple[int, ...]
    depth: int
    excess: str


class _Loop:
    """The state of the loop: GiB left in each channel; a spent channel has nothing left."""

    def __init__(self, amounts: Amounts, permitted: Permitted, rates: Amounts | None) -> None:
        self.left = [amount for controller in amounts for amount in controller]
        self.permitted = permitted
        self.rates = [rate for controller in rates for rate in controller] if rates else None
        ends = list(itertools.accumulate(len(controller) for controller in amounts))
        self.controllers = [tuple(range(a, b)) for a, b in zip([0, *ends], ends, strict=False)]
        self.filled = frozenset(index for index, amount in enumerate(self.left) if amount)
        wide = sorted(permitted.groups, key=lambda group: -len(group.channels))
        self.groups = [group for group in wide if not group.exclusive or self.filled <= set(group.channels)]
        """Groups that may still be open, the widest first, in the board's order."""
        self._close()

    def _close(self) -> None:
        """Drop the groups of which a channel has nothing left."""
        left = self.left
        self.groups = [group for group in self.groups if min(left[channel] for channel in group.channels)]

    def step(self) -> list[Region]:
        """Take the best set, serve its depth, and return the regions that this makes."""
        choice = self._best()
        members = choice.channels
        found = [Region(len(members), len(members) * choice.depth, members)]
        for channel in members:
            self.left[channel] -= choice.depth
        if choice.excess == "alone":
            for channel in members:
                if self.left[channel]:
                    found.append(Region(1, self.left[channel], (channel,)))
                    self.left[channel] = 0
        self._close()
        return found

    def _best(self) -> _Choice:
        widest = self._groups() if self.permitted.style == "groups" else self._by_ways()
        choices = list(widest) or [_Choice((index,), left, "layers") for index, left in enumerate(self.left) if left]
        depth = max(choice.depth for choice in choices)
        choices = [choice for choice in choices if choice.depth == depth]
        most = max(self._sum(choice) for choice in choices)
        choices = [choice for choice in choices if self._sum(choice) == most]
        if len(choices) == 1:
            return choices[0]
        # listed groups that are still tied go by the board's order, others by their rates
        by_rate = self.permitted.style != "groups"
        return max(choices, key=lambda choice: self._remainder(choice) if by_rate else self._remainder(choice)[:1])

    def _sum(self, choice: _Choice) -> int:
        return sum(self.left[channel] for channel in choice.channels)

    def _remainder(self, choice: _Choice) -> tuple[list[list[int]], int, list[int]]:
        """What would be left, one falling list per controller, the lists falling; then the rates of the set."""
        after = list(self.left)
        for channel in choice.channels:
            after[channel] -= choice.depth
        lists = [sorted((after[channel] for channel in controller), reverse=True) for controller in self.controllers]
        rates = [self.rates[channel] for channel in choice.channels] if self.rates else [0]
        return sorted(lists, reverse=True), min(rates), sorted(rates, reverse=True)

    def _groups(self) -> Iterator[_Choice]:
        """The widest listed groups that are open now, in the board's order."""
        left, width = self.left, 0
        for group in self.groups:
            if len(group.channels) < width:
                return
            amounts = [left[channel] for channel in group.channels]
            depth = min(amounts)
            if group.excess != "none" or depth == max(amounts):
                width = len(group.channels)
                yield _Choice(group.channels, depth, group.excess)

    def _by_ways(self) -> Iterator[_Choice]:
        """The widest sets of the permitted numbers of channels; only those of greatest depth, then sum, survive."""
        excess = self.permitted.excess
        pools = sorted({left for left in self.left if left}, reverse=True) if excess == "none" else [0]
        lives = [self._live(pool) for pool in pools]
        filled = {len(controller) for controller in lives[0] if controller}
        every = [channel for controller in lives[0] for channel in controller]
        if excess != "none" and len(filled) == 1 and len(every) in self.permitted.ways:
            yield _Choice(tuple(sorted(every)), min(self.left[channel] for channel in every), excess)
            return
        for ways in self.permitted.ways:
            found = [choice for live in lives for choice in self._sets_of(ways, live)]
            if found:
                yield from found
                return

    def _live(self, pool: int) -> list[list[int]]:
        """Channels with something left, falling, a list for each controller (one for all where any may join).

        With a ``pool`` only those with just that much left.
        """
        live = [
            [channel for channel in controller if self.left[channel] and pool in (0, self.left[channel])]
            for controller in self.controllers
        ]
        if self.permitted.style == "any":
            live = [[channel for controller in live for channel in controller]]
        return [self._falling(controller) for controller in live]

    def _sets_of(self, ways: int, live: list[list[int]]) -> Iterator[_Choice]:
        """Sets of that many channels."""
        if sum(map(len, live)) < ways:
            return
        if self.permitted.style == "any":
            yield from self._any_sets(live[0], ways)
            return
        most = max(map(len, live))
        for each in range(1, most + 1):
            if ways % each == 0:
                yield from self._even_sets(live, each, ways // each)

    def _any_sets(self, live: list[int], ways: int) -> Iterator[_Choice]:
        """The channels with most left; where rates differ, every way to choose among those that are equal."""
        depth = self.left[live[ways - 1]]
        sure = [channel for channel in live if self.left[channel] > depth]
        tied = [channel for channel in live if self.left[channel] == depth]
        wanted = ways - len(sure)
        several = self.rates is not None and len({self.rates[channel] for channel in tied}) > 1
        for chosen in itertools.combinations(tied, wanted) if several else [tuple(tied[:wanted])]:
            yield _Choice(tuple(sorted((*sure, *chosen))), depth, self.permitted.excess)

    def _falling(self, channels: list[int]) -> list[int]:
        rates = self.rates
        return sorted(channels, key=lambda c: (-self.left[c], -rates[c] if rates else 0, c))

    def _even_sets(self, live: list[list[int]], each: int, controllers: int) -> Iterator[_Choice]:
        """The best sets of ``each`` channels on that many controllers: deepest, then greatest sum; ties all given."""
        tops = [tuple(controller[:each]) for controller in live if len(controller) >= each]
        if len(tops) < controllers:
            return
        depths = sorted((self.left[top[-1]] for top in tops), reverse=True)
        depth = depths[controllers - 1]
        fit = [(sum(self.left[c] for c in top), top) for top in tops if self.left[top[-1]] >= depth]
        fit.sort(key=lambda pair: -pair[0])
        least = fit[controllers - 1][0]
        sure = [top for total, top in fit if total > least]
        tied = [top for total, top in fit if total == least]
        for chosen in itertools.combinations(tied, controllers - len(sure)):
            members = tuple(sorted(c for top in (*sure, *chosen) for c in top))
            yield _Choice(members, depth, self.permitted.excess)
