"""What a shelf could give to one machine: every set of modules that serves its request, each at its best."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from dimmplan.growth.grow import board_order
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.request import Request
from dimmplan.solve.branches import Aim
from dimmplan.solve.budget import Budget
from dimmplan.solve.criteria import ranked
from dimmplan.solve.search import Found, Search
from dimmplan.solve.space import Space

Counts = tuple[int, ...]
"""Modules of each type, in the order of ``Space.types``."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Option:
    """One set of modules for a machine: its best placement by the request's own list.

    ``rank`` orders the options of a request by that list and then by board order; smaller comes first.
    """

    modules: tuple[tuple[Module, int], ...]
    content: dict[str, Module | None]
    sweep: Fraction
    rank: tuple[Any, ...]

    @property
    def size(self) -> int:
        """How many modules."""
        return sum(count for _, count in self.modules)


@dataclass(slots=True)
class Allowance:
    """Search nodes that may still be spent for a whole fleet. No clock."""

    nodes: int


class Sets:
    """The sets of modules that serve one request, by counts and rules alone.

    Only ``most`` of its types are looked at, those that are ``liked`` before others, then those with most GiB.
    """

    def __init__(self, board: Board, request: Request, *, most: int, liked: Collection[Module] = ()) -> None:
        there = {supply.module: supply.available for supply in request.supplies}
        order = sorted(there, key=lambda m: (m not in liked, -(there[m] or 0) * m.capacity_gib, m.order_key))
        chosen = order[:most]
        self.board = board
        self.whole = len(chosen) == len(order)
        """True where no type is left out."""
        self.request = replace(request, supplies=tuple(s for s in request.supplies if s.module in chosen))
        self.space = Space(board, self.request)
        self.codes = _codes(self.space) if self.request.supplies and self.space.possible() else frozenset[int]()

    def options(self, most: int, allowance: Allowance) -> tuple[list[Option], bool]:
        """Each set at its best placement, in the order of the request's own list, and whether these are all.

        Sets within the request's window of capacity, or, where there is none, of the least capacity above it. Left out
        is what no division would use: a set that holds a smaller one which sweeps as fast. Of more than ``most`` sets
        those are taken that use different types, the smallest of each choice of types first.
        """
        space = self.space
        if not self.codes:
            return [], self.whole
        search = Search(space, Budget(self.request.effort))
        peak = Fraction(max(self.board.rates_mts) * 8 * space.channel_count, 1000)
        found: list[tuple[Counts, Option]] = []
        whole = self.whole and len(self.codes) <= most
        for code in self._taken(most):
            counts = space.counts(code)
            if any(option.sweep >= peak and _less(smaller, counts) for smaller, option in found):
                continue
            if allowance.nodes <= 0:
                whole = False
                break
            gib: Any = space.shown(space.gib(code))
            best, proven = search.first(Aim(gib, gib, only=code), afresh=True)
            whole &= proven
            allowance.nodes -= search.budget.spent
            option = _option(search, best) if best is not None and proven else None
            if option is not None and not any(
                o.sweep >= option.sweep and _less(smaller, counts) for smaller, o in found
            ):
                found.append((counts, option))
        return sorted((option for _, option in found), key=lambda option: option.rank), whole

    def _taken(self, most: int) -> list[int]:
        """So many of the codes, small sets first."""
        small = sorted(self.codes, key=lambda code: (sum(self.space.counts(code)), code))
        if len(small) <= most:
            return small
        place = Counter[tuple[bool, ...]]()
        order: list[tuple[int, int, int]] = []
        for number, code in enumerate(small):
            types = tuple(count > 0 for count in self.space.counts(code))
            order.append((place[types], sum(types), number))
            place[types] += 1
        return [small[number] for number in sorted(number for _, _, number in sorted(order)[:most])]


def _less(one: Counts, other: Counts) -> bool:
    return one != other and all(a <= b for a, b in zip(one, other, strict=True))


def _codes(space: Space) -> frozenset[int]:
    """Count codes that serve the request, by counts and rules alone, advised rows aside."""
    inside, above = _windows(space)
    search = Search(space, Budget(0))
    found = search.codes(inside)
    if found:
        return frozenset(found)
    found = search.codes(above)
    least = min(map(space.gib, found), default=0)
    return frozenset(code for code in found if space.gib(code) == least)


def _windows(space: Space) -> tuple[Aim, Aim]:
    """The request's window of capacity, and all from the request up to what its slots could hold."""
    request = space.request
    asked = request.capacity_gib
    return Aim(asked, request.limit_gib), Aim(asked, max(space.most_gib, asked))


def first_option(board: Board, request: Request, *, above: bool) -> Option | None:
    """What the request's own list chooses from its supplies; with ``above``, over its window where nothing is in it."""
    space = Space(board, request)
    if not space.possible():
        return None
    search = Search(space, Budget(request.effort))
    for aim in _windows(space)[: 1 + above]:
        found, _ = search.first(aim)
        if found is not None:
            return _option(search, found)
    return None


def _option(search: Search, found: Found) -> Option:
    """A found placement as an option."""
    space, content = search.space, search.content(found)
    pairs: Sequence[tuple[Module, int]] = list(zip(space.types, space.counts(found.code), strict=True))
    return Option(
        modules=tuple((module, count) for module, count in pairs if count),
        content=content,
        sweep=Fraction(search.values(found)["balanced_sweep"]),
        rank=(*ranked(search.criteria, found.vector), board_order(space.board, content)),
    )
