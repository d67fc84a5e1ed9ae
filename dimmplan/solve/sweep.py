"""The system sweep: best first over branches and capacities, populations drawn within a time that grows."""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

from dimmplan.solve.branch import Branch, Value
from dimmplan.solve.choices import Choices
from dimmplan.solve.drawing import Drawer
from dimmplan.solve.space import Space

MOST_GROWTH = 0.25
"""A time bound below which nothing was found widens by this share of itself at most."""
FIRST_STEP = 32
"""At first it widens by one part in so many, then by as much as it lies above the least time."""
MANY = 8_000
"""From so many populations of a socket on, those near the even share are drawn first."""
WIDER = 4
"""Populations near the even share are looked for within a radius that grows by this factor."""


class _Job(NamedTuple):
    """A branch at one total capacity, ordered by how fast it may be.

    ``hope`` is minus the sweep nothing beats, which takes the time ``known``; ``bound`` is the time to try next.
    """

    hope: Fraction
    gib: int
    number: int
    known: int
    least: int
    bound: int
    branch: Branch


class _Try(NamedTuple):
    """The least time in which a capacity can be swept, and a branch with the profiles that keep it.

    Without a ``branch`` nothing was found, and nothing can be in less than ``time``.
    """

    time: int
    branch: Branch | None


class Sweeps:
    """Decides the system sweep for the branches of a space."""

    def __init__(self, space: Space, drawer: Drawer, choices: Choices) -> None:
        self.space = space
        self.drawer = drawer
        self.choices = choices
        self.bounds = drawer.bounds

    def best(self, branches: list[Branch], bar: Value | None, *, even_next: bool) -> tuple[Value | None, list[Branch]]:
        """The highest system sweep: each branch is split by total capacity, and the most hopeful is tried next.

        A try within a time bound that finds nothing leaves a lower hope, so no branch is drawn in more time than
        the fastest of all needs, but for the last widening of a bound. With ``even_next`` even sockets are what
        counts next: populations near the even share are drawn first, and most others then need not be.
        """
        may_be_near = self.bounds and even_next and len(self.space.sockets) > 1
        best = None if bar is None else Fraction(bar)
        kept: list[Branch] = []
        jobs = list(self._jobs(branches))
        heapq.heapify(jobs)
        while jobs:
            job = heapq.heappop(jobs)
            if self.bounds and best is not None and -job.hope < best:
                break
            most = self._most_time(job, best)
            bound = min(job.bound, most) if self.bounds else most
            near_first = may_be_near and self.drawer.populations(job.branch) >= MANY
            time, part = self._near_first(job, bound) if near_first else self._within(job, bound)
            if part is not None:
                value = self.sweep(job.gib, time)
                if best is None or value > best:
                    best, kept = value, []
                if value == best:
                    kept.append(part)
            elif time <= most:
                wider = bound + min(int(bound * MOST_GROWTH), max(bound // FIRST_STEP, bound - job.least))
                hope = -self.sweep(job.gib, time)
                heapq.heappush(jobs, job._replace(hope=hope, known=time, bound=max(time, wider)))
        return (best if kept else None), kept

    def _jobs(self, branches: list[Branch]) -> Iterator[_Job]:
        """A job for each branch and each total capacity of its targets."""
        numbers = itertools.count()
        for branch in branches:
            for gib, targets in self.space.by_gib(branch.targets).items():
                least = self._least_time(branch, gib)
                bound = max(least, self.drawer.first_time(branch, gib))
                part = branch._replace(targets=targets)
                yield _Job(-self.sweep(gib, bound), gib, next(numbers), bound, least, bound, part)

    def sweep(self, gib: int, time: int) -> Fraction:
        """The sweep of a capacity in a time, in GB/s."""
        return Fraction(gib * self.space.rate_unit * 8, 1000 * time)

    def _least_time(self, branch: Branch, gib: int) -> int:
        """No population of that capacity sweeps faster: every channel working all the time, at the best rate."""
        rate = branch.rate or max(self.space.board.rates_mts)
        return max(1, -(-gib * (self.space.rate_unit // rate) // self.space.channel_count))

    def _most_time(self, job: _Job, at_least: Fraction | None) -> int:
        """The longest that a placement may take: at the slowest rate, one channel at a time, or as long as the best."""
        slowest = job.branch.rate or min(self.space.board.rates_mts)
        most = job.gib * (self.space.rate_unit // slowest)
        if at_least is not None and self.bounds:
            most = min(most, int(job.gib * self.space.rate_unit * 8 / (1000 * at_least)))
        return most

    def _near_first(self, job: _Job, bound: int) -> _Try:
        """The least time within the bound, with all profiles that keep it and are even enough."""
        counted = self.drawer.counts_time(job.branch, bound)
        if counted > bound:
            return _Try(counted, None)
        farthest = self.drawer.farthest(job.branch, job.gib, bound)
        radius = math.gcd(*(self.space.weights[kind] for kind in job.branch.types))
        while radius < farthest:
            time, near = self._within(job, bound, radius)
            if near is not None:
                return self._nearest(job, time, near, radius)
            radius *= WIDER
        return self._within(job, bound)

    def _nearest(self, job: _Job, time: int, near: Branch, radius: int) -> _Try:
        """The least time of all where ``near`` is the best within a radius, and all profiles that are even enough."""
        if time > job.known:
            faster = self._near_first(job, time - 1)
            if faster.branch is not None:
                return faster
        width = min(width for width, _ in self.choices.windows(near))
        return self._within(job, time, width) if width > radius else _Try(time, near)

    def _within(self, job: _Job, bound: int, radius: int | None = None) -> _Try:
        """The least time within the bound, with all profiles that keep it; with a ``radius`` only of populations
        whose capacities lie so near to the even share."""
        drawn, beyond = self.drawer.draw(job.branch, job.gib, bound, radius)
        branch = self.choices.settled(drawn)
        if branch is None:
            return _Try(max(bound + 1, beyond), None)
        times = sorted({profile.time for kind in branch.kinds for profile in kind.profiles})
        found = self.choices.first_feasible(
            len(times), lambda place: branch.keeping(lambda profile: profile.time <= times[place])
        )
        if found is None:
            raise AssertionError("some choice of the profiles was found before")
        place, part = found
        return _Try(times[place], part)
