"""The structures of SMBIOS that memory needs, field by field (DMTF DSP0134 7.5, 7.17, 7.18).

A table is read as the listing that it would be printed as: each field of a table becomes its words in a listing, and
words are read one way. So the same machine gives the same answer either way. Words of codes are ours where the standard
has none that people use; a listing's own wordings are folded to them.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import Any, ClassVar, Final, Generic, TypeVar

from dimmplan.inventory.clean import clean
from dimmplan.model.inventory import Role

OUT_OF_SPEC: Final = "out of spec"
"""Stands for a code that the standard does not list."""
MOST_STRUCTURES = 1 << 14
"""Structures in one SMBIOS table; a large machine has some six hundred."""

Value = TypeVar("Value")

_OUT_OF_SPEC = "<OUT OF SPEC>"
_BAD_INDEX = "<BAD INDEX>"
_NO_MODULE = "No Module Installed"
_NOTHING = frozenset(("", "unknown", "not specified", "n/a", "none"))
_EMPTY = frozenset((_NO_MODULE.casefold(), "not installed", "no module", "not present", "empty"))
_SIZE = re.compile(r"(\d{1,20})(?:\.(\d{1,6}))?\s{0,4}(bytes?|[kmgtp]i?b)\b.{0,80}", re.IGNORECASE)
_UNIT_BYTES = {"b": 1, "k": 1 << 10, "m": 1 << 20, "g": 1 << 30, "t": 1 << 40, "p": 1 << 50}
_NUMBER = re.compile(r"(\d{1,10})(?:\s{0,4}(?:bits?|MT/s|MHz)\b.{0,80})?", re.IGNORECASE)
_REFERENCE = re.compile(r"0x([0-9A-F]{1,8})", re.IGNORECASE)
_MOST_TEXTS = 255  # a text is referred to by one byte
_LONGEST_TEXT = 4096


def handle_text(handle: int | None) -> str:
    """A handle as listings print it; empty where there is none."""
    return "" if handle is None else f"0x{handle:04X}"


@dataclass(frozen=True)
class Raw:
    """One structure of a binary table (DSP0134 6.1.2): ``body`` is the formatted area with its header.

    ``whole`` is false where the table ends before the texts do; nothing of such a structure is trusted.
    """

    type: int
    handle: int
    body: bytes
    texts: bytes
    whole: bool

    def number(self, at: int, form: str) -> int | None:
        """A little-endian number of ``struct`` form, or ``None`` where the structure is too short for it."""
        if at + struct.calcsize(form) > len(self.body):
            return None
        value: int = struct.unpack_from("<" + form, self.body, at)[0]
        return value

    @cached_property
    def _texts(self) -> list[bytes]:
        return self.texts.split(b"\0", _MOST_TEXTS)

    def text(self, number: int) -> str | None:
        """The text of a number (DSP0134 6.1.3), UTF-8 since 3.5; ``None`` where there is none."""
        if number > len(self._texts) or not self._texts[0]:  # an empty text ends the list of texts
            return None
        return self._texts[number - 1][:_LONGEST_TEXT].decode("utf-8", errors="replace")


@dataclass(frozen=True, eq=False)
class Field(Generic[Value]):
    """A field: ``said`` are its names in listings, ``called`` is that in oddities.

    ``words`` gives its words from a table, ``None`` where the table does not have it. ``read`` gives the value of
    words, and the oddity of it, which is empty for a right value. As an attribute of a structure it is its value there.
    """

    said: tuple[str, ...]
    words: Callable[[Raw], str | None]
    read: Callable[[str | None], tuple[Value, str]]
    called: str = ""

    def __set_name__(self, kind: type[Structure], name: str) -> None:
        kind.fields = (*kind.__dict__.get("fields", ()), self)

    def __get__(self, structure: Structure, kind: type[Structure]) -> Value:
        value: Value = structure.values[self]
        return value

    def of_lines(self, lines: Mapping[str, str]) -> str | None:
        """Its words in a listing, by the names of lines in lower case."""
        return next((lines[name] for name in self.said if name in lines), None)


class Structure:
    """A structure as read. ``damage`` is the oddity of one of which nothing can be trusted: nothing of it is read.

    ``bad`` are the oddities of its fields, each with what the field is called.
    """

    number: ClassVar[int]
    shortest: ClassVar[int] = 0
    """Its length in SMBIOS 2.1; a shorter structure lacks fields that every edition has."""
    fields: ClassVar[tuple[Field[Any], ...]]

    def __init__(self, handle: int | None, damage: str, words: Callable[[Field[Any]], str | None]) -> None:
        self.handle, self.damage, self.handle_text = handle, damage, handle_text(handle)
        readings = [(field, *field.read(None if damage else words(field))) for field in self.fields]
        self.values = {field: value for field, value, _ in readings}
        self.bad = [(oddity, field.called or field.said[0]) for field, _, oddity in readings if oddity]


# --- sorts of fields: where a table has it, and what its words say ----------------------------------------------------


def _text(at: int, *said: str, called: str = "") -> Field[str | None]:
    """A text that the field refers to by its number."""

    def words(raw: Raw) -> str | None:
        number = raw.number(at, "B")
        text = raw.text(number) if number else None
        return _BAD_INDEX if number and text is None else text

    def read(words: str | None) -> tuple[str | None, str]:
        if words == _BAD_INDEX:
            return None, "bad-string-index"
        return None if words == "Not Specified" else words, ""

    return Field(said, words, read, called)


def _word(at: int, *said: str, codes: Mapping[int, str], called: str = "") -> Field[str | None]:
    """A code of a list; a listing's word that the list does not have stays as it is, in lower case."""
    known = {word.casefold(): word for word in codes.values()}

    def words(raw: Raw) -> str | None:
        code = raw.number(at, "B")
        return None if code is None else codes.get(code, _OUT_OF_SPEC)

    def read(words: str | None) -> tuple[str | None, str]:
        if words is None or words == _OUT_OF_SPEC:
            return (None, "") if words is None else (OUT_OF_SPEC, "out-of-spec")
        folded = " ".join(clean(words, most=60).casefold().split())
        return known.get(folded, folded), ""

    return Field(said, words, read, called)


def _bits(at: int, *said: str, codes: Mapping[int, str]) -> Field[frozenset[str]]:
    """Words of the bits that are set, in a row."""
    longest_first = [(w, w.casefold()) for w in sorted(codes.values(), key=len, reverse=True)]

    def words(raw: Raw) -> str | None:
        bits = raw.number(at, "H") or 0
        return ", ".join(word for bit, word in codes.items() if bits >> bit & 1)

    def read(words: str | None) -> tuple[frozenset[str], str]:
        rest = " ".join((words or "").casefold().split())
        found = set()
        for word, folded in longest_first if rest else ():
            if folded in rest:
                found.add(word)
                rest = rest.replace(folded, " ") if "(" in word else rest  # Unbuffered holds the letters of another
        return frozenset(found), ""

    return Field(said, words, read)


def _number(
    at: int, *said: str, form: str = "H", full: int | None = None, larger: tuple[int, str] | None = None, bits: int = 31
) -> Field[int | None]:
    """A number of ``bits`` in a field of ``struct`` form; 0 is *unknown*.

    ``full`` is *unknown* too, or says that ``larger`` has it: the offset and form of a field that later editions added.
    """

    def words(raw: Raw) -> str | None:
        value = raw.number(at, form)
        if value is not None and value == full:
            value = raw.number(*larger) if larger else None
        return None if value is None else str(value & (1 << bits) - 1)

    def read(words: str | None) -> tuple[int | None, str]:
        value, oddity = _count(words)
        return value or None, oddity

    return Field(said, words, read)


def _count(words: str | None) -> tuple[int | None, str]:
    """A number that may be 0."""
    if words is None or words.casefold() in _NOTHING:
        return None, ""
    match = _NUMBER.fullmatch(words)
    if match is None:
        return None, "out-of-spec" if words == _OUT_OF_SPEC else "field-unreadable"
    return int(match[1]), ""


def _kib(words: str) -> int | None:
    """A size in KiB; a listing's kB, MB and GB are powers of 1024."""
    match = _SIZE.fullmatch(words)
    if match is None:
        return None
    number = Fraction(f"{match[1]}.{match[2] or 0}") if match[2] else int(match[1])
    return int(number * _UNIT_BYTES[match[3][0].casefold()]) >> 10


def _size_words(raw: Raw) -> str | None:
    """The size of a memory device (DSP0134 7.18, offset 0Ch; 7.18.5).

    7FFFh refers to the extended size since 2.7; in a structure that is too short for it, it is a plain number.
    """
    code = raw.number(0x0C, "H")
    if code is None or code == 0xFFFF:
        return None
    extended = raw.number(0x1C, "I") if code == 0x7FFF else None
    if extended is not None:
        kib = (extended & 0x7FFFFFFF) << 10
    elif code == 0:
        return _NO_MODULE
    else:
        kib = code & 0x7FFF if code & 0x8000 else code << 10
    return f"{kib} kB" if kib else None


def _read_size(words: str | None) -> tuple[int | None, str]:
    """The size in KiB, 0 for an empty slot."""
    if words is None or words.casefold() in _NOTHING:
        return None, ""
    kib = 0 if words.casefold() in _EMPTY else _kib(words) or None
    return kib, "field-unreadable" if kib is None else ""


def _nonvolatile_words(raw: Raw) -> str | None:
    """The non-volatile part of a device in bytes (DSP0134 7.18, offset 34h)."""
    size = raw.number(0x34, "Q")
    return None if size in (None, (1 << 64) - 1) else f"{size} bytes"


def _read_nonvolatile(words: str | None) -> tuple[int | None, str]:
    if words is None or words.casefold() in _NOTHING:
        return 0 if words is not None and words.casefold() == "none" else None, ""
    kib = _kib(words)
    return kib, "field-unreadable" if kib is None else ""


def _read_handle(words: str | None) -> tuple[int | None, str]:
    match = _REFERENCE.fullmatch(words or "")
    return int(match[1], 16) if match else None, ""


_ENABLED = {1: "enabled", 2: "disabled by user", 3: "disabled by BIOS", 4: "idle"}


def _status_words(raw: Raw) -> str | None:
    """A processor's status (DSP0134 7.5, offset 18h): bit 6 is populated, 2:0 enabled or not."""
    status = raw.number(0x18, "B")
    if status is None:
        return None
    return f"{'populated' if status >> 6 & 1 else 'unpopulated'}, {_ENABLED.get(status & 7, '')}"


def _read_status(words: str | None) -> tuple[tuple[bool | None, bool | None], str]:
    """Populated or not, enabled or not: ``Populated, Enabled``."""
    first, _, second = (words or "").casefold().partition(",")
    status = second.strip()
    enabled = False if status.startswith("disabled by") else {"enabled": True, "idle": True}.get(status)
    return ({"populated": True, "unpopulated": False}.get(first.strip()), enabled), ""


# --- structures -------------------------------------------------------------------------------------------------------

_FORM_FACTORS = {  # DSP0134 7.18.1
    **{0x01: "other", 0x02: "unknown", 0x03: "SIMM", 0x04: "SIP", 0x05: "chip", 0x06: "DIP", 0x07: "ZIP"},
    **{0x08: "proprietary card", 0x09: "DIMM", 0x0A: "TSOP", 0x0B: "row of chips", 0x0C: "RIMM", 0x0D: "SODIMM"},
    **{0x0E: "SRIMM", 0x0F: "FB-DIMM", 0x10: "die", 0x11: "CAMM"},
}
_LOGICAL = "logical non-volatile device"
MEMORY_TYPES = {  # DSP0134 7.18.2
    **{0x01: "other", 0x02: "unknown", 0x03: "DRAM", 0x04: "EDRAM", 0x05: "VRAM", 0x06: "SRAM", 0x07: "RAM"},
    **{0x08: "ROM", 0x09: "flash", 0x0A: "EEPROM", 0x0B: "FEPROM", 0x0C: "EPROM", 0x0D: "CDRAM", 0x0E: "3DRAM"},
    **{0x0F: "SDRAM", 0x10: "SGRAM", 0x11: "RDRAM", 0x12: "DDR", 0x13: "DDR2", 0x14: "DDR2 FB-DIMM"},
    **{0x15: "reserved", 0x16: "reserved", 0x17: "reserved", 0x18: "DDR3", 0x19: "FBD2", 0x1A: "DDR4"},
    **{0x1B: "LPDDR", 0x1C: "LPDDR2", 0x1D: "LPDDR3", 0x1E: "LPDDR4", 0x1F: _LOGICAL},
    **{0x20: "HBM", 0x21: "HBM2", 0x22: "DDR5", 0x23: "LPDDR5", 0x24: "HBM3"},
}
REGISTERED, UNBUFFERED, LOAD_REDUCED = "registered (buffered)", "unbuffered (unregistered)", "LRDIMM"
TYPE_DETAILS = {  # DSP0134 7.18.3, by bit
    **{1: "other", 2: "unknown", 3: "fast-paged", 4: "static column", 5: "pseudo-static", 6: "RAMBUS"},
    **{7: "synchronous", 8: "CMOS", 9: "EDO", 10: "window DRAM", 11: "cache DRAM", 12: "non-volatile"},
    **{13: REGISTERED, 14: UNBUFFERED, 15: LOAD_REDUCED},
}
PERSISTENT_MEMORY: Final = "persistent memory"
_NVDIMMS = ("NVDIMM-N", "NVDIMM-F", "NVDIMM-P")
_TECHNOLOGIES = {  # DSP0134 7.18.6; 7 is one maker's persistent memory
    **{0x01: "other", 0x02: "unknown", 0x03: "DRAM", 0x07: PERSISTENT_MEMORY},
    **dict(enumerate(_NVDIMMS, 4)),
}
_OPERATING_MODES = {  # DSP0134 7.18.7, by bit
    **{1: "other", 2: "unknown", 3: "volatile memory", 4: "byte-accessible persistent memory"},
    5: "block-accessible persistent memory",
}
_LOCATIONS = {  # DSP0134 7.17.1
    **{0x01: "other", 0x02: "unknown", 0x03: "system board or motherboard", 0x04: "ISA add-on card"},
    **{0x05: "EISA add-on card", 0x06: "PCI add-on card", 0x07: "MCA add-on card", 0x08: "PCMCIA add-on card"},
    **{0x09: "proprietary add-on card", 0x0A: "NuBus", 0xA0: "PC-98/C20 add-on card", 0xA1: "PC-98/C24 add-on card"},
    **{0xA2: "PC-98/E add-on card", 0xA3: "PC-98/local bus add-on card", 0xA4: "CXL add-on card"},
}
_USES = {  # DSP0134 7.17.2
    **{0x01: "other", 0x02: "unknown", 0x03: "system memory", 0x04: "video memory", 0x05: "flash memory"},
    **{0x06: "non-volatile RAM", 0x07: "cache memory"},
}
_PROCESSOR_TYPES = {1: "other", 2: "unknown", 3: "central processor"}  # DSP0134 7.5.1, those that may be sockets


class Device(Structure):
    """A memory device, type 17 (DSP0134 7.18). ``size_kib`` 0 is an empty slot."""

    number = 17
    shortest = 0x15

    array = Field(("array handle",), lambda raw: handle_text(raw.number(0x04, "H")), _read_handle)
    size_kib = Field(("size",), _size_words, _read_size)
    technology = _word(0x28, "memory technology", codes=_TECHNOLOGIES)
    total_width_bits = _number(0x08, "total width", full=0xFFFF)
    data_width_bits = _number(0x0A, "data width", full=0xFFFF)
    form = _word(0x0E, "form factor", codes=_FORM_FACTORS)
    memory_type = _word(0x12, "type", codes=MEMORY_TYPES, called="memory type")
    details = _bits(0x13, "type detail", codes=TYPE_DETAILS)
    locator = _text(0x10, "locator")
    bank = _text(0x11, "bank locator", called="bank")
    rated_mts = _number(0x15, "speed", "current speed", full=0xFFFF, larger=(0x54, "I"))  # 2.3 and 3.3
    configured_mts = _number(  # 2.7 and 3.3
        *(0x20, "configured memory speed", "configured clock speed", "configured speed"),
        full=0xFFFF,
        larger=(0x58, "I"),
    )
    maker = _text(0x17, "manufacturer", called="maker")
    serial = _text(0x18, "serial number")
    asset_tag = _text(0x19, "asset tag")
    part_number = _text(0x1A, "part number")
    ranks_said = _number(0x1B, "rank", form="B", bits=4)  # 2.6, attributes bits 3:0
    modes = _bits(0x29, "memory operating mode capability", codes=_OPERATING_MODES)
    nonvolatile_kib = Field(("non-volatile size",), _nonvolatile_words, _read_nonvolatile)

    @property
    def is_empty(self) -> bool:
        """Only size 0 says *empty* (standards, section 3.7)."""
        return self.size_kib == 0

    @property
    def persistent_as(self) -> str:
        """DSP0134 7.18.6, technology 4 to 7, or 7.18.2, type 1Fh; empty for neither."""
        technology = self.technology or ""
        if "persistent" in technology:  # a listing has a maker's name for it
            return PERSISTENT_MEMORY
        return technology if technology in _NVDIMMS else _LOGICAL if self.memory_type == _LOGICAL else ""

    @property
    def is_firmware(self) -> bool:
        """True for flash chips that hold firmware."""
        return self.memory_type in _FIRM_TYPES

    @property
    def contradicts(self) -> bool:
        """True where the module is given two kinds."""
        return bool(self.details & {REGISTERED, LOAD_REDUCED}) and UNBUFFERED in self.details


class Array(Structure):
    """A physical memory array, type 16 (DSP0134 7.17); ``slots_said`` is its own count."""

    number = 16
    shortest = 0x0F

    location = _word(0x04, "location", codes=_LOCATIONS, called="array location")
    use = _word(0x05, "use", codes=_USES, called="array use")
    slots_said = Field(
        ("number of devices", "number of slots/sockets"),
        lambda raw: None if (count := raw.number(0x0D, "H")) is None else str(count),
        _count,
    )

    @property
    def role(self) -> Role:
        """What its places are for (DSP0134 7.17.1, 7.17.2)."""
        if (self.location or "").casefold().startswith("cxl"):
            return "add-on"
        return _ROLE_OF_USE.get(self.use or "", "memory")


class Processor(Structure):
    """A processor, type 4 (DSP0134 7.5); ``status`` is populated or not, enabled or not."""

    number = 4

    locator = _text(0x04, "socket designation")
    type = _word(0x05, "type", codes=_PROCESSOR_TYPES)
    status = Field(("status",), _status_words, _read_status)
    cores = _number(0x23, "core count", form="B", full=0xFF, larger=(0x2A, "H"))  # 2.5 and 3.0

    @property
    def is_central(self) -> bool:
        """True for a central processor, or one of no known kind."""
        return not self.type or self.type in _PROCESSOR_TYPES.values()


_ROLE_OF_USE: dict[str, Role] = {
    "video memory": "video",
    "flash memory": "flash",
    "non-volatile RAM": "non-volatile",
    "cache memory": "cache",
}
_FIRM_TYPES = frozenset(("ROM", "flash", "EEPROM", "FEPROM", "EPROM"))
BIOS = 0
KINDS: Final[dict[int, type[Structure]]] = {kind.number: kind for kind in (Device, Array, Processor)}
"""The structures that are read, by type."""
