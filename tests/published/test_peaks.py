"""Peak bandwidth of a channel by data rate, and the names that rates go by on labels.

The rates and clocks are those of JESD79-4 and JESD79-5C as the project's standards sheet lists them (section 1.6).
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.figures import placement_figures
from dimmplan.model.label import parse_parts
from dimmplan.model.module import RATES_MTS, Generation
from dimmplan.units import channel_peak_gb_s
from tests.support import filled, usual

DDR3 = [
    # MT/s, nominal MB/s, exact MB/s (of thirds), names met on labels
    (800, 6400, "6400.0", ("PC3-6400",)),
    (1066, 8528, "8533.3", ("PC3-8500",)),
    (1333, 10664, "10666.7", ("PC3-10600", "PC3-10666", "PC3-10700")),
    (1600, 12800, "12800.0", ("PC3-12800",)),
    (1866, 14928, "14933.3", ("PC3-14900",)),
    (2133, 17064, "17066.7", ("PC3-17000",)),
]
DDR4 = [
    (1600, 12800, "12800.0", ("PC4-12800", "PC4-1600")),
    (1866, 14928, "14933.3", ("PC4-14900",)),
    (2133, 17064, "17066.7", ("PC4-17000",)),
    (2400, 19200, "19200.0", ("PC4-19200",)),
    (2666, 21328, "21333.3", ("PC4-21300", "PC4-21333")),
    (2933, 23464, "23466.7", ("PC4-23400", "PC4-23466")),
    (3200, 25600, "25600.0", ("PC4-25600",)),
]
DDR5 = [
    (3200, 25600),
    (3600, 28800),
    (4000, 32000),
    (4400, 35200),
    (4800, 38400),
    (5200, 41600),
    (5600, 44800),
    (6000, 48000),
    (6400, 51200),
    (6800, 54400),
    (7200, 57600),
    (7600, 60800),
    (8000, 64000),
    (8400, 67200),
    (8800, 70400),
    (9200, 73600),
]
NOMINAL = [
    *((Generation.DDR3, mts, nominal) for mts, nominal, _, _ in DDR3),
    *((Generation.DDR4, mts, nominal) for mts, nominal, _, _ in DDR4),
    *((Generation.DDR5, mts, nominal) for mts, nominal in DDR5),
]
NAMES = [(name, mts) for mts, _, _, names in DDR3 + DDR4 for name in names]


@pytest.mark.parametrize(("generation", "mts", "nominal_mb_s"), NOMINAL)
def test_peak_of_one_channel(generation: Generation, mts: int, nominal_mb_s: int) -> None:
    """Every JEDEC rate is known, and its peak is the nominal one: the printed rate times eight bytes."""
    assert mts in RATES_MTS[generation]
    assert channel_peak_gb_s(mts) * 1000 == nominal_mb_s


def test_no_other_rates_are_known() -> None:
    """The known rates are those of the sheet, and 12800 of the second MRDIMM step (standards, section 5)."""
    listed = {generation: {mts for g, mts, _ in NOMINAL if g is generation} for generation in Generation}
    listed[Generation.DDR5].add(12800)
    assert {generation: set(rates) for generation, rates in RATES_MTS.items()} == listed


@pytest.mark.parametrize(("mts", "nominal_mb_s", "exact_mb_s"), [row[:3] for row in DDR3 + DDR4])
def test_the_exact_peak_is_a_little_higher(mts: int, nominal_mb_s: int, exact_mb_s: str) -> None:
    """Clocks are thirds of 100 MHz: the exact peak is that of the rate in thirds, at most 0.07 % above the model's."""
    thirds = next(n for n in range(3 * mts, 3 * mts + 3) if n % 200 == 0)
    exact = Fraction(thirds, 3) * 8
    assert f"{float(exact):.1f}" == exact_mb_s
    difference = exact - channel_peak_gb_s(mts) * 1000
    assert 0 <= difference <= Fraction(7, 10000) * nominal_mb_s


@pytest.mark.parametrize(("name", "mts"), NAMES)
def test_names_on_labels(name: str, mts: int) -> None:
    """The bandwidth names of DDR3 and DDR4 labels, rounded as they come, give the rate."""
    parts = parse_parts(f"8GB 2Rx8 {name}")
    assert parts.rate_mts == mts
    assert parts.generation.value[-1] == name[2]


@pytest.mark.parametrize(("name", "mts"), [pair for pair in NAMES if len(pair[0]) > len("PC4-1600")])
def test_the_kind_letter_follows_a_bandwidth_name_directly(name: str, mts: int) -> None:
    """In the older form the kind letter stands right behind the bandwidth."""
    parts = parse_parts(f"8GB 2Rx8 {name}R")
    assert (parts.rate_mts, parts.kind) == (mts, "RDIMM")


@pytest.mark.parametrize("mts", [mts for mts, _ in DDR5])
def test_rates_on_ddr5_labels(mts: int) -> None:
    """DDR5 labels carry the rate itself."""
    assert parse_parts(f"16GB 1Rx8 PC5-{mts}").rate_mts == mts


WHOLE_SYSTEMS = [
    # MT/s, modules per channel, MB/s of two sockets of eight channels, as the report prints it
    (4800, 1, 614_400),
    (4400, 2, 563_200),
]


@pytest.mark.parametrize(("mts", "per_channel", "printed_mb_s"), WHOLE_SYSTEMS)
def test_two_sockets_of_eight_channels(mts: int, per_channel: int, printed_mb_s: int) -> None:
    """report-02: 4800 x 2 x 8 x 8 = 614 400 MB/s and 4400 x 2 x 8 x 8 = 563 200 MB/s."""
    board = load_board("lagoon-32")
    content = filled(board, usual(board, 64), {socket.id: [per_channel] * 8 for socket in board.sockets})
    figures = placement_figures(board, board.processor(None), [socket.id for socket in board.sockets], content)
    assert figures.rate_mts == mts
    assert sum(socket.peak_gb_s for socket in figures.sockets) * 1000 == printed_mb_s
    assert figures.system_sweep_gb_s * 1000 == printed_mb_s
