"""A single request over pinned slots: answered like any other, and what can be reached by adding only."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, NamedTuple

from dimmplan.errors import Cause, DimmplanError, ImpossibleError
from dimmplan.figures import placement_figures
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.request import Request
from dimmplan.planner import Planned, plan, planned_of
from dimmplan.rules import Content, judge
from dimmplan.solve.answer import Answer, Bound, Choice, bound_of, solve, solve_in
from dimmplan.solve.branches import Aim
from dimmplan.solve.budget import Budget
from dimmplan.solve.causes import capacities
from dimmplan.solve.criteria import CRITERIA, LISTS, Value, criteria_of, usable_of, vector_of
from dimmplan.solve.search import Search
from dimmplan.solve.shapes import Pins
from dimmplan.solve.space import Space
from dimmplan.units import Gib

if TYPE_CHECKING:
    from dimmplan.stock import Shelf

SWEEP = "balanced_sweep"
"""The criterion that measures how fast a placement is."""
MOST_NEXT = 4
"""So many capacities are named that adding alone can reach next."""
LEAST_STAYING = 20_000
"""Nodes at least for the question which of equal placements lets most modules stay."""
STAYING_STOPPED = "more modules might stay in their slots; the search for that reached its effort limit"
"""Why an answer is not proven whose figures are."""


def staying(content: Content) -> Pins:
    """Every module stays where it is; empty slots are open."""
    return {slot: frozenset({module}) for slot, module in content.items() if module}


def closed(slots: Iterable[str]) -> Pins:
    """Slots that are not filled."""
    return dict.fromkeys(slots, frozenset({None}))


def within(board: Board, content: Content) -> Pins:
    """Nothing but some of what the content has, each module in its slot."""
    return {slot: frozenset({None, content.get(slot)}) for slot in board.slots}


def all_of(*pins: Pins) -> Pins:
    """What every one of the pins allows."""
    found: dict[str, frozenset[Module | None]] = {}
    for each in pins:
        for slot, allowed in each.items():
            found[slot] = found[slot] & allowed if slot in found else allowed
    return found


class Start(NamedTuple):
    """What is settled before a search: modules that stay in their slots, and slots that nobody may fill.

    Of equal answers the one is given in which most modules of ``lying`` stay.
    """

    stays: Mapping[str, Module | None]
    hold: tuple[str, ...] = ()
    lying: Mapping[str, Module | None] = MappingProxyType({})

    @property
    def pins(self) -> Pins:
        """As pins of the slots."""
        return all_of(staying(self.stays), closed(self.hold))


NOTHING = Start(stays={})


def solve_from(board: Board, request: Request, start: Start, *, alternatives: bool = True) -> Answer:
    """Answer a request as ``solve`` does, with what is settled left as it is. Raises ``ImpossibleError``."""
    return _settled(board, request, _solved(board, request, start, alternatives=alternatives), start)


def _settled(board: Board, request: Request, answer: Answer, start: Start) -> Answer:
    """The answer, and all beside it, with most of what lies in the machine left where it lies."""
    if not any(start.lying.values()):
        return answer
    best, proven = _most_staying(board, request, answer, answer.best, start)

    def settled(choice: Choice) -> Choice:
        return _most_staying(board, request, answer, choice, start)[0]

    return answer._replace(
        best=best,
        proven=answer.proven and proven,
        stopped=answer.stopped or (None if proven else STAYING_STOPPED),
        bound=answer.bound or (None if proven else Bound(criterion="displaced", value=None)),
        runners_up=tuple(map(settled, answer.runners_up)),
        step_above=answer.step_above and settled(answer.step_above),
        step_below=answer.step_below and settled(answer.step_below),
    )


def _most_staying(board: Board, request: Request, answer: Answer, choice: Choice, start: Start) -> tuple[Choice, bool]:
    """Of all placements as good as ``choice`` the one in which most modules stay, and whether that is proven.

    Equal parts of a board may trade places, and others can be as good all the same: a channel of two slots and one of
    one slot for a single module, or channels that a listed group tells apart. So what stays is a last criterion of the
    search. What stands beside the answer keeps its modules; another list than the request's may have chosen it.
    """
    lying = {slot: module for slot, module in start.lying.items() if module}
    if lying == {slot: module for slot, module in choice.content.items() if module}:
        return choice, True
    gib: Any = choice.usable_gib  # what a mode leaves may be a fraction
    if choice is answer.best:
        space, lists = Space(board, request, start.pins, lying=lying), [answer.criteria]
        aim = Aim(gib, gib) if answer.outside_window else Aim(request.capacity_gib, request.limit_gib)
    else:
        held = {*choice.content.values()}
        supplies = tuple(supply for supply in request.supplies if supply.kept or supply.module in held)
        space = Space(board, replace(request, supplies=supplies), start.pins, lying=lying)
        lists = [criteria_of(prefer, priced=True) for prefer in dict.fromkeys((request.prefer, *LISTS))]
        aim = Aim(gib, gib, only=space.code_of(choice.content))
    for criteria in lists:
        search = Search(space, Budget(max(request.effort - answer.effort, LEAST_STAYING)))
        search.by(criterion.name for criterion in (*criteria, CRITERIA["displaced"]))
        found, proven = search.first(aim, may_end_empty=True)
        content = {} if found is None else search.content(found)
        if vector_of(space, answer.criteria, content) == choice.vector:
            return choice._replace(content=content, usable_gib=usable_of(space, content)), proven
    return choice, False


def _solved(board: Board, request: Request, start: Start, *, alternatives: bool) -> Answer:
    if not start.pins:
        return solve(board, request, alternatives=alternatives)
    answer = solve_in(Space(board, request, start.pins), alternatives=alternatives)
    if answer is None:
        raise impossible_from(board, request, start)
    return answer


def capacities_from(board: Board, request: Request, start: Start) -> list[Gib]:
    """Every usable capacity that some placement around what is settled has, rising; advised rows aside."""
    return sorted(capacities(Space(board, request, start.pins)))


def impossible_from(board: Board, request: Request, start: Start) -> ImpossibleError:
    """Why nothing fits around what is settled: the request's own causes where it has none anyway."""
    try:
        solve(board, request, alternatives=False)
    except ImpossibleError as error:
        return error
    reached = capacities_from(board, request, start)
    below = [gib for gib in reached if gib < request.capacity_gib]
    above = [gib for gib in reached if gib > request.capacity_gib]
    return ImpossibleError(
        _causes(board, request, start),
        below_gib=below[-1] if below else None,
        above_gib=above[0] if above else None,
    )


def _causes(board: Board, request: Request, start: Start) -> Iterator[Cause]:
    """What stands in the way of a request that could be met in an empty machine."""
    content = dict(start.stays)
    for breach in judge(board, board.processor(request.processor), request.fitted, content, mode=request.mode):
        if breach.severity == "error" and breach.kind and breach.kind.stays_broken:
            where = ", ".join(breach.where)
            text = f"The machine already breaks this rule: {breach.found} ({where}); allowed: {breach.allowed}."
            yield Cause(rule=breach.rule, text=text, source=breach.source)
    types = {module for module in content.values() if module}
    if len(types) > request.max_types:
        text = f"The machine has {len(types)} module types that stay; at most {request.max_types} may be used."
        yield Cause(rule="max-types", text=text)
    if types:
        yield Cause(rule="in-place", text="No placement with this capacity leaves every module in its slot.")
    if start.hold:
        text = (
            f"These slots are on hold and needed: {', '.join(start.hold)}. Where one is empty, list it "
            f"({start.hold[0]},empty) or add --rest-empty. Where its data is saved, add --data-saved {start.hold[0]}."
        )
        yield Cause(rule="hold", text=text)


def plan_from(
    board: Board,
    request: Request,
    start: Start,
    *,
    alternatives: bool = True,
    shelf: Shelf | None = None,
    modules: Sequence[str] = (),
) -> Planned:
    """As ``planner.plan``, with what is settled left as it is. Raises ``ImpossibleError``."""
    if start.pins:
        answer = _solved(board, request, start, alternatives=alternatives)
    else:
        answer = plan(board, request, alternatives=alternatives, shelf=shelf, modules=modules).answer
    return planned_of(board, request, _settled(board, request, answer, start), hold=start.hold)


def planned_as(
    board: Board,
    request: Request,
    content: Mapping[str, Module | None],
    free: Answer | None,
    *,
    stopped: str,
    hold: tuple[str, ...] = (),
) -> Planned:
    """A placement that was chosen for another reason than the request's own list, as the plan of that request.

    It is called proven where it is just what the list would choose (``free``, where that is known). Elsewhere
    ``stopped`` says what it was chosen for, and the bound names the first criterion at which the list would have
    something better.
    """
    lies = {slot: content.get(slot) for slot in board.slots}
    if free is not None and lies == {slot: free.best.content.get(slot) for slot in board.slots}:
        return planned_of(board, request, free, hold=hold)
    space = Space(board, request)
    criteria = criteria_of(request.prefer, priced=all(supply.priced for supply in request.supplies))
    vector = vector_of(space, criteria, lies)
    if vector is None:
        raise DimmplanError("internal: a placement that was chosen breaks a rule")
    best = Choice(content=lies, vector=vector, usable_gib=usable_of(space, lies))
    bound = bound_of(space, criteria, best) if free is None else _bound_by(free, vector)
    answer = Answer(
        criteria=criteria,
        best=best,
        proven=False,
        stopped=stopped,
        bound=bound,
        effort=0,
        runners_up=(),
        step_above=None,
        step_below=None,
        outside_window=best.usable_gib > request.limit_gib,
    )
    return planned_of(board, request, answer, hold=hold)


def _bound_by(free: Answer, vector: Sequence[Value]) -> Bound:
    """The first criterion at which a request's own answer is not what was chosen."""
    for criterion, here, there in zip(free.criteria, vector, free.best.vector, strict=True):
        if here != there:
            return Bound(criterion=criterion.name, value=there if free.proven else None)
    return Bound(criterion="board_order", value=None)


# -- what adding alone can reach -------------------------------------------------------------------------------------


class Next(NamedTuple):
    """A capacity that adding modules can reach: its best placement by the request's list, and what is added."""

    usable_gib: Gib
    sweep_gb_s: Fraction
    added: tuple[tuple[str, Module], ...]
    content: dict[str, Module | None]


def next_by_adding(planned: Planned, *, most: int = MOST_NEXT) -> tuple[Next, ...]:
    """The next capacities that a plan can reach by adding only, the nearest first.

    Added are the types of the request, within its stock and its number of types. What the request's effort does not
    suffice for is left out.
    """
    board, request, placement = planned.board, planned.request, planned.placement
    content = placement.content
    start = Start(stays=content, hold=placement.hold)
    search = Search(Space(board, request, start.pins), Budget(request.effort))
    found: list[Next] = []
    here = planned.answer.best.usable_gib
    for gib in sorted(gib for gib in search.capacities(Aim(int(here), search.space.most_gib)) if gib > here):
        exact: Any = gib  # what a mode leaves may be a fraction
        best, proven = search.first(Aim(exact, exact), afresh=True)
        if best is None or not proven:
            continue
        after = search.content(best)
        figures = placement_figures(board, board.processor(request.processor), request.fitted, after, mode=request.mode)
        added = tuple((slot, module) for slot in board.slots if (module := after[slot]) and content[slot] is None)
        found.append(Next(usable_gib=gib, sweep_gb_s=figures.balanced_sweep_gb_s, added=added, content=after))
        if len(found) == most:
            break
    return tuple(found)
