"""The panels of a sheet. Each is one class: its title, what it says, and where it stands."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import ClassVar, Self

from dimmplan.figures import PlacementFigures, SocketFigures
from dimmplan.model.board import Board
from dimmplan.model.request import Mode
from dimmplan.rules import mode_row
from dimmplan.sheet import safety
from dimmplan.sheet.blocks import (
    SIGNAL_PAD_MM,
    Block,
    Column,
    headed,
    label,
    paragraph,
    side_by_side,
    signal,
    stacked,
    table,
    ticked,
    ticked_row,
)
from dimmplan.sheet.facts import NOT_OBEYED, Facts, LeftFact, SlotFact, clean, gib_words, socket_words
from dimmplan.sheet.letters import Run, widest, width
from dimmplan.sheet.shapes import Group, Line, Rect, Shape
from dimmplan.sheet.style import SMALLEST_TEXT_MM, TEXT_MM
from dimmplan.units import counted, decimal, format_capacity, listed, watts_words
from dimmplan.wording.placement import (
    CHANGED_RULE,
    TRUST,
    gb_s,
    label_short,
    rate_row_words,
    regions_sentence,
    share_sentence,
)

Batches = Sequence[tuple[str, tuple[SlotFact, ...]]]
"""Steps that are done together, each batch with its name."""

HOLD = "HOLD, do not touch"


def _ticks(texts: Sequence[str], wide: float) -> list[Block]:
    return [ticked([(text, False)], TEXT_MM, wide) for text in texts]


def _signal(word: str, leads: Sequence[safety.Lead], wide: float, *, short: bool = False) -> Block:
    runs: list[list[Run]] = [[(head, True), (text, False)] if head else [(text, False)] for head, text in leads]
    if short:
        runs = [[piece for run in runs for piece in run]]
    texts = stacked([paragraph(run, TEXT_MM, wide - SIGNAL_PAD_MM) for run in runs], 0.3)
    return signal(word, word.lower(), texts, TEXT_MM, alert=word != "NOTICE")


class Panel:
    """A part of the sheet under a title of its own: ``lines`` says what it says, ``blocks`` how it stands on a page."""

    title: ClassVar[str]
    cap_mm: ClassVar[float] = TEXT_MM
    gap_mm: ClassVar[float] = 0.4
    """Between its lines."""

    def __init__(self, facts: Facts) -> None:
        self.facts = facts

    @property
    def head(self) -> str:
        """Its title on this sheet; empty for a panel without one."""
        return self.title

    def lines(self, wide: float) -> list[Block]:
        """What it says; nothing where the sheet has nothing to say here."""
        raise NotImplementedError

    def block(self, wide: float) -> Block:
        """The panel as one block."""
        body = stacked(self.lines(wide), self.gap_mm)
        return headed(self.head, body, self.cap_mm) if self.head else body

    def blocks(self, wide: float) -> list[Block]:
        """The panel in the parts that may stand on different pages."""
        return [self.block(wide)] if self.lines(wide) else []

    def said(self, text: str, wide: float, *, bold: bool = False, indent: float = 0.0) -> Block:
        """A paragraph in the panel's letters."""
        return paragraph([(text, bold)], self.cap_mm, wide, indent=indent)


class Stage(Panel):
    """One of the five stages of the work, in a row that is always the same.

    On a lying page all five stand side by side; ``upright`` is the row on an upright page, ``small`` on small paper.
    ``by_socket`` says that it stands on pages of some sockets too.
    """

    by_socket: ClassVar[bool] = False
    upright: ClassVar[int]
    small: ClassVar[int]

    def __init__(self, facts: Facts, batches: Batches, *, brief: bool = False) -> None:
        super().__init__(facts)
        self.batches, self.brief = batches, brief

    def briefer(self) -> Self:
        """The stage with what must be said alone."""
        return type(self)(self.facts, self.batches, brief=True)

    def block(self, wide: float) -> Block:
        """The panel, as a group of shapes that names its stage."""
        whole = super().block(wide)
        look = f"stage stage-{self.title[0]}"
        return whole._replace(draw=lambda x, y: [Group(children=tuple(whole.draw(x, y)), look=look)])


class Before(Stage):
    """What must be sure, and the warnings, before anything is touched."""

    title = "1 Before"
    by_socket = True
    upright, small = 0, 0

    def lines(self, wide: float) -> list[Block]:
        """Boxes, WARNING, and the box for the cords that it is about."""
        danger = _signal("WARNING", safety.short_warnings(self.facts), wide, short=True)
        return [*_ticks(safety.SHORT_BEFORE, wide), danger, *_ticks([safety.CORDS], wide)]


class TakeOff(Stage):
    """What comes off before the slots can be reached."""

    title = "2 Take off"
    upright, small = 0, 1

    def lines(self, wide: float) -> list[Block]:
        """CAUTION, then the board's steps in order."""
        steps = enumerate(safety.access_steps(self.facts), 1)
        ticks = [ticked([(str(number), True), (text, False)], TEXT_MM, wide) for number, text in steps]
        return [_signal("CAUTION", safety.SHORT_CAUTIONS, wide), *ticks]


class Install(Stage):
    """The steps, in batches: the numbers are on the map."""

    title = "3 Install"
    by_socket = True
    upright, small = 0, 1

    @property
    def head(self) -> str:
        """What the steps are steps of."""
        return f"3 {self.facts.doing}"

    def lines(self, wide: float) -> list[Block]:
        """NOTICE, what a change takes and leaves over, a box for each batch, blanks, what is on hold."""
        items: list[Sequence[Run]] = []
        whole = len(self.batches) == len(self.facts.steps)
        if whole and self.facts.band and self.facts.picked:
            fetched = ", ".join(f"{kind.count} {kind.key}" for kind in self.facts.picked)
            left = sum(each.count for each in self.facts.left_over) if self.brief else 0
            items.append([("Bring", False), (fetched, True), *([(f"({left} old left over)", False)] if left else [])])
        if whole and self.facts.left_over and not self.brief:
            items.append([("Left over:", False), (_left_over(self.facts.left_over), True)])
        for head, batch in self.batches:
            first, last = batch[0].step, batch[-1].step
            numbers = f"{first} to {last}" if last > first else f"{first}"
            items.append([(numbers, True), (head, False)])
        if whole and self.facts.blanks:
            put_in = "" if self.brief else "Put in "
            items.append([(f"{put_in}{counted(len(self.facts.blanks), 'blank')}, see map", False)])
        blocks = [_signal("NOTICE", safety.SHORT_NOTICES, wide), ticked_row(items, TEXT_MM, wide)]
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
            ["Slots as on the map, latches closed.", *safety.closing_steps(self.facts), safety.NOTHING_LEFT], wide
        )


class FirstBoot(Stage):
    """What the machine should show, and that it may take long."""

    title = "5 First boot"
    upright, small = 1, 2

    def lines(self, wide: float) -> list[Block]:
        """What to expect, what to know, boxes."""
        said = [paragraph(runs, TEXT_MM, wide) for runs in safety.first_boot(self.facts, brief=self.brief)]
        return [*said, ticked_row([[(text, False)] for text in safety.SHORT_BOOT_CHECKS], TEXT_MM, wide)]


STAGES: tuple[type[Stage], ...] = (Before, TakeOff, Install, PutBack, FirstBoot)
"""In the order of the work, on every sheet."""


def safety_in_full(facts: Facts, wide: float) -> list[Block]:
    """Every text for safety in full, in three columns of a page for reading before the work."""
    expect, *more = safety.first_boot(facts, brief=True)  # figures and findings are on the same page
    boot = [paragraph(runs, TEXT_MM, wide) for runs in ([expect] if facts.mode_takes else []) + more]
    checks = [headed("Before you start", stacked(_ticks(safety.BEFORE, wide), 0.3), TEXT_MM)]
    return [
        stacked([*checks, _signal("CAUTION", safety.CAUTIONS, wide)], 2.0),
        _signal("WARNING", safety.warnings(facts), wide),
        stacked([_signal("NOTICE", safety.NOTICES, wide), headed("First boot", stacked(boot, 0.3), TEXT_MM)], 2.0),
    ]


def machine_notes(facts: Facts) -> Iterator[safety.Lead]:
    """What the person at the chassis must know of this machine; nothing stands out of a note."""
    leads = {"error": "Does not obey the board:", "warning": "Not advised:", "note": ""}
    for finding in facts.chassis_findings:
        changed = finding.rule == CHANGED_RULE
        yield "Do not place by this map:" if changed else leads[finding.severity], clean(finding.text)


class MachineNotes(Panel):
    """Broken rules and what the board asks of the person at the chassis; nothing where there is nothing."""

    title = ""

    def lines(self, wide: float) -> list[Block]:
        """All in one paragraph."""
        runs = [run for lead, text in machine_notes(self.facts) for run in ((lead, True), (text, False)) if run[0]]
        return [paragraph([("For this machine:", True), *runs], TEXT_MM, wide)] if runs else []


def hold_said(facts: Facts) -> str:
    """Which slots are on hold, and until when."""
    names = ", ".join(clean(slot) for slot in facts.placement.hold)
    return f"{names}: not before the owner says that their data is saved."


def pick_heads(facts: Facts) -> tuple[str, str, str, str]:
    """The heads of the pick list; where a label leaves the device width open, its head says so."""
    is_open = any("x?" in kind.label for kind in facts.picked)
    return "key", "module (x?: width not known)" if is_open else "module, as its label says", "count", "slots"


def pick_rows(facts: Facts) -> list[list[str]]:
    """What to fetch, one row of texts each, under ``pick_heads``; then blanks, then what a change leaves over."""
    rows = [
        [kind.key, kind.label, f"{kind.count} ×", kind.slots + (f" ({kind.part})" if kind.part else "")]
        for kind in facts.picked
    ]
    if facts.blanks:
        names = facts.slots_in_words([slot for slot in facts.board.slots if slot in facts.blanks])
        rows.append(["", "blank for a slot", f"{len(facts.blanks)} ×", names])
    for left in facts.left_over:
        out = f", {_steps_out(left)}" if left.steps else ""
        rows.append(["", clean(left.module.label), f"{left.count} ×", f"do not fetch: left over{out}; keep safe"])
    return rows


def _left_over(left: Sequence[LeftFact]) -> str:
    """How many modules of which size; of which type where two have one size."""
    sizes = {each.module.capacity_gib for each in left}
    names = [
        f"{each.module.capacity_gib}GB" if len(sizes) == len(left) else clean(label_short(each.module)) for each in left
    ]
    return ", ".join(f"{each.count} x {name}" for each, name in zip(left, names, strict=True))


def _steps_out(left: LeftFact) -> str:
    return f"out at {'step' if len(left.steps) == 1 else 'steps'} {listed([str(number) for number in left.steps])}"


class PickList(Panel):
    """What to fetch: box to tick, key, label, count, slots; blanks last. Nothing where there is nothing to fetch."""

    title = ""

    def lines(self, wide: float) -> list[Block]:
        """The table."""
        rows = pick_rows(self.facts)
        return [self._table(rows, wide)] if rows else []

    def blocks(self, wide: float) -> list[Block]:
        """A table for each row, since a long list may take more than a page."""
        return [self._table([row], wide) for row in pick_rows(self.facts)]

    def _table(self, rows: Sequence[Sequence[str]], wide: float) -> Block:
        key, module, count, slots = pick_heads(self.facts)
        columns = [
            Column("", tick=True),
            Column(key, bold=True),
            Column(module, bold=True),
            Column(count, right=True, bold=True),
            Column(slots, grow=1.0),
        ]
        return table(columns, [["", *row] for row in rows], TEXT_MM, wide)


# -- the page to read before the work, and for figures ---------------------------------------------------------------

_STATUS = {
    "proven": "proven when planned: first under this board file and this model",
    "best-found": "best found, not proven",
}
SEVERITY_WORDS = {"error": "does not obey", "warning": "not advised", "note": "note"}
MODEL = (
    "All bandwidths are peaks of a model of firmware, never a promise: firmware differs, and split-socket settings "
    "change the regions. STREAM usually measures 70 to 85 % of peak. One module on each channel gives share 1 "
    "here; full boards measure a few percent more, or less where the rate drops. The maker's manual comes "
    "before this sheet."
)


def asked_rows(facts: Facts) -> list[tuple[str, str]]:
    """What was asked, and how good the answer is known to be, as names and values."""
    place = facts.placement
    trust = TRUST[facts.board.trust]
    return [
        (
            "Asked for",
            f"{format_capacity(place.capacity_gib)} usable, mode {place.mode.words}, list {clean(place.prefer)}",
        ),
        ("Sockets fitted", listed([clean(socket) for socket in place.fitted])),
        ("Processor", _processors(facts) or "the board file names none"),
        *([("Inlet", f"at most {place.inlet_c} °C")] if place.inlet_c is not None else []),
        *([("Trays absent", listed([clean(name) for name in place.absent]))] if place.absent else []),
        ("Answer", _answer(facts)),
        ("Board file", f"{facts.board.id}, {trust}, electrical part {facts.board.electrical_digest}"),
    ]


def _processors(facts: Facts) -> str:
    """The processor of all sockets, or of each."""
    titles = {option.id: clean(option.title or option.id) for option in facts.board.processors}
    seats = facts.placement.processors
    if len(set(seats.values())) > 1:
        return "; ".join(f"{clean(socket)}: {titles[option]}" for socket, option in seats.items())
    return titles[next(iter(seats.values()))] if seats else ""


def _answer(facts: Facts) -> str:
    if facts.broken:
        return NOT_OBEYED
    if facts.placement.electrical_digest != facts.board.electrical_digest:
        return "not proven: the board file has changed since"
    return _STATUS[facts.placement.status]


def total_items(figures: PlacementFigures) -> list[tuple[str, str]]:
    """The figures of the whole machine as names and values."""
    return [
        ("Usable", format_capacity(figures.usable_gib)),
        ("installed", format_capacity(figures.capacity_gib)),
        ("modules", str(figures.modules)),
        ("free slots", str(figures.free_slots)),
        ("rate", f"{figures.rate_mts} MT/s"),
        ("balanced sweep", gb_s(figures.balanced_sweep_gb_s)),
        ("worst socket", gb_s(figures.worst_sweep_gb_s)),
        ("difference between sockets", format_capacity(figures.socket_difference_gib)),
        *([("modules take at most", watts_words(figures.watts))] if figures.watts is not None else []),
    ]


SOCKET_HEADS = ("socket", "modules", "GiB", "MT/s", "peak", "sweep", "parallel", "share", "the rate is limited by")


def socket_rows(figures: PlacementFigures) -> list[list[str]]:
    """One row of texts for each socket, under ``SOCKET_HEADS``."""
    return [
        [
            clean(socket.socket),
            str(socket.modules),
            gib_words(socket.usable_gib),
            str(socket.rate.rate_mts),
            f"{decimal(socket.peak_gb_s, 1):.1f}",
            f"{decimal(socket.sweep_gb_s, 1):.1f}",
            f"{decimal(socket.parallel_gb_s, 1):.1f}",
            f"{decimal(socket.share * 100, 1):g} %",
            clean(rate_row_words(socket.rate.row)) if socket.modules else "no modules",
        ]
        for socket in figures.sockets
    ]


def socket_note(board: Board, mode: Mode) -> str:
    """What the columns of ``socket_rows`` are."""
    said = "GiB is usable; peak, sweep and parallel in GB/s; share is sweep over peak."
    row = mode_row(board, mode)
    return f"{said} {row.figures_note()}" if row is not None and row.figures_note() else said


class ReferencePanel(Panel):
    """A panel in small letters, for what nobody needs at the open chassis."""

    cap_mm = SMALLEST_TEXT_MM


class RequestPanel(ReferencePanel):
    """What was asked, and how good the answer is known to be."""

    title = "Request and answer"

    def lines(self, wide: float) -> list[Block]:
        """A name and a value on each line."""
        rows = asked_rows(self.facts)
        lead = widest([head for head, _ in rows], self.cap_mm) + 3.0
        return [
            side_by_side([self.said(head, lead), self.said(said, wide - lead, bold=True)], 0.0) for head, said in rows
        ]


class FiguresPanel(ReferencePanel):
    """The figures of the whole machine, or why there are none."""

    title = "Figures"
    gap_mm = 0.6

    @property
    def head(self) -> str:
        """Its title, where there are figures."""
        return self.title if self.facts.figures else ""

    def lines(self, wide: float) -> list[Block]:
        """All figures in one paragraph; what the share means where it is below 1."""
        figures = self.facts.figures
        if figures is None:
            said = "No figures: a fitted socket has no module that the board lists a rate for."
            return [self.said(said, wide, bold=True)]
        items = total_items(figures)
        runs: list[Run] = []
        for number, (head, said) in enumerate(items):
            runs += [(head, False), (said + ("," if number < len(items) - 1 else "."), True)]
        blocks = [paragraph(runs, self.cap_mm, wide)]
        if any(socket.share < 1 for socket in figures.sockets):
            blocks.append(self.said(share_sentence(figures) + ".", wide))
        return blocks


class SocketsPanel(ReferencePanel):
    """One row for each socket: capacity, rate and what limits it, bandwidths, share."""

    title = "Per socket"
    gap_mm = 0.6

    def lines(self, wide: float) -> list[Block]:
        """The table, and what its columns are."""
        if self.facts.figures is None:
            return []
        last = len(SOCKET_HEADS) - 1
        columns = [
            Column(name, right=0 < place < last, bold=name in ("socket", "GiB", "MT/s"), grow=float(place == last))
            for place, name in enumerate(SOCKET_HEADS)
        ]
        body = table(columns, socket_rows(self.facts.figures), self.cap_mm, wide)
        return [body, self.said(socket_note(self.facts.board, self.facts.placement.mode), wide)]


class RegionsPanel(ReferencePanel):
    """Regions to the eye: length is capacity, height is the number of channels that serve it."""

    title = "Regions: length is capacity, height is channels at work"
    gap_mm = 1.2

    def lines(self, wide: float) -> list[Block]:
        """A bar and a sentence for each socket."""
        sockets = self.facts.figures.sockets if self.facts.figures else ()
        most = max((float(Fraction(socket.usable_gib)) for socket in sockets), default=0.0) or 1.0
        lead = widest([socket_words(socket.socket) for socket in sockets], self.cap_mm, bold=True) + 3.0
        blocks: list[Block] = []
        for socket in sockets:
            channels = len(self.facts.board.socket(socket.socket).channels)
            bar = _region_bar(socket, channels, self.cap_mm, gib_mm=(wide - lead) / most, lead=lead, width_mm=wide)
            said = regions_sentence(socket) if socket.regions else "No modules."
            blocks.append(stacked([bar, self.said(said, wide, indent=lead)], 0.8))
        return blocks


def _region_bar(
    socket: SocketFigures, channels: int, cap_mm: float, *, gib_mm: float, lead: float, width_mm: float
) -> Block:
    high = cap_mm + 3.6

    def draw(x: float, y: float) -> list[Shape]:
        shapes: list[Shape] = [label(x, y + high / 2 + cap_mm / 2, socket_words(socket.socket), cap_mm, "b")]
        at = x + lead
        for region in socket.regions:
            wide, tall = float(region.capacity_gib) * gib_mm, high * region.ways / channels
            shapes.append(Rect(x=at, y=y + high - tall, width=wide, height=tall, look="bar"))
            said = f"{counted(region.ways, 'channel')}"
            if tall >= cap_mm + 1.2 and width(said, cap_mm) < wide - 2.0:
                base = y + high - tall / 2 + cap_mm / 2
                shapes.append(label(at + wide / 2, base, said, cap_mm, "", anchor="middle"))
            at += wide
        shapes.append(Line(x1=x + lead, y1=y + high, x2=x + width_mm, y2=y + high, look="thin"))
        return shapes

    return Block(width_mm, high, draw)


class FindingsPanel(ReferencePanel):
    """Every finding: how severe, what it says, and the board's row that it comes from."""

    title = "Findings, each with its row of the board file"

    def lines(self, wide: float) -> list[Block]:
        """A paragraph for each."""
        return [
            paragraph(
                [(f"{SEVERITY_WORDS[f.severity]}:", True), (f"{clean(f.text)} ({clean(f.rule)})", False)],
                self.cap_mm,
                wide,
            )
            for f in self.facts.findings
        ]

    def blocks(self, wide: float) -> list[Block]:
        """The first finding under the title, each other one by itself."""
        lines = self.lines(wide)
        return [headed(self.head, lines[0], self.cap_mm), *lines[1:]] if lines else []


class ModelPanel(ReferencePanel):
    """What the figures are worth."""

    title = ""

    def lines(self, wide: float) -> list[Block]:
        """That they are those of a model."""
        return [self.said(MODEL, wide)]


FIGURE_PANELS: tuple[type[Panel], ...] = (
    RequestPanel,
    FiguresPanel,
    SocketsPanel,
    RegionsPanel,
    FindingsPanel,
    ModelPanel,
)
"""In the order of the page."""
