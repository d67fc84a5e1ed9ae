"""Mirrored and sparing plans: against brute force, and against the published rules on them."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import Any

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.errors import ImpossibleError
from dimmplan.growth.pinned import staying
from dimmplan.model.board import Board
from dimmplan.model.module import Generation
from dimmplan.model.request import Mode, Request
from dimmplan.plancode.code import decode, encode, read_head
from dimmplan.planner import ask, plan
from dimmplan.sheet.facts import gather
from dimmplan.sheet.stages import first_boot
from dimmplan.solve.answer import solve, solve_in
from dimmplan.solve.space import Space
from tests.oracle.brute import best
from tests.oracle.random_boards import make_board, random_mode_case, random_part_mode_case
from tests.support import mode_breaches, sampled, whole_matrix

SEEDS = 160
STEP = 20


@pytest.mark.parametrize("case", [random_mode_case, random_part_mode_case])
@pytest.mark.parametrize("start", sampled(range(0, SEEDS, STEP), 1))
def test_modes_give_what_brute_force_gives(start: int, case: Callable[[int], tuple[Board, Request]]) -> None:
    """The whole vector and every slot, or both say that nothing fits and name the same capacity below."""
    for seed in sampled(range(start, start + STEP), 8):
        board, request = case(seed)
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
    cases = (case(seed) for case in (random_mode_case, random_part_mode_case) for seed in range(SEEDS))
    seen = {(request.mode, best(board, request).vector is not None) for board, request in cases}
    assert seen == {(mode, fits) for mode in set(Mode) - {Mode.INDEPENDENT} for fits in (True, False)}


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


def board_of_pairs(*rows: dict[str, Any]) -> Board:
    """Two controllers of two channels, wired alike at two sockets."""
    return make_board(
        {s: {"m0": {"A": [f"{s}A"], "B": [f"{s}B"]}, "m1": {"C": [f"{s}C"], "D": [f"{s}D"]}} for s in ("S1", "S2")},
        modules=["32GB 2Rx4 PC4-2666V-R", "64GB 2Rx4 PC4-2666V-R"],
        interleave={"style": "even", "ways": [1, 2, 4], "source": "INVENTED"},
        rules=[
            {"id": "kinds", "check": "accept", "field": "kind", "values": ["RDIMM"], "source": "INVENTED"},
            *({"source": "INVENTED"} | row for row in rows),
        ],
        rates=[{"id": "rate", "dpc": 1, "mts": 2400, "source": "INVENTED"}],
        rates_mts=[2400],
        generation=Generation.DDR4,
    )


@pytest.mark.parametrize(("row", "copies"), [({"mirrored_gib": 16}, 32), ({"mirrored_percent": 25}, 64)])
def test_a_partial_mirror_shows_what_is_installed_less_the_copies(row: dict[str, Any], copies: int) -> None:
    """Eight of 32 GiB: the copies are 16 GiB at each of two sockets, or a quarter; the sweep is that of all 256 GiB."""
    board = board_of_pairs({"id": "part", "check": "partial-mirroring"} | row)
    planned = plan(board, ask(board, f"{256 - copies}GiB", mode="partly-mirrored"))
    figures = planned.figures
    assert (figures.usable_gib, figures.capacity_gib, figures.modules) == (256 - copies, 256, 8)
    assert figures.system_sweep_gb_s == 8 * Fraction("19.2")  # 2400 MT/s x 8 bytes on each channel
    assert planned.answer.best.usable_gib == 256 - copies
    assert [region.capacity_gib for socket in figures.sockets for region in socket.regions] == [128, 128]
    assert decode(read_head(encode(board, planned.placement)), board).mode is Mode.PARTLY_MIRRORED
    named = gather(board, planned.placement).amount
    assert named.startswith(f"{256 - copies} GiB PARTLY MIRRORED (256 GiB installed)")


def test_a_partial_mirror_leaves_sockets_apart_by_what_they_show() -> None:
    """Three and four of 32 GiB, of which a quarter are copies: 72 and 96 GiB are 24 GiB apart."""
    board = board_of_pairs({"id": "part", "check": "partial-mirroring", "mirrored_percent": 25})
    planned = plan(board, ask(board, "168GiB", modules=["32GiB"], mode="partly-mirrored"))
    assert [socket.usable_gib for socket in planned.figures.sockets] == [96, 72]
    assert planned.figures.socket_difference_gib == 24


@pytest.mark.parametrize(("given", "peak"), [(None, "19.2"), ("both", "19.2"), ("one", "9.6")])
def test_channels_in_lockstep_hold_the_same_and_no_capacity_is_lost(given: str | None, peak: str) -> None:
    """192 GiB at each socket are a pair of 64 and a pair of 32; a pair is one region of two ways beyond 128 GiB."""
    board = board_of_pairs({"id": "lock", "check": "lockstep", "pairs": [["A", "B"], ["D", "C"]], "pair_peak": given})
    planned = plan(board, ask(board, "384GiB", mode="lockstep"))
    content, figures = planned.placement.content, planned.figures
    for socket in ("S1", "S2"):
        assert content[f"{socket}A"] == content[f"{socket}B"] and content[f"{socket}C"] == content[f"{socket}D"]
    assert (figures.usable_gib, figures.capacity_gib) == (384, 384)
    regions = [(region.ways, region.capacity_gib, region.peak_gb_s) for region in figures.sockets[0].regions]
    assert regions == [(4, 128, 4 * Fraction(peak)), (2, 64, 2 * Fraction(peak))]
    facts = gather(board, planned.placement)
    assert facts.amount.startswith("384 GiB LOCKSTEP ·") and "until" not in str([*first_boot(facts)])


def test_a_controller_without_a_pair_is_one_without_memory() -> None:
    """Two sockets of one pair each, one of them with a controller beside it that no pair is on: 64 GiB apart."""
    lock = {"id": "lock", "check": "lockstep", "pairs": [["A", "B"], ["D", "E"]], "source": "INVENTED"}
    kinds = {"id": "kinds", "check": "accept", "field": "kind", "values": ["RDIMM"], "source": "INVENTED"}
    board = make_board(
        {"S1": {"m0": {"A": ["A"], "B": ["B"]}}, "S2": {"m0": {"D": ["D"], "E": ["E"]}, "m1": {"F": ["F"]}}},
        modules=["32GB 2Rx4 PC4-2666V-R"],
        interleave={"style": "any", "ways": [1, 2], "source": "INVENTED"},
        rules=[kinds, lock],
        rates=[{"id": "rate", "dpc": 1, "mts": 2400, "source": "INVENTED"}],
        rates_mts=[2400],
        generation=Generation.DDR4,
    )
    answer = solve(board, ask(board, "128GiB", mode="lockstep"), alternatives=False)
    values = {criterion.name: value for criterion, value in zip(answer.criteria, answer.best.vector, strict=True)}
    assert values["controller_difference_gib"] == 64


def test_modules_that_stay_are_counted_in_both_channels_of_a_pair() -> None:
    """A module kept in the second channel of a pair wants its like in the first."""
    board = board_of_pairs({"id": "lock", "check": "lockstep", "pairs": [["A", "B"], ["C", "D"]]})
    request = ask(board, "128GiB", modules=["32GiB"], mode="lockstep")
    module = request.supplies[0].module
    answer = solve_in(Space(board, request, staying({"S1D": module, "S2A": module})))
    assert answer is not None
    assert {slot for slot, held in answer.best.content.items() if held} == {"S1C", "S1D", "S2A", "S2B"}


def test_sockets_that_lockstep_makes_alike_are_still_built_differently() -> None:
    """Seed 396: a row wants sockets populated alike; a slot that lockstep leaves empty still sets them apart."""
    board, request = random_part_mode_case(396)
    expected, answer = best(board, request), solve(board, request, alternatives=False)
    assert expected.vector is not None
    assert [value for _, value in expected.vector] == list(answer.best.vector)
