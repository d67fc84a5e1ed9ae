"""One shelf divided between many machines.

Ordered: most machines served in full; highest smallest system sweep of those that are; fewest modules used; then
machine by machine in the order of the file, served before not served, and what its own list would rather have. Exact
by a general-purpose solver (CP-SAT of ``ortools``, the extra ``dimmplan[fleet]``), which chooses how many machines of
each request get which set of modules; machines with equal requests are alike to it. Where the solver is not installed
or the fleet is too large, machines are served one at a time in the order of the file, each as if it were alone with
what is left, and the answer says so.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from dimmplan.fleet.options import Option

MOST_MACHINES = 5000
"""Machines up to which a division is exact; above, each is served in the order of the file."""
STEADY_EFFORT = 30.0
"""The solver's counted effort for one question (its deterministic time; no clock)."""

Picks = list[int | None]
"""For each machine the place of its option in the list of its request; ``None`` where it is not served."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Need:
    """A distinct request: its options, best first by its own list, each as numbers of modules from each pool set.

    ``draws`` has for each option its (kind, count) pairs: a *kind* is one module type of one board.
    """

    options: Sequence[Option]
    draws: Sequence[tuple[tuple[int, int], ...]]


@dataclass(frozen=True, kw_only=True, slots=True)
class Pools:
    """The shelf: how many modules each pool has, and which pools each kind may be taken from."""

    counts: Sequence[int]
    of_kind: Sequence[Sequence[int]]


@dataclass(frozen=True, kw_only=True, slots=True)
class Division:
    """Who gets what. ``takes`` says for each kind how many come from each pool; ``why`` says why it is not exact."""

    picks: Picks
    takes: dict[tuple[int, int], int] = field(default_factory=dict)
    exact: bool
    why: str | None = None


class NotSolvedError(Exception):
    """The solver did not finish within its counted effort."""


def divide(machines: Sequence[int], needs: Sequence[Need], pools: Pools) -> Division | str:
    """The best division, or why there is none by this way. ``machines`` are places in ``needs``, in file order."""
    if len(machines) > MOST_MACHINES:
        return f"more than {MOST_MACHINES} machines"
    try:
        from ortools.sat.python import cp_model  # noqa: PLC0415 - an optional extra, and heavy
    except ImportError:
        return "ortools is not installed (pip install 'dimmplan[fleet]')"
    try:
        return _Solving(cp_model, machines, needs, pools).division()
    except NotSolvedError:
        return "the solver's effort did not suffice"


class _Solving:
    """One division being worked out, question by question."""

    def __init__(self, cp_model: Any, machines: Sequence[int], needs: Sequence[Need], pools: Pools) -> None:
        self.cp = cp_model
        self.machines = machines
        self.needs = needs
        self.pools = pools
        count = Counter(machines)
        self.sizes = [count[index] for index in range(len(needs))]
        self.usable = [[True] * len(need.options) for need in needs]
        self.most: int | None = None
        self.modules: int | None = None
        self.x: list[list[int]] = []
        self.takes: dict[tuple[int, int], int] = {}

    def division(self) -> Division:
        """Go down the list of criteria."""
        self.most = self._solve(lambda model, x: model.Maximize(_total(x)))
        sweeps = sorted({option.sweep for need in self.needs for option in need.options})
        low, high = 0, len(sweeps) - 1
        while low < high:
            middle = (low + high + 1) // 2
            if self._holds(sweeps[middle]):
                low = middle
            else:
                high = middle - 1
        if sweeps and not self._holds(sweeps[low]):
            raise NotSolvedError
        self.modules = self._solve(lambda model, x: model.Minimize(self._modules(x)))
        picks = list(self._in_file_order())
        return Division(picks=picks, takes=self.takes, exact=True)

    def _holds(self, sweep: Any) -> bool:
        """Let only options that sweep so fast count, and say whether as many machines are served."""
        self.usable = [[option.sweep >= sweep for option in need.options] for need in self.needs]
        most, self.most = self.most, None
        reached = self._solve(lambda model, x: model.Maximize(_total(x)))
        self.most = most
        return reached == most

    def _modules(self, x: Sequence[Sequence[Any]]) -> Any:
        return sum(
            option.size * variable
            for need, row in zip(self.needs, x, strict=True)
            for option, variable in zip(need.options, row, strict=True)
        )

    # -- in the order of the file ----------------------------------------------------------------------------------

    def _in_file_order(self) -> Iterator[int | None]:
        """Machine by machine the first option that some best division gives it."""
        fixed = [[0] * len(need.options) for need in self.needs]
        left = list(self.sizes)
        hopeful = [[place for place, usable in enumerate(each) if usable] for each in self.usable]
        for need in self.machines:
            left[need] -= 1
            options = hopeful[need]
            if options and self.x[need][options[0]] <= fixed[need][options[0]]:
                # what this machine cannot get, no later one with the same need can
                del options[: self._first_of(need, options, fixed, left)]
            if options:
                fixed[need][options[0]] += 1
            yield options[0] if options else None

    def _first_of(self, need: int, options: Sequence[int], fixed: Sequence[Sequence[int]], left: Sequence[int]) -> int:
        """The rank of the best option that is left for a machine of that need, everything before it fixed."""
        chosen: dict[int, Any] = {}

        def ask(model: Any, x: Sequence[Sequence[Any]]) -> None:
            for place in options:
                chosen[place] = model.NewBoolVar(f"now{place}")
            model.AddAtMostOne(chosen.values())
            for index, row in enumerate(x):
                for place, variable in enumerate(row):
                    now = chosen.get(place, 0) if index == need else 0
                    model.Add(variable >= fixed[index][place] + now)
                served = sum(chosen.values()) if index == need else 0
                model.Add(sum(row) <= sum(fixed[index]) + left[index] + served)
            ranked = sum(rank * chosen[place] for rank, place in enumerate(options))
            model.Minimize(ranked + len(options) * (1 - sum(chosen.values())))

        return self._solve(ask, presolve=False)

    # -- one question ----------------------------------------------------------------------------------------------

    def _solve(self, ask: Callable[[Any, Sequence[Sequence[Any]]], None], *, presolve: bool = True) -> int:
        """The best value of what is asked, what was decided before kept. Raises ``NotSolvedError``.

        Making a question simpler first (``presolve``) does not pay where there are many easy ones.
        """
        model = self.cp.CpModel()
        x = [
            [
                model.NewIntVar(0, size if usable else 0, f"x{index}_{place}")
                for place, usable in enumerate(self.usable[index])
            ]
            for index, size in enumerate(self.sizes)
        ]
        takes = self._limit(model, x)
        if self.most is not None:
            model.Add(_total(x) == self.most)
        if self.modules is not None:
            model.Add(self._modules(x) == self.modules)
        ask(model, x)
        solver = self.cp.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 0
        solver.parameters.cp_model_presolve = presolve
        solver.parameters.max_deterministic_time = STEADY_EFFORT
        if solver.Solve(model) != self.cp.OPTIMAL:
            raise NotSolvedError
        self.x = [[solver.Value(variable) for variable in row] for row in x]
        self.takes = {key: count for key, variable in takes.items() if (count := solver.Value(variable))}
        value: int = round(solver.ObjectiveValue())
        return value

    def _limit(self, model: Any, x: Sequence[Sequence[Any]]) -> dict[tuple[int, int], Any]:
        """No need is served more often than it is there, and no pool gives more than it has."""
        for row, size in zip(x, self.sizes, strict=True):
            model.Add(sum(row) <= size)
        used: dict[int, list[Any]] = {}
        for need, row in zip(self.needs, x, strict=True):
            for draw, variable in zip(need.draws, row, strict=True):
                for kind, count in draw:
                    used.setdefault(kind, []).append(count * variable)
        takes = {
            (kind, pool): model.NewIntVar(0, self.pools.counts[pool], f"take{kind}_{pool}")
            for kind in used
            for pool in self.pools.of_kind[kind]
        }
        for kind, terms in used.items():
            model.Add(sum(terms) == sum(takes[kind, pool] for pool in self.pools.of_kind[kind]))
        for pool, count in enumerate(self.pools.counts):
            model.Add(sum(take for (_, of_pool), take in takes.items() if of_pool == pool) <= count)
        return takes


def _total(x: Sequence[Sequence[Any]]) -> Any:
    return sum(variable for row in x for variable in row)
