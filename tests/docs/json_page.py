"""The page about JSON, made from the records that the commands print and from what they print.

Run: python -m tests.docs.json_page
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import shlex
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args, get_origin

from pydantic.fields import FieldInfo

import dimmplan
from dimmplan.cli.run import run
from dimmplan.output.boards import documents
from dimmplan.output.record import Document, Record
from tests.docs.json_examples import COMMANDS, EDITED, FILES, LISTING

TRAYS = Path(__file__).parent.parent / "rules" / "staithe-16.toml"
NODES = '\n[[nodes]]\nid = "split"\nnodes = { left = ["M1"], right = ["M2"] }\nsource = "INVENTED"\n'
PAGE = Path(dimmplan.__file__).parent / "docs" / "json.md"
WIDE = 96

HEAD = """# The JSON documents

Every command takes `--json` and then prints one document on standard output and nothing else there. Keys stay; more may
be added. Capacities are GiB, rates MT/s, bandwidths decimal GB/s; null is *not known* or *none*. `[]` is every item of
a list, `SLOT` every slot by its name. Words in italics are shapes that several documents share; they stand at the end.
`dimmplan docs json-schema` prints all of this as one JSON Schema for programs.

The examples are shortened: one item of each list, one slot, `{...}` for a shape. `mine.toml` is drafted of
`found.csv`, `listing.txt` is what Linux tools print of a machine, `edited.json` a plan whose code is another one's,
`worse.json` one with an equal share for each socket, given out as *capacity-first*, `trays.toml` a board with trays,
different processors and node settings. These are the other files that
they read:
"""

Kind = type[Record]


def inner(annotation: Any) -> tuple[str, Kind | None]:
    """What a field holds: its marks (``[]`` for each list, ``.SLOT`` for a map) and the record in it, if one is."""
    if isinstance(annotation, type) and issubclass(annotation, Record):
        return "", annotation
    origin, inside = get_origin(annotation), get_args(annotation)
    if origin is list:
        marks, kind = inner(inside[0])
        return f"[]{marks}", kind
    if origin is dict:
        return (".SLOT", None) if "None" in str(inside[1]) else ("", None)
    found = [inner(each) for each in inside if isinstance(each, type) or get_origin(each) is not None]
    return next(((marks, kind) for marks, kind in found if marks or kind), ("", None))


def name_of(field: FieldInfo, name: str) -> str:
    """The key as it is printed."""
    return field.serialization_alias or name


def uses() -> Counter[Kind]:
    """How often each record stands in others."""
    found: Counter[Kind] = Counter()
    todo, seen = list[Kind](documents()), set[Kind]()
    while todo:
        kind = todo.pop()
        if kind in seen:
            continue
        seen.add(kind)
        for field in kind.model_fields.values():
            if (within := inner(field.annotation)[1]) is not None:
                found[within] += 1
                todo.append(within)
    return found


SHAPES = sorted(
    (kind for kind, count in uses().items() if count > 1 and not issubclass(kind, Document)), key=lambda k: k.__name__
)
"""Records that stand in several places: told once, at the end."""


def title_of(kind: Kind) -> str:
    """A record's name on the page."""
    words = re.findall(r"[A-Z][a-z]*", kind.__name__)
    return " ".join(word.lower() for word in words if word not in ("Entry", "Document"))


def told_apart(kind: Kind) -> bool:
    """Whether a record has a place of its own on the page."""
    return kind in SHAPES or issubclass(kind, Document)


def rows_of(kind: Kind, path: str = "") -> Iterator[tuple[str, str]]:
    """Every key of a record with what it means; shapes by their name."""
    for name, field in kind.model_fields.items():
        marks, within = inner(field.annotation)
        here = f"{path}{name_of(field, name)}{marks}"
        if within is None:
            yield here, field.description or ""
        elif told_apart(within):
            yield here, f"*{title_of(within)}*: {field.description}"
        else:
            yield from rows_of(within, f"{here}.")


def fields_of(kind: Kind, value: Any) -> Iterator[tuple[Kind, str]]:
    """The fields of records that a printed value has."""
    if isinstance(value, list):
        for item in value:
            yield from fields_of(kind, item)
    elif isinstance(value, dict):
        for name, field in kind.model_fields.items():
            key = name_of(field, name)
            if key in value:
                yield kind, name
                within = inner(field.annotation)[1]
                if within is not None:
                    yield from fields_of(within, value[key])


def printed(command: str) -> Any:
    """The document that a command line prints; what stands before a bar is read by what stands behind it."""
    text = ""
    for part in command.split(" | "):
        out = io.TextIOWrapper(io.BytesIO(), encoding="utf-8")
        before = sys.stdin
        sys.stdin = io.TextIOWrapper(io.BytesIO(text.encode("utf-8")), encoding="utf-8")
        try:
            with contextlib.redirect_stdout(out), contextlib.redirect_stderr(io.StringIO()):
                run(shlex.split(part)[1:])
        finally:
            sys.stdin = before
        out.flush()
        text = out.buffer.getvalue().decode("utf-8")  # type: ignore[attr-defined]
    return json.loads(text)


@contextlib.contextmanager
def example_folder() -> Iterator[None]:
    """A folder with the files that the examples read, to work in."""
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        for name, text in FILES.items():
            Path(name).write_text(text, encoding="utf-8")
        with contextlib.redirect_stderr(io.StringIO()), contextlib.redirect_stdout(io.StringIO()):
            run(["boards", "draft", "found.csv", "-o", "mine.toml"])
        row = '\n[[rules]]\nid = "t"\ncheck = "table"\nrows = { 1 = ["K1"] }\nsource = "INVENTED"\n'
        Path("tabled.toml").write_text(Path("mine.toml").read_text("utf-8") + row, encoding="utf-8")
        Path("listing.txt").write_text(LISTING, encoding="utf-8")
        Path("trays.toml").write_text(TRAYS.read_text("utf-8") + NODES, encoding="utf-8")
        for name, (command, changes) in EDITED.items():
            Path(name).write_text(json.dumps(printed(command) | changes), encoding="utf-8")
        yield


# -- the page --------------------------------------------------------------------------------------------------------


def shortened(value: Any, kind: Kind | None) -> Any:
    """A value with one item of each list and one slot of each map, a shape as dots."""
    if isinstance(value, list):
        found = [shortened(item, kind) for item in value[:1]]
        return [*found, "..."] if len(value) > 1 else found
    if isinstance(value, dict) and kind is not None:
        return {key: within(item, *field_at(kind, key)) for key, item in value.items()}
    return value


def field_at(kind: Kind, key: str) -> tuple[str, Kind | None]:
    """The marks and the record of a key."""
    return next((inner(f.annotation) for name, f in kind.model_fields.items() if name_of(f, name) == key), ("", None))


def within(value: Any, marks: str, kind: Kind | None) -> Any:
    """A field's value, shortened."""
    if marks.endswith(".SLOT") and isinstance(value, dict):
        return dict(list(value.items())[:1]) | ({"...": "..."} if len(value) > 1 else {})
    if kind is not None and told_apart(kind) and value:
        return ["{...}", "..."][: len(value)] if isinstance(value, list) else "{...}"
    return shortened(value, kind)


def laid_out(value: Any, indent: int = 0) -> str:
    """JSON with what fits on a line on one line."""
    text = json.dumps(value, ensure_ascii=False).replace('"{...}"', "{...}").replace('"...": "..."', "...")
    text = text.replace('"..."', "...")
    if indent + len(text) <= WIDE or not isinstance(value, dict | list) or not value:
        return text
    blanks = " " * (indent + 1)
    if isinstance(value, list):
        parts = [laid_out(item, indent + 1) for item in value]
        return "[" + f",\n{blanks}".join(parts) + "]"
    parts = [
        "..." if key == "..." else f"{json.dumps(key)}: {laid_out(item, indent + len(key) + 5)}"
        for key, item in value.items()
    ]
    return "{" + f",\n{blanks}".join(parts) + "}"


def table(kind: Kind) -> str:
    """The keys and what they mean."""
    rows = [f"| `{path}` | {said} |" for path, said in rows_of(kind)]
    return "\n".join(["| key | what it is |", "|---|---|", *rows]) + "\n"


def section(document: type[Document], example: Any) -> str:
    """One document of the page."""
    commands = "".join(f"    {command}\n" for command in COMMANDS[document.commands])
    shown = laid_out(shortened(example, document))
    about = " ".join((document.__doc__ or "").split())
    return f"## {document.commands}\n\n{about}\n\n{commands}\n{table(document)}\n```\n{shown}\n```\n"


def shape(kind: Kind) -> str:
    """One shape of the page."""
    return f"### {title_of(kind)}\n\n{kind.__doc__}\n\n{table(kind)}"


def page(examples: dict[str, Any]) -> str:
    """The whole page, from the document that the first command of each prints."""
    files = [f"`{name}`:\n\n" + "".join(f"    {line}\n" for line in text.splitlines()) for name, text in FILES.items()]
    sections = [section(document, examples[document.commands]) for document in documents()]
    return "\n".join([HEAD, *files, *sections, "## Shapes\n", *map(shape, SHAPES)])


def write() -> None:
    """Run the first command of every document and write the page."""
    with example_folder():
        examples = {document.commands: printed(COMMANDS[document.commands][0]) for document in documents()}
    PAGE.write_text(page(examples), encoding="utf-8")


if __name__ == "__main__":
    os.environ["NO_COLOR"] = "1"
    write()
