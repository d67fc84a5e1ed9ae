"""The exact search: sets of types best first, then criterion by criterion over all populations.

What couples the sockets is fixed first: the types used, the advised rows that are broken, the rate of the system. Each
way to fix it is a *branch*, and no placement of it passes what its types promise. The branches are visited by that
promise, and left where it cannot beat the best so far. Inside a branch every criterion is one of three things, and that
is what makes it exact and fast: a figure of the total counts (capacity, cost, modules), a bottleneck over sockets (a
threshold that each socket's profile must keep), or a sum over sockets.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import cached_property
from typing import NamedTuple

from dimmplan.model.module import Module
from dimmplan.solve.branches import Aim, Branch, Branches, SocketGroup
from dimmplan.solve.budget import Budget, EffortSpent, Progress
from dimmplan.solve.criteria import CRITERIA, Criterion, Value, content_of, criteria_of, ranked
from dimmplan.solve.decide import Decisions, completions
from dimmplan.solve.limits import Ahead, Group, Promise, Promises
from dimmplan.solve.space import Rows, Space
from dimmplan.solve.sweep import Sweeps
from dimmplan.units import Gib

MOST_REMEMBERED = 400
"""Of so many sets of types it is remembered what sockets can hold."""
APART = {"cost", "low_rank_channels", "discarded", "bought", "displaced"}
"""The criteria by which types that run alike in every load may differ."""

PROMISE, BRANCH = 10, 100
"""What it counts, in nodes, to see what types promise, and to begin with a branch."""


class Found(NamedTuple):
    """A best placement: ranks of the modules in each socket's slots, and the vector that decided, as far as it went.

    A slot's rank is 0 for empty, and greater for what comes first in board order.
    """

    board_order: tuple[tuple[int, ...], ...]
    types: tuple[int, ...]
    code: int
    vector: tuple[Value, ...]


class _Node(NamedTuple):
    """What is to be looked at next: a group of sets of types, one set, or one set at a rate with some rows broken."""

    promise: Promise
    number: int
    group: Group = ()
    types: tuple[int, ...] = ()
    may_break: Rows | None = None
    rate: int = 0


Hopeless = dict[tuple[object, ...], set[int]]
"""Total counts that do not beat the best so far, by how their modules run: they will not beat a better one."""


class Search:
    """One exact search over a space. ``budget`` counts nodes; what sockets can hold is remembered between aims.

    ``bounds=False`` enumerates every population of every branch; the answer is the same, only slower. ``prefer`` orders
    by another list than the request's, and ``like`` is a search of the same space whose memory is shared.
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
        self.possible: Promise = ()
        """What nothing that is left can beat, where that is known."""
        self.priced = all(supply.priced for supply in space.request.supplies)
        self.criteria: tuple[Criterion, ...] = criteria_of(prefer or space.request.prefer, priced=self.priced)
        self._type_sets: dict[tuple[int, ...], TypeSet] = {} if like is None else like._type_sets
        self._promises: dict[tuple[Criterion, ...], Promises] = {} if like is None else like._promises

    def by(self, names: Iterable[str]) -> Search:
        """The search, ordering by these criteria from now on; by cost only where all is priced."""
        self.criteria = tuple(CRITERIA[name] for name in names if name != "cost" or self.priced)
        return self

    def content(self, found: Found) -> dict[str, Module | None]:
        """What the slots of the board hold in a placement that was found."""
        return dict.fromkeys(self.space.board.slots) | content_of(self.space, found.board_order)

    def values(self, found: Found) -> dict[str, Value]:
        """The values of the criteria for a placement that was found, by name."""
        return dict(zip((criterion.name for criterion in self.criteria), found.vector, strict=True))

    # -- the whole -------------------------------------------------------------------------------------------------

    def first(
        self, aim: Aim, start: Found | None = None, *, may_end_empty: bool = False, afresh: bool = False
    ) -> tuple[Found | None, bool]:
        """The placement that comes first, or the best that the effort sufficed for, and whether it is proven.

        ``start`` is what it has to beat. ``may_end_empty``: the effort ends the search even with nothing found.
        ``afresh`` counts from 0.
        """
        if afresh:
            self.budget.spent = 0
        self.budget.binding = may_end_empty or start is not None
        try:
            return self.best(aim, start), True
        except EffortSpent:
            return self.incumbent, False
        finally:
            self.budget.binding = False

    def best(self, aim: Aim, incumbent: Found | None = None) -> Found | None:
        """The placement that comes first, or ``None`` where there is none.

        Types are added one at a time, so that a search that runs out of effort keeps the best of fewer types in
        ``incumbent``. Raises ``EffortSpent``.
        """
        self.incumbent = incumbent
        for size in self._sizes():
            self.possible = ()
            self._visit(size, aim)
        return self.incumbent

    def _visit(self, size: int, aim: Aim) -> None:
        """Look at every way to fix what couples the sockets, with that many types, that may beat the best so far."""
        promises = self.promises()
        numbers, last = itertools.count(), size == self._sizes()[-1]
        sweep = [criterion.name for criterion in self.criteria].index("balanced_sweep") if aim.faster_than else 0
        better = self._better(promises, aim)
        heap = [
            _Node(promise, next(numbers), group=group)
            for promise, group in promises.groups(size, aim, better)
            if aim.only is None or self.space.types_of(aim.only) in map(frozenset, promises.sets(group))
        ]
        self.budget.spend(PROMISE * len(heap))
        heapq.heapify(heap)
        hopeless: Hopeless = {}
        while heap:
            node = heapq.heappop(heap)
            if last:
                self.possible = node.promise
            if self.bounds and self.incumbent is not None and node.promise > self._rank(self.incumbent):
                return
            if aim.faster_than is not None and -node.promise[sweep] <= aim.faster_than:
                continue
            if node.may_break is None:
                for opened in self._opened(node, promises, aim, better):
                    self.budget.spend(PROMISE)
                    heapq.heappush(heap, opened._replace(number=next(numbers)))
                continue
            self.budget.spend(BRANCH)
            self._tell(node)
            found = self._type_set(node.types).best(node, aim, self.incumbent, hopeless)
            if found is not None:
                self.incumbent = found
                self.budget.binding = True

    def _sizes(self) -> range:
        return range(1, 1 + min(self.space.request.max_types, len(self.space.types)))

    def _type_set(self, types: tuple[int, ...]) -> TypeSet:
        """What is remembered of a set of types, as this search orders."""
        found = self._type_sets.pop(types, None) or TypeSet(self.space, types, self.budget, bounds=self.bounds)
        self._type_sets[types] = found  # the last used is the last to be forgotten
        if len(self._type_sets) > MOST_REMEMBERED:
            del self._type_sets[next(iter(self._type_sets))]
        found.criteria = self.criteria
        return found

    def _tell(self, node: _Node) -> None:
        """Let a listener know how far the search is: no branch that is left promises more than this one."""
        best = None if self.incumbent is None else self.incumbent.vector
        possible = ranked(self.criteria, node.promise)  # turned back
        self.budget.progress = Progress(self.criteria, self.criteria[1].name, best, possible)

    def promises(self) -> Promises:
        """What types promise by the criteria of this search."""
        if self.criteria not in self._promises:
            facts = next((each.facts for each in self._promises.values()), ())
            self._promises[self.criteria] = Promises(self.space, self.criteria, facts)
        return self._promises[self.criteria]

    @staticmethod
    def _better(promises: Promises, aim: Aim) -> Ahead:
        """For each type those of the aim that come first wherever it stands; of none where total counts are told."""
        if aim.only is not None or aim.without:
            return ()
        return promises.better if aim.types is None else [its & aim.types for its in promises.better]

    def _rank(self, found: Found) -> Promise:
        return ranked(self.criteria, found.vector)

    def _opened(self, node: _Node, promises: Promises, aim: Aim, better: Ahead) -> Iterator[_Node]:
        """The sets of a group, or the branches of a set, with what they promise."""
        if not node.types:
            for types in promises.sets(node.group, better):
                broken = self.space.broken_alone(types)
                if broken <= (set(self.space.advised) if aim.may_break is None else aim.may_break):
                    promise = promises.promise([promises.facts[kind] for kind in types], aim, broken=len(broken))
                    if promise is not None:
                        yield node._replace(promise=promise, types=types)
            return
        facts = [promises.facts[kind] for kind in node.types]
        type_set = self._type_set(node.types)
        most = len(self.space.advised) if self.incumbent is None else int(self.incumbent.vector[0])
        for may_break in type_set.relaxations(aim, most) if aim.may_break is None else [aim.may_break]:
            for rate in type_set.branches.rates(may_break):
                promise = promises.promise(facts, aim, broken=len(may_break), rate=rate)
                if promise is not None:
                    yield node._replace(promise=promise, may_break=may_break, rate=rate)

    # -- other questions of the same space ---------------------------------------------------------------------------

    def capacities(self, aim: Aim) -> set[Gib]:
        """Every usable capacity within the aim that some placement has, advised rows aside."""
        return {gib for each in self._capacities(aim) for gib in each}

    def reaches(self, aim: Aim) -> bool:
        """True where some placement has a capacity within the aim, advised rows aside."""
        return any(self._capacities(aim))

    def least_capacity(self, aim: Aim, may_break: Rows) -> Gib | None:
        """The least usable capacity within the aim that some placement has; ``None`` where there is none."""
        found: Gib | None = None
        for least, type_set in self._every(aim, may_break):
            if found is None or least < found:
                found = min([*self._gibs(type_set, aim, may_break), *([] if found is None else [found])], default=None)
        return found

    def greatest_capacity(self, aim: Aim, may_break: Rows) -> Gib | None:
        """The greatest usable capacity in whole GiB within the aim that some placement has, found by halving."""
        found: Gib | None = None
        low, high = aim.low_gib, aim.high_gib
        while low <= high:
            middle = (low + high + 1) // 2
            reached = next(filter(None, self._capacities(Aim(middle, high), may_break)), None)
            if reached is None:
                high = middle - 1
            else:
                found = max(reached)
                low = int(found) + 1
        return found

    def codes(self, aim: Aim) -> set[int]:
        """Count codes within the aim that some placement has, advised rows aside."""
        may_break = frozenset(self.space.advised)
        return {
            self.space.code_among(type_set.types, total)
            for _, type_set in self._every(aim, may_break, counts=True)
            for total in type_set.reached(aim, may_break)
        }

    def _capacities(self, aim: Aim, may_break: Rows | None = None) -> Iterator[set[Gib]]:
        """For each set of types the capacities within the aim that it reaches. No advised row counts, or not those."""
        may_break = frozenset(self.space.advised) if may_break is None else may_break
        for _, type_set in self._every(aim, may_break):
            yield self._gibs(type_set, aim, may_break)

    def _gibs(self, type_set: TypeSet, aim: Aim, may_break: Rows) -> set[Gib]:
        return {self.space.shown(type_set.space.gib(total)) for total in type_set.reached(aim, may_break)}

    def _every(self, aim: Aim, may_break: Rows, *, counts: bool = False) -> Iterator[tuple[Value, TypeSet]]:
        """Every set of types that may have a capacity within the aim, and the least that it may have in GiB.

        Of types alike but for their rates only those with most modules, unless all ``counts`` are asked for.
        """
        promises = Promises(self.space, criteria_of("capacity-first", priced=False), self.promises().facts)
        more_of = () if counts else self.promises().more_of
        for size in self._sizes():
            for _, group in sorted(promises.groups(size, aim, more_of)):
                for types in promises.sets(group, more_of):
                    self.budget.spend(PROMISE)
                    if self.space.broken_alone(types) <= may_break:
                        promise = promises.promise([promises.facts[kind] for kind in types], aim)
                        if promise is not None:
                            yield self.space.request.capacity_gib + promise[1], self._type_set(types)


class TypeSet:
    """Some types, each of them used at least once: the branches of their placements, and the best of each branch."""

    def __init__(self, space: Space, types: tuple[int, ...], budget: Budget, *, bounds: bool) -> None:
        self.types = types
        self.whole = space
        self.space = space.of_types(types)
        self.bounds = bounds
        self.budget = budget
        self.criteria: tuple[Criterion, ...] = ()
        self.branches = Branches(self.space, budget)
        self.decisions = Decisions(self.space, budget)
        self.sweeps = Sweeps(self.space, budget, self.decisions, bounds=bounds)

    @cached_property
    def _ranks(self) -> list[int]:
        """The rank in the whole space of each rank here; 0 is an empty slot."""
        return [0, *(len(self.whole.types) - kind for kind in reversed(self.types))]

    def _targets(self, aim: Aim) -> frozenset[int]:
        found = self.branches.targets(aim.low_gib, aim.high_gib)
        if aim.only is None and not aim.without:
            return found
        codes = {self.whole.code_among(self.types, code): code for code in found}
        return frozenset(here for code, here in codes.items() if code not in aim.without and aim.only in (None, code))

    def reached(self, aim: Aim, may_break: Rows) -> frozenset[int]:
        """The total counts within the aim that some placement has; the lowest rate lets all of them be."""
        targets = self._targets(aim)
        rates = self.branches.rates(may_break) if targets else []
        found = [
            self.decisions.reached(branch)
            for rate in rates[-1:]
            for branch in self.branches.of(may_break, targets, rate, aim.least_sweep)
        ]
        return frozenset().union(*found)

    def relaxations(self, aim: Aim, most: int) -> list[Rows]:
        """The least sets of advised rows, at most so many, of which one has to be broken to have such a capacity."""
        sure = self.whole.broken_alone(self.types)
        others = [row for row in self.whole.advised if row not in sure]
        if not others:
            return [sure] if len(sure) <= most else []

        def possible(rows: Rows) -> bool:
            return bool(self.reached(aim, sure | rows))

        found = least_relaxations(others, possible, most - len(sure))
        return [sure | rows for rows in found]

    # -- criterion by criterion --------------------------------------------------------------------------------------

    def best(self, node: _Node, aim: Aim, rival: Found | None, hopeless: Hopeless) -> Found | None:
        """The first placement of a branch; ``None`` where none comes before the rival.

        ``hopeless`` is what this aim has tried; what fails before stock or price count is added.
        """
        may_break = node.may_break or frozenset()
        vector: list[Value] = [len(may_break)]
        if rival is not None and rival.vector[0] < len(may_break):
            return None
        alive = rival if rival is not None and rival.vector[0] == len(may_break) else None
        tried = hopeless.setdefault(self.branches.runs(may_break, node.rate), set()) if self.bounds else set[int]()
        targets = self._targets(aim) - tried
        if not targets:
            return None
        branches = list(self.branches.of(may_break, targets, node.rate, aim.least_sweep))
        for index, criterion in enumerate(self.criteria[1:], start=1):
            if self.budget.progress is not None:
                self.budget.progress = self.budget.progress._replace(deciding=criterion.name)
            bar = alive.vector[index] if alive is not None else None
            balanced = criterion.name == "balanced_sweep"
            if criterion.name == "displaced":
                branches = self._populated(branches)
            if balanced or (criterion.name == "system_sweep" and not (branches and branches[0].populated)):
                if balanced and aim.faster_than is not None:
                    bar = aim.faster_than if bar is None else max(bar, aim.faster_than)
                value, branches = self.sweeps.best(branches, bar, balanced=balanced)
            else:
                value, branches = self.decisions.best(criterion, branches, bar)
            if value is None or (criterion.name == "balanced_sweep" and value == aim.faster_than):
                if APART.isdisjoint(each.name for each in self.criteria[: index + 1]):
                    tried |= targets
                return None
            if bar is not None and value != bar:
                alive = None
            vector = [*vector, value]
        board_order, code = max(map(self._first_in_board_order, self._populated(branches)))
        found = Found(board_order, self.types, self.whole.code_among(self.types, code), tuple(vector))
        return None if alive is not None and alive.board_order >= found.board_order else found

    def _populated(self, branches: list[Branch]) -> list[Branch]:
        """Where a socket stays empty, so that no criterion settled the populations: those of the best system sweep."""
        if all(branch.populated for branch in branches):
            return branches
        return self.sweeps.best(branches, None, balanced=False)[1]

    def _first_in_board_order(self, branch: Branch) -> tuple[tuple[tuple[int, ...], ...], int]:
        """The placement of a branch that comes first in board order: socket by socket, what can still be completed."""
        order: list[tuple[int, SocketGroup, int]] = []
        for group in branch.groups:
            places = group.places[:1] if group.tied else group.places
            order += [(place, group, len(group.places) if group.tied else 1) for place in places]
        order.sort(key=lambda entry: entry[0])
        steps = [self.decisions.codes_with_sums(branch, group, times) for _, group, times in order]
        ends = completions(steps, branch.targets, budget=self.budget)
        chosen: dict[int, bytes] = {}
        left, total = dict.fromkeys(branch.targets, branch.least_sums), 0
        for (place, group, times), end in zip(order, ends[1:], strict=True):
            for profile in sorted(group.profiles, key=lambda p: p.board_order, reverse=True):
                code, sums = profile.code * times, self.decisions.sums_of(branch, profile) * times
                rest = {
                    goal - code: least - sums for goal, least in left.items() if end.get(goal - code) == least - sums
                }
                if rest:
                    left, total = rest, total + code
                    for each in group.places if group.tied else (place,):
                        chosen[each] = profile.board_order
                    break
        return tuple(tuple(self._ranks[rank] for rank in chosen[place]) for place in sorted(chosen)), total


def least_relaxations(rows: Sequence[str], possible: Callable[[Rows], bool], most: int) -> list[Rows]:
    """The sets of fewest rows, at most ``most``, that make it possible when they may be broken; every one of that size.

    A set that does not help is grown as long as it does not help: one of the rows left out has to be broken, whatever
    else is. So only sets are tried that hold one row of each of these, and rows that never bind are in none.
    """
    if most >= 0 and possible(frozenset()):
        return [frozenset()]
    if most < 1 or not rows or not possible(frozenset(rows)):
        return []
    needed: list[Rows] = []

    def grown(chosen: Rows) -> Rows:
        for row in rows:
            if row not in chosen and not possible(chosen | {row}):
                chosen |= {row}
        return frozenset(rows) - chosen

    def extend(chosen: Rows, left: int) -> None:
        if chosen in seen:
            return
        seen.add(chosen)
        open_now = next((each for each in needed if not each & chosen), None)
        if open_now is None:
            if possible(chosen):
                found.append(chosen)
                return
            open_now = grown(chosen)
            needed.append(open_now)
        for row in sorted(open_now) if left else ():
            extend(chosen | {row}, left - 1)

    for size in range(1, most + 1):
        seen: set[Rows] = set()
        found: list[Rows] = []
        extend(frozenset(), size)
        if found:
            return sorted(found, key=sorted)
    return []
