"""Synthetic inventories of every form, built from the standards' layouts and apart from the readers."""

from __future__ import annotations

import io
import json
import struct
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from crccheck.crc import CrcXmodem

Text = str | bytes | int | None
"""A text of a structure: itself, ``None`` for none, or a number to be written as it is, right or wrong."""

# --- SMBIOS, DSP0134 --------------------------------------------------------------------------------------------------

DEVICE_LENGTHS = (21, 23, 27, 28, 34, 40, 84, 92, 100)
"""Lengths of memory devices met in real tables."""


class _Strings:
    def __init__(self) -> None:
        self.texts: list[bytes] = []

    def add(self, text: Text) -> int:
        if text is None:
            return 0
        if isinstance(text, int):
            return text
        self.texts.append(text if isinstance(text, bytes) else text.encode("utf-8"))
        return len(self.texts)

    def area(self) -> bytes:
        return b"".join(text + b"\0" for text in self.texts) + b"\0" if self.texts else b"\0\0"


def structure(kind: int, handle: int, body: bytes, area: bytes = b"\0\0") -> bytes:
    """One structure: header, formatted area, strings."""
    return struct.pack("<BBH", kind, len(body) + 4, handle) + body + area


def device(
    handle: int = 0x1100,
    *,
    length: int = 40,
    array: int = 0x1000,
    total: int = 72,
    data: int = 64,
    size: int = 16 << 10,
    extended_size: int = 0,
    form: int = 0x09,
    locator: Text = "DIMM_A1",
    bank: Text = "NODE 0",
    type: int = 0x1A,
    detail: int = 1 << 7 | 1 << 13,
    speed: int = 2933,
    maker: Text = "Maker One",
    serial: Text = None,
    tag: Text = None,
    part: Text = "PART-0001",
    rank: int = 2,
    configured: int = 2933,
    volts: tuple[int, int, int] = (1200, 1200, 1200),
    technology: int = 3,
    modes: int = 1 << 3,
    firmware: Text = None,
    sizes: tuple[int, int, int, int] = (0, 0, 0, 0),
    extended_speeds: tuple[int, int] = (0, 0),
) -> bytes:
    """A memory device, type 17; ``size`` is the field at 0Ch (MB, or kB with bit 15)."""
    strings = _Strings()
    body = struct.pack("<HHHHHBB", array, 0xFFFE, total, data, size, form, 0)
    body += bytes((strings.add(locator), strings.add(bank), type)) + struct.pack("<HH", detail, speed)
    body += bytes((strings.add(maker), strings.add(serial), strings.add(tag), strings.add(part), rank))
    body += struct.pack("<IHHHH", extended_size, configured, *volts)
    body += bytes((technology,)) + struct.pack("<H", modes) + bytes((strings.add(firmware),))
    body += struct.pack("<HHHHQQQQ", 0, 0, 0, 0, *sizes) + struct.pack("<II", *extended_speeds)
    body += struct.pack("<HHHH", 0, 0, 0, 0)
    assert len(body) == 96
    return structure(17, handle, body[: length - 4], strings.area())


def empty_device(handle: int = 0x1101, **fields: Any) -> bytes:
    """An empty slot: size 0, and nothing said of a module."""
    nothing: dict[str, Any] = {"size": 0, "total": 0xFFFF, "data": 0xFFFF, "type": 2, "detail": 1 << 2, "speed": 0}
    nothing |= {"maker": "NO DIMM", "part": "NO DIMM", "rank": 0, "configured": 0, "technology": 2, "modes": 1 << 2}
    return device(handle, **(nothing | {"locator": "DIMM_A2"} | fields))


def array(
    handle: int = 0x1000, *, location: int = 3, use: int = 3, ecc: int = 6, max_kib: int = 1 << 30, slots: int = 1
) -> bytes:
    """A physical memory array, type 16, of SMBIOS 2.7."""
    small, large = (max_kib, 0) if max_kib < 0x80000000 else (0x80000000, max_kib << 10)
    body = struct.pack("<BBBIHHQ", location, use, ecc, small, 0xFFFE, slots, large)
    return structure(16, handle, body)


def processor(
    handle: int = 0x0400, *, socket: Text = "CPU1", status: int = 0x41, version: Text = "Model 7", cores: int = 16
) -> bytes:
    """A processor, type 4, of SMBIOS 2.6."""
    strings = _Strings()
    body = bytes((strings.add(socket), 3, 1, strings.add("Maker Two"))) + bytes(8)
    body += bytes((strings.add(version), 0)) + struct.pack("<HHH", 100, 4000, 2000)
    body += bytes((status, 1)) + struct.pack("<HHH", 0xFFFF, 0xFFFF, 0xFFFF) + bytes(3) + bytes((cores, cores, cores))
    body += struct.pack("<HH", 4, 0)
    return structure(4, handle, body, strings.area())


def bios(*, virtual: bool = False) -> bytes:
    """BIOS information, type 0; bit 4 of offset 13h is the virtual machine's."""
    strings = _Strings()
    body = bytes((strings.add("Maker Three"), strings.add("1.0"))) + struct.pack("<H", 0xF000)
    body += bytes((strings.add("01/02/2020"), 0)) + struct.pack("<Q", 1 << 7) + bytes((0, 0x10 if virtual else 0, 1, 0))
    return structure(0, 0, body + bytes((255, 255)), strings.area())


def end(handle: int = 0xFEFF) -> bytes:
    """The end marker, type 127."""
    return structure(127, handle, b"")


def entry30(table: bytes, version: tuple[int, int] = (3, 2), *, length: int | None = None, address: int = 32) -> bytes:
    """A 64-bit entry point for ``table``."""
    head = bytearray(b"_SM3_\0\x18" + bytes((*version, 0, 1, 0)))
    head += struct.pack("<IQ", len(table) if length is None else length, address)
    head[5] = -sum(head) & 0xFF
    return bytes(head)


def entry21(
    table: bytes,
    version: tuple[int, int] = (2, 8),
    *,
    count: int,
    length: int | None = None,
    address: int = 32,
    size: int = 0x1F,
) -> bytes:
    """A 32-bit entry point for ``table``."""
    head = bytearray(b"_SM_\0" + bytes((size, *version)) + struct.pack("<H", 256) + bytes(6) + b"_DMI_\0")
    head += struct.pack("<HIHB", len(table) if length is None else length, address, count, 0x28)
    head[0x15] = -sum(head[0x10:0x1F]) & 0xFF
    head[4] = -sum(head[:0x1F]) & 0xFF
    return bytes(head)


def dump(structures: Sequence[bytes], version: tuple[int, int] = (3, 2), *, marked: bool = True, **entry: Any) -> bytes:
    """A dump file: entry point, the table at 20h. Versions before 3 get the 32-bit entry point."""
    parts = [*structures, *([end()] if marked else [])]
    table = b"".join(parts)
    if version[0] < 3:
        head = entry21(table, version, **({"count": len(parts)} | entry))
    else:
        head = entry30(table, version, **entry)
    return head.ljust(32, b"\0") + table


def machine(devices: Sequence[bytes], **fields: Any) -> bytes:
    """A dump with one processor, one array and ``devices``."""
    return dump([bios(), processor(), array(slots=len(devices)), *devices], **fields)


# --- text listings ----------------------------------------------------------------------------------------------------

FILLED: dict[str, str] = {
    "Array Handle": "0x1000",
    "Error Information Handle": "Not Provided",
    "Total Width": "72 bits",
    "Data Width": "64 bits",
    "Size": "32 GB",
    "Form Factor": "DIMM",
    "Set": "None",
    "Locator": "DIMM_A1",
    "Bank Locator": "NODE 0",
    "Type": "DDR4",
    "Type Detail": "Synchronous Registered (Buffered)",
    "Speed": "2933 MT/s",
    "Manufacturer": "Maker One",
    "Serial Number": "Not Specified",
    "Asset Tag": "Not Specified",
    "Part Number": "PART-0001",
    "Rank": "2",
    "Configured Memory Speed": "2933 MT/s",
}
EMPTY: dict[str, str] = FILLED | {
    "Total Width": "Unknown",
    "Data Width": "Unknown",
    "Size": "No Module Installed",
    "Locator": "DIMM_A2",
    "Type": "Unknown",
    "Type Detail": "Unknown",
    "Speed": "Unknown",
    "Manufacturer": "NO DIMM",
    "Part Number": "NO DIMM",
    "Rank": "Unknown",
    "Configured Memory Speed": "Unknown",
}
ARRAY: dict[str, str] = {
    "Location": "System Board Or Motherboard",
    "Use": "System Memory",
    "Error Correction Type": "Multi-bit ECC",
    "Maximum Capacity": "1 TB",
    "Error Information Handle": "Not Provided",
}
HEAD = "# dmidecode 3.4\nGetting SMBIOS data from sysfs.\nSMBIOS 3.2.0 present.\nTable at 0x6F93E000.\n\n"


def block(title: str, kind: int, handle: int | None, fields: Mapping[str, str], *, length: int = 40) -> str:
    """One structure of a listing."""
    head = "" if handle is None else f"Handle 0x{handle:04X}, DMI type {kind}, {length} bytes\n"
    return head + title + "\n" + "".join(f"\t{name}: {value}\n" for name, value in fields.items()) + "\n"


def listing(
    devices: Iterable[Mapping[str, str]] = (FILLED, EMPTY),
    *,
    head: str = HEAD,
    handles: bool = True,
    slots: str | None = None,
    arrays: Sequence[Mapping[str, str]] | None = None,
    first_handle: int = 0x1100,
) -> str:
    """A listing of one machine: its arrays (handles from 1000h), then its devices."""
    given = list(devices)
    shown = [ARRAY | {"Number Of Devices": slots or str(len(given))}] if arrays is None else arrays
    text = head
    for index, fields in enumerate(shown):
        text += block("Physical Memory Array", 16, 0x1000 + index if handles else None, fields, length=23)
    for index, fields in enumerate(given):
        text += block("Memory Device", 17, first_handle + index if handles else None, fields)
    return text


# --- SPD images -------------------------------------------------------------------------------------------------------

DDR4_CYCLES = {
    **{1600: (0x0A, 0x00), 1866: (0x09, 0xCA), 2133: (0x08, 0xC1), 2400: (0x07, 0xD6)},
    **{2666: (0x06, 0x00), 2933: (0x06, 0xBC), 3200: (0x05, 0x00)},
}
"""tCKAVGmin as makers code it: coarse and fine byte (standards, section 2.1)."""


def _crc(block: bytes) -> bytes:
    return struct.pack("<H", CrcXmodem.calc(block))


def spd4(
    *,
    kind: int = 1,
    density: int = 6,
    package: int = 0x00,
    organisation: int = 0x08,
    bus: int = 0x0B,
    rate: int = 2933,
    times: tuple[int, int, int] = (0x6E, 0x6E, 0x6E),
    part: bytes = b"PART-0004",
    serial: bytes = b"\x12\x34\x56\x78",
    maker: bytes = b"\x80\x2c",
    week: bytes = b"\x23\x16",
    good: bool = True,
    good_module_part: bool = True,
) -> bytes:
    """A DDR4 image; the defaults are 64GB 2Rx4 of 16 Gbit dies. ``density`` is the low half of byte 4."""
    image = bytearray(512)
    image[0:4] = bytes((0x23, 0x12, 0x0C, kind))
    image[4] = 0x80 | density
    image[5], image[6], image[12], image[13] = 0x31, package, organisation, bus
    image[11] = 0x03
    image[18], image[125] = DDR4_CYCLES[rate]
    image[19] = 0x0D
    image[20:24] = b"\xf8\xff\x7f\x00"
    image[24:27] = bytes(times)
    image[27:30] = b"\x11\x00\x6e"
    image[126:128] = _crc(image[:126]) if good else b"\xde\xad"
    image[128], image[129], image[130] = 0x11, 0x11, 0x20
    image[254:256] = _crc(image[128:254]) if good_module_part else b"\xde\xad"
    image[320:322], image[323:325], image[325:329] = maker, week, serial
    image[329:349] = part.ljust(20)
    return bytes(image)


def spd5(
    *,
    kind: int = 1,
    first: int = 0x04,
    width: int = 0x00,
    ranks: int = 0x08,
    bus: int = 0x32,
    cycle_ps: int = 416,
    part: bytes = b"PART-0005",
    serial: bytes = b"\x12\x34\x56\x78",
    good: bool = True,
) -> bytes:
    """A DDR5 image; the defaults are 64GB 2Rx4 of 16 Gbit dies, with 80 bits."""
    image = bytearray(1024)
    image[0:8] = bytes((0x30, 0x10, 0x12, kind, first, 0x00, width, 0x62))
    image[20:22] = struct.pack("<H", cycle_ps)
    image[192], image[234], image[235] = 0x10, ranks, bus
    image[510:512] = _crc(image[:510]) if good else b"\xde\xad"
    image[512:514], image[515:517], image[517:521] = b"\x80\x2c", b"\x23\x16", serial
    image[521:551] = part.ljust(30)
    return bytes(image)


# --- Redfish ----------------------------------------------------------------------------------------------------------

MEMORY_URI = "/redfish/v1/Systems/1/Memory"


def memory(name: str = "DIMM1", **properties: Any) -> dict[str, Any]:
    """A Memory resource; a property given as ``None`` with a trailing underscore in its name is left out."""
    resource: dict[str, Any] = {
        "@odata.id": f"{MEMORY_URI}/{name}",
        "@odata.type": "#Memory.v1_19_0.Memory",
        "Id": name,
        "Name": f"Module {name}",
        "DeviceLocator": name,
        "MemoryType": "DRAM",
        "MemoryDeviceType": "DDR4",
        "BaseModuleType": "RDIMM",
        "CapacityMiB": 32768,
        "RankCount": 2,
        "DataWidthBits": 64,
        "BusWidthBits": 72,
        "ErrorCorrection": "MultiBitECC",
        "AllowedSpeedsMHz": [2400, 2933],
        "OperatingSpeedMhz": 2933,
        "Manufacturer": "Maker One",
        "PartNumber": "PART-0001",
        "Status": {"State": "Enabled", "Health": "OK"},
    }
    for key, value in properties.items():
        if key.endswith("_"):
            resource.pop(key[:-1])
        else:
            resource[key] = value
    return resource


def absent(name: str = "DIMM2") -> dict[str, Any]:
    """The resource of an empty slot, as the official mock-ups show it."""
    return {
        "@odata.id": f"{MEMORY_URI}/{name}",
        "@odata.type": "#Memory.v1_19_0.Memory",
        "Id": name,
        "Name": f"Slot {name}",
        "DeviceLocator": name,
        "Status": {"State": "Absent"},
    }


def collection(members: Sequence[dict[str, Any]], *, expanded: bool = True, **more: Any) -> dict[str, Any]:
    """A MemoryCollection, expanded or with bare references."""
    shown = list(members) if expanded else [{"@odata.id": member["@odata.id"]} for member in members]
    return {
        "@odata.id": MEMORY_URI,
        "@odata.type": "#MemoryCollection.MemoryCollection",
        "Name": "Memory Collection",
        "Members@odata.count": len(shown),
        "Members": shown,
    } | more


def as_json(value: Any) -> bytes:
    """A JSON document."""
    return json.dumps(value, indent=1).encode()


# --- bundles ----------------------------------------------------------------------------------------------------------


def zipped(files: Mapping[str, bytes], *, date: tuple[int, int, int, int, int, int] = (2024, 5, 6, 7, 8, 10)) -> bytes:
    """A zip archive of ``files``."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            info = zipfile.ZipInfo(name, date)
            info.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(info, content)
    return buffer.getvalue()


def laid(folder: Path, files: Mapping[str, bytes]) -> Path:
    """``files`` written below ``folder``."""
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return folder
