"""Balanced and system sweep: populations are enumerated within a time, and the time grows until something is found.

The *balanced time* of a placement is its capacity over its balanced sweep. A socket that holds the even share or more
takes part with its sweep time; one that holds less with as much more as it holds less, since its processor works as
hard as the others. The slowest socket decides.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from dimmplan.solve.branches import Branch, SocketGroup
from dimmplan.solve.budget import Budget
from dimmplan.solve.criteria import Value
from dimmplan.solve.decide import Decisions
from dimmplan.solve.profiles import NEVER, Limit, Profile, Profiles, Query, Time, profiles_of
from dimmplan.solve.space import Space


class Task(NamedTuple):
    """A branch at one total capacity; ``fastest`` is a time that no placement of it beats.

    It is 0 where a socket has to stay empty: the balanced sweep is 0 then.
    """

    branch: Branch
    gib: int
    fastest: int


class _Try(NamedTuple):
    """The least time in which a capacity can be swept, and a branch with the profiles that keep it.

    Without a ``branch`` nothing was found, and nothing can be in less than ``time``.
    """

    time: Time
    branch: Branch | None


class Sweeps:
    """Decides the balanced sweep for the branches of a space, or the system sweep where no socket need have memory.

    ``bounds=False`` enumerates every population of every branch.
    """

    def __init__(self, space: Space, budget: Budget, decisions: Decisions, *, bounds: bool) -> None:
        self.space = space
        self.budget = budget
        self.decisions = decisions
        self.bounds = bounds

    def best(self, branches: list[Branch], bar: Value | None, *, balanced: bool) -> tuple[Value | None, list[Branch]]:
        """The highest sweep, and the branches that have it; nothing where the bar is not reached."""
        best = None if bar is None else Fraction(bar)
        kept: list[Branch] = []
        tasks = list(self._tasks(branches, balanced=balanced))
        for task in sorted(tasks, key=lambda task: self.sweep(task.gib, task.fastest), reverse=True):
            if self.bounds and best is not None and self.sweep(task.gib, task.fastest) < best:
                break
            time, part = self._least_time(task, best, balanced=balanced) if task.fastest else _Try(0, task.branch)
            if part is not None:
                value = self.sweep(task.gib, time)
                if best is None or value > best:
                    best, kept = value, []
                if value == best:
                    kept.append(part)
        return (best if kept else None), kept

    def sweep(self, gib: int, time: Time) -> Fraction:
        """The sweep of a capacity in a time, in GB/s; 0 without a time."""
        return Fraction(gib * self.space.peak_unit) / (1000 * time) if time else Fraction(0)

    def _tasks(self, branches: list[Branch], *, balanced: bool) -> Iterator[Task]:
        for branch in branches:
            for gib, targets in self.space.by_gib(branch.targets).items():
                part: Branch | None = branch._replace(targets=targets)
                if balanced and any(not profile.code for group in branch.groups for profile in group.profiles):
                    starved = part
                    part = self.decisions.completable(branch._replace(targets=targets).keeping(lambda p: p.code > 0))
                    starved = self.decisions.completable(starved) if part is None and not branch.least_sweep else None
                    if starved is not None:
                        yield Task(starved, gib, 0)
                if part is not None:
                    yield Task(part, gib, self._fastest(branch, gib))

    def _fastest(self, branch: Branch, gib: int) -> int:
        """No population of that capacity sweeps faster: every channel working all the time, at the best rate."""
        rate = branch.rate or max(self.space.board.rates_mts)
        return max(1, -(-gib * (self.space.rate_unit // rate) // self.space.channel_count))

    def _most_time(self, task: Task, at_least: Fraction | None) -> Time:
        """The longest that a placement may take: at the slowest rate, one channel at a time, or as long as the best."""
        slowest = task.branch.rate or min(self.space.board.rates_mts)
        most: Time = task.gib * (self.space.rate_unit // slowest)
        if at_least and self.bounds:
            most = min(most, task.gib * self.space.peak_unit / (1000 * at_least))
        return most

    def _least_time(self, task: Task, at_least: Fraction | None, *, balanced: bool) -> _Try:
        """The least time of a task, if it sweeps as fast as that in GB/s: tried within more and more time."""
        most = self._most_time(task, at_least)
        limit: Time = task.fastest if self.bounds else most
        while True:
            limit = min(limit, most)
            found = self._within(task, limit, balanced=balanced)
            if found.branch is not None or found.time > most:
                return found
            limit = max(found.time, limit + limit // 4)

    def _within(self, task: Task, time: Time, *, balanced: bool) -> _Try:
        """The least time of a task within that time, with all profiles that keep it."""
        least_sweep = task.branch.least_sweep
        per_gib = self.space.peak_unit / (1000 * least_sweep) if least_sweep else None
        limit = Limit(time, task.gib if balanced else 0, len(self.space.sockets), per_gib)
        populated, next_time = self.enumerate(task.branch, task.gib, limit)
        branch = self.decisions.completable(
            populated.keeping(limit.holds) if populated and not self.bounds else populated
        )
        if branch is None:
            return _Try(next_time, None)
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

    # -- populations within a time ---------------------------------------------------------------------------------

    def enumerate(self, branch: Branch, gib: int, limit: Limit) -> tuple[Branch | None, Time]:
        """Replace counts by populations: every profile that some placement of that capacity can hold within the limit.

        ``None`` where some socket is left without; and the next time worth trying: nothing that was left out comes in
        before it.

        An example: 128 GiB in modules of 32 GiB over two sockets of three channels, one slot each, at one rate. The
        even share is 64 GiB. All six channels together would take 128 / 6, rounded up to 22; a module alone takes 32,
        so no channel is loaded, and the next time worth trying is 32. Within 32 a socket may hold 64 GiB (two channels
        for 32) or 96 (three channels for 32). One that holds 32 GiB takes 32 as well, but it has half the even share
        and so only half the time, 16: it counts with 64, and that is the next time. 64 and 64 GiB are found within 32.
        """
        if not self.bounds:
            never = Limit(NEVER)
            every = [self._profiles(branch, group, 0, gib, never).profiles for group in branch.groups]
            return _populated(branch, every), NEVER
        share = -(-gib // len(self.space.sockets))
        least = [min((p.gib for p in group.profiles), default=0) for group in branch.groups]
        most = [max((p.gib for p in group.profiles), default=-1) for group in branch.groups]
        spans = _spans(branch, gib, least, most)
        if spans is None:
            return None, NEVER
        # Some socket holds its even share or more: what can be held in the time tells how little others may hold.
        upper = [
            self._profiles(branch, group, max(low, share), high, limit)
            for group, (low, high) in zip(branch.groups, spans, strict=True)
        ]
        next_time = min(each.next_time for each in upper)
        most = [
            max((p.gib for p in each.profiles), default=min(high, share - 1))
            for each, (_, high) in zip(upper, spans, strict=True)
        ]
        spans = _spans(branch, gib, least, most)
        if spans is None:
            return None, next_time
        lower = [
            self._profiles(branch, group, low, min(high, share - 1), limit)
            for group, (low, high) in zip(branch.groups, spans, strict=True)
        ]
        next_time = min(next_time, *(each.next_time for each in lower))
        every = [one.profiles + other.profiles for one, other in zip(upper, lower, strict=True)]
        return _populated(branch, every), next_time

    def _profiles(self, branch: Branch, group: SocketGroup, low_gib: int, high_gib: int, limit: Limit) -> Profiles:
        """The profiles of a socket within a span of capacity and a time."""
        if low_gib > high_gib:
            return Profiles((), NEVER)
        query = Query(group.shape, branch.may_break, branch.rate, low_gib, high_gib, limit)
        return profiles_of(self.space, self.budget, query, {profile.code for profile in group.profiles})


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
