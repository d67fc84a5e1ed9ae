"""How long a comparison takes in a warm process: 12 capacities x 5 sizes x 2 processors, on two boards.

Run: python -m tests.bench compare_speed. Times are of this machine; nothing here is asserted by CI.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable, Sequence

from dimmplan.boardfile.read import load_board
from dimmplan.compare import Comparison, compare
from dimmplan.output.compare import Report
from dimmplan.output.compare_chart import chart_svg
from dimmplan.output.compare_rows import CompareDocument, compare_csv
from dimmplan.output.record import to_json
from dimmplan.page.comparison import compare_html
from tests.compare.cases import compare_text

REPEATS = 7
SKERRY = (96, 128, 192, 256, 320, 384, 448, 512, 640, 768, 1024, 1536)
LAGOON = (256, 384, 512, 640, 768, 896, 1024, 1280, 1536, 2048, 3072, 4096)
CASES: dict[str, tuple[tuple[int, ...], tuple[str, ...]]] = {
    "skerry-16": (SKERRY, ("8GiB", "16GiB", "32GiB", "64GiB", "128GiB")),
    "lagoon-32": (LAGOON, ("16GiB", "32GB 2Rx8 PC5-4800B-R", "64GiB", "96GiB", "128GiB")),
}


def timed(what: Callable[[], object]) -> tuple[float, float, float]:
    """Best, median and worst of some runs after one that warms up, in seconds of processor time."""
    what()
    times = []
    for _ in range(REPEATS):
        start = time.process_time()
        what()
        times.append(time.process_time() - start)
    return min(times), statistics.median(times), max(times)


def report(name: str, what: Callable[[], object]) -> None:
    best, median, worst = timed(what)
    print(f"  {name:<34} best {best:6.3f} s  median {median:6.3f} s  worst {worst:6.3f} s")  # noqa: T201


def main(_argv: Sequence[str] = ()) -> int:
    """Print the times of both boards, then those of the forms and of a comparison without capacities."""
    for board_id, (capacities, modules) in CASES.items():
        board = load_board(board_id)
        processors = [option.id for option in board.processors]

        def whole() -> Comparison:
            return compare(
                board,  # noqa: B023 - called within the loop
                capacities=[f"{gib}GiB" for gib in capacities],  # noqa: B023
                modules=modules,  # noqa: B023
                processors=processors,  # noqa: B023
            )

        found = whole()
        size = f"{len(capacities)} capacities x {len(modules)} sizes x {len(processors)} processors"
        print(f"{board_id}: {size}, {len(found.rows)} rows")  # noqa: T201
        report("compare", whole)
        report("report and terminal text", lambda: compare_text(Report(found, board_name=board_id)))  # noqa: B023
        report("report and JSON", lambda: to_json(CompareDocument.of(Report(found, board_name=board_id))))  # noqa: B023
        report("report and CSV", lambda: compare_csv(Report(found, board_name=board_id)))  # noqa: B023
        report("report and chart", lambda: chart_svg(Report(found, board_name=board_id)))  # noqa: B023
        report("report and HTML", lambda: compare_html(Report(found, board_name=board_id)))  # noqa: B023
        report("compare, capacities chosen", lambda: compare(board))  # noqa: B023
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
