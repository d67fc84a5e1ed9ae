"""Why a plan is as it is, and why not otherwise: as JSON of format 1 and as text for a terminal.

JSON and text say the same, every sentence with its rule and source.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from pydantic import BeforeValidator

from dimmplan.model.board import Socket
from dimmplan.model.module import Module
from dimmplan.model.request import Mode
from dimmplan.output.columns import Text, as_asked, board_line
from dimmplan.output.record import (
    Exact,
    FiguresEntry,
    FindingEntry,
    GbS,
    Label,
    Number,
    OfPlan,
    PlacementDocument,
    Record,
    Slots,
    means,
)
from dimmplan.reasons.case import Case
from dimmplan.reasons.changes import Expectation
from dimmplan.reasons.rate import RateReason
from dimmplan.reasons.slots import Attempt, SlotReason
from dimmplan.units import counted, format_capacity
from dimmplan.wording.placement import breach_finding, label_short, regions_sentence, sockets_listed
from dimmplan.wording.slots import (
    attempt_statements,
    expectation_statements,
    expectation_title,
    rate_statements,
    rate_title,
    reason_statements,
    reason_title,
)
from dimmplan.wording.statements import sentence, slots_phrase


class SentenceEntry(Record):
    """What the terminal prints."""

    text: str = means("what the terminal prints")
    rule: str = means("the row, criterion or figure behind it")
    source: str = means("id of the source")


class AnswerDocument(PlacementDocument):
    """What every answer about a plan begins with; it is made of the answer and of the case."""

    status: str = means("`proven` or `best-found`", of="placement.status")
    asked_gib: int = means("capacity asked", of="placement.capacity_gib")


Broken = Annotated[
    list[FindingEntry],
    BeforeValidator(lambda breaches, info: [breach_finding(info.context.board, breach) for breach in breaches]),
]
"""Broken rows in words."""


def answer_head(case: Case) -> Text:
    """An answer that begins with the board, and with what was asked of it."""
    placement, figures = case.placement, case.plan.figures
    runs = f" in {counted(figures.modules, 'module')} at {figures.rate_mts} MT/s" if figures else ""
    mode = "" if placement.mode is Mode.INDEPENDENT else f", {placement.mode.words}"
    status = "proven" if placement.status == "proven" else "best found"
    reading = "; sweep is for reading, writing is half as fast" if placement.mode is Mode.MIRRORED else ""
    capacity = as_asked(placement.capacity_gib, case.usable_gib)
    return Text(board_line(case.board), f"{capacity}{runs}{mode}; {placement.prefer}, {status}{reading}")


# -- why ---------------------------------------------------------------------------------------------------------------


class SeparationEntry(Record):
    """What separates an alternative from the plan."""

    by: str = means("`rule`, `below`, `above` (the capacity asked), `criterion`, `board-order`, `same`")
    name: str = means("the first rule or criterion that separates the two")
    plan: Exact | None = means("its value in the plan; sweep and parallel as exact fractions of GB/s")
    alternative: Exact | None = means("its value in the alternative")
    better: str | None = means("`high` or `low`")
    first: str = means("which of the two comes first: `plan` or `alternative`")
    broken: Broken = means("rows that decide, where rows do", of="breaches")


class RateLimitEntry(Record):
    """One limit of a rate."""

    kind: str = means("`board`, `processor` or `module`")
    name: str = means("row, option or label")
    rate_mts: int = means("what it allows")
    source: str = means("id of its source")


class LiftEntry(Record):
    """What would raise a rate."""

    kind: str = means("`fewer` (slots left empty), `processor`, `type`, `label`")
    name: str = means("the option, type or rate")
    slots: list[str] = means("slots left empty")
    rate_mts: int = means("the rate then")
    gain_mts: int = means("how much more")
    usable_gib: Number = means("capacity then")
    balanced_sweep_gb_s: GbS = means("GB/s then", of="sweep_gb_s")
    broken: list[str] = means("rows that this breaks")


class RateEntry(Record):
    """Why some sockets run at a rate."""

    sockets: list[str] = means("sockets that run at this rate")
    channels: list[str] = means("channels whose rate the row limits")
    rate_mts: int = means("MT/s")
    row: str = means("what limits the rate: a rate row, `processor:ID` or `module:LABEL`")
    source: str = means("id of its source")
    limits: list[RateLimitEntry] = means("what stands side by side")
    lifts: list[LiftEntry] = means(
        "what would raise it",
        by=lambda rate: [LiftEntry.of(lift, gain_mts=lift.rate_mts - rate.rate_mts) for lift in rate.lifts],
    )
    said: list[SentenceEntry] = means("the same in words", within=rate_statements)


def _changed_slots(case: Case, tried: Attempt) -> dict[str, Module | None]:
    return {slot: module for slot, module in tried.alternative.content.items() if module != case.content.get(slot)}


class AttemptEntry(Record):
    """An alternative to what a slot holds."""

    what: str = means("the alternative: `fill`, `move-here`, `empty`, `move-away`, `exchange`")
    module: Label = means("label of what is filled in, moved or taken out")
    other: str | None = means("the other slot of a move or an exchange")
    weighed: int = means("how many different ones it is the best of", of="of")
    slots: Slots = means("slots that the alternative changes", within=_changed_slots)
    parted: SeparationEntry = means("what separates it from the plan", of="separation")
    figures: FiguresEntry | None = means("how it would run, null where it may not", of="alternative.figures")
    said: list[SentenceEntry] = means("the same in words")


class ReasonEntry(Record):
    """Why a slot is as it is."""

    slot: str = means("the slot")
    state: str = means("`filled`, `empty`, `dead` or `hold`")
    kind: str = means(
        "the reason: `first-in-channel`, `stacked`, `equal-share`, `needed`, `board-order`, `breaks-rule`, "
        "`lowers-rate`, `splits-range`, `exceeds-request`, `ranks-lower`, `alternative-first`, `dead`, `hold`"
    )
    title: str = means("the reason in a few words", within=reason_title)
    socket: str = means("where it is")
    channel: str = means("where it is")
    place: int = means("1 is the first slot of its channel", by=lambda reason: reason.place + 1)
    module: Label | None = means("label, or null")
    tried: list[AttemptEntry] = means(
        "alternatives",
        within=lambda case, reason: [
            AttemptEntry.of(tried, case, said=attempt_statements(case, reason, tried)) for tried in reason.tried
        ],
    )
    said: list[SentenceEntry] = means(
        "of slots without an alternative: dead ones, and those on hold",
        within=lambda case, reason: [] if reason.tried else reason_statements(case, reason),
    )


class WhyDocument(AnswerDocument, OfPlan, commands="why, why SLOT"):
    """Why the rate is what it is, and each slot's reason; with a slot, that slot alone."""

    figures: FiguresEntry | None = means("of the plan", of="plan.figures")
    rate: list[RateEntry] = means("why it runs at its rate")
    slots: list[ReasonEntry] = means("every slot")


def why_text(case: Case, rates: Sequence[RateReason], reasons: Sequence[SlotReason]) -> str:
    """The whole plan: why it runs at its rate, then every slot, those of one reason together."""
    page = answer_head(case)
    for rate in rates:
        same = [other for other in rates if set(other.sockets) & set(rate.sockets)]
        page.heading(rate_title(rate, alone=len(same) == 1))
        page.sentences(rate_statements(case, rate))
    for sockets in _alike_sockets(case, reasons):
        page.heading(_socket_heading(case, sockets))
        alike: dict[object, list[SlotReason]] = {}
        for reason in reasons:
            if reason.socket == sockets[0].id:
                alike.setdefault(_look(reason), []).append(reason)
        for together in alike.values():
            _reason_lines(page, case, together)
    return str(page)


def _alike_sockets(case: Case, reasons: Sequence[SlotReason]) -> list[list[Socket]]:
    """Sockets whose slots, one after the other, are as they are for the same reasons: told once."""
    found: dict[object, list[Socket]] = {}
    for socket in case.board.sockets:
        looks = tuple(_look(reason) for reason in reasons if reason.socket == socket.id)
        found.setdefault((socket.build, looks), []).append(socket)
    return list(found.values())


def _socket_heading(case: Case, sockets: Sequence[Socket]) -> str:
    names = sentence(sockets_listed([socket.id for socket in sockets]))
    figures = case.plan.figures.sockets if case.plan.figures else ()
    its = next((each for each in figures if each.socket == sockets[0].id), None)
    if its is None or not its.regions:
        return names
    each = " each" if len(sockets) > 1 else ""
    first, rest = sockets_listed([sockets[0].id]), sockets_listed([socket.id for socket in sockets[1:]])
    told = f" The lines below are for {first}; they hold for {rest} too." if len(sockets) > 1 else ""
    return f"{names}: {format_capacity(its.usable_gib)}{each}. {regions_sentence(its)}{told}"


def slot_text(case: Case, reason: SlotReason) -> str:
    """One slot's reason, every alternative that was tried."""
    page = answer_head(case)
    page.heading()
    _reason_lines(page, case, [reason])
    return str(page)


def _look(reason: SlotReason) -> object:
    """A reason without the slots that it speaks of."""
    apart = [(each.what, each.module, each.of, each.separation) for each in reason.tried]
    tried = tuple((*its, part.by, part.name, part.plan, part.alternative) for *its, part in apart)
    return reason.kind, reason.module, reason.place if reason.kind == "stacked" else None, tried


def _reason_lines(page: Text, case: Case, alike: Sequence[SlotReason]) -> None:
    first = alike[0]
    named = slots_phrase(case.board, [reason.slot for reason in alike])
    held = f" ({label_short(first.module)})" if first.module else ""
    page.note(f"{named}{held}: {reason_title(case, first)}")
    if len(alike) > 1 and first.tried:
        page.note(f"For {first.slot}:", 4)
    page.sentences(reason_statements(case, first), 4)


# -- why not otherwise -------------------------------------------------------------------------------------------------


class ExpectDocument(AnswerDocument, commands="why --expect"):
    """Why not exactly these slots; exit status 1 where the rules refuse them."""

    expected: list[str] = means("the slots", of="slots")
    plans_modules: bool = means(
        "true where they take just the plan's modules, false for its types in other numbers", of="exact"
    )
    proven: bool = means("the best assignment of them to the slots")
    only_plan: list[str] = means("slots that only the plan fills")
    only_expected: list[str] = means("slots that only this fills")
    slots: Slots = means("label, or null", of="alternative.content")
    parted: SeparationEntry = means("what separates it from the plan", of="separation")
    plan: FiguresEntry | None = means("of the plan", of="plan.figures")
    alternative: FiguresEntry | None = means("of this, null where it may not run", of="alternative.figures")
    said: list[SentenceEntry] = means("in words", within=expectation_statements)


def expectation_text(case: Case, expected: Expectation) -> str:
    """Why not exactly these slots."""
    page = answer_head(case)
    page.heading(expectation_title(case, expected))
    if expected.only_plan:
        page.note(f"Filled by the plan only: {slots_phrase(case.board, expected.only_plan)}.")
    if expected.only_expected:
        page.note(f"Filled here only: {slots_phrase(case.board, expected.only_expected)}.")
    page.sentences(expectation_statements(case, expected))
    if not expected.proven and expected.alternative.vector is not None:
        page.note("This assignment of the modules is the best found; it is not proven.")
    return str(page)
