"""The map: board outline, front edge, landmarks, sockets, slots with their groups. Order, side, direction are true."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

from dimmplan.sheet.facts import Facts, clean, socket_words
from dimmplan.sheet.ids import ident
from dimmplan.sheet.measure import DESCENT, font_size, width
from dimmplan.sheet.needs import GROUP_MM, LEVEL_MM, MARK_MM, SOCKET_MM, Brackets, MapNeeds, socket_filled
from dimmplan.sheet.shapes import Group, Point, Polygon, Segment, Shape, Strokes, Text
from dimmplan.sheet.sketch import (
    FRONT_BAND_MM,
    REAR_BAND_MM,
    edges,
    heading,
    rect_of,
    scale_words,
    stacked_lines,
    text_at,
)
from dimmplan.sheet.slotbox import Columns, Placing, SlotStyle, columns, draw_slot
from dimmplan.sheet.view import Area, Front, Mark, Run, View, ViewSlot
from dimmplan.sheet.warp import Axis, Stretch

_MOST_SCALE = 1.0


@dataclass(frozen=True)
class SlotMap:
    """A map that knows the least paper it needs and can be drawn in any larger box."""

    facts: Facts
    view: View
    style: SlotStyle
    front: Front
    needs: MapNeeds = field(init=False)
    across: Stretch = field(init=False)
    down: Stretch = field(init=False)

    def __post_init__(self) -> None:
        """Work out the needs of both axes."""
        needs = MapNeeds(self.facts, self.view, self.style)
        object.__setattr__(self, "needs", needs)
        object.__setattr__(self, "across", needs.stretch(on_side=False))
        object.__setattr__(self, "down", needs.stretch(on_side=True))

    @cached_property
    def least_width(self) -> float:
        """Paper that the map needs across, in mm."""
        return self.across.length(0.06)

    @cached_property
    def least_height(self) -> float:
        """Paper that the map needs down, with the bands that name front and rear."""
        return self.down.length(0.04) + FRONT_BAND_MM + REAR_BAND_MM

    def scales(self, width_mm: float, height_mm: float) -> tuple[float, float]:
        """Even scales across and down that fill a box, neither far from the other."""
        room = height_mm - FRONT_BAND_MM - REAR_BAND_MM
        down = self.down.scale_for(room, most=_MOST_SCALE)
        across = self.across.scale_for(width_mm, most=_MOST_SCALE)
        return across, min(down, 1.25 * across)

    def height_for(self, width_mm: float, room_mm: float) -> float:
        """Height that the map takes of the room there is."""
        _, down = self.scales(width_mm, room_mm)
        return self.down.length(down) + FRONT_BAND_MM + REAR_BAND_MM

    @property
    def has_brackets(self) -> bool:
        """True where channels or controllers are marked."""
        return any(brackets.channels or brackets.controllers for brackets in self.needs.brackets)

    def enlarged(self, width_mm: float, height_mm: float) -> bool:
        """True where the map is not to one scale."""
        across, down = self.scales(width_mm, height_mm)
        one_scale = abs(across / down - 1) <= 0.02
        return not (one_scale and self.across.axis(across).even(across) and self.down.axis(down).even(down))

    def draw(self, x: float, y: float, width_mm: float, height_mm: float) -> list[Shape]:
        """The map in a box, in its middle."""
        across, down = self.scales(width_mm, height_mm)
        ink = _Drawing(self, self.across.axis(across), self.down.axis(down), x, y, width_mm)
        note = scale_words(self.facts.board.physical, self.enlarged(width_mm, height_mm))
        return [*ink.all(), *heading(self.facts, self.front, note, x, y, width_mm, height_mm)]


class _Drawing:
    """One map being drawn: places are known, shapes are collected."""

    def __init__(self, plan: SlotMap, across: Axis, down: Axis, x: float, y: float, room: float) -> None:
        self.plan, self.across, self.down = plan, across, down
        self.left = x + (room - across.length) / 2
        self.top = y + (REAR_BAND_MM if plan.front == "down" else FRONT_BAND_MM)
        self.taken: list[Area] = []

    def point(self, x: float, y: float) -> Point:
        return self.left + self.across(x), self.top + self.down(y)

    def area(self, area: Area) -> Area:
        (left, top), (right, bottom) = self.point(area.left, area.top), self.point(area.right, area.bottom)
        return Area(left, top, right, bottom)

    def all(self) -> list[Shape]:
        view, plan = self.plan.view, self.plan
        outline = Polygon(
            points=tuple(self.point(x, y) for x, y in view.outline), look="board" if view.whole else "detail"
        )
        slots = self.slots()
        self.taken = [self.placing(slot) for slot in view.slots]
        sockets = [self.socket(name, box) for name, box in view.sockets]
        self.taken += [self.area(box) for _, box in view.sockets]
        marks = [self.mark(mark) for mark in view.marks if not mark.cover]
        self.taken += [self.area(mark.area) for mark in view.marks if not mark.cover]
        groups = [shape for brackets in plan.needs.brackets for shape in self.brackets(brackets)]
        covers = [self.cover(mark) for mark in view.marks if mark.cover]
        return [*edges(self.plan.front, self.left, self.top, self.across.length, self.down.length), outline, *marks, *covers, *sockets, *groups, *slots]

    def placing(self, slot: ViewSlot) -> Area:
        half = self.plan.style.width_mm / 2
        area = self.area(slot.area)
        x, y = self.point(*slot.area.centre)
        if slot.upright:
            return Area(x - half, area.top, x + half, area.bottom)
        return Area(area.left, y - half, area.right, y + half)

    def slots(self) -> list[Shape]:
        """All slots in board order; within a bank words and patterns stand in line."""
        facts, style = self.plan.facts.slots, self.plan.style
        drawn: dict[str, Shape] = {}
        for bank in self.plan.view.banks:
            areas = [self.placing(slot) for slot in bank.slots]
            lengths = [a.bottom - a.top if bank.upright else a.right - a.left for a in areas]
            lines = columns([facts[slot.slot] for slot in bank.slots], style, lengths)
            for slot, area, length in zip(bank.slots, areas, lengths, strict=True):
                drawn[slot.slot] = self.slot(slot, area, length, lines)
        return [drawn[slot.slot] for slot in self.plan.view.slots]

    def slot(self, slot: ViewSlot, area: Area, length: float, lines: Columns) -> Shape:
        placing = Placing(area.left, area.top, length, self.plan.style.width_mm, slot.upright)
        fact = self.plan.facts.slots[slot.slot]
        return draw_slot(
            fact, placing, self.plan.style, lines, pin1_first=slot.pin1_first, ident=ident("slot", slot.slot)
        )

    def socket(self, name: str, box: Area) -> Shape:
        facts, area = self.plan.facts, self.area(box)
        fitted_here = name in facts.placement.fitted
        rect = rect_of(area, "cpu" if fitted_here else "cpu-absent")
        shapes: list[Shape] = [rect]
        if not fitted_here:
            cross: list[Segment] = [
                (area.left, area.top, area.right, area.bottom),
                (area.left, area.bottom, area.right, area.top),
            ]
            shapes.append(Strokes(segments=tuple(cross), look="thin"))
        filled, slots = socket_filled(facts.board, facts, name)
        lines = [(socket_words(name), SOCKET_MM, "b")]
        lines += [("processor", MARK_MM, ""), (f"{filled} of {slots} filled", MARK_MM, "")] if fitted_here else []
        lines += [] if fitted_here else [("absent", 2.5, "b")]
        shapes += stacked_lines(area, lines, backed=not fitted_here)
        look = "socket fitted" if fitted_here else "socket absent"
        title = clean(f"Socket {name}: {'fitted' if fitted_here else 'no processor'}")
        return Group(children=tuple(shapes), id=ident("socket", name), look=look, title=title)

    def mark(self, mark: Mark) -> Shape:
        area = self.area(mark.area)
        shapes: list[Shape] = [rect_of(area, "mark")]
        shapes += stacked_lines(area, [(clean(mark.name), MARK_MM, "")])
        return Group(children=tuple(shapes), look=f"landmark {mark.kind}", title=clean(mark.name))

    def cover(self, mark: Mark) -> Shape:
        """A part that lies over slots: its corners, and its name where nothing else stands."""
        area = self.area(mark.area)
        arm = 4.0
        shapes: list[Shape] = []
        for x, to_x in ((area.left, arm), (area.right, -arm)):
            for y, to_y in ((area.top, arm), (area.bottom, -arm)):
                corner = Area(min(x, x + to_x), min(y, y + to_y), max(x, x + to_x), max(y, y + to_y))
                if not any(corner.overlaps(taken) for taken in self.taken):
                    shapes.append(Strokes(segments=((x, y, x + to_x, y), (x, y, x, y + to_y)), look="medium"))
        name = clean(mark.name)
        place = self._free(area, width(name, MARK_MM) + 2.0, MARK_MM + 2.0)
        if place:
            self.taken.append(place)
            shapes.append(text_at(place.left + 1.0, place.bottom - 0.9, name, MARK_MM, ""))
        return Group(children=tuple(shapes), look=f"landmark {mark.kind}", title=f"{name} (comes off first)")

    def _free(self, area: Area, wide: float, high: float) -> Area | None:
        """The first free place in an area, from its upper left corner on."""
        y = area.top + 0.4
        while y + high <= area.bottom - 0.4:
            row = [t for t in self.taken if t.top < y + high and t.bottom > y]
            x = area.left + 0.6
            for block in sorted(row, key=lambda block: block.left):
                if block.left - x >= wide:
                    break
                x = max(x, block.right)
            if area.right - 0.4 - x >= wide:
                return Area(x, y, x + wide, y + high)
            y += 0.8
        return None

    def brackets(self, brackets: Brackets) -> list[Shape]:
        shapes: list[Shape] = []
        for run in brackets.channels:
            shapes.append(self.bracket(brackets, run, "channel", 0.0))
        for run in brackets.controllers:
            shapes.append(self.bracket(brackets, run, "controller", brackets.channel_depth_mm))
        return shapes

    def bracket(self, brackets: Brackets, run: Run, what: str, off: float) -> Shape:
        """A line along the ends of the slots that belong together, with ticks towards them and their name."""
        bank, at_start = brackets.bank, brackets.at_start
        first, last = self.placing(bank.slots[run.first]), self.placing(bank.slots[run.last])
        name = clean(run.name)
        sign = -1.0 if at_start else 1.0
        tick = 0.9
        if bank.upright:
            line = (first.top if at_start else first.bottom) + sign * (off + 0.6 + tick)
            low, high = first.left + 0.3, last.right - 0.3
            segments = [(low, line, high, line), (low, line, low, line - sign * tick), (high, line, high, line - sign * tick)]
            said = self._said(what, name, high - low)
            base = line + (sign * 0.9 if at_start else 0.9 + GROUP_MM)
            label = text_at((low + high) / 2, base, said, GROUP_MM, "b" if what == "channel" else "", "middle")
            self.taken.append(Area(low, min(line, base - GROUP_MM), high, max(line, base)).grown(0.5))
        else:
            line = (first.left if at_start else first.right) + sign * (off + 0.6 + tick)
            low, high = first.top + 0.3, last.bottom - 0.3
            segments = [(line, low, line, high), (line, low, line - sign * tick, low), (line, high, line - sign * tick, high)]
            label = self._side_label(what, name, line, (low + high) / 2, high - low, at_start)
            self.taken.append(Area(line - LEVEL_MM, low, line + LEVEL_MM, high))
        title = f"{what.capitalize()} {name} of socket {clean(bank.socket)}"
        look = "medium" if what == "channel" else "thick"
        return Group(children=(Strokes(segments=tuple(segments), look=look), label), look=what, title=title)

    def _side_label(self, what: str, name: str, line: float, middle: float, long: float, at_start: bool) -> Text:
        if what == "channel":
            x = line - 0.9 if at_start else line + 0.9
            return text_at(x, middle + GROUP_MM / 2, name, GROUP_MM, "b", "end" if at_start else "start")
        x = line - 0.9 - font_size(GROUP_MM) * DESCENT if at_start else line + 0.9 + GROUP_MM
        text = self._said(what, name, long)
        return Text(x=x, y=middle, text=text, size=font_size(GROUP_MM), look="", anchor="middle", turn=-90)

    @staticmethod
    def _said(what: str, name: str, room: float) -> str:
        whole = f"{what} {name}"
        return whole if what == "controller" and width(whole, GROUP_MM) <= room else name
