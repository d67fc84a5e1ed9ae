"""One Redfish Memory resource as a slot, one Processor resource as a socket (DSP8010 Memory v1, Processor v1)."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any, Final

from dimmplan.inventory.clean import clean, is_placeholder, was_dirty
from dimmplan.inventory.oddities import Oddities
from dimmplan.model.inventory import InventoryPlace, InventoryProcessor, InventorySlot, Role, State
from dimmplan.model.module import FormFactor, Generation, Kind

MEMORY_PROPERTIES: Final = (  # DSP8010, Memory v1
    *("CapacityMiB", "MemoryType", "MemoryDeviceType", "BaseModuleType", "RankCount", "DataWidthBits", "BusWidthBits"),
    *("ErrorCorrection", "DeviceLocator", "MemoryLocation", "Location", "OperatingSpeedMhz", "AllowedSpeedsMHz"),
    *("Manufacturer", "PartNumber", "SerialNumber", "OperatingMemoryModes", "NonVolatileSizeMiB", "Enabled", "Status"),
    *("AssetTag", "CXL"),
)
"""The properties of a Memory resource that are read here."""

_BY_FOLDED = {name.casefold(): name for name in MEMORY_PROPERTIES}
_MOST_NUMBER = 1 << 40
_MOST_ITEMS = 100


class Resource:
    """One resource or one object inside it. Getters give ``None`` for what is absent, null or of another type.

    What has another type, spelling or value than the schema is noted.
    """

    def __init__(self, value: dict[str, Any], odd: Oddities, where: str, *, slot: int | None = None) -> None:
        self._value = value
        self._odd = odd
        self._slots = () if slot is None else (slot,)
        self.where = where

    def take_spelling(self) -> None:
        """Accept properties that differ from the schema's only in case (``AllowedSpeedsMhz``), and note them."""
        for name in list(self._value)[:500]:
            right = _BY_FOLDED.get(name.casefold())
            if right is not None and right != name and right not in self._value:
                self.note("property-misspelt", text=f"{clean(name, most=40)} is read as {right}")
                self._value = {**self._value, right: self._value[name]}

    def note(self, oddity: str, *, text: str = "") -> None:
        """Note an oddity of the catalogue for this resource."""
        self._odd.note(oddity, self.where, text=text, slots=self._slots)

    def unknown(self, name: str, value: str) -> None:
        """Note a value that the schema does not list."""
        self.note("value-unknown", text=f"{name}: '{clean(value, most=40)}' is not in the schema's list")

    def _wrong(self, name: str) -> None:
        self.note("wrong-type", text=f"{name} has another type than the schema gives it")

    def _get(self, name: str, *kinds: type) -> Any:
        """A value of one of some JSON types."""
        value = self._value.get(name)
        if value is None or (isinstance(value, kinds) and (bool in kinds or not isinstance(value, bool))):
            return value
        self._wrong(name)
        return None

    def text(self, name: str) -> str | None:
        """A string, cleaned; ``None`` for one that says nothing."""
        value = self._get(name, str)
        if value is None:
            return None
        if was_dirty(value):
            self.note("text-cleaned")
        cleaned = clean(value)
        if not is_placeholder(cleaned):
            return cleaned
        if cleaned and name in ("Manufacturer", "PartNumber", "DeviceLocator"):
            self.note("placeholder-text")
        return None

    def word(self, name: str) -> str | None:
        """A word of an enumeration, as it stands."""
        return clean(self._get(name, str) or "", most=60) or None

    def words(self, name: str) -> list[str]:
        """The words of an array."""
        return [clean(item, most=60) for item in self._array(name) if isinstance(item, str)]

    def _array(self, name: str) -> list[object]:
        return (self._get(name, list) or [])[:_MOST_ITEMS]

    def integer(self, name: str) -> int | None:
        """A whole number from 0 to 2^40. One written as text or with a fraction of zero is read, and noted."""
        return self._whole(name, self._value.get(name))

    def integers(self, name: str) -> list[int]:
        """The whole numbers of an array."""
        numbers = [self._whole(name, item) for item in self._array(name)]
        return [number for number in numbers if number is not None]

    def _whole(self, name: str, value: object) -> int | None:
        if value is None:
            return None
        if not isinstance(value, int) or isinstance(value, bool):
            self._wrong(name)
        number = _meant(value)
        if number is None or 0 <= number <= _MOST_NUMBER:
            return number
        self.note("field-unreadable", text=f"{name} is an impossible number")
        return None

    def number(self, name: str) -> Fraction | None:
        """A number, whole or not, from 0 to 2^40."""
        value = self._get(name, int, float)
        if value is None or 0 <= value <= _MOST_NUMBER:
            return None if value is None else Fraction(value)
        self._wrong(name)
        return None

    def truth(self, name: str) -> bool | None:
        """A boolean."""
        value: bool | None = self._get(name, bool)
        return value

    @property
    def says_something(self) -> bool:
        """True where some property has a value."""
        return any(value is not None for value in self._value.values())

    def inside(self, name: str) -> Resource:
        """An object inside; one that says nothing where there is none."""
        slot = self._slots[0] if self._slots else None
        return Resource(self._get(name, dict) or {}, self._odd, self.where, slot=slot)


def _meant(value: object) -> int | None:
    """The whole number that a value is, or spells where it has another type."""
    if isinstance(value, float) and value.is_integer() and abs(value) < _MOST_NUMBER:
        return int(value)
    if isinstance(value, str) and len(value) <= 12 and value.isascii() and value.isdecimal():
        return int(value)
    return value if isinstance(value, int) and not isinstance(value, bool) else None


# --- resources as parts of an inventory -------------------------------------------------------------------------------

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
    numbers = () if place is None else tuple(place._asdict().items())
    found = InventorySlot(
        locator=_locator(resource),
        bank=" ".join(f"{name} {number}" for name, number in numbers if number is not None),
        place=place,
        handle=resource.text("Id") or "",
        role=_role(resource, memory_type),
        state=state,
        why=why,
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
    state = resource.inside("Status").word("State")
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
    if resource.inside("CXL").says_something:  # DSP8010, Memory v1.17: sizes of a device behind CXL
        resource.note("memory-behind-cxl")
        return "add-on"
    if resource.word("BaseModuleType") == "Die":
        resource.note("not-a-slot")
        return "soldered"
    return "memory"


def _locator(resource: Resource) -> str:
    """The silk-screen name: Location.PartLocation.ServiceLabel since v1.9, DeviceLocator before; the Id stands in."""
    label = resource.inside("Location").inside("PartLocation").text("ServiceLabel")
    older = resource.text("DeviceLocator")
    if label and older and label != older:
        resource.note("locators-differ")
    if not label and not older:
        resource.note("locator-missing", text="no silk-screen name is given; the resource's Id stands in")
    return label or older or resource.text("Id") or resource.text("Name") or ""


def _place(resource: Resource) -> InventoryPlace | None:
    """MemoryLocation: four numbers; what they count from is not defined."""
    location = resource.inside("MemoryLocation")
    place = InventoryPlace(
        socket=location.integer("Socket"),
        controller=location.integer("MemoryController"),
        channel=location.integer("Channel"),
        slot=location.integer("Slot"),
    )
    return None if place == InventoryPlace() else place


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
    state = resource.inside("Status").word("State") or ""
    return InventoryProcessor(
        locator=resource.text("Socket") or resource.text("Id") or "",
        state="empty" if state == "Absent" else "filled" if state else "cannot-tell",
        enabled=True if state == "Enabled" else False if state in _IDLE_STATES else None,
        cores=resource.integer("TotalCores") or None,
    )
