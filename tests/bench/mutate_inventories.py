"""Damaged inventories of every form, and the worst that each can be given.

Right inventories are flipped, cut, spliced, given wrong lengths and values, zipped and broken again; worst cases (deep
and huge JSON, archives that expand, endless lines) come on top. Each is read as a whole file and, where it is not
recognised any more, by the reader that it was made for. What can be read is printed, matched, audited and drafted from.
"""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Iterator
from importlib import import_module
from typing import Any

from dimmplan.audit import audit
from dimmplan.boardfile.draft import draft_board
from dimmplan.boardfile.read import examine_text, load_board
from dimmplan.errors import InputError
from dimmplan.inventory.match import mapping_text, match_slots
from dimmplan.inventory.oddities import Oddities
from dimmplan.inventory.reader import Piece, Reader, read_inventory, readers
from dimmplan.model.inventory import Inventory
from dimmplan.output.machine import AuditDocument, FoundDocument, audit_text, found_text
from dimmplan.output.record import to_json
from tests.bench.hostile_inputs import WrongError, must_be_printable
from tests.bench.mutate import mutate, mutate_json
from tests.inventory import build

Read = Callable[[bytes], object]


def _read_as(reader: Reader) -> Read:
    """How the reader of one form reads a file, whatever the file looks like."""
    return lambda content: reader.read([Piece(name="A1", content=content)], file="A1", odd=Oddities())


READERS: dict[str, Read] = {reader.form: _read_as(reader) for reader in readers()}


def tests_of(form: str) -> Any:
    """The tests of a reader, under its module's name: they have right inventories, and the worst it can be given."""
    reader = next(reader for reader in readers() if reader.form == form)
    return import_module(f"tests.inventory.test_{type(reader).__module__.rpartition('.')[2]}")


def bases(form: str) -> list[bytes]:
    """Right inventories of one form."""
    right: list[bytes] = tests_of(form).right()
    return right


def mutants(form: str, rng: random.Random) -> Iterator[bytes]:
    """Damaged inventories of one form, without end."""
    originals = bases(form)
    while True:
        content, other = rng.choice(originals), rng.choice(originals)
        if content.startswith(b"{") and rng.random() < 0.5:
            yield json.dumps(mutate_json(json.loads(content), rng)).encode()
            continue
        for _ in range(rng.choice((1, 1, 1, 2, 5))):
            content = mutate(content, other, rng)
        yield build.zipped({"A1.bin": content, "A2.bin": other}) if rng.random() < 0.02 else content


def worst(form: str) -> Iterator[tuple[str, bytes]]:
    """The worst that one form can be given."""
    yield from tests_of(form).worst()


def take(form: str, content: bytes, rng: random.Random) -> bool:
    """Read one inventory by both doors; true where it was recognised."""
    try:
        found = read_inventory(content, name="A1.bin")
    except InputError as error:
        must_be_told(error)
        try:
            READERS[form](content)
        except InputError as alone:
            must_be_told(alone)
        return False
    if len(found.slots) <= 64 and rng.random() < 0.2:
        use(found)
    return True


def must_be_told(error: InputError) -> None:
    """Raise where an error names no problem, or names one in characters that a terminal must not get."""
    if not error.problems:
        raise WrongError("an error without a problem")
    must_be_printable(*(each for problem in error.problems for each in map(str, problem)))


def use(found: Inventory) -> None:
    """Print an inventory, match and audit it, and draft a board from it: a draft has no problem."""
    must_be_printable(found_text(found, serials=True))
    to_json(FoundDocument.of(found, True))
    board = load_board("skerry-16")
    matching = match_slots(found, board)
    result = audit(board, found, matching, None)
    must_be_printable(audit_text(result, matching), mapping_text(found, matching))
    to_json(AuditDocument.of(result, questions=matching.questions))
    try:
        made = draft_board(found, board_id="drafted", title="Drafted")
    except InputError as error:
        must_be_told(error)
        return
    drafted, problems = examine_text(made.text.encode("utf-8"), file="drafted.toml")
    if drafted is None or problems:
        raise WrongError(f"a draft with problems: {problems[:3]}")
