"""Twice the sockets take about twice the work: calls are counted, which no other load of the machine changes.

The bench, python -m tests.bench scale, has the whole tables, in time.
"""

from __future__ import annotations

import cProfile
import itertools
import pstats
import statistics

import pytest

from dimmplan.solve.answer import solve
from tests.bench.scale import requests
from tests.oracle.large import EVEN, large_board

LIMIT = 2.2 * 1.25
"""The bench's target for twice the sockets, and a quarter more, since three requests decide."""

SOCKETS = (2, 4, 8)


@pytest.mark.parametrize("stock", [False, True])
def test_twice_the_sockets(stock: bool) -> None:
    """The same request of every socket of eight channels, with two slots each."""
    work = [_calls(sockets, stock=stock) for sockets in SOCKETS]
    steps = [later / earlier for earlier, later in itertools.pairwise(work)]
    assert max(steps) <= LIMIT, work


def _calls(sockets: int, *, stock: bool) -> float:
    """The calls of functions that the search takes, the median over three requests."""
    board = large_board(sockets, 4, 2, 2, EVEN)
    calls = []
    for request in requests(board, 3, stock=stock):
        solve(board, request, alternatives=False)  # what is remembered for the whole process is paid for once
        with cProfile.Profile() as profile:
            solve(board, request, alternatives=False)
        calls.append(pstats.Stats(profile).total_calls)
    return statistics.median(calls)
