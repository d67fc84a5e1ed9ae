"""What channels hold within a time: by capacity alone, and by the counts of modules asked for."""

from __future__ import annotations

import pytest

from dimmplan.model.board import Board
from dimmplan.model.label import parse_label
from dimmplan.model.request import Lot, Request, Supply
from dimmplan.solve.branch import Branch
from dimmplan.solve.branches import Aim, Branches
from dimmplan.solve.budget import Budget
from dimmplan.solve.drawing import Drawer
from dimmplan.solve.profiles import NEVER
from dimmplan.solve.space import Space
from tests.oracle.large import EVEN, large_board

RATE = 4400


def branch_of(board: Board, counts: dict[str, int], rate: int) -> tuple[Drawer, Branch]:
    """The branch of just these counts of modules at a rate."""
    modules = [parse_label(label) for label in counts]
    total = sum(module.capacity_gib * count for module, count in zip(modules, counts.values(), strict=True))
    supplies = [Supply(module=m, lots=(Lot(count=n),)) for m, n in zip(modules, counts.values(), strict=True)]
    request = Request(
        capacity_gib=total,
        supplies=tuple(supplies),
        fitted=tuple(socket.id for socket in board.sockets),
        max_types=len(modules),
    )
    space, budget = Space(board, request), Budget(10**9)
    branches = Branches(space, budget).of(len(modules), frozenset(), Aim(total, total))
    return Drawer(space, budget, bounds=True), next(each for each in branches if each.rate == rate)


@pytest.mark.parametrize(
    ("many", "few", "depth"),
    [
        # eight channels, and 64 GiB in each of them; the 16 GiB beside them need a ninth
        (8, 0, 64),
        (8, 1, 80),
        (7, 1, 64),
        # with nine or more some channel holds two, however much room the capacity alone would leave
        (9, 0, 128),
        (9, 7, 128),
        (8, 8, 80),
    ],
)
def test_time_within_which_channels_hold_the_counts(many: int, few: int, depth: int) -> None:
    board = large_board(2, 2, 2, 2, EVEN)
    counts = {"64GB 2Rx4 PC5-4800B-R": many} | ({"16GB 1Rx4 PC5-4800B-R": few} if few else {})
    drawer, branch = branch_of(board, counts, RATE)
    unit = drawer.space.rate_unit // RATE
    assert drawer.counts_time(branch, 0) == depth * unit
    assert drawer.counts_time(branch, depth * unit) == depth * unit
    assert drawer.counts_time(branch, depth * unit + 1) == depth * unit + 1


def test_counts_that_no_channels_hold() -> None:
    """One module more than there are slots."""
    board = large_board(2, 2, 2, 2, EVEN)
    drawer, branch = branch_of(board, {"64GB 2Rx4 PC5-4800B-R": 8, "16GB 1Rx4 PC5-4800B-R": 8}, RATE)
    too_many = branch._replace(targets=frozenset({drawer.space.code([(0, 9), (1, 8)])}))
    assert drawer.counts_time(too_many, 0) == NEVER
