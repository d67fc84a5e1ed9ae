"""What a shelf could give to one machine: every set of modules that serves its request, each at its best."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from dimmplan.growth.grow import board_order
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.request import Request
from dimmplan.solve.branches import Aim
from dimmplan.solve.budget import Budget, EffortSpent
from dimmplan.solve.criteria import ranked
from dimmplan.solve.evaluate import content_of
from dimmplan.solve.search import Found, Search
from dimmplan.solve.space import Space
from dimmplan.units import whole

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


class TooManyError(Exception):
    """There are more sets of modules, or more search nodes, than may be looked at."""


@dataclass(slots=True)
class Allowance:
    """What may still be looked at for a whole fleet: sets of modules, and search nodes. No clock."""

    sets: int
    nodes: int

    def spend(self, *, sets: int = 0, nodes: int = 0) -> None:
        """Count what was looked at. Raises ``TooManyError`` where it was too much."""
        self.sets -= sets
        self.nodes -= nodes
        if self.sets < 0 or self.nodes < 0:
            raise TooManyError


def options_of(board: Board, request: Request, allowance: Allowance) -> list[Option]:
    """Every set of modules of the request's supplies that serves it, in the order of its own list.

    Sets within the request's window of capacity, or, where there is none, of the least capacity above it. Left out is
    what no division would use: a set that holds a smaller one which sweeps as fast. Raises ``TooManyError`` where the
    allowance, or the request's effort for one set, does not suffice.
    """
    space = Space(board, request)
    if not space.possible():
        return []
    codes = _codes(space)
    allowance.spend(sets=len(codes))
    search = Search(space, Budget(request.effort))
    peak = Fraction(max(board.rates_mts) * 8 * space.channel_count, 1000)
    found: list[tuple[Counts, Option]] = []
    for code in sorted(codes, key=lambda code: (sum(space.counts(code)), code)):
        counts = space.counts(code)
        if any(option.sweep >= peak and _less(smaller, counts) for smaller, option in found):
            continue
        option = _best(search, code)
        allowance.spend(nodes=search.budget.spent)
        if option is not None and not any(o.sweep >= option.sweep and _less(smaller, counts) for smaller, o in found):
            found.append((counts, option))
    return sorted((option for _, option in found), key=lambda option: option.rank)


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
    most = max((module.capacity_gib for module in space.types), default=0) * space.slot_count
    asked = request.capacity_gib
    return Aim(asked, request.limit_gib), Aim(asked, max(most, asked))


def _best(search: Search, code: int) -> Option | None:
    """The best placement of just that many modules of each type."""
    gib: Any = whole(Fraction(search.space.gib(code), search.space.scale))
    search.budget.spent, search.budget.armed = 0, False
    try:
        found = search.best(Aim(gib, gib, only=code))
    except EffortSpent:
        raise TooManyError from None
    return None if found is None else _option(search, found)


def first_option(board: Board, request: Request, *, above: bool) -> Option | None:
    """What the request's own list chooses from its supplies; with ``above``, over its window where nothing is in it."""
    space = Space(board, request)
    if not space.possible():
        return None
    search = Search(space, Budget(request.effort))
    for aim in _windows(space)[: 1 + above]:
        try:
            found = search.best(aim)
        except EffortSpent:
            found = search.incumbent
        if found is not None:
            return _option(search, found)
    return None


def _option(search: Search, found: Found) -> Option:
    """A found placement as an option."""
    space = search.space
    content = dict.fromkeys(space.board.slots) | content_of(space, found.texts)
    place = [criterion.name for criterion in search.criteria].index("balanced_sweep")
    pairs: Sequence[tuple[Module, int]] = list(zip(space.types, space.counts(found.code), strict=True))
    return Option(
        modules=tuple((module, count) for module, count in pairs if count),
        content=content,
        sweep=Fraction(found.vector[place]),
        rank=(*ranked(search.criteria, found.vector), board_order(space.board, content)),
    )
