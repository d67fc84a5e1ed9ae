"""``python -m dimmplan``, and the command ``dimmplan``."""

from __future__ import annotations

import gc
import signal
import sys

from dimmplan.cli import STOPPED


def start() -> None:
    """The whole process. Exits with 0 done, 1 the answer is no, 2 the call or an input is wrong, 130 stopped."""
    gc.set_threshold(100_000)  # what is loaded at the start stays: looking through it takes a tenth of a short call
    try:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        from dimmplan.cli.run import run  # noqa: PLC0415 - Ctrl-C is caught while it is loaded

        status = run(sys.argv[1:])
    except KeyboardInterrupt:  # while modules were loaded, or words written
        status = STOPPED
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    gc.freeze()  # nor is it looked through once more as the process ends
    sys.exit(status)


if __name__ == "__main__":
    start()
