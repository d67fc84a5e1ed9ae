"""What is wrong with the form of a file, in words: which place, what stands there, what may, and in which unit."""

from __future__ import annotations

import types
import typing
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic_core import ErrorDetails

from dimmplan.errors import Problem, did_you_mean
from dimmplan.units import NUMBER_ALONE, cleaned, quoted

Path = tuple[str | int, ...]
UNKNOWN_KEY = "an unknown key"


def dotted(path: Path) -> str:
    """A path as people write it: ``rules[2].source``."""
    text = ""
    for part in path:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{cleaned(part)}" if text else cleaned(part)
    return text


_SOURCE_MISSING = "Name a document of [sources], or PRACTICE where it is common practice."


def problem_of_form(model: type[BaseModel], about: Sequence[ErrorDetails], path: Path, *, file: str) -> Problem:
    """The problem of one value; ``about`` are the errors of each form that it might have had."""
    detail = about[0]
    kind, found = detail["type"], detail.get("input")
    if kind == "extra_forbidden":
        known = sorted(keys_at(model, detail["loc"][:-1]))
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
        return _wrong_check(model, detail, path, file=file)
    allowed = " or ".join(dict.fromkeys(_allowed(each, path) for each in about))
    text = quoted(found) if isinstance(found, str) else _short(found)
    return Problem(file=file, place=dotted(path), found=text, allowed=allowed, hint=_hint(about, path))


def _wrong_check(model: type[BaseModel], detail: ErrorDetails, path: Path, *, file: str) -> Problem:
    """A rule row without a check, or with one that is none."""
    checks = [check for kind in _kinds_at(model, detail["loc"]) for check in _checks(kind)]
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


def keys_at(model: type[BaseModel], loc: Sequence[str | int]) -> set[str]:
    """The keys that the records at an error location know."""
    return {name for kind in _kinds_at(model, loc) if _is_model(kind) for name in kind.model_fields}


def _kinds_at(model: type[BaseModel], loc: Sequence[str | int]) -> list[Any]:
    """The types that an error location may have."""
    here: list[Any] = [model]
    for part in loc:
        here = [inner for kind in here for inner in _step(kind, part)]
    return here


def _checks(kind: Any) -> tuple[str, ...]:
    """What ``check`` says in a kind of rule row."""
    return get_args(kind.model_fields.get("check", _NO_FIELD).annotation)


def _is_model(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, BaseModel)


def _step(kind: Any, part: str | int) -> Iterator[Any]:
    """The types reached from ``kind`` by one part of an error location."""
    if _is_model(kind):
        if part in kind.model_fields:
            yield from _alternatives(kind.model_fields[part].annotation)
        elif part == kind.__name__ or part in _checks(kind):
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
