"""SPD images: what a module says of itself (DDR4: JESD21-C 4.1.2.L, annex L; DDR5: JESD400-5, places as in A.01).

One image, or a folder or archive of them, each named for its slot. Byte numbers are those of the standards.
"""

from __future__ import annotations

import binascii
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, NamedTuple

from dimmplan.errors import InputError
from dimmplan.inventory.clean import clean, meaningful
from dimmplan.inventory.files import Piece, check_devices
from dimmplan.inventory.labels import SAME
from dimmplan.inventory.oddities import Note, Oddities, judge
from dimmplan.inventory.reader import Reader
from dimmplan.model.inventory import Inventory, InventorySlot
from dimmplan.model.label import VOLTAGES_MV, LabelParts, format_label, module_of, parse_parts
from dimmplan.model.module import RATES_MTS, Generation, Kind, Module

IMAGE_SIZES = (256, 384, 512, 1024, 2048)
"""Bytes of an image: DDR3 has 256, DDR4 512 (384 used), DDR5 1024; programs pad to 2048."""

_DDR4, _DDR5 = 0x0C, 0x12
_DRAM_TYPES = {  # byte 2, the same place in every generation
    **{0x0B: "a DDR3", 0x0C: "a DDR4", 0x0E: "a DDR4E", 0x10: "an LPDDR4", 0x11: "an LPDDR4X", 0x12: "a DDR5"},
    **{0x13: "an LPDDR5", 0x07: "a DDR", 0x08: "a DDR2", 0x0F: "an LPDDR3", 0x14: "a newer", 0x15: "a newer"},
}

_KINDS = {  # byte 3, bits 3:0; UDIMM and SO-DIMM are told from their ECC brothers by the width of the bus
    Generation.DDR4: {
        **{1: Kind.RDIMM, 2: Kind.UDIMM, 3: Kind.SO_DIMM, 4: Kind.LRDIMM, 9: Kind.ECC_SO_DIMM},
        **{5: Kind.OTHER, 6: Kind.OTHER, 8: Kind.OTHER, 12: Kind.OTHER, 13: Kind.OTHER},
    },
    Generation.DDR5: {
        **{1: Kind.RDIMM, 2: Kind.UDIMM, 3: Kind.SO_DIMM, 4: Kind.LRDIMM, 7: Kind.MRDIMM},
        **{10: Kind.OTHER, 11: Kind.OTHER},
    },
}
_DIE_MBIT = {
    Generation.DDR4: {**{code: 256 << code for code in range(8)}, 8: 12 << 10, 9: 24 << 10},  # byte 4, bits 3:0
    Generation.DDR5: {code: gbit << 10 for code, gbit in enumerate((4, 8, 12, 16, 24, 32, 48, 64), 1)},  # bits 4:0
}
_DEVICE_WIDTHS = {0: 4, 1: 8, 2: 16, 3: 32}
_STACK_HEIGHTS = {0: 1, 1: 1, 2: 2, 3: 4, 4: 8, 5: 16}  # DDR5 byte 4, bits 7:5; 1 is a dual-die package
_RATES = {
    Generation.DDR4: RATES_MTS[Generation.DDR4],
    Generation.DDR5: tuple(rate for rate in RATES_MTS[Generation.DDR5] if rate <= 9200 or rate == 12800),
}
_SPEED_BINS = {  # JESD79-4: rate, then CL = tRCD = tRP in clocks
    1600: {10: "J", 11: "K", 12: "L"},
    1866: {12: "L", 13: "M", 14: "N"},
    2133: {14: "N", 15: "P", 16: "R"},
    2400: {15: "P", 16: "R", 17: "T", 18: "U"},
    2666: {17: "T", 18: "U", 19: "V", 20: "W"},
    2933: {19: "V", 20: "W", 21: "Y", 22: "AA"},
    3200: {20: "W", 22: "AA", 24: "AC"},
}
_MTB_PS = 125


class SpdReader(Reader):
    """Images of modules, one or many; each is a slot."""

    form = "spd"
    name = "SPD images"
    given = "SPD images"
    several = True

    def sniff(self, content: bytes, text: str | None) -> bool:
        """Bytes of an image's size whose third byte names a DRAM type, and blank ones of that size."""
        del text
        plain = content.isascii() and all(byte >= 0x20 or byte in b"\t\r\n" for byte in content)
        return len(content) in IMAGE_SIZES and not plain and (content[2] in _DRAM_TYPES or _is_blank(content))

    def read(self, pieces: Sequence[Piece], *, file: str, odd: Oddities) -> Inventory:
        """One slot per image, in the order given."""
        check_devices(len(pieces), file=file)
        slots: list[InventorySlot] = []
        for index, piece in enumerate(pieces):
            named = InventorySlot(locator=piece.slot, state="filled")
            slots.append(_slot(named, piece.content, odd.at(named, index)))
            if not piece.slot:
                odd.note("locator-missing", f"image {index + 1}", slots=(index,))
        return Inventory(form=self.form, slots=judge(slots, odd), oddities=odd.found())


def _is_blank(content: bytes) -> bool:
    """True for an image of zeros or ones, a few stray bytes forgiven."""
    return max(content.count(b"\0"), content.count(b"\xff")) >= len(content) - len(content) // 64


def _slot(named: InventorySlot, image: bytes, note: Note) -> InventorySlot:
    """The slot of one image."""
    code = image[2] if len(image) > 2 else 0
    if code not in (_DDR4, _DDR5) or len(image) < 256:
        kind = _DRAM_TYPES.get(code)
        what = f"{kind} module" if kind else "a blank image" if _is_blank(image) else "no module's image"
        note("spd-unknown", text=f"not a module this tool knows: {what}")
        return replace(named.untold(f"the image is {what}"), generation=Generation.DDR3 if code == 0x0B else None)
    module = _ddr4(named, image) if code == _DDR4 else _ddr5(named, image)
    for oddity in module.oddities:
        note(oddity)
    slot = _with_rest(module, image)
    if image[3] >> 7:  # another medium beside the DRAM
        note("persistent-module")
        return replace(slot, state="hold", why="a hybrid module (SPD byte 3, bit 7)", persistent=True)
    if "crc-wrong" in module.oddities:
        return slot.untold("the image's checksum is wrong")
    if slot.capacity_kib is None or slot.package_ranks is None:
        return slot.untold("the image does not tell the module's size and ranks")
    whole = _whole(module, slot)
    if whole is None and slot.kind is not None and slot.kind is not Kind.OTHER:
        note("spd-contradicts")
    return replace(slot, label=whole.label, form_factor=whole.form_factor) if whole else slot


class _Module(NamedTuple):
    """What the bytes of one generation say: values of a slot, ``None`` where they do not tell.

    ``stack`` is the label's letter: empty, D or Q (multi-load) or S (3DS); ``text_at`` is where maker, date, serial
    and part number stand, in the order of their bytes, or ``None`` where the image ends before them.
    """

    slot: InventorySlot
    stack: str
    text_at: int | None
    part_length: int
    oddities: list[str]
    speed_bin: str = ""


def _with_rest(module: _Module, image: bytes) -> InventorySlot:
    """The slot with what follows from its values, and with the texts, which both generations write in one order."""
    slot, at = module.slot, module.text_at
    ecc, data = slot.ecc_bits, slot.data_width_bits
    return replace(
        slot,
        capacity_kib=_capacity_kib(slot, image),
        kind=_kind(slot, module.stack, image[3] & 15),
        total_width_bits=None if ecc is None or data is None else data + ecc,
        ecc=None if ecc is None else ecc > 0,
        maker=None if at is None else maker_id(image[at], image[at + 1]),
        serial=None if at is None else _serial_number(image[at + 5 : at + 9]),
        part_number=None if at is None else _part_number(image[at + 9 : at + 9 + module.part_length]),
    )


def _capacity_kib(slot: InventorySlot, image: bytes) -> int | None:
    """Die density / 8 x bus width / device width x logical ranks (annex L, bytes 4, 6, 12, 13; JESD400-5).

    That a dual-die package of DDR5 counts once, as in DDR4, is what public decoders do; the text was not read.
    """
    assert slot.generation is not None
    megabits = _DIE_MBIT[slot.generation].get(image[4] & (15 if slot.generation is Generation.DDR4 else 31))
    if not megabits or not slot.data_width_bits or not slot.device_width or not slot.logical_ranks:
        return None
    return megabits * 128 * slot.data_width_bits // slot.device_width * slot.logical_ranks


def _kind(slot: InventorySlot, stack: str, code: int) -> Kind | None:
    assert slot.generation is not None
    kind = _KINDS[slot.generation].get(code)
    if kind is not None and stack == "S" and kind.stacked is not kind:
        return kind.stacked
    if kind not in (Kind.UDIMM, Kind.SO_DIMM) or slot.ecc_bits == 0:
        return kind
    wide = slot.ecc_bits == 8 if slot.generation is Generation.DDR4 else slot.ecc_bits is not None
    with_ecc = Kind.ECC_UDIMM if kind is Kind.UDIMM else Kind.ECC_SO_DIMM
    return with_ecc if wide else None


def _whole(module: _Module, slot: InventorySlot) -> Module | None:
    """The module by the label that its fields spell; ``None`` where they describe none that can be."""
    same: dict[str, Any] = {name: getattr(slot, name) for name in SAME}
    told = (*same.values(), slot.capacity_gib, slot.rated_mts)
    if None in told or slot.kind is Kind.OTHER or slot.generation is None or slot.rated_mts is None:
        return None
    parts = LabelParts(
        capacity_gib=slot.capacity_gib,
        stack=module.stack,
        rate_mts=slot.rated_mts,
        speed_bin=module.speed_bin,
        voltage_mv=VOLTAGES_MV[slot.generation][""],
        **same,
    )
    try:
        read = module_of(parse_parts(format_label(parts)))
    except InputError:
        return None
    return read if read == module_of(parts) else None


def _ddr4(named: InventorySlot, image: bytes) -> _Module:
    """Annex L: an image of at least 256 bytes; what lies beyond its end is left open."""
    full = len(image) >= 384  # the rest of the 512 is the end user's
    oddities = [] if full else ["spd-cut"]
    if not _crc_is_right(image, 0, 126):
        oddities.append("crc-wrong")
    elif not _crc_is_right(image, 128, 254):
        oddities.append("crc-module-part-wrong")
    asymmetric = bool(image[12] >> 6 & 1)  # byte 12, bit 6
    oddities += ["spd-asymmetric"] if asymmetric else []
    package_ranks = (image[12] >> 3 & 7) + 1  # byte 12, bits 5:3
    stack, height = _stack(image[6])
    cycle = image[18] * _MTB_PS + _signed(image[125])  # bytes 18 and 125, tCKAVGmin
    rate = _nearest_rate(Generation.DDR4, cycle)
    slot = replace(
        named,
        generation=Generation.DDR4,
        package_ranks=None if asymmetric else package_ranks,
        logical_ranks=None if asymmetric else package_ranks * height,
        device_width=_DEVICE_WIDTHS.get(image[12] & 7),  # byte 12, bits 2:0
        data_width_bits=8 << (image[13] & 7) if image[13] & 7 <= 3 else None,  # byte 13, bits 2:0
        ecc_bits={0: 0, 1: 8}.get(image[13] >> 3 & 7),  # byte 13, bits 4:3 extension
        rated_mts=rate,
    )
    return _Module(slot, stack, 320 if full else None, 20, oddities, _speed_bin(image, cycle, rate))


def _ddr5(named: InventorySlot, image: bytes) -> _Module:
    """JESD400-5: an image of at least 256 bytes; what lies beyond its end is left open."""
    full = len(image) >= 1024
    oddities = [] if full else ["spd-cut"]
    if len(image) >= 512 and not _crc_is_right(image, 0, 510):  # 7.4: bytes 0 to 509
        oddities.append("crc-wrong")
    asymmetric = bool(image[234] >> 6 & 1)  # byte 234, bit 6
    oddities += ["spd-asymmetric"] if asymmetric else []
    channels = {0: 1, 1: 2}.get(image[235] >> 5 & 3)  # byte 235, bits 6:5
    primary = {0: 8, 1: 16, 2: 32, 3: 64}.get(image[235] & 7)  # byte 235, bits 2:0, per sub-channel
    extension = {0: 0, 1: 4, 2: 8}.get(image[235] >> 3 & 3)  # byte 235, bits 4:3, per sub-channel
    package_ranks = (image[234] >> 3 & 7) + 1  # byte 234, bits 5:3, per sub-channel
    height = _STACK_HEIGHTS.get(image[4] >> 5)
    logical = None if height is None or asymmetric else package_ranks * height
    slot = replace(
        named,
        generation=Generation.DDR5,
        package_ranks=None if logical is None else package_ranks,
        logical_ranks=logical,
        device_width=_DEVICE_WIDTHS.get(image[6] >> 5),  # byte 6, bits 7:5
        data_width_bits=None if channels is None or primary is None else channels * primary,
        ecc_bits=None if channels is None or extension is None else channels * extension,
        rated_mts=_nearest_rate(Generation.DDR5, image[20] | image[21] << 8),  # bytes 20-21, ps, low byte first
    )
    stack = "S" if height is not None and height > 1 else "D" if image[4] >> 5 == 1 else ""
    return _Module(slot, stack, 512 if full else None, 30, oddities)


def _stack(package: int) -> tuple[str, int]:
    """DDR4 byte 6: bits 6:4 dies - 1, 1:0 loading; the label's letter, and the logical ranks of a rank.

    Only single-load stacks (3DS) multiply; the dies of a multi-load package sit on chip selects of their own.
    """
    dies, loading = (package >> 4 & 7) + 1, package & 3
    if loading == 2:
        return "S", dies
    if loading == 1 and dies > 1:
        return ("Q" if dies >= 4 else "D"), 1
    return "", 1


def _signed(byte: int) -> int:
    return byte - 256 if byte > 127 else byte


def _speed_bin(image: bytes, cycle: int, rate: int | None) -> str:
    """The letters of JESD79-4's speed bin, where tAA, tRCD and tRP agree; a 3DS module's tAA is longer, so none."""
    if rate is None or cycle <= 0:
        return ""
    times = [image[at] * _MTB_PS + _signed(image[fine]) for at, fine in ((24, 123), (25, 122), (26, 121))]
    # 1 % of a clock is forgiven, as the cycle time itself is rounded (annex L, rounding)
    clocks = {-(-(time * 1000 - 10 * cycle) // (cycle * 1000)) for time in times}
    return _SPEED_BINS.get(rate, {}).get(clocks.pop(), "") if len(clocks) == 1 else ""


def _nearest_rate(generation: Generation, picoseconds: int) -> int | None:
    """The standard rate of a cycle time: 2 000 000 / ps, within 1 %; ``None`` where none is near."""
    if picoseconds <= 0:
        return None
    rate = min(_RATES[generation], key=lambda each: abs(each * picoseconds - 2_000_000))
    return rate if abs(rate * picoseconds - 2_000_000) <= 20_000 else None


# -- values that both generations write alike --------------------------------------------------------------------------


def crc16(block: bytes) -> int:
    """CRC-16/XMODEM: polynomial 1021h, start 0, not reflected, no final xor (JESD21-C 4.1.2.L, JESD400-5 7.4)."""
    return binascii.crc_hqx(block, 0)


def _crc_is_right(image: bytes, first: int, after: int) -> bool:
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


def _serial_number(raw: bytes) -> str | None:
    """Four bytes as eight digits; ``None`` where they are blank."""
    return None if raw in (b"\0\0\0\0", b"\xff\xff\xff\xff") or len(raw) < 4 else raw.hex().upper()


def _part_number(raw: bytes) -> str | None:
    """A part number of padded ASCII."""
    return meaningful(clean(raw.split(b"\0")[0].rstrip(b"\xff").decode("ascii", errors="replace")))


READER = SpdReader()
