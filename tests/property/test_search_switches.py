"""The search with its shortcuts switched off: no symmetry, no bounds, and the same answer."""

from __future__ import annotations

import itertools
import random
from fractions import Fraction

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.errors import ImpossibleError
from dimmplan.model.board import Board
from dimmplan.model.label import parse_label
from dimmplan.model.request import Request
from dimmplan.planner import ask
from dimmplan.solve.answer import solve
from dimmplan.solve.branches import Aim
from dimmplan.solve.budget import Budget
from dimmplan.solve.search import Found, Search
from dimmplan.solve.space import Space
from dimmplan.stock import Shelf, ShelfLot
from tests.oracle.large import LABELS, large_board, large_request
from tests.oracle.random_boards import random_case
from tests.support import sampled

UNLIMITED = 1 << 60
SWITCHES = list(itertools.product((True, False), repeat=2))


def found_by(board: Board, request: Request, *, symmetry: bool, bounds: bool) -> tuple[Found | None, int]:
    """The first placement by a search without a start, inside the window or, failing that, above it; its nodes."""
    space = Space(board, request, symmetry=symmetry)
    budget = Budget(UNLIMITED)
    if not space.types or any(row.severity == "error" for row in space.fitted_breaches()):
        return None, 0
    search = Search(space, budget, bounds=bounds)
    most = max(module.capacity_gib for module in space.types) * space.slot_count
    found = search.best(Aim(request.capacity_gib, request.limit_gib))
    if found is None:
        found = search.best(Aim(request.capacity_gib, max(most, request.capacity_gib)))
    return found, budget.spent


@pytest.mark.parametrize("start", sampled(range(0, 100, 10), 2))
def test_switched_off_the_answer_is_the_same(start: int) -> None:
    """Symmetry and bounds on or off: the same vector and the same placement, or none, on small random boards."""
    for seed in range(start, start + 10):
        board, request = random_case(seed)
        try:
            expected = solve(board, request, alternatives=False).best.vector
        except ImpossibleError:
            expected = None
        texts = set()
        for symmetry, bounds in SWITCHES:
            found, _ = found_by(board, request, symmetry=symmetry, bounds=bounds)
            assert (found.vector if found else None) == expected, f"seed {seed}, {symmetry=}, {bounds=}"
            texts.add(found.board_order if found else None)
        assert len(texts) == 1, f"seed {seed}"


@pytest.mark.parametrize("seed", sampled(range(20), 1))
def test_bounds_of_listed_groups_lose_nothing(seed: int) -> None:
    """Six channels in random groups, wide ones around narrow ones, layers left or not: the same without bounds."""
    rng = random.Random(f"listed groups {seed}")
    core = rng.sample("ABCDEF", rng.randint(1, 2))
    others = [name for name in "ABCDEF" if name not in core]
    sets = {"ABCDEF", *("".join(sorted({*core, *rng.sample(others, rng.randint(1, 2))})) for _ in range(5))}
    excess = rng.choice((["layers"], ["layers", "alone"], ["none", "alone"]))
    groups = [{"channels": list(each), "excess": rng.choice(excess)} for each in sorted(sets)]
    for sockets, slots, types in sampled(((2, 1, 3), (1, 2, 2)), 1):
        board = large_board(sockets, 1, 6, slots, {"style": "groups", "groups": groups}, LABELS[1:4])
        request = large_request(board, seed, types=types)
        found = [found_by(board, request, symmetry=True, bounds=bounds)[0] for bounds in (True, False)]
        assert found[0] == found[1], f"seed {seed}"


@pytest.mark.parametrize("seed", sampled(range(3, 23), 1))
def test_types_that_run_alike_lose_nothing(seed: int) -> None:
    """A shelf with many types that differ in stock, price, ranks and label: the same without bounds."""
    board = load_board("marram-4")
    rng = random.Random(f"run alike {seed}")
    every = itertools.product((8, 16), (1, 2), ("2133P", "2400T", "2666V", "2933Y", "3200AA"))
    modules = [parse_label(f"{size}GB {ranks}Rx8 PC4-{rate}-E") for size, ranks, rate in every]
    lots = [
        ShelfLot(place="", module=module, count=rng.randint(1, 3), price=Fraction(rng.randint(20, 99)))
        for module in modules
    ]
    shelf = Shelf(file="a shelf", currency="EUR", lots=tuple(lots))
    request = ask(board, f"{(24, 32, 40, 48, 56)[seed % 5]}GiB", shelf=shelf, max_types=3)
    found = [found_by(board, request, symmetry=True, bounds=bounds)[0] for bounds in (True, False)]
    assert found[0] == found[1], f"seed {seed}"


@pytest.mark.parametrize(
    ("board_id", "capacity", "modules"),
    [("marram-4", "48GiB", ["16GiB", "8GiB"]), ("skerry-16", "384GiB", ["32GiB"]), ("skerry-16", "416GiB", ["32GiB"])],
)
def test_switched_off_on_shipped_boards(board_id: str, capacity: str, modules: list[str]) -> None:
    """On shipped boards small enough the answer is the same too, and the shortcuts are what saves the nodes."""
    board = load_board(board_id)
    request = ask(board, capacity, modules=modules)
    found = {switches: found_by(board, request, symmetry=switches[0], bounds=switches[1]) for switches in SWITCHES}
    vectors = {each.vector for each, _ in found.values() if each is not None}
    assert vectors == {solve(board, request, alternatives=False).best.vector}
    assert found[False, False][1] > found[True, True][1]
