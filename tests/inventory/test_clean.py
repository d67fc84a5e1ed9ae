"""The one cleaning step, and that no reader goes past it."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from dataclasses import asdict

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dimmplan.inventory.clean import LONGEST_VALUE, clean, decode_file, is_placeholder, meaningful, was_dirty
from dimmplan.inventory.reader import read_inventory
from tests.inventory import build
from tests.inventory.build import FILLED


@pytest.mark.parametrize(
    ("dirty", "right"),
    [
        ("DIMM_A1", "DIMM_A1"),
        ("  DIMM  A1 \t", "DIMM A1"),
        ("A1\x00\x07", "A1"),
        ("\x1b[31mA1\x1b[0m", "A1"),
        ("\x1b]0;title\x07A1\x1b]8;;http://x\x1b\\", "A1"),
        ("\x9b31mA1", "A1"),
        ("\x1b(BA1\x1bc", "A1"),
        ("A\u202e1\u202c", "A1"),
        ("A\u2066\u20691", "A1"),
        ("A\u200b\u200d\ufeff1", "A1"),
        ("A\ud8001", "A1"),
        ("A\ue0001\U000e0041", "A1"),
        ("A\u2028B\u00a0C", "A B C"),
        ("A\u3164\u115f\u28001", "A1"),
        ("<script>A1</script>", "‹script›A1‹/script›"),
        ("[red]A1[/red]", "[red]A1[/red]"),
        ("Größe 7", "Größe 7"),
        ("\u30e1\u30e2\u30ea", "\u30e1\u30e2\u30ea"),
        ("\x1b[" + "1;" * 50000 + "A1", ""),
    ],
)
def test_clean(dirty: str, right: str) -> None:
    cleaned = clean(dirty)
    assert cleaned == right if right else len(cleaned) <= LONGEST_VALUE
    assert "\x1b" not in cleaned


def test_length_is_limited() -> None:
    assert clean("x" * 10**6) == "x" * (LONGEST_VALUE - 1) + "…"
    assert clean("x" * 50, most=10) == "x" * 9 + "…"


TEXT = st.text(st.characters(exclude_categories=()), max_size=400)


@given(TEXT)
@settings(max_examples=100, deadline=None)
def test_laws(text: str) -> None:
    cleaned = clean(text)
    assert clean(cleaned) == cleaned
    assert len(cleaned) <= LONGEST_VALUE
    assert cleaned == cleaned.strip()
    assert not set(cleaned) & set("<>")
    for character in cleaned:
        assert unicodedata.category(character) not in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")
        assert character == " " or not character.isspace()
    cleaned.encode("utf-8")


def test_dirt_is_told_from_padding() -> None:
    assert not any(was_dirty(text) for text in ("A1", "A1   ", " A1\0\0", "Größe 7", "A1\r\n", "A\tB"))
    assert all(was_dirty(text) for text in ("A\x1b[1m", "A\u202e1", "A\x001", "<b>", "A\u200b"))


DIRT = "A\u202e1\x1b[31m<b>\u200b\x07"


@pytest.mark.parametrize(
    "content",
    [
        build.machine([build.device(locator=DIRT, bank=DIRT, maker=DIRT, part=DIRT, serial=DIRT, tag=DIRT)]),
        build.listing(
            [FILLED | dict.fromkeys(("Locator", "Bank Locator", "Manufacturer", "Part Number", "Asset Tag"), DIRT)]
        ).encode(),
        build.as_json(build.memory(DeviceLocator=DIRT, Manufacturer=DIRT, PartNumber=DIRT, SerialNumber=DIRT)),
        f"slot,label\n{DIRT},{DIRT}\n".encode(),
        build.spd4(part=b"A\x1b[31m<b>\x071", serial=b"\x1b[3m"),
    ],
)
def test_no_reader_goes_past_it(content: bytes) -> None:
    found = read_inventory(content, name=f"{DIRT}.bin")
    shown = list(texts_in(asdict(found)))
    assert len(shown) > 10
    for text in shown:
        assert clean(text, most=10_000) == text


def texts_in(value: object) -> Iterator[str]:
    """Every text in a record, keys included."""
    if isinstance(value, str):
        yield str(value)
    elif isinstance(value, dict):
        for key, inside in value.items():
            yield from texts_in(key)
            yield from texts_in(inside)
    elif isinstance(value, list | tuple):
        for inside in value:
            yield from texts_in(inside)


def test_placeholders() -> None:
    fillers = ["", "NO DIMM", "Not Specified", "To Be Filled By O.E.M.", "0x00000000", "00000000", "FFFFFFFF", "N/A"]
    fillers += [
        "Unknown",
        "[Empty]",
        "--",
        "PartNum0",
        "ModulePartNumber00",
        "Array1_PartNumber0",
        "Manufacturer01",
        "A1_SerNum0",
    ]
    fillers += ["Undefined", "Part Number not set", "Default string", "<OUT OF SPEC>", "xxxx", "AssetTagNum3"]
    assert [text for text in fillers if not is_placeholder(text)] == []
    values = [
        "A1",
        "DIMM 0",
        "00AD00B380AD",
        "PART-0001",
        "Maker One",
        "0",
        "DIMM000 J22",
        "None such",
        "Manufacturers",
    ]
    assert [text for text in values if meaningful(text) is None] == []


def test_files_that_are_no_text() -> None:
    assert decode_file(b"A\0B") is None
    assert decode_file(bytes(range(128, 256)) * 4) is None
    assert decode_file(b"\xff\xfe" + b"A") is None
    assert decode_file("slot,label".encode("utf-16")) == "slot,label"
    assert decode_file(b"caf\xe9 and much more text that is plain") is not None
