"""Exact values as JSON carries them, the same in every document."""

from __future__ import annotations

from fractions import Fraction

from dimmplan.units import Gib

FORMAT = 1
"""The format of every JSON document that is written."""


def exact(value: int | Fraction) -> int | str:
    """Whole numbers as numbers, other exact values as fractions in text."""
    return value if isinstance(value, int) else str(value)


def gib_number(value: Gib) -> int | float:
    """A capacity as a number: whole, or with the decimals that a mode leaves."""
    return value if isinstance(value, int) else float(value)
