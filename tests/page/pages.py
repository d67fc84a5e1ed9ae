"""Plans written as HTML pages, for the tests of their text and those in a browser."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

from dimmplan.boardfile.read import load_board
from dimmplan.cli.machine import change_from
from dimmplan.cli.options import InventoryOptions
from dimmplan.cli.sheets import sheet_files
from dimmplan.model.board import Board
from dimmplan.model.placement import Placement
from dimmplan.planner import ask, plan

PLANS = {
    "irregular": ("skerry-16", "448GiB"),
    "small": ("marram-4", "64GiB"),
    "large": ("firth-96", "3TiB"),
    "groups": ("tombolo-32", "640GiB"),
}


@cache
def planned(name: str) -> tuple[Board, Placement]:
    board_id, capacity = PLANS[name]
    board = load_board(board_id)
    return board, plan(board, ask(board, capacity), alternatives=False).placement


@cache
def page(name: str, **options: str) -> str:
    """A plan's page, drawn once for each set of options of the sheet."""
    board, placement = planned(name)
    (content,) = sheet_files(board, placement, Path("x.html"), **options).values()
    return content.decode("utf-8")


def hostile_page(folder: Path) -> str:
    """A board whose every name and text tries to be mark-up, and a title that does."""
    evil = "</style></script><img src=x onerror=alert(1)>'&"
    text = Path("boards/marram-4.toml").read_text(encoding="utf-8")
    for plain in ("Marram 4, one socket", "Take out the two lid screws", "The two lid screws", "Noddy 6, two"):
        text = text.replace(plain, evil)
    text = text.replace('"Fan 1"', '"<b>Fan"').replace('"marram-4"', '"evil-4"')
    text = re.sub(r'"?\bdune\b"?', '"d<i>e"', re.sub(r'"?\breed\b"?', '"<r&d>"', text))
    (folder / "evil.toml").write_text(text, encoding="utf-8")
    board = load_board(str(folder / "evil.toml"))
    placement = plan(board, ask(board, "64GiB"), alternatives=False).placement
    (content,) = sheet_files(board, placement, Path("x.html"), title=evil, tag=evil, date=evil).values()
    return content.decode("utf-8")


def change_page(folder: Path) -> str:
    """The irregular board's plan, from a machine with some modules in it."""
    board, placement = planned("irregular")
    filled = {"K1": "32GB 2Rx4 PC4-2933Y-R", "K2": "32GB 2Rx4 PC4-2933Y-R", "T1": "64GB 2Rx4 PC4-2933Y-R"}
    lines = [f"{slot},{filled.get(slot, 'empty')}" for slot in board.slots]
    (folder / "found.csv").write_text("\n".join(["slot,label", *lines]) + "\n", encoding="utf-8")
    held, change = change_from(str(folder / "found.csv"), InventoryOptions(), board, placement)
    (content,) = sheet_files(board, held, Path("x.html"), change=change).values()
    return content.decode("utf-8")
