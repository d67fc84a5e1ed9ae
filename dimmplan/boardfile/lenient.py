"""Validation that does not stop at the first fault: what cannot be read is reported, taken out, and the rest read on.

So one run names every problem of a file, and the checks of meaning still see all that could be understood.
"""

from __future__ import annotations

import copy
import types
import typing
from collections.abc import Iterator, Sequence
from typing import Any, Literal, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from dimmplan.errors import Problem, did_you_mean
from dimmplan.units import cleaned, quoted

M = TypeVar("M", bound=BaseModel)
Path = tuple[str | int, ...]
MOST_ROUNDS = 60


def validate_leniently(
    model: type[M], raw: dict[str, Any], *, file: str, stand_ins: dict[str, Any]
) -> tuple[M | None, list[Problem]]:
    """Validate ``raw``; returns what could be read (``None`` where too little could) and every problem.

    ``stand_ins`` are values for missing top-level keys, so that reading can go on.
    """
    raw = copy.deepcopy(raw)
    problems: list[Problem] = []
    removed: set[Path] = set()
    for _ in range(MOST_ROUNDS):
        try:
            return model.model_validate(raw), problems
        except ValidationError as error:
            errors = error.errors(include_url=False)
        targets: set[Path] = set()
        progress = lost = False
        for detail in errors:
            path = _raw_path(raw, detail["loc"])
            if detail["type"] not in _CONSEQUENCES or not _touches(removed, path):
                problems.append(_problem(model, detail, path, file=file))
            if detail["type"] == "missing" and len(path) == 1:
                if path[0] not in stand_ins:
                    lost = True
                    continue
                raw[str(path[0])] = stand_ins[str(path[0])]
                progress = True
                continue
            targets.add(path[:-1] if detail["type"] == "missing" else path)
        if lost:
            return None, _distinct(problems)
        for target in sorted(targets, key=_late_first, reverse=True):
            progress |= _remove(raw, target)
        removed |= targets
        if not progress:
            break
    return None, _distinct(problems)


_CONSEQUENCES = ("missing", "union_tag_not_found", "too_short", "dict_type")
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


def _problem(model: type[BaseModel], detail: ErrorDetails, path: Path, *, file: str) -> Problem:
    kind, message = detail["type"], detail["msg"]
    if kind == "extra_forbidden":
        known = sorted(_keys_at(model, detail["loc"][:-1]))
        hint = did_you_mean(str(path[-1]), known) or f"Known keys: {', '.join(known)}."
        return Problem(file=file, place=dotted(path), found="an unknown key", allowed="known keys only", hint=hint)
    if kind == "missing":
        return Problem(file=file, place=dotted(path), found="nothing", allowed="this key is required")
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
    allowed = message[0].lower() + message[1:]
    return Problem(
        file=file, place=dotted(path), found=text, allowed=allowed.removeprefix("input should be "), hint=hint
    )


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
