"""The page for the desk: what was asked, the figures, the regions, every finding. The rack needs none of it."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from dimmplan.figures import PlacementFigures, SocketFigures
from dimmplan.model.board import Board
from dimmplan.model.request import Mode
from dimmplan.rules import mode_row
from dimmplan.sheet.blocks import Block, Column, headed, label, paragraph, stacked, table
from dimmplan.sheet.facts import NOT_OBEYED, Facts, clean, gib_words, socket_words
from dimmplan.sheet.measure import Run, widest, width
from dimmplan.sheet.shapes import Line, Rect, Shape
from dimmplan.units import counted, decimal, format_capacity, listed, watts_words
from dimmplan.wording.placement import TRUST, gb_s, rate_row_words, regions_sentence, share_sentence

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


def asked(facts: Facts, cap_mm: float, width_mm: float) -> Block:
    """What was asked, and how good the answer is known to be."""
    rows = asked_rows(facts)
    lead = widest([head for head, _ in rows], cap_mm) + 3.0

    def row(head: str, said: str) -> Block:
        text = paragraph([(said, True)], cap_mm, width_mm - lead)

        def draw(x: float, y: float) -> list[Shape]:
            return [label(x, y + cap_mm + 0.3, head, cap_mm), *text.draw(x + lead, y)]

        return Block(width_mm, text.height, draw)

    return headed("Request and answer", stacked([row(*pair) for pair in rows], 0.4), cap_mm)


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


def totals(facts: Facts, figures: PlacementFigures, cap_mm: float, width_mm: float) -> Block:
    """The figures of the whole machine."""
    runs: list[Run] = []
    items = total_items(figures)
    for number, (head, said) in enumerate(items):
        runs += [(head, False), (said + ("," if number < len(items) - 1 else "."), True)]
    blocks = [paragraph(runs, cap_mm, width_mm)]
    if any(socket.share < 1 for socket in figures.sockets):
        blocks.append(paragraph([(share_sentence(figures) + ".", False)], cap_mm, width_mm))
    return headed("Figures", stacked(blocks, 0.6), cap_mm)


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


def per_socket(figures: PlacementFigures, note: str, cap_mm: float, width_mm: float) -> Block:
    """One row for each socket: capacity, rate and what limits it, bandwidths, share."""
    columns = [
        Column(
            name,
            right=0 < place < len(SOCKET_HEADS) - 1,
            bold=name in ("socket", "GiB", "MT/s"),
            grow=float(place == len(SOCKET_HEADS) - 1),
        )
        for place, name in enumerate(SOCKET_HEADS)
    ]
    body = table(columns, socket_rows(figures), cap_mm, width_mm)
    return headed("Per socket", stacked([body, paragraph([(note, False)], cap_mm, width_mm)], 0.6), cap_mm)


def region_chart(figures: PlacementFigures, channels: Sequence[int], cap_mm: float, width_mm: float) -> Block:
    """Regions to the eye: length is capacity, height is the number of channels that serve it."""
    blocks: list[Block] = []
    most = float(max(Fraction(socket.usable_gib) for socket in figures.sockets)) or 1.0
    lead = widest([socket_words(socket.socket) for socket in figures.sockets], cap_mm, bold=True) + 3.0
    for socket, count in zip(figures.sockets, channels, strict=True):
        bar = _region_bar(socket, count, cap_mm, gib_mm=(width_mm - lead) / most, lead=lead, width_mm=width_mm)
        said = regions_sentence(socket) if socket.regions else "No modules."
        blocks.append(stacked([bar, paragraph([(said, False)], cap_mm, width_mm, indent=lead)], 0.8))
    return headed("Regions: length is capacity, height is channels at work", stacked(blocks, 1.2), cap_mm)


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


def findings(facts: Facts, cap_mm: float, width_mm: float) -> list[Block]:
    """Every finding: how severe, what it says, and the board's row that it comes from."""
    blocks: list[Block] = []
    for number, finding in enumerate(facts.findings):
        said = f"{clean(finding.text)} ({clean(finding.rule)})"
        text = paragraph([(f"{SEVERITY_WORDS[finding.severity]}:", True), (said, False)], cap_mm, width_mm)
        blocks.append(headed("Findings, each with its row of the board file", text, cap_mm) if not number else text)
    return blocks


def desk_blocks(facts: Facts, cap_mm: float, width_mm: float) -> list[Block]:
    """The panels of the desk page, in order."""
    blocks = [asked(facts, cap_mm, width_mm)]
    figures = facts.figures
    if figures is None:
        said = "No figures: a fitted socket has no module that the board lists a rate for."
        blocks.append(paragraph([(said, True)], cap_mm, width_mm))
    else:
        channels = [len(facts.board.socket(socket.socket).channels) for socket in figures.sockets]
        blocks += [
            totals(facts, figures, cap_mm, width_mm),
            per_socket(figures, socket_note(facts.board, facts.placement.mode), cap_mm, width_mm),
            region_chart(figures, channels, cap_mm, width_mm),
        ]
    blocks += findings(facts, cap_mm, width_mm)
    return [*blocks, paragraph([(MODEL, False)], cap_mm, width_mm)]
