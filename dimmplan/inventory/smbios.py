"""SMBIOS structures as values, and from them an ``Inventory``: roles of arrays, states of places, what is on hold.

One path for the binary table and the text listing, so that the same machine gives the same answer either way: each is
read through ``Fields`` (DMTF DSP0134 7.5, 7.17, 7.18), whose names are those of the listing, in lower case.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from dimmplan.inventory import smbios_tables as tables
from dimmplan.inventory.clean import meaningful, was_dirty
from dimmplan.inventory.lies import ecc_of_widths, judge, of_two_machines
from dimmplan.inventory.oddities import CATALOGUE, Oddities, slot_name
from dimmplan.model.inventory import Inventory, InventoryArray, InventoryProcessor, InventorySlot, Role, State
from dimmplan.model.module import FormFactor, Generation, Kind

BIOS, PROCESSOR, MEMORY_ARRAY, MEMORY_DEVICE = 0, 4, 16, 17

BAD_MARKS = {"spec": "out-of-spec", "index": "bad-string-index", "field": "field-unreadable"}
"""What the marks of a record's ``bad`` mean, as oddities."""


@dataclass(frozen=True, kw_only=True, slots=True)
class DeviceRecord:
    """A memory device, type 17 (DSP0134 7.18). ``None`` where the table does not say or says *unknown*.

    Words are those of ``smbios_tables``. ``bad`` names fields that are out of the standard's list (``spec:``) or refer
    to a text that is not there (``index:``) or is not understood (``field:``). ``empty`` is size 0; ``damage`` is the
    oddity of a structure of which nothing can be trusted.
    """

    handle: int | None
    array: int | None = None
    damage: str = ""
    empty: bool = False
    size_kib: int | None = None
    total_width: int | None = None
    data_width: int | None = None
    form: str | None = None
    type: str | None = None
    details: frozenset[str] = frozenset()
    locator: str | None = None
    bank: str | None = None
    speed_mts: int | None = None
    configured_mts: int | None = None
    maker: str | None = None
    serial: str | None = None
    tag: str | None = None
    part: str | None = None
    ranks: int | None = None
    voltage_mv: int | None = None
    technology: str | None = None
    modes: frozenset[str] = frozenset()
    nonvolatile_kib: int | None = None
    bad: tuple[str, ...] = ()
    words: Mapping[str, str] = field(default_factory=dict, compare=False)


# --- from fields to records -------------------------------------------------------------------------------------------


class Fields(ABC):
    """One structure by the names of its fields; ``bad`` collects those that cannot be read, by mark and short name."""

    handle: int | None
    bad: list[str]

    @property
    @abstractmethod
    def damage(self) -> str:
        """The oddity of a structure of which nothing can be trusted; empty for a good one."""

    @abstractmethod
    def text(self, field: str, short: str = "") -> str | None:
        """A text; ``None`` where there is none, or where it refers to none."""

    @abstractmethod
    def word(self, field: str, table: dict[int, str], short: str = "") -> str | None:
        """A word of a code table."""

    @abstractmethod
    def bits(self, field: str, table: dict[int, str]) -> frozenset[str]:
        """The words of all bits set."""

    @abstractmethod
    def number(self, field: str, *, zero: bool = False) -> int | None:
        """A number; 0 is *unknown* unless ``zero``."""

    @abstractmethod
    def kib(self, field: str) -> int | None:
        """A size in KiB."""

    @abstractmethod
    def size(self) -> tuple[bool, int | None]:
        """Empty or not, and the size of a memory device in KiB."""

    @abstractmethod
    def reference(self, field: str) -> int | None:
        """Another structure's handle."""

    @abstractmethod
    def status(self) -> tuple[bool | None, str | None]:
        """A processor's status: populated or not, and the word of bits 2:0."""

    @abstractmethod
    def is_central(self) -> bool:
        """True for a central processor, or one of no known kind."""

    @abstractmethod
    def raw_words(self) -> dict[str, str]:
        """The raw values, cleaned; serial number and asset tag have fields of their own."""


def device(fields: Fields) -> DeviceRecord:
    """A memory device (DSP0134 7.18)."""
    if fields.damage:
        return DeviceRecord(handle=fields.handle, damage=fields.damage)
    empty, size = fields.size()
    technology = fields.word("memory technology", tables.TECHNOLOGIES)
    if technology is not None and "persistent" in technology:
        technology = tables.PERSISTENT_MEMORY
    record = DeviceRecord(
        handle=fields.handle,
        array=fields.reference("array handle"),
        empty=empty,
        size_kib=size,
        total_width=fields.number("total width"),
        data_width=fields.number("data width"),
        form=fields.word("form factor", tables.FORM_FACTORS),
        type=fields.word("type", tables.MEMORY_TYPES, "memory type"),
        details=fields.bits("type detail", tables.TYPE_DETAILS),
        locator=fields.text("locator"),
        bank=fields.text("bank locator", "bank"),
        speed_mts=fields.number("speed"),
        configured_mts=fields.number("configured memory speed"),
        maker=fields.text("manufacturer", "maker"),
        serial=fields.text("serial number"),
        tag=fields.text("asset tag"),
        part=fields.text("part number"),
        ranks=fields.number("rank"),
        voltage_mv=fields.number("configured voltage"),
        technology=technology,
        modes=fields.bits("memory operating mode capability", tables.OPERATING_MODES),
        nonvolatile_kib=fields.kib("non-volatile size"),
        words=fields.raw_words(),
    )
    return replace(record, bad=tuple(fields.bad))


_LOCATIONS = {"system board or motherboard": "system board"}


def array(fields: Fields, odd: Oddities) -> InventoryArray:
    """A physical memory array (DSP0134 7.17), its devices not yet counted; what is odd in it is noted."""
    handle = handle_text(fields.handle)
    where = f"array {handle}"
    if fields.damage:
        if fields.damage == "structure-short":
            odd.note("structure-short", where)
        return InventoryArray(handle=handle, role="memory")
    location = fields.word("location", tables.ARRAY_LOCATIONS, "array location") or ""
    location = tables.CXL_LOCATION if location.casefold().startswith("cxl") else _LOCATIONS.get(location, location)
    use = fields.word("use", tables.ARRAY_USES, "array use") or ""
    found = InventoryArray(
        handle=handle,
        role="add-on" if location == tables.CXL_LOCATION else _ROLE_OF_USE.get(use, "memory"),
        use=use,
        location=location,
        error_correction=fields.word("error correction type", tables.ERROR_CORRECTIONS, "array error correction") or "",
        max_capacity_kib=fields.kib("maximum capacity"),
        slots_said=fields.number("number of devices", zero=True),
    )
    for mark in fields.bad:
        kind, _, name = mark.partition(":")
        odd.note(BAD_MARKS[kind], f"{where}: {name}")
    return found


def processor(fields: Fields) -> InventoryProcessor | None:
    """A processor (DSP0134 7.5); ``None`` for one that is no central processor."""
    if fields.damage:
        return InventoryProcessor(locator="", state="cannot-tell")
    populated, status = fields.status()
    locator = meaningful(fields.text("socket designation")) or ""
    if not fields.is_central():
        return None
    state: Literal["filled", "empty", "cannot-tell"] = "filled" if populated else "empty"
    enabled = {"enabled": True, "idle": True}.get(status or "")
    if status is not None and status.startswith("disabled"):
        enabled = False
    return InventoryProcessor(
        locator=locator,
        state="cannot-tell" if populated is None else state,
        enabled=enabled if populated else None,
        status=(status or "") if populated else "",
        maker=meaningful(fields.text("manufacturer")),
        name=meaningful(fields.text("version")),
        cores=fields.number("core count"),
    )


# --- from records to an inventory -------------------------------------------------------------------------------------


MANY_EMPTY_SLOTS = 16
"""From so many nameless empty slots on they are taken for a virtual machine's (64 and 127 were met)."""

_GENERATIONS = {generation.value: generation for generation in Generation}
_SAYS_NOTHING = frozenset(("other", "unknown", "DRAM", "RAM", "SDRAM", "reserved", tables.OUT_OF_SPEC))
_FIRM_TYPES = frozenset(("ROM", "flash", "EEPROM", "FEPROM", "EPROM"))
_SOLDERED_FORMS = frozenset(("chip", "row of chips", "die", "TSOP"))
_ROLE_OF_USE: dict[str, Role] = {  # DSP0134 7.17.2
    "video memory": "video",
    "flash memory": "flash",
    "non-volatile RAM": "non-volatile",
    "cache memory": "cache",
}


def inventory_of(
    structures: Mapping[int, Sequence[Fields]],
    odd: Oddities,
    *,
    form: str,
    edition: tuple[int, int] | None,
    virtual: bool,
    mixed: bool,
) -> Inventory:
    """The inventory that the structures of one table describe, by type; readers have noted what their form gets wrong.

    ``mixed`` is true where the table holds more than one machine.
    """
    devices = [device(each) for each in structures[MEMORY_DEVICE]]
    counted = Counter(handle_text(each.array) for each in devices)
    arrays = [array(each, odd) for each in structures[MEMORY_ARRAY]]
    arrays = [replace(each, devices=counted[each.handle] if each.handle else 0) for each in arrays]
    processors = [processor(each) for each in structures[PROCESSOR]]
    roles = {each.handle: each.role for each in arrays}
    slots = [_slot(each, roles) for each in devices]
    for index, each in enumerate(devices):
        _note_device(slots, index, each, odd)
    _note_arrays(arrays, devices, slots, odd)
    if virtual:
        odd.note("virtual-machine")
    if _are_phantoms(devices, slots):
        virtual = True
        empty = [index for index, slot in enumerate(slots) if slot.state == "empty"]
        odd.note("phantom-slots", f"{len(empty)} slots", slots=empty)
        why = "an empty slot of a virtual machine is no place in a chassis"
        slots = [replace(slot, state="cannot-tell", why=why) if slot.state == "empty" else slot for slot in slots]
    judged = judge(slots, odd)
    return Inventory(
        form=form,
        slots=of_two_machines(judged) if mixed else judged,
        processors=tuple(each for each in processors if each is not None),
        arrays=tuple(arrays),
        oddities=odd.found(),
        edition=None if edition is None else f"SMBIOS {edition[0]}.{edition[1]}",
        virtual=virtual,
    )


def handle_text(handle: int | None) -> str:
    """A handle as listings print it; empty where there is none."""
    return "" if handle is None else f"0x{handle:04X}"


# --- one device -------------------------------------------------------------------------------------------------------


def _slot(device: DeviceRecord, roles: Mapping[str, Role]) -> InventorySlot:
    state, why = _state(device)
    slot = InventorySlot(
        locator=meaningful(device.locator) or "",
        bank=meaningful(device.bank) or "",
        handle=handle_text(device.handle),
        array=handle_text(device.array),
        role=_device_role(device, roles.get(handle_text(device.array), "memory")),
        state=state,
        why=why,
        persistent=state == "hold",
        words=device.words,
    )
    if device.empty or device.damage:
        return slot
    generation = _GENERATIONS.get(device.type or "")
    ecc, _, _ = ecc_of_widths(generation, device.total_width, device.data_width)
    return replace(
        slot,
        capacity_kib=device.size_kib,
        generation=generation,
        memory_type=device.type,
        kind=_kind(device, ecc),
        form_factor={"DIMM": FormFactor.DIMM, "SODIMM": FormFactor.SO_DIMM}.get(device.form or ""),
        ranks_said=device.ranks,
        total_width_bits=device.total_width,
        data_width_bits=device.data_width,
        rated_mts=device.speed_mts,
        configured_mts=device.configured_mts,
        voltage_mv=device.voltage_mv,
        technology=device.technology if device.technology not in ("unknown", tables.OUT_OF_SPEC) else None,
        maker=meaningful(device.maker),
        part_number=meaningful(device.part),
        serial=meaningful(device.serial),
        asset_tag=meaningful(device.tag),
    )


def _state(device: DeviceRecord) -> tuple[State, str]:
    """Filled, empty, on hold or not to be told. Only size 0 says *empty* (standards, section 3.7)."""
    if device.damage:
        return "cannot-tell", "the table is damaged in the middle of this device"
    direct, signs = _is_persistent(device), _persistent_signs(device)
    if direct:
        return "hold", f"a persistent module ({device.technology if device.technology in _HELD else device.type})"
    if device.empty:
        held = device.nonvolatile_kib is not None and device.nonvolatile_kib > 0
        return ("hold", "reported empty and persistent at once") if held else ("empty", "")
    if signs:
        return "hold", f"reported with {' and '.join(signs)}"
    if device.size_kib is None:
        return "cannot-tell", "a module is reported there without its size"
    return "filled", ""


_HELD = tables.PERSISTENT_TECHNOLOGIES
_LOGICAL = tables.MEMORY_TYPES[0x1F]


def _is_persistent(device: DeviceRecord) -> bool:
    """DSP0134 7.18.6, technology 4 to 7, or 7.18.2, type 1Fh."""
    return device.technology in _HELD or device.type == _LOGICAL


def _persistent_signs(device: DeviceRecord) -> list[str]:
    """Other fields that speak of persistence. Flash chips that hold firmware say so too and are no modules."""
    if device.type in _FIRM_TYPES:
        return []
    signs = sorted(mode for mode in device.modes if "persistent" in mode)  # DSP0134 7.18.7, bits 4 and 5
    if device.nonvolatile_kib:  # DSP0134 7.18, offset 34h
        signs.append("a non-volatile size")
    if "non-volatile" in device.details:  # DSP0134 7.18.3, bit 12
        signs.append("the type detail non-volatile")
    return signs


def _kind(device: DeviceRecord, ecc: bool | None) -> Kind | None:
    """The module kind, as far as type detail and form factor tell it; *registered* may still be a 3DS RDIMM."""
    if device.form == "SODIMM":
        return {True: Kind.ECC_SO_DIMM, False: Kind.SO_DIMM, None: None}[ecc]
    if device.form != "DIMM" or _contradicts(device):
        return None
    if "LRDIMM" in device.details:
        return Kind.LRDIMM
    if "registered (buffered)" in device.details:
        return Kind.RDIMM
    if "unbuffered (unregistered)" in device.details:
        return {True: Kind.ECC_UDIMM, False: Kind.UDIMM, None: None}[ecc]
    return None


def _contradicts(device: DeviceRecord) -> bool:
    buffered = device.details & {"registered (buffered)", "LRDIMM"}
    return bool(buffered) and "unbuffered (unregistered)" in device.details


def _device_role(device: DeviceRecord, of_array: Role) -> Role:
    """What the place is for: its array's use, unless the device itself is of another nature."""
    if device.type in _FIRM_TYPES:
        return "flash"
    if device.type in _GENERATIONS or _is_persistent(device):
        return "memory" if of_array in ("flash", "video", "cache", "non-volatile") else of_array
    is_chip = device.form in _SOLDERED_FORMS or (device.type or "").startswith(("LPDDR", "HBM"))
    return "soldered" if of_array == "memory" and is_chip and not device.empty else of_array


def _note_device(slots: list[InventorySlot], index: int, device: DeviceRecord, odd: Oddities) -> None:
    """Note what is odd about one device; places before modules."""
    slot = slots[index]
    if device.damage:
        odd.note_slot(device.damage, slots, index)
        return
    if not slot.locator:
        odd.note_slot("locator-placeholder" if _is_filler(device.locator) else "locator-missing", slots, index)
    _note_values(slots, index, device, odd)
    if not device.empty and device.size_kib is None:
        odd.note_slot("capacity-unknown", slots, index)
    if slot.role == "add-on":
        odd.note_slot("memory-behind-cxl", slots, index)
    elif not slot.counts:
        odd.note_slot("not-a-slot", slots, index, text=f"{slot.role}: {CATALOGUE['not-a-slot']}")
    if slot.state == "hold":
        _note_hold(slots, index, device, odd)
    if slot.state not in ("filled", "hold") or device.empty or not slot.counts:
        return
    if slot.generation is None and slot.state == "filled":
        unknown = device.type is None or device.type in _SAYS_NOTHING
        odd.note_slot("generation-unknown" if unknown else "generation-foreign", slots, index)
    if _contradicts(device):
        odd.note_slot("kind-contradicts", slots, index)
    for text in (device.maker, device.part):
        if _is_filler(text):
            odd.note_slot("placeholder-text", slots, index)


def _is_filler(text: str | None) -> bool:
    """True for a filler text; *Not Specified* is a listing's word for no text at all."""
    return text is not None and text.strip() not in ("", "Not Specified") and meaningful(text) is None


def _note_values(slots: list[InventorySlot], index: int, device: DeviceRecord, odd: Oddities) -> None:
    """Note values that could not be read, or not as they stand."""
    for mark in device.bad:
        kind, _, field = mark.partition(":")
        oddity = BAD_MARKS[kind]
        odd.note_slot(oddity, slots, index, text=f"{field}: {CATALOGUE[oddity]}")
    for text in (device.locator, device.bank, device.maker, device.part):
        if text is not None and "\ufffd" in text:
            odd.note_slot("text-not-utf8", slots, index)
        if text is not None and was_dirty(text):
            odd.note_slot("text-cleaned", slots, index)


def _note_hold(slots: list[InventorySlot], index: int, device: DeviceRecord, odd: Oddities) -> None:
    if device.empty:
        odd.note_slot("empty-but-persistent", slots, index)
    elif _is_persistent(device):
        odd.note_slot("persistent-module", slots, index)
    else:
        odd.note_slot("persistent-signs", slots, index)


# --- the whole --------------------------------------------------------------------------------------------------------


def _note_arrays(
    arrays: Sequence[InventoryArray], devices: Sequence[DeviceRecord], slots: Sequence[InventorySlot], odd: Oddities
) -> None:
    """Compare what the arrays say with the devices that are listed for them (they disagree in 6 % of listings)."""
    if not devices:
        odd.note("no-devices")
    if devices and not arrays:
        odd.note("no-arrays")
    known = {each.handle: each for each in arrays if each.handle}
    for each in arrays:
        if each.handle and each.slots_said is not None and each.slots_said != each.devices:
            text = f"the array says {each.slots_said} slots, {each.devices} devices are listed for it"
            odd.note("array-count", f"array {each.handle}", text=text)
    if arrays and not known:  # a listing without handles: only the sums can be compared
        said = sum(each.slots_said or 0 for each in arrays)
        if said != len(slots):
            odd.note("array-count", text=f"the arrays say {said} slots, {len(slots)} devices are listed")
    for index, device in enumerate(devices):
        if device.damage or device.array is None:
            continue
        owner = known.get(handle_text(device.array))
        if owner is None and known:
            odd.note("array-missing", slot_name(slots[index], index), slots=(index,))
        elif owner is not None and owner.use in ("", "unknown", "other", tables.OUT_OF_SPEC):
            odd.note("array-use-unknown", f"array {owner.handle}", slots=(index,))
        elif owner is not None and slots[index].counts and owner.role not in ("memory", "add-on"):
            odd.note("array-use-contradicts", slot_name(slots[index], index), slots=(index,))


def _are_phantoms(devices: Sequence[DeviceRecord], slots: Sequence[InventorySlot]) -> bool:
    """True for a virtual machine's slots: many empty ones of a type, none with a generation or a maker anywhere."""
    empty = [device for device in devices if device.empty and device.type in ("DRAM", "RAM", "other")]
    named = any(slot.generation is not None or slot.maker or slot.part_number for slot in slots)
    return len(empty) >= MANY_EMPTY_SLOTS and not named
