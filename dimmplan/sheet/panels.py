"""The panels of a sheet: each is one class that says where it stands, its title, its rows of texts and its lines.

The five stages of the work are in ``stages.py``. The rows feed the HTML page too.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import ClassVar, Literal

from dimmplan.figures import SocketFigures
from dimmplan.rules import mode_row
from dimmplan.sheet.blocks import Block, Column, headed, label, paragraph, side_by_side, stacked, table
from dimmplan.sheet.facts import NOT_OBEYED, Facts, LeftFact, SlotFact, clean, gib_words, socket_words
from dimmplan.sheet.letters import widest, width
from dimmplan.sheet.shapes import SMALLEST_TEXT_MM, TEXT_MM, Line, Rect, Shape
from dimmplan.units import counted, decimal, format_capacity, listed, watts_words
from dimmplan.wording import CHANGED_RULE, TRUST, gb_s, label_short, rate_row_words, regions_sentence, share_sentence

Batches = Sequence[tuple[str, tuple[SlotFact, ...]]]
"""Steps that are done together, each batch with its name."""

Row = tuple[str, ...]

PANELS: defaultdict[str, list[type[Panel]]] = defaultdict(list)
"""The panels of each place, in the order in which they are defined and stand there."""


@dataclass(frozen=True)
class Panel:
    """A part of the sheet under a title of its own. ``brief`` is what must be said alone.

    ``on`` is its place: ``chassis`` for the five stages, ``figures`` for the page to read at the desk, ``rules`` for a
    map of rules; without one it is called for by name.
    """

    facts: Facts
    batches: Batches = ()
    brief: bool = False

    title: ClassVar[str] = ""
    cap_mm: ClassVar[float] = TEXT_MM
    gap_mm: ClassVar[float] = 0.4
    """Between its lines."""

    def __init_subclass__(cls, on: Literal["chassis", "figures", "rules", ""] = "") -> None:
        if on:
            PANELS[on].append(cls)
        if on == "figures":  # nobody needs them at the open chassis
            cls.cap_mm = SMALLEST_TEXT_MM

    @property
    def head(self) -> str:
        """Its title on this sheet; empty for a panel without one."""
        return self.title

    @property
    def rows(self) -> list[Row]:
        """What it tells, as texts side by side; none where it tells something else."""
        return []

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


class MachineNotes(Panel):
    """Broken rules and what the board asks of the person at the chassis; nothing where there is nothing."""

    @property
    def rows(self) -> list[Row]:
        """Each with the words that stand out before it; none before a note."""
        leads = {"error": "Does not obey the board:", "warning": "Not advised:", "note": ""}
        changed = "Do not place by this map:"
        return [
            (changed if finding.rule == CHANGED_RULE else leads[finding.severity], clean(finding.text))
            for finding in self.facts.chassis_findings
        ]

    def lines(self, wide: float) -> list[Block]:
        """All in one paragraph."""
        runs = [run for lead, text in self.rows for run in ((lead, True), (text, False)) if run[0]]
        return [paragraph([("For this machine:", True), *runs], TEXT_MM, wide)] if runs else []


class PickList(Panel):
    """What to fetch: box to tick, key, label, count, slots; then blanks, and what a change leaves over."""

    @property
    def heads(self) -> Row:
        """Of its columns; where a label leaves the device width open, its head says so."""
        is_open = any("x?" in kind.label for kind in self.facts.picked)
        return "key", "module (x?: width not known)" if is_open else "module, as its label says", "count", "slots"

    @property
    def rows(self) -> list[Row]:
        """One for each type."""
        facts = self.facts
        rows: list[Row] = [
            (kind.key, kind.label, f"{kind.count} ×", kind.slots + (f" ({kind.part})" if kind.part else ""))
            for kind in facts.picked
        ]
        if facts.blanks:
            names = facts.slots_in_words([slot for slot in facts.board.slots if slot in facts.blanks])
            rows.append(("", "blank for a slot", f"{len(facts.blanks)} ×", names))
        for slot in facts.released:
            rows.append(("", f"what is in {clean(slot, most=80)}: its data is saved", "", "take out first; keep safe"))
        for left in facts.left_over:
            steps = listed([str(number) for number in left.steps])
            out = f", out at {'step' if len(left.steps) == 1 else 'steps'} {steps}" if left.steps else ""
            said = f"do not fetch: left over{out}; keep safe"
            rows.append(("", clean(left.module.label), f"{left.count} ×", said))
        return rows

    def lines(self, wide: float) -> list[Block]:
        """The table."""
        return [self._table(self.rows, wide)] if self.rows else []

    def blocks(self, wide: float) -> list[Block]:
        """A table for each row, since a long list may take more than a page."""
        return [self._table([row], wide) for row in self.rows]

    def _table(self, rows: Sequence[Row], wide: float) -> Block:
        key, module, count, slots = self.heads
        columns = [
            Column("", tick=True),
            Column(key, bold=True),
            Column(module, bold=True),
            Column(count, right=True, bold=True),
            Column(slots, grow=1.0),
        ]
        return table(columns, [("", *row) for row in rows], TEXT_MM, wide)


def left_over(left: Sequence[LeftFact]) -> str:
    """How many modules of which size; of which type where two have one size."""
    sizes = {each.module.capacity_gib for each in left}
    names = [
        f"{each.module.capacity_gib}GB" if len(sizes) == len(left) else clean(label_short(each.module)) for each in left
    ]
    return ", ".join(f"{each.count} x {name}" for each, name in zip(left, names, strict=True))


# -- figures ----------------------------------------------------------------------------------------------------------

SEVERITY_WORDS = {"error": "does not obey", "warning": "not advised", "note": "note"}
MODEL = (
    "All bandwidths are peaks of a model of firmware, never a promise: firmware differs, and split-socket settings "
    "change the regions. STREAM usually measures 70 to 85 % of peak. One module on each channel gives share 1 "
    "here; full boards measure a few percent more, or less where the rate drops. The maker's manual comes "
    "before this sheet."
)


class RequestPanel(Panel, on="figures"):
    """What was asked, and how good the answer is known to be."""

    title = "Request and answer"

    @property
    def rows(self) -> list[Row]:
        """Names and values."""
        board, place = self.facts.board, self.facts.placement
        return [
            (
                "Asked for",
                f"{format_capacity(place.capacity_gib)} usable, mode {place.mode.words}, list {clean(place.prefer)}",
            ),
            ("Sockets fitted", listed([clean(socket) for socket in place.fitted])),
            ("Processor", self._processors() or "the board file names none"),
            *([("Inlet", f"at most {place.inlet_c} °C")] if place.inlet_c is not None else []),
            *([("Trays absent", listed([clean(name) for name in place.absent]))] if place.absent else []),
            ("Answer", self.answer),
            ("Board file", f"{board.id}, {TRUST[board.trust]}, electrical part {board.electrical_digest}"),
        ]

    @property
    def answer(self) -> str:
        """How good the placement is known to be."""
        if self.facts.broken:
            return NOT_OBEYED
        if self.facts.placement.electrical_digest != self.facts.board.electrical_digest:
            return "not proven: the board file has changed since"
        if self.facts.placement.status == "proven":
            return "proven when planned: nothing comes before it under this board file and this model"
        return "best found, not proven"

    def _processors(self) -> str:
        """The processor of all sockets, or of each."""
        titles = {option.id: clean(option.title or option.id) for option in self.facts.board.processors}
        seats = self.facts.placement.processors
        if len(set(seats.values())) > 1:
            return "; ".join(f"{clean(socket)}: {titles[option]}" for socket, option in seats.items())
        return titles[next(iter(seats.values()))] if seats else ""

    def lines(self, wide: float) -> list[Block]:
        """A name and a value on each line."""
        lead = widest([head for head, _ in self.rows], self.cap_mm) + 3.0
        return [
            side_by_side([self.said(head, lead), self.said(said, wide - lead, bold=True)], 0.0)
            for head, said in self.rows
        ]


class FiguresPanel(Panel, on="figures"):
    """The figures of the whole machine, or why there are none."""

    title = "Figures"
    gap_mm = 0.6

    @property
    def head(self) -> str:
        """Its title, where there are figures."""
        return self.title if self.facts.figures else ""

    @property
    def rows(self) -> list[Row]:
        """Names and values."""
        figures = self.facts.figures
        if figures is None:
            return []
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

    def lines(self, wide: float) -> list[Block]:
        """All figures in one paragraph; what the share means where it is below 1."""
        figures = self.facts.figures
        if figures is None:
            said = "No figures: a fitted socket has no module that the board lists a rate for."
            return [self.said(said, wide, bold=True)]
        *rows, last = self.rows
        pairs = [*((head, f"{said},") for head, said in rows), (last[0], f"{last[1]}.")]
        blocks = [paragraph([run for head, said in pairs for run in ((head, False), (said, True))], self.cap_mm, wide)]
        if any(socket.share < 1 for socket in figures.sockets):
            blocks.append(self.said(share_sentence(figures) + ".", wide))
        return blocks


class SocketsPanel(Panel, on="figures"):
    """One row for each socket: capacity, rate and what limits it, bandwidths, share."""

    title = "Per socket"
    gap_mm = 0.6
    heads = ("socket", "modules", "GiB", "MT/s", "peak", "sweep", "parallel", "share", "the rate is limited by")

    @property
    def rows(self) -> list[Row]:
        """One for each socket, under ``heads``."""
        return [
            (
                clean(socket.socket),
                str(socket.modules),
                gib_words(socket.usable_gib),
                str(socket.rate.rate_mts),
                f"{decimal(socket.peak_gb_s, 1):.1f}",
                f"{decimal(socket.sweep_gb_s, 1):.1f}",
                f"{decimal(socket.parallel_gb_s, 1):.1f}",
                f"{decimal(socket.share * 100, 1):g} %",
                clean(rate_row_words(socket.rate.row)) if socket.modules else "no modules",
            )
            for socket in (self.facts.figures.sockets if self.facts.figures else ())
        ]

    @property
    def note(self) -> str:
        """What the columns are."""
        said = (
            "GiB is usable; peak, sweep and parallel in GB/s. Sweep: every byte once. Parallel: "
            "all addresses used alike. Share: sweep over peak."
        )
        row = mode_row(self.facts.board, self.facts.placement.mode)
        return f"{said} {row.figures_note()}" if row is not None and row.figures_note() else said

    def lines(self, wide: float) -> list[Block]:
        """The table, and what its columns are."""
        if not self.rows:
            return []
        last = len(self.heads) - 1
        columns = [
            Column(name, right=0 < place < last, bold=name in ("socket", "GiB", "MT/s"), grow=float(place == last))
            for place, name in enumerate(self.heads)
        ]
        return [table(columns, self.rows, self.cap_mm, wide), self.said(self.note, wide)]


class RegionsPanel(Panel, on="figures"):
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
            bar = self._bar(socket, gib_mm=(wide - lead) / most, lead=lead, wide=wide)
            said = regions_sentence(socket) if socket.regions else "No modules."
            blocks.append(stacked([bar, self.said(said, wide, indent=lead)], 0.8))
        return blocks

    def _bar(self, socket: SocketFigures, *, gib_mm: float, lead: float, wide: float) -> Block:
        channels, cap = len(self.facts.board.socket(socket.socket).channels), self.cap_mm
        high = cap + 3.6

        def draw(x: float, y: float) -> list[Shape]:
            shapes: list[Shape] = [label(x, y + high / 2 + cap / 2, socket_words(socket.socket), cap, "b")]
            at = x + lead
            for region in socket.regions:
                long, tall = float(region.capacity_gib) * gib_mm, high * region.ways / channels
                shapes.append(Rect(x=at, y=y + high - tall, width=long, height=tall, look="bar"))
                said = counted(region.ways, "channel")
                if tall >= cap + 1.2 and width(said, cap) < long - 2.0:
                    base = y + high - tall / 2 + cap / 2
                    shapes.append(label(at + long / 2, base, said, cap, anchor="middle"))
                at += long
            return [*shapes, Line(x1=x + lead, y1=y + high, x2=x + wide, y2=y + high, look="thin")]

        return Block(wide, high, draw)


class FindingsPanel(Panel, on="figures"):
    """Every finding: how severe, what it says, and the board's row that it comes from."""

    title = "Findings, each with its row of the board file"

    def lines(self, wide: float) -> list[Block]:
        """A paragraph for each."""
        said = [
            [(f"{SEVERITY_WORDS[each.severity]}:", True), (f"{clean(each.text)} ({clean(each.rule)})", False)]
            for each in self.facts.findings
        ]
        return [paragraph(runs, self.cap_mm, wide) for runs in said]

    def blocks(self, wide: float) -> list[Block]:
        """The first finding under the title, each other one by itself."""
        lines = self.lines(wide)
        return [headed(self.head, lines[0], self.cap_mm), *lines[1:]] if lines else []


class ModelPanel(Panel, on="figures"):
    """What the figures are worth: they are those of a model."""

    def lines(self, wide: float) -> list[Block]:
        """One paragraph."""
        return [self.said(MODEL, wide)]
