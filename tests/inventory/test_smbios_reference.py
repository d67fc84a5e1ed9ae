"""Binary tables held against the system's own decoder of SMBIOS tables, and against the listing it prints of them.

Seeded tables over editions 2.1 to 3.x, lengths, sizes, codes and texts. The reference (version 3.4 at the time of
writing) knows no field newer than edition 3.5; the tables keep to codes that it knows, so nothing is left out.
"""

from __future__ import annotations

import random
import re
import subprocess
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from dimmplan.inventory import smbios_binary, smbios_fields, smbios_text
from dimmplan.inventory.oddities import Oddities
from dimmplan.inventory.reader import Piece, read_inventory
from dimmplan.model.inventory import Inventory
from tests.inventory import build
from tests.support import sampled

SEEDS = sampled(range(20240607, 20240807), 60)
VERSIONS = ((2, 1), (2, 3), (2, 4), (2, 6), (2, 7), (2, 8), (3, 0), (3, 1), (3, 2), (3, 3), (3, 5))
TEXTS: tuple[build.Text, ...] = (
    *("DIMM_A1", "P1-DIMMA1", "PROC 1 DIMM 3", "ChannelA-DIMM0", " A1 ", "DIMM000  J22", "NO DIMM", "Unknown", "  "),
    *("NODE 1", "P0_Node0_Channel0_Dimm0", None, None, 9, "To Be Filled By O.E.M.", "00AD00B380AD", "0123456789"),
    *("M1" * 30, "4D312D50415254", "50415254303030312020", "Not Specified"),
)


def _listing(text: str) -> Inventory:
    piece = Piece(name="listing", content=text.encode("utf-8", "surrogatepass"))
    return smbios_text.READER.read([piece], file="", odd=Oddities())


def random_device(rng: random.Random, handle: int, arrays: int) -> bytes:
    size = rng.choice((0, 0, 0xFFFF, 0x7FFF, 512, 8192, 16384, 32767 - 1, 0x8000 | 512, 0x8000 | 16384))
    speed = rng.choice((0, 0xFFFF, 800, 1333, 1600, 2400, 2666, 2933, 2934, 3200, 4800))
    fields: dict[str, Any] = {
        "length": rng.choice(build.DEVICE_LENGTHS),
        "array": 0x1000 + rng.randrange(arrays + 1),
        "total": rng.choice((0, 0xFFFF, 64, 72, 72, 80, 128)),
        "data": rng.choice((0, 0xFFFF, 64, 64, 64, 32, 72)),
        "size": size,
        "extended_size": rng.choice((32 << 10, 64 << 10, 128 << 10, 256 << 10, 512, 1 << 20, 98304)),
        "form": rng.choice((*range(0x01, 0x11), 0, 0x77)),
        "type": rng.choice((*range(0x01, 0x15), *range(0x18, 0x23), 0, 0x66, *([0x1A] * 12), *([0x22] * 8))),
        "detail": rng.choice(
            (0, 1 << 7, 1 << 7 | 1 << 13, 1 << 13 | 1 << 14, 1 << 15, 1 << 2, 1 << 12, rng.randrange(1 << 16))
        ),
        "speed": speed,
        "rank": rng.choice((0, 1, 2, 2, 3, 4, 8, 0x12)),
        "configured": rng.choice((0, 0xFFFF, speed, 1200, 1600, 2400, 2933)),
        "volts": tuple(rng.choice((0, 1100, 1200, 1350, 1140, 1500)) for _ in range(3)),
        "technology": rng.choice((0, 1, 2, *([3] * 8), 4, 5, 6, 7, 9)),
        "modes": rng.choice((0, 1 << 3, 1 << 3, 1 << 4 | 1 << 3, 1 << 5, 1 << 2, 1 << 1)),
        "sizes": tuple(rng.choice((0, 0, (1 << 64) - 1, 32 << 30, 64 << 20)) for _ in range(4)),
        "extended_speeds": (rng.choice((0, 70000, 8400)), rng.choice((0, 66000))),
        "firmware": rng.choice(TEXTS),
    }
    for name in ("locator", "bank", "maker", "serial", "tag", "part"):
        fields[name] = rng.choice(TEXTS)
    if not size:  # the reference's listing stops after the type detail of an empty slot: nothing odd may follow
        fields |= {
            "technology": 2,
            "modes": 0,
            "sizes": (0, 0, 0, 0),
            "maker": None,
            "part": None,
            "serial": None,
            "tag": None,
        }
    return build.device(handle, **fields)


def random_dump(seed: int) -> bytes:
    rng = random.Random(seed)
    version = rng.choice(VERSIONS)
    arrays = rng.randrange(1, 4)
    structures = [build.bios(virtual=rng.random() < 0.1)]
    for index in range(rng.randrange(3)):
        status = rng.choice((0x41, 0x41, 0x42, 0x43, 0x44, 0x00, 0x47))
        structures.append(build.processor(0x400 + index, socket=rng.choice(("CPU1", "P0", None)), status=status))
    for index in range(arrays):
        use, ecc, location = (
            rng.choice((3, 3, 3, 5, 6, 7, 1, 2, 4)),
            rng.randrange(1, 8),
            rng.choice((3, 3, 1, 8, 0xA4)),
        )
        max_kib = rng.choice((1 << 20, 3 << 20, 1 << 30, 1 << 31, 3 << 30))
        structures.append(
            build.array(
                0x1000 + index, location=location, use=use, ecc=ecc, max_kib=max_kib, slots=rng.choice((0, 1, 4, 16))
            )
        )
    structures += [random_device(rng, 0x1100 + index, arrays) for index in range(rng.randrange(1, 24))]
    return build.dump(structures, version)


@cache
def decoded(seed: int) -> str:
    """The reference's listing of a table."""
    path = Path(f"{seed}.bin")
    return _run(random_dump(seed), path.name)


def _run(content: bytes, name: str, *options: str) -> str:
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(content)
        done = subprocess.run(
            ["dmidecode", *options, "--from-dump", str(path)], capture_output=True, text=True, check=False, timeout=20
        )
    return done.stdout


def blocks(text: str, kind: int) -> list[dict[str, str]]:
    """Fields of all structures of one type, split by hand and apart from the reader."""
    found = []
    for part in text.split("\n\n"):
        lines = part.split("\n")
        head = next((line for line in lines if line.startswith("Handle ")), "")
        if f"DMI type {kind}," in head:
            fields = dict(line.strip("\t").split(": ", 1) for line in lines if re.match(r"\t[^\t].*: ", line))
            found.append(fields | {"handle": head[7:13]})
    return found


def _size_text(kib: int | None, empty: bool) -> str:
    if empty:
        return "No Module Installed"
    if kib is None:
        return "Unknown"
    for unit, step in (("TB", 1 << 30), ("GB", 1 << 20), ("MB", 1 << 10)):
        if kib % step == 0:
            return f"{kib // step} {unit}"
    return f"{kib} kB"


def _text(record_text: str | None, bad: bool) -> str:
    return "<BAD INDEX>" if bad else "Not Specified" if record_text is None else record_text


def _or_unknown(number: int | None, unit: str) -> str:
    return "Unknown" if number is None else f"{number} {unit}".strip()


def _word(word: str | None) -> str:
    return "<OUT OF SPEC>" if word == smbios_fields.OUT_OF_SPEC else str(word)


def expected(record: Any, length: int) -> dict[str, str]:
    """The reference's wording of what the reader decoded, for the fields that a structure of ``length`` has."""
    bad = {called for oddity, called in record.bad if oddity == "bad-string-index"}
    fields = {
        "Array Handle": f"0x{record.array:04X}",
        "Total Width": _or_unknown(record.total_width_bits, "bits"),
        "Data Width": _or_unknown(record.data_width_bits, "bits"),
        "Size": _size_text(record.size_kib, record.is_empty),
        "Form Factor": _word(record.form),
        "Locator": _text(record.locator, "locator" in bad),
        "Bank Locator": _text(record.bank, "bank" in bad),
        "Type": _word(record.memory_type),
    }
    if record.is_empty:  # the reference prints no more of an empty slot
        return fields
    if length >= 23:
        fields["Speed"] = _or_unknown(record.rated_mts, "MT/s")
    if length >= 27:
        fields |= {
            "Manufacturer": _text(record.maker, "maker" in bad),
            "Serial Number": _text(record.serial, "serial number" in bad),
            "Asset Tag": _text(record.asset_tag, "asset tag" in bad),
            "Part Number": _text(record.part_number, "part number" in bad),
        }
    if length >= 28:
        fields["Rank"] = _or_unknown(record.ranks_said, "")
    if length >= 34:
        fields["Configured Memory Speed"] = _or_unknown(record.configured_mts, "MT/s")
    if length >= 84:
        fields["Memory Technology"] = _word(record.technology)
    return fields


_WORDS = ("Form Factor", "Type", "Memory Technology")


@pytest.mark.system_tool("dmidecode")
def test_fields_equal_the_reference() -> None:
    compared = 0
    for seed in SEEDS:
        content = random_dump(seed)
        structures, _ = smbios_binary.walk(content[32:], Oddities(), most=None)
        devices = [each for each in structures if each.type == 17]
        theirs = blocks(decoded(seed), 17)
        assert len(theirs) == len(devices) > 0
        for structure, fields in zip(devices, theirs, strict=True):
            mine = expected(smbios_binary.structure_of(structure), len(structure.body))
            for name, value in mine.items():
                right = fields[name].rstrip() if name not in _WORDS else fields[name]
                if name in _WORDS:
                    if name == "Memory Technology" and "persistent" in right:
                        right = smbios_fields.PERSISTENT_MEMORY  # one maker's name for it
                    assert value.casefold() == right.casefold(), (seed, name)
                else:
                    assert value.rstrip() == right, (seed, name)
                compared += 1
    assert compared > 100 * len(SEEDS)


@pytest.mark.system_tool("dmidecode")
def test_type_detail_and_arrays_equal_the_reference() -> None:
    for seed in SEEDS:
        structures, _ = smbios_binary.walk(random_dump(seed)[32:], Oddities(), most=None)
        devices = [smbios_binary.structure_of(each) for each in structures if each.type == 17]
        for record, fields in zip(devices, blocks(decoded(seed), 17), strict=True):
            said = fields["Type Detail"].casefold()
            assert all(word.casefold() in said for word in record.details), (seed, said)
            assert bool(record.details) == (said != "none")
        arrays = [smbios_binary.structure_of(each) for each in structures if each.type == 16]
        for record, fields in zip(arrays, blocks(decoded(seed), 16), strict=True):
            assert fields["Number Of Devices"] == str(record.slots_said)
            assert fields["Use"].casefold() == str(record.use).casefold()


@pytest.mark.system_tool("dmidecode")
def test_text_and_binary_give_the_same_found() -> None:
    odd = set()
    for seed in SEEDS:
        binary = read_inventory(random_dump(seed))
        text = _listing(decoded(seed))
        assert replace(text, form="smbios-binary") == binary, seed
        odd |= {each.oddity for each in binary.oddities}
    assert len(odd) >= 20, sorted(odd)


@pytest.mark.system_tool("dmidecode")
def test_a_quiet_listing_gives_the_same_modules() -> None:
    content = build.machine([build.device(0x1100), build.empty_device(0x1101)])
    quiet = _listing(_run(content, "machine.bin", "-q", "-t", "4,16,17"))
    whole = read_inventory(content)
    assert [replace(slot, handle="") for slot in whole.slots] == list(quiet.slots)
    assert quiet.processors == whole.processors
    assert [each.oddity for each in quiet.oddities] == ["no-handles"]


@pytest.mark.system_tool("dmidecode")
@pytest.mark.parametrize("cut", [1, 2, 30, 60])
def test_a_cut_table_is_told_as_the_reference_tells_it(cut: int) -> None:
    devices = [build.device(0x1100 + index, locator=f"DIMM_A{index}") for index in range(3)]
    content = build.machine(devices, marked=False, version=(3, 2), length=4096)[:-cut]
    binary = read_inventory(content)
    text = _listing(_run(content, "cut.bin"))
    assert binary.slots == text.slots
    assert binary.slots[2].state == "cannot-tell"
    assert {"structure-truncated", "table-cut", "no-end-marker"} <= {each.oddity for each in binary.oddities}
    assert "structure-truncated" in {each.oddity for each in text.oddities}
