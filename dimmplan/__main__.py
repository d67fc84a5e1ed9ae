"""``python -m dimmplan``, and the command ``dimmplan``."""

from __future__ import annotations

import signal


def start() -> None:
    """The whole process. Until the command can say that it was stopped, Ctrl-C ends it as any program: quietly, 130."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    from dimmplan.cli import main  # noqa: PLC0415 - after the signal is set

    main()


if __name__ == "__main__":
    start()
