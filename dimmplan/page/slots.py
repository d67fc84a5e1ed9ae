"""Each slot in words: what it holds, where it belongs, what was found there, and why; and what binds the rate."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from dimmplan.errors import DimmplanError
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.move import Move
from dimmplan.model.placement import Placement
from dimmplan.reasons.case import Case
from dimmplan.reasons.rate import rate_reasons
from dimmplan.reasons.slots import slot_reasons
from dimmplan.sheet.change import ChangeFacts
from dimmplan.sheet.facts import Facts, SlotFact, State
from dimmplan.sheet.ids import ident
from dimmplan.wording.slots import rate_statements, rate_title, reason_statements, reason_title
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
    said: Sequence[Statement]


def slot_texts(facts: Facts, reasons: Reasons) -> Iterator[SlotText]:
    """Every slot, in board order."""
    for slot, fact in facts.slots.items():
        title, said = reasons.slots.get(slot, (reasons.why_none or "no reason can be given", ()))
        before = _before(facts, slot) if isinstance(facts, ChangeFacts) else ""
        yield SlotText(reason_id(slot), slot, _held(facts, fact), before, title, said)


def _held(facts: Facts, fact: SlotFact) -> str:
    module, channel = facts.placement.content.get(fact.slot), facts.board.channel_of[fact.slot]
    blank = "empty, takes a blank" if fact.state is State.BLANK else fact.words
    held = module.label if module and fact.state is State.FILLED else blank
    step = f", step {fact.step}" if fact.step else ""
    return f"{held}{step}; socket {channel.socket}, controller {channel.controller}, channel {channel.id}"


def _found(facts: ChangeFacts, slot: str) -> Move | None:
    return next((move for move in facts.change.moves if move.source == slot), None)


def before_of(facts: ChangeFacts, slot: str) -> Module | None:
    """What is in a slot before the change."""
    move = _found(facts, slot)
    return move.module if move else None


def _before(facts: ChangeFacts, slot: str) -> str:
    """What is in a slot before the change, and what becomes of it."""
    move = _found(facts, slot)
    if slot in facts.placement.hold:
        return "Before the change: on hold, not to be touched."
    if move is None:
        return "Before the change: empty."
    if move.kind == "keep":
        return f"Before the change: {move.module.label}; it stays."
    fate = "comes out for good" if move.kind == "pull" else f"moves to {move.target}"
    return f"Before the change: {move.module.label}; step {facts.out_steps[slot]}, it {fate}."
