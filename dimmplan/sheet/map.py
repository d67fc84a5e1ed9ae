"""The map: board outline, front edge, landmarks, sockets, slots with their groups. Order, side, direction are true."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from itertools import groupby
from typing import NamedTuple

from dimmplan.sheet.blocks import Block, Lines, label
from dimmplan.sheet.facts import Facts, SlotFact, State, clean
from dimmplan.sheet.letters import DESCENT, beyond, fitted, font_size, width
from dimmplan.sheet.plan_view import Area, Bank, Mark, PlanSlot, Span, bounds
from dimmplan.sheet.room import TRAY_MM, ZONE_MM, Axis, Brackets, MapRoom, Stretch, span_name
from dimmplan.sheet.shapes import TEXT_MM, Anchor, Group, Point, Polygon, Rect, Segment, Shape, Strokes, ident, moved
from dimmplan.sheet.slotbox import HOLD_MM, Placing, SlotStyle, draw_slot, is_dark, number_looks

_MOST_SCALE = 1.0


@dataclass(frozen=True)
class SlotMap(MapRoom):
    """A map that knows the least paper it needs and can be drawn in any larger box."""

    @property
    def fuller(self) -> Iterator[SlotMap]:
        """The map with more in processors' boxes, the fullest first."""
        return (replace(self, form=form) for form in range(self.form))

    @cached_property
    def across(self) -> Stretch:
        """The x axis."""
        return self.stretch(on_side=False)

    @cached_property
    def down(self) -> Stretch:
        """The y axis."""
        return self.stretch(on_side=True)

    @cached_property
    def least_width(self) -> float:
        """Paper that the map needs across, in mm."""
        return self.across.length(0.004)

    @cached_property
    def least_height(self) -> float:
        """Paper that the map needs down, in mm, with the bands that name front and rear."""
        return self.down.length(0.004) + FRONT_BAND_MM + REAR_BAND_MM

    def scales(self, width_mm: float, height_mm: float) -> tuple[float, float]:
        """Even scales across and down that fill a box, neither far from the other."""
        scale = self.across.scale_for(width_mm, most=_MOST_SCALE)
        return scale, min(self.down.scale_for(height_mm - FRONT_BAND_MM - REAR_BAND_MM, most=_MOST_SCALE), 1.25 * scale)

    def height_for(self, width_mm: float, room_mm: float) -> float:
        """Height that the map takes of the room there is."""
        return self.down.length(self.scales(width_mm, room_mm)[1]) + FRONT_BAND_MM + REAR_BAND_MM

    def draw(self, x: float, y: float, width_mm: float, height_mm: float) -> list[Shape]:
        """The map in a box, in its middle."""
        across, down = self.scales(width_mm, height_mm)
        return _Drawing(self, (self.across.axis(across), self.down.axis(down)), (x, y), width_mm).all()


class _Drawing:
    """One map being drawn: places are known, shapes are collected."""

    def __init__(self, plan: SlotMap, axes: tuple[Axis, Axis], at: Point, room: float) -> None:
        self.plan, (self.across, self.down) = plan, axes
        self.left = at[0] + (room - self.across.length) / 2
        self.top = at[1] + (REAR_BAND_MM if plan.view.front == "down" else FRONT_BAND_MM)

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
        return [
            self.edges(),
            outline,
            *self.zones(),
            *(self.mark(mark) for mark in view.marks),
            *self.trays(),
            *(self.socket(name, box) for name, box in view.sockets),
            *(shape for brackets in plan.brackets for shape in self.brackets(brackets)),
            *(self.slot(slot) for slot in view.slots),
        ]

    def edges(self) -> Shape:
        """Front and rear outside the board: arrows and words that cannot be taken for anything else."""
        down, whole = self.plan.view.front == "down", self.plan.view.whole
        middle, wide = (self.left + (self.left + self.across.length)) / 2, self.across.length
        ends = self.top, self.top + self.down.length
        rear_y, front_y = ends if down else reversed(ends)
        long, rear = ("FRONT OF THE MACHINE", "REAR") if whole else ("TOWARDS THE FRONT", "towards the rear")
        for words, arrows in ((long, 2), (long, 1), ("FRONT", 2), ("FRONT", 1)):
            half = width(words, _FRONT_MM, bold=True) / 2
            if half + 7 + 10 * (arrows - 1) + 4.2 <= wide / 2:
                break
        places = [middle + side * (half + 7 + number * 10) for side in (-1, 1) for number in range(arrows)]
        front = label(middle, front_y + (5.2 if down else -1.9), words, _FRONT_MM, "b", anchor="middle")
        back = label(middle, rear_y + (-0.9 if down else 3.4), rear, TEXT_MM, anchor="middle")
        drawn = [_arrow(x, front_y, 1 if down else -1) for x in places]
        return Group(children=(*drawn, front, back), look="edge", title="Front edge of the board")

    def zones(self) -> list[Shape]:
        """A ground for what belongs to each socket; one for each part where another socket's would lie in it."""
        parts: list[tuple[str, Area]] = [(name, self.area(box)) for name, box in self.plan.view.sockets]
        for brackets in self.plan.brackets:
            bank, deep, side = brackets.bank, brackets.depth_mm, brackets.tray_mm
            low, high = (deep, side) if brackets.at_start else (side, deep)
            names = [self.named(bank, span) for span in brackets.owners]  # they may be wider than their slots
            area = self.placing(bank.slots[0]).around(self.placing(bank.slots[-1])).turned(not bank.upright)
            left = min([area.left - side, *(start for _, start, _ in names)])
            right = max([area.right + side, *(end for _, _, end in names)])
            area = Area(left, area.top - low, right, area.bottom + high).turned(not bank.upright)
            parts.append((bank.socket, area))
        parts.sort(key=lambda part: part[0])
        shapes: list[Shape] = []
        for name, mine in groupby(parts, key=lambda part: part[0]):
            areas = [area for _, area in mine]
            whole = bounds(areas)
            alone = not any(whole.grown(2 * ZONE_MM).overlaps(area) for other, area in parts if other != name)
            grounds = [rect_of(area.grown(ZONE_MM), "zone", radius=1.0) for area in ([whole] if alone else areas)]
            shapes.append(Group(children=tuple(grounds), look="area"))
        return shapes

    def trays(self) -> list[Shape]:
        """The outline of each tray around its slots; its name stands in their brackets."""
        board, shapes = self.plan.facts.board, list[Shape]()
        for tray in board.physical.trays:
            held = [self.placing(slot) for slot in self.plan.view.slots if slot.slot in tray.slots]
            if held:
                absent = tray.name in board.absent
                outline = rect_of(bounds(held).grown(TRAY_MM - 0.2), "tray-absent" if absent else "tray", radius=1.0)
                title = f"Tray {clean(tray.name)}{' absent' if absent else ''}"
                look = "tray absent" if absent else "tray"
                shapes.append(Group(children=(outline,), id=ident("tray", tray.name), look=look, title=title))
        return shapes

    def placing(self, slot: PlanSlot) -> Area:
        hold = self.plan.facts.slots[slot.slot].state is State.HOLD and not self.plan.style.bars
        half = (self.plan.style.width_mm + (HOLD_MM if hold else 0.0)) / 2
        area = self.area(slot.area).turned(not slot.upright)
        middle = self.point(*slot.area.centre)[0 if slot.upright else 1]
        return Area(middle - half, area.top, middle + half, area.bottom).turned(not slot.upright)

    def slot(self, slot: PlanSlot) -> Shape:
        area, style = self.placing(slot), self.plan.style
        wide, long = area.turned(not slot.upright).width, area.turned(not slot.upright).height
        name = ident("overview-slot" if style.bars else "slot", slot.slot)
        placing = Placing(area.left, area.top, long, wide, slot.upright)
        return draw_slot(self.plan.facts.slots[slot.slot], placing, style, pin1_first=slot.pin1_first, ident=name)

    def socket(self, name: str, box: Area) -> Shape:
        plan, area = self.plan, self.area(box)
        fitted_here = name in plan.facts.placement.fitted
        shapes: list[Shape] = [rect_of(area, "cpu" if fitted_here else "cpu-absent")]
        if not fitted_here:
            left, top, right, bottom = area
            shapes.append(Strokes(segments=((left, top, right, bottom), (left, bottom, right, top)), look="thin"))
        shapes += stacked_lines(area, plan.socket_lines(name), backed=not fitted_here)
        look = "socket fitted" if fitted_here else "socket absent"
        title = clean(f"Socket {name}: {'fitted' if fitted_here else 'no processor'}")
        kind = "overview-socket" if plan.style.bars else "socket"
        return Group(children=tuple(shapes), id=ident(kind, name), look=look, title=title)

    def mark(self, mark: Mark) -> Shape:
        area, name = self.area(mark.area), clean(mark.name)
        shapes = rect_of(area, "mark"), *stacked_lines(area, [(name, TEXT_MM, "")])
        return Group(children=shapes, look=f"landmark {mark.kind}", title=name)

    def brackets(self, brackets: Brackets) -> list[Shape]:
        near, far = brackets.tray_mm, brackets.tray_mm + brackets.channel_depth_mm
        channels = [self.bracket(brackets, span, "channel", near) for span in brackets.channels]
        return channels + [self.bracket(brackets, span, "owner", far) for span in brackets.owners]

    def ends(self, bank: Bank, span: Span) -> tuple[float, float]:
        """Where the slots of a span begin and end, along the bank."""
        first, last = (self.placing(bank.slots[n]).turned(not bank.upright) for n in (span.first, span.last))
        return first.left, last.right

    def named(self, bank: Bank, span: Span) -> tuple[str, float, float]:
        """The name of a span as far as its room takes it, and where it begins and ends along the bank."""
        start, end = self.ends(bank, span)
        first, last = (self.area(bank.slots[n].area).turned(not bank.upright) for n in (span.first, span.last))
        low, high = first.left, last.right
        name = span_name(span, max(end - start + 2 * TRAY_MM - 0.8, high - low - 1.2))
        middle, half = (start + end) / 2, width(name, TEXT_MM, bold=True) / 2
        low, high = low + 0.6 + half, high - 0.6 - half  # the room that is kept to it, clear of other names
        if low <= high:
            middle = min(max(middle, low), high)
        return name, middle - half, middle + half

    def bracket(self, brackets: Brackets, span: Span, what: str, off: float) -> Shape:
        """A line along the ends of the slots that belong together, with ticks towards them and their name."""
        bank, channel, sign = brackets.bank, what == "channel", -1.0 if brackets.at_start else 1.0
        first = self.placing(bank.slots[span.first]).turned(not bank.upright)
        low, high = self.ends(bank, span)
        low, high, tick = low + 0.3, high - 0.3, sign * 0.7
        line = (first.top if brackets.at_start else first.bottom) + sign * (off + (0.5 if bank.upright else 0.6)) + tick
        ends: list[Segment] = [(low, line, high, line), (low, line, low, line - tick), (high, line, high, line - tick)]
        segments = tuple((a, b, c, d) if bank.upright else (b, a, d, c) for a, b, c, d in ends)
        name, start, end = self.named(bank, span)
        middle, look = (start + end) / 2, "" if channel else "b"
        if bank.upright:
            base = line - 1.1 if brackets.at_start else line + 0.7 + TEXT_MM
            said = label(middle, base, name, TEXT_MM, look, anchor="middle")
        elif channel:  # beside a bracket that stands upright: its name lies across
            anchor: Anchor = "end" if brackets.at_start else "start"
            said = label(line + tick, middle + TEXT_MM / 2, name, TEXT_MM, anchor=anchor)
        else:
            x = line + (0.7 * tick - font_size(TEXT_MM) * DESCENT if brackets.at_start else tick + TEXT_MM)
            said = label(x, middle, name, TEXT_MM, look, anchor="middle", turn=-90)
        strokes = Strokes(segments=segments, look="thin" if channel else "thick")
        title = f"{'Channel' if channel else 'Socket and controller'} {clean(span.name)} of socket {clean(bank.socket)}"
        look = "channel" if channel else "controller"
        return Group(children=(strokes, said) if name else (strokes,), look=look, title=title)


FRONT_BAND_MM = 6.7
REAR_BAND_MM = 3.7
_FRONT_MM = 3.5


def rect_of(area: Area, look: str, *, radius: float = 0.0) -> Rect:
    """An area as a rectangle."""
    return Rect(x=area.left, y=area.top, width=area.width, height=area.height, look=look, radius=radius)


def _arrow(x: float, front_y: float, sign: int) -> Polygon:
    tip, base, neck = front_y + sign * 6.6, front_y + sign * 1.0, front_y + sign * 3.2
    points = ((1.6, base), (1.6, neck), (4.2, neck), (0.0, tip), (-4.2, neck), (-1.6, neck), (-1.6, base))
    return Polygon(points=tuple((x + dx, y) for dx, y in points), look="ink")


def stacked_lines(area: Area, lines: Lines, *, backed: bool = False) -> list[Shape]:
    """Lines in the middle of an area, as many as fit; upright where the area is too narrow for the widest.

    ``backed`` puts white behind them, where lines cross the area.
    """
    wide, high = area.width - 1.0, area.height - 1.0
    turned = max(width(text, cap, bold="b" in look) for text, cap, look in lines) > wide and high > wide
    along, across = (high, wide) if turned else (wide, high)
    kept, used = _kept(lines, along, across)
    x, y = area.centre
    backs: list[Shape] = []
    texts: list[Shape] = []
    below = max((beyond([text], "b" in look)[1] * font_size(cap) for text, cap, look in kept[-1:]), default=0.0)
    at = -used / 2 - max(0.0, below - (across + 1.0 - used) / 2 + 0.35)  # clear of the edge in a low box
    for text, cap, look in kept:
        base = at + cap
        at = base + 1.3
        half = width(text, cap, bold="b" in look) / 2 + 0.8
        behind = Area(-half, base - cap - 0.7, half, base + 1.2)
        behind = Area(behind.top, -half, behind.bottom, half) if turned else behind
        backs.append(rect_of(Area(x + behind.left, y + behind.top, x + behind.right, y + behind.bottom), "paper"))
        place = (x + base, y, -90) if turned else (x, y + base, 0)
        texts.append(label(place[0], place[1], text, cap, look, anchor="middle", turn=place[2]))
    return [*backs, *texts] if backed else texts


def _kept(lines: Lines, along: float, across: float) -> tuple[Lines, float]:
    """The lines that fit, the first cut if need be, and the height that they take."""
    kept: Lines = []
    used = 0.0
    for text, cap, look in lines:
        step = cap + (1.3 if kept else 0.0)
        if kept and (used + step + 0.8 > across or width(text, cap, bold="b" in look) > along):
            continue
        said = fitted(text, cap, along, bold="b" in look)
        if said and step <= across:
            kept.append((said, cap, look))
            used += step
    return kept, used


# -- the legend: forms and what they mean, with counts; only what the map shows ----------------------------------------

_SAMPLE_MM, _NUMBER_MM, _ROW_MM, _HIGH_MM = 11.0, 6.4, 5.0, 4.4
_APART_MM = 3.5


class _Item(NamedTuple):
    """An entry: the width of its sample, its words, and the sample's shapes in a box of that width.

    ``brief`` is what it says where there is little room; nothing for an entry that is then left out.
    """

    wide: float
    said: str
    sample: Sequence[Shape] = ()
    brief: str | None = None


def legend(plan: SlotMap, width_mm: float, *, brief: bool = False) -> Block:
    """What the forms of a map mean, and what the drawing is worth; a ``brief`` one has as few rows as can be."""
    items = list(_entries(plan))
    if brief:  # few words, and more where these take no further row
        kept = [item if item.brief is None else item._replace(said=item.brief) for item in items]
        most = len(_in_rows(kept, width_mm))
        for place, item in enumerate(items):
            more = [*kept[:place], item, *kept[place + 1 :]]
            kept = more if len(_in_rows(more, width_mm)) == most else kept
        items = kept
    rows = _in_rows(items, width_mm)

    def draw(x: float, y: float) -> list[Shape]:
        shapes: list[Shape] = []
        for number, row in enumerate(rows):
            top = y + number * _ROW_MM + 0.3
            for offset, item in row:
                shapes += [moved(shape, x + offset, top) for shape in item.sample]
                lead = item.wide + 1.4 if item.wide else 0.0
                shapes.append(label(x + offset + lead, top + _HIGH_MM / 2 + TEXT_MM / 2, item.said, TEXT_MM))
        return [Group(children=tuple(shapes), look="legend")]

    return Block(width_mm, len(rows) * _ROW_MM, draw)


def _in_rows(items: Sequence[_Item], width_mm: float) -> list[list[tuple[float, _Item]]]:
    """Entries side by side, in as many rows as they take, each with its place across."""
    rows: list[list[tuple[float, _Item]]] = [[]]
    at = 0.0
    for item in items:
        if not item.said:
            continue
        wide = item.wide + 1.4 + width(item.said, TEXT_MM)
        if rows[-1] and at + wide > width_mm:
            rows.append([])
            at = 0.0
        rows[-1].append((at, item))
        at += wide + _APART_MM
    return rows


def _entries(plan: SlotMap) -> Iterator[_Item]:
    """Types, what else slots are, numbers, brackets, grounds, and what the drawing is worth."""
    facts, style, board = plan.facts, plan.style, plan.facts.board
    shown = [facts.slots[slot.slot] for slot in plan.view.slots]

    def entry(fact: SlotFact, said: str) -> _Item:
        return _Item(1.2, said, _bar(fact)) if style.bars else _Item(_SAMPLE_MM, said, _sample(fact, style.name_mm))

    for kind in facts.types:
        held = [fact for fact in shown if fact.key == kind.key]
        open_width = ", width not known" if "x?" in kind.label else ""
        stay = sum(fact.kept for fact in held)
        count = f"{len(held) - stay} in, {stay} stay" if stay or facts.band else f"{len(held)}"
        if held:
            fact = SlotFact(State.FILLED, key=kind.key, kept=stay == len(held))
            yield entry(fact, f"{kind.label}{open_width}: {count}")
    if key := next((fact.key for fact in shown if fact.kept), ""):
        yield entry(SlotFact(State.FILLED, key=key, kept=True), "pale: stays")
    for state, said in facts.state_words.items():
        alike = sum(fact.state is state and not (state is State.BLANK and fact.needs_blank) for fact in shown)
        if alike:
            yield entry(SlotFact(state), f"{said}: {alike}")
    if blanks := sum(fact.needs_blank for fact in shown):
        yield entry(SlotFact(State.BLANK, needs_blank=True), f"takes a blank: {blanks}")
    if not style.bars:
        yield from _numbers(facts, shown, arrows=not style.full)
        if any(place.pin1 for place in board.physical.slots):
            corner = Polygon(points=((0, 3.6), (2.4, 3.6), (0, 1.2)), look="ink")
            yield _Item(2.4, "pin 1 of slot and module", [corner], "pin 1")
        channels = [span for brackets in plan.brackets for span in brackets.channels]
        owners = "socket" + (" · controller" if any(len(each.controllers) > 1 for each in board.sockets) else "")
        owners += " · tray" if board.physical.trays else ""
        lines: tuple[Segment, ...] = ((0, 2.4, 8, 2.4), (0, 2.4, 0, 3.4), (8, 2.4, 8, 3.4))
        brief = None if any(span.name for span in channels) else owners
        said = f"{owners}, thin: channel" if channels else owners
        yield _Item(8.0, said, [Strokes(segments=lines, look="thick")], brief)
    ground = Rect(x=0.4, y=0.5, width=7.2, height=3.4, look="zone", radius=1.0)
    yield _Item(8.0, "one socket", [ground], "")
    if any(fact.slot in board.tray_of for fact in shown):
        yield _Item(8.0, "tray", [ground._replace(look="tray")])
    if any("first slots" in head for head, _ in facts.steps):
        yield _Item(0.0, "First slots: the first of each channel.", (), "")
    scale = "Not to scale." if board.physical.to_scale else "Schematic: places were not measured. Go by the slot names."
    asked = any(about == "channels" for about, _ in board.guesses)
    yield _Item(0.0, f"{scale} Which slots share a channel: not checked." if asked else scale)


def _numbers(facts: Facts, shown: Sequence[SlotFact], *, arrows: bool) -> Iterator[_Item]:
    """The numbers of steps: of what comes out first, and of what goes in; with what ``arrows`` on slots mean."""
    there = next((fact.goes_to for fact in shown if arrows and fact.goes_to), 0)
    back = next((fact.came_at for fact in shown if arrows and fact.came_at), 0)
    outs = [fact for fact in shown if facts.band and (fact.out or fact.state is State.PULL)]
    steps = [fact for fact in shown if fact.step and not (facts.band and fact.state is State.PULL)]
    if outs:
        alone = (there or back) and not all(fact.goes_to for fact in outs)
        said = "out; no arrow: left over" if alone else "out"
        yield _Item(_NUMBER_MM, said, _number(outs[0], number_looks(outs[0])[1]), "out")
    if steps:
        said = "in" if facts.band else "step"
        full, brief = f"{said}, before the slot's name", said
        if there or back:
            full = said + (f"; →{there}: the old one goes in at step {there}" if there else "")
            full += f"; ←{back}: came out at step {back}" if back else ""
            brief = f"{said}; → to, ← from that step"
        yield _Item(_NUMBER_MM, full, _number(steps[0], number_looks(steps[0])[0]), brief)


def _number(fact: SlotFact, looks: tuple[str, str]) -> list[Shape]:
    """A number as it stands on a slot."""
    look, text_look = looks
    return [
        *([Rect(x=0, y=0, width=_NUMBER_MM, height=_HIGH_MM, look="ink")] if is_dark(fact) else []),
        Rect(x=0.9, y=0.3, width=_NUMBER_MM - 1.8, height=3.8, look=look, radius=0.8),
        label(_NUMBER_MM / 2, 2.2 + TEXT_MM / 2, "1", TEXT_MM, text_look, anchor="middle"),
    ]


@lru_cache
def _sample(fact: SlotFact, name_mm: float) -> list[Shape]:
    """A slot without its words."""
    inset = HOLD_MM if fact.state is State.HOLD else 0.0  # its second frame stands around the slot
    box = Placing(inset, inset, _SAMPLE_MM - 2 * inset, _HIGH_MM - 2 * inset, False)
    group = draw_slot(fact, box, SlotStyle(min(name_mm, 3.5)), pin1_first=None, ident="")
    return [shape for shape in group.children if getattr(shape, "text", "x")]


@lru_cache
def _bar(fact: SlotFact) -> list[Shape]:
    style = SlotStyle(2.0, bars=True)
    return list(draw_slot(fact, Placing(0, 0, 4.6, style.width_mm, True), style, pin1_first=None, ident="").children)
