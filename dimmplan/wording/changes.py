"""Words for what comes next, what a change does, what is left after a failure, and what a mix costs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from dimmplan.figures import PlacementFigures
from dimmplan.model.board import Board
from dimmplan.model.module import modules_phrase
from dimmplan.reasons.case import Case
from dimmplan.reasons.changes import ChangedPlan, NextAnswer, NextStep
from dimmplan.reasons.failure import Failure, LeftSet, SplitStep
from dimmplan.rules import Breach
from dimmplan.units import decimal, format_capacity, listed
from dimmplan.wording.placement import gb_s, label_short, sockets_listed
from dimmplan.wording.statements import (
    MANY,
    Statement,
    breach_statements,
    capacities,
    effects,
    slots_phrase,
)


def figures_phrase(figures: PlacementFigures) -> str:
    """How a content runs, short."""
    share = decimal(figures.worst_share, 4)
    sweep = gb_s(figures.balanced_sweep_gb_s)
    return (
        f"{format_capacity(figures.usable_gib)} at {figures.rate_mts} MT/s, balanced sweep {sweep}, share {share:.4f}"
    )


# -- next ------------------------------------------------------------------------------------------------------------


def next_title(case: Case, step: NextStep) -> str:
    """Which slots, with what, and which would do as well."""
    added = modules_phrase([(step.module, len(step.slots))])
    equal = f" ({slots_phrase(case.board, step.equal)} would do as well)" if step.equal else ""
    if len(step.equal) >= MANY:
        equal = f" (or any other of: {slots_phrase(case.board, [*step.slots, *step.equal])})"
    return f"{slots_phrase(case.board, step.slots)}{equal}: {added}"


def next_statements(case: Case, step: NextStep) -> list[Statement]:
    """What one step does in figures, and the rows that it breaks."""
    return [*_capacity_statements(step.change), *change_effects(case.board, step.change)]


def _capacity_statements(change: ChangedPlan) -> Iterator[Statement]:
    before, after = change.before_figures, change.after_figures
    if before is not None and after is not None and before.usable_gib != after.usable_gib:
        new, old = capacities(after.usable_gib, before.usable_gib)
        text = f"{new} instead of {old}."
        yield Statement(text=text, rule="capacity", source="MODEL")


def change_effects(board: Board, change: ChangedPlan, *, both: bool = False) -> list[Statement]:
    """What a change does to rate, regions and sweep, and the rows that it breaks or mends."""
    before, after = change.before_figures, change.after_figures
    found = effects(board, before, after, both=both) if before is not None and after is not None else []
    found += breach_statements(board, change.broken)
    mended = dict.fromkeys((breach.rule, breach.source) for breach in change.mended)
    found += [Statement(text=f"No longer breaks {rule}.", rule=rule, source=source) for rule, source in mended]
    return found


def no_next_statements(case: Case, answer: NextAnswer) -> list[Statement]:
    """Why nothing can come next: no slot free, or the rows that refuse each."""
    if not answer.refused:
        free = [slot for slot, module in case.placement.slots if module is None]
        usable = [slot for slot in free if case.board.channel_of[slot].socket in case.placement.fitted]
        if not usable:
            text = f"No slot is free at {sockets_listed(case.placement.fitted)}."
            return [Statement(text=text, rule="slots", source="MODEL")]
        held = listed(usable)
        return [Statement(text=f"The free slots are on hold: {held}.", rule="hold", source="PRACTICE")]
    return refused_statements(case, answer)


def refused_statements(case: Case, answer: NextAnswer) -> list[Statement]:
    """The first empty slots that a rule refuses, those of one rule and type together."""
    together: dict[tuple[str, str], list[NextStep]] = {}
    for step in answer.refused:
        rules = " and ".join(dict.fromkeys(breach.rule for breach in step.change.after.errors))
        together.setdefault((step.module.label, rules), []).append(step)
    found = []
    for (label, _), steps in together.items():
        slots = slots_phrase(case.board, [slot for step in steps for slot in step.slots])
        first, *rest = breach_statements(case.board, steps[0].change.after.errors)
        found.append(first.led_by(f"Not {label} at {slots}"))
        found += rest
    return found


# -- put and clear ---------------------------------------------------------------------------------------------------


def change_title(change: ChangedPlan) -> str:
    """The slots changed, each with what it holds before and after."""
    parts = []
    for slot, before, after in change.changes:
        old, new = (label_short(module) if module else "empty" for module in (before, after))
        if before and after and old == new:
            old, new = before.label, after.label
        parts.append(f"{slot}: {old} -> {new}" if before != after else f"{slot}: {old}, as it is")
    return "; ".join(parts)


def verdict_statements(board: Board, change: ChangedPlan) -> list[Statement]:
    """Whether the changed content is allowed, by the rows that it breaks."""
    if not change.refused:
        return [Statement(text="Yes: the board's rules allow it.", rule="rules", source="MODEL")]
    first, *rest = breach_statements(board, change.after.errors)
    return [first.led_by("No"), *rest]


def unbroken_effects(board: Board, change: ChangedPlan) -> list[Statement]:
    """What a change does in figures, with advised rows and mended ones; broken error rows are the verdict."""
    broken = {breach.rule for breach in change.after.errors}
    return [said for said in change_effects(board, change, both=True) if said.rule not in broken]


# -- after a failure -------------------------------------------------------------------------------------------------


def failure_title(failure: Failure) -> str:
    """What failed and what is left."""
    left = modules_phrase(failure.left) or "no module"
    return f"Without {listed(list(failure.slots))} ({modules_phrase(failure.failed)}): {left} left"


def stay_statements(board: Board, failure: Failure) -> list[Statement]:
    """How the machine runs with the failed modules out and nothing moved, or the rules that forbid it."""
    stay = failure.stay
    if stay.errors:
        first, *rest = breach_statements(board, stay.errors)
        return [
            first.led_by("Not allowed"),
            *rest,
        ]
    text = f"{figures_phrase(stay.figures)}." if stay.figures else "No memory is left."
    return [Statement(text=text, rule="figures", source="MODEL"), *breach_statements(board, stay.breaches)]


def causes_statements(failure: Failure) -> list[Statement]:
    """Why no set of what is left will do in the plan's mode."""
    text = f"In the mode {failure.mode.value} no set of the remaining modules obeys the rules."
    found = [Statement(text=text, rule="mode", source="MODEL")]
    return [*found, *(Statement(text=c.text, rule=c.rule, source=c.source or "MODEL") for c in failure.causes)]


def left_statements(case: Case, found: LeftSet, *, by: str = "", changes: bool = True) -> list[Statement]:
    """One set of what is left, the first by a list: how it runs, the moves to it, the advised rows that it breaks."""
    text = f"{figures_phrase(found.alternative.figures)}." if found.alternative.figures else "It has no figures."
    said = [Statement(text=text, rule=by or case.placement.prefer, source="MODEL")]
    if changes:
        said.append(Statement(text=moves_text(case.board, found), rule="moves", source="MODEL"))
    return [*said, *breach_statements(case.board, found.alternative.breaches)]


def moves_text(board: Board, found: LeftSet) -> str:
    """The moves in a sentence."""
    moves = found.moves
    pulled = [move.source for move in moves.moves if move.kind == "pull" and move.source]
    parts = [f"take out {slots_phrase(board, pulled)}"] if pulled else []
    parts += [f"move {move.source} to {move.target}" for move in moves.moves if move.kind == "move"]
    if not parts:
        return "Every other module stays where it is."
    text = listed(parts)
    return f"{text[:1].upper()}{text[1:]}; the others stay."


def stays_text(board: Board, found: LeftSet) -> str:
    """The slots that a set fills, with how they got there."""
    filled = [slot for slot, module in found.alternative.content.items() if module]
    moved = [f"{move.target} from {move.source}" for move in found.moves.moves if move.kind == "move"]
    return f"Only {slots_phrase(board, filled)} filled" + (f" ({listed(moved)})." if moved else ".")


def split_care() -> Statement:
    """What every step of halving asks for."""
    text = "Between steps power off, pull all cords, and note for each module that is out which slot it came from."
    return Statement(text=text, rule="care", source="PRACTICE")


def split_text(case: Case, step: SplitStep) -> str:
    """One step of halving in words."""
    board = case.board
    company = f" (together with {slots_phrase(board, step.company)}, known to be good)" if step.company else ""
    text = f"Keep only {slots_phrase(board, step.keep)} in place{company}. "
    text += f"If it still fails: {_after(step.if_fault)}. If it works: {_after(step.if_clean)}."
    if step.broken:
        text += f" This breaks {listed(_rules(step.broken))}: exchange these modules one by one instead."
    elif step.other_broken:
        rest = [slot for slot in step.suspects if slot not in step.keep]
        text += f" (Do not test {slots_phrase(board, rest)} alone: that breaks {listed(_rules(step.other_broken))}.)"
    return text


def _rules(breaches: Iterable[Breach]) -> list[str]:
    return list(dict.fromkeys(breach.rule for breach in breaches))


def _after(goal: int | str) -> str:
    return f"step {goal}" if isinstance(goal, int) else f"the module in {goal} is bad"
