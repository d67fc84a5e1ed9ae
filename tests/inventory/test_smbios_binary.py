"""Entry points, the bare table, shapes of a table, and the running machine's own."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path

import pytest

from dimmplan.errors import InputError
from dimmplan.inventory import smbios_binary
from dimmplan.inventory.reader import read_inventory
from dimmplan.inventory.smbios_binary import READER
from dimmplan.model.inventory import Inventory, InventoryProcessor
from tests.inventory import build

DEVICES = [build.device(0x1100), build.empty_device(0x1101)]
TABLE = b"".join([build.processor(), build.array(slots=2), *DEVICES, build.end()])


def ids(found: Inventory) -> list[str]:
    return [each.oddity for each in found.oddities]


@pytest.mark.parametrize("version", [(2, 1), (2, 3), (2, 6), (2, 8), (3, 0), (3, 2), (3, 7), (3, 9)])
def test_both_entry_points(version: tuple[int, int]) -> None:
    found = read_inventory(build.machine(DEVICES, version=version))
    assert found.form == "smbios-binary"
    assert found.edition == f"SMBIOS {version[0]}.{version[1]}"
    assert [slot.state for slot in found.slots] == ["filled", "empty"]
    assert found.oddities == ()


def test_a_slot_keeps_all_that_is_said() -> None:
    slot = read_inventory(build.machine([build.device(length=84, serial="S1", tag="T1")])).slots[0]
    assert (slot.locator, slot.bank, slot.handle) == ("DIMM_A1", "NODE 0", "0x1100")
    assert (slot.capacity_gib, slot.generation, slot.kind) == (16, "DDR4", "RDIMM")
    assert (slot.ranks_said, slot.total_width_bits, slot.data_width_bits) == (2, 72, 64)
    assert (slot.rated_mts, slot.configured_mts) == (2933, 2933)
    assert (slot.maker, slot.part_number, slot.serial, slot.asset_tag) == ("Maker One", "PART-0001", "S1", "T1")
    assert slot.label is None
    assert slot.name == "DIMM_A1 (NODE 0)"


def test_processors() -> None:
    structures = [
        build.processor(0x400),
        build.processor(0x401, socket="CPU2", status=0x00, version=None),
        build.processor(0x402, socket="CPU3", status=0x42),
        build.array(slots=1, max_kib=3 << 30),
        DEVICES[0],
    ]
    found = read_inventory(build.dump(structures))
    assert found.processors[0] == InventoryProcessor(locator="CPU1", state="filled", enabled=True, cores=16)
    assert [each.state for each in found.processors] == ["filled", "empty", "filled"]
    assert [each.enabled for each in found.processors] == [True, None, False]


def test_the_bare_table_with_and_without_a_system_calls_header() -> None:
    bare = read_inventory(TABLE)
    assert bare.edition is None
    assert [slot.state for slot in bare.slots] == ["filled", "empty"]
    called = read_inventory(b"\0\x03\x02\0" + struct.pack("<I", len(TABLE)) + TABLE)
    assert called.edition == "SMBIOS 3.2"
    assert called.slots == bare.slots


def test_a_copy_of_the_two_linux_files(tmp_path: Path) -> None:
    folder = build.laid(tmp_path, {"smbios_entry_point": build.entry30(TABLE, address=0x6F93E000), "DMI": TABLE})
    found = read_inventory(folder)
    assert len(found.slots) == 2
    assert found.oddities == ()


def test_entry_point_and_table_joined_without_a_gap() -> None:
    found = read_inventory(build.entry30(TABLE, address=0x6F93E000) + TABLE)
    assert len(found.slots) == 2
    assert ids(found) == ["table-address"]


def test_this_machine_reads_what_the_system_shows(tmp_path: Path) -> None:
    build.laid(tmp_path, {"smbios_entry_point": build.entry30(TABLE, address=0x6F93E000), "DMI": TABLE})
    assert len(READER.of_this_machine(tmp_path).slots) == 2


def test_this_machine_says_how_to_save_a_dump(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    with monkeypatch.context() as patch:
        patch.setattr(Path, "open", refused)
        with pytest.raises(InputError) as caught:
            READER.of_this_machine(tmp_path)
    (problem,) = caught.value.problems
    assert problem.file == "this-machine"
    assert "sudo dmidecode --dump-bin machine.bin" in problem.hint
    monkeypatch.setattr(smbios_binary, "SYSTEM_TABLES", tmp_path / "nothing")
    with pytest.raises(InputError, match="no SMBIOS tables"):
        read_inventory("this-machine")


def test_more_structures_than_announced_are_read_where_the_chain_is_whole() -> None:
    found = read_inventory(build.machine(DEVICES, version=(2, 8), count=3))
    assert len(found.slots) == 2
    assert ids(found) == ["count-differs"]


def test_bytes_behind_the_announced_structures_are_not_taken_for_some() -> None:
    table = b"".join([build.array(slots=1), DEVICES[0]])
    content = build.entry21(table, count=2, length=len(table) + 40).ljust(32, b"\0") + table + b"\x05\0\x06" + bytes(37)
    found = read_inventory(content)
    assert len(found.slots) == 1
    assert ids(found) == ["no-end-marker", "length-differs"]


def test_an_entry_point_that_says_one_byte_less() -> None:
    """Length 1Eh, a slip of the 2.1 document; the checksum may leave the last byte out or not."""
    content = bytearray(build.machine(DEVICES, version=(2, 1), size=0x1E))
    assert read_inventory(bytes(content)).oddities == ()
    content[4] = (content[4] + content[0x1E]) & 0xFF
    assert content[0x1E] and read_inventory(bytes(content)).oddities == ()
    content[4] ^= 0x55
    assert ids(read_inventory(bytes(content))) == ["checksum-wrong"]


def test_inactive_structures_are_left_out() -> None:
    hidden = b"\x7e" + build.device(0x1101)[1:]
    assert len(read_inventory(build.machine([DEVICES[0], hidden], version=(3, 0))).slots) == 1


def test_a_table_length_of_30_is_only_a_maximum() -> None:
    assert read_inventory(build.machine(DEVICES, length=65536)).oddities == ()


@pytest.mark.parametrize("content", [b"_SM_", b"_SM3_", b"_SM3_" + bytes(10), build.machine(DEVICES)[:32]])
def test_nothing_behind_an_entry_point_is_refused(content: bytes) -> None:
    with pytest.raises(InputError):
        read_inventory(content)


def test_a_copy_of_the_entries_that_linux_shows(tmp_path: Path) -> None:
    parts = [
        build.array(slots=12),
        *(build.device(0x1100 + at, locator=f"A{at}") for at in range(11)),
        build.processor(),
    ]
    parts += [build.empty_device(0x110B)]
    counts: dict[int, int] = {}
    for part in parts:
        at = counts[part[0]] = counts.get(part[0], -1) + 1
        folder = tmp_path / f"{part[0]}-{at}"
        folder.mkdir()
        (folder / "raw").write_bytes(part)
        (folder / "length").write_text(f"{part[1]}\n")
    found = read_inventory(tmp_path)
    plain = read_inventory(build.dump(parts))
    assert (found.slots, found.processors, found.oddities) == (plain.slots, plain.processors, plain.oddities)


# Right ones to be damaged, and the worst


def right() -> list[bytes]:
    devices = [build.device(0x1100 + index, locator=f"DIMM_{index}", serial=f"S{index}") for index in range(8)]
    empty = [build.empty_device(0x1200 + index, locator=f"DIMM_E{index}") for index in range(8)]
    long = [build.device(0x1300, length=100, technology=4, sizes=(1 << 37, 0, 0, 0))]
    return [
        build.machine(devices + empty, version=(3, 2)),
        build.machine(devices[:2] + long, version=(2, 8)),
        build.machine(empty, version=(3, 5), marked=False),
    ]


def worst() -> Iterator[tuple[str, bytes]]:
    mib = 1 << 20
    yield "as many structures as fit", build.dump([b"\x80\x04\0\0\0\0" * (4 * mib // 6 - 20)])
    yield (
        "as many devices as fit",
        build.dump([build.array(slots=2000), *(build.device(each) for each in range(2000))]),
    )
    yield "as many texts as fit", build.dump([build.structure(17, 1, build.device()[4:40], b"ab\0" * mib + b"\0")])
    yield "one endless text", build.dump([build.structure(17, 1, build.device()[4:40], b"a" * (3 * mib) + b"\0\0")])
    yield "zeros", b"_SM_" + bytes(4 * mib - 4)
    yield "ones", b"_SM3_" + b"\xff" * (4 * mib - 5)
    yield "bare structures", b"\x11\x04\0\0\0\0" * (4 * mib // 6)
