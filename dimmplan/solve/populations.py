"""Populations of the sockets of a branch within a capacity and a time, and what those bounds follow from."""

from __future__ import annotations

import bisect
import itertools
from collections.abc import Sequence
from typing import Any

from dimmplan.solve.branches import Branch, Kind
from dimmplan.solve.budget import Budget
from dimmplan.solve.profiles import NEVER, Limit, Profile, Profiles, Query, Time, profiles_of
from dimmplan.solve.space import ChannelShape, SocketShape, Space

Filling = tuple[list[int], list[int]]
"""Times, rising, and the most GiB that something holds within each of them."""


def _spans(branch: Branch, gib: int, least: Sequence[int], most: Sequence[int]) -> list[tuple[int, int]] | None:
    """Least and most capacity of a socket of each kind in a placement of a capacity; ``None`` where there is none."""
    all_least = sum(low * len(kind.places) for low, kind in zip(least, branch.kinds, strict=True))
    all_most = sum(high * len(kind.places) for high, kind in zip(most, branch.kinds, strict=True))
    if min(most) < 0 or not all_least <= gib <= all_most:
        return None
    return [
        (max(low, gib - (all_most - high)), min(high, gib - (all_least - low)))
        for low, high in zip(least, most, strict=True)
    ]


def _populated(branch: Branch, profiles: Sequence[tuple[Profile, ...]]) -> Branch | None:
    """The branch with populations for its counts; ``None`` where a socket has none."""
    if not all(profiles):
        return None
    kinds = [kind._replace(profiles=each) for kind, each in zip(branch.kinds, profiles, strict=True)]
    return branch._replace(kinds=tuple(kinds), populated=True)


class Populations:
    """Enumerates the populations of the branches of a space; profiles and bounds are remembered.

    ``bounds=False`` enumerates every population of every branch.
    """

    def __init__(self, space: Space, budget: Budget, *, bounds: bool) -> None:
        self.space = space
        self.bounds = bounds
        self.budget = budget
        self._full_channels: dict[Any, list[list[Filling]]] = {}
        self._full_systems: dict[Any, Filling] = {}

    def enumerate(self, branch: Branch, gib: int, limit: Limit) -> tuple[Branch | None, Time]:
        """Replace counts by populations: every profile that some placement of that capacity can hold within the limit.

        ``None`` where some socket is left without; and a time below which nothing that was left out comes in.
        """
        if not self.bounds:
            never = Limit(NEVER)
            return _populated(
                branch, [self._profiles(branch, kind, 0, gib, never).profiles for kind in branch.kinds]
            ), NEVER
        share = -(-gib // len(self.space.sockets))
        beyond: Time = self._next_filling(branch, limit.time)
        least, most = self._extremes(branch, limit.time)
        spans = _spans(branch, gib, least, most)
        if spans is None:
            return None, beyond
        # Some socket holds its even share or more: what can be held in the time tells how little others may hold.
        upper = [
            self._profiles(branch, kind, max(low, share), high, limit)
            for kind, (low, high) in zip(branch.kinds, spans, strict=True)
        ]
        beyond = min(beyond, *(each.beyond for each in upper))
        most = [
            max((p.gib for p in each.profiles), default=min(high, share - 1))
            for each, (_, high) in zip(upper, spans, strict=True)
        ]
        spans = _spans(branch, gib, least, most)
        if spans is None:
            return None, beyond
        lower = [
            self._profiles(branch, kind, low, min(high, share - 1), limit)
            for kind, (low, high) in zip(branch.kinds, spans, strict=True)
        ]
        beyond = min(beyond, *(each.beyond for each in lower))
        return _populated(
            branch, [one.profiles + other.profiles for one, other in zip(upper, lower, strict=True)]
        ), beyond

    def _extremes(self, branch: Branch, most_time: Time) -> tuple[list[int], list[int]]:
        """The least and the most that a socket of each kind can hold within a time."""
        least = [min((p.gib for p in kind.profiles), default=0) for kind in branch.kinds]
        most = [
            min(max((p.gib for p in kind.profiles), default=-1), self._most_gib(branch, kind.shape, most_time))
            for kind in branch.kinds
        ]
        return least, most

    def _profiles(self, branch: Branch, kind: Kind, low_gib: int, high_gib: int, limit: Limit) -> Profiles:
        """The profiles of a socket within a span of capacity and a time."""
        if low_gib > high_gib:
            return Profiles((), NEVER)
        query = Query(kind.shape, branch.may_break, branch.rate, low_gib, high_gib, limit)
        return profiles_of(self.space, self.budget, query, self._within_targets(branch, kind))

    def _within_targets(self, branch: Branch, kind: Kind) -> set[int]:
        """Count codes of a socket that hold no more of any type than some target does."""
        counts = [self.space.counts(target) for target in branch.targets]
        most = [max(numbers) for numbers in zip(*counts, strict=True)]
        return {
            profile.code
            for profile in kind.profiles
            if all(n <= top for n, top in zip(self.space.counts(profile.code), most, strict=True))
        }

    # -- what channels hold within a time ------------------------------------------------------------------------------

    def first_time(self, branch: Branch, gib: int) -> int:
        """The least time within which all channels together hold that capacity; 0 where they never do."""
        times, most = self._full_system(branch)
        place = bisect.bisect_left(most, gib)
        return times[place] if place < len(times) else 0

    def _timed_loads(self, branch: Branch, shape: SocketShape) -> list[list[list[tuple[int, int]]]]:
        """For each way to fill a socket, each channel's loads: their times and count codes."""
        return [
            [self._times_of(channel, branch) for controller in variant for channel in controller]
            for variant in self.space.variants(shape, branch.may_break)
        ]

    def _times_of(self, channel: ChannelShape, branch: Branch) -> list[tuple[int, int]]:
        unit, width = self.space.rate_unit, self.space.width
        return [
            (load.gib // width * (unit // (branch.rate or load.rate)) if load.gib else 0, load.code)
            for load in self.space.loads(channel, branch.may_break)
            if not load.gib or load.rate >= branch.rate
        ]

    def _next_filling(self, branch: Branch, time: Time) -> int:
        """The next time within which some channel can hold more; ``NEVER`` where none can."""
        times, _ = self._full_system(branch)
        place = bisect.bisect_right(times, time)
        return times[place] if place < len(times) else NEVER

    def _full_system(self, branch: Branch) -> Filling:
        """What all sockets together hold."""
        kinds = tuple((kind.shape, len(kind.places)) for kind in branch.kinds)
        key = (kinds, branch.may_break, branch.rate)
        if key not in self._full_systems:
            every = {
                time for shape, _ in kinds for each in self._full(branch, shape) for times, _ in each for time in times
            }
            rising = sorted(every)
            held = [sum(self._most_gib(branch, shape, time) * count for shape, count in kinds) for time in rising]
            self._full_systems[key] = rising, held
        return self._full_systems[key]

    def _most_gib(self, branch: Branch, shape: SocketShape, most_time: Time) -> int:
        """The most that a socket can hold when no channel takes longer than the bound."""
        totals = [-1]
        for channels in self._full(branch, shape):
            places = [bisect.bisect_right(times, most_time) for times, _ in channels]
            if all(places):
                totals.append(sum(most[place - 1] for place, (_, most) in zip(places, channels, strict=True)))
        return max(totals)

    def _full(self, branch: Branch, shape: SocketShape) -> list[list[Filling]]:
        """For each way to fill a socket what each of its channels holds within which time."""
        key = (shape, branch.may_break, branch.rate)
        if key not in self._full_channels:
            self._full_channels[key] = [
                [self._filling(loads) for loads in channels] for channels in self._timed_loads(branch, shape)
            ]
        return self._full_channels[key]

    def _filling(self, loads: Sequence[tuple[int, int]]) -> Filling:
        """Times of a channel's loads, rising, and the most that the channel holds within each of them."""
        rising = sorted((time, self.space.gib(code)) for time, code in loads)
        return [time for time, _ in rising], list(itertools.accumulate((gib for _, gib in rising), max))
