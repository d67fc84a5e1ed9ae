"""A progress bar on a terminal, and what is wrong with a row said above it."""

from __future__ import annotations

import sys

from dimmplan.cli.machine_files import Record
from dimmplan.errors import Problem


class Bar:
    """A progress bar on standard error, where that is a terminal; problems are said above it."""

    WIDTH = 30

    def __init__(self, total: int) -> None:
        self.total = total
        self.done = 0

    def __enter__(self) -> Bar:
        return self

    def __exit__(self, *_: object) -> None:
        self._clear()

    def step(self) -> None:
        """One row more."""
        self.done += 1
        if self.total:
            filled = self.WIDTH * min(self.done, self.total) // self.total
            bar = "#" * filled + "." * (self.WIDTH - filled)
            sys.stderr.write(f"\r[{bar}] {self.done} of {self.total}")
            sys.stderr.flush()

    def say(self, record: Record) -> None:
        """Name what is wrong with a row."""
        if record["status"] == "planned":
            return
        self._clear()
        for each in record["problems"]:
            problem = Problem(file=str(record["tag"]), **each)
            sys.stderr.write(f"{record['status']}: {problem.sentence()}\n")

    def _clear(self) -> None:
        if self.total and self.done:
            sys.stderr.write("\r" + " " * (self.WIDTH + 24) + "\r")
