"""The door to all readers, and what a reader is: it finds out by content what an inventory is, and reads it.

An inventory is a file, a folder or a zip archive, or ``this-machine``. File names are never trusted to tell the form. A
new form is one new file with a ``READER``; nothing else names it.
"""

from __future__ import annotations

import os
from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules
from typing import ClassVar

import dimmplan.inventory
from dimmplan.bounded import read_file
from dimmplan.errors import InputError, Problem
from dimmplan.inventory import files
from dimmplan.inventory.clean import clean, decode_file
from dimmplan.inventory.files import MOST_FILE_BYTES, Piece, check_size
from dimmplan.inventory.oddities import Oddities
from dimmplan.model.inventory import Inventory

THIS_MACHINE = "this-machine"

_HINT = "On the machine: sudo dmidecode --dump-bin machine.bin, or dmidecode > machine.txt"


class Reader(ABC):
    """Sniffs, reads and names one form.

    ``form`` is the form's id in JSON, ``name`` what it is called to people, ``given`` what to give, in a refusal.
    ``several`` says that many files may make one inventory; ``by_look`` that the form has no mark of its own and is
    asked for after all that have one.
    """

    form: ClassVar[str]
    name: ClassVar[str]
    given: ClassVar[str]
    several: ClassVar[bool] = False
    by_look: ClassVar[bool] = False

    @abstractmethod
    def sniff(self, content: bytes, text: str | None) -> bool:
        """True for the bytes of one file of this form; ``text`` is the file as text, ``None`` where it is none."""

    @abstractmethod
    def read(self, pieces: Sequence[Piece], *, file: str, odd: Oddities) -> Inventory:
        """The inventory of one file, or of many where the form has several. Raises ``InputError``."""

    def whole(self, pieces: Sequence[Piece]) -> bool:
        """True where just these files together are one inventory, though none of them is one alone."""
        del pieces
        return False

    def of_this_machine(self) -> Inventory | None:
        """The running machine's inventory, in the form that a system keeps; ``None`` for every other form."""
        return None


@cache
def readers() -> tuple[Reader, ...]:
    """Every reader of the package, those with a mark of their own first."""
    package = dimmplan.inventory
    modules = [import_module(f"{package.__name__}.{each.name}") for each in iter_modules(package.__path__)]
    found = [module.READER for module in modules if hasattr(module, "READER")]
    return tuple(sorted(found, key=lambda reader: reader.by_look))


def form_name(form: str) -> str:
    """What a form is called to people."""
    return next(reader.name for reader in readers() if reader.form == form)


def allowed_forms() -> str:
    """What may be given, in a refusal."""
    return f"{', '.join(reader.given for reader in readers())}, or a folder or zip archive of such files"


def read_inventory(source: str | os.PathLike[str] | bytes, *, name: str = "") -> Inventory:
    """Read an inventory from a path, from ``this-machine``, or from bytes (``name`` is then what errors call it).

    Raises ``InputError`` for anything that is no inventory, is broken beyond reading, or is larger than any real one.
    """
    if isinstance(source, bytes):
        check_size(len(source), MOST_FILE_BYTES, file=clean(name), what="a file")
        return read_content(source, name=name)
    text = os.fspath(source)
    if text == THIS_MACHINE:
        return next(inventory for reader in readers() if (inventory := reader.of_this_machine()))
    path = Path(text)
    file = clean(text)
    try:
        is_folder = path.is_dir()
        exists = is_folder or path.exists()
    except (OSError, ValueError):
        is_folder = exists = False
    if not exists:
        allowed = f"an inventory file or folder, or {THIS_MACHINE}"
        raise InputError(Problem(file=file, place="", found="no such file or folder", allowed=allowed))
    if is_folder:
        pieces, unread = files.from_folder(path)
        return _read_bundle(pieces, unread, file=file)
    return read_content(read_file(path, most=MOST_FILE_BYTES, allowed="an inventory file or folder"), name=text)


def read_content(content: bytes, *, name: str = "") -> Inventory:
    """Read an inventory from the bytes of one file."""
    file = clean(name)
    if files.is_zip(content):
        return _read_bundle(files.from_zip(content, file=file), [], file=file)
    reader = reader_of(content)
    if reader is None:
        what = "an empty file" if not content.strip() else "a file of none of the forms that are read"
        raise InputError(Problem(file=file, place="", found=what, allowed=allowed_forms(), hint=_HINT))
    piece = Piece(name=clean(Path(name).name), content=content, file=file)
    return reader.read([piece], file=file, odd=Oddities())


def reader_of(content: bytes) -> Reader | None:
    """The reader of the form that bytes have; ``None`` for none of the forms, and for an archive."""
    if files.is_zip(content):
        return None
    text = decode_file(content)
    return next((reader for reader in readers() if reader.sniff(content, text)), None)


def _read_bundle(pieces: Sequence[Piece], unread: Sequence[str], *, file: str) -> Inventory:
    """Read the files of a folder or an archive as one inventory; what is none of it is noted.

    Many files may make one inventory (images, JSON). Of the other forms one file is read, and more are refused:
    which of several machines is meant is not for this program to say.
    """
    odd = Oddities()
    together = next((reader for reader in readers() if reader.whole(pieces)), None)
    if together is not None:
        return together.read(pieces, file=file, odd=odd)
    known = [(piece, reader) for piece in pieces if (reader := reader_of(piece.content)) is not None]
    reader = _one_form(known, file=file)
    used = {id(piece) for piece, _ in known}
    for piece in pieces:
        if id(piece) not in used:
            odd.note("file-ignored", piece.name)
    for name in unread:
        odd.note("file-unreadable", name)
    found = reader.read([piece for piece, _ in known], file=file, odd=odd)
    saved = max((piece.day for piece, _ in known if piece.day), default=None)
    return found if found.date else replace(found, date=saved)


def _one_form(known: Sequence[tuple[Piece, Reader]], *, file: str) -> Reader:
    """The reader of a bundle. Raises ``InputError`` where there is no inventory in it, or more than one to choose."""
    forms = {reader for _, reader in known}
    if not forms:
        raise InputError(Problem(file=file, place="", found="no inventory in it", allowed=allowed_forms(), hint=_HINT))
    reader = known[0][1]
    if len(forms) > 1 or (len(known) > 1 and not reader.several):
        names = ", ".join(piece.name for piece, _ in known[:5])
        found = f"{len(known)} inventories to choose from ({names}{', ...' if len(known) > 5 else ''})"
        raise InputError(Problem(file=file, place="", found=found, allowed="one inventory", hint="Name one of them."))
    return reader
