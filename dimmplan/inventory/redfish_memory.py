"""One Redfish Memory resource as a slot, one Processor resource as a socket (DSP8010 Memory v1, Processor v1)."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from dimmplan.inventory.clean import clean, is_placeholder
from dimmplan.inventory.lies import judge, of_two_machines
from dimmplan.inventory.oddities import Oddities
from dimmplan.inventory.redfish_values import Resource
from dimmplan.model.inventory import Inventory, InventoryPlace, InventoryProcessor, InventorySlot, Role, State
from dimmplan.model.module import FormFactor, Generation, Kind

_GENERATIONS = {
    **{"DDR3": Generation.DDR3, "DDR3_SDRAM": Generation.DDR3, "DDR4": Generation.DDR4, "DDR4_SDRAM": Generation.DDR4},
    **{"DDR5": Generation.DDR5, "DDR5_MRDIMM": Generation.DDR5},
}
_KINDS = {
    **{"RDIMM": Kind.RDIMM, "LRDIMM": Kind.LRDIMM, "UDIMM": Kind.UDIMM, "SO_DIMM": Kind.SO_DIMM},
    **{"SO_UDIMM_72b": Kind.ECC_SO_DIMM, "SO_RDIMM_72b": Kind.OTHER, "Mini_RDIMM": Kind.OTHER},
    **{"Mini_UDIMM": Kind.OTHER, "SO_DIMM_16b": Kind.OTHER, "SO_DIMM_32b": Kind.OTHER, "Die": Kind.OTHER},
    "CAMM": Kind.OTHER,
}
_WITH_ECC = {Kind.UDIMM: Kind.ECC_UDIMM, Kind.SO_DIMM: Kind.ECC_SO_DIMM}
_ECC = {"NoECC": False, "SingleBitECC": True, "MultiBitECC": True, "AddressParity": None}
_VOLATILE_TYPES = ("DRAM", "Cache")
_NVDIMMS = ("NVDIMM_N", "NVDIMM_F", "NVDIMM_P")
_PERSISTENT_MODES = ("PMEM", "Block")
_FITTED_STATES = frozenset(("Enabled", "StandbySpare", "InTest", "Starting", "Updating", "Degraded", "Quiesced"))
_IDLE_STATES = frozenset(("Disabled", "StandbyOffline", "UnavailableOffline", "Deferring"))
_STATES = _FITTED_STATES | _IDLE_STATES | {"Absent", "Qualified"}
_DATE = re.compile(r"(\d{4}-\d{2}-\d{2})T\d{2}:\d{2}")


def name_of(resource: dict[str, Any]) -> str:
    """What a resource is called in an oddity: its silk-screen name, or its Id; never its link, which may tell more."""
    for name in ("DeviceLocator", "Id", "Name"):
        value = resource.get(name)
        if isinstance(value, str) and not is_placeholder(value):
            return clean(value, most=60)
    link = resource.get("@odata.id")
    return clean(link.rstrip("/").rpartition("/")[2], most=60) if isinstance(link, str) else "a resource without a name"


def reference(member: Resource) -> InventorySlot:
    """The slot of a member whose resource is not in the input."""
    why = "the collection names this member, and its resource is not in the input"
    return InventorySlot(locator=member.where, state="cannot-tell", why=why)


def slot(resource: Resource) -> InventorySlot:
    """The slot that a Memory resource describes."""
    resource.take_spelling()
    memory_type, device_type = resource.word("MemoryType"), resource.word("MemoryDeviceType")
    capacity = resource.integer("CapacityMiB")
    state, why, persistent = _state(resource, memory_type, device_type, capacity)
    place = _place(resource)
    found = InventorySlot(
        locator=_locator(resource),
        bank=_bank(place),
        place=place,
        role=_role(resource, memory_type),
        state=state,
        why=why,
        words=resource.raw_words(),
    )
    if state == "empty":
        return found
    ecc = _ecc(resource)
    base = resource.word("BaseModuleType")
    allowed = resource.integers("AllowedSpeedsMHz")
    return replace(
        found,
        capacity_kib=capacity << 10 if capacity else None,
        generation=_generation(resource, device_type),
        kind=_kind(base, device_type, ecc),
        form_factor=_form_factor(base),
        ranks_said=resource.integer("RankCount") or None,
        total_width_bits=resource.integer("BusWidthBits") or None,
        data_width_bits=resource.integer("DataWidthBits") or None,
        ecc=ecc,
        rated_mts=max(allowed, default=0) or None,
        configured_mts=resource.integer("OperatingSpeedMhz") or None,
        technology=memory_type,
        memory_type=device_type,
        persistent=persistent,
        maker=resource.text("Manufacturer"),
        part_number=resource.text("PartNumber"),
        serial=resource.text("SerialNumber"),
        asset_tag=resource.text("AssetTag"),
    )


def _state(
    resource: Resource, memory_type: str | None, device_type: str | None, capacity: int | None
) -> tuple[State, str, bool]:
    """Filled, empty, on hold or not to be told; *Absent* is a place without a device (DSP8010 Resource, State)."""
    status = resource.inside("Status")
    state = status.word("State") if status else None
    if state is not None and state not in _STATES:
        resource.unknown("Status.State", state)
    signs = _persistent_signs(resource, memory_type, device_type)
    if signs and (state != "Absent" or capacity):
        resource.note("persistent-module")
        return "hold", f"a persistent module ({' and '.join(signs)})", True
    if state == "Absent":
        if not capacity:
            return "empty", "", False
        resource.note("absent-with-capacity")
        return "cannot-tell", "reported absent and with a capacity at once", False
    if capacity:
        if state in _IDLE_STATES or resource.truth("Enabled") is False:
            resource.note("module-disabled")
        return "filled", "", False
    resource.note("capacity-unknown" if state in _FITTED_STATES or state in _IDLE_STATES else "state-unknown")
    return "cannot-tell", "reported without a size, and not as absent", False


def _persistent_signs(resource: Resource, memory_type: str | None, device_type: str | None) -> list[str]:
    """What says that data survives power-off: any memory type but DRAM and Cache, a mode, a size."""
    signs = []
    if memory_type is not None and memory_type not in _VOLATILE_TYPES:
        if memory_type not in _NVDIMMS:  # the schema's only other one is one maker's persistent memory
            resource.unknown("MemoryType", memory_type)
        if not is_placeholder(memory_type) and memory_type.upper() not in _VOLATILE_TYPES:
            signs.append(f"memory type {memory_type}")
    if device_type == "Logical":
        signs.append("a logical device")
    signs += [f"operating mode {mode}" for mode in resource.words("OperatingMemoryModes") if mode in _PERSISTENT_MODES]
    if resource.integer("NonVolatileSizeMiB"):
        signs.append("a non-volatile size")
    return signs


def _role(resource: Resource, memory_type: str | None) -> Role:
    if memory_type == "Cache":
        resource.note("not-a-slot")
        return "cache"
    if resource.word("BaseModuleType") == "Die":
        resource.note("not-a-slot")
        return "soldered"
    return "memory"


def _locator(resource: Resource) -> str:
    """The silk-screen name: Location.PartLocation.ServiceLabel since v1.9, DeviceLocator before; the Id stands in."""
    location = resource.inside("Location")
    part = location.inside("PartLocation") if location else None
    label = part.text("ServiceLabel") if part else None
    older = resource.text("DeviceLocator")
    if label and older and label != older:
        resource.note("locators-differ")
    if label or older:
        return label or older or ""
    resource.note("locator-missing", text="no silk-screen name is given; the resource's Id stands in")
    return resource.text("Id") or resource.text("Name") or ""


def _place(resource: Resource) -> InventoryPlace | None:
    """MemoryLocation: four numbers; what they count from is not defined."""
    location = resource.inside("MemoryLocation")
    if location is None:
        return None
    place = InventoryPlace(
        socket=location.integer("Socket"),
        controller=location.integer("MemoryController"),
        channel=location.integer("Channel"),
        slot=location.integer("Slot"),
    )
    return None if place == InventoryPlace() else place


def _bank(place: InventoryPlace | None) -> str:
    if place is None:
        return ""
    named = (
        *(("socket", place.socket), ("controller", place.controller)),
        *(("channel", place.channel), ("slot", place.slot)),
    )
    return " ".join(f"{name} {number}" for name, number in named if number is not None)


def _ecc(resource: Resource) -> bool | None:
    word = resource.word("ErrorCorrection")
    if word is not None and word not in _ECC:
        resource.unknown("ErrorCorrection", word)
    return _ECC.get(word or "")


def _generation(resource: Resource, device_type: str | None) -> Generation | None:
    """The generation of MemoryDeviceType; a spelling with other case or blanks is read, and noted."""
    if device_type is None or device_type in _GENERATIONS:
        return _GENERATIONS.get(device_type or "")
    generation = _GENERATIONS.get(device_type.upper().replace(" ", "_"))
    if generation is not None:
        resource.unknown("MemoryDeviceType", device_type)
    return generation


def _kind(base: str | None, device_type: str | None, ecc: bool | None) -> Kind | None:
    """The kind; UDIMM and SO-DIMM are told from their ECC brothers by ErrorCorrection only."""
    kind = _KINDS.get(base or "")
    if device_type == "DDR5_MRDIMM":
        return Kind.MRDIMM if kind in (None, Kind.RDIMM, Kind.LRDIMM) else None
    if kind in _WITH_ECC:
        return {True: _WITH_ECC[kind], False: kind, None: None}[ecc]
    return kind


def _form_factor(base: str | None) -> FormFactor | None:
    if base in ("RDIMM", "LRDIMM", "UDIMM"):
        return FormFactor.DIMM
    return FormFactor.SO_DIMM if base is not None and base.startswith("SO_") else None


def processor(resource: Resource) -> InventoryProcessor | None:
    """A Processor resource; ``None`` for an accelerator or another kind."""
    if (resource.word("ProcessorType") or "CPU") != "CPU":
        return None
    status = resource.inside("Status")
    state = (status.word("State") if status else None) or ""
    return InventoryProcessor(
        locator=resource.text("Socket") or resource.text("Id") or "",
        state="empty" if state == "Absent" else "filled" if state else "cannot-tell",
        enabled=True if state == "Enabled" else False if state in _IDLE_STATES else None,
        status=state,
        maker=resource.text("Manufacturer"),
        name=resource.text("Model"),
        cores=resource.integer("TotalCores") or None,
    )


def finish(
    slots: Sequence[InventorySlot],
    *,
    systems: Sequence[Resource],
    managers: Sequence[Resource],
    processors: Sequence[InventoryProcessor],
    odd: Oddities,
) -> Inventory:
    """Judge the slots and compare them with what the system says of itself."""
    if len(systems) > 1:
        odd.note("two-machines", f"{len(systems)} ComputerSystem resources")
    for index, each in enumerate(slots):
        if each.state in ("filled", "hold") and each.counts and each.generation is None:
            kind = each.words.get("MemoryDeviceType")
            odd.note_slot("generation-foreign" if kind else "generation-unknown", slots, index)
    judged = judge(slots, odd)
    if len(systems) > 1:
        judged = of_two_machines(judged)
    if not slots:
        odd.note("no-devices")
    processors_said, virtual = None, False
    for system in systems:
        summary = system.inside("ProcessorSummary")
        processors_said = (summary.integer("Count") if summary else None) or processors_said
        virtual = virtual or system.word("SystemType") == "Virtual"
        _note_total(system, judged, odd)
    if virtual:
        odd.note("virtual-machine")
    dates = [match[1] for manager in managers if (match := _DATE.match(manager.word("DateTime") or ""))]
    return Inventory(
        form="redfish",
        slots=judged,
        processors=tuple(processors),
        oddities=odd.found(),
        date=max(dates, default=None),
        virtual=virtual,
        processors_said=processors_said,
    )


def _note_total(system: Resource, slots: Sequence[InventorySlot], odd: Oddities) -> None:
    """MemorySummary.TotalSystemMemoryGiB is what the system can use: below the modules' sum is usual, above is not."""
    summary = system.inside("MemorySummary")
    total = summary.number("TotalSystemMemoryGiB") if summary else None
    counted = [each for each in slots if each.counts]
    if total is None or any(each.state == "cannot-tell" for each in counted):
        return
    modules = sum(each.capacity_kib or 0 for each in counted)
    if total * (1 << 20) > modules:
        odd.note("total-differs", text=f"the system reports {float(total):g} GiB, its modules have {modules >> 20} GiB")
