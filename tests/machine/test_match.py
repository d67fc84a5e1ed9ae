"""Locators find their slots by answer, name, alias or structure, and become questions otherwise."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.errors import InputError
from dimmplan.inventory.match import mapping_text, match_slots, read_mapping
from dimmplan.model.inventory import Inventory
from tests.machine.support import device, found_of

SKERRY = load_board("skerry-16")
SALTERN = load_board("saltern-24")


def slots_of(found: Inventory, board=SKERRY, answers=None) -> dict[str, str]:
    matching = match_slots(found, board, answers)
    return {found.slots[index].name: slot for slot, index in matching.index_of.items()}


def test_names_match_with_case_and_blanks_forgiven() -> None:
    found = Inventory(form="smbios-text", slots=(device("k1", None), device(" K 2", None), device("M-1", None)))
    assert slots_of(found) == {"k1": "K1", " K 2": "K2", "M-1": "M1"}


def test_the_same_locator_twice_matches_nothing_and_is_asked() -> None:
    found = Inventory(form="smbios-text", slots=(device("K1", None), device("K1", None)))
    matching = match_slots(found, SKERRY)
    assert matching.index_of == {}
    assert [question.locator for question in matching.questions] == ["K1", "K1"]
    assert "Which slot is" in matching.questions[0].text


def test_as_many_empty_devices_as_slots_are_left() -> None:
    """Firmware gives empty slots no name at all: where all that is left is empty, it does not matter which is which."""
    named = [device(slot, None) for slot in SKERRY.slots[:-2]]
    nameless = [device("", None), device("", None)]
    found = Inventory(form="smbios-text", slots=(*named, *nameless))
    matching = match_slots(found, SKERRY)
    assert set(matching.index_of) == set(SKERRY.slots) and not matching.questions
    assert mapping_text(found, matching).splitlines()[-2:] == [",,", ",,"]
    assert len(match_slots(replace(found, slots=found.slots[:-1]), SKERRY).questions) == 1
    full = replace(nameless[0], state="filled")
    assert len(match_slots(replace(found, slots=(*named, nameless[0], full)), SKERRY).questions) == 2


def test_aliases_match_locator_or_bank_with_locator() -> None:
    board = replace(SKERRY, aliases=(("K1", ("Node 1 Place 7",)), ("K2", ("Place 8",))))
    found = Inventory(form="smbios-text", slots=(device("PLACE 7", None, bank="NODE 1"), device("place 8", None)))
    assert slots_of(found, board) == {"PLACE 7 (NODE 1)": "K1", "place 8": "K2"}


@pytest.mark.parametrize(
    ("locator", "bank"),
    [
        ("CPU{s}_DIMM_{c}{i}", "NODE 1"),
        ("DIMM_P{s}_{c}{i}", "BANK 0"),
        ("P{s}-DIMM{c}{i}", ""),
        ("DIMM {i}", "P{s} CHANNEL {c}"),
        ("NODE {s} CHANNEL {n} DIMM {i}", ""),
    ],
)
def test_structure_matches_where_the_whole_machine_has_it(locator: str, bank: str) -> None:
    """Twelve and twelve slots on six channels each, in the forms that firmware uses."""
    slots = []
    for s in (0, 1):
        for n, letter in enumerate("ABCDEF"):
            for i in (1, 2):
                words = {"s": s, "c": letter, "n": n, "i": i}
                slots.append(device(locator.format(**words), None, bank=bank.format(**words)))
    found = Inventory(form="smbios-text", slots=tuple(slots))
    matching = match_slots(found, SALTERN)
    assert list(matching.index_of) == list(SALTERN.slots)


def test_structure_does_not_match_a_board_of_another_shape() -> None:
    slots = tuple(device(f"CPU{s}_{c}{i}", None) for s in (0, 1) for c in "ABCDEF" for i in (1, 2))
    assert match_slots(Inventory(form="smbios-text", slots=slots), SKERRY).index_of == {}


def test_answers_go_before_names_and_survive_a_mapping_file(tmp_path: Path) -> None:
    found = Inventory(form="smbios-text", slots=(device("K1", None), device("odd one", None, bank="B")))
    path = tmp_path / "map.csv"
    path.write_text("locator,bank,slot\nK1,,K2\nodd one,B,K1\n", encoding="utf-8")
    answers = read_mapping(path, SKERRY)
    assert slots_of(found, answers=answers) == {"K1": "K2", "odd one (B)": "K1"}
    again = tmp_path / "again.csv"
    again.write_text(mapping_text(found, match_slots(found, SKERRY, answers)), encoding="utf-8")
    assert read_mapping(again, SKERRY) == answers


def test_a_mapping_with_unknown_or_doubled_slots_names_every_line(tmp_path: Path) -> None:
    path = tmp_path / "map.csv"
    path.write_text("locator,bank,slot\na,,K9\nb,,K1\nc,,K1\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_mapping(path, SKERRY)
    places = [problem.place for problem in caught.value.problems]
    assert places[0] == "line 2" and "K1" in caught.value.problems[1].found


def test_a_mapping_with_broken_quoting_names_its_line(tmp_path: Path) -> None:
    """A cell beyond what the reader of CSV takes is a problem with its line; line ends of any system are none."""
    path = tmp_path / "map.csv"
    path.write_bytes(b"locator,bank,slot\ra,,K1\r")
    assert read_mapping(path, SKERRY) == {("a", ""): "K1"}
    path.write_text(f"locator,bank,slot\na,,{'x' * 200_000}\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_mapping(path, SKERRY)
    assert caught.value.problems[0].place == "line 2"


def test_places_that_do_not_count_are_not_asked_about() -> None:
    flash = replace(device("SYSTEM ROM", None), role="flash")
    found = replace(found_of({"K1": None}), slots=(device("K1", None), flash))
    assert match_slots(found, SKERRY).questions == ()
