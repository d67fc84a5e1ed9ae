"""Marks of module types: plain lines, cut to their box, the same with every renderer and on every printer.

A mark keeps its direction on paper whether a slot lies or stands, so that legend and map agree.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from dimmplan.sheet.shapes import Segment

PITCH_MM = 1.7


def _range(low: float, high: float, pitch: float) -> list[float]:
    """Even positions between two ends, the same distance from both."""
    count = max(1, int((high - low) / pitch))
    first = (low + high - (count - 1) * pitch) / 2
    return [first + index * pitch for index in range(count)]


def _falling(width: float, height: float) -> list[Segment]:
    lines: list[Segment] = []
    for offset in _range(-height, width, PITCH_MM * 1.414):
        low, high = max(0.0, -offset), min(height, width - offset)
        if high - low > 0.3:
            lines.append((offset + low, low, offset + high, high))
    return lines


def _rising(width: float, height: float) -> list[Segment]:
    return [(x1, height - y1, x2, height - y2) for x1, y1, x2, y2 in _falling(width, height)]


def _upright(width: float, height: float) -> list[Segment]:
    return [(x, 0.0, x, height) for x in _range(0, width, PITCH_MM)]


def _lying(width: float, height: float) -> list[Segment]:
    return [(0.0, y, width, y) for y in _range(0, height, PITCH_MM)]


def _dots(width: float, height: float) -> list[Segment]:
    """Dots in staggered rows, as lines of no length, whole ones only."""
    found: list[Segment] = []
    for number, y in enumerate(_range(0.3, height - 0.3, 1.35)):
        shift = 0.9 if number % 2 else 0.0
        found += [(x, y, x + 0.01, y) for x in _range(0.2 + shift, width - 1.1 + shift, 1.8)]
    return found


_PATTERNS: tuple[tuple[Callable[[float, float], list[Segment]], ...], ...] = (
    (_rising,),
    (_dots,),
    (_upright,),
    (_lying,),
    (_falling,),
    (_upright, _lying),
    (_rising, _falling),
    (_rising, _upright),
    (_falling, _lying),
    (_rising, _lying),
    (_falling, _upright),
)

COLOURS = 6


class Mark(NamedTuple):
    """The mark of a type: its colour, a number below ``COLOURS``; its pattern; heavy bars before the pattern."""

    colour: int
    pattern: int
    bars: int

    def lines(self, width: float, height: float) -> list[Segment]:
        """The pattern in a box at the origin."""
        return [line for part in _PATTERNS[self.pattern] for line in part(width, height)]

    @property
    def dotted(self) -> bool:
        """True where the pattern is of dots."""
        return _PATTERNS[self.pattern] == (_dots,)


def mark_of(key: str) -> Mark:
    """The mark of a key letter. No two letters have one mark: six colours, eleven patterns, then bars as well."""
    number = ord(key) - ord("a")
    return Mark(number % COLOURS, number % len(_PATTERNS), number // len(_PATTERNS))
