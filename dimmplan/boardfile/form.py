"""The form of a file: read on past its faults, each of them told in words with its place and what may stand there.

What cannot be read is reported, taken out, and the rest read on. So one run names every problem of a file, and the
checks of meaning still see all that could be understood.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from functools import partial
from typing import Any, TypeVar

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from dimmplan.boardfile.schema import BoardFile
from dimmplan.errors import Problem, did_you_mean, nearest
from dimmplan.rules import KINDS, check_of
from dimmplan.units import NUMBER_ALONE, by_key, cleaned, quoted

Path = tuple[str | int, ...]
UNKNOWN_KEY = "an unknown key"
MOST_ROUNDS = 60
MOST_AT_ONCE = 500
"""Errors of one look at a file above which they are only told, not read past: nobody mends so many in one go."""


def validate_leniently(
    raw: dict[str, Any], *, file: str, stand_ins: Mapping[Path, Any]
) -> tuple[BoardFile | None, list[Problem], Original]:
    """Validate ``raw``; returns what could be read (``None`` where too little could), every problem, and a function
    from places in what was read to places in the file.

    ``stand_ins`` are values for missing keys, by their path, so that reading can go on. A misspelt key is read as the
    one that was meant where that is missing.
    """
    raw = copy.deepcopy(raw)
    problems: list[Problem] = []
    removed: set[Path] = set()
    keys: Keys = {}
    for _ in range(MOST_ROUNDS):
        try:
            found = BoardFile.model_validate(raw, context=keys)
        except ValidationError as error:
            errors = error.errors(include_url=False)
            if len(errors) > MOST_AT_ONCE:
                return None, [*dict.fromkeys([*problems, *_told_briefly(errors, raw, removed, file)])], str
            details = [(detail, _raw_path(raw, detail["loc"])) for detail in errors]
        else:
            return found, [*dict.fromkeys(problems)], partial(_original_place, removed=frozenset(removed))
        details = [(_fitting(raw, detail, path), path) for detail, path in details]
        meant = _misspelt(keys, raw, details)
        targets: set[Path] = set()
        progress = False
        for path, same in by_key(_one_of_alternatives(raw, details), key=lambda each: each[1]).items():
            about = [detail for detail, _ in same]
            if path in meant.values():
                continue
            place = _original(path, removed)
            if not all(detail["type"] in _CONSEQUENCES for detail in about) or not _touches(removed, place):
                known = keys.get(id(_at(raw, path[:-1])), [])
                problems.append(_problem_of_form(about, place, known, file=file))
            is_missing = about[0]["type"] == "missing"
            if path in meant:
                table = _at(raw, path[:-1])
                table[meant[path][-1]] = table.pop(path[-1])
                progress = True
            elif is_missing and path in stand_ins:
                _at(raw, path[:-1])[path[-1]] = copy.deepcopy(stand_ins[path])
                progress = True
            else:
                targets.add(path[:-1] if is_missing else path)
        gone = [target for target in sorted(targets, key=_late_first, reverse=True) if _remove(raw, target)]
        removed |= {_original(target, removed) for target in gone}
        if not progress and not gone:
            break
    return None, [*dict.fromkeys(problems)], str


def _told_briefly(errors: Sequence[ErrorDetails], raw: Any, removed: Collection[Path], file: str) -> Iterator[Problem]:
    """Errors of a file that has too many of them, without a look for what was meant."""
    for detail in errors:
        place = dotted(_original(_raw_path(raw, detail["loc"]), removed))
        if detail["type"] == "extra_forbidden":
            yield Problem(file=file, place=place, found=UNKNOWN_KEY, allowed="known keys only")
        else:
            yield Problem(file=file, place=place, found="", allowed=detail["msg"])


Original = Callable[[str], str]
"""From a place in what was read to that place in the file, where list items taken out count as well."""


def _original(path: Path, removed: Collection[Path]) -> Path:
    """A path in what is left as a path in the file: items taken out of a list in front of it are counted again."""
    known: Path = ()
    for part in path:
        place = part
        for gone in sorted(int(p[-1]) for p in removed if p[:-1] == known and isinstance(part, int)):
            place = int(place) + (gone <= int(place))
        known = (*known, place)
    return known


_ITEM = re.compile(r"([a-z_]+(?:\.[a-z_]+)*)\[(\d+)\]")


def _original_place(place: str, removed: Collection[Path]) -> str:
    """As ``_original``, for the first list of a dotted place."""
    match = _ITEM.match(place)
    if match is None:
        return place
    path = _original((*match[1].split("."), int(match[2]) - 1), removed)
    return f"{dotted(path)}{place[match.end() :]}"


def _at(raw: Any, path: Path) -> Any:
    """The value at a path; ``None``, which TOML does not have, where there is none."""
    for part in path:
        try:
            raw = raw[part]
        except (KeyError, IndexError, TypeError):
            return None
    return raw


Detail = tuple[ErrorDetails, Path]
Keys = dict[int, list[str]]
"""The keys that each table may have, by the identity of the table."""


def _fitting(raw: Any, detail: ErrorDetails, path: Path) -> ErrorDetails:
    """The error; a missing item of a list as what it is, a list that is too short."""
    found = _at(raw, path)
    if detail["type"] != "missing" or not isinstance(found, list):
        return detail
    return {**detail, "type": "too_short", "input": found, "ctx": {"field_type": "Tuple", "min_length": 2}}


def _misspelt(keys: Keys, raw: Any, details: Sequence[Detail]) -> dict[Path, Path]:
    """Unknown keys by the missing ones that they must mean: required ones, and any of the whole file."""
    missing = {path for detail, path in details if detail["type"] == "missing"}
    found: dict[Path, Path] = {}
    for detail, path in details:
        if detail["type"] == "extra_forbidden":
            known = keys.get(id(_at(raw, path[:-1])), [])
            meant = next(((*path[:-1], name) for name in nearest(str(path[-1]), known, most=1)), path)
            free = meant in missing or (len(path) == 1 and meant[0] not in raw)
            if free and meant not in found.values():
                found[path] = meant
    return found


def _one_of_alternatives(raw: Any, details: Sequence[Detail]) -> Iterator[Detail]:
    """Errors without those of the alternatives that a value was not meant as: a list is no table written wrongly.

    Nor is a list too short, or no number, whose items are what is wrong.
    """
    for detail, path in details:
        others = [other for other, at in details if at == path and other is not detail]
        value = _at(raw, path)
        is_other = _OTHER_FORM.get(detail["type"])
        if others and is_other and (isinstance(value, is_other) or detail["type"] == "dict_type"):
            continue
        is_outer = isinstance(value, list) and detail["type"] in ("too_short", "literal_error")
        if is_outer and any(at[: len(path)] == path and at != path for _, at in details):
            continue
        yield detail, path


_OTHER_FORM: dict[str, type] = {"dict_type": list, "tuple_type": dict}
"""Errors of a form, and what a value was meant as that has another."""

_CONSEQUENCES = ("missing", "union_tag_not_found", "too_short", "dict_type", "tuple_type")
"""Errors that taking something out may cause by itself."""


def _touches(removed: set[Path], path: Path) -> bool:
    """True where something at or below the path has been taken out."""
    return any(gone[: len(path)] == path for gone in removed)


def _late_first(path: Path) -> tuple[tuple[int, int, str], ...]:
    """Sort key that puts later list items after earlier ones, so that removing from the end keeps indices true."""
    return tuple((1, part, "") if isinstance(part, int) else (0, 0, part) for part in path)


def _remove(raw: Any, path: Path) -> bool:
    """Take the value at ``path`` out; false where it is gone already."""
    if not path or _at(raw, path) is None:
        return False
    del _at(raw, path[:-1])[path[-1]]
    return True


def _raw_path(raw: Any, loc: Sequence[str | int]) -> Path:
    """The path in the file that an error location speaks of: union tags and type names are left out."""
    path: list[str | int] = []
    for index, part in enumerate(loc):
        last = index == len(loc) - 1
        if isinstance(raw, dict):
            if part in raw:
                raw = raw[part]
                path.append(part)
            elif last and not (isinstance(part, str) and "[" in part):
                path.append(part)
        elif isinstance(raw, list) and isinstance(part, int) and part < len(raw):
            raw = raw[part]
            path.append(part)
    return tuple(path)


# -- a problem in words ------------------------------------------------------------------------------------------------


def dotted(path: Path) -> str:
    """A path as people write it: ``rules[2].source``."""
    text = ""
    for part in path:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{cleaned(part)}" if text else cleaned(part)
    return text


Row = TypeVar("Row")


def placed(part: str, rows: Iterable[Row]) -> Iterator[tuple[str, Row]]:
    """The rows of a part of the file, each with its place."""
    return ((f"{part}[{number}]", row) for number, row in enumerate(rows, 1))


_SOURCE_MISSING = "Name a document of [sources], or PRACTICE where it is common practice."


def _problem_of_form(about: Sequence[ErrorDetails], path: Path, known: Sequence[str], *, file: str) -> Problem:
    """The problem of one value; ``about`` are the errors of each form that it might have had.

    ``known`` are the keys that may stand in its table.
    """
    detail = about[0]
    kind, found = detail["type"], detail.get("input")
    if kind == "extra_forbidden":
        hint = did_you_mean(str(path[-1]), known) or f"Known keys: {', '.join(known)}."
        return Problem(file=file, place=dotted(path), found=UNKNOWN_KEY, allowed="known keys only", hint=hint)
    if kind == "missing":
        hint = "See: dimmplan docs writing-a-board" if len(path) == 1 else ""
        hint = _SOURCE_MISSING if path[-1] == "source" else hint
        return Problem(file=file, place=dotted(path), found="nothing", allowed="this key is required", hint=hint)
    if kind in ("too_short", "too_long") and isinstance(found, list | tuple):
        length = _length(detail.get("ctx", {}))
        return Problem(file=file, place=dotted(path), found=f"a list of {len(found)}", allowed=length)
    if kind == "too_short" and isinstance(found, dict):
        entries = f"a table of {len(found)}" if found else "an empty table"
        least = detail.get("ctx", {}).get("min_length", 1)
        allowed = "at least 1 entry" if least == 1 else f"at least {least} entries"
        return Problem(file=file, place=dotted(path), found=entries, allowed=allowed)
    if kind in ("union_tag_not_found", "union_tag_invalid") and isinstance(found, dict):
        return _wrong_check(detail, path, file=file)
    allowed = " or ".join(dict.fromkeys(_allowed(each, path) for each in about))
    text = quoted(found) if isinstance(found, str) else _short(found)
    return Problem(file=file, place=dotted(path), found=text, allowed=allowed, hint=_hint(about, path))


def _wrong_check(detail: ErrorDetails, path: Path, *, file: str) -> Problem:
    """A rule row without a check, or with one that is none."""
    checks = [check_of(kind) for kind in KINDS]
    said = detail["input"].get("check")
    return Problem(
        file=file,
        place=f"{dotted(path)}.check",
        found="nothing" if said is None else quoted(str(said)),
        allowed=f"one of {', '.join(map(quoted, checks))}",
        hint=did_you_mean(str(said), checks) if said is not None else "",
    )


_ALLOWED = {
    "tuple_type": "a list",
    "dict_type": "a table",
    "model_type": "a table",
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
    "string_pattern_mismatch": "2 to 40 small letters, digits and hyphens, such as tarn-10",
}
_NUMBERS = {"int": "a whole number", "float": "a number", "finite": "a number"}
_BOUNDS = {"ge": "at least", "gt": "greater than", "le": "at most", "lt": "less than"}
_UNITS = {"mm": "mm", "gib": "GiB", "mts": "MT/s", "kg": "kg", "mv": "mV"}


def _allowed(detail: ErrorDetails, path: Path) -> str:
    """What a value may be, one form of it; a number with the unit that its key names."""
    kind, context = detail["type"], detail.get("ctx", {})
    key = next((part for part in reversed(path) if isinstance(part, str)), "")
    unit = _UNITS.get(key.rpartition("_")[2], "")
    number = _NUMBERS.get(kind.partition("_")[0])
    if number:
        return f"{number} in {unit}" if unit else number
    bound = next((f"{words} {context[name]:.10g}" for name, words in _BOUNDS.items() if name in context), "")
    if bound:
        return f"{bound} {unit}".strip()
    if kind in _ALLOWED:
        return _ALLOWED[kind]
    message = detail["msg"][0].lower() + detail["msg"][1:]
    return message.removeprefix("input should be ").replace("string should have", "text of")


def _hint(about: Sequence[ErrorDetails], path: Path) -> str:
    """The nearest right spelling of a word, or how a number is written."""
    found = about[0].get("input")
    if path == ("format",) and isinstance(found, int) and found > 1:
        return "A newer file needs a newer dimmplan."
    if path == ("format",) and isinstance(found, str):
        return "Without quotes: format = 1"
    if not isinstance(found, str):
        return ""
    if about[0]["type"] == "tuple_type":
        return f'Write it in brackets: ["{cleaned(found, most=40)}"].'
    is_number = any(each["type"].partition("_")[0] in _NUMBERS for each in about)
    if is_number and any(character.isdigit() for character in found):
        return NUMBER_ALONE
    expected = ", ".join(str(each.get("ctx", {}).get("expected", "")) for each in about)
    return did_you_mean(found, [choice.strip("' ") for choice in expected.replace(" or ", ", ").split(",")])


def _length(context: Mapping[str, Any]) -> str:
    """How many items a list may have. Every list of a fixed length in the file is a pair."""
    least, most = context.get("min_length"), context.get("max_length")
    if 2 in (least, most):
        return "two numbers, such as [10, 20]"
    return f"at least {least}" if least is not None else f"at most {most}"


def _short(value: Any) -> str:
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    return cleaned(str(value), most=40)
