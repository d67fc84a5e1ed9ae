"""One shelf divided between many machines.

Ordered: most machines served in full; highest smallest balanced sweep of those that are; fewest modules used; then
machine by machine in the order of the file, served before not served, and what its own list would rather have. Decided
by a general-purpose solver (CP-SAT of ``ortools``, the extra ``dimmplan[fleet]``), which chooses how many machines of
each request get which set of modules; machines with equal requests are alike to it. The answer is exact where every
set of modules is among the options and the solver came to its end; elsewhere it is the best found, with a number of
machines that no division exceeds. Its effort is counted; there is no clock.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from dimmplan.fleet.options import Option

MOST_MACHINES = 5000
"""Machines up to which a shelf is divided by the solver; above, each is served in the order of the file."""
EFFORT = 60.0
"""The solver's counted effort for one division."""
EFFORT_OF_ONE, EFFORT_OF_SAMPLED = 10.0, 2.0
"""What one question gets of it at most; the second where sets are left out."""
QUESTION, OPTION = 0.02, 0.00005
"""What a question costs beside the solver's own count, and each option in it."""
TOTAL_EFFORT = 5.0
"""Effort for the total that no division exceeds."""

Picks = list[int | None]
"""For each machine the place of its option in the list of its request; ``None`` where it is not served."""
Row = Sequence[Any]
Takes = dict[tuple[int, int], int]
"""How many modules of a kind come from a pool: by (kind, pool)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class MachineNeed:
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

    def limit(self, model: Any, used: Mapping[int, Sequence[Any]]) -> dict[tuple[int, int], Any]:
        """Variables for what each kind takes from each pool, no pool giving more than it has; ``used`` is by kind."""
        takes = {
            (kind, pool): model.NewIntVar(0, self.counts[pool], f"take{kind}_{pool}")
            for kind in used
            for pool in self.of_kind[kind]
        }
        for kind, terms in used.items():
            model.Add(sum(terms) == sum(takes[kind, pool] for pool in self.of_kind[kind]))
        for pool, count in enumerate(self.counts):
            model.Add(sum(take for (_, of_pool), take in takes.items() if of_pool == pool) <= count)
        return takes


@dataclass(frozen=True, kw_only=True, slots=True)
class Division:
    """Who gets what. ``why`` says why it is not exact; then no division serves more than ``most`` machines."""

    picks: Picks
    takes: Takes = field(default_factory=dict)
    why: str | None = None
    most: int


class Size(NamedTuple):
    """A request by numbers alone: machines, GiB and slots of each, GiB of each kind of module that it may use."""

    machines: int
    gib: int
    slots: int
    kinds: Mapping[int, int]


def solver_module() -> Any:
    """CP-SAT, or ``None`` where it is not installed."""
    try:
        from ortools.sat.python import cp_model  # noqa: PLC0415 - an optional extra, and heavy
    except ImportError:
        return None
    return cp_model


def most_served(cp_model: Any, sizes: Sequence[Size], pools: Pools) -> tuple[int, list[frozenset[int]]]:
    """How many machines at most get their capacity from the shelf, by capacity and slots alone, and the kinds used.

    A machine may split its capacity over any number of kinds, and rules are left out, so no division serves more.
    """
    model = cp_model.CpModel()
    served = [model.NewIntVar(0, size.machines, "") for size in sizes]
    modules = [{k: model.NewIntVar(0, size.machines * size.slots, "") for k in size.kinds} for size in sizes]
    used: dict[int, list[Any]] = {}
    for count, size, each in zip(served, sizes, modules, strict=True):
        model.Add(sum(gib * each[kind] for kind, gib in size.kinds.items()) >= size.gib * count)
        model.Add(sum(each.values()) <= size.slots * count)
        for kind, variable in each.items():
            used.setdefault(kind, []).append(variable)
    pools.limit(model, used)
    model.Maximize(sum(served))
    solver = _solver(cp_model, TOTAL_EFFORT)
    if solver.Solve(model) not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return sum(size.machines for size in sizes), [frozenset() for _ in sizes]
    liked = [frozenset(kind for kind, variable in each.items() if solver.Value(variable)) for each in modules]
    return int(solver.BestObjectiveBound() + 1e-6), liked


def _solver(cp_model: Any, effort: float, *, presolve: bool = True) -> Any:
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 0
    solver.parameters.cp_model_presolve = presolve
    solver.parameters.max_deterministic_time = effort
    return solver


class _EndedError(Exception):
    """The counted effort has ended."""


def divide(
    cp_model: Any, machines: Sequence[int], needs: Sequence[MachineNeed], pools: Pools, *, why: str | None = None
) -> Division | None:
    """The best division, or ``None`` where the effort ended before there was any.

    ``machines`` are places in ``needs``, in file order; ``why`` says why the options are not all that there are.
    """
    return _Solving(cp_model, machines, needs, pools, why).division()


class _Solving:
    """One division being worked out, question by question."""

    def __init__(
        self, cp_model: Any, machines: Sequence[int], needs: Sequence[MachineNeed], pools: Pools, why: str | None
    ) -> None:
        self.cp = cp_model
        self.machines = machines
        self.needs = needs
        self.pools = pools
        self.why = why
        self.left = EFFORT
        self.most_effort = EFFORT_OF_ONE if why is None else EFFORT_OF_SAMPLED
        count = Counter(machines)
        self.sizes = [count[index] for index in range(len(needs))]
        self.usable = [[True] * len(need.options) for need in needs]
        self.most: int | None = None
        self.modules: int | None = None
        self.x: list[list[int]] = []
        self.takes: Takes = {}

    def division(self) -> Division | None:
        """Go down the list of criteria."""
        whole, bound = self.why is None, sum(self.sizes)
        try:
            self.most, bound = self._solve(lambda model, x: model.Maximize(_total(x)), final=False)
            if self.most < bound:
                raise _EndedError
            self._decide_sweep()
            self.modules, best = self._solve(lambda model, x: model.Minimize(self._modules(x)), final=False)
            if best < self.modules:
                raise _EndedError
        except _EndedError:
            if not self.x:
                return None
            self.why, whole = self.why or "the solver reached its effort limit", False
        picks = list(self._in_file_order(ask=whole))
        return Division(picks=picks, takes=self.takes, why=self.why, most=bound)

    def _decide_sweep(self) -> None:
        """Let only options of the highest sweep count with which as many machines are served."""
        sweeps = sorted({option.sweep for need in self.needs for option in need.options})
        low, high = 0, len(sweeps) - 1
        while low < high:
            middle = (low + high + 1) // 2
            before = self.usable
            self.usable = [[option.sweep >= sweeps[middle] for option in need.options] for need in self.needs]
            try:
                self._solve()
                low = middle
            except _ImpossibleError:
                self.usable = before
                high = middle - 1

    def _modules(self, x: Sequence[Row]) -> Any:
        return sum(
            option.size * variable
            for need, row in zip(self.needs, x, strict=True)
            for option, variable in zip(need.options, row, strict=True)
        )

    # -- in the order of the file ----------------------------------------------------------------------------------

    def _in_file_order(self, *, ask: bool) -> Iterator[int | None]:
        """Machine by machine the first option that some best division gives it; without ``ask``, that this one has."""
        fixed = [[0] * len(need.options) for need in self.needs]
        left = list(self.sizes)
        hopeful = [[place for place, usable in enumerate(each) if usable] for each in self.usable]
        for need in self.machines:
            left[need] -= 1
            options = hopeful[need]
            if ask and options and self.x[need][options[0]] <= fixed[need][options[0]]:
                try:  # what this machine cannot get, no later one with the same need can
                    del options[: self._first_of(need, options, fixed, left)]
                except _EndedError:
                    self.why, ask = "the solver reached its effort limit while it followed the order of the list", False
            pick = options[0] if options else None
            if not ask:
                held = zip(self.x[need], fixed[need], strict=True)
                pick = next((place for place, (count, given) in enumerate(held) if count > given), None)
            if pick is not None:
                fixed[need][pick] += 1
            yield pick

    def _first_of(self, need: int, options: Sequence[int], fixed: Sequence[Row], left: Sequence[int]) -> int:
        """The rank of the best option that is left for a machine of that need, everything before it fixed."""
        chosen: dict[int, Any] = {}

        def ask(model: Any, x: Sequence[Row]) -> None:
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

        return self._solve(ask, presolve=False)[0]

    # -- one question ----------------------------------------------------------------------------------------------

    def _solve(
        self, ask: Callable[[Any, Sequence[Row]], None] | None = None, *, final: bool = True, presolve: bool = True
    ) -> tuple[int, int]:
        """The best value of what is asked, what was decided before kept, and its bound; they differ only if not final.

        Making a question simpler first (``presolve``) does not pay where there are many easy ones. Raises
        ``_ImpossibleError``, and ``_EndedError`` where the counted effort has ended.
        """
        self.left -= QUESTION + OPTION * sum(map(len, self.usable))
        if self.left <= 0:
            raise _EndedError
        model = self.cp.CpModel()
        x = [
            [model.NewIntVar(0, size if usable else 0, "") for usable in self.usable[index]]
            for index, size in enumerate(self.sizes)
        ]
        for row, size in zip(x, self.sizes, strict=True):
            model.Add(sum(row) <= size)
        used: dict[int, list[Any]] = {}
        for need, row in zip(self.needs, x, strict=True):
            for draw, variable in zip(need.draws, row, strict=True):
                for kind, count in draw:
                    used.setdefault(kind, []).append(count * variable)
        takes = self.pools.limit(model, used)
        if self.most is not None:
            model.Add(_total(x) == self.most)
        if self.modules is not None:
            model.Add(self._modules(x) == self.modules)
        if ask is not None:
            ask(model, x)
        solver = _solver(self.cp, min(self.left, self.most_effort), presolve=presolve)
        status = solver.Solve(model)
        self.left -= solver.ResponseProto().deterministic_time
        if status == self.cp.INFEASIBLE:
            raise _ImpossibleError
        if status != self.cp.OPTIMAL and (final or status != self.cp.FEASIBLE):
            raise _EndedError
        self.x = [[solver.Value(variable) for variable in row] for row in x]
        self.takes = {key: count for key, variable in takes.items() if (count := solver.Value(variable))}
        return round(solver.ObjectiveValue()), round(solver.BestObjectiveBound())


class _ImpossibleError(Exception):
    """A question has no answer."""


def _total(x: Sequence[Row]) -> Any:
    return sum(variable for row in x for variable in row)
