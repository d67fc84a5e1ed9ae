"""Shelf lists as people keep them: every form that is read, and every row that is refused by its line."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from dimmplan.boardfile.read import load_board
from dimmplan.errors import InputError, Problem
from dimmplan.model.board import Board
from dimmplan.stock import MOST_BYTES, MOST_ROWS, Shelf, read_shelf

HEAD = "label,count,price,currency,note"
D32, D64 = "32GB 2Rx4 PC4-2933Y-R", "64GB 2Rx4 PC4-2933Y-R"


@pytest.fixture(scope="module")
def board() -> Board:
    return load_board("skerry-16")


def shelf_of(tmp_path: Path, board: Board, text: str | bytes, name: str = "shelf.csv") -> Shelf:
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return read_shelf(path, board)


def problems_of(tmp_path: Path, board: Board, text: str | bytes, name: str = "shelf.csv") -> tuple[Problem, ...]:
    with pytest.raises(InputError) as caught:
        shelf_of(tmp_path, board, text, name)
    return caught.value.problems


def plain(shelf: Shelf) -> list[tuple[str, int, Fraction | None, str]]:
    return [(lot.label, lot.count, lot.price, lot.note) for lot in shelf.lots]


EXPECTED = [(D32, 8, Fraction("61.50"), "bin 4"), (D64, 2, None, "")]

GOOD = {
    "columns named": f"{HEAD}\n{D32},8,61.50,EUR,bin 4\n{D64},2,,,\n",
    "columns not named": f"{D32},8,61.50,EUR,bin 4\n{D64},2\n",
    "another order, capitals": f"Note , PRICE, Count, Label, Currency\nbin 4, 61.50, 8, {D32}, eur\n,,2,{D64},\n",
    "semicolons": f"label;count;price;currency;note\n{D32};8;61.50;EUR;bin 4\n{D64};2;;;\n",
    "tabs": f"label\tcount\tprice\tcurrency\tnote\n{D32}\t8\t61.50\tEUR\tbin 4\n{D64}\t2\n",
    "a separator line": f"sep=;\nlabel;count;price;currency;note\n{D32};8;61.50;EUR;bin 4\n{D64};2\n",
    "comments and blank rows": f"# Tuesday\n\n{HEAD}\n{D32},8,61.50,EUR,bin 4\n,,,,\n\n{D64},2\n# end",
    "quotes": f'label,count,price,currency,note\n"{D32}","8","61.50",EUR,"bin 4"\n"{D64}",2\n',
    "old line ends": f"{HEAD}\r{D32},8,61.50,EUR,bin 4\r{D64},2\r",
    "line ends of two characters": f"{HEAD}\r\n{D32},8,61.50,EUR,bin 4\r\n{D64},2\r\n",
    "labels as typed": f"{HEAD}\n32gb 2rx4 pc4 2933y r,8,61.50,EUR,bin 4\n64GB 2Rx4 PC4-2933Y,2\n",
}


@pytest.mark.parametrize("name", GOOD)
def test_csv_as_people_keep_it(tmp_path: Path, board: Board, name: str) -> None:
    shelf = shelf_of(tmp_path, board, GOOD[name])
    assert plain(shelf) == EXPECTED
    assert shelf.currency == "EUR"


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-le-with-mark", "utf-16-be-with-mark"])
def test_encodings_with_a_mark(tmp_path: Path, board: Board, encoding: str) -> None:
    text = GOOD["columns named"].replace("bin 4", "bin é")
    marks = {"utf-16-le-with-mark": b"\xff\xfe", "utf-16-be-with-mark": b"\xfe\xff"}
    codec = encoding.removesuffix("-with-mark")
    shelf = shelf_of(tmp_path, board, marks.get(encoding, b"") + text.encode(codec))
    assert shelf.lots[0].note == "bin é"


@pytest.mark.parametrize("name", ["shelf.toml", "shelf.txt"])
def test_toml(tmp_path: Path, board: Board, name: str) -> None:
    text = (
        'currency = "EUR"\n\n'
        f'[[lots]]\nlabel = "{D32}"\ncount = 8\nprice = 61.50\nnote = "bin 4"\n\n'
        f'[[lots]]\nlabel = "{D64}"\ncount = 2\n'
    )
    shelf = shelf_of(tmp_path, board, text, name)
    assert plain(shelf) == EXPECTED
    assert [lot.place for lot in shelf.lots] == ["lots.1 (line 3)", "lots.2 (line 9)"]


def test_a_price_is_exact(tmp_path: Path, board: Board) -> None:
    """A tenth is a tenth in either form: a float would not be."""
    csv = shelf_of(tmp_path, board, f"label,count,price\n{D32},1,0.1\n")
    toml = shelf_of(tmp_path, board, f'[[lots]]\nlabel = "{D32}"\ncount = 1\nprice = 0.1\n', "shelf.toml")
    assert csv.lots[0].price == toml.lots[0].price == Fraction(1, 10)


def test_the_same_label_twice_is_two_lots(tmp_path: Path, board: Board) -> None:
    shelf = shelf_of(tmp_path, board, f"label,count,price\n{D32},1,70\n{D32},2,60\n")
    assert [(lot.count, lot.price) for lot in shelf.lots] == [(1, 70), (2, 60)]


BAD = {
    "negative count": (f"{D32},-4", "count", "'-4'"),
    "half a module": (f"{D32},2.5", "count", "'2.5'"),
    "no count": (f"{D32},", "count", "nothing"),
    "count in words": (f"{D32},four", "count", "'four'"),
    "more than a shelf holds": (f"{D32},1000000", "count", "'1000000'"),
    "unknown label": ("a box of memory,4", "label", "a box of memory"),
    "no label": (",4", "label", "''"),
    "a bare size": ("32GiB,4", "label", "32GiB"),
    "impossible organisation": ("40GB 2Rx4 PC4-2933Y-R,4", "label", "40GB"),
    "unknown rate": ("32GB 2Rx4 PC4-2934Y-R,4", "label", "no rate 2934"),
    "price with a comma": (f'{D32},4,"61,50",EUR', "price", "'61,50'"),
    "negative price": (f"{D32},4,-1,EUR", "price", "'-1'"),
    "price with its currency": (f"{D32},4,61 EUR,EUR", "price", "'61 EUR'"),
    "price beyond numbers": (f"{D32},4,nan,EUR", "price", "'nan'"),
    "another currency": (f"{D32},4,61,USD", "currency", "'USD'"),
    "a price without a currency": (f"{D32},4,61", "currency", "without a currency"),
    "a sign for a currency": (f"{D32},4,61,€", "currency", "'€'"),
    "too many cells": (f"{D32},4,61,50,EUR,bin 4", "", "6 cells"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_row_is_named_by_its_line(tmp_path: Path, board: Board, name: str) -> None:
    row, column, found = BAD[name]
    text = f"{HEAD}\n{D64},2,119,EUR,good\n{row}\n{D64},1,120,EUR,good\n"
    problems = problems_of(tmp_path, board, text)
    assert all(problem.place == (f"line 3, {column}" if column else "line 3") for problem in problems)
    assert any(found in problem.found for problem in problems)
    assert all(problem.allowed for problem in problems)


def test_all_bad_rows_are_named_at_once(tmp_path: Path, board: Board) -> None:
    """One reading names every bad row: each kind of mistake above in one list, and nothing else."""
    rows = [row for row, _, _ in BAD.values()]
    text = f"{HEAD}\n{D64},2,119,EUR,good\n" + "\n".join(rows) + "\n"
    named = {problem.place.split(",")[0] for problem in problems_of(tmp_path, board, text)}
    assert named == {f"line {number}" for number in range(3, 3 + len(rows))}


def test_a_split_price_says_why(tmp_path: Path, board: Board) -> None:
    problems = problems_of(tmp_path, board, f"{HEAD}\n{D32},4,61,50,EUR,bin 4\n")
    assert "comma" in problems[0].hint


def test_lines_count_through_quoted_line_ends(tmp_path: Path, board: Board) -> None:
    problems = problems_of(tmp_path, board, f'label,count,note\n{D32},1,"two\nlines"\n{D32},-1,\n')
    assert [problem.place for problem in problems] == ["line 4, count"]


def test_other_encodings_are_named_by_their_lines(tmp_path: Path, board: Board) -> None:
    text = f"label,count,note\n{D32},1,plain\n{D32},2,Müller\n{D32},-3,Ort\n{D32},4,Köln\n"
    problems = problems_of(tmp_path, board, text.encode("latin-1"))
    assert [problem.place for problem in problems] == ["line 3", "line 5", "line 4, count"]
    assert "0xFC" in problems[0].found and "UTF-8" in problems[0].allowed


WHOLE = {
    "nothing": (b"", "empty"),
    "blanks": (b" \n\n ", "empty"),
    "columns alone": (b"label,count\n", "no rows"),
    "zeros": (b"label,count\n\0\0\0", "NUL"),
    "UTF-16 without a mark": ("label,count\n".encode("utf-16-le"), "NUL"),
    "half of UTF-16": ("label".encode("utf-16")[:-1], "UTF-16"),
}


@pytest.mark.parametrize("name", WHOLE)
def test_files_without_rows(tmp_path: Path, board: Board, name: str) -> None:
    content, found = WHOLE[name]
    problems = problems_of(tmp_path, board, content)
    assert len(problems) == 1
    assert found in problems[0].found


def test_a_file_of_100_mb_is_refused_unread(tmp_path: Path, board: Board) -> None:
    path = tmp_path / "shelf.csv"
    with path.open("wb") as handle:
        handle.truncate(100 << 20)
    with pytest.raises(InputError) as caught:
        read_shelf(path, board)
    assert f"more than {MOST_BYTES >> 20} MiB" in caught.value.problems[0].found


def test_too_many_rows_are_refused(tmp_path: Path, board: Board) -> None:
    rows = f"{D32},1\n" * MOST_ROWS
    assert len(shelf_of(tmp_path, board, f"label,count\n{rows}").lots) == MOST_ROWS
    problems = problems_of(tmp_path, board, f"label,count\n{rows}{D32},1\n")
    assert [problem.place for problem in problems] == [f"line {MOST_ROWS + 2}"]


@pytest.mark.parametrize("what", ["missing", "folder", "name"])
def test_files_that_cannot_be_read(tmp_path: Path, board: Board, what: str) -> None:
    path = {"missing": tmp_path / "no.csv", "folder": tmp_path, "name": Path("a\0b")}[what]
    with pytest.raises(InputError) as caught:
        read_shelf(path, board)
    assert len(caught.value.problems) == 1


@pytest.mark.parametrize(
    ("header", "found", "hint"),
    [
        ("label,count,prise", "'prise'", "price"),
        ("label,count,count", "'count' twice", ""),
        ("label,price", "no column 'count'", ""),
        ("module,number", "'module'", ""),
    ],
)
def test_wrong_columns(tmp_path: Path, board: Board, header: str, found: str, hint: str) -> None:
    problems = problems_of(tmp_path, board, f"{header}\n{D32},1,1\n")
    assert problems[0].place == "line 1"
    assert found in problems[0].found
    assert hint in problems[0].hint


TOML = {
    "unknown key": ('[[lots]]\nlabel = "L"\ncount = 1\nprise = 2\n', "prise"),
    "unknown table": ('[[lot]]\nlabel = "L"\ncount = 1\n', "lot"),
    "another format": ('format = 2\n[[lots]]\nlabel = "L"\ncount = 1\n', "2"),
    "count in quotes and words": ('[[lots]]\nlabel = "L"\ncount = "many"\n', "many"),
    "count as truth": ('[[lots]]\nlabel = "L"\ncount = true\n', "True"),
    "price as a table": ('[[lots]]\nlabel = "L"\ncount = 1\nprice = { EUR = 2 }\n', "EUR"),
    "price with a comma": ('[[lots]]\nlabel = "L"\ncount = 1\nprice = "61,50"\n', "61,50"),
    "price with an exponent": ('[[lots]]\nlabel = "L"\ncount = 1\nprice = 1e999999999\n', "1e999999999"),
    "no tables": ("lots = 4\n", ""),
    "not TOML": ("[[lots]\n", ""),
}


@pytest.mark.parametrize("name", TOML)
def test_bad_toml(tmp_path: Path, board: Board, name: str) -> None:
    text, found = TOML[name]
    problems = problems_of(tmp_path, board, text.replace('"L"', f'"{D32}"'), "shelf.toml")
    assert any(found in f"{problem.place} {problem.found}" for problem in problems)


def test_no_control_character_reaches_a_message(tmp_path: Path, board: Board) -> None:
    problems = problems_of(tmp_path, board, "label,count,note\n\x1b[31mred\x1b[0m,\x07,\u202e\n")
    assert all(character.isprintable() for problem in problems for character in problem.sentence())
