"""The legend of a map: its forms and what they mean, with counts. Only what the map shows."""

from __future__ import annotations

from collections.abc import Sequence

from dimmplan.sheet.blocks import Block, label
from dimmplan.sheet.facts import Facts, SlotFact, State
from dimmplan.sheet.measure import width
from dimmplan.sheet.shapes import Polygon, Rect, Segment, Shape, Strokes, moved
from dimmplan.sheet.slotbox import Columns, Placing, SlotStyle, draw_slot, pattern_block, type_look

_SAMPLE_MM, _ROW_MM, _HIGH_MM = 10.0, 5.6, 5.0
_APART_MM = 4.0

Item = tuple[float, str, list[Shape]]
"""Width of a sample, its words, and its shapes in a box of that width, 5 mm high."""


def legend(
    facts: Facts, shown: Sequence[SlotFact], cap_mm: float, width_mm: float, *, brackets: Sequence[str]
) -> Block:
    """The legend of a map of slots; ``brackets`` are what its brackets mark, channels before controllers."""
    items: list[Item] = []
    for kind in facts.types:
        count = sum(fact.key == kind.key for fact in shown)
        if count:
            items.append((_SAMPLE_MM, f"{kind.label}: {count}", _type_sample(kind.key)))
    if any(fact.step for fact in shown):
        items.append((5.4, "order of installing" if facts.doing == "Install" else "order of steps", _step_sample()))
    for state, said in facts.state_words.items():
        held = [fact for fact in shown if fact.state is state]
        if held:
            blank = any(fact.needs_blank for fact in held)
            more = ", takes a blank" if blank and state is State.DEAD else ""
            wide = _SAMPLE_MM + (0.8 if state is State.HOLD else 0.0)
            items.append((wide, f"{said}{more}: {len(held)}", _state_sample(state, blank)))
    if any(place.pin1 for place in facts.board.physical.slots):
        items.append((2.4, "pin 1 end", [Polygon(points=((0, 3.8), (2.4, 3.8), (0, 1.4)), look="ink")]))
    if brackets:
        items.append((8.0, ", thick line: ".join(brackets), _bracket_sample(brackets[0])))
    return in_rows(items, cap_mm, width_mm)


def bar_legend(facts: Facts, cap_mm: float, width_mm: float) -> Block:
    """The legend of an overview, where slots are bars."""

    def bar(look: str, *, crossed: bool = False) -> list[Shape]:
        shapes: list[Shape] = [Rect(x=0.4, y=0.2, width=1.1, height=4.6, look=look)]
        lines: tuple[Segment, ...] = ((0.4, 0.2, 1.5, 4.8), (0.4, 4.8, 1.5, 0.2))
        return [*shapes, Strokes(segments=lines, look="thin")] if crossed else shapes

    count = facts.counts
    items: list[Item] = [(2.0, f"module: {count[State.FILLED]}", bar("ink"))]
    said = {
        "stays empty": (count[State.EMPTY], False),
        "empty, takes a blank": (count[State.BLANK], False),
        "hold: do not touch": (count[State.HOLD], True),
        "take out": (count[State.PULL], True),
    }
    if count[State.DEAD]:
        items.append((2.0, f"{facts.dead_words}: {count[State.DEAD]}", bar("bar-dead")))
    items += [(2.0, f"{words}: {n}", bar("bar-open", crossed=cross)) for words, (n, cross) in said.items() if n]
    return in_rows([*items, (0.0, "Slot names stand on the sheets that the sockets name.", [])], cap_mm, width_mm)


def in_rows(items: Sequence[Item], cap_mm: float, width_mm: float) -> Block:
    """Entries side by side, in as many rows as they take."""
    rows: list[list[tuple[float, Item]]] = [[]]
    at = 0.0
    for item in items:
        wide = item[0] + 1.4 + width(item[1], cap_mm)
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
                shapes.append(label(x + offset + lead, top + _HIGH_MM / 2 + cap_mm / 2, said, cap_mm))
        return shapes

    return Block(width_mm, len(rows) * _ROW_MM, draw)


def _type_sample(key: str) -> list[Shape]:
    placing = Placing(0, 0, _SAMPLE_MM, _HIGH_MM, False)
    base = placing.rect((0, 0), (_SAMPLE_MM, _HIGH_MM), f"slot-{type_look(key)}")
    return [base, *pattern_block(placing, 0.0, key)]


def _state_sample(state: State, blank: bool) -> list[Shape]:
    fact = SlotFact(slot="", name="", state=state, key="", step=0, words="", needs_blank=blank, hover="")
    style = SlotStyle(name_mm=2.0, words_mm=2.0)
    placing = Placing(0, 0, _SAMPLE_MM, _HIGH_MM, False)
    group = draw_slot(fact, placing, style, Columns(0, 0), pin1_first=None, ident="")
    return [shape for shape in group.children if getattr(shape, "text", "x")]


def _step_sample() -> list[Shape]:
    return [
        Rect(x=0, y=0.6, width=5.4, height=3.8, look="ink", radius=0.8),
        label(2.7, 2.5 + 1.25, "1", 2.5, "b inv", anchor="middle"),
    ]


def _bracket_sample(what: str) -> list[Shape]:
    lines: tuple[Segment, ...] = ((0, 3.2, 8, 3.2), (0, 3.2, 0, 4.2), (8, 3.2, 8, 4.2))
    return [Strokes(segments=lines, look="medium" if what == "channel" else "thick")]
