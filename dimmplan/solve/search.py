"""The exact search: criterion by criterion, over all populations, by bounds that lose nothing.

A *branch* fixes what couples the sockets: the types used, the advised rows that may be broken, the rate of the
system, the total capacity. Inside a branch every criterion is one of three things, and that is what makes it exact
and fast: a figure of the total counts (capacity, cost, modules), a bottleneck over sockets (a threshold that each
socket's profile must keep), or a sum over sockets. A branch that cannot equal the best value so far is dropped.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations
from typing import NamedTuple

from dimmplan.solve.branch import Branch, Kind, Value
from dimmplan.solve.branches import Aim, Branches
from dimmplan.solve.budget import Budget
from dimmplan.solve.choices import Choices
from dimmplan.solve.criteria import Criterion, criteria_of
from dimmplan.solve.drawing import Drawer
from dimmplan.solve.space import Rows, Space
from dimmplan.solve.sums import least_tails
from dimmplan.solve.sweep import Sweeps
from dimmplan.units import Gib


class Found(NamedTuple):
    """A best placement: texts of the sockets in board order, and the vector that decided, as far as it went."""

    texts: tuple[bytes, ...]
    types: tuple[int, ...]
    code: int
    vector: tuple[Value, ...]

    @property
    def text(self) -> bytes:
        """All slots in board order."""
        return b"".join(self.texts)


class Search:
    """One exact search over a space. ``budget`` counts nodes; profiles and regions are remembered between aims.

    ``bounds=False`` draws every population of every branch; the answer is the same, only slower. ``prefer`` orders by
    another list than the request's, and ``like`` is a search of the same space whose memory is shared.
    """

    def __init__(
        self,
        space: Space,
        budget: Budget,
        *,
        bounds: bool = True,
        prefer: str | None = None,
        like: Search | None = None,
    ) -> None:
        self.bounds = bounds
        self.space = space
        self.budget = budget
        self.incumbent: Found | None = None
        self.priced = all(supply.priced for supply in space.request.supplies)
        self.criteria: tuple[Criterion, ...] = criteria_of(prefer or space.request.prefer, priced=self.priced)
        self.branches: Branches = Branches(space, budget) if like is None else like.branches
        self.choices: Choices = Choices(space, budget) if like is None else like.choices
        self.drawer: Drawer = Drawer(space, budget, bounds=bounds) if like is None else like.drawer
        self.sweeps = Sweeps(space, self.drawer, self.choices)

    # -- the whole -------------------------------------------------------------------------------------------------

    def best(self, aim: Aim, incumbent: Found | None = None) -> Found | None:
        """The placement that comes first, or ``None`` where there is none.

        Types are added one at a time, so that a search that runs out of effort keeps the best of fewer types in
        ``incumbent``. Raises ``EffortSpent``.
        """
        self.incumbent = incumbent
        for size in range(1, self._most_types() + 1):
            self.incumbent = self._best_of_size(size, aim, self.incumbent) or self.incumbent
            self.budget.armed = self.incumbent is not None
        return self.incumbent

    def _most_types(self) -> int:
        return min(self.space.request.max_types, len(self.space.types))

    def capacities(self, aim: Aim, *, as_advised: bool = False) -> set[Gib]:
        """Every usable capacity within the aim that some placement has; advised rows count with ``as_advised``."""
        found: set[Gib] = set()
        may_break: Rows = frozenset() if as_advised else frozenset(self.space.advised)
        for size in range(1, self._most_types() + 1):
            for branch in self.branches.of(size, may_break, aim):
                found |= {self.space.unscaled(self.space.gib(total)) for total in self.choices.reached(branch)}
        return found

    def reaches(self, aim: Aim) -> bool:
        """True where some placement has a capacity within the aim, advised rows aside."""
        return any(
            self.choices.reached(branch)
            for size in range(1, self._most_types() + 1)
            for branch in self.branches.of(size, frozenset(self.space.advised), aim)
        )

    def nearest_faster(self, aim: Aim, sweep: Fraction, *, most_broken: int, up: bool) -> int | None:
        """The nearest usable capacity of an aim where some placement has a higher balanced sweep, or ``None``.

        Only placements that break at most ``most_broken`` advised rows count, those with fewest first, as in the
        lists. Raises ``EffortSpent`` with an armed budget.
        """
        peak = self.sweeps.sweep(1, 1) * self.sweeps.evenly * max(self.space.board.rates_mts)
        if peak / self.space.rate_unit <= sweep:
            return None
        by_gib: dict[int, list[Branch]] = {}
        for broken in range(most_broken + 1):
            reached_now = self._branches_by_gib(aim, broken)
            by_gib |= {gib: branches for gib, branches in reached_now.items() if gib not in by_gib}
        for gib in sorted(by_gib, reverse=not up):
            value, _ = self.sweeps.best(by_gib[gib], sweep)
            if value is not None and value > sweep and gib % self.space.scale == 0:
                return gib // self.space.scale
        return None

    def least_difference(self, aim: Aim, most_broken: int) -> Gib:
        """The least difference between sockets that some placement of an aim has; 0 where there is none.

        It breaks at most so many advised rows.
        """
        widths = [
            width
            for broken in range(most_broken + 1)
            for branches in self._branches_by_gib(aim, broken).values()
            for branch in branches
            for width, _ in self.choices.windows(branch)
        ]
        return self.space.unscaled(min(widths, default=0))

    def _branches_by_gib(self, aim: Aim, broken: int) -> dict[int, list[Branch]]:
        """Branches that break just so many advised rows, by the scaled capacity that their targets reach."""
        found: dict[int, list[Branch]] = {}
        for chosen in combinations(self.space.advised, broken):
            for size in range(1, self._most_types() + 1):
                for branch in self.branches.of(size, frozenset(chosen), aim):
                    for gib, targets in self.space.by_gib(self.choices.reached(branch)).items():
                        found.setdefault(gib, []).append(branch._replace(targets=targets))
        return found

    def _best_of_size(self, size: int, aim: Aim, incumbent: Found | None) -> Found | None:
        """The best with exactly ``size`` types allowed, where it is better than the incumbent; else ``None``."""
        most_broken = len(self.space.advised) if incumbent is None else int(incumbent.vector[0])
        for broken in range(most_broken + 1):
            rival = incumbent if incumbent is not None and broken == incumbent.vector[0] else None
            branches = [
                branch
                for chosen in combinations(self.space.advised, broken)
                for branch in self.branches.of(size, frozenset(chosen), self._nearer(aim, rival))
            ]
            found = self._decide(branches, broken, rival) if branches else None
            if found is not None:
                return found
        return None

    def _nearer(self, aim: Aim, rival: Found | None) -> Aim:
        """The aim without capacities that are farther above the asked one than a rival is, where that counts first."""
        over_first = self.criteria[1].name == "over_gib" and not self.space.request.over_gib
        if not self.bounds or rival is None or not over_first:
            return aim
        return aim._replace(high_gib=min(aim.high_gib, -(-self.space.gib(rival.code) // self.space.scale)))

    def _decide(self, branches: list[Branch], broken: int, rival: Found | None) -> Found | None:
        """Go down the list of criteria; ``None`` where no branch comes before the rival."""
        vector: list[Value] = [broken]
        alive: Found | None = rival
        for index, criterion in enumerate(self.criteria[1:], start=1):
            bar = alive.vector[index] if alive is not None else None
            if criterion.name == "balanced_sweep":
                value, branches = self.sweeps.best(branches, bar)
            elif criterion.name == "system_sweep" and not branches[0].drawn:
                value, branches = self.sweeps.best(branches, bar, balanced=False)
            else:
                value, branches = self.choices.best(criterion, branches, bar)
            if not branches or value is None:
                return None
            if bar is not None and value != bar:
                alive = None
            vector.append(value)
        found = max((self._first_in_board_order(branch) for branch in branches), key=lambda pair: pair[0])
        texts, types, code = found[1]
        answer = Found(texts, types, code, tuple(vector))
        return None if alive is not None and alive.text >= answer.text else answer

    # -- board order -------------------------------------------------------------------------------------------

    def _first_in_board_order(self, branch: Branch) -> tuple[bytes, tuple[tuple[bytes, ...], tuple[int, ...], int]]:
        """The placement of a branch that comes first in board order: socket by socket, what can still be completed."""
        order: list[tuple[int, Kind, int]] = []
        for kind in branch.kinds:
            places = kind.places[:1] if kind.tied else kind.places
            order += [(place, kind, len(kind.places) if kind.tied else 1) for place in places]
        order.sort(key=lambda entry: entry[0])
        steps = [self.choices.beside(branch, kind, times) for _, kind, times in order]
        ends = least_tails(steps, branch.targets, budget=self.budget)
        texts: dict[int, bytes] = {}
        left, total = dict.fromkeys(branch.targets, branch.least), 0
        for (place, kind, times), end in zip(order, ends[1:], strict=True):
            for profile in sorted(kind.profiles, key=lambda p: p.text, reverse=True):
                code, sums = profile.code * times, self.choices.sums_of(branch, profile) * times
                rest = {
                    goal - code: least - sums for goal, least in left.items() if end.get(goal - code) == least - sums
                }
                if rest:
                    left, total = rest, total + code
                    for each in kind.places if kind.tied else (place,):
                        texts[each] = profile.text
                    break
        ordered = tuple(texts[place] for place in sorted(texts))
        return b"".join(ordered), (ordered, branch.types, total)
