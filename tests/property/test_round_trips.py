"""What is written is read back, and the order in which things are listed never matters."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from dimmplan.audit import audit
from dimmplan.boardfile.read import examine_text, load_board
from dimmplan.cli.sheets import sheet_files
from dimmplan.errors import ImpossibleError
from dimmplan.inventory.match import match_slots
from dimmplan.inventory.reader import read_inventory
from dimmplan.model.board import Board
from dimmplan.model.request import Request
from dimmplan.output.plan import PlanDocument
from dimmplan.output.reading import placement_of, read_plan
from dimmplan.output.record import to_json
from dimmplan.plancode.code import decode, encode, read_head
from dimmplan.planner import Planned, ask, plan
from dimmplan.stock import read_shelf
from tests.bench.hostile_inputs import must_be_inert
from tests.property.strategies import cases, hostile_texts, shipped_board_ids
from tests.support import sampled, shipped_raw, toml_text

SOME = settings(max_examples=20, derandomize=True, deadline=None)
SHELF = [
    ("32GB 2Rx4 PC4-2933Y-R", 9, "61.50", "left"),
    ("32GB 2Rx4 PC4-2933Y-R", 7, "58", ""),
    ("64GB 2Rx4 PC4-2933Y-R", 6, "140", "new, boxed"),
    ("16GB 1Rx4 PC4-2933Y-R", 24, "33.10", ""),
]


def answered(board: Board, request: Request) -> Planned:
    """The plan of a case that has one."""
    try:
        return plan(board, request, alternatives=False)
    except ImpossibleError:
        assume(False)
        raise


@SOME
@given(cases())
def test_a_plan_comes_back_from_its_json_and_from_its_code(case: tuple[Board, Request]) -> None:
    """On any board: the same placement, whichever way it travelled."""
    board, request = case
    fitted = tuple(socket.id for socket in board.sockets if socket.id in request.fitted)
    option = board.processor(request.processor)  # without a word the first
    planned = answered(board, replace(request, fitted=fitted, processor=option.id if option else None))
    text = to_json(PlanDocument.of(planned))
    assert placement_of(read_plan(text.encode("ascii"), file="plan.json"), board) == planned.placement
    assert decode(read_head(encode(board, planned.placement)), board) == planned.placement
    first = board.processor(None)
    untold = replace(planned.placement, processor=None)
    told = replace(planned.placement, processor=first.id if first else None)
    assert decode(read_head(encode(board, untold)), board) == told


@SOME
@given(shipped_board_ids(), st.randoms(use_true_random=False))
def test_the_order_of_tables_in_a_board_file_never_matters(board_id: str, rng: random.Random) -> None:
    """Tables and keys in any order (not those that are the board's order): the same board with the same digests."""
    raw = shipped_raw(board_id)
    for name in ("electrical", "physical"):
        raw[name] = {key: raw[name][key] for key in rng.sample(sorted(raw[name]), len(raw[name]))}
    raw["rules"] = [{key: row[key] for key in rng.sample(sorted(row), len(row))} for row in raw["rules"]]
    shuffled = {key: raw[key] for key in rng.sample(sorted(raw), len(raw))}
    board, problems = examine_text(toml_text(shuffled).encode("utf-8"), file="mine.toml")
    assert problems == []
    assert board == load_board(board_id)


def shelf_csv(rows: list[tuple[str, int, str, str]], columns: list[str], mark: str) -> str:
    """A shelf list with its columns in an order."""
    lines = [mark.join(columns)]
    for label, count, price, note in rows:
        cells = {"label": label, "count": str(count), "price": price, "currency": "EUR", "note": f'"{note}"'}
        lines.append(mark.join(cells[column] for column in columns))
    return "\n".join(lines)


def shelf_toml(rows: list[tuple[str, int, str, str]]) -> str:
    """The same list as TOML."""
    lots = (
        f'[[lots]]\nlabel = "{label}"\ncount = {count}\nprice = {price}\nnote = "{note}"\n'
        for label, count, price, note in rows
    )
    return 'currency = "EUR"\n' + "".join(lots)


@pytest.mark.parametrize("seed", sampled(range(6), 2))
def test_rows_and_columns_of_a_shelf_list_never_matter(seed: int, tmp_path: Path) -> None:
    """Rows, columns, delimiter and form of a list: the same placement at the same cost."""
    rng = random.Random(seed)
    board = load_board("skerry-16")
    found = []
    for rows in (SHELF, rng.sample(SHELF, len(SHELF))):
        columns = rng.sample(["label", "count", "price", "currency", "note"], 5)
        texts = {"a.csv": shelf_csv(rows, columns, rng.choice([",", ";", "\t"])), "b.toml": shelf_toml(rows)}
        for name, text in texts.items():
            (tmp_path / name).write_text(text, encoding="utf-8")
            shelf = read_shelf(tmp_path / name, board)
            request = ask(board, "384GiB", shelf=shelf, prefer=("cost-first", "capacity-first")[seed % 2])
            answer = plan(board, request, shelf=shelf, alternatives=False).answer
            found.append((answer.best.content, answer.best.vector))
    assert all(each == found[0] for each in found)


@pytest.mark.parametrize("seed", sampled(range(6), 2))
def test_the_order_of_an_inventory_never_matters(seed: int) -> None:
    """Rows of a label list in any order: every slot gets the same answer, and the same rules are broken."""
    rng = random.Random(seed)
    board = load_board("skerry-16")
    planned = plan(board, ask(board, "512GiB"), alternatives=False).placement
    rows = [f"{slot},{module.label if module else 'empty'}" for slot, module in planned.slots if rng.random() < 0.9]
    rows[rng.randrange(len(rows))] = f"{board.slots[seed]},16GB 1Rx4 PC4-2933Y-R"
    told = []
    for listed in (rows, rng.sample(rows, len(rows)), rows[::-1]):
        found = read_inventory("\n".join(["slot,label", *listed]).encode(), name="labels.csv")
        result = audit(board, found, match_slots(found, board), planned)
        told.append(({(each.slot, each.answer) for each in result.slots}, {each.rule for each in result.breaches}))
    assert told[0] == told[1] == told[2]


@settings(SOME, max_examples=8)
@given(hostile_texts(), hostile_texts(), hostile_texts(), st.sampled_from((".svg", ".svg", ".html")))
def test_any_words_on_a_sheet_are_only_words(title: str, tag: str, date: str, ending: str) -> None:
    """Markup, escapes, overrides, surrogates: well-formed, printable, nothing that runs or loads."""
    board = load_board("marram-4")
    placement = plan(board, ask(board, "32GiB"), alternatives=False).placement
    must_be_inert(sheet_files(board, placement, Path(f"map{ending}"), title=title, tag=tag, date=date))


@pytest.mark.system_tool("libcairo2")
def test_any_words_are_printed_as_pictures() -> None:
    """PDF and PNG of the same words."""
    title, tag, date = "\ud800\udcff\x00\x1b[31m", "K\u0301\u202e<b>&#x1b;]]>\uffff", "x" * 2000 + "\U0001f4a9"
    board = load_board("marram-4")
    placement = plan(board, ask(board, "32GiB"), alternatives=False).placement
    for ending, begin in ((".pdf", b"%PDF"), (".png", b"\x89PNG")):
        made = sheet_files(board, placement, Path(f"map{ending}"), title=title, tag=tag, date=date, paper="a5")
        assert all(content.startswith(begin) for content in made.values())
