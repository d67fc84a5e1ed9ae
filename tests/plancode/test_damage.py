"""Damaged codes: refused, and what is wrong is named where the check can tell; ``tests/bench/codes.py`` has more."""

from __future__ import annotations

import random
import re
from dataclasses import replace

import pytest

from dimmplan.boardfile.read import load_board, shipped_ids
from dimmplan.errors import InputError, Problem
from dimmplan.plancode import ALPHABET, LOCATED_UP_TO, checks, decode, encode, read_head
from tests.plancode.codes import DAMAGES, few_wrong, made_plans, neighbour_swaps, passes, single_errors, values_of

DAMAGED = 3000
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
    """At its group; in a code of more than 31 characters, at one of two or three."""
    board = load_board(board_id)
    symbols = encode(board, next(made_plans(board, 1))).replace("-", "")
    rng = random.Random(board_id)
    for place, right in enumerate(symbols):
        wrong = rng.choice([symbol for symbol in ALPHABET if symbol != right])
        problem = problem_of(symbols[:place] + wrong + symbols[place + 1 :])
        group = f"group {place // 4 + 1}"
        assert "does not check" in problem.found
        if len(symbols) <= LOCATED_UP_TO:
            assert problem.place == group
        else:
            assert group in (problem.place, *re.findall(r"group \d+", problem.found))
        assert str(place % 4 + 1) in problem.hint


def test_other_slips_are_named_too() -> None:
    """Neighbours that traded places, a character too many, one too few."""
    symbols = "5P7XNYTAK7WR70MWY1KM5J"
    place = 6
    swapped = problem_of(symbols[:place] + symbols[place + 1] + symbols[place] + symbols[place + 2 :])
    assert swapped.place == "group 2" and "A and T seem to have traded places" in swapped.hint
    more = problem_of(symbols[:12] + "X" + symbols[12:])
    assert more.place == "group 4" and "a X too many" in more.hint
    fewer = problem_of(symbols[:9] + symbols[10:])
    assert fewer.place == "group 3" and "missing in group 3" in fewer.hint
    for ends in (symbols + "0", "0" + symbols):
        assert "a 0 too many" in problem_of(ends).hint
    assert problem_of(symbols[4:8] + symbols[:4] + symbols[8:]).hint == "Read it again, group by group."


def test_up_to_four_wrong_characters_never_pass_in_a_short_code() -> None:
    """Four check symbols make any two codes of up to 31 characters differ in five of them at least."""
    board = load_board("skerry-16")
    rng = random.Random(5)
    for plan in made_plans(board, 5):
        values = values_of(encode(board, plan))
        if len(values) <= LOCATED_UP_TO:
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
