"""Why a plan is as it is, and why not otherwise: as JSON of format 1 and as text for a terminal.

JSON and text say the same, every sentence with its rule and source.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from pydantic import Field

from dimmplan.model.board import Board, Socket
from dimmplan.model.finding import Finding
from dimmplan.model.request import Mode
from dimmplan.output.record import (
    BoardHead,
    Document,
    Exact,
    FiguresEntry,
    FindingEntry,
    GbS,
    Label,
    Number,
    OfPlan,
    Record,
    Slots,
)
from dimmplan.output.text import as_asked, board_line, wrapped
from dimmplan.reasons.case import Case, Separation
from dimmplan.reasons.changes import Expectation
from dimmplan.reasons.rate import RateReason
from dimmplan.reasons.slots import Attempt, SlotReason
from dimmplan.rules import Breach
from dimmplan.units import counted, format_capacity
from dimmplan.wording import slots
from dimmplan.wording.placement import breach_finding, label_short, regions_sentence, sockets_listed
from dimmplan.wording.statements import Statement, sentence, slots_phrase


class SentenceEntry(Record):
    """What the terminal prints."""

    text: str = Field(description="what the terminal prints")
    rule: str = Field(description="the row, criterion or figure behind it")
    source: str = Field(description="id of the source")


class AnswerDocument(Document):
    """What every answer about a plan begins with."""

    board: BoardHead = Field(description="the board")
    fitted: list[str] = Field(description="sockets with a processor")
    processor: str | None = Field(description="the processor option of all sockets, null where they differ")
    processors: dict[str, str] = Field(description="the processor option of each fitted socket")
    absent_trays: list[str] = Field(description="trays that are not there")
    inlet_c: int | None = Field(description="warmest air at the inlet in degrees Celsius; null where nobody has said")
    mode: str = Field(description="`independent`, `mirrored`, `partly-mirrored`, `lockstep` or `sparing`")
    prefer: str = Field(description="the list of criteria")
    status: str = Field(description="`proven` or `best-found`")
    asked_gib: int = Field(description="capacity asked")


def head_of(case: Case) -> dict[str, Any]:
    """The keys that every answer about a plan begins with."""
    placement = case.placement
    keys = {name: getattr(placement, name) for name in ("fitted", "processors", "mode", "prefer", "status")}
    keys |= {"processor": placement.one_processor, "absent_trays": placement.absent, "inlet_c": placement.inlet_c}
    return {**keys, "board": case.board, "asked_gib": placement.capacity_gib}


def findings_of(board: Board, breaches: Iterable[Breach]) -> list[Finding]:
    """Broken rows in words."""
    return [breach_finding(board, breach) for breach in breaches]


class AnswerText:
    """Lines of an answer: the board, and what was asked of it."""

    def __init__(self, board: Board, case: Case | None = None) -> None:
        self.lines = [*wrapped(board_line(board)), *(wrapped(_asked(case)) if case else ())]

    def heading(self, text: str) -> None:
        """An empty line and a heading."""
        self.lines += ["", *wrapped(text)]

    def text(self, text: str, *, deep: int = 1) -> None:
        """A paragraph without a source of its own."""
        self.lines += wrapped(text, first="  " * deep, rest="  " * (deep + 1))

    def sentences(self, said: Iterable[Statement], *, deep: int = 1) -> None:
        """Sentences, each with its rule and source id."""
        for each in said:
            self.text(f"{each.text} [{each.rule}, {each.source}]", deep=deep)

    def finish(self) -> str:
        """The whole text."""
        return "\n".join(self.lines) + "\n"


def _asked(case: Case) -> str:
    placement, figures = case.placement, case.plan.figures
    runs = f" in {counted(figures.modules, 'module')} at {figures.rate_mts} MT/s" if figures else ""
    mode = "" if placement.mode is Mode.INDEPENDENT else f", {placement.mode.words}"
    status = "proven" if placement.status == "proven" else "best found"
    reading = "; sweep is for reading, writing is half as fast" if placement.mode is Mode.MIRRORED else ""
    capacity = as_asked(placement.capacity_gib, case.usable_gib)
    return f"{capacity}{runs}{mode}; {placement.prefer}, {status}{reading}"


# -- why ---------------------------------------------------------------------------------------------------------------


class SeparationEntry(Record):
    """What separates an alternative from the plan."""

    by: str = Field(description="`rule`, `below`, `above` (the capacity asked), `criterion`, `board-order`, `same`")
    name: str = Field(description="the first rule or criterion that separates the two")
    plan: Exact | None = Field(description="its value in the plan; sweep and parallel as exact fractions of GB/s")
    alternative: Exact | None = Field(description="its value in the alternative")
    better: str | None = Field(description="`high` or `low`")
    first: str = Field(description="which of the two comes first: `plan` or `alternative`")
    broken: list[FindingEntry] = Field(description="rows that decide, where rows do")


class RateLimitEntry(Record):
    """One limit of a rate."""

    kind: str = Field(description="`board`, `processor` or `module`")
    name: str = Field(description="row, option or label")
    rate_mts: int = Field(description="what it allows")
    source: str = Field(description="id of its source")


class LiftEntry(Record):
    """What would raise a rate."""

    kind: str = Field(description="`fewer` (slots left empty), `processor`, `type`, `label`")
    name: str = Field(description="the option, type or rate")
    slots: list[str] = Field(description="slots left empty")
    rate_mts: int = Field(description="the rate then")
    gain_mts: int = Field(description="how much more")
    usable_gib: Number = Field(description="capacity then")
    balanced_sweep_gb_s: GbS = Field(validation_alias="sweep_gb_s", description="GB/s then")
    broken: list[str] = Field(description="rows that this breaks")


class RateEntry(Record):
    """Why some sockets run at a rate."""

    sockets: list[str] = Field(description="sockets that run at this rate")
    channels: list[str] = Field(description="channels whose rate the row limits")
    rate_mts: int = Field(description="MT/s")
    row: str = Field(description="what limits the rate: a rate row, `processor:ID` or `module:LABEL`")
    source: str = Field(description="id of its source")
    limits: list[RateLimitEntry] = Field(description="what stands side by side")
    lifts: list[LiftEntry] = Field(description="what would raise it")
    said: list[SentenceEntry] = Field(description="the same in words")


class AttemptEntry(Record):
    """An alternative to what a slot holds."""

    what: str = Field(description="the alternative: `fill`, `move-here`, `empty`, `move-away`, `exchange`")
    module: Label = Field(description="label of what is filled in, moved or taken out")
    other: str | None = Field(description="the other slot of a move or an exchange")
    weighed: int = Field(validation_alias="of", description="how many different ones it is the best of")
    slots: Slots = Field(description="slots that the alternative changes")
    parted: SeparationEntry = Field(description="what separates it from the plan")
    figures: FiguresEntry | None = Field(description="how it would run, null where it may not")
    said: list[SentenceEntry] = Field(description="the same in words")


class ReasonEntry(Record):
    """Why a slot is as it is."""

    slot: str = Field(description="the slot")
    state: str = Field(description="`filled`, `empty`, `dead` or `hold`")
    kind: str = Field(
        description="the reason: `first-in-channel`, `stacked`, `equal-share`, `needed`, `board-order`, "
        "`breaks-rule`, `lowers-rate`, `splits-range`, `exceeds-request`, `ranks-lower`, `alternative-first`, `dead`, "
        "`hold`"
    )
    title: str = Field(description="the reason in a few words")
    socket: str = Field(description="where it is")
    channel: str = Field(description="where it is")
    place: int = Field(description="1 is the first slot of its channel")
    module: Label | None = Field(description="label, or null")
    tried: list[AttemptEntry] = Field(description="alternatives")
    said: list[SentenceEntry] = Field(description="of slots without an alternative: dead ones, and those on hold")


class WhyDocument(AnswerDocument, OfPlan):
    """Reasons of a plan."""

    commands = "why, why SLOT"
    about = "Why the rate is what it is, and each slot's reason; with a slot, that slot alone."

    figures: FiguresEntry | None = Field(description="of the plan")
    rate: list[RateEntry] = Field(description="why it runs at its rate")
    slots: list[ReasonEntry] = Field(description="every slot")


def why_record(case: Case, rates: Sequence[RateReason], reasons: Sequence[SlotReason]) -> WhyDocument:
    """Every slot's reason, and why the rate is what it is."""
    return WhyDocument.of(
        **head_of(case),
        figures=case.plan.figures,
        rate=[_rate(case, rate) for rate in rates],
        slots=[_reason(case, reason) for reason in reasons],
    )


def _rate(case: Case, reason: RateReason) -> RateEntry:
    lifts = [LiftEntry.of(lift, gain_mts=lift.rate_mts - reason.rate_mts) for lift in reason.lifts]
    return RateEntry.of(reason, lifts=lifts, said=slots.rate_statements(case, reason))


def _reason(case: Case, reason: SlotReason) -> ReasonEntry:
    return ReasonEntry.of(
        reason,
        title=slots.reason_title(case, reason),
        place=reason.place + 1,
        tried=[_tried(case, reason, tried) for tried in reason.tried],
        said=[] if reason.tried else slots.reason_statements(case, reason),
    )


def _tried(case: Case, reason: SlotReason, tried: Attempt) -> AttemptEntry:
    return AttemptEntry.of(
        tried,
        slots={slot: m for slot, m in tried.alternative.content.items() if m != case.content.get(slot)},
        parted=_separation(case, tried.separation),
        figures=tried.alternative.figures,
        said=slots.attempt_statements(case, reason, tried),
    )


def _separation(case: Case, separation: Separation) -> SeparationEntry:
    return SeparationEntry.of(separation, broken=findings_of(case.board, separation.breaches))


def why_text(case: Case, rates: Sequence[RateReason], reasons: Sequence[SlotReason]) -> str:
    """The whole plan: why it runs at its rate, then every slot, those of one reason together."""
    page = AnswerText(case.board, case)
    for rate in rates:
        same = [other for other in rates if set(other.sockets) & set(rate.sockets)]
        page.heading(slots.rate_title(rate, alone=len(same) == 1))
        page.sentences(slots.rate_statements(case, rate))
    for sockets in _alike_sockets(case, reasons):
        page.heading(_socket_heading(case, sockets))
        alike: dict[object, list[SlotReason]] = {}
        for reason in reasons:
            if reason.socket == sockets[0].id:
                alike.setdefault(_look(reason), []).append(reason)
        for together in alike.values():
            _reason_lines(page, case, together)
    return page.finish()


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
    page = AnswerText(case.board, case)
    page.lines.append("")
    _reason_lines(page, case, [reason])
    return page.finish()


def _look(reason: SlotReason) -> object:
    """A reason without the slots that it speaks of."""
    tried = tuple(
        (
            each.what,
            each.module,
            each.of,
            each.separation.by,
            each.separation.name,
            each.separation.plan,
            each.separation.alternative,
        )
        for each in reason.tried
    )
    return reason.kind, reason.module, reason.place if reason.kind == "stacked" else None, tried


def _reason_lines(page: AnswerText, case: Case, alike: Sequence[SlotReason]) -> None:
    first = alike[0]
    named = slots_phrase(case.board, [reason.slot for reason in alike])
    held = f" ({label_short(first.module)})" if first.module else ""
    page.text(f"{named}{held}: {slots.reason_title(case, first)}")
    said = slots.reason_statements(case, first)
    if len(alike) > 1 and first.tried:
        page.text(f"For {first.slot}:", deep=2)
    page.sentences(said, deep=2)


# -- why not otherwise -------------------------------------------------------------------------------------------------


class ExpectDocument(AnswerDocument):
    """Other slots than the plan's."""

    commands = "why --expect"
    about = "Why not exactly these slots; exit status 1 where the rules refuse them."

    expected: list[str] = Field(description="the slots")
    plans_modules: bool = Field(
        description="true where they take just the plan's modules, false for its types in other numbers"
    )
    proven: bool = Field(description="the best assignment of them to the slots")
    only_plan: list[str] = Field(description="slots that only the plan fills")
    only_expected: list[str] = Field(description="slots that only this fills")
    slots: Slots = Field(description="label, or null")
    parted: SeparationEntry = Field(description="what separates it from the plan")
    plan: FiguresEntry | None = Field(description="of the plan")
    alternative: FiguresEntry | None = Field(description="of this, null where it may not run")
    said: list[SentenceEntry] = Field(description="in words")


def expectation_record(case: Case, expected: Expectation) -> ExpectDocument:
    """What comes of the slots that somebody expected."""
    alternative = expected.alternative
    return ExpectDocument.of(
        expected,
        **head_of(case),
        expected=expected.slots,
        plans_modules=expected.exact,
        slots=alternative.content,
        parted=_separation(case, expected.separation),
        plan=case.plan.figures,
        alternative=alternative.figures,
        said=slots.expectation_statements(case, expected),
    )


def expectation_text(case: Case, expected: Expectation) -> str:
    """Why not exactly these slots."""
    page = AnswerText(case.board, case)
    page.heading(slots.expectation_title(case, expected))
    if expected.only_plan:
        page.text(f"Filled by the plan only: {slots_phrase(case.board, expected.only_plan)}.")
    if expected.only_expected:
        page.text(f"Filled here only: {slots_phrase(case.board, expected.only_expected)}.")
    page.sentences(slots.expectation_statements(case, expected))
    if not expected.proven and expected.alternative.vector is not None:
        page.text("This assignment of the modules is the best found; it is not proven.")
    return page.finish()
