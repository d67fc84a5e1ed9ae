"""What stands beside a plan: the machine it grows from, later steps, what adding reaches, the price of a mode."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from pydantic import Field

from dimmplan.model.finding import Finding
from dimmplan.model.module import Module, modules_phrase
from dimmplan.model.move import Change
from dimmplan.model.request import Mode
from dimmplan.output.moves import MovesDocument, moves_record, step_lines
from dimmplan.output.record import (
    BoundEntry,
    Count,
    CriterionEntry,
    GbS,
    Label,
    Number,
    Record,
    Slots,
    bound_record,
    counts_in,
)
from dimmplan.output.text import as_asked, indented, wrapped
from dimmplan.plancode.code import encode
from dimmplan.planner import Planned
from dimmplan.solve.answer import Choice
from dimmplan.units import counted, format_capacity, listed, trimmed, whole
from dimmplan.wording.machine import device_text, moves_summary
from dimmplan.wording.placement import gb_s
from dimmplan.wording.request import choice_phrase, sweep_of

if TYPE_CHECKING:
    from dimmplan.growth.grow import Growth
    from dimmplan.growth.keep import KeptModules, Speed, Upgrade
    from dimmplan.growth.pinned import Next

# -- from what is in a machine -----------------------------------------------------------------------------------------


class BeforeEntry(Record):
    """How fast a machine is before its upgrade."""

    rate_mts: int = Field(description="MT/s")
    balanced_sweep_gb_s: GbS = Field(validation_alias="balanced_gb_s", description="GB/s")
    worst_sweep_gb_s: GbS = Field(validation_alias="worst_gb_s", description="of the slowest socket")
    worst_socket: str = Field(description="that socket")


class ReleasedEntry(Record):
    """A slot on hold whose data is saved."""

    slot: str = Field(description="a slot on hold whose data is saved")
    found: str = Field(description="what is in it, in words")


class KeptEntry(Record):
    """What a machine brings to a plan."""

    date: str | None = Field(description="of the inventory")
    slots: Slots = Field(validation_alias="content", description="what is there and kept")
    hold: list[str] = Field(description="slots not to be touched")
    unlisted: list[str] = Field(description="those of them that the inventory does not list")
    released: list[ReleasedEntry] = Field(description="slots whose data is saved")
    questions: list[str] = Field(description="what to ask at the machine")
    discarded: int = Field(description="modules left over")
    bought: list[Count] = Field(description="what to buy")
    change: MovesDocument = Field(description="how to get there")


def kept_record(kept: KeptModules, change: Change) -> KeptEntry:
    """What a machine brings to a plan, and how to get there, as JSON."""
    bought = Counter(move.module.label for move in change.moves if move.kind == "insert")
    released = [
        ReleasedEntry(slot=each.slot, found=device_text(each.found) if each.found else "not listed")
        for each in kept.released
    ]
    return KeptEntry.of(
        kept,
        released=released,
        discarded=sum(left.count for left in change.stranded),
        bought=[Count(label=label, count=count) for label, count in sorted(bought.items())],
        change=moves_record(change),
    )


def upgrade_findings(upgrade: Upgrade) -> tuple[Finding, ...]:
    """A warning where the machine would get slower than it is, with the cheapest option that does not make it so."""
    if upgrade.before is None or not upgrade.slower:
        return ()
    text = f"The machine gets slower: {_speed(upgrade.before)} now, {_speed(upgrade.after)} after."
    choice, speed = upgrade.no_slower, upgrade.no_slower_speed
    if upgrade.searched and (choice is None or speed is None):
        text += " Nothing within the capacity that was asked for is as fast as it is now."
    elif choice is not None and speed is not None:
        capacity = format_capacity(choice.usable_gib)
        text += f" The cheapest that is no slower: {choice_phrase(choice)}, {capacity}, {_speed(speed)}."
    where = (upgrade.after.worst_socket,)
    return (Finding(rule="slower-than-now", severity="warning", where=where, text=text, source="MODEL"),)


def _speed(speed: Speed) -> str:
    worst = f"worst socket {speed.worst_socket} {gb_s(speed.worst_gb_s)}"
    return f"{gb_s(speed.balanced_gb_s)} at {speed.rate_mts} MT/s ({worst})"


def kept_text(kept: KeptModules, planned: Planned, upgrade: Upgrade, change: Change) -> str:
    """How to get from the machine to the plan, for a terminal."""
    dated = f" (inventory of {kept.date})" if kept.date else ""
    lines = [f"From what is in the machine{dated}"]
    now = "not known" if upgrade.before is None else _speed(upgrade.before)
    lines += indented(f"sweep now: {now}; after: {_speed(upgrade.after)}")
    for each in kept.released:
        lying = device_text(each.found) if each.found else "the module"
        lines += indented(f"first take {lying} out of {each.slot}: its data is saved")
    lines += _change_lines(change, first="  ")
    for left in change.stranded:
        fits = f"would also fit in {', '.join(left.fits)}" if left.fits else "no free slot of this board would take it"
        lines += indented(f"left over: {left.count} x {left.module.label}; {fits}")
    held = [slot for slot in kept.hold if slot not in kept.unlisted]
    if held:
        lines += indented(f"on hold, not to be touched: {', '.join(held)}; --data-saved SLOT releases one")
    if kept.unlisted:
        lines += indented(
            f"not in the inventory, so not to be touched: {', '.join(kept.unlisted)}; a list names empty slots "
            f"too ({kept.unlisted[0]},empty), or --rest-empty says it of all"
        )
    if kept.questions:
        lines += indented("to ask at the machine (dimmplan audit --save-slots keeps the answers for --slots):")
        lines += [line for question in kept.questions for line in indented(question, deep=2)]
    absent = kept.empty_sockets(planned.request.fitted)
    if absent:
        lines += indented(
            f"the machine shows no module at {listed(list(absent))}: without its processor there, say --fitted"
        )
    return "\n".join(lines) + "\n"


def _change_lines(change: Change, *, first: str) -> Iterator[str]:
    """What is handled and in which order, each line after ``first``."""
    yield from wrapped(moves_summary(change.moves), first=first, rest=first + "  ")
    yield from step_lines(change, first=first + "  ")


# -- what adding alone reaches -----------------------------------------------------------------------------------------


class AddedEntry(Record):
    """A module that is added."""

    slot: str = Field(description="where it goes")
    label: Label = Field(description="what goes there")


class NextEntry(Record):
    """A capacity that adding alone reaches."""

    usable_gib: Number = Field(description="the capacity")
    balanced_sweep_gb_s: GbS = Field(validation_alias="sweep_gb_s", description="GB/s")
    added: list[AddedEntry] = Field(description="what is added")


def next_record(nexts: Iterable[Next]) -> list[NextEntry]:
    """The next capacities by adding, as JSON."""
    return [
        NextEntry.of(each, added=[AddedEntry.of(slot=slot, label=module) for slot, module in each.added])
        for each in nexts
    ]


def next_text(nexts: Sequence[Next]) -> str:
    """The next capacities by adding, for a terminal."""
    if not nexts:
        return "Next by adding only: nothing within these module types\n"
    lines = ["Next by adding only"]
    for each in nexts:
        counts = Counter(module for _, module in each.added)
        modules = modules_phrase(sorted(counts.items(), key=lambda pair: pair[0].order_key))
        lines += indented(f"{format_capacity(each.usable_gib)} sweeps at {gb_s(each.sweep_gb_s)} (adds {modules})")
    return "\n".join(lines) + "\n"


# -- what a mode costs -------------------------------------------------------------------------------------------------


class IndependentEntry(Record):
    """A request planned for itself alone: what it would have."""

    usable_gib: Number = Field(description="the capacity that it would have")
    modules: list[Count] = Field(description="what it would take")
    balanced_sweep_gb_s: GbS = Field(description="GB/s")


class ModePriceEntry(Record):
    """What a mode costs."""

    independent: IndependentEntry = Field(description="the same request in the independent mode")
    installed_gib: int = Field(description="how much more the mode puts into the machine")
    slots: int = Field(description="how many slots more")
    read_gb_s: GbS = Field(description="how much faster the mode reads, GB/s; below 0 where slower")
    write_gb_s: GbS = Field(description="and writes")


class _Side(NamedTuple):
    """Figures that a mode is weighed by; GB/s are balanced sweeps."""

    modules: str
    installed_gib: int
    slots: int
    read: Fraction
    write: Fraction


def _side(planned: Planned) -> _Side:
    placement, figures = planned.placement, planned.figures
    sweep = figures.balanced_sweep_gb_s
    return _Side(
        modules=modules_phrase((module, placement.count(module)) for module in placement.types),
        installed_gib=figures.capacity_gib,
        slots=figures.modules,
        read=sweep,
        write=sweep / 2 if placement.mode is Mode.MIRRORED else sweep,
    )


def mode_record(planned: Planned, free: Planned) -> ModePriceEntry:
    """The price of a mode as JSON: what the independent mode would take, and how much more or less the mode has."""
    mine, other = _side(planned), _side(free)
    return ModePriceEntry.of(
        independent=_independent(free, free.answer.best),
        installed_gib=mine.installed_gib - other.installed_gib,
        slots=mine.slots - other.slots,
        read_gb_s=mine.read - other.read,
        write_gb_s=mine.write - other.write,
    )


def _independent(planned: Planned, choice: Choice) -> IndependentEntry:
    modules = counts_in(choice.content)
    return IndependentEntry.of(choice, modules=modules, balanced_sweep_gb_s=sweep_of(planned, choice))


def mode_text(planned: Planned, free: Planned) -> str:
    """The price of a mode for a terminal."""
    mine, other = _side(planned), _side(free)
    mode, asked = planned.request.mode.words, format_capacity(planned.request.capacity_gib)
    lines = ["What the mode costs"]
    for name, side in ((mode, mine), ("independent", other)):
        speed = gb_s(side.read) + (f" reading, {gb_s(side.write)} writing" if side.write != side.read else "")
        lines += indented(
            f"{name}: {asked} asked is {side.modules}, {format_capacity(side.installed_gib)} in "
            f"{counted(side.slots, 'slot')}; sweeps at {speed}"
        )
    return "\n".join(lines) + "\n"


# -- later steps -------------------------------------------------------------------------------------------------------


class PriceEntry(Record):
    """What a chain costs against a step planned for itself."""

    balanced_sweep_gb_s: GbS = Field(description="how much slower it is, GB/s")
    over_gib: Number = Field(description="how much more capacity it has")


class GrowthStep(Record):
    """A step of a chain."""

    capacity_gib: int = Field(description="asked at the step")
    usable_gib: Number = Field(description="reached")
    balanced_sweep_gb_s: GbS = Field(description="GB/s")
    modules: list[Count] = Field(description="what stands then")
    slots: Slots = Field(description="label, or null")
    added: list[Count] = Field(description="what is added at the step")
    status: str = Field(description="`proven` or `best-found`, of the step for itself")
    code: str = Field(description="its plan code")
    free: IndependentEntry | None = Field(description="the step planned for itself alone; null after Ctrl-C")
    price: PriceEntry | None = Field(description="what the chain costs against that; null after Ctrl-C")
    change: MovesDocument | None = Field(default=None, description="how to get there, with `--then-may-move`")


class PathEntry(Record):
    """Modules over a whole chain."""

    bought: int = Field(description="modules bought along the chain")
    left_over: int = Field(description="modules left over along it")


class GrowthEntry(Record):
    """A chain of later steps."""

    may_move: bool = Field(description="whether later steps may move modules")
    max_types: int = Field(description="most types used at once")
    status: str = Field(description="`best-found`: no search goes over whole chains")
    stopped: str | None = Field(description="what is not proven, and why")
    bound: BoundEntry = Field(description="how far the search came")
    outside_window: bool = Field(description="a step is more than a quarter above its request")
    criteria: list[CriterionEntry] = Field(description="what decides the chain")
    steps: list[GrowthStep] = Field(description="the steps in order")
    path: PathEntry = Field(description="the chain")
    free_path: PathEntry | None = Field(description="the same with every step planned for itself; null after Ctrl-C")


def growth_record(growth: Growth, changes: Sequence[Change] = ()) -> GrowthEntry:
    """A chain as JSON; each step beside the same step chosen by itself. ``changes`` lead to the later steps."""
    return GrowthEntry.of(
        growth,
        max_types=growth.steps[0].request.max_types,
        status="best-found",
        stopped=growth.stopped or "no search covers the whole chain",
        bound=bound_record(growth.bound, growth.effort),
        criteria=[
            CriterionEntry.of(name=each.name, value=value, better=each.better)
            for each, value in growth.chain.worth.measured
        ],
        steps=[_step_record(growth, index, changes) for index in range(len(growth.steps))],
        path=_path(growth, [step.answer.best for step in growth.steps]),
        free_path=_free_path(growth),
    )


def _free_path(growth: Growth) -> PathEntry | None:
    """The path of steps that are each planned for themselves, where all of them are known."""
    choices = [answer.best for answer in growth.free if answer is not None]
    return _path(growth, choices) if len(choices) == len(growth.free) else None


def _step_record(growth: Growth, index: int, changes: Sequence[Change]) -> GrowthStep:
    step, alone = growth.steps[index], growth.free[index]
    best = step.answer.best
    sweep = sweep_of(step, best)
    return GrowthStep.of(
        step.placement,
        capacity_gib=step.request.capacity_gib,
        usable_gib=best.usable_gib,
        balanced_sweep_gb_s=sweep,
        modules=counts_in(best.content),
        added=counts_in(_added(growth, index)),
        code=encode(growth.board, step.placement),
        free=None if alone is None else _independent(step, alone.best),
        price=None
        if alone is None
        else PriceEntry.of(
            balanced_sweep_gb_s=sweep_of(step, alone.best) - sweep,
            over_gib=whole(Fraction(best.usable_gib - alone.best.usable_gib)),
        ),
        **({"change": moves_record(changes[index - 1])} if index and changes else {}),
    )


def _added(growth: Growth, index: int) -> dict[str, Module | None]:
    """What a step adds: slots that were empty, or with moves what there is more of, under numbers."""
    after = growth.steps[index].placement.content
    if index == 0:
        return after
    before = growth.steps[index - 1].placement.content
    if not growth.may_move:
        return {slot: module for slot, module in after.items() if before[slot] is None}
    more = Counter(m for m in after.values() if m) - Counter(m for m in before.values() if m)
    return {str(number): module for number, module in enumerate(more.elements())}


def _path(growth: Growth, path: Sequence[Choice]) -> PathEntry:
    """Modules that a path has to buy over all steps, and those in nobody's slot at its end.

    What a step takes out waits on the shelf for a later one.
    """
    steps = [Counter(module for module in choice.content.values() if module) for choice in path]
    owned = Counter({supply.module: supply.kept for supply in growth.steps[0].request.supplies if supply.kept})
    bought = 0
    for step in steps:
        missing = step - owned
        bought += missing.total()
        owned += missing
    return PathEntry(bought=bought, left_over=(owned - steps[-1]).total())


def growth_text(growth: Growth, changes: Sequence[Change] = ()) -> str:
    """A chain for a terminal: each step, what it adds, and the price of the path."""
    how = "modules may move, none is discarded" if growth.may_move else "later steps only add modules"
    types = counted(growth.steps[0].request.max_types, "module type")
    lines = wrapped(
        f"Growth in {counted(len(growth.steps), 'step')}; {how}; at most {types} over the whole chain; "
        f"{_status(growth)}"
    )
    if growth.outside_window:
        text = "No chain was found that keeps every step within its allowance; this one goes above."
        lines += wrapped(text, first="  ")
    for index in range(len(growth.steps)):
        lines += _step_lines(growth, index, changes)
    path = _path(growth, [step.answer.best for step in growth.steps])
    free = _free_path(growth)
    text = f"This path buys {counted(path.bought, 'module')} in all and leaves {path.left_over or 'none'} over"
    if free is None:
        text += "."
    else:
        text += f"; each step by itself would buy {free.bought} and leave {free.left_over or 'none'} over."
    return "\n".join([*lines, "", *wrapped(text)]) + "\n"


_NAMES = {
    "advised_broken": "a chain that breaks fewer advised rules",
    "discarded": "a chain that discards fewer modules",
    "smallest_sweep": "a higher smallest sweep",
    "sum_of_sweeps": "a higher sum of sweeps",
    "bought": "a chain that buys fewer modules",
    "cost": "a chain that costs less",
}


def _status(growth: Growth) -> str:
    if growth.bound is None:
        return "best found: no chain has better figures"
    why = "" if growth.stopped is None else f"{growth.stopped}; "
    name, value = growth.bound
    words = _NAMES.get(name, "a chain with less capacity above a request")
    unit = " GB/s" if "sweep" in name else " GiB" if "gib" in name else ""
    return f"best found, not proven: {why}{words} is possible (at best {trimmed(Fraction(value), 1)}{unit})"


def _step_lines(growth: Growth, index: int, changes: Sequence[Change]) -> Iterator[str]:
    step, alone = growth.steps[index], growth.free[index]
    best = step.answer.best
    capacity = as_asked(step.request.capacity_gib, best.usable_gib)
    yield ""
    head = f"{index + 1}. {capacity}, {choice_phrase(best)}, sweep {gb_s(sweep_of(step, best))}"
    yield from wrapped(head, rest="   ")
    if index and changes:
        yield from _change_lines(changes[index - 1], first="   ")
    elif index:
        added = _added(growth, index)
        slots = [
            f"{each.count} x {each.label} into "
            + ", ".join(slot for slot, module in added.items() if module and module.label == each.label)
            for each in counts_in(added)
        ]
        yield from wrapped(f"adds {'; '.join(slots)}", first="   ", rest="     ")
    if alone is not None:
        yield from wrapped(_by_itself(step, alone.best), first="   ", rest="     ")


def _by_itself(step: Planned, free: Choice) -> str:
    sweep, by_itself = sweep_of(step, step.answer.best), sweep_of(step, free)
    if step.placement.content == {slot: free.content.get(slot) for slot, _ in step.placement.slots}:
        return "by itself: the same"
    words = f"by itself: {format_capacity(free.usable_gib)}, {choice_phrase(free)}, sweep {gb_s(by_itself)}"
    if by_itself > sweep:
        return f"{words}; the path costs {gb_s(by_itself - sweep)} here"
    return words + ("; no slower on the path" if by_itself == sweep else "")
