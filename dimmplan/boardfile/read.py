"""Board files: found by id or path, read leniently, checked strictly, every problem reported at once."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Collection, Iterator, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

from dimmplan.boardfile.check import check_meaning
from dimmplan.boardfile.expand import completed, expand
from dimmplan.boardfile.form import UNKNOWN_KEY, validate_leniently
from dimmplan.boardfile.schema import FORMAT
from dimmplan.boardfile.tables import broken_tables
from dimmplan.bounded import read_file, toml_excess
from dimmplan.errors import InputError, Problem, did_you_mean
from dimmplan.model.board import Board
from dimmplan.model.module import Generation
from dimmplan.units import cleaned, quoted

MOST_BYTES = 1 << 20
"""A board file above 1 MiB is refused unread."""

_NO_SOURCE = {"source": "INVENTED"}
_ELECTRICAL: dict[str, Any] = {
    "sockets": [{"id": "?", "controllers": {"?": {"?": ["?"]}}}],
}
_FILE: dict[str, Any] = {
    "format": FORMAT,
    "id": "unnamed",
    "title": "unnamed",
    "trust": "drafted",
    "modules": ["?"],
    "rates": [{"id": "?", "dpc": 1, "mts": "none", **_NO_SOURCE}],
}


def _stand_ins(raw: dict[str, Any]) -> dict[tuple[str | int, ...], Any]:
    """What stands in for missing parts of a file, by their path, so that the checks see all the rest.

    The generation is that of the usual modules.
    """
    said = re.search(r"PC([345])", str(raw.get("modules")))
    generation = Generation(f"DDR{said[1] if said else 4}")
    electrical = _ELECTRICAL | {"generation": generation.value}
    found: dict[tuple[str | int, ...], Any] = {(key,): value for key, value in _FILE.items()}
    found |= {("electrical",): electrical}
    return found | {("electrical", key): value for key, value in electrical.items()}


def shipped_folder() -> Path:
    """The folder of the boards that travel with the package."""
    inside = Path(__file__).resolve().parent.parent / "boards"
    return inside if inside.is_dir() else inside.parent.parent / "boards"


def shipped_ids() -> list[str]:
    """Ids of the shipped boards, sorted."""
    return sorted(path.stem for path in shipped_folder().glob("*.toml"))


def board_folders() -> Iterator[Path]:
    """Folders searched for a board id: those of ``DIMMPLAN_BOARDS``, then the shipped one."""
    for folder in os.environ.get("DIMMPLAN_BOARDS", "").split(os.pathsep):
        if folder:
            yield Path(folder)
    yield shipped_folder()


def find_board_file(name: str) -> Path:
    """The file of a board given by shipped id or path. Raises ``InputError`` with the nearest names."""
    is_path = name.endswith(".toml") or "/" in name or os.sep in name
    if not is_path:
        for folder in board_folders():
            try:
                if (folder / f"{name}.toml").is_file():
                    return folder / f"{name}.toml"
            except (OSError, ValueError):
                continue
    try:
        if Path(name).is_file():
            return Path(name)
    except (OSError, ValueError):
        pass
    hint = did_you_mean(name, list(boards_by_id())) or _LISTED
    if is_path:
        raise InputError(Problem(file=cleaned(name), found="no such file", allowed="a board file"))
    raise InputError(Problem(file="board", found=quoted(name), allowed="a shipped board id or a board file", hint=hint))


_LISTED = (
    "List them with: dimmplan boards list. One of your own goes by its file, or by its id where DIMMPLAN_BOARDS names "
    "its folder."
)


def board_files() -> Iterator[Path]:
    """Every board file at hand, those of ``DIMMPLAN_BOARDS`` first."""
    for folder in board_folders():
        try:
            yield from sorted(folder.glob("*.toml"))
        except (OSError, ValueError):
            continue


def boards_by_id() -> dict[str, Path]:
    """The files that boards are found in by their ids: of two with one name the first."""
    return {path.stem: path for path in reversed([*board_files()])}


def load_board(name: str) -> Board:
    """Read a board by shipped id or by path. Raises ``InputError`` with every problem of the file."""
    path = find_board_file(name)
    board, problems = examine_file(path)
    if board is None or problems:
        raise InputError(problems)
    return board


def examine_file(path: Path) -> tuple[Board | None, list[Problem]]:
    """Read a board file; the board where nothing was wrong, and every problem where something was."""
    try:
        content = read_file(path, most=MOST_BYTES, allowed="a board file in TOML, UTF-8")
    except InputError as error:
        return None, list(error.problems)
    return examine_text(content, file=cleaned(str(path)))


def examine_text(content: bytes, *, file: str) -> tuple[Board | None, list[Problem]]:
    """As ``examine_file``, from bytes."""
    board, problems = _examined(content, file)
    return board, [*problems]


@lru_cache(maxsize=32)  # a board is a value: the same bytes are read once, however often a program asks
def _examined(content: bytes, file: str) -> tuple[Board | None, Sequence[Problem]]:
    def refuse(found: str, hint: str = "", line: int | None = None) -> tuple[None, Sequence[Problem]]:
        allowed = "a board file in TOML, UTF-8"
        return None, [Problem(file=file, found=found, allowed=allowed, hint=hint, line=line)]

    if len(content) > MOST_BYTES:
        return refuse("more than 1 MiB")
    if not content.strip():
        return refuse("an empty file", "See: dimmplan docs writing-a-board")
    try:
        text = content.decode("utf-8-sig").replace("\r\n", "\n")
        if excess := toml_excess(text):
            return refuse(excess)
        raw = tomllib.loads(text)
        parsed, problems, original = validate_leniently(raw, file=file, stand_ins=_stand_ins(raw))
    except (ValueError, RecursionError) as error:
        return refuse(*_unreadable(error, content))
    if parsed is not None:
        lost = {problem.place for problem in problems if problem.found != UNKNOWN_KEY}
        meaning = [each._replace(place=original(each.place)) for each in check_meaning(parsed, file=file, lost=lost)]
        problems += [each for each in meaning if not _follows(each.place, lost)]
    if parsed is not None and not problems:
        board = expand(completed(parsed))
        places = {row.id: f"rules[{number}]" for number, row in enumerate(parsed.rules, 1)}
        problems = [
            Problem(file=file, place=f"{places[table]}.rows.{count}", found=found, allowed=allowed)
            for table, count, found, allowed in broken_tables(board)
        ]
        if not problems:
            return board, []
    lines = lines_of(text)
    told = [problem._replace(line=line_of(problem.place, lines)) for problem in problems]
    return None, sorted(told, key=lambda problem: problem.line or 0)


def _follows(place: str, lost: Collection[str]) -> bool:
    """True where what is wrong at a place may only follow from what could not be read there, or in its list."""
    return bool({place, place.partition("[")[0]} & {*lost}) or any(
        each.startswith(f"{place}[") or (place.endswith("]") and each.startswith(f"{place}.")) for each in lost
    )


def _unreadable(error: Exception, content: bytes) -> tuple[str, str, int | None]:
    """Why the bytes are not TOML, what to do, and the line where it shows."""
    if isinstance(error, UnicodeDecodeError):
        if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
            return "bytes that are not UTF-8 text", "It is UTF-16: save it as UTF-8.", None
        return "bytes that are not UTF-8 text", "Save it as UTF-8.", 1 + error.object[: error.start].count(b"\n")
    if isinstance(error, RecursionError):
        return "tables nested too deep", "", None
    reason = cleaned(str(error), most=120)
    at = re.search(r"at line (\d+)", reason)
    hint = next((advice for words, advice in _TOML_ADVICE.items() if words in reason), "")
    return f"text that is not TOML ({reason})", hint, int(at[1]) if at else None


_TOML_ADVICE = {
    "Illegal character": "Is a quote missing at the end of the line?",
    "Unclosed array": "Is a comma, a quote or a bracket missing?",
    "Unterminated string": "Is a quote missing?",
    "Invalid value": 'Text stands in straight quotes, such as "DDR4".',
    "Invalid statement": "A key with characters other than letters, digits, - and _ needs quotes.",
    "Cannot overwrite": "Does the key stand twice, or should the table be a row, such as [[rates]]?",
    "Cannot declare": "The table stands twice: put both together, or write a row, such as [[rates]].",
    "Expected '='": "A line is: key = value. A key with characters other than letters, digits, - and _ needs quotes.",
}
"""What to look for, by words of the reader of TOML."""


# -- which line of the file a place stands on --------------------------------------------------------------------------

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
