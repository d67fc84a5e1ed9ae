"""Comparisons that several test files look at, made once."""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from typing import Any

from dimmplan.boardfile.read import load_board
from dimmplan.compare import Comparison, compare
from dimmplan.model.label import parse_label
from dimmplan.output.compare import Report
from dimmplan.output.compare_rows import WIDTH, after_table, before_table, compare_table
from dimmplan.stock import Shelf, ShelfLot
from tests.support import sampled

PRICES = {"8GiB": "22", "16GiB": "34.50", "32GiB": "61.50", "64GiB": "219", "128GiB": "389"}


def priced_shelf(board_id: str = "skerry-16", *, count: int = 16) -> Shelf:
    """A shelf with some of every usual size of a board, priced."""
    board = load_board(board_id)
    sizes = {f"{m.capacity_gib}GiB": m for m in reversed(board.modules)}
    lots = [
        ShelfLot(place=f"line {n}", module=sizes[size], count=count, price=Fraction(PRICES[size]))
        for n, size in enumerate((size for size in PRICES if size in sizes), start=2)
    ]
    faster = parse_label("32GB 2Rx4 PC4-3200AA-R")
    return Shelf(
        file="shelf.csv",
        currency="EUR",
        lots=(*lots, ShelfLot(place="line 9", module=faster, count=4, price=Fraction(58))),
    )


@cache
def skerry(**more: Any) -> Comparison:
    """The board of ten and six slots, four capacities, both processors."""
    options: dict[str, Any] = {"capacities": ["96GiB", "160GiB", "512GiB", "1536GiB"]}
    return compare(load_board("skerry-16"), **(options | {"processors": ["tern-20", "tern-12"]} | more))


@cache
def stocked() -> Comparison:
    """The same board from a priced shelf."""
    board = load_board("skerry-16")
    return compare(board, capacities=["96GiB", "384GiB", "512GiB", "4TiB"], shelf=priced_shelf())


@cache
def lagoon() -> Comparison:
    """The board of eight channels at each of two sockets, three capacities, both processors."""
    sizes = ["32GB 2Rx8 PC5-4800B-R", "64GiB", "96GiB", "128GiB"]
    capacities = ["512GiB", "768GiB", "1TiB"]
    return compare(load_board("lagoon-32"), capacities=capacities, modules=sizes, processors=["skua-24", "skua-40"])


@cache
def firth() -> Comparison:
    """Eight sockets, two capacities, two processors, three types together at most."""
    return compare(
        load_board("firth-96"),
        capacities=["384GiB", "1.5TiB"],
        modules=["32GiB", "64GiB", "128GB 2S2Rx4 PC4-2933Y-R"],
        processors=["kittiwake-28", "kittiwake-16"],
        max_types=3,
    )


NAMES = sampled(("stocked", "firth", "skerry", "lagoon"), 2)
"""Those that CI takes: the board of ten and six slots, from a shelf and with its usual types."""


@cache
def report_of(name: str) -> Report:
    """A case as it is written out."""
    if name == "stocked":
        return Report(stocked(), board_name="skerry-16", stock_name="shelf.csv")
    made, board = {"skerry": (skerry, "skerry-16"), "lagoon": (lagoon, "lagoon-32"), "firth": (firth, "firth-96")}[name]
    return Report(made(), board_name=board)


def compare_text(report: Report) -> str:
    """The whole comparison in 100 columns, as a pipe gets it."""
    table = "\n".join(compare_table(report).plain(width=WIDTH))
    return f"{before_table(report)}{table}\n{after_table(report)}"
