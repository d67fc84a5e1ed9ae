"""Whole processes measured: seconds on the clock, seconds of processor, peak of memory; rows of README's table."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
README: list[tuple[str, str]] = []
"""Rows of README's table of figures, as parts have measured them: what, and its figure."""


@dataclass(frozen=True, slots=True)
class Process:
    """What one process took and said."""

    wall: float
    processor: float
    peak_mb: float
    status: int
    output: str


def measured(arguments: Sequence[str], output: Path) -> Process:
    """Run this interpreter with arguments; what it prints goes to a file and is read from there."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)  # a start is measured with what an earlier one compiled
    with output.open("w+", encoding="utf-8") as file:
        began = time.perf_counter()
        process = subprocess.Popen([sys.executable, *arguments], stdout=file, stderr=file, env=environment, cwd=ROOT)
        _, status, usage = os.wait4(process.pid, 0)
        wall = time.perf_counter() - began
        process.returncode = os.waitstatus_to_exitcode(status)
        file.seek(0)
        return Process(wall, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024, process.returncode, file.read())
