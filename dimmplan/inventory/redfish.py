"""Redfish Memory resources (DMTF DSP0266, schema DSP8010 Memory v1): one, an array, a collection, a set of files.

Only what is in the input is read: a link is looked up among the given resources and never fetched. Objects of any
shape are searched for resources, so a collection may be expanded or not, and a system may carry its memory inside. A
Memory resource is a slot, a Processor resource a socket.
"""

from __future__ import annotations

import json
import re
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any, Final

from dimmplan.errors import InputError, Problem
from dimmplan.inventory.clean import begins_as_json, clean, decode_file, is_placeholder, was_dirty
from dimmplan.inventory.locators import names_place
from dimmplan.inventory.oddities import Oddities, judge, of_two_machines
from dimmplan.inventory.reader import Piece, Reader, check_devices, check_size, other_form, too_much
from dimmplan.model.inventory import Inventory, InventoryPlace, InventoryProcessor, InventorySlot, Role, State
from dimmplan.model.module import Generation, Kind

MOST_JSON_BYTES = 4 << 20
"""One JSON file: Python holds up to some thirty times this in memory."""
MOST_JSON_CONTAINERS = 100_000
"""Objects and arrays of all JSON files together; a module has some fifteen."""
MOST_JSON_TOTAL_BYTES = 6 << 20
"""All JSON files that speak of memory, processors or systems together."""
MOST_JSON_DEPTH = 64
"""Nesting of objects and arrays; resources of the standard stay below ten."""

Json = dict[str, Any]
Found = dict[str, list[Json]]
"""The resources of all documents, by kind, in the order met."""

_WORTH_PARSING = (
    *(b"#Memory.", b"#MemoryCollection.", b"#Processor.", b"#ComputerSystem.", b"#Manager."),
    *(b"MemoryDeviceType", b"CapacityMiB", b"DeviceLocator", b"\xff\xfe", b"\xfe\xff"),
)
"""One of these stands in every document that matters, or it is UTF-16; of a whole system's files, few do."""

_OWN_NAMES = frozenset(("CapacityMiB", "MemoryDeviceType", "BaseModuleType", "DeviceLocator", "MemoryLocation"))


_INSIDE_NOTHING = ("Memory", "Processor")
"""Kinds of resources inside which no other is looked for."""
_RESOURCES = (*_INSIDE_NOTHING, "MemoryCollection", "ComputerSystem", "Manager")
_DATE = re.compile(r"(\d{4}-\d{2}-\d{2})T\d{2}:\d{2}")


class RedfishReader(Reader):
    """Memory resources in one JSON document or in many."""

    form = "redfish"
    name = "Redfish resources"
    given = "Redfish Memory resources (JSON)"
    several = True

    def sniff(self, content: bytes, text: str | None) -> bool:
        """Text that begins as JSON does."""
        del content
        return text is not None and begins_as_json(text)

    def read(self, pieces: Sequence[Piece], *, file: str, odd: Oddities) -> Inventory:
        """Read the resources of all documents. Raises ``InputError`` where none is a Memory resource."""
        found = _documents(pieces, odd, file=file)
        slots = _slots(found, odd, file=file)
        if not slots and not found["MemoryCollection"]:
            hint = "Save the machine's Memory collection, with its members: /redfish/v1/Systems/ID/Memory"
            what = "JSON without a Redfish Memory resource"
            what, hint = other_form(pieces[0].content) or (what, hint)
            raise InputError(Problem(file=file, found=what, allowed="Memory resources", hint=hint))
        processors = [_processor(_Resource(each, odd, "processor")) for each in _distinct(found["Processor"], odd)]
        systems = [_Resource(each, odd, "system") for each in _distinct(found["ComputerSystem"], odd)]
        if len(systems) > 1:
            odd.note("two-machines", f"{len(systems)} ComputerSystem resources")
        for index, each in enumerate(slots):
            if each.state in ("filled", "hold") and each.counts and each.generation is None:
                odd.at(each, index)("generation-foreign" if each.memory_type else "generation-unknown")
        judged = judge(slots, odd)
        if len(systems) > 1:
            judged = of_two_machines(judged)
        if not slots:
            odd.note("no-devices")
        counts = [system.inside("ProcessorSummary").integer("Count") for system in systems]
        for system in systems:
            _note_total(system, judged, odd)
        if "Virtual" in [system.word("SystemType") for system in systems]:
            odd.note("virtual-machine")
        times = [_Resource(each, odd, "manager").word("DateTime") or "" for each in found["Manager"]]
        return Inventory(
            form=self.form,
            slots=judged,
            processors=tuple(each for each in processors if each is not None),
            oddities=odd.found(),
            date=max((match[1] for time in times if (match := _DATE.match(time))), default=None),
            processors_said=next((count for count in reversed(counts) if count), None),
        )


READER = RedfishReader()


def _note_total(system: _Resource, slots: Sequence[InventorySlot], odd: Oddities) -> None:
    """MemorySummary.TotalSystemMemoryGiB is what the system can use: below the modules' sum is usual, above is not."""
    total = system.inside("MemorySummary").number("TotalSystemMemoryGiB")
    counted = [each for each in slots if each.counts]
    if total is None or any(each.state == "cannot-tell" for each in counted):
        return
    modules = sum(each.capacity_kib or 0 for each in counted)
    if total * (1 << 20) > modules:
        odd.note("total-differs", text=f"the system reports {float(total):g} GiB, its modules have {modules >> 20} GiB")


# --- documents --------------------------------------------------------------------------------------------------------


def _documents(pieces: Sequence[Piece], odd: Oddities, *, file: str) -> Found:
    """The resources of all documents, within limits. One alone must be JSON; of many, what is not is noted."""
    found: Found = defaultdict(list)
    total = containers = 0
    single = len(pieces) == 1
    for piece in pieces:
        name, content = piece.file or piece.name or file, piece.content
        if not single and not any(word in content for word in _WORTH_PARSING):
            continue
        if not single and len(content) > MOST_JSON_BYTES:
            odd.note("file-unreadable", name, text="a file larger than any resource of memory")
            continue
        check_size(len(content), MOST_JSON_BYTES, file=name, what="a JSON file")
        total += len(content)
        check_size(total, MOST_JSON_TOTAL_BYTES, file=file, what="a set of JSON files")
        containers += content.count(b"{") + content.count(b"[")
        if containers > MOST_JSON_CONTAINERS:
            raise too_much(file, f"more than {MOST_JSON_CONTAINERS} JSON objects", f"at most {MOST_JSON_CONTAINERS}")
        documents: list[Any] = []
        try:
            for document in _parsed(content, file=name):
                documents.append(document)
        except InputError:
            if single:
                raise
            odd.note("file-unreadable", name)
        for document in documents:
            _collect(document, found, file=name)
    return found


def _parsed(content: bytes, *, file: str) -> Iterator[Any]:
    """The JSON values of a document; several may follow each other, as saved one after another."""

    def refuse(found: str) -> InputError:
        return InputError(Problem(file=file, found=found, allowed="JSON text (RFC 8259)"))

    text = decode_file(content)
    if text is None:
        raise refuse("bytes that are not text")
    decoder = json.JSONDecoder(parse_constant=lambda _: None)
    place = 0
    while True:
        while place < len(text) and text[place] in " \t\r\n,":
            place += 1
        if place == len(text):
            return
        try:
            value, place = decoder.raw_decode(text, place)
        except RecursionError:
            raise refuse("JSON nested too deep") from None
        except ValueError as error:
            line = getattr(error, "lineno", None)
            where = f" (line {line})" if line else ""
            raise refuse(f"text that is not JSON{where}: {clean(str(error), most=80)}") from None
        yield value


def _collect(document: Any, found: Found, *, file: str) -> None:
    """Sort every resource of a document into ``found``; what is nested in a Memory resource is none."""
    waiting: list[tuple[Any, int]] = [(document, 0)]
    while waiting:
        value, depth = waiting.pop()
        if depth > MOST_JSON_DEPTH:
            raise too_much(file, "JSON nested too deep", f"at most {MOST_JSON_DEPTH} levels")
        inside: Sequence[Any] = value if isinstance(value, list) else ()
        if isinstance(value, dict):
            kind = _type_of(value)
            if kind in _RESOURCES:
                found[kind].append(value)
                check_devices(len(found["Memory"]), file=file)
            inside = () if kind in _INSIDE_NOTHING else list(value.values())
        waiting += [(item, depth + 1) for item in reversed(inside) if isinstance(item, dict | list)]


def _type_of(value: Json) -> str:
    """The resource's type by ``@odata.type`` (``#Memory.v1_19_0.Memory``), or by the names that only it has."""
    declared = value.get("@odata.type")
    if isinstance(declared, str):
        return declared.lstrip("#").partition(".")[0][:40]
    if "Id" in value or "Name" in value:
        if _OWN_NAMES & value.keys():
            return "Memory"
        link = value.get("@odata.id")
        if isinstance(link, str) and "Members" in value and link.rstrip("/").endswith("/Memory"):
            return "MemoryCollection"
    return ""


def _link(value: Any) -> str:
    """The ``@odata.id`` of a resource or reference, for comparing only; empty where it has none."""
    link = value.get("@odata.id") if isinstance(value, dict) else None
    return link.rstrip("/") if isinstance(link, str) else ""


def _distinct(resources: Sequence[Json], odd: Oddities) -> list[Json]:
    """The resources without those that stand in the input again under the same link."""
    kept: dict[str, Json] = {}
    for index, resource in enumerate(resources):
        link = _link(resource)
        first = kept.setdefault(link or f"#{index}", resource)
        if first is not resource:
            more = "" if first == resource else " and says two things; the first is read"
            odd.note("resource-twice", _name_of(resource), text=f"the same resource stands in the input twice{more}")
    return list(kept.values())


def _slots(found: Found, odd: Oddities, *, file: str) -> list[InventorySlot]:
    """One slot per resource: those of collections in their order, then the others."""
    by_link = {_link(resource): resource for resource in reversed(found["Memory"]) if _link(resource)}
    ordered: list[Any] = []
    missing: set[int] = set()
    used: set[str] = set()
    for collection in _distinct(found["MemoryCollection"], odd):
        members = collection.get("Members")
        members = members if isinstance(members, list) else []
        _note_collection(collection, len(members), odd)
        for member in members:
            link = _link(member)
            if link and link not in used:
                used.add(link)
                if link not in by_link:
                    missing.add(len(ordered))
                ordered.append(by_link.get(link, member))
    ordered += [each for each in _distinct(found["Memory"], odd) if _link(each) not in used]
    check_devices(len(ordered), file=file)
    slots: list[InventorySlot] = []
    for index, resource in enumerate(ordered):
        if index in missing:
            why = "the collection names this member, and its resource is not in the input"
            slots.append(InventorySlot(locator=_name_of(resource), state="cannot-tell", why=why))
        else:
            slots.append(_slot(_Resource(resource, odd, _name_of(resource), slot=index)))
    for index in sorted(missing):
        odd.at(slots[index], index)("member-missing")
    return slots


def _note_collection(collection: Json, listed: int, odd: Oddities) -> None:
    """DSP0266: ``Members@odata.count`` counts all pages, ``Members@odata.nextLink`` says that there are more."""
    if "Members@odata.nextLink" in collection:
        odd.note("more-pages", "the Memory collection")
    count = collection.get("Members@odata.count")
    if isinstance(count, int) and not isinstance(count, bool) and count != listed:
        said = str(count) if abs(count) < 10**9 else "a huge number of"
        odd.note("count-differs", "the Memory collection", text=f"{said} members announced, {listed} there")


# --- one resource -----------------------------------------------------------------------------------------------------

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


class _Resource:
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

    def inside(self, name: str) -> _Resource:
        """An object inside; one that says nothing where there is none."""
        slot = self._slots[0] if self._slots else None
        return _Resource(self._get(name, dict) or {}, self._odd, self.where, slot=slot)


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


def _name_of(resource: dict[str, Any]) -> str:
    """What a resource is called in an oddity: its silk-screen name, or its Id; never its link, which may tell more."""
    for name in ("DeviceLocator", "Id", "Name"):
        value = resource.get(name)
        if isinstance(value, str) and not is_placeholder(value):
            return clean(value, most=60)
    link = resource.get("@odata.id")
    return clean(link.rstrip("/").rpartition("/")[2], most=60) if isinstance(link, str) else "a resource without a name"


def _slot(resource: _Resource) -> InventorySlot:
    """The slot that a Memory resource describes."""
    resource.take_spelling()
    memory_type, device_type = resource.word("MemoryType"), resource.word("MemoryDeviceType")
    capacity = resource.integer("CapacityMiB")
    state, why = _state(resource, memory_type, device_type, capacity)
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
        ranks_said=resource.integer("RankCount") or None,
        total_width_bits=resource.integer("BusWidthBits") or None,
        data_width_bits=resource.integer("DataWidthBits") or None,
        ecc=ecc,
        rated_mts=max(allowed, default=0) or None,
        configured_mts=resource.integer("OperatingSpeedMhz") or None,
        memory_type=device_type,
        maker=resource.text("Manufacturer"),
        part_number=resource.text("PartNumber"),
        serial=resource.text("SerialNumber"),
        asset_tag=resource.text("AssetTag"),
    )


def _state(
    resource: _Resource, memory_type: str | None, device_type: str | None, capacity: int | None
) -> tuple[State, str]:
    """Filled, empty, on hold or not to be told; *Absent* is a place without a device (DSP8010 Resource, State)."""
    state = resource.inside("Status").word("State")
    if state is not None and state not in _STATES:
        resource.unknown("Status.State", state)
    signs = _persistent_signs(resource, memory_type, device_type)
    if signs and (state != "Absent" or capacity):
        resource.note("persistent-module")
        return "hold", f"a persistent module ({' and '.join(signs)})"
    if state == "Absent":
        if not capacity:
            return "empty", ""
        resource.note("absent-with-capacity")
        return "cannot-tell", "reported absent and with a capacity at once"
    if capacity:
        if state in _IDLE_STATES or resource.truth("Enabled") is False:
            resource.note("module-disabled")
        return "filled", ""
    resource.note("capacity-unknown" if state in _FITTED_STATES or state in _IDLE_STATES else "state-unknown")
    return "cannot-tell", "reported without a size, and not as absent"


def _persistent_signs(resource: _Resource, memory_type: str | None, device_type: str | None) -> list[str]:
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


def _role(resource: _Resource, memory_type: str | None) -> Role:
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


def _locator(resource: _Resource) -> str:
    """The silk-screen name: Location.PartLocation.ServiceLabel since v1.9, DeviceLocator before.

    The Id stands in, or where it is a bare number the Name, if that is a place's.
    """
    label = resource.inside("Location").inside("PartLocation").text("ServiceLabel")
    older = resource.text("DeviceLocator")
    if label and older and label != older:
        resource.note("locators-differ")
    if label or older:
        return label or older or ""
    own, name = resource.text("Id") or "", resource.text("Name") or ""
    takes_name = not own or (own.isdigit() and names_place(name) and not name.isdigit())
    what = "Name" if takes_name else "Id"
    resource.note("locator-missing", text=f"no silk-screen name is given; the resource's {what} stands in")
    return name if takes_name else own


def _place(resource: _Resource) -> InventoryPlace | None:
    """MemoryLocation: four numbers; what they count from is not defined."""
    location = resource.inside("MemoryLocation")
    place = InventoryPlace(
        socket=location.integer("Socket"),
        controller=location.integer("MemoryController"),
        channel=location.integer("Channel"),
        slot=location.integer("Slot"),
    )
    return None if place == InventoryPlace() else place


def _ecc(resource: _Resource) -> bool | None:
    word = resource.word("ErrorCorrection")
    if word is not None and word not in _ECC:
        resource.unknown("ErrorCorrection", word)
    return _ECC.get(word or "")


def _generation(resource: _Resource, device_type: str | None) -> Generation | None:
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


def _processor(resource: _Resource) -> InventoryProcessor | None:
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
