"""The map of a board that is too dense for one: where its sockets and slots lie, and which page shows them large."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise

from dimmplan.sheet.blocks import Block
from dimmplan.sheet.facts import Facts, SlotFact, State, clean, socket_words
from dimmplan.sheet.ids import ident
from dimmplan.sheet.legend import bar_legend
from dimmplan.sheet.measure import width
from dimmplan.sheet.needs import MARK_MM, SOCKET_MM, mark_turned, socket_filled
from dimmplan.sheet.shapes import Group, Point, Polygon, Segment, Shape, Strokes
from dimmplan.sheet.sketch import (
    FRONT_BAND_MM,
    REAR_BAND_MM,
    edges,
    heading,
    machine_words,
    rect_of,
    scale_words,
    stacked_lines,
)
from dimmplan.sheet.view import Area, Front, View
from dimmplan.sheet.warp import Need, Stretch, stretch

_BAR_MM = 1.1
_PITCH_MM = 1.9
_SLOT_MM = 18.0


@dataclass(frozen=True)
class Overview:
    """As a slot map, with slots as bars without names. ``sheets`` says which page shows a socket's slots."""

    facts: Facts
    view: View
    front: Front
    sheets: Mapping[str, int] = field(default_factory=dict)
    machine: str = ""

    @cached_property
    def across(self) -> Stretch:
        """The x axis."""
        area = self.view.area
        return stretch(area.left, area.right, self._needs(on_side=False))

    @cached_property
    def down(self) -> Stretch:
        """The y axis."""
        area = self.view.area
        return stretch(area.top, area.bottom, self._needs(on_side=True))

    def _needs(self, *, on_side: bool) -> Iterator[Need]:
        def ends(area: Area) -> tuple[float, float]:
            return (area.top, area.bottom) if on_side else (area.left, area.right)

        for bank in self.view.banks:
            if bank.upright == on_side:
                yield *ends(bank.area), _SLOT_MM
                continue
            middles = [slot.area.centre[1 if on_side else 0] for slot in bank.slots]
            for low, high in pairwise(middles):
                yield low, high, _PITCH_MM
            low, high = ends(bank.area)
            yield low, middles[0], 1.2
            yield middles[-1], high, 1.2
        for name, box in self.view.sockets:
            wide = max(width(socket_words(name), SOCKET_MM, bold=True), width("sheet 00", 2.5, bold=True)) + 2.4
            yield *ends(box), (3 * 3.9 + 3.0) if on_side else wide
        for mark in self.view.marks:
            if not mark.cover:
                long = width(clean(mark.name), MARK_MM) + 1.4
                yield *ends(mark.area), long if mark_turned(mark) == on_side else MARK_MM + 1.8

    @property
    def name_mm(self) -> float:
        """An overview has no slot names: large text counts alone."""
        return 0.0

    @property
    def least_width(self) -> float:
        """Paper that it needs across."""
        return self.across.length(0.06)

    @property
    def least_height(self) -> float:
        """Paper that it needs down."""
        return self.down.length(0.04) + FRONT_BAND_MM + REAR_BAND_MM

    def _scales(self, width_mm: float, height_mm: float) -> tuple[float, float]:
        down = self.down.scale_for(height_mm - FRONT_BAND_MM - REAR_BAND_MM, most=1.0)
        across = self.across.scale_for(width_mm, most=1.0)
        return across, min(down, across)

    def height_for(self, width_mm: float, room_mm: float) -> float:
        """Height that it takes of the room there is."""
        _, down = self._scales(width_mm, room_mm)
        return self.down.length(down) + FRONT_BAND_MM + REAR_BAND_MM

    def draw(self, x: float, y: float, width_mm: float, height_mm: float) -> list[Shape]:
        """The overview in a box."""
        across_scale, down_scale = self._scales(width_mm, height_mm)
        across, down = self.across.axis(across_scale), self.down.axis(down_scale)
        left = x + (width_mm - across.length) / 2
        top = y + (REAR_BAND_MM if self.front == "down" else FRONT_BAND_MM)

        note = scale_words(self.facts.board.physical, enlarged=True)

        def point(at_x: float, at_y: float) -> Point:
            return left + across(at_x), top + down(at_y)

        def place(area: Area) -> Area:
            return Area(*point(area.left, area.top), *point(area.right, area.bottom))

        board = Area(left, top, left + across.length, top + down.length)
        shapes: list[Shape] = [*edges(self.front, board, note=note)]
        shapes.append(Polygon(points=tuple(point(*corner) for corner in self.view.outline), look="board"))
        for mark in self.view.marks:
            if not mark.cover:
                area = place(mark.area)
                drawn = (rect_of(area, "mark"), *stacked_lines(area, [(clean(mark.name), MARK_MM, "")]))
                shapes.append(Group(children=drawn, look=f"landmark {mark.kind}", title=clean(mark.name)))
        shapes += [self._socket(name, place(box)) for name, box in self.view.sockets]
        for slot in self.view.slots:
            area, (at_x, at_y) = place(slot.area), point(*slot.area.centre)
            if slot.upright:
                area = Area(at_x - _BAR_MM / 2, area.top, at_x + _BAR_MM / 2, area.bottom)
            else:
                area = Area(area.left, at_y - _BAR_MM / 2, area.right, at_y + _BAR_MM / 2)
            shapes.append(_bar(self.facts.slots[slot.slot], area))
        box = Area(x, y, x + width_mm, y + height_mm)
        return [*shapes, *heading(machine_words(self.facts, self.machine), note, self.front, box)]

    def legend(self, cap_mm: float, width_mm: float) -> Block:
        """What its bars mean."""
        return bar_legend(self.facts, cap_mm, width_mm)

    def _socket(self, name: str, area: Area) -> Shape:
        facts = self.facts
        fitted = name in facts.placement.fitted
        filled, slots = socket_filled(facts.board, facts, name)
        lines = [(socket_words(name), SOCKET_MM, "b")]
        if name in self.sheets:
            lines.append((f"sheet {self.sheets[name]}", 2.5, "b"))
        lines.append((f"{filled} of {slots} filled" if fitted else "absent", MARK_MM, ""))
        drawn = (rect_of(area, "cpu" if fitted else "cpu-absent"), *stacked_lines(area, lines))
        look = "socket fitted" if fitted else "socket absent"
        return Group(children=drawn, id=ident("overview-socket", name), look=look, title=clean(f"Socket {name}"))


def _bar(fact: SlotFact, area: Area) -> Shape:
    """A slot without words: solid where a module goes in, open where none does, broken where no
    processor is, crossed where nobody may touch."""
    look = {State.FILLED: "ink", State.DEAD: "bar-dead"}.get(fact.state, "bar-open")
    shapes: list[Shape] = [rect_of(area, look)]
    if fact.state is State.HOLD:
        cross: tuple[Segment, ...] = (
            (area.left, area.top, area.right, area.bottom),
            (area.left, area.bottom, area.right, area.top),
        )
        shapes.append(Strokes(segments=cross, look="thin"))
    return Group(
        children=tuple(shapes),
        id=ident("overview-slot", fact.slot),
        look=f"slot {fact.state.value}",
        title=fact.hover,
    )
