"""Objects of memory modules as Windows shows them: lists, tables, CSV, JSON."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator

import pytest

from dimmplan.boardfile.draft import draft_board
from dimmplan.errors import InputError
from dimmplan.inventory.reader import read_inventory
from dimmplan.model.inventory import Inventory

MODULES: list[dict[str, str | int]] = [
    {
        **{"Caption": "Physical Memory", "Manufacturer": "Maker One", "PartNumber": "PART-0001   "},
        **{"SerialNumber": f"SN-{at}", "FormFactor": 8, "BankLabel": "NODE 0", "Capacity": 32 << 30, "DataWidth": 64},
        **{"MemoryType": 0, "Speed": 2933, "TotalWidth": 72, "Attributes": 2, "ConfiguredClockSpeed": 2666},
        **{"DeviceLocator": locator, "SMBIOSMemoryType": 26, "TypeDetail": 8320, "PSComputerName": ""},
    }
    for at, locator in enumerate(("DIMM_A1", "DIMM_B1"))
]
ARRAY = {"MaxCapacity": 1 << 30, "MemoryDevices": 2, "Use": 3}


def of_list(objects: list[dict[str, str | int]], sign: str = " : ", between: str = "\n") -> str:
    return between.join(
        "".join(f"{k:<20}{sign}{v}\n" if sign == " : " else f"{k}={v}\n" for k, v in o.items()) for o in objects
    )


def of_table(*names: str) -> str:
    """A table as a shell prints it: texts to the left, numbers to the right, a rule below the head."""
    columns = [[name, "-" * len(name), *(each[name] for each in MODULES)] for name in names]
    widths = [max(len(str(cell)) for cell in column) for column in columns]
    sides = [">" if isinstance(column[2], int) else "<" for column in columns]
    rows = zip(*columns, strict=True)
    return "".join(" ".join(f"{c!s:{s}{w}}" for c, s, w in zip(row, sides, widths, strict=True)) + "\n" for row in rows)


def of_csv() -> str:
    text = io.StringIO()
    writer = csv.DictWriter(text, list(MODULES[0]))
    writer.writeheader()
    writer.writerows(MODULES)
    return text.getvalue()


LIST = of_list(MODULES)


def read(text: str) -> Inventory:
    return read_inventory(text.encode())


@pytest.mark.parametrize(
    "text",
    [
        LIST,
        "PS C:\\> Get-CimInstance Win32_PhysicalMemory\n\n" + LIST + "\nPS C:\\> \n",
        of_list(MODULES, "="),
        of_list(MODULES, "=", between="\n\n").replace("\n", "\r\r\n"),
        of_list(MODULES, "=", between="\n\n").replace("\n", "\n\n"),
        of_csv(),
        json.dumps(MODULES),
        json.dumps({"memory": MODULES}),
    ],
)
def test_every_shape_says_the_same(text: str) -> None:
    found = read(text)
    assert found.form == "cim"
    slot = found.slots[0]
    assert [each.locator for each in found.slots] == ["DIMM_A1", "DIMM_B1"]
    assert (slot.bank, slot.capacity_gib, slot.generation, slot.kind, slot.ranks_said) == (
        "NODE 0",
        32,
        "DDR4",
        "RDIMM",
        2,
    )
    assert (slot.rated_mts, slot.configured_mts, slot.ecc, slot.part_number) == (2933, 2666, True, "PART-0001")
    assert {each.oddity for each in found.oddities} == {"empty-unlisted", "no-arrays"}


def test_a_table_says_what_its_columns_have() -> None:
    found = read(of_table("Manufacturer", "BankLabel", "DeviceLocator", "Capacity", "Speed"))
    said = [(each.locator, each.bank, each.capacity_gib, each.rated_mts) for each in found.slots]
    assert said == [("DIMM_A1", "NODE 0", 32, 2933), ("DIMM_B1", "NODE 0", 32, 2933)]


def test_the_array_says_whether_all_slots_are_filled() -> None:
    full = read(LIST + "\n" + of_list([ARRAY]))
    assert full.oddities == ()
    some = read(LIST + "\n" + of_list([ARRAY | {"MemoryDevices": 16}]))
    assert {each.oddity for each in some.oddities} == {"empty-unlisted", "array-count"}


@pytest.mark.parametrize(("found", "asked"), [(LIST, True), (LIST + "\n" + of_list([ARRAY]), False)])
def test_a_draft_asks_whether_these_are_all_slots(found: str, asked: bool) -> None:
    draft = draft_board(read(found), board_id="first", title="x")
    assert ("slots" in [guess.about for guess in draft.guesses]) is asked


def test_what_follows_the_objects_is_none_of_theirs() -> None:
    chosen = [{name: each[name] for name in ("DeviceLocator", "Capacity")} for each in MODULES]
    found = read(of_list(chosen) + "\nManufacturer : Maker Two\nDataWidth : 64\nSpeed : 3200\n")
    assert [(each.maker, each.rated_mts, each.data_width_bits) for each in found.slots] == [(None, None, None)] * 2


def test_older_systems_have_codes_of_their_own() -> None:
    old = [{name: v for name, v in each.items() if name != "SMBIOSMemoryType"} | {"MemoryType": 24} for each in MODULES]
    assert read(of_list(old)).slots[0].generation == "DDR3"


def test_a_capacity_without_its_unit_is_not_told() -> None:
    slot = read(of_list([MODULES[0] | {"Capacity": 32}])).slots[0]
    assert (slot.state, slot.capacity_kib) == ("cannot-tell", None)


def test_objects_of_two_machines() -> None:
    both = [each | {"PSComputerName": f"QUAY-0{at}"} for at, each in enumerate(MODULES)]
    assert [each.state for each in read(of_list(both)).slots] == ["cannot-tell"] * 2


def test_objects_without_a_capacity_are_not_read() -> None:
    with pytest.raises(InputError):
        read("DeviceLocator : DIMM_A1\nFormFactor : 8\n")


# Right ones to be damaged, and the worst


def right() -> list[bytes]:
    plain = LIST + "\n" + of_list([ARRAY])
    return [each.encode() for each in (plain, of_csv(), json.dumps(MODULES), of_table("DeviceLocator", "Capacity"))]


def worst() -> Iterator[tuple[str, bytes]]:
    mib = 1 << 20
    head = LIST.encode()
    for name, piece in (
        *(("blank lines", b"\n"), ("names", b"Speed\n"), ("fields", b"Speed : 1\n"), ("blanks", b" " * 3000 + b"\n")),
        *(("heads", b"DeviceLocator Capacity\n"), ("commas", b"DeviceLocator,Capacity" + b"," * 900 + b"\n")),
        *(("objects", b"DeviceLocator=A1\nCapacity=1\n\n"), ("one line", b"Capacity "), ("quotes", b'Capacity,"\n')),
    ):
        yield name, head + piece * ((2 * mib - len(head)) // len(piece))
    yield "a wide table", b"DeviceLocator Capacity\n" + b"x " * 900 + b"\n" + b"A1 5\n" * 200_000
    yield "deep JSON", b'[{"DeviceLocator": "A1", "Capacity": 1}, ' + b"[" * 100_000
