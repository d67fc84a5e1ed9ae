"""The map: board outline, front edge, landmarks, sockets, slots with their groups. Order, side, direction are true."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

from dimmplan.sheet.blocks import Block, label
from dimmplan.sheet.facts import Facts, State, clean, socket_words
from dimmplan.sheet.ids import ident
from dimmplan.sheet.legend import legend
from dimmplan.sheet.measure import DESCENT, font_size, width
from dimmplan.sheet.needs import GROUP_MM, LEVEL_MM, MARK_MM, SOCKET_MM, Brackets, MapNeeds, socket_filled
from dimmplan.sheet.shapes import Group, Point, Polygon, Segment, Shape, Strokes, Text
from dimmplan.sheet.sketch import (
    FRONT_BAND_MM,
    REAR_BAND_MM,
    edges,
    heading,
    machine_words,
    part_words,
    rect_of,
    scale_words,
    stacked_lines,
)
from dimmplan.sheet.slotbox import HOLD_MM, Columns, Placing, SlotStyle, columns, draw_slot
from dimmplan.sheet.view import Area, Front, Mark, Run, View, ViewSlot
from dimmplan.sheet.warp import Axis, Stretch

_MOST_SCALE = 1.0


TRAYS = ("tray", "tray absent")
"""Kinds of marks that are trays."""


@dataclass(frozen=True)
class SlotMap:
    """A map that knows the least paper it needs and can be drawn in any larger box."""

    facts: Facts
    view: View
    style: SlotStyle
    front: Front
    machine: str = ""
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
    def name_mm(self) -> float:
        """Letter height of slot names."""
        return self.style.name_mm

    @property
    def bracketed(self) -> tuple[str, ...]:
        """What the brackets mark: channels, controllers, both or nothing."""
        all_brackets = self.needs.brackets
        channels = any(brackets.channels for brackets in all_brackets)
        controllers = any(brackets.controllers for brackets in all_brackets)
        return (*(["channel"] if channels else []), *(["controller"] if controllers else []))

    def draw(self, x: float, y: float, width_mm: float, height_mm: float) -> list[Shape]:
        """The map in a box, in its middle."""
        across, down = self.scales(width_mm, height_mm)
        axes = self.across.axis(across), self.down.axis(down)
        true = abs(across / down - 1) <= 0.02 and axes[0].even(across) and axes[1].even(down)
        note = scale_words(self.facts.board.physical, enlarged=not true)
        ink = _Drawing(self, axes, note, (x, y), width_mm)
        names = [name for name, _ in self.view.sockets]
        said = machine_words(self.facts, self.machine) if self.view.whole else part_words(self.facts, names)
        return [
            *ink.all(),
            *heading(said, note, self.front, Area(x, y, x + width_mm, y + height_mm), whole=self.view.whole),
        ]

    def legend(self, cap_mm: float, width_mm: float) -> Block:
        """What its forms mean."""
        shown = [self.facts.slots[slot.slot] for slot in self.view.slots]
        return legend(self.facts, shown, cap_mm, width_mm, brackets=self.bracketed)


class _Drawing:
    """One map being drawn: places are known, shapes are collected."""

    def __init__(self, plan: SlotMap, axes: tuple[Axis, Axis], note: tuple[str, str], at: Point, room: float) -> None:
        self.plan, (self.across, self.down), self.note = plan, axes, note
        self.left = at[0] + (room - self.across.length) / 2
        self.top = at[1] + (REAR_BAND_MM if plan.front == "down" else FRONT_BAND_MM)
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
        trays = [self.tray(mark) for mark in view.marks if mark.kind in TRAYS]
        covers = [self.cover(mark) for mark in view.marks if mark.cover and mark.kind not in TRAYS]
        board = Area(self.left, self.top, self.left + self.across.length, self.top + self.down.length)
        frame = edges(plan.front, board, note=self.note, whole=view.whole)
        return [*frame, outline, *trays, *marks, *covers, *sockets, *groups, *slots]

    def placing(self, slot: ViewSlot) -> Area:
        hold = self.plan.facts.slots[slot.slot].state is State.HOLD
        half = (self.plan.style.width_mm + (HOLD_MM if hold else 0.0)) / 2
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
        across = area.right - area.left if slot.upright else area.bottom - area.top
        placing = Placing(area.left, area.top, length, across, slot.upright)
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

    def tray(self, mark: Mark) -> Shape:
        """A tray: its outline around its slots, and its name inside, or beside it where there is no room."""
        held = next(tray.slots for tray in self.plan.facts.board.physical.trays if tray.name == mark.name)
        area = self.area(mark.area)
        for slot in self.plan.view.slots:
            if slot.slot in held:
                area = area.around(self.placing(slot).grown(0.8))
        name = clean(mark.name) + (" absent" if mark.kind == "tray absent" else "")
        inside = Area(self.left, self.top, self.left + self.across.length, self.top + self.down.length)
        named = self._cover_name(area, name)
        self.taken.append(area.grown(0.6))
        named = named or self._cover_name(area.grown(MARK_MM + 4.0).within(inside), name)
        shapes = (rect_of(area, mark.kind.replace(" ", "-")), *named)
        return Group(children=shapes, id=ident("tray", mark.name), look=mark.kind, title=f"Tray {name}")

    def cover(self, mark: Mark) -> Shape:
        """A part that lies over slots: its name where nothing else stands, and its corners where the name is told."""
        area, name = self.area(mark.area), clean(mark.name)
        named = self._cover_name(area, name)
        arm = 4.0
        shapes: list[Shape] = []
        for x, to_x in ((area.left, arm), (area.right, -arm)):
            for y, to_y in ((area.top, arm), (area.bottom, -arm)):
                corner = Area(min(x, x + to_x), min(y, y + to_y), max(x, x + to_x), max(y, y + to_y))
                if named and not any(corner.overlaps(taken) for taken in self.taken):
                    shapes.append(Strokes(segments=((x, y, x + to_x, y), (x, y, x, y + to_y)), look="medium"))
        title = f"{name} (comes off first)"
        return Group(children=(*shapes, *named), look=f"landmark {mark.kind}", title=title)

    def _cover_name(self, area: Area, name: str) -> list[Shape]:
        """The name in free room of an area, lying or upright; nothing where there is none."""
        long, high = width(name, MARK_MM) + 2.0, MARK_MM + 2.0
        lying, upright = self._free(area, long, high), self._free(area, high, long)
        place = lying or upright
        if place is None:
            return []
        self.taken.append(place)
        if lying:
            return [label(place.left + 1.0, place.bottom - 0.9, name, MARK_MM, "")]
        return [label(place.right - 0.9, place.bottom - 1.0, name, MARK_MM, "", turn=-90)]

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
        bank, sign = brackets.bank, -1.0 if brackets.at_start else 1.0
        first, last = self.placing(bank.slots[run.first]), self.placing(bank.slots[run.last])
        name, tick, gap = clean(run.name), sign * 0.7, 1.0
        if bank.upright:
            line = (first.top if brackets.at_start else first.bottom) + sign * (off + 0.5) + tick
            low, high = first.left + 0.3, last.right - 0.3
            segments: tuple[Segment, ...] = (
                (low, line, high, line),
                (low, line, low, line - tick),
                (high, line, high, line - tick),
            )
            base = line + sign * gap + (0.0 if brackets.at_start else GROUP_MM)
            look = "b" if what == "channel" else ""
            named = label((low + high) / 2, base, _said(what, name, high - low), GROUP_MM, look, anchor="middle")
            self.taken.append(Area(low, min(line, base - GROUP_MM), high, max(line, base)).grown(0.5))
        else:
            line = (first.left if brackets.at_start else first.right) + sign * (off + 0.6) + tick
            low, high = first.top + 0.3, last.bottom - 0.3
            segments = ((line, low, line, high), (line, low, line - tick, low), (line, high, line - tick, high))
            named = _side_label(what, name, line, tick, (low, high))
            self.taken.append(Area(line - LEVEL_MM, low, line + LEVEL_MM, high))
        title = f"{what.capitalize()} {name} of socket {clean(bank.socket)}"
        strokes = Strokes(segments=segments, look="medium" if what == "channel" else "thick")
        return Group(children=(strokes, named), look=what, title=title)


def _side_label(what: str, name: str, line: float, tick: float, ends: tuple[float, float]) -> Text:
    """The name beside a bracket that stands upright: a channel's lies across, a controller's runs along."""
    middle = sum(ends) / 2
    if what == "channel":
        return label(line + tick, middle + GROUP_MM / 2, name, GROUP_MM, "b", anchor="end" if tick < 0 else "start")
    x = line + tick + (-font_size(GROUP_MM) * DESCENT if tick < 0 else GROUP_MM)
    return label(x, middle, _said(what, name, ends[1] - ends[0]), GROUP_MM, anchor="middle", turn=-90)


def _said(what: str, name: str, room: float) -> str:
    """The name, with the word *controller* where there is room for it."""
    whole = f"{what} {name}"
    return whole if what == "controller" and width(whole, GROUP_MM) <= room else name
