"""The benches: ``python -m tests.bench`` measures README's table of figures and prints it, ``... NAME`` one part.

Times are of the machine that runs them. Nothing here is asserted by CI, which holds ratios and counts on small samples.
"""

from __future__ import annotations

import argparse
import importlib
import os
import platform
import sys
from datetime import date

from tests.bench.processes import README

TABLE = {
    "commands": "whole commands against a bare interpreter with the same imports",
    "hard": "requests that are hard to prove: time, memory, proven",
    "scale": "growth with sockets, channels, slots, types, rows and labels",
    "search": "the search against a second exact solver on the same instance",
    "machines": "1,000 machines over 40 requests, and sharing one shelf; with -- --whole killed, resumed, on one core",
}
"""What runs where nothing is named: every row of README's table, each part in a few minutes."""

OTHERS = {
    "matrices": "the long matrices of the tests whole, of which CI takes samples",
    "opinion": "every criterion of some hundred instances by the search and by the second solver",
    "compare_speed": "comparisons in a warm process",
    "draw_speed": "time and size of drawing every shipped board full",
    "growth": "chains of later steps, and brute force on small boards",
    "codes": "plan codes: round trips and damage of every kind",
    "pages": "HTML pages in a browser: audited, walked, printed",
    "archives": "wheel and source archive built twice",
    "drafts": "drafted sockets and channels by families of words; files of machines' words behind --",
    "hostile": "hostile and damaged inputs of every form",
    "kills": "kills during writes: whole files or none",
    "damage": "plans, boards and folders of machines damaged, and two runs at once",
    "mutants": "a sample of changed rules, figures and search: which changes no test sees",
    "why_all": "reasons of every slot of seeded plans",
    "structure": "the shape of the code: modules, lines, longest functions, imports that go up",
}
"""What takes longer, or answers another question."""


def main(argv: list[str] | None = None) -> int:
    """Run the parts named, or all of README's table; what follows ``--`` goes to each part. The worst status counts."""
    arguments = sys.argv[1:] if argv is None else argv
    rest = arguments[arguments.index("--") + 1 :] if "--" in arguments else []
    parts = TABLE | OTHERS
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench",
        description=f"Without a name: {', '.join(TABLE)}, and README's table of them. Options of a part follow --.",
        epilog="\n".join(f"{name:<20}{what}" for name, what in parts.items()),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("part", nargs="*", metavar="PART", help="what to run")
    named = parser.parse_args(arguments[: arguments.index("--")] if "--" in arguments else arguments).part
    if unknown := [name for name in named if name not in parts]:
        parser.error(f"no part {unknown[0]!r}; there are {', '.join(parts)}")
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    load = f", load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    print(f"{cores} cores, {platform.system()}, Python {platform.python_version()}, {date.today()}{load}")  # noqa: T201
    status = 0
    for name in named or TABLE:
        print(f"\n## {name}: {parts[name]}\n", flush=True)  # noqa: T201
        status = max(status, importlib.import_module(f"tests.bench.{name}").main(rest))
    if README:
        print("\n## README's table of what was measured\n\n| what | figure |\n|---|---|")  # noqa: T201
        print("\n".join(f"| {what} | {figure} |" for what, figure in README))  # noqa: T201
    return status


if __name__ == "__main__":
    sys.exit(main())
