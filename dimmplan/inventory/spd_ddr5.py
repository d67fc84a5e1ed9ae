"""SPD of DDR5 modules: JESD400-5 (byte places as in A.01), 1024 bytes in an SPD5118 hub."""

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

SIZE = 1024
_KINDS = {  # byte 3, bits 3:0; UDIMM and SO-DIMM are told from their ECC brothers by byte 235
    **{1: Kind.RDIMM, 2: Kind.UDIMM, 3: Kind.SO_DIMM, 4: Kind.LRDIMM, 7: Kind.MRDIMM, 10: Kind.OTHER, 11: Kind.OTHER},
}
_DIE_GBIT = {1: 4, 2: 8, 3: 12, 4: 16, 5: 24, 6: 32, 7: 48, 8: 64}  # byte 4, bits 4:0
_STACK_HEIGHTS = {0: 1, 1: 1, 2: 2, 3: 4, 4: 8, 5: 16}  # byte 4, bits 7:5; 1 is a dual-die package
_RATES = tuple(rate for rate in RATES_MTS[Generation.DDR5] if rate <= 9200 or rate == 12800)


def read(image: bytes) -> ModuleData:
    """Decode an image of at least 256 bytes; what lies beyond its end is left open."""
    oddities = []
    if len(image) < SIZE:
        oddities.append("spd-cut")
    checked = len(image) >= 512
    if checked and not crc_is_right(image, 0, 510):  # 7.4: bytes 0 to 509
        oddities.append("crc-wrong")
    asymmetric = bool(image[234] >> 6 & 1)  # byte 234, bit 6
    if asymmetric:
        oddities.append("spd-asymmetric")
    channels = {0: 1, 1: 2}.get(image[235] >> 5 & 3)  # byte 235, bits 6:5
    primary = {0: 8, 1: 16, 2: 32, 3: 64}.get(image[235] & 7)  # byte 235, bits 2:0, per sub-channel
    extension = {0: 0, 1: 4, 2: 8}.get(image[235] >> 3 & 3)  # byte 235, bits 4:3, per sub-channel
    ecc_bits = None if channels is None or extension is None else channels * extension
    data_bits = None if channels is None or primary is None else channels * primary
    width = {0: 4, 1: 8, 2: 16, 3: 32}.get(image[6] >> 5)  # byte 6, bits 7:5
    package_ranks = (image[234] >> 3 & 7) + 1  # byte 234, bits 5:3, per sub-channel
    height = _STACK_HEIGHTS.get(image[4] >> 5)
    logical = None if height is None or asymmetric else package_ranks * height
    stack = "S" if height is not None and height > 1 else "D" if image[4] >> 5 == 1 else ""
    full = len(image) >= SIZE
    return ModuleData(
        generation=Generation.DDR5,
        capacity_kib=_capacity(image[4], data_bits, width, logical),
        kind=_kind(image[3], ecc_bits, stack),
        package_ranks=None if logical is None else package_ranks,
        logical_ranks=logical,
        stack=stack,
        device_width=width,
        data_bits=data_bits,
        ecc_bits=ecc_bits,
        rated_mts=nearest_rate(_RATES, image[20] | image[21] << 8, percent=1),  # bytes 20-21, ps, low byte first
        hybrid=bool(image[3] >> 7),  # byte 3, bit 7
        maker=maker_id(image[512], image[513]) if full else None,
        part_number=part_number(image[521:551]) if full else None,
        serial=serial_number(image[517:521]) if full else None,
        made=week_made(image[515], image[516]) if full else None,
        oddities=tuple(oddities),
        said=_said(image),
    )


def _kind(code: int, ecc_bits: int | None, stack: str) -> Kind | None:
    kind = _KINDS.get(code & 15)
    if kind is not None and stack == "S":
        return kind.stacked
    if kind in (Kind.UDIMM, Kind.SO_DIMM) and ecc_bits != 0:
        with_ecc = Kind.ECC_UDIMM if kind is Kind.UDIMM else Kind.ECC_SO_DIMM
        return None if ecc_bits is None else with_ecc
    return kind


def _capacity(density: int, data_bits: int | None, width: int | None, logical_ranks: int | None) -> int | None:
    """JESD400-5: sub-channels x width / device width x die density / 8 x package ranks x stack height, in KiB.

    That a dual-die package counts once, as in DDR4, is what public decoders do; the standard's text was not read.
    """
    gigabits = _DIE_GBIT.get(density & 31)
    if gigabits is None or data_bits is None or width is None or logical_ranks is None:
        return None
    return gigabits * (1 << 20) // 8 * data_bits // width * logical_ranks


def _said(image: bytes) -> dict[str, str]:
    fields = {"revision": 1, "DRAM type": 2, "module kind": 3, "first DRAM": 4, "width": 6, "module revision": 192}
    fields |= {"tCKAVGmin low": 20, "tCKAVGmin high": 21, "ranks": 234, "bus width": 235}
    return {name: f"byte {at}: 0x{image[at]:02X}" for name, at in fields.items()}
