"""Large boards with five types allowed: time of a proven answer and the peak memory of its process.

Run: python -m tests.bench hard [-- --seeds N --types 2|3 --beside]

Each request is a process of its own, so that its peak is its own; times are of the processor, imports left out.
``--beside`` adds what stands beside an answer (runners-up, one step up and down).
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from dimmplan.errors import ImpossibleError
from dimmplan.model.board import Board
from dimmplan.solve.answer import Bound, solve
from dimmplan.solve.branches import Value
from tests.bench.processes import measured
from tests.oracle.large import ANY, EVEN, GROUPS, LABELS, ODD_LABELS, large_board, large_request

BOARDS: dict[str, tuple[Callable[[tuple[str, ...]], Board], bool]] = {
    "8 sockets x 12 channels x 2 slots, stock limits": (lambda labels: large_board(8, 4, 3, 2, EVEN, labels), True),
    "8 sockets x 8 channels x 3 slots, stock limits": (lambda labels: large_board(8, 4, 2, 3, EVEN, labels), True),
    "12 channels x 2 slots, any": (lambda labels: large_board(1, 1, 12, 2, ANY, labels), False),
    "8 channels x 2 slots, groups": (lambda labels: large_board(1, 4, 2, 2, GROUPS, labels), False),
    "2 sockets x 8 channels x 2 slots, groups": (lambda labels: large_board(2, 4, 2, 2, GROUPS, labels), False),
}
SIZES = {"16 to 256 GiB": LABELS, "16 to 96 GiB": ODD_LABELS}


def one(board_name: str, sizes: str, seed: int, types: int, *, beside: bool) -> None:
    """Solve one request and print its time, effort and whether it is proven, as JSON."""
    make, stock = BOARDS[board_name]
    board = make(SIZES[sizes])
    request = large_request(board, seed, types=types, stock=stock)
    began = time.process_time()
    try:
        answer = solve(board, request, alternatives=beside)
        reached = dict(zip((each.name for each in answer.criteria), answer.best.vector, strict=True))
        said = {"proven": answer.proven, "effort": answer.effort, "bound": _bound(answer.bound, reached)}
    except ImpossibleError:
        said = {"proven": True, "effort": 0, "bound": "nothing fits"}
    print(json.dumps({"seconds": time.process_time() - began, "gib": request.capacity_gib, **said}))  # noqa: T201


def _bound(bound: Bound | None, reached: Mapping[str, Value]) -> str:
    """The first criterion that is not proven: what was reached, and what cannot be passed."""
    if bound is None or bound.value is None:
        return "" if bound is None else bound.criterion
    return f"{bound.criterion} {float(reached[bound.criterion]):g}, at best {float(bound.value):g}"


def main(argv: Sequence[str] = ()) -> int:
    """Print a line for each board and set of sizes."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench hard --", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", type=int, default=10)
    parser.add_argument("--types", type=int, default=2, help="types used at most")
    parser.add_argument("--beside", action="store_true")
    parser.add_argument("--board", choices=BOARDS, action="append")
    parser.add_argument("--one", nargs=4, metavar=("BOARD", "SIZES", "SEED", "TYPES"), help=argparse.SUPPRESS)
    options = parser.parse_args(argv)
    if options.one:
        name, sizes, seed, types = options.one
        one(name, sizes, int(seed), int(types), beside=options.beside)
        return 0
    print(f"{options.types} types used{', with all that stands beside the answer' if options.beside else ''}")  # noqa: T201
    for name in options.board or BOARDS:
        for sizes in SIZES:
            _report(name, sizes, options.seeds, options.types, beside=options.beside)
    return 0


def _report(name: str, sizes: str, seeds: int, types: int, *, beside: bool) -> None:
    times, peaks, open_ones = [], [], []
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(seeds):
            command = ["-m", "tests.bench.hard", "--one", name, sizes, str(seed), str(types)]
            process = measured([*command, *(["--beside"] if beside else [])], Path(folder, "out"))
            said = json.loads(process.output)
            times.append((said["seconds"], seed))
            peaks.append(process.peak_mb)
            if not said["proven"]:
                open_ones.append(f"seed {seed} best found, {said['bound']}")
    median, (worst, worst_seed) = statistics.median(seconds for seconds, _ in times), max(times)
    print(  # noqa: T201
        f"{name:<50} {sizes:<14} {seeds} requests  median {median:6.3f} s  worst {worst:6.3f} s (seed {worst_seed})  "
        f"peak {max(peaks):4.0f} MB  {seeds - len(open_ones)} proven {'; '.join(open_ones)}",
        flush=True,
    )


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
