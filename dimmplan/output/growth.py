"""A chain of steps in words and in JSON, beside each step by itself."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction

from pydantic import Field

from dimmplan.growth.grow import CHAIN_STOPPED, Growth
from dimmplan.growth.keep import change_between
from dimmplan.model.module import Module
from dimmplan.model.request import Request
from dimmplan.output.kept import change_lines
from dimmplan.output.machine_record import MovesDocument, moves_record
from dimmplan.output.record import CriterionEntry
from dimmplan.output.text import wrapped
from dimmplan.output.values import Count, Exact, GbS, GibNumber, Record, Slots, counts
from dimmplan.plancode.code import encode
from dimmplan.planner import Planned
from dimmplan.solve.answer import Choice
from dimmplan.units import counted, format_capacity, trimmed, whole
from dimmplan.wording.placement import gb_s
from dimmplan.wording.request import choice_phrase, sweep_of

_NAMES = {
    "advised_broken": "a chain that breaks fewer advised rules",
    "discarded": "a chain that discards fewer modules",
    "smallest_sweep": "a higher smallest sweep",
    "sum_of_sweeps": "a higher sum of sweeps",
    "bought": "a chain that buys fewer modules",
    "cost": "a chain that costs less",
}


class GrowthBound(Record):
    """How far the search of a chain came."""

    criterion: str | None = Field(description="where a better chain is not ruled out, or null")
    value: Exact | None = Field(description="what it can be at best")
    nodes: int = Field(description="search nodes spent")


class FreeStep(Record):
    """A step planned for itself alone."""

    usable_gib: GibNumber = Field(description="what it reaches")
    balanced_sweep_gb_s: GbS = Field(description="GB/s")
    modules: list[Count] = Field(description="what it takes")


class PriceEntry(Record):
    """What a chain costs against a step planned for itself."""

    balanced_sweep_gb_s: GbS = Field(description="how much slower it is, GB/s")
    over_gib: GibNumber = Field(description="how much more capacity it has")


class GrowthStep(Record):
    """A step of a chain."""

    capacity_gib: int = Field(description="asked at the step")
    usable_gib: GibNumber = Field(description="reached")
    balanced_sweep_gb_s: GbS = Field(description="GB/s")
    modules: list[Count] = Field(description="what stands then")
    slots: Slots = Field(description="label, or null")
    added: list[Count] = Field(description="what is added at the step")
    status: str = Field(description="`proven` or `best-found`, of the step for itself")
    code: str = Field(description="its plan code")
    free: FreeStep = Field(description="the step planned for itself alone")
    price: PriceEntry = Field(description="what the chain costs against that")
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
    stopped: str | None = Field(description="what is not proven")
    bound: GrowthBound = Field(description="how far the search came")
    outside_window: bool = Field(description="a step is more than a quarter above its request")
    criteria: list[CriterionEntry] = Field(description="what decides the chain")
    steps: list[GrowthStep] = Field(description="the steps in order")
    path: PathEntry = Field(description="the chain")
    free_path: PathEntry = Field(description="the same with every step planned for itself")


def growth_record(growth: Growth) -> GrowthEntry:
    """A chain as JSON; each step beside the same step chosen by itself."""
    bound = growth.bound
    return GrowthEntry(
        may_move=growth.may_move,
        max_types=growth.steps[0].request.max_types,
        status="best-found",
        stopped=CHAIN_STOPPED,
        bound=GrowthBound(
            criterion=None if bound is None else bound[0],
            value=None if bound is None else bound[1],
            nodes=growth.effort,
        ),
        outside_window=growth.outside_window,
        criteria=[
            CriterionEntry(name=name, value=value, better=better) for name, value, better in growth.chain.worth.named
        ],
        steps=[_step_record(growth, index) for index in range(len(growth.steps))],
        path=_path_record([step.answer.best for step in growth.steps], growth.steps[0].request),
        free_path=_path_record([answer.best for answer in growth.free], growth.steps[0].request),
    )


def _step_record(growth: Growth, index: int) -> GrowthStep:
    step, free = growth.steps[index], growth.free[index].best
    best = step.answer.best
    sweep, by_itself = sweep_of(step, best), sweep_of(step, free)
    moved = index and growth.may_move
    return GrowthStep(
        capacity_gib=step.request.capacity_gib,
        usable_gib=best.usable_gib,
        balanced_sweep_gb_s=sweep,
        modules=_modules(best.content),
        slots=step.placement.slots,
        added=_modules(_added(growth, index)),
        status=step.placement.status,
        code=encode(growth.board, step.placement),
        free=FreeStep(usable_gib=free.usable_gib, balanced_sweep_gb_s=by_itself, modules=_modules(free.content)),
        price=PriceEntry(
            balanced_sweep_gb_s=by_itself - sweep, over_gib=whole(Fraction(best.usable_gib - free.usable_gib))
        ),
        **({"change": moves_record(change_between(growth.steps[index - 1], step))} if moved else {}),
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


def _path_record(path: Sequence[Choice], request: Request) -> PathEntry:
    bought, left = path_counts(path, request)
    return PathEntry(bought=bought, left_over=left)


def path_counts(path: Sequence[Choice], request: Request) -> tuple[int, int]:
    """Modules that a path has to buy over all steps, and those in nobody's slot at its end.

    What a step takes out waits on the shelf for a later one.
    """
    steps = [Counter(module for module in choice.content.values() if module) for choice in path]
    owned = Counter({supply.module: supply.kept for supply in request.supplies if supply.kept})
    bought = 0
    for step in steps:
        missing = step - owned
        bought += missing.total()
        owned += missing
    return bought, (owned - steps[-1]).total()


def growth_text(growth: Growth) -> str:
    """A chain for a terminal: each step, what it adds, and the price of the path."""
    how = "modules may move, none is discarded" if growth.may_move else "later steps only add modules"
    types = counted(growth.steps[0].request.max_types, "module type")
    lines = wrapped(
        f"Growth in {counted(len(growth.steps), 'step')}; {how}; at most {types} over the whole chain; "
        f"{_status(growth)}"
    )
    if growth.outside_window:
        lines += wrapped(
            "No chain was found that keeps every step within its allowance; this one goes above.", first="  "
        )
    for index in range(len(growth.steps)):
        lines += _step_lines(growth, index)
    lines += ["", *_path_lines(growth)]
    return "\n".join(lines) + "\n"


def _status(growth: Growth) -> str:
    if growth.bound is None:
        return "best found: no chain has better figures"
    name, value = growth.bound
    words = _NAMES.get(name, "a chain with less capacity above a request")
    unit = " GB/s" if "sweep" in name else " GiB" if "gib" in name else ""
    return f"best found, not proven: {words} is not ruled out (at best {trimmed(Fraction(value), 1)}{unit})"


def _step_lines(growth: Growth, index: int) -> Iterator[str]:
    step, free = growth.steps[index], growth.free[index].best
    best = step.answer.best
    asked, got = format_capacity(step.request.capacity_gib), format_capacity(best.usable_gib)
    capacity = f"{got} as asked" if asked == got else f"{got} (asked: {asked})"
    yield ""
    head = f"{index + 1}. {capacity}, {choice_phrase(best)}, sweep {gb_s(sweep_of(step, best))}"
    yield from wrapped(head, rest="   ")
    if index and growth.may_move:
        yield from change_lines(change_between(growth.steps[index - 1], step), first="   ")
    elif index:
        added = _added(growth, index)
        slots = [f"{label} into {', '.join(slots)}" for label, slots in _by_label(added)]
        yield from wrapped(f"adds {'; '.join(slots)}", first="   ", rest="     ")
    yield from wrapped(_free_words(step, free), first="   ", rest="     ")


def _free_words(step: Planned, free: Choice) -> str:
    best = step.answer.best
    sweep, by_itself = sweep_of(step, best), sweep_of(step, free)
    if step.placement.content == {slot: free.content.get(slot) for slot, _ in step.placement.slots}:
        return "by itself: the same"
    words = f"by itself: {format_capacity(free.usable_gib)}, {choice_phrase(free)}, sweep {gb_s(by_itself)}"
    if by_itself > sweep:
        return f"{words}; the path costs {gb_s(by_itself - sweep)} here"
    return words + ("; no slower on the path" if by_itself == sweep else "")


def _path_lines(growth: Growth) -> list[str]:
    request = growth.steps[0].request
    bought, left = path_counts([step.answer.best for step in growth.steps], request)
    free_bought, free_left = path_counts([answer.best for answer in growth.free], request)
    text = (
        f"This path buys {counted(bought, 'module')} in all and leaves {left or 'none'} over; "
        f"each step by itself would buy {free_bought} and leave {free_left or 'none'} over."
    )
    return wrapped(text)


def _by_label(content: Mapping[str, Module | None]) -> list[tuple[str, list[str]]]:
    found: dict[Module, list[str]] = {}
    for slot, module in content.items():
        if module:
            found.setdefault(module, []).append(slot)
    return [(f"{len(found[m])} x {m.label}", found[m]) for m in sorted(found, key=lambda m: m.order_key)]


def _modules(content: Mapping[str, Module | None]) -> list[Count]:
    used = Counter(module for module in content.values() if module)
    return counts(sorted(used.items(), key=lambda pair: pair[0].order_key))
