"""SPD of DDR4 modules: JESD21-C 4.1.2.L (annex L), 512 bytes in an EE1004 device. Byte numbers are the annex's."""

from __future__ import annotations

from dimmplan.inventory.spd_common import (
    ModuleData,
    crc_is_right,
    maker_id,
    nearest_rate,
    part_number,
    serial_number,
    week_made,
)
from dimmplan.model.module import RATES_MTS, Generation, Kind

USED = 384
"""Bytes of the image that the annex uses; the rest of the 512 is the end user's."""
_KINDS = {  # byte 3, bits 3:0; UDIMM and SO-DIMM are told from their ECC brothers by byte 13
    **{1: Kind.RDIMM, 2: Kind.UDIMM, 3: Kind.SO_DIMM, 4: Kind.LRDIMM, 9: Kind.ECC_SO_DIMM},
    **{5: Kind.OTHER, 6: Kind.OTHER, 8: Kind.OTHER, 12: Kind.OTHER, 13: Kind.OTHER},
}
_DIE_MBIT = {**{code: 256 << code for code in range(8)}, 8: 12 << 10, 9: 24 << 10}  # byte 4, bits 3:0
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


def read(image: bytes) -> ModuleData:
    """Decode an image of at least 256 bytes; what lies beyond its end is left open."""
    oddities = []
    if len(image) < USED:
        oddities.append("spd-cut")
    if not crc_is_right(image, 0, 126):
        oddities.append("crc-wrong")
    elif not crc_is_right(image, 128, 254):
        oddities.append("crc-module-part-wrong")
    ecc_bits = {0: 0, 1: 8}.get(image[13] >> 3 & 7)  # byte 13, bits 4:3 extension
    data_bits = 8 << (image[13] & 7) if image[13] & 7 <= 3 else None  # byte 13, bits 2:0
    asymmetric = bool(image[12] >> 6 & 1)  # byte 12, bit 6
    if asymmetric:
        oddities.append("spd-asymmetric")
    width = {0: 4, 1: 8, 2: 16, 3: 32}.get(image[12] & 7)  # byte 12, bits 2:0
    package_ranks = (image[12] >> 3 & 7) + 1  # byte 12, bits 5:3
    stack, height = _stack(image[6])
    cycle = image[18] * _MTB_PS + _signed(image[125])  # bytes 18 and 125, tCKAVGmin
    rate = nearest_rate(RATES_MTS[Generation.DDR4], cycle, percent=1)
    full = len(image) >= USED
    return ModuleData(
        generation=Generation.DDR4,
        capacity_kib=None if asymmetric else _capacity(image[4], data_bits, width, package_ranks * height),
        kind=_kind(image[3], ecc_bits, stack),
        package_ranks=None if asymmetric else package_ranks,
        logical_ranks=None if asymmetric else package_ranks * height,
        stack=stack,
        device_width=width,
        data_bits=data_bits,
        ecc_bits=ecc_bits,
        rated_mts=rate,
        speed_bin=_speed_bin(image, cycle, rate),
        hybrid=bool(image[3] >> 7),  # byte 3, bit 7
        maker=maker_id(image[320], image[321]) if full else None,
        part_number=part_number(image[329:349]) if full else None,
        serial=serial_number(image[325:329]) if full else None,
        made=week_made(image[323], image[324]) if full else None,
        oddities=tuple(oddities),
        said=_said(image),
    )


def _stack(package: int) -> tuple[str, int]:
    """Byte 6: bit 7 not monolithic, 6:4 dies - 1, 1:0 loading; the label's letter, and the logical ranks of a rank.

    Only single-load stacks (3DS) multiply; the dies of a multi-load package sit on chip selects of their own.
    """
    dies, loading = (package >> 4 & 7) + 1, package & 3
    if loading == 2:
        return "S", dies
    if loading == 1 and dies > 1:
        return ("Q" if dies >= 4 else "D"), 1
    return "", 1


def _kind(code: int, ecc_bits: int | None, stack: str) -> Kind | None:
    kind = _KINDS.get(code & 15)
    if kind is not None and stack == "S" and kind.stacked is not kind:
        return kind.stacked
    if kind in (Kind.UDIMM, Kind.SO_DIMM):
        with_ecc = Kind.ECC_UDIMM if kind is Kind.UDIMM else Kind.ECC_SO_DIMM
        return {0: kind, 8: with_ecc}.get(-1 if ecc_bits is None else ecc_bits)
    return kind


def _capacity(density: int, data_bits: int | None, width: int | None, logical_ranks: int) -> int | None:
    """Annex L, note to bytes 4, 6, 12, 13: die density / 8 x primary width / device width x logical ranks, in KiB."""
    megabits = _DIE_MBIT.get(density & 15)
    if megabits is None or data_bits is None or width is None:
        return None
    return megabits * 1024 // 8 * data_bits // width * logical_ranks


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


def _said(image: bytes) -> dict[str, str]:
    fields = {"revision": 1, "DRAM type": 2, "module kind": 3, "density": 4, "package": 6, "organisation": 12}
    fields |= {"bus width": 13, "tCKAVGmin": 18, "tCKAVGmin fine": 125}
    return {name: f"byte {at}: 0x{image[at]:02X}" for name, at in fields.items()}
