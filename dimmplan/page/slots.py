"""Each slot in words: what it holds, where it belongs, what was found there, and why; and what binds the rate."""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping, Sequence
from typing import NamedTuple

from dimmplan.answers.said import Said
from dimmplan.answers.slots import rate_said, rate_title, reason_said, reason_title
from dimmplan.errors import DimmplanError
from dimmplan.model.board import Board
from dimmplan.model.move import Move
from dimmplan.model.placement import Placement
from dimmplan.page.markup import Markup, element, listed_items, section
from dimmplan.sheet.change import ChangeFacts
from dimmplan.sheet.facts import Facts, SlotFact, State
from dimmplan.sheet.ids import ident
from dimmplan.why.rate import rate_reasons
from dimmplan.why.slots import slot_reasons
from dimmplan.why.weigh import Case


class Reasons(NamedTuple):
    """Why a plan is as it is: of its rate, of each slot; or why that cannot be said."""

    rates: Sequence[tuple[str, Sequence[Said]]]
    slots: Mapping[str, tuple[str, Sequence[Said]]]
    why_none: str = ""

    def said(self) -> Iterator[Said]:
        """Every sentence."""
        for _, sentences in (*self.slots.values(), *self.rates):
            yield from sentences


def reasons_of(board: Board, placement: Placement) -> Reasons:
    """The reasons that ``why`` gives, in its words."""
    try:
        case = Case(board, placement)
        slots = {each.slot: (reason_title(case, each), reason_said(case, each)) for each in slot_reasons(case)}
        rates = [(rate_title(each), rate_said(case, each)) for each in rate_reasons(case)]
    except DimmplanError as error:
        return Reasons(rates=(), slots={}, why_none=str(error))
    return Reasons(rates=rates, slots=slots)


def reason_id(slot: str) -> str:
    """The id of what is said of a slot."""
    return ident("why", slot)


def slots_and_reasons(facts: Facts, reasons: Reasons, *, drawn: Container[str]) -> Markup:
    """Every slot, in board order; those whose id is ``drawn`` lead back to the map."""
    found = {move.source: move for move in facts.change.moves if move.source} if isinstance(facts, ChangeFacts) else {}
    articles = []
    for slot, fact in facts.slots.items():
        title, said = reasons.slots.get(slot, (reasons.why_none or "no reason can be given", ()))
        before = [element("p", _before(facts, slot, found.get(slot)))] if isinstance(facts, ChangeFacts) else []
        articles.append(
            element(
                "article",
                element("h3", slot),
                element("p", _held(facts, fact)),
                *before,
                element("p", title, class_="title"),
                _sentences(said),
                *_back(slot, drawn),
                id=reason_id(slot),
                class_="slot-reason",
            )
        )
    return section("slots", "Slots and reasons", element("div", *articles, class_="reasons"))


def _back(slot: str, drawn: Container[str]) -> Iterator[Markup]:
    target = ident("slot", slot)
    if target in drawn:
        yield element("p", element("a", f"{slot} on the map", href=f"#{target}"), class_="screen back")


def _held(facts: Facts, fact: SlotFact) -> str:
    module, channel = facts.placement.content.get(fact.slot), facts.board.channel_of[fact.slot]
    blank = "empty, takes a blank" if fact.state is State.BLANK else fact.words
    held = module.label if module and fact.state is State.FILLED else blank
    step = f", step {fact.step}" if fact.step else ""
    return f"{held}{step}; socket {channel.socket}, controller {channel.controller}, channel {channel.id}"


def _before(facts: ChangeFacts, slot: str, move: Move | None) -> str:
    """What is in a slot before the change, and what becomes of it."""
    if slot in facts.placement.hold:
        return "Before the change: on hold, not to be touched."
    if move is None:
        return "Before the change: empty."
    if move.kind == "keep":
        return f"Before the change: {move.module.label}; it stays."
    fate = "comes out for good" if move.kind == "pull" else f"moves to {move.target}"
    return f"Before the change: {move.module.label}; step {facts.out_steps[slot]}, it {fate}."


def why_this_rate(reasons: Reasons) -> Markup:
    """What binds the rate, and what would raise it."""
    parts = [part for title, said in reasons.rates for part in (element("h3", title), _sentences(said))]
    return section("rate", "Rate", *parts) if parts else Markup()


def _sentences(sentences: Sequence[Said]) -> Markup:
    return listed_items(
        element("span", f"{each.text} ", element("cite", f"[{each.rule}, {each.source}]")) for each in sentences
    )
