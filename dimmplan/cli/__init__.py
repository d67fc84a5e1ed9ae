"""The command line: read, call, write. One file per command, no domain logic, nothing imported before it is used."""

from __future__ import annotations

import atexit
import gc
import sys
from collections.abc import Sequence

COLLECT_AFTER = 100_000
"""New objects between two looks for garbage cycles: a command makes few, and looking took a tenth of its time."""


def main(arguments: Sequence[str] | None = None) -> None:
    """The ``dimmplan`` command. Exits with 0 done, 1 the answer is no, 2 the call or an input is wrong."""
    from dimmplan.cli.run import run

    gc.set_threshold(COLLECT_AFTER, *gc.get_threshold()[1:])
    atexit.register(gc.freeze)  # else the interpreter looks through all of it for cycles, to leave: a fifth of a run
    sys.exit(run(list(sys.argv[1:] if arguments is None else arguments)))
