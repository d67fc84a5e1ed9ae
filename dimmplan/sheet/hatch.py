"""Patterns as plain lines, cut to their box: they look the same with every renderer and on every printer.

Line directions follow ISO 128 hatching; ``along`` and ``across`` mean the slot's own long side.
"""

from __future__ import annotations

from collections.abc import Callable

from dimmplan.sheet.shapes import Segment

PITCH_MM = 1.7


def _range(low: float, high: float, pitch: float) -> list[float]:
    """Even positions between two ends, the same distance from both."""
    count = max(1, int((high - low) / pitch))
    first = (low + high - (count - 1) * pitch) / 2
    return [first + index * pitch for index in range(count)]


def diagonal(width: float, height: float, *, rising: bool = True, pitch: float = PITCH_MM) -> list[Segment]:
    """Lines at 45 degrees in a box at the origin."""
    lines: list[Segment] = []
    for offset in _range(-height, width, pitch * 1.414):
        low, high = max(0.0, -offset), min(height, width - offset)
        if high - low > 0.3:
            lines.append((offset + low, low, offset + high, high))
    return [(x1, height - y1, x2, height - y2) for x1, y1, x2, y2 in lines] if rising else lines


def across(width: float, height: float) -> list[Segment]:
    """Lines from the upper to the lower side."""
    return [(x, 0.0, x, height) for x in _range(0, width, PITCH_MM)]


def along(width: float, height: float) -> list[Segment]:
    """Lines from the left to the right side."""
    return [(0.0, y, width, y) for y in _range(0, height, PITCH_MM)]


def dots(width: float, height: float) -> list[Segment]:
    """Dots in staggered rows, as lines of no length, whole ones only."""
    found: list[Segment] = []
    for number, y in enumerate(_range(0.3, height - 0.3, 1.35)):
        shift = 0.9 if number % 2 else 0.0
        found += [(x, y, x + 0.01, y) for x in _range(0.2 + shift, width - 1.1 + shift, 1.8)]
    return found


def _grid(width: float, height: float) -> list[Segment]:
    return across(width, height) + along(width, height)


def _falling(width: float, height: float) -> list[Segment]:
    return diagonal(width, height, rising=False, pitch=2.6)


def crossed(width: float, height: float) -> list[Segment]:
    """The cross-hatching of a blank."""
    return diagonal(width, height, pitch=1.2) + diagonal(width, height, rising=False, pitch=1.2)


TYPE_PATTERNS: dict[str, Callable[[float, float], list[Segment]]] = {
    "a": diagonal,
    "b": dots,
    "c": across,
    "d": along,
    "e": _falling,
    "f": _grid,
}
"""Pattern of each type look, for a box whose width lies along the slot."""
