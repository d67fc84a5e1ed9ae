"""After a failed module: the best of what is left, the smallest population that boots, an order to find a bad one."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial
from typing import NamedTuple

from dimmplan.errors import Cause, ImpossibleError, InputError, Problem
from dimmplan.figures import PlacementFigures
from dimmplan.growth.pinned import Start, closed, solve_from
from dimmplan.model.module import Module, by_type
from dimmplan.model.placement import Change
from dimmplan.model.request import Lot, Mode, Request, Supply
from dimmplan.moves import plan_moves
from dimmplan.reasons.case import Alternative, Case, errors_of, solved_below
from dimmplan.rules import Breach
from dimmplan.solve.answer import Answer
from dimmplan.solve.branches import Aim
from dimmplan.solve.budget import Budget
from dimmplan.solve.search import Search
from dimmplan.solve.space import Space

Held = Mapping[str, Module | None]
_SMALLEST = ("advised_broken", "modules", "over_gib", "types", "balanced_sweep", "system_sweep", "displaced")
"""The order in which populations that boot are compared, on a board without its advised rows."""
MOST_STEPS_UP = 8
"""How often a larger set of the same sweep is looked for."""
EFFORT_STEP_UP = 50_000
"""Search nodes for each of them; a search that this stops leaves the set best found, not proven."""
_MOST_CUTS = 5
"""How many ways to cut the suspects in two are tried, the most even ones first."""


@dataclass(frozen=True, kw_only=True)
class LeftSet:
    """One set of the modules that are left, placed. ``moves`` lead there from the machine without the failed ones.

    ``by`` is the list that it is the first by; ``proven``: under this board file and this model.
    """

    alternative: Alternative
    figures: PlacementFigures
    moves: Change
    by: str
    proven: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class SplitStep:
    """One step of halving. ``suspects`` hold the fault; ``keep`` are the half that stays in for the test.

    ``company`` are modules known to be good that stay in beside them because the rules want it; ``out`` is all that
    is taken out. ``broken`` are error rows that the test breaks, ``other_broken`` those that the other half breaks:
    empty where that half can be tested as well. ``if_fault`` and ``if_clean`` name the next step by its number, or
    the slot whose module is bad.
    """

    number: int
    suspects: tuple[str, ...]
    keep: tuple[str, ...]
    company: tuple[str, ...]
    out: tuple[str, ...]
    broken: tuple[Breach, ...]
    other_broken: tuple[Breach, ...]
    if_fault: int | str
    if_clean: int | str


@dataclass(frozen=True, kw_only=True)
class Failure:
    """What is left after modules failed.

    ``stay`` is the plan with the failed modules out and nothing moved. ``best`` is first by the plan's list for as much
    of the capacity asked as the modules reach, and ``causes`` say why there is none; ``fastest`` sweeps faster with
    less, where such a set exists. What follows is in the independent mode, to which a machine in another mode is
    set first: ``independent`` is the best of as much as is left, where the mode leaves no ``best``; ``smallest`` is the
    population of fewest modules that breaks no error row; ``split`` halves the modules of ``best``, or of
    ``independent``.
    """

    slots: tuple[str, ...]
    failed: tuple[tuple[Module, int], ...]
    left: tuple[tuple[Module, int], ...]
    stay: Alternative
    best: LeftSet | None
    causes: tuple[Cause, ...]
    fastest: LeftSet | None
    independent: LeftSet | None
    smallest: LeftSet | None
    split: tuple[SplitStep, ...]


def failure_of(case: Case, slots: Sequence[str]) -> Failure:
    """What comes after the modules in these slots failed.

    Raises ``InputError`` for a slot that holds no module, ``RefusedError`` where the plan itself breaks a rule.
    """
    case.require_sound()
    empty = [slot for slot in slots if case.content.get(slot) is None]
    if empty:
        filled = [slot for slot, module in case.placement.slots if module]
        allowed = ", ".join(filled) if len(filled) <= 16 else "slots that the plan fills"
        raise InputError(
            Problem(file="--without", place="", found=f"{slot}, an empty slot", allowed=allowed) for slot in empty
        )
    stay = {slot: None if slot in slots else module for slot, module in case.content.items()}
    left = _Left(case, stay)
    bare = _Left(Case(case.board, replace(case.placement, mode=Mode.INDEPENDENT)), stay)
    best, causes = left.best(min(math.ceil(case.usable_gib), case.request.capacity_gib))
    independent = None
    if best is None and case.placement.mode is not Mode.INDEPENDENT:
        independent, _ = bare.best(left.total_gib)
    halved = best or independent
    return Failure(
        slots=tuple(slots),
        failed=by_type(case.content[slot] for slot in slots),
        left=left.modules,
        stay=case.weigh(stay),
        best=best,
        causes=causes,
        fastest=left.fastest(best),
        independent=independent,
        smallest=bare.smallest(),
        split=split_steps(bare.case, halved.alternative.content) if halved else (),
    )


# -- the sets --------------------------------------------------------------------------------------------------------


class _Left:
    """The modules that are left, where they ``stay``, and the case in whose mode sets of them are placed."""

    def __init__(self, case: Case, stay: Held) -> None:
        self.case, self.stay = case, stay
        self.modules = by_type(stay.values())
        self.total_gib = sum(module.capacity_gib * count for module, count in self.modules)

    def _request(self, capacity_gib: int) -> Request:
        supplies = tuple(Supply(module=module, lots=(Lot(count=count),)) for module, count in self.modules)
        types = max(1, len(supplies))
        return replace(self.case.request, capacity_gib=capacity_gib, supplies=supplies, over_gib=None, max_types=types)

    def _solve(self, request: Request, *, lying: Held) -> Answer:
        """The exact answer that fills no slot on hold, most modules left where they lie. Raises ``ImpossibleError``."""
        start = Start(stays={}, hold=self.case.placement.hold, lying=lying)
        return solve_from(self.case.board, request, start, alternatives=False)

    def best(self, asked_gib: int) -> tuple[LeftSet | None, tuple[Cause, ...]]:
        """First by the plan's list for the capacity asked, or for the most that is left, or why there is none."""
        asked = min(asked_gib, self.total_gib)
        if not asked:
            return None, ()
        try:
            answer = solved_below(partial(self._solve, lying=self.stay), self._request(asked))
        except ImpossibleError as error:
            return None, error.causes
        return self._placed(answer.best.content, by=self.case.placement.prefer, proven=answer.proven), ()

    def fastest(self, best: LeftSet | None) -> LeftSet | None:
        """The set that sweeps fastest whatever its capacity, and of those the largest; ``None`` where ``best`` does."""
        if best is None:
            return None
        effort, proven = self.case.request.effort, True
        found: Request | None = None
        low, sweep = 1, best.figures.balanced_sweep_gb_s
        for _ in range(MOST_STEPS_UP):
            request = replace(self._request(low), prefer="bandwidth-first", over_gib=self.total_gib, effort=effort)
            try:
                answer = self._solve(request, lying={})
            except ImpossibleError:
                break
            proven, effort = proven and answer.proven, EFFORT_STEP_UP
            faster = Fraction(answer.values["balanced_sweep"])
            if faster < sweep or (found is None and faster == sweep):
                break
            found, sweep, low = request, faster, math.floor(answer.best.usable_gib) + 1
            if low > self.total_gib:
                break
        if found is None:
            return None
        return self._placed(self._solve(found, lying=self.stay).best.content, by="bandwidth-first", proven=proven)

    def smallest(self) -> LeftSet | None:
        """Fewest modules that break no error row, by the search with a list of its own."""
        if not self.modules:
            return None
        board = self.case.board
        rows = tuple(row for row in board.rules if row.severity == "error")
        request = replace(self._request(1), over_gib=self.total_gib)
        space = Space(replace(board, rules=rows), request, closed(self.case.placement.hold), lying=self.stay)
        if not space.possible():
            return None
        search = Search(space, Budget(request.effort)).by(_SMALLEST)
        found, proven = search.first(Aim(1, self.total_gib))
        return None if found is None else self._placed(search.content(found), by="modules", proven=proven)

    def _placed(self, content: Held, *, by: str, proven: bool) -> LeftSet:
        """What a search found, as a set."""
        case = self.case
        found = case.weigh(content)
        assert found.figures is not None, "what a search finds breaks no error row"
        placement = replace(case.placement, slots=tuple(found.content.items()))
        moves = plan_moves(case.board, self.stay, placement, untouchable=case.placement.hold)
        return LeftSet(alternative=found, figures=found.figures, moves=moves, by=by, proven=proven)


# -- halving ---------------------------------------------------------------------------------------------------------


class _Test(NamedTuple):
    """A half with its company, and the error rows that it breaks."""

    keep: tuple[str, ...]
    company: tuple[str, ...]
    broken: tuple[Breach, ...]


def split_steps(case: Case, content: Held) -> tuple[SplitStep, ...]:
    """Steps of halving over the modules of a content, each module in its own slot; step 1 comes first.

    One module is taken to be bad: what a test leaves out is then known to be good where the test shows the fault.
    """
    splitter = _Splitter(case, content)
    splitter.step(splitter.filled)
    return tuple(splitter.steps[number] for number in sorted(splitter.steps))


class _Splitter:
    def __init__(self, case: Case, content: Held) -> None:
        self.case, self.content = case, content
        self.filled = tuple(slot for slot in case.board.slots if content.get(slot))
        self.place = {slot: case.board.channel_of[slot].slots.index(slot) for slot in self.filled}
        self.steps: dict[int, SplitStep] = {}
        self.count = 0

    def step(self, suspects: tuple[str, ...]) -> int | str:
        """Make the step for these suspects and those after it; its number, or the slot where one is left."""
        if len(suspects) < 2:
            return "".join(suspects)
        self.count += 1
        number = self.count
        test, other = self._halved(suspects)
        self.steps[number] = SplitStep(
            number=number,
            suspects=suspects,
            keep=test.keep,
            company=test.company,
            out=tuple(slot for slot in self.filled if slot not in {*test.keep, *test.company}),
            broken=test.broken,
            other_broken=other.broken,
            if_fault=self.step(test.keep),
            if_clean=self.step(other.keep),
        )
        return number

    def _halved(self, suspects: tuple[str, ...]) -> tuple[_Test, _Test]:
        """The most even cut whose halves both break no rule, or whose first does, or the most even one."""
        good = tuple(slot for slot in self.filled if slot not in suspects)
        tried: list[tuple[_Test, _Test]] = []
        for half in self._halves(suspects):
            first = self._test(tuple(slot for slot in suspects if slot in half), good)
            second = self._test(tuple(slot for slot in suspects if slot not in half), good)
            if not first.broken and not second.broken:
                return first, second
            tried.append((second, first) if first.broken and not second.broken else (first, second))
        return next((pair for pair in tried if not pair[0].broken), tried[0])

    def _halves(self, suspects: tuple[str, ...]) -> Iterator[set[str]]:
        """Ways to cut in two, most even first: whole channels, taken from the sockets in turn, or within a channel."""
        turns: list[tuple[int, int, tuple[str, ...]]] = []
        for place, socket in enumerate(self.case.sockets()):
            channels = [tuple(slot for slot in channel.slots if slot in suspects) for channel in socket.channels]
            turns += [(turn, place, slots) for turn, slots in enumerate(slots for slots in channels if slots)]
        units = [slots for _, _, slots in sorted(turns)]
        if len(units) == 1:
            units = [(slot,) for slot in units[0]]
        halves = [{slot for unit in units[:cut] for slot in unit} for cut in range(1, len(units))]
        yield from sorted(halves, key=lambda half: abs(2 * len(half) - len(suspects)))[:_MOST_CUTS]

    def _test(self, keep: tuple[str, ...], good: Sequence[str]) -> _Test:
        """The half with the least company that makes it a population that breaks no error row."""
        broken: tuple[Breach, ...] = ()
        company: set[str] = set()
        for company in self._companies(keep, good):
            content = {slot: self.content[slot] if slot in company or slot in keep else None for slot in self.filled}
            broken = errors_of(self.case.judge_content(content))
            if not broken:
                break
        return _Test(keep, tuple(slot for slot in self.filled if slot in company), broken)

    def _companies(self, keep: tuple[str, ...], good: Sequence[str]) -> Iterator[set[str]]:
        """Known good modules to stay beside a half: ever more of them, all at last."""
        before = {
            slot
            for kept in keep
            for slot in self.case.board.channel_of[kept].slots
            if slot in good and self.place[slot] < self.place[kept]
        }
        yield before
        sockets = self.case.sockets()
        more = [
            sorted((s for s in socket.slots if s in good and s not in before), key=lambda s: self.place[s])
            for socket in sockets
        ]
        held = [sum(slot in keep or slot in before for slot in socket.slots) for socket in sockets]
        yield before | {slots[0] for slots, count in zip(more, held, strict=True) if slots and not count}
        most = max(held)
        yield before | {slot for slots, count in zip(more, held, strict=True) for slot in slots[: most - count]}
        yield set(good)
