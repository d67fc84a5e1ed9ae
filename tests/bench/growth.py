"""Growth chains: time, effort and proof on the shipped boards, and against brute force on small random ones.

python tests/bench/growth.py [SEEDS]
"""

# ruff: noqa: T201 - a bench prints

from __future__ import annotations

import platform
import sys
import time
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from dimmplan.boardfile.read import load_board
from dimmplan.errors import ImpossibleError
from dimmplan.growth.grow import Growth, grow
from dimmplan.growth.pinned import next_by_adding
from dimmplan.planner import ask
from tests.growth.brute_chain import best_chain, case

CHAINS = [
    ("marram-4", ["16GiB", "64GiB"], []),
    ("skerry-16", ["384GiB", "768GiB", "1.5TiB"], []),
    ("skerry-16", ["256GiB", "384GiB", "640GiB"], ["32GiB", "64GiB"]),
    ("skerry-16", ["96GiB", "384GiB", "768GiB"], []),
    ("strand-12", ["384GiB", "768GiB", "1.5TiB"], []),
    ("machair-20", ["320GiB", "640GiB"], []),
    ("groyne-24", ["96GiB", "192GiB", "384GiB"], []),
    ("quay-24", ["192GiB", "384GiB", "768GiB"], []),
    ("saltern-24", ["256GiB", "512GiB", "1TiB"], []),
    ("tombolo-32", ["512GiB", "1TiB"], []),
    ("lagoon-32", ["512GiB", "1TiB", "2TiB"], []),
    ("causeway-48", ["768GiB", "1.5TiB", "3TiB"], []),
    ("firth-96", ["1.5TiB", "3TiB"], []),
]


def line(name: str, growth: Growth, seconds: float, more: float) -> str:
    """One chain in a line."""
    chain = growth.chain
    worth = dict(zip([criterion.name for criterion in chain.criteria], chain.vector, strict=True))
    overs = "/".join(str(over) for name, over in worth.items() if name.startswith("over_gib"))
    return (
        f"{name:34s} {seconds:7.2f} s {growth.effort:9d} nodes  bound {growth.bound}; over {overs}, smallest sweep "
        f"{float(worth['smallest_sweep']):.1f}, sum {float(worth['sum_of_sweeps']):.1f}, {worth['bought']} bought; "
        f"next {more:.3f} s"
    )


def main(argv: Sequence[str] = ()) -> int:
    """Print a line for each chain, then brute force on ``argv[0]`` seeds."""
    seeds = int(argv[0]) if argv else 200
    print(f"Python {platform.python_version()}")
    for may_move in (False, True):
        print("modules may move" if may_move else "later steps only add")
        for board_id, capacities, modules in CHAINS:
            board = load_board(board_id)
            requests = [ask(board, capacity, modules=modules) for capacity in capacities]
            name = f"{board_id} {' '.join(capacities)}"
            started = time.perf_counter()
            try:
                growth = grow(board, requests, may_move=may_move)
            except ImpossibleError as error:
                print(f"{name:34s} {time.perf_counter() - started:7.2f} s impossible: {error.causes[0].text}")
                continue
            done = time.perf_counter()
            next_by_adding(growth.steps[-1])
            print(line(name, growth, done - started, time.perf_counter() - done), flush=True)
    compared = as_good = 0
    brute = mine = 0.0
    for seed in range(seeds):
        found = case(seed)
        if found is None:
            continue
        for may_move in (False, True):
            started = time.perf_counter()
            expected = best_chain(*found, may_move=may_move)
            between = time.perf_counter()
            growth = grow(*found, may_move=may_move)
            brute, mine = brute + between - started, mine + time.perf_counter() - between
            key = growth.chain.worth
            compared += 1
            as_good += (
                expected is not None and key == (expected.key[0], *expected.key[1], *expected.key[2:])[: len(key)]
            )
    print(f"brute force on {compared} small boards: {as_good} as good; {brute:.1f} s by brute force, {mine:.1f} s here")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
