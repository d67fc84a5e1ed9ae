"""Every criterion of some hundred seeded instances, by the search and by a second exact solver.

Run: python -m tests.bench opinion [-- --each N --random N --modes N --shelves N]
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence

from dimmplan.boardfile.read import shipped_ids
from tests.opinion.cases import Case, random_instance, shelf_instance, shipped_instance
from tests.opinion.compare import compared
from tests.oracle.random_boards import random_mode_case


def cases(each: int, random: int, modes: int, shelves: int) -> Iterator[Case]:
    """Seeds of every shipped board, of random boards, of random boards in a mode, and of shelves of many labels."""
    for board_id in shipped_ids():
        yield from (shipped_instance(board_id, seed) for seed in range(each))
    yield from (random_instance(seed) for seed in range(random))
    yield from (Case(f"mode {seed}", *random_mode_case(seed)) for seed in range(modes))
    yield from (shelf_instance(seed) for seed in range(shelves))


def main(argv: Sequence[str] = ()) -> int:
    """Print what differs and the counts; 1 where anything differs."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench opinion --", description=__doc__)
    parser.add_argument("--each", type=int, default=10, help="seeds of every shipped board")
    parser.add_argument("--random", type=int, default=400, help="random boards")
    parser.add_argument("--modes", type=int, default=120, help="random boards, mirrored or sparing")
    parser.add_argument("--shelves", type=int, default=300, help="shelves of forty labels")
    options = parser.parse_args(argv)
    total = answers = above = differing = 0
    for case in cases(options.each, options.random, options.modes, options.shelves):
        found = compared(case)
        total += 1
        answers += found.theirs is not None
        above += found.theirs_outside
        if found.difference() is not None:
            differing += 1
            print(found.difference(), flush=True)  # noqa: T201
    print(f"{total} instances, {answers} with an answer, {above} of them above the window, {differing} differ")  # noqa: T201
    return int(differing > 0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
