"""Plans for codes to carry, and what happens to a code on its way: wrong, swapped, dropped and added characters."""

from __future__ import annotations

import itertools
import random
from collections.abc import Callable, Iterator
from typing import Any

from dimmplan.model.board import Board
from dimmplan.model.label import parse_label
from dimmplan.model.placement import Placement
from dimmplan.model.request import Mode
from dimmplan.output.svg import render_svg
from dimmplan.plancode.code import decode, encode, qr_matrix, read_head
from dimmplan.plancode.symbols import ALPHABET, CHECK_SYMBOLS, TURNS, rest_of, with_checks
from dimmplan.sheet.compose import compose
from dimmplan.solve.criteria import LISTS

UNUSUAL = {"DDR3": "4GB 1Rx8 PC3L-10600E", "DDR4": "24GB 1Rx4 PC4-3200AA-R", "DDR5": "96GB 2Rx4 EC4 PC5-5600B-R"}
Symbols = list[int]
"""Places in the alphabet."""


def made_plans(board: Board, count: int) -> Iterator[Placement]:
    """Seeded placements with every field varied; some hold slots, some modules that the board does not list."""
    rng = random.Random(board.id)
    while count:
        types = rng.sample(board.modules, rng.randint(1, min(3, len(board.modules))))
        if count % 5 == 0:
            types[0] = parse_label(UNUSUAL[board.generation.value])
        fitted = tuple(s.id for s in board.sockets if rng.random() < 0.7) or (board.sockets[0].id,)
        hold = set(rng.sample(board.slots, 2)) if rng.random() < 0.3 else set()
        empty = hold if rng.random() < 0.5 else set()
        slots = tuple(
            (
                slot,
                rng.choice([None, *types]) if board.channel_of[slot].socket in fitted and slot not in empty else None,
            )
            for slot in board.slots
        )
        total = sum(module.capacity_gib for _, module in slots if module)
        if not total:
            continue
        count -= 1
        yield Placement(
            board=board.id,
            electrical_digest=board.electrical_digest,
            fitted=fitted,
            processor=rng.choice([option.id for option in board.processors]),
            mode=rng.choice(list(Mode)),
            prefer=rng.choice(list(LISTS)),
            capacity_gib=rng.choice([total, max(1, total - rng.randint(1, 4096)), rng.randint(1, 1 << 20)]),
            status=rng.choice(["proven", "best-found"]),
            slots=slots,
            hold=tuple(slot for slot in board.slots if slot in hold),
        )


def sheet_of(board: Board, placement: Placement) -> list[str]:
    """The pages of a plan's sheet as SVG, with its code."""
    code = encode(board, placement)
    options: dict[str, Any] = {"title": "Row 7", "tag": "QUAY-07", "date": "2026-03-01"}
    return [render_svg(page) for page in compose(board, placement, code=code, matrix=qr_matrix(code), **options).pages]


def assert_same_sheet(board: Board, placement: Placement) -> None:
    """The sheet of a plan, and the sheet of what its code brings back, have the same bytes."""
    again = decode(read_head(encode(board, placement)), board)
    assert sheet_of(board, again) == sheet_of(board, placement)


def values_of(code: str) -> Symbols:
    """A code's symbols as places in the alphabet."""
    return [ALPHABET.index(symbol) for symbol in code.replace("-", "")]


# -- damage ----------------------------------------------------------------------------------------------------------


def single_errors(values: Symbols) -> Iterator[Symbols]:
    """Every code with one wrong character."""
    for place, right in enumerate(values):
        for wrong in range(len(ALPHABET)):
            if wrong != right:
                yield [*values[:place], wrong, *values[place + 1 :]]


def neighbour_swaps(values: Symbols) -> Iterator[Symbols]:
    """Every code with two unequal neighbours swapped."""
    for place, (one, other) in enumerate(itertools.pairwise(values)):
        if one != other:
            yield [*values[:place], other, one, *values[place + 2 :]]


def _other(rng: random.Random, value: int) -> int:
    return (value + rng.randrange(1, len(ALPHABET))) % len(ALPHABET)


def _wrong(rng: random.Random, values: Symbols, places: list[int]) -> Symbols:
    return [_other(rng, value) if place in places else value for place, value in enumerate(values)]


def few_wrong(rng: random.Random, values: Symbols) -> Symbols:
    """Two or three wrong characters anywhere."""
    return _wrong(rng, values, rng.sample(range(len(values)), rng.randint(2, 3)))


def many_wrong(rng: random.Random, values: Symbols) -> Symbols:
    """Four to eight wrong characters anywhere."""
    return _wrong(rng, values, rng.sample(range(len(values)), rng.randint(4, 8)))


def burst(rng: random.Random, values: Symbols) -> Symbols:
    """Two to eight neighbours read wrong."""
    length = rng.randint(2, 8)
    start = rng.randrange(len(values) - length + 1)
    return _wrong(rng, values, list(range(start, start + length)))


def dropped(rng: random.Random, values: Symbols) -> Symbols:
    """One to four characters left out."""
    out = set(rng.sample(range(len(values)), rng.randint(1, 4)))
    return [value for place, value in enumerate(values) if place not in out]


def added(rng: random.Random, values: Symbols) -> Symbols:
    """One to four characters too many, at an end as often as elsewhere."""
    found = list(values)
    for _ in range(rng.randint(1, 4)):
        place = rng.choice([0, len(found), rng.randrange(len(found))])
        found.insert(place, rng.choice([0, rng.randrange(len(ALPHABET))]))
    return found


def groups_traded(rng: random.Random, values: Symbols) -> Symbols:
    """Two groups of four read in each other's place."""
    groups = [values[start : start + 4] for start in range(0, len(values) - 3, 4)]
    one, other = rng.sample(range(len(groups)), 2)
    groups[one], groups[other] = groups[other], groups[one]
    return [value for group in groups for value in group] + values[len(groups) * 4 :]


def group_doubled(rng: random.Random, values: Symbols) -> Symbols:
    """A group read twice, in the place of the next or before it."""
    start = 4 * rng.randrange(len(values) // 4 - 1)
    return [*values[: start + 4], *values[start : start + 4], *values[start + rng.choice([4, 8]) :]]


DAMAGES: tuple[Callable[[random.Random, Symbols], Symbols], ...] = (
    few_wrong,
    many_wrong,
    burst,
    dropped,
    added,
    groups_traded,
    group_doubled,
)


def _turned(rest: tuple[int, ...]) -> tuple[int, ...]:
    """A rest as it is some symbols later: damage at the very end is then in every symbol of it, as any other is."""
    for _ in range(40):
        lead, *others = rest
        rest = tuple(a ^ b for a, b in zip((*others, 0), TURNS[lead], strict=True))
    return rest


def passes(rng: random.Random, damage: Callable[[random.Random, Symbols], Symbols], count: int) -> list[int]:
    """How many of that many damaged codes pass the first check symbol, the first two, three, all four.

    Each is the damage of a code of its own, 18 to 100 characters of any content.
    """
    passed = [0] * CHECK_SYMBOLS
    while count:
        text = "".join(rng.choice(ALPHABET) for _ in range(rng.choice([rng.randint(14, 36), rng.randint(14, 96)])))
        values = values_of(with_checks(text))
        damaged = damage(rng, values)
        if damaged == values:
            continue
        count -= 1
        rest = _turned(rest_of(damaged))
        for symbols in range(CHECK_SYMBOLS):
            passed[symbols] += not any(rest[: symbols + 1])
    return passed
