"""Placements worked out by hand in the description of the trade, found again by the planner on shipped boards.

Channels' worth counts one channel at the rate that the placement runs at; the sources of the figures are the model's
(``MODEL``) and, where they say the same, guide-01 and guide-07.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.cli.run import run
from dimmplan.figures import PlacementFigures, placement_figures
from dimmplan.model.board import Board
from dimmplan.output.plan import request_findings
from dimmplan.planner import Planned, ask, plan
from dimmplan.units import channel_peak_gb_s
from dimmplan.wording import placement_findings
from tests.support import falling, gib_by_channel, one_document

EQUAL_EIGHT = [[64, 64, 0], [64, 64, 0]]
EQUAL_SIX = [[32, 32, 32], [32, 32, 32]]


def solved(board: Board, capacity: str, modules: Sequence[str], **wishes: Any) -> Planned:
    """The planner's answer, which must be proven."""
    planned = plan(board, ask(board, capacity, modules=modules, **wishes))
    assert planned.answer.proven
    return planned


def figures_of(planned: Planned) -> PlacementFigures:
    placement = planned.placement
    option = planned.board.processor(placement.processor)
    return placement_figures(planned.board, option, placement.fitted, placement.content)


def loads_of(planned: Planned) -> dict[str, list[list[int]]]:
    loads = gib_by_channel(planned.board, planned.placement.content)
    return {socket: falling(controllers) for socket, controllers in loads.items()}


def channels_worth(planned: Planned, sweep: str = "balanced") -> Fraction:
    """A sweep in channels at the rate of the placement."""
    figures = figures_of(planned)
    value: Fraction = getattr(figures, f"{sweep}_sweep_gb_s")
    return value / channel_peak_gb_s(figures.rate_mts)


# The board of ten and six slots


def test_sixteen_modules_fill_ten_and_six_slots() -> None:
    """512 GiB of 32 GiB modules: 320 + 192, shares 0.8333 and 1, eight channels' worth."""
    planned = solved(load_board("skerry-16"), "512GiB", ["32GiB"])
    assert loads_of(planned) == {"NEAR": [[64, 64, 32], [64, 64, 32]], "FAR": EQUAL_SIX}
    figures = figures_of(planned)
    assert [socket.usable_gib for socket in figures.sockets] == [320, 192]
    assert [socket.share for socket in figures.sockets] == [Fraction(5, 6), 1]
    assert [channels_worth(planned, sweep) for sweep in ("balanced", "system", "own")] == [8, 8, 10]
    assert figures.free_slots == 0


def test_six_and_six() -> None:
    """384 GiB of 32 GiB modules: one on every channel, twelve channels' worth, share 1 on both."""
    planned = solved(load_board("skerry-16"), "384GiB", ["32GiB"])
    assert loads_of(planned) == {"NEAR": EQUAL_SIX, "FAR": EQUAL_SIX}
    assert [socket.share for socket in figures_of(planned).sockets] == [1, 1]
    assert channels_worth(planned) == 12


@pytest.mark.parametrize("modules", [["64GiB"], ["32GiB", "64GiB"], ["64GiB", "32GiB"]])
def test_512_of_64(modules: list[str]) -> None:
    """512 GiB of 64 GiB modules, 32 allowed or not: eight of 64, 256 + 256, four channels each."""
    planned = solved(load_board("skerry-16"), "512GiB", modules)
    assert loads_of(planned) == {"NEAR": EQUAL_EIGHT, "FAR": EQUAL_EIGHT}
    assert [module.capacity_gib for module in planned.placement.types] == [64]
    assert figures_of(planned).socket_difference_gib == 0
    assert channels_worth(planned) == 8


@pytest.mark.parametrize(
    ("capacity", "module", "capacities", "sweeps"),
    [
        # six and three channels: the own sweep decides
        ("576GiB", "64GiB", [384, 192], (6, 9, 6)),
        # four and six channels; five and five would give 5
        ("320GiB", "32GiB", [128, 192], (8, 10, 8)),
        # never all three in one socket
        ("96GiB", "32GiB", [64, 32], (2, 3, 2)),
    ],
)
def test_no_socket_is_starved(capacity: str, module: str, capacities: list[int], sweeps: tuple[int, ...]) -> None:
    """Balanced, system and own sweep of the placement, in channels."""
    planned = solved(load_board("skerry-16"), capacity, [module])
    assert sorted(socket.usable_gib for socket in figures_of(planned).sockets) == sorted(capacities)
    assert tuple(channels_worth(planned, sweep) for sweep in ("balanced", "system", "own")) == sweeps


def test_fewer_modules_may_be_faster() -> None:
    """Nine of 64 GiB run like six channels: eight below and ten above run like eight, and a finding says so."""
    planned = solved(load_board("skerry-16"), "576GiB", ["64GiB"])
    answer = planned.answer
    assert answer.step_below is not None and answer.step_above is not None
    assert (answer.step_below.capacity_gib, answer.step_above.capacity_gib) == (512, 640)
    rules = {finding.rule: finding for finding in findings_of(planned)}
    assert rules["uneven"].severity == "warning"
    assert "512 GiB is faster than 576 GiB" in rules["uneven"].text
    assert (rules["sockets-differ"].severity, rules["sockets-differ"].where) == ("note", ("FAR",))


@pytest.mark.parametrize("modules", [["64GiB"], ["32GiB", "64GiB"]])
def test_equal_sockets_are_not_called_uneven(modules: list[str]) -> None:
    """Eight of 64 GiB: a ninth would starve a socket, so nothing is said against four and four."""
    rules = {finding.rule for finding in findings_of(solved(load_board("skerry-16"), "512GiB", modules))}
    assert not rules & {"uneven", "sockets-differ"}


def test_sockets_that_have_to_differ_are_not_mentioned() -> None:
    """320 and 192 GiB: ten and six slots leave no other way."""
    rules = {finding.rule for finding in findings_of(solved(load_board("skerry-16"), "512GiB", ["32GiB"]))}
    assert "sockets-differ" not in rules


def test_seven_modules_on_two_sockets() -> None:
    """Seven of 32 GiB where three channels do not work together: two and five come first, three and four sweep at 3.

    Never one and six, which the system sweep alone would choose.
    """
    planned = solved(load_board("machair-20"), "224GiB", ["32GB 2Rx8 PC5-5600B-R"])
    assert sorted(socket.modules for socket in figures_of(planned).sockets) == [2, 5]
    assert channels_worth(planned) > 3


@pytest.mark.parametrize(
    ("capacity", "loads", "share"),
    [
        ("320GiB", [[64, 64, 32], [64, 64, 32]], Fraction(5, 6)),
        ("192GiB", EQUAL_SIX, Fraction(1)),
        ("256GiB", EQUAL_EIGHT, Fraction(2, 3)),
    ],
)
def test_the_ten_slot_socket_alone(capacity: str, loads: list[list[int]], share: Fraction) -> None:
    """The ten-slot socket boots alone; the six slots of the other are dead and stay empty."""
    board = load_board("skerry-16")
    planned = solved(board, capacity, ["32GiB"], fitted="NEAR")
    assert loads_of(planned) == {"NEAR": loads, "FAR": [[0, 0, 0], [0, 0, 0]]}
    assert [socket.share for socket in figures_of(planned).sockets] == [share]


# Twelve and twelve slots


def test_twelve_and_twelve_slots() -> None:
    """512 GiB of 32 GiB modules: 256 + 256, two on each of four channels (guide-01: eight per processor)."""
    board = load_board("saltern-24")
    planned = solved(board, "512GiB", ["32GiB"])
    assert loads_of(planned) == {"low": EQUAL_EIGHT, "high": EQUAL_EIGHT}
    assert channels_worth(planned) == 8
    (warning,) = [finding.text for finding in findings_of(planned) if finding.severity == "warning"]
    assert "384 GiB is faster than 512 GiB: 12 x 32GB" in warning


def findings_of(planned: Planned) -> list[Any]:
    return request_findings(planned) + placement_findings(planned.board, planned.placement, figures_of(planned))


def test_an_advised_count_goes_before_an_exact_capacity() -> None:
    """160 GiB at one socket: five modules break the advised row of guide-07, so six modules come first.

    The lists put fewest advised rows broken before the capacity; five stand among the runners-up.
    """
    board = load_board("saltern-24")
    planned = solved(board, "160GiB", ["32GiB"], fitted="low")
    assert loads_of(planned)["low"] == EQUAL_SIX
    assert planned.answer.best.vector[:2] == (0, 32)
    assert [choice.capacity_gib for choice in planned.answer.runners_up] == [160]
    assert planned.answer.runners_up[0].vector[:2] == (1, 0)


FIVE = [[32, 32, 32], [32, 32, 0]]


@pytest.mark.parametrize(("allowance", "advised"), [("0GiB", True), (None, False)])
def test_five_modules_spread_before_they_stack(allowance: str | None, advised: bool) -> None:
    """160 GiB at one socket: five channels with one each (parallel 5), not four with one stacked (parallel 2.5).

    It is warned that a sixth module makes 2.5 channels' worth 6. The advised row of guide-07 is either broken for the
    exact capacity, or taken off the board.
    """
    board = load_board("saltern-24")
    if not advised:
        board = replace(board, rules=tuple(row for row in board.rules if row.id != "even-counts"))
    planned = solved(board, "160GiB", ["32GiB"], fitted="low", over=allowance)
    assert loads_of(planned)["low"] == FIVE
    (socket,) = figures_of(planned).sockets
    channel = channel_peak_gb_s(socket.rate.rate_mts)
    assert socket.parallel_gb_s == 5 * channel
    assert channels_worth(planned) == Fraction(5, 2)
    stacked = dict.fromkeys(board.slots) | {
        slot: planned.placement.types[0]
        for name in ("brine", "crust", "gate", "rake")
        for slot in (f"low-{name}-1", *(["low-brine-2"] if name == "brine" else []))
    }
    other = placement_figures(board, board.processor(None), ["low"], stacked).sockets[0]
    assert other.usable_gib == 160
    assert other.parallel_gb_s / channel_peak_gb_s(other.rate.rate_mts) == Fraction(5, 2)

    step = planned.answer.step_above
    assert step is not None
    assert step.capacity_gib == 192
    sixth = placement_figures(board, board.processor(None), ["low"], step.content)
    assert sixth.balanced_sweep_gb_s == 6 * channel
    rules = {finding.rule: finding for finding in findings_of(planned)}
    assert rules["uneven"].severity == "warning"
    assert "192 GiB" in rules["uneven"].text
    assert ("even-counts" in rules) == advised
    if advised:
        assert (rules["even-counts"].severity, rules["even-counts"].source) == ("warning", "guide-07")


def test_five_modules_on_a_board_without_advice_on_counts() -> None:
    """The same five modules on a board that gives no advice on counts: no trick is needed for the exact capacity."""
    planned = solved(load_board("causeway-48"), "160GiB", ["32GiB"], fitted="pier")
    assert loads_of(planned)["pier"] == FIVE
    assert channels_worth(planned) == Fraction(5, 2)


# Terminal text and JSON


TOLD = [
    ("skerry-16", "512GiB", ("32GiB",), ()),
    ("skerry-16", "384GiB", ("32GiB",), ()),
    ("skerry-16", "512GiB", ("32GiB", "64GiB"), ()),
    ("skerry-16", "320GiB", ("32GiB",), ("--fitted", "NEAR")),
    ("saltern-24", "512GiB", ("32GiB",), ()),
    ("saltern-24", "160GiB", ("32GiB",), ("--fitted", "low", "--over", "0GiB")),
    ("machair-20", "640GiB", (), ()),
    ("tombolo-32", "704GiB", ("64GiB",), ()),
]


@pytest.mark.parametrize(("board_id", "capacity", "modules", "more"), TOLD)
def test_terminal_and_json_agree(
    board_id: str,
    capacity: str,
    modules: tuple[str, ...],
    more: tuple[str, ...],
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Slots, modules, figures, regions, findings and steps of the terminal's answer are those of the JSON."""
    call = ["plan", board_id, "--capacity", capacity, *more]
    call += [part for module in modules for part in ("--module", module)]
    assert run(call) == 0
    text = capsys.readouterr().out
    assert run([*call, "--json"]) == 0
    record = one_document(capsys.readouterr().out)

    flat = " ".join(text.split())
    board = load_board(board_id)
    assert told_slots(text, board) == {slot: key for slot, key in record["slots"].items() if slot not in record["dead"]}
    for module in record["modules"]:
        assert re.search(rf"^  {module['key']} +{module['count']} x +{re.escape(module['label'])} ", text, re.MULTILINE)
    for socket in record["sockets"]:
        row = (
            f"{socket['id']} {socket['rate_mts']} MT/s {socket['peak_gb_s']:.1f} GB/s {socket['sweep_gb_s']:.1f} GB/s "
            f"{socket['parallel_gb_s']:.1f} GB/s {socket['share']:.4f}"
        )
        assert row in flat
        regions = [(region["capacity_gib"], region["ways"]) for region in socket["regions"]]
        assert told_regions(text, socket["id"]) == regions
        assert sum(gib for gib, _ in regions) == socket["usable_gib"]
    totals = record["totals"]
    assert f"in {totals['modules']} modules at {totals['rate_mts']} MT/s" in flat
    assert f"System sweep {totals['system_sweep_gb_s']:.1f} GB/s, own sweep {totals['own_sweep_gb_s']:.1f} GB/s" in flat
    assert f"Balanced sweep {totals['balanced_sweep_gb_s']:.1f} GB/s; worst socket" in flat
    assert f" {totals['worst_sweep_gb_s']:.1f} GB/s, share" in flat
    for finding in record["findings"]:
        told = f"{finding['severity']}: {finding['text']} [{finding['rule']}, {finding['source']}]"
        assert " ".join(told.split()) in flat
    steps = [step for step in record["one_step"].values() if step]
    assert text.count("Faster: ") == len(steps)
    for step in steps:
        assert re.search(rf"Faster: .* sweeps at {step['balanced_sweep_gb_s']:.1f} GB/s", flat)


def told_slots(text: str, board: Board) -> dict[str, str | None]:
    """Slot contents as the terminal's answer tells them."""
    found: dict[str, str | None] = {}
    for slot in board.slots:
        matches = re.findall(rf"(?<![\w-]){re.escape(slot)}: (-|[a-z](?= ))", text)
        assert len(matches) <= 1, slot
        if matches:
            found[slot] = None if matches[0] == "-" else matches[0]
    return found


def told_regions(text: str, socket: str) -> list[tuple[int, int]]:
    """Regions in GiB and channels as the paragraph of a socket tells them."""
    paragraph = text.partition(f"\n{socket}: ")[2].partition("\n\n")[0]
    told = re.findall(r"([\d.]+) (GiB|TiB) over (\d+) channels?", " ".join(paragraph.split()))
    return [(round(float(number) * (1024 if unit == "TiB" else 1)), int(ways)) for number, unit, ways in told]
