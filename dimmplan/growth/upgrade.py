"""A machine before and after an upgrade, and the cheapest upgrade that makes it no slower than it is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import floor

from dimmplan.figures import PlacementFigures, placement_figures
from dimmplan.growth.pinned import SWEEP, Start
from dimmplan.growth.pins import PinnedSpace
from dimmplan.growth.stay import most_staying
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.request import Request
from dimmplan.planner import Planned
from dimmplan.solve.answer import Choice
from dimmplan.solve.branches import Aim
from dimmplan.solve.budget import Budget, EffortSpent
from dimmplan.solve.criteria import CRITERIA
from dimmplan.solve.evaluate import content_of, usable_of, vector_of
from dimmplan.solve.search import Found, Search

Content = Mapping[str, Module | None]

MOST_TRIED = 40
"""So many sets of modules are tried, the cheapest first, before the fastest one is named instead."""
_FASTEST = ("advised_broken", "over_gib", SWEEP, "bought")
_CHEAPEST = ("advised_broken", "over_gib", "cost", "bought", "discarded", SWEEP, "worst_sweep")


@dataclass(frozen=True, kw_only=True, slots=True)
class Speed:
    """How fast a machine is: its rate in MT/s, balanced sweep and sweep of the worst socket in GB/s."""

    rate_mts: int
    balanced_gb_s: Fraction
    worst_gb_s: Fraction
    worst_socket: str

    def slower_than(self, other: Speed) -> bool:
        """True where the machine as a whole, or its worst socket, is slower."""
        return self.balanced_gb_s < other.balanced_gb_s or self.worst_gb_s < other.worst_gb_s


@dataclass(frozen=True, kw_only=True, slots=True)
class Upgrade:
    """A machine before an upgrade and after it; ``before`` is ``None`` where not all that it holds is known to run.

    Where it would get slower, ``no_slower`` is the cheapest placement around the same start that does not make it so:
    at the nearest capacity that has one, least cost (where all is priced), fewest bought, fewest discarded. It is left
    out where nobody ``searched``.
    """

    before: Speed | None
    after: Speed
    no_slower: Choice | None
    no_slower_speed: Speed | None
    searched: bool

    @property
    def slower(self) -> bool:
        """True where the machine would get slower than it is."""
        return self.before is not None and self.after.slower_than(self.before)


def speed_of(board: Board, request: Request, content: Content) -> Speed | None:
    """How fast a content runs in the request's mode on its sockets; ``None`` where it cannot run or is empty."""
    try:
        option = board.processor(request.processor)
        figures = placement_figures(board, option, request.fitted, content, mode=request.mode)
    except ValueError:
        return None
    return _speed(figures) if figures.modules else None


def _speed(figures: PlacementFigures) -> Speed:
    worst = min(figures.sockets, key=lambda socket: socket.sweep_gb_s)
    return Speed(
        rate_mts=figures.rate_mts,
        balanced_gb_s=figures.balanced_sweep_gb_s,
        worst_gb_s=worst.sweep_gb_s,
        worst_socket=worst.socket,
    )


def upgrade_of(planned: Planned, content: Content | None, start: Start | None) -> Upgrade:
    """What a plan makes of a machine that holds ``content`` (``None`` where that is not known whole).

    Without a ``start`` no placement that is no slower is searched for.
    """
    board, request = planned.board, planned.request
    before = None if content is None else speed_of(board, request, content)
    after = _speed(planned.figures)
    choice = speed = None
    if start is not None and before is not None and after.slower_than(before):
        choice = _no_slower(planned, before, start)
        speed = None if choice is None else speed_of(board, request, choice.content)
    return Upgrade(before=before, after=after, no_slower=choice, no_slower_speed=speed, searched=start is not None)


def _no_slower(planned: Planned, before: Speed, start: Start) -> Choice | None:
    """The cheapest placement in the request's window that is no slower than the machine was."""
    board, request = planned.board, planned.request
    space = PinnedSpace(board, request, start.pins)
    search = Search(space, Budget(request.effort))

    def fast(found: Found) -> bool:
        speed = speed_of(board, request, content_of(space, found.board_order))
        return speed is not None and not speed.slower_than(before)

    low, limit = request.capacity_gib, request.limit_gib
    fastest = _first(search, _FASTEST, Aim(low, limit))
    while fastest is not None and not fast(fastest):
        low = floor(usable_of(space, content_of(space, fastest.board_order))) + 1
        fastest = _first(search, _FASTEST, Aim(low, limit)) if low <= limit else None
    if fastest is None:
        return None
    high = floor(usable_of(space, content_of(space, fastest.board_order)))
    seen: set[int] = set()
    chosen = fastest
    while len(seen) < MOST_TRIED:
        found = _first(search, _CHEAPEST, Aim(low, max(low, high), without=frozenset(seen)))
        if found is None:
            break
        if fast(found):
            chosen = found
            break
        seen.add(found.code)
    lying = start.lying or start.stays
    (content,) = most_staying(board, request, [content_of(space, chosen.board_order)], lying, hold=start.hold)
    vector = vector_of(space, planned.answer.criteria, content)
    return None if vector is None else Choice(dict(content), vector, usable_of(space, content))


def _first(search: Search, criteria: Sequence[str], aim: Aim) -> Found | None:
    """The first placement of an aim by some criteria; the best found where the effort does not suffice."""
    search.criteria = tuple(CRITERIA[name] for name in criteria if name != "cost" or search.priced)
    search.budget.spent, search.budget.armed = 0, False
    try:
        return search.best(aim)
    except EffortSpent:
        return search.incumbent
