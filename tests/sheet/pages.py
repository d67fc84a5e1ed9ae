"""Sheets of the shipped boards, drawn once for all tests, and what stands on a page."""

from __future__ import annotations

import functools
import random
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from dimmplan.boardfile.read import load_board, shipped_ids
from dimmplan.model.board import Board
from dimmplan.model.placement import Change, Placement
from dimmplan.moves import plan_moves
from dimmplan.sheet.compose import compose
from dimmplan.sheet.shapes import Group, Page, Shape, Sheet, Text, walk
from tests.sheet.placements import Fill, make
from tests.support import sampled

BOARDS = tuple(shipped_ids())
SAMPLE = sampled(BOARDS, 2)
"""The boards that CI draws; ``tests.bench matrices`` draws all."""
DRAFTED = "firth-96"


@functools.cache
def board(name: str) -> Board:
    """A shipped board; the largest as a drafted one, so that the banner of a draft is drawn with the rest."""
    return replace(load_board(name), trust="drafted") if name == DRAFTED else load_board(name)


@functools.cache
def sheet(name: str, fill: Fill = "full", **options: Any) -> Sheet:
    return compose(board(name), make(board(name), fill), **options)


@functools.cache
def changed(name: str, fill: Fill = "mixed", *, hold: bool = False) -> tuple[Placement, Change]:
    """A made population of a board, and the change to it from a random one."""
    rng = random.Random(name)
    target = make(board(name), fill)
    types = [None, *target.types, board(name).modules[-1]]
    current = {slot: rng.choice([module, module, rng.choice(types)]) for slot, module in target.slots}
    held: tuple[str, ...] = ()
    if hold:
        held = tuple(slot for slot, module in target.slots if current[slot] == module)[:1]
        target = replace(target, hold=held)
    return target, plan_moves(board(name), current, target, untouchable=held)


def texts(page: Page) -> list[Text]:
    return [shape for shape in walk(page.shapes) if isinstance(shape, Text)]


def words(page: Page) -> str:
    """All text of a page in drawing order."""
    return " ".join(text.text for text in texts(page))


def groups(page: Page, look: str) -> list[Group]:
    """Groups whose class names begin with ``look``."""
    return [shape for shape in walk(page.shapes) if isinstance(shape, Group) and shape.look.split()[:1] == [look]]


def slot_groups(sheet: Sheet) -> dict[str, Group]:
    """The large slots of a sheet by id; bars of an overview are not among them."""
    return {g.id: g for page in sheet.pages for g in groups(page, "slot") if g.id.startswith("slot-")}


def shapes(page: Page) -> Iterator[Shape]:
    return walk(page.shapes)
