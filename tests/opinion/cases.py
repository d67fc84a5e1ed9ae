"""Seeded instances on shipped boards, large enough to be of use and small enough to tabulate."""

from __future__ import annotations

import random
from dataclasses import dataclass
from fractions import Fraction

from dimmplan.boardfile.read import load_board, shipped_ids
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.request import Lot, Request, Supply
from dimmplan.rules import FittedRow, all_rows, judge_module
from dimmplan.solve.criteria import LISTS
from dimmplan.supply import supplies_of
from tests.oracle.random_boards import random_case
from tests.oracle.shelves import random_shelf

MOST_MODULES = {1: 24, 2: 14, 3: 9}
"""Modules asked for at most, by number of types allowed: what keeps a table short."""

MOST_IN_GROUPS = {1: 16, 2: 7, 3: 5}
"""The same for listed groups, where hardly a channel is equal to another."""


@dataclass(frozen=True, slots=True)
class Case:
    """A named instance."""

    name: str
    board: Board
    request: Request


def random_instance(seed: int) -> Case:
    """A small random board, often irregular, as the oracle's own tests use."""
    board, request = random_case(seed)
    return Case(f"random {seed}", board, request)


def shipped_instance(board_id: str, seed: int) -> Case:
    """A request on a shipped board: some sockets absent, one to three types, stock limits and prices now and then."""
    rng = random.Random(f"{board_id} {seed}")
    board = load_board(board_id)
    fitted = _fitted(rng, board)
    processor = rng.choice([option.id for option in board.processors] or [None])
    types = rng.choice((1, 1, 2, 2, 2, 3))
    modules = _modules(rng, board, processor, types)
    slots = sum(len(board.socket(socket).slots) for socket in fitted)
    most = (MOST_IN_GROUPS if board.interleave.style == "groups" else MOST_MODULES)[len(modules)]
    count = rng.randint(len(fitted), max(len(fitted), min(slots * 3 // 4, most)))
    capacity = sum(rng.choice(modules).capacity_gib for _ in range(count)) + rng.choice((0, 0, 0, -4, 3))
    limited = rng.random() < 0.6
    supplies = []
    for module in modules:
        stock = rng.randint(count * 2 // 3, count) if limited and rng.random() < 0.8 else None
        price = Fraction(rng.randint(20, 400)) if rng.random() < 0.7 else None
        kept = rng.randint(0, 3) if rng.random() < 0.2 else 0
        supplies.append(Supply(module=module, kept=kept, lots=(Lot(count=stock, price=price),)))
    request = Request(
        capacity_gib=max(1, capacity),
        supplies=tuple(supplies),
        fitted=fitted,
        processor=processor,
        prefer=rng.choice(("capacity-first", "capacity-first", *sorted(LISTS))),
        over_gib=rng.choice((None, None, None, 0, capacity // 10)),
        max_types=rng.randint(1, len(modules)),
    )
    return Case(f"{board_id} {seed}", board, request)


def shelf_instance(seed: int) -> Case:
    """A small board and a shelf of many labels, a few of each: what the board can use of it is one type or several."""
    rng = random.Random(f"shelf instance {seed}")
    board = load_board("marram-4")
    supplies = supplies_of(board, random_shelf(40, 40, seed, kinds="EEU", most=3), None)
    chosen = rng.sample(supplies, min(len(supplies), 7))
    capacity = sum(rng.choice(chosen).module.capacity_gib for _ in range(rng.randint(1, 4))) + rng.choice((0, 0, -4, 3))
    request = Request(
        capacity_gib=max(1, capacity),
        supplies=tuple(sorted(chosen, key=lambda supply: supply.module.order_key)),
        fitted=tuple(socket.id for socket in board.sockets),
        processor=next((option.id for option in board.processors), None),
        prefer=rng.choice(("capacity-first", *sorted(LISTS))),
        max_types=rng.randint(1, 4),
    )
    return Case(f"shelf {seed}", board, request)


def _fitted(rng: random.Random, board: Board) -> tuple[str, ...]:
    """A set of sockets that the board allows, the smaller the likelier."""
    sets = [row.sets for row in board.rules if isinstance(row, FittedRow)]
    every = tuple(socket.id for socket in board.sockets)
    allowed = [tuple(allowed) for allowed in sets[0]] if sets else [every, every[:1]]
    weights = [1 / len(each) for each in allowed]
    return rng.choices(allowed, weights)[0]


def _modules(rng: random.Random, board: Board, processor: str | None, types: int) -> list[Module]:
    """Usual modules that the board takes, of one kind where more than one is wanted."""
    rows = [row for row in all_rows(board, board.processor(processor)) if row.severity == "error"]
    usual = [module for module in board.modules if not any(judge_module(rows, module))]
    first = rng.choice(usual)
    near = [module for module in usual if module.kind == first.kind and module != first]
    return [first, *rng.sample(near, min(types - 1, len(near)))]


def shipped_cases(per_board: int) -> list[Case]:
    """The first seeds of every shipped board."""
    return [shipped_instance(board_id, seed) for board_id in shipped_ids() for seed in range(per_board)]
