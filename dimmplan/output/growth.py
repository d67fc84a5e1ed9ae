"""What some options put beside a plan: the machine it grows from, later steps, the price of a mode."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from dimmplan.model.module import Module, modules_phrase
from dimmplan.model.placement import Change, Finding
from dimmplan.model.request import Mode
from dimmplan.output.columns import Text, as_asked
from dimmplan.output.machine import device_text
from dimmplan.output.moves import MovesDocument, left_over_text, moves_summary, step_lines
from dimmplan.output.plan import PlanDocument, choice_phrase, sweep_of
from dimmplan.output.record import (
    BoundEntry,
    Count,
    Counts,
    CriterionEntry,
    GbS,
    Number,
    Record,
    Slots,
    counts,
    means,
)
from dimmplan.output.stock import ShelfEntry
from dimmplan.plancode.code import encode
from dimmplan.planner import Planned
from dimmplan.solve.answer import Choice
from dimmplan.units import counted, format_capacity, listed, trimmed, whole
from dimmplan.wording import gb_s

if TYPE_CHECKING:
    from dimmplan.growth.grow import Growth
    from dimmplan.growth.keep import KeptModules, Speed, Upgrade

# -- from what is in a machine -----------------------------------------------------------------------------------------


class BeforeEntry(Record):
    """How fast a machine is before its upgrade."""

    rate_mts: int = means("MT/s")
    balanced_sweep_gb_s: GbS = means("GB/s", of="balanced_gb_s")
    worst_sweep_gb_s: GbS = means("of the slowest socket", of="worst_gb_s")
    worst_socket: str = means("that socket")


class ReleasedEntry(Record):
    """A slot on hold whose data is saved."""

    slot: str = means("a slot on hold whose data is saved")
    found: str = means(
        "what is in it, in words", by=lambda slot: device_text(slot.found) if slot.found else "not listed"
    )


class KeptEntry(Record):
    """What a machine brings to a plan."""

    date: str | None = means("of the inventory")
    slots: Slots = means("what is there and kept", of="content")
    hold: list[str] = means("slots not to be touched")
    unlisted: list[str] = means("those of them that the inventory does not list")
    released: list[ReleasedEntry] = means("slots whose data is saved")
    questions: list[str] = means("what to ask at the machine")
    discarded: int = means("modules left over", within=lambda change, _: sum(left.count for left in change.stranded))
    bought: list[Count] = means("what to buy", within=lambda change, _: _bought(change))
    change: MovesDocument = means("how to get there", within=lambda change, _: change)


def _bought(change: Change) -> list[Count]:
    labels = Counter(move.module.label for move in change.moves if move.kind == "insert")
    return [Count(label=label, count=count) for label, count in sorted(labels.items())]


def upgrade_findings(upgrade: Upgrade) -> tuple[Finding, ...]:
    """A warning where the machine would get slower than it is, with the cheapest option that does not make it so."""
    if upgrade.before is None or not upgrade.slower:
        return ()
    text = f"The machine gets slower: {_speed(upgrade.before)} now, {_speed(upgrade.after)} after."
    choice, speed = upgrade.no_slower, upgrade.no_slower_speed
    if choice is None or speed is None:
        text += " Nothing within the capacity that was asked for is as fast as it is now."
    else:
        capacity = format_capacity(choice.usable_gib)
        text += f" The cheapest that is no slower: {choice_phrase(choice)}, {capacity}, {_speed(speed)}."
    where = (upgrade.after.worst_socket,)
    return (Finding(rule="slower-than-now", severity="warning", where=where, text=text, source="MODEL"),)


def _speed(speed: Speed) -> str:
    worst = f"worst socket {speed.worst_socket} {gb_s(speed.worst_gb_s)}"
    return f"{gb_s(speed.balanced_gb_s)} at {speed.rate_mts} MT/s ({worst})"


def kept_text(kept: KeptModules, planned: Planned, upgrade: Upgrade, change: Change) -> str:
    """How to get from the machine to the plan, for a terminal."""
    page = Text("From what is in the machine" + (f" (inventory of {kept.date})" if kept.date else ""))
    now = "not known" if upgrade.before is None else _speed(upgrade.before)
    page.note(f"sweep now: {now}; after: {_speed(upgrade.after)}")
    for each in kept.released:
        lying = device_text(each.found) if each.found else "the module"
        page.note(f"first take {lying} out of {each.slot}: its data is saved")
    page.note(moves_summary(change.moves))
    step_lines(page, change, 4)
    for left in change.stranded:
        page.note(left_over_text(left))
    held = [slot for slot in kept.hold if slot not in kept.unlisted]
    if held:
        page.note(f"on hold, not to be touched: {', '.join(held)}; --data-saved SLOT releases one")
    if kept.unlisted:
        page.note(
            f"not in the inventory, so not to be touched: {', '.join(kept.unlisted)}; a list names empty slots "
            f"too ({kept.unlisted[0]},empty), or --rest-empty says it of all"
        )
    if kept.questions:
        page.note("to ask at the machine (dimmplan audit --save-slots keeps the answers for --slots):")
    for question in kept.questions:
        page.note(question, 4)
    absent = kept.empty_sockets(planned.request.fitted)
    if absent:
        page.note(f"the machine shows no module at {listed(list(absent))}: without its processor there, say --fitted")
    return str(page)


# -- what a mode costs -------------------------------------------------------------------------------------------------


class IndependentEntry(Record):
    """A request planned for itself alone: what it would have."""

    usable_gib: Number = means("the capacity that it would have")
    modules: Counts = means("what it would take", of="content")
    balanced_sweep_gb_s: GbS = means("GB/s")


def _independent(planned: Planned, choice: Choice) -> IndependentEntry:
    return IndependentEntry.of(choice, balanced_sweep_gb_s=sweep_of(planned, choice))


class ModePriceEntry(Record):
    """What a mode costs."""

    independent: IndependentEntry = means(
        "the same request in the independent mode", within=lambda free, _: _independent(free, free.answer.best)
    )
    installed_gib: int = means(
        "how much more the mode puts into the machine",
        within=lambda free, planned: planned.figures.capacity_gib - free.figures.capacity_gib,
    )
    slots: int = means(
        "how many slots more", within=lambda free, planned: planned.figures.modules - free.figures.modules
    )
    read_gb_s: GbS = means(
        "how much faster the mode reads, GB/s; below 0 where slower",
        within=lambda free, planned: _speeds(planned)[0] - _speeds(free)[0],
    )
    write_gb_s: GbS = means("and writes", within=lambda free, planned: _speeds(planned)[1] - _speeds(free)[1])


def _speeds(planned: Planned) -> tuple[Fraction, Fraction]:
    """Balanced sweeps of reading and of writing, GB/s."""
    sweep = planned.figures.balanced_sweep_gb_s
    return sweep, sweep / 2 if planned.placement.mode is Mode.MIRRORED else sweep


def mode_text(planned: Planned, free: Planned) -> str:
    """The price of a mode for a terminal."""
    asked = format_capacity(planned.request.capacity_gib)
    page = Text("What the mode costs")
    for name, its in ((planned.request.mode.words, planned), ("independent", free)):
        read, write = _speeds(its)
        modules = modules_phrase((module, its.placement.count(module)) for module in its.placement.types)
        page.note(
            f"{name}: {asked} asked is {modules}, {format_capacity(its.figures.capacity_gib)} in "
            f"{counted(its.figures.modules, 'slot')}; sweeps at {gb_s(read)}"
            + (f" reading, {gb_s(write)} writing" if write != read else "")
        )
    return str(page)


# -- later steps -------------------------------------------------------------------------------------------------------


class PriceEntry(Record):
    """What a chain costs against a step planned for itself."""

    balanced_sweep_gb_s: GbS = means("how much slower it is, GB/s")
    over_gib: Number = means("how much more capacity it has")


class GrowthStep(Record):
    """A step of a chain."""

    capacity_gib: int = means("asked at the step", of="request.capacity_gib")
    usable_gib: Number = means("reached", of="answer.best.usable_gib")
    balanced_sweep_gb_s: GbS = means("GB/s", by=lambda step: sweep_of(step, step.answer.best))
    modules: Counts = means("what stands then", of="answer.best.content")
    slots: Slots = means("label, or null", of="placement.slots")
    added: Counts = means("what is added at the step; at the first to what is kept, if anything is")
    status: str = means("`proven` or `best-found`, of the step for itself", of="placement.status")
    code: str = means("its plan code", by=lambda step: encode(step.board, step.placement))
    free: IndependentEntry | None = means("the step planned for itself alone; null after Ctrl-C")
    price: PriceEntry | None = means("what the chain costs against that; null after Ctrl-C")
    change: MovesDocument | None = means("how to get there, with `--then-may-move`", default=None)


class PathEntry(Record):
    """Modules over a whole chain."""

    bought: int = means("modules bought along the chain")
    left_over: int = means("modules left over along it")


class GrowthEntry(Record):
    """A chain of later steps."""

    may_move: bool = means("whether later steps may move modules")
    max_types: int = means("most types used at once", by=lambda growth: growth.steps[0].request.max_types)
    status: str = means("`best-found`: no search goes over whole chains", by=lambda _: "best-found")
    stopped: str | None = means(
        "what is not proven, and why", by=lambda growth: growth.stopped or "no search covers the whole chain"
    )
    bound: BoundEntry = means("how far the search came", by=lambda growth: growth)
    outside_window: bool = means("a step is more than a quarter above its request")
    criteria: list[CriterionEntry] = means(
        "what decides the chain",
        by=lambda growth: [
            CriterionEntry.of(criterion, value=value)
            for criterion, value in zip(growth.chain.criteria, growth.chain.vector, strict=True)
        ],
    )
    steps: list[GrowthStep] = means(
        "the steps in order",
        within=lambda changes, growth: [_step(growth, index, changes) for index in range(len(growth.steps))],
    )
    path: PathEntry = means("the chain", by=lambda growth: _paths(growth)[0])
    free_path: PathEntry | None = means(
        "the same with every step planned for itself; null after Ctrl-C", by=lambda growth: _paths(growth)[1]
    )


def _step(growth: Growth, index: int, changes: Sequence[Change]) -> GrowthStep:
    step, alone = growth.steps[index], growth.free[index]
    beside: dict[str, Any] = {"free": None, "price": None}
    if alone is not None:
        best, free = step.answer.best, alone.best
        over_gib = whole(Fraction(best.usable_gib - free.usable_gib))
        slower = sweep_of(step, free) - sweep_of(step, best)
        beside = {"free": _independent(step, free), "price": {"balanced_sweep_gb_s": slower, "over_gib": over_gib}}
    if index and changes:
        beside["change"] = changes[index - 1]
    return GrowthStep.of(step, added=_added(growth, index), **beside)


def _added(growth: Growth, index: int) -> dict[str, Module | None]:
    """What a step adds: slots that were empty, or where modules move what there is more of, under numbers."""
    after = growth.steps[index].placement.content
    before = growth.steps[index - 1].placement.content if index else {}
    if index and not growth.may_move:
        return {slot: module for slot, module in after.items() if before[slot] is None}
    had = Counter(module for module in before.values() if module) if index else _owned(growth)
    more = Counter(module for module in after.values() if module) - had
    return {str(number): module for number, module in enumerate(more.elements())}


def _owned(growth: Growth) -> Counter[Module]:
    """What the machine holds that can be kept."""
    return Counter({supply.module: supply.kept for supply in growth.steps[0].request.supplies if supply.kept})


def _paths(growth: Growth) -> tuple[PathEntry, PathEntry | None]:
    """The chain, and each step planned by itself where all of them are known."""
    alone = [answer.best for answer in growth.free if answer is not None]
    path = _path(growth, [step.answer.best for step in growth.steps])
    return path, _path(growth, alone) if len(alone) == len(growth.free) else None


def _path(growth: Growth, path: Sequence[Choice]) -> PathEntry:
    """Modules that a path has to buy over all steps, and those in nobody's slot at its end.

    What a step takes out waits on the shelf for a later one.
    """
    steps = [Counter(module for module in choice.content.values() if module) for choice in path]
    owned = _owned(growth)
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
    page = Text(
        f"Growth in {counted(len(growth.steps), 'step')}; {how}; at most {types} over the whole chain; "
        f"{_status(growth)}"
    )
    if growth.outside_window:
        page.note("No chain was found that keeps every step within its allowance; this one goes above.", hang=0)
    for index in range(len(growth.steps)):
        page.heading()
        _step_lines(page, growth, index, changes)
    path, free = _paths(growth)
    text = f"This path buys {counted(path.bought, 'module')} in all and leaves {path.left_over or 'none'} over"
    if free is not None:
        text += f"; each step by itself would buy {free.bought} and leave {free.left_over or 'none'} over"
    page.heading(f"{text}.")
    return str(page)


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


def _step_lines(page: Text, growth: Growth, index: int, changes: Sequence[Change]) -> None:
    step, alone = growth.steps[index], growth.free[index]
    best = step.answer.best
    capacity = as_asked(step.request.capacity_gib, best.usable_gib)
    page.note(f"{index + 1}. {capacity}, {choice_phrase(best)}, sweep {gb_s(sweep_of(step, best))}", 0, hang=3)
    if index and changes:
        page.note(moves_summary(changes[index - 1].moves), 3)
        step_lines(page, changes[index - 1], 5)
    elif index:
        added = _added(growth, index)
        slots = [
            f"{each.count} x {each.label} into "
            + ", ".join(slot for slot, module in added.items() if module and module.label == each.label)
            for each in counts(added)
        ]
        page.note(f"adds {'; '.join(slots) or 'nothing'}", 3)
    if alone is not None:
        page.note(_by_itself(step, alone.best), 3)


def _by_itself(step: Planned, free: Choice) -> str:
    sweep, by_itself = sweep_of(step, step.answer.best), sweep_of(step, free)
    if step.placement.content == {slot: free.content.get(slot) for slot, _ in step.placement.slots}:
        return "by itself: the same"
    words = f"by itself: {format_capacity(free.usable_gib)}, {choice_phrase(free)}, sweep {gb_s(by_itself)}"
    if by_itself > sweep:
        return f"{words}; the path costs {gb_s(by_itself - sweep)} here"
    return words + ("; no slower on the path" if by_itself == sweep else "")


# -- the plan with all of it -------------------------------------------------------------------------------------------


class WholePlanDocument(PlanDocument, commands="plan"):
    """The plan; `plan.json` is the same. It has `stock` with `--stock`, `kept` with `--keep`, `growth` with `--then`,
    `mode_price` with another `--mode`.
    """

    stock: ShelfEntry | None = means("what it takes from the shelf, with `--stock`", default=None)
    before: BeforeEntry | None = means("how fast it is now, with `--keep`; null if not known", default=None)
    kept: KeptEntry | None = means("what the machine brings, with `--keep`", default=None)
    growth: GrowthEntry | None = means("the chain, with `--then`", default=None)
    mode_price: ModePriceEntry | None = means("what another `--mode` costs", default=None)
