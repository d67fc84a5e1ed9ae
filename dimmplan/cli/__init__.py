"""The command line: read, call, write. One file per command, no domain logic, nothing imported before it is used."""

from __future__ import annotations

import gc
import os
import signal
import sys
from collections.abc import Sequence
from contextlib import suppress

STOPPED = 130
COLLECT_AFTER = 100_000
"""New objects between two looks for garbage cycles: a command makes few, and looking took a tenth of its time."""


def main(arguments: Sequence[str] | None = None) -> None:
    """The ``dimmplan`` command. Exits with 0 done, 1 the answer is no, 2 the call or an input is wrong.

    Without ``arguments`` it is the whole process: it takes them from the command line and never returns.
    """
    if arguments is not None:
        sys.exit(_run(arguments))
    try:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        status = _run(sys.argv[1:])
    except KeyboardInterrupt:  # while modules were loaded, or words written
        status = STOPPED
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _leave(status)


def _run(arguments: Sequence[str]) -> int:
    from dimmplan.cli.run import run

    gc.set_threshold(COLLECT_AFTER, *gc.get_threshold()[1:])
    return run(list(arguments))


def _leave(status: int) -> None:
    """End the process at once. Files are closed and streams written; taking all modules apart took a fifth of a run."""
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError, AttributeError):
            stream.flush()
    os._exit(status)
