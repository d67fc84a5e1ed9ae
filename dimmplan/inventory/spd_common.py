"""What the two SPD generations share: the checksum, maker ids, dates, and the record they are read into."""

from __future__ import annotations

import binascii
from collections.abc import Mapping
from dataclasses import dataclass, field

from dimmplan.inventory.clean import clean, meaningful
from dimmplan.model.module import Generation, Kind


@dataclass(frozen=True, kw_only=True, slots=True)
class ModuleData:
    """A module as its SPD image describes it. ``None`` where the image does not tell.

    ``stack`` is the label's letter: empty, D or Q (multi-load) or S (3DS). ``oddities`` are ids of the catalogue.
    """

    generation: Generation
    capacity_kib: int | None = None
    kind: Kind | None = None
    package_ranks: int | None = None
    logical_ranks: int | None = None
    stack: str = ""
    device_width: int | None = None
    data_bits: int | None = None
    ecc_bits: int | None = None
    rated_mts: int | None = None
    speed_bin: str = ""
    hybrid: bool = False
    maker: str | None = None
    part_number: str | None = None
    serial: str | None = None
    made: str | None = None
    oddities: tuple[str, ...] = ()
    said: Mapping[str, str] = field(default_factory=dict)


def crc16(block: bytes) -> int:
    """CRC-16/XMODEM: polynomial 1021h, start 0, not reflected, no final xor (JESD21-C 4.1.2.L, JESD400-5 7.4)."""
    return binascii.crc_hqx(block, 0)


def crc_is_right(image: bytes, first: int, after: int) -> bool:
    """True where the two bytes at ``after``, low byte first, are the checksum of bytes ``first`` to ``after`` - 1.

    A block of zeros has checksum 0 and would pass: it is no module's data, and is wrong here.
    """
    block = image[first:after]
    return any(block) and crc16(block) == image[after] | image[after + 1] << 8


def maker_id(first: int, second: int) -> str | None:
    """A JEP106 id: the first byte counts continuation codes (bit 7 is parity), the second is the code with parity."""
    if (first, second) in ((0x00, 0x00), (0xFF, 0xFF)):
        return None
    return f"JEP106 bank {(first & 0x7F) + 1}, code 0x{second:02X}"


def week_made(year: int, week: int) -> str | None:
    """Year and week in BCD as ``2023-W16``; ``None`` where they are no date."""
    digits = [year >> 4, year & 15, week >> 4, week & 15]
    number = digits[2] * 10 + digits[3]
    if max(digits) > 9 or not 1 <= number <= 53:
        return None
    return f"20{digits[0]}{digits[1]}-W{number:02d}"


def serial_number(raw: bytes) -> str | None:
    """Four bytes as eight digits; ``None`` where they are blank."""
    return None if raw in (b"\0\0\0\0", b"\xff\xff\xff\xff") or len(raw) < 4 else raw.hex().upper()


def part_number(raw: bytes) -> str | None:
    """A part number of padded ASCII."""
    return meaningful(clean(raw.split(b"\0")[0].rstrip(b"\xff").decode("ascii", errors="replace")))


def nearest_rate(rates: tuple[int, ...], picoseconds: int, *, percent: int) -> int | None:
    """The standard rate of a cycle time: 2 000 000 / ps, within so many per cent; ``None`` where none is near."""
    if picoseconds <= 0:
        return None
    rate = min(rates, key=lambda each: abs(each * picoseconds - 2_000_000))
    return rate if abs(rate * picoseconds - 2_000_000) * 100 <= percent * 2_000_000 else None
