"""Why a plan runs at its rate: what binds is what the figures name, and each lift is what the change brings."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dimmplan.figures import placement_figures
from dimmplan.output.why import rate_statements
from dimmplan.planner import ask, plan
from dimmplan.rates import channel_rate
from dimmplan.reasons.case import Case
from dimmplan.reasons.rate import Lift, RateReason, rate_reasons
from dimmplan.sources import SOURCES
from tests.support import WHOLE, shipped_boards
from tests.why.seeds import Held, seeded_plans

BOARDS = {board.id: board for board in shipped_boards()}


def lowest_of(board, option, names: set[str], content: Held) -> int:
    """The lowest rate of the filled channels of that name."""
    rates = []
    for channel in board.channels:
        modules = [module for slot in channel.slots if (module := content[slot])]
        if channel.name in names and modules:
            rate = channel_rate(board, option, modules, len(channel.slots))
            assert rate is not None
            rates.append(rate.rate_mts)
    return min(rates)


def changed(board, placement, lift: Lift):
    """The content and the processor after a lift; only the label lift is left to its own test."""
    content = dict(placement.slots)
    option = board.processor(placement.processor)
    if lift.kind == "fewer":
        content |= dict.fromkeys(lift.slots)
    elif lift.kind == "processor":
        option = board.processor(lift.name)
    elif lift.kind == "type":
        other = next(module for module in board.modules if module.label == lift.name)
        content = {s: other if m and m.capacity_gib == other.capacity_gib else m for s, m in content.items()}
    else:
        top = max(board.rates_mts)
        content = {s: replace(m, rate_mts=max(m.rate_mts, top)) if m else None for s, m in content.items()}
    return content, option


@pytest.mark.parametrize("board", BOARDS.values(), ids=list(BOARDS))
def test_rates_and_lifts_hold(board) -> None:
    """For seeded plans the reasons cover every socket at its own rate, and every lift is measured anew."""
    for placement in seeded_plans(board, 3 if WHOLE else 2):
        case = Case(board, placement)
        reasons = rate_reasons(case)
        option = board.processor(placement.processor)
        figures = placement_figures(board, option, placement.fitted, placement.content, mode=placement.mode)
        assert min(reason.rate_mts for reason in reasons) == figures.rate_mts
        for socket in figures.sockets:
            assert socket.rate.rate_mts in {r.rate_mts for r in reasons if socket.socket in r.sockets}
        for reason in reasons:
            assert reason.rate_mts == lowest_of(board, option, set(reason.channels), placement.content)
            assert reason.rate_mts <= min(limit.rate_mts for limit in reason.limits)
            assert all(said.source in SOURCES for said in rate_statements(case, reason))
            for lift in reason.lifts:
                assert_lifts(board, placement, reason, lift)


def assert_lifts(board, placement, reason: RateReason, lift: Lift) -> None:
    content, option = changed(board, placement, lift)
    for channel in board.channels if lift.kind == "fewer" else ():
        held = [placement.content[slot] for slot in channel.slots]
        assert any(held) is any(content[slot] for slot in channel.slots), "a channel is never emptied for a lift"
    after = placement_figures(board, option, placement.fitted, content, mode=placement.mode)
    names = (
        set(reason.channels)
        if board.rate_scope == "channel"
        else {channel.name for channel in board.channels if channel.socket in reason.sockets}
    )
    if lift.kind == "fewer" or board.rate_scope != "channel":
        assert lift.rate_mts == lowest_of(board, option, names, content) > reason.rate_mts
    assert (lift.usable_gib, lift.sweep_gb_s) == (after.usable_gib, after.balanced_sweep_gb_s)


def test_a_slow_processor_binds_and_the_other_lifts_it() -> None:
    """One on every channel with the slow processor: it binds at 2400, the fast one would give what the row allows."""
    board = BOARDS["skerry-16"]
    placement = plan(board, ask(board, "384GiB", modules=["32GiB"], processor="tern-12"), alternatives=False).placement
    (reason,) = rate_reasons(Case(board, placement))
    assert (reason.row, reason.rate_mts, reason.source) == ("processor:tern-12", 2400, "INVENTED")
    row = next(row for row in board.rates if row.id == "one-per-channel")
    assert [(lift.kind, lift.name, lift.rate_mts) for lift in reason.lifts] == [("processor", "tern-20", row.mts)]


def test_a_second_module_binds_and_taking_it_out_lifts() -> None:
    """The full board: the two-per-channel row binds on just the channels that have two."""
    board = BOARDS["skerry-16"]
    placement = plan(board, ask(board, "512GiB", modules=["32GiB"]), alternatives=False).placement
    (reason,) = rate_reasons(Case(board, placement))
    assert reason.row == "two-per-channel"
    assert set(reason.channels) == {f"NEAR.{channel}" for channel in "KLPQ"}
    (lift,) = reason.lifts
    assert (lift.kind, lift.slots, lift.broken) == ("fewer", ("K2", "L2", "P2", "Q2"), ())


def test_slow_labels_are_named_as_what_binds() -> None:
    """Modules labelled below the row: the label binds, and faster labels lift."""
    board = BOARDS["strand-12"]
    asked = ask(board, "1536GiB", modules=["128GB 2Rx4 PC5-5600B-R"])
    (reason,) = rate_reasons(Case(board, plan(board, asked, alternatives=False).placement))
    assert reason.row.startswith("module:")
    assert [lift.kind for lift in reason.lifts] == ["label"]
    assert reason.lifts[0].rate_mts == min(max(board.rates_mts), board.rates[0].mts)


def test_each_channel_has_a_rate_of_its_own_where_the_board_says_so() -> None:
    """Rate scope channel: one reason for each rate, and together they name every filled channel once."""
    board = BOARDS["machair-20"]
    placement = plan(board, ask(board, "640GiB", modules=["32GiB"]), alternatives=False).placement
    reasons = rate_reasons(Case(board, placement))
    named = [name for reason in reasons for name in reason.channels]
    filled = [ch.name for ch in board.channels if any(placement.content[slot] for slot in ch.slots)]
    assert sorted(named) == sorted(filled) and len(reasons) > 1


def test_a_channel_is_never_emptied_to_lift_the_rate() -> None:
    """One slow module alone on its channel holds the system down: taking it out is no lift, another type is."""
    board = BOARDS["groyne-24"]
    placement = plan(board, ask(board, "64GiB", modules=["16GiB"], fitted="fore"), alternatives=False).placement
    slow = next(module for module in board.modules if module.package_ranks == 4)
    content = placement.content | {"41-fore": slow}
    mixed = replace(placement, slots=tuple(content.items()), capacity_gib=80)
    (reason,) = rate_reasons(Case(board, mixed))
    assert (reason.channels, reason.row) == (("fore.4",), "one-of-four-ranks")
    assert not [lift for lift in reason.lifts if lift.kind == "fewer"]
