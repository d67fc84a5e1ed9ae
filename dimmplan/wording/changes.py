"""Words for what comes next, what a change does, what is left after a failure, and what a mix costs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from dimmplan.figures import PlacementFigures
from dimmplan.model.board import Board
from dimmplan.model.module import Module, modules_phrase
from dimmplan.reasons.case import Case
from dimmplan.reasons.changes import ChangedPlan, NextAnswer, NextStep
from dimmplan.reasons.failure import Failure, LeftSet, SplitStep
from dimmplan.reasons.mix import Mix, MixLoad, MixSet, PairVerdict
from dimmplan.rules import Breach
from dimmplan.rules.base import field_noun
from dimmplan.units import by_key, decimal, format_capacity, listed
from dimmplan.wording.placement import breach_finding, gb_s, label_short, regions_sentence, sockets_listed
from dimmplan.wording.statements import (
    MANY,
    ORDINALS,
    Statement,
    breach_statements,
    capacities,
    channels_phrase,
    effects,
    led,
    lowered,
    rate_source,
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
        yield Statement(text, "capacity")


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
            return [Statement(text, "slots")]
        held = listed(usable)
        return [Statement(f"The free slots are on hold: {held}.", "hold", "PRACTICE")]
    return refused_statements(case, answer)


def refused_statements(case: Case, answer: NextAnswer) -> list[Statement]:
    """The first empty slots that a rule refuses, those of one rule and type together."""
    found = []
    alike = by_key(answer.refused, lambda step: (step.module.label, *_rules(step.change.after.errors)))
    for (label, *_), steps in alike.items():
        slots = slots_phrase(case.board, [slot for step in steps for slot in step.slots])
        found += led(f"Not {label} at {slots}", breach_statements(case.board, steps[0].change.after.errors))
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
        return [Statement("Yes: the board's rules allow it.", "rules")]
    return led("No", breach_statements(board, change.after.errors))


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
        return led("Not allowed", breach_statements(board, stay.errors))
    text = f"{figures_phrase(stay.figures)}." if stay.figures else "No memory is left."
    return [Statement(text, "figures"), *breach_statements(board, stay.breaches)]


def causes_statements(failure: Failure) -> list[Statement]:
    """Why no set of what is left will do in the plan's mode."""
    text = f"In the mode {failure.mode.words} no set of the remaining modules obeys the rules."
    return [Statement(text, "mode"), *(Statement(c.text, c.rule, c.source or "MODEL") for c in failure.causes)]


def left_statements(case: Case, found: LeftSet, *, by: str = "", changes: bool = True) -> list[Statement]:
    """One set of what is left, the first by a list: how it runs, the moves to it, the advised rows that it breaks."""
    text = f"{figures_phrase(found.alternative.figures)}." if found.alternative.figures else "It has no figures."
    said = [Statement(text, by or case.placement.prefer)]
    if changes:
        said.append(Statement(moves_text(case.board, found), "moves"))
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
    return Statement(text, "care", "PRACTICE")


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


# -- a mix -----------------------------------------------------------------------------------------------------------

_TOGETHER = {
    "channel": "may share a channel",
    "channels": "may be used in one system, but never on one channel",
    "sockets": "may be used in one system, but never at one socket",
    "never": "may not be used in one system",
}


def mix_title(mix: Mix) -> str:
    """The verdict in a few words."""
    if len(mix.modules) == 1:
        only = mix.modules[0].label
        return f"{'Yes' if mix.allowed else 'No'}: these labels are one type, {only}"
    if mix.refused:
        names = listed(list(dict.fromkeys(module.label for module, _ in mix.refused)))
        return f"No: the board refuses {names}"
    if not mix.allowed:
        return f"No: {listed([module.label for module in mix.modules])} {_TOGETHER['never']}"
    return f"Yes: {listed([module.label for module in mix.modules])} {_TOGETHER[mix.together]}"


def refused_label_statements(mix: Mix) -> list[Statement]:
    """The rows that refuse a type in any company."""
    return [
        Statement(f"{module.label}: {lowered(told.text)}", breach.rule, breach.source)
        for module, breach in mix.refused
        for told in [breach_finding(mix.board, breach)]
    ]


def pair_title(mix: Mix, pair: PairVerdict) -> str:
    """A pair and how close it may stand."""
    return f"{_short(mix, pair.one)} with {_short(mix, pair.other)} {_TOGETHER[pair.together]}"


def pair_statements(mix: Mix, pair: PairVerdict) -> list[Statement]:
    """The rows about what the two differ in, those that keep them apart, and the orders that a channel takes."""
    found = breach_statements(mix.board, pair.breaches)
    told = {said.rule for said in found}
    found += [
        Statement(f"{row.sentence()} These differ in it.", row.id, row.source)
        for row in pair.rows
        if row.id not in told
    ]
    covered = {row.field for row in pair.rows}
    free = [field_noun(field) for field in pair.differ if field not in covered]
    if free:
        also = "also " if covered else ""
        found.append(Statement(f"They {also}differ in {listed(free)}; no row about mixing speaks of that.", "mix"))
    return [*found, *_loads_statements(mix, pair)]


def _loads_statements(mix: Mix, pair: PairVerdict) -> Iterator[Statement]:
    """Orders on one channel: allowed ones with their rate, then those that a row refuses."""
    if not pair.loads and pair.together in ("channel", "channels"):
        text = "Every channel has one slot, so two modules are always on different channels."
        yield Statement(text, "slots")
    allowed = [load for load in pair.loads if load.allowed]
    for load in allowed:
        assert load.rate is not None
        slots = listed(list(load.channel.slots[: len(load.load)]))
        where = channels_phrase(mix.board, load.channels)
        text = f"{_order(mix, load)}, as in {slots}: {load.rate.rate_mts} MT/s. The same holds on {where}."
        yield Statement(text, load.rate.row, rate_source(mix.board, load.rate.row))
    refused = [load for load in pair.loads if allowed and not load.allowed]
    for loads in by_key(refused, lambda load: load.breaches[0].rule).values():
        first = breach_statements(mix.board, loads[0].breaches[:1])[0]
        more = f" and {len(loads) - 1} more orders" if len(loads) > 1 else ""
        text = f"Not {_order(mix, loads[0])}{more}: {lowered(first.text)}"
        yield Statement(text, first.rule, first.source)


def _short(mix: Mix, module: Module) -> str:
    """A type in a few words, its whole label where another one of the mix has the same few."""
    short = label_short(module)
    return short if sum(label_short(other) == short for other in mix.modules) == 1 else module.label


def _order(mix: Mix, load: MixLoad) -> str:
    parts = [f"{_short(mix, module)} {ORDINALS[place]}" for place, module in enumerate(load.load)]
    return listed(parts, last="then")


def price_statements(mix: Mix) -> list[Statement]:
    """The capacity compared: mixed, then each type alone."""
    if mix.mixed is None:
        return []
    found = [_set_statement("Mixed", mix.mixed)]
    for alone in mix.alone:
        module = alone.modules[0][0]
        usable, asked = alone.figures.usable_gib, mix.capacity_gib or 0
        short = "" if usable == asked else ", the nearest above" if usable > asked else ", the most that fits"
        found.append(_set_statement(f"{_short(mix, module)} alone{short}", alone))
    return found


def price_title(mix: Mix) -> str:
    """What is compared."""
    assert mix.capacity_gib is not None
    return f"Compared: the best placement of {format_capacity(mix.capacity_gib)} at {listed(list(mix.fitted))}"


def _set_statement(name: str, found: MixSet) -> Statement:
    shapes = by_key(found.figures.sockets, regions_sentence).items()
    regions = " ".join(f"{listed([each.socket for each in alike])}: {lowered(text)}" for text, alike in shapes)
    advised = _rules(found.breaches)
    broken = f" Advised rules broken: {listed(advised)}." if advised else ""
    text = f"{name}: {modules_phrase(found.modules)}; {figures_phrase(found.figures)}. {regions}{broken}"
    return Statement(text, "capacity-first")
