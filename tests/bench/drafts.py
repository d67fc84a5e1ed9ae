"""How well drafts read the words of machines: the families built in the tests, and a file of real machines' words.

``python -m tests.bench drafts -- words.json``: a list of machines with ``processors`` (``designation``, ``seated``),
``slots`` (``locator``, ``bank``, ``gib``) and ``by_words``, for each slot ``socket`` and ``channel``, or null.
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from pathlib import Path
from typing import Any

from tests.machine.families import FAMILIES, Machine, Slot, score, tally


def main(argv: list[str]) -> int:
    """Print the scores; 1 where a draft is wrong and asks nothing."""
    parts = {"families built in the tests": list(FAMILIES)}
    for path in argv:
        parts[path] = [_machine(each) for each in json.loads(Path(path).read_text(encoding="utf-8"))]
    worst = 0
    for name, machines in parts.items():
        counts = tally(machines)
        worst |= counts["wrong and silent"] > 0
        sys.stdout.write(f"{name}: {len(machines)} machines\n")
        sys.stdout.writelines(f"  {count:5} {what}\n" for what, count in sorted(counts.items()))
        for what in ("sockets", "channels"):
            sys.stdout.write(_share(counts, what))
        for machine in machines:
            got = score(machine)
            if False in (got.sockets_right, got.channels_right):
                sys.stdout.write(f"  wrong: {machine.name} {'in silence' if got.silent else 'and asked'}\n")
    return worst


def _share(counts: Counter[str], what: str) -> str:
    right = sum(count for text, count in counts.items() if text.startswith(f"{what} right"))
    judged = right + sum(count for text, count in counts.items() if text.startswith(f"{what} WRONG"))
    return f"  {what} right on {100 * right / judged if judged else 0:.1f} % of {judged} judged\n"


def _machine(entry: dict[str, Any]) -> Machine:
    said = entry["by_words"] or [None] * len(entry["slots"])
    return Machine(
        name=entry["machine"],
        processors=tuple(p["designation"] + ("" if p["seated"] else "-") for p in entry["processors"]),
        slots=tuple(
            Slot(
                slot["locator"], slot["bank"], bool(slot["gib"]), *((w["socket"], w["channel"]) if w else (None, None))
            )
            for slot, w in zip(entry["slots"], said, strict=True)
        ),
    )
