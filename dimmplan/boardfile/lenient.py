"""Validation that does not stop at the first fault: what cannot be read is reported, taken out, and the rest read on.

So one run names every problem of a file, and the checks of meaning still see all that could be understood.
"""

from __future__ import annotations

import copy
import re
import types
import typing
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from functools import partial
from typing import Any, Literal, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from dimmplan.errors import Problem, did_you_mean, nearest
from dimmplan.units import cleaned, quoted

M = TypeVar("M", bound=BaseModel)
Path = tuple[str | int, ...]
MOST_ROUNDS = 60
UNKNOWN_KEY = "an unknown key"


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
            details = [(detail, _raw_path(raw, detail["loc"])) for detail in error.errors(include_url=False)]
        else:
            return found, _distinct(problems), partial(_original_place, removed=frozenset(removed))
        details = [(_fitting(raw, detail, path), path) for detail, path in details]
        meant = _misspelt(model, raw, details)
        targets: set[Path] = set()
        progress = False
        for detail, path in _one_of_alternatives(raw, details):
            if path in meant.values():
                continue
            place = _original(path, removed)
            if detail["type"] not in _CONSEQUENCES or not _touches(removed, place):
                problems.append(_problem(model, detail, place, file=file))
            if path in meant:
                progress |= _rename(raw, path, str(meant[path][-1]))
            elif detail["type"] == "missing" and path in stand_ins:
                _at(raw, path[:-1])[path[-1]] = copy.deepcopy(stand_ins[path])
                progress = True
            else:
                targets.add(path[:-1] if detail["type"] == "missing" else path)
        gone = [target for target in sorted(targets, key=_late_first, reverse=True) if _remove(raw, target)]
        removed |= {_original(target, removed) for target in gone}
        if not progress and not gone:
            break
    return None, _distinct(problems), str


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
            known = sorted(_keys_at(model, detail["loc"][:-1]))
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
    """Errors without those of the alternatives that a value was not meant as: a list is no table written wrongly."""
    for detail, path in details:
        others = [other for other, at in details if at == path and other is not detail]
        value = _at(raw, path) if _is_there(raw, path) else None
        is_other = _OTHER_FORM.get(detail["type"])
        if others and is_other and (isinstance(value, is_other) or detail["type"] == "dict_type"):
            continue
        yield detail, path


_FORMS = {"tuple_type": "a list", "dict_type": "a table", "model_type": "a table"}

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


def dotted(path: Path) -> str:
    """A path as people write it: ``rules[2].source``."""
    text = ""
    for part in path:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{cleaned(part)}" if text else cleaned(part)
    return text


def _guide(path: Path) -> str:
    """Where to read what a whole part of the file is for."""
    return "See: dimmplan docs writing-a-board" if len(path) == 1 else ""


def _problem(model: type[BaseModel], detail: ErrorDetails, path: Path, *, file: str) -> Problem:
    kind, message = detail["type"], detail["msg"]
    if kind == "extra_forbidden":
        known = sorted(_keys_at(model, detail["loc"][:-1]))
        hint = did_you_mean(str(path[-1]), known) or f"Known keys: {', '.join(known)}."
        return Problem(file=file, place=dotted(path), found=UNKNOWN_KEY, allowed="known keys only", hint=hint)
    if kind == "missing":
        return Problem(
            file=file, place=dotted(path), found="nothing", allowed="this key is required", hint=_guide(path)
        )
    if kind in ("too_short", "too_long") and isinstance(detail.get("input"), list | tuple):
        found = f"a list of {len(detail['input'])}"
        return Problem(file=file, place=dotted(path), found=found, allowed=_length(detail.get("ctx", {})))
    if kind == "union_tag_not_found":
        kinds = str(detail.get("ctx", {}).get("expected_tags", "")) or "one that is known"
        return Problem(file=file, place=f"{dotted(path)}.check", found="nothing", allowed=f"a check: {kinds}")
    found = detail.get("input")
    text = quoted(found) if isinstance(found, str) else _short(found)
    expected = str(detail.get("ctx", {}).get("expected", detail.get("ctx", {}).get("expected_tags", "")))
    hint = ""
    if expected and isinstance(found, str | dict):
        word = str(found.get("check", "")) if isinstance(found, dict) else found
        choices = [choice.strip("' ") for choice in expected.replace(" or ", ", ").split(",")]
        hint = did_you_mean(word, choices)
    if kind == "union_tag_invalid" and isinstance(found, dict):
        path, text, message = (*path, "check"), quoted(str(found.get("check"))), f"one of {expected}"
    allowed = _FORMS.get(kind) or message[0].lower() + message[1:]
    return Problem(
        file=file, place=dotted(path), found=text, allowed=allowed.removeprefix("input should be "), hint=hint
    )


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


def _keys_at(model: type[BaseModel], loc: Sequence[str | int]) -> set[str]:
    """The keys that the records at an error location know."""
    here: list[Any] = [model]
    for part in loc:
        here = [inner for kind in here for inner in _step(kind, part)]
    return {name for kind in here if _is_model(kind) for name in kind.model_fields}


def _is_model(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, BaseModel)


def _step(kind: Any, part: str | int) -> Iterator[Any]:
    """The types reached from ``kind`` by one part of an error location."""
    if _is_model(kind):
        if part in kind.model_fields:
            yield from _alternatives(kind.model_fields[part].annotation)
        elif part == kind.__name__ or part in get_args(kind.model_fields.get("check", _NO_FIELD).annotation):
            yield kind
        return
    origin, arguments = get_origin(kind), get_args(kind)
    if origin is dict:
        yield from _alternatives(arguments[1])
    elif origin is tuple and isinstance(part, int):
        yield from _alternatives(arguments[0])


class _NoField:
    annotation = Literal["-"]


_NO_FIELD = _NoField()


def _alternatives(kind: Any) -> Iterator[Any]:
    """The members of a union, the inside of an annotation, or the type itself."""
    origin = get_origin(kind)
    if origin in (Union, types.UnionType):
        for member in get_args(kind):
            yield from _alternatives(member)
    elif origin is typing.Annotated:
        yield from _alternatives(get_args(kind)[0])
    else:
        yield kind
