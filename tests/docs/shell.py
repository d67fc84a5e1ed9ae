"""Examples as they stand in documents: found in fenced blocks, and run in this process by a very small shell.

A ``sh`` block's lines that begin with ``dimmplan`` are run in order, in one folder for one document. A comment before a
block says what is different about it:

- ``<!-- test: status 1 -->``: every command of the block ends so;
- ``<!-- test: not run: why -->``: the block is counted as not run, with its reason;
- ``<!-- file: name -->`` or ``<!-- more: name -->`` before any other block: its text is that file, or is added to it.

A ``python`` block is run as it is. A ``text`` block right after one of these shows part of what it prints: its lines
occur in this order, ``...`` stands for any others.
"""

from __future__ import annotations

import contextlib
import io
import itertools
import os
import re
import shlex
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from dimmplan.cli.run import run
from tests.inventory import build

_BLOCK = re.compile(
    r"(?:^<!-- (?P<mark>[^\n]*) -->\n+)?^```(?P<kind>\w*)\n(?P<body>.*?)^```$", re.MULTILINE | re.DOTALL
)


@dataclass(frozen=True)
class Block:
    """One fenced block. ``follows`` is true where only blank lines stand between it and the block before."""

    mark: str
    kind: str
    body: str
    follows: bool


def blocks(text: str) -> Iterator[Block]:
    """The fenced blocks of a document, in order."""
    end = 0
    for match in _BLOCK.finditer(text):
        yield Block(match["mark"] or "", match["kind"], match["body"], not text[end : match.start()].strip())
        end = match.end()


def lines_of(body: str) -> Iterator[str]:
    """The command lines of a block; a backslash at the end of a line continues it."""
    yield from (line.strip() for line in body.replace("\\\n", " ").splitlines() if line.strip())


def prepare(folder: Path) -> None:
    """The files that examples speak of: a machine's listing, a shelf, machines, labels read off."""
    (folder / "listing.txt").write_text(build.listing(_devices()), encoding="utf-8")
    (folder / "shelf.csv").write_text(
        "label,count,price,currency\n32GB 2Rx4 PC4-2933Y-R,24,95,EUR\n64GB 2Rx4 PC4-2933Y-R,12,190,EUR\n",
        encoding="utf-8",
    )
    (folder / "racks.csv").write_text(
        "tag,board,fitted,processor,capacity,modules,prefer\n"
        "QUAY-07,skerry-16,,,512GiB,32GiB,\nQUAY-08,skerry-16,,,384GiB,,bandwidth-first\n",
        encoding="utf-8",
    )
    slots = ("K1", "L1", "M1", "P1", "Q1", "R1", "T1", "U1", "V1", "W1", "X1", "Y1")
    rows = "".join(f"{slot},32GB 2Rx4 PC4-2933Y-R\n" for slot in slots)
    (folder / "labels.csv").write_text(f"slot,label\n{rows}", encoding="utf-8")


def _devices() -> Iterator[dict[str, str]]:
    """Two sockets of six channels, two slots each, the first ones filled."""
    for socket, channel, slot in itertools.product("12", "ABCDEF", "12"):
        yield (build.FILLED if slot == "1" else build.EMPTY) | {"Locator": f"P{socket}_DIMM_{channel}{slot}"}


def call(line: str) -> tuple[int, str]:
    """Run one command line and return the last status and everything printed but not piped on or into a file."""
    status, shown = 0, ""
    for command in _split(_words(line), "&&"):
        given = b""
        for part in _split(command, "|"):
            arrow = next((word for word in part if word in (">", ">>")), None)
            words, target = (part[: part.index(arrow)], part[-1]) if arrow else (part, None)
            if words[0] != "dimmplan":
                raise AssertionError(f"not a command of ours: {' '.join(words)}")
            status, out, err = _run(words[1:], given)
            given = out
            shown += err
            if target is not None:
                with Path(target).open("ab" if arrow == ">>" else "wb") as file:
                    file.write(out)
                given = b""
        shown += given.decode("utf-8")
    return status, shown


def _words(line: str) -> list[str]:
    lexer = shlex.shlex(line, posix=True, punctuation_chars="|>&")
    lexer.whitespace_split = True
    lexer.commenters = "#"
    return list(lexer)


def _split(words: list[str], at: str) -> list[list[str]]:
    parts: list[list[str]] = [[]]
    for word in words:
        if word == at:
            parts.append([])
        else:
            parts[-1].append(word)
    return parts


def _run(arguments: list[str], given: bytes) -> tuple[int, bytes, str]:
    kept = sys.stdin, sys.stdout, sys.stderr
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", newline="\n", write_through=True) for _ in range(2))
    sys.stdin, sys.stdout, sys.stderr = io.TextIOWrapper(io.BytesIO(given), encoding="utf-8"), out, err
    try:
        status = run(arguments)
    finally:
        sys.stdin, sys.stdout, sys.stderr = kept
    printed, said = (stream.detach().getvalue() for stream in (out, err))
    return status, printed, said.decode("utf-8")


def missing_lines(shown: str, wanted: str) -> list[str]:
    """Lines of ``wanted`` that do not occur in ``shown`` in that order, blanks at both ends aside."""
    left = iter([line.strip() for line in shown.splitlines()])
    needed = [line.strip() for line in wanted.splitlines() if line.strip() not in ("", "...")]
    return [line for line in needed if not any(line == each for each in left)]


@dataclass
class Count:
    """What was run of a document and what was not, with the reason."""

    run: int = 0
    not_run: list[str] = field(default_factory=list)


def run_document(text: str, folder: Path) -> Count:
    """Run a document's examples in a folder, until one goes wrong; returns what was run and what was not."""
    count, shown = Count(), ""
    before = Path.cwd()
    os.chdir(folder)
    try:
        prepare(folder)
        for block in blocks(text):
            kind, _, said = block.mark.partition(": ")
            if kind in ("file", "more"):
                with Path(said).open("a" if kind == "more" else "w", encoding="utf-8", newline="\n") as handle:
                    handle.write(block.body)
            elif kind == "test" and said.startswith("not run: "):
                ours = [line for line in lines_of(block.body) if "dimmplan" in line]
                count.not_run += [f"{line}  ({said.removeprefix('not run: ')})" for line in ours]
            elif block.kind == "sh":
                shown = ""
                for line in lines_of(block.body):
                    if not line.startswith("dimmplan "):
                        count.not_run.append(f"{line}  (not a command of dimmplan)")
                        continue
                    status, out = call(line)
                    wanted = int(said.removeprefix("status ")) if said.startswith("status ") else 0
                    assert status == wanted, f"{line}\nended with {status}, not {wanted}\n{out}"
                    shown += out
                    count.run += 1
            elif block.kind == "python":
                with contextlib.redirect_stdout(io.StringIO()) as said_by_python:
                    exec(compile(block.body, "example", "exec"), {})
                shown = said_by_python.getvalue()
                count.run += 1
            elif block.kind == "text" and block.follows and not block.mark:
                assert missing_lines(shown, block.body) == []
    finally:
        os.chdir(before)
    return count
