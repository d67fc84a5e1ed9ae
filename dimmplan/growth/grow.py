"""The best chain of placements for rising capacities, exact over the whole chain, and what its path costs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from dimmplan.errors import Cause, ImpossibleError
from dimmplan.growth.adding import Adding, Tell
from dimmplan.growth.moving import Moving
from dimmplan.growth.pinned import NOTHING, Start, impossible_from, planned_as, solve_from
from dimmplan.growth.pins import closed
from dimmplan.growth.steps import Chain, Window, boards_by_advice, chain_of, unlimited
from dimmplan.model.board import Board
from dimmplan.model.request import Request
from dimmplan.planner import Planned
from dimmplan.solve.answer import Answer
from dimmplan.solve.budget import Budget, EffortSpent
from dimmplan.solve.evaluate import Value
from dimmplan.units import Gib, format_capacity

STEP_STOPPED = "place in the chain"
"""Why a step is not called proven first by its own list: the chain is best as a whole."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Growth:
    """The best chain for some requests, each step as a plan, and each step chosen by itself (``free``).

    A step is *proven* where it also is the first by its own list. ``bound`` names the criterion of the chain at which a
    better one may be hidden, and the best value that it could have.
    """

    board: Board
    may_move: bool
    chain: Chain
    steps: tuple[Planned, ...]
    free: tuple[Answer, ...]
    proven: bool
    stopped: str | None
    bound: tuple[str, Value] | None
    effort: int
    outside_window: bool


class _Told:
    """What a search tells as it goes: the best chain so far, what is being decided and what it could still become."""

    def __init__(self, budget: Budget) -> None:
        self.budget = budget
        self.incumbent: Chain | None = None
        self.bound: tuple[str, Value] | None = None

    def __call__(self, name: str, value: Any) -> None:
        if name != "incumbent":
            self.bound = (name, value)
        elif self.incumbent is None or value.key < self.incumbent.key:
            self.incumbent = value
            self.budget.armed = True


def grow(board: Board, requests: Sequence[Request], *, may_move: bool = False, start: Start = NOTHING) -> Growth:
    """The best chain for requests that rise, and differ in capacity and allowance only.

    Ordered: no error row broken at any step, then fewest advised ones; least usable capacity above each request, in
    step order; fewest modules discarded (only the first step can leave any out of the machine); highest smallest
    system sweep of the steps; highest sum of them; fewest modules bought; cost, where all is priced; board order of
    the steps, one after another. Later steps only add modules, or with ``may_move`` never have fewer of a type. At
    most ``max_types`` types are used over the whole chain. Each step keeps its request's window of capacity unless no
    chain does.

    Raises ``ImpossibleError`` where there is no chain.
    """
    budget = Budget(requests[0].effort)
    told = _Told(budget)
    task = _Task(board=board, requests=requests, may_move=may_move, start=start, budget=budget, tell=told)
    proven, outside = True, False
    chain: Chain | None = None
    try:
        chain = task.best([Window(request.capacity_gib, request.limit_gib) for request in requests])
        if chain is None:
            outside = True
            chain = task.best([unlimited(board, request) for request in requests])
    except EffortSpent:
        chain, proven = told.incumbent, False
    if chain is None:
        raise _impossible(task)
    chain = chain_of(board, requests, chain.contents)
    free = tuple(solve_from(board, each, start._replace(stays={}), alternatives=False) for each in requests)
    steps = tuple(
        planned_as(board, request, content, alone, stopped=STEP_STOPPED, hold=start.hold)
        for request, content, alone in zip(requests, chain.contents, free, strict=True)
    )
    return Growth(
        board=board,
        may_move=may_move,
        chain=chain,
        steps=steps,
        free=free,
        proven=proven,
        stopped=None if proven else f"effort limit of {requests[0].effort} nodes",
        bound=None if proven else told.bound,
        effort=budget.spent,
        outside_window=outside,
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class _Task:
    """What is searched for, whatever the windows of capacity."""

    board: Board
    requests: Sequence[Request]
    may_move: bool
    start: Start
    budget: Budget
    tell: Tell

    def best(self, limits: Sequence[Window]) -> Chain | None:
        """The best chain within some windows: the fewest advised rows that a chain has to break are found first."""
        for boards in boards_by_advice(self.board, self.requests[0]):
            best: Chain | None = None
            for each in boards:
                best = self.search(each, limits).best(best) or best
            if best is not None:
                return best
        return None

    def search(self, board: Board, limits: Sequence[Window]) -> Adding | Moving:
        """A search on the board or, with some of its advised rows lifted, on one that stands for it."""
        if not self.may_move:
            return Adding(board, self.requests, limits, pins=self.start.pins, budget=self.budget, tell=self.tell)
        pins = [self.start.pins, *(closed(self.start.hold) for _ in self.requests[1:])]
        return Moving(board, self.requests, limits, pins=pins, budget=self.budget, tell=self.tell)


# -- when there is no chain ------------------------------------------------------------------------------------------


def _impossible(task: _Task) -> ImpossibleError:
    """The first step that nothing reaches, by itself or after those before it, and the nearest capacity for it."""
    board, requests, start = task.board, task.requests, task.start
    for index, request in enumerate(requests):
        before = start if index == 0 or not task.may_move else start._replace(stays={})
        try:
            solve_from(board, request, before, alternatives=False)
        except ImpossibleError as error:
            return error
    for count in range(2, len(requests) + 1):
        reached = set(_last_capacities(replace(task, requests=requests[:count])))
        asked = requests[count - 1].capacity_gib
        if all(gib < asked for gib in reached):
            return ImpossibleError(
                [Cause(rule="growth", text=_cannot_follow(task, count))],
                below_gib=max(reached, default=None),
                above_gib=None,
            )
    return impossible_from(board, requests[0], start)


def _cannot_follow(task: _Task, count: int) -> str:
    *before, asked = (format_capacity(request.capacity_gib) for request in task.requests[:count])
    how = "without discarding a module" if task.may_move else "by adding modules only"
    most = task.requests[0].max_types
    types = f"{most} module type{'s' if most > 1 else ''}"
    return f"{asked} cannot follow {' and '.join(before)} {how}, with at most {types} over the whole chain."


def _last_capacities(task: _Task) -> Iterator[Gib]:
    """Capacities that the last step can have after the others, advised rows aside."""
    limits = [unlimited(task.board, request) for request in task.requests]
    limits[-1] = Window(1, limits[-1].high)
    *_, lifted = boards_by_advice(task.board, task.requests[0])
    unbound = replace(task, budget=Budget(0))
    for board in lifted:
        yield from unbound.search(board, limits).last_capacities()
