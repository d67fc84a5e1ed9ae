"""What a change of a plan does: what comes next, modules put, cleared and failed; as JSON of format 1 and as text."""

from __future__ import annotations

from dimmplan.figures import PlacementFigures
from dimmplan.model.board import Board
from dimmplan.model.module import modules_phrase
from dimmplan.model.request import Mode
from dimmplan.output.columns import Text
from dimmplan.output.record import (
    Broken,
    Counts,
    FiguresEntry,
    Label,
    OfPlan,
    Record,
    SentenceEntry,
    Slots,
    means,
)
from dimmplan.output.why import AnswerDocument, answer_head
from dimmplan.reasons.case import Alternative, Case
from dimmplan.reasons.changes import ChangedPlan, NextAnswer, NextStep
from dimmplan.reasons.failure import Failure, LeftSet, SplitStep
from dimmplan.units import by_key, counted, format_capacity, listed
from dimmplan.wording import (
    MANY,
    Statement,
    breach_statements,
    broken_rules,
    capacities,
    capital,
    effects,
    figures_phrase,
    gb_s,
    label_short,
    led,
    share_text,
    slots_phrase,
    sockets_listed,
)

MOST_SPLIT_LINES = 31
"""Steps of halving that a terminal shows; the JSON has all of them."""

# -- what a change does ------------------------------------------------------------------------------------------------


def change_effects(case: Case, change: ChangedPlan, *, both: bool = False) -> list[Statement]:
    """What a change does to rate, regions and sweep, and the rows that it breaks or mends."""
    found = effects(case.board, case.figures, change.after_figures, both=both)
    found += breach_statements(case.board, change.broken)
    mended = dict.fromkeys((breach.rule, breach.source) for breach in change.mended)
    found += [Statement(text=f"No longer breaks {rule}.", rule=rule, source=source) for rule, source in mended]
    return found


# -- what comes next ---------------------------------------------------------------------------------------------------


def next_title(case: Case, step: NextStep) -> str:
    """Which slots, with what, and which would do as well."""
    added = modules_phrase([(step.module, len(step.slots))])
    equal = f" ({slots_phrase(case.board, step.equal)} would do as well)" if step.equal else ""
    if len(step.equal) >= MANY:
        equal = f" (or any other of: {slots_phrase(case.board, [*step.slots, *step.equal])})"
    return f"{slots_phrase(case.board, step.slots)}{equal}: {added}"


def next_statements(case: Case, step: NextStep) -> list[Statement]:
    """What one step does in figures, and the rows that it breaks."""
    before, after = case.figures, step.change.after_figures
    found = []
    if before is not None and after is not None and before.usable_gib != after.usable_gib:
        new, old = capacities(after.usable_gib, before.usable_gib)
        found.append(Statement(f"{new} instead of {old}.", "capacity"))
    return found + change_effects(case, step.change)


def no_next_statements(case: Case, answer: NextAnswer) -> list[Statement]:
    """Why nothing can come next: no slot free, or the rows that refuse each."""
    if not answer.refused:
        free = [slot for slot, module in case.placement.slots if module is None]
        usable = [slot for slot in free if case.board.channel_of[slot].socket in case.placement.fitted]
        if not usable:
            text = f"No slot is free at {sockets_listed(case.placement.fitted)}."
            return [Statement(text, "slots")]
        held = listed(usable)
        return [Statement(f"The free slots are on hold: {held}.", "hold", "PRACTICE")]
    return refused_statements(case, answer)


def refused_statements(case: Case, answer: NextAnswer) -> list[Statement]:
    """The first empty slots that a rule refuses, those of one rule and type together."""
    found = []
    alike = by_key(answer.refused, lambda step: (step.module.label, broken_rules(step.change.after.errors)))
    for (label, *_), steps in alike.items():
        slots = slots_phrase(case.board, [slot for step in steps for slot in step.slots])
        found += led(f"Not {label} at {slots}", breach_statements(case.board, steps[0].change.after.errors))
    return found


class NextStepEntry(Record):
    """A way to add."""

    module: Label = means("label of what is added")
    slots: list[str] = means("where")
    equal: list[str] = means("slots that would do as well as that one")
    figures: FiguresEntry | None = means("how it runs then", of="change.after_figures")
    broken: Broken = means("rows that break where they did not before", of="change.broken")
    said: list[SentenceEntry] = means("what changes", within=next_statements)


class NextDocument(AnswerDocument, OfPlan, commands="why --next"):
    """What comes next, alone and as a group; exit status 1 where nothing can."""

    now: FiguresEntry | None = means("of the plan", of="plan.figures")
    alone: list[NextStepEntry] = means("the best single slot for each type", of="singles")
    group: list[NextStepEntry] = means("the smallest group of those that sweep highest", of="groups")
    refused: list[NextStepEntry] = means("single slots that a rule refuses")
    complete: bool = means("false where the search's effort did not suffice")
    said: list[SentenceEntry] = means(
        "why nothing comes next",
        within=lambda case, answer: [] if answer.possible else no_next_statements(case, answer),
    )


def next_text(case: Case, answer: NextAnswer) -> str:
    """Which slot comes next, alone and as a group."""
    page = answer_head(case)
    if case.plan.figures is not None:
        page.note(f"Now: {figures_phrase(case.plan.figures)}.", 0)
    if not answer.possible:
        page.heading("Nothing comes next")
        page.sentences(no_next_statements(case, answer))
        return str(page)
    for title, steps in (
        ("Next alone", answer.singles),
        ("Next as a group: the smallest group with the highest sweep", answer.groups),
    ):
        if steps:
            page.heading(title)
        for step in steps:
            if steps is answer.groups and any(step.slots == single.slots for single in answer.singles):
                page.note(f"{slots_phrase(case.board, step.slots)}: the same as next alone.")
            else:
                page.note(next_title(case, step))
                page.sentences(next_statements(case, step), 4)
    if answer.refused:
        page.heading("Not here")
        page.sentences(refused_statements(case, answer))
    if not answer.complete:
        page.note("The search reached its effort limit for some types; a better group may exist.")
    return str(page)


# -- put and clear -----------------------------------------------------------------------------------------------------


def change_title(change: ChangedPlan) -> str:
    """The slots changed, each with what it holds before and after."""
    parts = []
    for slot, before, after in change.changes:
        old, new = (label_short(module) if module else "empty" for module in (before, after))
        if before and after and old == new:
            old, new = before.label, after.label
        parts.append(f"{slot}: {old} -> {new}" if before != after else f"{slot}: {old}, as it is")
    return "; ".join(parts)


def verdict_statements(case: Case, change: ChangedPlan) -> list[Statement]:
    """Whether the changed content is allowed, by the rows that it breaks."""
    if not change.refused:
        return [Statement("Yes: the board's rules allow it.", "rules")]
    return led("No", breach_statements(case.board, change.after.errors))


def unbroken_effects(case: Case, change: ChangedPlan) -> list[Statement]:
    """What a change does in figures, with advised rows and mended ones; broken error rows are the verdict."""
    broken = {breach.rule for breach in change.after.errors}
    return [said for said in change_effects(case, change, both=True) if said.rule not in broken]


class ChangedSlot(Record):
    """A slot that is changed."""

    slot: str = means("the slot")
    before: Label | None = means("label, or null")
    after: Label | None = means("label, or null")


class ChangeDocument(AnswerDocument, OfPlan, commands="why --put, --clear"):
    """What a change does; exit status 1 where it is refused. `files` with `-o`."""

    changes: list[ChangedSlot] = means(
        "what is put and cleared",
        by=lambda change: [{"slot": slot, "before": old, "after": new} for slot, old, new in change.changes],
    )
    allowed: bool = means("whether the rules allow it", by=lambda change: not change.refused)
    before: FiguresEntry | None = means("of the plan", of="figures")
    after: FiguresEntry | None = means("after the change", of="after_figures")
    broken: Broken = means("rows that break where they did not before")
    mended: Broken = means("rows that no longer break")
    still_broken: Broken = means(
        "error rows that broke before",
        by=lambda change: [breach for breach in change.after.errors if breach not in change.broken],
    )
    said: list[SentenceEntry] = means(
        "the verdict and the effects",
        within=lambda case, change: verdict_statements(case, change) + unbroken_effects(case, change),
    )
    files: list[str] = means("the change sheet; none is drawn of a refused change", default=[])


def change_text(case: Case, change: ChangedPlan) -> str:
    """What putting and clearing modules changes: before and after by socket, and what breaks."""
    page = answer_head(case)
    page.heading(change_title(change))
    page.sentences(verdict_statements(case, change))
    before, after = case.figures, change.after_figures
    if after is None:
        page.note("It does not run; there are no figures.")
    elif before is not None:
        pairs = zip(_rows("before", before), _rows("after", after), strict=True)
        numbers = ("capacity", "rate", "sweep", "share")
        page.rows([row for old, new in pairs for row in (old, ["", *new[1:]])], ("", "", *numbers), right=numbers)
    page.sentences(unbroken_effects(case, change))
    return str(page)


def _rows(when: str, figures: PlacementFigures) -> list[list[str]]:
    """The figures of each socket and of the system, before or after a change."""
    rows = [(its.socket, its.usable_gib, its.rate.rate_mts, its.sweep_gb_s, its.share) for its in figures.sockets]
    system = figures.usable_gib, figures.rate_mts, figures.balanced_sweep_gb_s, figures.worst_share
    return [
        [name, when, format_capacity(usable), f"{rate} MT/s", gb_s(sweep), share_text(share)]
        for name, usable, rate, sweep, share in [*rows, ("system", *system)]
    ]


# -- after a failure ---------------------------------------------------------------------------------------------------


def stay_statements(case: Case, stay: Alternative) -> list[Statement]:
    """How the machine runs with the failed modules out and nothing moved, or the rules that forbid it."""
    if stay.errors:
        return led("Not allowed", breach_statements(case.board, stay.errors))
    text = f"{figures_phrase(stay.figures)}." if stay.figures else "No memory is left."
    return [Statement(text, "figures"), *breach_statements(case.board, stay.breaches)]


def causes_statements(case: Case, failure: Failure) -> list[Statement]:
    """Why no set of what is left will do in the plan's mode."""
    if failure.best or not failure.left:
        return []
    text = f"In the mode {case.placement.mode.words} no set of the remaining modules obeys the rules."
    return [Statement(text, "mode"), *(Statement(c.text, c.rule, c.source or "MODEL") for c in failure.causes)]


def left_statements(case: Case, found: LeftSet) -> list[Statement]:
    """One set of what is left: how it runs, the moves to it, the advised rows that it breaks."""
    return [
        Statement(f"{figures_phrase(found.figures)}.", found.by),
        Statement(moves_text(case.board, found), "moves"),
        *breach_statements(case.board, found.alternative.breaches),
    ]


def moves_text(board: Board, found: LeftSet) -> str:
    """The moves in a sentence."""
    pulled = [move.source for move in found.moves.moves if move.kind == "pull" and move.source]
    parts = [f"take out {slots_phrase(board, pulled)}"] if pulled else []
    parts += [f"move {move.source} to {move.target}" for move in found.moves.moves if move.kind == "move"]
    if not parts:
        return "Every other module stays where it is."
    return f"{capital(listed(parts))}; the others stay."


SPLIT_CARE = Statement(
    "Between steps power off, pull all cords, and note for each module that is out which slot it came from.",
    rule="care",
    source="PRACTICE",
)
"""What every step of halving asks for."""


def split_text(board: Board, step: SplitStep) -> str:
    """One step of halving in words."""
    company = f" (together with {slots_phrase(board, step.company)}, known to be good)" if step.company else ""
    text = f"Keep only {slots_phrase(board, step.keep)} in place{company}. "
    text += f"If it still fails: {_after(step.if_fault)}. If it works: {_after(step.if_clean)}."
    if step.broken:
        text += f" This breaks {broken_rules(step.broken)}: exchange these modules one by one instead."
    elif step.other_broken:
        rest = [slot for slot in step.suspects if slot not in step.keep]
        text += f" (Do not test {slots_phrase(board, rest)} alone: that breaks {broken_rules(step.other_broken)}.)"
    return text


def _after(goal: int | str) -> str:
    return f"step {goal}" if isinstance(goal, int) else f"the module in {goal} is bad"


class StayEntry(Record):
    """The machine with nothing else moved."""

    allowed: bool = means("whether it may run with nothing else moved", by=lambda stay: not stay.errors)
    figures: FiguresEntry | None = means("how it runs then")
    broken: Broken = means("rows that this breaks", of="breaches")
    said: list[SentenceEntry] = means("in words", within=stay_statements)


class LeftMove(Record):
    """A module that is handled."""

    kind: str = means("`pull` or `move`")
    module: Label = means("label")
    source: str | None = means("the slot that it leaves", to="from")
    target: str | None = means("the slot that it goes to, null for `pull`", to="to")


class LeftSetEntry(Record):
    """A set of what is left."""

    proven: bool = means("first of its kind under this board file and this model")
    slots: Slots = means("label, or null", of="alternative.content")
    figures: FiguresEntry | None = means("how it runs")
    moves: list[LeftMove] = means("how to get there", of="moves.handled")
    broken: Broken = means("advised rows that it breaks", of="alternative.breaches")
    said: list[SentenceEntry] = means("the same in words", within=left_statements)


class HalfEntry(Record):
    """A step of looking for the bad module by halves."""

    step: int = means("number of the step", of="number")
    suspects: list[str] = means("slots among which the bad module is")
    keep: list[str] = means("those of them that stay in for the test")
    company: list[str] = means("modules known to be good that stay in too")
    out: list[str] = means("what is taken out")
    allowed: bool = means("whether the test breaks no error row", by=lambda step: not step.broken)
    broken: Broken = means("rows that it breaks")
    other_half_allowed: bool = means(
        "whether the other half could be tested instead", by=lambda step: not step.other_broken
    )
    other_half_broken: Broken = means("rows that this would break", of="other_broken")
    fault: int | str = means("next step, or the bad slot, where the fault stays", of="if_fault")
    clean: int | str = means("the same where it is not", of="if_clean")


class FailureDocument(AnswerDocument, OfPlan, commands="why --without"):
    """After failed modules; exit status 1 where no set obeys the rules in the plan's mode."""

    without: list[str] = means("slots whose modules failed", of="slots")
    failed: Counts = means("what failed")
    left: Counts = means("what is left")
    stay: StayEntry = means("with nothing else moved")
    best: LeftSetEntry | None = means("runs best by the plan's list; null where nothing does in its mode")
    causes: list[SentenceEntry] = means("why nothing does", within=causes_statements)
    fastest: LeftSetEntry | None = means("sweeps faster with less, or null")
    independent: LeftSetEntry | None = means(
        "runs best once the mode is set to independent, where nothing does in its own"
    )
    smallest: LeftSetEntry | None = means("fewest modules that boot")
    smallest_and_halves_mode: str = means("the mode that these are for", by=lambda _: "independent")
    halves: list[HalfEntry] = means("how to find the bad module", of="split")


def failure_text(case: Case, failure: Failure) -> str:
    """What still runs, what boots, and how to find a bad module by halves."""
    page, mode = answer_head(case), case.placement.mode
    left = modules_phrase(failure.left) or "no module"
    page.heading(f"Without {listed(list(failure.slots))} ({modules_phrase(failure.failed)}): {left} left")
    if failure.left and (failure.best is None or failure.best.alternative.content != failure.stay.content):
        page.heading("With nothing moved")
        page.sentences(stay_statements(case, failure.stay))
    if failure.left and failure.best is None:
        words = "" if mode is Mode.INDEPENDENT else f" {mode.words}"
        page.heading(f"No set of the remaining modules may run{words}")
        page.sentences(causes_statements(case, failure))
    _left_lines(page, case, "Best with what is left", failure.best)
    _left_lines(page, case, "Sweeps faster with less", failure.fastest)
    if mode is not Mode.INDEPENDENT and (failure.smallest or failure.split):
        page.heading(f"For what follows, first set the mode from {mode.words} to independent in firmware.")
    _left_lines(page, case, "Runs best in the independent mode", failure.independent)
    smallest = failure.smallest
    if smallest is not None:
        page.heading(f"Smallest that boots: {counted(smallest.figures.modules, 'module')}")
        filled = slots_phrase(case.board, [slot for slot, module in smallest.alternative.content.items() if module])
        moved = [f"{move.target} from {move.source}" for move in smallest.moves.moves if move.kind == "move"]
        page.note(f"Only {filled} filled" + (f" ({listed(moved)})." if moved else "."))
        page.sentences(said for said in left_statements(case, smallest) if said.rule != "moves")
    if failure.split:
        page.heading("If it still fails: test by halves, each module in its own slot")
        page.sentences([SPLIT_CARE])
        for step in failure.split[:MOST_SPLIT_LINES]:
            page.note(f"{step.number}. {split_text(case.board, step)}")
        if len(failure.split) > MOST_SPLIT_LINES:
            page.note(f"{counted(len(failure.split) - MOST_SPLIT_LINES, 'more step')} with --json.")
    return str(page)


def _left_lines(page: Text, case: Case, title: str, left: LeftSet | None) -> None:
    if left is not None:
        page.heading(title if left.proven else f"{title} (best found, not proven)")
        page.sentences(left_statements(case, left))
