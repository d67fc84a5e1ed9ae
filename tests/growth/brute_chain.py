"""The best chain found by trying all of them: plain, slow, and apart from the planner's own search.

Single placements are judged and measured by the oracle; what makes a chain, and which comes first, is said here again.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from typing import Any

from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.request import Request
from tests.oracle.brute import Filling, Oracle, every_filling, system_breaks
from tests.oracle.random_boards import random_case, random_mode_case

MOST_PLACEMENTS = 1000
MOST_PAIRS = 40_000
"""Chains that are tried at most."""


@dataclass(frozen=True)
class One:
    """A legal placement: all slots in board order, and what a chain needs to know of it."""

    slots: tuple[Module | None, ...]
    usable: Fraction
    sweep: Fraction
    counts: tuple[int, ...]
    advised: frozenset[str]


@dataclass(frozen=True)
class Expected:
    """The best chain: its key (smaller is better), its steps, and whether a step had to leave its window."""

    key: tuple[Any, ...]
    steps: tuple[One, ...]
    outside: bool


def placements(board: Board, request: Request) -> list[One]:
    """Every legal placement with at least a module, whatever its capacity."""
    oracle = Oracle(board, request)
    found = []
    for fillings in itertools.product(*(list(every_filling(oracle, socket)) for socket in oracle.fitted)):
        if any(filling.usable for filling in fillings) and not oracle.refusals(fillings):
            found.append(_one(board, oracle, fillings))
    return found


def _one(board: Board, oracle: Oracle, fillings: Sequence[Filling]) -> One:
    lying: dict[str, Module | None] = dict.fromkeys(board.slots)
    for filling in fillings:
        lying.update(zip(filling.socket.slots, filling.slots, strict=True))
    advised = {row.id for row in oracle.advised if system_breaks(row, fillings)}
    advised |= {row_id for filling in fillings for row_id in filling.advised}
    return One(
        slots=tuple(lying.values()),
        usable=Fraction(sum(filling.usable for filling in fillings)),
        sweep=oracle.measure(fillings)["balanced_sweep"],
        counts=tuple(sum(counts) for counts in zip(*(filling.counts for filling in fillings), strict=True)),
        advised=frozenset(advised),
    )


def grows(before: One, after: One, *, may_move: bool) -> bool:
    """True where nothing is discarded and, unless modules may move, everything stays in its slot."""
    if may_move:
        return all(a <= b for a, b in zip(before.counts, after.counts, strict=True))
    return all(a is None or a == b for a, b in zip(before.slots, after.slots, strict=True))


def best_chain(
    board: Board,
    requests: Sequence[Request],
    *,
    may_move: bool = False,
    stays: dict[str, Module | None] | None = None,
    closed: Sequence[str] = (),
) -> Expected | None:
    """The best chain of all; ``stays`` are modules that the first step leaves in place, ``closed`` empty slots."""
    every = [one for one in placements(board, requests[0]) if _holds(board, one, {}, closed)]
    for outside in (False, True):
        limits = [(r.capacity_gib, None if outside else r.limit_gib) for r in requests]
        steps = [[o for o in every if low <= o.usable and (high is None or o.usable <= high)] for low, high in limits]
        steps[0] = [one for one in steps[0] if _holds(board, one, stays or {}, ())]
        chains = _chains(steps, may_move)
        best = min(((_key(requests, chain), chain) for chain in chains), key=lambda pair: pair[0], default=None)
        if best is not None:
            return Expected(*best, outside)
    return None


def _holds(board: Board, one: One, stays: dict[str, Module | None], closed: Sequence[str]) -> bool:
    lying = dict(zip(board.slots, one.slots, strict=True))
    return all(module is None or lying[slot] == module for slot, module in stays.items()) and not any(
        lying[slot] for slot in closed
    )


def _chains(steps: Sequence[Sequence[One]], may_move: bool) -> Iterator[tuple[One, ...]]:
    def extend(before: tuple[One, ...]) -> Iterator[tuple[One, ...]]:
        if len(before) == len(steps):
            yield before
            return
        for one in steps[len(before)]:
            if not before or grows(before[-1], one, may_move=may_move):
                yield from extend((*before, one))

    yield from extend(())


def _key(requests: Sequence[Request], chain: Sequence[One]) -> tuple[Any, ...]:
    supplies = requests[0].supplies
    first = list(zip(supplies, chain[0].counts, strict=True))
    last = list(zip(supplies, chain[-1].counts, strict=True))
    sweeps = [one.sweep for one in chain]
    priced = all(supply.priced for supply in supplies)
    return (
        len(frozenset().union(*(one.advised for one in chain))),
        tuple(
            max(Fraction(0), one.usable - request.capacity_gib - (request.over_gib or 0))
            for request, one in zip(requests, chain, strict=True)
        ),
        sum(max(0, supply.kept - count) for supply, count in first),
        -min(sweeps),
        -sum(sweeps),
        sum(max(0, count - supply.kept) for supply, count in last),
        sum(supply.cost(count) for supply, count in last) if priced else 0,
        tuple(_order(module) for one in chain for module in one.slots),
    )


def _order(module: Module | None) -> tuple[Any, ...]:
    return (1,) if module is None else (0, -module.capacity_gib, -module.package_ranks, module.label)


@cache
def case(seed: int, *, modes: bool = False, steps: int | None = None) -> tuple[Board, tuple[Request, ...]] | None:
    """A small board with requests that rise; ``None`` where trying all chains would take too long."""
    rng = random.Random(f"chain {seed}")
    board, request = (random_mode_case if modes else random_case)(seed)
    every = placements(board, request)
    usable = sorted({one.usable for one in every})
    if len(every) > MOST_PLACEMENTS or len(usable) < 2:
        return None
    count = steps or rng.choice((2, 2, 2, 3))
    asked = sorted({max(1, int(rng.choice(usable)) - rng.choice((0, 0, 0, 1))) for _ in range(count)})
    requests = tuple(
        replace(request, capacity_gib=gib, over_gib=rng.choice((None, None, None, 0, 8, gib // 10))) for gib in asked
    )
    pairs = 1
    for each in requests:
        pairs *= max(1, sum(one.usable >= each.capacity_gib for one in every))
    return (board, requests) if len(requests) > 1 and pairs <= MOST_PAIRS else None
