"""The command line: read, call, write. One file for each command, no domain logic."""

from __future__ import annotations

import signal
import sys
from collections.abc import Sequence

STOPPED = 130


def main(arguments: Sequence[str] | None = None) -> None:
    """The ``dimmplan`` command. Exits with 0 done, 1 the answer is no, 2 the call or an input is wrong, 130 stopped.

    Without ``arguments`` it is the whole process and takes them from the command line.
    """
    if arguments is not None:
        sys.exit(_run(arguments))
    try:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        status = _run(sys.argv[1:])
    except KeyboardInterrupt:  # while modules were loaded, or words written
        status = STOPPED
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    sys.exit(status)


def _run(arguments: Sequence[str]) -> int:
    from dimmplan.cli.run import run

    return run(list(arguments))
