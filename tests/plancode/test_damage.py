"""Damaged codes: refused, and what is wrong is named where the check can tell; ``tests/bench/codes.py`` has more."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from dimmplan.boardfile.read import load_board, shipped_ids
from dimmplan.errors import InputError, Problem
from dimmplan.plancode.code import decode, encode, read_head
from dimmplan.plancode.symbols import _CHECK, ALPHABET, TURNS, _direction, _times, checks, with_checks
from tests.plancode.codes import DAMAGES, few_wrong, made_plans, neighbour_swaps, passes, single_errors, values_of

Rest = tuple[int, ...]

DAMAGED = 1500
"""Codes for each kind of damage."""


def problem_of(text: str) -> Problem:
    """What is said of a damaged code."""
    with pytest.raises(InputError) as caught:
        read_head(text)
    return caught.value.problems[0]


@pytest.mark.parametrize("board_id", shipped_ids())
def test_every_wrong_character_and_every_swap_is_refused(board_id: str) -> None:
    """By the check symbols alone, before any board is asked."""
    board = load_board(board_id)
    for plan in made_plans(board, 2):
        values = values_of(encode(board, plan))
        assert checks(values)
        assert not any(checks(damaged) for damaged in single_errors(values))
        assert not any(checks(damaged) for damaged in neighbour_swaps(values))


@pytest.mark.parametrize("board_id", ["marram-4", "skerry-16", "firth-96"])
def test_a_wrong_character_is_located(board_id: str) -> None:
    """At its group and its place in it, in codes of every length."""
    board = load_board(board_id)
    symbols = encode(board, next(made_plans(board, 1))).replace("-", "")
    rng = random.Random(board_id)
    for place, right in enumerate(symbols):
        wrong = rng.choice([symbol for symbol in ALPHABET if symbol != right])
        problem = problem_of(symbols[:place] + wrong + symbols[place + 1 :])
        assert problem.place == f"group {place // 4 + 1}" and "does not check" in problem.found
        assert f"character {place % 4 + 1} " in problem.hint


def test_other_slips_are_named_too() -> None:
    """Neighbours that traded places, a character too many, one too few."""
    symbols = with_checks("5P7XNYTAK7WR70MWY1")
    place = 6
    swapped = problem_of(symbols[:place] + symbols[place + 1] + symbols[place] + symbols[place + 2 :])
    assert swapped.place == "group 2" and "A and T seem to have traded places" in swapped.hint
    more = problem_of(symbols[:12] + "X" + symbols[12:])
    assert more.place == "group 4" and "One X seems to be too many" in more.hint
    fewer = problem_of(symbols[:9] + symbols[10:])
    assert fewer.place == "group 3" and "missing in group 3" in fewer.hint
    for ends in (symbols + "0", "0" + symbols):
        assert "One 0 seems to be too many" in problem_of(ends).hint
    assert problem_of(symbols[4:8] + symbols[:4] + symbols[8:]).hint == "Read it again, group by group."


def product(one: Rest, other: Rest) -> Rest:
    """Two rests multiplied, by the check polynomial."""
    found = (0, 0, 0, 0)
    for factor in one:
        lead, *rest = found
        shifted = zip((*rest, 0), TURNS[lead], other, strict=True)
        found = tuple(a ^ b ^ _times(factor, c) for a, b, c in shifted)
    return found


def power(exponent: int) -> Rest:
    """x to a power."""
    found, square = (0, 0, 0, 1), (0, 0, 1, 0)
    while exponent:
        if exponent & 1:
            found = product(found, square)
        square = product(square, square)
        exponent >>= 1
    return found


def test_the_check_polynomial_is_primitive() -> None:
    """The order of x is all of GF(32^4) but zero: one and two wrong characters are refused in a code of any length."""
    order = 32**4 - 1
    assert order == 3 * 5**2 * 11 * 31 * 41
    assert TURNS[1] == _CHECK and power(4) == _CHECK
    assert power(order) == power(0)
    assert all(power(order // prime) != power(0) for prime in (3, 5, 11, 31, 41))


def test_three_wrong_characters_are_refused_in_every_code_up_to_160() -> None:
    """No place is made of two others: with one of three at the end, as a shift leaves all of them as they are."""
    places = [power(place) for place in range(160)]
    reached = set()
    for place in places[1:]:
        assert _direction(place) not in reached
        reached |= {_direction((*place[:3], place[3] ^ value)) for value in range(32)}
    assert _times(3, 7) == 9, "the field is that of x^5 + x^2 + 1"
    rng = random.Random(5)
    for board_id in ("skerry-16", "firth-96"):
        values = values_of(encode(load_board(board_id), next(made_plans(load_board(board_id), 1))))
        assert not any(checks(few_wrong(rng, values)) for _ in range(2000))


@pytest.mark.parametrize("damage", DAMAGES, ids=[damage.__name__ for damage in DAMAGES])
def test_other_damage_passes_no_oftener_than_the_check_bits_allow(damage) -> None:
    """Each check symbol leaves one damaged code in 32: counted for the first and the first two; all four, none is."""
    rng = random.Random(damage.__name__)
    passed = passes(rng, damage, DAMAGED)
    assert passed[0] <= DAMAGED / 32 + 4 * (DAMAGED / 32) ** 0.5
    assert passed[1] <= DAMAGED / 1024 + 4 * (DAMAGED / 1024) ** 0.5 + 1
    assert passed[3] == 0


def test_content_of_any_kind_with_right_checks_is_refused_and_never_a_traceback() -> None:
    """Codes that check but were never made: at most the board's own digest and names stand in their way."""
    rng = random.Random(11)
    board = load_board("skerry-16")
    right = read_head(encode(board, next(made_plans(board, 1))))
    for _ in range(2000):
        head = right._replace(rest=rng.getrandbits(rng.randint(20, 80)))
        with pytest.raises(InputError):
            decode(head, rng.choice([board, replace(board, electrical_digest="0" * 16)]))
