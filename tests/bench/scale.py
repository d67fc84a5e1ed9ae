"""How time grows: sockets by channels, and one table of everything else with the slope of each.

Run: python -m tests.bench scale [-- --seeds N]

Medians over seeded requests that fill a part of the slots; times are of the processor. A slope is the power of what
grows by which the time grows, fitted over the whole row: 1 where twice as much takes twice as long.
"""

# ruff: noqa: T201 - a bench prints

from __future__ import annotations

import argparse
import contextlib
import itertools
import math
import statistics
import sys
import time
from collections.abc import Sequence

from dimmplan.boardfile.read import load_board
from dimmplan.errors import ImpossibleError
from dimmplan.model.board import Board
from dimmplan.model.request import Request
from dimmplan.planner import ask
from dimmplan.solve.answer import solve
from tests.bench.processes import README
from tests.oracle.large import ADVICE, EVEN, large_board, scaled_request
from tests.oracle.shelves import random_shelf

SOCKETS = (1, 2, 4, 8, 16)
CHANNELS = {2: (1, 2), 4: (2, 2), 6: (2, 3), 8: (4, 2), 10: (2, 5), 12: (4, 3)}
"""Controllers and channels of each, by channels of a socket."""


def requests(board: Board, seeds: int, *, types: int = 2, stock: bool = False) -> list[Request]:
    """The same requests of every socket of every board, half to nine tenths full."""
    shares = [0.5 + 0.4 * seed / max(1, seeds - 1) for seed in range(seeds)]
    return [scaled_request(board, seed, share, types=types, stock=stock) for seed, share in enumerate(shares)]


def milliseconds(board: Board, asked: Sequence[Request]) -> float:
    """The median over the requests of the better of two runs each."""
    return statistics.median(min(_once(board, request) for _ in range(2)) for request in asked) * 1000


def _once(board: Board, request: Request) -> float:
    began = time.process_time()
    with contextlib.suppress(ImpossibleError):
        solve(board, request, alternatives=False)
    return time.process_time() - began


def slope(sizes: Sequence[int], times: Sequence[float]) -> float:
    """The power by which times grow with sizes: least squares on a double logarithmic scale."""
    return statistics.linear_regression([math.log(size) for size in sizes], [math.log(ms) for ms in times]).slope


def main(argv: Sequence[str] = ()) -> int:
    """Print the tables."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench scale --", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=3)
    seeds = parser.parse_args(argv).seeds
    without, limited = (_sockets_by_channels(seeds, stock=stock) for stock in (False, True))
    figure = f"at most {without:.1f} times as long; with stock limits {limited:.1f}"
    README.append(("twice the sockets, the same of each", figure))
    slopes = _fitted(seeds)
    told = ", ".join(f"{name} {value:.1f}" for name, value in slopes.items())
    README.append(("the power of what grows by which the time grows (1: twice as much takes twice as long)", told))
    return 0


def _sockets_by_channels(seeds: int, *, stock: bool) -> float:
    """Print a table; the largest step from a number of sockets to twice as many."""
    largest = 0.0
    print(f"ms, two slots a channel, two types used, {'with' if stock else 'without'} stock limits")
    print("channels" + "".join(f"{f'{n} sockets':>14}" for n in SOCKETS) + "   largest step")
    for channels, (controllers, each) in CHANNELS.items():
        row = []
        for sockets in SOCKETS:
            board = large_board(sockets, controllers, each, 2, EVEN)
            row.append(milliseconds(board, requests(board, seeds, stock=stock)))
        steps = [later / earlier for earlier, later in itertools.pairwise(row)]
        print(f"{channels:8}" + "".join(f"{ms:14.1f}" for ms in row) + f"   x {max(steps):.2f}", flush=True)
        largest = max(largest, *steps)
    return largest


def _fitted(seeds: int) -> dict[str, float]:
    """One thing grows at a time, on boards of two slots a channel with two types used unless the row says otherwise."""
    rows: dict[str, dict[int, float]] = {
        "sockets of 8 channels": {n: _of(large_board(n, 4, 2, 2, EVEN), seeds) for n in SOCKETS},
        "channels of 2 sockets": {n: _of(large_board(2, *wide, 2, EVEN), seeds) for n, wide in CHANNELS.items()},
        "slots a channel": {n: _of(large_board(2, 4, 2, n, EVEN), seeds) for n in (1, 2, 3)},
        "types used, five sizes": {n: _of(large_board(2, 4, 2, 2, EVEN), seeds, types=n) for n in (1, 2, 3, 4)},
        "advised rows": {n: _of(large_board(2, 2, 2, 2, EVEN, advice=ADVICE[:n]), seeds) for n in (2, 4, 8, 17)},
        "labels on a shelf": {n: _of_shelf(n, n, seeds) for n in (10, 30, 100, 300, 1000)},
        "stock rows, 100 labels": {n: _of_shelf(100, n, seeds) for n in (100, 1000, 10_000)},
    }
    print("what grows                 slope   ms at each size")
    slopes = {}
    for name, times in rows.items():
        slopes[name] = slope(list(times), list(times.values()))
        each = "".join(f"{size:>8}: {ms:7.1f}" for size, ms in times.items())
        print(f"{name:<25} {slopes[name]:7.2f} {each}", flush=True)
    return slopes


def _of(board: Board, seeds: int, *, types: int = 2) -> float:
    return milliseconds(board, requests(board, seeds, types=types))


def _of_shelf(labels: int, rows: int, seeds: int) -> float:
    """A whole answer from a shelf on a board of 16 slots, what the board can use of it included."""
    board = load_board("skerry-16")
    times = []
    for seed in range(seeds):
        shelf = random_shelf(labels, rows, seed)
        began = time.process_time()
        with contextlib.suppress(ImpossibleError):
            solve(board, ask(board, f"{(192, 256, 384, 416, 700)[seed % 5]}GiB", shelf=shelf))
        times.append(time.process_time() - began)
    return statistics.median(times) * 1000


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
