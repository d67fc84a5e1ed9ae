"""The fields of SMBIOS structures (DMTF DSP0134 7.5, 7.17, 7.18), decoded where the structure's length covers them."""

from __future__ import annotations

import struct
from dataclasses import dataclass, replace

from dimmplan.inventory import smbios_tables as tables
from dimmplan.inventory.clean import clean, decode
from dimmplan.inventory.oddities import Oddities
from dimmplan.inventory.smbios_records import ArrayRecord, DeviceRecord, ProcessorRecord

BIOS, PROCESSOR, MEMORY_ARRAY, MEMORY_DEVICE = 0, 4, 16, 17
SHORTEST_DEVICE = 0x15
"""Length of a memory device in SMBIOS 2.1; a shorter structure lacks fields that every edition has."""
SHORTEST_ARRAY = 0x0F
_MOST_TEXTS = 255  # a text is referred to by one byte
_LONGEST_TEXT = 4096


@dataclass(frozen=True, kw_only=True, slots=True)
class Structure:
    """One structure (DSP0134 6.1.2): ``body`` is the formatted area with its header, ``texts`` the strings after it.

    ``whole`` is false where the table ends before the strings do; nothing of such a structure is trusted.
    """

    type: int
    handle: int
    body: bytes
    texts: bytes
    whole: bool

    def byte(self, offset: int) -> int | None:
        """A byte, or ``None`` where the structure is too short for it."""
        return self.body[offset] if offset < len(self.body) else None

    def number(self, offset: int, form: str) -> int | None:
        """A little-endian number of ``struct`` form H, I or Q, or ``None`` where the structure is too short."""
        if offset + struct.calcsize(form) > len(self.body):
            return None
        value: int = struct.unpack_from("<" + form, self.body, offset)[0]
        return value


class _Texts:
    """The strings of one structure by number (DSP0134 6.1.3), noting numbers past the last."""

    def __init__(self, structure: Structure) -> None:
        self._structure = structure
        texts = structure.texts.split(b"\0", _MOST_TEXTS)
        self._texts = texts if texts[0] else []  # an empty text ends the list of texts
        self.bad: list[str] = []

    def get(self, offset: int, field: str) -> str | None:
        """The text that a field refers to; ``None`` for number 0 and for a number without a text."""
        number = self._structure.byte(offset)
        if not number:
            return None
        if number > len(self._texts):
            self.bad.append(f"index:{field}")
            return None
        return decode(self._texts[number - 1][:_LONGEST_TEXT])


def device(structure: Structure) -> DeviceRecord:
    """Decode a memory device (DSP0134 7.18)."""
    if not structure.whole or len(structure.body) < SHORTEST_DEVICE:
        damage = "structure-short" if structure.whole else "structure-truncated"
        return DeviceRecord(handle=structure.handle, damage=damage)
    texts = _Texts(structure)
    codes = _Codes(structure)
    empty, size = _size(structure)
    technology = codes.word(0x28, tables.TECHNOLOGIES, "memory technology")  # 3.2
    nonvolatile = structure.number(0x34, "Q")  # 3.2, bytes; all ones: unknown
    record = DeviceRecord(
        handle=structure.handle,
        array=structure.number(0x04, "H"),
        empty=empty,
        size_kib=size,
        total_width=_width(structure.number(0x08, "H")),
        data_width=_width(structure.number(0x0A, "H")),
        form=codes.word(0x0E, tables.FORM_FACTORS, "form factor"),
        type=codes.word(0x12, tables.MEMORY_TYPES, "memory type"),
        details=tables.words_of_bits(tables.TYPE_DETAILS, structure.number(0x13, "H") or 0),
        locator=texts.get(0x10, "locator"),
        bank=texts.get(0x11, "bank"),
        speed_mts=_speed(structure, 0x15, 0x54),  # 2.3 and 3.3
        configured_mts=_speed(structure, 0x20, 0x58),  # 2.7 and 3.3
        maker=texts.get(0x17, "maker"),  # 2.3, as the next three
        serial=texts.get(0x18, "serial number"),
        tag=texts.get(0x19, "asset tag"),
        part=texts.get(0x1A, "part number"),
        ranks=((structure.byte(0x1B) or 0) & 0x0F) or None,  # 2.6, attributes bits 3:0, 0: unknown
        voltage_mv=structure.number(0x26, "H") or None,  # 2.8, configured voltage, 0: unknown
        technology=technology,
        modes=tables.words_of_bits(tables.OPERATING_MODES, structure.number(0x29, "H") or 0),  # 3.2
        nonvolatile_kib=None if nonvolatile in (None, (1 << 64) - 1) else (nonvolatile or 0) >> 10,
        bad=(*codes.bad, *texts.bad),
        said={},
    )
    return _with_said(record, structure)


def _with_said(record: DeviceRecord, structure: Structure) -> DeviceRecord:
    """Keep the raw numbers and texts. Serial number and asset tag are left out: they have fields of their own."""
    said = {
        "size": f"{structure.number(0x0C, 'H'):#06x}",
        "total width": _said(structure.number(0x08, "H")),
        "data width": _said(structure.number(0x0A, "H")),
        "form factor": _said(structure.byte(0x0E)),
        "memory type": _said(structure.byte(0x12)),
        "type detail": f"{structure.number(0x13, 'H'):#06x}",
        "speed": _said(structure.number(0x15, "H")),
        "attributes": _said(structure.byte(0x1B)),
        "extended size": _said(structure.number(0x1C, "I")),
        "configured speed": _said(structure.number(0x20, "H")),
        "minimum voltage": _said(structure.number(0x22, "H")),
        "maximum voltage": _said(structure.number(0x24, "H")),
        "configured voltage": _said(structure.number(0x26, "H")),
        "memory technology": _said(structure.byte(0x28)),
        "operating modes": _said(structure.number(0x29, "H")),
        "non-volatile size": _said(structure.number(0x34, "Q")),
        "volatile size": _said(structure.number(0x3C, "Q")),
        "locator": record.locator or "",
        "bank": record.bank or "",
        "maker": record.maker or "",
        "part number": record.part or "",
    }
    return replace(record, said={name: clean(text) for name, text in said.items() if clean(text)})


def _said(number: int | None) -> str:
    return "" if number is None else str(number)


def _size(structure: Structure) -> tuple[bool, int | None]:
    """Empty or not, and the size in KiB (DSP0134 7.18, offset 0Ch; 7.18.5 for the extended size at 1Ch).

    7FFFh refers to the extended size since 2.7; in a structure that is too short for it, it is a number like others.
    """
    code = structure.number(0x0C, "H")
    if code in (None, 0xFFFF):
        return False, None
    if not code:
        return True, None
    extended = structure.number(0x1C, "I") if code == 0x7FFF else None
    if extended is not None:
        return False, (extended & 0x7FFFFFFF) << 10 or None
    return False, (code & 0x7FFF or None) if code & 0x8000 else code << 10


def _width(bits: int | None) -> int | None:
    """A width in bits; FFFFh is *unknown*, and 0 is what firmware writes for it."""
    return None if bits in (0, 0xFFFF) else bits


def _speed(structure: Structure, offset: int, extended: int) -> int | None:
    """A speed in MT/s (DSP0134 7.18.4): 0 is *unknown*, FFFFh refers to the extended field."""
    speed = structure.number(offset, "H")
    if speed == 0xFFFF:
        speed = (structure.number(extended, "I") or 0) & 0x7FFFFFFF
    return speed or None


class _Codes:
    """Codes of one structure as words, noting those that the standard does not list."""

    def __init__(self, structure: Structure) -> None:
        self._structure = structure
        self.bad: list[str] = []

    def word(self, offset: int, table: dict[int, str], field: str) -> str | None:
        """The word of the code at ``offset``; ``None`` where the structure is too short."""
        code = self._structure.byte(offset)
        if code is None:
            return None
        text = tables.word(table, code)
        if text == tables.OUT_OF_SPEC:
            self.bad.append(f"spec:{field}")
        return text


def array(structure: Structure, odd: Oddities) -> ArrayRecord:
    """Decode a physical memory array (DSP0134 7.17)."""
    if not structure.whole or len(structure.body) < SHORTEST_ARRAY:
        if structure.whole:
            odd.note("structure-short", f"array 0x{structure.handle:04X}")
        return ArrayRecord(handle=structure.handle)
    codes = _Codes(structure)
    capacity = structure.number(0x07, "I")
    if capacity == 0x80000000:  # 2.7: the extended field, in bytes
        extended = structure.number(0x0F, "Q")
        capacity = None if extended is None else extended >> 10
    record = ArrayRecord(
        handle=structure.handle,
        location=codes.word(0x04, tables.ARRAY_LOCATIONS, "array location"),
        use=codes.word(0x05, tables.ARRAY_USES, "array use"),
        ecc=codes.word(0x06, tables.ERROR_CORRECTIONS, "array error correction"),
        max_kib=capacity,
        slots=structure.number(0x0D, "H"),
    )
    for mark in codes.bad:
        odd.note("out-of-spec", f"array 0x{structure.handle:04X}: {mark.partition(':')[2]}")
    return record


def processor(structure: Structure) -> ProcessorRecord:
    """Decode a processor (DSP0134 7.5): socket 04h, type 05h, version 10h, status 18h, cores 23h (2.5), 2Ah (3.0)."""
    if not structure.whole:
        return ProcessorRecord(handle=structure.handle)
    texts = _Texts(structure)
    status = structure.byte(0x18)
    cores = structure.byte(0x23)
    if cores == 0xFF:
        cores = structure.number(0x2A, "H")
    return ProcessorRecord(
        handle=structure.handle,
        socket=texts.get(0x04, "socket"),
        central=structure.byte(0x05) in (None, 1, 2, 3),
        populated=None if status is None else bool(status >> 6 & 1),
        status=None if status is None else tables.PROCESSOR_STATUS.get(status & 7, tables.OUT_OF_SPEC),
        maker=texts.get(0x07, "maker"),
        version=texts.get(0x10, "version"),
        cores=cores or None,
    )


def is_virtual(structure: Structure) -> bool:
    """DSP0134 7.1.2.2: bit 4 of the second extension byte (13h) says that the table is a virtual machine's."""
    return structure.type == BIOS and structure.whole and bool((structure.byte(0x13) or 0) >> 4 & 1)
