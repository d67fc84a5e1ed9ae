"""Seeded plans on a board, and a placement judged and measured anew, apart from the answers under test."""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator, Mapping
from dataclasses import replace

from dimmplan.errors import ImpossibleError
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.placement import Placement
from dimmplan.model.request import Mode, Request, Supply
from dimmplan.model.rows import RateRow
from dimmplan.planner import plan
from dimmplan.rules import (
    Breach,
    FittedRow,
    MirroringRow,
    SparingRow,
    SystemView,
    judge,
    judge_module,
    judge_system,
)
from dimmplan.solve.criteria import LISTS, Value, criteria_of, vector_of
from dimmplan.solve.space import Space

PREFER = [name for name in LISTS if name != "upgrade"]
Held = Mapping[str, Module | None]
_PLANS: dict[tuple[str, str, int], Placement | None] = {}
"""Plans made already: several tests ask for the first ones of a board."""


def seeded_plans(board: Board, count: int) -> Iterator[Placement]:
    """Proven plans of seeded requests: sockets, processor, list, mode, one or two types, a capacity."""
    found = 0
    for seed in itertools.count():
        if found == count:
            return
        key = board.id, board.electrical_digest, seed
        if key not in _PLANS:
            _PLANS[key] = _seeded(board, random.Random(f"{board.id} {seed}"))
        placement = _PLANS[key]
        if placement is not None and placement.status == "proven":
            found += 1
            yield placement


def _seeded(board: Board, rng: random.Random) -> Placement | None:
    rows = [row for row in board.rules if isinstance(row, FittedRow)]
    sets = rows[0].sets if rows else (tuple(socket.id for socket in board.sockets),)
    fitted = tuple(rng.choice(sets))
    option = rng.choice(board.processors).id if board.processors else None
    usual = [module for module in board.modules if not any(judge_module(board.rules, module))]
    types = rng.sample(usual, rng.choice([1, 1, 2]))
    view = SystemView(board=board, fitted=fitted, content={str(i): module for i, module in enumerate(types)})
    if any(breach.check == "mix" for breach in judge_system(board.rules, view)):
        types = types[:1]
    slots = sum(len(board.socket(socket).slots) for socket in fitted)
    modules = rng.randint(len(fitted), slots)
    gib = sum(rng.choice(types).capacity_gib for _ in range(modules))
    request = Request(
        capacity_gib=gib,
        supplies=tuple(Supply(module=module) for module in types),
        fitted=fitted,
        processor=option,
        mode=_mode(board, rng),
        prefer=rng.choice(["capacity-first", *PREFER]),
    )
    try:
        return plan(board, request, alternatives=False).placement
    except ImpossibleError as error:
        if not error.below_gib:
            return None
        return plan(board, replace(request, capacity_gib=int(error.below_gib)), alternatives=False).placement


def _mode(board: Board, rng: random.Random) -> Mode:
    modes = [Mode.INDEPENDENT] * 6
    modes += [Mode.MIRRORED for row in board.rules if isinstance(row, MirroringRow)]
    modes += [Mode.SPARING for row in board.rules if isinstance(row, SparingRow)]
    return rng.choice(modes)


def broken_by(board: Board, placement: Placement, content: Held) -> list[Breach]:
    """The error rows that a content breaks, on the placement's sockets, with its processor and mode."""
    option = board.processor(placement.processor)
    found = judge(board, option, placement.fitted, content, mode=placement.mode)
    return [breach for breach in found if breach.severity == "error"]


def vector_anew(board: Board, placement: Placement, content: Held, *, over_gib: int) -> dict[str, Value] | None:
    """The criteria of the placement's list for a content, by name; ``None`` where an error row breaks."""
    types = {module for module in (*dict(placement.slots).values(), *content.values()) if module}
    request = Request(
        capacity_gib=placement.capacity_gib,
        supplies=tuple(Supply(module=module) for module in sorted(types, key=lambda module: module.order_key)),
        fitted=placement.fitted,
        processor=placement.processor,
        mode=placement.mode,
        prefer=placement.prefer,
        over_gib=over_gib,
    )
    criteria = criteria_of(placement.prefer, priced=False)
    vector = vector_of(Space(board, request), criteria, content)
    return None if vector is None else dict(zip([c.name for c in criteria], vector, strict=True))


def without_rules(board: Board, placement: Placement, rules: set[str]) -> tuple[Board, Placement]:
    """Copies of a board without those rows, and of a placement on it.

    Without the rate table every population runs, at the lowest rate. Without its row a mode cannot be asked for, so
    the placement is then independent.
    """
    processors = tuple(
        option.model_copy(
            update={"ceiling_gib": None if f"processor:{option.id}" in rules else option.ceiling_gib}
            | ({"rates": ()} if "rates" in rules else {})
        )
        for option in board.processors
    )
    rates = board.rates
    if "rates" in rules:
        low = min(board.rates_mts)
        rates = tuple(RateRow(id=f"any-{dpc}", dpc=dpc, mts=low, source="PRACTICE") for dpc in (1, 2, 3, 4))
    modes = {row.id for row in board.rules if isinstance(row, MirroringRow | SparingRow)} | {"mirroring", "sparing"}
    kept = tuple(row for row in board.rules if row.id not in rules)
    mode = Mode.INDEPENDENT if modes & rules else placement.mode
    return replace(board, rules=kept, processors=processors, rates=rates), replace(placement, mode=mode)
