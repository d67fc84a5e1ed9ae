"""The search held against brute force on random small boards: vector, placement, impossible cases, steps."""

from __future__ import annotations

import functools
import itertools
import random
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.errors import ImpossibleError
from dimmplan.interleave import permitted_sets, regions
from dimmplan.model.board import Board
from dimmplan.model.request import Request
from dimmplan.planner import ask
from dimmplan.rules import SocketMinimumRow, judge
from dimmplan.solve.answer import Answer, Choice, solve
from dimmplan.solve.criteria import vector_of
from dimmplan.solve.profiles import Evaluator
from dimmplan.solve.space import Space
from tests.oracle import brute
from tests.oracle.brute import Oracle, best, every_filling
from tests.oracle.random_boards import random_case, random_mode_case
from tests.support import WHOLE, interleave_row, sampled, socket_of, whole_matrix

SEEDS = range(400)
BLOCK = 20


@functools.cache
def solved(seed: int) -> Answer | ImpossibleError:
    """The search's answer to a random case, without anything beside it."""
    board, request = random_case(seed)
    try:
        return solve(board, request, alternatives=False)
    except ImpossibleError as error:
        return error


@pytest.mark.parametrize("start", sampled(SEEDS[::BLOCK], 2))
def test_search_and_oracle_agree(start: int) -> None:
    """The whole ordered vector and every slot are the oracle's; where nothing fits, so are the nearest capacities."""
    for seed in sampled(range(start, start + BLOCK), 8):
        board, request = random_case(seed)
        expected = best(board, request)
        answer = solved(seed)
        if isinstance(answer, ImpossibleError):
            assert expected.vector is None, f"seed {seed}: refused, and {expected.vector} is there"
            assert (answer.below_gib, answer.above_gib) == (expected.below_gib, expected.above_gib), f"seed {seed}"
            assert answer.causes, f"seed {seed}"
            continue
        assert expected.vector is not None, f"seed {seed}: {answer.best.vector} where nothing fits"
        assert answer.proven, f"seed {seed}"
        names = [criterion.name for criterion in answer.criteria]
        assert list(zip(names, answer.best.vector, strict=True)) == expected.vector, f"seed {seed}"
        assert expected.placement is not None
        held = {slot: answer.best.content.get(slot) for slot in board.slots}
        assert held == expected.placement, f"seed {seed}"


@whole_matrix
def test_both_answers_and_refusals_are_compared() -> None:
    """Among the compared cases are some hundred without an answer, and answers above the window."""
    answers = [answer for seed in SEEDS if isinstance(answer := solved(seed), Answer)]
    assert 50 < len(SEEDS) - len(answers) < 150
    assert sum(answer.outside_window for answer in answers) > 5


@pytest.mark.parametrize("case", [random_case, random_mode_case], ids=["rules", "modes"])
def test_sockets_may_stay_empty_where_no_row_forbids_it(case: Callable[[int], tuple[Board, Request]]) -> None:
    """A third of the capacity on the boards of several sockets, without the usual row that each has a module."""
    empty = 0
    for seed in sampled(range(1, 61), 8):
        board, request = case(seed)
        if len(request.fitted) == 1:
            continue
        board = replace(board, rules=tuple(row for row in board.rules if not isinstance(row, SocketMinimumRow)))
        request = replace(request, capacity_gib=max(1, request.capacity_gib // 3))
        expected = best(board, request)
        try:
            answer = solve(board, request, alternatives=False)
        except ImpossibleError as error:
            assert expected.vector is None, f"seed {seed}"
            assert (error.below_gib, error.above_gib) == (expected.below_gib, expected.above_gib), f"seed {seed}"
            continue
        names = [criterion.name for criterion in answer.criteria]
        assert list(zip(names, answer.best.vector, strict=True)) == expected.vector, f"seed {seed}"
        assert expected.placement is not None
        assert {slot: answer.best.content.get(slot) for slot in board.slots} == expected.placement, f"seed {seed}"
        used = {board.channel_of[slot].socket for slot, module in answer.best.content.items() if module}
        empty += len(used) < len(request.fitted)
    assert empty >= (5 if WHOLE else 1)


# What stands beside the answer


def best_sweep_by_capacity(board: Board, request: Request, most_broken: int, worst: Fraction) -> dict[int, Fraction]:
    """For each capacity in reach, the highest balanced sweep of placements that break fewest advised rows.

    By brute force. Only placements count that break at most ``most_broken`` of them, and of these only those whose
    sockets all sweep at ``worst`` or more.
    """
    oracle = Oracle(board, request)
    found: dict[int, dict[int, Fraction]] = {}
    for fillings in itertools.product(*(list(every_filling(oracle, socket)) for socket in oracle.fitted)):
        capacity = sum(filling.capacity for filling in fillings)
        if capacity and not oracle.refusals(fillings):
            figures = oracle.measure(fillings)
            by_broken = found.setdefault(capacity, {})
            sweep = figures["balanced_sweep"] if figures["worst_sweep"] >= worst else Fraction(0)
            broken = figures["advised_broken"]
            by_broken[broken] = max(by_broken.get(broken, sweep), sweep)
    fewest = {capacity: min(by_broken) for capacity, by_broken in found.items()}
    return {capacity: found[capacity][least] for capacity, least in fewest.items() if least <= most_broken}


def value_of(answer: Answer, choice: Choice, name: str) -> Fraction:
    place = [criterion.name for criterion in answer.criteria].index(name)
    return Fraction(choice.vector[place])


def sweep_of(answer: Answer, choice: Choice) -> Fraction:
    return value_of(answer, choice, "balanced_sweep")


@functools.cache
def answered(start: int) -> list[tuple[int, Board, Request, Answer]]:
    """The cases among twelve seeds that have an answer, with everything beside it."""
    found = []
    for seed in sampled(range(start, start + 12), 6):
        board, request = random_case(seed)
        try:
            found.append((seed, board, request, solve(board, request)))
        except ImpossibleError:
            continue
    return found


STEP_SEEDS = range(0, 84, 12)
"""Starts of blocks of twelve seeds."""


@pytest.mark.parametrize("start", sampled(STEP_SEEDS, 1))
def test_alternatives_are_placements(start: int) -> None:
    """Runners-up and steps break no error row, keep stock and number of types, and have the vector they carry."""
    for seed, board, request, answer in answered(start):
        space = Space(board, request)
        beside = [*answer.runners_up, *(step for step in (answer.step_above, answer.step_below) if step)]
        for choice in beside:
            said = judge(board, board.processor(request.processor), request.fitted, choice.content)
            assert [breach for breach in said if breach.severity == "error"] == [], f"seed {seed}"
            assert vector_of(space, answer.criteria, choice.content) == choice.vector, f"seed {seed}"
            held = [module for module in choice.content.values() if module]
            assert len(set(held)) <= request.max_types, f"seed {seed}"
            assert {supply.module for supply in request.supplies} >= set(held), f"seed {seed}"
            for supply in request.supplies:
                available = supply.available
                assert available is None or held.count(supply.module) <= available, f"seed {seed}"
        for runner in answer.runners_up:
            assert runner.capacity_gib >= request.capacity_gib, f"seed {seed}"
            assert not better(answer, runner.vector, answer.best.vector), f"seed {seed}"
        contents = [tuple(choice.content.get(s) for s in board.slots) for choice in (answer.best, *answer.runners_up)]
        assert len(set(contents)) == len(contents), f"seed {seed}: a runner-up twice"


def better(answer: Answer, one: tuple[Any, ...], other: tuple[Any, ...]) -> bool:
    """True where a vector comes before another."""
    for criterion, mine, theirs in zip(answer.criteria, one, other, strict=True):
        if mine != theirs:
            return bool(mine > theirs if criterion.better == "high" else mine < theirs)
    return False


@pytest.mark.parametrize("start", sampled(STEP_SEEDS, 1))
def test_steps_are_the_nearest_faster_capacities(start: int) -> None:
    """One step up (to a quarter above) and down are the nearest capacities with a higher balanced sweep.

    No socket of a step sweeps slower than the answer's slowest.

    A step breaks no more advised rows than the answer; of the placements of a capacity, those that break fewest count.
    """
    for seed, board, request, answer in answered(start):
        here, sweep = answer.best.capacity_gib, sweep_of(answer, answer.best)
        worst = value_of(answer, answer.best, "worst_sweep")
        sweeps = best_sweep_by_capacity(board, request, int(answer.best.vector[0]), worst)
        faster = [gib for gib, best_sweep in sweeps.items() if best_sweep > sweep]
        up = min((gib for gib in faster if here < gib <= here + here // 4), default=None)
        down = max((gib for gib in faster if gib < here), default=None)
        assert (answer.step_above.capacity_gib if answer.step_above else None) == up, f"seed {seed}"
        assert (answer.step_below.capacity_gib if answer.step_below else None) == down, f"seed {seed}"


def test_steps_sweep_faster() -> None:
    """The placement shown for a step sweeps faster than the answer, under every list that asks for sweep early."""
    shown = 0
    for start in sampled(STEP_SEEDS, 4):
        for seed, _, request, answer in answered(start):
            if request.prefer not in ("capacity-first", "bandwidth-first"):
                continue
            for step in (answer.step_above, answer.step_below):
                if step is not None:
                    shown += 1
                    assert sweep_of(answer, step) > sweep_of(answer, answer.best), f"seed {seed}"
                    worst = value_of(answer, answer.best, "worst_sweep")
                    assert value_of(answer, step, "worst_sweep") >= worst, f"seed {seed}"
    assert shown >= (3 if WHOLE else 1)


@pytest.mark.parametrize("board_id", sampled(["skerry-16", "marram-4", "strand-12", "saltern-24", "machair-20"], 2))
def test_steps_sweep_faster_on_shipped_boards(board_id: str) -> None:
    """So it is on shipped boards, with every usual module allowed: steps are faster, nearer than a quarter above."""
    board = load_board(board_id)
    shown = 0
    for gib in sampled((40, 48, 96, 320, 512, 600), 3):
        capacity = f"{gib}GiB"
        if gib > 128 and board_id == "marram-4":
            continue  # more than it takes
        answer = solve(board, ask(board, capacity))
        for step in (answer.step_above, answer.step_below):
            if step is not None:
                shown += 1
                assert sweep_of(answer, step) > sweep_of(answer, answer.best), capacity
                assert step.capacity_gib <= answer.best.capacity_gib * Fraction(5, 4), capacity
    assert shown


@whole_matrix
def test_enough_steps_are_compared() -> None:
    """At least sixty answers stand behind the tests above, with steps up and down and runners-up among them."""
    cases = [answer for start in STEP_SEEDS for _, _, _, answer in answered(start)]
    assert len(cases) >= 60
    assert sum(answer.step_above is not None for answer in cases) > 5
    assert sum(answer.step_below is not None for answer in cases) > 10
    assert sum(len(answer.runners_up) for answer in cases) > 60


# Regions alone, far from any search


@pytest.mark.parametrize("seed", range(10))
def test_regions_of_random_loads(seed: int) -> None:
    """The regions of random loads under random rows of all styles and kinds of excess are the oracle's, in order.

    The figures that the search remembers of amounts alone are those of the regions.
    """
    rng = random.Random(seed)
    for _ in range(150):
        shape = [rng.randint(1, 3) for _ in range(rng.randint(1, 4))]
        names = "ABCDEFGHIJKL"[: sum(shape)]
        row = random_row(rng, names)
        sizes = rng.choice(([0, 16], [0, 16, 32], [16, 32, 48], [0, 8, 16, 32, 64]))
        amounts = tuple(tuple(rng.choice(sizes) for _ in range(count)) for count in shape)
        permitted = permitted_sets(row, socket_of(shape, names))
        found = regions(amounts, permitted)
        expected = brute.regions(amounts, row, brute.groups_by_index(row, names))
        mine = [(region.ways, region.capacity) for region in found]
        assert mine == [(region.ways, region.capacity_gib) for region in expected], (row, amounts)
        if found:
            figures = (sum(r.depth for r in found), len(found), min(r.ways for r in found))
            evaluate = Evaluator(permitted)
            assert [evaluate(amounts), evaluate(amounts)] == [figures, figures], (row, amounts)


def random_row(rng: random.Random, names: str) -> Any:
    """An interleave row over those channels."""
    style = rng.choice(("even", "any", "groups")) if len(names) > 1 else "any"
    if style != "groups":
        ways = rng.sample(range(1, len(names) + 1), rng.randint(1, len(names)))
        return interleave_row(style, ways, rng.choice(("layers", "alone", "none")))
    groups: dict[frozenset[str], dict[str, Any]] = {}
    for _ in range(rng.randint(1, 8)):
        channels = rng.sample(names, rng.randint(2, len(names)))
        excess = rng.choice(("layers", "alone", "none"))
        group = {"channels": channels, "excess": excess, "exclusive": rng.random() < 0.3}
        groups.setdefault(frozenset(channels), group)
    return interleave_row(style, groups=list(groups.values()))
