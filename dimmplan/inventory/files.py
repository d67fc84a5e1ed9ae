"""Files of an inventory: how much of them is read, and how they are taken out of a folder or a zip archive.

Links and special files are left alone, archives inside archives are not opened, nothing is unpacked, and an archive is
judged by what its members really expand to, not by what it says of them. Limits are chosen so that no answer takes a
second or 300 MB; a server's own inventory stays far below each of them: a listing of a large machine has some 200 kB, a
Redfish collection of 48 modules, expanded, some 150 kB, an SMBIOS table at most 64 kB before version 3.
"""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from dimmplan.bounded import open_regular
from dimmplan.errors import InputError, Problem
from dimmplan.inventory.clean import clean
from dimmplan.inventory.locators import natural

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


_END_RECORD = b"PK\x05\x06"
_ZIP64_LOCATOR = b"PK\x06\x07"
_MEMBER_RECORD = b"PK\x01\x02"
_EARLIEST_YEAR = 1981
"""Archives that keep no time write the first day of 1980."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Piece:
    """One file: its path inside a bundle, cleaned, its content, and the day it was saved where that is known.

    ``file`` is what errors call it, where that is not its name.
    """

    name: str
    content: bytes
    day: str | None = None
    file: str = ""

    @property
    def slot(self) -> str:
        """The slot that the file is named for: its name without its ending, or its folder's for a general name."""
        path = PurePosixPath(self.name)
        general = path.stem in ("eeprom", "spd", "index") and path.parent.name
        return clean(path.parent.name if general else path.stem)


def from_folder(folder: Path) -> tuple[list[Piece], list[str]]:
    """The files of a folder and of those below it, in natural order, and the names of files that cannot be read."""
    file = clean(str(folder))
    pieces: list[Piece] = []
    unread: list[str] = []
    total = 0
    for path in _files(folder, 0):
        if len(pieces) + len(unread) >= MOST_FILES:
            raise too_much(file, f"more than {MOST_FILES} files", f"at most {MOST_FILES} files")
        name = clean(path.relative_to(folder).as_posix())
        try:
            with open_regular(path, allowed="a file") as stream:
                content = stream.read(MOST_EXPANDED_BYTES - total + 1)
        except InputError:
            unread.append(name)
            continue
        total += len(content)
        check_size(total, MOST_EXPANDED_BYTES, file=file, what="a folder")
        pieces.append(Piece(name=name, content=content))
    return sorted(pieces, key=lambda piece: natural(piece.name)), unread


def _files(folder: Path, depth: int) -> Iterator[Path]:
    """Regular files below a folder; links are not followed, hidden files are left out."""
    if depth > MOST_FOLDER_DEPTH:
        raise too_much(str(folder), "folders nested too deep", f"at most {MOST_FOLDER_DEPTH} levels")
    try:
        entries = sorted(folder.iterdir(), key=lambda entry: natural(entry.name))
    except OSError:
        return
    for entry in entries:
        if entry.name.startswith(".") or entry.is_symlink():
            continue
        if entry.is_dir():
            yield from _files(entry, depth + 1)
        elif entry.is_file():
            yield entry


def is_zip(content: bytes) -> bool:
    """True for bytes that begin as zip archives do."""
    return content.startswith((b"PK\x03\x04", _END_RECORD))


def from_zip(content: bytes, *, file: str) -> list[Piece]:
    """The members of a zip archive in natural order. Raises ``InputError`` for a broken or too large one."""

    def refuse(found: str) -> InputError:
        return InputError(Problem(file=file, place="", found=found, allowed="a zip archive of plain files"))

    if content.count(_MEMBER_RECORD) > MOST_FILES:
        raise too_much(file, f"more than {MOST_FILES} members", f"at most {MOST_FILES} members")
    end = content.rfind(_END_RECORD)
    if end < 0 or end + 22 > len(content) or content[max(0, end - 20) : end].startswith(_ZIP64_LOCATOR):
        raise refuse("a zip archive that is cut off or of a form not read here")
    if struct.unpack_from("<I", content, end + 12)[0] > end:
        raise refuse("a zip archive that is cut off")
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            return sorted(_members(archive, file=file), key=lambda piece: natural(piece.name))
    except (zipfile.BadZipFile, zlib.error, EOFError, struct.error, NotImplementedError, RuntimeError) as error:
        raise refuse(f"a zip archive that cannot be read ({clean(str(error), most=80)})") from None
    except (ValueError, OverflowError, OSError, IndexError, KeyError):
        raise refuse("a zip archive that cannot be read") from None


def _members(archive: zipfile.ZipFile, *, file: str) -> Iterator[Piece]:
    total = 0
    for info in archive.infolist():
        name = clean(info.filename)
        base = PurePosixPath(name).name
        if info.is_dir() or base.startswith(".") or name.startswith("__MACOSX/"):
            continue
        if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise zipfile.BadZipFile("a compression that is not read here")
        with archive.open(info) as stream:
            content = stream.read(MOST_EXPANDED_BYTES - total + 1)
        total += len(content)
        check_size(total, MOST_EXPANDED_BYTES, file=file, what="an archive that expands to")
        year, month, day = info.date_time[:3]
        saved = f"{year:04d}-{month:02d}-{day:02d}" if year >= _EARLIEST_YEAR and 1 <= month <= 12 else None
        yield Piece(name=name, content=content, day=saved if 1 <= day <= 31 else None)
