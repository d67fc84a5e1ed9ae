"""Label lists as typed and scanned."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.errors import InputError
from dimmplan.inventory.reader import MOST_DEVICES, read_inventory, reader_of
from dimmplan.model.inventory import Inventory
from dimmplan.model.label import parse_label
from dimmplan.model.module import Kind
from dimmplan.planner import ask, plan
from dimmplan.wording import placement_findings
from tests.inventory import build


def read(*rows: str) -> Inventory:
    return read_inventory(("\n".join(rows) + "\n").encode())


LABEL = "32GB 2Rx4 PC4-2933Y-R"


def test_a_list() -> None:
    found = read("slot,label", f"A1,{LABEL}", "A2,empty", "B1,64GB 2S2Rx4 PC4-3200AA-RA1-12-DC0")
    assert found.form == "labels"
    first, second, third = found.slots
    assert (first.locator, first.state, first.label) == ("A1", "filled", LABEL)
    assert parse_label(first.label or "").capacity_gib == first.capacity_gib == 32
    assert (first.package_ranks, first.logical_ranks, first.ranks_said) == (2, 2, None)
    assert (first.device_width, first.ecc_bits, first.rated_mts) == (4, 8, 2933)
    assert (second.locator, second.state, second.label) == ("A2", "empty", None)
    assert (third.kind, third.package_ranks, third.logical_ranks) == (Kind.RDIMM_3DS, 2, 4)
    assert found.oddities == ()


@pytest.mark.parametrize(
    "text",
    [
        f"A1,{LABEL}\nA2,empty\n",
        f"slot;label\nA1;{LABEL}\nA2;empty\n",
        f"slot\tlabel\nA1\t{LABEL}\nA2\t-\n",
        f'Slot,Label\r\n"A1","{LABEL}"\r\n"A2","EMPTY"\r\n',
        f"# a comment, with commas, and more\n\nslot,label\n  A1 , {LABEL.lower()} \n\nA2, none\n",
        f"\ufeffslot,label\nA1,{LABEL.replace('-', ' ')}\nA2,empty\n",
        f"label,slot\n{LABEL},A1\nempty,A2\n",
        f'slot,label\nA1,"{LABEL.replace(" ", chr(10), 1)}"\nA2,empty\n',
    ],
)
def test_what_lists_look_like(text: str) -> None:
    found = read_inventory(text.encode())
    assert [(slot.locator, slot.state, slot.label) for slot in found.slots] == [
        *(("A1", "filled", LABEL), ("A2", "empty", None)),
    ]


def test_a_date_in_a_comment() -> None:
    assert read("# date: 2026-02-03", "slot,label", f"A1,{LABEL}").date == "2026-02-03"
    assert read("slot,label", f"A1,{LABEL}").date is None


def test_a_scanned_label_with_look_alikes_becomes_a_question() -> None:
    found = read("slot,label", "A1,48GB 2RX8 PC5 56008 REO_1010-XT", "A2,32GB 2Rx4 PC4-2933Y-RAO-12")
    assert [slot.state for slot in found.slots] == ["cannot-tell", "filled"]
    (oddity,) = found.oddities
    assert oddity.oddity == "label-unreadable"
    assert "'48GB 2Rx8 PC5-5600B-R'" in oddity.text and oddity.text.endswith("?")


def test_a_label_that_cannot_be_is_told_why() -> None:
    found = read("slot,label", "A1,33GB 2Rx4 PC4-2933Y-R")
    assert found.slots[0].state == "cannot-tell"
    assert "Gbit" in found.oddities[0].text


@pytest.mark.parametrize(
    ("label", "odd"),
    [
        ("1024GB 8S4Rx4 PC4-2933Y-R", ["ranks-odd"]),
        ("512GB 4S4Rx4 PC4-2933Y-R", []),
        ("64GB 2S2Rx4 PC4-2933Y-R", []),
    ],
)
def test_more_logical_ranks_than_any_module_has_are_odd(label: str, odd: list[str]) -> None:
    """Read as it stands, and said to be odd: in the list, and with a plan of it."""
    found = read("slot,label", f"A1,{label}")
    assert found.slots[0].state == "filled"
    assert [each.oddity for each in found.oddities] == odd
    board = load_board("skerry-16")
    module = parse_label(label)
    content = dict.fromkeys(board.slots) | {board.slots[0]: module}
    base = plan(board, ask(board, "384GiB"), alternatives=False).placement
    said = placement_findings(board, replace(base, slots=tuple(content.items())), None)
    assert [each.rule for each in said if each.rule == "label"] == ["label"] * len(odd)


def test_incomplete_labels_leave_open_what_they_do_not_say() -> None:
    found = read("slot,label", "A1,2Rx4 PC4-2933Y-R", "A2,32GB 2Rx4 PC4-2933Y", "A3,32 GB")
    assert [slot.state for slot in found.slots] == ["filled"] * 3
    assert [slot.label for slot in found.slots] == [None] * 3
    assert [slot.capacity_gib for slot in found.slots] == [None, 32, 32]
    assert [slot.kind for slot in found.slots] == [Kind.RDIMM, None, None]
    assert [each.oddity for each in found.oddities] == ["label-incomplete"]


def test_a_slot_listed_twice() -> None:
    same = read("slot,label", f"A1,{LABEL}", f"A1,{LABEL}")
    assert [slot.state for slot in same.slots] == ["filled", "filled"]
    other = read("slot,label", f"A1,{LABEL}", "A1,64GB 2Rx4 PC4-2933Y-R")
    assert [slot.state for slot in other.slots] == ["cannot-tell", "cannot-tell"]
    assert [each.oddity for each in (*same.oddities, *other.oddities)] == ["locator-twice"] * 2


def test_a_list_that_grows_reads_at_every_line() -> None:
    rows = ["slot,label", *(f"A{index},{LABEL}" for index in range(1, 9))]
    text = "\n".join(rows)
    for end in range(len("slot,label\nA1,") + 1, len(text) + 1):
        found = read_inventory(text[:end].encode())
        assert found.slots[0].locator == "A1"
        assert all(slot.state == "filled" for slot in found.slots[:-1])


@pytest.mark.parametrize("text", ["slot,label\n", "# only a comment\nslot,label\n", "name,colour\nA1,red\nA2,blue\n"])
def test_lists_without_a_row_are_refused(text: str) -> None:
    with pytest.raises(InputError):
        read_inventory(text.encode())


def test_too_many_rows_are_refused() -> None:
    with pytest.raises(InputError, match=str(MOST_DEVICES)):
        read("slot,label", *(f"A{index},{LABEL}" for index in range(MOST_DEVICES + 1)))


def test_a_hybrid_letter_is_not_passed_over() -> None:
    found = read("slot,label", "A1,64GB 2Rx4 PC5-4800B-RNA0-1010-XT", "A2,64GB 2Rx4 PC5-4800B-RA0-1010-XT")
    assert [slot.state for slot in found.slots] == ["cannot-tell", "filled"]


def test_build_is_not_a_label_list() -> None:
    assert read_inventory(build.listing().encode()).form == "smbios-text"


@pytest.mark.parametrize(
    ("text", "claimed"),
    [
        ("A1,32GB\nA2,empty\n", True),
        ("CPU1 DIMM B2,64GB\n", True),
        (f"NEAR-K1,{LABEL}\nNEAR-K2,16GB\n", True),
        ("position,type\nK1,64GB\nK2,none\n", True),
        ("slot,label\nK1,what\n", True),
        ("tea,none\nmilk,-\n", False),
        ("1,none\n2,free\n", False),
        ("disk1,512GB\ndisk2,512GB\n", False),
        ("A1,960GB\nA2,10 GB\n", False),
        ("alice,16GB\nbob,32GB\n", False),
        ("position,type\nclerk,none\n", False),
        ("slot,module\n1,fan\n2,empty\n3,fan\n", False),
        (f"{LABEL},20\nempty,3\n", False),
    ],
)
def test_what_a_list_of_labels_is(text: str, claimed: bool) -> None:
    """Cells that lists of other things have too do not make one."""
    reader = reader_of(text.encode())
    assert (reader.form if reader else None) == ("labels" if claimed else None)


def test_a_list_as_people_write_it_in_a_mail() -> None:
    found = read_inventory(f"A1: {LABEL}\nA2: empty\nB1: Maker {LABEL}\n".encode())
    assert [(slot.locator, slot.state) for slot in found.slots] == [
        ("A1", "filled"),
        ("A2", "empty"),
        ("B1", "cannot-tell"),
    ]
    assert any(f"Is it '{LABEL}'?" in each.text for each in found.oddities)


# Right ones to be damaged, and the worst


def right() -> list[bytes]:
    rows = [f"A{index},32GB 2Rx4 PC4-2933Y-RB{index}-12" for index in range(8)] + [
        "B1,empty",
        "B2,128GB 4DRx4 PC4-2666V-L",
    ]
    return ["\n".join(["slot,label", *rows]).encode(), "\n".join(rows).replace(",", ";").encode()]


def worst() -> Iterator[tuple[str, bytes]]:
    mib = 1 << 20
    yield "blank lines", b"slot,label\nA1,x\n" + b"\n" * (2 * mib - 20)
    yield "short rows", b"a,b\n" * (mib // 2)
    yield "commas", b"slot,label\n" + b"," * (2 * mib - 20)
    yield "an open quote", b'slot,label\nA1,"' + b"x" * (2 * mib - 20)
    yield "unreadable labels", b"slot,label\n" + b"A1,48GB 2RX8 PC5 56008 REO_1010-XT\n" * 4000
    yield "long labels", b"slot,label\n" + (b"A1," + b"2Rx4 PC4-" * 50 + b"\n") * 4000
    yield "blanks", b"slot,label\n" + (b"A1," + b" " * 500 + b"\n") * 4000
    yield "comments", b"slot,label\nA1,x\n" + b"# x\n" * (mib // 2)
