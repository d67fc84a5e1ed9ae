"""Folder names from machine tags: never two tags to one name, whatever file system the names meet.

Small letters, digits, hyphen, underscore and inner dots stand for themselves, and so do capitals. Everything else is
written as ``=`` and the two hexadecimal digits of each byte of its UTF-8 form. File systems that fold case would let
``AB`` and ``ab`` meet, so a tag with small letters carries, after ``~``, which of its letters are small (a binary
number in hexadecimal); tags all in capitals, the usual ones, are left as they are.
"""

from __future__ import annotations

import re

MOST_BYTES = 200
"""File systems take names of 255 bytes; the rest is room for what writers add."""
_PLAIN = re.compile(r"[A-Za-z0-9_-]")
_RESERVED = re.compile(r"(CON|PRN|AUX|NUL|COM\d|LPT\d)(\.|$)", re.IGNORECASE)


def folder_name(tag: str) -> str | None:
    """The name of a machine's folder, or ``None`` for a tag that is too long for one. Injective."""
    last = len(tag) - 1
    reserved = _RESERVED.match(tag) is not None
    name = "".join(
        character
        if _PLAIN.fullmatch(character)
        and not (index == 0 and (reserved or character == "-"))
        or (character == "." and 0 < index < last)
        else "".join(f"={byte:02X}" for byte in character.encode("utf-8", errors="surrogatepass"))
        for index, character in enumerate(tag)
    )
    small = [character.islower() for character in tag if character.isascii() and character.isalpha()]
    if any(small):
        name += f"~{sum(1 << place for place, is_small in enumerate(small) if is_small):x}"
    return name if 0 < len(name) <= MOST_BYTES else None
