"""SPD images: what a module says of itself (JESD21-C 4.1.2.L for DDR4, JESD400-5 for DDR5).

One image, or a folder or archive of them, each named for its slot. The layouts are in ``spd_ddr4`` and ``spd_ddr5``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from dimmplan.errors import InputError
from dimmplan.inventory import spd_ddr4, spd_ddr5
from dimmplan.inventory.lies import judge
from dimmplan.inventory.limits import check_devices
from dimmplan.inventory.oddities import Oddities, slot_name
from dimmplan.inventory.spd_common import ModuleData
from dimmplan.model.inventory import FoundSlot, Inventory
from dimmplan.model.label import LabelParts, format_label, module_of, parse_parts
from dimmplan.model.module import Generation, Kind

IMAGE_SIZES = (256, 384, 512, 1024, 2048)
"""Bytes of an image: DDR3 has 256, DDR4 512 (384 used), DDR5 1024; programs pad to 2048."""

_DDR4, _DDR5 = 0x0C, 0x12
_DRAM_TYPES = {  # byte 2, the same place in every generation
    **{0x0B: "DDR3", 0x0C: "DDR4", 0x0E: "DDR4E", 0x10: "LPDDR4", 0x11: "LPDDR4X", 0x12: "DDR5", 0x13: "LPDDR5"},
    **{0x07: "DDR", 0x08: "DDR2", 0x0F: "LPDDR3", 0x14: "a newer kind", 0x15: "a newer kind"},
}
_VOLTAGE_MV = {Generation.DDR4: 1200, Generation.DDR5: 1100}
_ADDRESS_OF_SIZE = 1 << 20


def is_image(content: bytes) -> bool:
    """True for bytes of an image's size whose third byte names a DRAM type, and for blank ones of that size."""
    if len(content) not in IMAGE_SIZES:
        return False
    return content[2] in _DRAM_TYPES or _is_blank(content)


def _is_blank(content: bytes) -> bool:
    """True for an image of zeros or ones, a few stray bytes forgiven."""
    return max(content.count(b"\0"), content.count(b"\xff")) >= len(content) - len(content) // 64


def read_images(images: Sequence[tuple[str, bytes]], *, file: str = "", odd: Oddities | None = None) -> Inventory:
    """Read images, each with the name of its slot: one slot per image, in the order given."""
    check_devices(len(images), file=file)
    odd = odd if odd is not None else Oddities()
    slots: list[FoundSlot] = []
    for index, (name, content) in enumerate(images):
        slots.append(_slot(name, content, index, odd))
        if not name:
            odd.note("locator-missing", f"image {index + 1}", slots=(index,))
    return Inventory(form="spd", slots=judge(slots, odd), oddities=odd.found())


def _slot(name: str, content: bytes, index: int, odd: Oddities) -> FoundSlot:
    """The slot of one image."""
    code = content[2] if len(content) > 2 else 0
    where = slot_name(FoundSlot(locator=name, state="filled"), index)
    if code not in (_DDR4, _DDR5) or len(content) < 256:
        kind = _DRAM_TYPES.get(code)
        what = f"a {kind} module" if kind else "a blank image" if _is_blank(content) else "no module's image"
        odd.note("spd-unknown", where, text=f"not a module this tool knows: {what}", slots=(index,))
        why = f"the image is {what}"
        said = {"DRAM type": f"0x{code:02X}"}
        generation = Generation.DDR3 if code == 0x0B else None
        return FoundSlot(locator=name, state="cannot-tell", why=why, generation=generation, said=said)
    data = spd_ddr4.read(content) if code == _DDR4 else spd_ddr5.read(content)
    for oddity in data.oddities:
        odd.note(oddity, where, slots=(index,))
    return _of_data(name, data, where, index, odd)


def _of_data(name: str, data: ModuleData, where: str, index: int, odd: Oddities) -> FoundSlot:
    slot = FoundSlot(
        locator=name,
        state="filled",
        capacity_kib=data.capacity_kib,
        generation=data.generation,
        kind=data.kind,
        package_ranks=data.package_ranks,
        logical_ranks=data.logical_ranks,
        device_width=data.device_width,
        total_width_bits=None if data.ecc_bits is None or data.data_bits is None else data.data_bits + data.ecc_bits,
        data_width_bits=data.data_bits,
        ecc=None if data.ecc_bits is None else data.ecc_bits > 0,
        ecc_bits=data.ecc_bits,
        rated_mts=data.rated_mts,
        voltage_mv=_VOLTAGE_MV[data.generation],
        maker=data.maker,
        part_number=data.part_number,
        made=data.made,
        serial=data.serial,
        said=data.said,
    )
    if data.hybrid:  # byte 3, bit 7: another medium beside the DRAM
        odd.note("persistent-module", where, slots=(index,))
        return replace(slot, state="hold", why="a hybrid module (SPD byte 3, bit 7)", persistent=True)
    if "crc-wrong" in data.oddities:
        return replace(slot, state="cannot-tell", why="the image's checksum is wrong")
    if slot.capacity_kib is None or slot.package_ranks is None:
        return replace(slot, state="cannot-tell", why="the image does not tell the module's size and ranks")
    label = _label(data)
    if label is None:
        if data.kind is not None and data.kind is not Kind.OTHER:
            odd.note("spd-contradicts", where, slots=(index,))
        return slot
    module = module_of(parse_parts(label))
    return replace(slot, label=label, form_factor=module.form_factor if module else None)


def _label(data: ModuleData) -> str | None:
    """The module's JEDEC label in canonical spelling; ``None`` where the fields describe none that can be."""
    told = (data.capacity_kib, data.package_ranks, data.logical_ranks, data.device_width, data.ecc_bits, data.rated_mts)
    if any(value is None for value in told) or data.kind in (None, Kind.OTHER):
        return None
    if (data.capacity_kib or 0) % _ADDRESS_OF_SIZE:
        return None
    parts = LabelParts(
        generation=data.generation,
        capacity_gib=(data.capacity_kib or 0) // _ADDRESS_OF_SIZE,
        kind=data.kind,
        package_ranks=data.package_ranks or 0,
        logical_ranks=data.logical_ranks or 0,
        stack=data.stack,
        device_width=data.device_width or 0,
        ecc_bits=data.ecc_bits,
        rate_mts=data.rated_mts or 0,
        speed_bin=data.speed_bin,
        voltage_mv=_VOLTAGE_MV[data.generation],
    )
    text = format_label(parts)
    try:
        same = parse_parts(text)
    except InputError:
        return None
    return text if module_of(same) == module_of(parts) else None
