"""The door to all readers, and what a reader is: it finds out by content what an inventory is, and reads it.

An inventory is a file, a folder or a zip archive, or ``this-machine``. File names are never trusted to tell the form. A
new form is one new file with a ``READER``; nothing else names it.

Links and special files are left alone, archives inside archives are not opened, nothing is unpacked, and an archive is
judged by what its members really expand to, not by what it says of them. Limits are chosen so that no answer takes a
second or 300 MB; a server's own inventory stays far below each of them: a listing of a large machine has some 200 kB, a
Redfish collection of 48 modules, expanded, some 150 kB, an SMBIOS table at most 64 kB before version 3.
"""

from __future__ import annotations

import io
import os
import re
import struct
import zipfile
import zlib
from abc import ABC, abstractmethod
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib import import_module
from pathlib import Path, PurePosixPath
from pkgutil import iter_modules
from typing import ClassVar

import dimmplan.inventory
from dimmplan.bounded import open_regular, read_file
from dimmplan.errors import InputError, Problem
from dimmplan.inventory.clean import clean, decode_file
from dimmplan.inventory.locators import natural
from dimmplan.inventory.oddities import Oddities
from dimmplan.inventory.wrapped import unwrapped
from dimmplan.model.inventory import Inventory

THIS_MACHINE = "this-machine"

MOST_FILE_BYTES = 16 << 20
"""Any one file, zip archives included."""
MOST_EXPANDED_BYTES = 32 << 20
"""All members of an archive, or all files of a folder, together."""
MOST_FILES = 4096
"""Files in a folder or members of an archive."""
MOST_FOLDER_DEPTH = 16
"""Folders below the one that was given."""
MOST_TEXT_BYTES = 2 << 20
"""A text listing or a label list."""
MOST_DEVICES = 2048
"""Memory devices in one inventory; 32 sockets of 48 slots are 1536."""

_HINT = "On the machine: sudo dmidecode --dump-bin machine.bin, or dmidecode > machine.txt"
_DIGITS = "bytes printed as digits that are not all there, or of several modules"
_ONE_DUMP = "Give one whole dump in a file: xxd FILE > dump.txt, or the file itself."
_RECORD = "an error record, which is no inventory"
_LOCATE = "An error record is read by: dimmplan locate BOARD - < FILE"
_IMAGES = (
    "Give the images themselves: the files eeprom of /sys/bus/i2c/drivers/ee1004/ or spd5118/, one for each module."
)
_OTHERS = tuple(
    (re.compile(mark, re.MULTILINE | re.IGNORECASE), called, hint)
    for mark, called, hint in (
        (
            r"^[ \t]{0,40}\*-(?:bank|memory|core|firmware)\b|\"class\"\s{0,9}:\s{0,9}\"memory\"",
            "a list of lshw, which has no ranks",
            _HINT,
        ),
        (r"\bArray-\d{1,3}: capacity:|\bDevice-\d{1,3}: .{0,60}\bsize:", "a list of inxi, which has no ranks", _HINT),
        (r"^# decode-dimms|=== SPD EEPROM Information ===", "what a program decoded of SPD images", _IMAGES),
        (r"^[ \t#]{0,40}[0-9a-f]{2}:( [0-9a-f]{2}){16}|^[0-9a-f]{6,8}:?( {1,2}[0-9a-f]{2,4}){8}", _DIGITS, _ONE_DUMP),
        (
            r"EDAC\b.{0,200}\b[CU]E\b|SrcID#\d|\bmc#?\d{1,3}: ?csrow|\[Hardware Error\]|\bMCE \d|\| Memory\b.{0,80}ECC",
            _RECORD,
            _LOCATE,
        ),
        (r"^FRU Device Description", "a list of a management controller's parts", _HINT),
        (r"^Mem(?:Total)?:\s{1,40}\d", "how much memory a system uses, which names no module", _HINT),
        (r"\"electrical_digest\"\s{0,9}:", "a plan, which says what a machine is to hold", _HINT),
        (r"^MEMORY_DEVICE_\w*=", "a list of udev", _HINT),
        (r"^[ \t]{0,40}Size:[ \t]{0,9}(?:\d{1,9} [KMGT]i?B|No Module Installed)", "sizes without locators", _HINT),
    )
)
"""Forms that people give and that are not read: a mark of each, what it is, and what to give."""


def too_much(file: str, found: str, allowed: str) -> InputError:
    """The refusal of an input that is beyond a limit."""
    return InputError(Problem(file=clean(file), found=found, allowed=allowed))


def check_size(size: int, most: int, *, file: str, what: str) -> None:
    """Raise ``InputError`` where ``what`` is larger than ``most`` bytes."""
    if size > most:
        raise too_much(file, f"{what} of more than {most >> 20} MiB", f"at most {most >> 20} MiB")


def check_devices(count: int, *, file: str) -> None:
    """Raise ``InputError`` where more memory devices are listed than any machine has."""
    if count > MOST_DEVICES:
        raise too_much(file, f"more than {MOST_DEVICES} memory devices", f"at most {MOST_DEVICES}")


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


class Reader(ABC):
    """Sniffs, reads and names one form.

    ``form`` is the form's id in JSON, ``name`` what it is called to people, ``given`` what to give, in a refusal.
    ``several`` says that many files may make one inventory; ``by_look`` that the form has no mark of its own and is
    asked for after all that have one.
    """

    form: ClassVar[str]
    name: ClassVar[str]
    given: ClassVar[str]
    several: ClassVar[bool] = False
    by_look: ClassVar[bool] = False

    @abstractmethod
    def sniff(self, content: bytes, text: str | None) -> bool:
        """True for the bytes of one file of this form; ``text`` is the file as text, ``None`` where it is none."""

    @abstractmethod
    def read(self, pieces: Sequence[Piece], *, file: str, odd: Oddities) -> Inventory:
        """The inventory of one file, or of many where the form has several. Raises ``InputError``."""

    def whole(self, pieces: Sequence[Piece]) -> bool:
        """True where just these files together are one inventory, though none of them is one alone."""
        del pieces
        return False

    def of_this_machine(self) -> Inventory | None:
        """The running machine's inventory, in the form that a system keeps; ``None`` for every other form."""
        return None


@cache
def readers() -> tuple[Reader, ...]:
    """Every reader of the package, those with a mark of their own first."""
    package = dimmplan.inventory
    modules = [import_module(f"{package.__name__}.{each.name}") for each in iter_modules(package.__path__)]
    found = [module.READER for module in modules if hasattr(module, "READER")]
    return tuple(sorted(found, key=lambda reader: reader.by_look))


def form_name(form: str) -> str:
    """What a form is called to people."""
    return next(reader.name for reader in readers() if reader.form == form)


def allowed_forms() -> str:
    """What may be given, in a refusal."""
    return f"{', '.join(reader.given for reader in readers())}, or a folder or zip archive of such files"


def read_inventory(source: str | os.PathLike[str] | bytes, *, name: str = "") -> Inventory:
    """Read an inventory from a path, from ``this-machine``, or from bytes (``name`` is then what errors call it).

    Raises ``InputError`` for anything that is no inventory, is broken beyond reading, or is larger than any real one.
    """
    if isinstance(source, bytes):
        check_size(len(source), MOST_FILE_BYTES, file=clean(name), what="a file")
        return _read_content(source, name=name)
    text = os.fspath(source)
    if text == THIS_MACHINE:
        return next(inventory for reader in readers() if (inventory := reader.of_this_machine()))
    path = Path(text)
    try:
        is_folder = path.is_dir()
        exists = is_folder or path.exists()
    except (OSError, ValueError):
        is_folder = exists = False
    if not exists:
        allowed = f"an inventory file or folder, or {THIS_MACHINE}"
        raise InputError(Problem(file=clean(text), found="no such file or folder", allowed=allowed))
    if is_folder:
        return _read_bundle(*_from_folder(path), file=clean(text))
    return _read_content(read_file(path, most=MOST_FILE_BYTES, allowed="an inventory file or folder"), name=text)


def _read_content(content: bytes, *, name: str) -> Inventory:
    """Read an inventory from the bytes of one file."""
    file = clean(name)
    if _is_zip(content):
        return _read_bundle(_from_zip(content, file=file), [], file=file)
    content = _opened(content)
    reader = reader_of(content)
    if reader is None:
        what = "an empty file" if not content.strip() else "a file of none of the forms that are read"
        what, hint = other_form(content) or (what, _HINT)
        raise InputError(Problem(file=file, found=what, allowed=allowed_forms(), hint=hint))
    piece = Piece(name=clean(Path(name).name), content=content, file=file)
    return reader.read([piece], file=file, odd=Oddities())


def other_form(content: bytes) -> tuple[str, str] | None:
    """What a file is that people give and no reader reads, and what to give in its place; ``None`` where unknown."""
    text = (decode_file(content[: 1 << 16]) or "") if content else ""
    return next(((called, hint) for mark, called, hint in _OTHERS if mark.search(text)), None)


def _opened(content: bytes) -> bytes:
    """What the bytes are wrapped round, where a reader knows that."""
    inner = unwrapped(content)
    return inner if inner is content or reader_of(inner) is not None else content


def reader_of(content: bytes) -> Reader | None:
    """The reader of the form that bytes have; ``None`` for none of the forms, and for an archive."""
    if _is_zip(content):
        return None
    text = decode_file(content)
    return next((reader for reader in readers() if reader.sniff(content, text)), None)


def _read_bundle(pieces: Sequence[Piece], unread: Sequence[str], *, file: str) -> Inventory:
    """Read the files of a folder or an archive as one inventory; what is none of it is noted.

    Many files may make one inventory (images, JSON). Of the other forms one file is read, and more are refused:
    which of several machines is meant is not for this program to say.
    """
    odd = Oddities()
    pieces = [replace(piece, content=_opened(piece.content)) for piece in pieces]
    together = next((reader for reader in readers() if reader.whole(pieces)), None)
    if together is not None:
        return together.read(pieces, file=file, odd=odd)
    form_of = [(piece, reader_of(piece.content)) for piece in pieces]
    known = [(piece, reader) for piece, reader in form_of if reader is not None]
    reader = _one_form(known, file=file)
    for piece, form in form_of:
        if form is None:
            odd.note("file-ignored", piece.name)
    for name in unread:
        odd.note("file-unreadable", name)
    found = reader.read([piece for piece, _ in known], file=file, odd=odd)
    saved = max((piece.day for piece, _ in known if piece.day), default=None)
    return found if found.date else replace(found, date=saved)


def _one_form(known: Sequence[tuple[Piece, Reader]], *, file: str) -> Reader:
    """The reader of a bundle. Raises ``InputError`` where there is no inventory in it, or more than one to choose."""
    forms = {reader for _, reader in known}
    if not forms:
        raise InputError(Problem(file=file, found="no inventory in it", allowed=allowed_forms(), hint=_HINT))
    reader = known[0][1]
    if len(forms) > 1 or (len(known) > 1 and not reader.several):
        names = ", ".join(piece.name for piece, _ in known[:5])
        found = f"{len(known)} inventories to choose from ({names}{', ...' if len(known) > 5 else ''})"
        raise InputError(Problem(file=file, found=found, allowed="one inventory", hint="Name one of them."))
    return reader


# --- folders and archives ---------------------------------------------------------------------------------------------

_END_RECORD = b"PK\x05\x06"
_ZIP64_LOCATOR = b"PK\x06\x07"
_MEMBER_RECORD = b"PK\x01\x02"
_EARLIEST_YEAR = 1981
"""Archives that keep no time write the first day of 1980."""


def _in_order(pieces: Iterator[Piece] | Sequence[Piece]) -> list[Piece]:
    return sorted(pieces, key=lambda piece: natural(piece.name))


def _from_folder(folder: Path) -> tuple[list[Piece], list[str]]:
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
    return _in_order(pieces), unread


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


def _is_zip(content: bytes) -> bool:
    """True for bytes that begin as zip archives do."""
    return content.startswith((b"PK\x03\x04", _END_RECORD))


def _from_zip(content: bytes, *, file: str) -> list[Piece]:
    """The members of a zip archive in natural order. Raises ``InputError`` for a broken or too large one."""

    def refuse(found: str) -> InputError:
        return InputError(Problem(file=file, found=found, allowed="a zip archive of plain files"))

    if content.count(_MEMBER_RECORD) > MOST_FILES:
        raise too_much(file, f"more than {MOST_FILES} members", f"at most {MOST_FILES} members")
    end = content.rfind(_END_RECORD)
    if end < 0 or end + 22 > len(content) or content[max(0, end - 20) : end].startswith(_ZIP64_LOCATOR):
        raise refuse("a zip archive that is cut off or of a form not read here")
    if struct.unpack_from("<I", content, end + 12)[0] > end:
        raise refuse("a zip archive that is cut off")
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            return _in_order(_members(archive, file=file))
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
