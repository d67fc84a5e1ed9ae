"""What a board can use of a shelf: labels that are equal there, what is taken from which lot, and what is to be bought.

A *type* here is all labels that the board cannot tell apart.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING, Literal, NamedTuple

from dimmplan.errors import Cause, Purchase, Shortfall
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.placement import Placement
from dimmplan.model.request import Lot, Request, Supply
from dimmplan.rates import channel_rate, processor_rate
from dimmplan.rules import RATE_RULE, refusals, rules_of
from dimmplan.solve.answer import checked
from dimmplan.solve.branches import Aim
from dimmplan.solve.budget import Budget
from dimmplan.solve.search import Search
from dimmplan.solve.space import Space

if TYPE_CHECKING:
    from dimmplan.stock import Shelf, ShelfLot


@dataclass(frozen=True, kw_only=True, slots=True)
class Take:
    """What is taken from one lot: ``count`` modules that serve as ``serves_as`` in the placement."""

    lot: ShelfLot
    count: int
    serves_as: Module


class UnusableModule(NamedTuple):
    """A label on the shelf that the board, or its processor, cannot use, and the rule that says so."""

    module: Module
    rule: str
    found: str
    allowed: str


class Limit(NamedTuple):
    """Where a module is more than a processor allows.

    ``rate``: labelled faster than ``allowed`` MT/s. ``ceiling``: only ``allowed`` of such modules go to one socket,
    which has ``slots``. ``refused``: the processor runs no such module.
    """

    processor: str
    module: Module
    kind: Literal["rate", "ceiling", "refused"]
    allowed: int
    slots: int = 0


def identity_on_board(board: Board, module: Module) -> tuple[object, ...]:
    """What a board tells modules apart by: all of the electrical identity, the rate only as far as it can run there.

    A 3200 MT/s module is the same as one of 2933 MT/s on a board that goes no faster, unless a rule names rates, or
    watts.
    """
    told_apart = any(row.tells_alike_apart for row in rules_of(board))
    sizes = {len(channel.slots) for channel in board.channels}
    runs = [
        rate.rate_mts if (rate := channel_rate(board, None, [module] * dpc, slots)) else 0
        for slots in sorted(sizes)
        for dpc in range(1, slots + 1)
    ]
    return (
        module.generation,
        module.capacity_gib,
        module.kind,
        module.package_ranks,
        module.logical_ranks,
        module.device_width,
        module.ecc_bits,
        module.voltage_mv,
        tuple(runs),
        (module.rate_mts, board.facts_of(module).watts) if told_apart else None,
    )


def same_on_board(board: Board, one: Module, other: Module) -> bool:
    """True where the board cannot tell the two apart, so that either may stand for the other."""
    return one == other or identity_on_board(board, one) == identity_on_board(board, other)


def in_types_of(
    board: Board, content: Mapping[str, Module | None], types: Collection[Module]
) -> dict[str, Module | None]:
    """What slots hold, in those types where a module is as good as one of them.

    It is where the board cannot tell the two apart and its label promises no less.
    """

    def type_of(module: Module) -> Module:
        alike = (each for each in types if each.rate_mts <= module.rate_mts and same_on_board(board, each, module))
        return module if module in types else next(alike, module)

    known = {module: type_of(module) for module in dict.fromkeys(content.values()) if module}
    return {slot: known[module] if module else None for slot, module in content.items()}


def standing_for(board: Board, modules: Iterable[Module]) -> Module:
    """The one of some equal modules that promises least: the slowest label, a usual one of the board before others."""
    usual = {module.label for module in board.modules}
    return min(modules, key=lambda module: (module.rate_mts, module.label not in usual, module.label))


def refusal(board: Board, processor: str | None, module: Module) -> UnusableModule | None:
    """Why a board with that processor can use no such module at all; ``None`` where it can."""
    for breach in refusals(board, board.processor(processor), module)[:1]:
        found = "no rate for it" if breach.check == RATE_RULE else breach.found
        return UnusableModule(module=module, rule=breach.rule, found=found, allowed=breach.allowed)
    return None


def processor_limits(board: Board, request: Request) -> Iterator[Limit]:
    """Where a type of a request is faster or larger than its processor allows."""
    option = board.processor(request.processor)
    if option is None:
        return
    sockets = [socket for socket in board.sockets if socket.id in request.fitted]
    deepest = max(len(channel.slots) for socket in sockets for channel in socket.channels)
    slots = max(len(socket.slots) for socket in sockets)
    for module in sorted((supply.module for supply in request.supplies), key=lambda module: module.order_key):
        rates = [processor_rate(option, module, dpc) for dpc in range(1, deepest + 1)]
        numbers = [rate for rate in rates if isinstance(rate, int)]
        if all(rate == "none" for rate in rates):
            yield Limit(processor=option.id, module=module, kind="refused", allowed=0)
        elif numbers and "any" not in rates and max(numbers) < module.rate_mts:
            yield Limit(processor=option.id, module=module, kind="rate", allowed=max(numbers))
        if option.ceiling_gib is not None and slots * module.capacity_gib > option.ceiling_gib:
            most = option.ceiling_gib // module.capacity_gib
            yield Limit(processor=option.id, module=module, kind="ceiling", allowed=most, slots=slots)


def supplies_of(board: Board, shelf: Shelf, processor: str | None) -> tuple[Supply, ...]:
    """The modules that a board with that processor can use from a shelf, one supply for each type.

    Labels that are equal for the board are one type, under the label that promises least; lots are cheapest first.
    The order of the rows does not matter.
    """
    types: dict[tuple[object, ...], list[ShelfLot]] = {}
    for lot in shelf.lots:
        if lot.count and refusal(board, processor, lot.module) is None:
            types.setdefault(identity_on_board(board, lot.module), []).append(lot)
    supplies = [
        Supply(
            module=standing_for(board, [lot.module for lot in lots]),
            lots=tuple(Lot(count=lot.count, price=lot.price) for lot in sorted(lots, key=cheapest_first)),
        )
        for lots in types.values()
    ]
    return tuple(sorted(supplies, key=lambda supply: supply.module.order_key))


def left_out_of(board: Board, shelf: Shelf, processor: str | None) -> tuple[UnusableModule, ...]:
    """The labels on a shelf that a board with that processor cannot use, each once, in a fixed order."""
    modules = sorted({lot.module for lot in shelf.lots}, key=lambda module: module.order_key)
    return tuple(why for module in modules if (why := refusal(board, processor, module)) is not None)


def left_out_causes(board: Board, shelf: Shelf, processor: str | None) -> tuple[Cause, ...]:
    """Why a board can use nothing of a shelf, label by label."""
    return tuple(
        Cause(
            rule=why.rule,
            text=f"On the shelf, but not for this board: {why.module.label} ({why.found}; allowed: {why.allowed}).",
        )
        for why in left_out_of(board, shelf, processor)
    )


def takes_of(board: Board, shelf: Shelf, placement: Placement) -> tuple[Take, ...]:
    """What a placement takes from which lots of a shelf, cheapest first, lots without a price last."""
    found: list[Take] = []
    for module in placement.types:
        left = placement.count(module)
        lots = [lot for lot in shelf.lots if same_on_board(board, lot.module, module)]
        for lot in sorted(lots, key=cheapest_first):
            taken = min(left, lot.count)
            left -= taken
            if taken:
                found.append(Take(lot=lot, count=taken, serves_as=module))
    return tuple(found)


def cheapest_first(lot: ShelfLot) -> tuple[bool, Fraction, str, int, str]:
    """Sort key of lots: those without a price last."""
    return (lot.price is None, lot.price or Fraction(0), lot.label, lot.count, lot.note)


# -- what is to be bought ----------------------------------------------------------------------------------------------


def shortfall_of(board: Board, request: Request, shelf: Shelf, modules: Iterable[Module]) -> Shortfall:
    """The shortest list of modules with which a shelf would serve a request.

    Fewest modules bought, then cheapest, then closest to the request. What may be bought are ``modules``; ``request``
    is what was asked of the shelf alone. Prices count where all of it is priced. As in a plan, what goes above the
    request by more than its allowance is bought only where nothing else serves. Advised rows do not make it longer.
    """
    offers = _offers(board, request, shelf, modules)
    may_break = tuple(row for row in board.rules if row.severity != "advised")
    supplies = tuple(offer.supply for offer in offers)
    space = Space(replace(board, rules=may_break), replace(request, supplies=supplies, prefer=_PREFER))
    search = Search(space, Budget(request.effort)).by(_BUYING)
    found, proven = None, True
    for high in (request.limit_gib, space.most_gib) if space.possible() else ():
        if found is None and proven:
            found, proven = search.first(Aim(request.capacity_gib, high))
    if found is None:
        return Shortfall(buy=None, proven=proven, currency=shelf.currency)
    used = Counter(module for module in checked(search, found).content.values() if module)
    parts = {facts.label: facts.part for facts in board.module_facts}
    parts |= {lot.label: lot.part for lot in shelf.lots if lot.part}
    watts = {facts.label: facts.watts for facts in board.module_facts}
    watts |= {lot.label: lot.watts for lot in shelf.lots if lot.watts is not None}
    buy = tuple(
        Purchase(
            label=offer.label,
            count=count,
            cost=None if offer.price is None else offer.price * count,
            substitutes=offer.substitutes,
            part=parts.get(offer.label, ""),
            watts=watts.get(offer.label),
        )
        for offer in offers
        if (count := used[offer.supply.module] - offer.supply.kept) > 0
    )
    return Shortfall(buy=buy, proven=proven, currency=shelf.currency)


class _Offer(NamedTuple):
    """One type that may be bought: how many there are already, which label to buy, at what price, or which instead."""

    supply: Supply
    label: str
    price: Fraction | None
    substitutes: tuple[str, ...]


_PREFER = "upgrade"
_BUYING = ("advised_broken", "bought", "cost", "over_gib", "types", "balanced_sweep", "modules")
"""The order in which lists to buy are compared; what is on the shelf counts as kept."""


def _offers(board: Board, request: Request, shelf: Shelf, modules: Iterable[Module]) -> list[_Offer]:
    """Types to buy, those on the shelf among them, larger modules first."""
    lots: dict[tuple[object, ...], list[ShelfLot]] = {}
    for lot in shelf.lots:
        lots.setdefault(identity_on_board(board, lot.module), []).append(lot)
    labels: dict[tuple[object, ...], list[Module]] = {}
    for module in modules:
        labels.setdefault(identity_on_board(board, module), []).append(module)
    kept = {identity_on_board(board, supply.module): supply for supply in request.supplies}
    offers: list[_Offer] = []
    for identity, equal in labels.items():
        known = [*equal, *(lot.module for lot in lots.get(identity, []))]
        if any(refusal(board, request.processor, module) for module in known):
            continue
        price, label = _price(lots.get(identity, []), standing_for(board, equal))
        have = kept[identity].available if identity in kept else 0
        supply = Supply(module=standing_for(board, known), kept=have or 0, lots=(Lot(price=price),))
        others = sorted({module.label for module in known} - {label})
        offers.append(_Offer(supply=supply, label=label, price=price, substitutes=tuple(others)))
    return sorted(offers, key=lambda offer: offer.supply.module.order_key)


def _price(lots: Iterable[ShelfLot], usual: Module) -> tuple[Fraction | None, str]:
    """What one more module costs and its label: a lot of 0 is an offer; without one, the dearest lot is the guess."""
    priced = [(lot.price, lot.label, lot.count) for lot in lots if lot.price is not None]
    quotes = [(price, label) for price, label, count in priced if not count]
    if quotes:
        return min(quotes)
    dearest = max(((price, label) for price, label, _ in priced), default=None)
    return dearest or (None, usual.label)
