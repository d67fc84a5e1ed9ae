"""Why a plan is as it is, and why not otherwise: as JSON of format 1 and as text for a terminal.

JSON and text say the same, every sentence with its rule and source.
"""

from __future__ import annotations

from collections.abc import Sequence

from dimmplan.model.board import Board, Socket
from dimmplan.model.module import Module, by_type, modules_phrase
from dimmplan.model.request import Mode
from dimmplan.output.columns import Text, as_asked, board_line
from dimmplan.output.record import (
    Broken,
    Exact,
    FiguresEntry,
    GbS,
    Label,
    Number,
    OfPlan,
    PlacementDocument,
    Record,
    SentenceEntry,
    Slots,
    means,
)
from dimmplan.reasons.case import Alternative, Case, Separation
from dimmplan.reasons.changes import Expectation
from dimmplan.reasons.rate import Lift, RateReason
from dimmplan.reasons.slots import Attempt, SlotReason, dead_words, filled_gib
from dimmplan.units import by_key, counted, format_capacity, listed
from dimmplan.wording import (
    ORDINALS,
    Statement,
    bare_value,
    breach_statements,
    capacities,
    capital,
    channels_phrase,
    criterion_phrase,
    effects,
    gains_and_losses,
    gb_s,
    label_short,
    led,
    rate_row_words,
    regions_sentence,
    sentence,
    slots_phrase,
    sockets_listed,
    sweep_effect,
)


class AnswerDocument(PlacementDocument):
    """What every answer about a plan begins with; it is made of the answer and of the case."""

    status: str = means("`proven` or `best-found`", of="placement.status")
    asked_gib: int = means("capacity asked", of="placement.capacity_gib")


def answer_head(case: Case) -> Text:
    """An answer that begins with the board, and with what was asked of it."""
    placement, figures = case.placement, case.plan.figures
    runs = f" in {counted(figures.modules, 'module')} at {figures.rate_mts} MT/s" if figures else ""
    mode = "" if placement.mode is Mode.INDEPENDENT else f", {placement.mode.words}"
    status = "proven" if placement.status == "proven" else "best found"
    reading = "; sweep is for reading, writing is half as fast" if placement.mode is Mode.MIRRORED else ""
    capacity = as_asked(placement.capacity_gib, case.usable_gib)
    return Text(board_line(case.board), f"{capacity}{runs}{mode}; {placement.prefer}, {status}{reading}")


# -- the rate ----------------------------------------------------------------------------------------------------------


def rate_title(reason: RateReason, *, alone: bool = True) -> str:
    """What the reason is about; not ``alone`` where other channels of the same sockets have another one."""
    where = sockets_listed(reason.sockets)
    if alone:
        return f"Why {reason.rate_mts} MT/s at {where}"
    return f"Why {reason.rate_mts} MT/s on {counted(len(reason.channels), 'channel')} of {where}"


def rate_statements(case: Case, reason: RateReason) -> list[Statement]:
    """Which row binds and where, the limits beside it, and what would lift the rate."""
    where = channels_phrase(case.board, reason.channels)
    each = listed([str(count) for count in reason.modules], last="or")
    filled = f"{each} module{'s' if reason.modules != (1,) else ''} on each"
    also = f" On other channels {listed([rate_row_words(row) for row in reason.also])} does." if reason.also else ""
    text = f"{capital(rate_row_words(reason.row))} limits the rate on {where}, with {filled}.{also}"
    found = [Statement(text, reason.row, reason.source)]
    for limit in reason.limits:
        if limit.row != reason.row:
            text = f"{capital(rate_row_words(limit.row))} allows {limit.rate_mts} MT/s."
            found.append(Statement(text, limit.row, limit.source))
    lowest = min(limit.rate_mts for limit in reason.limits)
    if lowest != reason.rate_mts:
        text = f"The board lists no rate from {reason.rate_mts + 1} to {lowest} MT/s, so it runs at {reason.rate_mts}."
        found.append(Statement(text, "rates_mts"))
    found += [_lift_statement(case, reason, lift) for lift in reason.lifts]
    if not reason.lifts:
        top = max(case.board.rates_mts)
        why = "It is the highest rate of the board." if reason.rate_mts == top else "No single change raises it."
        found.append(Statement(why, reason.row, reason.source))
    return found


_LIFTS = {
    "fewer": "With {slots} left empty",
    "processor": "Processor {name}",
    "type": "All modules of that size replaced by {name}",
    "label": "Modules labelled {name} MT/s or more",
}


def _lift_statement(case: Case, reason: RateReason, lift: Lift) -> Statement:
    change = _LIFTS[lift.kind].format(slots=slots_phrase(case.board, lift.slots), name=lift.name)
    capacity = f", {format_capacity(lift.usable_gib)}" if lift.usable_gib != case.usable_gib else ""
    broken = f" It breaks {listed(list(lift.broken))}." if lift.broken else ""
    sweep = f"balanced sweep {gb_s(lift.sweep_gb_s)}"
    if case.figures is not None:
        sweep += f" instead of {gb_s(case.figures.balanced_sweep_gb_s)}"
    text = f"{change}: {lift.rate_mts} MT/s (+{lift.rate_mts - reason.rate_mts}){capacity}, {sweep}.{broken}"
    return Statement(text, reason.row, reason.source)


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


# -- what separates ------------------------------------------------------------------------------------------------


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


# -- each slot ---------------------------------------------------------------------------------------------------------

_TITLES = {
    "first-in-channel": "first on its channel: the slots after it may be filled only if it is",
    "stacked": "{ordinal} on its channel, since every channel of {socket} has its first",
    "equal-share": "an equal share: {share} on each of {channels} of {socket}",
    "needed": "needed for the capacity asked",
    "board-order": "one of several equal places, the first in board order",
    "breaks-rule": "{state}: the rule {rule} {verb}",
    "lowers-rate": "empty: a module here would lower the rate",
    "splits-range": "empty: a module here would split the address range",
    "exceeds-request": "empty: the capacity asked is reached",
    "ranks-lower": "{prefer} prefers it this way",
    "alternative-first": "an alternative is better than the plan",
    "dead": "dead: {dead}",
    "hold": "on hold: nothing is pulled, moved or inserted here",
}


def reason_title(case: Case, reason: SlotReason) -> str:
    """A reason in a few words."""
    shares = filled_gib(case, reason.socket)
    return _TITLES[reason.kind].format(
        ordinal=ORDINALS[reason.place],
        socket=sockets_listed([reason.socket]),
        share=format_capacity(max(shares, default=0)),
        channels=counted(len(shares), "channel"),
        prefer=case.placement.prefer,
        state=reason.state,
        rule=reason.tried[0].separation.name if reason.tried else "",
        verb="requires it" if reason.module else "forbids a module here",
        dead=dead_words(case, reason.slot),
    )


def reason_statements(case: Case, reason: SlotReason) -> list[Statement]:
    """The sentences of a reason: one alternative after the other."""
    if reason.row is not None:
        return [Statement(reason.row.sentence(), reason.row.id, reason.row.source)]
    return [said for tried in reason.tried for said in attempt_statements(case, reason, tried)]


def attempt_statements(case: Case, reason: SlotReason, tried: Attempt) -> list[Statement]:
    """One alternative and what separates it from the plan; what one more does beside, and what one less gains."""
    apart = tried.separation
    said = led(_lead(tried), separation_statements(case, tried.alternative, apart))
    before, after = case.plan.figures, tried.alternative.figures
    if tried.what == "fill":
        said += effects(case.board, before, after, socket=reason.socket, sweep=apart.name != "balanced_sweep")
    elif before and after and apart.by == "below" and after.balanced_sweep_gb_s > before.balanced_sweep_gb_s:
        said += sweep_effect(before, after)
    return said


_LEADS = {
    "fill": ("One more {module} here", ""),
    "move-here": ("The module of {other} moved here", "moves"),
    "empty": ("Left empty", ""),
    "move-away": ("Moved to {other}", "moves"),
    "exchange": ("Exchanged with the {module} of {other}", "exchanges"),
}
"""What an alternative is, and the noun for several of them."""


def _lead(tried: Attempt) -> str:
    lead, noun = _LEADS[tried.what]
    best = f", the best of {tried.of} different {noun}" if noun and tried.of > 1 else ""
    return lead.format(module=label_short(tried.module), other=tried.other) + best


class SeparationEntry(Record):
    """What separates an alternative from the plan."""

    by: str = means("`rule`, `below`, `above` (the capacity asked), `criterion`, `board-order`, `same`")
    name: str = means("the first rule or criterion that separates the two")
    plan: Exact | None = means("its value in the plan; sweep and parallel as exact fractions of GB/s")
    alternative: Exact | None = means("its value in the alternative")
    better: str | None = means("`high` or `low`")
    first: str = means("which of the two comes first: `plan` or `alternative`")
    broken: Broken = means("rows that decide, where rows do", of="breaches")


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
    for sockets in _alike_sockets(case.board, reasons):
        page.heading(_socket_heading(case, sockets))
        alike = by_key((reason for reason in reasons if reason.socket == sockets[0].id), _look)
        for together in alike.values():
            _reason_lines(page, case, together)
    return str(page)


def _alike_sockets(board: Board, reasons: Sequence[SlotReason]) -> list[list[Socket]]:
    """Sockets whose slots, one after the other, are as they are for the same reasons: told once."""
    looks = {socket.id: tuple(_look(each) for each in reasons if each.socket == socket.id) for socket in board.sockets}
    return list(by_key(board.sockets, lambda socket: (socket.build, looks[socket.id])).values())


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


def expectation_statements(case: Case, expected: Expectation) -> list[Statement]:
    """What separates the expected slots from the plan, and everything that they lose and gain."""
    found = separation_statements(case, expected.alternative, expected.separation)
    if expected.separation.by in ("same", "rule"):
        return found
    found = led("Decided by", found)
    if case.plan.vector is not None and expected.alternative.vector is not None:
        gains, losses = gains_and_losses(case.criteria, case.plan.vector, expected.alternative.vector)
        told = [("Worse", losses), ("Better", gains)]
        found += [Statement(f"{word}: {'; '.join(its)}.", case.placement.prefer) for word, its in told if its]
    found += effects(case.board, case.plan.figures, expected.alternative.figures, sweep=False)
    advised = [breach for breach in expected.alternative.breaches if breach not in case.plan.breaches]
    return [*found, *breach_statements(case.board, advised)]


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
    modules = modules_phrase(by_type(expected.alternative.content.get(slot) for slot in expected.slots))
    whose = "the plan's modules" if expected.exact else "other numbers of the plan's types"
    page.heading(f"{counted(len(expected.slots), 'slot')} filled with {whose}: {modules}")
    if expected.only_plan:
        page.note(f"Filled by the plan only: {slots_phrase(case.board, expected.only_plan)}.")
    if expected.only_expected:
        page.note(f"Filled here only: {slots_phrase(case.board, expected.only_expected)}.")
    page.sentences(expectation_statements(case, expected))
    if not expected.proven and expected.alternative.vector is not None:
        page.note("This assignment of the modules is the best found; it is not proven.")
    return str(page)
