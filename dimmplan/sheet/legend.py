"""The legend of a map: its forms and what they mean, with counts. Only what the map shows."""

from __future__ import annotations

from collections.abc import Sequence

from dimmplan.sheet.blocks import Block, label
from dimmplan.sheet.facts import Facts, SlotFact, State
from dimmplan.sheet.letters import width
from dimmplan.sheet.shapes import Group, Polygon, Rect, Segment, Shape, Strokes, moved
from dimmplan.sheet.slotbox import HOLD_MM, Placing, SlotStyle, draw_slot, is_dark, number_looks
from dimmplan.sheet.style import TEXT_MM

_SAMPLE_MM, _NUMBER_MM, _ROW_MM, _HIGH_MM = 11.0, 6.4, 5.0, 4.4
_APART_MM = 3.5

Item = tuple[float, str, list[Shape]]
"""Width of a sample, its words, and its shapes in a box of that width."""


def legend(
    facts: Facts,
    shown: Sequence[SlotFact],
    width_mm: float,
    *,
    brackets: str,
    note: str,
    style: SlotStyle,
    arrows: bool,
) -> Block:
    """The legend of a map of slots in a style.

    ``brackets`` says what the brackets mark, ``note`` what the drawing is worth. ``arrows`` says
    that slots name steps where modules move.
    """
    items: list[Item] = []

    def add(fact: SlotFact, said: str) -> None:
        wide = 1.2 if style.bars else _SAMPLE_MM
        items.append((wide, said, _bar(fact) if style.bars else _sample(fact, style)))

    for kind in facts.types:
        held = [fact for fact in shown if fact.key == kind.key]
        open_width = ", width not known" if "x?" in kind.label else ""
        stay = sum(fact.kept for fact in held)
        count = f"{len(held) - stay} in, {stay} stay" if stay or facts.band else f"{len(held)}"
        if held:
            add(_plain(State.FILLED, kind.key, kept=stay == len(held)), f"{kind.label}{open_width}: {count}")
    if any(fact.kept for fact in shown):
        add(_plain(State.FILLED, next(fact.key for fact in shown if fact.kept), kept=True), "pale: stays")
    for state, said in facts.state_words.items():
        held = [fact for fact in shown if fact.state is state and not (state is State.BLANK and fact.needs_blank)]
        if held:
            add(_plain(state), f"{said}: {len(held)}")
    blanks = sum(fact.needs_blank for fact in shown)
    if blanks:
        add(_plain(State.BLANK, blank=True), f"takes a blank: {blanks}")
    if not style.bars:
        steps = [fact for fact in shown if fact.step and not (facts.band and fact.state is State.PULL)]
        outs = [fact for fact in shown if facts.band and (fact.out or fact.state is State.PULL)]
        if outs:
            items.append((_NUMBER_MM, "out", _number_sample(outs[0], number_looks(outs[0])[1])))
        if steps:
            said = "in" if facts.band else "step"
            moving = f"{said}; →5: goes on to step 5, ←5: comes from it"
            sample = _number_sample(steps[0], number_looks(steps[0])[0])
            items.append((_NUMBER_MM, moving if arrows else said, sample))
        if any(place.pin1 for place in facts.board.physical.slots):
            items.append((2.4, "pin 1", [Polygon(points=((0, 3.6), (2.4, 3.6), (0, 1.2)), look="ink")]))
    if brackets:
        items.append((8.0, brackets, _bracket_sample()))
    if any(fact.slot in facts.board.tray_of for fact in shown):
        items.append((8.0, "tray", [Rect(x=0.4, y=0.5, width=7.2, height=3.4, look="tray", radius=1.0)]))
    whole = _in_rows([*items, (0.0, note, [])], width_mm)
    return whole._replace(draw=lambda x, y: [Group(children=tuple(whole.draw(x, y)), look="legend")])


def _in_rows(items: Sequence[Item], width_mm: float) -> Block:
    """Entries side by side, in as many rows as they take."""
    rows: list[list[tuple[float, Item]]] = [[]]
    at = 0.0
    for item in items:
        wide = item[0] + 1.4 + width(item[1], TEXT_MM)
        if rows[-1] and at + wide > width_mm:
            rows.append([])
            at = 0.0
        rows[-1].append((at, item))
        at += wide + _APART_MM

    def draw(x: float, y: float) -> list[Shape]:
        shapes: list[Shape] = []
        for number, row in enumerate(rows):
            top = y + number * _ROW_MM + 0.3
            for offset, (sample, said, drawn) in row:
                shapes += [moved(shape, x + offset, top) for shape in drawn]
                lead = sample + 1.4 if sample else 0.0
                shapes.append(label(x + offset + lead, top + _HIGH_MM / 2 + TEXT_MM / 2, said, TEXT_MM))
        return shapes

    return Block(width_mm, len(rows) * _ROW_MM, draw)


def _plain(state: State, key: str = "", *, kept: bool = False, blank: bool = False) -> SlotFact:
    return SlotFact(slot="", name="", state=state, key=key, step=0, words="", needs_blank=blank, hover="", kept=kept)


def _sample(fact: SlotFact, style: SlotStyle) -> list[Shape]:
    inset = HOLD_MM if fact.state is State.HOLD else 0.0  # its second frame stands around the slot
    box = Placing(inset, inset, _SAMPLE_MM - 2 * inset, _HIGH_MM - 2 * inset, False)
    group = draw_slot(fact, box, SlotStyle(min(style.name_mm, 3.5)), pin1_first=None, ident="")
    return [shape for shape in group.children if getattr(shape, "text", "x")]


def _bar(fact: SlotFact) -> list[Shape]:
    style = SlotStyle(2.0, bars=True)
    return list(draw_slot(fact, Placing(0, 0, 4.6, style.width_mm, True), style, pin1_first=None, ident="").children)


def _number_sample(fact: SlotFact, looks: tuple[str, str]) -> list[Shape]:
    """A number as it stands on a slot."""
    look, text_look = looks
    return [
        *([Rect(x=0, y=0, width=_NUMBER_MM, height=_HIGH_MM, look="ink")] if is_dark(fact) else []),
        Rect(x=0.9, y=0.3, width=_NUMBER_MM - 1.8, height=3.8, look=look, radius=0.8),
        label(_NUMBER_MM / 2, 2.2 + TEXT_MM / 2, "1", TEXT_MM, text_look, anchor="middle"),
    ]


def _bracket_sample() -> list[Shape]:
    lines: tuple[Segment, ...] = ((0, 2.4, 8, 2.4), (0, 2.4, 0, 3.4), (8, 2.4, 8, 3.4))
    return [Strokes(segments=lines, look="thick")]
