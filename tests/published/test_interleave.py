"""Regions and shares against the worked table of the model and against what makers and kernel sources publish.

Where a publisher's figure and the model's differ, the model's is asserted and the difference stands beside it.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.figures import SocketFigures, placement_figures
from dimmplan.model.board import Board
from dimmplan.model.rows import InterleaveRow
from dimmplan.planner import ask, plan
from dimmplan.rules import AlikeRow, CountsRow
from dimmplan.sources import SOURCES
from tests.support import (
    filled,
    gib_by_channel,
    interleave_row,
    regions_of,
    share_of,
    shipped_boards,
    usual,
    ways_and_gib,
)

SIX = interleave_row("even", [1, 2, 3, 4, 6])
EIGHT = interleave_row("even", [1, 2, 4, 6, 8])
TWELVE = interleave_row("any", [1, 2, 4, 6, 8, 10, 12])
THREE_ALONE = interleave_row("any", [1, 2, 4], "alone")
FOUR = interleave_row("even", [1, 2, 4])

PAIRS = ("AB", "CD", "EF", "GH")
QUADS = ("ABCD", "EFGH", "CDGH")
SIX_WAY = "ACDEGH"


def paired(*, six_way: str, quads: str = "exclusive") -> InterleaveRow:
    """The sets of guide-02 p. 15; quads and the six-way one ``listed``, ``exclusive`` or ``absent``.

    The guide states both with nothing else filled: ``exclusive``.
    """
    groups: list[dict[str, object]] = [{"channels": list(pair), "excess": "alone"} for pair in PAIRS]
    groups += [{"channels": list(quad), "excess": "none", "exclusive": quads == "exclusive"} for quad in QUADS]
    if six_way != "absent":
        groups.append({"channels": list(SIX_WAY), "excess": "none", "exclusive": six_way == "exclusive"})
    groups.append({"channels": list("ABCDEFGH"), "excess": "none"})
    return interleave_row("groups", groups=groups)


def on_pairs(amounts: dict[str, int]) -> list[list[int]]:
    """GiB of channels A to H, two on each controller."""
    return [[amounts.get(channel, 0) for channel in pair] for pair in PAIRS]


def one_of_each(channels: str, gib: int) -> list[list[int]]:
    return on_pairs(dict.fromkeys(channels, gib))


# The worked table. Its shares are printed with three or four decimals.


@pytest.mark.parametrize(
    ("row", "amounts", "expected", "share", "printed"),
    [
        (SIX, [[32, 32, 0], [32, 32, 0]], [(4, 128)], Fraction(2, 3), "0.667"),
        (SIX, [[32, 32, 32], [32, 32, 0]], [(4, 128), (1, 32)], Fraction(5, 12), "0.417"),
        (SIX, [[32, 32, 32], [32, 32, 32]], [(6, 192)], Fraction(1), "1"),
        (SIX, [[64, 32, 32], [64, 32, 32]], [(6, 192), (2, 64)], Fraction(2, 3), "0.667"),
        (SIX, [[64, 64, 0], [64, 64, 0]], [(4, 256)], Fraction(2, 3), "0.667"),
        (SIX, [[64, 64, 32], [64, 64, 32]], [(6, 192), (4, 128)], Fraction(5, 6), "0.833"),
        (SIX, [[64, 64, 64], [64, 64, 32]], [(6, 192), (4, 128), (1, 32)], Fraction(11, 18), "0.611"),
        (EIGHT, [[16, 16], [16, 16], [16, 0], [0, 0]], [(4, 64), (1, 16)], Fraction(5, 16), "0.3125"),
        (paired(six_way="absent"), on_pairs({"A": 32, "B": 16}), [(2, 32), (1, 16)], Fraction(3, 16), "0.1875"),
        *(
            (paired(six_way=six_way, quads=quads), one_of_each(seven, 16), regions, share, printed)
            for seven in ("ACDEFGH", "ABCDEGH")
            for six_way, quads, regions, share, printed in (
                ("listed", "listed", [(6, 96), (1, 16)], Fraction(7, 16), "0.4375"),
                ("exclusive", "exclusive", [(2, 32), (2, 32), (2, 32), (1, 16)], Fraction(7, 32), "0.2188"),
                ("exclusive", "listed", [(4, 64), (2, 32), (1, 16)], Fraction(7, 24), "0.2917"),
            )
        ),
        (TWELVE, [[64] * 6, [64] * 3 + [0] * 3], [(8, 512), (1, 64)], Fraction(3, 8), "0.375"),
        (THREE_ALONE, [[64, 32, 32]], [(2, 64), (1, 32), (1, 32)], Fraction(4, 9), "0.4444"),
        (FOUR, [[32, 32], [16, 16]], [(4, 64), (2, 32)], Fraction(3, 4), "0.75"),
    ],
)
def test_worked_table(
    row: InterleaveRow, amounts: list[list[int]], expected: list[tuple[int, int]], share: Fraction, printed: str
) -> None:
    """Every row of the model's worked table: regions in order, the exact share, and the share as printed."""
    found = regions_of(row, amounts)
    assert ways_and_gib(found) == expected
    exact = share_of(found, sum(map(len, amounts)))
    assert exact == share
    decimals = len(printed.partition(".")[2])
    assert f"{float(exact):.{decimals}f}" == printed


@pytest.mark.parametrize("seed", range(20))
def test_eleven_of_twelve_on_whichever_channels(seed: int) -> None:
    """Three of 128 and eight of 64 GiB on twelve channels: ten ways, then four, wherever they lie."""
    loads = [128] * 3 + [64] * 8 + [0]
    random.Random(seed).shuffle(loads)
    width = (12, 6, 4, 3)[seed % 4]
    found = regions_of(TWELVE, [loads[start : start + width] for start in range(0, 12, width)])
    assert ways_and_gib(found) == [(10, 640), (4, 256)]
    assert share_of(found, 12) == Fraction(7, 12)


def test_eleven_of_twelve_slots_is_worse_than_six_or_twelve() -> None:
    """The row of eleven modules sweeps slower than six and than twelve on the same socket."""
    eleven = share_of(regions_of(SIX, [[64, 64, 64], [64, 64, 32]]), 6)
    six = share_of(regions_of(SIX, [[32, 32, 32], [32, 32, 32]]), 6)
    twelve = share_of(regions_of(SIX, [[64, 64, 64], [64, 64, 64]]), 6)
    assert eleven < six == twelve == 1


def test_eight_stacked_sweep_like_eight_as_six_and_two() -> None:
    """Two on each of four channels and six plus two: one share, and only the number of regions tells them apart."""
    stacked = regions_of(SIX, [[64, 64, 0], [64, 64, 0]])
    spread = regions_of(SIX, [[64, 32, 32], [64, 32, 32]])
    assert share_of(stacked, 6) == share_of(spread, 6) == Fraction(2, 3)
    assert (len(stacked), len(spread)) == (1, 2)


@pytest.mark.parametrize("order", list(itertools.permutations(range(4))))
def test_the_example_that_must_not_depend_on_the_order_of_controllers(order: Sequence[int]) -> None:
    """Even 1, 2, 4, 6, 8 over [96,96],[32,32],[0,64],[64,0]: the same regions in any order of controllers.

    Two sets of four tie in depth and sum: two channels each of the first two controllers, or one of each controller.
    What the second leaves, [96,64],[32,0],[32,0],[32,0], is the greater, so it comes first.
    """
    controllers = [[96, 96], [32, 32], [0, 64], [64, 0]]
    found = regions_of(EIGHT, [controllers[index] for index in order])
    assert ways_and_gib(found) == [(4, 128), (4, 128), (2, 128)]


# Whole boards: the same figures from placements


def without_advice(board: Board) -> Board:
    """The board without its advised rows on counts, so that every count can be looked at."""
    rules = tuple(row for row in board.rules if not isinstance(row, CountsRow | AlikeRow))
    return replace(board, rules=rules)


def best_figures(board: Board, socket: str, modules: int) -> SocketFigures:
    """Figures of the best placement of that many 32 GiB modules at one socket alone."""
    gib = 32 * modules
    request = ask(board, f"{gib}GiB", modules=["32GiB"], fitted=socket, over="0GiB")
    placement = plan(board, request, alternatives=False).placement
    figures = placement_figures(board, board.processor(None), [socket], placement.content)
    assert figures.modules == modules
    return figures.sockets[0]


SIX_CHANNELS = [
    # modules per processor, the model's share, percent as printed by guide-01
    (1, Fraction(1, 6), "16.7"),
    (2, Fraction(1, 3), "33"),
    (3, Fraction(1, 2), "50"),
    (4, Fraction(2, 3), "66"),
    (6, Fraction(1), "100"),
    (8, Fraction(2, 3), "66"),
    (12, Fraction(1), "100"),
]


@pytest.mark.parametrize(("modules", "share", "printed"), SIX_CHANNELS)
def test_six_channels_by_modules_per_processor(modules: int, share: Fraction, printed: str) -> None:
    """guide-01: 1, 2, 3, 4, 6, 8, 12 modules give 16.7, 33, 50, 66, 100, 66, 100 % of bandwidth.

    The document cuts two thirds to 66 and one third to 33, and rounds one sixth to 16.7: no other difference.
    """
    found = best_figures(load_board("saltern-24"), "low", modules)
    assert found.share == share
    percent = share * 100
    decimals = len(printed.partition(".")[2])
    cut = Fraction(int(percent * 10**decimals), 10**decimals)
    rounded = Fraction(round(percent * 10**decimals), 10**decimals)
    assert Fraction(printed) in (cut, rounded)


def test_eight_per_processor_are_two_each_on_four_channels() -> None:
    """guide-01: eight modules lie as two on each of four channels, two channels of each controller."""
    board = load_board("saltern-24")
    request = ask(board, "256GiB", modules=["32GiB"], fitted="low", over="0GiB")
    placement = plan(board, request, alternatives=False).placement
    assert gib_by_channel(board, placement.content)["low"] == [[64, 64, 0], [64, 64, 0]]


def test_nine_per_processor_are_unbalanced() -> None:
    """guide-01 gives nine modules no figure and calls them unbalanced: the model has more than one region."""
    found = best_figures(without_advice(load_board("saltern-24")), "low", 9)
    assert len(found.regions) > 1
    assert found.share < 1


IN_PAIRS = [
    # modules, the model's percent, percent of best as report-01 measured it, difference in points
    (2, 25, 28, 3),
    (4, 50, 54, 4),
    (8, 100, 100, 0),
]


@pytest.mark.parametrize(("modules", "model", "measured", "difference"), IN_PAIRS)
def test_eight_channels_in_pairs_by_modules(modules: int, model: int, measured: int, difference: int) -> None:
    """report-01 measured about 28, 54 and 100 % of best for 2, 4 and 8 modules; the model says 25, 50 and 100."""
    board = load_board("tombolo-32")
    found = best_figures(board, "isle", modules)
    assert found.share == Fraction(model, 100)
    assert measured - found.share * 100 == difference


@pytest.mark.parametrize("board_id", ["own", "groyne-24"])
def test_six_modules_on_four_channels(board_id: str) -> None:
    """article-02: six 16 GB modules on four channels are 64 GB four-way and 32 GB two-way."""
    if board_id == "own":
        found = ways_and_gib(regions_of(FOUR, [[32, 32], [16, 16]]))
    else:
        board = load_board(board_id)
        assert board.interleave.source == "article-02"
        content = filled(board, usual(board, 16), {"fore": [2, 2, 1, 1]})
        figures = placement_figures(board, board.processor(None), ["fore"], content)
        found = [(region.ways, region.capacity_gib) for region in figures.sockets[0].regions]
    assert found == [(4, 64), (2, 32)]


def test_full_board_against_one_module_per_channel() -> None:
    """Six of twelve slots were measured at about 97 % of all twelve (common practice, no source).

    The model gives both share 1: two modules on a channel overlapping their ranks are not in it. Difference: 3 points.
    """
    board = load_board("saltern-24")
    six, twelve = (best_figures(board, "low", modules).share for modules in (6, 12))
    assert six == twelve == 1
    assert 100 * six / twelve - 97 == 3


def test_unbalanced_layouts_have_several_regions() -> None:
    """guide-18 p. 398: unbalanced layouts split the memory of six channels into several regions."""
    board = without_advice(load_board("saltern-24"))
    assert {modules for modules in range(1, 13) if len(best_figures(board, "low", modules).regions) > 1} == {
        5,
        7,
        9,
        10,
        11,
    }


# guide-07


@pytest.mark.parametrize("modules", [1, 2, 3, 4, 6, 8])
def test_recommended_counts_are_one_region(modules: int) -> None:
    """guide-07 recommends 1, 2, 3, 4, 6 or 8 modules per processor: each of them is one region in the model."""
    assert len(best_figures(load_board("saltern-24"), "low", modules).regions) == 1


@pytest.mark.parametrize("modules", [5, 7])
def test_five_and_seven_are_uneven(modules: int) -> None:
    """guide-07 calls 5 and 7 modules per processor uneven: the model has several regions, and the row is broken."""
    board = load_board("saltern-24")
    found = best_figures(board, "low", modules)
    assert len(found.regions) > 1
    row = next(row for row in board.rules if isinstance(row, CountsRow))
    assert row.source == "guide-07"
    assert modules not in row.modules
    assert {1, 2, 3, 4, 6, 8} <= set(row.modules)


# guide-02 p. 15


def first_ways(row: InterleaveRow, channels: Sequence[str]) -> int:
    return max(region.ways for region in regions_of(row, one_of_each("".join(channels), 16)))


@pytest.mark.parametrize(
    ("size", "listed"),
    [(2, PAIRS), (4, QUADS), (6, (SIX_WAY,)), (8, ("ABCDEFGH",))],
)
def test_only_the_listed_channels_work_together(size: int, listed: Sequence[str]) -> None:
    """guide-02 p. 15: of all sets of 2, 4, 6 and 8 channels with equal modules only the listed ones are one region."""
    row = paired(six_way="exclusive")
    whole = {"".join(c) for c in itertools.combinations("ABCDEFGH", size) if first_ways(row, c) == size}
    assert whole == set(listed)


def test_older_parts_have_no_six_way_set() -> None:
    """guide-02 p. 15: the six-way set is of newer parts; without it the same six modules are pairs and single."""
    found = ways_and_gib(regions_of(paired(six_way="absent"), one_of_each(SIX_WAY, 16)))
    assert found == [(2, 32), (2, 32), (1, 16), (1, 16)]


def test_unequal_sizes_share_no_larger_set() -> None:
    """guide-02 p. 15: larger sets want equal sizes; with one larger module in ABCD only the pairs are left.

    The larger module's excess comes right behind its pair.
    """
    found = ways_and_gib(regions_of(paired(six_way="exclusive"), on_pairs({"A": 32, "B": 16, "C": 16, "D": 16})))
    assert found == [(2, 32), (1, 16), (2, 32)]


@pytest.mark.parametrize("pair", PAIRS)
def test_excess_of_the_larger_module_in_a_pair_is_not_interleaved(pair: str) -> None:
    """guide-02 p. 15: in a pair, what the larger module has more is served one-way."""
    found = ways_and_gib(regions_of(paired(six_way="exclusive"), on_pairs({pair[0]: 64, pair[1]: 16})))
    assert found == [(2, 32), (1, 48)]


def test_the_paired_board_lists_the_same_sets() -> None:
    """The shipped board in pairs cites guide-02 and lists just its sets, under its own channel letters."""
    board = load_board("tombolo-32")
    assert board.interleave.source == "guide-02"
    assert SOURCES["guide-02"].place == "p. 15"
    letters = dict(zip((channel.id for channel in board.sockets[0].channels), "ABCDEFGH", strict=True))
    listed = {"".join(sorted(letters[c] for c in g.channels)): (g.excess, g.exclusive) for g in board.interleave.groups}
    pairs = dict.fromkeys(PAIRS, ("alone", False))
    alone = dict.fromkeys((*QUADS, SIX_WAY), ("none", True))
    assert listed == pairs | alone | {"ABCDEFGH": ("none", False)}


def test_seven_of_eight_on_the_paired_board_work_in_pairs() -> None:
    """guide-02 p. 15: with a seventh channel filled neither quads nor the six hold; 7/32 of the peak."""
    board = load_board("tombolo-32")
    found = best_figures(board, "isle", 7)
    assert [(region.ways, region.capacity_gib) for region in found.regions] == [(2, 64), (2, 64), (2, 64), (1, 32)]
    assert found.share == Fraction(7, 32)


# Kernel sources

ATL_KNOWS = {1, 2, 3, 4, 5, 6, 8, 10, 12}
ATL_ONLY_SPLIT = {3, 5}


@pytest.mark.parametrize("modules", range(1, 13))
def test_ways_of_twelve_channels(modules: int) -> None:
    """kernel-01: never 7, 9 or 11 ways, and the odd ones only when the socket is split, which the model does not do."""
    board = load_board("strand-12")
    assert board.interleave.source == "kernel-01"
    content = filled(board, usual(board, 64), {"tide": [1] * modules + [0] * (12 - modules)})
    found = placement_figures(board, board.processor(None), ["tide"], content).sockets[0].regions
    ways = {region.ways for region in found}
    assert ways <= ATL_KNOWS - ATL_ONLY_SPLIT
    assert max(ways) == max(known for known in ATL_KNOWS - ATL_ONLY_SPLIT if known <= modules)
    assert sum(region.capacity_gib for region in found) == 64 * modules


TWO_CONTROLLERS = [board for board in shipped_boards() if board.interleave.source == "kernel-02"]


@pytest.mark.parametrize("board", TWO_CONTROLLERS, ids=lambda board: board.id)
def test_ways_of_two_controllers(board: Board) -> None:
    """kernel-02: one to three channels a controller, the same on both: 1, 2, 3, 4, 6 ways and no others."""
    ways = {controllers * channels for controllers in (1, 2) for channels in (1, 2, 3)}
    row = board.interleave
    assert set(row.ways) == ways
    assert all([len(c.channels) for c in socket.controllers] == [3, 3] for socket in board.sockets)
    for amounts in itertools.product((0, 32, 64), repeat=6):
        if any(amounts):
            found = regions_of(row, [amounts[:3], amounts[3:]])
            assert len(found) <= 24  # the part's list of region rules
            for region in found:
                left = sum(channel < 3 for channel in region.channels)
                assert region.ways in ways
                assert left in (0, region.ways, region.ways - left)


def test_boards_cite_the_two_controller_source() -> None:
    """The test above looks at four boards."""
    assert [board.id for board in TWO_CONTROLLERS] == ["firth-96", "quay-24", "saltern-24", "skerry-16"]
