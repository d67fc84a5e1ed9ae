"""Plan codes in numbers: the same sheets back, damage refused, and how often other damage passes.

Run: python -m tests.bench.codes [plans for each board] [damaged codes of each kind]
"""

from __future__ import annotations

import random
import sys
import time
from collections.abc import Sequence
from itertools import cycle

from dimmplan.boardfile.read import load_board, shipped_ids
from dimmplan.errors import InputError
from dimmplan.model.board import Board
from dimmplan.plancode.code import VERSIONS, decode, encode, read_head
from dimmplan.plancode.symbols import ALPHABET, CHECK_SYMBOLS, checks, with_checks
from tests.plancode.codes import (
    DAMAGES,
    assert_same_sheet,
    made_plans,
    neighbour_swaps,
    passes,
    single_errors,
    values_of,
)
from tests.why.seeds import seeded_plans

CODES = 500
HEADS = 200_000


def main(argv: Sequence[str] = ()) -> int:
    """Everything, one after the other; ``argv`` may say how many plans and how many damaged codes."""
    told = [int(text) for text in argv]
    plans, damaged = told + [200, 200_000][len(told) :]
    boards = [load_board(name) for name in shipped_ids()]
    _same_sheets(boards, plans)
    _every_slip(boards)
    _other_damage(damaged)
    _past_the_checks(boards)
    return 0


def _say(text: str) -> None:
    print(text, flush=True)  # noqa: T201


def _same_sheets(boards: list[Board], plans: int) -> None:
    for board in boards:
        began = time.perf_counter()
        for plan in seeded_plans(board, plans):
            assert_same_sheet(board, plan)
        _say(f"{board.id}: {plans} plans, the same bytes of SVG from the code, {time.perf_counter() - began:.0f} s")


def _every_slip(boards: list[Board]) -> None:
    """All single wrong characters and all swaps of unequal neighbours, refused by the checks alone."""
    each = [made_plans(board, CODES) for board in boards]
    wrong = swapped = 0
    for _, (board, made) in zip(range(CODES), cycle(zip(boards, each, strict=True))):
        values = values_of(encode(board, next(made)))
        for damaged in single_errors(values):
            assert not checks(damaged)
            wrong += 1
        for damaged in neighbour_swaps(values):
            assert not checks(damaged)
            swapped += 1
    _say(f"{CODES} codes: {wrong} single wrong characters and {swapped} swaps of neighbours, all refused")


def _other_damage(count: int) -> None:
    """Other damage passes all check symbols about once in 32 for each of them."""
    total = [0] * CHECK_SYMBOLS
    for damage in DAMAGES:
        passed = passes(random.Random(damage.__name__), damage, count)
        total = [a + b for a, b in zip(total, passed, strict=True)]
        _say(f"{damage.__name__}: of {count} past one check symbol, two, three, four: {passed}")
    tried = count * len(DAMAGES)
    for symbols, found in enumerate(total, 1):
        bound = tried / 32**symbols
        assert found <= bound + 4 * bound**0.5 + 1, (symbols, found, bound)
    _say(f"all {tried}: {total}; allowed in the mean {[round(tried / 32**n, 1) for n in (1, 2, 3, 4)]}")


def _past_the_checks(boards: list[Board]) -> None:
    """Content of any kind with right check symbols: how much of it a board takes for its own, and for a plan."""
    rng = random.Random(11)
    named = taken = 0
    for _ in range(HEADS):
        number = rng.getrandbits(rng.randint(85, 118)) // 8 * 8 + VERSIONS[-1]
        text = ""
        while number:
            number, digit = divmod(number, 32)
            text = ALPHABET[digit] + text
        head = read_head(with_checks(text))
        for board in boards:
            if head.is_of(board):
                named += 1
                try:
                    decode(head, board)
                    taken += 1
                except InputError:
                    pass
    mean = HEADS * len(boards) / 4096
    assert named <= mean + 4 * mean**0.5 and taken <= 1
    _say(f"{HEADS} that check: {named} speak of one of {len(boards)} boards (mean {mean:.0f}), {taken} are a plan")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
