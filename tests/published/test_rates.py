"""Data rate by modules per channel: what publishers print, and the shipped boards that cite them."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from fractions import Fraction

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.figures import placement_figures
from dimmplan.model.board import Board
from dimmplan.model.label import parse_label
from dimmplan.model.module import Generation, Kind, Module
from dimmplan.planner import ask, plan
from dimmplan.rates import channel_rate, rate_row
from dimmplan.sources import SOURCES
from tests.oracle.random_boards import make_board
from tests.support import filled, shipped_boards, usual


@dataclass(frozen=True, kw_only=True)
class Published:
    """A row of a published table: MT/s by modules per channel, from one on; ``None`` where it does not run."""

    source: str
    generation: Generation
    channels: int
    kinds: tuple[Kind, ...] = ()
    ranks: tuple[int, ...] = ()
    mts: tuple[int | None, ...]

    def speaks_of(self, module: Module) -> bool:
        return (
            module.generation is self.generation
            and (not self.kinds or module.kind in self.kinds)
            and (not self.ranks or module.package_ranks in self.ranks)
        )


PRINTED = [
    Published(source="guide-08", generation=Generation.DDR5, channels=8, mts=(4800, 4400)),
    Published(source="guide-08", generation=Generation.DDR5, channels=8, mts=(5600, 4400)),  # later parts
    Published(source="guide-01", generation=Generation.DDR5, channels=8, mts=(4800, 4400)),
    Published(source="guide-01", generation=Generation.DDR5, channels=8, mts=(5600, 4400)),  # later parts
    Published(source="guide-01", generation=Generation.DDR4, channels=8, mts=(3200, 2933)),
    Published(source="guide-01", generation=Generation.DDR4, channels=6, mts=(2933, 2666)),
    Published(source="guide-06", generation=Generation.DDR4, channels=6, mts=(2933, 2666)),
    Published(source="article-02", generation=Generation.DDR4, channels=4, kinds=(Kind.RDIMM,), mts=(2400, 2400, 1866)),
    Published(
        source="article-01",
        generation=Generation.DDR4,
        channels=4,
        kinds=(Kind.RDIMM,),
        ranks=(1, 2),
        mts=(2133, 1866, 1600),
    ),
    Published(
        source="article-01",
        generation=Generation.DDR4,
        channels=4,
        kinds=(Kind.LRDIMM,),
        ranks=(4,),
        mts=(2133, 2133, 1600),
    ),
    Published(
        source="article-01",
        generation=Generation.DDR3,
        channels=4,
        kinds=(Kind.RDIMM,),
        ranks=(1, 2),
        mts=(1866, 1866, 1333),
    ),
    Published(
        source="article-01",
        generation=Generation.DDR3,
        channels=4,
        kinds=(Kind.RDIMM,),
        ranks=(4,),
        mts=(1333, 1066, None),
    ),
]
CITED = {row.source for row in PRINTED}

Case = tuple[Board, Module, int, int]
"""A board, one of its usual modules, modules on a channel, slots of that channel."""


def cited_cases() -> list[Case]:
    """Every case of a shipped board whose rate row cites one of the tables."""
    found = []
    for board in shipped_boards():
        slot_counts = sorted({len(channel.slots) for channel in board.channels})
        for module, slots in itertools.product(board.modules, slot_counts):
            for dpc in range(1, slots + 1):
                row = rate_row(board, module, dpc, slots)
                if row is not None and row.source in CITED:
                    found.append((board, module, dpc, slots))
    return found


CASES = cited_cases()


def case_name(case: Case) -> str:
    board, module, dpc, slots = case
    return f"{board.id} {module.label} {dpc} of {slots}"


@pytest.mark.parametrize("case", CASES, ids=case_name)
def test_boards_run_as_their_sources_print(case: Case) -> None:
    """A board that cites a table runs each usual module at a printed rate, or at the module's own where lower."""
    board, module, dpc, slots = case
    row = rate_row(board, module, dpc, slots)
    assert row is not None
    widest = max(len(socket.channels) for socket in board.sockets)
    tables = [
        printed
        for printed in PRINTED
        if printed.source == row.source and printed.channels == widest and printed.speaks_of(module)
    ]
    assert tables, "the source prints nothing for such a module"
    assert row.mts in [printed.mts[dpc - 1] or "none" for printed in tables]
    found = channel_rate(board, None, [module] * dpc, slots)
    if row.mts == "none":
        assert found is None
    else:
        assert found is not None
        assert found.rate_mts == min(row.mts, module.rate_mts)


def test_every_table_but_one_is_cited_by_a_board() -> None:
    """Boards cite every table but article-02, which prints later four-channel parts."""
    cited = {row.source for board, module, dpc, slots in CASES if (row := rate_row(board, module, dpc, slots))}
    assert cited == CITED - {"article-02"}
    assert set(SOURCES) >= CITED


# Whole boards


FULL = [
    # board, size in GiB, modules on every channel, MT/s, source
    ("groyne-24", 16, 1, 1866, "article-01"),
    ("groyne-24", 16, 2, 1866, "article-01"),
    ("groyne-24", 16, 3, 1333, "article-01"),
    ("groyne-24", 32, 1, 1333, "article-01"),
    ("groyne-24", 32, 2, 1066, "article-01"),
    ("saltern-24", 32, 1, 2933, "guide-06"),
    ("saltern-24", 32, 2, 2666, "guide-06"),
    ("causeway-48", 32, 1, 2933, "guide-06"),
    ("causeway-48", 32, 2, 2666, "guide-06"),
    ("firth-96", 32, 1, 2933, "guide-01"),
    ("firth-96", 32, 2, 2666, "guide-01"),
    ("tombolo-32", 64, 1, 3200, "guide-01"),
    ("tombolo-32", 64, 2, 2933, "guide-01"),
    ("lagoon-32", 64, 1, 4800, "guide-08"),
    ("lagoon-32", 64, 2, 4400, "guide-08"),
]


@pytest.mark.parametrize(("board_id", "size", "dpc", "mts", "source"), FULL)
def test_rate_of_a_whole_board(board_id: str, size: int, dpc: int, mts: int, source: str) -> None:
    """So many modules on every channel run at the printed rate, by the row that cites it, and the row binds."""
    board = load_board(board_id)
    sockets = [socket.id for socket in board.sockets]
    content = filled(board, usual(board, size), {socket.id: [dpc] * len(socket.channels) for socket in board.sockets})
    figures = placement_figures(board, board.processor(None), sockets, content)
    assert figures.rate_mts == mts
    assert [socket.share for socket in figures.sockets] == [1] * len(sockets)
    row = next(row for row in board.rates if row.id == figures.sockets[0].rate.row)
    assert row.source == source


def test_ten_and_six_slots_run_at_the_slower_socket() -> None:
    """guide-06 (table 5-7): ten modules at one socket bring both down to 2666 MT/s, six leave both at 2933."""
    board = load_board("skerry-16")
    for near, mts in (([2, 2, 1, 2, 2, 1], 2666), ([1] * 6, 2933)):
        content = filled(board, usual(board, 32), {"NEAR": near, "FAR": [1] * 6})
        figures = placement_figures(board, board.processor(None), ["NEAR", "FAR"], content)
        assert [socket.rate.rate_mts for socket in figures.sockets] == [mts, mts]


def test_each_channel_at_its_own_rate() -> None:
    """guide-08 on a board whose channels run apart: 5600 MT/s on short channels beside 4400 on full long ones.

    A region runs at its slowest channel: eight channels at 4400, then the four long ones.
    """
    board = load_board("machair-20")
    content = filled(board, usual(board, 64), {"loch": [2, 2, 2, 2, 1, 1, 1, 1], "ford": [2, 2, 1, 1, 1, 1]})
    figures = placement_figures(board, board.processor(None), ["loch", "ford"], content)
    loch = figures.sockets[0]
    assert loch.peak_gb_s == Fraction((4 * 4400 + 4 * 5600) * 8, 1000)
    assert [(region.ways, region.capacity_gib, region.rate_mts) for region in loch.regions] == [
        (8, 512, 4400),
        (4, 256, 4400),
    ]
    assert loch.sweep_gb_s == Fraction(768) / (Fraction(64 * 1000, 4400 * 8) + Fraction(64 * 1000, 4400 * 8))


def test_three_per_channel_against_one() -> None:
    """article-01: three per channel at 1333 instead of 1866 MT/s cost about 30 % of peak; the rates give 28.6 %.

    The publisher rounds; difference: 1.4 points.
    """
    board = load_board("groyne-24")
    peaks = []
    for dpc in (1, 3):
        content = filled(board, usual(board, 16), {"fore": [dpc] * 4})
        peaks.append(placement_figures(board, board.processor(None), ["fore"], content).sockets[0].peak_gb_s)
    loss = 100 * (1 - peaks[1] / peaks[0])
    assert loss == 100 * (1 - Fraction(1333, 1866))
    assert f"{float(30 - loss):.1f}" == "1.4"


# DDR4, four channels of three slots: no shipped board has them, so one is made of the printed rows


def four_channels(printed: Published) -> Board:
    label = {Kind.RDIMM: "16GB 2Rx4 PC4-2400T-R", Kind.LRDIMM: "32GB 4Rx4 PC4-2400T-L"}[printed.kinds[0]]
    accepts = {"id": "kinds", "check": "accept", "field": "kind", "values": [printed.kinds[0].value]}
    return make_board(
        {"S": {"M": {channel: [f"{channel}{slot}" for slot in "123"] for channel in "ABCD"}}},
        modules=[label],
        interleave={"style": "any", "ways": [1, 2, 3, 4]},
        rules=[accepts | {"source": "INVENTED"}],
        rates=[
            {"id": f"dpc-{dpc}", "dpc": dpc, "mts": mts or "none", "source": printed.source}
            for dpc, mts in enumerate(printed.mts, start=1)
        ],
        rates_mts=[1600, 1866, 2133, 2400],
    )


FOUR_DDR4 = [row for row in PRINTED if row.generation is Generation.DDR4 and row.channels == 4]


@pytest.mark.parametrize("printed", FOUR_DDR4, ids=lambda row: f"{row.source} {row.kinds[0]}")
def test_the_fullest_channel_decides_for_all(printed: Published) -> None:
    """article-01, article-02: with 1, 2, 3 modules on one channel and one on the others, all run at its rate."""
    board = four_channels(printed)
    (module,) = board.modules
    assert printed.speaks_of(module)
    for dpc, mts in enumerate(printed.mts, start=1):
        content = filled(board, module, {"S": [dpc, 1, 1, 1]})
        figures = placement_figures(board, None, ["S"], content)
        assert figures.rate_mts == mts
        assert figures.sockets[0].peak_gb_s == Fraction(4 * 8 * (mts or 0), 1000)


def test_a_slow_module_decides_for_all() -> None:
    """guide-04: the system's data rate is the slowest of processor, module and population."""
    board = load_board("saltern-24")
    slow = parse_label("32GB 2Rx4 PC4-2400T-R")
    content = filled(board, usual(board, 32), {"low": [1] * 6, "high": [1] * 6})
    content["high-tub-1"] = slow
    both = ["low", "high"]
    fast, slower = board.processor("petrel-18"), board.processor("petrel-10")
    assert placement_figures(board, fast, both, content).rate_mts == 2400
    content["high-tub-1"] = usual(board, 32)
    assert placement_figures(board, fast, both, content).rate_mts == 2933
    assert placement_figures(board, slower, both, content).rate_mts == 2400
    content["low-brine-2"] = usual(board, 32)
    assert placement_figures(board, fast, both, content).rate_mts == 2666


def test_three_lrdimms_of_four_ranks_stand_on_a_channel() -> None:
    """article-01 lists three of four ranks on each channel at 1600 MT/s: the usual limit counts each as one."""
    board = make_board(
        {"S": {"M": {channel: [f"{channel}{slot}" for slot in "123"] for channel in "ABCD"}}},
        modules=["64GB 4DRx4 PC4-2133P-L"],
        interleave={"style": "any", "ways": [1, 2, 3, 4]},
        rules=[{"id": "kinds", "check": "accept", "field": "kind", "values": ["LRDIMM"], "source": "INVENTED"}],
        rates=[
            {"id": f"dpc-{dpc}", "dpc": dpc, "mts": mts, "source": "article-01"}
            for dpc, mts in enumerate((2133, 2133, 1600), start=1)
        ],
        rates_mts=[1600, 1866, 2133],
    )
    planned = plan(board, ask(board, "768GiB"), alternatives=False)
    assert planned.placement.content == dict.fromkeys(board.slots, board.modules[0])
    assert planned.figures.rate_mts == 1600
