"""SPD images against the worked rows of the standards sheet, a registry package's CRC and the system's decoder."""

from __future__ import annotations

import random
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from crccheck.crc import CrcXmodem

from dimmplan.inventory.reader import read_inventory
from dimmplan.inventory.spd import crc16, maker_id
from dimmplan.model.inventory import Inventory, InventorySlot
from dimmplan.model.module import Kind
from tests.inventory import build


def slot_of(image: bytes) -> InventorySlot:
    (slot,) = read_inventory(image, name="A1.bin").slots
    return slot


def test_crc_equals_the_registry_package() -> None:
    assert crc16(b"123456789") == 0x31C3
    rng = random.Random(7)
    for _ in range(300):
        block = rng.randbytes(rng.randrange(600))
        assert crc16(block) == CrcXmodem.calc(block)


@pytest.mark.parametrize(
    ("fields", "gib", "label"),
    [
        ({"density": 6}, 64, "64GB 2Rx4 PC4-2933Y-R"),
        ({"density": 6, "package": 0x92}, 128, "128GB 2S2Rx4 PC4-2933Y-R"),
        ({"density": 6, "package": 0x91, "organisation": 0x18, "kind": 4}, 128, "128GB 4DRx4 PC4-2933Y-L"),
        ({"density": 5, "organisation": 0x09}, 16, "16GB 2Rx8 PC4-2933Y-R"),
        ({"density": 5, "organisation": 0x01, "bus": 0x03, "kind": 2}, 8, "8GB 1Rx8 PC4-2933Y-U"),
        ({"density": 5, "organisation": 0x01, "kind": 2}, 8, "8GB 1Rx8 PC4-2933Y-E"),
        ({"density": 5, "organisation": 0x02, "bus": 0x03, "kind": 3}, 4, "4GB 1Rx16 PC4-2933Y-S"),
        ({"density": 8}, 48, "48GB 2Rx4 PC4-2933Y-R"),
        ({"density": 9}, 96, "96GB 2Rx4 PC4-2933Y-R"),
    ],
)
def test_ddr4_worked_rows(fields: dict[str, int], gib: int, label: str) -> None:
    """Standards, section 2.2, and the densities that public decoders get wrong (codes 8 and 9)."""
    slot = slot_of(build.spd4(**fields))  # type: ignore[arg-type]
    assert (slot.state, slot.capacity_gib, slot.label) == ("filled", gib, label)


def test_ddr4_ranks_are_told_apart() -> None:
    stack = slot_of(build.spd4(package=0x92))
    assert (stack.package_ranks, stack.logical_ranks, stack.kind) == (2, 4, Kind.RDIMM_3DS)
    dual = slot_of(build.spd4(package=0x91, organisation=0x18, kind=4))
    assert (dual.package_ranks, dual.logical_ranks) == (4, 4)


@pytest.mark.parametrize("rate", sorted(build.DDR4_CYCLES))
def test_ddr4_rates(rate: int) -> None:
    assert slot_of(build.spd4(rate=rate)).rated_mts == rate


@pytest.mark.parametrize(
    ("first", "width", "ranks", "bus", "gib", "label"),
    [
        (0x04, 0x00, 0x08, 0x32, 64, "64GB 2Rx4 PC5-4800-R"),
        (0x05, 0x20, 0x08, 0x32, 48, "48GB 2Rx8 PC5-4800-R"),
        (0x05, 0x00, 0x08, 0x32, 96, "96GB 2Rx4 PC5-4800-R"),
        (0x44, 0x00, 0x08, 0x32, 128, "128GB 2S2Rx4 PC5-4800-R"),
        (0x65, 0x00, 0x08, 0x32, 384, "384GB 2S4Rx4 PC5-4800-R"),
        (0x04, 0x00, 0x18, 0x32, 128, "128GB 4Rx4 PC5-4800-R"),
        (0x04, 0x20, 0x08, 0x2A, 32, "32GB 2Rx8 EC4 PC5-4800-R"),
    ],
)
def test_ddr5_worked_rows(first: int, width: int, ranks: int, bus: int, gib: int, label: str) -> None:
    """Standards, section 2.6, four ranks and EC4 added."""
    slot = slot_of(build.spd5(first=first, width=width, ranks=ranks, bus=bus))
    assert (slot.state, slot.capacity_gib, slot.label) == ("filled", gib, label)


def test_ddr5_so_dimm_of_a_real_dump() -> None:
    """Standards, section 2.6: bytes 4 to 7 are 04 00 20 62, 2Rx8 DDR5-4800 SO-DIMM, 32 GiB."""
    slot = slot_of(build.spd5(kind=3, first=0x04, width=0x20, ranks=0x08, bus=0x22))
    assert (slot.capacity_gib, slot.kind, slot.ecc_bits) == (32, Kind.SO_DIMM, 0)


@pytest.mark.parametrize(
    ("picoseconds", "rate"),
    [
        (625, 3200),
        (555, 3600),
        (500, 4000),
        (454, 4400),
        (416, 4800),
        (384, 5200),
        (357, 5600),
        (333, 6000),
        (312, 6400),
        (294, 6800),
        (277, 7200),
        (263, 7600),
        (250, 8000),
        (238, 8400),
        (227, 8800),
        (217, 9200),
    ],
)
def test_ddr5_rates_of_truncated_cycles(picoseconds: int, rate: int) -> None:
    assert slot_of(build.spd5(cycle_ps=picoseconds)).rated_mts == rate


def test_manufacturing_data() -> None:
    four = slot_of(build.spd4())
    assert (four.maker, four.part_number, four.serial) == ("JEP106 bank 1, code 0x2C", "PART-0004", "12345678")
    five = slot_of(build.spd5())
    assert (five.maker, five.part_number, five.serial) == ("JEP106 bank 1, code 0x2C", "PART-0005", "12345678")
    blank = slot_of(build.spd4(maker=b"\0\0", week=b"\xff\xff", serial=bytes(4), part=b""))
    assert (blank.maker, blank.part_number, blank.serial) == (None, None, None)
    assert maker_id(0x8A, 0xBA) == "JEP106 bank 11, code 0xBA"


def test_a_wrong_checksum_of_the_first_part_settles_nothing() -> None:
    bad = slot_of(build.spd4(good=False))
    assert (bad.state, bad.label, bad.capacity_gib) == ("cannot-tell", None, 64)
    assert slot_of(build.spd5(good=False)).state == "cannot-tell"
    assert slot_of(build.spd4(good_module_part=False)).state == "filled"


@pytest.mark.parametrize("image", [bytes(512), b"\xff" * 512, build.spd4()[:2] + b"\x0b" + build.spd4()[3:256]])
def test_images_of_no_known_module(image: bytes) -> None:
    found = read_inventory(image, name="A1.bin")
    assert (found.form, found.slots[0].state) == ("spd", "cannot-tell")
    assert [each.oddity for each in found.oddities] == ["spd-unknown"]


def test_images_named_for_their_slots(tmp_path: Path) -> None:
    tree = {"A10.bin": build.spd4(), "A2.bin": build.spd5(), "B1/eeprom": build.spd4(serial=b"ABCD")}
    tree["notes.md"] = b"# notes"
    found = read_inventory(build.laid(tmp_path, tree))
    assert [slot.locator for slot in found.slots] == ["A2", "A10", "B1"]
    assert read_inventory(build.zipped(tree)).slots == found.slots
    assert [each.oddity for each in found.oddities] == ["file-ignored"]


def test_modules_of_one_serial_number_in_two_slots(tmp_path: Path) -> None:
    found = read_inventory(build.laid(tmp_path, {"A1.bin": build.spd4(), "A2.bin": build.spd4()}))
    assert [each.oddity for each in found.oddities] == ["serial-twice"]


# --- the system's decoder ---------------------------------------------------------------------------------------------

KINDS = {1: "RDIMM", 2: "UDIMM", 3: "SO-DIMM", 4: "LRDIMM"}


def random_image(seed: int) -> tuple[bytes, dict[str, int]]:
    rng = random.Random(seed)
    rate = rng.choice(sorted(build.DDR4_CYCLES))
    fields = {
        "kind": rng.choice((1, 2, 3, 4)),
        "density": rng.choice((4, 5, 6)),  # its decoder does not know 12 and 24 Gbit dies
        "package": rng.choice((0x00, 0x00, 0x91, 0x92, 0xB2)),
        "organisation": rng.choice((0x00, 0x01, 0x02, 0x08, 0x09, 0x18, 0x19)),
        "bus": rng.choice((0x03, 0x0B)),
        "rate": rate,
    }
    times = rng.choice(((0x6E, 0x6E, 0x6E), (0x69, 0x69, 0x69), (0x78, 0x70, 0x70)))
    week = bytes((rng.choice((0x18, 0x23, 0x00)), rng.choice((0x01, 0x16, 0x52))))
    image = build.spd4(
        **fields,  # type: ignore[arg-type]
        times=times,
        week=week,
        serial=rng.randbytes(4),
        part=f"PART-{seed}".encode(),
        good=rng.random() < 0.9,
    )
    return image, fields


def hexdump(image: bytes) -> str:
    return "".join(f"{at:08x}  {image[at : at + 16].hex(' ')}\n" for at in range(0, len(image), 16))


def decoded(image: bytes, folder: Path) -> dict[str, str]:
    path = folder / "image.txt"
    path.write_text(hexdump(image))
    done = subprocess.run(
        ["decode-dimms", "-c", "-x", str(path)], capture_output=True, text=True, check=True, timeout=20
    )
    return dict(re.findall(r"^(\S.*?)\s{2,}(\S.*)$", done.stdout, re.MULTILINE))


def latencies(slot: InventorySlot) -> str:
    bins = {"J": 10, "K": 11, "L": 12, "M": 13, "N": 14, "P": 15, "R": 16, "T": 17, "U": 18, "V": 19, "W": 20}
    bins |= {"Y": 21, "AA": 22, "AC": 24}
    match = re.search(r"PC4-\d{4}([A-Z]+)-", slot.label or "")
    return "-".join([str(bins[match[1]])] * 3) if match else ""


@pytest.mark.system_tool("decode-dimms")
def test_ddr4_fields_equal_the_systems_decoder(tmp_path: Path) -> None:
    labelled = binned = 0
    for seed in range(40):
        image, fields = random_image(seed)
        theirs = decoded(image, tmp_path)
        slot = slot_of(image)
        assert theirs["EEPROM CRC of bytes 0-125"].startswith("OK") == (slot.state == "filled"), seed
        assert theirs["EEPROM CRC of bytes 128-253"].startswith("OK")
        assert theirs["Module Type"] == KINDS[fields["kind"]]
        assert theirs["Maximum module speed"].split()[0] == str(slot.rated_mts), seed
        assert theirs["Size"] == f"{(slot.capacity_kib or 0) >> 10} MB", seed
        assert theirs["Ranks"] == str(slot.package_ranks)
        assert theirs["SDRAM Device Width"] == f"{slot.device_width} bits"
        assert theirs["Primary Bus Width"] == f"{slot.data_width_bits} bits"
        assert theirs.get("Bus Width Extension", "0 bits") == f"{slot.ecc_bits} bits"
        assert theirs["Part Number"].strip() == slot.part_number
        assert theirs["Assembly Serial Number"] == f"0x{slot.serial}"
        if slot.label is not None:
            labelled += 1
            cycles = theirs["AA-RCD-RP-RAS (cycles)"].rsplit("-", 1)[0]
            if latencies(slot):
                binned += 1
                assert latencies(slot) == cycles, seed
    assert labelled > 20 and binned > 10


def ids(found: Inventory) -> set[str]:
    return {each.oddity for each in found.oddities}


def test_a_stack_that_no_label_can_say_is_told() -> None:
    found = read_inventory(build.spd4(package=0xA2), name="A1.bin")
    assert (found.slots[0].label, ids(found)) == (None, {"spd-contradicts"})


# Right ones to be damaged, and the worst


def right() -> list[bytes]:
    images = {f"A{index}.bin": build.spd4(serial=bytes((1, 2, 3, index))) for index in range(4)}
    return [build.spd4(), build.spd4(package=0x92), build.spd5(), build.zipped(images)]


def worst() -> Iterator[tuple[str, bytes]]:
    mib = 1 << 20
    yield "an archive of images", build.zipped({f"A{each}.bin": build.spd5() for each in range(2000)})
    yield "an archive that expands", build.zipped({"A1.bin": bytes(64 * mib)})
    yield "many that expand", build.zipped({f"A{each}.bin": bytes(12 * mib) for each in range(6)})
    yield "many members", b"PK\x03\x04" + b"PK\x01\x02" + bytes(42) + build.zipped({"A1.bin": build.spd4()})
    yield "16 MiB of zeros", bytes(16 * mib)
    yield "16 MiB of text", b"x y\n" * (4 * mib)
    yield "16 MiB of accents", "é".encode() * (8 * mib)
    yield "16 MiB of noise", random.Random(1).randbytes(16 * mib)
    yield "member records", b"PK\x03\x04" + b"PK\x01\x02" * (4 * mib) + build.zipped({"A1.bin": build.spd4()})
