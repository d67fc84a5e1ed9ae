"""One axis of the map: board millimetres to paper millimetres, never turning back, stretched where print needs it.

Order and side stay true because the mapping only rises. A need says how much paper an interval of the board must
get at least; whatever is left of the room goes to all intervals alike, in proportion.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass

Need = tuple[float, float, float]
"""From, to (board mm), and the least distance on paper (mm)."""


@dataclass(frozen=True, slots=True)
class Axis:
    """``edges`` on the board and their ``places`` on paper, both rising."""

    edges: tuple[float, ...]
    places: tuple[float, ...]

    def __call__(self, value: float) -> float:
        """Where a board coordinate lies on paper. Outside the edges the nearest stretch goes on."""
        index = min(max(bisect_right(self.edges, value), 1), len(self.edges) - 1)
        low, high = self.edges[index - 1], self.edges[index]
        start, end = self.places[index - 1], self.places[index]
        return start + (value - low) * (end - start) / (high - low)

    @property
    def length(self) -> float:
        """The whole axis on paper, in mm."""
        return self.places[-1]


@dataclass(frozen=True, slots=True)
class Stretch:
    """Intervals of an axis with the least paper per board mm that each needs; laid out for any room."""

    edges: tuple[float, ...]
    least: tuple[float, ...]

    def length(self, scale: float) -> float:
        """Paper that the axis takes where nothing is drawn smaller than ``scale``."""
        return sum(
            (high - low) * max(scale, need)
            for low, high, need in zip(self.edges, self.edges[1:], self.least, strict=False)
        )

    def scale_for(self, room: float, *, most: float) -> float:
        """The largest even scale, up to ``most``, with which the axis keeps to ``room``."""
        if self.length(most) <= room:
            return most
        low, high = 0.0, most
        for _ in range(40):
            middle = (low + high) / 2
            if self.length(middle) <= room:
                low = middle
            else:
                high = middle
        return low

    def axis(self, scale: float) -> Axis:
        """The axis where nothing is drawn smaller than ``scale``."""
        places = [0.0]
        for low, high, need in zip(self.edges, self.edges[1:], self.least, strict=False):
            places.append(places[-1] + (high - low) * max(scale, need))
        return Axis(self.edges, tuple(places))

    def stretched(self, scale: float) -> bool:
        """True where some interval is drawn larger than ``scale`` by more than a hair."""
        return any(need > scale * 1.02 for need in self.least)


def stretch(low: float, high: float, needs: Iterable[Need]) -> Stretch:
    """The axis from ``low`` to ``high`` with what it needs. Needs of no length are left out."""
    wanted = [need for need in needs if need[1] - need[0] > 1e-6]
    edges = sorted({low, high, *(v for a, b, _ in wanted for v in (a, b) if low < v < high)})
    least = [0.0] * (len(edges) - 1)
    places = {edge: index for index, edge in enumerate(edges)}
    for start, end, paper in wanted:
        first, last = places.get(max(start, low)), places.get(min(end, high))
        if first is None or last is None:
            continue
        density = paper / (end - start)
        for index in range(first, last):
            least[index] = max(least[index], density)
    return Stretch(tuple(edges), tuple(least))
