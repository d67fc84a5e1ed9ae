"""SMBIOS tables as bytes (DMTF DSP0134): dumps with an entry point, the bare table, and the running machine's own.

Entry points: DSP0134 5.2.1 (2.1, 32 bit) and 5.2.2 (3.0, 64 bit). Structures and their texts: 6.1.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from dimmplan.errors import InputError, Problem
from dimmplan.inventory.oddities import Oddities
from dimmplan.inventory.reader import Piece, Reader, allowed_forms, check_devices, check_size, too_much
from dimmplan.inventory.smbios import inventory_of, note_twice
from dimmplan.inventory.smbios_fields import BIOS, KINDS, MOST_STRUCTURES, Device, Raw, Structure, handle_text
from dimmplan.model.inventory import Inventory

SYSTEM_TABLES = Path("/sys/firmware/dmi/tables")
"""Where Linux shows the running machine's tables, readable by root."""
MOST_TABLE_BYTES = 4 << 20
"""A binary SMBIOS table; 2.1 entry points cannot say more than 64 kB, 3.0 ones could."""
_SYSTEM_FILES = ("smbios_entry_point", "DMI")

_DUMP_TABLE_AT = 0x20
"""Where dump files hold the table, whatever address the entry point had in memory."""

_ENTRY = re.compile(r"(?:^|/)(\d{1,3})-(\d{1,4})/raw$")
_MARKER = bytes((127, 4, 0xFF, 0xFF, 0, 0))

_HEADER = 4
_END_OF_TABLE = 127
_INACTIVE = 126
_COMMON = frozenset((*range(0, 44), 126, 127, *range(128, 256)))
_WRONG_VERSIONS = {(2, 31): (2, 3), (2, 33): (2, 3), (2, 51): (2, 6)}
"""Version bytes that firmware is known to write for others (standards, section 3.7)."""


class EntryPoint(NamedTuple):
    """What an entry point says of its table. ``exact`` is false for 3.0, whose length is only a maximum."""

    size: int
    version: tuple[int, int]
    address: int
    length: int
    structures: int | None
    exact: bool


def structure_of(raw: Raw) -> Structure:
    """The fields of a structure whose type is one of those that are read."""
    kind = KINDS[raw.type]
    short = "structure-short" if len(raw.body) < kind.shortest else ""
    return kind(raw.handle, short if raw.whole else "structure-truncated", lambda field: field.words(raw))


def _is_virtual(raw: Raw) -> bool:
    """DSP0134 7.1.2.2: bit 4 of the second extension byte (13h) says that the table is a virtual machine's."""
    return raw.type == BIOS and raw.whole and bool((raw.number(0x13, "B") or 0) >> 4 & 1)


class TableReader(Reader):
    """A dump with its entry point, a bare table, or the two files that Linux shows."""

    form = "smbios-binary"
    name = "SMBIOS tables"
    given = "an SMBIOS dump"

    def sniff(self, content: bytes, text: str | None) -> bool:
        """Bytes that begin with an entry point, or are a chain of whole structures."""
        return _is_dump(content) or (text is None and len(content) <= MOST_TABLE_BYTES and _is_bare_table(content))

    def whole(self, pieces: Sequence[Piece]) -> bool:
        """A copy of the two files that Linux shows, entry point and table, or of its folders with an entry each."""
        return (
            bool(_entries(pieces))
            or len(pieces) == 2
            and {Path(piece.name).name for piece in pieces} == set(_SYSTEM_FILES)
        )

    def of_this_machine(self, folder: Path | None = None) -> Inventory:
        """The tables that Linux shows. Raises ``InputError`` that says how to save a dump where it may not."""
        name = "this-machine"
        contents = []
        try:
            for each in _SYSTEM_FILES:
                with ((folder or SYSTEM_TABLES) / each).open("rb") as stream:
                    contents.append(stream.read(MOST_TABLE_BYTES + 1))
        except PermissionError:
            hint = (
                "Save them once to a file, and give that file instead: "
                "sudo dmidecode --dump-bin machine.bin (this tool itself needs no such right)."
            )
            problem = Problem(file=name, found="memory tables that only root may read", allowed="", hint=hint)
            raise InputError(problem) from None
        except OSError:
            hint = f"Give a file that was saved on the machine: {allowed_forms()}."
            found = "no SMBIOS tables on this machine"
            raise InputError(Problem(file=name, found=found, allowed="a Linux machine", hint=hint)) from None
        return _read_pair(contents[0], contents[1], Oddities(), file=name)

    def read(self, pieces: Sequence[Piece], *, file: str, odd: Oddities) -> Inventory:
        """Read a table, at 20h of a dump or wherever it turns out to lie."""
        if entries := _entries(pieces):
            return _read_table(b"".join(entries) + _MARKER, None, odd, file=file)
        if self.whole(pieces):
            entry, table = (next(p.content for p in pieces if Path(p.name).name == name) for name in _SYSTEM_FILES)
            return _read_pair(entry, table, odd, file=file)
        content = pieces[0].content
        check_size(len(content), MOST_TABLE_BYTES, file=file, what="an SMBIOS dump")
        if _is_dump(content):
            point = _entry_point(content, odd, file=file)
            return _read_table(content[_table_start(content, point, odd) :], point, odd, file=file)
        start = _raw_header(content)
        called = EntryPoint(0, (content[1], content[2]), 0, len(content) - start, None, True) if start else None
        return _read_table(content[start:], called, odd, file=file)


def _entries(pieces: Sequence[Piece]) -> list[bytes]:
    """The structures of a copy of /sys/firmware/dmi/entries, in order; empty where devices are not among them."""
    found = [(match, piece.content) for piece in pieces if (match := _ENTRY.search(piece.name))]
    kinds = {int(match[1]) for match, _ in found}
    ordered = sorted(found, key=lambda each: (int(each[0][1]), int(each[0][2])))
    return [content for match, content in ordered if int(match[1]) in KINDS] if Device.number in kinds else []


def _read_pair(entry: bytes, table: bytes, odd: Oddities, *, file: str) -> Inventory:
    """An entry point and its table from two files, as Linux shows them."""
    check_size(len(table), MOST_TABLE_BYTES, file=file, what="an SMBIOS table")
    return _read_table(table, _entry_point(entry, odd, file=file), odd, file=file)


# --- entry points -----------------------------------------------------------------------------------------------------


def _is_dump(content: bytes) -> bool:
    """True for a file that begins with an entry point's anchor (DSP0134 5.2.1, 5.2.2)."""
    return content.startswith((b"_SM3_", b"_SM_"))


def _is_bare_table(content: bytes) -> bool:
    """True for bytes that are a chain of whole structures, up to an end marker or to the end of the file."""
    structures, _ = walk(content[_raw_header(content) :], Oddities(), most=None)
    if not any(each.whole and each.type in KINDS for each in structures):
        return False
    known = sum(each.type in _COMMON for each in structures)
    return structures[-1].type == _END_OF_TABLE or (len(structures) >= 3 and known * 2 >= len(structures))


def _raw_header(content: bytes) -> int:
    """8 where the bytes begin with the header that one system's firmware call puts before the table, else 0.

    Known from memory: a flag, major, minor, revision, then the table's length as a double word.
    """
    if len(content) <= 8 + _HEADER or content[1] not in (2, 3):
        return 0
    return 8 if struct.unpack_from("<I", content, 4)[0] == len(content) - 8 else 0


def _entry_point(content: bytes, odd: Oddities, *, file: str) -> EntryPoint:
    """Decode an entry point of either form. Raises ``InputError`` where it is cut off.

    DSP0134 5.2.1 (2.1): length 05h, version 06h, table length 16h, address 18h, number of structures 1Ch.
    5.2.2 (3.0): length 06h, version 07h, table maximum size 0Ch, address 10h.
    """
    is_new = content.startswith(b"_SM3_")
    if len(content) < (0x18 if is_new else 0x1F) or not _is_dump(content):
        found = "an SMBIOS entry point that is cut off" if _is_dump(content) else "no SMBIOS entry point"
        raise InputError(Problem(file=file, found=found, allowed="a whole entry point"))
    size = content[6 if is_new else 5]
    usual = (0x18,) if is_new else (0x1F, 0x1E)  # 1Eh is a slip of the 2.1 document that firmware copied
    if size not in usual:
        odd.note("entry-length", f"{size} bytes")
    summed = (0x1E, 0x1F) if size == 0x1E and not is_new else (size if usual[0] <= size <= 0x40 else usual[0],)
    if all(sum(content[:end]) & 0xFF for end in summed):
        odd.note("checksum-wrong", "entry point")
    if is_new:
        length, address = struct.unpack_from("<IQ", content, 0x0C)
        entry = EntryPoint(0x18, (content[7], content[8]), address, length, None, exact=False)
    else:
        if content[0x10:0x15] == b"_DMI_" and sum(content[0x10:0x1F]) & 0xFF:
            odd.note("checksum-wrong", "second part of the entry point")
        length, address, structures = struct.unpack_from("<HIH", content, 0x16)
        entry = EntryPoint(0x1F, (content[6], content[7]), address, length, structures, exact=True)
    version = _WRONG_VERSIONS.get(entry.version)
    if version is None:
        return entry
    odd.note("version-odd", f"version {entry.version[0]}.{entry.version[1]}")
    return entry._replace(version=version)


def _table_start(content: bytes, entry: EntryPoint, odd: Oddities) -> int:
    """Where the table lies in a dump: where the entry point says, at 20h, or right behind the entry point."""
    for place in (entry.address, _DUMP_TABLE_AT, entry.size):
        if not entry.size <= place <= len(content) - _HEADER:
            continue
        if content[place + 1] >= _HEADER and place + content[place + 1] <= len(content):
            if place != entry.address:
                odd.note("table-address", f"address {entry.address:#x}")
            return place
    return min(_DUMP_TABLE_AT, len(content))


# --- structures -------------------------------------------------------------------------------------------------------


def walk(table: bytes, odd: Oddities, *, most: int | None) -> tuple[list[Raw], int]:
    """The structures of a table up to the end marker, and where the last one ends (DSP0134 6.1).

    ``most`` is the number announced: more are read only where they go on to an end marker or to the table's end.
    """
    structures: list[Raw] = []
    place = 0
    at_most = (0, 0)
    while place + _HEADER <= len(table) and len(structures) < MOST_STRUCTURES:
        kind, length, handle = struct.unpack_from("<BBH", table, place)
        if length < _HEADER:
            if most is None or len(structures) < most:
                odd.note("structure-broken", f"offset {place:#x}")
            break
        if most is not None and len(structures) == most:
            at_most = (len(structures), place)
        end = table.find(b"\0\0", place + length)
        whole = end >= 0
        texts = table[place + length : end] if whole else b""
        structures.append(Raw(kind, handle, table[place : place + length], texts, whole))
        place = end + 2 if whole else len(table)
        if kind == _END_OF_TABLE:
            break
    complete = bool(structures) and (structures[-1].type == _END_OF_TABLE or place == len(table))
    if at_most != (0, 0) and not (complete and structures[-1].whole):
        return structures[: at_most[0]], at_most[1]
    return structures, place


def _read_table(data: bytes, entry: EntryPoint | None, odd: Oddities, *, file: str) -> Inventory:
    """Read the structures of a table and judge them."""
    table = data if entry is None else data[: entry.length]
    structures, end = walk(table, odd, most=entry.structures if entry else None)
    if not structures:
        found = "an SMBIOS table without a single structure"
        raise InputError(Problem(file=file, found=found, allowed="a table of structures (DSP0134 6.1)"))
    if len(structures) >= MOST_STRUCTURES:
        raise too_much(file, f"more than {MOST_STRUCTURES} structures", f"at most {MOST_STRUCTURES}")
    _note_shape(structures, end, data, entry, odd)
    used = [each for each in structures if each.type not in (_INACTIVE, _END_OF_TABLE)]
    note_twice((each.handle for each in used), odd)
    check_devices(sum(each.type == Device.number for each in used), file=file)
    return inventory_of(
        [structure_of(each) for each in used if each.type in KINDS],
        odd,
        form=TableReader.form,
        edition=entry.version if entry else None,
        virtual=any(map(_is_virtual, used)),
        mixed="two-machines" in odd,
    )


def _note_shape(structures: list[Raw], end: int, data: bytes, entry: EntryPoint | None, odd: Oddities) -> None:
    """Compare the table with what the entry point announces."""
    ended = structures[-1].type == _END_OF_TABLE
    if not ended:
        odd.note("no-end-marker")
    for each in structures:
        if not each.whole and each.type != Device.number:
            odd.note("structure-truncated", f"structure {handle_text(each.handle)}")
    if entry is None:
        return
    if entry.length > len(data) and not (ended and not entry.exact):
        odd.note("table-cut", f"{entry.length} bytes announced, {len(data)} there")
    elif entry.exact and end < entry.length:
        odd.note("length-differs", f"{entry.length} bytes announced, {end} used")
    if entry.structures is not None and entry.structures != len(structures):
        odd.note("count-differs", f"{entry.structures} structures announced, {len(structures)} there")
    rest = data[max(end, entry.length if entry.exact else end) :]
    if b"_SM_" in rest or b"_SM3_" in rest:
        odd.note("two-machines", "a second entry point follows the table")
    elif rest.strip(b"\0\xff"):
        odd.note("trailing-bytes", f"{len(rest)} bytes")


READER = TableReader()
