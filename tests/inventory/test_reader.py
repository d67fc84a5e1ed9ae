"""What an inventory is, by content; folders and archives; refusals with one clear problem."""

from __future__ import annotations

import io
import os
import random
import zipfile
from pathlib import Path

import pytest

from dimmplan.errors import InputError, Problem
from dimmplan.inventory import reader, redfish, smbios_binary, smbios_fields, smbios_text
from dimmplan.inventory.clean import decode_file
from dimmplan.inventory.oddities import Oddities
from dimmplan.inventory.reader import Piece, read_inventory, readers
from tests.bench.mutate_inventories import bases
from tests.inventory import build

FORMS = {reader.form: bases(reader.form)[0] for reader in readers()}
"""One right inventory of each form."""


def refusal(source: bytes | Path | str, name: str = "x") -> Problem:
    with pytest.raises(InputError) as caught:
        read_inventory(source, name=name)
    (problem,) = caught.value.problems
    assert problem.found
    return problem


@pytest.mark.parametrize("form", sorted(FORMS))
@pytest.mark.parametrize("name", ["a.txt", "a.bin", "a.json", "a"])
def test_the_form_is_told_by_content_alone(form: str, name: str, tmp_path: Path) -> None:
    path = tmp_path / name
    path.write_bytes(FORMS[form])
    assert read_inventory(path).form == form
    assert read_inventory(str(path)).slots == read_inventory(FORMS[form], name=name).slots


@pytest.mark.parametrize("form", sorted(FORMS))
def test_a_file_alone_in_a_folder_or_an_archive(form: str, tmp_path: Path) -> None:
    tree = {"A1.dat": FORMS[form]}
    alone = read_inventory(FORMS[form], name="A1.dat")
    assert read_inventory(build.laid(tmp_path, tree)).slots == alone.slots
    archive = read_inventory(build.zipped(tree))
    assert (archive.slots, archive.date) == (alone.slots, "2024-05-06")
    assert read_inventory(build.zipped(tree, date=(1980, 1, 1, 0, 0, 0))).date is None


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"   \n",
        b"hello",
        b"\x7fELF" + bytes(500),
        bytes(3000),
        random.Random(1).randbytes(64),
        b"a,b\nc,d\n",
        b"%PDF-1.4 x",
        b"{",
    ],
)
def test_what_is_none_is_refused_with_what_is_allowed(content: bytes) -> None:
    problem = refusal(content, name="machine.dat")
    assert problem.file == "machine.dat"
    assert problem.allowed


def test_what_is_not_there(tmp_path: Path) -> None:
    for source in (tmp_path / "no", "a\0b", "x" * 5000):
        assert refusal(source).found == "no such file or folder"
    assert refusal(tmp_path).found == "no inventory in it"


def test_a_file_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "x.bin"
    path.write_bytes(FORMS["spd"])

    def refused(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", refused)
    assert refusal(path).found == "permission denied"


def test_several_machines_in_one_bundle_are_for_a_person_to_choose(tmp_path: Path) -> None:
    text = FORMS["smbios-text"]
    problem = refusal(build.laid(tmp_path, {"one.txt": text, "two.txt": text}))
    assert "one.txt, two.txt" in problem.found
    problem = refusal(build.zipped({"one.txt": text, "A1.bin": FORMS["spd"]}))
    assert problem.hint == "Name one of them."


def test_links_hidden_and_special_files_are_left_alone(tmp_path: Path) -> None:
    build.laid(tmp_path, {"in/A1.bin": FORMS["spd"], "out/A2.bin": FORMS["spd"], "in/.A3.bin": FORMS["spd"]})
    (tmp_path / "in" / "A4.bin").symlink_to(tmp_path / "out" / "A2.bin")
    (tmp_path / "in" / "loop").symlink_to(tmp_path / "in")
    os.mkfifo(tmp_path / "in" / "pipe")
    assert [slot.locator for slot in read_inventory(tmp_path / "in").slots] == ["A1"]
    assert refusal("/dev/null").found == "no regular file"


def test_folders_nested_too_deep(tmp_path: Path) -> None:
    deep = "/".join("d" * (reader.MOST_FOLDER_DEPTH + 2)) + "/A1.bin"
    assert "too deep" in refusal(build.laid(tmp_path, {deep: FORMS["spd"]})).found


def test_too_many_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reader, "MOST_FILES", 3)
    tree = {f"A{index}.bin": FORMS["spd"] for index in range(4)}
    assert "more than 3" in refusal(build.laid(tmp_path, tree)).found
    assert "more than 3" in refusal(build.zipped(tree)).found


def test_names_in_archives_lead_nowhere(tmp_path: Path) -> None:
    content = build.zipped({"../../A1.bin": FORMS["spd"], "/etc/A2.bin": build.spd4(serial=b"ABCD")})
    assert [slot.locator for slot in read_inventory(content).slots] == ["A1", "A2"]
    assert list(tmp_path.iterdir()) == []


def test_archives_inside_archives_are_not_opened() -> None:
    inner = build.zipped({"A1.bin": FORMS["spd"]})
    assert refusal(build.zipped({"inner.zip": inner})).found == "no inventory in it"
    found = read_inventory(build.zipped({"inner.zip": inner, "A1.bin": FORMS["spd"]}))
    assert [each.oddity for each in found.oddities] == ["file-ignored"]


def test_an_archive_that_expands_too_far() -> None:
    assert "32 MiB" in refusal(build.zipped({"A1.bin": bytes(reader.MOST_EXPANDED_BYTES + 1)})).found
    many = {f"A{index}.bin": bytes(reader.MOST_EXPANDED_BYTES // 4) for index in range(5)}
    assert "32 MiB" in refusal(build.zipped(many)).found


def test_an_archive_that_lies_about_its_size() -> None:
    content = bytearray(build.zipped({"A1.bin": bytes(reader.MOST_EXPANDED_BYTES + 1)}))
    central = content.rfind(b"PK\x01\x02")
    content[central + 24 : central + 28] = (512).to_bytes(4, "little")
    refusal(bytes(content))


def test_archives_of_other_kinds_are_refused() -> None:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_BZIP2) as archive:
        archive.writestr("A1.bin", FORMS["spd"])
    assert "cannot be read" in refusal(buffer.getvalue()).found
    whole = build.zipped({"A1.bin": FORMS["spd"]})
    for cut in (1, 22, 60, len(whole) - 30):
        refusal(whole[:-cut])
    encrypted = bytearray(whole)
    encrypted[6] |= 1
    encrypted[whole.rfind(b"PK\x01\x02") + 8] |= 1
    refusal(bytes(encrypted))


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"x" * (reader.MOST_FILE_BYTES + 1), "16 MiB"),
        (FORMS["smbios-text"] + b"\n" * reader.MOST_TEXT_BYTES, "2 MiB"),
        (FORMS["smbios-binary"] + bytes(smbios_binary.MOST_TABLE_BYTES), "4 MiB"),
        (b"[" + b" " * redfish.MOST_JSON_BYTES + b"]", "4 MiB"),
    ],
)
def test_sizes_are_limited(content: bytes, words: str) -> None:
    assert words in refusal(content).found


def test_more_devices_than_any_machine_has() -> None:
    most = reader.MOST_DEVICES
    devices = [build.device(index, locator=None, bank=None, maker=None, part=None) for index in range(most + 1)]
    assert str(most) in refusal(build.dump([build.array(0xFFF0), *devices])).found
    assert str(most) in refusal(build.as_json([build.memory(f"D{index}") for index in range(most + 1)])).found
    assert str(most) in refusal(build.listing([build.EMPTY] * (most + 1)).encode()).found
    many = [build.structure(128, index, b"") for index in range(smbios_fields.MOST_STRUCTURES)]
    assert "structures" in refusal(build.dump(many)).found
    assert "structures" in refusal(b"Handle 0x1, DMI type 7, 9 bytes\n" * (smbios_fields.MOST_STRUCTURES + 1)).found
    assert "lines" in refusal(build.listing().encode() + b"\n" * smbios_text.MOST_LINES).found
    assert "JSON objects" in refusal(b"[" + b"[]," * redfish.MOST_JSON_CONTAINERS + b"0]").found


def test_every_form_is_one_file_that_sniffs_reads_and_names_itself() -> None:
    """No list names the readers: a file of the package with a READER is one, and each form is told from the others."""
    found = {reader.form: reader for reader in readers()}
    assert len(found) == len(readers()) > 4
    for form, content in FORMS.items():
        reader = found[form]
        assert reader.name and reader.given in refusal(b"hello").allowed
        assert reader.given in " ".join((Path(__file__).parents[2] / "README.md").read_text("utf-8").split())
        assert [each.form for each in readers() if each.sniff(content, decode_file(content))] == [form]
        assert reader.read([Piece(name="A1", content=content)], file="x", odd=Oddities()).form == form
    assert [reader.by_look for reader in readers()] == sorted(reader.by_look for reader in readers())


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("  *-bank:0\n     description: DIMM DDR4 Synchronous 2933 MHz\n     slot: A1\n     size: 32GiB\n", "lshw"),
        ('[{"id": "bank:0", "class" : "memory", "slot": "A1", "size": 34359738368}]', "lshw"),
        ('{"format": 1, "board": {"id": "x", "electrical_digest": "6a"}}', "a plan"),
        ("Memory:\n  Array-1: capacity: 1 TiB slots: 2 EC: Multi-bit ECC\n  Device-1: A1 size: 32 GiB\n", "inxi"),
        ("# decode-dimms version 4.3\n\n---=== SPD EEPROM Information ===---\n", "SPD"),
        ("Nov 30 04:45:00 quay kernel: EDAC MC0: 1 CE read error on CPU_SrcID#0_MC#0_Chan#0_DIMM#0\n", "locate"),
        ("\tSize: 32 GB\n\tSize: No Module Installed\n", "without locators"),
        ("Mem:  251G  12G  200G\n", "names no module"),
    ],
)
def test_a_form_that_is_not_read_is_named_with_what_to_give(text: str, told: str) -> None:
    problem = refusal(text.encode())
    assert told in f"{problem.found} {problem.hint}"


@pytest.mark.parametrize("worst", [b" ", b"EDAC ", b"| Memory ", b"Device-1: ", b"00 ", b"\t#", b"Size: "])
def test_naming_a_form_that_is_not_read_takes_no_long_time(worst: bytes) -> None:
    refusal(worst * (1 << 17))
