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
from dimmplan.inventory.labels import SAME
from dimmplan.inventory.oddities import Note, Oddities, judge
from dimmplan.inventory.reader import Piece, Reader, check_devices
from dimmplan.model.inventory import Inventory, InventorySlot
from dimmplan.model.label import VOLTAGES_MV, LabelParts, format_label, module_of, parse_parts
from dimmplan.model.module import RATES_MTS, Generation, Kind, Module

IMAGE_SIZES = (256, 384, 512, 1024, 2048)
"""Bytes of an image: DDR3 has 256, DDR4 512 (384 used), DDR5 1024; programs pad to 2048."""

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


class _Layout(NamedTuple):
    """Where the bytes of a generation stand.

    ``whole`` bytes have everything; ``checked`` are blocks by their first byte and that of their checksum; ``ranks``
    has symmetry in bit 6 and package ranks in bits 5:3; ``bus`` has its width in bits 2:0; ``width`` is a byte and the
    lowest bit of the device width there; ``texts`` is where maker, date, serial and part number begin.
    """

    generation: Generation
    whole: int
    checked: tuple[tuple[int, int], ...]
    ranks: int
    width: tuple[int, int]
    bus: int
    extension: dict[int, int]
    texts: int
    part_length: int


_LAYOUTS = {  # the rest of DDR4's 512 bytes is the end user's
    0x0C: _Layout(Generation.DDR4, 384, ((0, 126), (128, 254)), 12, (12, 0), 13, {0: 0, 1: 8}, 320, 20),
    0x12: _Layout(Generation.DDR5, 1024, ((0, 510),), 234, (6, 5), 235, {0: 0, 1: 4, 2: 8}, 512, 30),
}
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
    if code not in _LAYOUTS or len(image) < 256:
        kind = _DRAM_TYPES.get(code)
        what = f"{kind} module" if kind else "a blank image" if _is_blank(image) else "no module's image"
        note("spd-unknown", text=f"not a module this tool knows: {what}")
        return replace(named.untold(f"the image is {what}"), generation=Generation.DDR3 if code == 0x0B else None)
    layout = _LAYOUTS[code]
    if len(image) < layout.whole:
        note("spd-cut")
    wrong = [not _crc_is_right(image, *block) for block in layout.checked if block[1] + 2 <= len(image)]
    if any(wrong):
        note("crc-wrong" if wrong[0] else "crc-module-part-wrong")
    if image[layout.ranks] >> 6 & 1:
        note("spd-asymmetric")
    slot, stack, speed_bin = _read(named, image, layout)
    if image[3] >> 7:  # another medium beside the DRAM
        note("persistent-module")
        return replace(slot, state="hold", why="a hybrid module (SPD byte 3, bit 7)")
    if wrong and wrong[0]:
        return slot.untold("the image's checksum is wrong")
    if slot.capacity_kib is None or slot.package_ranks is None:
        return slot.untold("the image does not tell the module's size and ranks")
    whole = _whole(slot, stack, speed_bin)
    if whole is None and slot.kind is not None and slot.kind is not Kind.OTHER:
        note("spd-contradicts")
    return replace(slot, label=whole.label) if whole else slot


def _read(named: InventorySlot, image: bytes, layout: _Layout) -> tuple[InventorySlot, str, str]:
    """What the bytes say: values of a slot, ``None`` where they do not tell, and a label's letters of stack and bin.

    Of DDR4's annex L, and of JESD400-5, where a module has one or two sub-channels. What lies beyond the end of a short
    image is left open.
    """
    generation, bus = layout.generation, image[layout.bus]
    height: int | None
    if generation is Generation.DDR4:
        stack, height = _stack(image[6])
        cycle = image[18] * _MTB_PS + _signed(image[125])  # bytes 18 and 125, tCKAVGmin
        channels, extension = 1, bus >> 3 & 7  # byte 13, bits 4:3
    else:
        height = _STACK_HEIGHTS.get(image[4] >> 5)
        stack = "S" if height is not None and height > 1 else "D" if image[4] >> 5 == 1 else ""
        cycle = image[20] | image[21] << 8  # bytes 20-21, ps, low byte first
        channels, extension = {0: 1, 1: 2}.get(bus >> 5 & 3, 0), bus >> 3 & 3  # byte 235, bits 6:5 and 4:3
    ranks = image[layout.ranks]
    package_ranks = None if height is None or ranks >> 6 & 1 else (ranks >> 3 & 7) + 1
    each_ecc = layout.extension.get(extension)
    ecc = None if each_ecc is None or not channels else channels * each_ecc
    data = channels * (8 << (bus & 7)) if channels and bus & 7 <= 3 else None
    rate = _nearest_rate(generation, cycle)
    slot = replace(
        named,
        generation=generation,
        package_ranks=package_ranks,
        logical_ranks=None if package_ranks is None or height is None else package_ranks * height,
        device_width=_DEVICE_WIDTHS.get(image[layout.width[0]] >> layout.width[1] & 7),
        data_width_bits=data,
        total_width_bits=None if ecc is None or data is None else data + ecc,
        ecc=None if ecc is None else ecc > 0,
        ecc_bits=ecc,
        rated_mts=rate,
    )
    slot = replace(slot, capacity_kib=_capacity_kib(slot, image), kind=_kind(slot, stack, image[3] & 15))
    if len(image) >= layout.whole:
        at = layout.texts
        part = image[at + 9 : at + 9 + layout.part_length]
        serial = _serial_number(image[at + 5 : at + 9])
        slot = replace(slot, maker=maker_id(image[at], image[at + 1]), serial=serial, part_number=_part_number(part))
    return slot, stack, _speed_bin(image, cycle, rate) if generation is Generation.DDR4 else ""


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


def _whole(slot: InventorySlot, stack: str, speed_bin: str) -> Module | None:
    """The module by the label that its fields spell; ``None`` where they describe none that can be."""
    same: dict[str, Any] = {name: getattr(slot, name) for name in SAME}
    told = (*same.values(), slot.capacity_gib, slot.rated_mts)
    if None in told or slot.kind is Kind.OTHER or slot.generation is None or slot.rated_mts is None:
        return None
    parts = LabelParts(
        capacity_gib=slot.capacity_gib,
        stack=stack,
        rate_mts=slot.rated_mts,
        speed_bin=speed_bin,
        voltage_mv=VOLTAGES_MV[slot.generation][""],
        **same,
    )
    try:
        read = module_of(parse_parts(format_label(parts)))
    except InputError:
        return None
    return read if read == module_of(parts) else None


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
