"""How much of an input is read before it is refused; chosen so that no answer takes a second or 300 MB.

A server's own inventory stays far below each of these: a listing of a large machine has some 200 kB, a Redfish
collection of 48 modules, expanded, some 150 kB, an SMBIOS table at most 64 kB before version 3.
"""

from __future__ import annotations

from dimmplan.errors import InputError, Problem
from dimmplan.inventory.clean import clean

MOST_FILE_BYTES = 16 << 20
"""Any one file, zip archives included."""

MOST_EXPANDED_BYTES = 32 << 20
"""All members of an archive, or all files of a folder, together."""

MOST_FILES = 4096
"""Files in a folder or members of an archive."""

MOST_FOLDER_DEPTH = 16
"""Folders below the one that was given."""

MOST_TABLE_BYTES = 4 << 20
"""A binary SMBIOS table; 2.1 entry points cannot say more than 64 kB, 3.0 ones could."""

MOST_TEXT_BYTES = 2 << 20
"""A text listing or a label list."""

MOST_LINES = 150_000
"""Lines of a listing; a machine of 1536 slots has some 60 000, blank ones counted."""

MOST_JSON_BYTES = 4 << 20
"""One JSON file: Python holds up to some thirty times this in memory."""

MOST_JSON_CONTAINERS = 100_000
"""Objects and arrays of all JSON files together; a module has some fifteen."""

MOST_JSON_TOTAL_BYTES = 6 << 20
"""All JSON files that speak of memory, processors or systems together."""

MOST_JSON_DEPTH = 64
"""Nesting of objects and arrays; resources of the standard stay below ten."""

MOST_STRUCTURES = 1 << 14
"""Structures in one SMBIOS table; a large machine has some six hundred."""

MOST_DEVICES = 2048
"""Memory devices in one inventory; 32 sockets of 48 slots are 1536."""


def too_much(file: str, found: str, allowed: str, *, place: str = "", hint: str = "") -> InputError:
    """The refusal of an input that is beyond a limit."""
    return InputError(Problem(file=clean(file), place=place, found=found, allowed=allowed, hint=hint))


def check_size(size: int, most: int, *, file: str, what: str) -> None:
    """Raise ``InputError`` where ``what`` is larger than ``most`` bytes."""
    if size > most:
        raise too_much(file, f"{what} of more than {most >> 20} MiB", f"at most {most >> 20} MiB")


def check_devices(count: int, *, file: str) -> None:
    """Raise ``InputError`` where more memory devices are listed than any machine has."""
    if count > MOST_DEVICES:
        raise too_much(file, f"more than {MOST_DEVICES} memory devices", f"at most {MOST_DEVICES}")
