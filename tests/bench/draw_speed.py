"""Time and size of drawing: every shipped board full, from 4 to 96 slots.

Run: python -m tests.bench draw_speed. It prints processor time of composing and writing all pages, the largest page,
the time for each slot. Targets are 60 ms and 150 kB for 32 slots; both belong to the machine they are measured on.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Sequence

from dimmplan.boardfile.read import load_board, shipped_ids
from dimmplan.output.svg import render_svg
from dimmplan.sheet.compose import compose
from tests.sheet.placements import make

RUNS = 9


def main(_argv: Sequence[str] = ()) -> int:
    """Print a line for each board."""
    boards = sorted((load_board(name) for name in shipped_ids()), key=lambda board: len(board.slots))
    for board in boards:
        placement = make(board, "full")
        times = []
        for _ in range(RUNS):
            start = time.process_time()
            pages = [render_svg(page) for page in compose(board, placement).pages]
            times.append(time.process_time() - start)
        middle = statistics.median(times) * 1000
        largest = max(len(page.encode()) for page in pages) / 1000
        slots = len(board.slots)
        sys.stdout.write(
            f"{board.id:12} {slots:3} slots {len(pages)} pages {middle:6.1f} ms {middle / slots:5.2f} ms a slot "
            f"largest page {largest:5.1f} kB\n"
        )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
