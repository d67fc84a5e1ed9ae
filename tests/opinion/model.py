"""The same problem for a general-purpose exact solver: which rows of the tables do the sockets take?

It is solved criterion by criterion. Everything is an integer; ratios are compared by multiplying out, or by their place
among all that occur. The planner's figures are not used.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Hashable
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from ortools.sat.python import cp_model

from dimmplan.model.board import Board
from dimmplan.model.request import Mode, Request
from dimmplan.rules import AlikeRow, FittedRow, MirroringRow, MixRow
from tests.opinion.tables import Held, Rate, Tables
from tests.oracle.brute import Filling

TICKS = 10**6
"""Parts of a second in the goal that steers the search for a higher sweep; what is accepted is exact."""


@dataclass(slots=True)
class Opinion:
    """The best ordered vector, ``None`` where nothing fits; with the seconds of building and of solving."""

    vector: list[tuple[str, Any]] | None
    outside_window: bool
    building: float
    solving: float
    rows: int


def opinion(board: Board, request: Request, tables: Tables | None = None) -> Opinion:
    """The best vector inside the request's window, or, where that is empty, above it.

    ``tables`` keeps what was tabulated from call to call; the time of tabulating is counted once more each time.
    """
    tables = Tables(board, request) if tables is None else tables
    building = solving = 0.0
    for limit_gib in (request.limit_gib, None):
        model = _Model(board, request, limit_gib, tables)
        found = model.best()
        building, solving = building + model.building, solving + model.solving
        if found is not None:
            break
    return Opinion(found, found is not None and limit_gib is None, building, solving, model.rows)


@dataclass(slots=True)
class _Choice:
    """One row of one kind: how many sockets take it, and whether any does."""

    held: Held
    count: cp_model.IntVar
    taken: cp_model.IntVar


class _Model:
    """One request within one window of capacity."""

    def __init__(self, board: Board, request: Request, limit_gib: int | None, tables: Tables) -> None:
        self.oracle, self.kinds, tabulating = tables.within(limit_gib)
        began = time.process_time() - tabulating
        self.solving = 0.0
        self.request, self.board = request, board
        self.rows = sum(len(kind.rows) for kind in self.kinds)
        self.model = cp_model.CpModel()
        self.possible = self._possible() and all(kind.rows for kind in self.kinds)
        if self.possible:
            self._build(limit_gib)
        self.building = time.process_time() - began

    def _possible(self) -> bool:
        """False where the set of fitted sockets is refused."""
        fitted = {socket.id for socket in self.oracle.fitted}
        rows = [row for row in self.board.rules if isinstance(row, FittedRow)]
        refused = [row for row in rows if all(set(allowed) != fitted for allowed in row.sets)]
        self.always_broken = {row.id for row in refused if row.severity == "advised"}
        return not any(row.severity == "error" for row in refused) and (
            bool(rows) or self.board.sockets[0].id in fitted
        )

    # -- variables -------------------------------------------------------------------------------------------------

    def _build(self, limit_gib: int | None) -> None:
        model = self.model
        self.choices: list[_Choice] = []
        for kind in self.kinds:
            chosen = [self._choice(held, len(kind.sockets)) for held in kind.rows]
            model.add(sum(choice.count for choice in chosen) == len(kind.sockets))
            self.choices += chosen
        self.scale = math.lcm(*(Fraction(choice.held.filling.usable).denominator for choice in self.choices))
        self.total = self._sum(self._gib)
        model.add(self.total >= self.request.capacity_gib * self.scale)
        if limit_gib is not None:
            model.add(self.total <= limit_gib * self.scale)
        self._stock()
        self._rates()
        self._rules()

    def _choice(self, held: Held, sockets: int) -> _Choice:
        if sockets == 1:
            taken = self.model.new_bool_var("")
            return _Choice(held, taken, taken)
        count, taken = self.model.new_int_var(0, sockets, ""), self.model.new_bool_var("")
        self.model.add(count <= sockets * taken)
        return _Choice(held, count, taken)

    def _gib(self, held: Held) -> int:
        return int(held.filling.usable * self.scale)

    def _sum(self, measure: Callable[[Held], int]) -> Any:
        return sum(measure(choice.held) * choice.count for choice in self.choices)

    def _classes(self, key: Callable[[Held], Hashable]) -> dict[Any, cp_model.IntVar]:
        """A literal for each value of a key, true where a row with it is taken."""
        found: dict[Any, cp_model.IntVar] = {}
        for choice in self.choices:
            value = key(choice.held)
            if value not in found:
                found[value] = self.model.new_bool_var("")
            self.model.add_implication(choice.taken, found[value])
        return found

    def _stock(self) -> None:
        model, slots = self.model, sum(len(socket.slots) for socket in self.oracle.fitted)
        self.used, self.used_types = [], []
        for place, supply in enumerate(self.request.supplies):
            most = slots if supply.available is None else min(slots, supply.available)
            count, any_used = model.new_int_var(0, most, ""), model.new_bool_var("")
            model.add(count == self._sum(lambda held, place=place: held.filling.counts[place]))
            model.add(count <= slots * any_used)
            self.used.append(count)
            self.used_types.append(any_used)
        model.add(sum(self.used_types) <= self.request.max_types)
        one_type = any(isinstance(row, MirroringRow) and row.one_type for row in self.oracle.errors)
        if self.request.mode is Mode.MIRRORED and one_type:
            model.add(sum(self.used_types) <= 1)

    def _rates(self) -> None:
        """Where the system has one rate: that of its slowest socket."""
        self.at: dict[Rate, cp_model.IntVar | None] = {None: None}
        if self.board.rate_scope != "system":
            return
        rates = sorted({choice.held.rate for choice in self.choices if choice.held.rate is not None})
        literals = {rate: self.model.new_bool_var("") for rate in rates}
        self.model.add_exactly_one(literals.values())
        for rate, literal in literals.items():
            slower = [c.count for c in self.choices if c.held.rate is not None and c.held.rate < rate]
            self.model.add(sum(slower) == 0).only_enforce_if(literal)
            self.model.add(sum(c.count for c in self.choices if c.held.rate == rate) >= 1).only_enforce_if(literal)
        self.at = dict(literals)

    # -- rules that couple sockets, and advised rows ---------------------------------------------------------------

    def _rules(self) -> None:
        ids = {row.id for row in self.oracle.advised}
        self.broken = {row_id: self.model.new_bool_var("") for row_id in sorted(ids)}
        for choice in self.choices:
            for row_id in choice.held.filling.advised:
                self.model.add_implication(choice.taken, self.broken[row_id])
        for row_id in self.always_broken:
            self.model.add(self.broken[row_id] == 1)
        for row in self.board.rules:
            excused = self.broken.get(row.id)
            if isinstance(row, MixRow) and row.apart == "system":
                self._apart(row, excused)
            elif isinstance(row, AlikeRow) and len(self.oracle.fitted) > 1:
                self._alike(row, excused)

    def _unless(self, constraint: cp_model.Constraint, excused: cp_model.IntVar | None) -> None:
        if excused is not None:
            constraint.only_enforce_if(excused.negated())

    def _apart(self, row: MixRow, excused: cp_model.IntVar | None) -> None:
        values: dict[str, list[cp_model.IntVar]] = {}
        for module, used in zip(self.oracle.types, self.used_types, strict=True):
            values.setdefault(str(getattr(module, row.field)), []).append(used)
        present = []
        for literals in values.values():
            present.append(self.model.new_bool_var(""))
            for literal in literals:
                self.model.add_implication(literal, present[-1])
        self._unless(self.model.add(sum(present) <= 1), excused)

    def _alike(self, row: AlikeRow, excused: cp_model.IntVar | None) -> None:
        if row.what == "population" and len({socket.build for socket in self.oracle.fitted}) > 1:
            self._unless(self.model.add(sum(self.used) <= -1), excused)
            return
        same: dict[str, Callable[[Held], Hashable]] = {
            "capacity": lambda held: held.filling.capacity,
            "count": lambda held: sum(held.filling.counts),
            "population": lambda held: held.filling.slots,
        }
        values = self._classes(same[row.what])
        self._unless(self.model.add(sum(values.values()) <= 1), excused)

    # -- criteria --------------------------------------------------------------------------------------------------

    def best(self) -> list[tuple[str, Any]] | None:
        """The vector of the first placement, each criterion made best while those before it are held."""
        self.hint: list[int] | None = None
        if not self.possible or self._solve(None, "low") is None:
            return None
        vector: list[tuple[str, Any]] = []
        for criterion in self.oracle.criteria:
            name = criterion.name
            if name in ("balanced_sweep", "system_sweep"):
                self._sweep(name)
            else:
                self._one(name, criterion.better)
            measured = self.oracle.measure(self._fillings())
            vector.append((name, measured[name]))
            assert [(done, measured[done]) for done, _ in vector] == vector, f"{name} undid what came before it"
        return vector

    def _one(self, name: str, better: str) -> None:
        """Make one criterion best and hold it."""
        began = time.process_time()
        expression = self._expression(name)
        self.building += time.process_time() - began
        value = self._solve(expression, better)
        self.model.add(expression == value) if better == "low" else self.model.add(expression >= value)

    def _expression(self, name: str) -> Any:
        request, supplies = self.request, self.request.supplies
        rows = {
            "worst_sweep": lambda: self._least_ratio(1),
            "worst_parallel": lambda: self._least_ratio(2),
            "controller_difference_gib": self._most_difference,
            "narrowest_ways": self._narrowest,
            "socket_difference_gib": self._socket_difference,
            "advised_broken": lambda: sum(self.broken.values()),
            "over_gib": lambda: self._above((request.capacity_gib + (request.over_gib or 0)) * self.scale),
            "regions": lambda: self._sum(lambda held: held.regions),
            "low_rank_channels": lambda: self._sum(lambda held: held.filling.low_rank_channels),
            "types": lambda: sum(self.used_types),
            "modules": lambda: sum(self.used),
            "free_slots": lambda: -sum(self.used),
            "discarded": lambda: self._by_count(lambda place, n: Fraction(max(0, supplies[place].kept - n))),
            "bought": lambda: self._by_count(lambda place, n: Fraction(max(0, n - supplies[place].kept))),
            "cost": lambda: self._by_count(lambda place, n: Fraction(supplies[place].cost(n))),
        }
        return rows[name]()

    def _above(self, allowed: int) -> Any:
        over = self.model.new_int_var(0, 1 << 40, "")
        self.model.add(over >= self.total - allowed)
        return over

    def _by_count(self, measure: Callable[[int, int], Fraction]) -> Any:
        """A sum over types of what a number of modules means, read from a list."""
        lists = []
        for place, used in enumerate(self.used):
            most = sum(len(socket.slots) for socket in self.oracle.fitted)
            lists.append((used, [measure(place, n) for n in range(most + 1)]))
        unit = math.lcm(*(value.denominator for _, values in lists for value in values))
        parts = []
        for used, values in lists:
            part = self.model.new_int_var(0, int(max(values) * unit), "")
            self.model.add_element(used, [int(value * unit) for value in values], part)
            parts.append(part)
        return sum(parts)

    def _socket_difference(self) -> Any:
        high, low = self.model.new_int_var(0, 1 << 40, ""), self.model.new_int_var(0, 1 << 40, "")
        for gib, literal in self._classes(self._gib).items():
            self.model.add(high >= gib).only_enforce_if(literal)
            self.model.add(low <= gib).only_enforce_if(literal)
        return high - low

    def _most_difference(self) -> Any:
        most = self.model.new_int_var(0, 1 << 40, "")
        for difference, literal in self._classes(lambda held: held.controller_difference).items():
            self.model.add(most >= int(difference * self.scale)).only_enforce_if(literal)
        return most

    def _narrowest(self) -> Any:
        least = self.model.new_int_var(0, 1 << 20, "")
        for ways, literal in self._classes(lambda held: held.narrowest).items():
            if ways is not None:
                self.model.add(least <= ways).only_enforce_if(literal)
        return least

    def _least_ratio(self, figure: int) -> Any:
        """The place, among all ratios that occur, of the lowest one taken."""
        every = {found[figure] for choice in self.choices for found in choice.held.figures.values()}
        place = {value: index for index, value in enumerate(sorted(every))}
        least = self.model.new_int_var(0, len(place), "")
        for pairs, literal in self._by_rate(figure).items():
            for rate, value in pairs:
                self.model.add(least <= place[value]).only_enforce_if(*self._when(literal, rate))
        return least

    def _by_rate(self, figure: int | slice) -> dict[tuple[tuple[Rate, Any], ...], cp_model.IntVar]:
        """A literal for each list of a figure, or several, at the rates that the system may run at."""
        return self._classes(
            lambda held: tuple((rate, found[figure]) for rate, found in held.figures.items() if rate in self.at)
        )

    def _when(self, literal: cp_model.IntVar, rate: Rate) -> list[cp_model.IntVar]:
        """A row taken, and the system running at a rate where it has one."""
        running = self.at[rate]
        return [literal] if running is None else [literal, running]

    def _sweep(self, name: str) -> None:
        """Raise the system or the balanced sweep until nothing sweeps faster, then hold it.

        For the balanced one no socket may be slower than its part, and none is without memory unless all may be.
        """
        began = time.process_time()
        by_rate = self._by_rate(slice(0, 2))
        sockets = len(self.oracle.fitted)
        longest = self.model.new_int_var(0, 1 << 40, "")
        for pairs, literal in by_rate.items():
            for rate, (seconds, _) in pairs:
                when = self._when(literal, rate)
                self.model.add(longest >= math.ceil(seconds * TICKS)).only_enforce_if(*when)
        self.building += time.process_time() - began
        while True:
            reached = self.oracle.measure(self._fillings())[name]
            above = self.model.new_bool_var("")
            for pairs, literal in by_rate.items():
                for rate, (seconds, own) in pairs:
                    least = reached * seconds * self.scale
                    when = self._when(literal, rate)
                    if name == "balanced_sweep":
                        if sockets * own < reached:
                            self.model.add_bool_or([each.negated() for each in when])
                        if sockets * own <= reached:
                            self.model.add_bool_or([each.negated() for each in (*when, above)])
                    self.model.add(self.total >= math.ceil(least)).only_enforce_if(*when)
                    self.model.add(self.total >= math.floor(least) + 1).only_enforce_if(*when, above)
            ratio = (reached * self.scale / TICKS).limit_denominator(10**6)
            goal = ratio.denominator * self.total - ratio.numerator * longest
            if self._solve(goal, "high", assumed=above) is None:
                self.model.add(above == 0)
                return

    # -- solving ---------------------------------------------------------------------------------------------------

    def _solve(self, goal: Any, better: str, assumed: cp_model.IntVar | None = None) -> int | None:
        """The best value of a goal by one thread; ``None`` where nothing fits. The solution is kept."""
        model = self.model.clone()
        model.clear_objective()
        if assumed is not None:
            model.add(assumed == 1)
        if goal is not None:
            model.minimize(goal) if better == "low" else model.maximize(goal)
        if self.hint is not None:
            for choice, value in zip(self.choices, self.hint, strict=True):
                model.add_hint(choice.count, value)
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        began = time.process_time()
        status = solver.solve(model)
        self.solving += time.process_time() - began
        if status == cp_model.INFEASIBLE:
            return None
        assert status == cp_model.OPTIMAL, solver.status_name(status)
        self.hint = [solver.value(choice.count) for choice in self.choices]
        return round(solver.objective_value) if goal is not None else 0

    def _fillings(self) -> list[Filling]:
        """What the sockets take in the solution kept."""
        assert self.hint is not None
        found: list[Filling] = []
        start = 0
        for kind in self.kinds:
            counts = self.hint[start : start + len(kind.rows)]
            start += len(kind.rows)
            held = [row.filling for row, n in zip(kind.rows, counts, strict=True) for _ in range(n)]
            found += [replace(filling, socket=socket) for filling, socket in zip(held, kind.sockets, strict=True)]
        return found
