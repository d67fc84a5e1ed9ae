"""The room that a map needs on paper, one axis at a time: board millimetres to paper millimetres, never turning back.

A need says how much paper an interval of the board must get at least: slots as wide as their letters ask, brackets,
names. Order and side stay true because places only rise; the least length of an axis is the longest path through its
needs. What room is left goes to all intervals in proportion, and places between needs are evened out.

The y axis is the x axis of the board laid on its side, so everything is said once: *posts* stand across the axis
(slots drawn as wide as their letters ask), *walls* are what keeps its own place (sockets, landmarks, slots that lie
along the axis).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

from dimmplan.sheet.blocks import Lines
from dimmplan.sheet.facts import Facts, State, clean, socket_words
from dimmplan.sheet.letters import fitted, widest, width
from dimmplan.sheet.plan_view import Area, Bank, PlanView, Span, spans
from dimmplan.sheet.shapes import TEXT_MM
from dimmplan.sheet.slotbox import HOLD_MM, SlotStyle

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


@dataclass(frozen=True)
class Stretch:
    """An axis not yet laid out: ``arcs`` are needs between edges, by index, the one that ends first coming first."""

    edges: tuple[float, ...]
    arcs: tuple[tuple[int, int, float], ...]

    @cached_property
    def _links(self) -> list[tuple[list[tuple[int, float]], list[tuple[int, float]]]]:
        """Of each edge the needs that end at it, and those that begin there: the other end, and the paper."""
        links: list[tuple[list[tuple[int, float]], list[tuple[int, float]]]] = [([], []) for _ in self.edges]
        for start, end, need in self.arcs:
            links[end][0].append((start, need))
            links[start][1].append((end, need))
        return links

    def _low(self, places: list[float], index: int, scale: float) -> float:
        """The first place that an edge may take after those before it."""
        place = places[index - 1] + (self.edges[index] - self.edges[index - 1]) * scale
        for start, need in self._links[index][0]:
            place = max(place, places[start] + need)
        return place

    def _high(self, places: list[float], index: int, scale: float) -> float:
        """The last place that an edge may take before those after it."""
        place = places[index + 1] - (self.edges[index + 1] - self.edges[index]) * scale
        for end, need in self._links[index][1]:
            place = min(place, places[end] - need)
        return place

    def _earliest(self, scale: float) -> list[float]:
        places = [0.0]
        for index in range(1, len(self.edges)):
            places.append(self._low(places, index, scale))
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
            low, high = (middle, high) if self.length(middle) <= room else (low, middle)
        return low

    def axis(self, scale: float) -> Axis:
        """The axis where nothing is drawn smaller than ``scale``, as even as its needs allow."""
        earliest = self._earliest(scale)
        latest = [earliest[-1]] * len(self.edges)
        for index in range(len(self.edges) - 2, -1, -1):
            latest[index] = self._high(latest, index, scale)
        places = [(early + late) / 2 for early, late in zip(earliest, latest, strict=True)]
        self._even_out(places, scale)
        return Axis(self.edges, tuple(places))

    def _even_out(self, places: list[float], scale: float) -> None:
        """Move each place towards its share between its neighbours, as far as no need is hurt."""
        edges = self.edges
        for _ in range(_SWEEPS):
            moved = 0.0
            for index in range(1, len(edges) - 1):
                before, after = edges[index] - edges[index - 1], edges[index + 1] - edges[index]
                low, high = self._low(places, index, scale), self._high(places, index, scale)
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


SOCKET_FORMS = 5
"""How many forms ``socket_forms`` gives; the last one takes the least room."""

LEVEL_MM = TEXT_MM + 2.2
"""One row of brackets with its names."""

SOCKET_MM = 3.0
ZONE_MM = 0.7
"""How far the ground of a socket's area reaches beyond what stands on it."""

TRAY_MM = 1.1
"""How far the outline of a tray stands from its slots."""

_EDGE_MM = 1.5
_NEARLY_MM = 12.0
"""On the board: names of brackets reach beyond their slots."""


class Brackets(NamedTuple):
    """Brackets of a bank: channels next to the slots, socket and controllers outside; at which end, and how deep.

    ``tray_mm`` is the room that the outline of a tray takes around the slots; 0 where none of them is in a tray.
    """

    bank: Bank
    channels: tuple[Span, ...]
    owners: tuple[Span, ...]
    at_start: bool
    depth_mm: float
    channel_depth_mm: float
    tray_mm: float


@dataclass(frozen=True)
class MapRoom:
    """What a view needs on paper with a slot style.

    ``sheets`` says on an overview which sheet shows a socket's slots. ``form`` is what all processors' boxes say.
    """

    facts: Facts
    view: PlanView
    style: SlotStyle
    sheets: Mapping[str, str] = field(default_factory=dict)
    form: int = SOCKET_FORMS - 1

    @cached_property
    def brackets(self) -> tuple[Brackets, ...]:
        """The brackets of each bank; those of banks of one socket that begin level are at the same end."""
        starts: dict[object, list[tuple[float, float]]] = {}
        levels = []
        for bank in self.view.banks:
            area = bank.area.turned(not bank.upright)
            levels.append((bank.socket, bank.upright, area.top, area.bottom))
            (before, *_), (after, *_) = self.gaps(bank)
            starts.setdefault(levels[-1], []).append((before, after))
        at_start = {level: min(b for b, _ in gaps) > min(a for _, a in gaps) + 1e-6 for level, gaps in starts.items()}
        return tuple(self._bracket(bank, at_start[level]) for bank, level in zip(self.view.banks, levels, strict=True))

    def _bracket(self, bank: Bank, at_start: bool) -> Brackets:
        if self.style.bars:
            return Brackets(bank, (), (), at_start, 0.0, 0.0, 0.0)
        board = self.facts.board
        tray = TRAY_MM if any(slot.slot in board.tray_of for slot in bank.slots) else 0.0
        channels, owners = tuple(spans(board, bank, "channel")), tuple(spans(board, bank, "owner"))
        names = widest([clean(span.name) for span in channels], TEXT_MM, bold=True)
        if not names and self.style.name_mm < 3.5:
            channels = ()  # the names of slots tell them
        level = LEVEL_MM if bank.upright else names + 2.6
        row = (level if names else 1.5) if channels else 0.0
        deep = tray + row + LEVEL_MM + (0.0 if bank.upright else 0.8)
        return Brackets(bank, channels, owners, at_start, deep, row, tray)

    def gaps(self, bank: Bank) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
        """Free board mm before and after the ends of a bank's slots: the distance, from, to."""
        own = bank.area.turned(bank.upright)
        whole = self.view.area.turned(bank.upright)
        others = [block.turned(bank.upright) for block in self.view.blocks]
        others += [other.area.turned(bank.upright) for other in self.view.banks if other is not bank]
        level = [o for o in others if o.top < own.bottom and own.top < o.bottom]
        low = max((o.right for o in level if o.right <= own.left + 1e-6), default=whole.left)
        high = min((o.left for o in level if o.left >= own.right - 1e-6), default=whole.right)
        return (own.left - low, low, own.left), (high - own.right, own.right, high)

    def _posts_beside(self, bank: Bank) -> Iterator[float]:
        """Middles, along a bank's slots, of slots that stand across and level with it: drawn wider than they are."""
        own = bank.area.turned(bank.upright)
        for slot in self.view.slots:
            area = slot.area.turned(bank.upright)
            if slot.upright != bank.upright and area.top < own.bottom and own.top < area.bottom:
                yield area.centre[0]

    def stretch(self, *, on_side: bool) -> Stretch:
        """The x axis; the y axis with ``on_side``."""
        whole = self.view.area.turned(on_side)
        needs = [*self._slots(on_side), *self._groups(on_side), *self._facing(on_side)]
        return stretch(whole.left, whole.right, [*needs, *self._sockets(on_side), *self._marks(on_side)])

    def _slots(self, on_side: bool) -> Iterator[Need]:
        whole = self.view.area.turned(on_side)
        board = self.facts.board
        socket_of = {slot.slot: board.channel_of[slot.slot].socket for slot in self.view.slots}
        walls = [(box.turned(on_side), name) for name, box in self.view.sockets]
        walls += [(mark.area.turned(on_side), "") for mark in self.view.marks]
        posts: list[tuple[Area, bool, str, str]] = []
        for slot in self.view.slots:
            area, fact = slot.area.turned(on_side), self.facts.slots[slot.slot]
            if slot.upright != on_side:
                tray = "" if self.style.bars else board.tray_of.get(slot.slot, "")
                posts.append((area, fact.state is State.HOLD, socket_of[slot.slot], tray))
            else:
                walls.append((area, socket_of[slot.slot]))
                yield area.left, area.right, self.style.length(fact)
        posts.sort(key=lambda post: post[0].centre[0])
        for index, (post, hold, socket, tray) in enumerate(posts):
            at, half = post.centre[0], self.style.width_mm / 2 + (TRAY_MM if tray else 0.0)
            yield whole.left, at, half + _EDGE_MM
            yield at, whole.right, half + _EDGE_MM
            for wall, owner in walls:
                if wall.top < post.bottom and post.top < wall.bottom:
                    apart = half + (0.9 if owner == socket else 0.9 + 2 * ZONE_MM)
                    yield at, wall.left, apart
                    yield wall.right, at, apart
            for other, other_hold, other_socket, other_tray in posts[index + 1 :]:
                if other.top < post.bottom and post.top < other.bottom:
                    apart = self.style.pitch_mm + (HOLD_MM + 0.3 if hold or other_hold else 0.0)
                    apart += TRAY_MM * (bool(tray) + bool(other_tray)) if tray != other_tray else 0.0
                    yield at, other.centre[0], apart + (2 * ZONE_MM + 0.8 if other_socket != socket else 0.0)
                    break

    def _groups(self, on_side: bool) -> Iterator[Need]:
        for brackets in self.brackets:
            bank = brackets.bank
            if bank.upright == on_side:  # this axis runs along the slots: room beyond their ends
                for (gap, low, high), mine in zip(self.gaps(bank), (True, False), strict=True):
                    depth = brackets.depth_mm if brackets.at_start == mine else brackets.tray_mm
                    if gap > 0:
                        yield low, high, depth + 0.5 + 2 * ZONE_MM
                    own = bank.area.turned(on_side)
                    for post in self._posts_beside(bank):
                        ends = (post, own.left) if mine else (own.right, post)
                        yield *ends, depth + 1.2 + self.style.width_mm / 2
            else:
                for span in (*brackets.channels, *brackets.owners):
                    if not span.name:
                        continue
                    if not bank.upright and span in brackets.channels:
                        need = TEXT_MM + 1.0  # these names lie across, one below the other
                    else:
                        need = self._least_name(span) + 1.2
                    first = bank.slots[span.first].area.turned(on_side)
                    last = bank.slots[span.last].area.turned(on_side)
                    yield first.left, last.right, need

    def _facing(self, on_side: bool) -> Iterator[Need]:
        """Room for both brackets where the slots of two banks end at the same gap, side by side or nearly so."""
        along = [(each, each.bank.area.turned(on_side)) for each in self.brackets if each.bank.upright == on_side]
        for one, here in along:
            for other, there in along:
                level = here.top < there.bottom + _NEARLY_MM and there.top < here.bottom + _NEARLY_MM
                if here.right < there.left and level and not one.at_start and other.at_start:
                    yield here.right, there.left, one.depth_mm + other.depth_mm + 0.5 + 3 * ZONE_MM

    def _least_name(self, span: Span) -> float:
        """The room that a name beside slots takes at least: a tray's may be short where boxes say least."""
        whole = width(clean(span.name), TEXT_MM, bold=True)
        if not span.tray or self.form < SOCKET_FORMS - 1:
            return whole
        return min(whole, width(f"{clean(span.tray)[:_TRAY_LETTERS]}…", TEXT_MM, bold=True))

    def _sockets(self, on_side: bool) -> Iterator[Need]:
        for name, box in self.view.sockets:
            lines = self.socket_lines(name)
            long = max(width(said, cap, bold=bool(look)) for said, cap, look in lines) + 2.0
            high = sum(cap + 1.3 for _, cap, _ in lines) + 1.0
            beside = any(bank.area.left < box.right and box.left < bank.area.right for bank in self.view.banks)
            flat = bool(self.sheets) or beside  # slots in front of it or behind give its name room across
            area = box.turned(on_side)
            yield area.left, area.right, long if flat != on_side else high

    def socket_lines(self, name: str) -> Lines:
        """What stands in a processor's box, in the one form that all boxes of the map have."""
        return socket_forms(self.facts, name, self.sheets)[self.form]

    def _marks(self, on_side: bool) -> Iterator[Need]:
        for mark in self.view.marks:
            area, long = mark.area.turned(on_side), width(clean(mark.name), TEXT_MM) + 1.4
            turned = mark.area.height > (3.5 if self.style.flat else 1.6) * mark.area.width  # along the long side
            yield area.left, area.right, long if turned == on_side else TEXT_MM + 1.5


_TRAY_LETTERS = 7
"""So many letters of a tray's name stand on every map."""


def span_name(span: Span, room_mm: float) -> str:
    """The name beside slots as far as its room takes it: of a tray the tray alone, then cut with an ellipsis."""
    name, tray = clean(span.name), clean(span.tray)
    if not span.tray or width(name, TEXT_MM, bold=True) <= room_mm + 1e-6:
        return name
    return fitted(tray, TEXT_MM, room_mm, bold=True)


def socket_forms(facts: Facts, name: str, sheets: Mapping[str, str]) -> list[Lines]:
    """What may stand in a processor's box, the fullest form first.

    Its name, on an overview the sheet with its slots, else what it is; how many slots are filled.
    """
    head: Lines = [(socket_words(name), SOCKET_MM, "b")]
    head += [(sheets[name], TEXT_MM, "b")] if name in sheets else []
    named: Lines = head if name in sheets else [*head, ("processor", TEXT_MM, "")]
    fitted_here = name in facts.placement.fitted
    states = [facts.slots[slot].state for slot in facts.board.socket(name).slots]
    count = f"{states.count(State.FILLED)} of {len(states)}" if facts.counts[State.FILLED] else f"{len(states)}"
    counts = [[count, "slots"], [f"{count} slots"]] if fitted_here else [["absent"], ["absent"]]
    told = [[*first, *((said, TEXT_MM, "") for said in words)] for first in (named, head) for words in counts]
    return [*told, head if fitted_here else told[-1]]
