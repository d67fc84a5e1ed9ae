"""Validation that does not stop at the first fault: what cannot be read is reported, taken out, and the rest read on.

So one run names every problem of a file, and the checks of meaning still see all that could be understood.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from functools import partial
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from dimmplan.boardfile.form import UNKNOWN_KEY, Path, dotted, keys_at, problem_of_form
from dimmplan.errors import Problem, nearest

M = TypeVar("M", bound=BaseModel)
MOST_ROUNDS = 60
MOST_AT_ONCE = 500
"""Errors of one look at a file above which they are only told, not read past: nobody mends so many in one go."""


def validate_leniently(
    model: type[M], raw: dict[str, Any], *, file: str, stand_ins: Mapping[Path, Any]
) -> tuple[M | None, list[Problem], Original]:
    """Validate ``raw``; returns what could be read (``None`` where too little could), every problem, and a function
    from places in what was read to places in the file.

    ``stand_ins`` are values for missing keys, by their path, so that reading can go on. A misspelt key is read as the
    one that was meant where that is missing.
    """
    raw = copy.deepcopy(raw)
    problems: list[Problem] = []
    removed: set[Path] = set()
    for _ in range(MOST_ROUNDS):
        try:
            found = model.model_validate(raw)
        except ValidationError as error:
            errors = error.errors(include_url=False)
            if len(errors) > MOST_AT_ONCE:
                return None, _distinct([*problems, *_told_briefly(errors, raw, removed, file)]), str
            details = [(detail, _raw_path(raw, detail["loc"])) for detail in errors]
        else:
            return found, _distinct(problems), partial(_original_place, removed=frozenset(removed))
        details = [(_fitting(raw, detail, path), path) for detail, path in details]
        meant = _misspelt(model, raw, details)
        targets: set[Path] = set()
        progress = False
        for path, about in _by_path(_one_of_alternatives(raw, details)).items():
            if path in meant.values():
                continue
            place = _original(path, removed)
            if not all(detail["type"] in _CONSEQUENCES for detail in about) or not _touches(removed, place):
                problems.append(problem_of_form(model, about, place, file=file))
            is_missing = about[0]["type"] == "missing"
            if path in meant:
                progress |= _rename(raw, path, str(meant[path][-1]))
            elif is_missing and path in stand_ins:
                _at(raw, path[:-1])[path[-1]] = copy.deepcopy(stand_ins[path])
                progress = True
            else:
                targets.add(path[:-1] if is_missing else path)
        gone = [target for target in sorted(targets, key=_late_first, reverse=True) if _remove(raw, target)]
        removed |= {_original(target, removed) for target in gone}
        if not progress and not gone:
            break
    return None, _distinct(problems), str


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
    """The value at a path that is there."""
    for part in path:
        raw = raw[part]
    return raw


def _is_there(raw: Any, path: Path) -> bool:
    try:
        _at(raw, path)
    except (KeyError, IndexError, TypeError):
        return False
    return True


Detail = tuple[ErrorDetails, Path]


def _fitting(raw: Any, detail: ErrorDetails, path: Path) -> ErrorDetails:
    """The error; a missing item of a list as what it is, a list that is too short."""
    if detail["type"] != "missing" or not _is_there(raw, path) or not isinstance(_at(raw, path), list):
        return detail
    return {**detail, "type": "too_short", "input": _at(raw, path), "ctx": {"field_type": "Tuple", "min_length": 2}}


def _misspelt(model: type[BaseModel], raw: Any, details: Sequence[Detail]) -> dict[Path, Path]:
    """Unknown keys by the missing ones that they must mean: required ones, and any of the whole file."""
    missing = {path for detail, path in details if detail["type"] == "missing"}
    found: dict[Path, Path] = {}
    for detail, path in details:
        if detail["type"] == "extra_forbidden":
            known = sorted(keys_at(model, detail["loc"][:-1]))
            meant = next(((*path[:-1], name) for name in nearest(str(path[-1]), known, most=1)), path)
            free = meant in missing or (len(path) == 1 and meant[0] not in raw)
            if free and meant not in found.values():
                found[path] = meant
    return found


def _rename(raw: Any, path: Path, name: str) -> bool:
    """Let the value at ``path`` stand under another name."""
    table = _at(raw, path[:-1])
    table[name] = table.pop(path[-1])
    return True


def _one_of_alternatives(raw: Any, details: Sequence[Detail]) -> Iterator[Detail]:
    """Errors without those of the alternatives that a value was not meant as: a list is no table written wrongly.

    Nor is a list too short, or no number, whose items are what is wrong.
    """
    for detail, path in details:
        others = [other for other, at in details if at == path and other is not detail]
        value = _at(raw, path) if _is_there(raw, path) else None
        is_other = _OTHER_FORM.get(detail["type"])
        if others and is_other and (isinstance(value, is_other) or detail["type"] == "dict_type"):
            continue
        is_outer = isinstance(value, list) and detail["type"] in ("too_short", "literal_error")
        if is_outer and any(at[: len(path)] == path and at != path for _, at in details):
            continue
        yield detail, path


def _by_path(details: Iterable[Detail]) -> dict[Path, list[ErrorDetails]]:
    """Errors of the alternatives of one value together."""
    found: dict[Path, list[ErrorDetails]] = {}
    for detail, path in details:
        found.setdefault(path, []).append(detail)
    return found


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


def _distinct(problems: list[Problem]) -> list[Problem]:
    return list(dict.fromkeys(problems))


def _remove(raw: Any, path: Path) -> bool:
    """Take the value at ``path`` out; false where it is gone already."""
    if not path:
        return False
    try:
        for part in path[:-1]:
            raw = raw[part]
        del raw[path[-1]]
    except (KeyError, IndexError, TypeError):
        return False
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
