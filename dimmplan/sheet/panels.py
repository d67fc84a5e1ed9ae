"""The panels around the map: what comes off first, the steps, what to know, the legend, the pick list."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from dimmplan.model.board import Tray
from dimmplan.model.finding import Finding
from dimmplan.sheet.blocks import Block, Column, headed, label, numbered, paragraph, stacked, table, ticked
from dimmplan.sheet.facts import Facts, SlotFact, State, clean
from dimmplan.sheet.measure import Run, widest, width
from dimmplan.sheet.shapes import Line, Rect, Shape
from dimmplan.sheet.style import SMALLEST_TEXT_MM
from dimmplan.units import counted, listed
from dimmplan.wording.placement import CHANGED_RULE


def access_steps(facts: Facts) -> list[str]:
    """What comes off before the slots can be reached, in words and in order."""
    trays = [f"{tray.name}: {text}" for tray in trays_opened(facts) for text in tray.access or ("Take it out.",)]
    return [clean(text) for text in (*facts.board.physical.access, *trays) or (_NO_ACCESS,)]


_NO_ACCESS = "The board file names nothing: see the service manual."


def trays_opened(facts: Facts) -> list[Tray]:
    """The trays that come out, since something is done in their slots."""
    return [tray for tray in facts.board.physical.trays if not facts.worked_on.isdisjoint(tray.slots)]


def access(facts: Facts, cap_mm: float, width_mm: float) -> Block:
    """What comes off before the slots can be reached, in order."""
    blocks = [numbered(n, [(text, False)], cap_mm, width_mm) for n, text in enumerate(access_steps(facts), 1)]
    return headed("Comes off first", stacked(blocks, 0.3), cap_mm)


def finding_lead(finding: Finding) -> str:
    """The words before a finding that the person at the chassis must know; none before a note."""
    if finding.rule == CHANGED_RULE:
        return "Do not place by this map:"
    return {"error": "Does not obey the board:", "warning": "Not advised:", "note": ""}[finding.severity]


def must_know(facts: Facts, cap_mm: float, width_mm: float) -> Block | None:
    """Broken rules and what the board asks of the person at the chassis."""
    blocks: list[Block] = []
    for finding in facts.chassis_findings:
        word = finding_lead(finding)
        runs: list[Run] = [(word, True)] if word else []
        blocks.append(paragraph([*runs, (clean(finding.text), False)], cap_mm, width_mm))
    return headed("For this machine", stacked(blocks, 0.8), cap_mm) if blocks else None


class _Cells(NamedTuple):
    """Even cells of the list of steps: box to tick, number on black as on the map, name, key letter."""

    cap_mm: float
    number_mm: float
    name_mm: float
    key_mm: float

    @property
    def wide(self) -> float:
        return self.cap_mm + 0.7 + 1.2 + self.badge_mm + 0.9 + self.name_mm + self.key_mm + 2.4

    @property
    def badge_mm(self) -> float:
        return max(self.number_mm + 1.0, self.cap_mm + 0.9)

    def draw(self, fact: SlotFact, x: float, y: float) -> list[Shape]:
        cap, side = self.cap_mm, self.cap_mm + 0.7
        base = y + cap + 0.35
        at = x + side + 1.2 + self.badge_mm
        shapes: list[Shape] = [Rect(x=x + 0.2, y=y, width=side, height=side, look="box")]
        badge = Rect(x=at - self.badge_mm, y=y - 0.1, width=self.badge_mm, height=cap + 0.9, look="ink", radius=0.6)
        shapes += [badge, label(at - self.badge_mm / 2, base, str(fact.step), cap, "b inv", anchor="middle")]
        shapes.append(label(at + 0.9, base, fact.name, cap, "b"))
        if self.key_mm:
            shapes.append(label(at + 0.9 + self.name_mm + 1.0, base, fact.key, cap, ""))
        return shapes


def install(
    facts: Facts,
    steps: Sequence[tuple[str, tuple[SlotFact, ...]]],
    cap_mm: float,
    width_mm: float,
    *,
    last: bool = True,
) -> Block:
    """The order of installing as boxes to tick, batch by batch; the key letter where there are several types."""
    slots = [fact for _, batch in steps for fact in batch]
    heads = [head for head, _ in steps]
    cells = _Cells(
        cap_mm=cap_mm,
        number_mm=widest([str(fact.step) for fact in slots], cap_mm, bold=True),
        name_mm=widest([fact.name for fact in slots], cap_mm, bold=True),
        key_mm=1.0 + width("m", cap_mm) if len(facts.types) > 1 else 0.0,
    )
    lead = widest(heads, cap_mm) + 2.5
    beside = width_mm - lead >= 3 * cells.wide
    if not beside:
        lead = 0.0
    per_row = max(1, int((width_mm - lead + 2.0) / cells.wide))
    blocks = [_batch(head, batch, cells, lead=lead, per_row=per_row, width_mm=width_mm) for head, batch in steps]
    blocks += _last_steps(facts, cap_mm, width_mm) if last else []
    return headed(f"{facts.doing}, in this order", stacked(blocks, 0.5), cap_mm)


def install_short(facts: Facts, cap_mm: float, width_mm: float, *, sheets: str = "") -> Block:
    """The same for little room: a box for each batch, since every slot on the map carries its number."""
    items: list[tuple[float, str]] = []
    side = cap_mm + 0.7
    for head, batch in facts.steps:
        first, last = batch[0].step, batch[-1].step
        numbers = f"{first} to {last}" if last > first else f"{first}"
        items.append((side + 1.3 + width(f"{numbers}: {head}", cap_mm) + 4.0, f"{numbers}: {head}"))
    rows: list[list[tuple[float, str]]] = [[]]
    at = 0.0
    for wide, said in items:
        if rows[-1] and at + wide > width_mm + 4.0:
            rows.append([])
            at = 0.0
        rows[-1].append((at, said))
        at += wide
    row_mm = cap_mm + 2.0

    def draw(x: float, y: float) -> list[Shape]:
        shapes: list[Shape] = []
        for number, row in enumerate(rows):
            top = y + number * row_mm
            for offset, said in row:
                shapes.append(Rect(x=x + offset + 0.2, y=top, width=side, height=side, look="box"))
                shapes.append(label(x + offset + side + 1.3, top + cap_mm + 0.35, said, cap_mm))
        return shapes

    blocks: list[Block] = [Block(width_mm, len(rows) * row_mm - 0.4, draw)] if items else []
    blocks = [*blocks, *_last_steps(facts, cap_mm, width_mm)]
    where = "on the map" if not sheets else f"on sheets {sheets}"
    return headed(f"{facts.doing} in the order of the numbers {where}", stacked(blocks, 0.5), cap_mm)


def _batch(
    head: str, batch: tuple[SlotFact, ...], cells: _Cells, *, lead: float, per_row: int, width_mm: float
) -> Block:
    row = cells.cap_mm + 2.0
    above = 0.0 if lead else row - 0.3
    rows = -(-len(batch) // per_row)

    def draw(x: float, y: float) -> list[Shape]:
        shapes: list[Shape] = [label(x, y + cells.cap_mm + 0.35, head, cells.cap_mm)]
        for number, fact in enumerate(batch):
            down, across = divmod(number, per_row)
            shapes += cells.draw(fact, x + lead + across * cells.wide, y + above + down * row)
        return shapes

    return Block(width_mm, above + rows * row - 0.4, draw)


def _last_steps(facts: Facts, cap_mm: float, width_mm: float) -> list[Block]:
    blocks: list[Block] = []
    if facts.blanks:
        names = facts.slots_in_words([slot for slot in facts.board.slots if slot in facts.blanks])
        said = f"{counted(len(facts.blanks), 'blank')} into {names}."
        if width(said, cap_mm) > 2 * width_mm:
            said = f"{counted(len(facts.blanks), 'blank')} into the slots whose end is cross-hatched on the map."
        blocks.append(ticked([(said, False)], cap_mm, width_mm))
    if facts.placement.hold:
        blocks.append(paragraph([(HOLD, True), (hold_said(facts), False)], cap_mm, width_mm))
    return blocks


HOLD = "HOLD, do not touch"


def hold_said(facts: Facts) -> str:
    """Which slots are on hold, and until when."""
    names = ", ".join(clean(slot) for slot in facts.placement.hold)
    return f"{names}: not before the owner says that their data is saved."


_NAMED = {
    "warning": "WARNING",
    "caution": "CAUTION",
    "notice": "NOTICE",
    "before": "before you start",
    "access": "what comes off first",
    "install": "the steps with boxes to tick",
    "know": "notes for this machine",
    "power": "before power-on",
    "boot": "first boot",
    "pick": "pick list",
}


def elsewhere(sheets: Sequence[Sequence[str]], cap_mm: float, width_mm: float) -> Block:
    """What stands on the sheets from the second on, so that nobody misses it; warnings first and first to be read."""
    told = [listed([said for name, said in _NAMED.items() if name in names]) for names in sheets]
    parts = [f"{'on ' if number > 2 else ''}sheet {number}: {said}" for number, said in enumerate(told, 2) if said]
    if not parts:
        return Block(width_mm, 0.0, lambda _x, _y: [])
    first = "Before you touch anything, read" if "warning" in sheets[0] else "More on"
    return paragraph([(f"{first} {'; '.join(parts)}.", True)], cap_mm, width_mm)


PICK_HEADS = ("key", "module, as its label says", "count", "slots")


def pick_heads(facts: Facts) -> tuple[str, ...]:
    """The heads of the pick list; where a label leaves the device width open, its head says so."""
    key, module, *more = PICK_HEADS
    is_open = any("x?" in kind.label for kind in facts.picked)
    return (key, "module (x?: width not known)" if is_open else module, *more)


def pick_rows(facts: Facts) -> list[list[str]]:
    """What to fetch, one row of texts each, under ``PICK_HEADS``; blanks last."""
    rows = [
        [kind.key, kind.label, f"{kind.count} ×", kind.slots + (f" ({kind.part})" if kind.part else "")]
        for kind in facts.picked
    ]
    rows += [["", label_of, f"{count} ×", "left over: keep them safe"] for label_of, count in facts.left_over]
    if facts.blanks:
        emptied = sum(fact.state is State.PULL for fact in facts.slots.values())
        where = "see the steps" if emptied else "cross-hatched on the map"
        rows.append(["", "blank for a slot", f"{len(facts.blanks)} ×", where])
    return rows


def pick_list(facts: Facts, cap_mm: float, width_mm: float) -> Block | None:
    """What to fetch: box to tick, key, label, count, slots; blanks last. ``None`` where there is nothing to fetch."""
    rows = pick_rows(facts)
    if not rows:
        return None
    key, module, count, slots = pick_heads(facts)
    columns = [
        Column("", tick=True),
        Column(key, bold=True),
        Column(module, bold=True),
        Column(count, right=True, bold=True),
        Column(slots, grow=1.0),
    ]
    return table(columns, [["", *row] for row in rows], cap_mm, width_mm)


def check_bar(x: float, y: float) -> list[Shape]:
    """An upright bar of 50 mm with a tick every 10 mm, to see that the printer kept the size. ``y`` is its foot."""
    shapes: list[Shape] = [Line(x1=x, y1=y, x2=x, y2=y - 50, look="thick")]
    for tenth in range(6):
        at, tick = y - tenth * 10.0, 2.2 if tenth in (0, 5) else 1.3
        shapes.append(Line(x1=x, y1=at, x2=x - tick, y2=at, look="thin"))
    cap = SMALLEST_TEXT_MM
    return [*shapes, label(x + 1.0 + cap, y - 25, "50 mm if printed at 100 %", cap, anchor="middle", turn=-90)]
