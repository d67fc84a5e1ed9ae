"""Sentences that sheet and answers share: objects in, plain English out. A rule words itself (``dimmplan.rules``)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from dimmplan.figures import NodeFigures, PlacementFigures, SocketFigures
from dimmplan.model.board import Board
from dimmplan.model.module import MOST_LOGICAL_RANKS, Module
from dimmplan.model.placement import Finding, FindingSeverity, Placement
from dimmplan.model.request import Mode
from dimmplan.model.rows import Trust
from dimmplan.rules import (
    RATE_RULE,
    SERVED_RULE,
    BlanksRow,
    Breach,
    judge,
    mode_row,
    of_kind,
    rules_of,
)
from dimmplan.units import Gib, by_key, counted, decimal, format_capacity, listed, trimmed

if TYPE_CHECKING:
    from dimmplan.solve.criteria import Criterion, Value

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


def sockets_listed(sockets: Sequence[str]) -> str:
    """Sockets in a sentence, with the word before them where a name alone would read as a number."""
    bare = all(name[:1].isalpha() for name in sockets)
    return listed(list(sockets)) if bare else f"socket{'s' if len(sockets) > 1 else ''} {listed(list(sockets))}"


def gb_s(value: object) -> str:
    """A bandwidth in GB/s with one decimal."""
    return f"{decimal(value, 1):.1f} GB/s"  # type: ignore[arg-type]


def share_text(share: Fraction) -> str:
    """A share with four decimals."""
    return f"{decimal(share, 4):.4f}"


def breach_finding(board: Board, breach: Breach) -> Finding:
    """A broken row as a finding."""
    row = next((row for row in rules_of(board) if row.id == breach.rule), None)
    kind, _, name = breach.rule.partition(":")
    said = row.brief() if row else f"Allowed: {breach.allowed}."
    if kind == "processor":
        said = f"A socket with the processor {name} holds {breach.allowed}."
    where = f" ({listed(list(breach.where))})" if breach.where else ""
    allowed = "" if breach.allowed.lower() in said.lower() else f"; allowed: {breach.allowed}"
    text = f"{said} Here: {breach.found}{where}{allowed}."
    if breach.check == SERVED_RULE:
        text = f"{listed(breach.where)}: {breach.found}; allowed: {breach.allowed}."
    if breach.check == RATE_RULE:
        text = f"{name or 'The board'} lists no rate for {breach.found}{where}: it does not run."
    return Finding(breach.rule, _SEVERITY[breach.severity], breach.where, text, breach.source)


def placement_findings(board: Board, placement: Placement, figures: PlacementFigures | None) -> list[Finding]:
    """What follows from a placement and its board: broken rows, then what a person must know of it."""
    option = board.processor(placement.processor)
    breaches = judge(board, option, placement.fitted, placement.content, mode=placement.mode)
    told = list(_told(board, placement))
    return [
        *_changed_since(board, placement),
        *(breach_finding(board, breach) for breach in breaches),
        *drafted_findings(board),
        *(_mode(board, placement, figures) if figures is not None else ()),
        *(finding for finding in told if finding.where),
        *(_nodes_differ(board, figures) if figures is not None else ()),
        *_doubtful_labels(placement),
        *(_slower_than_label(placement, figures) if figures is not None else ()),
        *(finding for finding in told if not finding.where),
    ]


def drafted_findings(board: Board) -> Iterator[Finding]:
    """What the board's draft guesses and nobody has seen to."""
    for about, question in board.guesses:
        guess = f"A guess in the board file, {about}: {question.rstrip('.')}{'' if question.endswith('?') else '.'}"
        text = f"{guess} Once it is settled, delete {about} under [guesses]."
        yield Finding(rule=f"drafted-{about}", severity="note", where=(), text=text, source="MODEL")


def node_sentences(figures: PlacementFigures) -> Iterator[str]:
    """The figures of the nodes of each socket, one sentence for each setting."""
    for (setting, socket), nodes in _by_setting(figures).items():
        each = [f"{n.node} {format_capacity(n.figures.usable_gib)} at {gb_s(n.figures.sweep_gb_s)}" for n in nodes]
        yield f"Nodes of {socket} with {setting} (sweep): {', '.join(each)}"


def _by_setting(figures: PlacementFigures) -> dict[tuple[str, str], list[NodeFigures]]:
    return by_key(figures.nodes, lambda node: (node.setting, node.figures.socket))


def _nodes_differ(board: Board, figures: PlacementFigures) -> Iterator[Finding]:
    """Sockets whose nodes would be unequal with a setting of the board file."""
    sources = {row.id: row.source for row in board.nodes}
    unequal = [
        (setting, socket)
        for (setting, socket), nodes in _by_setting(figures).items()
        if len({(node.figures.usable_gib, node.figures.sweep_gb_s) for node in nodes}) > 1
    ]
    for setting, pairs in by_key(unequal, lambda pair: pair[0]).items():
        sockets = [socket for _, socket in pairs]
        text = (
            f"With the firmware setting {setting} the nodes of {listed(sockets)} are unequal: a program that is bound "
            "to one node has the memory and the speed of that node."
        )
        yield Finding("nodes-differ", "note", tuple(sockets), text, sources[setting])


def _changed_since(board: Board, placement: Placement) -> Iterator[Finding]:
    """A map made before its board's slots, rules or rates changed must say so."""
    if placement.electrical_digest != board.electrical_digest:
        text = (
            f"The slots, rules or rates of {board.id} have changed since this map was made. All its slots still exist. "
            "Plan again to see whether it is still the best."
        )
        yield Finding(rule=CHANGED_RULE, severity="warning", where=(), text=text, source="MODEL")


def _mode(board: Board, placement: Placement, figures: PlacementFigures) -> Iterator[Finding]:
    """What a person must know of a mode: it is set in firmware, and what the machine shows until then."""
    if placement.mode is Mode.INDEPENDENT:
        return
    row = mode_row(board, placement.mode)
    shown, usable = format_capacity(figures.capacity_gib), format_capacity(figures.usable_gib)
    text = f"Set the mode {placement.mode.words} in firmware."
    if shown != usable:
        text += f" Before that the machine shows {shown}, afterwards {usable}."
    if row is not None and row.figures_note():
        text += f" {row.figures_note()}"
    yield Finding(row.id if row else "mode", "note", (), text, row.source if row else "MODEL")


def _told(board: Board, placement: Placement) -> Iterator[Finding]:
    """Rows that are only told: what modules need in their slots, and the board's own notes."""
    for row in rules_of(board):
        where = row.on(board, None).told_at(placement.content)
        if where is not None:
            yield Finding(rule=row.id, severity="note", where=where, text=row.sentence(), source=row.source)


def _doubtful_labels(placement: Placement) -> Iterator[Finding]:
    """Types whose label is read as it stands and yet names no module that is known."""
    for module in placement.types:
        if module.logical_ranks > MOST_LOGICAL_RANKS:
            height = module.logical_ranks // module.package_ranks
            text = (
                f"{module.label} says {module.package_ranks} package ranks of {height} logical ranks each, "
                f"{module.logical_ranks} in all. No such module is known. Read the label again."
            )
            yield Finding(rule="label", severity="note", where=(), text=text, source="PRACTICE")


def _slower_than_label(placement: Placement, figures: PlacementFigures) -> Iterator[Finding]:
    """Types that run below the rate on their label, with what limits them."""
    for module in placement.types:
        slow = [socket for socket in figures.sockets if socket.rate.rate_mts < module.rate_mts]
        if slow:
            rate, where = slow[0].rate, tuple(socket.socket for socket in slow)
            binding = rate_row_words(rate.row)
            text = f"{module.label} runs at {rate.rate_mts} MT/s, below its label: {binding} limits it."
            yield Finding(rate.row, "note", where, text, "MODEL")


def rate_row_words(row: str) -> str:
    """What holds a rate down, by the id of its row: a rate row, ``processor:ID`` or ``module:LABEL``."""
    kind, _, name = row.partition(":")
    words = {"processor": f"the processor {name}", "module": f"the module {name}"}
    return words.get(kind, f"the board's rate row {row}")


def regions_sentence(socket: SocketFigures) -> str:
    """The regions of a socket in words."""
    if not socket.regions:
        return "Nothing."
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
    wanted = {slot for row in of_kind(board.rules, BlanksRow) for slot in (row.slots or board.slots)}
    return tuple(s for s, module in placement.slots if s in wanted and module is None and s not in placement.hold)


# -- criteria ----------------------------------------------------------------------------------------------------

_BANDWIDTHS = {
    "balanced_sweep": "balanced sweep",
    "system_sweep": "system sweep",
    "worst_sweep": "sweep of the worst socket",
    "worst_parallel": "parallel of the worst socket",
}
_CAPACITIES = {
    "over_gib": "over the request",
    "socket_difference_gib": "between the sockets",
    "controller_difference_gib": "between controllers",
}
_COUNTS = {
    "advised_broken": ("advised rule broken", "advised rules broken"),
    "regions": ("region", "regions"),
    "narrowest_ways": ("channel in the narrowest region", "channels in the narrowest region"),
    "types": ("module type", "module types"),
    "low_rank_channels": ("channel under two ranks", "channels under two ranks"),
    "modules": ("module", "modules"),
    "free_slots": ("free slot", "free slots"),
    "discarded": ("module discarded", "modules discarded"),
    "bought": ("module bought", "modules bought"),
}


def criterion_name(name: str) -> str:
    """A criterion's name in a sentence."""
    if name == "displaced":
        return "choice of the modules that stay"
    return _BANDWIDTHS.get(name) or name.removesuffix("_gib").replace("_", " ")


def bare_value(name: str, value: Value) -> str:
    """A value of a criterion without its name: ``187.7 GB/s``."""
    if name in _BANDWIDTHS:
        return gb_s(Fraction(value))
    return format_capacity(value) if name in _CAPACITIES else trimmed(Fraction(value), 2)


def criterion_phrase(name: str, value: Value) -> str:
    """A value of a criterion in words: ``187.7 GB/s system sweep``."""
    bare = bare_value(name, value)
    if name == "cost":
        return f"cost {bare}"
    if name in _COUNTS:
        return f"{bare} {_COUNTS[name][value != 1]}"
    return f"{bare} {_BANDWIDTHS.get(name) or _CAPACITIES[name]}"


def gains_and_losses(
    criteria: Iterable[Criterion], here: Iterable[Value], there: Iterable[Value]
) -> tuple[list[str], list[str]]:
    """What values ``there`` gain over those ``here`` and what they lose, in the order of the criteria."""
    gains: list[str] = []
    losses: list[str] = []
    for criterion, mine, other in zip(criteria, here, there, strict=True):
        if mine != other:
            better = other > mine if criterion.better == "high" else other < mine
            text = f"{criterion_phrase(criterion.name, other)} instead of {bare_value(criterion.name, mine)}"
            (gains if better else losses).append(text)
    return gains, losses


# -- statements -----------------------------------------------------------------------------------------------------

ORDINALS = ("first", "second", "third", "fourth")
MANY = 12
"""Slots from which on they are named by what they have in common, where they do."""


class Statement(NamedTuple):
    """One sentence, the rule, criterion or figure behind it, and the id of its source."""

    text: str
    rule: str
    source: str = "MODEL"


def led(lead: str, statements: Iterable[Statement]) -> list[Statement]:
    """Sentences of which the first follows a lead: ``No: it breaks ...``."""
    first, *rest = statements
    return [first._replace(text=f"{lead}: {lowered(first.text)}"), *rest]


def lowered(text: str) -> str:
    """A sentence as a part of another: its first letter small, unless it begins with a name."""
    return text[:1].lower() + text[1:] if text[1:2].islower() or text[1:2] == " " else text


def capital(text: str) -> str:
    """A text with a capital at its beginning."""
    return text[:1].upper() + text[1:]


def sentence(text: str) -> str:
    """A text with a capital at its beginning, unless it begins with the name of a slot, a channel or a socket."""
    return capital(text) if text.startswith("socket") else text


def capacities(*gibs: Gib) -> tuple[str, ...]:
    """Capacities that are compared, in one unit."""
    texts = tuple(format_capacity(gib) for gib in gibs)
    if len({text.split()[-1] for text in texts}) == 1:
        return texts
    return tuple(f"{trimmed(Fraction(gib), 2)} GiB" for gib in gibs)


def broken_rules(breaches: Iterable[Breach]) -> str:
    """The ids of broken rows in a sentence, each once."""
    return listed(list(dict.fromkeys(breach.rule for breach in breaches)))


def figures_phrase(figures: PlacementFigures) -> str:
    """How a content runs, short."""
    sweep, share = gb_s(figures.balanced_sweep_gb_s), share_text(figures.worst_share)
    return f"{format_capacity(figures.usable_gib)} at {figures.rate_mts} MT/s, balanced sweep {sweep}, share {share}"


def slots_phrase(board: Board, slots: Sequence[str]) -> str:
    """Slots in a sentence; many of them by what they have in common, where they do."""
    if len(slots) < MANY:
        return listed(list(slots))
    by_socket = by_key(slots, lambda slot: board.channel_of[slot].socket)
    places: dict[tuple[int, ...], list[str]] = {}
    for socket_id, named in by_socket.items():
        channels = board.socket(socket_id).channels
        found = tuple(sorted({board.channel_of[slot].slots.index(slot) for slot in named}))
        every = [slot for channel in channels for place in found for slot in channel.slots[place : place + 1]]
        if set(every) != set(named):
            return listed(list(slots))
        places.setdefault(found, []).append(socket_id)
    parts = [f"{_of_places(found)} of every channel of {sockets_listed(its)}" for found, its in places.items()]
    return listed(parts)


def _of_places(places: tuple[int, ...]) -> str:
    return f"the {listed([ORDINALS[place] for place in places])} slot{'s' if len(places) > 1 else ''}"


def channels_phrase(board: Board, names: Sequence[str]) -> str:
    """Channels in a sentence, by socket: ``K, L, P and Q of NEAR``."""
    by_socket = by_key((each for each in board.channels if each.name in names), lambda channel: channel.socket)

    def channels(socket: str) -> str:
        every = len(by_socket[socket]) == len(board.socket(socket).channels)
        return "every channel" if every else listed([channel.id for channel in by_socket[socket]])

    alike = by_key(by_socket, channels)
    return "; ".join(f"{named} of {sockets_listed(sockets)}" for named, sockets in alike.items())


def breach_statements(board: Board, breaches: Iterable[Breach]) -> list[Statement]:
    """Broken rows, one sentence for each row; further places of the same row are counted."""
    found = []
    for rule, broken in by_key(breaches, lambda breach: breach.rule).items():
        more = f" The same in {counted(len(broken) - 1, 'more place')}." if len(broken) > 1 else ""
        advised = "Advised: " if broken[0].severity == "advised" else ""
        text = breach_finding(board, broken[0]).text
        found.append(Statement(f"{advised}{text}{more}", rule, broken[0].source))
    return found


# -- effects ---------------------------------------------------------------------------------------------------------


def rate_source(board: Board, row: str) -> str:
    """Source id of what binds a rate."""
    kind, _, name = row.partition(":")
    if kind == "processor":
        return board.processor(name).source  # type: ignore[union-attr]
    return next((rate.source for rate in board.rates if rate.id == row), "MODEL")


def effects(
    board: Board,
    before: PlacementFigures | None,
    after: PlacementFigures | None,
    *,
    socket: str | None = None,
    both: bool = False,
    sweep: bool = True,
) -> list[Statement]:
    """What changes in figures, where both have them: rate, regions (of all sockets or one), and the ``sweep``.

    With ``both``, what the regions were before too.
    """
    if before is None or after is None:
        return []
    found = _rate_effect(board, before, after) + _region_effects(board, before, after, socket, both=both)
    return found + (sweep_effect(before, after) if sweep else [])


def _rate_effect(board: Board, before: PlacementFigures, after: PlacementFigures) -> list[Statement]:
    """How the rate changes, by the row that binds afterwards."""
    if before.rate_mts == after.rate_mts:
        return []
    way = "falls" if after.rate_mts < before.rate_mts else "rises"
    slow = min((each for each in after.sockets if each.modules), key=lambda each: each.rate.rate_mts)
    text = f"The rate {way} from {before.rate_mts} to {after.rate_mts} MT/s."
    return [Statement(text, slow.rate.row, rate_source(board, slow.rate.row))]


def _region_effects(
    board: Board, before: PlacementFigures, after: PlacementFigures, socket: str | None, *, both: bool
) -> list[Statement]:
    """How the regions change, socket by socket, equal changes together."""
    found: dict[str, list[str]] = {}
    for old, new in zip(before.sockets, after.sockets, strict=True):
        shape = [(region.ways, region.capacity_gib) for region in new.regions]
        if socket in (None, new.socket) and shape != [(region.ways, region.capacity_gib) for region in old.regions]:
            was = f" Before: {lowered(regions_sentence(old))}" if both else ""
            found.setdefault(f"{regions_sentence(new)}{was}", []).append(new.socket)
    row = board.interleave
    return [
        Statement(f"{sentence(sockets_listed(sockets))}: {lowered(text)}", row.id, row.source)
        for text, sockets in found.items()
    ]


def sweep_effect(before: PlacementFigures, after: PlacementFigures) -> list[Statement]:
    """How the balanced sweep changes, and the share of the peak at the worst socket with it."""
    old, new = before.balanced_sweep_gb_s, after.balanced_sweep_gb_s
    if old == new:
        return []
    shares = [share_text(figures.worst_share) for figures in (after, before)]
    share = f", share {shares[0]} instead of {shares[1]}" if shares[0] != shares[1] else ""
    return [Statement(f"Balanced sweep {gb_s(new)} instead of {gb_s(old)}{share}.", "balanced_sweep")]
