"""Mirrored and sparing plans: against brute force, and against the published rules on them."""

from __future__ import annotations

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.errors import ImpossibleError
from dimmplan.model.module import Generation
from dimmplan.model.request import Mode
from dimmplan.planner import ask, plan
from dimmplan.solve.answer import solve
from tests.oracle.brute import best
from tests.oracle.random_boards import make_board, random_mode_case
from tests.support import mode_breaches, sampled, whole_matrix

SEEDS = 160
STEP = 20


@pytest.mark.parametrize("start", sampled(range(0, SEEDS, STEP), 1))
def test_modes_give_what_brute_force_gives(start: int) -> None:
    """The whole vector and every slot, or both say that nothing fits and name the same capacity below."""
    for seed in range(start, start + STEP):
        board, request = random_mode_case(seed)
        expected = best(board, request)
        try:
            answer = solve(board, request, alternatives=False)
        except ImpossibleError as error:
            assert expected.vector is None, seed
            assert (error.below_gib, error.above_gib) == (expected.below_gib, expected.above_gib), seed
            continue
        names = [criterion.name for criterion in answer.criteria]
        assert expected.vector is not None, seed
        assert list(zip(names, answer.best.vector, strict=True)) == list(map(tuple, expected.vector)), seed
        assert expected.placement is not None
        filled = {slot: module for slot, module in answer.best.content.items() if module}
        assert filled == {slot: module for slot, module in expected.placement.items() if module}, seed


@whole_matrix
def test_the_seeds_hold_plans_and_refusals_of_both_modes() -> None:
    seen = set()
    for seed in range(SEEDS):
        board, request = random_mode_case(seed)
        seen.add((request.mode, best(board, request).vector is not None))
    assert seen == {(mode, fits) for mode in (Mode.MIRRORED, Mode.SPARING) for fits in (True, False)}


def test_three_channels_of_a_controller_mirror_to_half() -> None:
    """guide-05: two or three channels of each controller, identical modules; three of 32 GiB give 48."""
    board = load_board("saltern-24")
    request = ask(board, "48GiB", modules=["32GiB"], fitted="low", mode="mirrored")
    placement = plan(board, request, alternatives=False).placement
    filled = [board.channel_of[slot] for slot, module in placement.slots if module]
    assert len(filled) == 3 and len({channel.controller for channel in filled}) == 1


@pytest.mark.parametrize(("modules", "holds"), [(6, False), (8, True), (12, False), (16, True)])
def test_eight_or_sixteen_modules_a_processor(modules: int, holds: bool) -> None:
    """guide-15: mirroring with 8 or 16 modules per processor and one part number only."""
    board = load_board("lagoon-32")
    socket = board.sockets[0]
    module = board.module_of_size(64)
    order = [channel.slots[depth] for depth in (0, 1) for channel in socket.channels]
    content = dict.fromkeys(order[:modules], module)
    broken = mode_breaches(board, Mode.MIRRORED, (socket.id,), content)
    assert (not broken) == holds
    mixed = content | dict.fromkeys(order[:4], board.module_of_size(32))
    assert mode_breaches(board, Mode.MIRRORED, (socket.id,), mixed)


def test_sparing_gives_up_the_largest_rank_of_each_channel() -> None:
    """guide-16 p. 166: the spare rank is at least as large as any other of its channel; its capacity is lost."""
    board = load_board("lagoon-32")
    planned = plan(board, ask(board, "256GiB", modules=["64GiB"], fitted=board.sockets[0].id, mode="sparing"))
    channels = {board.channel_of[slot].name for slot, module in planned.placement.slots if module}
    held = sum(module.capacity_gib for _, module in planned.placement.slots if module)
    assert planned.answer.best.usable_gib == held - 32 * len(channels)


def test_a_board_without_the_row_refuses_the_mode() -> None:
    board = load_board("skerry-16")
    for mode in ("mirrored", "sparing"):
        with pytest.raises(ImpossibleError, match=f"no row for the mode {mode}"):
            plan(board, ask(board, "192GiB", mode=mode))


@pytest.mark.parametrize("within", ["controller", "socket"])
@pytest.mark.parametrize("gib", [16, 32, 48, 64])
def test_listed_groups_mirror_within_a_controller_or_a_socket(within: str, gib: int) -> None:
    """Two controllers of two channels: the two that mirror each other may be told to share a controller."""
    board = make_board(
        {"S1": {"m0": {"A": ["A1", "A2"], "B": ["B1"]}, "m1": {"C": ["C1"], "D": ["D1", "D2"]}}},
        modules=["16GB 1Rx4 PC4-2666V-R", "32GB 2Rx4 PC4-2666V-R"],
        interleave={"style": "groups", "groups": [{"channels": ["A", "D"]}, {"channels": ["B", "C"]}]},
        rules=[
            {"id": "kinds", "check": "accept", "field": "kind", "values": ["RDIMM"], "source": "INVENTED"},
            {"id": "mirror", "check": "mirroring", "group_channels": 2, "within": within, "source": "INVENTED"},
        ],
        rates=[{"id": f"rate-{dpc}", "dpc": dpc, "mts": 2666, "source": "INVENTED"} for dpc in (1, 2)],
        rates_mts=[2666],
        generation=Generation.DDR4,
    )
    request = ask(board, f"{gib}GiB", mode="mirrored")
    expected, answer = best(board, request), solve(board, request, alternatives=False)
    names = [criterion.name for criterion in answer.criteria]
    assert expected.vector is not None
    assert list(zip(names, answer.best.vector, strict=True)) == list(map(tuple, expected.vector))
    assert expected.placement is not None
    filled = {slot: module for slot, module in answer.best.content.items() if module}
    assert filled == {slot: module for slot, module in expected.placement.items() if module}
