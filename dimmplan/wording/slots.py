"""Words for the reasons of slots and rates, and for what comes of the slots that somebody expected."""

from __future__ import annotations

from collections.abc import Iterator

from dimmplan.model.module import by_type, modules_phrase
from dimmplan.model.placement import why_dead
from dimmplan.reasons.case import Case
from dimmplan.reasons.changes import Expectation
from dimmplan.reasons.rate import Lift, RateReason
from dimmplan.reasons.slots import Attempt, SlotReason, filled_gib
from dimmplan.units import counted, format_capacity, listed
from dimmplan.wording.placement import gains_and_losses, gb_s, label_short, rate_row_words, sockets_listed
from dimmplan.wording.statements import (
    ORDINALS,
    Statement,
    breach_statements,
    channels_phrase,
    led,
    rate_effect,
    region_effects,
    separation_statements,
    slots_phrase,
    sweep_effect,
)

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
_DEAD = {
    "tray": "its tray {tray} is not there",
    "processor": "socket {socket} has no processor in this plan",
    "channel": "the processor {processor} does not serve channel {channel}",
}


def reason_title(case: Case, reason: SlotReason) -> str:
    """A reason in a few words."""
    shares = filled_gib(case, reason.socket)
    dead = _DEAD.get(why_dead(case.board, case.placement, reason.slot), "").format(
        tray=case.board.tray_of.get(reason.slot),
        socket=reason.socket,
        processor=case.placement.processors.get(reason.socket),
        channel=reason.channel,
    )
    return _TITLES[reason.kind].format(
        ordinal=ORDINALS[reason.place],
        socket=sockets_listed([reason.socket]),
        share=format_capacity(max(shares, default=0)),
        channels=counted(len(shares), "channel"),
        prefer=case.placement.prefer,
        state=reason.state,
        rule=reason.tried[0].separation.name if reason.tried else "",
        verb="requires it" if reason.module else "forbids a module here",
        dead=dead,
    )


def reason_statements(case: Case, reason: SlotReason) -> list[Statement]:
    """The sentences of a reason: one alternative after the other."""
    if reason.row is not None:
        return [Statement(reason.row.sentence(), reason.row.id, reason.row.source)]
    return [said for tried in reason.tried for said in attempt_statements(case, reason, tried)]


def attempt_statements(case: Case, reason: SlotReason, tried: Attempt) -> list[Statement]:
    """One alternative and what separates it from the plan; what one more does beside, and what one less gains."""
    said = led(_lead(tried), separation_statements(case, tried.alternative, tried.separation))
    beside: Iterator[Statement] = iter(())
    before, after = case.plan.figures, tried.alternative.figures
    if tried.what == "fill":
        beside = _beside(case, reason, tried)
    elif before and after and tried.separation.by == "below" and after.balanced_sweep_gb_s > before.balanced_sweep_gb_s:
        beside = sweep_effect(before, after)
    return [*said, *beside]


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


def _beside(case: Case, reason: SlotReason, tried: Attempt) -> Iterator[Statement]:
    """What one more module does to rate, regions and sweep, where the capacity already decides."""
    before, after = case.plan.figures, tried.alternative.figures
    if before is None or after is None:
        return
    yield from rate_effect(case.board, before, after)
    yield from region_effects(case.board, before, after, socket=reason.socket)
    if tried.separation.name != "balanced_sweep":
        yield from sweep_effect(before, after)


# -- rate ------------------------------------------------------------------------------------------------------------


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
    text = f"{_sentence(rate_row_words(reason.row))} limits the rate on {where}, with {filled}.{also}"
    found = [Statement(text, reason.row, reason.source)]
    for limit in reason.limits:
        if limit.row != reason.row:
            text = f"{_sentence(rate_row_words(limit.row))} allows {limit.rate_mts} MT/s."
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


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


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
    if case.plan.figures is not None:
        sweep += f" instead of {gb_s(case.plan.figures.balanced_sweep_gb_s)}"
    text = f"{change}: {lift.rate_mts} MT/s (+{lift.rate_mts - reason.rate_mts}){capacity}, {sweep}.{broken}"
    return Statement(text, reason.row, reason.source)


# -- expected slots --------------------------------------------------------------------------------------------------


def expectation_title(case: Case, expected: Expectation) -> str:
    """What was judged: which slots, with what."""
    modules = modules_phrase(by_type(expected.alternative.content.get(slot) for slot in expected.slots))
    whose = "the plan's modules" if expected.exact else "other numbers of the plan's types"
    return f"{counted(len(expected.slots), 'slot')} filled with {whose}: {modules}"


def expectation_statements(case: Case, expected: Expectation) -> list[Statement]:
    """What separates the expected slots from the plan, and everything that they lose and gain."""
    found = separation_statements(case, expected.alternative, expected.separation)
    if expected.separation.by in ("same", "rule"):
        return found
    found = led("Decided by", found)
    mine, other = case.plan.vector, expected.alternative.vector
    if mine is not None and other is not None:
        gains, losses = gains_and_losses(case.criteria, mine, other)
        texts = [
            f"{word}: {'; '.join(changes)}." for word, changes in (("Worse", losses), ("Better", gains)) if changes
        ]
        found += [Statement(text, case.placement.prefer) for text in texts]
    before, after = case.plan.figures, expected.alternative.figures
    if before is not None and after is not None:
        found += [*rate_effect(case.board, before, after), *region_effects(case.board, before, after)]
    advised = [breach for breach in expected.alternative.breaches if breach not in case.plan.breaches]
    return [*found, *breach_statements(case.board, advised)]
