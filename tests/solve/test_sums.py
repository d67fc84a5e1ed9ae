"""Totals that lists add up to, against every combination tried."""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence

import pytest

from dimmplan.solve import decide as module
from dimmplan.solve.budget import Budget
from dimmplan.solve.decide import completions, reached

BASE = 10
ONE_DIGIT, TWO_DIGITS, HIGH_DIGIT = [(1, BASE)], [(1, BASE), (BASE, BASE)], [(1, BASE), (BASE**3, 1 << 24)]


def every(steps: Sequence[Sequence[int]]) -> set[int]:
    return {sum(chosen) for chosen in itertools.product(*steps)} if all(steps) else set()


@pytest.mark.parametrize("dense", [module.DENSE_BITS, 1])
@pytest.mark.parametrize(
    ("steps", "wanted", "places", "expected"),
    [
        ([[1, 2], [0, 3]], [0, 1, 2, 3, 4, 5, 6], ONE_DIGIT, {1, 2, 4, 5}),
        ([[0], [0]], [0, 1], ONE_DIGIT, {0}),
        ([[1, 2], []], [1, 2], ONE_DIGIT, set()),
        ([[1, 2]], [], ONE_DIGIT, set()),
        ([[0, 11], [2, 20]], [2, 13, 20, 31, 22, 33], TWO_DIGITS, {2, 13, 20, 31}),
        ([[0, 2001], [1000]], [1000, 3001, 2001, 1001], HIGH_DIGIT, {1000, 3001}),
        # a wanted digit that no sum reaches is not read as the next digit's
        ([[1, 10]], [2, 20, 11], TWO_DIGITS, set()),
        ([[9, 0], [0, 90]], [9, 90, 99, 0, 8], TWO_DIGITS, {9, 90, 99, 0}),
    ],
)
def test_which_totals_are_reached(
    steps: list[list[int]],
    wanted: list[int],
    places: list[tuple[int, int]],
    expected: set[int],
    dense: int,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """As one integer with a bit for each sum, and as a plain set where those bits would be too many."""
    monkeypatch.setattr(module, "DENSE_BITS", dense)
    assert reached(steps, wanted, places=places, budget=Budget(0)) == expected


@pytest.mark.parametrize("dense", [module.DENSE_BITS, 1])
def test_random_lists(dense: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "DENSE_BITS", dense)
    rng = random.Random(7)
    for _ in range(60):
        kinds = rng.randint(1, 3)
        places = [(BASE**kind, BASE) for kind in range(kinds)]
        steps = [
            [sum(rng.randint(0, 3) * value for value, _ in places) for _ in range(rng.randint(1, 4))]
            for _ in range(rng.randint(1, 3))
        ]
        all_of_them = every(steps)
        wanted = {
            *rng.sample(sorted(all_of_them), min(3, len(all_of_them))),
            *(rng.randrange(BASE**kinds) for _ in range(5)),
        }
        assert reached(steps, wanted, places=places, budget=Budget(0)) == wanted & all_of_them


def test_what_is_left_of_wanted_totals() -> None:
    """After each list, sums of the later ones that some choice of the earlier ones completes, and a few more."""
    rng = random.Random(8)
    for _ in range(60):
        steps = [[rng.randint(0, 9) for _ in range(rng.randint(1, 4))] for _ in range(rng.randint(1, 3))]
        wanted = {rng.choice(sorted(every(steps))), rng.randint(0, 30)}
        left = completions([dict.fromkeys(step, 0) for step in steps], wanted, budget=Budget(0))
        assert len(left) == len(steps) + 1
        for place, found in enumerate(map(set, left)):
            later = every(steps[place:])
            needed = {rest for rest in later if any(rest + before in wanted for before in every(steps[:place]))}
            assert needed <= found <= later


def test_least_sum_beside_a_total() -> None:
    rng = random.Random(9)
    for _ in range(60):
        steps = [
            {rng.randint(0, 6): rng.randint(0, 5) for _ in range(rng.randint(1, 5))} for _ in range(rng.randint(1, 3))
        ]
        expected: dict[int, int] = {}
        for chosen in itertools.product(*(step.items() for step in steps)):
            total, beside = (sum(column) for column in zip(*chosen, strict=True))
            expected[total] = min(beside, expected.get(total, beside))
        wanted = {rng.randint(0, 18) for _ in range(4)}
        found = completions(steps, wanted, budget=Budget(0))
        assert len(found) == len(steps) + 1
        assert found[-1] == {0: 0}
        assert {t: least for t, least in found[0].items() if t in wanted} == {
            total: beside for total, beside in expected.items() if total in wanted
        }


def test_sums_that_cannot_end_as_wanted_are_dropped() -> None:
    assert completions([{1: 0}, {}], {1}, budget=Budget(0)) == []
    assert completions([{1: 7}], set(), budget=Budget(0)) == []


def test_numbers_beyond_what_is_wanted_are_left_out() -> None:
    """Of each digit no more bits than the wanted totals have, and room for one more number."""
    budget = Budget(0)
    steps = [[0, 1, 4095], [0, 2, 90]]
    assert reached(steps, [3, 2], places=[(1, 1 << 20)], budget=budget) == {3, 2}
    assert budget.spent == 2
    assert reached([[9], [0, 1]], [3, 2], places=[(1, 1 << 20)], budget=budget) == frozenset()


def test_effort_of_sums() -> None:
    """A node for each list and for four additions; where sums are bits one for each list, and more for long ones."""
    budget = Budget(0)
    steps = [{0: 1, 1: 1, 2: 1}, {0: 0, 10: 5, 20: 5}, {0: 0, 100: 9}]
    completions(steps, set(range(123)), budget=budget)
    assert budget.spent == 1 + (1 + 2 * 3 // 4) + (1 + 6 * 3 // 4)
    pruned = Budget(0)
    completions(steps, {121}, budget=pruned)
    assert pruned.spent == 1 + 1 + 1
    dense = Budget(0)
    reached([[0, 1], [0, 1]], [1], places=ONE_DIGIT, budget=dense)
    assert dense.spent == 2
    long = Budget(0)
    reached([[0, 4095], [0, 0]], [4095], places=[(1, 1 << 20)], budget=long)
    assert long.spent == (1 + 2) + (1 + 2)
