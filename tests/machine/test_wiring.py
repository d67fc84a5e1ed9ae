"""Sockets and channels of a draft, by the words of every family: right, and nothing wrong in silence."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dimmplan.inventory.locators import Words, read_words
from tests.machine.families import FAMILIES, LETTERS, Machine, built, score, tally


@pytest.mark.parametrize("machine", FAMILIES, ids=[machine.name for machine in FAMILIES])
def test_a_family_of_words_is_read(machine: Machine) -> None:
    """Sockets and channels are right; asked is what no word says, and nothing that a word does say."""
    got = score(machine)
    assert got.sockets_right is True
    assert got.channels_right in (True, None)
    assert got.asked == machine.asked


@pytest.mark.parametrize("machine", FAMILIES, ids=[machine.name for machine in FAMILIES])
def test_the_order_of_the_list_changes_nothing_that_words_say(machine: Machine) -> None:
    if not machine.asked:
        assert score(replace(machine, slots=machine.slots[::-1])) == score(machine)


def test_unequal_sockets_and_their_channels() -> None:
    (uneven,) = [machine for machine in FAMILIES if machine.name == "A1 to A10, B1 to B6"]
    wiring = uneven.wired()
    assert [[len(channel.slots) for channel in socket.channels] for socket in wiring.sockets] == [
        [2, 2, 2, 2, 1, 1],
        [1] * 6,
    ]


def test_an_absent_processor_keeps_its_socket() -> None:
    (machine,) = [each for each in FAMILIES if each.name == "CPU1_DIMM_A1, one of two seated"]
    assert [(socket.name, socket.seated) for socket in machine.wired().sockets] == [("CPU1", True), ("CPU2", False)]


def test_fewer_sockets_than_processors_are_never_silent() -> None:
    shape = [[2] * 4] * 2
    machine = built("four listed", shape, lambda s, c, p: f"P{s}-DIMM{LETTERS[c]}{p}", processors=("1", "2", "3", "4"))
    (guess,) = machine.wired().guesses
    assert guess.about == "sockets" and "4 processors" in guess.text


def test_an_answer_closes_its_question_and_changes_the_wiring() -> None:
    (machine,) = [each for each in FAMILIES if each.name == "A1 to A12"]
    names = [slot.locator for slot in machine.slots]
    asked = {guess.about: guess for guess in machine.wired().guesses}
    assert asked["channels"].chosen == "apart-6"
    assert "A1 A7" in asked["channels"].layouts["apart-6"] and "A1 A2" in asked["channels"].layouts["neighbours-6"]
    answered = machine.wired(channels="neighbours-6")
    assert answered.guesses == ()
    assert [names[index] for index in answered.sockets[0].channels[0].slots] == ["A1", "A2"]


def test_controllers_come_from_the_nodes_of_the_bank() -> None:
    (machine,) = [each for each in FAMILIES if each.name == "P1-DIMMA1"]
    first = machine.wired().sockets[0]
    assert [(channel.name, channel.controller) for channel in first.channels] == [
        *((letter, "M1") for letter in "ABC"),
        *((letter, "M2") for letter in "DEF"),
    ]


def test_words_that_repeat_say_nothing() -> None:
    """Every slot with the same bank is no wiring of one channel."""
    shape = [[2] * 4]
    machine = built("alike", shape, lambda s, c, p: f"DIMM {2 * c + p}", lambda s, c, p: "Node0_Channel0_Dimm0")
    assert [len(channel.slots) for channel in machine.wired().sockets[0].channels] == [2] * 4
    assert "channels" in {guess.about for guess in machine.wired().guesses}


def test_names_that_begin_again_are_asked_whose_they_are() -> None:
    """With one processor listed, two of each name may be two processors; a node beside them says which is whose."""
    shape = [[2] * 4] * 2
    for bank in (None, lambda s, c, p: f"NODE {s}"):
        machine = built("again", shape, lambda s, c, p: f"C{c}D{p}", bank, processors=("CPU1",))
        got = score(machine)
        assert got.sockets_right and got.channels_right and "sockets" in got.asked
    told = built("told", shape, lambda s, c, p: f"DIMM_{LETTERS[c]}{p}", lambda s, c, p: f"NODE {s}")
    assert score(told).asked == frozenset() and score(told).sockets_right


def test_letters_are_no_processors_where_they_begin_again() -> None:
    machine = built("A to D, four times", [[1] * 4] * 4, lambda s, c, p: f"DIMM_{LETTERS[c]}")
    assert score(machine).sockets_right and "sockets" in score(machine).asked


@pytest.mark.parametrize(
    ("shape", "asked"),
    [([[2] * 3] * 2, set()), ([[3] * 2] * 2, {"channels"}), ([[3] * 3] * 2, set()), ([[2] * 6] * 2, set())],
)
def test_number_and_letter_where_list_and_counts_disagree_are_asked(shape: list[list[int]], asked: set[str]) -> None:
    """The channel stands together in the list, and there are more channels than places on one."""
    machine = built("1A", shape, lambda s, c, p: f"P{s}-{c + 1}{LETTERS[p]}")
    got = score(machine)
    assert got.asked == asked and got.channels_right


def test_a_name_that_is_copied_once_makes_no_second_processor() -> None:
    shape = [[2] * 8]
    machine = built("copied", shape, lambda s, c, p: f"DIMM{max(2 * c + p, 1)}", processors=("CPU1",), named=False)
    assert len(machine.wired().sockets) == 1 and "sockets" in score(machine).asked


def test_nothing_of_the_families_is_wrong_in_silence() -> None:
    assert tally(FAMILIES)["wrong and silent"] == 0


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (
            "CPU_SrcID#0_MC#1_Chan#0_DIMM#1",
            Words(processor="0", controller="1", channel="0", position="1", word="SRCID"),
        ),
        ("P0_D1_UMC0_CH_A0", Words(processor="0", controller="1", channel="A", position="0", word="P")),
        ("A1_Node0_Channel2_Dimm1", Words(node="0", channel="2", position="1")),
        ("proc1dimm10", Words(processor="1", number="10", word="PROC")),
        ("J1DIMMA1", Words(letter="A", number="1")),
        ("Node 1 Bank 3 MemCard 2", Words(node="1", card="2")),
        ("Memory Card A", Words(card="A")),
        ("BANK 3", Words()),
        ("", Words()),
    ],
)
def test_words_are_read_by_their_grammar(text: str, words: Words) -> None:
    assert read_words(text) == words


def test_words_that_name_more_sockets_than_the_machine_lists_are_asked() -> None:
    """Letters of more slots than a channel has, and nodes, may mean processors."""
    letters = built("A1 to C8", [[8]] * 3, lambda s, c, p: f"{LETTERS[s]}{p}", processors=("1", "2")).wired()
    nodes = built(
        "by node", [[4]] * 2, lambda s, c, p: f"DIMM {4 * s + p}", lambda s, c, p: f"NODE {s}", processors=("1",)
    )
    for wired, text in ((letters, "the letters of the slots name 3"), (nodes.wired(), "the words name 2 nodes")):
        asked = {guess.about: guess for guess in wired.guesses}
        assert text in asked["sockets"].text and "one" in asked["sockets"].layouts
