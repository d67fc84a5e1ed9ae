"""A shelf divided: against brute force on small fleets, never worse than one machine at a time, and what is said."""

from __future__ import annotations

import itertools
import random
import sys
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.fleet.division import Division, MachineNeed, Pools, Size, divide, most_served, solver_module
from dimmplan.fleet.options import Allowance, Option, Sets
from dimmplan.fleet.requests import BoardRequest, Requests
from dimmplan.fleet.rows import MachineList, Row
from dimmplan.fleet.share import MOST_TYPES, SharedShelf, share
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.request import Lot, Request, Supply
from dimmplan.planner import ask, plan
from dimmplan.units import format_capacity
from tests.oracle.brute import Oracle, every_filling
from tests.oracle.random_boards import random_case, random_mode_case
from tests.support import sampled, whole_matrix

BLOCK = 8
SEEDS = range(0, 160)
MOST_PLACEMENTS = 400
PLENTY = 10_000_000


# Brute force: all that a machine could get, all ways to give

One = tuple[tuple[int, ...], Any, tuple[Any, ...], tuple[Module | None, ...]]
"""Counts of each supply, sweep, rank by the request's own list, slots."""


def brute_options(board: Board, request: Request) -> list[One] | None:
    """For every set of modules that serves a request, its best placement; ``None`` where there are too many."""
    oracle = Oracle(board, request)
    best: dict[tuple[int, ...], tuple[Any, Any, One]] = {}
    tried = 0
    for fillings in itertools.product(*(list(every_filling(oracle, socket)) for socket in oracle.fitted)):
        tried += 1
        if tried > MOST_PLACEMENTS * 10:
            return None
        usable = sum(filling.usable for filling in fillings)
        if not usable or usable < request.capacity_gib or oracle.refusals(fillings):
            continue
        counts = tuple(sum(counts) for counts in zip(*(filling.counts for filling in fillings), strict=True))
        lying: dict[str, Module | None] = dict.fromkeys(board.slots)
        for filling in fillings:
            lying.update(zip(filling.socket.slots, filling.slots, strict=True))
        rank = oracle.rank(fillings)
        sweep = oracle.measure(fillings)["balanced_sweep"]
        key = (counts, usable)
        if key not in best or rank < best[key][1]:  # type: ignore[index]
            best[key] = (usable, rank, (counts, sweep, rank, tuple(lying.values())))  # type: ignore[index]
    inside = [one for usable, _, one in best.values() if usable <= request.limit_gib]
    least = min((usable for usable, _, _ in best.values()), default=None)
    return inside or [one for usable, _, one in best.values() if usable == least]


def brute_division(
    machines: Sequence[int], options: Sequence[Sequence[One]], stock: Sequence[int]
) -> tuple[One | None, ...]:
    """The best of all ways to give each machine one of its options, or none."""

    def key(given: Sequence[One | None]) -> tuple[Any, ...]:
        served = [one for one in given if one is not None]
        return (
            -len(served),
            -min((one[1] for one in served), default=0),
            sum(sum(one[0]) for one in served),
            tuple((1,) if one is None else (0, one[2]) for one in given),
        )

    def fits(given: Sequence[One | None]) -> bool:
        used = [sum(one[0][kind] for one in given if one is not None) for kind in range(len(stock))]
        return all(count <= there for count, there in zip(used, stock, strict=True))

    choices = [[None, *options[need]] for need in machines]
    return min((given for given in itertools.product(*choices) if fits(given)), key=key)


@cache
def fleet(seed: int) -> tuple[Board, tuple[Request, ...], tuple[int, ...], tuple[int, ...]] | None:
    """A board, some requests on it with one stock, which machine has which request; ``None`` for one too large."""
    rng = random.Random(f"fleet {seed}")
    board, request = (random_mode_case if seed % 4 == 3 else random_case)(seed)
    modules = [supply.module for supply in request.supplies]
    stock = tuple(rng.choice((0, 1, 2, 3, 4, 6, 9)) for _ in modules)
    supplies = tuple(Supply(module=m, lots=(Lot(count=n),)) for m, n in zip(modules, stock, strict=True))
    other = max(1, request.capacity_gib * rng.choice((1, 2, 3)) // 2)
    requests = tuple(replace(request, capacity_gib=gib, supplies=supplies) for gib in {request.capacity_gib, other})
    machines = tuple(rng.randrange(len(requests)) for _ in range(rng.choice((2, 2, 3))))
    options = [brute_options(board, each) for each in requests]
    if any(each is None for each in options):
        return None
    ways = 1
    for need in machines:
        ways *= 1 + len(options[need] or ())
    return (board, requests, machines, stock) if 2 < ways <= 20_000 else None


def every_option(board: Board, request: Request) -> list[Option]:
    """All options of a request."""
    options, whole = Sets(board, request, most=PLENTY).options(PLENTY, Allowance(PLENTY))
    assert whole
    return options


def needs_of(board: Board, requests: Sequence[Request]) -> list[MachineNeed]:
    """The requests as needs; a kind is a type's place among the supplies, and each kind has a pool of its own."""
    order = [supply.module for supply in requests[0].supplies]
    found = []
    for request in requests:
        options = every_option(board, request)
        draws = [tuple((order.index(m), count) for m, count in option.modules) for option in options]
        found.append(MachineNeed(options=options, draws=draws))
    return found


@pytest.mark.parametrize("start", sampled(SEEDS[::BLOCK], 1))
def test_a_division_is_the_best_of_all(start: int) -> None:
    """Every machine gets what brute force gives it, slot by slot, or nothing where that gives it nothing."""
    for seed in range(start, start + BLOCK):
        case = fleet(seed)
        if case is None:
            continue
        board, requests, machines, stock = case
        options = [brute_options(board, request) or [] for request in requests]
        expected = brute_division(machines, options, stock)
        needs = needs_of(board, requests)
        pools = Pools(counts=stock, of_kind=[[kind] for kind in range(len(stock))])
        division = divide(solver_module(), machines, needs, pools)
        assert isinstance(division, Division) and division.why is None, f"seed {seed}"
        assert division.most == sum(pick is not None for pick in division.picks)
        sizes = [
            Size(
                machines=machines.count(place),
                gib=request.capacity_gib,
                slots=sum(len(socket.slots) for socket in board.sockets if socket.id in request.fitted),
                kinds={kind: supply.module.capacity_gib for kind, supply in enumerate(request.supplies)},
            )
            for place, request in enumerate(requests)
        ]
        assert division.most <= most_served(solver_module(), sizes, pools)[0] <= len(machines), f"seed {seed}"
        given = [
            None if pick is None else needs[need].options[pick]
            for need, pick in zip(machines, division.picks, strict=True)
        ]
        slots = [option and tuple(option.content.get(slot) for slot in board.slots) for option in given]
        assert slots == [one and one[3] for one in expected], f"seed {seed}"
        assert [option and option.sweep for option in given] == [one and one[1] for one in expected], f"seed {seed}"


@whole_matrix
def test_enough_fleets_are_compared() -> None:
    """Some thirty fleets, short shelves among them, and machines that are not served."""
    cases = [case for seed in SEEDS if (case := fleet(seed)) is not None]
    assert len(cases) >= 30
    short = 0
    for board, requests, machines, stock in cases[:30]:
        options = [brute_options(board, request) or [] for request in requests]
        given = brute_division(machines, options, stock)
        short += any(one is None and options[need] for one, need in zip(given, machines, strict=True))
    assert short >= 5


# On shipped boards, through the list and the shelf file


def a_fleet(tmp_path: Path, seed: int) -> tuple[Requests, list[Row]]:
    """Machines on several boards and a shelf that is a little short, labels that are equal on a board among it."""
    rng = random.Random(seed)
    boards = {"skerry-16": (96, 192, 384), "saltern-24": (192, 384), "strand-12": (384, 768), "marram-4": (32,)}
    lines = ["tag,board,capacity"]
    for number in range(rng.choice((3, 5, 8))):
        board = rng.choice(list(boards))
        lines.append(f"M{number},{board},{format_capacity(rng.choice(boards[board]))}")
    (tmp_path / "fleet.csv").write_text("\n".join(lines) + "\n")
    labels = ["32GB 2Rx4 PC4-2933Y-R", "32GB 2Rx4 PC4-3200AA-R", "64GB 2Rx4 PC4-2933Y-R", "64GB 2Rx4 PC5-6400B-R"]
    labels += ["32GB 1Rx4 PC5-6400B-R", "16GB 2Rx8 PC4-3200AA-E"]
    stock = [f"{label},{rng.choice((0, 2, 6, 10, 14))}" for label in labels]
    (tmp_path / "shelf.csv").write_text("\n".join(["label,count", *stock]) + "\n")
    machines = MachineList(tmp_path / "fleet.csv")
    requests = Requests(machines, {}, tmp_path / "shelf.csv")
    return requests, [row for row in machines if isinstance(row, Row)]


def worth(shared: SharedShelf) -> tuple[Any, ...]:
    """What divisions are compared by before the order of the file."""
    return -shared.served, -(shared.smallest_sweep or 0), shared.modules


@pytest.mark.parametrize("seed", sampled(range(12), 3))
def test_never_worse_than_one_machine_at_a_time(tmp_path: Path, seed: int) -> None:
    """Nor does a division take more from a row of the shelf than lies there, or give less than was asked."""
    requests, rows = a_fleet(tmp_path, seed)
    exact = share(requests, rows)
    assert exact.method == "exact", exact.why
    greedy = one_by_one(requests, rows)
    assert worth(exact) <= worth(greedy)
    for shared in (exact, greedy):
        check(requests, rows, shared)


def one_by_one(requests: Requests, rows: Sequence[Row]) -> SharedShelf:
    """The shelf divided one machine at a time, as it is where the solver is not installed."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(sys.modules, "ortools.sat.python", None)
        shared = share(requests, rows)
    assert shared.method == "one-at-a-time"
    assert "ortools is not installed" in str(shared.why)
    return shared


def check(requests: Requests, rows: Sequence[Row], shared: SharedShelf) -> None:
    """Shares are served in full and together no more than the shelf, row by row."""
    left = {taken.place: taken.count for taken in shared.left}
    for row in rows:
        asked = requests.asked(row)
        assert isinstance(asked, BoardRequest)
        got = shared.shares.get(row.number)
        if got is None:
            continue
        held = [module for module in got.option.content.values() if module]
        assert sum(module.capacity_gib for module in held) >= asked.request.capacity_gib
        assert sum(taken.count for taken in got.taken) == len(held) == got.option.size
        for taken in got.taken:
            left[taken.lot.place] = left.get(taken.lot.place, 0) + taken.count
    shelf = requests.shelf(requests.board("skerry-16"))
    assert shelf is not None
    there = {lot.place: lot.count for lot in shelf.lots}
    assert all(count == there[place] for place, count in left.items())


def test_one_at_a_time_is_one_plan_after_another(tmp_path: Path) -> None:
    """The first of the file gets what it would get alone; whoever comes too late gets nothing."""
    (tmp_path / "fleet.csv").write_text("tag,board,capacity\nA,skerry-16,384GiB\nB,skerry-16,384GiB\n")
    (tmp_path / "shelf.csv").write_text("label,count\n32GB 2Rx4 PC4-2933Y-R,16\n")
    machines = MachineList(tmp_path / "fleet.csv")
    requests = Requests(machines, {}, tmp_path / "shelf.csv")
    shared = one_by_one(requests, [row for row in machines if isinstance(row, Row)])
    assert list(shared.shares) == [0]
    assert shared.shares[0].option.size == 12
    assert [taken.count for taken in shared.left] == [4]


def test_the_division_looks_ahead(tmp_path: Path) -> None:
    """One at a time, the first machine takes the only modules that the second may use; divided, both are served."""
    (tmp_path / "fleet.csv").write_text("tag,board,capacity,modules\nA,skerry-16,384GiB,\nB,skerry-16,384GiB,32GiB\n")
    (tmp_path / "shelf.csv").write_text("label,count\n64GB 2Rx4 PC4-2933Y-R,6\n32GB 2Rx4 PC4-2933Y-R,12\n")
    machines = MachineList(tmp_path / "fleet.csv")
    requests = Requests(machines, {}, tmp_path / "shelf.csv")
    rows = [row for row in machines if isinstance(row, Row)]
    exact, greedy = share(requests, rows), one_by_one(requests, rows)
    assert (exact.served, greedy.served) == (2, 1)
    assert [exact.shares[number].option.size for number in (0, 1)] == [6, 12]


def test_what_is_too_large_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Too many machines, sets, types, nodes or questions to the solver: best found, with what no division exceeds."""
    requests, rows = a_fleet(tmp_path, 1)
    exact = share(requests, rows)
    assert exact.most == exact.served
    for limit, least in (("MOST_SETS", 0), ("MOST_TYPES", 0), ("MOST_NODES", 0)):
        with monkeypatch.context() as patch:
            patch.setattr("dimmplan.fleet.share.SAMPLED_SETS", 1)
            patch.setattr(f"dimmplan.fleet.share.{limit}", least)
            found = share(requests, rows)
        assert (found.method, found.why) == ("best-found", "more sets of modules than can all be looked at"), limit
        assert found.served <= exact.served <= (found.most or 0) <= found.wanted
        assert worth(exact) <= worth(found)
        check(requests, rows, found)
    for effort, method in ((0.01, "one-at-a-time"), (0.05, "best-found")):
        with monkeypatch.context() as patch:
            patch.setattr("dimmplan.fleet.division.EFFORT", effort)
            found = share(requests, rows)
        assert (found.method, found.why) == (method, "the solver reached its effort limit"), effort
        check(requests, rows, found)
    monkeypatch.setattr("dimmplan.fleet.share.MOST_MACHINES", 1)
    found = share(requests, rows)
    assert (found.method, found.why) == ("one-at-a-time", "more than 1 machines")


def test_a_sample_has_sets_of_many_types(tmp_path: Path) -> None:
    """Of more sets than are looked at, each choice of types gives its smallest before any gives a second."""
    (tmp_path / "fleet.csv").write_text("tag,board,capacity\nA,skerry-16,384GiB\n")
    (tmp_path / "shelf.csv").write_text(
        "label,count\n32GB 2Rx4 PC4-2933Y-R,16\n64GB 2Rx4 PC4-2933Y-R,16\n16GB 2Rx8 PC4-2933Y-R,16\n"
    )
    machines = MachineList(tmp_path / "fleet.csv")
    asked = Requests(machines, {}, tmp_path / "shelf.csv").asked(next(r for r in machines if isinstance(r, Row)))
    assert isinstance(asked, BoardRequest)
    sets = Sets(asked.board, asked.request, most=MOST_TYPES)
    every, whole = sets.options(PLENTY, Allowance(PLENTY))
    some, part = sets.options(2, Allowance(PLENTY))
    assert (whole, part) == (True, False)
    assert len({frozenset(module for module, _ in option.modules) for option in some}) == len(some) == 2
    assert all(option in every for option in some)


def test_options_are_in_the_order_of_the_own_list(tmp_path: Path) -> None:
    """The first is what the machine would get by itself; none holds another that sweeps as fast."""
    requests, rows = a_fleet(tmp_path, 2)
    for row in rows:
        asked = requests.asked(row)
        assert isinstance(asked, BoardRequest)
        options = every_option(asked.board, asked.request)
        assert [option.rank for option in options] == sorted(option.rank for option in options)
        for one, other in itertools.permutations(options, 2):
            assert not (_holds(other, one) and one.sweep >= other.sweep)


def test_the_first_option_of_a_partial_mirror_is_its_plan() -> None:
    """What a set of modules installs is more than what the request counts."""
    board = load_board("groyne-24")
    request = ask(board, "176GiB", modules=["32GiB"], mode="partly-mirrored")
    assert every_option(board, request)[0].content == plan(board, request, alternatives=False).placement.content


def _holds(larger: Option, smaller: Option) -> bool:
    counts = dict(larger.modules)
    return larger.modules != smaller.modules and all(counts.get(m, 0) >= n for m, n in smaller.modules)


def test_sharing_leaves_out_what_asks_for_nothing(tmp_path: Path) -> None:
    (tmp_path / "fleet.csv").write_text("tag,board,capacity\nA,skery-16,384GiB\nB,skerry-16,9TiB\n")
    (tmp_path / "shelf.csv").write_text("label,count\n32GB 2Rx4 PC4-2933Y-R,16\n")
    machines = MachineList(tmp_path / "fleet.csv")
    shared = share(Requests(machines, {}, tmp_path / "shelf.csv"), [r for r in machines if isinstance(r, Row)])
    assert (shared.served, shared.wanted, shared.smallest_sweep) == (0, 1, None)
