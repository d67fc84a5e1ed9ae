"""The ordered lists of criteria by which one placement comes before another, and their values for a placement.

Lists are data, with names. Values are judged apart from the search, from rules and figures once more: every answer of
the search passes through ``vector_of`` before it is accepted.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from typing import Literal, NamedTuple

from dimmplan.figures import PlacementFigures, placement_figures
from dimmplan.model.module import Module
from dimmplan.rules import Breach, judge, shown_gib, usable_gib
from dimmplan.solve.space import Space
from dimmplan.units import Gib, whole

Value = int | Fraction


class Criterion(NamedTuple):
    """One figure of a whole placement and which way is better."""

    name: str
    better: Literal["high", "low"]


_ALL = (
    Criterion("advised_broken", "low"),
    Criterion("over_gib", "low"),
    Criterion("balanced_sweep", "high"),
    Criterion("socket_difference_gib", "low"),
    Criterion("system_sweep", "high"),
    Criterion("worst_sweep", "high"),
    Criterion("worst_parallel", "high"),
    Criterion("controller_difference_gib", "low"),
    Criterion("regions", "low"),
    Criterion("narrowest_ways", "high"),
    Criterion("types", "low"),
    Criterion("cost", "low"),
    Criterion("low_rank_channels", "low"),
    Criterion("modules", "low"),
    Criterion("free_slots", "high"),
    Criterion("discarded", "low"),
    Criterion("bought", "low"),
    Criterion("displaced", "low"),
)
CRITERIA: dict[str, Criterion] = {criterion.name: criterion for criterion in _ALL}

REMEMBERED = 256
"""Placements of a space whose criteria are kept at a time."""

_OVER = ("over_gib",)
_BALANCED = ("balanced_sweep",)
_DIFFERENCE = ("socket_difference_gib",)
_SWEEPS = ("system_sweep", "worst_sweep", "worst_parallel")
_SHAPE = ("controller_difference_gib", "regions", "narrowest_ways", "types")
_COST = ("cost",)
_LAST = ("low_rank_channels", "modules")

_ORDERS: dict[str, tuple[str, ...]] = {
    "capacity-first": (*_OVER, *_BALANCED, *_DIFFERENCE, *_SWEEPS, *_SHAPE, *_COST, *_LAST),
    "bandwidth-first": (*_BALANCED, *_SWEEPS, *_OVER, *_DIFFERENCE, *_SHAPE, *_COST, *_LAST),
    "equal-sockets": (*_DIFFERENCE, *_OVER, *_BALANCED, *_SWEEPS, *_SHAPE, *_COST, *_LAST),
    "cost-first": (*_COST, *_OVER, *_BALANCED, *_DIFFERENCE, *_SWEEPS, *_SHAPE, *_LAST),
    "room-first": (*_OVER, "free_slots", *_BALANCED, *_DIFFERENCE, *_SWEEPS, *_SHAPE, *_COST, *_LAST),
    "upgrade": (*_OVER, "discarded", "bought", *_BALANCED, *_DIFFERENCE, *_SWEEPS, *_SHAPE, *_COST, *_LAST),
}

LISTS: dict[str, tuple[Criterion, ...]] = {
    name: (CRITERIA["advised_broken"], *(CRITERIA[part] for part in order)) for name, order in _ORDERS.items()
}
"""Preference lists by name; board order decides after the last criterion."""


def ranked(criteria: Iterable[Criterion], vector: Iterable[Value]) -> tuple[Value, ...]:
    """Where a vector stands: the least comes first, every criterion turned so that smaller is better."""
    return tuple(-value if c.better == "high" else value for c, value in zip(criteria, vector, strict=True))


def criteria_of(prefer: str, *, priced: bool) -> tuple[Criterion, ...]:
    """The criteria of a list in order; cost is left out unless every allowed type is priced.

    Raises ``KeyError`` for an unknown list.
    """
    return tuple(c for c in LISTS[prefer] if priced or c.name != "cost")


# -- a placement judged -------------------------------------------------------------------------------------------


def content_of(space: Space, board_order: Iterable[Sequence[int]]) -> dict[str, Module | None]:
    """Slot contents from the ranks in board order of the fitted sockets; slots of absent sockets are left out."""
    size = len(space.types)
    content: dict[str, Module | None] = {}
    for socket, ranks in zip(space.sockets, board_order, strict=True):
        for slot, value in zip(socket.slots, ranks, strict=True):
            for each in space.both(slot):
                content[each] = space.types[size - value] if value else None
    return content


def board_order_of(space: Space, content: Mapping[str, Module | None]) -> tuple[tuple[int, ...], ...]:
    """The ranks in board order of a placement: greater comes first."""
    rank = {module: len(space.types) - index for index, module in enumerate(space.types)}
    return tuple(
        tuple(rank[module] if (module := content.get(slot)) else 0 for slot in socket.slots) for socket in space.sockets
    )


def vector_of(
    space: Space, criteria: Iterable[Criterion], content: Mapping[str, Module | None]
) -> tuple[Value, ...] | None:
    """The values of the criteria for a placement, from rules and figures alone.

    ``None`` where an error row breaks, or where a slot holds what is not permitted there.
    """
    key = frozenset(content.items())
    if key not in space.measured:
        if len(space.measured) == REMEMBERED:
            space.measured.clear()
        space.measured[key] = _measured(space, content)
    values = space.measured[key]
    return None if values is None else tuple(values[criterion.name] for criterion in criteria)


def _measured(space: Space, content: Mapping[str, Module | None]) -> dict[str, Value] | None:
    """Every criterion of a placement by its name; ``None`` for one that may not be."""
    if not space.permits(content) or not any(content.values()):
        return None
    breaches = _breaches(space, content)
    if any(breach.severity == "error" for breach in breaches):
        return None
    fitted = [socket.id for socket in space.sockets]
    figures = placement_figures(space.board, space.option, fitted, content, mode=space.request.mode)
    return _values(space, figures, content, advised=len({breach.rule for breach in breaches}))


def broken_rows(space: Space, content: Mapping[str, Module | None]) -> frozenset[str]:
    """Ids of the advised rows that a placement breaks."""
    return frozenset(breach.rule for breach in _breaches(space, content) if breach.severity == "advised")


def _breaches(space: Space, content: Mapping[str, Module | None]) -> tuple[Breach, ...]:
    fitted = [socket.id for socket in space.sockets]
    return judge(space.board, space.option, fitted, content, mode=space.request.mode)


def measured_vector(
    space: Space,
    criteria: Iterable[Criterion],
    content: Mapping[str, Module | None],
    breaches: Iterable[Breach],
    figures: PlacementFigures,
) -> tuple[Value, ...]:
    """The same for a placement that breaks advised rows alone, judged and measured already."""
    values = _values(space, figures, content, advised=len({breach.rule for breach in breaches}))
    return tuple(values[criterion.name] for criterion in criteria)


def usable_of(space: Space, content: Mapping[str, Module | None]) -> Gib:
    """Usable capacity of a placement in the request's mode, in GiB."""
    board, mode, total = space.board, space.request.mode, Fraction(0)
    for socket in space.wired:
        loads = ([module for slot in channel.slots if (module := content.get(slot))] for channel in socket.channels)
        total += shown_gib(board, mode, sum((usable_gib(board, mode, load) for load in loads), Fraction(0)))
    return whole(total)


def _values(
    space: Space, figures: PlacementFigures, content: Mapping[str, Module | None], advised: int
) -> dict[str, Value]:
    """Every criterion by its name."""
    request = space.request
    used = Counter(content.values())
    pairs = [(supply, used[supply.module]) for supply in space.supplies]
    sockets = figures.sockets
    return {
        "advised_broken": advised,
        "over_gib": max(0, figures.usable_gib - request.capacity_gib - (request.over_gib or 0)),
        "balanced_sweep": figures.balanced_sweep_gb_s,
        "system_sweep": figures.system_sweep_gb_s,
        "socket_difference_gib": figures.socket_difference_gib,
        "worst_sweep": figures.worst_sweep_gb_s,
        "worst_parallel": min(socket.parallel_gb_s for socket in sockets),
        "controller_difference_gib": max(socket.controller_difference_gib for socket in sockets),
        "regions": sum(len(socket.regions) for socket in sockets),
        "narrowest_ways": min(region.ways for socket in sockets for region in socket.regions),
        "types": sum(count > 0 for _, count in pairs),
        "cost": sum((supply.cost(count) for supply, count in pairs), Fraction(0)),
        "low_rank_channels": sum(socket.low_rank_channels for socket in sockets),
        "modules": figures.modules,
        "free_slots": figures.free_slots,
        "discarded": space.kept_elsewhere + sum(max(0, supply.kept - count) for supply, count in pairs),
        "bought": sum(max(0, count - supply.kept) for supply, count in pairs),
        "displaced": sum(
            content.get(slot) != module
            for socket in space.sockets
            for each in socket.slots
            for slot in space.both(each)
            if (module := space.lying.get(slot))
        ),
    }
