"""The ordered lists of criteria by which one placement comes before another. Lists are data, with names."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import Literal, NamedTuple


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
)
CRITERIA: dict[str, Criterion] = {criterion.name: criterion for criterion in _ALL}

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


def ranked(criteria: Iterable[Criterion], vector: Iterable[int | Fraction]) -> tuple[int | Fraction, ...]:
    """Where a vector stands: the least comes first, every criterion turned so that smaller is better."""
    return tuple(-value if c.better == "high" else value for c, value in zip(criteria, vector, strict=True))


def criteria_of(prefer: str, *, priced: bool) -> tuple[Criterion, ...]:
    """The criteria of a list in order; cost is left out unless every allowed type is priced.

    Raises ``KeyError`` for an unknown list.
    """
    return tuple(c for c in LISTS[prefer] if priced or c.name != "cost")
