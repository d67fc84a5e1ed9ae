"""A search that takes a while: what it is at, on a terminal; Ctrl-C ends it with the best found so far."""

from __future__ import annotations

import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from fractions import Fraction
from types import FrameType
from typing import TypeVar

from dimmplan.cli import terminal
from dimmplan.errors import StoppedError
from dimmplan.solve.budget import EffortSpent, Progress, heard_by
from dimmplan.units import trimmed

QUIET_SECONDS, BETWEEN_SECONDS = 1.0, 0.25
T = TypeVar("T")


class Waiting:
    """Shows how far a search is after a second. The first Ctrl-C ends it, the second one the process."""

    def __init__(self) -> None:
        self.stopping = False
        self._next = time.monotonic() + QUIET_SECONDS
        self._width = 0

    def hear(self, progress: Progress) -> None:
        """Show how far a search is, now and then."""
        if time.monotonic() >= self._next and not terminal.Volume.quiet and sys.stderr.isatty():
            self._next = time.monotonic() + BETWEEN_SECONDS
            self._show(progress_text(progress))

    def stop(self, _signal: int, _frame: FrameType | None) -> None:
        """End the search with the best found; what comes after another Ctrl-C is the end at once."""
        self.stopping = True
        signal.signal(signal.SIGINT, signal.SIG_DFL)

    def unless_stopped(self, work: Callable[[], T], otherwise: T) -> T:
        """What else there is to work out, unless Ctrl-C is pressed before or meanwhile."""
        if self.stopping:
            return otherwise
        try:
            found = work()
        except (EffortSpent, StoppedError):
            if not self.stopping:
                raise
            return otherwise
        return otherwise if self.stopping else found

    def clear(self) -> None:
        """Take away what was shown."""
        if self._width:
            self._show("")

    def _show(self, text: str) -> None:
        sys.stderr.write(f"\r{text.ljust(self._width)}\r{text}")
        sys.stderr.flush()
        self._width = len(text)


@contextmanager
def waiting() -> Iterator[Waiting]:
    """Searches meanwhile say how far they are and end at Ctrl-C with the best found."""
    found = Waiting()
    here = threading.current_thread() is threading.main_thread()
    before = signal.signal(signal.SIGINT, found.stop) if here else None
    try:
        with heard_by(found):
            yield found
    finally:
        found.clear()
        if here and not found.stopping:
            signal.signal(signal.SIGINT, before)


def progress_text(progress: Progress) -> str:
    """One short line: what is decided, the best so far, and what nothing left can beat where that is better."""
    names = [criterion.name for criterion in progress.criteria]
    if progress.best is None:
        return f"Searching: {_words(progress.deciding)}; nothing found yet. Ctrl-C stops."
    shown = (("over_gib", "{} GiB over"), ("balanced_sweep", "{} GB/s"))
    best = ", ".join(form.format(_number(progress.best[names.index(name)])) for name, form in shown if name in names)
    pairs = enumerate(zip(progress.best, progress.possible, strict=True))
    open_at = next((index for index, (one, other) in pairs if one != other), None)
    more = "" if open_at is None else f"; {_words(names[open_at])} at best {_number(progress.possible[open_at])}"
    return f"Searching: {_words(progress.deciding)}; so far {best}{more}. Ctrl-C gives the best so far."


def _words(name: str) -> str:
    return name.removesuffix("_gib").replace("_", " ")


def _number(value: int | Fraction) -> str:
    return trimmed(Fraction(value), 1)
