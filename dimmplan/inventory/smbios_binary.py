"""SMBIOS tables as bytes (DMTF DSP0134): dumps with an entry point, the bare table, and the running machine's own.

Entry points: DSP0134 5.2.1 (2.1, 32 bit) and 5.2.2 (3.0, 64 bit). Structures and their texts: 6.1; their fields: 7.5,
7.17, 7.18.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from dimmplan.errors import InputError, Problem
from dimmplan.inventory import smbios_tables as tables
from dimmplan.inventory.clean import clean, decode
from dimmplan.inventory.files import MOST_STRUCTURES, MOST_TABLE_BYTES, Piece, check_devices, check_size, too_much
from dimmplan.inventory.oddities import Oddities
from dimmplan.inventory.reader import Reader
from dimmplan.inventory.smbios import (
    BIOS,
    MEMORY_ARRAY,
    MEMORY_DEVICE,
    PROCESSOR,
    Fields,
    handle_text,
    inventory_of,
)
from dimmplan.model.inventory import Inventory

SYSTEM_TABLES = Path("/sys/firmware/dmi/tables")
"""Where Linux shows the running machine's tables: ``smbios_entry_point`` and ``DMI``, readable by root."""

_DUMP_TABLE_AT = 0x20
"""Where dump files hold the table, whatever address the entry point had in memory."""

_HEADER = 4
_END_OF_TABLE = 127
_INACTIVE = 126


@dataclass(frozen=True, kw_only=True, slots=True)
class EntryPoint:
    """What an entry point says of its table. ``exact`` is false for 3.0, whose length is only a maximum."""

    size: int
    version: tuple[int, int]
    address: int
    length: int
    structures: int | None
    exact: bool


def is_dump(content: bytes) -> bool:
    """True for a file that begins with an entry point's anchor (DSP0134 5.2.1, 5.2.2)."""
    return content.startswith((b"_SM3_", b"_SM_"))


def is_bare_table(content: bytes) -> bool:
    """True for bytes that are a chain of whole structures, up to an end marker or to the end of the file."""
    start = _raw_header(content)
    structures, _ = walk(content[start:], Oddities(), most=None)
    if not any(each.whole and each.type in _OF_USE for each in structures):
        return False
    known = sum(each.type in _COMMON for each in structures)
    return structures[-1].type == _END_OF_TABLE or (len(structures) >= 3 and known * 2 >= len(structures))


_OF_USE = frozenset((PROCESSOR, MEMORY_ARRAY, MEMORY_DEVICE))
_COMMON = frozenset((*range(0, 44), 126, 127, *range(128, 256)))


class TableReader(Reader):
    """A dump with its entry point, a bare table, or the two files that Linux shows."""

    form = "smbios-binary"
    name = "SMBIOS tables"
    given = "an SMBIOS dump"

    def sniff(self, content: bytes, text: str | None) -> bool:
        """Bytes that begin with an entry point, or are a chain of whole structures."""
        return is_dump(content) or (text is None and len(content) <= MOST_TABLE_BYTES and is_bare_table(content))

    def whole(self, pieces: Sequence[Piece]) -> bool:
        """A copy of the two files that Linux shows: entry point and table."""
        return len(pieces) == 2 and {Path(piece.name).name for piece in pieces} == {"smbios_entry_point", "DMI"}

    def of_this_machine(self) -> Inventory:
        """The tables that Linux shows."""
        return read_this_machine()

    def read(self, pieces: Sequence[Piece], *, file: str, odd: Oddities) -> Inventory:
        """Read a table, at 20h of a dump or wherever it turns out to lie."""
        if self.whole(pieces):
            by_name = {Path(piece.name).name: piece.content for piece in pieces}
            return read_pair(by_name["smbios_entry_point"], by_name["DMI"], file=file)
        content = pieces[0].content
        check_size(len(content), MOST_TABLE_BYTES, file=file, what="an SMBIOS dump")
        if is_dump(content):
            entry: EntryPoint | None = read_entry_point(content, odd, file=file)
            start = _table_start(content, entry, odd) if entry else 0
            return _read_table(content[start:], entry, odd, file=file)
        start = _raw_header(content)
        entry = None
        if start:  # with the eight bytes that some systems put before a table
            length = len(content) - start
            version = (content[1], content[2])
            entry = EntryPoint(size=0, version=version, address=0, length=length, structures=None, exact=True)
        return _read_table(content[start:], entry, odd, file=file)


def read_pair(entry_bytes: bytes, table: bytes, *, file: str = "") -> Inventory:
    """Read an entry point and its table from two files, as Linux shows them."""
    check_size(len(table), MOST_TABLE_BYTES, file=file, what="an SMBIOS table")
    odd = Oddities()
    return _read_table(table, read_entry_point(entry_bytes, odd, file=file), odd, file=file)


def read_this_machine(folder: Path | None = None) -> Inventory:
    """Read the running machine's tables. Raises ``InputError`` that says how to save a dump where it may not."""
    folder = SYSTEM_TABLES if folder is None else folder
    name = "this-machine"
    try:
        with (folder / "smbios_entry_point").open("rb") as stream:
            entry = stream.read(4096)
        with (folder / "DMI").open("rb") as stream:
            table = stream.read(MOST_TABLE_BYTES + 1)
    except PermissionError:
        hint = (
            "Save them once to a file, and give that file instead: "
            "sudo dmidecode --dump-bin machine.bin (this tool itself needs no such right)."
        )
        problem = Problem(file=name, place="", found="memory tables that only root may read", allowed="", hint=hint)
        raise InputError(problem) from None
    except OSError:
        hint = "Give a file that was saved on the machine: a dump, a text listing, Redfish resources, a label list."
        found = "no SMBIOS tables on this machine"
        raise InputError(Problem(file=name, place="", found=found, allowed="a Linux machine", hint=hint)) from None
    return read_pair(entry, table, file=name)


# --- entry points -----------------------------------------------------------------------------------------------------


def read_entry_point(content: bytes, odd: Oddities, *, file: str) -> EntryPoint:
    """Decode an entry point of either form. Raises ``InputError`` where it is cut off."""
    is_new = content.startswith(b"_SM3_")
    if len(content) < (0x18 if is_new else 0x1F) or not is_dump(content):
        found = "an SMBIOS entry point that is cut off" if is_dump(content) else "no SMBIOS entry point"
        raise InputError(Problem(file=file, place="", found=found, allowed="a whole entry point"))
    entry = _entry_point_64(content, odd) if is_new else _entry_point_32(content, odd)
    version = tables.WRONG_VERSIONS.get(entry.version)
    if version is None:
        return entry
    odd.note("version-odd", f"version {entry.version[0]}.{entry.version[1]}")
    return replace(entry, version=version)


def _entry_point_32(content: bytes, odd: Oddities) -> EntryPoint:
    """DSP0134 5.2.1: length 05h, version 06h, table length 16h, address 18h, number of structures 1Ch."""
    size = content[0x05]
    if size not in (0x1F, 0x1E):  # 1Eh is a slip of the 2.1 document that firmware copied
        odd.note("entry-length", f"{size} bytes")
    summed = {0x1E: (0x1E, 0x1F)}.get(size, (size if 0x1F < size <= 0x40 else 0x1F,))
    if all(sum(content[:end]) & 0xFF for end in summed):
        odd.note("checksum-wrong", "entry point")
    if content[0x10:0x15] == b"_DMI_" and sum(content[0x10:0x1F]) & 0xFF:
        odd.note("checksum-wrong", "second part of the entry point")
    length, address, structures = struct.unpack_from("<HIH", content, 0x16)
    return EntryPoint(
        size=0x1F,
        version=(content[0x06], content[0x07]),
        address=address,
        length=length,
        structures=structures,
        exact=True,
    )


def _entry_point_64(content: bytes, odd: Oddities) -> EntryPoint:
    """DSP0134 5.2.2: length 06h, version 07h, table maximum size 0Ch, address 10h."""
    size = content[0x06]
    if size != 0x18:
        odd.note("entry-length", f"{size} bytes")
    if not 0x18 <= size <= 0x40:
        size = 0x18
    if sum(content[:size]) & 0xFF:
        odd.note("checksum-wrong", "entry point")
    length, address = struct.unpack_from("<IQ", content, 0x0C)
    version = (content[0x07], content[0x08])
    return EntryPoint(size=0x18, version=version, address=address, length=length, structures=None, exact=False)


def _table_start(content: bytes, entry: EntryPoint, odd: Oddities) -> int:
    """Where the table lies in a dump: where the entry point says, at 20h, or right behind the entry point."""
    for place in (entry.address, _DUMP_TABLE_AT, entry.size):
        if entry.size <= place <= len(content) - _HEADER and _starts_well(content, place):
            if place != entry.address:
                odd.note("table-address", f"address {entry.address:#x}")
            return place
    return min(_DUMP_TABLE_AT, len(content))


def _starts_well(content: bytes, place: int) -> bool:
    length = content[place + 1]
    return length >= _HEADER and place + length <= len(content)


def _raw_header(content: bytes) -> int:
    """8 where the bytes begin with the header that one system's firmware call puts before the table, else 0.

    Known from memory: a flag, major, minor, revision, then the table's length as a double word.
    """
    if (
        len(content) > 8 + _HEADER
        and content[1] in (2, 3)
        and struct.unpack_from("<I", content, 4)[0] == (len(content) - 8)
    ):
        return 8
    return 0


# --- structures -------------------------------------------------------------------------------------------------------


def walk(table: bytes, odd: Oddities, *, most: int | None) -> tuple[list[Structure], int]:
    """The structures of a table up to the end marker, and where the last one ends (DSP0134 6.1).

    ``most`` is the number announced: more are read only where they go on to an end marker or to the table's end.
    """
    structures: list[Structure] = []
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
        structures.append(
            Structure(type=kind, handle=handle, body=table[place : place + length], texts=texts, whole=whole)
        )
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
        raise InputError(Problem(file=file, place="", found=found, allowed="a table of structures (DSP0134 6.1)"))
    if len(structures) >= MOST_STRUCTURES:
        raise too_much(file, f"more than {MOST_STRUCTURES} structures", f"at most {MOST_STRUCTURES}")
    _note_shape(structures, end, data, entry, odd)
    used = [each for each in structures if each.type not in (_INACTIVE, _END_OF_TABLE)]
    _note_handles(used, odd)
    by_type = {kind: [e for e in used if e.type == kind] for kind in (MEMORY_DEVICE, MEMORY_ARRAY, PROCESSOR)}
    check_devices(len(by_type[MEMORY_DEVICE]), file=file)
    return inventory_of(
        by_type,
        odd,
        form="smbios-binary",
        edition=entry.version if entry else None,
        virtual=any(is_virtual(each) for each in used),
        mixed="two-machines" in odd,
    )


def _note_shape(structures: list[Structure], end: int, data: bytes, entry: EntryPoint | None, odd: Oddities) -> None:
    """Compare the table with what the entry point announces."""
    ended = structures[-1].type == _END_OF_TABLE
    if not ended:
        odd.note("no-end-marker")
    for each in structures:
        if not each.whole and each.type != MEMORY_DEVICE:
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


def _note_handles(structures: list[Structure], odd: Oddities) -> None:
    """DSP0134 6.1: a handle names one structure."""
    seen: dict[int, int] = {}
    for each in structures:
        seen[each.handle] = seen.get(each.handle, 0) + 1
    for handle, count in seen.items():
        if count > 1:
            odd.note("handle-twice", f"handle {handle_text(handle)}")


# --- the fields of a structure ----------------------------------------------------------------------------------------

SHORTEST = {MEMORY_DEVICE: 0x15, MEMORY_ARRAY: 0x0F}
"""Lengths in SMBIOS 2.1; a shorter structure lacks fields that every edition has."""
_MOST_TEXTS = 255  # a text is referred to by one byte
_LONGEST_TEXT = 4096

_AT = {  # where fields begin (DSP0134 7.5, 7.17, 7.18), by type and name
    MEMORY_DEVICE: {
        **{"array handle": 0x04, "total width": 0x08, "data width": 0x0A, "form factor": 0x0E, "locator": 0x10},
        **{"bank locator": 0x11, "type": 0x12, "type detail": 0x13, "manufacturer": 0x17, "serial number": 0x18},
        **{"asset tag": 0x19, "part number": 0x1A, "configured voltage": 0x26, "memory technology": 0x28},
        **{"memory operating mode capability": 0x29, "non-volatile size": 0x34},
    },
    MEMORY_ARRAY: {"location": 0x04, "use": 0x05, "error correction type": 0x06, "number of devices": 0x0D},
    PROCESSOR: {"socket designation": 0x04, "manufacturer": 0x07, "version": 0x10},
}
_SAID = {  # raw numbers that are kept: offset and form; the first two kinds in hexadecimal
    **{"size": (0x0C, "H"), "type detail": (0x13, "H"), "total width": (0x08, "H"), "data width": (0x0A, "H")},
    **{"form factor": (0x0E, "B"), "memory type": (0x12, "B"), "speed": (0x15, "H"), "attributes": (0x1B, "B")},
    **{"extended size": (0x1C, "I"), "configured speed": (0x20, "H"), "minimum voltage": (0x22, "H")},
    **{"maximum voltage": (0x24, "H"), "configured voltage": (0x26, "H"), "memory technology": (0x28, "B")},
    **{"operating modes": (0x29, "H"), "non-volatile size": (0x34, "Q"), "volatile size": (0x3C, "Q")},
}
_SAID_TEXTS = {"locator": "locator", "bank": "bank locator", "maker": "manufacturer", "part number": "part number"}


class Structure(Fields):
    """One structure (DSP0134 6.1.2): ``body`` is the formatted area with its header, ``texts`` the strings after it.

    ``whole`` is false where the table ends before the strings do; nothing of such a structure is trusted.
    """

    def __init__(self, *, type: int, handle: int, body: bytes, texts: bytes, whole: bool) -> None:
        self.type = type
        self.handle: int = handle
        self.body = body
        self.whole = whole
        self.bad: list[str] = []
        self._raw_texts = texts

    def byte(self, offset: int) -> int | None:
        """A byte, or ``None`` where the structure is too short for it."""
        return self.body[offset] if offset < len(self.body) else None

    def plain(self, offset: int, form: str) -> int | None:
        """A little-endian number of ``struct`` form, or ``None`` where the structure is too short."""
        if offset + struct.calcsize(form) > len(self.body):
            return None
        value: int = struct.unpack_from("<" + form, self.body, offset)[0]
        return value

    @property
    def damage(self) -> str:
        """Cut off, or too short for its type."""
        if not self.whole:
            return "structure-truncated"
        return "structure-short" if len(self.body) < SHORTEST.get(self.type, 0) else ""

    def _at(self, field: str) -> int:
        return _AT[self.type][field]

    def text(self, field: str, short: str = "") -> str | None:
        """The text that a field refers to (DSP0134 6.1.3); ``None`` for number 0 and for a number without a text."""
        number = self.byte(self._at(field))
        if not number:
            return None
        texts = self._raw_texts.split(b"\0", _MOST_TEXTS)
        if number > len(texts) or not texts[0]:  # an empty text ends the list of texts
            self.bad.append(f"index:{short or field}")
            return None
        return decode(texts[number - 1][:_LONGEST_TEXT])

    def word(self, field: str, table: dict[int, str], short: str = "") -> str | None:
        """The word of a code; one that the standard does not list is noted."""
        code = self.byte(self._at(field))
        if code is None:
            return None
        text = tables.word(table, code)
        if text == tables.OUT_OF_SPEC:
            self.bad.append(f"spec:{short or field}")
        return text

    def bits(self, field: str, table: dict[int, str]) -> frozenset[str]:
        """The words of a bit field."""
        return tables.words_of_bits(table, self.plain(self._at(field), "H") or 0)

    def number(self, field: str, *, zero: bool = False) -> int | None:
        """A number; FFFFh of a width is *unknown*."""
        if field == "speed":
            return self._speed(0x15, 0x54)  # 2.3 and 3.3
        if field == "configured memory speed":
            return self._speed(0x20, 0x58)  # 2.7 and 3.3
        if field == "rank":
            return ((self.byte(0x1B) or 0) & 0x0F) or None  # 2.6, attributes bits 3:0
        if field == "core count":
            cores = self.byte(0x23)
            return (self.plain(0x2A, "H") if cores == 0xFF else cores) or None  # 2.5 and 3.0
        value = self.plain(self._at(field), "H")
        if "width" in field and value == 0xFFFF:
            return None
        return value if zero else value or None

    def _speed(self, offset: int, extended: int) -> int | None:
        """A speed in MT/s (DSP0134 7.18.4): FFFFh refers to the extended field."""
        speed = self.plain(offset, "H")
        if speed == 0xFFFF:
            speed = (self.plain(extended, "I") or 0) & 0x7FFFFFFF
        return speed or None

    def kib(self, field: str) -> int | None:
        """A capacity: of an array in KiB, or in bytes in its extended field (2.7); a non-volatile one in bytes."""
        if field == "maximum capacity":
            capacity = self.plain(0x07, "I")
            if capacity != 0x80000000:
                return capacity
            extended = self.plain(0x0F, "Q")
            return None if extended is None else extended >> 10
        value = self.plain(self._at(field), "Q")
        return None if value in (None, (1 << 64) - 1) else (value or 0) >> 10

    def size(self) -> tuple[bool, int | None]:
        """Empty or not, and the size (DSP0134 7.18, offset 0Ch; 7.18.5 for the extended size at 1Ch).

        7FFFh refers to the extended size since 2.7; in a structure that is too short for it, it is a plain number.
        """
        code = self.plain(0x0C, "H")
        if code in (None, 0xFFFF):
            return False, None
        if not code:
            return True, None
        extended = self.plain(0x1C, "I") if code == 0x7FFF else None
        if extended is not None:
            return False, (extended & 0x7FFFFFFF) << 10 or None
        return False, (code & 0x7FFF or None) if code & 0x8000 else code << 10

    def reference(self, field: str) -> int | None:
        """A handle."""
        return self.plain(self._at(field), "H")

    def status(self) -> tuple[bool | None, str | None]:
        """Status at 18h: bit 6 populated, bits 2:0 a code."""
        status = self.byte(0x18)
        if status is None:
            return None, None
        return bool(status >> 6 & 1), tables.PROCESSOR_STATUS.get(status & 7, tables.OUT_OF_SPEC)

    def is_central(self) -> bool:
        """Type at 05h: other, unknown, central."""
        return self.byte(0x05) in (None, 1, 2, 3)

    def raw_words(self) -> dict[str, str]:
        """The raw numbers and texts of a memory device."""
        raw = {}
        for name, (offset, form) in _SAID.items():
            value = self.plain(offset, form)
            if value is not None:
                raw[name] = f"{value:#06x}" if name in ("size", "type detail") else str(value)
        marks = len(self.bad)
        raw |= {name: clean(self.text(field) or "") for name, field in _SAID_TEXTS.items()}
        del self.bad[marks:]  # told already
        return {name: text for name, text in raw.items() if text}


def is_virtual(structure: Structure) -> bool:
    """DSP0134 7.1.2.2: bit 4 of the second extension byte (13h) says that the table is a virtual machine's."""
    return structure.type == BIOS and structure.whole and bool((structure.byte(0x13) or 0) >> 4 & 1)


READER = TableReader()
