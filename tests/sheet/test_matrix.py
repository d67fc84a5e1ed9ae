"""A seeded sample of the matrix of sheets: what a renderer sees touch, and everything else that is measured."""

from __future__ import annotations

import random

import pytest

from tests.sheet.matrix import Cell, cells, faults

_SHUFFLED = random.Random("sheets").sample(cells(), len(cells()))
CHANGES = [cell for cell in _SHUFFLED if cell.fill == "change" and cell.paper != "a5"]
TIGHT = [
    Cell("tombolo-32", "letter", "mono", "down", fill, long=long) for fill, long in [("change", False), ("mixed", True)]
]
"""With no millimetre to spare: page one would not be enough, or page two overflow."""


@pytest.mark.parametrize("cell", [*_SHUFFLED[:3], *CHANGES[:1], *TIGHT], ids=str)
def test_counts_sizes_and_places(cell: Cell) -> None:
    assert faults(cell, pixels=False) == []


@pytest.mark.system_tool("rsvg-convert", "libcairo2")
@pytest.mark.parametrize("cell", [_SHUFFLED[24], CHANGES[6]], ids=str)
def test_nothing_touches(cell: Cell) -> None:
    assert faults(cell, pixels=True) == []
