"""Every oddity of the catalogue is met by an inventory that has it, and by none that is right.

One row per id: what firmware or a person gets wrong, in one form. What follows for the slot is tested below.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import pytest

from dimmplan.inventory.oddities import CATALOGUE, MOST_NAMED
from dimmplan.inventory.reader import read_inventory
from dimmplan.model.inventory import Inventory
from dimmplan.model.module import Kind
from tests.inventory import build
from tests.inventory.build import EMPTY, FILLED


def smbios(*devices: bytes, **entry: Any) -> Inventory:
    return read_inventory(build.machine(devices, **entry))


def table(*structures: bytes, **entry: Any) -> Inventory:
    return read_inventory(build.dump(structures, **entry))


def text(*devices: Mapping[str, str], **options: Any) -> Inventory:
    return read_inventory(build.listing(devices, **options).encode())


def redfish(*resources: dict[str, Any], **more: Any) -> Inventory:
    return read_inventory(build.as_json(build.collection(resources, **more)))


def resource(**properties: Any) -> Inventory:
    return redfish(build.memory(**properties))


def labels(*rows: str) -> Inventory:
    return read_inventory(("slot,label\n" + "\n".join(rows) + "\n").encode())


def spd(image: bytes) -> Inventory:
    return read_inventory(image, name="A1.bin")


def patched(content: bytes, at: int, value: int) -> Inventory:
    return read_inventory(content[:at] + bytes((value,)) + content[at + 1 :])


def no_handles() -> Inventory:
    return read_inventory(build.listing(head="", handles=False).encode())


def phantoms() -> Inventory:
    empty = [
        build.device(0x1101 + index, size=0, type=3, locator=f"RAM slot #{index}", maker=None, part=None)
        for index in range(63)
    ]
    first = build.device(
        0x1100, size=1024, type=3, total=32, data=32, locator="RAM slot", maker=None, part=None, rank=0
    )
    return smbios(first, *empty)


DEVICE = build.device
ONE = build.machine([build.device()], version=(2, 8))
OLD = {"version": (2, 8)}
GOOD5: dict[str, Any] = {"type": 0x22, "total": 80, "speed": 4800, "configured": 4800, "volts": (1100, 1100, 1100)}
PAIR = [{"locator": "A1", "serial": "S1"}, {"locator": "A2", "serial": "S1"}]

MET: dict[str, Callable[[], Inventory]] = {
    "locator-missing": lambda: smbios(DEVICE(locator=None)),
    "locator-placeholder": lambda: smbios(build.empty_device(locator="NO DIMM")),
    "locator-twice": lambda: smbios(DEVICE(0x1100), DEVICE(0x1101)),
    "locator-needs-bank": lambda: smbios(DEVICE(0x1100, bank="CH A"), DEVICE(0x1101, bank="CH B")),
    "locators-differ": lambda: resource(Location={"PartLocation": {"ServiceLabel": "A7"}}),
    "module-twice": lambda: smbios(DEVICE(0x1100, serial="S1"), DEVICE(0x1101, serial="S1")),
    "serial-twice": lambda: smbios(*(DEVICE(0x1100 + index, **fields) for index, fields in enumerate(PAIR))),
    "capacity-unknown": lambda: smbios(DEVICE(size=0xFFFF)),
    "capacity-odd": lambda: resource(CapacityMiB=15625),
    "rate-unknown": lambda: smbios(DEVICE(speed=0)),
    "rate-halved": lambda: smbios(DEVICE(speed=1467)),
    "configured-rate-halved": lambda: smbios(DEVICE(speed=3200, configured=1600)),
    "rate-unusual": lambda: smbios(DEVICE(speed=2500)),
    "rate-above-rated": lambda: smbios(DEVICE(speed=2666, configured=2933)),
    "ranks-unknown": lambda: smbios(DEVICE(rank=0)),
    "ranks-ambiguous": lambda: smbios(DEVICE(rank=4)),
    "ranks-odd": lambda: smbios(DEVICE(rank=3)),
    "width-unknown": lambda: smbios(DEVICE(total=0xFFFF)),
    "width-odd": lambda: smbios(DEVICE(total=72, data=72)),
    "width-doubtful": lambda: smbios(DEVICE(**(GOOD5 | {"total": 72}))),
    "ecc-contradicts": lambda: resource(ErrorCorrection="NoECC"),
    "generation-unknown": lambda: smbios(DEVICE(type=2)),
    "generation-foreign": lambda: smbios(DEVICE(type=0x13)),
    "kind-contradicts": lambda: smbios(DEVICE(detail=1 << 13 | 1 << 14)),
    "maker-as-number": lambda: smbios(DEVICE(maker="00AD00B380AD")),
    "part-number-as-hex": lambda: smbios(DEVICE(part=b"PART-0001".hex().upper())),
    "placeholder-text": lambda: smbios(DEVICE(part="To Be Filled By O.E.M.")),
    "module-disabled": lambda: resource(Status={"State": "Disabled"}),
    "persistent-module": lambda: smbios(DEVICE(length=84, technology=4)),
    "persistent-signs": lambda: smbios(DEVICE(length=84, sizes=(1 << 34, 0, 0, 0))),
    "empty-but-persistent": lambda: smbios(build.empty_device(length=84, sizes=(1 << 34, 0, 0, 0))),
    "out-of-spec": lambda: smbios(DEVICE(form=0x77)),
    "bad-string-index": lambda: smbios(DEVICE(maker=9)),
    "text-cleaned": lambda: smbios(DEVICE(locator="A1\x1b[31m")),
    "text-not-utf8": lambda: smbios(DEVICE(locator=b"A1\xb0\xff")),
    "field-unreadable": lambda: text(FILLED | {"Size": "thirty-two"}),
    "field-twice": lambda: read_inventory(build.listing([FILLED]).encode() + b"\tSize: 16 GB\n"),
    "memory-behind-cxl": lambda: table(build.array(location=0xA4), DEVICE()),
    "not-a-slot": lambda: table(build.array(use=5), DEVICE(type=9, form=5, size=0x8000 | 16384)),
    "array-count": lambda: table(build.array(slots=4), DEVICE()),
    "array-missing": lambda: table(build.array(0x2000), DEVICE()),
    "array-use-unknown": lambda: table(build.array(use=2), DEVICE()),
    "array-use-contradicts": lambda: table(build.array(use=5), DEVICE()),
    "no-arrays": lambda: table(DEVICE()),
    "no-devices": lambda: table(build.array(slots=0)),
    "virtual-machine": lambda: table(build.bios(virtual=True), build.array(), DEVICE()),
    "phantom-slots": phantoms,
    "checksum-wrong": lambda: patched(ONE, 4, ONE[4] ^ 1),
    "entry-length": lambda: patched(ONE, 5, 0x2A),
    "table-address": lambda: smbios(DEVICE(), version=(2, 8), address=0xF0400),
    "table-cut": lambda: smbios(DEVICE(), version=(2, 8), length=4096),
    "no-end-marker": lambda: smbios(DEVICE(), marked=False),
    "length-differs": lambda: read_inventory(build.machine([DEVICE()], version=(2, 8), length=420) + bytes(400)),
    "count-differs": lambda: smbios(DEVICE(), version=(2, 8), count=9),
    "structure-broken": lambda: table(build.array(), DEVICE(), b"\x11\x02\0\0" + bytes(20)),
    "structure-truncated": lambda: read_inventory(build.machine([DEVICE()], marked=False)[:-20]),
    "structure-short": lambda: smbios(DEVICE(length=16)),
    "version-odd": lambda: smbios(DEVICE(), version=(2, 51)),
    "handle-twice": lambda: smbios(DEVICE(0x1100), DEVICE(0x1100, locator="B1")),
    "structure-twice": lambda: read_inventory(2 * build.listing([FILLED]).encode()),
    "two-machines": lambda: read_inventory((build.listing([FILLED]) + build.listing([EMPTY])).encode()),
    "trailing-bytes": lambda: read_inventory(build.machine([DEVICE()]) + b"and something else"),
    "no-handles": no_handles,
    "listing-cut": lambda: read_inventory(build.listing([FILLED, EMPTY]).encode().partition(b"\tSet:")[2]),
    "listing-complains": lambda: text(FILLED, head="Wrong DMI structures count: 9 announced, only 2 decoded.\n"),
    "empty-unlisted": lambda: read_inventory(b"DeviceLocator : A1\nCapacity : 34359738368\n"),
    "member-missing": lambda: redfish(build.memory(), expanded=False),
    "more-pages": lambda: redfish(build.memory(), **{"Members@odata.nextLink": "/redfish/v1/x?$skip=1"}),
    "resource-twice": lambda: read_inventory(build.as_json([build.memory(), build.memory()])),
    "wrong-type": lambda: resource(CapacityMiB="32768"),
    "value-unknown": lambda: resource(Status={"State": "Present"}),
    "property-misspelt": lambda: resource(OperatingSpeedMHz=2933, OperatingSpeedMhz_=0),
    "absent-with-capacity": lambda: resource(Status={"State": "Absent"}),
    "state-unknown": lambda: resource(Status_=0, CapacityMiB_=0),
    "total-differs": lambda: system(64),
    "label-blank": lambda: labels("A1,"),
    "label-unreadable": lambda: labels("A1,32GB 9Rx4 what"),
    "label-incomplete": lambda: labels("A1,2Rx4 PC4-2933Y-R"),
    "label-hybrid": lambda: labels("A1,64GB 2Rx4 PC5-4800B-RNA0-1010-XT"),
    "row-unreadable": lambda: labels(",32GB 2Rx4 PC4-2933Y-R"),
    "column-ignored": lambda: labels("A1,32GB 2Rx4 PC4-2933Y-R,by hand"),
    "spd-unknown": lambda: spd(bytes(512)),
    "spd-cut": lambda: spd(build.spd4()[:256]),
    "spd-contradicts": lambda: spd(build.spd4(package=0xA2)),
    "spd-asymmetric": lambda: spd(build.spd4(organisation=0x48)),
    "crc-wrong": lambda: spd(build.spd4(good=False)),
    "crc-module-part-wrong": lambda: spd(build.spd4(good_module_part=False)),
    "file-ignored": lambda: read_inventory(build.zipped({"A1.bin": build.spd4(), "notes.md": b"# notes"})),
    "file-unreadable": lambda: read_inventory(
        build.zipped({"a.json": build.as_json([build.memory()]), "b.json": b'{"@odata.type": "#Memory.v1'})
    ),
}


def system(total: float) -> Inventory:
    value = {
        "@odata.type": "#ComputerSystem.v1_22_0.ComputerSystem",
        "Id": "1",
        "SerialNumber": "SYSTEM-SERIAL",
        "SystemType": "Physical",
        "ProcessorSummary": {"Count": 2},
        "MemorySummary": {"TotalSystemMemoryGiB": total},
    }
    return read_inventory(build.as_json([value, build.collection([build.memory(), build.absent()])]))


def ids(found: Inventory) -> set[str]:
    return {each.oddity for each in found.oddities}


def test_every_oddity_has_a_row() -> None:
    assert set(MET) == set(CATALOGUE)


@pytest.mark.parametrize("oddity", sorted(CATALOGUE))
def test_oddity_is_met(oddity: str) -> None:
    found = MET[oddity]()
    met = [each for each in found.oddities if each.oddity == oddity]
    assert met, sorted(ids(found))
    assert all(each.text for each in met)
    assert all(0 <= index < len(found.slots) for each in met for index in each.slots)


@pytest.mark.parametrize(
    "right",
    [
        lambda: smbios(DEVICE(0x1100), build.empty_device(0x1101)),
        lambda: smbios(DEVICE(0x1100), build.empty_device(0x1101), **OLD),
        lambda: smbios(DEVICE(**GOOD5)),
        lambda: text(FILLED, EMPTY),
        lambda: redfish(build.memory(), build.absent()),
        lambda: labels("A1,32GB 2Rx4 PC4-2933Y-R", "A2,empty"),
        lambda: spd(build.spd4()),
        lambda: spd(build.spd5()),
        lambda: system(32),
    ],
)
def test_a_right_inventory_has_none(right: Callable[[], Inventory]) -> None:
    assert right().oddities == ()


# --- what follows for the slot ----------------------------------------------------------------------------------------


def test_empty_and_filler_locators_leave_the_place_without_a_name() -> None:
    found = smbios(DEVICE(0x1100, locator=None), build.empty_device(0x1101, locator="NO DIMM", bank="NO DIMM"))
    assert [(slot.locator, slot.bank) for slot in found.slots] == [("", "NODE 0"), ("", "")]
    assert [slot.state for slot in found.slots] == ["filled", "empty"]


def test_a_repeated_locator_names_both_places() -> None:
    found = smbios(DEVICE(0x1100), DEVICE(0x1101), DEVICE(0x1102, locator="B1"))
    assert [each.slots for each in found.oddities] == [(0, 1)]
    assert [slot.state for slot in found.slots] == ["filled"] * 3


def test_locators_in_doubled_blanks_are_one_place() -> None:
    assert smbios(DEVICE(locator="  DIMM000  J22 ")).slots[0].locator == "DIMM000 J22"


def test_one_module_reported_twice_is_not_counted_on() -> None:
    found = smbios(DEVICE(0x1100, serial="S1"), DEVICE(0x1101, serial="S1"))
    assert {slot.state for slot in found.slots} == {"cannot-tell"}
    assert "more than once" in found.slots[0].why


def test_a_ddr5_module_reported_as_two_halves_is_not_counted_on() -> None:
    half = GOOD5 | {"total": 40, "data": 32, "serial": "S1"}
    found = smbios(DEVICE(0x1100, locator="A1-0", **half), DEVICE(0x1101, locator="A1-1", **half))
    assert "module-twice" in ids(found)
    assert {slot.state for slot in found.slots} == {"cannot-tell"}


def test_filler_serial_numbers_are_no_module_twice() -> None:
    for filler in ("00000000", "FFFFFFFF", "Unknown", "SerialNumber01", "--", "Not Specified", "NO DIMM"):
        found = smbios(DEVICE(0x1100, serial=filler), DEVICE(0x1101, serial=filler, locator="B1"))
        assert found.oddities == ()
        assert [slot.serial for slot in found.slots] == [None, None]


@pytest.mark.parametrize(
    ("size", "kib"),
    [
        ({"size": 8192}, 8 << 20),
        ({"size": 0x8000 | 512}, 512),
        ({"size": 0x7FFF, "extended_size": 64 << 10}, 64 << 20),
        ({"size": 0x7FFF, "extended_size": 1 << 21}, 2 << 30),
        ({"size": 0x7FFF, "extended_size": 0x80000000 | 32 << 10}, 32 << 20),
        ({"size": 0x7FFF, "length": 28}, 32767 << 10),
        ({"size": 0xFFFF}, None),
        ({"size": 0x7FFF, "extended_size": 0}, None),
    ],
)
def test_sizes_of_a_table(size: dict[str, int], kib: int | None) -> None:
    slot = smbios(DEVICE(**size)).slots[0]
    assert slot.capacity_kib == kib
    assert slot.state == ("filled" if kib else "cannot-tell")


@pytest.mark.parametrize(
    ("words", "kib"),
    [
        ("512 kB", 512),
        ("512 KB", 512),
        ("8192 MB", 8 << 20),
        ("8 GB", 8 << 20),
        ("1 TB", 1 << 30),
        ("16 GiB", 16 << 20),
        ("1.5 GB", 3 << 19),
        ("Unknown", None),
        ("0 MB", None),
        ("", None),
    ],
)
def test_sizes_of_a_listing(words: str, kib: int | None) -> None:
    slot = text(FILLED | {"Size": words}).slots[0]
    assert slot.capacity_kib == kib
    assert slot.state == ("filled" if kib else "cannot-tell")


def test_whole_gib_only_where_exact() -> None:
    small = smbios(DEVICE(size=0x8000 | 1536)).slots[0]
    assert (small.capacity_kib, small.capacity_gib) == (1536, None)
    odd = resource(CapacityMiB=15625).slots[0]
    assert (odd.capacity_kib, odd.capacity_gib, odd.state) == (15625 << 10, None, "filled")


@pytest.mark.parametrize(
    ("speed", "configured", "rated", "runs"),
    [
        (2933, 2934, 2933, 2933),
        (2667, 2132, 2666, 2133),
        (1467, 1467, None, None),
        (3200, 1600, 3200, None),
        (3200, 2666, 3200, 2666),
        (0, 0, None, None),
        (2500, 2500, 2500, 2500),
    ],
)
def test_rates_are_snapped_to_standard_ones_or_left_open(
    speed: int, configured: int, rated: int | None, runs: int | None
) -> None:
    slot = smbios(DEVICE(speed=speed, configured=configured)).slots[0]
    assert (slot.rated_mts, slot.configured_mts) == (rated, runs)


def test_a_ddr5_rate_below_the_generation_is_a_clock() -> None:
    slot = smbios(DEVICE(**(GOOD5 | {"speed": 2400, "configured": 2400}))).slots[0]
    assert (slot.rated_mts, slot.configured_mts) == (None, None)


def test_ranks_are_kept_as_said() -> None:
    slot = smbios(DEVICE(rank=4)).slots[0]
    assert (slot.ranks_said, slot.package_ranks, slot.logical_ranks) == (4, None, None)
    large = smbios(DEVICE(size=0x7FFF, extended_size=128 << 10))
    assert "ranks-ambiguous" in ids(large)  # two package ranks cannot hold 128 GiB of 16 Gbit dies
    assert "ranks-ambiguous" not in ids(smbios(DEVICE(size=0x7FFF, extended_size=64 << 10)))


def test_widths_tell_error_correction_or_leave_it_open() -> None:
    def told(**fields: Any) -> bool | None:
        return smbios(DEVICE(**fields)).slots[0].ecc

    wide = [told(), told(**GOOD5), told(**(GOOD5 | {"total": 72})), told(total=80)]
    assert (wide, told(total=64)) == ([True] * 4, False)
    assert (told(total=0, data=0), told(total=128)) == (None, None)


@pytest.mark.parametrize(
    ("fields", "kind"),
    [
        ({}, Kind.RDIMM),
        ({"detail": 1 << 15}, Kind.LRDIMM),
        ({"detail": 1 << 13 | 1 << 15}, Kind.LRDIMM),
        ({"detail": 1 << 14}, Kind.ECC_UDIMM),
        ({"detail": 1 << 14, "total": 64}, Kind.UDIMM),
        ({"detail": 1 << 14, "total": 0}, None),
        ({"detail": 1 << 7}, None),
        ({"detail": 1 << 13 | 1 << 14}, None),
        ({"form": 0x0D, "total": 64}, Kind.SO_DIMM),
        ({"form": 0x0D}, Kind.ECC_SO_DIMM),
        ({"form": 0x02}, None),
    ],
)
def test_kinds_are_told_by_type_detail_and_form(fields: dict[str, int], kind: Kind | None) -> None:
    assert smbios(DEVICE(**fields)).slots[0].kind is kind


def test_makers_and_parts_as_numbers() -> None:
    slot = smbios(DEVICE(maker="0xCE00000000CE", part=b"PART-0001  ".hex())).slots[0]
    assert (slot.maker, slot.part_number) == ("0xCE00000000CE", "PART-0001")
    assert smbios(DEVICE(part="1234567890123456")).slots[0].part_number == "1234567890123456"


def test_an_array_that_counts_otherwise_is_told_with_both_numbers() -> None:
    found = table(build.array(slots=16), DEVICE(), build.array(0x2000, slots=16))
    texts = [each.text for each in found.oddities if each.oddity == "array-count"]
    assert texts == [
        "the array says 16 slots, 1 devices are listed for it",
        "the array says 16 slots, 0 devices are listed for it",
    ]


def test_flash_and_cache_arrays_hold_no_slots_that_count() -> None:
    flash = build.device(0x1101, array=0x2000, type=9, form=5, size=0x8000 | 16384, locator="SYSTEM ROM")
    found = table(build.array(), DEVICE(), build.array(0x2000, use=5), flash)
    assert [(slot.role, slot.counts) for slot in found.slots] == [("memory", True), ("flash", False)]
    assert len(found.memory) == 1
    assert found.slots[1].capacity_kib == 16384
    soldered = table(build.array(), DEVICE(type=0x1E, form=0x0B))
    assert soldered.slots[0].role == "soldered"
    card = table(build.array(location=0xA4), DEVICE())
    assert card.slots[0].role == "add-on"


def test_a_module_in_an_array_of_another_use_still_counts() -> None:
    found = table(build.array(use=5), DEVICE())
    assert found.slots[0].counts and "array-use-contradicts" in ids(found)


def test_phantom_slots_are_no_places() -> None:
    found = phantoms()
    assert [slot.state for slot in found.slots].count("cannot-tell") == 63
    assert found.slots[0].state == "filled"


def test_many_empty_slots_of_a_real_machine_are_places() -> None:
    found = smbios(DEVICE(), *(build.empty_device(0x1101 + index, locator=f"B{index}") for index in range(63)))
    assert "phantom-slots" not in ids(found)
    assert [slot.state for slot in found.slots].count("empty") == 63


def test_a_truncated_table_keeps_what_came_before() -> None:
    last = DEVICE(0x1101, locator="B1")
    whole = build.machine([DEVICE(0x1100), last], marked=False)
    for cut in range(1, len(last) - 4):
        found = read_inventory(whole[:-cut])
        assert found.slots[0].state == "filled"
        assert all(slot.state == "cannot-tell" for slot in found.slots[1:])
        assert "table-cut" in ids(found)


@pytest.mark.parametrize("length", build.DEVICE_LENGTHS)
def test_fields_beyond_a_structures_length_are_not_read(length: int) -> None:
    slot = smbios(DEVICE(length=length)).slots[0]
    assert (slot.rated_mts is None) == (length < 0x17)
    assert (slot.part_number is None) == (length < 0x1B)
    assert (slot.ranks_said is None) == (length < 0x1C)
    assert (slot.configured_mts is None) == (length < 0x22)


def test_a_structure_too_short_for_its_size_cannot_be_told() -> None:
    slot = smbios(DEVICE(length=16)).slots[0]
    assert (slot.state, slot.locator, slot.handle) == ("cannot-tell", "", "0x1100")


def test_an_empty_first_text_ends_the_texts() -> None:
    found = smbios(build.structure(17, 0x1100, DEVICE()[4:40], b"\0\0"))
    assert found.slots[0].locator == ""
    assert "bad-string-index" in ids(found)


def test_two_machines_in_one_listing_are_not_mixed() -> None:
    found = read_inventory((build.listing([FILLED]) + build.listing([FILLED | {"Size": "64 GB"}])).encode())
    assert [slot.state for slot in found.slots] == ["cannot-tell", "cannot-tell"]
    other = build.HEAD.replace("0x6F93E000", "0x7AAAA000")
    found = read_inventory((build.listing([FILLED]) + build.listing([FILLED], head=other)).encode())
    assert "two-machines" in ids(found)
    headless = build.listing([FILLED, EMPTY], head="") + build.listing([EMPTY, FILLED], head="")
    assert "two-machines" in ids(read_inventory(headless.encode()))


def test_listings_of_one_machine_by_type_are_one_machine() -> None:
    fields = {"Socket Designation": "CPU1", "Type": "Central Processor", "Status": "Populated, Enabled"}
    processors = build.HEAD + build.block("Processor Information", 4, 0x400, fields, length=42)
    found = read_inventory((processors + build.listing([FILLED, EMPTY])).encode())
    assert found.oddities == ()
    assert (len(found.processors), len(found.slots)) == (1, 2)


def test_two_dumps_in_one_file_are_not_mixed() -> None:
    found = read_inventory(2 * build.machine([DEVICE()]))
    assert "two-machines" in ids(found)
    assert found.slots[0].state == "cannot-tell"


def test_places_are_named_and_the_rest_counted() -> None:
    found = smbios(*(DEVICE(0x1100 + index, locator=f"A{index}", rank=0) for index in range(10)))
    (oddity,) = found.oddities
    assert oddity.where.endswith(f" and {10 - MOST_NAMED} more")
    assert oddity.slots == tuple(range(10))


def test_serial_numbers_and_tags_stand_in_their_own_fields_only() -> None:
    secret, tag = "SECRET-SERIAL", "SECRET-TAG"
    inventories = [
        build.machine([DEVICE(serial=secret, tag=tag, rank=3), DEVICE(0x1101, serial=secret, tag=tag)]),
        build.listing([FILLED | {"Serial Number": secret, "Asset Tag": tag, "Rank": "3"}]).encode(),
        build.as_json(
            [
                build.memory(SerialNumber=secret, AssetTag=tag, RankCount=3),
                build.memory(
                    "DIMM2",
                    **{"@odata.id": f"/redfish/v1/Systems/{secret}/Memory/2"},
                    SerialNumber=secret,
                    AssetTag=tag,
                ),
            ]
        ),
        build.spd4(serial=b"SECR", good_module_part=False),
    ]
    for content in inventories:
        found = read_inventory(content)
        assert found.oddities
        assert any(slot.serial for slot in found.slots)
        kept = [str(each) for each in found.oddities]
        kept += [slot.name + slot.handle + slot.why for slot in found.slots]
        assert not [text for text in kept if "SECR" in text.upper() or "53454352" in text]


def test_memory_behind_cxl_is_named_and_not_placed() -> None:
    """The system counts it: a Memory resource says so by its CXL object, a table by the place of its array."""
    behind = {"CapacityMiB": 65536, "CXL": {"StagedVolatileSizeMiB": 65536}, "DeviceLocator": "Riser 1"}
    inventories = {
        "redfish": redfish(build.memory(), build.memory("CXL1", **behind)),
        "smbios": table(build.array(location=0xA4), DEVICE(), build.array(0x2000), DEVICE(0x2100, array=0x2000)),
    }
    for form, inventory in inventories.items():
        (place,) = [slot for slot in inventory.slots if not slot.counts]
        assert place.role == "add-on" and place.capacity_kib, form
        assert len(inventory.memory) == 1
        assert [each.oddity for each in inventory.oddities].count("memory-behind-cxl") == 1
    plain = redfish(build.memory(CXL={"StagedVolatileSizeMiB": None}))
    assert [slot.role for slot in plain.slots] == ["memory"]
