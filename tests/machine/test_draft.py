"""A drafted board passes the check at once, can be planned on, and marks what it guesses."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from dimmplan.audit import audit
from dimmplan.boardfile.draft import draft_board
from dimmplan.boardfile.read import examine_text, load_board
from dimmplan.cli.run import run
from dimmplan.errors import InputError
from dimmplan.inventory.match import match_slots
from dimmplan.inventory.reader import read_inventory
from dimmplan.model.board import Board
from dimmplan.model.inventory import Inventory, InventoryProcessor
from dimmplan.model.module import Generation, Kind
from dimmplan.planner import ask, plan
from dimmplan.sheet.facts import gather
from dimmplan.sheet.panels import PickList
from dimmplan.wording import placement_findings
from tests.inventory import build
from tests.machine.support import device

M32 = load_board("skerry-16").module_of_size(32)
TWO = (InventoryProcessor(locator="P0", state="filled"), InventoryProcessor(locator="P1", state="filled"))


def drafted(found: Inventory) -> Board:
    made = draft_board(found, board_id="first-draft", title="First draft")
    board, problems = examine_text(made.text.encode(), file="draft")
    assert not problems and board is not None
    assert board.trust == "drafted" and made.to_do and "GUESS" in made.text
    return board


def structured(rated: int = 2933, configured: int | None = 2666) -> Inventory:
    """Two processors, six channels of two slots, first slots filled."""
    slots = [
        device(f"P{s}_{c}{i}", M32 if i == 0 else None, **({"configured_mts": configured} if i == 0 else {}))
        for s in (0, 1)
        for c in "ABCDEF"
        for i in (0, 1)
    ]
    return Inventory(form="smbios-text", slots=tuple(slots), processors=TWO)


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


def test_the_slots_seen_filled_come_first_in_a_channel() -> None:
    """Where only the other order leaves no gap, channels fill backwards, and the machine is as planned on its draft."""
    found = structured()
    swapped = tuple(replace(slot, locator=_other_slot(slot.locator)) for slot in found.slots)
    backwards = replace(found, slots=swapped)
    board = drafted(backwards)
    assert board.channels[0].slots == ("P0_A1", "P0_A0")
    planned = plan(board, ask(board, "384GiB"))
    result = audit(board, backwards, match_slots(backwards, board), planned.placement)
    assert {answer.answer for answer in result.slots} == {"as-planned"}


@pytest.mark.parametrize(("which", "said"), [("none", "order of their numbers"), ("some", "seen filled come first")])
def test_what_the_fill_order_rests_on_is_said(which: str, said: str) -> None:
    """A machine without modules shows no order; one with a module in every first slot does."""
    found = structured()
    if which == "none":
        found = replace(found, slots=tuple(device(slot.locator, None) for slot in found.slots))
    made = draft_board(found, board_id="first-draft", title="x")
    (line,) = [item for item in made.to_do if item.startswith("fill-order")]
    assert said in line


def _other_slot(locator: str) -> str:
    return locator[:-1] + str(1 - int(locator[-1]))


def test_a_short_word_for_channel_is_read() -> None:
    slots = tuple(device(f"P0-Ch{c}-DIMM{n}", M32) for c in "DEF" for n in range(3))
    board = drafted(Inventory(form="smbios-text", slots=slots, processors=TWO[:1]))
    assert [channel.slots[0] for channel in board.channels] == [f"P0-Ch{c}-DIMM0" for c in "DEF"]


@pytest.mark.parametrize(("rate", "generation"), [(1333, "DDR3"), (2666, "DDR4"), (5600, "DDR5"), (None, "DDR4")])
def test_a_generation_that_is_not_said_is_guessed_by_the_rates(rate: int | None, generation: str) -> None:
    slots = tuple(device(f"A{n}", M32, generation=None, rated_mts=rate) for n in range(4))
    made = draft_board(Inventory(form="smbios-text", slots=slots), board_id="first-draft", title="x")
    assert f'generation = "{generation}"' in made.text
    assert any(item.startswith("generation") for item in made.to_do)


def test_fewer_slots_than_processors_are_one_socket() -> None:
    """Of a listing cut short, say; nothing is shared out then."""
    board = drafted(Inventory(form="smbios-text", slots=(device("DIMM 1", M32),), processors=TWO))
    assert len(board.sockets) == 1 and "sockets" in dict(board.guesses)


def test_a_virtual_machine_is_not_drafted() -> None:
    found = read_inventory(build.dump([build.bios(virtual=True), build.array(), build.device()]))
    with pytest.raises(InputError, match="a virtual machine"):
        draft_board(found, board_id="first-draft", title="x")


@pytest.mark.parametrize(("count", "asked"), [("2", False), ("6", True)])
def test_slots_that_the_machine_counts_and_does_not_list_are_asked_for(count: str, asked: bool) -> None:
    found = read_inventory(build.listing(slots=count).encode())
    made = draft_board(found, board_id="first-draft", title="x")
    assert ("slots" in [guess.about for guess in made.guesses]) is asked


def test_the_to_do_names_what_of_a_label_is_not_said() -> None:
    """What the machine does say of its modules is not among what a person has to read from them."""
    said = draft_board(
        Inventory(form="smbios-text", slots=(device("A1", M32, kind=Kind.RDIMM),)), board_id="first-draft", title="x"
    )
    assert {guess.about for guess in said.guesses} >= {"width"}
    assert "modules" not in {guess.about for guess in said.guesses}
    assert 'modules = ["32GB 2Rx? PC4-2933-R"]' in said.text


def test_without_structure_neighbours_share_a_channel() -> None:
    slots = tuple(device(f"DIMM {n}", M32 if n % 2 else None, bank="somewhere") for n in range(1, 25))
    board = drafted(Inventory(form="smbios-text", slots=slots, processors=TWO))
    assert [len(socket.channels) for socket in board.sockets] == [6, 6]


@pytest.mark.parametrize("count", [1, 3, 7, 64, 128])
def test_odd_numbers_of_slots_are_drafted_too(count: int) -> None:
    slots = tuple(device("DIMM 0", None) for _ in range(count))
    board = drafted(Inventory(form="smbios-text", slots=slots))
    assert len(board.slots) == count


def test_hostile_locators_become_names_that_the_check_accepts() -> None:
    names = ("<b>,=;{socket}", "\u202eevil", "", "x" * 300, "A  B", "a b", "[red]")
    board = drafted(Inventory(form="smbios-text", slots=tuple(device(name, None) for name in names)))
    assert len(board.slots) == len(names)


def test_modules_of_another_outline_are_accepted_by_their_draft() -> None:
    small = replace(device("A1", M32), kind=load_board("marram-4").modules[0].kind)
    drafted(Inventory(form="smbios-text", slots=(small,)))


def test_modules_whose_label_names_no_known_kind_or_reads_like_another_are_drafted_once() -> None:
    assert M32 is not None
    odd = replace(device("A1", M32), label="32GB 2Rx4 PC4-2933Y-X", kind=Kind.OTHER)
    alike = replace(device("A2", M32), label="32GB 2Rx4 PC4-2933V-R", kind=Kind.RDIMM)
    board = drafted(Inventory(form="labels", slots=(odd, alike, device("A3", M32))))
    assert board.modules == (M32,)


def test_no_memory_is_an_input_error() -> None:
    with pytest.raises(InputError, match="0 memory slots"):
        draft_board(Inventory(form="smbios-text", slots=()), board_id="none-at-all", title="x")


@pytest.mark.parametrize("word", ["DDR2", "DDR", "SDRAM", "HBM2", "DDR2 FB-DIMM"])
def test_generations_that_are_not_planned_here_are_refused_by_their_word(word: str) -> None:
    said = {"generation": None, "rated_mts": None, "configured_mts": None, "memory_type": word}
    old = [device(f"A{n}", M32, **said) for n in range(4)]
    with pytest.raises(InputError, match=f"{word} memory, which is not planned here"):
        draft_board(Inventory(form="smbios-text", slots=tuple(old)), board_id="first-draft", title="x")


@pytest.mark.parametrize("form", ["dump", "listing"])
def test_the_word_of_a_foreign_type_is_the_same_from_a_dump_and_a_listing(form: str) -> None:
    content = build.machine([build.device(type=0x13)])
    if form == "listing":
        content = build.listing([{**build.FILLED, "Type": "DDR2"}]).encode()
    with pytest.raises(InputError, match="DDR2 memory"):
        draft_board(read_inventory(content), board_id="first-draft", title="x")


def test_a_word_that_firmware_writes_for_anything_is_not_believed_beside_a_rate() -> None:
    slots = tuple(device(f"A{n}", M32, generation=None, memory_type="SDRAM") for n in range(4))
    assert drafted(Inventory(form="smbios-text", slots=slots)).generation == "DDR4"


def test_open_guesses_are_findings_of_every_plan_until_they_are_answered() -> None:
    slots = tuple(device(f"A{n}", M32 if n < 6 else None, kind=None) for n in range(1, 13))
    found = Inventory(form="smbios-text", slots=slots, processors=TWO[:1])
    board = drafted(found)
    assert [about for about, _ in board.guesses][:1] == ["channels"]
    planned = plan(board, ask(board, "192GiB"))
    rules = {finding.rule for finding in placement_findings(board, planned.placement, None)}
    assert {"drafted-channels", "drafted-width", "drafted-interleave"} <= rules
    answers = {about: dict(_candidates(found))[about] for about, _ in board.guesses}
    settled = draft_board(found, board_id="first-draft", title="x", answers=answers)
    assert settled.guesses == () and "[guesses]" not in settled.text


def _candidates(found: Inventory) -> list[tuple[str, str]]:
    made = draft_board(found, board_id="first-draft", title="x")
    return [(guess.about, guess.candidates[0]) for guess in made.guesses]


@pytest.mark.parametrize(
    ("answers", "problem"),
    [
        ({"chanels": "apart-6"}, "did you mean channels"),
        ({"channels": "apart-5"}, "apart-6"),
        ({"sockets": "one"}, "what this draft guesses"),
    ],
)
def test_answers_to_nothing_are_refused_with_what_may_be_answered(answers: dict[str, str], problem: str) -> None:
    slots = tuple(device(f"A{n}", M32) for n in range(1, 13))
    with pytest.raises(InputError, match=f"(?i){problem}"):
        draft_board(Inventory(form="smbios-text", slots=slots), board_id="first-draft", title="x", answers=answers)


def test_the_sockets_of_seated_processors_are_advised() -> None:
    slots = tuple(device(f"P{s}_{c}0", M32 if s == 0 else None) for s in (0, 1) for c in "ABCD")
    absent = TWO[1]._replace(state="empty")
    made = draft_board(
        Inventory(form="smbios-text", slots=slots, processors=(TWO[0], absent)), board_id="first-draft", title="x"
    )
    assert made.fitted == ("P0",)
    assert "# No processor in P1: plan with --fitted P0" in made.text


@pytest.mark.parametrize(
    ("gib", "ranks", "label"),
    [
        (16, 1, "16GB 1Rx? PC5-4800-R"),
        (32, 2, "32GB 2Rx? PC5-4800-R"),
        (96, 2, "96GB 2Rx? PC5-4800-R"),
    ],
)
def test_the_usual_organisation_of_a_size_is_reckoned_with(gib: int, ranks: int, label: str) -> None:
    """DDR5 modules of one rank of 16 GiB have x8 devices, not x4 (common practice, no source)."""
    slot = device("A1", None)
    filled = replace(
        slot, state="filled", capacity_kib=gib << 20, generation=Generation.DDR5, ranks_said=ranks, rated_mts=4800
    )
    board = drafted(Inventory(form="smbios-text", slots=(filled,)))
    (module,) = board.modules
    assert module.label == label
    assert module.device_width == (8 if gib < 96 else 4)


def test_a_path_as_locator_gives_its_end_as_the_name_and_keeps_the_whole_as_an_alias() -> None:
    slots = tuple(device(f"Lower Board/CPU {s} DIMM {c}1", M32) for s in (0, 1) for c in "ABCD")
    found = Inventory(form="smbios-text", slots=slots, processors=TWO)
    board = drafted(found)
    assert board.slots[:2] == ("CPU 0 DIMM A1", "CPU 0 DIMM B1")
    assert list(match_slots(found, board).index_of) == list(board.slots)


def test_the_pick_list_says_that_a_width_is_not_known() -> None:
    board = drafted(structured())
    placement = plan(board, ask(board, "384GiB")).placement
    assert PickList(gather(board, placement)).heads[1] == "module (x?: width not known)"


def test_answers_are_given_by_name(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An answer closes its question; one that is no answer, or to nothing that was asked, is refused."""
    (tmp_path / "listing.csv").write_text("slot,label\nA1,16GB 2Rx8 PC4-2666V-R\nB1,empty\n", encoding="utf-8")
    call = ["boards", "draft", str(tmp_path / "listing.csv"), "-o", str(tmp_path / "mine.toml")]
    assert run([*call, "--answer", "interleave"]) == 2
    assert run([*call, "--answer", "interleaf=x"]) == 2
    assert run([*call, "--json"]) == 0
    guesses = {guess["about"]: guess for guess in json.loads(capsys.readouterr().out)["guesses"]}
    about, choice = next((about, its["candidates"][-1]) for about, its in guesses.items() if len(its["candidates"]) > 1)
    assert run([*call, "--json", "--force", "--answer", f"{about} = {choice}"]) == 0
    assert about not in {guess["about"] for guess in json.loads(capsys.readouterr().out)["guesses"]}
