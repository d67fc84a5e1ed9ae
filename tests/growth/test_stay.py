"""Equal parts that trade places: as many modules stay as in any exchange of equal parts, and of those board order."""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator, Mapping

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.errors import ImpossibleError
from dimmplan.growth.grow import grow
from dimmplan.growth.pinned import Start, solve_from
from dimmplan.model.board import Board, Controller, Socket
from dimmplan.model.module import Module
from dimmplan.planner import ask, plan
from dimmplan.rules import rules_of
from dimmplan.solve.criteria import CRITERIA, vector_of
from dimmplan.solve.space import Space
from tests.oracle.brute import best
from tests.oracle.random_boards import (
    as_wired,
    random_case,
    random_equipment_case,
    random_mode_case,
    random_part_mode_case,
    random_table_case,
)
from tests.support import sampled

Content = Mapping[str, Module | None]
SORTS = (random_case, random_mode_case, random_part_mode_case, random_equipment_case, random_table_case)


def orders_of_channels(controller: Controller) -> Iterator[tuple[str, ...]]:
    """The slots of a controller with its channels of equal length in every order."""
    lengths = [len(channel.slots) for channel in controller.channels]
    for order in itertools.permutations(controller.channels):
        if [len(channel.slots) for channel in order] == lengths:
            yield tuple(slot for channel in order for slot in channel.slots)


def orders_of_controllers(socket: Socket) -> Iterator[tuple[str, ...]]:
    builds = [sorted(len(channel.slots) for channel in controller.channels) for controller in socket.controllers]
    exact = [[len(channel.slots) for channel in controller.channels] for controller in socket.controllers]
    assert [sorted(each) for each in exact] == builds
    for order in itertools.permutations(range(len(builds))):
        if [exact[place] for place in order] == exact:
            for chosen in itertools.product(*(orders_of_channels(socket.controllers[place]) for place in order)):
                yield tuple(itertools.chain(*chosen))


def exchanges(board: Board, fitted: tuple[str, ...]) -> Iterator[dict[str, str]]:
    """Every way in which sockets, controllers and channels of equal build can trade places: slot to slot.

    Sockets of which a rule names one and not the other are not equal.
    """
    sockets = [board.socket(socket_id) for socket_id in fitted]
    shapes = [
        (
            [[len(ch.slots) for ch in c.channels] for c in socket.controllers],
            [row.id for row in rules_of(board) if socket.id in row.only_at],
        )
        for socket in sockets
    ]
    slots = [slot for socket in sockets for slot in socket.slots]
    for order in itertools.permutations(range(len(sockets))):
        if [shapes[place] for place in order] == shapes:
            for chosen in itertools.product(*(orders_of_controllers(sockets[place]) for place in order)):
                yield dict(zip(slots, itertools.chain(*chosen), strict=True))


def stays(content: Content, lying: Content) -> int:
    return sum(module is not None and lying.get(slot) == module for slot, module in content.items())


@pytest.mark.parametrize("start", sampled(range(0, 160, 20), 1))
def test_no_exchange_of_equal_parts_leaves_more_in_place(start: int) -> None:
    """The answer and all beside it, against every exchange that keeps every criterion, and the slots on hold."""
    compared = better = 0
    for seed in range(start, start + 20):
        board, request = random_case(seed)
        rng = random.Random(f"stay {seed}")
        ways = list(itertools.islice(exchanges(board, request.fitted), 201))
        if len(ways) > 200 or board.interleave.style == "groups":  # there a pair of channels may equal another pair
            continue
        slots = [slot for socket_id in request.fitted for slot in board.socket(socket_id).slots]
        hold = tuple(slot for slot in slots if rng.random() < 0.08)
        lying = {slot: rng.choice([None, *(s.module for s in request.supplies)]) for slot in slots if slot not in hold}
        try:
            plain = solve_from(board, request, Start(stays={}, hold=hold))
        except ImpossibleError:
            continue
        answer = solve_from(board, request, Start(stays={}, hold=hold, lying=lying))
        before = [plain.best, *plain.runners_up, plain.step_above, plain.step_below]
        after = [answer.best, *answer.runners_up, answer.step_above, answer.step_below]
        space = Space(board, request)
        for old, new in zip(before, after, strict=True):
            if old is None or new is None:
                assert old is new
                continue
            assert new.vector == old.vector == vector_of(space, answer.criteria, new.content), f"seed {seed}"
            assert not any(new.content.get(slot) for slot in hold), f"seed {seed}"
            every = vector_of(space, CRITERIA.values(), new.content)
            contents = [{goal: new.content[way[goal]] for goal in way} for way in ways]
            most = max(
                stays(content, lying)
                for content in contents
                if not any(content[slot] for slot in hold) and vector_of(space, CRITERIA.values(), content) == every
            )
            assert stays(new.content, lying) >= most, f"seed {seed}"
            compared += 1
            better += stays(new.content, lying) > stays(old.content, lying)
    assert compared >= 10
    assert better >= 1


@pytest.mark.parametrize(
    ("board_id", "slots"),
    [
        ("skerry-16", ("K1", "M1", "P1", "R1", "T1", "V1", "W1", "Y1")),  # M and R have one slot, L and Q two
        ("tombolo-32", tuple(f"{socket}-{channel}-head" for socket in ("isle", "shore") for channel in "WY")),
    ],
)
def test_modules_stay_in_places_that_are_as_good_though_no_equal_parts(board_id: str, slots: tuple[str, ...]) -> None:
    board = load_board(board_id)
    request = ask(board, f"{32 * len(slots)}GiB", modules=["32GiB"])
    lying = dict.fromkeys(board.slots) | dict.fromkeys(slots, board.module_of_size(32))
    answer = solve_from(board, request, Start(stays={}, lying=lying), alternatives=False)
    assert answer.best.content == lying
    later = ask(board, f"{32 * len(slots) + 64}GiB", modules=["32GiB"])
    assert grow(board, [request, later], start=Start(stays={}, lying=lying)).chain.contents[0] == lying
    smaller = ask(board, f"{16 * len(slots)}GiB", modules=["32GiB"])
    answer = solve_from(board, smaller, Start(stays={}, lying=lying), alternatives=False)
    assert stays(answer.best.content, lying) == len(slots) // 2
    part = dict.fromkeys(board.slots) | dict.fromkeys(slots[1:], board.module_of_size(32))
    answer = solve_from(board, request, Start(stays={}, lying=part), alternatives=False)
    assert stays(answer.best.content, part) == len(slots) - 1


@pytest.mark.parametrize("start", sampled(range(0, 400, 40), 1))
def test_of_all_equal_placements_the_one_is_given_in_which_most_modules_stay(start: int) -> None:
    """Against brute force: every slot of the first by criteria, then by what stays, then by board order."""
    elsewhere = 0
    for seed in range(start, start + 40):
        board, request = SORTS[seed % len(SORTS)](seed)
        rng = random.Random(f"lying {seed}")
        modules = [supply.module for supply in request.supplies]
        lying = {slot: rng.choice([None, *modules]) for slot in board.slots}
        try:
            answer = solve_from(board, request, Start(stays={}, lying=lying), alternatives=False)
        except ImpossibleError:
            continue
        assert answer.proven, f"seed {seed}"
        wired = as_wired(board, request)
        lying = {slot: module for slot, module in lying.items() if slot in wired.slots}
        assert filled(answer.best.content) == filled(best(wired, request, lying).placement), f"seed {seed}"
        elsewhere += filled(answer.best.content) != filled(best(wired, request).placement)
    assert elsewhere


def filled(content: Content | None) -> Content:
    return {slot: module for slot, module in (content or {}).items() if module}


def test_a_plan_over_itself_moves_nothing() -> None:
    """Any exchange of equal parts of a plan is what the machine holds: then nothing has to move."""
    for board_id, capacity in (("skerry-16", "320GiB"), ("machair-20", "480GiB"), ("causeway-48", "1280GiB")):
        board = load_board(board_id)
        request = ask(board, capacity)
        content = plan(board, request, alternatives=False).placement.content
        rng = random.Random(board_id)
        way = rng.choice(list(itertools.islice(exchanges(board, request.fitted), 5000)))
        lying = {goal: content[way[goal]] for goal in way}
        space = Space(board, request)
        if vector_of(space, CRITERIA.values(), lying) == vector_of(space, CRITERIA.values(), content):
            answer = solve_from(board, request, Start(stays={}, lying=lying), alternatives=False)
            assert {slot: answer.best.content[slot] for slot in lying} == lying
