"""What answers have in common: a sentence with its rule and source, names in a list, effects in figures."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import NamedTuple

from dimmplan.figures import PlacementFigures
from dimmplan.model.board import Board
from dimmplan.reasons.case import Alternative, Case, Separation
from dimmplan.rules import Breach
from dimmplan.units import Gib, by_key, counted, format_capacity, listed, trimmed
from dimmplan.wording.placement import (
    bare_value,
    breach_finding,
    criterion_phrase,
    gb_s,
    regions_sentence,
    share_text,
    sockets_listed,
)

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


def separation_statements(case: Case, alternative: Alternative, separation: Separation) -> list[Statement]:
    """What separates an alternative from the plan, in words; the first sentence is the one that decides."""
    if separation.by == "rule":
        return breach_statements(case.board, separation.breaches)
    if separation.by in ("below", "above"):
        return [Statement(_capacity_text(case, separation), "capacity")]
    if separation.by == "same":
        return [Statement("That is the plan itself.", "same")]
    if separation.by == "board-order":
        text = "All figures are equal; the order of places decides, then size, ranks and label."
        return [Statement(text, separation.name)]
    found = [Statement(_criterion_text(case, alternative, separation), separation.name)]
    if separation.first == "alternative":
        text = (
            "This is better than the plan. Stock, prices or an allowance may be why: a plan does not record them."
            if case.placement.status == "proven"
            else "This is better than the plan, which is the best found and not proven."
        )
        found.append(Statement(text, separation.name))
    return [*found, *breach_statements(case.board, separation.breaches)]


def _capacity_text(case: Case, separation: Separation) -> str:
    found, wanted = separation.alternative or 0, case.request.capacity_gib
    if separation.by == "above":
        there, most, asked = capacities(found, case.limit_gib, wanted)
        return f"{there}: a request for {asked} is answered with at most {most}."
    there, short, asked = capacities(found, wanted - found, wanted)
    return f"{there}, {short} short of the {asked} asked."


def _criterion_text(case: Case, alternative: Alternative, separation: Separation) -> str:
    assert separation.plan is not None and separation.alternative is not None
    if separation.name == "over_gib" and alternative.figures is not None:
        usable, asked = alternative.figures.usable_gib, case.request.capacity_gib
        there, above, wanted, mine = capacities(usable, usable - asked, asked, case.usable_gib)
        here = f"; the plan has {mine}" if case.usable_gib != asked else ""
        return f"{there}, {above} above the {wanted} asked{here}."
    mine = bare_value(separation.name, separation.plan)
    return f"{criterion_phrase(separation.name, separation.alternative)} instead of {mine}."


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
