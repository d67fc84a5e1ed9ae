"""Lists of machines: bad lines are named and stop nothing, files that are no list are refused, encodings are met."""

from __future__ import annotations

import os
import tracemalloc
from pathlib import Path

import pytest

from dimmplan.errors import InputError
from dimmplan.fleet.rows import MOST_LINE, BadRow, MachineList, Row

HEAD = "tag,board,fitted,processor,capacity,modules,prefer\n"
GOOD = "A1,skerry-16,,,384GiB,32GiB;64GiB,\n"


def read(tmp_path: Path, content: str | bytes) -> list[Row | BadRow]:
    path = tmp_path / "fleet.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    return list(MachineList(path))


def test_every_cell_in_any_order_of_columns(tmp_path: Path) -> None:
    (row,) = read(tmp_path, 'Capacity;TAG;board;fitted;modules\n384 GB; A1 ;skerry-16;"S1,S2";"32GiB;64GiB"\n')
    assert isinstance(row, Row)
    assert (row.tag, row.board, row.fitted, row.capacity) == ("A1", "skerry-16", "S1,S2", "384 GB")
    assert row.modules == ("32GiB", "64GiB")
    assert (row.number, row.line, row.processor, row.prefer) == (0, 2, "", "")


@pytest.mark.parametrize(
    ("line", "word"),
    [
        (b",skerry-16,,,384GiB,,\n", "tag"),
        (b"B,,,,384GiB,,\n", "board"),
        (b"B,skerry-16,,,,,\n", "capacity"),
        (b"B\n", "board"),
        (b"A1,skerry-16,,,1GiB,,\n", "once more"),
        (b'"B,skerry-16,,,384GiB,,\n', "quote"),
        (b"B,skerry-16,,,384GiB,,,extra\n", "8 cells"),
        (b"B\xe9,skerry-16,,,384GiB,,\n", "0xE9"),
        (b"B\x00,skerry-16,,,384GiB,,\n", "NUL"),
        (b"B" * 300 + b",skerry-16,,,384GiB,,\n", "shorter"),
        (b"B," + b"x" * (MOST_LINE + 5) + b",,,384GiB,,\n", "more than"),
        (b"B," + b"x" * (3 * MOST_LINE + 5) + b"\n", "more than"),
    ],
)
def test_a_bad_line_is_named_and_the_rest_is_read(tmp_path: Path, line: bytes, word: str) -> None:
    rows = read(tmp_path, HEAD.encode() + GOOD.encode() + line + b"\n" + GOOD.encode().replace(b"A1", b"Z9"))
    good, bad, last = rows
    assert isinstance(good, Row)
    assert isinstance(bad, BadRow)
    assert isinstance(last, Row)
    assert (bad.line, last.line, last.number) == (3, 5, 2)
    text = " ".join(problem.sentence() for problem in bad.problems)
    assert "line 3" in text
    assert word in text


def test_a_bad_row_does_not_take_a_tag(tmp_path: Path) -> None:
    """The same tag may be given again where the row that had it was none."""
    first, second = read(tmp_path, f"{HEAD}A1,,,,384GiB,,\n{GOOD}")
    assert isinstance(first, BadRow)
    assert isinstance(second, Row)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-be"])
def test_encodings_with_a_mark(tmp_path: Path, encoding: str) -> None:
    text = HEAD.replace("\n", "\r\n") + "KÄI-1,skerry-16,,,384GiB,,\r\n" * 1
    mark = b"\xfe\xff" if encoding == "utf-16-be" else b""
    (row,) = read(tmp_path, mark + text.encode(encoding))
    assert isinstance(row, Row)
    assert row.tag == "KÄI-1"
    assert row.prefer == ""


@pytest.mark.parametrize(
    ("content", "word"),
    [
        (b"", "empty file"),
        (b"\n\n", "empty file"),
        (HEAD.encode(), "no machines"),
        (b"A1,skerry-16,384GiB\n", "no column tag"),
        (b"tag,board,capacity,colour\nA,skerry-16,1GiB,red\n", "colour"),
        (b"tag,board,capacity,tag\nA,skerry-16,1GiB,B\n", "twice"),
        (b"tag,bord,capacity\nA,skerry-16,1GiB\n", "Did you mean board"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "0x89"),
    ],
)
def test_what_is_no_list_is_refused(tmp_path: Path, content: bytes, word: str) -> None:
    with pytest.raises(InputError, match=word):
        read(tmp_path, content)


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        list(MachineList(tmp_path / "none.csv"))
    with pytest.raises(InputError, match="directory"):
        list(MachineList(tmp_path))


def test_a_list_that_can_be_read_once_only_is_refused(tmp_path: Path) -> None:
    """Without opening it: nobody may stand at the other end."""
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(InputError, match="no regular file"):
        list(MachineList(tmp_path / "pipe"))


def test_a_hundred_megabytes_are_refused_before_any_row(tmp_path: Path) -> None:
    """So no run is broken off by it half-way."""
    path = tmp_path / "huge.csv"
    with path.open("wb") as handle:
        handle.write(HEAD.encode() + GOOD.encode())
        handle.truncate(100 << 20)
    rows: list[Row | BadRow] = []
    with pytest.raises(InputError, match=r"more than 64 MiB.*Split it"):
        rows.extend(MachineList(path))
    assert not rows


def test_a_long_line_takes_no_memory(tmp_path: Path) -> None:
    """One line of 40 MB is one bad row; the rest is read."""
    path = tmp_path / "long.csv"
    with path.open("wb") as handle:
        handle.write(HEAD.encode())
        handle.truncate(40 << 20)
        handle.seek(0, os.SEEK_END)
        handle.write(b"\n" + GOOD.encode())
    tracemalloc.start()
    bad, good = MachineList(path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert isinstance(bad, BadRow)
    assert isinstance(good, Row)
    assert (bad.line, good.line) == (2, 3)
    assert peak < 4 << 20


def test_rows_are_counted(tmp_path: Path) -> None:
    rows = read(tmp_path, f"\n{HEAD}\n{GOOD}\n,,,\n\n")
    assert MachineList(tmp_path / "fleet.csv").count() == len(rows) == 2
