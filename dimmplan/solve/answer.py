"""The answer to a request: the placement that comes first, what comes next to it, and one step up and down.

The search is deaf and mute: no files, no printing, no clock. It answers *proven* or *best found*, or raises
``ImpossibleError`` with the rules that stand in the way.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

from dimmplan.errors import Cause, DimmplanError, ImpossibleError
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.request import Mode, Request
from dimmplan.solve.branches import Aim
from dimmplan.solve.budget import Budget, EffortSpent
from dimmplan.solve.causes import causes_of, nearest_capacities, rounded_up
from dimmplan.solve.criteria import LISTS, Criterion, Value, broken_rows, content_of, ranked, usable_of, vector_of
from dimmplan.solve.limits import Promise, ideal
from dimmplan.solve.search import Found, Search
from dimmplan.solve.space import Space
from dimmplan.units import Gib

MOST_RUNNERS_UP = 3
BESIDE = 300_000
"""All that stands beside an answer has as much effort as the answer took, or so many nodes; never more than asked."""
STEP_SHARE = Fraction(1, 4)
"""One step up looks this far above the capacity found."""


class Choice(NamedTuple):
    """One placement with the vector of the request's criteria."""

    content: dict[str, Module | None]
    vector: tuple[Value, ...]
    usable_gib: Gib

    @property
    def capacity_gib(self) -> int:
        """Capacity of all modules; what the mode leaves of it is ``usable_gib``."""
        return sum(module.capacity_gib for module in self.content.values() if module)


class Bound(NamedTuple):
    """The first criterion at which something better may still be hidden, and the best value it could have."""

    criterion: str
    value: Value | None


class Answer(NamedTuple):
    """What the search says. ``bound`` and ``stopped`` are set where the answer is the best found, not proven."""

    criteria: tuple[Criterion, ...]
    best: Choice
    proven: bool
    stopped: str | None
    bound: Bound | None
    effort: int
    runners_up: tuple[Choice, ...]
    step_above: Choice | None
    step_below: Choice | None
    outside_window: bool
    rounded_up: tuple[Cause, ...] = ()
    """What keeps the capacity asked, or one nearer to it, away; empty where the list prefers another."""
    least_difference_gib: Gib | None = None
    """The least that the sockets could differ by at the capacity found; ``None`` where it was not asked for."""

    @property
    def values(self) -> dict[str, Value]:
        """The values of the criteria for the best placement, by name."""
        return dict(zip((criterion.name for criterion in self.criteria), self.best.vector, strict=True))


def solve(board: Board, request: Request, *, alternatives: bool = True, steps: bool = False) -> Answer:
    """Answer a request. Raises ``ImpossibleError`` where nothing fits.

    ``steps`` asks as well for one step up and down, why the capacity is not the one asked, and how equal the sockets
    could be; ``alternatives`` for all that and runners-up.
    """
    space = Space(board, request)
    answer = solve_in(space, alternatives=alternatives, steps=steps)
    if answer is None:
        raise _impossible(board, request)
    return answer


def solve_in(space: Space, *, alternatives: bool = True, steps: bool = False) -> Answer | None:
    """As ``solve`` over a space, which may have slots that are settled; ``None`` where nothing fits."""
    if not space.possible():
        return None
    request, budget = space.request, Budget(space.request.effort)
    search = Search(space, budget)
    aim = Aim(request.capacity_gib, request.limit_gib)
    found, proven = search.first(aim)
    outside = found is None
    if found is None:
        aim = Aim(request.capacity_gib, max(space.most_gib, request.capacity_gib))
        found, proven = search.first(aim)
    if found is None:
        return None
    best, effort = checked(search, found), budget.spent
    stopped = None if proven else budget.reason
    more = _Alternatives(space, search, aim, found, best) if (alternatives or steps) and not budget.stopping else None
    return Answer(
        criteria=search.criteria,
        best=best,
        proven=proven,
        stopped=stopped,
        bound=None if proven else bound_of(space, search.criteria, best, search.possible),
        effort=effort,
        runners_up=more.runners_up() if more and alternatives else (),
        step_above=more.step(up=True) if more else None,
        step_below=more.step(up=False) if more else None,
        outside_window=outside,
        rounded_up=more.rounded_up() if more else (),
        least_difference_gib=more.least_difference() if more else None,
    )


def _impossible(board: Board, request: Request) -> ImpossibleError:
    below, above = nearest_capacities(board, request)
    return ImpossibleError(causes_of(board, request), below_gib=below, above_gib=above)


def checked(search: Search, found: Found) -> Choice:
    """The found placement, accepted only where rules and figures give the vector that the search decided by."""
    space, content = search.space, content_of(search.space, found.board_order)
    vector = vector_of(space, search.criteria, content)
    if vector != found.vector:
        raise DimmplanError(f"internal: the search decided by {found.vector}, the figures give {vector}")
    return Choice(content=content, vector=vector, usable_gib=usable_of(space, content))


def bound_of(space: Space, criteria: tuple[Criterion, ...], best: Choice, possible: Promise = ()) -> Bound:
    """The first criterion at which the best found does not meet what could be reached at all.

    ``possible`` is what the search knows of it.
    """
    best_of_all = ideal(space)
    unbeaten = max(possible, ranked(criteria, [best_of_all[criterion.name] for criterion in criteria]))
    for criterion, here, there in zip(criteria, ranked(criteria, best.vector), unbeaten, strict=True):
        if here != there:
            return Bound(criterion=criterion.name, value=-there if criterion.better == "high" else there)
    return Bound(criterion="board_order", value=None)


class _Alternatives:
    """What stands beside the answer, as far as the effort for it goes: what does not finish is left out."""

    def __init__(self, space: Space, search: Search, aim: Aim, found: Found, best: Choice) -> None:
        self.space, self.search, self.aim, self.found, self.best = space, search, aim, found, best
        values = search.values(found)
        self.broken = broken_rows(space, best.content)
        search.budget.limit = min(space.request.effort, max(BESIDE, search.budget.spent))
        search.budget.spent = 0
        self.difference = values["socket_difference_gib"]
        self.balanced, self.worst = Fraction(values["balanced_sweep"]), Fraction(values["worst_sweep"])

    def runners_up(self) -> tuple[Choice, ...]:
        """Placements that a person may prefer, one for each set of types and capacity, best first."""
        seen = {self._looks(self.best)}
        found: list[Choice] = []
        for candidate in sorted(self._candidates(), key=self._place):
            choice = checked(self.search, candidate)
            if self._looks(choice) not in seen:
                seen.add(self._looks(choice))
                found.append(choice)
        return tuple(found[:MOST_RUNNERS_UP])

    def _looks(self, choice: Choice) -> tuple[frozenset[Module], tuple[int, ...]]:
        """What a person sees at a glance: which types, and how much at each socket."""
        used = frozenset(module for module in choice.content.values() if module)
        sockets = (
            sum(module.capacity_gib for slot in socket.slots if (module := choice.content.get(slot)))
            for socket in self.space.sockets
        )
        return used, tuple(sorted(sockets))

    def _candidates(self) -> list[Found]:
        """The best of every other list, of every single type, and of every other set of modules."""
        found = [*self._of_other_lists(), *self._of_single_types()]
        rival = min((each for each in found if each.code != self.found.code), key=self._place, default=None)
        second = self._best_of(self.search, self.aim._replace(without=frozenset([self.found.code])), rival)
        return found if second is None else [*found, second]

    def _of_other_lists(self) -> Iterator[Found]:
        search = self.search
        for prefer in LISTS:
            if prefer in (self.space.request.prefer, "upgrade") or (prefer == "cost-first" and not search.priced):
                continue
            other = Search(self.space, search.budget, prefer=prefer, like=search)
            found = self._best_of(other, self.aim, self._judged(self.found, other.criteria))
            judged = self._judged(found, search.criteria)
            if judged is not None:
                yield judged

    def _of_single_types(self) -> Iterator[Found]:
        """The best of each type, as far as they may be among the first: the most promising types come first."""
        promises = self.search.promises()
        groups = promises.groups(1, self.aim)
        each = sorted((promise, kind) for promise, kinds in groups for (kind,) in promises.sets(kinds))
        places: list[Promise] = []
        for promise, kind in each:
            if len(places) > MOST_RUNNERS_UP and promise > sorted(places)[MOST_RUNNERS_UP]:
                return
            if self.found.types != (kind,):
                found = self._best_of(self.search, self.aim._replace(types=frozenset([kind])), None)
                if found is not None:
                    places.append(self._place(found))
                    yield found

    @staticmethod
    def _best_of(search: Search, aim: Aim, start: Found | None) -> Found | None:
        """The best placement of a search, or the best that its effort found; ``start`` is what it has to beat."""
        return search.first(aim, start, may_end_empty=True)[0]

    def _judged(self, found: Found | None, criteria: tuple[Criterion, ...]) -> Found | None:
        """A placement as a list of criteria sees it."""
        vector = None if found is None else vector_of(self.space, criteria, content_of(self.space, found.board_order))
        return None if found is None or vector is None else found._replace(vector=vector)

    def _place(self, found: Found) -> tuple[Value, ...]:
        """Where a placement stands by the request's list: the least is the best."""
        return ranked(self.search.criteria, found.vector)

    def step(self, *, up: bool) -> Choice | None:
        """The nearest capacity above or below with a higher balanced sweep; ``None`` where there is none.

        A step breaks no advised rule but those that the answer breaks, and no socket of it sweeps slower than the
        answer's slowest.
        """
        by_sweep = Search(self.space, self.search.budget, prefer="capacity-first", like=self.search)
        if self.balanced >= ideal(self.space)["balanced_sweep"]:
            return None
        try:
            capacities = list(self._step_capacities(up=up))
        except EffortSpent:
            return None
        for gib in capacities:
            aim = Aim(gib, gib, least_sweep=self.worst, faster_than=self.balanced, may_break=self.broken)
            found = self._judged(self._best_of(by_sweep, aim, None), self.search.criteria)
            if found is not None:
                return checked(self.search, found)
        return None

    def rounded_up(self) -> tuple[Cause, ...]:
        """What keeps the capacity asked, or one nearer to it, away."""
        budget = self.search.budget
        budget.binding = True
        try:
            return tuple(rounded_up(self.space, self.best.usable_gib, budget, as_advised=not self.broken))
        except EffortSpent:
            return ()

    def least_difference(self) -> Gib | None:
        """The least that the sockets could differ by at the answer's capacity, breaking no other advised rules."""
        here = self.best.usable_gib
        if here != int(here) or not self.difference:
            return 0
        equal = Search(self.space, self.search.budget, prefer="equal-sockets", like=self.search)
        found = self._best_of(equal, Aim(int(here), int(here), may_break=self.broken), None)
        return None if found is None else equal.values(found)["socket_difference_gib"]

    def _step_capacities(self, *, up: bool) -> Iterator[int]:
        """Where to look for a step: to a quarter above, or all that is below, the nearest first."""
        here = self.best.usable_gib
        low, high = (math.floor(here) + 1, math.floor(here + here * STEP_SHARE)) if up else (1, math.ceil(here) - 1)
        if self.space.request.mode is Mode.INDEPENDENT:
            step = math.gcd(*(module.capacity_gib for module in self.space.types))
            rising = list(range(-(-low // step) * step, high + 1, step))
        else:
            reached = self.search.capacities(Aim(low, high))
            rising = sorted(int(gib) for gib in reached if gib == int(gib))
        yield from rising if up else reversed(rising)
