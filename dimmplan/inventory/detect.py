"""The door to all readers: finds out by content what an inventory is, and reads it.

An inventory is a file, a folder or a zip archive, or ``this-machine``. File names are never trusted to tell the form.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Literal

from dimmplan.bounded import read_file
from dimmplan.errors import InputError, Problem
from dimmplan.inventory import bundle, labels, redfish, smbios_binary, smbios_text, spd
from dimmplan.inventory.bundle import Piece
from dimmplan.inventory.clean import clean, decode_file
from dimmplan.inventory.limits import MOST_FILE_BYTES, MOST_TABLE_BYTES, MOST_TEXT_BYTES, check_size
from dimmplan.inventory.oddities import Oddities
from dimmplan.model.inventory import Form, Inventory

THIS_MACHINE = "this-machine"

Sort = Literal["zip", "dump", "table", "listing", "json", "labels", "image"]
"""What a file is, by content; two of them are the same form of inventory."""

_FORM_OF: dict[Sort, Form] = {
    "dump": "smbios-binary",
    "table": "smbios-binary",
    "listing": "smbios-text",
    "json": "redfish",
    "labels": "labels",
    "image": "spd",
}
_ALLOWED = (
    "an SMBIOS dump, a text listing of SMBIOS tables, Redfish Memory resources (JSON), a label list (CSV slot,label), "
    "SPD images, or a folder or zip archive of such files"
)
_HINT = "On the machine: sudo dmidecode --dump-bin machine.bin, or dmidecode > machine.txt"


def read_inventory(source: str | os.PathLike[str] | bytes, *, name: str = "") -> Inventory:
    """Read an inventory from a path, from ``this-machine``, or from bytes (``name`` is then what errors call it).

    Raises ``InputError`` for anything that is no inventory, is broken beyond reading, or is larger than any real one.
    """
    if isinstance(source, bytes):
        check_size(len(source), MOST_FILE_BYTES, file=clean(name), what="a file")
        return read_content(source, name=name)
    text = os.fspath(source)
    if text == THIS_MACHINE:
        return smbios_binary.read_this_machine()
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
        pieces, unread = bundle.from_folder(path)
        return _read_bundle(pieces, unread, file=file)
    return read_content(read_file(path, most=MOST_FILE_BYTES, allowed="an inventory file or folder"), name=text)


def read_content(content: bytes, *, name: str = "") -> Inventory:
    """Read an inventory from the bytes of one file."""
    file = clean(name)
    sort = sort_of(content)
    if sort == "zip":
        return _read_bundle(bundle.from_zip(content, file=file), [], file=file)
    if sort is None:
        raise _refusal(content, file=file)
    return _read_one(sort, Piece(name=clean(Path(name).name), content=content), file=file)


def sort_of(content: bytes) -> Sort | None:
    """What bytes are, or ``None`` for none of the forms."""
    if bundle.is_zip(content):
        return "zip"
    if smbios_binary.is_dump(content):
        return "dump"
    if spd.is_image(content) and not _is_plain_text(content):
        return "image"
    text = decode_file(content)
    sort = _sort_of_text(text) if text is not None else None
    if sort is None and len(content) <= MOST_TABLE_BYTES and smbios_binary.is_bare_table(content):
        return "table"
    return sort


def _sort_of_text(text: str) -> Sort | None:
    if redfish.is_json(text):
        return "json"
    if smbios_text.is_listing(text):
        return "listing"
    return "labels" if len(text) <= MOST_TEXT_BYTES and labels.is_label_list(text) else None


def _is_plain_text(content: bytes) -> bool:
    """True for bytes that are readable ASCII throughout, as no image is."""
    return content.isascii() and all(byte >= 0x20 or byte in b"\t\r\n" for byte in content)


def _refusal(content: bytes, *, file: str) -> InputError:
    """What to say of bytes that are no inventory."""
    what = "an empty file" if not content.strip() else "a file of none of the forms that are read"
    return InputError(Problem(file=file, place="", found=what, allowed=_ALLOWED, hint=_HINT))


def _read_one(sort: Sort, piece: Piece, *, file: str) -> Inventory:
    """Read one file whose sort is known."""
    if sort == "dump":
        return smbios_binary.read_dump(piece.content, file=file)
    if sort == "table":
        return smbios_binary.read_bare_table(piece.content, file=file)
    if sort == "image":
        return spd.read_images([(piece.slot, piece.content)], file=file)
    if sort == "json":
        return redfish.read_documents([(file, piece.content)], file=file)
    text = decode_file(piece.content) or ""
    if sort == "listing":
        return smbios_text.read_listing(text, file=file)
    return labels.read_label_list(text, file=file)


def _read_bundle(pieces: Sequence[Piece], unread: Sequence[str], *, file: str) -> Inventory:
    """Read the files of a folder or an archive as one inventory; what is none of it is noted.

    Many files may make one inventory (images, JSON). Of the other forms one file is read, and more are refused:
    which of several machines is meant is not for this program to say.
    """
    pair = _linux_tables(pieces)
    if pair is not None:
        return smbios_binary.read_pair(pair[0].content, pair[1].content, file=file)
    sorts = [(piece, sort_of(piece.content)) for piece in pieces]
    known = [(piece, sort) for piece, sort in sorts if sort is not None and sort != "zip"]
    used = _used(known, file=file)
    odd = Oddities()
    for piece, sort in sorts:
        if sort is None or sort == "zip" or (piece, sort) not in used:
            odd.note("file-ignored", piece.name)
    for name in unread:
        odd.note("file-unreadable", name)
    sort = used[0][1]
    if sort == "json":
        found = redfish.read_documents([(piece.name, piece.content) for piece, _ in used], file=file, odd=odd)
    elif sort == "image":
        found = spd.read_images([(piece.slot, piece.content) for piece, _ in used], file=file, odd=odd)
    else:
        found = _read_one(sort, used[0][0], file=file)
        found = replace(found, oddities=(*odd.found(), *found.oddities))
    saved = max((piece.day for piece, _ in used if piece.day), default=None)
    return found if found.date else replace(found, date=saved)


def _used(known: Sequence[tuple[Piece, Sort]], *, file: str) -> list[tuple[Piece, Sort]]:
    """The files that make the inventory. Raises ``InputError`` where there is none, or more than one to choose from."""
    forms = {_FORM_OF[sort] for _, sort in known}
    if not forms:
        raise InputError(Problem(file=file, place="", found="no inventory in it", allowed=_ALLOWED, hint=_HINT))
    if len(forms) > 1 or (len(known) > 1 and not forms <= {"redfish", "spd"}):
        names = ", ".join(piece.name for piece, _ in known[:5])
        found = f"{len(known)} inventories to choose from ({names}{', ...' if len(known) > 5 else ''})"
        raise InputError(Problem(file=file, place="", found=found, allowed="one inventory", hint="Name one of them."))
    return list(known)


def _linux_tables(pieces: Sequence[Piece]) -> tuple[Piece, Piece] | None:
    """A copy of the two files that Linux shows of the tables: entry point and table."""
    by_name = {Path(piece.name).name: piece for piece in pieces}
    if len(pieces) == 2 and set(by_name) == {"smbios_entry_point", "DMI"}:
        return by_name["smbios_entry_point"], by_name["DMI"]
    return None
