"""Reasons of every slot of fifty seeded plans on each shipped board, checked as the tests check four; prints counts.

Run: python -m tests.bench why_all [-- PLANS]
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from collections.abc import Sequence

from dimmplan.reasons.case import Case
from dimmplan.reasons.slots import slot_reasons
from tests.support import shipped_boards
from tests.why.reasons import check_reason
from tests.why.seeds import seeded_plans


def main(argv: Sequence[str] = ()) -> int:
    """Check and print, board by board."""
    plans = int(argv[0]) if argv else 50
    total: Counter[str] = Counter()
    for board in shipped_boards():
        began = time.perf_counter()
        counted: Counter[str] = Counter()
        slots = 0
        for placement in seeded_plans(board, plans):
            case = Case(board, placement)
            for reason in slot_reasons(case):
                counted += check_reason(case, reason)
                slots += 1
        total += counted
        seconds = time.perf_counter() - began
        print(f"{board.id}: {plans} plans, {slots} slots, all with a reason that holds, {seconds:.0f} s")  # noqa: T201
    for name, count in sorted(total.items()):
        print(f"  {name}: {count}")  # noqa: T201
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
