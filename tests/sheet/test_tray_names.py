"""The name of a tray beside its slots: whole where there is room, else cut with a mark, and over no other name."""

from __future__ import annotations

import itertools

import pytest

from dimmplan.boardfile.read import examine_text
from dimmplan.model.placement import for_the_map
from dimmplan.sheet.compose import compose
from dimmplan.sheet.letters import width
from dimmplan.sheet.shapes import TEXT_MM, Text, walk
from tests.support import shipped_raw, toml_text

SECOND = "second memory riser"


@pytest.mark.parametrize("name", ["riser", "upper left memory riser"])
def test_a_trays_name_is_whole_or_cut_with_a_mark(name: str) -> None:
    """A tray of one slot between others, on A5: its name never keeps the paper from being used, nor meets another."""
    raw = shipped_raw("skerry-16")
    raw["electrical"]["trays"] = {name: ["K2"], SECOND: ["L2", "M1"]}
    board, problems = examine_text(toml_text(raw).encode(), file="mine.toml")
    assert board is not None, problems
    pages = compose(board, for_the_map(board, {"K1": board.modules[0]}), paper="a5").pages
    texts = [shape for page in pages for shape in walk(page.shapes) if isinstance(shape, Text)]
    beside = [text for text in texts if text.anchor == "middle" and text.text.startswith(("NEAR ·", "sec", name[:3]))]
    for tray in (name, SECOND):
        said = [text.text for text in beside if text.text.endswith(tray) or text.text.startswith(tray[:3])]
        assert said and all(each.endswith((tray, "…")) for each in said)
    halves = [(text, width(text.text, TEXT_MM, bold=True) / 2) for text in beside]
    spans = sorted((text.y, text.x - half, text.x + half) for text, half in halves)
    for (y, _, end), (other, start, _) in itertools.pairwise(spans):
        assert y != other or end < start
