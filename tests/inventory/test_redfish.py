"""Redfish resources in every arrangement, and properties of the wrong type, spelling or value."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from dimmplan.errors import InputError
from dimmplan.inventory.reader import read_inventory
from dimmplan.inventory.redfish import MEMORY_PROPERTIES, MOST_JSON_DEPTH
from dimmplan.model.inventory import Inventory, InventoryPlace
from dimmplan.model.module import Generation, Kind
from tests.inventory import build

SCHEMA = {  # names and JSON types as the public schema has them (DSP8010 Memory v1.24, standards section 4.1)
    "CapacityMiB": int,
    "MemoryType": str,
    "MemoryDeviceType": str,
    "BaseModuleType": str,
    "RankCount": int,
    "DataWidthBits": int,
    "BusWidthBits": int,
    "ErrorCorrection": str,
    "DeviceLocator": str,
    "MemoryLocation": dict,
    "OperatingSpeedMhz": int,
    "AllowedSpeedsMHz": [int],
    "Manufacturer": str,
    "PartNumber": str,
    "SerialNumber": str,
    "OperatingMemoryModes": [str],
    "NonVolatileSizeMiB": int,
    "Enabled": bool,
    "Status": dict,
}
READ_HERE = {  # properties whose value a slot is made of
    *("CapacityMiB", "MemoryType", "MemoryDeviceType", "BaseModuleType", "RankCount", "DataWidthBits", "BusWidthBits"),
    *("ErrorCorrection", "DeviceLocator", "MemoryLocation", "OperatingSpeedMhz", "AllowedSpeedsMHz", "Manufacturer"),
    *("PartNumber", "SerialNumber", "OperatingMemoryModes", "NonVolatileSizeMiB", "Status"),
}


def read(value: Any, name: str = "") -> Inventory:
    return read_inventory(build.as_json(value), name=name)


def ids(found: Inventory) -> list[str]:
    return [each.oddity for each in found.oddities]


def test_properties_are_the_schemas() -> None:
    assert set(SCHEMA) | {"Location", "AssetTag", "CXL"} == set(MEMORY_PROPERTIES)


@pytest.mark.parametrize("name", sorted(READ_HERE))
@pytest.mark.parametrize("wrong", ["number", 3.7, True, ["x"], {"x": 1}, "", -1, 10**400, [[1]], None])
def test_a_property_of_another_type_is_noted_and_left_out(name: str, wrong: Any) -> None:
    found = read(build.memory(**{name: wrong}))
    (slot,) = found.slots
    fits = wrong is None or isinstance(wrong, SCHEMA[name] if not isinstance(SCHEMA[name], list) else list)
    if not fits or (isinstance(wrong, bool) and SCHEMA[name] is int):
        assert "wrong-type" in ids(found)
    assert slot.state in ("filled", "cannot-tell", "hold")
    assert slot.capacity_kib in (None, 32 << 20)


def test_a_resource_as_a_slot() -> None:
    location = {"Socket": 1, "MemoryController": 2, "Channel": 3, "Slot": 4}
    (slot,) = read(build.memory(MemoryLocation=location, SerialNumber="S1")).slots
    assert (slot.locator, slot.place) == ("DIMM1", InventoryPlace(socket=1, controller=2, channel=3, slot=4))
    assert slot.bank == "socket 1 controller 2 channel 3 slot 4"
    assert (slot.state, slot.capacity_gib, slot.generation) == ("filled", 32, Generation.DDR4)
    assert (slot.kind, slot.ranks_said) == (Kind.RDIMM, 2)
    assert (slot.ecc, slot.rated_mts, slot.configured_mts) == (True, 2933, 2933)
    assert (slot.maker, slot.part_number, slot.serial, slot.memory_type) == ("Maker One", "PART-0001", "S1", "DDR4")


ALL = [build.memory("DIMM1"), build.absent("DIMM2"), build.memory("DIMM10")]
STATES = [("DIMM1", "filled"), ("DIMM2", "empty"), ("DIMM10", "filled")]


@pytest.mark.parametrize(
    "value",
    [
        ALL,
        build.collection(ALL),
        {"Systems": [{"Memory": build.collection(ALL)}]},
        [build.collection(ALL, expanded=False), *reversed(ALL)],
        {"value": ALL},
    ],
)
def test_every_arrangement_in_one_file(value: Any) -> None:
    found = read(value)
    assert [(slot.locator, slot.state) for slot in found.slots] == STATES
    assert found.oddities == ()


def test_one_resource_alone() -> None:
    assert [slot.locator for slot in read(build.memory("DIMM7")).slots] == ["DIMM7"]


def test_documents_one_after_another() -> None:
    content = b"\n".join(build.as_json(each) for each in ALL)
    assert [(slot.locator, slot.state) for slot in read_inventory(content).slots] == STATES


def files() -> dict[str, bytes]:
    tree = {f"Memory/{each['Id']}/index.json": build.as_json(each) for each in ALL}
    return tree | {"Memory/index.json": build.as_json(build.collection(ALL, expanded=False))}


def test_a_folder_and_a_zip_of_files(tmp_path: Path) -> None:
    folder = read_inventory(build.laid(tmp_path, files()))
    archive = read_inventory(build.zipped(files()))
    assert [(slot.locator, slot.state) for slot in folder.slots] == STATES
    assert folder.oddities == ()
    assert archive.slots == folder.slots
    assert (folder.date, archive.date) == (None, "2024-05-06")


def test_a_folder_without_the_collection_is_read_in_natural_order(tmp_path: Path) -> None:
    tree = files()
    del tree["Memory/index.json"]
    assert [slot.locator for slot in read_inventory(build.laid(tmp_path, tree)).slots] == ["DIMM1", "DIMM2", "DIMM10"]


def test_a_member_that_is_not_there_cannot_be_told() -> None:
    found = read([build.collection(ALL, expanded=False), ALL[0]])
    assert [(slot.locator, slot.state) for slot in found.slots] == [
        *(("DIMM1", "filled"), ("DIMM2", "cannot-tell"), ("DIMM10", "cannot-tell")),
    ]
    assert ids(found) == ["member-missing"]


def test_a_next_page_is_noted_and_never_fetched() -> None:
    found = read(build.collection(ALL, **{"Members@odata.nextLink": "http://127.0.0.1:9/x", "Members@odata.count": 24}))
    assert ids(found) == ["more-pages", "count-differs"]
    assert "127.0.0.1" not in str(found.oddities)


def test_a_collection_that_names_itself_or_a_member_twice() -> None:
    looped = build.collection([ALL[0], ALL[0], {"@odata.id": build.MEMORY_URI}])
    found = read([looped, looped])
    assert [slot.state for slot in found.slots] == ["filled", "cannot-tell"]
    assert "resource-twice" in ids(found)


def test_two_systems_are_not_mixed() -> None:
    systems = [
        {
            "@odata.type": "#ComputerSystem.v1_22_0.ComputerSystem",
            "Id": name,
            "@odata.id": f"/redfish/v1/Systems/{name}",
        }
        for name in ("1", "2")
    ]
    found = read([*systems, ALL[0]])
    assert ids(found) == ["two-machines"]
    assert found.slots[0].state == "cannot-tell"


def test_processors_counts_and_dates() -> None:
    processors = [
        {"@odata.type": "#Processor.v1_20_0.Processor", "Id": name, "Socket": name, "Status": {"State": state}}
        | {"ProcessorType": kind, "Model": "Model 7", "TotalCores": 16}
        for name, state, kind in (("P0", "Enabled", "CPU"), ("P1", "Absent", "CPU"), ("G0", "Enabled", "GPU"))
    ]
    manager = {"@odata.type": "#Manager.v1_19_0.Manager", "Id": "BMC", "DateTime": "2025-03-04T05:06:07Z"}
    system = {"@odata.type": "#ComputerSystem.v1_22_0.ComputerSystem", "ProcessorSummary": {"Count": 2}}
    found = read([*processors, manager, system | {"SystemType": "Virtual"}, ALL[0]])
    assert [(each.locator, each.state, each.enabled) for each in found.processors] == [
        *(("P0", "filled", True), ("P1", "empty", None)),
    ]
    assert (found.date, found.processors_said) == ("2025-03-04", 2)


@pytest.mark.parametrize(
    ("properties", "state", "oddity"),
    [
        ({"Status": {"State": "Absent"}, "CapacityMiB": 0}, "empty", None),
        ({"Status": {"State": "Absent"}, "CapacityMiB": None}, "empty", None),
        ({"Status": {"State": "Absent"}}, "cannot-tell", "absent-with-capacity"),
        ({"CapacityMiB": None}, "cannot-tell", "capacity-unknown"),
        ({"CapacityMiB": 0}, "cannot-tell", "capacity-unknown"),
        ({"Status_": 0}, "filled", None),
        ({"Status_": 0, "CapacityMiB_": 0}, "cannot-tell", "state-unknown"),
        ({"Status": {"State": "Disabled"}}, "filled", "module-disabled"),
        ({"Enabled": False}, "filled", "module-disabled"),
        ({"MemoryType": "Cache"}, "filled", "not-a-slot"),
    ],
)
def test_states(properties: dict[str, Any], state: str, oddity: str | None) -> None:
    found = read(build.memory(**properties))
    assert found.slots[0].state == state
    assert ids(found) == ([oddity] if oddity else [])


@pytest.mark.parametrize(
    ("properties", "kind"),
    [
        ({"BaseModuleType": "LRDIMM"}, Kind.LRDIMM),
        ({"BaseModuleType": "UDIMM"}, Kind.ECC_UDIMM),
        ({"BaseModuleType": "UDIMM", "ErrorCorrection": "NoECC", "BusWidthBits": 64}, Kind.UDIMM),
        ({"BaseModuleType": "UDIMM", "ErrorCorrection": "AddressParity"}, None),
        ({"BaseModuleType": "SO_UDIMM_72b"}, Kind.ECC_SO_DIMM),
        ({"MemoryDeviceType": "DDR5_MRDIMM"}, Kind.MRDIMM),
        ({"BaseModuleType_": 0}, None),
    ],
)
def test_kinds(properties: dict[str, Any], kind: Kind | None) -> None:
    assert read(build.memory(**properties)).slots[0].kind == kind


def test_both_names_of_a_place_are_read() -> None:
    label = {"PartLocation": {"ServiceLabel": "Slot 7"}}
    assert read(build.memory(Location=label, DeviceLocator_=0)).slots[0].locator == "Slot 7"
    both = read(build.memory(Location=label))
    assert (both.slots[0].locator, ids(both)) == ("Slot 7", ["locators-differ"])
    neither = read(build.memory(DeviceLocator_=0))
    assert (neither.slots[0].locator, ids(neither)) == ("DIMM1", ["locator-missing"])
    numbered = [read(build.memory(DeviceLocator_=0, Id="2", Name=name)) for name in ("DIMM_A2", "Device 2", "7")]
    assert [each.slots[0].locator for each in numbered] == ["DIMM_A2", "2", "2"]


def test_a_misspelt_property_is_read_and_noted() -> None:
    found = read(build.memory(AllowedSpeedsMhz=[3200], AllowedSpeedsMHz_=0))
    assert found.slots[0].rated_mts == 3200
    assert ids(found) == ["property-misspelt"]


@pytest.mark.parametrize(
    "content", [b"{", b"[]", b"{}", b'{"a": 1} x', b'[{"Id": "1"}]', b'{"x": ' * 300 + b"1" + b"}" * 300]
)
def test_json_without_memory_is_refused(content: bytes) -> None:
    with pytest.raises(InputError):
        read_inventory(content)


def test_depth_is_limited() -> None:
    fits = json.loads("[" * (MOST_JSON_DEPTH - 1) + json.dumps(ALL[0]) + "]" * (MOST_JSON_DEPTH - 1))
    assert len(read(fits).slots) == 1
    with pytest.raises(InputError, match="nested too deep"):
        read([fits, [[fits]]])


# Right ones to be damaged, and the worst


def right() -> list[bytes]:
    members = [build.memory(f"DIMM{index}") for index in range(6)] + [build.absent("DIMM9")]
    tree = {f"{each['Id']}.json": build.as_json(each) for each in members}
    tree["index.json"] = build.as_json(build.collection(members, expanded=False))
    return [build.as_json(build.collection(members)), build.as_json(members[0]), build.zipped(tree)]


def worst() -> Iterator[tuple[str, bytes]]:
    mib = 1 << 20
    yield "deep arrays", b"[" * (4 * mib)
    yield "deep objects", b'{"a":' * (mib // 2)
    for piece in (
        b"[],",
        b"{},",
        b"[[]],",
        b'{"":0},',
        b'[{"":[]}],',
        b"0.5,",
        b'"ab",',
        b"[0,0],",
        b'{"Id":"a"},',
    ):
        yield f"many {piece.decode()}", b"[" + piece * ((4 * mib - 3) // len(piece)) + b"0]"
    resource_ = b'{"@odata.type":"#Memory.v1_0_0.Memory"},'
    yield "as many resources as fit", b"[" + resource_ * (4 * mib // len(resource_) - 2) + b"0]"
    yield "4000 resources", build.as_json([build.memory(f"D{each}", MemoryType="X") for each in range(2000)])
    yield "a huge number", b'{"Id":"1","CapacityMiB":' + b"9" * (2 * mib) + b"}"
    yield "a huge text", b'{"Id":"1","CapacityMiB":1,"DeviceLocator":"' + b"\\u202e" * (mib // 2) + b'"}'
    member = b'{"@odata.id":"/%d"},'
    members = b"".join(member % each for each in range(150_000))
    yield "many members", b'{"@odata.type":"#MemoryCollection.MemoryCollection","Members":[' + members + b"0]}"
    yield (
        "many documents",
        build.zipped({f"{each}.json": build.as_json(build.memory(f"D{each}")) for each in range(2000)}),
    )
    yield (
        "large documents",
        build.zipped({f"{each}.json": b'["#Memory.",' + b"{}," * mib + b"0]" for each in range(8)}),
    )
