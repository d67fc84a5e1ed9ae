"""What an inventory is wrapped in on its way: a log, JSON of the tool that ran the command, escapes, hex digits.

Nothing is guessed: digits whose places do not follow each other, or a structure whose length is not the one that it
says, are left as they are, and so refused or told by the reader that gets them.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import Any

from dimmplan.inventory.clean import begins_as_json, decode_file

MOST_LAYERS = 3
"""A log of JSON of a listing in hex digits is the worst that was thought of."""
_MOST_TEXT = 4 << 20

_MARK = re.compile(r"Handle 0x[0-9A-F]{1,8},? ", re.IGNORECASE)
_MARKED_LINE = re.compile(r"^([^\n]{1,160}?)Handle 0x[0-9A-F]{1,8}, DMI type \d{1,3}, ", re.IGNORECASE | re.MULTILINE)
_PLAIN_LINE = re.compile(r"^[ \t>]{0,40}Handle 0x", re.IGNORECASE | re.MULTILINE)
_JSON_BEGINS = re.compile(r"^[ \t]{0,40}(?:```[a-z]{0,10}\s{0,4})?[{]", re.MULTILINE)
_NAME_OF_DAY = re.compile(
    r"(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec|mon|tue|wed|thu|fri|sat|sun)", re.IGNORECASE
)


def unwrapped(content: bytes) -> bytes:
    """What is inside, layer by layer; ``content`` itself where nothing is wrapped."""
    for _ in range(MOST_LAYERS):
        if len(content) > _MOST_TEXT or (text := decode_file(content)) is None:
            break
        inner = next((found for layer in _LAYERS if (found := layer(text))), None)
        if inner is None:
            break
        content = inner
    return content


def _of_json(text: str) -> bytes | None:
    """A listing that stands as one string in JSON, or as an array of its lines."""
    if not begins_as_json(text) or not _MARK.search(text):
        return None
    try:
        waiting: list[Any] = [json.loads(text)]
    except (ValueError, RecursionError):
        return None
    listings: list[str] = []
    while waiting:
        value = waiting.pop()
        if isinstance(value, dict):
            waiting += value.values()
        elif isinstance(value, list):
            lines = [each for each in value if isinstance(each, str)]
            waiting += ["\n".join(lines)] if lines else value
        elif isinstance(value, str) and _MARK.search(value):
            listings.append(value)
    return listings[0].encode() if len(set(listings)) == 1 else None


def _of_prose(text: str) -> bytes | None:
    """JSON resources with other lines around them: a prompt, an answer's head, headings, fences."""
    if begins_as_json(text) or '"@odata.' not in text:
        return None
    decoder = json.JSONDecoder()
    found: list[str] = []
    end = 0
    for match in _JSON_BEGINS.finditer(text):
        if match.end() <= end:
            continue
        try:
            _, end = decoder.raw_decode(text, match.end() - 1)
        except (ValueError, RecursionError):
            return None
        found.append(text[match.end() - 1 : end])
    return "\n".join(found).encode() if found else None


def _of_escapes(text: str) -> bytes | None:
    r"""A listing whose line ends are written ``\n``."""
    if begins_as_json(text) or text.count("\\n") < 8 * (text.count("\n") + 1) or not _MARK.search(text):
        return None
    return text.replace("\\r", "").replace("\\n", "\n").replace("\\t", "\t").encode()


def _of_log(text: str) -> bytes | None:
    """A listing each line of which has the same words before it, numbers apart; lines without them are others'."""
    if begins_as_json(text) or not _MARK.search(text) or _PLAIN_LINE.search(text):
        return None
    marked = _MARKED_LINE.search(text)
    if marked is None:
        return None
    parts = re.findall(r"\d+|\s+|[^\W\d_]+|[\W_]", marked[1].rstrip())
    before = re.compile("".join(map(_alike, parts)) + r"[ ]?")
    lines = [(match, line) for line in text.splitlines() if (match := before.match(line))]
    return "\n".join(line[match.end() :] for match, line in lines).encode()


def _alike(part: str) -> str:
    if part.isdigit():
        return r"\d{1,12}+"
    if part.isspace():
        return r"\s{0,12}+"
    return r"[A-Za-z]{3}" if _NAME_OF_DAY.fullmatch(part) else re.escape(part)


# --- hex digits -------------------------------------------------------------------------------------------------------

_HEX_LINE = re.compile(
    r"\s{0,8}(?P<at>[0-9A-F]{2,8})(?P<colon>:?)[ \t]{1,4}"
    r"(?P<digits>(?:[0-9A-F]{4}|[0-9A-F]{2})(?!\S)(?:[ ]{1,2}(?:[0-9A-F]{4}|[0-9A-F]{2})(?!\S)){0,15})",
    re.IGNORECASE,
)
_ONLY_PLACE = re.compile(r"\s{0,8}[0-9A-F]{6,8}\s{0,8}", re.IGNORECASE)
_BARE_HEX = re.compile(r"(?:\s*(?:0x)?[0-9A-F]{2},?)+\s*", re.IGNORECASE)
_PAGE = 256
_LINE = 16
_FEWEST = 8
"""Lines of a dump: an image of a module has sixteen."""


def _of_hex(text: str) -> bytes | None:
    """Bytes that a program printed as digits: each line with its place, or digits alone."""
    lines = text[: 1 << 14].splitlines()
    if any(_HEX_LINE.match(line[:200]) for line in lines) and (found := _placed(text, 16) or _placed(text, 8)):
        return found
    if not (_BARE_HEX.fullmatch("".join(lines[:2])) and _BARE_HEX.fullmatch(text)):
        return None
    bare = bytes.fromhex(re.sub(r"0x|[\s,]", "", text, flags=re.IGNORECASE))
    return bare if len(bare) >= _FEWEST * _LINE else None


def _placed(text: str, base: int) -> bytes | None:
    """The bytes of lines whose places, in numbers of ``base``, follow each other; ``*`` repeats the line above it."""
    found = bytearray()
    repeats = False
    lines = 0
    for line in text.splitlines():
        match = _HEX_LINE.match(line[:200])
        if match is None:
            repeats = repeats or line.strip() == "*"
            if not (repeats and _ONLY_PLACE.fullmatch(line[:40])):
                continue
        at = _place(match["at"] if match else line.strip(), base)
        paged = match is not None and len(match["at"]) == 2 and base == 16
        if repeats and found and at is not None and len(found) < at <= _MOST_TEXT:
            last = bytes(found[-_LINE:])
            found += (last * ((at - len(found)) // len(last) + 1))[: at - len(found)]
        repeats = False
        if at != (len(found) % _PAGE if paged else len(found)):
            return None
        if match is not None:
            found += _line_bytes(match)
            lines += 1
    return bytes(found) if lines >= _FEWEST and not _is_two_modules(found) else None


def _place(digits: str, base: int) -> int | None:
    try:
        return int(digits, base)
    except ValueError:
        return None


def _line_bytes(match: re.Match[str]) -> bytes:
    """The bytes of a line; words of two bytes without a colon before them are printed with the low byte last."""
    groups = match["digits"].split()
    words = all(len(group) == 4 for group in groups)
    if words and not match["colon"]:
        groups = [group[2:] + group[:2] for group in groups]
    return bytes.fromhex("".join(groups))[:_LINE]


def _is_two_modules(found: bytearray) -> bool:
    """True where the second page begins as the first one does: two modules of which one page each was printed."""
    return len(found) > _PAGE and len(found) % _PAGE == 0 and any(found[:4]) and found[:4] == found[_PAGE : _PAGE + 4]


# --- a listing of structures that were not decoded --------------------------------------------------------------------

_STRUCTURE = re.compile(r"^[ \t>]*Handle 0x[0-9A-F]{1,8}, DMI type \d{1,3}, (\d{1,6}) bytes", re.IGNORECASE)
_VERSION = re.compile(r"SMBIOS (\d{1,2})\.(\d{1,2})")
_DIGITS = re.compile(r"[0-9A-F]{2}(?: [0-9A-F]{2}){0,31}", re.IGNORECASE)
_BODY, _TEXTS = "Header and Data:", "Strings:"
_END = bytes((127, 4, 0xFF, 0xFF, 0, 0))


def _of_undecoded(text: str) -> bytes | None:
    """A listing with each structure's bytes in place of its fields, as the table that it was."""
    if _BODY not in text:
        return None
    structures: list[tuple[int, dict[str, bytearray]]] = []
    place: bytearray | None = None
    for line in text.splitlines():
        said = line.strip(" \t>")
        if match := _STRUCTURE.match(line):
            structures.append((int(match[1]), {_BODY: bytearray(), _TEXTS: bytearray()}))
            place = None
        elif structures and said in (_BODY, _TEXTS):
            place = structures[-1][1][said]
        elif place is not None and _DIGITS.fullmatch(said):
            place += bytes.fromhex(said)
    parts = [(size, bytes(said[_BODY]), bytes(said[_TEXTS])) for size, said in structures]
    if not parts or any(len(body) != size or size < 4 or body[1] != size for size, body, _ in parts):
        return None
    if any(texts and texts[-1] for *_, texts in parts):
        return None
    table = b"".join(body + (texts or b"\0") + b"\0" for _, body, texts in parts)
    if parts[-1][1][0] != _END[0]:
        table += _END
    version = _VERSION.search(text)
    major, minor = (int(version[1]), int(version[2])) if version else (3, 0)
    return bytes((0, major, minor, 0)) + len(table).to_bytes(4, "little") + table


_LAYERS: tuple[Callable[[str], bytes | None], ...] = (_of_json, _of_prose, _of_escapes, _of_log, _of_undecoded, _of_hex)
