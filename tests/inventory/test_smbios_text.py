"""The wordings of a text listing over the years, and what happens to listings on their way."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest

from dimmplan.errors import InputError
from dimmplan.inventory.reader import read_inventory
from dimmplan.model.inventory import Inventory
from tests.inventory import build
from tests.inventory.build import EMPTY, FILLED

PLAIN = build.listing([FILLED, EMPTY])


def read(text: str) -> Inventory:
    return read_inventory(text.encode())


def test_a_listing() -> None:
    found = read(PLAIN)
    assert (found.form, found.edition) == ("smbios-text", "SMBIOS 3.2")
    slot = found.slots[0]
    assert (slot.locator, slot.bank, slot.handle) == ("DIMM_A1", "NODE 0", "0x1100")
    assert (slot.capacity_gib, slot.generation, slot.kind, slot.ranks_said) == (32, "DDR4", "RDIMM", 2)
    assert (slot.rated_mts, slot.configured_mts, slot.ecc) == (2933, 2933, True)
    assert (found.slots[1].state, found.slots[1].maker) == ("empty", None)


@pytest.mark.parametrize(
    "changed",
    [
        PLAIN.replace("\n", "\r\n"),
        PLAIN.replace("\n", "\r\r\n"),
        PLAIN.replace("\t", "    "),
        PLAIN.replace("\t", ""),
        PLAIN.replace("\t", "\t\t"),
        "".join("> " + line for line in PLAIN.splitlines(keepends=True)),
        "$ sudo dmidecode -t memory\n" + PLAIN + "$ \n",
        "[me@host ~]# dmidecode\n" + PLAIN + "[me@host ~]# \n",
        PLAIN.replace("Locator: ", "Locator:    ").replace("\n", "   \n"),
        "\ufeff" + PLAIN,
        PLAIN.replace(", DMI type 17, 40 bytes", "\n\tDMI type 17, 40 bytes."),
        PLAIN.removeprefix(build.HEAD),
        PLAIN.replace("2933 MT/s", "2933 MHz"),
        PLAIN.replace("Configured Memory Speed", "Configured Clock Speed"),
        PLAIN.replace("Handle 0x1100, DMI", "Handle 0x1100\n\tDMI").replace(
            "Handle 0x1101, DMI", "Handle 0x1101\n\tDMI"
        ),
    ],
)
def test_what_happens_to_listings_on_their_way(changed: str) -> None:
    assert read(changed).slots == read(PLAIN).slots


def test_utf16_as_some_shells_write_it() -> None:
    assert read_inventory(PLAIN.encode("utf-16")).slots == read(PLAIN).slots


def test_terminal_colours_are_taken_out_and_told() -> None:
    found = read(PLAIN.replace("DIMM_A1", "\x1b[01;31m\x1b[KDIMM\x1b[m\x1b[K_A1"))
    assert found.slots[0].locator == "DIMM_A1"
    assert [each.oddity for each in found.oddities] == ["text-cleaned"]


def test_a_listing_without_handles() -> None:
    found = read(build.listing([FILLED, EMPTY], head="", handles=False))
    assert [slot.state for slot in found.slots] == ["filled", "empty"]
    assert [slot.handle for slot in found.slots] == ["", ""]
    assert [each.oddity for each in found.oddities] == ["no-handles"]


def test_a_listing_without_handles_compares_sums() -> None:
    found = read(build.listing([FILLED, EMPTY], head="", handles=False, slots="9"))
    assert "array-count" in {each.oddity for each in found.oddities}


def chosen(*names: str) -> str:
    """The lines of a listing that some names keep, as a search in it prints them."""
    return "".join(line for line in PLAIN.splitlines(keepends=True) if line.strip().startswith(names))


def test_chosen_lines_are_devices_that_say_less() -> None:
    found = read(chosen("Size", "Locator", "Number"))
    assert [(s.locator, s.state, s.capacity_gib) for s in found.slots] == [
        ("DIMM_A1", "filled", 32),
        ("DIMM_A2", "empty", None),
    ]
    assert "no-handles" in {each.oddity for each in found.oddities}
    with pytest.raises(InputError, match="sizes without locators"):
        read(chosen("Size", "Rank"))


def test_one_device_without_its_first_lines() -> None:
    found = read(build.listing([FILLED], head="", arrays=()).partition("Memory Device\n")[2])
    assert found.slots == tuple(replace(slot, handle="") for slot in read(PLAIN).slots[:1])


def test_a_listing_cut_at_its_start_begins_with_what_is_left_of_a_device() -> None:
    found = read(PLAIN.partition("\tForm Factor")[2].partition("\n")[2])
    assert [(slot.locator, slot.state) for slot in found.slots] == [("DIMM_A1", "cannot-tell"), ("DIMM_A2", "empty")]


def test_a_lost_first_line_does_not_lose_a_device() -> None:
    text = build.listing([FILLED, FILLED | {"Locator": "DIMM_B1", "Rank": "1"}, EMPTY])
    found = read(text.replace("Handle 0x1101, DMI type 17, 40 bytes\nMemory Device\n", ""))
    assert [(slot.locator, slot.ranks_said) for slot in found.slots] == [
        ("DIMM_A1", 2),
        ("DIMM_B1", 1),
        ("DIMM_A2", None),
    ]
    assert "listing-cut" in {each.oddity for each in found.oddities}


def test_a_field_given_twice_with_two_values_is_not_told() -> None:
    slot = read(PLAIN.replace("\tRank: 2\n", "\tRank: 2\n\tSpeed: 3200 MT/s\n", 1)).slots[0]
    assert (slot.rated_mts, slot.configured_mts, slot.state) == (None, 2933, "filled")
    assert read(PLAIN.replace("\tRank: 2\n", "\tRank: 2\n\tRank: 2\n", 1)).slots == read(PLAIN).slots


@pytest.mark.parametrize(
    "end", ["```\n\tSize: 1 GB\nSpeed: 3200 MT/s\n", "\nAs said above:\nRank: 1\nSpeed: 3200 MT/s\n"]
)
def test_prose_after_a_listing_is_no_field(end: str) -> None:
    text = build.listing([FILLED])
    assert read("Our server, see below. Type: rack\n```\n" + text + end) == read(text)


def test_an_array_without_its_count_says_nothing_of_slots() -> None:
    text = build.listing([FILLED], head="", handles=False).replace("\tNumber Of Devices: 1\n", "")
    assert [each.oddity for each in read(text).oddities] == ["no-handles"]


def test_older_wordings_of_numbers() -> None:
    old = FILLED | {"Size": "4096 MB", "Speed": "667 MHz (1.5 ns)", "Type": "DDR2", "Form Factor": "FB-DIMM"}
    slot = read(build.listing([old])).slots[0]
    assert (slot.capacity_gib, slot.rated_mts) == (4, 667)


@pytest.mark.parametrize(
    ("status", "state", "enabled"),
    [
        ("Populated, Enabled", "filled", True),
        ("Populated, Idle", "filled", True),
        ("Populated, Disabled By User", "filled", False),
        ("Populated, Disabled By BIOS", "filled", False),
        ("Populated, Unknown", "filled", None),
        ("Unpopulated", "empty", None),
        ("something", "cannot-tell", None),
    ],
)
def test_status_of_processors(status: str, state: str, enabled: bool | None) -> None:
    fields = {"Socket Designation": "CPU1", "Type": "Central Processor", "Status": status, "Core Count": "16"}
    found = read(PLAIN + build.block("Processor Information", 4, 0x400, fields))
    (processor,) = found.processors
    assert (processor.locator, processor.state, processor.enabled) == ("CPU1", state, enabled)


def test_out_of_spec_and_bad_index_are_told_by_field() -> None:
    odd = FILLED | {"Form Factor": "<OUT OF SPEC>", "Manufacturer": "<BAD INDEX>", "Locator": "<BAD INDEX>"}
    found = read(build.listing([odd]))
    texts = {(each.oddity, each.text.partition(":")[0]) for each in found.oddities}
    assert {("out-of-spec", "form factor"), ("bad-string-index", "maker"), ("bad-string-index", "locator")} <= texts
    assert (found.slots[0].locator, found.slots[0].maker) == ("", None)


def test_a_virtual_machine_says_so_in_its_firmware() -> None:
    text = build.HEAD + "Handle 0x0000, DMI type 0, 24 bytes\nBIOS Information\n\tCharacteristics:\n"
    found = read(text + "\t\tSystem is a virtual machine\n\n" + build.listing([FILLED], head=""))
    assert [each.oddity for each in found.oddities] == ["virtual-machine"]


def test_a_hex_listing_of_devices_cannot_be_told() -> None:
    text = build.HEAD + "Handle 0x1100, DMI type 17, 40 bytes\n\tHeader and Data:\n\t\t11 28 00 11\n"
    found = read(text)
    assert [slot.state for slot in found.slots] == ["cannot-tell"]


def test_other_structures_are_passed_over() -> None:
    other = build.block("Cache Information", 7, 0x700, {"Socket Designation": "L1", "Size": "64 kB"})
    found = read(build.HEAD + other + build.listing([FILLED], head="") + other.replace("0700", "0701"))
    assert len(found.slots) == 1


def test_a_head_alone_is_refused() -> None:
    with pytest.raises(InputError, match="without a single structure"):
        read(build.HEAD)


# Right ones to be damaged, and the worst


def right() -> list[bytes]:
    plain = build.listing([FILLED, EMPTY] * 6)
    return [each.encode() for each in (plain, plain.replace("\n", "\r\n"), build.listing(head="", handles=False))]


def worst() -> Iterator[tuple[str, bytes]]:
    mib = 1 << 20
    head = build.HEAD.encode() + b"Handle 0x1100, DMI type 17, 40 bytes\nMemory Device\n"
    for name, piece in (
        *(("blank lines", b"\n"), ("short fields", b"a:\n"), ("fields", b"\tSize: 1 GB\n"), ("titles", b"ab\n")),
        *(
            ("blanks", b" " * 4000 + b"\n"),
            ("blanks and a colon", b" " * 79 + b":\n"),
            ("quotes", b"> " * 40 + b"\n"),
        ),
        *(("escapes", b"\x1b["), ("handles", b"Handle 0x1\n"), ("one line", b"x"), ("heads", b"# dmidecode 1\n")),
        *(("devices", b"Handle 0x1, DMI type 17, 40 bytes\nMemory Device\n\tSize: 1 GB\n"), ("colons", b":")),
        *(("complaints", b"Invalid entry length\n"), ("versions", b"SMBIOS 3.2 present.\n")),
    ):
        yield name, head + piece * ((2 * mib - len(head)) // len(piece))
    yield "untold titles", b"Memory Device\n" * (2 * mib // 14)
    yield "distinct fields", head + b"".join(b"k%d: v\n" % each for each in range(180_000))
