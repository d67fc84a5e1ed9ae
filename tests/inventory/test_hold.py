"""Persistent modules are on hold in every form that can report them; what cannot be told is said to be so."""

from __future__ import annotations

from typing import Any

import pytest

from dimmplan.inventory.reader import read_inventory
from dimmplan.model.inventory import InventorySlot
from tests.inventory import build
from tests.inventory.build import FILLED


def held(slot: InventorySlot) -> bool:
    return slot.state == "hold" and bool(slot.why) and slot.counts


@pytest.mark.parametrize(
    "fields",
    [
        *({"length": 84, "technology": code} for code in (4, 5, 6, 7)),
        {"type": 0x1F},
        {"type": 0x1F, "size": 0},
        {"type": 0x1F, "size": 0xFFFF},
        {"length": 84, "modes": 1 << 3 | 1 << 4},
        {"length": 84, "modes": 1 << 5},
        {"length": 84, "sizes": (1 << 37, 0, 0, 0)},
        {"length": 84, "sizes": (1 << 37, 0, 0, 0), "size": 0},
        {"length": 84, "technology": 4, "size": 0},
        {"detail": 1 << 12 | 1 << 7},
    ],
)
def test_smbios_binary(fields: dict[str, Any]) -> None:
    assert held(read_inventory(build.machine([build.device(**fields)])).slots[0])


@pytest.mark.parametrize(
    "fields",
    [
        *({"Memory Technology": word} for word in ("NVDIMM-N", "NVDIMM-F", "NVDIMM-P", "Maker X persistent memory")),
        {"Type": "Logical non-volatile device"},
        {"Memory Operating Mode Capability": "Volatile memory Byte-accessible persistent memory"},
        {"Memory Operating Mode Capability": "Block-accessible persistent memory"},
        {"Non-Volatile Size": "128 GB"},
        {"Non-Volatile Size": "128 GB", "Size": "No Module Installed"},
        {"Type Detail": "Synchronous Non-Volatile"},
    ],
)
def test_smbios_text(fields: dict[str, str]) -> None:
    assert held(read_inventory(build.listing([FILLED | fields]).encode()).slots[0])


@pytest.mark.parametrize(
    "properties",
    [
        *({"MemoryType": word} for word in ("NVDIMM_N", "NVDIMM_F", "NVDIMM_P", "SomethingElsePersistent")),
        {"MemoryDeviceType": "Logical"},
        {"OperatingMemoryModes": ["Volatile", "PMEM"]},
        {"OperatingMemoryModes": ["Block"]},
        {"NonVolatileSizeMiB": 131072},
        {"MemoryType": "NVDIMM_N", "CapacityMiB": None},
    ],
)
def test_redfish(properties: dict[str, Any]) -> None:
    assert held(read_inventory(build.as_json(build.memory(**properties))).slots[0])


@pytest.mark.parametrize("cell", ["16GB NVDIMM-N", "128GB PMEM", "persistent, leave it", "16GB 1Rx4 PC4-2666V NVDIMM"])
def test_labels(cell: str) -> None:
    found = read_inventory(f'slot,label\nA1,"{cell}"\n'.encode())
    assert held(found.slots[0])


@pytest.mark.parametrize("image", [build.spd4(kind=0x81), build.spd4(kind=0x91), build.spd5(kind=0x81)])
def test_spd(image: bytes) -> None:
    assert held(read_inventory(image, name="A1.bin").slots[0])


@pytest.mark.parametrize(
    "content",
    [
        build.machine([build.device(length=84)]),
        build.listing([FILLED | {"Memory Technology": "DRAM", "Non-Volatile Size": "None"}]).encode(),
        build.as_json(build.memory(OperatingMemoryModes=["Volatile"], NonVolatileSizeMiB=0, MemoryMedia=["DRAM"])),
        b"slot,label\nA1,32GB 2Rx4 PC4-2933Y-R\n",
        build.spd4(),
        build.spd5(),
    ],
)
def test_ordinary_memory_is_not_held(content: bytes) -> None:
    slot = read_inventory(content, name="A1.bin").slots[0]
    assert (slot.state, slot.why) == ("filled", "")


@pytest.mark.parametrize(
    "content",
    [
        build.machine([build.device(size=0xFFFF)]),
        build.machine([build.device()], marked=False)[:-10],
        build.listing([FILLED | {"Size": "Unknown"}]).encode(),
        build.as_json(build.memory(CapacityMiB=None)),
        build.as_json(build.memory(CapacityMiB=0)),
        build.as_json(build.memory(Status={"State": "Absent"})),
        build.as_json(build.collection([build.memory()], expanded=False)),
        b"slot,label\nA1,\n",
        b"slot,label\nA1,what\n",
        build.spd4(good=False),
        build.spd5(good=False),
        bytes(512),
    ],
)
def test_what_cannot_be_told_is_said_so(content: bytes) -> None:
    slot = read_inventory(content, name="A1.bin").slots[0]
    assert slot.state == "cannot-tell"
    assert slot.why and slot.counts


def test_a_flash_chip_of_the_firmware_is_no_persistent_module() -> None:
    chip = build.device(type=9, form=5, size=0x8000 | 16384, detail=1 << 12)
    slot = read_inventory(build.dump([build.array(use=5), chip])).slots[0]
    assert (slot.state, slot.role) == ("filled", "flash")
