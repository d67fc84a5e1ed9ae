"""Populations within a time: the example that the enumeration tells, worked out by the search."""

from __future__ import annotations

from fractions import Fraction

from dimmplan.model.label import parse_label
from dimmplan.model.request import Request, Supply
from dimmplan.solve.branches import Branches
from dimmplan.solve.budget import Budget
from dimmplan.solve.decide import Decisions
from dimmplan.solve.profiles import Limit
from dimmplan.solve.space import Space
from dimmplan.solve.sweep import Sweeps
from tests.oracle.large import EVEN, large_board


def test_the_next_time_worth_trying() -> None:
    """128 GiB in modules of 32 GiB over two sockets of three channels, one slot each: nothing in 22, then 64 and 64."""
    board = large_board(2, 1, 3, 1, EVEN)
    supplies = (Supply(module=parse_label("32GB 1Rx4 PC5-4800B-R")),)
    request = Request(capacity_gib=128, supplies=supplies, fitted=tuple(socket.id for socket in board.sockets))
    space, budget = Space(board, request), Budget(0)
    branches, unit = Branches(space, budget), space.rate_unit // 4800
    (branch,) = branches.of(frozenset(), branches.targets(128, 128), 4800, Fraction(0))
    sweeps = Sweeps(space, budget, Decisions(space, budget), bounds=True)

    def within(time: int) -> tuple[dict[int, int], int]:
        found, next_time = sweeps.enumerate(branch, 128, Limit(time * unit, total=128, sockets=2))
        profiles = found.groups[0].profiles if found else ()
        return {profile.gib: profile.time // unit for profile in profiles}, int(next_time // unit)

    assert within(22) == ({}, 32)
    assert within(32) == ({64: 32, 96: 32}, 64)
    assert within(64) == ({32: 32, 64: 32, 96: 32}, within(64)[1])
    assert Limit(32, total=128, sockets=2).most_time(32) == 16
    assert Limit(32, total=128, sockets=2).time_of(32, 32) == 64
