"""What comes next, and what a change does: modules added to a plan whose modules stay where they are."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from dimmplan.figures import PlacementFigures
from dimmplan.model.board import Channel, Controller, Socket
from dimmplan.model.module import Module
from dimmplan.model.move import Change as Moves
from dimmplan.model.placement import Placement
from dimmplan.moves import plan_moves
from dimmplan.rules import Breach
from dimmplan.solve.evaluate import Value, turned
from dimmplan.why.weigh import Case, Weighed

MOST_OPTIONS = 4000
"""Ways to add modules at one socket that are looked at; equal channels count once, so shipped boards stay below."""
MOST_WEIGHED = 60
"""Groups that are judged, those with the highest sweep first."""


@dataclass(frozen=True, kw_only=True)
class Change:
    """A plan with some slots changed. ``changes`` are slot, module before and module after.

    ``after_figures`` are there for a content that can be measured although it breaks a rule; ``broken`` are the rows
    that break and did not before, ``mended`` those that no longer do.
    """

    changes: tuple[tuple[str, Module | None, Module | None], ...]
    before: Weighed
    after: Weighed
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
    change: Change
    equal: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class NextAnswer:
    """What comes next: the best single slot and the best group for each type, and single slots that a rule refuses.

    A group is the smallest of those that sweep highest, advised rows first; ``complete`` is false where there were
    too many ways to add to look at all of them.
    """

    singles: tuple[NextStep, ...]
    groups: tuple[NextStep, ...]
    refused: tuple[NextStep, ...]
    complete: bool

    @property
    def possible(self) -> bool:
        """True where one more module can be added at all."""
        return bool(self.singles or self.groups)


def change_of(case: Case, changes: Mapping[str, Module | None]) -> Change:
    """What changing some slots does."""
    after = case.changed(changes)
    old, new = {_spot(breach) for breach in case.plan.breaches}, {_spot(breach) for breach in after.breaches}
    return Change(
        changes=tuple((slot, case.content.get(slot), changes[slot]) for slot in case.board.slots if slot in changes),
        before=case.plan,
        after=after,
        before_figures=case.plan.figures or case.figures_of(case.content),
        after_figures=after.figures or case.figures_of(after.content),
        broken=tuple(breach for breach in after.breaches if _spot(breach) not in old),
        mended=tuple(breach for breach in case.plan.breaches if _spot(breach) not in new),
    )


def drawn_change(case: Case, change: Change) -> tuple[Placement, Moves] | None:
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
        weighed = case.changed({slots[0]: module})
        if weighed.vector is None:
            refused += [_step(case, module, [slot]) for slot in slots]
        else:
            legal.append((_growth_rank(case, weighed.vector), slots))
    if not legal:
        return [], refused
    best = min(rank for rank, _ in legal)
    named = {slot for rank, slots in legal if rank == best for slot in slots}
    first, *equal = (slot for slot in case.board.slots if slot in named)
    return [_step(case, module, [first], equal)], refused


def _growth_rank(case: Case, vector: tuple[Value, ...]) -> tuple[Value, ...]:
    """The list without the capacity asked: what is added is wanted."""
    ranked = zip(case.criteria, turned(case.criteria, vector), strict=True)
    return tuple(value for criterion, value in ranked if criterion.name != "over_gib")


# -- groups ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Option:
    """One way to add at one socket: the slots, and the socket's figures by itself at its own rate."""

    slots: tuple[str, ...]
    modules: int
    gib: Fraction
    time: Fraction
    rate: int

    def time_at(self, rate: int | None) -> Fraction:
        """Sweep time where the whole system runs at ``rate``; at the socket's own where that is ``None``."""
        return self.time if rate is None or not rate else self.time * self.rate / rate


def _group(case: Case, module: Module) -> tuple[list[NextStep], bool]:
    """The smallest group of those that sweep highest, and whether all ways to add were looked at."""
    options: list[list[_Option]] = []
    complete = True
    for socket in case.sockets():
        ways = list(itertools.islice(_ways(case, socket), MOST_OPTIONS))
        complete = complete and len(ways) < MOST_OPTIONS
        options.append([option for slots in ways for option in _measured(case, socket, module, slots)])
    found: dict[tuple[str, ...], Fraction] = {}
    for picks in _combined(case, options):
        slots = tuple(slot for option in picks for slot in option.slots)
        if slots:
            found[slots] = max(found.get(slots, Fraction(0)), _sweep(picks, _rate_of(case, picks)))
    likely = sorted(found, key=lambda slots: (-found[slots], len(slots)))
    legal: list[tuple[tuple[Value, ...], int, tuple[str, ...]]] = []
    for slots in likely[:MOST_WEIGHED]:
        weighed = case.changed(dict.fromkeys(slots, module))
        if weighed.vector is not None:
            names = [criterion.name for criterion in case.criteria]
            values = dict(zip(names, turned(case.criteria, weighed.vector), strict=True))
            legal.append(((values["advised_broken"], values["system_sweep"]), len(slots), slots))
    if not legal:
        return [], complete
    return [_step(case, module, min(legal)[2])], complete


def _ways(case: Case, socket: Socket) -> Iterator[tuple[str, ...]]:
    """Slots to fill at a socket, in every way that differs for the figures; nothing is one of them."""
    alike: dict[object, list[Controller]] = {}
    for controller in socket.controllers:
        looks = tuple(case.look(channel.slots[0]) for channel in controller.channels)
        alike.setdefault(looks, []).append(controller)
    parts = [
        [
            tuple(slot for way, controller in zip(ways, controllers, strict=True) for slot in way(controller))
            for ways in itertools.combinations_with_replacement(
                _controller_ways(case, controllers[0]), len(controllers)
            )
        ]
        for controllers in alike.values()
    ]
    for chosen in itertools.product(*parts):
        named = {slot for part in chosen for slot in part}
        yield tuple(slot for slot in socket.slots if slot in named)


def _controller_ways(case: Case, controller: Controller) -> list[Callable[[Controller], tuple[str, ...]]]:
    """Ways to add on a controller, each as a function of the controller, so that equal ones can share them."""
    alike: dict[object, list[int]] = {}
    for index, channel in enumerate(controller.channels):
        alike.setdefault(case.look(channel.slots[0]), []).append(index)
    parts = [
        [
            tuple(zip(indexes, counts, strict=True))
            for counts in itertools.combinations_with_replacement(
                range(len(_free(case, controller.channels[indexes[0]])), -1, -1), len(indexes)
            )
        ]
        for indexes in alike.values()
    ]

    def added(counts: tuple[tuple[int, int], ...]) -> Callable[[Controller], tuple[str, ...]]:
        return lambda its: tuple(slot for index, count in counts for slot in _free(case, its.channels[index])[:count])

    return [added(tuple(itertools.chain(*chosen))) for chosen in itertools.product(*parts)]


def _free(case: Case, channel: Channel) -> list[str]:
    """The empty slots of a channel in fill order, up to the first that may not be touched."""
    open_slots = itertools.takewhile(lambda slot: slot not in case.placement.hold, channel.slots)
    return [slot for slot in open_slots if case.content.get(slot) is None]


def _measured(case: Case, socket: Socket, module: Module, slots: tuple[str, ...]) -> Iterator[_Option]:
    """The socket by itself with those slots filled; nothing where it breaks an error row whatever the others hold."""
    content = {slot: case.content.get(slot) for slot in socket.slots} | dict.fromkeys(slots, module)
    if not any(content.values()):
        yield _Option(slots, 0, Fraction(0), Fraction(0), 0)
        return
    beside = tuple(other for other in case.placement.fitted if other != socket.id)
    breaches = case.judge_content(content, fitted=(socket.id,), beside=beside)
    if any(breach.severity == "error" for breach in breaches):
        return
    found = case.figures_of(content, fitted=(socket.id,))
    if found is not None:
        figures = found.sockets[0]
        yield _Option(slots, figures.modules, Fraction(figures.usable_gib), figures.sweep_time, figures.rate.rate_mts)


def _combined(case: Case, options: list[list[_Option]]) -> Iterator[list[_Option]]:
    """One option for each socket: most capacity within a time, for every time that one of them takes; then alike ones.

    Whatever sweeps highest is among the first: with its longest time, no socket can hold more.
    """
    shared = case.board.rate_scope == "system"
    rates: list[int | None] = [None]
    if shared:
        rates = [*sorted({o.rate for each in options for o in each if o.rate})]
    for rate in rates:
        open_now = [[o for o in each if rate is None or not o.rate or o.rate >= rate] for each in options]
        if not all(open_now):
            continue
        for time in sorted({o.time_at(rate) for each in open_now for o in each}):
            within = [[o for o in each if o.time_at(rate) <= time] for each in open_now]
            if all(within):
                yield [max(each, key=lambda o: (o.gib, -o.modules)) for each in within]
        for measure in (_gib, _count):
            shared_values = set.intersection(*({measure(o) for o in each} for each in open_now))
            for value in sorted(shared_values):
                alike = [[o for o in each if measure(o) == value] for each in open_now]
                yield [min(each, key=lambda o: (o.time_at(rate), o.modules)) for each in alike]


def _gib(option: _Option) -> Fraction:
    return option.gib


def _count(option: _Option) -> Fraction:
    return Fraction(option.modules)


def _rate_of(case: Case, picks: Sequence[_Option]) -> int | None:
    """The rate that the picked options share; ``None`` where each has its own."""
    if case.board.rate_scope != "system":
        return None
    return min((option.rate for option in picks if option.rate), default=0)


def _sweep(picks: Sequence[_Option], rate: int | None) -> Fraction:
    longest = max(option.time_at(rate) for option in picks)
    return sum((option.gib for option in picks), Fraction(0)) / longest if longest else Fraction(0)
