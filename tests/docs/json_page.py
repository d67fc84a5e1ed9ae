"""The page about JSON, made from what the keys mean and from what the commands print; every key in both.

Run: python -m tests.docs.json_page
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import shlex
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import dimmplan
from dimmplan.cli.run import run
from tests.docs.json_keys import DOCUMENTS, FILES, SHAPES, Document

PAGE = Path(dimmplan.__file__).parent / "docs" / "json.md"
WIDE = 96

HEAD = """# The JSON documents

Every command takes `--json` and then prints one document on standard output and nothing else there. Keys stay; more may
be added. Capacities are GiB, rates MT/s, bandwidths decimal GB/s; null is *not known* or *none*. `[]` is every item of
a list, `SLOT` every slot by its name. Words in italics are shapes that several documents share; they stand at the end.

The examples are shortened: one item of each list, one slot, `{...}` for a shape. They read these files:
"""


class Spec:
    """Keys of one document or shape: meanings by path, and the paths at which a shape stands."""

    def __init__(self, text: str) -> None:
        self.meaning: dict[str, str] = {}
        self.shape: dict[str, str] = {}
        self.whole = text.removeprefix("-> ") if text.startswith("-> ") else None
        for line in () if self.whole else filter(None, text.splitlines()):
            key, said = line.split(" | ", 1)
            path, arrow, shape = key.partition(" -> ")
            self.meaning[path] = said
            if arrow:
                self.shape[path] = shape
        self.maps = {path.rpartition(".")[0] for path in self.meaning if path.rpartition(".")[2].isupper()}


SPECS = {name: Spec(text) for name, text in SHAPES.items()}
"""The shapes."""


def keys_of(value: Any, spec: Spec, path: str = "", *, name: str = "") -> Iterator[tuple[str, str]]:
    """Every path of a value, with the shape that it belongs to, the empty name for the document itself."""
    if path in spec.shape and value is not None:
        yield name, path
        yield from keys_of(value, SPECS[spec.shape[path]], name=spec.shape[path])
    elif isinstance(value, dict):
        if not value:
            yield name, path
        for key, item in value.items():
            part = "SLOT" if path in spec.maps else key
            yield from keys_of(item, spec, f"{path}.{part}" if path else part, name=name)
    elif isinstance(value, list):
        if not value:
            yield name, f"{path}[]*"
        for item in value:
            yield from keys_of(item, spec, f"{path}[]", name=name)
    else:
        yield name, path


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
        yield


# -- the page --------------------------------------------------------------------------------------------------------


def shortened(value: Any, spec: Spec, path: str = "") -> Any:
    """A value with one item of each list and one slot of each map, a shape as dots."""
    if path in spec.shape and value is not None:
        return "{...}"
    if isinstance(value, dict):
        items = list(value.items())
        if path in spec.maps:
            return {key: shortened(item, spec, f"{path}.SLOT") for key, item in items[:1]} | (
                {"...": "..."} if len(items) > 1 else {}
            )
        return {key: shortened(item, spec, f"{path}.{key}" if path else key) for key, item in items}
    if isinstance(value, list):
        found = [shortened(item, spec, f"{path}[]") for item in value[:1]]
        return [*found, "..."] if len(value) > 1 else found
    return value


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


def table(spec: Spec) -> str:
    """The keys and what they mean."""
    rows = ["| key | what it is |", "|---|---|"]
    for path, said in spec.meaning.items():
        shape = f"*{spec.shape[path]}*: " if path in spec.shape else ""
        rows.append(f"| `{path}` | {shape}{said} |")
    return "\n".join(rows) + "\n"


def section(document: Document, example: Any) -> str:
    """One document of the page."""
    spec = Spec(document.keys)
    commands = "".join(f"    {command}\n" for command in document.commands)
    told = "" if spec.whole else f"\n{table(spec)}"
    shown = "" if spec.whole else f"\n```\n{laid_out(shortened(example, spec))}\n```\n"
    return f"## {document.title}\n\n{document.intro}\n\n{commands}{told}{shown}"


def page(examples: dict[str, Any]) -> str:
    """The whole page, from the document that the first command of each prints."""
    files = [f"`{name}`:\n\n" + "".join(f"    {line}\n" for line in text.splitlines()) for name, text in FILES.items()]
    parts = [HEAD, *files, *(section(document, examples[document.title]) for document in DOCUMENTS)]
    parts.append("## Shapes\n")
    parts += [f"### {name}\n\n{table(spec)}" for name, spec in SPECS.items()]
    return "\n".join(parts)


def write() -> None:
    """Run the first command of every document and write the page."""
    with example_folder():
        examples = {document.title: printed(document.commands[0]) for document in DOCUMENTS}
    PAGE.write_text(page(examples), encoding="utf-8")


if __name__ == "__main__":
    os.environ["NO_COLOR"] = "1"
    write()
