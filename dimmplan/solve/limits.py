"""What no placement with some types can beat, by their sizes, numbers, rates and prices alone.

Sets of types are visited the most promising first. So that large shelves stay quick, types of one size and one rate
are looked at together first: no set among them promises more than they do at their best.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from functools import cached_property
from typing import NamedTuple

from dimmplan.model.module import Module
from dimmplan.model.request import Lot, Mode, Supply
from dimmplan.solve.branches import Aim
from dimmplan.solve.criteria import Criterion, Value, ranked
from dimmplan.solve.space import Space
from dimmplan.units import channel_peak_gb_s

Promise = tuple[Value, ...]
"""A vector as ``ranked`` gives it, no part of which any placement passes: smaller is better."""

Group = tuple[tuple[int, ...], ...]
"""Sets of types that promise together: for each type of a set those that it may be."""

Ahead = Sequence[frozenset[int]]
"""For each type of a space those that stand for it."""


class Facts(NamedTuple):
    """What decides the promise of a type, or of several together: the most that any of them has.

    ``gib`` is scaled; ``rates`` are the best with at least one, two and more modules on a channel, in MT/s; ``mixes``
    are what mixing rows tell types apart by.
    """

    gib: int
    rates: tuple[int, ...]
    mixes: tuple[object, ...]
    most_modules: int
    kept: int
    prices: tuple[tuple[Fraction, int], ...]
    """Price of each scaled GiB and how many GiB there are at it, the cheapest first."""


class Promises:
    """The promises of a space for an ordered list of criteria; ``facts`` where they are known."""

    def __init__(self, space: Space, criteria: Sequence[Criterion], facts: Sequence[Facts] = ()) -> None:
        self.space = space
        self.criteria = criteria
        self.facts: list[Facts] = list(facts) or self._facts()
        self.over_first = [c.name for c in criteria[1:2]] == ["over_gib"]
        self.channels = space.channel_count
        self.sockets = len(space.sockets)
        self.kept = sum(supply.kept for supply in space.request.supplies)

    def _facts(self) -> list[Facts]:
        """Of each type of the space."""
        space = self.space
        return [
            Facts(
                gib=space.weights[kind],
                rates=space.best_rates(kind),
                mixes=space.mixes(kind),
                most_modules=min(self._count(supply), space.slot_count),
                kept=supply.kept,
                prices=self._prices(space.weights[kind], [Lot(count=supply.kept, price=Fraction(0)), *supply.lots]),
            )
            for kind, supply in enumerate(space.supplies)
        ]

    def _prices(self, gib: int, lots: Sequence[Lot]) -> tuple[tuple[Fraction, int], ...]:
        """What the GiB of some lots cost, as far as the slots hold them."""
        left = self.space.slot_count
        found = []
        for lot in sorted(lots, key=lambda lot: lot.price or 0):
            taken = left if lot.count is None else min(left, lot.count)
            left -= taken
            if taken:
                found.append((Fraction(lot.price or 0) / gib, taken * gib))
        return tuple(found)

    def _count(self, supply: Supply) -> int:
        return self.space.slot_count if supply.available is None else supply.available

    def groups(self, size: int, aim: Aim, ahead: Ahead = ()) -> Iterator[tuple[Promise, Group]]:
        """Groups of sets of so many types: what the best set of each promises, and its types, those alike together.

        No set has a type without all that are ``ahead`` of it.
        """
        alike: dict[tuple[object, ...], list[int]] = {}
        for kind, facts in enumerate(self.facts):
            wanted = (aim.types is None or kind in aim.types) and (not ahead or len(ahead[kind]) < size)
            if wanted and facts.most_modules and facts.rates[0]:
                alike.setdefault((facts.gib, facts.rates, facts.mixes), []).append(kind)
        together = [(tuple(kinds), self._together(kinds)) for kinds in alike.values()]
        allowed = frozenset(self.space.advised) if aim.may_break is None else aim.may_break

        def extend(first: int, chosen: tuple[int, ...]) -> Iterator[tuple[Promise, Group]]:
            facts = [together[place][1] for place in chosen]
            broken = self.space.broken_together([each.mixes for each in facts])
            if not broken <= allowed:
                return
            if len(chosen) == size:
                promise = self.promise(facts, aim, broken=len(broken))
                if promise is not None:
                    yield promise, tuple(together[place][0] for place in chosen)
                return
            for place in range(first, len(together)):
                if chosen.count(place) < len(together[place][0]):
                    yield from extend(place, (*chosen, place))

        yield from extend(0, ())

    def _together(self, kinds: Sequence[int]) -> Facts:
        each = [self.facts[kind] for kind in kinds]
        return each[0]._replace(
            most_modules=max(facts.most_modules for facts in each),
            kept=max(facts.kept for facts in each),
            prices=tuple(heapq.merge(*(facts.prices for facts in each))),
        )

    def sets(self, group: Group, ahead: Ahead = ()) -> Iterator[tuple[int, ...]]:
        """The sets of types of a group, each in the order of the space; none with a type without those ahead of it."""
        picks = [itertools.combinations(kinds, group.count(kinds)) for kinds in dict.fromkeys(group)]
        for parts in itertools.product(*picks):
            types = tuple(sorted(kind for part in parts for kind in part))
            if not ahead or all(ahead[kind].issubset(types) for kind in types):
                yield types

    # -- types that others stand for -----------------------------------------------------------------------------------

    @cached_property
    def better(self) -> Ahead:
        """For each type those that come first wherever it stands; none where it is kept or something lies there."""
        return self._ahead(self._comes_first)

    @cached_property
    def more_of(self) -> Ahead:
        """For each type those of which there are more: what it reaches, they reach."""
        return self._ahead(self._reaches_more)

    def _ahead(self, beats: Callable[[int, int], bool]) -> Ahead:
        """For each type those alike but for their rates that beat it; none for one that a slot is settled for."""
        space = self.space
        alike: dict[Module, list[int]] = {}
        for kind in range(len(self.facts)):
            alike.setdefault(space.identity(kind), []).append(kind)
        found = [frozenset[int]()] * len(self.facts)
        for kinds in alike.values():
            for kind in kinds:
                if space.types[kind] not in space.named:
                    found[kind] = frozenset(other for other in kinds if other != kind and beats(other, kind))
        return found

    def _reaches_more(self, one: int, other: int) -> bool:
        """True where there are more of one type, or as many and it comes first in the space."""
        mine, its = self.facts[one], self.facts[other]
        return bool(mine.rates[0]) and (mine.most_modules, other) > (its.most_modules, one)

    def _comes_first(self, one: int, other: int) -> bool:
        """True for at least as fast and as many, and no dearer; where they cost the same, first in board order."""
        mine, its, supplies = self.facts[one], self.facts[other], self.space.supplies
        here, there = self.space.types[one], self.space.types[other]
        by_channel = self.space.board.rate_scope == "channel"
        if (
            its.kept
            or self.space.lying
            or mine.most_modules < its.most_modules
            or here.rate_mts < there.rate_mts
            or (by_channel and here.rate_mts > there.rate_mts)
        ):
            return False
        first = here.order_key < there.order_key
        if not any(criterion.name == "cost" for criterion in self.criteria):
            return first
        costs = ((supplies[one].cost(count), supplies[other].cost(count)) for count in range(1, its.most_modules + 1))
        return all(cost < dear or (first and cost == dear) for cost, dear in costs)

    # -- one promise -------------------------------------------------------------------------------------------------

    def promise(self, types: Sequence[Facts], aim: Aim, *, broken: int = 0, rate: int = 0) -> Promise | None:
        """What placements with some of each of these types promise; ``None`` where none can have such a capacity.

        At a ``rate`` of the system in MT/s, or 0 at the best.
        """
        span = self._span(types, aim)
        if span is None:
            return None
        low, high = span
        fewest, most = self._modules(types, low, high)
        sweeps = self._sweeps(types, (low, high), (fewest, most), rate)
        if fewest > most or sweeps is None:
            return None
        request = self.space.request
        asked = request.capacity_gib + (request.over_gib or 0)
        kept = sum(min(facts.kept, facts.most_modules) for facts in types)
        priced = any(criterion.name == "cost" for criterion in self.criteria)
        values = _limits(
            self.space,
            broken=broken,
            over=max(0, self.space.shown(low) - asked),
            sweeps=sweeps,
            types=len(types),
            modules=fewest,
            discarded=self.kept - kept,
            bought=max(0, fewest - kept),
            cost=self._cost(types, low) if priced else Fraction(0),
        )
        return ranked(self.criteria, [values[criterion.name] for criterion in self.criteria])

    def _span(self, types: Sequence[Facts], aim: Aim) -> tuple[int, int] | None:
        """The least and the most scaled capacity that these types can have within an aim."""
        scale = self.space.scale
        low, high = math.ceil(self.space.needed(aim.low_gib)), math.floor(self.space.needed(aim.high_gib))
        if self.space.request.mode is not Mode.INDEPENDENT:
            return (low, high) if low <= high else None
        step = math.gcd(*(facts.gib for facts in types))
        sums = 1
        inside = (1 << high // step + 1) - 1
        for facts in types:
            sums = sum_of_each(sums, facts.gib // step, facts.most_modules) & inside
        sums >>= -(-low // step)
        if not sums:
            return None
        first = -(-low // step) * step
        least, high = first + ((sums & -sums).bit_length() - 1) * step, first + (sums.bit_length() - 1) * step
        if not self.over_first:
            return least, high
        allowance = (self.space.request.capacity_gib + (self.space.request.over_gib or 0)) * scale
        return least, max(least, min(high, allowance))

    def _modules(self, types: Sequence[Facts], low: int, high: int) -> tuple[int, int]:
        """The fewest and the most modules, some of each type, for a span of capacity."""
        rising = sorted(types, key=lambda facts: facts.gib)
        most, left = len(types), high - sum(facts.gib for facts in types)
        fewest, missing = len(types), low - sum(facts.gib for facts in types)
        for facts in rising:
            more = max(0, min(facts.most_modules - 1, left // facts.gib))
            most, left = most + more, left - more * facts.gib
        for facts in reversed(rising):
            more = max(0, min(facts.most_modules - 1, -(-missing // facts.gib)))
            fewest, missing = fewest + more, missing - more * facts.gib
        slots = self.space.slot_count
        if self.space.spares:  # what it takes may be added
            most, left = slots, 0
        return (fewest if missing <= 0 else slots + 1), (min(most, slots) if left >= 0 else 0)

    def _sweeps(
        self, types: Sequence[Facts], gib: tuple[int, int], modules: tuple[int, int], rate: int
    ) -> tuple[Fraction, Fraction, Fraction] | None:
        """System, worst socket's and balanced sweep: for each depth of the fullest channel the best that it allows."""
        (low, high), (fewest, most) = gib, modules
        by_system = self.space.board.rate_scope == "system"
        found: list[tuple[Fraction, Fraction]] = []
        own = (min if by_system else max)(facts.rates[0] for facts in types)
        sizes = [facts.gib for facts in types]
        step = math.gcd(*sizes)
        share = -(-low // (self.channels * step)) * step
        for depth in range(max(1, -(-fewest // self.channels)), len(types[0].rates) + 1):
            held = min(most, depth * self.channels)
            deep = max(facts.rates[depth - 1] for facts in types)
            runs = min(own, deep) if by_system else own
            if rate:
                runs = rate if runs >= rate else 0
            if not runs or not deep:
                continue
            peak = channel_peak_gb_s(runs)
            fullest = max(depth * min(sizes), *sizes, share) if self.space.request.mode is Mode.INDEPENDENT else 1
            system = min(Fraction(min(held, self.channels)), Fraction(high, fullest)) * peak
            found.append((system, min(held // self.sockets, self.space.fewest_channels) * peak))
        if not found:
            return None
        system, worst = max(each for each, _ in found), max(each for _, each in found)
        return system, worst, max(min(one, self.sockets * other) for one, other in found)

    def _cost(self, types: Sequence[Facts], gib: int) -> Fraction:
        """What such a capacity costs at least: the cheapest GiB first, kept modules for nothing."""
        total, left = Fraction(0), gib
        for price, there in heapq.merge(*(facts.prices for facts in types)):
            taken = min(left, there)
            total, left = total + price * taken, left - taken
            if not left:
                break
        return total


def ideal(space: Space) -> dict[str, Value]:
    """What no placement passes, whatever its types: every channel always at work, at the best rate of any type."""
    request = space.request
    sizes = sorted(module.capacity_gib for module in space.types)
    step = math.gcd(*sizes) if request.mode is Mode.INDEPENDENT else 1
    least = -(-request.capacity_gib // step) * step
    peak = channel_peak_gb_s(max((space.best_rates(kind)[0] for kind in range(len(sizes))), default=0))
    worst = space.fewest_channels * peak
    system = space.channel_count * peak
    return _limits(
        space,
        over=max(0, least - request.capacity_gib - (request.over_gib or 0)),
        sweeps=(system, worst, min(system, len(space.sockets) * worst)),
        modules=max(len(space.sockets) if space.every_socket else 1, -(-request.capacity_gib // sizes[-1])),
    )


def _limits(
    space: Space,
    *,
    over: Value,
    sweeps: tuple[Fraction, Fraction, Fraction],
    modules: int,
    broken: int = 0,
    types: int = 1,
    discarded: int = 0,
    bought: int = 0,
    cost: Fraction = Fraction(0),
) -> dict[str, Value]:
    """The limit of each criterion: nothing passes the one that is said, or what every placement has to keep.

    ``sweeps`` are system, worst socket's and balanced sweep in GB/s, ``modules`` the fewest.
    """
    system, worst, balanced = sweeps
    channels = [len(socket.channels) for socket in space.wired]
    return {
        "advised_broken": broken,
        "over_gib": over,
        "balanced_sweep": balanced,
        "socket_difference_gib": 0,
        "system_sweep": system,
        "worst_sweep": worst,
        "worst_parallel": worst,
        "controller_difference_gib": 0,
        "regions": len(channels) if space.every_socket else 1,
        "narrowest_ways": min(channels) if space.every_socket else max(channels),
        "types": types,
        "cost": cost,
        "low_rank_channels": 0,
        "modules": modules,
        "free_slots": space.slot_count - modules,
        "discarded": discarded,
        "bought": bought,
        "displaced": 0,
    }


def sum_of_each(sums: int, size: int, count: int) -> int:
    """Sums as bits, with one to ``count`` times ``size`` added to each."""
    found = sums << size
    done = 1
    while done < count:
        more = min(done, count - done)
        found |= found << more * size
        done += more
    return found
