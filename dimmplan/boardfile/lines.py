"""Which line of a TOML file a place stands on, so that a problem can name it."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from typing import Any

from dimmplan.units import cleaned

_KEY = r"(?:[A-Za-z0-9_-]+|\"[^\"\\]*\"|'[^']*')"
_KEYS = rf"{_KEY}(?:\s*\.\s*{_KEY})*"
_ENTRY = re.compile(rf"\s*({_KEYS})\s*=")
_HEADER = re.compile(rf"\s*(\[\[?)\s*({_KEYS})\s*\]")
_NO_BRACKETS = re.compile(r"\"(?:\\.|[^\"\\])*\"|'[^']*'|#.*")
_ROW = re.compile(r"\[\d+\]$")
_LAST_PART = re.compile(r"(?:^|\.)[^.\[\]]*$|\[\d+\]$")


def line_of(place: str, lines: dict[str, int]) -> int | None:
    """The line of a dotted place, or of what holds it; ``None`` where neither stands in the file."""
    while place not in lines:
        holder = _LAST_PART.sub("", place)
        if holder == place:
            return None
        place = holder
    return lines[place]


def lines_of(text: str) -> dict[str, int]:
    """The line, counted from one, of every key, table and row of tables in a TOML text, by its dotted place.

    Empty where texts run over several lines, since a line of such a text may look like a key.
    """
    if '"""' in text or "'''" in text:
        return {}
    lines: dict[str, int] = {}
    rows: dict[str, int] = {}
    table = ""
    for number, line in _outside_values(text):
        header, entry = _HEADER.match(line), _ENTRY.match(line)
        if header:
            table = _placed("", header[2], rows, is_row=header[1] == "[[")
            lines.setdefault(_ROW.sub("", table), number)
            lines.setdefault(table, number)
        elif entry:
            lines.setdefault(_placed(table, entry[1], rows), number)
    return lines


def _outside_values(text: str) -> Iterator[tuple[int, str]]:
    """Lines that do not go on with the list of an earlier line."""
    depth = 0
    for number, line in enumerate(text.split("\n"), start=1):
        if depth == 0:
            yield number, line
        plain = _NO_BRACKETS.sub("", line)
        depth = max(0, depth + sum(map(plain.count, "[{")) - sum(map(plain.count, "]}")))


def _placed(table: str, keys: str, rows: dict[str, int], *, is_row: bool = False) -> str:
    """The place of a dotted key in a table; a row of tables is counted."""
    place = table
    inside: Any = tomllib.loads(f"{keys} = 0")
    while isinstance(inside, dict):
        ((key, inside),) = inside.items()
        place = f"{place}.{cleaned(key)}" if place else cleaned(key)
        if is_row and not isinstance(inside, dict):
            rows[place] = rows.get(place, 0) + 1
        if place in rows:
            place = f"{place}[{rows[place]}]"
    return place
