"""One slot as a long narrow box: its name large, what goes in, when, and its state in its form."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

from dimmplan.sheet.blocks import label
from dimmplan.sheet.facts import SlotFact, State
from dimmplan.sheet.hatch import TYPE_PATTERNS, crossed
from dimmplan.sheet.measure import DESCENT, beyond, fitted, font_size, width
from dimmplan.sheet.shapes import Anchor, Group, Point, Polygon, Rect, Segment, Shape, Strokes, Text
from dimmplan.sheet.style import SMALLEST_TEXT_MM, TYPE_LOOKS

_PAD = 0.8
_GAP = 1.2
_KEY_MM = 2.5
HOLD_MM = 0.8
"""What the double outline of a slot on hold takes more across."""


class SlotStyle(NamedTuple):
    """Letter heights in a slot, and whether name and content stand on two lines.

    ``rise`` is how far names reach above their capitals, ``drop`` below the base line, over font size; ``dead`` says
    that some slot is crossed out. Names and words longer than ``longest_mm`` are cut; that is the last resort.
    """

    name_mm: float
    words_mm: float
    two_lines: bool = False
    rise: float = 0.0
    drop: float = 0.0
    dead: bool = False
    longest_mm: float = math.inf

    @property
    def width_mm(self) -> float:
        """How wide a slot is drawn."""
        lines = self.above_mm + self.name_mm + self.below_mm
        if self.two_lines:
            lines += 0.8 + self.words_mm + font_size(self.words_mm) * DESCENT
        return lines + 1.3

    @property
    def above_mm(self) -> float:
        """How far names reach above their capitals."""
        return font_size(self.name_mm) * self.rise

    @property
    def below_mm(self) -> float:
        """How far names reach below their base line."""
        return max(0.2, font_size(self.name_mm) * self.drop)

    @property
    def pitch_mm(self) -> float:
        """Least distance from one slot to the next."""
        return self.width_mm + 0.9

    @property
    def end_mm(self) -> float:
        """Least length of the pattern at the end of a slot."""
        return self.key_mm + 1.7 + (3.6 if self.name_mm >= 5.0 else 2.4)

    @property
    def key_mm(self) -> float:
        """Letter height of the key letter."""
        return 3.5 if self.name_mm >= 5.0 else _KEY_MM

    @property
    def step_mm(self) -> float:
        """Letter height of the step number."""
        return max(SMALLEST_TEXT_MM, min(2.5, self.name_mm))

    @property
    def step_width_mm(self) -> float:
        """Width of the box of the step number; the same for all numbers, so that names stand in line."""
        return width("00", self.step_mm, bold=True) + 1.2

    @property
    def lead_mm(self) -> float:
        """Where every name begins, with or without a number before it."""
        number = _PAD + self.step_width_mm + 0.9
        return max(number, self.width_mm + 0.7) if self.dead else number

    def name_width(self, fact: SlotFact) -> float:
        """Paper for the name."""
        return min(width(fact.name, self.name_mm, bold=True), self.longest_mm)

    def words_width(self, fact: SlotFact) -> float:
        """Paper for the words."""
        return min(width(fact.words, self.words_mm), self.longest_mm)

    def lead(self, fact: SlotFact) -> float:
        """Where a name begins: in line with the others, but for a slot on hold, which needs its room for words."""
        return _PAD + 0.9 if fact.state is State.HOLD else self.lead_mm

    def tail(self, fact: SlotFact) -> float:
        """Room for the pattern at the end."""
        if fact.state is State.EMPTY:
            return _PAD
        if fact.state is State.HOLD:
            return _PAD + 1.0
        if fact.state is State.DEAD and not fact.needs_blank:
            return self.width_mm + _GAP
        return self.end_mm + _GAP

    def length(self, fact: SlotFact) -> float:
        """Least length of a slot with all that stands in it."""
        name, words = self.name_width(fact), self.words_width(fact)
        middle = max(name, words) if self.two_lines else name + _GAP + words
        return self.lead(fact) + middle + self.tail(fact)

    def words_at(self, fact: SlotFact) -> float:
        """Where the words could begin after the name."""
        return self.lead(fact) if self.two_lines else self.lead(fact) + self.name_width(fact) + _GAP

    def pattern_at(self, fact: SlotFact) -> float:
        """Where the pattern of a filled slot could begin after its name and words."""
        name, words = self.name_width(fact), self.words_width(fact)
        return self.lead_mm + _GAP + (max(name, words) if self.two_lines else name + _GAP + words)


class Placing(NamedTuple):
    """Where a slot lies on paper: its box, and whether it stands upright (then it reads upwards)."""

    x: float
    y: float
    length: float
    wide: float
    upright: bool

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, top, right, bottom."""
        across, down = (self.wide, self.length) if self.upright else (self.length, self.wide)
        return self.x, self.y, self.x + across, self.y + down

    def point(self, u: float, v: float) -> tuple[float, float]:
        """``u`` along the reading direction, ``v`` from the upper side of the letters to the lower."""
        return (self.x + v, self.y + self.length - u) if self.upright else (self.x + u, self.y + v)

    def rect(self, at: Point, size: Point, look: str, *, radius: float = 0.0) -> Rect:
        """A box given along and across the slot."""
        (x1, y1), (x2, y2) = self.point(*at), self.point(at[0] + size[0], at[1] + size[1])
        return Rect(x=min(x1, x2), y=min(y1, y2), width=abs(x2 - x1), height=abs(y2 - y1), look=look, radius=radius)

    def text(self, at: Point, text: str, cap_mm: float, look: str, *, anchor: Anchor = "start") -> Text:
        """A line of text along the slot, on its base line."""
        x, y = self.point(*at)
        return label(x, y, text, cap_mm, look, anchor=anchor, turn=-90 if self.upright else 0)

    def strokes(self, u: float, v: float, segments: list[Segment], look: str) -> Strokes:
        """Lines of a pattern whose own origin is moved to ``u``, ``v``."""
        turned = []
        for a, b, c, d in segments:
            (x1, y1), (x2, y2) = self.point(u + a, v + b), self.point(u + c, v + d)
            turned.append((x1, y1, x2, y2))
        return Strokes(segments=tuple(turned), look=look)


class Columns(NamedTuple):
    """Where words and patterns begin in the slots of one bank, so that they stand in line."""

    words: float
    pattern: float


def columns(facts: list[SlotFact], style: SlotStyle, lengths: list[float]) -> Columns:
    """The columns of a bank: as far right as its longest name and words ask, if its slots are long enough."""
    others = [pair for pair in zip(facts, lengths, strict=True) if pair[0].state is not State.HOLD]
    words = max((style.words_at(fact) for fact, _ in others), default=0.0)
    room = min((end - style.tail(fact) - style.words_width(fact) for fact, end in others), default=0.0)
    filled = [fact for fact in facts if fact.state is State.FILLED]
    pattern = max((style.pattern_at(fact) for fact in filled), default=0.0)
    if words <= room:
        pattern = max([pattern, *(words + style.words_width(fact) + _GAP for fact in filled)])
    shortest = min(lengths)
    pattern = max(min(pattern, shortest - style.end_mm), shortest - max(style.end_mm, 0.3 * shortest))
    return Columns(words if words <= room else 0.0, pattern)


def draw_slot(
    fact: SlotFact, placing: Placing, style: SlotStyle, lines: Columns, *, pin1_first: bool | None, ident: str
) -> Group:
    """The whole slot as one group with its id, its class and its hover text."""
    shapes: list[Shape] = [*_outline(fact, placing), *_end(fact, placing, style, lines)]
    shapes += _words(fact, placing, style, lines)
    if pin1_first is not None and fact.state is not State.HOLD:
        shapes.append(_pin_mark(placing, pin1_first))
    look = f"slot {fact.state.value}" + (f" type-{fact.key}" if fact.key else "")
    return Group(children=tuple(shapes), id=ident, look=look, title=fact.hover)


def type_look(key: str) -> str:
    """The look of a type's key letter; looks start again after the sixth."""
    return TYPE_LOOKS[(ord(key) - ord("a")) % len(TYPE_LOOKS)]


def _outline(fact: SlotFact, placing: Placing) -> list[Shape]:
    look = f"slot-{type_look(fact.key)}" if fact.state is State.FILLED else f"slot-{fact.state.value}"
    outline: list[Shape] = [placing.rect((0, 0), (placing.length, placing.wide), look)]
    if fact.state is State.HOLD:
        outline.append(placing.rect((0, 0), (placing.length, placing.wide), "slot-hold-inner"))
    return outline


def _end(fact: SlotFact, placing: Placing, style: SlotStyle, lines: Columns) -> list[Shape]:
    """The pattern at the end of the slot, and the crosses of a dead one."""
    if fact.state is State.FILLED:
        return pattern_block(placing, max(lines.pattern, style.pattern_at(fact)), fact.key, style.key_mm)
    shapes: list[Shape] = []
    wide = placing.wide
    if fact.state is State.PULL:
        return _out_arrows(placing, style)
    if fact.state is State.DEAD:
        shapes += _crossed_out(placing, 0.0, wide)
        if not fact.needs_blank:
            shapes += _crossed_out(placing, placing.length - wide, wide)
    if fact.needs_blank:
        at = placing.length - style.end_mm
        shapes.append(placing.strokes(at, 0, _blank_lines(round(style.end_mm, 3), round(wide, 3)), "thin"))
        shapes.append(placing.rect((at, 0), (style.end_mm, wide), "thin"))
    return shapes


def _out_arrows(placing: Placing, style: SlotStyle) -> list[Shape]:
    """Two arrow heads that point out of the slot."""
    wide, start = placing.wide, placing.length - style.end_mm
    deep = min(2.2, style.end_mm / 3)
    lines: list[Segment] = []
    for begin in (start + 0.6, start + 0.9 + deep):
        lines += [(begin, 0.9, begin + deep, wide / 2), (begin, wide - 0.9, begin + deep, wide / 2)]
    return [placing.strokes(0, 0, lines, "heavy")]


@lru_cache(maxsize=64)
def _blank_lines(along: float, across: float) -> list[Segment]:
    return crossed(along, across)


def _crossed_out(placing: Placing, u: float, wide: float) -> list[Shape]:
    cross: list[Segment] = [(0, 0, wide, wide), (0, wide, wide, 0)]
    return [placing.strokes(u, 0, cross, "medium"), placing.rect((u, 0), (wide, wide), "medium")]


@lru_cache(maxsize=256)
def _type_lines(look: str, along: float, across: float) -> list[Segment]:
    return TYPE_PATTERNS[look](along, across)


def pattern_block(placing: Placing, start: float, key: str, key_mm: float = _KEY_MM) -> list[Shape]:
    """From ``start`` on the key letter in a cell of its own, then the type's pattern to the end of the slot."""
    look, across = type_look(key), placing.wide
    cell = key_mm + 1.7
    begin, along = start + cell, placing.length - start - cell
    lines = _type_lines(look, round(along, 3), round(across, 3))
    base = across / 2 + key_mm / 2 - _letter_lift(key, key_mm)
    return [
        placing.rect((start, 0), (placing.length - start, across), "paper"),
        placing.strokes(begin, 0, lines, f"{'dots' if look == 'b' else 'hatch'}-{look}"),
        placing.strokes(0, 0, [(start, 0, start, across), (begin, 0, begin, across)], "medium"),
        placing.text((start + cell / 2, base), key, key_mm, "b", anchor="middle"),
        placing.rect((0, 0), (placing.length, across), "thick"),
    ]


def _letter_lift(key: str, cap_mm: float) -> float:
    """Small letters without an upper stroke are shorter than capitals: lift them to the middle of their box."""
    return 0.13 * cap_mm if key in "acemnorsuvwxz" else 0.25 * cap_mm if key in "gpqy" else 0.0


def _words(fact: SlotFact, placing: Placing, style: SlotStyle, lines: Columns) -> list[Shape]:
    """Step number, name and content; cut only where the style sets a limit to their length."""
    lead = style.lead(fact)
    room = placing.length - lead - style.tail(fact)
    name_v, words_v = _base_lines(placing, style)
    shapes: list[Shape] = []
    if fact.step:
        high, wide = style.step_mm + 1.3, style.step_width_mm
        at, middle = lead - wide - 0.9, name_v - style.name_mm / 2
        shapes.append(placing.rect((at, middle - high / 2), (wide, high), "ink", radius=0.8))
        base = middle + style.step_mm / 2
        shapes.append(placing.text((at + wide / 2, base), str(fact.step), style.step_mm, "b inv", anchor="middle"))
    name = fitted(fact.name, style.name_mm, min(room, style.longest_mm), bold=True)
    shapes.append(placing.text((lead, name_v), name, style.name_mm, "b"))
    after = style.words_at(fact)
    if fact.state is not State.HOLD:
        after = max(lines.words, after)
    room = placing.length - after - style.tail(fact) + _GAP
    words = fitted(fact.words, style.words_mm, min(room, style.longest_mm))
    return [*shapes, placing.text((after, words_v), words, style.words_mm, "")] if words else shapes


def _base_lines(placing: Placing, style: SlotStyle) -> tuple[float, float]:
    """Base lines of name and words, across the slot."""
    name = style.above_mm + style.name_mm
    if not style.two_lines:
        line = (placing.wide - name - style.below_mm) / 2 + name
        return line, line - (style.name_mm - style.words_mm) / 2
    whole = name + style.below_mm + 0.8 + style.words_mm + font_size(style.words_mm) * DESCENT
    line = (placing.wide - whole) / 2 + name
    return line, line + style.below_mm + 0.8 + style.words_mm


def _pin_mark(placing: Placing, first: bool) -> Polygon:
    """A filled corner at the end where pin 1 is, at the start of the slot or at its end: clear of the step number."""
    size = min(1.6, placing.wide / 4)
    u, step = (0.0, size) if first else (placing.length, -size)
    corners = [placing.point(u, placing.wide), placing.point(u + step, placing.wide)]
    corners.append(placing.point(u, placing.wide - size))
    return Polygon(points=tuple(corners), look="ink")


def style_for(
    facts: list[SlotFact], name_mm: float, words_mm: float, *, two_lines: bool, longest_mm: float = math.inf
) -> SlotStyle:
    """The style for some slots: narrower where no name reaches below the line, wider where one is on hold."""
    rise, drop = beyond((fact.name for fact in facts), bold=True)
    if not two_lines:
        drop = max(drop, beyond(fact.words for fact in facts)[1])
    return SlotStyle(
        name_mm=name_mm,
        words_mm=words_mm,
        two_lines=two_lines,
        longest_mm=longest_mm,
        rise=rise,
        drop=drop,
        dead=any(fact.state is State.DEAD for fact in facts),
    )
