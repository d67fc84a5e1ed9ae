"""Requests that are hard to prove: time of a proven answer and the peak memory of its process, beside their targets.

Run: python -m tests.bench hard [-- --seeds N --types 2|3 --beside --row NAME]

Each request is a process of its own, so that its peak is its own; times are of the processor, imports left out.
``--beside`` adds what stands beside an answer (runners-up, one step up and down). ``--types`` are the types used at
most where a row does not say.
"""

# ruff: noqa: T201 - a bench prints

from __future__ import annotations

import argparse
import json
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from dimmplan.boardfile.read import load_board
from dimmplan.errors import ImpossibleError
from dimmplan.growth.grow import grow
from dimmplan.model.board import Board
from dimmplan.model.request import Request
from dimmplan.planner import ask
from dimmplan.solve.answer import Bound, solve
from dimmplan.solve.criteria import Value
from tests.bench.processes import README, measured
from tests.oracle.large import (
    ADVICE,
    ANY,
    EIGHT_LABELS,
    EVEN,
    GROUPS,
    LABELS,
    LAYERED,
    ODD_LABELS,
    large_board,
    large_request,
)
from tests.oracle.shelves import random_shelf

TARGET_MB = 200
CAPACITIES = (192, 256, 384, 416, 700)
"""GiB asked of a shelf, one for each seed in turn."""


class Case(NamedTuple):
    """Requests by seed and number of types, and the processor seconds that each may take; ``None`` for no target."""

    make: Callable[[int, int], tuple[Board, Request]]
    seconds: float | None = None


def _large(
    shape: tuple[int, int, int, int], interleave: dict[str, Any], labels: tuple[str, ...], **more: Any
) -> Callable[[int, int], tuple[Board, Request]]:
    stock, types = more.pop("stock", False), more.pop("types", None)

    def make(seed: int, used: int) -> tuple[Board, Request]:
        board = large_board(*shape, interleave, labels, **more)
        return board, large_request(board, seed, types=types or used, stock=stock)

    return make


def _shelf(
    labels: int, rows: int, types: int | None = None, capacity: str = ""
) -> Callable[[int, int], tuple[Board, Request]]:
    def make(seed: int, used: int) -> tuple[Board, Request]:
        board = load_board("skerry-16")
        asked = capacity or f"{CAPACITIES[seed % len(CAPACITIES)]}GiB"
        return board, ask(board, asked, shelf=random_shelf(labels, rows, seed), max_types=types or used)

    return make


def _four(seed: int, _used: int) -> tuple[Board, Request]:
    board = load_board("tombolo-32")
    return board, ask(board, f"{900 + 4 * seed}GiB", max_types=4)


CASES: dict[str, Case] = {
    f"{name}, {sizes}": Case(_large(shape, interleave, labels, stock=stock))
    for name, shape, interleave, stock in (
        ("8 sockets x 12 channels x 2 slots, stock limits", (8, 4, 3, 2), EVEN, True),
        ("8 sockets x 8 channels x 3 slots, stock limits", (8, 4, 2, 3), EVEN, True),
        ("12 channels x 2 slots, any", (1, 1, 12, 2), ANY, False),
        ("8 channels x 2 slots, groups", (1, 4, 2, 2), GROUPS, False),
        ("2 sockets x 8 channels x 2 slots, groups", (2, 4, 2, 2), GROUPS, False),
    )
    for sizes, labels in (("16 to 256 GiB", LABELS), ("16 to 96 GiB", ODD_LABELS))
} | {
    "8 sockets x 8 channels x 2 slots, three types": Case(_large((8, 4, 2, 2), EVEN, LABELS, stock=True, types=3)),
    "eight odd sizes, four types": Case(_large((2, 4, 2, 2), EVEN, EIGHT_LABELS, types=4, mixed_dies=True), 5),
    "seventeen advised rows": Case(_large((2, 2, 2, 2), EVEN, LABELS, advice=ADVICE), 5),
    "a shelf of 100 labels, 16 slots": Case(_shelf(100, 100), 2),
    "a shelf of 1,000 labels, 16 slots": Case(_shelf(1000, 1000), 5),
    "a shelf of 1,000 labels in 10,000 rows, 16 slots": Case(_shelf(1000, 10_000), 10),
    "a shelf of 1,000 labels, 16 slots, three types": Case(_shelf(1000, 1000, types=3), 10),
    "more than 1,000 labels can give": Case(_shelf(1000, 1000, capacity="13TiB"), 3),
    "listed groups, four types of all": Case(_four, 10),
    "2 sockets x 12 channels x 2 slots, 12 listed groups that leave layers": Case(
        _large((2, 4, 3, 2), LAYERED, LABELS), 10
    ),
    "8 sockets x 12 channels x 2 slots, own rates, three types": Case(
        _large((8, 4, 3, 2), EVEN, LABELS, stock=True, types=3, rate_scope="channel"), 10
    ),
}

ROWS: dict[str, tuple[str, ...]] = {
    "8 sockets x 24 slots, five types allowed, stock limits, two used": tuple(
        name for name in CASES if name.startswith("8 sockets") and "stock limits" in name
    ),
    "eight odd sizes, four types used; seventeen advised rows": (
        "eight odd sizes, four types",
        "seventeen advised rows",
    ),
    "a shelf of 100 labels on a board of 16 slots, two types used": ("a shelf of 100 labels, 16 slots",),
    "a shelf of 1,000 labels; in 10,000 rows": (
        "a shelf of 1,000 labels, 16 slots",
        "a shelf of 1,000 labels in 10,000 rows, 16 slots",
    ),
    "a shelf of 1,000 labels, three types used; a request that it cannot serve": (
        "a shelf of 1,000 labels, 16 slots, three types",
        "more than 1,000 labels can give",
    ),
    "listed groups: four types of all on 32 slots; 24 channels in groups that leave layers": (
        "listed groups, four types of all",
        "2 sockets x 12 channels x 2 slots, 12 listed groups that leave layers",
    ),
    "8 sockets x 24 slots, each channel at a rate of its own, three types used": (
        "8 sockets x 12 channels x 2 slots, own rates, three types",
    ),
}
"""Rows of README's table, each over some cases."""

CHAIN = "a chain of two steps, 32 slots"
ROWS[CHAIN] = (CHAIN,)
CHAIN_SECONDS = 3
CHAINS = (("480GiB", "1632GiB"), ("512GiB", "1TiB"), ("256GiB", "1536GiB"))


def one(name: str, seed: int, types: int, *, beside: bool) -> None:
    """Solve one request and print its time, effort and whether it is proven, as JSON."""
    if name == CHAIN:
        print(json.dumps(_chain(seed)))
        return
    began = time.process_time()
    board, request = CASES[name].make(seed, types)
    if "shelf" not in name:  # what the board can use of a shelf is part of the work
        began = time.process_time()
    try:
        answer = solve(board, request, alternatives=beside)
        reached = dict(zip((each.name for each in answer.criteria), answer.best.vector, strict=True))
        said = {"proven": answer.proven, "effort": answer.effort, "bound": _bound(answer.bound, reached)}
    except ImpossibleError:
        said = {"proven": True, "effort": 0, "bound": "nothing fits"}
    print(json.dumps({"seconds": time.process_time() - began, "gib": request.capacity_gib, **said}))


def _chain(seed: int) -> dict[str, Any]:
    """A chain is never proven; what counts is that it says its bound, or that nothing is better."""
    board = load_board("lagoon-32")
    requests = [ask(board, capacity) for capacity in CHAINS[seed % len(CHAINS)]]
    began = time.process_time()
    growth = grow(board, requests)
    bound = "" if growth.bound is None else f"{growth.bound[0]} at best {float(growth.bound[1]):g}"
    return {"seconds": time.process_time() - began, "effort": growth.effort, "proven": True, "bound": bound}


def _bound(bound: Bound | None, reached: Mapping[str, Value]) -> str:
    """The first criterion that is not proven: what was reached, and what cannot be passed."""
    if bound is None or bound.value is None:
        return "" if bound is None else bound.criterion
    return f"{bound.criterion} {float(reached[bound.criterion]):g}, at best {float(bound.value):g}"


def main(argv: Sequence[str] = ()) -> int:
    """Print a line for each row; 1 where a target is missed or an answer is not proven."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench hard --", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=5)
    parser.add_argument("--types", type=int, default=2, help="types used at most")
    parser.add_argument("--beside", action="store_true")
    parser.add_argument("--row", choices=[*CASES, CHAIN], action="append")
    parser.add_argument("--one", nargs=3, metavar=("ROW", "SEED", "TYPES"), help=argparse.SUPPRESS)
    options = parser.parse_args(argv)
    if options.one:
        name, seed, types = options.one
        one(name, int(seed), int(types), beside=options.beside)
        return 0
    print(f"{options.types} types used{', with all that stands beside the answer' if options.beside else ''}")
    reports = {
        name: _report(name, options.seeds, options.types, beside=options.beside)
        for name in options.row or [*CASES, CHAIN]
    }
    missed = [name for name, report in reports.items() if report.missed]
    print(f"targets missed: {', '.join(missed) or 'none'}")
    for what, names in ROWS.items():
        found = [reports[name] for name in names if name in reports]
        if len(found) == len(names):
            README.append((what, _figure(found)))
    return int(bool(missed))


class _Report(NamedTuple):
    """What a case took: median and longest seconds, the most memory in MB, and how many answers are proven."""

    median: float
    worst: float
    peak_mb: float
    requests: int
    proven: int
    missed: bool


def _figure(reports: Sequence[_Report]) -> str:
    """Reports as one figure of README's table."""
    requests, proven = sum(each.requests for each in reports), sum(each.proven for each in reports)
    medians = ", ".join(f"{report.median:.2g}" for report in reports)
    worst = ", ".join(f"{report.worst:.2g}" for report in reports)
    how = "all proven" if requests == proven else f"{proven} of them proven"
    return (
        f"median {medians} s, worst {worst} s of {requests} requests, {max(r.peak_mb for r in reports):.0f} MB; {how}"
    )


def _report(name: str, seeds: int, types: int, *, beside: bool) -> _Report:
    times, peaks, open_ones = [], [], []
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(seeds if name != CHAIN else len(CHAINS)):
            command = ["-m", "tests.bench.hard", "--one", name, str(seed), str(types)]
            process = measured([*command, *(["--beside"] if beside else [])], Path(folder, "out"))
            said = json.loads(process.output)
            times.append((said["seconds"], seed))
            peaks.append(process.peak_mb)
            if not said["proven"]:
                open_ones.append(f"seed {seed} best found, {said['bound']}")
    median, (worst, worst_seed) = statistics.median(seconds for seconds, _ in times), max(times)
    target = CHAIN_SECONDS if name == CHAIN else CASES[name].seconds
    print(
        f"{name:<68} {len(times)} requests  median {median:6.3f} s  worst {worst:6.3f} s (seed {worst_seed})"
        f"{f' of {target:g}' if target else ''}  peak {max(peaks):4.0f} MB  "
        f"{len(times) - len(open_ones)} proven {'; '.join(open_ones)}",
        flush=True,
    )
    missed = bool(open_ones) or worst > (target or worst) or (target is not None and max(peaks) > TARGET_MB)
    return _Report(median, worst, max(peaks), len(times), len(times) - len(open_ones), missed)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
