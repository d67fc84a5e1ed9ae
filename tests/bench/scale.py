"""How time and memory grow with sockets, channels, slots and types used.

Run: python -m tests.bench scale [-- --seeds N]

Medians over seeded requests that fill a part of the slots; times are of the processor.
"""

from __future__ import annotations

import argparse
import contextlib
import itertools
import statistics
import sys
import time
import tracemalloc
from collections.abc import Sequence

from dimmplan.errors import ImpossibleError
from dimmplan.model.board import Board
from dimmplan.model.request import Request
from dimmplan.solve.answer import solve
from tests.oracle.large import EVEN, large_board, scaled_request

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


def peak_mb(board: Board, asked: Sequence[Request]) -> float:
    """The most that one of the requests holds at once."""
    peaks = []
    for request in asked:
        tracemalloc.start()
        _once(board, request)
        peaks.append(tracemalloc.get_traced_memory()[1] / 1e6)
        tracemalloc.stop()
    return max(peaks)


def main(argv: Sequence[str] = ()) -> int:
    """Print the tables."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench scale --", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=5)
    seeds = parser.parse_args(argv).seeds
    for stock in (False, True):
        _sockets_by_channels(seeds, stock=stock)
    _one_by_one(seeds)
    return 0


def _sockets_by_channels(seeds: int, *, stock: bool) -> None:
    print(f"ms, two slots a channel, two types used, {'with' if stock else 'without'} stock limits")  # noqa: T201
    print("channels" + "".join(f"{f'{n} sockets':>14}" for n in SOCKETS) + "   largest step")  # noqa: T201
    for channels, (controllers, each) in CHANNELS.items():
        row = []
        for sockets in SOCKETS:
            board = large_board(sockets, controllers, each, 2, EVEN)
            row.append(milliseconds(board, requests(board, seeds, stock=stock)))
        steps = [later / earlier for earlier, later in itertools.pairwise(row)]
        print(f"{channels:8}" + "".join(f"{ms:14.1f}" for ms in row) + f"   x {max(steps):.2f}", flush=True)  # noqa: T201


def _one_by_one(seeds: int) -> None:
    """Two sockets of eight channels, one thing changed at a time."""
    print("two sockets of eight channels: ms and MB at once")  # noqa: T201
    for slots in (1, 2, 3):
        board = large_board(2, 4, 2, slots, EVEN)
        asked = requests(board, seeds)
        print(f"  {slots} slots a channel, 2 types used {milliseconds(board, asked):8.1f} {peak_mb(board, asked):6.1f}")  # noqa: T201
    board = large_board(2, 4, 2, 2, EVEN)
    for types in (1, 2, 3):
        asked = requests(board, seeds, types=types)
        print(f"  2 slots a channel, {types} types used {milliseconds(board, asked):8.1f} {peak_mb(board, asked):6.1f}")  # noqa: T201


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
