"""The files of a machine in a fleet's folder: known again when they are whole, tidied when they are not."""

from __future__ import annotations

import json
import re
import tempfile
from collections.abc import Collection
from contextlib import suppress
from pathlib import Path
from typing import IO, Any

from dimmplan.bounded import read_file
from dimmplan.cli.files import digest_of, files_beside, remove_unchanged
from dimmplan.errors import InputError

MACHINE = "machine.json"
"""Written last into a machine's folder: it names the request and the digests of the other files."""
_MOST_MACHINE_BYTES = 1 << 20
_LEFT_BY_A_KILL = re.compile(r"\.dimmplan-[a-z0-9_]{8}\.tmp")

Record = dict[str, Any]


def spool() -> IO[str]:
    """A nameless file for rows on their way, so that they need no memory."""
    return tempfile.TemporaryFile("w+", encoding="utf-8", newline="")


def read_machine(folder: Path, digest: str) -> Record | None:
    """The summary of a machine that was done for the same request, if all its files are as written."""
    try:
        known = json.loads(read_file(folder / MACHINE, most=_MOST_MACHINE_BYTES, allowed=""))
        if known["request"] != digest:
            return None
        for name, its in known["files"].items():
            if Path(name).name != name or digest_of(folder / name) != its:
                return None
        summary: Record = known["summary"]
        return summary if summary["status"] == "planned" else None
    except (InputError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None


def tidy(folder: Path, names: Collection[str] = ()) -> frozenset[str]:
    """Take away what a run that was stopped, or one for another request, has left in a folder of ours.

    Only files that such a run wrote and nobody has changed since: those of a machine that its intact record names, but
    for ``names``, which are written anew. Returns the digests of what is ours there.
    """
    with suppress(OSError):
        for path in folder.glob(".dimmplan-*.tmp"):
            if _LEFT_BY_A_KILL.fullmatch(path.name) and path.is_file():
                path.unlink(missing_ok=True)
    known = files_beside(folder / MACHINE)
    remove_unchanged(folder, known, names)
    if known:
        (folder / MACHINE).unlink(missing_ok=True)
    return frozenset(known.values())
