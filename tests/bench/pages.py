"""Pages of every shipped board in a browser: audited in every look, walked by arrow keys, printed on every paper.

Run: python -m tests.bench.pages (needs chromium and pdftotext)
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Sequence
from itertools import cycle
from pathlib import Path
from typing import get_args

from dimmplan.boardfile.read import load_board, shipped_ids
from dimmplan.cli.sheets import sheet_files
from dimmplan.sheet.paper import PaperName
from tests.page.browsing import LOOKS, Opened, assert_audited, assert_prints_as, assert_walked, started
from tests.sheet.placements import FILLS, make


def main(_argv: Sequence[str] = ()) -> int:
    """Print a line for each board; an assertion that fails ends it."""
    looks = cycle(LOOKS)
    with started() as browser, tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for board in (load_board(each) for each in shipped_ids()):
            times, sizes, maps = [], [], 0
            for fill, paper in zip(FILLS, cycle(get_args(PaperName)), strict=False):
                placement = make(board, fill)
                began = time.process_time()
                (content,) = sheet_files(board, placement, Path("x.html"), paper=paper).values()
                times.append(time.process_time() - began)
                sizes.append(len(content))
                (own,) = sheet_files(board, placement, Path("x.pdf"), paper=paper).values()
                (folder / "x.html").write_bytes(content)
                with Opened(browser, (folder / "x.html").as_uri(), **LOOKS[next(looks)]) as opened:
                    opened.locator("a.slot-link").last.click()
                    assert_audited(opened)
                    maps += assert_walked(opened)
                    assert_prints_as(opened, own, folder)
            most, largest = 1000 * max(times), max(sizes) / 1000
            print(f"{board.id}: {len(times)} pages, {maps} maps, at most {most:.0f} ms and {largest:.0f} kB")  # noqa: T201
    return 0


if __name__ == "__main__":
    sys.exit(main())
