"""The one way in for files that people give: regular files alone, and never more of them than such a file can be.

What is longer, deeper or has more parts than any real file of its sort is refused before it is parsed, because parsers
take time and memory for it.
"""

from __future__ import annotations

import json
import os
import re
import stat
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, BinaryIO

from dimmplan.errors import InputError, Problem
from dimmplan.units import cleaned

MOST_DEPTH = 32
"""Parts of a dotted TOML key."""
MOST_KEYS = 10_000
"""Keys, tables and lists of a TOML file; the largest shipped board has some three hundred."""
MOST_JSON_CONTAINERS = 100_000
"""Objects and lists of a JSON file."""

_NO_HANG = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOCTTY", 0) | getattr(os, "O_BINARY", 0)
_PART = r"""(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')"""
_DEEP_KEY = re.compile(rf"(?<![\w\"'-]){_PART}(?:[ \t]*+\.[ \t]*+{_PART}){{{MOST_DEPTH}}}", re.ASCII)


@contextmanager
def open_regular(path: Path, *, allowed: str, pipes: bool = True) -> Iterator[BinaryIO]:
    """A file opened for reading: a regular one, or with ``pipes`` one that the shell has laid (``<(command)``).

    Named pipes, devices and folders are refused without waiting for them. Raises ``InputError``; ``allowed`` says what
    was wanted.
    """

    def refused(found: str) -> InputError:
        return InputError(Problem(file=cleaned(str(path)), found=found, allowed=allowed))

    try:
        handle = os.fdopen(os.open(path, os.O_RDONLY | _NO_HANG), "rb")
    except ValueError:
        raise refused("not a usable name") from None
    except OSError as error:
        raise refused((error.strerror or "cannot be read").lower()) from None
    with handle:
        kind = os.fstat(handle.fileno()).st_mode
        if pipes and stat.S_ISFIFO(kind) and not Path(os.path.realpath(path)).exists():
            os.set_blocking(handle.fileno(), True)
        elif not stat.S_ISREG(kind):
            raise refused("a folder" if stat.S_ISDIR(kind) else "no regular file")
        try:
            yield handle
        except OSError as error:
            raise refused((error.strerror or "cannot be read").lower()) from None


def read_file(path: Path, *, most: int, allowed: str, hint: str = "") -> bytes:
    """The bytes of a file, at most ``most`` of them. Raises ``InputError``."""
    with open_regular(path, allowed=allowed) as handle:
        content = handle.read(most + 1)
    check_length(len(content), most, file=cleaned(str(path)), allowed=allowed, hint=hint)
    return content


def check_length(length: int, most: int, *, file: str, allowed: str, hint: str = "") -> None:
    """Raise ``InputError`` for more than ``most`` bytes."""
    if length > most:
        found = f"more than {most >> 20} MiB"
        raise InputError(Problem(file=file, found=found, allowed=allowed, hint=hint))


def toml_excess(text: str, *, most_keys: int = MOST_KEYS) -> str:
    """What a TOML text has more of than any real file, told before it is parsed; empty where it has not."""
    if text.count("=") + text.count("[") + text.count("{") > most_keys:
        return f"more than {most_keys} keys, tables and lists"
    return f"a key of more than {MOST_DEPTH} parts" if _DEEP_KEY.search(text) else ""


def parse_json(content: bytes, *, file: str, allowed: str) -> Any:
    """A JSON document in UTF-8, its numbers, depth and keys checked. Raises ``InputError``.

    A key that stands twice in one object is refused: readers would not agree on which of them holds.
    """

    def refuse(found: str) -> InputError:
        return InputError(Problem(file=file, found=found, allowed=allowed))

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        table = dict(pairs)
        if len(table) < len(pairs):
            twice = Counter(name for name, _ in pairs).most_common(1)[0][0]
            raise refuse(f"the key '{cleaned(twice, most=60)}' twice in one object")
        return table

    if content.count(b"{") + content.count(b"[") > MOST_JSON_CONTAINERS:
        raise refuse(f"more than {MOST_JSON_CONTAINERS} objects and lists")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise refuse("bytes that are not UTF-8 text") from None
    try:
        return json.loads(text, object_pairs_hook=once)
    except (ValueError, RecursionError) as error:
        raise refuse(f"text that is not JSON ({cleaned(str(error), most=80)})") from None
