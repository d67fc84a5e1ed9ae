"""The map: board outline, front edge, landmarks, sockets, slots with their groups. Order, side, direction are true."""

from __future__ import annotations

from dataclasses import dataclass, field

from dimmplan.model.board import Physical
from dimmplan.sheet.facts import Facts, clean
from dimmplan.sheet.ids import ident
from dimmplan.sheet.measure import DESCENT, fitted, font_size, width
from dimmplan.sheet.needs import GROUP_MM, LEVEL_MM, MARK_MM, SOCKET_MM, Brackets, MapNeeds, mark_turned, socket_filled
from dimmplan.sheet.shapes import Group, Line, Point, Polygon, Rect, Segment, Shape, Strokes, Text
from dimmplan.sheet.slotbox import Placing, SlotStyle, draw_slot
from dimmplan.sheet.view import Area, Bank, Front, Mark, Run, View, ViewSlot
from dimmplan.sheet.warp import Axis, Stretch

FRONT_BAND_MM = 9.5
REAR_BAND_MM = 6.0
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

    @property
    def least_width(self) -> float:
        """Paper that the map needs across, in mm."""
        return self.across.length(0.06)

    @property
    def least_height(self) -> float:
        """Paper that the map needs down, with the bands that name front and rear."""
        return self.down.length(0.04) + FRONT_BAND_MM + REAR_BAND_MM

    def scales(self, width_mm: float, height_mm: float) -> tuple[float, float]:
        """Even scales across and down that fill a box, neither far from the other."""
        room = height_mm - FRONT_BAND_MM - REAR_BAND_MM
        down = self.down.scale_for(room, most=_MOST_SCALE)
        across = self.across.scale_for(width_mm, most=min(_MOST_SCALE, 3.0 * down))
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
        return [*ink.all(), *_heading(self, note, x, y, width_mm, height_mm)]


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
        slots = [self.slot(slot) for slot in view.slots]
        self.taken = [self.placing(slot) for slot in view.slots]
        sockets = [self.socket(name, box) for name, box in view.sockets]
        self.taken += [self.area(box) for _, box in view.sockets]
        marks = [self.mark(mark) for mark in view.marks if not mark.cover]
        self.taken += [self.area(mark.area) for mark in view.marks if not mark.cover]
        groups = [shape for brackets in plan.needs.brackets for shape in self.brackets(brackets)]
        covers = [self.cover(mark) for mark in view.marks if mark.cover]
        return [*self.edges(), outline, *marks, *covers, *sockets, *groups, *slots]

    def edges(self) -> list[Shape]:
        """Front and rear outside the board: arrows and words that cannot be taken for anything else."""
        down = self.plan.front == "down"
        middle = self.left + self.across.length / 2
        front = self.top + self.down.length if down else self.top
        rear = self.top if down else self.top + self.down.length
        sign = 1 if down else -1
        words = "FRONT OF THE MACHINE" if self.across.length > 110 else "FRONT"
        half = width(words, 3.5, bold=True) / 2
        shapes: list[Shape] = []
        for side in (-1, 1):
            for number in range(2 if self.across.length > 80 else 1):
                at = middle + side * (half + 8 + number * 12)
                tip, base = front + sign * 8.2, front + sign * 1.4
                neck = front + sign * 4.2
                shapes.append(
                    Polygon(
                        points=(
                            (at - 1.6, base), (at + 1.6, base), (at + 1.6, neck), (at + 4.2, neck),
                            (at, tip), (at - 4.2, neck), (at - 1.6, neck),
                        ),
                        look="ink",
                    )
                )  # fmt: skip
        base_line = front + 6.6 if down else front - 3.1
        shapes.append(_text(middle, base_line, words, 3.5, "b", "middle"))
        shapes.append(_text(middle, rear - 1.5 if down else rear + 3.7, "REAR", 2.5, "", "middle"))
        return [Group(children=tuple(shapes), id="front-edge", look="edge", title="Front edge of the board")]

    def placing(self, slot: ViewSlot) -> Area:
        half = self.plan.style.width_mm / 2
        area = self.area(slot.area)
        x, y = self.point(*slot.area.centre)
        if slot.upright:
            return Area(x - half, area.top, x + half, area.bottom)
        return Area(area.left, y - half, area.right, y + half)

    def slot(self, slot: ViewSlot) -> Shape:
        area = self.placing(slot)
        long = area.bottom - area.top if slot.upright else area.right - area.left
        placing = Placing(area.left, area.top, long, self.plan.style.width_mm, slot.upright)
        fact = self.plan.facts.slots[slot.slot]
        return draw_slot(fact, placing, self.plan.style, pin1_first=slot.pin1_first, ident=ident("slot", slot.slot))

    def socket(self, name: str, box: Area) -> Shape:
        facts, area = self.plan.facts, self.area(box)
        fitted_here = name in facts.placement.fitted
        rect = _rect(area, "cpu" if fitted_here else "cpu-absent")
        shapes: list[Shape] = [rect]
        if not fitted_here:
            cross: list[Segment] = [
                (area.left, area.top, area.right, area.bottom),
                (area.left, area.bottom, area.right, area.top),
            ]
            shapes.append(Strokes(segments=tuple(cross), look="thin"))
        filled, slots = socket_filled(facts.board, facts, name)
        lines = [(clean(name), SOCKET_MM, "b")]
        lines += [("processor", MARK_MM, ""), (f"{filled} of {slots}", MARK_MM, "")] if fitted_here else []
        lines += [] if fitted_here else [("absent", 2.5, "b")]
        shapes += _stacked(area, lines, backed=not fitted_here)
        look = "socket fitted" if fitted_here else "socket absent"
        title = clean(f"Socket {name}: {'fitted' if fitted_here else 'no processor'}")
        return Group(children=tuple(shapes), id=ident("socket", name), look=look, title=title)

    def mark(self, mark: Mark) -> Shape:
        area = self.area(mark.area)
        shapes: list[Shape] = [_rect(area, "mark")]
        shapes += _stacked(area, [(clean(mark.name), MARK_MM, "")], turned=mark_turned(mark) or None)
        return Group(children=tuple(shapes), look=f"landmark {mark.kind}", title=clean(mark.name))

    def cover(self, mark: Mark) -> Shape:
        """A part that lies over slots: its outline, and its name where nothing else stands."""
        area = self.area(mark.area)
        shapes: list[Shape] = [_rect(area, "cover")]
        name = clean(mark.name)
        place = self._free(area, width(name, MARK_MM) + 1.6, MARK_MM + 1.6)
        if place:
            self.taken.append(place)
            shapes.append(_text(place.left + 0.8, place.bottom - 0.8, name, MARK_MM, ""))
        return Group(children=tuple(shapes), look=f"landmark {mark.kind} cover", title=f"{name} (comes off first)")

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
            label = _text((low + high) / 2, base, said, GROUP_MM, "b" if what == "channel" else "", "middle")
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
            return _text(x, middle + GROUP_MM / 2, name, GROUP_MM, "b", "end" if at_start else "start")
        x = line - 0.9 - font_size(GROUP_MM) * DESCENT if at_start else line + 0.9 + GROUP_MM
        text = self._said(what, name, long)
        return Text(x=x, y=middle, text=text, size=font_size(GROUP_MM), look="", anchor="middle", turn=-90)

    @staticmethod
    def _said(what: str, name: str, room: float) -> str:
        whole = f"{what} {name}"
        return whole if what == "controller" and width(whole, GROUP_MM) <= room else name


def _heading(plan: SlotMap, note: tuple[str, str], x: float, y: float, wide: float, high: float) -> list[Shape]:
    """In the bands beside the words for front and rear: which machine, what to expect, what the drawing is worth."""
    facts = plan.facts
    down = plan.front == "down"
    rear_line, front_line = (y + 4.0, y + high - 5.4) if down else (y + high - 0.8, y + 2.4)
    room = wide / 2 - 9.0
    rate = f" · {facts.figures.rate_mts} MT/s" if facts.figures else ""
    board = fitted(clean(facts.board.title.split(",")[0]), 3.5, room, bold=True)
    shapes: list[Shape] = [
        _text(x, rear_line, board, 3.5, "b"),
        _text(x + wide, rear_line, fitted(f"{facts.usable_gib} GiB{rate}", 3.5, room, bold=True), 3.5, "b", "end"),
    ]
    for number, words in enumerate(note):
        shapes.append(_text(x, front_line + number * 3.4, words, MARK_MM, ""))
    return shapes


def _text(x: float, y: float, text: str, cap_mm: float, look: str, anchor: str = "start") -> Text:
    return Text(x=x, y=y, text=text, size=font_size(cap_mm), look=look, anchor=anchor)  # type: ignore[arg-type]


def _rect(area: Area, look: str) -> Rect:
    return Rect(x=area.left, y=area.top, width=area.right - area.left, height=area.bottom - area.top, look=look)


def _stacked(
    area: Area, lines: list[tuple[str, float, str]], *, backed: bool = False, turned: bool | None = None
) -> list[Shape]:
    """Lines of text in the middle of an area, as many as fit, upright where the area is too narrow for the first."""
    wide, high = area.right - area.left - 1.0, area.bottom - area.top - 1.0
    first, cap, look = lines[0]
    if turned is None:
        turned = width(first, cap, bold="b" in look) > wide and high > wide
    along, across = (high, wide) if turned else (wide, high)
    kept: list[tuple[str, float, str]] = []
    used = 0.0
    for text, cap, look in lines:
        step = cap + (1.3 if kept else 0.0)
        if kept and (used + step > across or width(text, cap, bold="b" in look) > along):
            continue
        kept.append((fitted(text, cap, along, bold="b" in look), cap, look))
        used += step
    x, y = area.centre
    shapes: list[Shape] = []
    at = -used / 2
    for text, cap, look in kept:
        base = at + cap
        at = base + 1.3
        half = width(text, cap, bold="b" in look) / 2 + 0.6
        if turned:
            if backed:
                shapes.append(Rect(x=x + base - cap - 0.5, y=y - half, width=cap + 1.0, height=2 * half, look="paper"))
            shapes.append(
                Text(x=x + base, y=y, text=text, size=font_size(cap), look=look, anchor="middle", turn=-90)
            )
        else:
            if backed:
                shapes.append(Rect(x=x - half, y=y + base - cap - 0.5, width=2 * half, height=cap + 1.0, look="paper"))
            shapes.append(_text(x, y + base, text, cap, look, "middle"))
    return [shape for shape in shapes if not isinstance(shape, Text) or shape.text]


def scale_words(physical: Physical, enlarged: bool) -> tuple[str, str]:
    """What the reader may believe of the drawing's distances, on two short lines."""
    if not physical.to_scale:
        return "Schematic: places not measured.", "Go by the slot names."
    if enlarged:
        return "Not to scale, spacing enlarged.", "Order, side, direction true."
    return "To scale.", ""
