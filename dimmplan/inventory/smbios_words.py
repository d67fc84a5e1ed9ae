"""The words of a text listing as values: processors, memory arrays, memory devices (DSP0134 7.5, 7.17, 7.18).

Wordings changed over the years: ``MHz`` and ``MT/s``, *Configured Clock Speed* and *Configured Memory Speed*, sizes in
kB, MB, GB or TB. All of them are read. What is not understood is named in the record's ``bad``.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Set
from fractions import Fraction

from dimmplan.inventory import smbios_tables as tables
from dimmplan.inventory.clean import clean
from dimmplan.inventory.oddities import Oddities
from dimmplan.inventory.smbios_records import BAD_MARKS, ArrayRecord, DeviceRecord, ProcessorRecord

_OUT_OF_SPEC = "<OUT OF SPEC>"
_BAD_INDEX = "<BAD INDEX>"
_EMPTY = frozenset(("no module installed", "not installed", "no module", "not present", "empty"))
_NOTHING = frozenset(("", "unknown", "not specified", "n/a", "none"))
_SIZE = re.compile(r"(\d{1,20})(?:\.(\d{1,6}))?\s{0,4}(bytes?|[kmgtp]i?b)\b.{0,80}", re.IGNORECASE)
_UNIT_BYTES = {"b": 1, "k": 1 << 10, "m": 1 << 20, "g": 1 << 30, "t": 1 << 40, "p": 1 << 50}
_NUMBER = re.compile(r"(\d{1,9})(?:\s{0,4}(?:bits?|MT/s|MHz)\b.{0,80})?", re.IGNORECASE)
_HANDLE = re.compile(r"0x([0-9A-F]{1,8})", re.IGNORECASE)
_VOLTS = re.compile(r"(\d{1,3})(?:\.(\d{1,6}))?\s{0,4}V\b.{0,80}", re.IGNORECASE)
_KEPT_APART = ("serial number", "asset tag")
_LOCATIONS = {"system board or motherboard": "system board"}
_MOST_SAID = 60


def device(handle: int | None, fields: Mapping[str, str], flags: Set[str]) -> DeviceRecord:
    """A memory device from the fields of its block; names are in lower case."""
    if "<truncated>" in flags:
        return DeviceRecord(handle=handle, damage="structure-truncated")
    if not {"size", "locator", "form factor", "type"} & set(fields):
        return DeviceRecord(handle=handle, damage="structure-short")
    read = _Fields(fields)
    size_text = fields.get("size", "")
    empty = size_text.casefold() in _EMPTY
    technology = read.word("memory technology", tables.TECHNOLOGIES)
    if technology is not None and "persistent" in technology:
        technology = tables.PERSISTENT_MEMORY
    modes = fields.get("memory operating mode capability", "").casefold()
    nonvolatile = read.size("non-volatile size")
    return DeviceRecord(
        handle=handle,
        array=read.handle("array handle"),
        empty=empty,
        size_kib=None if empty else read.size("size", zero=False),
        total_width=read.number("total width"),
        data_width=read.number("data width"),
        form=read.word("form factor", tables.FORM_FACTORS),
        type=read.word("type", tables.MEMORY_TYPES, name="memory type"),
        details=_details(fields.get("type detail", "")),
        locator=read.text("locator"),
        bank=read.text("bank locator", name="bank"),
        speed_mts=read.number("speed", "current speed"),
        configured_mts=read.number(*_CONFIGURED),
        maker=read.text("manufacturer", name="maker"),
        serial=read.text("serial number"),
        tag=read.text("asset tag"),
        part=read.text("part number"),
        ranks=read.number("rank"),
        voltage_mv=read.millivolts("configured voltage"),
        technology=technology,
        modes=frozenset(mode for mode in tables.OPERATING_MODES.values() if mode in modes),
        nonvolatile_kib=nonvolatile,
        bad=tuple(read.bad),
        said=_said(fields),
    )


_CONFIGURED = ("configured memory speed", "configured clock speed", "configured speed")


def array(handle: int | None, fields: Mapping[str, str], odd: Oddities) -> ArrayRecord:
    """A physical memory array from the fields of its block."""
    read = _Fields(fields)
    location = read.word("location", tables.ARRAY_LOCATIONS, name="array location")
    if location is not None:
        location = tables.CXL_LOCATION if location.casefold().startswith("cxl") else _LOCATIONS.get(location, location)
    record = ArrayRecord(
        handle=handle,
        location=location,
        use=read.word("use", tables.ARRAY_USES, name="array use"),
        ecc=read.word("error correction type", tables.ERROR_CORRECTIONS, name="array error correction"),
        max_kib=read.size("maximum capacity", "maximum memory capacity"),
        slots=read.number("number of devices", "number of slots/sockets", zero=True),
    )
    for mark in read.bad:
        kind, _, name = mark.partition(":")
        odd.note(BAD_MARKS[kind], f"array {'' if handle is None else f'0x{handle:04X}'}: {name}")
    return record


def processor(handle: int | None, fields: Mapping[str, str]) -> ProcessorRecord:
    """A processor from the fields of its block: ``Status: Populated, Enabled`` is bits 6 and 2:0 of offset 18h."""
    read = _Fields(fields)
    first, _, second = fields.get("status", "").casefold().partition(",")
    populated = {"populated": True, "unpopulated": False}.get(first.strip())
    status = second.strip() or None
    if status is not None and status.startswith("disabled by") and "user" not in status:
        status = tables.PROCESSOR_STATUS[3]
    if status is not None and status not in tables.PROCESSOR_STATUS.values():
        status = tables.OUT_OF_SPEC
    kind = fields.get("type", "central processor").casefold()
    return ProcessorRecord(
        handle=handle,
        socket=read.text("socket designation"),
        central=kind in ("central processor", "unknown", "other", ""),
        populated=populated,
        status=status,
        maker=read.text("manufacturer"),
        version=read.text("version"),
        cores=read.number("core count"),
    )


class _Fields:
    """The fields of one block, read by type; what cannot be read is named in ``bad``."""

    def __init__(self, fields: Mapping[str, str]) -> None:
        self._fields = fields
        self.bad: list[str] = []

    def _raw(self, names: tuple[str, ...]) -> str | None:
        return next((self._fields[name] for name in names if name in self._fields), None)

    def text(self, field: str, *, name: str = "") -> str | None:
        """A text; ``None`` where the listing says that there is none, or that it refers to none."""
        raw = self._fields.get(field)
        if raw is None or raw == "Not Specified":
            return None
        if raw == _BAD_INDEX:
            self.bad.append(f"index:{name or field}")
            return None
        return raw

    def word(self, field: str, table: dict[int, str], *, name: str = "") -> str | None:
        """A word of a code table, or the listing's own in lower case."""
        raw = self._fields.get(field)
        if raw is None:
            return None
        if raw == _OUT_OF_SPEC:
            self.bad.append(f"spec:{name or field}")
            return tables.OUT_OF_SPEC
        return tables.fold(table, clean(raw, most=60))

    def number(self, *names: str, zero: bool = False) -> int | None:
        """A number with or without its unit; 0 is *unknown* unless ``zero``."""
        raw = self._raw(names)
        if raw is None or raw.casefold() in _NOTHING:
            return None
        match = _NUMBER.fullmatch(raw)
        if match is None:
            self.bad.append(f"spec:{names[0]}" if raw == _OUT_OF_SPEC else f"field:{names[0]}")
            return None
        return int(match[1]) if zero else int(match[1]) or None

    def size(self, *names: str, zero: bool = True) -> int | None:
        """A size in KiB. The listing's kB, MB and GB are powers of 1024, as in the table."""
        raw = self._raw(names)
        if raw is None or raw.casefold() in _NOTHING:
            return 0 if zero and raw is not None and raw.casefold() == "none" else None
        match = _SIZE.fullmatch(raw)
        if match is None:
            self.bad.append(f"field:{names[0]}")
            return None
        number = Fraction(f"{match[1]}.{match[2] or 0}") * _UNIT_BYTES[match[3][0].casefold()]
        kib = number.numerator // (number.denominator << 10)
        if not zero and kib == 0:
            self.bad.append(f"field:{names[0]}")
            return None
        return kib

    def handle(self, name: str) -> int | None:
        """A handle as a number."""
        match = _HANDLE.fullmatch(self._fields.get(name, ""))
        return int(match[1], 16) if match else None

    def millivolts(self, name: str) -> int | None:
        """A voltage in mV."""
        match = _VOLTS.fullmatch(self._fields.get(name, ""))
        return int(Fraction(f"{match[1]}.{match[2] or 0}") * 1000) or None if match else None


def _details(text: str) -> frozenset[str]:
    """Type detail (DSP0134 7.18.3): words in a row; *Unbuffered (Unregistered)* holds another one's letters."""
    folded = " ".join(text.casefold().split())
    found = set()
    for word in ("unbuffered (unregistered)", "registered (buffered)"):
        if word in folded:
            found.add(word)
            folded = folded.replace(word, " ")
    for word in tables.TYPE_DETAILS.values():
        if word.casefold() in folded:
            found.add(word)
    return frozenset(found)


def _said(fields: Mapping[str, str]) -> dict[str, str]:
    """The block's fields as said, cleaned; serial number and asset tag have fields of their own."""
    said: dict[str, str] = {}
    for name, value in fields.items():
        if not any(word in name for word in _KEPT_APART) and value and len(said) < _MOST_SAID:
            said[clean(name, most=60)] = clean(value)
    return said
