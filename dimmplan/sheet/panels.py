"""The panels of a sheet. Each is one class: its title, what it says, and where it stands."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from dimmplan.model.finding import Finding
from dimmplan.sheet import care
from dimmplan.sheet.blocks import (
    SIGNAL_PAD_MM,
    Block,
    Column,
    headed,
    paragraph,
    signal,
    stacked,
    table,
    ticked,
    ticked_row,
)
from dimmplan.sheet.facts import Facts, SlotFact, clean
from dimmplan.sheet.measure import Run
from dimmplan.sheet.shapes import Group
from dimmplan.sheet.style import TEXT_MM
from dimmplan.units import counted
from dimmplan.wording.placement import CHANGED_RULE

Batches = Sequence[tuple[str, tuple[SlotFact, ...]]]
"""Steps that are done together, each batch with its name."""

HOLD = "HOLD, do not touch"


def _ticks(texts: Sequence[str], wide: float) -> list[Block]:
    return [ticked([(text, False)], TEXT_MM, wide) for text in texts]


def _signal(word: str, leads: Sequence[care.Lead], wide: float, *, short: bool = False) -> Block:
    runs: list[list[Run]] = [[(head, True), (text, False)] if head else [(text, False)] for head, text in leads]
    if short:
        runs = [[piece for run in runs for piece in run]]
    texts = stacked([paragraph(run, TEXT_MM, wide - SIGNAL_PAD_MM) for run in runs], 0.3)
    return signal(word, word.lower(), texts, TEXT_MM, alert=word != "NOTICE")


class Stage:
    """One of the five stages of the work, in a row that is always the same.

    On a lying page all five stand side by side; ``upright`` is the row on an upright page, ``small`` on small paper.
    ``by_socket`` says that it stands on pages of some sockets too.
    """

    title: ClassVar[str]
    by_socket: ClassVar[bool] = False
    upright: ClassVar[int]
    small: ClassVar[int]

    def __init__(self, facts: Facts, batches: Batches) -> None:
        self.facts, self.batches = facts, batches

    def lines(self, wide: float) -> list[Block]:
        """What it says."""
        raise NotImplementedError

    def block(self, wide: float) -> Block:
        """The panel."""
        whole = headed(self.head, stacked(self.lines(wide), 0.4), TEXT_MM)
        look = f"stage stage-{self.title[0]}"
        return whole._replace(draw=lambda x, y: [Group(children=tuple(whole.draw(x, y)), look=look)])

    @property
    def head(self) -> str:
        """Its title on this sheet."""
        return self.title


class Before(Stage):
    """What must be sure, and the warnings, before anything is touched."""

    title = "1 Before"
    by_socket = True
    upright, small = 0, 0

    def lines(self, wide: float) -> list[Block]:
        """Boxes, WARNING, and the box for the cords that it is about."""
        danger = _signal("WARNING", care.short_warnings(self.facts), wide, short=True)
        return [*_ticks(care.SHORT_BEFORE, wide), danger, *_ticks([care.CORDS], wide)]


class TakeOff(Stage):
    """What comes off before the slots can be reached."""

    title = "2 Take off"
    upright, small = 0, 1

    def lines(self, wide: float) -> list[Block]:
        """CAUTION, then the board's steps in order."""
        steps = enumerate(care.access_steps(self.facts), 1)
        ticks = [ticked([(str(number), True), (text, False)], TEXT_MM, wide) for number, text in steps]
        return [_signal("CAUTION", care.SHORT_CAUTIONS, wide), *ticks]


class Install(Stage):
    """The steps, in batches: the numbers are on the map."""

    title = "3 Install"
    by_socket = True
    upright, small = 0, 1

    @property
    def head(self) -> str:
        """What the steps are steps of."""
        return "3 Look at" if self.facts.doing == "Look at" else self.title

    def lines(self, wide: float) -> list[Block]:
        """NOTICE, a box for each batch, blanks, what is on hold."""
        items: list[Sequence[Run]] = []
        for head, batch in self.batches:
            first, last = batch[0].step, batch[-1].step
            numbers = f"{first} to {last}" if last > first else f"{first}"
            items.append([(numbers, True), (head, False)])
        shown = {fact.slot for _, batch in self.batches for fact in batch}
        if self.facts.blanks and shown.issuperset(self.facts.order):
            items.append([(f"{counted(len(self.facts.blanks), 'blank')}, see map", False)])
        blocks = [_signal("NOTICE", care.SHORT_NOTICES, wide), ticked_row(items, TEXT_MM, wide)]
        if self.facts.placement.hold:
            blocks.append(paragraph([(f"{HOLD}:", True), (hold_said(self.facts), False)], TEXT_MM, wide))
        return blocks


class PutBack(Stage):
    """What goes back, in order, and what to look at before it does."""

    title = "4 Put back and close"
    upright, small = 1, 2

    def lines(self, wide: float) -> list[Block]:
        """A box for each."""
        return _ticks(
            ["Slots as on the map, latches closed.", *care.closing_steps(self.facts), care.NOTHING_LEFT], wide
        )


class FirstBoot(Stage):
    """What the machine should show, and that it may take long."""

    title = "5 First boot"
    upright, small = 1, 2

    def lines(self, wide: float) -> list[Block]:
        """What to expect, what to know, boxes."""
        expect = paragraph([("Expect", False), (f"{self.facts.expected}.", True)], TEXT_MM, wide)
        notes = [paragraph([(said, False)], TEXT_MM, wide) for said in care.boot_notes(self.facts)]
        checks: list[Sequence[Run]] = [[(text, False)] for text in care.SHORT_BOOT_CHECKS]
        return [expect, *notes, ticked_row(checks, TEXT_MM, wide)]


STAGES: tuple[type[Stage], ...] = (Before, TakeOff, Install, PutBack, FirstBoot)
"""In the order of the work, on every sheet."""


def care_in_full(facts: Facts, wide: float) -> list[Block]:
    """Every text for safety in full, in three columns of a page for reading before the work."""
    boot = [paragraph([(said, False)], TEXT_MM, wide) for said in care.boot_notes(facts)]
    checks = [headed("Before you start", stacked(_ticks(care.BEFORE, wide), 0.3), TEXT_MM)]
    return [
        stacked([*checks, _signal("CAUTION", care.CAUTIONS, wide)], 2.0),
        _signal("WARNING", care.warnings(facts), wide),
        stacked([_signal("NOTICE", care.NOTICES, wide), headed("First boot", stacked(boot, 0.3), TEXT_MM)], 2.0),
    ]


def finding_lead(finding: Finding) -> str:
    """The words before a finding that the person at the chassis must know; none before a note."""
    if finding.rule == CHANGED_RULE:
        return "Do not place by this map:"
    return {"error": "Does not obey the board:", "warning": "Not advised:", "note": ""}[finding.severity]


def must_know(facts: Facts, wide: float) -> Block | None:
    """Broken rules and what the board asks of the person at the chassis; ``None`` where there is nothing."""
    runs: list[Run] = []
    for finding in facts.chassis_findings:
        word = finding_lead(finding)
        runs += [(word, True)] if word else []
        runs.append((clean(finding.text), False))
    return paragraph([("For this machine:", True), *runs], TEXT_MM, wide) if runs else None


def hold_said(facts: Facts) -> str:
    """Which slots are on hold, and until when."""
    names = ", ".join(clean(slot) for slot in facts.placement.hold)
    return f"{names}: not before the owner says that their data is saved."


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
        names = facts.slots_in_words([slot for slot in facts.board.slots if slot in facts.blanks])
        rows.append(["", "blank for a slot", f"{len(facts.blanks)} ×", names])
    return rows


def pick_list(facts: Facts, wide: float) -> Block | None:
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
    return table(columns, [["", *row] for row in rows], TEXT_MM, wide)
