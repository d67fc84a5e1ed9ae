"""Machines that share a shelf: who gets which modules, from which rows of the list."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

from dimmplan.errors import InputError, RefusedError
from dimmplan.fleet.division import (
    MOST_MACHINES,
    Division,
    MachineNeed,
    Pools,
    Size,
    divide,
    most_served,
    solver_module,
)
from dimmplan.fleet.options import Allowance, Option, Sets, first_option
from dimmplan.fleet.requests import BoardRequest, Key, Requests
from dimmplan.fleet.rows import Row
from dimmplan.growth.pinned import planned_as
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.request import Lot, Request, Supply
from dimmplan.planner import Planned
from dimmplan.solve.answer import solve
from dimmplan.solve.criteria import usable_of
from dimmplan.solve.space import Space
from dimmplan.stock import ShelfLot
from dimmplan.supply import Take, cheapest_first, refusal, same_on_board

Method = Literal["exact", "best-found", "one-at-a-time"]
MOST_SETS = 20_000
"""Sets of modules that are looked at for an exact division, over all requests."""
SAMPLED_SETS = 2_000
"""Sets that are looked at where there are more."""
MOST_TYPES = 8
"""Types of modules that are looked at for one request."""
MOST_NODES = 8_000_000
"""Search nodes spent on them; no clock."""
SHARE_STOPPED = "it is chosen so that the shelf serves most machines"
"""Why a machine's plan is not called proven first by its own list."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Share:
    """What one machine gets."""

    option: Option
    taken: tuple[Take, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class SharedShelf:
    """A shelf divided. ``shares`` are by the number of the row; ``left`` is what stays on the shelf, row by row.

    ``why`` says why it is not exact. No division serves more than ``most`` machines, where that is known.
    """

    shares: Mapping[int, Share]
    method: Method
    why: str | None
    most: int | None
    served: int
    wanted: int
    smallest_sweep: Fraction | None
    modules: int
    left: tuple[ShelfLot, ...]


def share(requests: Requests, rows: Iterable[Row]) -> SharedShelf:
    """Divide the shelf between the machines of some rows, as ``division`` says. Rows that ask for nothing are left out.

    Raises ``InputError`` for a stock list that cannot be read.
    """
    numbers: list[int] = []
    machines: list[int] = []
    distinct: dict[Key, int] = {}
    asked: list[BoardRequest] = []
    for row in rows:
        found = requests.asked(row)
        if isinstance(found, InputError | RefusedError):
            continue
        if found.key not in distinct:
            distinct[found.key] = len(asked)
            asked.append(found)
        numbers.append(row.number)
        machines.append(distinct[found.key])
    return _Sharing(requests, numbers, machines, asked).shared()


class _Sharing:
    """One shelf being divided."""

    def __init__(
        self, requests: Requests, numbers: Sequence[int], machines: Sequence[int], asked: Sequence[BoardRequest]
    ) -> None:
        self.requests = requests
        self.numbers = numbers
        self.machines = machines
        self.asked = asked
        self.kinds: dict[tuple[object, ...], int] = {}
        """The number of each module type of each board."""
        self.places: list[list[str]] = []
        """By that number, which rows of the shelf the type may be taken from, cheapest first."""
        self.lots: dict[str, ShelfLot] = {}
        for each in asked:
            self._add_kinds(each)

    def _add_kinds(self, asked: BoardRequest) -> None:
        shelf = self.requests.shelf(asked.board)
        for lot in shelf.lots if shelf else ():
            if lot.count:
                self.lots.setdefault(lot.place, lot)
        for supply in asked.request.supplies if shelf else ():
            key = (*asked.place, supply.module)
            if shelf is None or key in self.kinds:
                continue
            lots = [lot for lot in shelf.lots if lot.count and self._serves(asked, lot, supply.module)]
            self.kinds[key] = len(self.places)
            self.places.append([lot.place for lot in sorted(lots, key=_cheapest_first)])

    @staticmethod
    def _serves(asked: BoardRequest, lot: ShelfLot, module: Module) -> bool:
        allowed = refusal(asked.board, asked.request.processor, lot.module) is None
        return allowed and same_on_board(asked.board, lot.module, module)

    def kind(self, asked: BoardRequest, module: Module) -> int:
        """The kind of a module type on a board."""
        return self.kinds[*asked.place, module]

    # -- the whole -------------------------------------------------------------------------------------------------

    def shared(self) -> SharedShelf:
        """The solver's division where there is one; one machine at a time elsewhere, with the reason."""
        solved = self._solved()
        picks, why, most = (self._one_by_one(), solved, None) if isinstance(solved, str) else solved
        method: Method = "one-at-a-time" if isinstance(solved, str) else "best-found" if why else "exact"
        served = list(picks.values())
        left = {place: lot.count for place, lot in self.lots.items()}
        for each in served:
            for taken in each.taken:
                left[taken.lot.place] -= taken.count
        return SharedShelf(
            shares=picks,
            method=method,
            why=why,
            most=most,
            served=len(served),
            wanted=len(self.machines),
            smallest_sweep=min((each.option.sweep for each in served), default=None),
            modules=sum(each.option.size for each in served),
            left=tuple(replace(self.lots[place], count=count) for place, count in left.items() if count),
        )

    def _solved(self) -> tuple[dict[int, Share], str | None, int] | str:
        """What the solver gives to whom, why that is not exact, and what no division exceeds; or why it gives none."""
        cp_model = solver_module()
        if cp_model is None:
            return "ortools is not installed (pip install 'dimmplan[fleet]')"
        if len(self.machines) > MOST_MACHINES:
            return f"more than {MOST_MACHINES} machines"
        rows = self._pools()
        pools = Pools(counts=[count for count, _ in rows], of_kind=self._of_kind(rows))
        sets = [Sets(each.board, each.request, most=MOST_TYPES) for each in self.asked]
        most, most_sets = None, MOST_SETS
        if not all(each.whole for each in sets) or sum(len(each.codes) for each in sets) > MOST_SETS:
            most, liked = most_served(cp_model, self._sizes(), pools)
            most_sets = max(1, SAMPLED_SETS // len(sets))
            for place, (asked, kinds) in enumerate(zip(self.asked, liked, strict=True)):
                if not sets[place].whole:
                    modules = [s.module for s in asked.request.supplies if self.kind(asked, s.module) in kinds]
                    sets[place] = Sets(asked.board, asked.request, most=MOST_TYPES, liked=modules)
        allowance, needs, whole = Allowance(MOST_NODES), list[MachineNeed](), True
        for asked, each in zip(self.asked, sets, strict=True):
            options, all_there = each.options(most_sets, allowance)
            whole &= all_there
            draws = [tuple((self.kind(asked, m), count) for m, count in option.modules) for option in options]
            needs.append(MachineNeed(options=options, draws=draws))
        why = None if whole else "more sets of modules than can all be looked at"
        division = divide(cp_model, self.machines, needs, pools, why=why)
        if division is None:
            return "the solver reached its effort limit"
        if not whole:
            most = most_served(cp_model, self._sizes(), pools)[0] if most is None else most
        else:
            most = division.most
        return dict(self._dealt(division, needs, rows)), division.why, most

    def _sizes(self) -> list[Size]:
        """The requests by numbers."""
        count = Counter(self.machines)
        return [
            Size(
                machines=count[place],
                gib=each.request.capacity_gib,
                slots=sum(len(s.slots) for s in each.board.sockets if s.id in each.request.fitted),
                kinds={self.kind(each, s.module): s.module.capacity_gib for s in each.request.supplies},
            )
            for place, each in enumerate(self.asked)
        ]

    def _pools(self) -> list[tuple[int, list[str]]]:
        """Rows that serve just the same kinds, together: how many modules, and the rows, cheapest first."""
        serves: dict[str, list[int]] = {}
        for kind, places in enumerate(self.places):
            for place in places:
                serves.setdefault(place, []).append(kind)
        together: dict[tuple[int, ...], list[str]] = {}
        for place, kinds in serves.items():
            together.setdefault(tuple(kinds), []).append(place)
        order = [sorted(places, key=lambda place: _cheapest_first(self.lots[place])) for places in together.values()]
        return [(sum(self.lots[place].count for place in places), places) for places in order]

    def _of_kind(self, pools: Sequence[tuple[int, list[str]]]) -> list[list[int]]:
        return [[pool for pool, (_, places) in enumerate(pools) if places[0] in of_kind] for of_kind in self.places]

    def _dealt(
        self, division: Division, needs: Sequence[MachineNeed], pools: Sequence[tuple[int, list[str]]]
    ) -> Iterator[tuple[int, Share]]:
        """Hand out the rows of the shelf, machine by machine, as the division draws from their pools."""
        takes = dict(division.takes)
        left = {place: lot.count for place, lot in self.lots.items()}
        for number, need, pick in zip(self.numbers, self.machines, division.picks, strict=True):
            if pick is None:
                continue
            taken: list[Take] = []
            option = needs[need].options[pick]
            for (module, _), (kind, wanted) in zip(option.modules, needs[need].draws[pick], strict=True):
                missing = wanted
                for pool, (_, places) in enumerate(pools):
                    part = min(missing, takes.get((kind, pool), 0))
                    if part:
                        takes[kind, pool] -= part
                        missing -= part
                        taken += self._from(places, part, left, module)
            yield number, Share(option=option, taken=tuple(taken))

    def _from(self, places: Iterable[str], count: int, left: dict[str, int], module: Module) -> Iterator[Take]:
        for place in places:
            part = min(count, left[place])
            if part:
                left[place] -= part
                count -= part
                yield Take(lot=self.lots[place], count=part, serves_as=module)

    # -- one machine at a time -------------------------------------------------------------------------------------

    def _one_by_one(self) -> dict[int, Share]:
        """Each machine in the order of the file, as if it were alone with what is left."""
        left = {place: lot.count for place, lot in self.lots.items()}
        alone = [first_option(each.board, each.request, above=True) for each in self.asked]
        inside = [o is not None and _usable_inside(e, o) for e, o in zip(self.asked, alone, strict=True)]
        known: dict[tuple[int, tuple[int, ...]], Option | None] = {}
        found: dict[int, Share] = {}
        for number, need in zip(self.numbers, self.machines, strict=True):
            asked, option = self.asked[need], alone[need]
            if option is not None and not self._there(asked, option, left):
                counts = tuple(self._left(asked, supply, left) for supply in asked.request.supplies)
                if (need, counts) not in known:
                    known[need, counts] = first_option(
                        asked.board, _limited(asked.request, counts), above=not inside[need]
                    )
                option = known[need, counts]
            if option is not None:
                found[number] = Share(option=option, taken=tuple(self._take(asked, option, left)))
        return found

    def _left(self, asked: BoardRequest, supply: Supply, left: Mapping[str, int]) -> int:
        return sum(left[place] for place in self.places[self.kind(asked, supply.module)])

    def _there(self, asked: BoardRequest, option: Option, left: Mapping[str, int]) -> bool:
        return all(
            sum(left[place] for place in self.places[self.kind(asked, module)]) >= count
            for module, count in option.modules
        )

    def _take(self, asked: BoardRequest, option: Option, left: dict[str, int]) -> Iterator[Take]:
        for module, count in option.modules:
            yield from self._from(self.places[self.kind(asked, module)], count, left, module)


def _usable_inside(asked: BoardRequest, option: Option) -> bool:
    """True where an option lies in the request's window: nothing that lies there may then go above it."""
    usable = usable_of(Space(asked.board, asked.request), option.content)
    return usable <= asked.request.limit_gib


def _limited(request: Request, counts: Sequence[int]) -> Request:
    """The request with no more of each module than there is left."""
    supplies = tuple(
        Supply(module=supply.module, lots=(Lot(count=count),))
        for supply, count in zip(request.supplies, counts, strict=True)
        if count
    )
    return replace(request, supplies=supplies)


def _cheapest_first(lot: ShelfLot) -> tuple[tuple[object, ...], str]:
    return cheapest_first(lot), lot.place


def planned_share(board: Board, request: Request, option: Option) -> Planned:
    """A machine's share as its plan: its request, with just the modules that it got."""
    supplies = tuple(Supply(module=module, lots=(Lot(count=count),)) for module, count in option.modules)
    own = replace(request, supplies=supplies)
    return planned_as(board, own, option.content, solve(board, own, alternatives=False), stopped=SHARE_STOPPED)
