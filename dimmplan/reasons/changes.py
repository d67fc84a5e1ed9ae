"""What comes next, and what a change does: modules added to a plan whose modules stay where they are."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from dimmplan.figures import PlacementFigures
from dimmplan.growth.pinned import SWEEP, all_of, closed, staying
from dimmplan.model.module import Module
from dimmplan.model.move import Change
from dimmplan.model.placement import Placement
from dimmplan.model.request import Lot, Supply
from dimmplan.moves import plan_moves
from dimmplan.reasons.case import Alternative, Case
from dimmplan.rules import Breach
from dimmplan.solve.branches import Aim
from dimmplan.solve.budget import Budget, EffortSpent
from dimmplan.solve.criteria import CRITERIA, ranked
from dimmplan.solve.evaluate import Value, content_of
from dimmplan.solve.search import Search
from dimmplan.solve.space import Space

EFFORT = 2_000_000
"""Search nodes for the best group of a type; what they do not suffice for is left out."""


@dataclass(frozen=True, kw_only=True)
class ChangedPlan:
    """A plan with some slots changed. ``changes`` are slot, module before and module after.

    ``after_figures`` are there for a content that can be measured although it breaks a rule; ``broken`` are the rows
    that break and did not before, ``mended`` those that no longer do.
    """

    changes: tuple[tuple[str, Module | None, Module | None], ...]
    before: Alternative
    after: Alternative
    before_figures: PlacementFigures | None
    after_figures: PlacementFigures | None
    broken: tuple[Breach, ...]
    mended: tuple[Breach, ...]

    @property
    def refused(self) -> bool:
        """True where an error row breaks afterwards."""
        return bool(self.after.errors)


@dataclass(frozen=True, kw_only=True)
class NextStep:
    """Modules of one type that could come next. ``equal`` are slots that would do as well as the one named."""

    module: Module
    slots: tuple[str, ...]
    change: ChangedPlan
    equal: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class NextAnswer:
    """What comes next: the best single slot and the best group for each type, and single slots that a rule refuses.

    A group is the smallest of those that sweep highest, advised rows first; ``complete`` is false where the search's
    effort did not suffice for some type.
    """

    singles: tuple[NextStep, ...]
    groups: tuple[NextStep, ...]
    refused: tuple[NextStep, ...]
    complete: bool

    @property
    def possible(self) -> bool:
        """True where one more module can be added at all."""
        return bool(self.singles or self.groups)


def change_of(case: Case, changes: Mapping[str, Module | None]) -> ChangedPlan:
    """What changing some slots does."""
    after = case.changed(changes)
    old, new = {_spot(breach) for breach in case.plan.breaches}, {_spot(breach) for breach in after.breaches}
    return ChangedPlan(
        changes=tuple((slot, case.content.get(slot), changes[slot]) for slot in case.board.slots if slot in changes),
        before=case.plan,
        after=after,
        before_figures=case.plan.figures or case.figures_of(case.content),
        after_figures=after.figures or case.figures_of(after.content),
        broken=tuple(breach for breach in after.breaches if _spot(breach) not in old),
        mended=tuple(breach for breach in case.plan.breaches if _spot(breach) not in new),
    )


def drawn_change(case: Case, change: ChangedPlan) -> tuple[Placement, Change] | None:
    """The placement that a change leads to and the moves that lead there from the plan, for a change sheet.

    ``None`` where the change breaks an error row or does not run: a sheet is for placing. The placement is asked for as
    it is, and never proven: no search has found it.
    """
    if change.refused or change.after.figures is None:
        return None
    placement = replace(
        case.placement,
        slots=tuple((slot, change.after.content[slot]) for slot in case.board.slots),
        capacity_gib=math.floor(change.after.figures.usable_gib),
        status="best-found",
    )
    return placement, plan_moves(case.board, case.content, placement, untouchable=case.placement.hold)


def _spot(breach: Breach) -> tuple[str, tuple[str, ...], str]:
    return breach.rule, breach.where, breach.found


def next_answer(case: Case, modules: Sequence[Module] = ()) -> NextAnswer:
    """What comes next with these types, the plan's own where none are given.

    Raises ``RefusedError`` where the plan itself breaks a rule.
    """
    case.require_sound()
    singles: list[NextStep] = []
    groups: list[NextStep] = []
    refused: list[NextStep] = []
    complete = True
    for module in modules or case.placement.types:
        single, no = _single(case, module)
        singles += single
        refused += no
        group, every = _group(case, module)
        groups += group
        complete = complete and every
    return NextAnswer(singles=tuple(singles), groups=tuple(groups), refused=tuple(refused), complete=complete)


def _step(case: Case, module: Module, slots: Sequence[str], equal: Iterable[str] = ()) -> NextStep:
    change = change_of(case, dict.fromkeys(slots, module))
    return NextStep(module=module, slots=tuple(slots), change=change, equal=tuple(equal))


def _single(case: Case, module: Module) -> tuple[list[NextStep], list[NextStep]]:
    """The best single slot for one more, and the first empty slots that a rule refuses."""
    alike: dict[object, list[str]] = {}
    for slot in case.first_empty():
        alike.setdefault(case.look(slot), []).append(slot)
    legal: list[tuple[tuple[Value, ...], list[str]]] = []
    refused: list[NextStep] = []
    for slots in alike.values():
        alternative = case.changed({slots[0]: module})
        if alternative.vector is None:
            refused += [_step(case, module, [slot]) for slot in slots]
        else:
            legal.append((_growth_rank(case, alternative.vector), slots))
    if not legal:
        return [], refused
    best = min(rank for rank, _ in legal)
    named = {slot for rank, slots in legal if rank == best for slot in slots}
    first, *equal = (slot for slot in case.board.slots if slot in named)
    return [_step(case, module, [first], equal)], refused


def _growth_rank(case: Case, vector: tuple[Value, ...]) -> tuple[Value, ...]:
    """The list without the capacity asked: what is added is wanted."""
    pairs = zip(case.criteria, ranked(case.criteria, vector), strict=True)
    return tuple(value for criterion, value in pairs if criterion.name != "over_gib")


def _group(case: Case, module: Module) -> tuple[list[NextStep], bool]:
    """The smallest group of those that sweep highest, and whether that is proven: a search around what stays."""
    held = Counter(case.content.values())
    types = [supply.module for supply in case.request.supplies if held[supply.module] or supply.module == module]
    supplies = tuple(Supply(module=each, lots=(Lot(count=None if each == module else held[each]),)) for each in types)
    request = replace(case.request, supplies=supplies, max_types=len(types))
    space = Space(case.board, request, all_of(staying(case.content), closed(case.placement.hold)))
    search = Search(space, Budget(EFFORT))
    search.criteria = tuple(CRITERIA[name] for name in ("advised_broken", SWEEP, "modules"))
    most = max(each.capacity_gib for each in types) * space.slot_count
    proven = True
    try:
        found = search.best(Aim(1, most, without=frozenset([space.code_of(case.content)])))
    except EffortSpent:
        found, proven = search.incumbent, False
    if found is None:
        return [], proven
    after = content_of(space, found.board_order)
    slots = [slot for slot in case.board.slots if after.get(slot) and case.content.get(slot) is None]
    return [_step(case, module, slots)], proven
