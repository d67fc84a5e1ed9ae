"""Criteria in words: a value, and what one placement gains and loses against another."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from dimmplan.solve.criteria import Criterion
from dimmplan.solve.evaluate import Value
from dimmplan.units import format_capacity, trimmed
from dimmplan.wording.placement import gb_s

_BANDWIDTHS = {
    "balanced_sweep": "balanced sweep",
    "system_sweep": "system sweep",
    "worst_sweep": "sweep of the worst socket",
    "worst_parallel": "parallel of the worst socket",
}
_CAPACITIES = {
    "over_gib": "over the request",
    "socket_difference_gib": "between the sockets",
    "controller_difference_gib": "between controllers",
}
_COUNTS = {
    "advised_broken": ("advised rule broken", "advised rules broken"),
    "regions": ("region", "regions"),
    "narrowest_ways": ("channel in the narrowest region", "channels in the narrowest region"),
    "types": ("module type", "module types"),
    "low_rank_channels": ("channel under two ranks", "channels under two ranks"),
    "modules": ("module", "modules"),
    "free_slots": ("free slot", "free slots"),
    "discarded": ("module discarded", "modules discarded"),
    "bought": ("module bought", "modules bought"),
}


def criterion_name(name: str) -> str:
    """A criterion's name in a sentence."""
    return _BANDWIDTHS.get(name) or name.removesuffix("_gib").replace("_", " ")


def bare_value(name: str, value: Value) -> str:
    """A value of a criterion without its name: ``187.7 GB/s``."""
    if name in _BANDWIDTHS:
        return gb_s(Fraction(value))
    return format_capacity(value) if name in _CAPACITIES else trimmed(Fraction(value), 2)


def criterion_phrase(name: str, value: Value) -> str:
    """A value of a criterion in words: ``187.7 GB/s system sweep``."""
    bare = bare_value(name, value)
    if name == "cost":
        return f"cost {bare}"
    if name in _COUNTS:
        return f"{bare} {_COUNTS[name][value != 1]}"
    return f"{bare} {_BANDWIDTHS.get(name) or _CAPACITIES[name]}"


def gains_and_losses(
    criteria: Iterable[Criterion], here: Iterable[Value], there: Iterable[Value]
) -> tuple[list[str], list[str]]:
    """What values ``there`` gain over those ``here`` and what they lose, in the order of the criteria."""
    gains: list[str] = []
    losses: list[str] = []
    for criterion, mine, other in zip(criteria, here, there, strict=True):
        if mine != other:
            better = other > mine if criterion.better == "high" else other < mine
            text = f"{criterion_phrase(criterion.name, other)} instead of {bare_value(criterion.name, mine)}"
            (gains if better else losses).append(text)
    return gains, losses
