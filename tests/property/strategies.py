"""What property tests draw from: cases of the search, placements, loads of a socket, texts that nobody should write."""

from __future__ import annotations

import random

from hypothesis import strategies as st

from dimmplan.boardfile.read import shipped_ids
from dimmplan.model.board import Board
from dimmplan.model.request import Request
from dimmplan.model.rows import InterleaveRow
from tests.bench.mutate import HOSTILE_WORDS, hostile_word
from tests.oracle.random_boards import random_case
from tests.support import interleave_row

MOST_SEEDS = 100_000


def cases() -> st.SearchStrategy[tuple[Board, Request]]:
    """Small random boards with a request each."""
    return st.integers(0, MOST_SEEDS).map(random_case)


def shipped_board_ids() -> st.SearchStrategy[str]:
    """Ids of the shipped boards."""
    return st.sampled_from(shipped_ids())


def hostile_texts(likely: tuple[str, ...] = ()) -> st.SearchStrategy[str]:
    """Markup, escapes, overrides, surrogates, look-alikes, numbers without end; likely words with such put in; any."""
    seeded = st.integers(0, MOST_SEEDS).map(lambda seed: hostile_word(random.Random(seed), likely))
    return st.one_of(st.sampled_from(HOSTILE_WORDS), seeded, st.text(max_size=60))


@st.composite
def socket_loads(draw: st.DrawFn) -> tuple[InterleaveRow, tuple[tuple[int, ...], ...], str]:
    """A row of any style and GiB per channel, not all of them empty."""
    shape = draw(st.lists(st.integers(1, 3), min_size=1, max_size=4))
    names = "ABCDEFGHIJKL"[: sum(shape)]
    amounts = tuple(draw(st.tuples(*[st.sampled_from((0, 8, 16, 24, 32, 64))] * count).map(tuple)) for count in shape)
    if not any(map(any, amounts)):
        amounts = ((16, *amounts[0][1:]), *amounts[1:])
    if draw(st.booleans()) or len(names) < 2:
        ways = draw(st.lists(st.integers(1, len(names)), min_size=1, unique=True))
        style = draw(st.sampled_from(("even", "any")))
        row = interleave_row(style, ways, draw(st.sampled_from(("layers", "alone", "none"))))
    else:
        sets = draw(st.lists(st.frozensets(st.sampled_from(names), min_size=2), min_size=1, max_size=6, unique=True))
        row = interleave_row(
            "groups",
            groups=[
                {
                    "channels": sorted(channels),
                    "excess": draw(st.sampled_from(("layers", "alone", "none"))),
                    "exclusive": draw(st.booleans()),
                }
                for channels in sets
            ],
        )
    return row, amounts, names
