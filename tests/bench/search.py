"""The search against a second exact solver on the same seeded instances: paired medians of some runs in one process.

Run: python -m tests.bench search [-- --each N --random N --runs N]

Times are of the processor. Where the solver alone (one thread, building its model left out) takes 50 ms or more, the
search is set against the solver; on the rest a whole answer is set against building and solving. Instances without an
answer are left out: the solver says only that there is none, the search also why and what there is instead.
"""

from __future__ import annotations

import argparse
import statistics
import sys
from collections.abc import Iterator, Sequence

from dimmplan.boardfile.read import shipped_ids
from tests.bench.processes import README
from tests.opinion.cases import Case, random_instance, shipped_instance
from tests.opinion.compare import answered, compared
from tests.opinion.tables import Tables

LONG_SECONDS = 0.05
MOST_ROWS = 4000
"""Larger tables take the solver minutes."""


def cases(each: int, random: int) -> Iterator[Case]:
    """Seeds of every shipped board, then of random boards."""
    for board_id in shipped_ids():
        yield from (shipped_instance(board_id, seed) for seed in range(each))
    yield from (random_instance(seed) for seed in range(random))


def main(argv: Sequence[str] = ()) -> int:
    """Print a line for each instance and the ratios of both groups; 1 where vectors differ."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench search --", description=__doc__)
    parser.add_argument("--each", type=int, default=4, help="seeds of every shipped board")
    parser.add_argument("--random", type=int, default=10, help="random boards")
    parser.add_argument("--runs", type=int, default=5)
    options = parser.parse_args(argv)
    long: list[float] = []
    rest: list[float] = []
    beside: list[float] = []
    differing = 0
    for case in cases(options.each, options.random):
        tables = Tables(case.board, case.request)
        first = compared(case, tables)
        if first.difference() is not None:
            differing += 1
            print(first.difference())  # noqa: T201
            continue
        if first.mine is None or first.rows > MOST_ROWS:
            continue
        pairs = [compared(case, tables) for _ in range(options.runs)]
        mine = statistics.median(pair.answering for pair in pairs)
        theirs = statistics.median(pair.solving for pair in pairs)
        building = statistics.median(pair.building for pair in pairs)
        whole = statistics.median(answered(case, alternatives=True)[2] for _ in range(3))
        beside.append(whole / (theirs + building))
        is_long = theirs >= LONG_SECONDS
        (long if is_long else rest).append(mine / theirs if is_long else mine / (theirs + building))
        print(  # noqa: T201
            f"{case.name:<16} {first.rows:5} rows  search {mine * 1000:7.1f} ms  with all beside it "
            f"{whole * 1000:7.1f}  solver {theirs * 1000:8.1f}  its model {building * 1000:8.1f}  "
            f"ratio {(long if is_long else rest)[-1]:.3f}",
            flush=True,
        )
    _summary("the solver alone takes 50 ms or more: search to solver", long)
    _summary("the rest: a whole answer to model and solver", rest)
    _summary("all: an answer with runners-up and steps to model and solver", beside)
    if long:
        less, most = (f"{1 / ratio:.0f}" for ratio in (max(long), min(long)))
        what = "the same requests by a general-purpose exact solver, one thread, its model building left out"
        figure = f"{less} to {most} times as long ({len(long)} requests that take it 50 ms or more)"
        README.append((what, figure))
    return int(differing > 0)


def _summary(name: str, ratios: list[float]) -> None:
    if ratios:
        middle, worst = statistics.median(ratios), max(ratios)
        slower = sum(ratio > 1 for ratio in ratios)
        print(f"{name}: {len(ratios)} instances, median {middle:.3f}, worst {worst:.3f}, {slower} slower")  # noqa: T201


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
