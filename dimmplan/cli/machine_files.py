"""The files of a machine in a fleet's folder: known again when they are whole, tidied when they are not."""

from __future__ import annotations

import hashlib
import json
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import IO, Any

MACHINE = "machine.json"
"""Written last into a machine's folder: it names the request and the digests of the other files."""
_MOST_MACHINE_BYTES = 1 << 20

Record = dict[str, Any]


def spool() -> IO[str]:
    """A nameless file for rows on their way, so that they need no memory."""
    return tempfile.TemporaryFile("w+", encoding="utf-8", newline="")


def read_machine(folder: Path, digest: str, *, whole: bool) -> Record | None:
    """The summary of a machine that was done for the same request; with ``whole``, if all its files are as written."""
    try:
        with (folder / MACHINE).open("rb") as handle:
            known = json.loads(handle.read(_MOST_MACHINE_BYTES))
        if known["request"] != digest:
            return None
        for name, its in known["files"].items() if whole else ():
            if hashlib.sha256((folder / Path(name).name).read_bytes()).hexdigest() != its:
                return None
        summary: Record = known["summary"]
        return summary if summary["status"] == "planned" else None
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None


def tidy(folder: Path, names: Sequence[str]) -> None:
    """Take away what a run that was stopped, or one for another request, has left in a machine's folder."""
    for path in folder.glob(".dimmplan-*.tmp"):
        path.unlink(missing_ok=True)
    try:
        known = json.loads((folder / MACHINE).read_bytes()[:_MOST_MACHINE_BYTES])
        old = [Path(name).name for name in known["files"] if known["made_by"] == "dimmplan"]
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return
    for name in (MACHINE, *old):
        if name not in names:
            (folder / name).unlink(missing_ok=True)
