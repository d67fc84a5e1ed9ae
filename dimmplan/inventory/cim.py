"""What Windows shows of SMBIOS structures: objects of Win32_PhysicalMemory and Win32_PhysicalMemoryArray (CIM).

They come as lists of ``Name : value`` or ``Name=value``, as tables with a head, as CSV or as JSON. Their properties are
those of SMBIOS types 17 and 16 in other names and codes, so they are read as a listing's fields. Windows lists filled
slots alone, and that is told.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any, Final

from dimmplan.errors import InputError, Problem
from dimmplan.inventory.clean import begins_as_json, decode_file
from dimmplan.inventory.oddities import Oddities
from dimmplan.inventory.reader import MOST_DEVICES, MOST_TEXT_BYTES, Piece, Reader, check_devices, check_size
from dimmplan.inventory.smbios import inventory_of
from dimmplan.inventory.smbios_fields import MEMORY_TYPES, TYPE_DETAILS, Array, Device, Structure
from dimmplan.model.inventory import Inventory

_TEXTS = {  # properties that say what a listing's fields say
    **{"devicelocator": "locator", "banklabel": "bank locator", "manufacturer": "manufacturer"},
    **{"partnumber": "part number", "serialnumber": "serial number", "totalwidth": "total width"},
    **{"datawidth": "data width", "speed": "speed", "configuredclockspeed": "configured memory speed"},
    **{"memorydevices": "number of devices"},
}
_CODED = ("capacity", "smbiosmemorytype", "memorytype", "formfactor", "typedetail", "attributes")
_OF_ARRAYS = ("memorydevices", "maxcapacity", "maxcapacityex")
_MACHINES = ("pscomputername", "__server", "node", "systemname")
_KNOWN = {*_TEXTS, *_CODED, *_OF_ARRAYS, *_MACHINES}
"""Properties that are read, in lower case."""
_FORM_FACTORS = {0: "Unknown", 1: "Other", 7: "SIMM", 8: "DIMM", 11: "RIMM", 12: "SODIMM", 13: "SRIMM"}
_OLD_TYPES = {2: 0x03, 20: 0x12, 21: 0x13, 22: 0x14, 24: 0x18, 25: 0x19, 26: 0x1A}
"""MemoryType, in systems that have no SMBIOSMemoryType, to the codes of DSP0134 7.18.2."""
_RANKS = 15  # Attributes, bits 3:0, as DSP0134 7.18 has them
_LINE = re.compile(r"\s{0,8}(\w{2,40})\s{0,30}[:=](?:\s{1,4}(.*)|(\S.*)|)")
_MARK = re.compile(r"\bDeviceLocator\b", re.IGNORECASE)
_OTHER_MARK = re.compile(r"\b(?:Capacity|SMBIOSMemoryType|FormFactor)\b", re.IGNORECASE)
Record = dict[str, str]

FILLED_ONLY: Final = "empty-unlisted"


class CimReader(Reader):
    """Objects of memory modules as Windows shows them."""

    form = "cim"
    name = "Windows objects of memory modules"
    given = "Win32_PhysicalMemory objects of Windows"

    def sniff(self, content: bytes, text: str | None) -> bool:
        """Text with records that have a locator and a capacity."""
        del content
        if text is None or len(text) > MOST_TEXT_BYTES or "@odata" in text:
            return False
        return bool(_MARK.search(text) and _OTHER_MARK.search(text)) and any(map(_is_device, _records(text)))

    def read(self, pieces: Sequence[Piece], *, file: str, odd: Oddities) -> Inventory:
        """Read the objects. Raises ``InputError`` where none is a memory module."""
        text = decode_file(pieces[0].content) or ""
        check_size(len(text), MOST_TEXT_BYTES, file=file, what="a list of objects")
        records = list(_records(text))
        devices = [each for each in records if _is_device(each)]
        if not devices:
            allowed = "objects with DeviceLocator and Capacity"
            raise InputError(Problem(file=file, found="no object of a memory module", allowed=allowed))
        check_devices(len(devices), file=file)
        arrays = [each for each in records if "memorydevices" in each]
        mixed = len({each[name] for each in devices for name in _MACHINES if each.get(name)}) > 1
        if mixed:
            odd.note("two-machines", "the objects")
        structures = [_structure(Array, each) for each in arrays] + [_structure(Device, each) for each in devices]
        counts = [each.slots_said for each in structures if isinstance(each, Array)]
        if not counts or sum(count or 0 for count in counts) != len(devices):
            odd.note(FILLED_ONLY)
        return inventory_of(structures, odd, form=self.form, edition=None, virtual=False, mixed=mixed)


def _is_device(record: Record) -> bool:
    return "devicelocator" in record and "capacity" in record


def _structure(kind: type[Structure], record: Record) -> Structure:
    lines = _lines(record)
    return kind(None, "", lambda field: field.of_lines(lines))


def _lines(record: Mapping[str, str]) -> dict[str, str]:
    """An object's properties as a listing's fields."""
    lines = {said: record[name] for name, said in _TEXTS.items() if record.get(name)}
    for name in ("speed", "configured memory speed", "total width", "data width"):
        if lines.get(name) == "0":
            del lines[name]
    code = {name: int(value) for name in _CODED if (value := record.get(name, "")).isdecimal() and len(value) < 20}
    lines["size"] = f"{code['capacity']} bytes" if code.get("capacity") else record.get("capacity", "") or "Unknown"
    memory_type = code.get("smbiosmemorytype", _OLD_TYPES.get(code.get("memorytype", 0), 2))
    lines["type"] = MEMORY_TYPES.get(memory_type, "<OUT OF SPEC>")
    lines["form factor"] = _FORM_FACTORS.get(code.get("formfactor", 0), "Other")
    lines["type detail"] = ", ".join(word for bit, word in TYPE_DETAILS.items() if code.get("typedetail", 0) >> bit & 1)
    if ranks := code.get("attributes", 0) & _RANKS:
        lines["rank"] = str(ranks)
    return lines


# --- records of every shape -------------------------------------------------------------------------------------------


def _records(text: str) -> Iterator[Record]:
    """The objects of a text, each as its known properties in lower case with their values."""
    if begins_as_json(text):
        yield from _of_json(text)
        return
    lines = text.replace("\r\r\n", "\n").splitlines()
    yield from _of_list(lines)
    for filled, rows in groupby(lines, key=lambda line: bool(line.strip())):
        block = list(rows) if filled else []
        at = next((index for index, line in enumerate(block) if _is_head(line)), None)
        if at is not None:
            yield from _of_csv(block[at:]) if "," in block[at] else _of_table(block[at:])


def _is_head(line: str) -> bool:
    line = line[:2000]
    return ":" not in line and "=" not in line and len(_KNOWN & set(re.findall(r"\w+", line.casefold()))) > 1


def _known(pairs: Iterable[tuple[str, str]]) -> Record:
    found: Record = {}
    for name, value in pairs:
        if name.strip().casefold() in _KNOWN:
            found.setdefault(name.strip().casefold(), value.strip())
    return found


def _of_list(lines: Sequence[str]) -> Iterator[Record]:
    """``Name : value``, an object until a name comes again or a blank line, which may stand behind every line."""
    blank = [not line.strip() for line in lines]
    spaced = sum(map(lambda one, two: one and not two, blank[1:], blank)) * 2 > blank.count(False)
    record: Record = {}
    for at, line in enumerate(lines):
        match = None if blank[at] else _LINE.fullmatch(line[:2000].rstrip())
        name = match[1].casefold() if match else ""
        if record and (name in record or (blank[at] and (not spaced or blank[at - 1]))):
            yield record
            record = {}
        if match and name in _KNOWN:
            record[name] = (match[2] or match[3] or "").strip()
    if record:
        yield record


def _of_csv(lines: Sequence[str]) -> Iterator[Record]:
    """Rows below a head of names."""
    try:
        rows = list(csv.reader(io.StringIO("\n".join(lines))))
    except csv.Error:
        return
    for row in rows[1:]:
        if len(row) == len(rows[0]):
            yield _known(zip(rows[0], row, strict=True))


def _of_table(lines: Sequence[str]) -> Iterator[Record]:
    """Rows in columns, cut where every row has a blank; a table in which columns touch is left out."""
    rows = [line.rstrip().expandtabs() for line in lines[: MOST_DEVICES + 3] if line.strip(" -")]
    width = max(map(len, rows))
    if width > 2000:
        return
    used = [any(row[at : at + 1].strip() for row in rows) for at in range(width)]
    spans: list[tuple[int, int]] = []
    for is_used, places in groupby(range(width), key=used.__getitem__):
        if is_used:
            at = list(places)
            if rows[0][at[0] : at[-1] + 1].strip() or not spans:
                spans.append((at[0], at[-1] + 1))
            else:  # a part of a value with blanks, as ``BANK 1`` has one: it belongs to the column before it
                spans[-1] = (spans[-1][0], at[-1] + 1)
    names = [rows[0][start:end].strip() for start, end in spans]
    if any(" " in name for name in names):
        return
    for row in rows[1:]:
        yield _known(zip(names, (row[start:end] for start, end in spans), strict=True))


def _of_json(text: str) -> Iterator[Record]:
    """Objects anywhere in a document; numbers are read as they are printed."""
    try:
        waiting: list[Any] = [json.loads(text)]
    except (ValueError, RecursionError):
        return
    while waiting:
        value = waiting.pop()
        if isinstance(value, list):
            waiting += reversed(value)
        elif isinstance(value, dict):
            plain = [(name, each) for name, each in value.items() if isinstance(each, str | int)]
            record = _known((name, str(each)) for name, each in plain if not isinstance(each, bool))
            if _is_device(record) or "memorydevices" in record:
                yield record
            else:
                waiting += [each for each in value.values() if isinstance(each, dict | list)]


READER = CimReader()
