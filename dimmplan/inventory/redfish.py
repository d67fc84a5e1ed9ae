"""Redfish Memory resources (DMTF DSP0266, schema DSP8010 Memory v1): one, an array, a collection, a set of files.

Only what is in the input is read: a link is looked up among the given resources and never fetched. Objects of any
shape are searched for resources, so a collection may be expanded or not, and a system may carry its memory inside.
"""

from __future__ import annotations

import json
import re
from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import Any

from dimmplan.errors import InputError, Problem
from dimmplan.inventory.clean import begins_as_json, clean, decode_file
from dimmplan.inventory.files import (
    MOST_JSON_BYTES,
    MOST_JSON_CONTAINERS,
    MOST_JSON_DEPTH,
    MOST_JSON_TOTAL_BYTES,
    Piece,
    check_devices,
    check_size,
    too_much,
)
from dimmplan.inventory.oddities import Oddities, judge, of_two_machines
from dimmplan.inventory.reader import Reader
from dimmplan.inventory.redfish_memory import Resource, name_of, processor, reference, slot
from dimmplan.model.inventory import Inventory, InventorySlot

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
_KINDS = (*_INSIDE_NOTHING, "MemoryCollection", "ComputerSystem", "Manager")
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
            raise InputError(Problem(file=file, place="", found=what, allowed="Memory resources", hint=hint))
        processors = [processor(Resource(each, odd, "processor")) for each in _distinct(found["Processor"], odd)]
        systems = [Resource(each, odd, "system") for each in _distinct(found["ComputerSystem"], odd)]
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
        virtual = "Virtual" in [system.word("SystemType") for system in systems]
        if virtual:
            odd.note("virtual-machine")
        times = [Resource(each, odd, "manager").word("DateTime") or "" for each in found["Manager"]]
        return Inventory(
            form=self.form,
            slots=judged,
            processors=tuple(each for each in processors if each is not None),
            oddities=odd.found(),
            date=max((match[1] for time in times if (match := _DATE.match(time))), default=None),
            virtual=virtual,
            processors_said=next((count for count in reversed(counts) if count), None),
        )


READER = RedfishReader()


def _note_total(system: Resource, slots: Sequence[InventorySlot], odd: Oddities) -> None:
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
        return InputError(Problem(file=file, place="", found=found, allowed="JSON text (RFC 8259)"))

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
            kind = _kind(value)
            if kind in _KINDS:
                found[kind].append(value)
                check_devices(len(found["Memory"]), file=file)
            inside = () if kind in _INSIDE_NOTHING else list(value.values())
        waiting += [(item, depth + 1) for item in reversed(inside) if isinstance(item, dict | list)]


def _kind(value: Json) -> str:
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
            odd.note("resource-twice", name_of(resource), text=f"the same resource stands in the input twice{more}")
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
        wrapped = Resource(resource, odd, name_of(resource), slot=index)
        slots.append(reference(wrapped) if index in missing else slot(wrapped))
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
