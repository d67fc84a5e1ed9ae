"""The structures of SMBIOS that memory needs, field by field (DMTF DSP0134 7.5, 7.17, 7.18).

Each field is described once: where a table has it, what a text listing calls it, what its codes mean. So the same
machine gives the same answer either way. Words of codes are ours where the standard has none that people use; a
listing's own wordings are folded to them.
"""

from __future__ import annotations

import re
import struct
from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import Any, ClassVar, Final, Generic, TypeVar

from dimmplan.inventory.clean import clean
from dimmplan.model.inventory import Role

# --- fields -----------------------------------------------------------------------------------------------------------

OUT_OF_SPEC: Final = "out of spec"
"""Stands for a code that the standard does not list."""

Value = TypeVar("Value")
Reading = tuple[Any, str]
"""A value, ``None`` where the machine does not say, and the oddity of it; the oddity is empty for a right value."""

_OUT_OF_SPEC = "<OUT OF SPEC>"
_BAD_INDEX = "<BAD INDEX>"
_NOTHING = frozenset(("", "unknown", "not specified", "n/a", "none"))
_EMPTY = frozenset(("no module installed", "not installed", "no module", "not present", "empty"))
_SIZE = re.compile(r"(\d{1,20})(?:\.(\d{1,6}))?\s{0,4}(bytes?|[kmgtp]i?b)\b.{0,80}", re.IGNORECASE)
_UNIT_BYTES = {"b": 1, "k": 1 << 10, "m": 1 << 20, "g": 1 << 30, "t": 1 << 40, "p": 1 << 50}
_NUMBER = re.compile(r"(\d{1,9})(?:\s{0,4}(?:bits?|MT/s|MHz)\b.{0,80})?", re.IGNORECASE)
_REFERENCE = re.compile(r"0x([0-9A-F]{1,8})", re.IGNORECASE)
MOST_STRUCTURES = 1 << 14
"""Structures in one SMBIOS table; a large machine has some six hundred."""
_MOST_TEXTS = 255  # a text is referred to by one byte
_LONGEST_TEXT = 4096


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


class Field(ABC, Generic[Value]):
    """A field: ``at`` is its offset in a table, ``said`` its names in listings, ``called`` that in oddities.

    As an attribute of a structure it is its value there; ``nothing`` where nothing was read.
    """

    nothing: Any = None

    def __init__(self, at: int, *said: str, called: str = "") -> None:
        self.at = at
        self.said = said
        self.called = called or said[0]

    def __set_name__(self, kind: type[Structure], name: str) -> None:
        kind.fields = (*kind.__dict__.get("fields", ()), self)

    def __get__(self, structure: Structure, kind: type[Structure]) -> Value:
        value: Value = structure.values.get(self, self.nothing)
        return value

    @abstractmethod
    def of_table(self, table: Raw) -> Reading:
        """Read it from a binary structure."""

    @abstractmethod
    def of_listing(self, raw: str | None) -> Reading:
        """Read it from the words of a listing, ``None`` where it has no such line."""

    def of_lines(self, lines: Mapping[str, str]) -> Reading:
        """Read it from the lines of a listing, by their names in lower case."""
        return self.of_listing(next((lines[name] for name in self.said if name in lines), None))


class Text(Field[str | None]):
    """A text that the field refers to by its number."""

    def of_table(self, table: Raw) -> Reading:
        number = table.number(self.at, "B")
        text = table.text(number) if number else None
        return text, "bad-string-index" if number and text is None else ""

    def of_listing(self, raw: str | None) -> Reading:
        if raw == _BAD_INDEX:
            return None, "bad-string-index"
        return None if raw == "Not Specified" else raw, ""


class Word(Field[str | None]):
    """A code of a list; a listing's word that the list does not have stays as it is, in lower case."""

    def __init__(self, at: int, *said: str, codes: Mapping[int, str], called: str = "") -> None:
        super().__init__(at, *said, called=called)
        self._codes = codes
        self._folded = {word.casefold(): word for word in codes.values()}

    def of_table(self, table: Raw) -> Reading:
        code = table.number(self.at, "B")
        if code is None:
            return None, ""
        word = self._codes.get(code, OUT_OF_SPEC)
        return word, "out-of-spec" if word == OUT_OF_SPEC else ""

    def of_listing(self, raw: str | None) -> Reading:
        if raw is None or raw == _OUT_OF_SPEC:
            return (None, "") if raw is None else (OUT_OF_SPEC, "out-of-spec")
        folded = " ".join(clean(raw, most=60).casefold().split())
        return self._folded.get(folded, folded), ""


class Bits(Field[frozenset[str]]):
    """Words of the bits that are set; in a listing a row of words."""

    nothing = frozenset[str]()

    def __init__(self, at: int, *said: str, codes: Mapping[int, str]) -> None:
        super().__init__(at, *said)
        self._codes = codes
        self._longest_first = [(w, w.casefold()) for w in sorted(codes.values(), key=len, reverse=True)]

    def of_table(self, table: Raw) -> Reading:
        bits = table.number(self.at, "H") or 0
        return frozenset(word for bit, word in self._codes.items() if bits >> bit & 1), ""

    def of_listing(self, raw: str | None) -> Reading:
        rest = " ".join((raw or "").casefold().split())
        found = set()
        for word, folded in self._longest_first if rest else ():
            if folded in rest:
                found.add(word)
                rest = rest.replace(folded, " ") if "(" in word else rest  # Unbuffered holds the letters of another
        return frozenset(found), ""


class Number(Field[int | None]):
    """A number; 0 is *unknown* unless ``zero``. ``full`` is *unknown* too, or says that ``larger`` has the number.

    ``form`` is the ``struct`` form, ``larger`` the offset and form of the field that later editions added.
    """

    def __init__(
        self,
        at: int,
        *said: str,
        form: str = "H",
        mask: int = -1,
        full: int | None = None,
        larger: tuple[int, str] | None = None,
        zero: bool = False,
    ) -> None:
        super().__init__(at, *said)
        self._form, self._mask, self._full, self._larger, self._zero = form, mask, full, larger, zero

    def of_table(self, table: Raw) -> Reading:
        value = table.number(self.at, self._form)
        if value is not None and value == self._full:
            value = self._of_larger(table)
        return value if value is None or self._zero else value & self._mask or None, ""

    def _of_larger(self, table: Raw) -> int | None:
        return table.number(*self._larger) if self._larger else None

    def of_listing(self, raw: str | None) -> Reading:
        if raw is None or raw.casefold() in _NOTHING:
            return None, ""
        match = _NUMBER.fullmatch(raw)
        if match is None:
            return None, "out-of-spec" if raw == _OUT_OF_SPEC else "field-unreadable"
        return int(match[1]) if self._zero else int(match[1]) or None, ""


class Kib(Number):
    """A size in KiB; fields of eight bytes count bytes. A listing's kB, MB and GB are powers of 1024."""

    def of_table(self, table: Raw) -> Reading:
        value, oddity = super().of_table(table)
        return value >> 10 if value is not None and self._form == "Q" else value, oddity

    def _of_larger(self, table: Raw) -> int | None:
        value = super()._of_larger(table)
        return None if value is None else value >> 10

    def of_listing(self, raw: str | None) -> Reading:
        if raw is None or raw.casefold() in _NOTHING:
            return 0 if self._zero and raw is not None and raw.casefold() == "none" else None, ""
        match = _SIZE.fullmatch(raw)
        if match is None:
            return None, "field-unreadable"
        number = Fraction(f"{match[1]}.{match[2] or 0}") if match[2] else int(match[1])
        kib = int(number * _UNIT_BYTES[match[3][0].casefold()]) >> 10
        return (kib, "") if kib or self._zero else (None, "field-unreadable")


class Size(Kib):
    """The size of a memory device in KiB, 0 for an empty slot (DSP0134 7.18, offset 0Ch; 7.18.5).

    7FFFh refers to the extended size since 2.7; in a structure that is too short for it, it is a plain number.
    """

    def of_table(self, table: Raw) -> Reading:
        code = table.number(self.at, "H")
        if code in (None, 0xFFFF):
            return None, ""
        extended = table.number(0x1C, "I") if code == 0x7FFF else None
        if extended is not None:
            return (extended & 0x7FFFFFFF) << 10 or None, ""
        if code & 0x8000:
            return code & 0x7FFF or None, ""
        return code << 10, ""

    def of_listing(self, raw: str | None) -> Reading:
        return (0, "") if raw is not None and raw.casefold() in _EMPTY else super().of_listing(raw)


class Handle(Number):
    """Another structure's handle."""

    def of_listing(self, raw: str | None) -> Reading:
        match = _REFERENCE.fullmatch(raw or "")
        return int(match[1], 16) if match else None, ""


class Status(Field[tuple[bool | None, bool | None]]):
    """A processor's status: populated or not, enabled or not (DSP0134 7.5, bits 6 and 2:0; ``Populated, Enabled``)."""

    nothing = None, None

    def of_table(self, table: Raw) -> Reading:
        status = table.number(self.at, "B")
        if status is None:
            return (None, None), ""
        return (bool(status >> 6 & 1), {1: True, 2: False, 3: False, 4: True}.get(status & 7)), ""

    def of_listing(self, raw: str | None) -> Reading:
        first, _, second = (raw or "").casefold().partition(",")
        status = second.strip()
        enabled = False if status.startswith("disabled by") else {"enabled": True, "idle": True}.get(status)
        return ({"populated": True, "unpopulated": False}.get(first.strip()), enabled), ""


# --- structures -------------------------------------------------------------------------------------------------------


class Structure:
    """A structure as read. ``damage`` is the oddity of one of which nothing can be trusted: nothing of it is read.

    ``bad`` are the oddities of its fields, each with what the field is called.
    """

    number: ClassVar[int]
    shortest: ClassVar[int] = 0
    """Its length in SMBIOS 2.1; a shorter structure lacks fields that every edition has."""
    fields: ClassVar[tuple[Field[Any], ...]]

    def __init__(self, handle: int | None, damage: str, read: Callable[[Field[Any]], Reading]) -> None:
        self.handle, self.damage, self.handle_text = handle, damage, handle_text(handle)
        readings = [(field, *read(field)) for field in (() if damage else self.fields)]
        self.values = {field: value for field, value, _ in readings}
        self.bad = [(oddity, field.called) for field, _, oddity in readings if oddity]


def handle_text(handle: int | None) -> str:
    """A handle as listings print it; empty where there is none."""
    return "" if handle is None else f"0x{handle:04X}"


_FORM_FACTORS = {  # DSP0134 7.18.1
    **{0x01: "other", 0x02: "unknown", 0x03: "SIMM", 0x04: "SIP", 0x05: "chip", 0x06: "DIP", 0x07: "ZIP"},
    **{0x08: "proprietary card", 0x09: "DIMM", 0x0A: "TSOP", 0x0B: "row of chips", 0x0C: "RIMM", 0x0D: "SODIMM"},
    **{0x0E: "SRIMM", 0x0F: "FB-DIMM", 0x10: "die", 0x11: "CAMM"},
}
_LOGICAL = "logical non-volatile device"
_MEMORY_TYPES = {  # DSP0134 7.18.2
    **{0x01: "other", 0x02: "unknown", 0x03: "DRAM", 0x04: "EDRAM", 0x05: "VRAM", 0x06: "SRAM", 0x07: "RAM"},
    **{0x08: "ROM", 0x09: "flash", 0x0A: "EEPROM", 0x0B: "FEPROM", 0x0C: "EPROM", 0x0D: "CDRAM", 0x0E: "3DRAM"},
    **{0x0F: "SDRAM", 0x10: "SGRAM", 0x11: "RDRAM", 0x12: "DDR", 0x13: "DDR2", 0x14: "DDR2 FB-DIMM"},
    **{0x15: "reserved", 0x16: "reserved", 0x17: "reserved", 0x18: "DDR3", 0x19: "FBD2", 0x1A: "DDR4"},
    **{0x1B: "LPDDR", 0x1C: "LPDDR2", 0x1D: "LPDDR3", 0x1E: "LPDDR4", 0x1F: _LOGICAL},
    **{0x20: "HBM", 0x21: "HBM2", 0x22: "DDR5", 0x23: "LPDDR5", 0x24: "HBM3"},
}
REGISTERED, UNBUFFERED, LOAD_REDUCED = "registered (buffered)", "unbuffered (unregistered)", "LRDIMM"
_TYPE_DETAILS = {  # DSP0134 7.18.3, by bit
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

    array = Handle(0x04, "array handle", zero=True)
    size_kib = Size(0x0C, "size")
    technology = Word(0x28, "memory technology", codes=_TECHNOLOGIES)
    total_width_bits = Number(0x08, "total width", full=0xFFFF)
    data_width_bits = Number(0x0A, "data width", full=0xFFFF)
    form = Word(0x0E, "form factor", codes=_FORM_FACTORS)
    memory_type = Word(0x12, "type", codes=_MEMORY_TYPES, called="memory type")
    details = Bits(0x13, "type detail", codes=_TYPE_DETAILS)
    locator = Text(0x10, "locator")
    bank = Text(0x11, "bank locator", called="bank")
    rated_mts = Number(0x15, "speed", "current speed", mask=0x7FFFFFFF, full=0xFFFF, larger=(0x54, "I"))  # 2.3 and 3.3
    configured_mts = Number(  # 2.7 and 3.3
        *(0x20, "configured memory speed", "configured clock speed", "configured speed"),
        mask=0x7FFFFFFF,
        full=0xFFFF,
        larger=(0x58, "I"),
    )
    maker = Text(0x17, "manufacturer", called="maker")
    serial = Text(0x18, "serial number")
    asset_tag = Text(0x19, "asset tag")
    part_number = Text(0x1A, "part number")
    ranks_said = Number(0x1B, "rank", form="B", mask=0x0F)  # 2.6, attributes bits 3:0
    modes = Bits(0x29, "memory operating mode capability", codes=_OPERATING_MODES)
    nonvolatile_kib = Kib(0x34, "non-volatile size", form="Q", full=(1 << 64) - 1, zero=True)

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

    location = Word(0x04, "location", codes=_LOCATIONS, called="array location")
    use = Word(0x05, "use", codes=_USES, called="array use")
    slots_said = Number(0x0D, "number of devices", "number of slots/sockets", zero=True)

    @property
    def role(self) -> Role:
        """What its places are for (DSP0134 7.17.1, 7.17.2)."""
        if (self.location or "").casefold().startswith("cxl"):
            return "add-on"
        return _ROLE_OF_USE.get(self.use or "", "memory")


class Processor(Structure):
    """A processor, type 4 (DSP0134 7.5); ``status`` is populated or not, enabled or not."""

    number = 4

    locator = Text(0x04, "socket designation")
    type = Word(0x05, "type", codes=_PROCESSOR_TYPES)
    status = Status(0x18, "status")
    cores = Number(0x23, "core count", form="B", full=0xFF, larger=(0x2A, "H"))  # 2.5 and 3.0

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
