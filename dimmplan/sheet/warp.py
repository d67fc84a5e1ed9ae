"""One axis of the map: board millimetres to paper millimetres, never turning back, stretched where print needs it.

Order and side stay true because places only rise. A need says how much paper an interval of the board must get at
least; the least length of an axis is the longest path through its needs. What room is left goes to all intervals
in proportion, and places between needs are evened out.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

Need = tuple[float, float, float]
"""From, to (board mm), and the least distance on paper (mm)."""

_SWEEPS = 60


class Axis(NamedTuple):
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

    def even(self, scale: float) -> bool:
        """True where every stretch has the same scale, to a hair."""
        pairs = zip(self.edges, self.edges[1:], self.places, self.places[1:], strict=False)
        return all(abs(b - a - scale * (high - low)) <= 0.02 * scale * (high - low) + 0.01 for low, high, a, b in pairs)


@dataclass(frozen=True)
class Stretch:
    """An axis not yet laid out: ``arcs`` are needs between edges, by index, the one that ends first coming first."""

    edges: tuple[float, ...]
    arcs: tuple[tuple[int, int, float], ...]

    @cached_property
    def _into(self) -> list[list[tuple[int, float]]]:
        into: list[list[tuple[int, float]]] = [[] for _ in self.edges]
        for start, end, need in self.arcs:
            into[end].append((start, need))
        return into

    @cached_property
    def _out_of(self) -> list[list[tuple[int, float]]]:
        out: list[list[tuple[int, float]]] = [[] for _ in self.edges]
        for start, end, need in self.arcs:
            out[start].append((end, need))
        return out

    def _earliest(self, scale: float) -> list[float]:
        places = [0.0]
        for index in range(1, len(self.edges)):
            place = places[-1] + (self.edges[index] - self.edges[index - 1]) * scale
            for start, need in self._into[index]:
                place = max(place, places[start] + need)
            places.append(place)
        return places

    def _latest(self, scale: float, length: float) -> list[float]:
        places = [length] * len(self.edges)
        for index in range(len(self.edges) - 2, -1, -1):
            place = places[index + 1] - (self.edges[index + 1] - self.edges[index]) * scale
            for end, need in self._out_of[index]:
                place = min(place, places[end] - need)
            places[index] = place
        return places

    def length(self, scale: float) -> float:
        """Paper that the axis takes where nothing is drawn smaller than ``scale``."""
        return self._earliest(scale)[-1]

    def scale_for(self, room: float, *, most: float) -> float:
        """The largest even scale, up to ``most``, with which the axis keeps to ``room``."""
        if self.length(most) <= room:
            return most
        low, high = 0.0, most
        for _ in range(14):
            middle = (low + high) / 2
            if self.length(middle) <= room:
                low = middle
            else:
                high = middle
        return low

    def axis(self, scale: float) -> Axis:
        """The axis where nothing is drawn smaller than ``scale``, as even as its needs allow."""
        earliest = self._earliest(scale)
        latest = self._latest(scale, earliest[-1])
        places = [(early + late) / 2 for early, late in zip(earliest, latest, strict=True)]
        self._even_out(places, scale)
        return Axis(self.edges, tuple(places))

    def _even_out(self, places: list[float], scale: float) -> None:
        """Move each place towards its share between its neighbours, as far as no need is hurt."""
        edges, last = self.edges, len(self.edges) - 1
        for _ in range(_SWEEPS):
            moved = 0.0
            for index in range(1, last):
                before, after = edges[index] - edges[index - 1], edges[index + 1] - edges[index]
                low, high = places[index - 1] + before * scale, places[index + 1] - after * scale
                for start, need in self._into[index]:
                    low = max(low, places[start] + need)
                for end, need in self._out_of[index]:
                    high = min(high, places[end] - need)
                span = places[index + 1] - places[index - 1]
                wanted = places[index - 1] + span * before / (before + after)
                wanted = min(max(wanted, low), high) if low <= high else places[index]
                moved = max(moved, abs(wanted - places[index]))
                places[index] = wanted
            if moved < 0.005:
                return


def stretch(low: float, high: float, needs: Iterable[Need]) -> Stretch:
    """The axis from ``low`` to ``high`` with what it needs. Needs of no length are left out."""
    strongest: dict[tuple[float, float], float] = {}
    for start, end, paper in needs:
        ends = (round(max(start, low), 6), round(min(end, high), 6))
        if ends[1] - ends[0] > 1e-6:
            strongest[ends] = max(strongest.get(ends, 0.0), paper)
    low, high = round(low, 6), round(high, 6)
    edges = sorted({low, high, *(value for ends in strongest for value in ends)})
    places = {edge: index for index, edge in enumerate(edges)}
    arcs = sorted((places[start], places[end], paper) for (start, end), paper in strongest.items())
    return Stretch(tuple(edges), tuple(arcs))
