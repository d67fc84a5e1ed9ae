"""Twice the sockets take about twice the time: ratios within one run, with headroom; the bench has the whole tables."""

from __future__ import annotations

import itertools

import pytest

from tests.bench.scale import milliseconds, requests
from tests.oracle.large import EVEN, large_board

TARGETS = {False: 2.2, True: 5.0}
"""The bench's, without and with stock limits."""

HEADROOM = 1.25
SOCKETS = (2, 4, 8)
ROUNDS = 3
"""What else the machine does only ever adds time, so the best of some rounds decides."""


@pytest.mark.parametrize("stock", [False, True])
def test_twice_the_sockets(stock: bool) -> None:
    """The same request of every socket of eight channels, with two slots each."""
    boards = [large_board(sockets, 4, 2, 2, EVEN) for sockets in SOCKETS]
    best = [float("inf")] * len(boards)
    for _ in range(ROUNDS):
        now = [milliseconds(board, requests(board, 3, stock=stock)) for board in boards]
        best = list(map(min, best, now))
        steps = [later / earlier for earlier, later in itertools.pairwise(best)]
        if max(steps) <= TARGETS[stock] * HEADROOM:
            return
    assert max(steps) <= TARGETS[stock] * HEADROOM, best
