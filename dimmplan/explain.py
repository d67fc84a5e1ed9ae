"""Sentences: the one place where objects of the core become words for people."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from dimmplan.figures import PlacementFigures, SocketFigures
from dimmplan.model.board import Board
from dimmplan.model.finding import Finding, FindingSeverity
from dimmplan.model.module import MOST_LOGICAL_RANKS, Module
from dimmplan.model.placement import Placement
from dimmplan.model.request import Mode
from dimmplan.model.rows import (
    AcceptRow,
    AlikeRow,
    BlanksRow,
    CeilingRow,
    ChannelOrderRow,
    CountsRow,
    FillOrderRow,
    FittedRow,
    MirroringRow,
    MixRow,
    NoteRow,
    RankLimitRow,
    RuleRow,
    SequenceRow,
    SocketMinimumRow,
    SparingRow,
    ThermalRow,
    Trust,
)
from dimmplan.modes import judge_mode, mirroring_row, sparing_row
from dimmplan.rules import RATE_RULE, Breach, judge
from dimmplan.units import decimal, format_capacity

_FIELDS = {
    "generation": "generation",
    "voltage_mv": "supply voltage",
    "form_factor": "form factor",
    "kind": "kind",
    "ecc_bits": "ECC width",
    "device_width": "device width",
    "package_ranks": "package ranks",
    "logical_ranks": "logical ranks",
    "capacity_gib": "capacity",
    "rate_mts": "rate",
    "die_family": "die family",
}
_APART = {
    "system": "in one system",
    "socket": "at one socket",
    "channel": "on one channel",
}
_RANKS = {"package": "package ranks", "logical": "logical ranks", "loads": "loads"}
TRUST: dict[Trust, str] = {
    "example": "invented example",
    "drafted": "DRAFTED, not checked",
    "manual": "read from a manual",
    "running": "seen running",
}
"""How far a board file can be trusted, in words."""

CHANGED_RULE = "board-changed"
"""Rule id of the finding that a map was made before its board changed."""

_SEVERITY: dict[str, FindingSeverity] = {"error": "error", "advised": "warning"}


def listed(words: Sequence[str], *, last: str = "and") -> str:
    """Words as a list in a sentence: ``a, b and c``."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"


def counted(number: int, noun: str) -> str:
    """A number with its noun: ``1 module``, ``2 modules``."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def sockets_listed(sockets: Sequence[str]) -> str:
    """Sockets in a sentence, with the word before them where a name alone would read as a number."""
    bare = all(name[:1].isalpha() for name in sockets)
    return listed(list(sockets)) if bare else f"socket{'s' if len(sockets) > 1 else ''} {listed(list(sockets))}"


def modules_phrase(counts: Iterable[tuple[Module, int]]) -> str:
    """Modules in a sentence: ``12 x 32GB 2Rx4 PC4-2933Y-R``."""
    return " + ".join(f"{count} x {module.label}" for module, count in counts)


def gb_s(value: object) -> str:
    """A bandwidth in GB/s with one decimal."""
    return f"{decimal(value, 1):.1f} GB/s"  # type: ignore[arg-type]


def rule_sentence(row: RuleRow) -> str:  # noqa: PLR0911, PLR0912 - one line for each kind of row
    """A rule row in plain words; the board's own wording goes before."""
    if row.text:
        return row.text
    if isinstance(row, AcceptRow):
        values = [_value(row.field, value) for value in row.values]
        return f"The board takes modules of {_FIELDS[row.field]} {listed(values, last='or')}."
    if isinstance(row, MixRow):
        if row.apart == "nowhere":
            return f"Modules that differ in {_FIELDS[row.field]} may be mixed, on one channel too."
        return f"Modules that differ in {_FIELDS[row.field]} are never mixed {_APART[row.apart]}."
    if isinstance(row, RankLimitRow):
        return f"A channel carries at most {row.most} {_RANKS[row.count]}."
    if isinstance(row, FillOrderRow):
        return "A channel fills in slot order, without a gap."
    if isinstance(row, ChannelOrderRow):
        keys = [f"more {_FIELDS[key]}" if key != "capacity_gib" else "larger capacity" for key in row.keys]
        return f"Along a channel, {', then '.join([f'{keys[0]} first', *keys[1:]])}."
    if isinstance(row, SocketMinimumRow):
        return f"Every fitted socket has at least {counted(row.modules, 'module')}."
    if isinstance(row, CeilingRow):
        return f"A socket holds at most {format_capacity(row.socket_gib)}{_meant(row.sockets)}."
    if isinstance(row, CountsRow):
        counts = listed([str(count) for count in row.modules], last="or")
        return f"A socket carries {counts} modules{_meant(row.sockets)}."
    if isinstance(row, SequenceRow):
        return f"The slots of {row.socket} fill in this order: {', '.join(row.slots)}."
    if isinstance(row, FittedRow):
        return f"Sockets that may be fitted: {'; '.join(listed(fitted) for fitted in row.sets)}."
    if isinstance(row, AlikeRow):
        what = {"capacity": "capacity", "count": "number of modules", "population": "population"}[row.what]
        return f"All fitted sockets have the same {what}."
    if isinstance(row, ThermalRow):
        kinds = f"{listed([kind.value for kind in row.kinds], last='or')} modules" if row.kinds else "Modules"
        return f"{kinds} of {row.from_gib} GiB or more need {row.needs}."
    if isinstance(row, BlanksRow):
        return f"Empty slots{_meant(row.slots)} carry a blank."
    if isinstance(row, MirroringRow):
        sizes = row.group_channels if isinstance(row.group_channels, tuple) else (row.group_channels,)
        groups = listed([str(size) for size in sizes], last="or")
        counts = f", with {listed([str(n) for n in row.modules], last='or')} modules" if row.modules else ""
        one = ", one module type only" if row.one_type else ""
        where = "controller" if row.within == "controller" else "socket"
        return f"Mirroring takes groups of {groups} identical channels of one {where}{counts}{one}; half is usable."
    if isinstance(row, SparingRow):
        return f"Rank sparing gives up one {row.spare} rank of each filled channel; it needs {row.min_ranks} ranks."
    assert isinstance(row, NoteRow)
    return row.text


def _meant(names: Sequence[str]) -> str:
    return f" ({listed(list(names))})" if names else ""


def _value(field: str, value: object) -> str:
    if field == "voltage_mv":
        return f"{int(str(value)) / 1000:g} V"
    if field == "device_width":
        return f"x{value}"
    if field == "capacity_gib":
        return f"{value} GiB"
    if field == "rate_mts":
        return f"{value} MT/s"
    if field == "ecc_bits":
        return f"{value} bits"
    return str(value)


def breach_finding(board: Board, breach: Breach) -> Finding:
    """A broken row as a finding."""
    row = next((row for row in board.rules if row.id == breach.rule), None)
    kind, _, name = breach.rule.partition(":")
    said = rule_sentence(row) if row else f"Allowed: {breach.allowed}."
    if kind == "processor":
        said = f"A socket with the processor {name} holds {breach.allowed}."
    where = f" ({listed(list(breach.where))})" if breach.where else ""
    allowed = "" if breach.allowed.lower() in said.lower() else f"; allowed: {breach.allowed}"
    text = f"{said} Here: {breach.found}{where}{allowed}."
    if breach.rule == RATE_RULE:
        text = f"The board lists no rate for {breach.found}{where}, so it does not run."
    return Finding(
        rule=breach.rule,
        severity=_SEVERITY[breach.severity],
        where=breach.where,
        text=text,
        source=breach.source,
    )


def placement_findings(board: Board, placement: Placement, figures: PlacementFigures | None) -> list[Finding]:
    """What follows from a placement and its board: broken rows, then what a person must know of it."""
    option = board.processor(placement.processor)
    breaches = (
        *judge(board, option, placement.fitted, placement.content),
        *judge_mode(board, placement.mode, placement.fitted, placement.content),
    )
    found = [*_changed_since(board, placement), *(breach_finding(board, breach) for breach in breaches)]
    found += drafted_findings(board)
    found += _mode(board, placement, figures)
    found += _thermal(board, placement)
    found += _doubtful_labels(placement)
    if figures is not None:
        found += _slower_than_label(placement, figures)
    found += [
        Finding(rule=row.id, severity="note", where=(), text=row.text, source=row.source)
        for row in board.rules
        if isinstance(row, NoteRow)
    ]
    return found


def drafted_findings(board: Board) -> Iterator[Finding]:
    """What the board's draft guesses and nobody has seen to."""
    for about, question in board.guesses:
        text = f"Guessed by the draft, {about}: {question}. Delete {about} under [guesses] when you have seen to it."
        yield Finding(rule=f"drafted-{about}", severity="note", where=(), text=text, source="MODEL")


def _changed_since(board: Board, placement: Placement) -> Iterator[Finding]:
    """A map made before its board's slots, rules or rates changed must say so."""
    if placement.electrical_digest != board.electrical_digest:
        text = (
            f"The slots, rules or rates of {board.id} have changed since it was made. Every slot that it names is "
            "still there; a new plan tells whether they are still the best."
        )
        yield Finding(rule=CHANGED_RULE, severity="warning", where=(), text=text, source="MODEL")


def _mode(board: Board, placement: Placement, figures: PlacementFigures | None) -> Iterator[Finding]:
    """What a person must know of a mode: it is set in firmware, and what the machine shows until then."""
    if placement.mode is Mode.INDEPENDENT or figures is None:
        return
    row = mirroring_row(board) if placement.mode is Mode.MIRRORED else sparing_row(board)
    shown, usable = format_capacity(figures.capacity_gib), format_capacity(figures.usable_gib)
    text = (
        f"The mode {placement.mode.value} must be set in firmware; until then the machine shows {shown}, then {usable}."
    )
    if placement.mode is Mode.MIRRORED:
        text += " Sweep figures are those of reading; writing is half of them."
    yield Finding(
        rule=row.id if row else "mode", severity="note", where=(), text=text, source=row.source if row else "MODEL"
    )


def _thermal(board: Board, placement: Placement) -> Iterator[Finding]:
    for row in board.rules:
        if not isinstance(row, ThermalRow):
            continue
        hot = tuple(
            slot
            for slot, module in placement.slots
            if module and module.capacity_gib >= row.from_gib and (not row.kinds or module.kind in row.kinds)
        )
        if hot:
            yield Finding(rule=row.id, severity="note", where=hot, text=rule_sentence(row), source=row.source)


def _doubtful_labels(placement: Placement) -> Iterator[Finding]:
    """Types whose label is read as it stands and yet names no module that is known."""
    for module in placement.types:
        if module.logical_ranks > MOST_LOGICAL_RANKS:
            height = module.logical_ranks // module.package_ranks
            text = (
                f"{module.label} says {module.package_ranks} package ranks of {height} logical ranks each, "
                f"{module.logical_ranks} in all. No such module is known: read the label again."
            )
            yield Finding(rule="label", severity="note", where=(), text=text, source="PRACTICE")


def _slower_than_label(placement: Placement, figures: PlacementFigures) -> Iterator[Finding]:
    """Types that run below the rate on their label, with what limits them."""
    for module in placement.types:
        slow = [socket for socket in figures.sockets if socket.rate.rate_mts < module.rate_mts]
        if slow:
            binding = rate_binding(slow[0])
            yield Finding(
                rule=slow[0].rate.row,
                severity="note",
                where=tuple(socket.socket for socket in slow),
                text=f"{module.label} runs at {slow[0].rate.rate_mts} MT/s, below its label: {binding} limits it.",
                source="MODEL",
            )


def rate_binding(socket: SocketFigures) -> str:
    """What holds a socket's rate down, in words."""
    kind, _, name = socket.rate.row.partition(":")
    if kind == "processor":
        return f"the processor {name}"
    if kind == "module":
        return f"the module {name}"
    return f"the board's rate row {socket.rate.row}"


def regions_sentence(socket: SocketFigures) -> str:
    """The regions of a socket in words."""
    parts = [
        f"{format_capacity(region.capacity_gib)} over {counted(region.ways, 'channel')}" for region in socket.regions
    ]
    if len(parts) == 1:
        return f"All {parts[0]}."
    middle = [f"then {part}" for part in parts[1:-1]]
    return f"The first {parts[0]}, {''.join(part + ', ' for part in middle)}the last {parts[-1]}."


def share_sentence(figures: PlacementFigures) -> str:
    """The worst share in words."""
    share = decimal(figures.worst_share * 100, 1)
    return f"A full sweep uses {share:g} % of the peak at the slowest socket"


def label_short(module: Module) -> str:
    """A type in a few words: size, ranks and width."""
    return module.label.split(" PC")[0]


def blank_slots(board: Board, placement: Placement) -> tuple[str, ...]:
    """Empty slots that must carry a blank, in board order."""
    rows = [row for row in board.rules if isinstance(row, BlanksRow)]
    wanted = {slot for row in rows for slot in (row.slots or board.slots)}
    return tuple(s for s, module in placement.slots if s in wanted and module is None and s not in placement.hold)
