"""The figures of one irregular placement, worked out by hand and compared whole, at each scope of the rate."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from dimmplan.figures import (
    NO_RATE,
    PlacementFigures,
    RegionFigures,
    SocketFigures,
    is_low_rank,
    placement_figures,
    socket_rates,
)
from dimmplan.model.board import Board
from dimmplan.model.request import Mode
from dimmplan.model.rows import InterleaveRow, ProcessorOption
from dimmplan.rates import ChannelRate
from dimmplan.rules import Content
from tests.rules.boards import BOARD, M16, M16X8, M32, board_with, in_slots

# 48, 32 and 16 GiB on the three channels of S1, the last on a controller of its own; 16 GiB on one of two of S2
CONTENT = in_slots(A1=M32, A2=M16, B1=M32, C1=M16, D1=M16)
RATES = tuple(rate.model_copy(update={"mts": mts}) for rate, mts in zip(BOARD.rates, (2933, 2400), strict=True))
ONE, TWO = ChannelRate(2933, "dpc-1"), ChannelRate(2400, "dpc-2")
GB_S = {mts: Fraction(mts * 8, 1000) for mts in (2400, 2933)}
"""Peak of one channel."""


def figures(scope: str, content: Content = CONTENT, **changed: Any) -> PlacementFigures:
    board = board_with(rates=RATES, rate_scope=scope)
    return placement_figures(board, None, ("S1", "S2"), content, **changed)


def first(peak: Fraction) -> SocketFigures:
    """S1 where all its regions run at 2400 MT/s: one over three channels, one over two, one alone."""
    at = GB_S[2400]
    return SocketFigures(
        socket="S1",
        capacity_gib=96,
        usable_gib=96,
        modules=4,
        rate=TWO,
        channel_gib=(48, 32, 16),
        peak_gb_s=peak,
        sweep_gb_s=2 * at,
        parallel_gb_s=2 * at,
        share=2 * at / peak,
        controller_difference_gib=64,
        low_rank_channels=1,
        regions=(
            RegionFigures(3, 48, ("S1.A", "S1.B", "S1.C"), 2400, 3 * at),
            RegionFigures(2, 32, ("S1.A", "S1.B"), 2400, 2 * at),
            RegionFigures(1, 16, ("S1.A",), 2400, at),
        ),
    )


def second(rate: ChannelRate) -> SocketFigures:
    """S2 with one module."""
    at = GB_S[rate.rate_mts]
    return SocketFigures(
        socket="S2",
        capacity_gib=16,
        usable_gib=16,
        modules=1,
        rate=rate,
        channel_gib=(16, 0),
        peak_gb_s=2 * at,
        sweep_gb_s=at,
        parallel_gb_s=at,
        share=Fraction(1, 2),
        controller_difference_gib=16,
        low_rank_channels=1,
        regions=(RegionFigures(1, 16, ("S2.A",), rate.rate_mts, at),),
    )


@pytest.mark.parametrize(
    ("scope", "peak", "rate"),
    [
        ("system", 3 * GB_S[2400], TWO),
        ("socket", 3 * GB_S[2400], ONE),
        ("channel", GB_S[2400] + 2 * GB_S[2933], ONE),
    ],
)
def test_the_figures_of_both_sockets(scope: str, peak: Fraction, rate: ChannelRate) -> None:
    assert figures(scope) == PlacementFigures(sockets=(first(peak), second(rate)), free_slots=4)


def test_the_figures_of_the_placement() -> None:
    found = figures("system")
    assert (found.usable_gib, found.capacity_gib, found.modules, found.rate_mts) == (112, 112, 5, 2400)
    assert [socket.sweep_time for socket in found.sockets] == [Fraction(5, 2), Fraction(5, 6)]
    assert found.system_sweep_gb_s == Fraction(112) / Fraction(5, 2)
    assert found.socket_difference_gib == 80
    assert found.worst_share == Fraction(1, 2)
    assert figures("socket").rate_mts == 2400


def test_an_empty_channel_counts_at_the_rate_of_its_socket() -> None:
    """Where channels run at rates of their own, the peak of a socket counts its empty channels at its lowest rate."""
    (found, _) = figures("channel", in_slots(A1=M32, A2=M16, B1=M32, D1=M16)).sockets
    assert found.peak_gb_s == 2 * GB_S[2400] + GB_S[2933]
    (found, _) = figures("channel", in_slots(A1=M32, B1=M32, D1=M16)).sockets
    assert found.peak_gb_s == 3 * GB_S[2933]


def test_of_equal_channels_the_faster_work_together() -> None:
    """Where channels run at rates of their own, pairs are made of the faster ones first."""
    pairs = InterleaveRow(style="any", ways=(1, 2), source="INVENTED")
    board = board_with(rates=RATES, rate_scope="channel", interleave=pairs)
    content = in_slots(A1=M16, A2=M16, B1=M32, C1=M32)
    (found,) = placement_figures(board, None, ("S1",), content).sockets
    assert found.regions == (
        RegionFigures(2, 64, ("S1.B", "S1.C"), 2933, 2 * GB_S[2933]),
        RegionFigures(1, 32, ("S1.A",), 2400, GB_S[2400]),
    )
    assert found.sweep_gb_s == 96 / (32 / GB_S[2933] + 32 / GB_S[2400])


def test_a_socket_without_modules() -> None:
    found = figures("system", in_slots(A1=M32))
    nothing = Fraction(0)
    empty = SocketFigures("S2", 0, 0, 0, NO_RATE, (0, 0), nothing, nothing, nothing, nothing, 0, 0, ())
    assert found.sockets[1] == empty
    assert empty.sweep_time == 0
    assert (found.rate_mts, found.worst_share, found.socket_difference_gib) == (2933, 0, 32)
    assert found.system_sweep_gb_s == GB_S[2933]
    assert NO_RATE == (0, "no modules")


def test_figures_of_nothing() -> None:
    empty = figures("system", in_slots(A1=M32)).sockets[1]
    assert PlacementFigures(sockets=(empty, empty), free_slots=9).system_sweep_gb_s == 0


def test_without_a_module_or_a_rate_there_are_no_figures() -> None:
    with pytest.raises(ValueError, match=r"^no fitted socket has a module that runs$"):
        figures("system", {})
    board = board_with(rates=RATES[:1])
    with pytest.raises(ValueError, match=r"^a channel of S1 has no rate$"):
        placement_figures(board, None, ("S1", "S2"), CONTENT)


def test_rates_of_the_channels_of_a_socket() -> None:
    board = board_with(rates=RATES)
    assert socket_rates(board, None, board.socket("S1"), in_slots(A1=M32, A2=M16, B1=M16X8)) == [
        TWO,
        ChannelRate(2666, f"module:{M16X8.label}"),
        None,
    ]
    assert socket_rates(board_with(rates=()), None, board.socket("S2"), CONTENT) == [None, None]


def test_processor_and_slots_of_a_channel_decide_its_rate() -> None:
    option = ProcessorOption.model_validate({"id": "p1", "rates": [{"mts": 2666}], "source": "INVENTED"})
    slower = ChannelRate(2666, "processor:p1")
    short, long = (RATES[0].model_copy(update={"id": f"of-{n}", "slots": (n,), "mts": 2400 + n}) for n in (1, 2))
    board = board_with(rates=RATES)
    assert socket_rates(board, option, board.socket("S2"), in_slots(D1=M32)) == [slower, None]
    assert placement_figures(board, option, ("S2",), in_slots(D1=M32)).sockets[0].rate == slower
    by_slots = board_with(rates=(short, long), rates_mts=(2401, 2402))
    found = socket_rates(by_slots, None, board.socket("S2"), in_slots(D1=M32, E1=M32))
    assert found == [ChannelRate(2402, "of-2"), ChannelRate(2401, "of-1")]


@pytest.mark.parametrize("ids", [("b", "a"), ("a", "b")])
def test_of_equal_rates_the_first_in_board_order_is_named(ids: tuple[str, str]) -> None:
    """Channels of one socket, and sockets of one system."""
    one, two = (rate.model_copy(update={"id": name, "mts": 2666}) for rate, name in zip(RATES, ids, strict=True))
    board = board_with(rates=(one, two))
    both = placement_figures(board, None, ("S1", "S2"), in_slots(A1=M32, B1=M32, B2=M32, D1=M32, D2=M32))
    assert [socket.rate.row for socket in both.sockets] == [ids[0], ids[0]]
    other = placement_figures(board, None, ("S1", "S2"), in_slots(A1=M32, A2=M32, B1=M32, D1=M32))
    assert [socket.rate.row for socket in other.sockets] == [ids[1], ids[1]]


@pytest.mark.parametrize(
    ("mode", "usable", "regions", "difference"),
    [
        # 64 and 9 GiB on A and C; half of each
        (Mode.MIRRORED, Fraction(73, 2), [(2, 9), (1, Fraction(55, 2))], Fraction(55, 2)),
        # a rank of 16 GiB and one of 4.5 GiB given up
        (Mode.SPARING, Fraction(105, 2), [(2, 9), (1, Fraction(87, 2))], Fraction(87, 2)),
    ],
)
def test_figures_over_what_a_mode_leaves(
    mode: Mode, usable: Fraction, regions: list[tuple[int, Fraction]], difference: Fraction
) -> None:
    board: Board = board_with({"check": "mirroring"}, {"check": "sparing"}, rates=RATES)
    odd = replace(M32, capacity_gib=9)
    found = placement_figures(board, None, ("S1",), in_slots(A1=M32, A2=M32, C1=odd), mode=mode)
    (socket,) = found.sockets
    assert (socket.capacity_gib, socket.usable_gib, found.usable_gib) == (73, usable, usable)
    assert [(region.ways, region.capacity_gib) for region in socket.regions] == regions
    assert socket.controller_difference_gib == difference
    at = GB_S[2400]
    assert socket.sweep_gb_s == usable / sum(Fraction(gib) / ways for ways, gib in regions) * at
    assert socket.parallel_gb_s == usable / (difference + Fraction(9, 2)) * at


def test_a_mode_that_leaves_nothing() -> None:
    """A module of one rank gives up all of itself: judged as too few ranks, and measured as nothing."""
    board = board_with({"check": "sparing"}, rates=RATES)
    (found,) = placement_figures(board, None, ("S2",), in_slots(D1=M16), mode=Mode.SPARING).sockets
    assert (found.capacity_gib, found.usable_gib, found.modules, found.rate) == (16, 0, 1, ONE)
    assert (found.sweep_gb_s, found.parallel_gb_s, found.share, found.sweep_time) == (0, 0, 0, 0)
    assert (found.peak_gb_s, found.regions) == (2 * GB_S[2933], ())


def test_channels_under_two_package_ranks() -> None:
    assert [is_low_rank(load) for load in ([], [M16], [M16, M16], [M32])] == [False, True, False, False]
