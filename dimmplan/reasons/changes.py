"""What other contents do to a plan: slots changed, modules that come next, exactly the slots that somebody expected."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from dimmplan.errors import ImpossibleError
from dimmplan.figures import PlacementFigures
from dimmplan.growth.pinned import SWEEP, all_of, closed, staying
from dimmplan.model.module import Module
from dimmplan.model.placement import Change, Placement
from dimmplan.model.request import Lot, Request, Supply
from dimmplan.moves import plan_moves
from dimmplan.reasons.case import Alternative, Case, Separation, solved_below
from dimmplan.rules import Breach
from dimmplan.solve.answer import Answer, solve_in
from dimmplan.solve.branches import Aim
from dimmplan.solve.budget import Budget
from dimmplan.solve.causes import capacities
from dimmplan.solve.criteria import Value, ranked
from dimmplan.solve.search import Search
from dimmplan.solve.space import Space
from dimmplan.units import by_key

EFFORT = 2_000_000
"""Search nodes for the best group of a type; what they do not suffice for is left out."""


@dataclass(frozen=True, kw_only=True)
class ChangedPlan:
    """A plan with some slots changed. ``changes`` are slot, module before and module after.

    ``after_figures`` are there for a content that can be measured although it breaks a rule; ``broken`` are the rows
    that break where they did not before, ``mended`` those that no longer break anywhere.
    """

    changes: tuple[tuple[str, Module | None, Module | None], ...]
    after: Alternative
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
    before = {(breach.rule, breach.where) for breach in case.plan.breaches}
    rules = {breach.rule for breach in after.breaches}
    return ChangedPlan(
        changes=tuple((slot, case.content.get(slot), changes[slot]) for slot in case.board.slots if slot in changes),
        after=after,
        after_figures=after.figures or case.figures_of(after.content),
        broken=tuple(breach for breach in after.breaches if (breach.rule, breach.where) not in before),
        mended=tuple(breach for breach in case.plan.breaches if breach.rule not in rules),
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


def next_answer(case: Case, modules: Sequence[Module] = ()) -> NextAnswer:
    """What comes next with these types, the plan's own where none are given.

    Raises ``RefusedError`` where the plan itself breaks a rule.
    """
    case.require_sound()
    types = modules or case.placement.types
    alone = [_single(case, module) for module in types]
    groups = [_group(case, module) for module in types]
    return NextAnswer(
        singles=tuple(step for singles, _ in alone for step in singles),
        groups=tuple(step for step, _ in groups if step is not None),
        refused=tuple(step for _, refused in alone for step in refused),
        complete=all(proven for _, proven in groups),
    )


def _step(case: Case, module: Module, slots: Sequence[str], equal: Iterable[str] = ()) -> NextStep:
    change = change_of(case, dict.fromkeys(slots, module))
    return NextStep(module=module, slots=tuple(slots), change=change, equal=tuple(equal))


def _single(case: Case, module: Module) -> tuple[list[NextStep], list[NextStep]]:
    """The best single slot for one more, and the first empty slots that a rule refuses."""
    legal: list[tuple[tuple[Value, ...], list[str]]] = []
    refused: list[NextStep] = []
    for slots in by_key(case.first_empty(), case.look).values():
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


def _group(case: Case, module: Module) -> tuple[NextStep | None, bool]:
    """The smallest group of those that sweep highest, and whether that is proven: a search around what stays."""
    held = Counter(case.content.values())
    types = [supply.module for supply in case.request.supplies if held[supply.module] or supply.module == module]
    supplies = tuple(Supply(module=each, lots=(Lot(count=None if each == module else held[each]),)) for each in types)
    request = replace(case.request, supplies=supplies, max_types=len(types))
    space = Space(case.board, request, all_of(staying(case.content), closed(case.placement.hold)))
    search = Search(space, Budget(EFFORT)).by(("advised_broken", SWEEP, "modules"))
    found, proven = search.first(Aim(1, space.most_gib, without=frozenset([space.code_of(case.content)])))
    if found is None:
        return None, proven
    after = search.content(found)
    slots = [slot for slot in case.board.slots if after.get(slot) and case.content.get(slot) is None]
    return _step(case, module, slots), proven


# -- exactly these slots ------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Expectation:
    """What comes of filling exactly ``slots``.

    ``exact``: it takes just the plan's modules; otherwise the plan's types in other numbers. ``proven``: of all
    assignments of them to the slots, ``alternative`` is the best by the plan's list, or the first where it is refused.
    ``only_plan`` and ``only_expected`` are the slots that one of the two fills and the other does not.
    """

    slots: tuple[str, ...]
    exact: bool
    proven: bool
    alternative: Alternative
    separation: Separation
    only_plan: tuple[str, ...]
    only_expected: tuple[str, ...]


def expectation(case: Case, slots: Sequence[str]) -> Expectation:
    """Judge exactly these slots filled. Raises ``RefusedError`` where the plan itself breaks a rule."""
    case.require_sound()
    modules = [module for module in case.content.values() if module]
    exact = len(modules) == len(slots)
    content, proven = _best_content(case, slots, exact=exact)
    alternative = case.weigh(content)
    mine = [slot for slot, module in case.placement.slots if module]
    return Expectation(
        slots=tuple(slots),
        exact=exact,
        proven=proven,
        alternative=alternative,
        separation=case.part(alternative),
        only_plan=tuple(slot for slot in mine if slot not in slots),
        only_expected=tuple(slot for slot in slots if slot not in mine),
    )


def _best_content(case: Case, slots: Sequence[str], *, exact: bool) -> tuple[dict[str, Module | None], bool]:
    """The best assignment of modules to the slots by the exact search, or a plain one where none is allowed."""
    types = case.placement.types
    if exact and len(types) == 1:
        return {slot: types[0] if slot in slots else None for slot in case.board.slots}, True
    supplies = tuple(
        Supply(module=module, lots=(Lot(count=case.placement.count(module) if exact else None),)) for module in types
    )
    asked = math.ceil(case.usable_gib) if exact else case.request.capacity_gib
    request = replace(case.request, capacity_gib=asked, supplies=supplies, over_gib=None)
    others = (slot for slot in case.board.slots if slot not in slots)
    pins = all_of(closed(others), dict.fromkeys(slots, frozenset(types)))

    def solved(asked: Request) -> Answer:
        space = Space(case.board, asked, pins)
        answer = solve_in(space, alternatives=False)
        if answer is None:
            below = (gib for gib in capacities(space) if gib < asked.capacity_gib)
            raise ImpossibleError((), below_gib=max(below, default=None), above_gib=None)
        return answer

    if all(not set(slots).isdisjoint(socket.slots) for socket in case.sockets()):
        with suppress(ImpossibleError):
            answer = solved_below(solved, request)
            return answer.best.content, answer.proven
    return _plain(case, slots, exact=exact), False


def _plain(case: Case, slots: Sequence[str], *, exact: bool) -> dict[str, Module | None]:
    """Modules on the slots without a search: more ranks first, then larger ones, first slots before second ones."""
    held = sorted(
        (module for module in case.content.values() if module),
        key=lambda module: (-module.package_ranks, *module.order_key),
    )
    if not exact:
        held = [case.placement.types[0]] * len(slots)

    def place(slot: str) -> int:
        return case.board.channel_of[slot].slots.index(slot)

    order = sorted(slots, key=place)
    content: dict[str, Module | None] = dict.fromkeys(case.board.slots)
    return content | dict(zip(order, held, strict=True))
