"""The whole matrix, one line for each cell: board x paper x ink x way x what is in it, and a long title block.

Run as ``python -m tests.sheet.matrix [--board NAME] [--quick]``: prints the smallest capitals, the smallest contrast
and the number of pixels where text touches something (0), and ends with status 1 where a cell has a fault.
"""

from __future__ import annotations

import argparse
import itertools
import sys

from dimmplan.output.svg import render_svg
from dimmplan.sheet.measure import cap_height
from dimmplan.sheet.style import contrast_pairs
from tests.sheet.inkcheck import check
from tests.sheet.pages import BOARDS, sheet, texts
from tests.sheet.placements import FILLS
from tests.sheet.test_change import change_sheet
from tests.sheet.test_ink import LONG
from tests.sheet.test_print import contrast

PAPERS, INKS, WAYS = ("a4", "letter", "a5"), ("colour", "mono"), ("down", "up")


def main() -> int:
    """Draw every cell; the number of cells with a fault."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--board", choices=BOARDS)
    parser.add_argument("--quick", action="store_true", help="colour and front down alone")
    asked = parser.parse_args()
    boards = (asked.board,) if asked.board else BOARDS
    inks, ways = (("colour",), ("down",)) if asked.quick else (INKS, WAYS)
    faults = 0
    for name, paper, ink, way, fill, given in itertools.product(
        boards, PAPERS, inks, ways, (*FILLS, "change"), ({}, LONG)
    ):
        options = {"paper": paper, "ink": ink, "front": way, **given}
        pages = (change_sheet(name, **options)[0] if fill == "change" else sheet(name, fill, **options)).pages
        found = [check(render_svg(page), dpi=110) for page in pages]
        touches = sum(ink_found.on_text + ink_found.on_line + ink_found.in_margin for ink_found in found)
        smallest = min(cap_height(text.size) for page in pages for text in texts(page))
        least = min(contrast(one, other) for _, one, other, _ in contrast_pairs(ink))
        cell = f"{name:12} {paper:6} {ink:6} {way:4} {fill:10} {'long' if given else 'short':5}"
        sys.stdout.write(
            f"{cell} pages {len(pages):2} capitals {smallest:.2f} mm contrast {least:.2f} touches {touches}\n"
        )
        faults += touches > 0 or smallest < 2.0 - 1e-9
    sys.stdout.write(f"{faults} cells with faults\n")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
