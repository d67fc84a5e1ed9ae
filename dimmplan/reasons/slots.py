"""Each slot's reason: which alternatives were tried, and what separates them from the plan first."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from dimmplan.errors import InputError, Problem, did_you_mean
from dimmplan.model.board import Board, Channel
from dimmplan.model.module import Module
from dimmplan.reasons.case import Alternative, Case, Separation
from dimmplan.rules import FittedRow, all_rows, of_kind
from dimmplan.units import quoted

State = Literal["filled", "empty", "dead", "hold"]
What = Literal["fill", "move-here", "empty", "move-away", "exchange"]
ReasonKind = Literal[
    "first-in-channel",
    "stacked",
    "equal-share",
    "needed",
    "board-order",
    "breaks-rule",
    "lowers-rate",
    "splits-range",
    "exceeds-request",
    "ranks-lower",
    "alternative-first",
    "dead",
    "hold",
]


@dataclass(frozen=True, kw_only=True)
class Attempt:
    """One alternative for a slot, and what separates it from the plan.

    ``module`` is what is put, moved or taken out; ``other`` is the slot it comes from or goes to. Of all
    alternatives of one kind the one nearest to being an answer is kept; ``of`` says how many were weighed.
    """

    what: What
    module: Module
    other: str | None
    alternative: Alternative
    separation: Separation
    of: int = 1


@dataclass(frozen=True, kw_only=True)
class SlotReason:
    """Why a slot is as it is. ``channel_gib`` is what each channel of its socket holds, in board order.

    ``place`` counts the slots of a channel from 0. Slots that are dead or on hold have no alternative; for a dead
    one ``row`` is the row about fitted sockets, where the board has one.
    """

    slot: str
    state: State
    kind: ReasonKind
    socket: str
    channel: str
    place: int
    module: Module | None
    channel_gib: tuple[tuple[str, int], ...]
    tried: tuple[Attempt, ...] = ()
    row: FittedRow | None = None


def read_slot(board: Board, text: str, *, file: str) -> str:
    """A slot's name as the board spells it. Raises ``InputError`` with the nearest name."""
    wanted = text.strip()
    if wanted in board.slots:
        return wanted
    folded = [slot for slot in board.slots if slot.casefold() == wanted.casefold()]
    if len(folded) == 1:
        return folded[0]
    few = ", ".join(board.slots) if len(board.slots) <= 16 else f"the {len(board.slots)} slots of {board.id}"
    hint = did_you_mean(wanted, board.slots) or _nearest_hint(board, wanted)
    raise InputError(Problem(file=file, place="", found=quoted(text), allowed=few, hint=hint))


def _nearest_hint(board: Board, wanted: str) -> str:
    """The slots that begin as the name does: short names look like nothing but that."""
    for length in range(len(wanted) - 1, 0, -1):
        close = [slot for slot in board.slots if slot.casefold().startswith(wanted[:length].casefold())]
        if close:
            return f"Did you mean {' or '.join(close[:3])}?"
    return ""


def slot_reasons(case: Case) -> tuple[SlotReason, ...]:
    """The reason of every slot, in board order. Raises ``RefusedError`` where the plan itself breaks a rule."""
    return tuple(slot_reason(case, slot) for slot in case.board.slots)


def slot_reason(case: Case, slot: str) -> SlotReason:
    """The reason of one slot. Raises ``RefusedError`` where the plan itself breaks a rule."""
    case.require_sound()
    channel = case.board.channel_of[slot]
    if channel.socket not in case.placement.fitted:
        rows = of_kind(all_rows(case.board, case.option), FittedRow)
        return _reason(case, slot, "dead", "dead", row=rows[0] if rows else None)
    if slot not in case.board.served:
        return _reason(case, slot, "dead", "dead")
    if slot in case.placement.hold:
        return _reason(case, slot, "hold", "hold")
    module = case.content.get(slot)
    if module is None:
        tried = (*_fill(case, slot, channel), *_move_here(case, slot))
        return _reason(case, slot, "empty", _empty_kind(case, channel, tried), tried=tried)
    tried = (*_leave_empty(case, slot, module), *_move_away(case, slot, module), *_exchange(case, slot, module))
    return _reason(case, slot, "filled", _filled_kind(case, slot, channel, tried), tried=tried)


def _reason(
    case: Case,
    slot: str,
    state: State,
    kind: ReasonKind,
    *,
    tried: tuple[Attempt, ...] = (),
    row: FittedRow | None = None,
) -> SlotReason:
    channel = case.board.channel_of[slot]
    return SlotReason(
        slot=slot,
        state=state,
        kind=kind,
        socket=channel.socket,
        channel=channel.id,
        place=channel.slots.index(slot),
        module=case.content.get(slot),
        channel_gib=_channel_gib(case, channel.socket),
        tried=tried,
        row=row,
    )


def _channel_gib(case: Case, socket_id: str) -> tuple[tuple[str, int], ...]:
    return tuple(
        (channel.id, sum(module.capacity_gib for slot in channel.slots if (module := case.content.get(slot))))
        for channel in case.board.socket(socket_id).channels
    )


# -- alternatives ----------------------------------------------------------------------------------------------------


def _best(case: Case, what: What, options: Iterable[tuple[Module, str | None, Alternative]]) -> Iterator[Attempt]:
    """The option nearest to being an answer, the first of equals."""
    found = list(options)
    if found:
        module, other, alternative = min(found, key=lambda option: case.closeness(option[2]))
        yield Attempt(
            what=what,
            module=module,
            other=other,
            alternative=alternative,
            separation=case.part(alternative),
            of=len(found),
        )


def _fill(case: Case, slot: str, channel: Channel) -> Iterator[Attempt]:
    """One more module here: of the type next to it, or of another type of the plan where that one breaks a rule."""
    types = dict.fromkeys((_type_beside(case, slot, channel), *case.placement.types))
    for module in types:
        alternative = case.changed({slot: module})
        if not alternative.errors:
            yield from _best(case, "fill", [(module, None, alternative)])
            return
    yield from _best(case, "fill", [(module, None, case.changed({slot: module})) for module in types])


def _type_beside(case: Case, slot: str, channel: Channel) -> Module:
    """The type on the same channel, or the nearest one of the socket in board order, or the plan's first."""
    held = [module for other in channel.slots if (module := case.content.get(other))]
    if held:
        return held[-1]
    slots = case.board.socket(channel.socket).slots
    here = slots.index(slot)
    near = sorted((abs(index - here), index) for index, other in enumerate(slots) if case.content.get(other))
    module = case.content[slots[near[0][1]]] if near else None
    return module or case.placement.types[0]


def _move_here(case: Case, slot: str) -> Iterator[Attempt]:
    """A module of another channel moved here."""
    channel = case.board.channel_of[slot]
    donors = [other for other in case.last_filled() if case.board.channel_of[other] != channel]
    yield from _best(case, "move-here", _moves(case, ((other, slot) for other in _distinct(case, donors, slot)), 0))


def _leave_empty(case: Case, slot: str, module: Module) -> Iterator[Attempt]:
    """The module taken out."""
    yield from _best(case, "empty", [(module, None, case.changed({slot: None}))])


def _move_away(case: Case, slot: str, module: Module) -> Iterator[Attempt]:
    """The module moved to another channel; none for a module that has another behind it on its channel."""
    if slot not in case.last_filled():
        return
    channel = case.board.channel_of[slot]
    targets = [other for other in case.first_empty() if case.board.channel_of[other] != channel]
    yield from _best(case, "move-away", _moves(case, ((slot, other) for other in _distinct(case, targets, slot)), 1))


def _moves(
    case: Case, pairs: Iterable[tuple[str, str]], other: Literal[0, 1]
) -> Iterator[tuple[Module, str | None, Alternative]]:
    for pair in pairs:
        module = case.content[pair[0]]
        assert module is not None
        yield module, pair[other], case.changed({pair[0]: None, pair[1]: module})


def _exchange(case: Case, slot: str, module: Module) -> Iterator[Attempt]:
    """The module exchanged with one of another type."""
    others = [other for other, held in case.placement.slots if held and held != module]

    def exchanged() -> Iterator[tuple[Module, str | None, Alternative]]:
        for other in _distinct(case, others, slot):
            held = case.content[other]
            assert held is not None
            yield held, other, case.changed({slot: held, other: module})

    yield from _best(case, "exchange", exchanged())


def _distinct(case: Case, slots: Iterable[str], beside: str) -> list[str]:
    """One slot of each look: those left out give the same figures."""
    found: dict[object, str] = {}
    for slot in slots:
        found.setdefault(case.look(slot, beside), slot)
    return list(found.values())


# -- kinds -----------------------------------------------------------------------------------------------------------


def _empty_kind(case: Case, channel: Channel, tried: tuple[Attempt, ...]) -> ReasonKind:
    if any(each.separation.first == "alternative" for each in tried):
        return "alternative-first"
    fill = tried[0]
    before, after = case.plan.figures, fill.alternative.figures
    if fill.separation.by == "rule" or before is None or after is None:
        return "breaks-rule"
    if after.rate_mts < before.rate_mts:
        return "lowers-rate"
    index = list(case.placement.fitted).index(channel.socket)
    if len(after.sockets[index].regions) > len(before.sockets[index].regions):
        return "splits-range"
    over = fill.separation.by == "above" or fill.separation.name == "over_gib"
    return "exceeds-request" if over else "ranks-lower"


def _filled_kind(case: Case, slot: str, channel: Channel, tried: tuple[Attempt, ...]) -> ReasonKind:
    if any(each.separation.first == "alternative" for each in tried):
        return "alternative-first"
    empty = tried[0]
    if any(breach.check == "fill-order" for breach in empty.separation.breaches):
        return "first-in-channel"
    socket = case.board.socket(channel.socket)
    place = channel.slots.index(slot)
    if place and all(case.content.get(each.slots[0]) for each in socket.channels):
        return "stacked"
    moved = [each for each in tried if each.what == "move-away"]
    if any(each.separation.by == "board-order" for each in moved):
        return "board-order"
    filled = {gib for _, gib in _channel_gib(case, channel.socket) if gib}
    if not place and len(filled) == 1 and empty.separation.by != "rule":
        return "equal-share"
    kinds: dict[str, ReasonKind] = {"rule": "breaks-rule", "below": "needed"}
    return kinds.get(empty.separation.by, "ranks-lower")
