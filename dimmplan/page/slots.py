"""Each slot in words, with its reason; and the map for a screen, whose slots are big enough to touch."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from dimmplan.errors import DimmplanError
from dimmplan.model.board import Board
from dimmplan.model.placement import Move, Placement
from dimmplan.output.why import rate_statements, rate_title, reason_statements, reason_title
from dimmplan.reasons.case import Case
from dimmplan.reasons.rate import rate_reasons
from dimmplan.reasons.slots import slot_reasons
from dimmplan.sheet.facts import ChangeFacts, Facts, SlotFact, State
from dimmplan.sheet.plan_view import Area, Front, plan_view
from dimmplan.sheet.shapes import ident
from dimmplan.wording.statements import Statement


class Reasons(NamedTuple):
    """Why a plan is as it is: of its rate, of each slot; or why that cannot be said."""

    rates: Sequence[tuple[str, Sequence[Statement]]]
    slots: Mapping[str, tuple[str, Sequence[Statement]]]
    why_none: str = ""


def reasons_of(board: Board, placement: Placement) -> Reasons:
    """The reasons that ``why`` gives, in its words."""
    try:
        case = Case(board, placement)
        slots = {each.slot: (reason_title(case, each), reason_statements(case, each)) for each in slot_reasons(case)}
        rates = [(rate_title(each), rate_statements(case, each)) for each in rate_reasons(case)]
    except DimmplanError as error:
        return Reasons(rates=(), slots={}, why_none=str(error))
    return Reasons(rates=rates, slots=slots)


def reason_id(slot: str) -> str:
    """The id of what is said of a slot."""
    return ident("why", slot)


class SlotText(NamedTuple):
    """What is said of a slot: what it holds, what it held before a change, and why."""

    id: str
    name: str
    held: str
    before: str
    title: str
    sentences: Sequence[Statement]


def slot_texts(facts: Facts, reasons: Reasons) -> Iterator[SlotText]:
    """Every slot, in board order."""
    for slot, fact in facts.slots.items():
        title, sentences = reasons.slots.get(slot, (reasons.why_none or "no reason can be given", ()))
        before = _before(facts, slot) if isinstance(facts, ChangeFacts) else ""
        module, channel = facts.placement.content.get(slot), facts.board.channel_of[slot]
        held = "empty, takes a blank" if fact.state is State.BLANK else fact.words
        held = module.label if module and fact.state is State.FILLED else held
        held += f", step {fact.step}" if fact.step else ""
        held += f"; socket {channel.socket}, controller {channel.controller}, channel {channel.id}"
        yield SlotText(reason_id(slot), slot, held, before, title, sentences)


def _leaving(facts: Facts, slot: str) -> Move | None:
    """What becomes of the module that is in a slot before a change."""
    moves = facts.change.moves if isinstance(facts, ChangeFacts) else ()
    return next((move for move in moves if move.source == slot), None)


def _before(facts: ChangeFacts, slot: str) -> str:
    """What is in a slot before the change, and what becomes of it."""
    move = _leaving(facts, slot)
    if slot in facts.placement.hold:
        return "Before the change: on hold, not to be touched."
    if move is None:
        return "Before the change: empty."
    if move.kind == "keep":
        return f"Before the change: {move.module.label}; it stays."
    fate = "comes out for good" if move.kind == "pull" else f"moves to {move.target}"
    return f"Before the change: {move.module.label}; step {facts.outs[slot].number}, it {fate}."


# -- the map to touch --------------------------------------------------------------------------------------------------


class TouchSlot(NamedTuple):
    """One slot to touch: its fact, what it holds now and held before a change, each in words and as a look."""

    fact: SlotFact
    href: str
    state: str
    now: str
    look: str
    was_state: str
    was: str


class Place(NamedTuple):
    """Slots side by side (``bank``), or a processor (without slots)."""

    look: str
    title: str
    slots: tuple[TouchSlot, ...]


def touch_map(facts: Facts, front: Front) -> list[list[Place]]:
    """The slots of a board where a person sees them, the front below or above, in rows from above to below."""
    view, fitted = plan_view(facts.board, front), facts.placement.fitted
    things: list[tuple[Area, Place]] = []
    for bank in view.banks:
        slots = tuple(_slot(facts, facts.slots[each.slot]) for each in bank.slots)
        things.append((bank.area, Place("bank upright" if bank.upright else "bank lying", bank.socket, slots)))
    for socket, area in view.sockets:
        absent = ("", "") if socket in fitted else (" absent", ": no processor")
        things.append((area, Place(f"processor{absent[0]}", f"{socket}{absent[1]}", ())))
    rows = []
    waiting = sorted(things, key=lambda thing: (thing[0].top, thing[0].left))
    while waiting:  # things whose middle lies beside the first one of a row stand in that row
        row = [thing for thing in waiting if thing[0].centre[1] <= waiting[0][0].bottom]
        waiting = [thing for thing in waiting if thing not in row]
        rows.append([place for _, place in sorted(row, key=lambda thing: (thing[0].left, thing[0].top))])
    return rows


LOOKS = 3
"""Colours of module types; the letter tells them apart where there are more."""
_WORDS = {State.EMPTY: "empty", State.BLANK: "blank", State.DEAD: "dead", State.HOLD: "hold", State.PULL: "empty"}


def _slot(facts: Facts, fact: SlotFact) -> TouchSlot:
    module = facts.placement.content[fact.slot]
    filled = fact.state is State.FILLED and module is not None
    move = _leaving(facts, fact.slot)
    was = move.module if move else None
    keys = list(facts.placement.keys.values())
    kept = was is not None and module is not None and was == module and not fact.step
    return TouchSlot(
        fact=fact,
        href=f"#{reason_id(fact.slot)}",
        state=("kept" if kept else "filled") if filled else fact.state.value,
        now=f"{module.capacity_gib} GB" if filled and module else _WORDS.get(fact.state, ""),
        look=f"type-{(keys.index(fact.key)) % LOOKS + 1}" if fact.key and not kept else "",
        was_state="filled" if was else "empty",
        was=f"{was.capacity_gib} GB" if was else "empty",
    )
