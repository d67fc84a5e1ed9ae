"""The command line: read, call, write. One file per command, no domain logic, nothing imported before it is used."""

from __future__ import annotations

import sys
from collections.abc import Sequence


def main(arguments: Sequence[str] | None = None) -> None:
    """The ``dimmplan`` command. Exits with 0 done, 1 the answer is no, 2 the call or an input is wrong."""
    from dimmplan.cli.run import run

    sys.exit(run(list(sys.argv[1:] if arguments is None else arguments)))
