"""What a chain of placements is worth, measured by rules and figures alone, and what a step by itself could reach."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import combinations
from typing import Any

from dimmplan.figures import placement_figures
from dimmplan.growth.pins import PinnedSpace, Pins
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.request import Request
from dimmplan.rules import FittedRow, Rule, all_rows, judge, of_kind, rules_of
from dimmplan.solve.branches import Aim
from dimmplan.solve.budget import Budget, EffortSpent
from dimmplan.solve.criteria import CRITERIA
from dimmplan.solve.evaluate import Value, content_of
from dimmplan.solve.search import Found, Search
from dimmplan.solve.space import Space
from dimmplan.units import Gib, whole

Content = dict[str, Module | None]

STEP_CRITERIA = ("advised_broken", "over_gib", "discarded", "system_sweep", "bought", "cost")
"""What one step by itself is chosen by on the way to a chain."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Worth:
    """What orders chains; every number but the two sweeps (GB/s) is better when it is less.

    ``advised`` are distinct advised rows broken at any step, ``overs`` GiB above each request and its allowance,
    ``discarded`` modules in the machine that the first step leaves out, ``bought`` and ``cost`` those of the last step.
    """

    advised: int
    overs: tuple[Gib, ...]
    discarded: int
    smallest_sweep: Fraction
    sum_of_sweeps: Fraction
    bought: int
    cost: Fraction | None

    @property
    def key(self) -> tuple[Any, ...]:
        """Smaller is better."""
        return (
            self.advised,
            self.overs,
            self.discarded,
            -self.smallest_sweep,
            -self.sum_of_sweeps,
            self.bought,
            self.cost or Fraction(0),
        )

    @property
    def named(self) -> tuple[tuple[str, Value, str], ...]:
        """The criteria in order: name, value, which way is better; cost is left out where not all is priced."""
        overs = tuple((f"over_gib_{number}", over, "low") for number, over in enumerate(self.overs, start=1))
        cost = () if self.cost is None else (("cost", self.cost, "low"),)
        return (
            ("advised_broken", self.advised, "low"),
            *overs,
            ("discarded", self.discarded, "low"),
            ("smallest_sweep", self.smallest_sweep, "high"),
            ("sum_of_sweeps", self.sum_of_sweeps, "high"),
            ("bought", self.bought, "low"),
            *cost,
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class Chain:
    """Placements step by step, and what they are worth together."""

    contents: tuple[Content, ...]
    worth: Worth
    order: tuple[Any, ...]
    """Board order of the steps, one after another: smaller comes first."""

    @property
    def key(self) -> tuple[Any, ...]:
        """Smaller comes first; no two chains are equal."""
        return (*self.worth.key, self.order)


@dataclass(frozen=True, slots=True)
class Window:
    """Usable GiB that count at one step."""

    low: Gib
    high: Gib

    def aim(self, **more: Any) -> Aim:
        """As an aim of the search."""
        low: Any = self.low
        high: Any = self.high
        return Aim(low, high, **more)


def window_of(request: Request, over: Gib) -> Window:
    """The capacities that lie just so far above a request and its allowance."""
    most = request.capacity_gib + (request.over_gib or 0)
    return Window(request.capacity_gib, most) if not over else Window(most + over, most + over)


def over_of(request: Request, usable: Gib) -> Gib:
    """How far a capacity lies above a request and its allowance."""
    return max(0, usable - request.capacity_gib - (request.over_gib or 0))


def chain_of(board: Board, requests: Sequence[Request], contents: Sequence[Content]) -> Chain:
    """Measure a chain of legal placements by figures alone; ``contents`` name the slots of the fitted sockets."""
    space = Space(board, requests[0])
    option = board.processor(requests[0].processor)
    figures = [
        placement_figures(board, option, request.fitted, content, mode=request.mode)
        for request, content in zip(requests, contents, strict=True)
    ]
    sweeps = [each.system_sweep_gb_s for each in figures]
    first, last = (Counter(module for module in contents[i].values() if module) for i in (0, -1))
    supplies = requests[0].supplies
    priced = all(supply.priced for supply in supplies)
    worth = Worth(
        advised=len({row for content in contents for row in broken_rows(space, content)}),
        overs=tuple(over_of(request, each.usable_gib) for request, each in zip(requests, figures, strict=True)),
        discarded=sum(max(0, supply.kept - first[supply.module]) for supply in supplies),
        smallest_sweep=min(sweeps),
        sum_of_sweeps=sum(sweeps, Fraction(0)),
        bought=sum(max(0, last[supply.module] - supply.kept) for supply in supplies),
        cost=sum((supply.cost(last[supply.module]) for supply in supplies), Fraction(0)) if priced else None,
    )
    return Chain(
        contents=tuple(contents), worth=worth, order=tuple(board_order(board, content) for content in contents)
    )


def board_order(board: Board, content: Mapping[str, Module | None]) -> tuple[Any, ...]:
    """Board order of a placement: at the first slot that differs filled wins, then the module's own order."""
    return tuple((0, module.order_key) if (module := content.get(slot)) else (1,) for slot in board.slots)


def broken_rows(space: Space, content: Content) -> set[str]:
    """Ids of the advised rows that a placement breaks."""
    fitted = [socket.id for socket in space.sockets]
    return {b.rule for b in judge(space.board, space.option, fitted, content) if b.severity == "advised"}


# -- advised rows ----------------------------------------------------------------------------------------------------


def boards_by_advice(board: Board, request: Request) -> Iterator[list[Board]]:
    """The board with some of its advised rows lifted and the others made errors: fewest lifted first, equals together.

    A chain that breaks just the lifted rows is one that breaks no row of that board.
    """
    advised = [row.id for row in all_rows(board, board.processor(request.processor)) if row.severity == "advised"]
    for count in range(len(advised) + 1):
        yield [_lifted(board, request, set(rows)) for rows in combinations(sorted(set(advised)), count)]


def _lifted(board: Board, request: Request, lifted: Iterable[str]) -> Board:
    rules: list[Rule] = []
    for row in rules_of(board):
        if row.id not in lifted:
            rules.append(row.model_copy(update={"severity": "error"}) if row.severity == "advised" else row)
        else:
            rules += [row.allowing(request.fitted) for row in of_kind([row], FittedRow)]
    return replace(board, rules=tuple(rules))


# -- one step by itself ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Alone:
    """The best of one step by itself. Where ``proven`` is false, a better one is not ruled out."""

    content: Content
    code: int
    vector: tuple[Value, ...]
    proven: bool


class Steps:
    """Searches of single steps over pinned slots; each search remembers what it worked out."""

    def __init__(self, board: Board, requests: Sequence[Request]) -> None:
        self.board = board
        self.requests = requests
        self.spent = 0
        """Nodes of the last search."""
        self._searches: dict[tuple[int, Any], Search] = {}

    def best(
        self,
        step: int,
        pins: Pins,
        window: Window,
        criteria: Sequence[str],
        *,
        types: frozenset[int] | None = None,
        without: frozenset[int] = frozenset(),
    ) -> Alone | None:
        """The best placement of a step within a window, by some criteria and then by board order."""
        search = self._search(step, pins)
        search.criteria = tuple(CRITERIA[name] for name in criteria if name != "cost" or search.priced)
        search.budget.spent, search.budget.armed = 0, False
        proven = True
        try:
            found: Found | None = search.best(window.aim(types=types, without=without))
        except EffortSpent:
            found, proven = search.incumbent, False
        finally:
            search.budget.armed, self.spent = False, search.budget.spent
        if found is None:
            return None
        return Alone(content_of(search.space, found.texts), found.code, found.vector, proven)

    def _search(self, step: int, pins: Pins) -> Search:
        key = (step, frozenset(pins.items()))
        if key not in self._searches:
            request = self.requests[step]
            self._searches[key] = Search(PinnedSpace(self.board, request, pins), Budget(request.effort))
        return self._searches[key]


def unlimited(board: Board, request: Request) -> Window:
    """From a request up to all that its slots could hold."""
    space = Space(board, request)
    most = max((module.capacity_gib for module in space.types), default=0) * space.slot_count
    return Window(request.capacity_gib, max(most, request.capacity_gib))


def whole_gib(scaled: int, scale: int) -> Gib:
    """Scaled GiB as GiB."""
    return whole(Fraction(scaled, scale))
