"""Each slot's reason: which alternatives were tried, and what separates them from the plan first."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from dimmplan.errors import Cause, InputError, Problem, RefusedError, did_you_mean, gathered
from dimmplan.model.board import Board, Channel
from dimmplan.model.module import Module
from dimmplan.model.placement import why_dead
from dimmplan.reasons.case import Alternative, Case, Separation
from dimmplan.rules import TRAY_RULE, FittedRow, all_rows, of_kind
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
    """Why a slot is as it is.

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


def read_slots(case: Case, text: str, *, file: str) -> tuple[str, ...]:
    """Slots from a list with commas, in board order.

    Raises ``InputError`` for an unknown name, ``RefusedError`` for a slot that is dead or on hold.
    """
    problems: list[Problem] = []
    named: set[str] = set()
    for part in text.split(","):
        with gathered(problems):
            named.add(read_slot(case.board, part, file=file))
    if problems:
        raise InputError(problems)
    require_usable(case, sorted(named))
    return tuple(slot for slot in case.board.slots if slot in named)


def require_usable(case: Case, slots: Sequence[str]) -> None:
    """Raise ``RefusedError`` for slots that are dead or on hold."""
    causes: list[Cause] = []
    for slot in slots:
        dead = why_dead(case.board, case.placement, slot)
        if dead:
            rule, _, source = _DEAD[dead]
            causes.append(Cause(rule, f"{slot} is dead: {dead_words(case, slot)}.", source))
        elif slot in case.placement.hold:
            text = f"{slot} is on hold: nothing is pulled, moved or inserted there."
            causes.append(Cause("hold", text, "PRACTICE"))
    if causes:
        raise RefusedError(causes)


_DEAD = {
    "processor": ("dead", "socket {socket} has no processor in this plan", "PRACTICE"),
    "tray": (TRAY_RULE, "its tray {tray} is not there", "PRACTICE"),
    "channel": ("served", "the processor {processor} does not serve channel {channel}", "MODEL"),
}


def dead_words(case: Case, slot: str) -> str:
    """Why a slot is dead, in words; empty where it is not."""
    why, channel = why_dead(case.board, case.placement, slot), case.board.channel_of[slot]
    return (
        _DEAD[why][1].format(
            socket=channel.socket,
            channel=channel.id,
            tray=case.board.tray_of.get(slot),
            processor=case.placement.processors.get(channel.socket),
        )
        if why
        else ""
    )


def slot_reasons(case: Case) -> tuple[SlotReason, ...]:
    """The reason of every slot, in board order. Raises ``RefusedError`` where the plan itself breaks a rule."""
    return tuple(slot_reason(case, slot) for slot in case.board.slots)


def slot_reason(case: Case, slot: str) -> SlotReason:
    """The reason of one slot. Raises ``RefusedError`` where the plan itself breaks a rule."""
    case.require_sound()
    channel = case.board.channel_of[slot]
    module = case.content.get(slot)
    found = SlotReason(
        slot=slot,
        state="dead",
        kind="dead",
        socket=channel.socket,
        channel=channel.id,
        place=channel.slots.index(slot),
        module=module,
    )
    if channel.socket not in case.placement.fitted:
        return replace(found, row=next(iter(of_kind(all_rows(case.board, case.option), FittedRow)), None))
    if slot not in case.board.served:
        return found
    if slot in case.placement.hold:
        return replace(found, state="hold", kind="hold")
    options = _of_empty(case, slot, channel) if module is None else _of_filled(case, slot, channel, module)
    tried = tuple(_best(case, what, list(each)) for what, each in options if each)
    if module is None:
        return replace(found, state="empty", kind=_empty_kind(case, channel, tried), tried=tried)
    return replace(found, state="filled", kind=_filled_kind(case, slot, channel, tried), tried=tried)


def filled_gib(case: Case, socket_id: str) -> list[int]:
    """What each filled channel of a socket holds, in board order."""
    held = (case.held(channel.slots) for channel in case.board.socket(socket_id).channels)
    return [sum(module.capacity_gib for module in modules) for modules in held if modules]


# -- alternatives ----------------------------------------------------------------------------------------------------

Option = tuple[Module, str | None, dict[str, Module | None]]
"""What is put, moved or taken out, the other slot, and what the slots hold then."""


def _best(case: Case, what: What, options: Sequence[Option]) -> Attempt:
    """The option nearest to being an answer, the first of equals."""
    weighed = [(module, other, case.changed(changes)) for module, other, changes in options]
    module, other, alternative = min(weighed, key=lambda option: case.closeness(option[2]))
    return Attempt(
        what=what,
        module=module,
        other=other,
        alternative=alternative,
        separation=case.part(alternative),
        of=len(options),
    )


def _of_empty(case: Case, slot: str, channel: Channel) -> Iterator[tuple[What, Sequence[Option]]]:
    """One more module here, or one of another channel moved here.

    It is of the type next to it, or of another type of the plan where that one breaks a rule.
    """
    types = dict.fromkeys((_type_beside(case, slot, channel), *case.placement.types))
    fills: list[Option] = [(module, None, {slot: module}) for module in types]
    yield "fill", next(([fill] for fill in fills if not case.changed(fill[2]).errors), fills)
    donors = [other for other in case.last_filled() if case.board.channel_of[other] != channel]
    yield (
        "move-here",
        [
            (module, other, {other: None, slot: module})
            for other in _distinct(case, donors, slot)
            for module in case.held([other])
        ],
    )


def _type_beside(case: Case, slot: str, channel: Channel) -> Module:
    """The type on the same channel, or the nearest one of the socket in board order, or the plan's first."""
    slots = case.board.socket(channel.socket).slots
    here = slots.index(slot)
    nearest_first = sorted(slots, key=lambda other: (abs(slots.index(other) - here), slots.index(other)))
    return next(iter((*case.held(reversed(channel.slots)), *case.held(nearest_first), *case.placement.types)))


def _of_filled(case: Case, slot: str, channel: Channel, module: Module) -> Iterator[tuple[What, Sequence[Option]]]:
    """The module taken out, moved to another channel where none is behind it, or exchanged with one of another type."""
    yield "empty", [(module, None, {slot: None})]
    if slot in case.last_filled():
        targets = [other for other in case.first_empty() if case.board.channel_of[other] != channel]
        yield (
            "move-away",
            [(module, other, {slot: None, other: module}) for other in _distinct(case, targets, slot)],
        )
    others = [other for other, held in case.placement.slots if held and held != module]
    yield (
        "exchange",
        [
            (held, other, {slot: held, other: module})
            for other in _distinct(case, others, slot)
            for held in case.held([other])
        ],
    )


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
    empty = tried[0].separation
    if any(breach.check == "fill-order" for breach in empty.breaches):
        return "first-in-channel"
    place = channel.slots.index(slot)
    if place and all(case.content.get(each.slots[0]) for each in case.board.socket(channel.socket).channels):
        return "stacked"
    if any(each.separation.by == "board-order" for each in tried if each.what == "move-away"):
        return "board-order"
    if not place and len(set(filled_gib(case, channel.socket))) == 1 and empty.by != "rule":
        return "equal-share"
    return "breaks-rule" if empty.by == "rule" else "needed" if empty.by == "below" else "ranks-lower"
