"""Whole commands, each a cold process, against a bare interpreter that imports the same libraries.

Run: python -m tests.bench commands [-- --runs N]

The runs are taken in turn, so that what else the machine does meets all of them alike.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from tests.bench.processes import README, Process, measured

BARE = "bare interpreter, same imports"
ROW = ("plan --json", "plan --out, SVG", "draw CODE -o x.svg", "--help")
IMPORTS = "import typer; from pydantic import BaseModel"
REQUEST = ("plan", "skerry-16", "--capacity", "384GiB", "--module", "32GiB")
TARGETS = {"plan --out, SVG": 4.4, "plan --json": 3.5, "--help": 1.0, "draw CODE -o x.svg": 3.5}
"""Times of the bare interpreter that a command is meant to stay below: 3.2, 2.5 and 2.5 of one that also imports
svgwrite, which takes 1.39 times this one."""


def main(argv: Sequence[str] = ()) -> int:
    """Print medians and ratios."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench commands --",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--runs", type=int, default=9)
    runs = parser.parse_args(argv).runs
    with tempfile.TemporaryDirectory() as name:
        found = run_in_turn(Path(name), runs)
    for each, processes in found.items():
        failed = [process for process in processes if process.status]
        if failed:
            print(f"{each}: status {failed[0].status}\n{failed[0].output}")  # noqa: T201
            return 1
        _report(each, processes, found[BARE])
    told = [f"{processor_ratio(found[each], found[BARE]):.1f}" for each in ROW]
    what = "`plan --json`, `plan --out` with its sheet, a code drawn as SVG, `--help`"
    bare = "times the processor time of a bare interpreter that imports typer and pydantic"
    README.append((what, f"{', '.join(told[:-1])} and {told[-1]} {bare}"))
    return 0


def run_in_turn(folder: Path, runs: int) -> dict[str, list[Process]]:
    """So many runs of every command, by its name, after one of each that warms the disk's cache."""
    commands = _commands(folder)
    found: dict[str, list[Process]] = {each: [] for each in commands}
    for _ in range(runs + 1):
        for each, arguments in commands.items():
            found[each].append(measured(arguments, folder / "printed"))
    return {each: processes[1:] for each, processes in found.items()}


def processor_ratio(processes: list[Process], bare: list[Process]) -> float:
    """Median of processor time over that of the bare interpreter, pair by pair."""
    return statistics.median(one.processor / other.processor for one, other in zip(processes, bare, strict=True))


def _commands(folder: Path) -> dict[str, list[str]]:
    tool = ["-m", "dimmplan"]
    planned = measured([*tool, *REQUEST, "--json"], folder / "plan.json")
    assert planned.status == 0, planned.output
    coded = measured(
        ["-c", "import json, sys; print(json.load(open(sys.argv[1]))['code'])", str(folder / "plan.json")],
        folder / "code",
    )
    return {
        BARE: ["-c", IMPORTS],
        "plan --out, SVG": [*tool, *REQUEST, "--out", str(folder / "plan"), "--force"],
        "plan --json": [*tool, *REQUEST, "--json"],
        "--help": [*tool, "--help"],
        "draw CODE -o x.svg": [*tool, "draw", coded.output.strip(), "-o", str(folder / "x.svg"), "--force"],
    }


def _report(name: str, processes: list[Process], bare: list[Process]) -> None:
    pairs = list(zip(processes, bare, strict=True))
    wall = statistics.median(one.wall / other.wall for one, other in pairs)
    processor = processor_ratio(processes, bare)
    target = f"  target {TARGETS[name]}" if name in TARGETS else ""
    print(  # noqa: T201
        f"{name:<32} {statistics.median(p.wall for p in processes) * 1000:6.0f} ms, processor "
        f"{statistics.median(p.processor for p in processes) * 1000:6.0f} ms, "
        f"{max(p.peak_mb for p in processes):4.0f} MB  "
        f"ratio {wall:.2f}, processor {processor:.2f}{target}"
    )


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
