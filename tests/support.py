"""What several test files share: boards by their shape, loads by channel, TOML written back."""

from __future__ import annotations

import functools
import json
import os
import pickle
import sys
import tomllib
import traceback
from collections.abc import Callable, Iterator, Mapping, Sequence
from fractions import Fraction
from typing import Any, TextIO, TypeVar

import pytest

from dimmplan.boardfile.read import load_board, shipped_folder
from dimmplan.interleave import Region, permitted_sets, regions
from dimmplan.model.board import Board, Channel, Controller, Socket
from dimmplan.model.module import Module
from dimmplan.model.request import Mode
from dimmplan.model.rows import InterleaveRow
from dimmplan.rules import Breach, ModeRow, judge

Case = TypeVar("Case")

WHOLE = "DIMMPLAN_WHOLE_MATRICES" in os.environ
"""Set by ``python -m tests.bench matrices``: every case of the long matrices, not the sample that CI takes."""


def sampled(cases: Sequence[Case], most: int) -> Sequence[Case]:
    """At most ``most`` of the cases, evenly spread; all of them where the whole matrices are asked for."""
    return cases if WHOLE or len(cases) <= most else [cases[index * len(cases) // most] for index in range(most)]


whole_matrix = pytest.mark.skipif(not WHOLE, reason="counts the whole matrix: python -m tests.bench matrices")
"""For a test that says what the cases of a matrix hold in all."""

Shape = Sequence[Sequence[int]]
"""A number for each channel, a list for each controller."""


def socket_of(shape: Sequence[int], names: str = "ABCDEFGHIJKLMNOP") -> Socket:
    """A socket of that many channels on each controller, channels named in order."""
    each = iter(names)
    return Socket(
        id="S",
        controllers=tuple(
            Controller(
                id=f"m{index}",
                channels=tuple(
                    Channel(id=name, socket="S", controller=f"m{index}", slots=(name,))
                    for _, name in zip(range(count), each, strict=False)
                ),
            )
            for index, count in enumerate(shape)
        ),
    )


def interleave_row(
    style: str, ways: Sequence[int] = (), excess: str = "layers", groups: Sequence[Mapping[str, Any]] = ()
) -> InterleaveRow:
    """An interleave row from plain values."""
    return InterleaveRow.model_validate(
        {"style": style, "ways": ways, "excess": excess, "groups": groups, "source": "INVENTED"}
    )


def regions_of(row: InterleaveRow, amounts: Shape, names: str = "ABCDEFGHIJKLMNOP") -> tuple[Region, ...]:
    """The regions of GiB per channel under a row, by the package's own loop."""
    socket = socket_of([len(controller) for controller in amounts], names)
    return regions(tuple(map(tuple, amounts)), permitted_sets(row, socket))


def ways_and_gib(found: Sequence[Region]) -> list[tuple[int, int]]:
    """What a person reads of regions: ways and GiB."""
    return [(region.ways, region.capacity) for region in found]


def share_of(found: Sequence[Region], channels: int) -> Fraction:
    """Share of the peak of all channels that one sweep over the regions uses, all channels at one rate."""
    capacity = sum(region.capacity for region in found)
    return Fraction(capacity, sum(region.depth for region in found)) / channels


def gib_by_channel(board: Board, content: Mapping[str, Module | None]) -> dict[str, list[list[int]]]:
    """GiB per channel in board order, a list for each controller, by socket."""

    def gib(channel: Channel) -> int:
        return sum(module.capacity_gib for slot in channel.slots if (module := content.get(slot)))

    return {s.id: [[gib(channel) for channel in c.channels] for c in s.controllers] for s in board.sockets}


def falling(amounts: Shape) -> list[list[int]]:
    """A falling list for each controller, the lists falling: what does not depend on names and order."""
    return sorted((sorted(controller, reverse=True) for controller in amounts), reverse=True)


def filled(board: Board, module: Module, counts: Mapping[str, Sequence[int]]) -> dict[str, Module | None]:
    """Slot contents of one type: for each socket, how many modules lie on each of its channels in board order."""
    content: dict[str, Module | None] = dict.fromkeys(board.slots)
    for socket_id, numbers in counts.items():
        for channel, number in zip(board.socket(socket_id).channels, numbers, strict=True):
            assert number <= len(channel.slots)
            content |= dict.fromkeys(channel.slots[:number], module)
    return content


def usual(board: Board, gib: int) -> Module:
    """The board's usual module of a size."""
    module = board.module_of_size(gib)
    assert module is not None
    return module


@functools.cache
def shipped_boards() -> tuple[Board, ...]:
    """Every shipped board, by id."""
    return tuple(load_board(path.stem) for path in sorted(shipped_folder().glob("*.toml")))


def shipped_raw(board_id: str) -> dict[str, Any]:
    """A shipped board file as plain values, which a test may change."""
    raw: dict[str, Any] = pickle.loads(_pickled(board_id))
    return raw


@functools.cache
def _pickled(board_id: str) -> bytes:
    return pickle.dumps(tomllib.loads((shipped_folder() / f"{board_id}.toml").read_text(encoding="utf-8")))


def toml_text(raw: Mapping[str, Any]) -> str:
    """Plain values as TOML, one line for each top-level key."""
    return "".join(f"{_quoted(key)} = {_value(value)}\n" for key, value in raw.items())


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, list):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, Mapping):
        return f"{{{', '.join(f'{_quoted(key)} = {_value(inner)}' for key, inner in value.items())}}}"
    return str(value)


def _quoted(text: str) -> str:
    return json.dumps(text).replace("\x7f", "\\u007f")


def one_document(text: str) -> Any:
    """The one JSON document that a text is; nothing may stand before or behind it."""
    value, end = json.JSONDecoder().raw_decode(text)
    assert text[end:].strip() == ""
    return value


def unprintable(text: str) -> Iterator[str]:
    """Characters of an output that a terminal must not get raw."""
    return (character for character in text if character != "\n" and not character.isprintable())


def mode_breaches(
    board: Board, mode: Mode, fitted: Sequence[str], content: Mapping[str, Module | None]
) -> list[Breach]:
    """What a content lacks for a mode, other rules aside."""
    found = judge(board, None, fitted, content, mode=mode)
    return [breach for breach in found if breach.kind and issubclass(breach.kind, ModeRow)]


def forked(call: Callable[[], int], stdout: TextIO | None = None) -> tuple[int, str]:
    """The status of a call in a process of its own, forked so that nothing is imported anew, and what it says."""
    reading, writing = os.pipe()
    child = os.fork()
    if not child:
        status = 99
        try:
            sys.stderr = os.fdopen(writing, "w", encoding="utf-8")
            sys.stdout = stdout or sys.stderr
            status = call()
            sys.stderr.flush()
        except BaseException:
            traceback.print_exc()
            sys.stderr.flush()
        finally:
            os._exit(status)
    os.close(writing)
    with os.fdopen(reading, encoding="utf-8") as told:
        text = told.read()
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), text
