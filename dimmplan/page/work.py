"""What is done at the chassis, as text: cautions, what comes off, modules to fetch, every step, what to check after."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from dimmplan.page.markup import Markup, element, listed_items, section, table
from dimmplan.report import move_text, moves_summary
from dimmplan.sheet.care import (
    BEFORE,
    BOOT_CHECKS,
    CAUTIONS,
    DEFERENCE,
    NOTICES,
    Lead,
    boot_notes,
    power_checks,
    warnings,
)
from dimmplan.sheet.change import ChangeFacts
from dimmplan.sheet.facts import Facts
from dimmplan.sheet.panels import HOLD, PICK_HEADS, access_steps, finding_lead, hold_said, pick_rows

Step = tuple[str, str, str]
"""Its number, the slot, what is done there."""


def before_work(facts: Facts) -> Markup:
    """What must be sure, what may harm, and what comes off first."""
    return section(
        "before",
        "Before you start",
        element("p", element("strong", DEFERENCE)),
        listed_items(BEFORE),
        *_care("Warning", warnings(facts)),
        *_care("Caution", CAUTIONS),
        *_care("Notice", NOTICES),
        *_for_this_machine(facts),
        *([element("h3", HOLD), element("p", hold_said(facts))] if facts.placement.hold else []),
        element("h3", "Comes off first"),
        listed_items(access_steps(facts), ordered=True),
    )


def _for_this_machine(facts: Facts) -> Iterator[Markup]:
    if facts.chassis_findings:
        yield from _care("For this machine", ((finding_lead(each), each.text) for each in facts.chassis_findings))


def _care(word: str, items: Iterable[Lead]) -> Iterator[Markup]:
    yield element("h3", word)
    yield listed_items(element("span", element("strong", lead), " " if lead else "", text) for lead, text in items)


def doing(facts: Facts) -> Markup:
    """What to fetch and every step, with the numbers that the map has."""
    change = isinstance(facts, ChangeFacts)
    steps = list(_changes(facts) if isinstance(facts, ChangeFacts) else _installs(facts))
    key, module, *more = PICK_HEADS
    picks = [(label, letter, *rest) for letter, label, *rest in pick_rows(facts)]
    return section(
        "doing",
        f"{facts.doing}, in this order",
        *_kept(facts),
        table("To fetch, and left over" if change else "To fetch", (module, key, *more), picks, numbers=(2,))
        if picks
        else Markup(),
        table("Steps", ("step", "slot", "what is done"), steps) if steps else element("p", "Nothing to do."),
    )


def _installs(facts: Facts) -> Iterator[Step]:
    for _, batch in facts.steps:
        for fact in batch:
            module = facts.placement.content[fact.slot]
            if module is not None:
                yield str(fact.step), fact.slot, f"insert {module.label}"


def _changes(facts: ChangeFacts) -> Iterator[Step]:
    """As the change sheet counts them: a module that moves comes out at one step and goes in at a later one."""
    for slot, move in facts.outs.items():
        later = f", goes in at step {facts.in_steps[move.target]}" if move.target else ""
        yield str(facts.out_steps[slot]), slot, f"{move_text(move)}{': take it out' if later else ''}{later}"
    for slot, move in facts.ins.items():
        yield str(facts.in_steps[slot]), slot, f"{move_text(move)}{': put it in' if move.source else ''}"


def _kept(facts: Facts) -> Sequence[Markup]:
    if not isinstance(facts, ChangeFacts):
        return ()
    change = facts.change
    more = [
        f"{left.module.label}, left over: would also fit in {', '.join(left.fits)}"
        for left in change.stranded
        if left.fits
    ]
    kept = [move_text(move) for move in change.moves if move.kind == "keep"]
    return element("p", f"{moves_summary(change.moves)}."), listed_items([*kept, *more])


def after_work(facts: Facts) -> Markup:
    """What to look at before the cords go back, and what the machine should then show."""
    return section(
        "after",
        "Before power-on and at first boot",
        listed_items(power_checks(facts)),
        element("p", f"Expect {facts.expected}."),
        *(element("p", said) for said in boot_notes(facts)),
        listed_items(BOOT_CHECKS),
    )
