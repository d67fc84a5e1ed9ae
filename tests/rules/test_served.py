"""Processor options that serve fewer channels: the board is then as if the others were not wired at all."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from dimmplan.boardfile.read import examine_text, find_board_file
from dimmplan.model.board import Board
from dimmplan.model.placement import dead_slots
from dimmplan.plancode.code import decode, encode, read_head
from dimmplan.planner import ask, plan
from dimmplan.reasons.case import Case
from dimmplan.reasons.slots import slot_reason
from dimmplan.rules import judge
from dimmplan.sheet.facts import State, gather
from dimmplan.wording import breach_finding

SERVED = ("K", "L", "P", "Q", "T", "U", "W", "X")
OPTION = '\n[[processors]]\nid = "wren"\nchannels = {channels}\nrates = [{{ mts = 2933 }}]\nsource = "INVENTED"\n'
UNSERVED = ("M1", "R1", "V1", "Y1")


def read(channels: Any) -> tuple[Board | None, list[Any]]:
    text = find_board_file("skerry-16").read_text("utf-8") + OPTION.format(channels=channels)
    return examine_text(text.encode(), file="board.toml")


BOARD, PROBLEMS = read(list(SERVED))
assert BOARD is not None, PROBLEMS


def unwired() -> Board:
    """The board without those channels."""
    assert BOARD is not None
    sockets = tuple(socket.serving(SERVED) for socket in BOARD.sockets)
    options = tuple(option.model_copy(update={"channels": ()}) for option in BOARD.processors)
    return replace(BOARD, sockets=sockets, processors=options)


@pytest.mark.parametrize("capacity", ["64GiB", "160GiB", "256GiB", "352GiB", "768GiB"])
def test_plans_are_those_of_a_board_without_the_other_channels(capacity: str) -> None:
    assert BOARD is not None
    one, other = (
        plan(board, ask(board, capacity, processor="wren"), alternatives=False) for board in (BOARD, unwired())
    )
    assert one.answer.best.vector == other.answer.best.vector
    assert {s: m for s, m in one.placement.slots if m} == {s: m for s, m in other.placement.slots if m}
    assert one.figures == other.figures
    assert [slot for slot, _ in one.placement.slots] == list(BOARD.slots)


def test_their_slots_are_dead_in_plan_code_sheet_and_reasons() -> None:
    assert BOARD is not None
    planned = plan(BOARD, ask(BOARD, "256GiB", modules=["32GiB"], processor="wren"), alternatives=False)
    placement = planned.placement
    assert dead_slots(BOARD, placement) == UNSERVED
    assert dead_slots(BOARD, replace(placement, processor="tern-20")) == ()
    assert decode(read_head(encode(BOARD, placement)), BOARD) == placement
    facts = gather(BOARD, placement)
    assert [slot for slot, fact in facts.slots.items() if fact.state is State.DEAD] == list(UNSERVED)
    assert facts.slots["M1"].words == "not served"
    assert slot_reason(Case(BOARD, placement), "M1").kind == "dead"


def test_a_module_in_such_a_slot_breaks_the_board_and_another_option_reaches_it() -> None:
    assert BOARD is not None
    module = BOARD.modules[0]
    content = {"K1": module, "M1": module, "T1": module}
    breaches = judge(BOARD, BOARD.processor("wren"), ("NEAR", "FAR"), content)
    assert [(breach.rule, breach.where) for breach in breaches] == [("served", ("M1",))]
    assert breach_finding(BOARD, breaches[0]).text.startswith("M1: modules that the processor wren does not reach")
    assert judge(BOARD, BOARD.processor("tern-20"), ("NEAR", "FAR"), content) == ()
    assert judge(BOARD.serving(BOARD.processor("wren")), BOARD.processor("tern-20"), ("NEAR", "FAR"), content) == ()


@pytest.mark.parametrize(
    ("channels", "found"), [(["K", "Z", "T"], "'Z'"), (["K", "L"], "no channel of FAR"), (["T"], "no channel of NEAR")]
)
def test_channels_of_an_option_are_those_of_the_board(channels: list[str], found: str) -> None:
    _, problems = read(channels)
    assert [(problem.place, problem.found) for problem in problems] == [("processors[3].channels", found)]
