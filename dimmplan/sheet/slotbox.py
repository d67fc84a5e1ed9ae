"""One slot as a long narrow box: its name large, what goes in, when, and its state in its form.

What a person acts on is dark or bold; what is empty or stays is pale. A bar is a slot of an overview, without words.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import NamedTuple

from dimmplan.sheet.blocks import label
from dimmplan.sheet.facts import SlotFact, State
from dimmplan.sheet.letters import DESCENT, beyond, fitted, font_size, width
from dimmplan.sheet.shapes import TEXT_MM, Anchor, Group, Point, Polygon, Rect, Segment, Shape, Strokes, Text, mark_of

_PAD = 0.8
_GAP = 0.9
HOLD_MM = 0.8
"""What the double outline of a slot on hold takes more across."""


class SlotStyle(NamedTuple):
    """Letter height of names in slots, how much is said beside them, and whether on a line of its own.

    ``full`` says what goes in; without it that stands in the legend alone, by the key letter. ``rise`` is how far names
    reach above their capitals, ``drop`` below the base line, over font size; ``dead`` says that some slot is crossed
    out, ``badges`` how many numbers stand before a name. Names longer than ``longest_mm`` are cut; that is the last
    resort. ``flat`` saves height where landmarks are named. ``bars`` draws slots without any words.
    """

    name_mm: float
    full: bool = True
    two_lines: bool = False
    rise: float = 0.0
    drop: float = 0.0
    dead: bool = False
    badges: int = 1
    longest_mm: float = math.inf
    flat: bool = False
    bars: bool = False

    def fitting(self, facts: Sequence[SlotFact]) -> SlotStyle:
        """The style for some slots: no wider than their names ask, with room for the numbers they have."""
        rise, drop = beyond((fact.name for fact in facts), bold=True)
        if not self.two_lines:
            drop = max(drop, beyond(self.said(fact) for fact in facts)[1])
        dead = any(fact.state is State.DEAD for fact in facts)
        badges = max((bool(fact.step) + bool(fact.out) for fact in facts), default=0)
        return self._replace(rise=rise, drop=drop, dead=dead, badges=badges)

    @property
    def width_mm(self) -> float:
        """How wide a slot is drawn."""
        if self.bars:
            return 1.2
        lines = self.above_mm + self.name_mm + self.below_mm
        if self.two_lines:
            lines += 0.6 + TEXT_MM + font_size(TEXT_MM) * DESCENT
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
        return self.width_mm + (0.7 if self.bars else 0.9)

    @property
    def key_mm(self) -> float:
        """Letter height of the key letter."""
        return 3.5 if self.name_mm >= 5.0 else TEXT_MM

    @property
    def end_mm(self) -> float:
        """Length of key letter and mark at the end of a slot."""
        return self.key_mm + 1.5 + self.pattern_mm

    @property
    def pattern_mm(self) -> float:
        """Length of the pattern; none where names are small: the key letter alone tells the type."""
        return 3.4 if self.name_mm >= 3.5 else 0.0

    @property
    def badge_mm(self) -> float:
        """Width of the box of a step number; the same for all numbers, so that names stand in line."""
        return width("00", TEXT_MM, bold=True) + 0.8

    def said(self, fact: SlotFact) -> str:
        """What stands beside the name."""
        return fact.words if self.full else fact.short

    def name_width(self, fact: SlotFact) -> float:
        """Paper for the name."""
        return min(width(fact.name, self.name_mm, bold=True), self.longest_mm)

    def lead(self, fact: SlotFact) -> float:
        """Where a name begins: in line with the others, but for a slot on hold, which needs its room for words."""
        if fact.state is State.HOLD:
            return _PAD + 0.9
        numbers = 0.4 + self.badges * (self.badge_mm + 0.4) + 0.5  # every name has that room, also without a number
        return max(numbers, self.width_mm + 0.7) if self.dead else numbers

    def tail(self, fact: SlotFact) -> float:
        """Room for the mark at the end."""
        if fact.state is State.EMPTY:
            return _PAD
        if fact.state is State.HOLD:
            return _PAD + 1.0
        blank = self.width_mm if fact.state is State.DEAD or fact.needs_blank else 0.0
        return blank + _GAP + (self.end_mm if fact.key or fact.state is State.PULL else 0.0)

    def length(self, fact: SlotFact) -> float:
        """Least length of a slot with all that stands in it."""
        if self.bars:
            return 10.0
        name, words = self.name_width(fact), min(width(self.said(fact), TEXT_MM), self.longest_mm)
        middle = max(name, words) if self.two_lines else name + (words and _GAP + words)
        return self.lead(fact) + middle + self.tail(fact)


class Placing(NamedTuple):
    """Where a slot lies on paper: its box, and whether it stands upright (then it reads upwards)."""

    x: float
    y: float
    length: float
    wide: float
    upright: bool

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

    def strokes(self, segments: list[Segment], look: str) -> Strokes:
        """Lines given along and across the slot."""
        turned = [(*self.point(a, b), *self.point(c, d)) for a, b, c, d in segments]
        return Strokes(segments=tuple(turned), look=look)


def draw_slot(fact: SlotFact, placing: Placing, style: SlotStyle, *, pin1_first: bool | None, ident: str) -> Group:
    """The whole slot as one group with its id, its class and its hover text."""
    box = (0.0, 0.0), (placing.length, placing.wide)
    look = f"slot-{mark_of(fact.key).colour}" if is_dark(fact) else f"slot-{'kept' if fact.kept else fact.state.value}"
    shapes: list[Shape] = [placing.rect(*box, look)]
    if fact.state is State.HOLD:
        shapes.append(placing.rect(*box, "slot-hold-inner"))
    if not style.bars:
        shapes += [*_end(fact, placing, style), *_numbers(fact, placing, style), *_words(fact, placing, style)]
        if pin1_first is not None and fact.state is not State.HOLD:
            shapes += _pin_mark(fact, placing, pin1_first)
    elif fact.state is State.DEAD:
        shapes.append(placing.strokes(_cross(0.0, placing.length, placing.wide), "thin"))
    look = f"slot {fact.state.value}" + (f" type-{fact.key}" if fact.key else "") + (" stays" if fact.kept else "")
    return Group(children=tuple(shapes), id=ident, look=look, title=fact.hover)


def is_dark(fact: SlotFact) -> bool:
    """True for a slot with a dark ground: filled, and not as it was."""
    return fact.state is State.FILLED and not fact.kept


def _cross(start: float, long: float, wide: float) -> list[Segment]:
    return [(start, 0, start + long, wide), (start, wide, start + long, 0)]


def _end(fact: SlotFact, placing: Placing, style: SlotStyle) -> list[Shape]:
    """Key letter and mark at the end of the slot, or what tells that nothing goes in."""
    long, wide = placing.length, placing.wide
    if fact.key:
        return _type_mark(fact, placing, style)
    shapes: list[Shape] = []
    if fact.state is State.PULL:
        start, deep = long - style.end_mm - (wide if fact.needs_blank else 0.0), 2.2
        heads: list[Segment] = []
        for begin in (start + 0.6, start + 0.9 + deep):
            heads += [(begin, 0.9, begin + deep, wide / 2), (begin, wide - 0.9, begin + deep, wide / 2)]
        shapes.append(placing.strokes(heads, "heavy"))
    if fact.state is State.DEAD:
        for u in (0.0,) if fact.needs_blank else (0.0, long - wide):
            cross = placing.strokes(_cross(u, wide, wide), "medium")
            shapes += [cross, placing.rect((u, 0), (wide, wide), "medium")]
    if fact.needs_blank:
        middle, half = wide / 2, wide / 2 - 0.6
        u = long - middle
        corners = [(u - half, middle), (u, middle - half), (u + half, middle), (u, middle + half)]
        rhomb = [(*one, *other) for one, other in zip(corners, [*corners[1:], corners[0]], strict=True)]
        shapes.append(placing.strokes([(long - wide, 0, long - wide, wide), *rhomb], "pale"))
    return shapes


@lru_cache(maxsize=256)
def _type_lines(key: str, across: float, down: float) -> list[Segment]:
    return mark_of(key).lines(across, down)


def _type_mark(fact: SlotFact, placing: Placing, style: SlotStyle) -> list[Shape]:
    """The key letter in a cell of its own, then the type's mark to the end of the slot."""
    key, mark, cap = fact.key, mark_of(fact.key), style.key_mm
    cell, wide, end = cap + 1.5, placing.wide, placing.length
    start, edge = end - style.end_mm, "pale" if fact.kept else "medium"
    # small letters without an upper stroke are shorter than capitals: to the middle of their box
    lift = 0.13 * cap if key in "acemnorsuvwxz" else 0.25 * cap if key in "gpqy" else 0.0
    shapes: list[Shape] = [placing.rect((start, 0), (end - start, wide), "paper")]
    if style.pattern_mm:
        patch = placing.rect((start + cell, 0), (style.pattern_mm, wide), "paper")
        lines = _type_lines(key, round(patch.width, 3), round(patch.height, 3))
        moved = tuple((a + patch.x, b + patch.y, c + patch.x, d + patch.y) for a, b, c, d in lines)
        bars: list[Segment] = [(start + cell + 0.7 * n, 0, start + cell + 0.7 * n, wide) for n in range(mark.bars + 1)]
        shapes += [Strokes(segments=moved, look=mark.look), placing.strokes(bars, edge)]
    shapes.append(placing.strokes([(start, 0, start, wide)], edge))
    shapes.append(placing.text((start + cell / 2, wide / 2 + cap / 2 - lift), key, cap, "b", anchor="middle"))
    return [*shapes, placing.rect((0, 0), (end, wide), "pale" if fact.kept else "thick")]


def number_looks(fact: SlotFact) -> tuple[tuple[str, str], tuple[str, str]]:
    """Box and text of a slot's step and of what comes out before: that in an open box, what goes in on a full one."""
    open_box, full = (("box-inv", "b inv"), ("paper", "b")) if is_dark(fact) else (("box", "b"), ("ink", "b inv"))
    return (open_box if fact.state is State.PULL else full), open_box


def _numbers(fact: SlotFact, placing: Placing, style: SlotStyle) -> list[Shape]:
    """The numbers of what is done at a slot, next to its name."""
    middle = _base_lines(placing, style)[0] - style.name_mm / 2
    high, wide = TEXT_MM + 1.3, style.badge_mm
    shapes: list[Shape] = []
    at = style.lead(fact) - 0.5
    for number, looks in zip((fact.step, fact.out), number_looks(fact), strict=True):
        if number:
            at -= wide + 0.4
            shapes.append(placing.rect((at, middle - high / 2), (wide, high), looks[0], radius=0.8))
            base = middle + TEXT_MM / 2
            shapes.append(placing.text((at + wide / 2, base), str(number), TEXT_MM, looks[1], anchor="middle"))
    return shapes


def _words(fact: SlotFact, placing: Placing, style: SlotStyle) -> Iterator[Shape]:
    """Name and content; cut only where the style sets a limit to their length."""
    lead, end = style.lead(fact), placing.length - style.tail(fact)
    inverse = "inv" if is_dark(fact) else ""
    name_v, words_v = _base_lines(placing, style)
    name = fitted(fact.name, style.name_mm, min(end - lead, style.longest_mm), bold=True)
    bold = "b" if is_dark(fact) or fact.state in (State.PULL, State.HOLD) else ""
    yield placing.text((lead, name_v), name, style.name_mm, f"{bold} {inverse}".strip())
    room = end - lead if style.two_lines else end - lead - style.name_width(fact) - _GAP
    words = fitted(style.said(fact), TEXT_MM, min(room, style.longest_mm))
    if words and style.two_lines:
        yield placing.text((lead, words_v), words, TEXT_MM, inverse)
    elif words:
        yield placing.text((end, words_v), words, TEXT_MM, inverse, anchor="end")


def _base_lines(placing: Placing, style: SlotStyle) -> tuple[float, float]:
    """Base lines of name and words, across the slot."""
    name = style.above_mm + style.name_mm
    if not style.two_lines:
        line = (placing.wide - name - style.below_mm) / 2 + name
        return line, line - (style.name_mm - TEXT_MM) / 2
    whole = name + style.below_mm + 0.6 + TEXT_MM + font_size(TEXT_MM) * DESCENT
    line = (placing.wide - whole) / 2 + name
    return line, line + style.below_mm + 0.6 + TEXT_MM


def _pin_mark(fact: SlotFact, placing: Placing, first: bool) -> list[Shape]:
    """A filled corner at the end where pin 1 is, at the start of the slot or at its end: clear of the step number."""
    size = min(1.6, placing.wide / 4)

    def corner(side: float, look: str) -> Polygon:
        u, step = (0.0, side) if first else (placing.length, -side)
        corners = (u, placing.wide), (u + step, placing.wide), (u, placing.wide - side)
        return Polygon(points=tuple(placing.point(*each) for each in corners), look=look)

    if is_dark(fact) and first:
        return [corner(size, "paper")]
    return [*([corner(size + 0.9, "paper")] if fact.key and not first else []), corner(size, "ink")]
