"""Plan codes: nothing is lost, and damage is refused."""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator
from dataclasses import replace

import pytest

from dimmplan.boardfile.read import load_board, shipped_ids
from dimmplan.errors import InputError
from dimmplan.model.board import Board
from dimmplan.model.label import parse_label
from dimmplan.model.placement import Placement
from dimmplan.model.request import Mode
from dimmplan.plancode import ALPHABET, CHECK_SYMBOLS, decode, encode, looks_like_code, read_head, with_checks
from dimmplan.solve.criteria import LISTS

PLANS_PER_BOARD = 25
UNUSUAL = {"DDR3": "4GB 1Rx8 PC3L-10600E", "DDR4": "24GB 1Rx4 PC4-3200AA-R", "DDR5": "96GB 2Rx4 EC4 PC5-5600B-R"}


def plans(board: Board, count: int) -> Iterator[Placement]:
    """Seeded placements with every field varied; some hold slots, some modules that the board does not list."""
    rng = random.Random(board.id)
    while count:
        types = rng.sample(board.modules, rng.randint(1, min(3, len(board.modules))))
        if count % 5 == 0:
            types[0] = parse_label(UNUSUAL[board.generation.value])
        fitted = tuple(s.id for s in board.sockets if rng.random() < 0.7) or (board.sockets[0].id,)
        slots = tuple(
            (slot, rng.choice([None, *types]) if board.channel_of[slot].socket in fitted else None)
            for slot in board.slots
        )
        total = sum(module.capacity_gib for _, module in slots if module)
        if not total:
            continue
        count -= 1
        hold = set(rng.sample(board.slots, 2)) if rng.random() < 0.3 else set()
        yield Placement(
            board=board.id,
            electrical_digest=board.electrical_digest,
            fitted=fitted,
            processor=rng.choice([option.id for option in board.processors]),
            mode=rng.choice(list(Mode)),
            prefer=rng.choice(list(LISTS)),
            capacity_gib=rng.choice([total, rng.randint(1, 1 << 20)]),
            status=rng.choice(["proven", "best-found"]),
            slots=slots,
            hold=tuple(slot for slot in board.slots if slot in hold),
        )


@pytest.mark.parametrize("board_id", shipped_ids())
def test_a_code_brings_back_the_whole_placement(board_id: str) -> None:
    board = load_board(board_id)
    for plan in plans(board, PLANS_PER_BOARD):
        code = encode(board, plan)
        again = decode(read_head(code), board)
        assert again == plan
        assert [module and module.label for _, module in again.slots] == [m and m.label for _, m in plan.slots]
        assert looks_like_code(code)


def test_case_blanks_and_look_alikes_are_forgiven() -> None:
    board = load_board("skerry-16")
    plan = next(plans(board, 1))
    code = encode(board, plan)
    spoken = code.lower().replace("-", "  ").replace("0", "o").replace("1", "l")
    assert decode(read_head(spoken), board) == plan


@pytest.mark.parametrize("board_id", ["marram-4", "skerry-16", "firth-96"])
def test_every_single_wrong_character_is_refused_and_located(board_id: str) -> None:
    board = load_board(board_id)
    symbols = encode(board, next(plans(board, 1))).replace("-", "")
    for place, right in enumerate(symbols):
        for wrong in ALPHABET:
            if wrong != right:
                with pytest.raises(InputError) as caught:
                    read_head(symbols[:place] + wrong + symbols[place + 1 :])
                if len(symbols) <= 31:
                    assert caught.value.problems[0].place == f"group {place // 4 + 1}"


@pytest.mark.parametrize("board_id", shipped_ids())
def test_every_swap_of_neighbours_is_refused(board_id: str) -> None:
    board = load_board(board_id)
    for plan in plans(board, 3):
        symbols = encode(board, plan).replace("-", "")
        for place, (one, other) in enumerate(itertools.pairwise(symbols)):
            if one != other:
                with pytest.raises(InputError):
                    read_head(symbols[:place] + other + one + symbols[place + 2 :])


def test_other_damage_passes_the_checks_about_as_often_as_their_bits_allow() -> None:
    """Four symbols of 32: one in 2^20. Of 30,000 codes with three wrong symbols none is expected to pass."""
    rng = random.Random(5)
    board = load_board("skerry-16")
    symbols = encode(board, next(plans(board, 1))).replace("-", "")
    passed = 0
    for _ in range(30_000):
        damaged = list(symbols)
        for place in rng.sample(range(len(symbols)), 3):
            damaged[place] = rng.choice([symbol for symbol in ALPHABET if symbol != damaged[place]])
        try:
            read_head("".join(damaged))
            passed += 1
        except InputError:
            pass
    assert passed <= 1 and 32**CHECK_SYMBOLS == 1 << 20


def test_the_irregular_board_needs_at_most_28_characters() -> None:
    board = load_board("skerry-16")
    rng = random.Random(3)
    longest = 0
    for _ in range(300):
        types = rng.sample(board.modules, 2)
        slots = tuple((slot, rng.choice(types)) for slot in board.slots)
        plan = replace(next(plans(board, 1)), fitted=("NEAR", "FAR"), slots=slots, hold=(), capacity_gib=1 << 20)
        longest = max(longest, len(encode(board, plan).replace("-", "")))
    assert longest <= 28


def test_a_board_that_changed_since_is_told_apart() -> None:
    board = load_board("skerry-16")
    head = read_head(encode(board, next(plans(board, 1))))
    assert head.is_of(board) and head.same_wiring(board) and head.same_drawing(board)
    rewired = replace(board, electrical_digest="0" * 16)
    with pytest.raises(InputError, match="has changed since"):
        decode(head, rewired)
    redrawn = replace(board, drawing_digest="0" * 16)
    assert not head.same_drawing(redrawn) and decode(head, redrawn)
    with pytest.raises(InputError, match="another board"):
        decode(head, load_board("saltern-24"))


@pytest.mark.parametrize("text", ["", "7Q1E", "not a code!", "U" * 30, "0" * 500, "7Q1E-1EA1-N8QF-55AR-ZW1E-XXXX"])
def test_what_is_no_code_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        read_head(text)


def test_codes_whose_checks_are_right_and_content_is_not_are_refused() -> None:
    """Symbols at random behind the head of a board: refused, or a placement that brings back the same code."""
    rng = random.Random(8)
    board = load_board("skerry-16")
    head = encode(board, next(plans(board, 1))).replace("-", "")[-14:-CHECK_SYMBOLS]
    read = 0
    for _ in range(3000):
        code = with_checks("".join(rng.choices(ALPHABET, k=rng.randrange(4, 30))) + head)
        try:
            plan = decode(read_head(code), board)
        except InputError:
            continue
        again = decode(read_head(encode(board, plan)), board)
        assert again == plan
        assert [module and module.label for _, module in again.slots] == [m and m.label for _, m in plan.slots]
        read += 1
    assert read > 5


def test_more_types_than_a_code_carries_are_refused() -> None:
    board = load_board("skerry-16")
    plan = next(plans(board, 1))
    labels = [f"{gib}GB 2Rx{width} PC4-2933Y-R" for gib in (8, 16, 32) for width in (4, 8, 16) if gib * width <= 256]
    slots = tuple((slot, parse_label(label)) for slot, label in zip(board.slots, labels, strict=False))
    with pytest.raises(InputError, match=f"{len(labels)} module types"):
        encode(board, replace(plan, slots=slots))
