"""May these be mixed: every pair of usual modules of every board, against contents judged as a whole."""

from __future__ import annotations

import itertools
from collections import Counter
from dataclasses import replace

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.figures import placement_figures
from dimmplan.model.label import parse_label
from dimmplan.model.module import Kind
from dimmplan.model.rows import ProcessorRate
from dimmplan.output.rules import mix_title, pair_statements, price_statements, refused_label_statements
from dimmplan.planner import ask, plan, read_module
from dimmplan.reasons.mix import mix_of
from dimmplan.rules import MixRow, judge
from dimmplan.sources import SOURCES
from tests.support import sampled, shipped_boards

BOARDS = {board.id: board for board in shipped_boards()}
ABOUT_COMPANY = ("mix", "channel-order", "rank-limit", "fill-order", "rates")
"""Checks that a content of two modules can break because of how the two stand together."""


def stands(board, held) -> bool:
    """True where no error row about company breaks; what a socket needs beside is not looked at."""
    option = board.processor(None)
    fitted = tuple(socket.id for socket in board.sockets)
    breaches = judge(board, option, fitted, dict.fromkeys(board.slots) | held)
    return not any(breach.severity == "error" and breach.check in ABOUT_COMPANY for breach in breaches)


def closest(board, one, other) -> str:
    """How close two modules may stand, by trying them in slots."""
    for channel in board.channels:
        for filled in range(2, len(channel.slots) + 1):
            for load in itertools.product((one, other), repeat=filled):
                if len(set(load)) == 2 and stands(board, dict(zip(channel.slots, load, strict=False))):
                    return "channel"
    first = board.sockets[0].channels
    if stands(board, {first[0].slots[0]: one, first[1].slots[0]: other}):
        return "channels"
    if len(board.sockets) > 1:
        far = board.sockets[1].channels[0].slots[0]
        if stands(board, {first[0].slots[0]: one, far: other}):
            return "sockets"
    return "never"


@pytest.mark.parametrize("board", sampled(list(BOARDS.values()), 2), ids=lambda board: board.id)
def test_every_pair_of_usual_modules(board) -> None:
    """The verdict is what trying finds, and each is said with sources that resolve."""
    for one, other in sampled(list(itertools.combinations(board.modules, 2)), 8):
        mix = mix_of(board, [one, other], fitted=[board.sockets[0].id] if len(board.sockets) > 4 else None)
        wanted = closest(board, one, other)
        if len(mix.fitted) == 1 and wanted == "sockets":
            wanted = "never"
        assert mix.together == wanted, f"{one.label} with {other.label}"
        assert mix.allowed is (wanted != "never" and not mix.refused)
        said = [*pair_statements(mix, mix.pairs[0]), *price_statements(mix)]
        assert said and all(each.source in SOURCES for each in said)
        for load in mix.pairs[0].loads:
            assert load.allowed is stands(board, dict(zip(load.channel.slots, load.load, strict=False)))


@pytest.mark.parametrize("board_id", ["skerry-16", "strand-12", "groyne-24", "causeway-48"])
def test_prices_are_of_the_best_placements(board_id: str) -> None:
    """Mixed: so many of each; alone: what a plan of that capacity gives. Figures are measured anew by planning."""
    board = BOARDS[board_id]
    one, other = next(
        (one, other)
        for one, other in itertools.combinations(board.modules, 2)
        if one.capacity_gib != other.capacity_gib and mix_of(board, [one, other]).mixed
    )
    mix = mix_of(board, [one, other])
    assert mix.mixed is not None
    counts = dict(mix.mixed.modules)
    assert counts[one] == counts[other]
    assert mix.capacity_gib == counts[one] * (one.capacity_gib + other.capacity_gib)
    for alone in mix.alone:
        module = alone.modules[0][0]
        gib = alone.figures.usable_gib
        planned = plan(board, ask(board, f"{gib}GiB", modules=[module.label]), alternatives=False)
        option = board.processor(planned.placement.processor)
        again = placement_figures(board, option, planned.placement.fitted, planned.placement.content)
        assert alone.figures == again
    assert len(mix.alone) == 2


def test_a_row_that_keeps_apart_is_named_with_its_source() -> None:
    """x4 with x8 on ten and six: different channels only, by the board's own row."""
    board = BOARDS["skerry-16"]
    row = next(row for row in board.rules if isinstance(row, MixRow) and row.field == "device_width")
    mix = mix_of(board, [read_module(board, "64GiB"), read_module(board, "8GiB")])
    (pair,) = mix.pairs
    assert (pair.together, row.apart) == ("channels", "channel")
    assert {breach.rule for breach in pair.breaches} == {row.id}
    assert any(said.rule == row.id and said.source == row.source for said in pair_statements(mix, pair))
    assert mix_title(mix).startswith("Yes")


def test_a_refused_type_is_refused_in_any_company() -> None:
    """An unbuffered module on a board for registered ones: no, by the row on kinds, and no price is made up."""
    board = BOARDS["skerry-16"]
    odd = parse_label("32GB 2Rx8 PC4-2933Y-E")
    mix = mix_of(board, [odd, board.modules[1]])
    assert not mix.allowed and mix.mixed is None and not mix.alone
    assert {breach.rule for _, breach in mix.refused} == {"kinds"}
    assert "one-kind" in {breach.rule for breach in mix.pairs[0].breaches}


def test_dies_are_told_by_their_density() -> None:
    """A 128GB 2Rx4 has dies of 32 Gbit: 128 GiB x 8 x 4 bits / (64 bits x 2 ranks)."""
    board = load_board("strand-12")
    mix = mix_of(board, [read_module(board, "128GiB"), read_module(board, "96GiB")])
    assert not mix.allowed
    assert "24 Gbit dies and 32 Gbit dies" in pair_statements(mix, mix.pairs[0])[0].text


@pytest.mark.parametrize(
    "text", ["EC4 64GB 2Rx4 PC5-4800B-R", "64GB 2Rx4 PC5-4800B-R EC4", "64GB 2Rx4 PC5-4800B EC4 R"]
)
def test_the_ecc_width_counts_wherever_it_stands(text: str) -> None:
    board = load_board("strand-12")
    mix = mix_of(board, [parse_label(text), parse_label("64GB 2Rx4 PC5-6400B-R")])
    assert mix.together == "never"
    assert "one-ecc-width" in {breach.rule for breach in mix.pairs[0].breaches}


def test_stacked_and_plain_load_reduced_modules_are_two_kinds() -> None:
    """guide-10: 3DS goes with no others."""
    board = load_board("causeway-48")
    mix = mix_of(board, [parse_label("128GB 4DRx4 PC4-2933Y-L"), parse_label("256GB 4S2Rx4 PC4-2933Y-L")])
    assert mix.together == "never" and not mix.refused


def test_a_kind_that_the_processor_lists_no_rate_for_is_refused() -> None:
    board = load_board("strand-12")
    option = board.processors[0].model_copy(update={"rates": (ProcessorRate(kinds=(Kind.RDIMM_3DS,), mts=6000),)})
    board = replace(board, processors=(option,))
    mix = mix_of(board, [read_module(board, "64GiB"), read_module(board, "256GiB")])
    assert not mix.allowed
    assert [(module.kind, breach.rule) for module, breach in mix.refused] == [(Kind.RDIMM, "processor:puffin-64")]
    assert "puffin-64 lists no rate for RDIMM" in refused_label_statements(mix)[0].text


def test_one_type_twice_is_no_mix() -> None:
    """Two spellings of one type: nothing to mix, and allowed."""
    board = BOARDS["skerry-16"]
    mix = mix_of(board, [board.modules[1], parse_label("32GB 2Rx4 PC4-2933Y-R")])
    assert mix.allowed and mix.pairs == () and len(mix.modules) == 1
    assert "one type" in mix_title(mix)


def test_types_kept_apart_by_socket_need_as_many_sockets(tmp_path) -> None:
    """A board that keeps sizes apart by socket takes two sizes on two sockets and refuses three."""
    text = (load_board_text("skerry-16")) + (
        '\n[[rules]]\nid = "one-size"\ncheck = "mix"\nfield = "capacity_gib"\napart = "socket"\nsource = "INVENTED"\n'
    )
    path = tmp_path / "apart.toml"
    path.write_text(text, encoding="utf-8")
    board = load_board(str(path))
    two = mix_of(board, [read_module(board, size) for size in ("32GiB", "64GiB")])
    assert (two.together, two.allowed) == ("sockets", True)
    sizes = Counter()
    assert two.mixed is not None
    for module, count in two.mixed.modules:
        sizes[module.capacity_gib] += count
    assert len(sizes) == 2
    three = mix_of(board, [read_module(board, size) for size in ("16GiB", "32GiB", "64GiB")])
    assert (three.together, three.allowed) == ("never", False)
    alone = mix_of(board, [read_module(board, size) for size in ("32GiB", "64GiB")], fitted=["NEAR"])
    assert not alone.allowed


def load_board_text(board_id: str) -> str:
    """A shipped board file as text."""
    from dimmplan.boardfile.read import find_board_file

    return find_board_file(board_id).read_text(encoding="utf-8")
