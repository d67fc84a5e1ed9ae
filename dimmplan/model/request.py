"""What is asked of the planner, and what modules there are to answer with."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from typing import NamedTuple

from dimmplan.model.module import Module

USUAL_OVER = Fraction(1, 4)
"""No preference list goes above a request by more than this share of it, unless nothing else fits."""

DEFAULT_MAX_TYPES = 2
DEFAULT_EFFORT = 20_000_000


class Mode(StrEnum):
    """How the memory is to run; the mode itself is set in firmware."""

    INDEPENDENT = "independent"
    MIRRORED = "mirrored"
    SPARING = "sparing"
    PARTLY_MIRRORED = "partly-mirrored"
    LOCKSTEP = "lockstep"

    @property
    def words(self) -> str:
        """The mode in a sentence."""
        return self.value.replace("-", " ")


@dataclass(frozen=True, kw_only=True, slots=True)
class Lot:
    """Some modules of one type at one price; ``None`` is a count without limit, or a price not known."""

    count: int | None = None
    price: Fraction | None = None


class Supply(NamedTuple):
    """Where modules of one type come from: ``kept`` ones are in the machine already, lots are on the shelf."""

    module: Module
    kept: int = 0
    lots: tuple[Lot, ...] = (Lot(),)

    @property
    def available(self) -> int | None:
        """How many there are in all; ``None`` for no limit."""
        counts = [lot.count for lot in self.lots]
        return None if None in counts else self.kept + sum(count for count in counts if count is not None)

    @property
    def priced(self) -> bool:
        """True where every lot has a price."""
        return all(lot.price is not None for lot in self.lots)

    def split(self, count: int) -> tuple[tuple[Lot, ...], tuple[Lot, ...]]:
        """What ``count`` modules take from the lots, kept ones first, then the cheapest, and what is left."""
        missing = max(0, count - self.kept)
        taken, left = [], []
        for lot in sorted(self.lots, key=lambda lot: lot.price or 0):
            take = missing if lot.count is None else min(missing, lot.count)
            taken.append(replace(lot, count=take))
            left.append(lot if lot.count is None else replace(lot, count=lot.count - take))
            missing -= take
        return tuple(taken), tuple(left)

    def cost(self, count: int) -> Fraction:
        """Price of ``count`` modules, kept ones free."""
        taken, _ = self.split(count)
        return sum((Fraction(lot.count or 0) * (lot.price or 0) for lot in taken), Fraction(0))


@dataclass(frozen=True, kw_only=True, slots=True)
class Request:
    """One request. ``capacity_gib`` is usable capacity over all fitted sockets.

    ``over_gib`` is the allowance above it that counts as equal (``None``: exact first, at most a quarter above).
    ``supplies`` are the modules that may be used, one entry for each type.
    """

    capacity_gib: int
    supplies: tuple[Supply, ...]
    fitted: tuple[str, ...]
    processor: str | None = None
    mode: Mode = Mode.INDEPENDENT
    prefer: str = "capacity-first"
    over_gib: int | None = None
    max_types: int = DEFAULT_MAX_TYPES
    effort: int = DEFAULT_EFFORT

    @property
    def limit_gib(self) -> int:
        """The largest capacity that counts as an answer while something fits below it."""
        over = int(self.capacity_gib * USUAL_OVER) if self.over_gib is None else self.over_gib
        return self.capacity_gib + over
