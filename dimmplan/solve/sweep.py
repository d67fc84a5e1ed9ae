"""Balanced and system sweep: best first over branches and capacities, populations enumerated within a time that grows.

The *balanced time* of a placement is its capacity over its balanced sweep. A socket that holds the even share or more
takes part with its sweep time; one that holds less with as much more as it holds less, since its processor works as
hard as the others. The slowest socket decides.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

from dimmplan.solve.branches import Branch, Value
from dimmplan.solve.decide import Decisions
from dimmplan.solve.populations import Populations
from dimmplan.solve.profiles import Limit, Time
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

    def __init__(self, space: Space, populations: Populations, decisions: Decisions) -> None:
        self.space = space
        self.populations = populations
        self.decisions = decisions
        self.bounds = populations.bounds
        self.channels = space.channel_count
        self.evenly = len(space.sockets) * min(len(socket.channels) for socket in space.wired)
        """Channels at work where every socket works as hard as the one with the fewest channels can."""

    def best(
        self, jobs: list[Job], bar: Value | None, *, balanced: bool, wanted: Value | None = None
    ) -> tuple[Value | None, list[Branch]]:
        """The highest sweep, and the branches that have it: the most hopeful job is tried next.

        A try within a time bound that finds nothing leaves a lower hope, so no branch is enumerated in more time than
        the fastest of all needs, but for the last widening of a bound. Where nothing is as fast as ``wanted``, what
        nothing beats is given, without branches; ``jobs`` then hold what is left to do.
        """
        best = None if bar is None else Fraction(bar)
        kept: list[Branch] = []
        while jobs:
            job = heapq.heappop(jobs)
            if self.bounds and best is not None and -job.hope < best:
                break
            if wanted is not None and not kept and -job.hope < wanted:
                heapq.heappush(jobs, job)
                return -job.hope, []
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

    def jobs(self, branches: list[Branch], *, balanced: bool = True) -> list[Job]:
        """A job for each branch and each total capacity of its targets, as a heap."""
        found = list(self._jobs(branches, balanced=balanced))
        heapq.heapify(found)
        return found

    def _jobs(self, branches: list[Branch], *, balanced: bool) -> Iterator[Job]:
        numbers = itertools.count()
        for branch in branches:
            for gib, targets in self.space.by_gib(branch.targets).items():
                part: Branch | None = branch._replace(targets=targets)
                if balanced and any(not profile.code for kind in branch.kinds for profile in kind.profiles):
                    starved = part
                    part = self.decisions.settled(branch._replace(targets=targets).keeping(lambda p: p.code > 0))
                    starved = self.decisions.settled(starved) if part is None and not branch.least_sweep else None
                    if starved is not None:
                        yield Job(Fraction(0), gib, next(numbers), 0, 0, starved)
                if part is not None:
                    least = self._least_time(branch, gib, balanced=balanced)
                    bound = max(least, self.populations.first_time(branch, gib))
                    yield Job(-self.sweep(gib, bound), gib, next(numbers), least, bound, part)

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
        populated, beyond = self.populations.enumerate(job.branch, job.gib, limit)
        branch = self.decisions.settled(populated.keeping(limit.holds) if populated and not self.bounds else populated)
        if branch is None:
            return _Try(beyond, None)
        taken = {
            (profile.time, profile.gib): limit.time_of(profile.time, profile.gib)
            for kind in branch.kinds
            for profile in kind.profiles
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
