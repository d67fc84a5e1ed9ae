"""Criteria over branches that were made by hand: the least sum over sockets, kept by what is decided later."""

from __future__ import annotations

import itertools

import pytest

from dimmplan.model.label import parse_label
from dimmplan.model.request import Request, Supply
from dimmplan.solve.branches import Branch, SocketGroup
from dimmplan.solve.budget import Budget
from dimmplan.solve.criteria import criteria_of
from dimmplan.solve.decide import Decisions
from dimmplan.solve.profiles import Profile
from dimmplan.solve.space import Space
from tests.oracle.large import EVEN, large_board

BOARD = large_board(2, 1, 2, 2, EVEN)
REQUEST = Request(
    capacity_gib=64,
    supplies=(Supply(module=parse_label("16GB 1Rx4 PC5-4800B-R")),),
    fitted=tuple(socket.id for socket in BOARD.sockets),
)


def profile(modules: int, regions: int, low_rank: int) -> Profile:
    return Profile(
        code=modules,
        gib=16 * modules,
        time=1,
        parallel=1,
        controller_difference=0,
        regions=regions,
        narrowest=1,
        low_rank=low_rank,
        displaced=0,
        board_order=bytes([modules, regions, low_rank]),
    )


@pytest.mark.parametrize("order", range(24))
def test_least_sums_whatever_the_order_of_profiles(order: int) -> None:
    """Four modules in two sockets: 2 and 2 have two regions, 1 and 3 three; then the fewest low-rank channels."""
    space = Space(BOARD, REQUEST)
    decisions = Decisions(space, Budget(0))
    profiles = [profile(2, 2, 0), profile(2, 1, 2), profile(2, 1, 1), profile(1, 1, 0)]
    some = list(itertools.permutations(profiles))[order]
    kind = SocketGroup(space.shapes.each[0], (0, 1), (*some, profile(3, 2, 0)))
    branch = Branch(frozenset(), 0, (kind,), frozenset({4}), populated=True)
    by_name = {criterion.name: criterion for criterion in criteria_of("capacity-first", priced=False)}

    fewest, branches = decisions.best(by_name["regions"], [branch], None)
    assert fewest == 2
    assert len(branches) == 1
    lowest, branches = decisions.best(by_name["low_rank_channels"], branches, None)
    assert lowest == 2
    modules, branches = decisions.best(by_name["modules"], branches, None)
    assert modules == 4
    assert len(branches) == 1
