"""A drafted board passes the check at once, can be planned on, and marks what it guesses."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dimmplan.audit import audit
from dimmplan.boardfile.draft import draft_board
from dimmplan.boardfile.read import examine_text, load_board
from dimmplan.errors import InputError
from dimmplan.inventory.match import match_slots
from dimmplan.model.board import Board
from dimmplan.model.found import Found, FoundProcessor
from dimmplan.model.module import Kind
from dimmplan.planner import ask, plan
from tests.machine.support import device

M32 = load_board("skerry-16").module_of_size(32)
TWO = (FoundProcessor(locator="P0", state="filled"), FoundProcessor(locator="P1", state="filled"))


def drafted(found: Found) -> Board:
    made = draft_board(found, board_id="first-draft", title="First draft")
    board, problems = examine_text(made.text.encode(), file="draft")
    assert not problems and board is not None
    assert board.trust == "drafted" and made.to_do and "GUESS" in made.text
    return board


def structured(rated: int = 2933, configured: int | None = 2666) -> Found:
    """Two processors, six channels of two slots, first slots filled."""
    slots = [
        device(f"P{s}_{c}{i}", M32 if i == 0 else None, **({"configured_mts": configured} if i == 0 else {}))
        for s in (0, 1)
        for c in "ABCDEF"
        for i in (0, 1)
    ]
    return Found(form="smbios-text", slots=tuple(slots), processors=TWO)


def test_structure_that_locators_say_becomes_the_wiring() -> None:
    board = drafted(structured())
    assert [[len(ch.slots) for ch in socket.channels] for socket in board.sockets] == [[2] * 6, [2] * 6]
    assert board.slots[:2] == ("P0_A0", "P0_A1")


def test_a_draft_can_be_planned_on_and_the_same_listing_audited_against_it() -> None:
    found = structured()
    board = drafted(found)
    planned = plan(board, ask(board, "384GiB"))
    result = audit(board, found, match_slots(found, board), planned.placement)
    assert {answer.answer for answer in result.slots} == {"as-planned"}


def test_rates_are_those_seen_running() -> None:
    board = drafted(structured(configured=2400))
    assert [row.mts for row in board.rates] == [2400, 2400]


def test_without_structure_neighbours_share_a_channel() -> None:
    slots = tuple(device(f"DIMM {n}", M32 if n % 2 else None, bank="somewhere") for n in range(1, 25))
    board = drafted(Found(form="smbios-text", slots=slots, processors=TWO))
    assert [len(socket.channels) for socket in board.sockets] == [6, 6]


@pytest.mark.parametrize("count", [1, 3, 7, 64, 128])
def test_odd_numbers_of_slots_are_drafted_too(count: int) -> None:
    slots = tuple(device("DIMM 0", None) for _ in range(count))
    board = drafted(Found(form="smbios-text", slots=slots))
    assert len(board.slots) == count


def test_hostile_locators_become_names_that_the_check_accepts() -> None:
    names = ("<b>,=;{socket}", "\u202eevil", "", "x" * 300, "A  B", "a b", "[red]")
    board = drafted(Found(form="smbios-text", slots=tuple(device(name, None) for name in names)))
    assert len(board.slots) == len(names)


def test_modules_of_another_outline_are_accepted_by_their_draft() -> None:
    small = replace(device("A1", M32), kind=load_board("marram-4").modules[0].kind)
    drafted(Found(form="smbios-text", slots=(small,)))


def test_modules_whose_label_names_no_known_kind_or_reads_like_another_are_drafted_once() -> None:
    assert M32 is not None
    odd = replace(device("A1", M32), label="32GB 2Rx4 PC4-2933Y-X", kind=Kind.OTHER)
    alike = replace(device("A2", M32), label="32GB 2Rx4 PC4-2933V-R", kind=Kind.RDIMM)
    board = drafted(Found(form="labels", slots=(odd, alike, device("A3", M32))))
    assert board.modules == (M32,)


def test_no_memory_is_an_input_error() -> None:
    with pytest.raises(InputError, match="0 memory slots"):
        draft_board(Found(form="smbios-text", slots=()), board_id="none-at-all", title="x")
