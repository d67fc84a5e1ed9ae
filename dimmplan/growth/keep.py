"""What a machine holds already as the beginning of a plan, and what an upgrade makes of the machine."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import floor

from dimmplan.audit import Audit, audit
from dimmplan.figures import PlacementFigures, figures_if_any
from dimmplan.growth.pinned import SWEEP, Start
from dimmplan.inventory.match import Matching
from dimmplan.model.board import Board
from dimmplan.model.inventory import Inventory, InventorySlot
from dimmplan.model.module import Module
from dimmplan.model.placement import Change
from dimmplan.model.request import Request, Supply
from dimmplan.moves import plan_moves
from dimmplan.planner import Planned
from dimmplan.solve.answer import Choice
from dimmplan.solve.branches import Aim
from dimmplan.solve.budget import Budget
from dimmplan.solve.criteria import usable_of, vector_of
from dimmplan.solve.search import Found, Search
from dimmplan.solve.space import Space
from dimmplan.supply import identity_on_board, standing_for
from dimmplan.units import by_key


@dataclass(frozen=True, kw_only=True, slots=True)
class ReleasedSlot:
    """A slot whose data the person says is saved. What lies there comes out first, and is not kept."""

    slot: str
    found: InventorySlot | None


@dataclass(frozen=True, kw_only=True, slots=True)
class KeptModules:
    """A machine as a plan begins with it.

    ``content`` is what its slots hold as far as it can be kept, in the planner's types: modules that the board cannot
    tell apart are one type. ``hold`` are the slots that nobody may touch, ``unlisted`` those of them that the
    inventory does not list, ``unknown`` the slots whose content cannot be told; ``questions`` are about devices of
    which nobody can tell the slot.
    """

    board: Board
    content: dict[str, Module | None]
    hold: tuple[str, ...]
    unlisted: tuple[str, ...]
    unknown: tuple[str, ...]
    released: tuple[ReleasedSlot, ...]
    supplies: tuple[Supply, ...]
    questions: tuple[str, ...]
    date: str | None

    def start(self, fitted: Iterable[str], *, in_place: bool) -> Start:
        """What is settled before a plan for those sockets: what is on hold, and in place all that lies there too."""
        slots = [slot for socket_id in fitted for slot in self.board.socket(socket_id).slots]
        lying = {slot: self.content.get(slot) for slot in slots}
        hold = tuple(slot for slot in slots if slot in self.hold)
        return Start(stays=lying, hold=hold) if in_place else Start(stays={}, hold=hold, lying=lying)

    def now(self, fitted: Iterable[str]) -> dict[str, Module | None] | None:
        """What the slots of those sockets hold as memory; ``None`` where one of them cannot be told."""
        slots = [slot for socket_id in fitted for slot in self.board.socket(socket_id).slots]
        return None if set(slots) & set(self.unknown) else {slot: self.content.get(slot) for slot in slots}

    def empty_sockets(self, fitted: Iterable[str]) -> tuple[str, ...]:
        """Fitted sockets at which the machine shows no module: their processors may be absent."""
        shown = {slot for slot, module in self.content.items() if module} | set(self.hold)
        return tuple(socket_id for socket_id in fitted if not shown & set(self.board.socket(socket_id).slots))


def keep(
    board: Board, found: Inventory, matching: Matching, *, data_saved: Sequence[str], supplies: Sequence[Supply]
) -> KeptModules:
    """What can be kept of a machine, with the modules that may be bought.

    Kept are modules whose type can be told, in slots that are not on hold. ``data_saved`` releases slots on hold and
    slots that cannot be told: they are planned as empty ones.
    """
    judged: Audit = audit(board, found, matching, None)
    untouchable = set(judged.untouchable)
    free = [slot for slot in data_saved if slot in untouchable]
    index_of = matching.index_of
    held = {slot: module for slot, module in judged.content.items() if slot not in untouchable}
    stands = _standing(board, [module for module in held.values() if module], supplies)
    content = {slot: stands.get(module) if module else None for slot, module in held.items()}
    content |= dict.fromkeys(free)
    hold = tuple(slot for slot in board.slots if slot in untouchable and slot not in free)
    return KeptModules(
        board=board,
        content=content,
        hold=hold,
        unlisted=tuple(slot for slot in hold if slot not in index_of),
        unknown=tuple(
            answer.slot
            for answer in judged.slots
            if not answer.known and (answer.slot not in index_of or found.slots[index_of[answer.slot]].state != "hold")
        ),
        released=tuple(
            ReleasedSlot(slot=slot, found=found.slots[index_of[slot]] if slot in index_of else None) for slot in free
        ),
        supplies=_supplies(content, supplies, stands),
        questions=tuple(question.text for question in matching.questions),
        date=found.date,
    )


def _standing(board: Board, held: Iterable[Module], supplies: Iterable[Supply]) -> dict[Module, Module]:
    """The type that each module in the machine, and each that may be bought, is planned as."""
    modules = dict.fromkeys([*held, *(supply.module for supply in supplies)])
    groups = by_key(modules, lambda module: identity_on_board(board, module)).values()
    return {module: standing_for(board, group) for group in groups for module in group}


def _supplies(
    content: dict[str, Module | None], supplies: Iterable[Supply], stands: dict[Module, Module]
) -> tuple[Supply, ...]:
    """Modules to buy and modules to keep, one supply for each type."""
    kept = Counter(module for module in content.values() if module)
    found: dict[Module, Supply] = {}
    for supply in supplies:
        module = stands[supply.module]
        before = found.get(module)
        lots = (*before.lots, *supply.lots) if before else supply.lots
        found[module] = Supply(module=module, kept=kept[module], lots=lots)
    for module, count in kept.items():
        found.setdefault(module, Supply(module=module, kept=count, lots=()))
    return tuple(sorted(found.values(), key=lambda supply: supply.module.order_key))


def change_to(kept: KeptModules, planned: Planned) -> Change:
    """What to keep, pull, move and insert to get from the machine to a plan, and what is left over."""
    change = plan_moves(kept.board, kept.content, planned.placement, untouchable=kept.hold)
    return change._replace(released=tuple(each.slot for each in kept.released))


def change_between(before: Planned, after: Planned) -> Change:
    """The same from one plan to another."""
    return plan_moves(before.board, before.placement.content, after.placement, untouchable=after.placement.hold)


# -- before and after -----------------------------------------------------------------------------------------------

Content = Mapping[str, Module | None]

MOST_TRIED = 40
"""So many sets of modules are tried, the cheapest first, before the fastest one is named instead."""
_FASTEST = ("advised_broken", "over_gib", SWEEP, "bought", "displaced")
_CHEAPEST = ("advised_broken", "over_gib", "cost", "bought", "discarded", SWEEP, "worst_sweep", "displaced")


@dataclass(frozen=True, kw_only=True, slots=True)
class Speed:
    """How fast a machine is: its rate in MT/s, balanced sweep and sweep of the worst socket in GB/s."""

    rate_mts: int
    balanced_gb_s: Fraction
    worst_gb_s: Fraction
    worst_socket: str

    def slower_than(self, other: Speed) -> bool:
        """True where the machine as a whole, or its worst socket, is slower."""
        return self.balanced_gb_s < other.balanced_gb_s or self.worst_gb_s < other.worst_gb_s


@dataclass(frozen=True, kw_only=True, slots=True)
class Upgrade:
    """A machine before an upgrade and after it; ``before`` is ``None`` where not all that it holds is known to run.

    Where it would get slower, ``no_slower`` is the cheapest placement around the same start that does not make it so:
    at the nearest capacity that has one, least cost (where all is priced), fewest bought, fewest discarded. It is left
    out where nobody ``searched``.
    """

    before: Speed | None
    after: Speed
    no_slower: Choice | None
    no_slower_speed: Speed | None
    searched: bool

    @property
    def slower(self) -> bool:
        """True where the machine would get slower than it is."""
        return self.before is not None and self.after.slower_than(self.before)


def speed_of(board: Board, request: Request, content: Content) -> Speed | None:
    """How fast a content runs in the request's mode on its sockets; ``None`` where it cannot run or is empty."""
    option = board.processor(request.processor)
    figures = figures_if_any(board, option, request.fitted, content, mode=request.mode)
    return _speed(figures) if figures is not None and figures.modules else None


def _speed(figures: PlacementFigures) -> Speed:
    worst = min(figures.sockets, key=lambda socket: socket.sweep_gb_s)
    return Speed(
        rate_mts=figures.rate_mts,
        balanced_gb_s=figures.balanced_sweep_gb_s,
        worst_gb_s=worst.sweep_gb_s,
        worst_socket=worst.socket,
    )


def upgrade_of(planned: Planned, content: Content | None, start: Start | None) -> Upgrade:
    """What a plan makes of a machine that holds ``content`` (``None`` where that is not known whole).

    Without a ``start`` no placement that is no slower is searched for.
    """
    board, request = planned.board, planned.request
    before = None if content is None else speed_of(board, request, content)
    after = _speed(planned.figures)
    choice = speed = None
    if start is not None and before is not None and after.slower_than(before):
        choice = _no_slower(planned, before, start)
        speed = None if choice is None else speed_of(board, request, choice.content)
    return Upgrade(before=before, after=after, no_slower=choice, no_slower_speed=speed, searched=start is not None)


def _no_slower(planned: Planned, before: Speed, start: Start) -> Choice | None:
    """The cheapest placement in the request's window that is no slower than the machine was."""
    board, request = planned.board, planned.request
    space = Space(board, request, start.pins, lying=start.lying)
    search = Search(space, Budget(request.effort))

    def first(criteria: Sequence[str], low: int, high: int, without: Iterable[int] = ()) -> Found | None:
        return search.by(criteria).first(Aim(low, high, without=frozenset(without)), afresh=True)[0]

    def fast(found: Found) -> bool:
        speed = speed_of(board, request, search.content(found))
        return speed is not None and not speed.slower_than(before)

    def gib(found: Found) -> int:
        return floor(usable_of(space, search.content(found)))

    low, limit = request.capacity_gib, request.limit_gib
    fastest = first(_FASTEST, low, limit)
    while fastest is not None and not fast(fastest):
        low = gib(fastest) + 1
        fastest = first(_FASTEST, low, limit) if low <= limit else None
    if fastest is None:
        return None
    high = gib(fastest)
    seen: set[int] = set()
    chosen = fastest
    while len(seen) < MOST_TRIED:
        found = first(_CHEAPEST, low, max(low, high), seen)
        if found is None:
            break
        if fast(found):
            chosen = found
            break
        seen.add(found.code)
    content = search.content(chosen)
    vector = vector_of(space, planned.answer.criteria, content)
    return None if vector is None else Choice(content, vector, usable_of(space, content))
