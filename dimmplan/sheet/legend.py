"""The legend of a map: its forms and what they mean, with counts. Only what the map shows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import NamedTuple

from dimmplan.sheet.blocks import Block, label
from dimmplan.sheet.facts import Facts, SlotFact, State
from dimmplan.sheet.letters import width
from dimmplan.sheet.shapes import Group, Polygon, Rect, Segment, Shape, Strokes, moved
from dimmplan.sheet.slotbox import HOLD_MM, Placing, SlotStyle, draw_slot, is_dark, number_looks
from dimmplan.sheet.style import TEXT_MM

_SAMPLE_MM, _NUMBER_MM, _ROW_MM, _HIGH_MM = 11.0, 6.4, 5.0, 4.4
_APART_MM = 3.5


class Item(NamedTuple):
    """An entry: the width of its sample, its words, and the sample's shapes in a box of that width.

    ``brief`` is what it says where there is little room; nothing for an entry that is then left out.
    """

    wide: float
    said: str
    sample: Sequence[Shape] = ()
    brief: str | None = None

    @property
    def briefly(self) -> Item:
        """The entry in few words."""
        return self if self.brief is None else self._replace(said=self.brief)


def legend(
    facts: Facts,
    shown: Sequence[SlotFact],
    width_mm: float,
    *,
    owners: tuple[str, str | None],
    note: str,
    style: SlotStyle,
    brief: bool,
) -> Block:
    """The legend of a map of slots in a style.

    ``owners`` says what the brackets mark, and so in brief, ``note`` what the drawing is worth. A ``brief`` one has as
    few rows as can be.
    """
    items: list[Item] = []

    def add(fact: SlotFact, said: str) -> None:
        items.append(Item(1.2, said, _bar(fact)) if style.bars else Item(_SAMPLE_MM, said, _sample(fact, style)))

    for kind in facts.types:
        held = [fact for fact in shown if fact.key == kind.key]
        open_width = ", width not known" if "x?" in kind.label else ""
        stay = sum(fact.kept for fact in held)
        count = f"{len(held) - stay} in, {stay} stay" if stay or facts.band else f"{len(held)}"
        if held:
            add(SlotFact(State.FILLED, key=kind.key, kept=stay == len(held)), f"{kind.label}{open_width}: {count}")
    if any(fact.kept for fact in shown):
        add(SlotFact(State.FILLED, key=next(fact.key for fact in shown if fact.kept), kept=True), "pale: stays")
    for state, said in facts.state_words.items():
        held = [fact for fact in shown if fact.state is state and not (state is State.BLANK and fact.needs_blank)]
        if held:
            add(SlotFact(state), f"{said}: {len(held)}")
    blanks = sum(fact.needs_blank for fact in shown)
    if blanks:
        add(SlotFact(State.BLANK, needs_blank=True), f"takes a blank: {blanks}")
    if not style.bars:
        items += _numbers(facts, shown, arrows=not style.full)
        if any(place.pin1 for place in facts.board.physical.slots):
            corner = Polygon(points=((0, 3.6), (2.4, 3.6), (0, 1.2)), look="ink")
            items.append(Item(2.4, "pin 1 of slot and module", [corner], "pin 1"))
        items.append(Item(8.0, owners[0], _bracket_sample(), owners[1]))
    items.append(Item(8.0, "one socket", [_frame("zone")], ""))
    if any(fact.slot in facts.board.tray_of for fact in shown):
        items.append(Item(8.0, "tray", [_frame("tray")]))
    if any("first slots" in head for head, _ in facts.steps):
        items.append(Item(0.0, "First slots: the first of each channel.", (), ""))
    items.append(Item(0.0, note))
    whole = _in_rows(_few_rows(items, width_mm) if brief else items, width_mm)
    return whole._replace(draw=lambda x, y: [Group(children=tuple(whole.draw(x, y)), look="legend")])


def _numbers(facts: Facts, shown: Sequence[SlotFact], *, arrows: bool) -> Iterator[Item]:
    """The numbers of steps: of what comes out first, and of what goes in; with what ``arrows`` on slots mean."""
    there = next((fact.goes_to for fact in shown if arrows and fact.goes_to), 0)
    back = next((fact.came_at for fact in shown if arrows and fact.came_at), 0)
    outs = [fact for fact in shown if facts.band and (fact.out or fact.state is State.PULL)]
    steps = [fact for fact in shown if fact.step and not (facts.band and fact.state is State.PULL)]
    if outs:
        alone = (there or back) and not all(fact.goes_to for fact in outs)
        said = "out; no arrow: left over" if alone else "out"
        yield Item(_NUMBER_MM, said, _number_sample(outs[0], number_looks(outs[0])[1]), "out")
    if steps:
        said = "in" if facts.band else "step"
        full, brief = f"{said}, before the slot's name", said
        if there or back:
            full = said + (f"; →{there}: the old one goes in at step {there}" if there else "")
            full += f"; ←{back}: came out at step {back}" if back else ""
            brief = f"{said}; → to, ← from that step"
        yield Item(_NUMBER_MM, full, _number_sample(steps[0], number_looks(steps[0])[0]), brief)


def _few_rows(items: Sequence[Item], width_mm: float) -> list[Item]:
    """The entries in as few rows as can be, with more words where these take no further row."""
    kept = [item.briefly for item in items]
    most = len(_rows(kept, width_mm))
    for place, item in enumerate(items):
        more = [*kept[:place], item, *kept[place + 1 :]]
        if len(_rows(more, width_mm)) == most:
            kept = more
    return kept


def _rows(items: Sequence[Item], width_mm: float) -> list[list[tuple[float, Item]]]:
    """Entries side by side, in as many rows as they take, each with its place across."""
    rows: list[list[tuple[float, Item]]] = [[]]
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


def _in_rows(items: Sequence[Item], width_mm: float) -> Block:
    rows = _rows(items, width_mm)

    def draw(x: float, y: float) -> list[Shape]:
        shapes: list[Shape] = []
        for number, row in enumerate(rows):
            top = y + number * _ROW_MM + 0.3
            for offset, item in row:
                shapes += [moved(shape, x + offset, top) for shape in item.sample]
                lead = item.wide + 1.4 if item.wide else 0.0
                shapes.append(label(x + offset + lead, top + _HIGH_MM / 2 + TEXT_MM / 2, item.said, TEXT_MM))
        return shapes

    return Block(width_mm, len(rows) * _ROW_MM, draw)


def _frame(look: str) -> Rect:
    return Rect(x=0.4, y=0.5, width=7.2, height=3.4, look=look, radius=1.0)


@lru_cache
def _sample(fact: SlotFact, style: SlotStyle) -> list[Shape]:
    inset = HOLD_MM if fact.state is State.HOLD else 0.0  # its second frame stands around the slot
    box = Placing(inset, inset, _SAMPLE_MM - 2 * inset, _HIGH_MM - 2 * inset, False)
    group = draw_slot(fact, box, SlotStyle(min(style.name_mm, 3.5)), pin1_first=None, ident="")
    return [shape for shape in group.children if getattr(shape, "text", "x")]


@lru_cache
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
