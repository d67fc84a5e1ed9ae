"""Balanced and system sweep: best first over branches and capacities, populations enumerated within a time that grows.

The *balanced time* of a placement is its capacity over its balanced sweep. A socket that holds the even share or more
takes part with its sweep time; one that holds less with as much more as it holds less, since its processor works as
hard as the others. The slowest socket decides.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from dimmplan.solve.branches import Branch, SocketGroup, Value
from dimmplan.solve.budget import Budget
from dimmplan.solve.decide import Decisions
from dimmplan.solve.profiles import NEVER, Limit, Profile, Profiles, Query, Time, profiles_of
from dimmplan.solve.space import Space

MOST_GROWTH = 0.25
"""A time bound below which nothing was found widens by this share of itself at most."""
FIRST_STEP = 32
"""At first it widens by one part in so many, then by as much as it lies above the least time."""


class Job(NamedTuple):
    """A branch at one total capacity, ordered by how fast it may be.

    ``hope`` is minus the sweep nothing beats, which takes the time ``known``; ``bound`` is the time to try next.
    """

    hope: Fraction
    gib: int
    number: int
    least: Time
    bound: Time
    branch: Branch


class _Try(NamedTuple):
    """The least time in which a capacity can be swept, and a branch with the profiles that keep it.

    Without a ``branch`` nothing was found, and nothing can be in less than ``time``.
    """

    time: Time
    branch: Branch | None


class Sweeps:
    """Decides the balanced sweep for the branches of a space, or the system sweep where no socket need have memory."""

    def __init__(self, space: Space, enumerator: Enumerator, decisions: Decisions) -> None:
        self.space = space
        self.enumerator = enumerator
        self.decisions = decisions
        self.bounds = enumerator.bounds
        self.channels = space.channel_count
        self.evenly = len(space.sockets) * space.fewest_channels
        """Channels at work where every socket works as hard as the one with the fewest channels can."""

    def best(self, branches: list[Branch], bar: Value | None, *, balanced: bool) -> tuple[Value | None, list[Branch]]:
        """The highest sweep, and the branches that have it: the most hopeful job is tried next.

        A try within a time bound that finds nothing leaves a lower hope, so no branch is enumerated in more time than
        the fastest of all needs, but for the last widening of a bound.
        """
        best = None if bar is None else Fraction(bar)
        kept: list[Branch] = []
        jobs = list(self._jobs(branches, balanced=balanced))
        heapq.heapify(jobs)
        while jobs:
            job = heapq.heappop(jobs)
            if self.bounds and best is not None and -job.hope < best:
                break
            most = self._most_time(job, best)
            bound = min(job.bound, most) if self.bounds else most
            time, part = self._within(job, bound, balanced=balanced) if job.hope else _Try(0, job.branch)
            if part is not None:
                value = self.sweep(job.gib, time) if job.hope else Fraction(0)
                if best is None or value > best:
                    best, kept = value, []
                if value == best:
                    kept.append(part)
            elif time <= most:
                wider = bound + min(int(bound * MOST_GROWTH), max(bound // FIRST_STEP, bound - job.least))
                hope = -self.sweep(job.gib, time)
                heapq.heappush(jobs, job._replace(hope=hope, bound=max(time, wider)))
        return (best if kept else None), kept

    def _jobs(self, branches: list[Branch], *, balanced: bool) -> Iterator[Job]:
        numbers = itertools.count()
        for branch in branches:
            for gib, targets in self.space.by_gib(branch.targets).items():
                part: Branch | None = branch._replace(targets=targets)
                if balanced and any(not profile.code for group in branch.groups for profile in group.profiles):
                    starved = part
                    part = self.decisions.settled(branch._replace(targets=targets).keeping(lambda p: p.code > 0))
                    starved = self.decisions.settled(starved) if part is None and not branch.least_sweep else None
                    if starved is not None:
                        yield Job(Fraction(0), gib, next(numbers), 0, 0, starved)
                if part is not None:
                    least = self._least_time(branch, gib, balanced=balanced)
                    yield Job(-self.sweep(gib, least), gib, next(numbers), least, least, part)

    def sweep(self, gib: int, time: Time) -> Fraction:
        """The sweep of a capacity in a time, in GB/s."""
        return Fraction(gib * self.space.peak_unit) / (1000 * time)

    def _least_time(self, branch: Branch, gib: int, *, balanced: bool) -> int:
        """No population of that capacity sweeps faster: every channel working all the time, at the best rate."""
        rate = branch.rate or max(self.space.board.rates_mts)
        channels = min(self.channels, self.evenly) if balanced else self.channels
        return max(1, -(-gib * (self.space.rate_unit // rate) // channels))

    def _most_time(self, job: Job, at_least: Fraction | None) -> Time:
        """The longest that a placement may take: at the slowest rate, one channel at a time, or as long as the best."""
        slowest = job.branch.rate or min(self.space.board.rates_mts)
        most: Time = job.gib * (self.space.rate_unit // slowest)
        if at_least and self.bounds:
            most = min(most, job.gib * self.space.peak_unit / (1000 * at_least))
        return most

    def _within(self, job: Job, bound: Time, *, balanced: bool) -> _Try:
        """The least time within the bound, with all profiles that keep it."""
        floor = self.space.peak_unit / (1000 * job.branch.least_sweep) if job.branch.least_sweep else None
        limit = Limit(bound, job.gib if balanced else 0, len(self.space.sockets), floor)
        populated, beyond = self.enumerator.enumerate(job.branch, job.gib, limit)
        branch = self.decisions.settled(populated.keeping(limit.holds) if populated and not self.bounds else populated)
        if branch is None:
            return _Try(beyond, None)
        taken = {
            (profile.time, profile.gib): limit.time_of(profile.time, profile.gib)
            for group in branch.groups
            for profile in group.profiles
        }
        times = sorted(set(taken.values()))

        def keep(place: int) -> Branch | None:
            most = times[place]
            return branch.keeping(lambda profile: taken[profile.time, profile.gib] <= most)

        found = self.decisions.first_feasible(len(times), keep)
        if found is None:
            raise AssertionError("some choice of the profiles was found before")
        place, part = found
        return _Try(times[place], part)


# -- populations within a time ----------------------------------------------------------------------------------------


def _spans(branch: Branch, gib: int, least: Sequence[int], most: Sequence[int]) -> list[tuple[int, int]] | None:
    """Least and most capacity of a socket of each group in a placement of a capacity; ``None`` where there is none."""
    all_least = sum(low * len(group.places) for low, group in zip(least, branch.groups, strict=True))
    all_most = sum(high * len(group.places) for high, group in zip(most, branch.groups, strict=True))
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
    groups = [group._replace(profiles=each) for group, each in zip(branch.groups, profiles, strict=True)]
    return branch._replace(groups=tuple(groups), populated=True)


class Enumerator:
    """Enumerates the populations of the branches of a space; profiles and bounds are remembered.

    ``bounds=False`` enumerates every population of every branch.
    """

    def __init__(self, space: Space, budget: Budget, *, bounds: bool) -> None:
        self.space = space
        self.bounds = bounds
        self.budget = budget

    def enumerate(self, branch: Branch, gib: int, limit: Limit) -> tuple[Branch | None, Time]:
        """Replace counts by populations: every profile that some placement of that capacity can hold within the limit.

        ``None`` where some socket is left without; and a time below which nothing that was left out comes in.
        """
        if not self.bounds:
            never = Limit(NEVER)
            return _populated(
                branch, [self._profiles(branch, group, 0, gib, never).profiles for group in branch.groups]
            ), NEVER
        share = -(-gib // len(self.space.sockets))
        beyond: Time = NEVER
        least = [min((p.gib for p in group.profiles), default=0) for group in branch.groups]
        most = [max((p.gib for p in group.profiles), default=-1) for group in branch.groups]
        spans = _spans(branch, gib, least, most)
        if spans is None:
            return None, beyond
        # Some socket holds its even share or more: what can be held in the time tells how little others may hold.
        upper = [
            self._profiles(branch, group, max(low, share), high, limit)
            for group, (low, high) in zip(branch.groups, spans, strict=True)
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
            self._profiles(branch, group, low, min(high, share - 1), limit)
            for group, (low, high) in zip(branch.groups, spans, strict=True)
        ]
        beyond = min(beyond, *(each.beyond for each in lower))
        return _populated(
            branch, [one.profiles + other.profiles for one, other in zip(upper, lower, strict=True)]
        ), beyond

    def _profiles(self, branch: Branch, group: SocketGroup, low_gib: int, high_gib: int, limit: Limit) -> Profiles:
        """The profiles of a socket within a span of capacity and a time."""
        if low_gib > high_gib:
            return Profiles((), NEVER)
        query = Query(group.shape, branch.may_break, branch.rate, low_gib, high_gib, limit)
        return profiles_of(self.space, self.budget, query, self._within_targets(branch, group))

    def _within_targets(self, branch: Branch, group: SocketGroup) -> set[int]:
        """Count codes of a socket that hold no more of any type than some target does."""
        counts = [self.space.counts(target) for target in branch.targets]
        most = [max(numbers) for numbers in zip(*counts, strict=True)]
        return {
            profile.code
            for profile in group.profiles
            if all(n <= top for n, top in zip(self.space.counts(profile.code), most, strict=True))
        }
