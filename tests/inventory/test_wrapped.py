"""Inventories that come inside something else: a log, JSON, escapes, hex digits."""

from __future__ import annotations

import json

import pytest

from dimmplan.errors import InputError
from dimmplan.inventory.reader import read_inventory
from dimmplan.inventory.wrapped import unwrapped
from tests.inventory import build
from tests.inventory.build import EMPTY, FILLED

PLAIN = build.listing([FILLED, EMPTY])
LINES = PLAIN.splitlines()
TABLE = build.machine([build.device(serial="SN-1"), build.empty_device()])
IMAGE = build.spd4()


def _log(form: str) -> str:
    """Every line behind words of a log, with lines of others between them."""
    return "".join(form.format(at, at % 60) + line + "\n" + "9 another: Size: 1 GB\n" for at, line in enumerate(LINES))


@pytest.mark.parametrize(
    "text",
    [
        _log("Nov 30 04:45:{1:02d} quay inventory[{0}]: ").replace("Nov 30", "Dec 1", 3),
        _log("[Mon Nov 30 04:45:{1:02d} 2026] "),
        _log("2026-11-30T04:45:{1:02d}+0100 quay sh[{0}]: "),
        _log("| "),
        "".join(f"{at:5d}\t{line}\n" for at, line in enumerate(LINES, start=9_980)),
        json.dumps({"changed": True, "rc": 0, "stdout": PLAIN, "stderr": ""}),
        json.dumps({"stdout_lines": LINES}, indent=4),
        PLAIN.replace("\n", "\\n").replace("\t", "\\t"),
        json.dumps({"log": _log("2026-11-30 04:45:{1:02d} ")}),
        "Look at Handle 0x1000, DMI type 16, 23 bytes, below.\n\n" + PLAIN,
    ],
)
def test_a_listing_inside_something_else(text: str) -> None:
    assert read_inventory(text.encode()).slots == read_inventory(PLAIN.encode()).slots


def test_json_with_two_listings_is_not_read_as_one() -> None:
    other = build.listing([EMPTY])
    with pytest.raises(InputError, match="without a Redfish Memory resource"):
        read_inventory(json.dumps({"quay-1": PLAIN, "quay-2": other}).encode())


def _dump(content: bytes, at: str, *, sep: str = " ", word: int = 1, swap: bool = False, tail: str = "") -> str:
    """Bytes as digits, 16 on a line; ``at`` formats the place."""
    text = ""
    for place in range(0, len(content), 16):
        row = content[place : place + 16]
        groups = [row[i : i + word] for i in range(0, len(row), word)]
        shown = sep.join((group[::-1] if swap else group).hex() for group in groups)
        text += at.format(place, place % 256) + shown + tail + "\n"
    return text


@pytest.mark.parametrize("content", [IMAGE, TABLE + bytes(-len(TABLE) % 16)], ids=["spd", "smbios"])
@pytest.mark.parametrize(
    "form",
    [
        {"at": "{0:08x}: ", "word": 2, "tail": "  #...ab cd 12 ef."},
        {"at": "{0:08x}  ", "tail": "  |#...ab cd 12 ef.|"},
        {"at": "{0:07x} ", "word": 2, "swap": True},
        {"at": "{0:07o} "},
        {"at": "{0:06x} "},
        {"at": ""},
        {"at": "", "sep": ""},
        {"at": "{1:02x}: ", "tail": "    #...ab cd 12 ef."},
    ],
)
def test_bytes_printed_as_digits(content: bytes, form: dict[str, str]) -> None:
    assert unwrapped(_dump(content, **form).encode()) == content


def test_a_star_stands_for_lines_that_are_the_same() -> None:
    image = IMAGE[:384] + bytes(128)
    lines = _dump(image, "{0:08x}  ").splitlines()
    assert unwrapped("\n".join([*lines[:25], "*", "00000200", ""]).encode()) == image
    assert unwrapped("\n".join(["$ hexdump -C image", *lines]).encode()) == image


@pytest.mark.parametrize(
    "text",
    [
        "".join(line + "\n" for line in _dump(IMAGE, "{0:08x}: ").splitlines() if "00000100" not in line),
        2 * _dump(IMAGE[:256], "{1:02x}: "),
        2 * _dump(IMAGE, "{0:08x}: "),
        _dump(IMAGE, "{1:02x}: ").replace(IMAGE[16:32].hex(" "), " ".join(["XX"] * 16)),
        _dump(IMAGE[:64], "{0:08x}: "),
    ],
    ids=["a line lost", "two modules, a page each", "two modules", "a line that was not read", "too short"],
)
def test_digits_that_do_not_follow_each_other_are_refused(text: str) -> None:
    with pytest.raises(InputError, match="not all there, or of several modules"):
        read_inventory(text.encode())


def _undecoded(*structures: bytes) -> str:
    """A listing of structures that were not decoded."""
    text = build.HEAD
    for each in structures:
        body, texts = each[: each[1]], each[each[1] : -1].rstrip(b"\0")
        text += f"Handle 0x{each[3]:02X}{each[2]:02X}, DMI type {each[0]}, {each[1]} bytes\n\tHeader and Data:\n"
        text += "".join(f"\t\t{body[at : at + 16].hex(' ').upper()}\n" for at in range(0, len(body), 16))
        text += "\tStrings:\n" if texts else ""
        for said in texts.split(b"\0") if texts else ():
            whole = said + b"\0"
            text += "".join(f"\t\t{whole[at : at + 16].hex(' ').upper()}\n" for at in range(0, len(whole), 16))
            text += f'\t\t"{said.decode()}"\n'
        text += "\n"
    return text


def test_a_listing_that_was_not_decoded() -> None:
    parts = build.array(slots=2), build.device(serial="SN-1"), build.empty_device(), build.processor()
    found = read_inventory(_undecoded(*parts).encode())
    plain = read_inventory(build.dump(list(parts)))
    assert (found.form, found.edition) == ("smbios-binary", "SMBIOS 3.2")
    assert (found.slots, found.processors, found.oddities) == (plain.slots, plain.processors, plain.oddities)


def test_a_listing_that_was_not_decoded_and_lost_a_line() -> None:
    lines = _undecoded(build.array(slots=1), build.device()).splitlines(keepends=True)
    at = next(index for index, line in enumerate(lines) if "type 17" in line) + 2
    found = read_inventory("".join(lines[:at] + lines[at + 1 :]).encode())
    assert [slot.state for slot in found.slots] == ["cannot-tell"]


def test_resources_among_other_lines() -> None:
    resources = [build.memory(), build.memory(Id="A2", DeviceLocator="A2", **{"@odata.id": "/redfish/v1/A2"})]
    shown = [json.dumps(each, indent=4) for each in resources]
    text = "$ curl https://192.0.2.1/redfish/v1/A1\nHTTP/1.1 200 OK\n\n" + shown[0] + "\n$\n"
    text += "## second\n\n```json\n" + shown[1] + "\n```\n"
    assert read_inventory(text.encode()).slots == read_inventory(json.dumps(resources).encode()).slots
    with pytest.raises(InputError, match="none of the forms"):
        read_inventory(text.replace("}\n```", "```").encode())
