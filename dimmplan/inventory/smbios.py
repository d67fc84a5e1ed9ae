"""From SMBIOS structures to an ``Inventory``: roles of arrays, states of places, what is on hold, what is odd."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Any

from dimmplan.inventory.clean import meaningful, was_dirty
from dimmplan.inventory.oddities import CATALOGUE, Note, Oddities, ecc_of_widths, judge, of_two_machines, slot_name
from dimmplan.inventory.smbios_fields import (
    LOAD_REDUCED,
    OUT_OF_SPEC,
    REGISTERED,
    UNBUFFERED,
    Array,
    Device,
    Processor,
    Structure,
    handle_text,
)
from dimmplan.model.inventory import Inventory, InventoryProcessor, InventorySlot, Role, State
from dimmplan.model.module import Generation, Kind

MANY_EMPTY_SLOTS = 16
"""From so many nameless empty slots on they are taken for a virtual machine's (64 and 127 were met)."""

_GENERATIONS = {generation.value: generation for generation in Generation}
_SAYS_NOTHING = frozenset(("other", "unknown", "DRAM", "RAM", "SDRAM", "reserved", OUT_OF_SPEC))
_SOLDERED_FORMS = frozenset(("chip", "row of chips", "die", "TSOP"))
_SAME = ("memory_type", "ranks_said", "total_width_bits", "data_width_bits", "rated_mts", "configured_mts")
_SAME_TEXTS = ("maker", "part_number", "serial", "asset_tag")


def inventory_of(
    structures: Sequence[Structure],
    odd: Oddities,
    *,
    form: str,
    edition: tuple[int, int] | None,
    virtual: bool,
    mixed: bool,
) -> Inventory:
    """The inventory that the structures of one table describe; readers have noted what their form gets wrong.

    ``mixed`` is true where the table holds more than one machine.
    """
    devices = [each for each in structures if isinstance(each, Device)]
    arrays = [each for each in structures if isinstance(each, Array)]
    for each in arrays:
        _note_array(each, odd)
    known = {each.handle: each for each in arrays if each.handle is not None}
    slots = [_slot(each, None if each.array is None else known.get(each.array)) for each in devices]
    for index, device in enumerate(devices):
        _note_device(slots[index], index, device, odd)
    _note_counts(arrays, devices, slots, odd)
    if virtual:
        odd.note("virtual-machine")
    if _are_phantoms(devices, slots):
        empty = [index for index, slot in enumerate(slots) if slot.state == "empty"]
        odd.note("phantom-slots", f"{len(empty)} slots", slots=empty)
        why = "an empty slot of a virtual machine is no place in a chassis"
        slots = [slot.untold(why) if slot.state == "empty" else slot for slot in slots]
    judged = judge(slots, odd)
    return Inventory(
        form=form,
        slots=of_two_machines(judged) if mixed else judged,
        processors=tuple(_processor(p) for p in structures if isinstance(p, Processor) and p.is_central),
        oddities=odd.found(),
        edition=None if edition is None else f"SMBIOS {edition[0]}.{edition[1]}",
    )


def _processor(processor: Processor) -> InventoryProcessor:
    populated, enabled = processor.status
    return InventoryProcessor(
        locator=meaningful(processor.locator) or "",
        state="cannot-tell" if populated is None else "filled" if populated else "empty",
        enabled=enabled if populated else None,
        cores=processor.cores,
    )


def _slot(device: Device, array: Array | None) -> InventorySlot:
    state, why = _state(device)
    said: dict[str, Any] = {}
    if not device.is_empty and not device.damage:
        said = {name: getattr(device, name) for name in _SAME}
        said |= {name: meaningful(getattr(device, name)) for name in _SAME_TEXTS}
        generation = _GENERATIONS.get(device.memory_type or "")
        ecc, _ = ecc_of_widths(generation, device.total_width_bits, device.data_width_bits)
        said |= {"capacity_kib": device.size_kib, "generation": generation, "kind": _kind(device, ecc)}
    return InventorySlot(
        locator=meaningful(device.locator) or "",
        bank=meaningful(device.bank) or "",
        handle=device.handle_text,
        role=_device_role(device, array.role if array else "memory"),
        state=state,
        why=why,
        **said,
    )


def _state(device: Device) -> tuple[State, str]:
    """Filled, empty, on hold or not to be told."""
    if device.damage:
        return "cannot-tell", "the table is damaged in the middle of this device"
    if device.persistent_as:
        return "hold", f"a persistent module ({device.persistent_as})"
    if device.is_empty:
        return ("hold", "reported empty and persistent at once") if device.nonvolatile_kib else ("empty", "")
    signs = _persistent_signs(device)
    if signs:
        return "hold", f"reported with {' and '.join(signs)}"
    if device.size_kib is None:
        return "cannot-tell", "a module is reported there without its size"
    return "filled", ""


def _persistent_signs(device: Device) -> list[str]:
    """Other fields that speak of persistence. Flash chips that hold firmware say so too and are no modules."""
    if device.is_firmware:
        return []
    signs = sorted(mode for mode in device.modes if "persistent" in mode)  # DSP0134 7.18.7, bits 4 and 5
    if device.nonvolatile_kib:  # DSP0134 7.18, offset 34h
        signs.append("a non-volatile size")
    if "non-volatile" in device.details:  # DSP0134 7.18.3, bit 12
        signs.append("the type detail non-volatile")
    return signs


def _kind(device: Device, ecc: bool | None) -> Kind | None:
    """The module kind, as far as type detail and form factor tell it; *registered* may still be a 3DS RDIMM."""
    if device.form == "SODIMM":
        return {True: Kind.ECC_SO_DIMM, False: Kind.SO_DIMM, None: None}[ecc]
    if device.form != "DIMM" or device.contradicts:
        return None
    if LOAD_REDUCED in device.details:
        return Kind.LRDIMM
    if REGISTERED in device.details:
        return Kind.RDIMM
    return {True: Kind.ECC_UDIMM, False: Kind.UDIMM, None: None}[ecc] if UNBUFFERED in device.details else None


def _device_role(device: Device, of_array: Role) -> Role:
    """What the place is for: its array's use, unless the device itself is of another nature."""
    if device.is_firmware:
        return "flash"
    if device.memory_type in _GENERATIONS or device.persistent_as:
        return "memory" if of_array in ("flash", "video", "cache", "non-volatile") else of_array
    is_chip = device.form in _SOLDERED_FORMS or (device.memory_type or "").startswith(("LPDDR", "HBM"))
    return "soldered" if of_array == "memory" and is_chip and not device.is_empty else of_array


# --- what is odd ------------------------------------------------------------------------------------------------------


def note_twice(handles: Iterable[int], odd: Oddities) -> None:
    """Note handles that stand for more than one structure (DSP0134 6.1)."""
    for handle, count in Counter(handles).items():
        if count > 1:
            odd.note("handle-twice", f"handle {handle_text(handle)}")


def _note_array(array: Array, odd: Oddities) -> None:
    where = f"array {array.handle_text}"
    if array.damage == "structure-short":
        odd.note("structure-short", where)
    for oddity, called in array.bad:
        odd.note(oddity, f"{where}: {called}")


def _note_device(slot: InventorySlot, index: int, device: Device, odd: Oddities) -> None:
    """Note what is odd about one device; places before modules."""
    note = odd.at(slot, index)
    if device.damage:
        note(device.damage)
        return
    if not slot.locator:
        note("locator-placeholder" if _is_filler(device.locator) else "locator-missing")
    _note_values(note, device)
    if slot.role == "add-on":
        note("memory-behind-cxl")
    elif not slot.counts:
        note("not-a-slot", text=f"{slot.role}: {CATALOGUE['not-a-slot']}")
    if slot.state == "hold":
        direct = "persistent-module" if device.persistent_as else "persistent-signs"
        note("empty-but-persistent" if device.is_empty else direct)
    if slot.state not in ("filled", "hold") or device.is_empty or not slot.counts:
        return
    if slot.generation is None and slot.state == "filled":
        unknown = device.memory_type is None or device.memory_type in _SAYS_NOTHING
        note("generation-unknown" if unknown else "generation-foreign")
    if device.contradicts:
        note("kind-contradicts")
    if _is_filler(device.maker) or _is_filler(device.part_number):
        note("placeholder-text")


def _note_values(note: Note, device: Device) -> None:
    """Note values that could not be read, or not as they stand."""
    for oddity, called in device.bad:
        note(oddity, text=f"{called}: {CATALOGUE[oddity]}")
    for text in (device.locator, device.bank, device.maker, device.part_number):
        if text is not None and "\ufffd" in text:
            note("text-not-utf8")
        if text is not None and was_dirty(text):
            note("text-cleaned")
    if device.size_kib is None:
        note("capacity-unknown")


def _is_filler(text: str | None) -> bool:
    """True for a filler text; *Not Specified* is a listing's word for no text at all."""
    return text is not None and text.strip() not in ("", "Not Specified") and meaningful(text) is None


def _note_counts(
    arrays: Sequence[Array], devices: Sequence[Device], slots: Sequence[InventorySlot], odd: Oddities
) -> None:
    """Compare what the arrays say with the devices that are listed for them (they disagree in 6 % of listings)."""
    if not devices:
        odd.note("no-devices")
    if devices and not arrays:
        odd.note("no-arrays")
    listed = Counter(each.array for each in devices)
    known = {each.handle: each for each in arrays if each.handle is not None}
    for each in arrays:
        count = listed[each.handle]
        if each.handle is not None and each.slots_said is not None and each.slots_said != count:
            text = f"the array says {each.slots_said} slots, {count} devices are listed for it"
            odd.note("array-count", f"array {each.handle_text}", text=text)
    if arrays and not known:  # a listing without handles: only the sums can be compared
        said = sum(each.slots_said or 0 for each in arrays)
        if said != len(slots) and all(each.slots_said is not None for each in arrays):
            odd.note("array-count", text=f"the arrays say {said} slots, {len(slots)} devices are listed")
    for index, device in enumerate(devices):
        if device.damage or device.array is None or not known:
            continue
        owner = known.get(device.array)
        if owner is None:
            odd.note("array-missing", slot_name(slots[index], index), slots=(index,))
        elif owner.use in (None, "", "unknown", "other", OUT_OF_SPEC):
            odd.note("array-use-unknown", f"array {owner.handle_text}", slots=(index,))
        elif slots[index].counts and owner.role not in ("memory", "add-on"):
            odd.note("array-use-contradicts", slot_name(slots[index], index), slots=(index,))


def _are_phantoms(devices: Sequence[Device], slots: Sequence[InventorySlot]) -> bool:
    """True for a virtual machine's slots: many empty ones of a type, none with a generation or a maker anywhere."""
    empty = [device for device in devices if device.is_empty and device.memory_type in ("DRAM", "RAM", "other")]
    named = any(slot.generation is not None or slot.maker or slot.part_number for slot in slots)
    return len(empty) >= MANY_EMPTY_SLOTS and not named
