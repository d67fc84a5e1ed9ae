"""The page about JSON against what the commands print: no key missing, none too many, the examples as printed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.docs.json_keys import DOCUMENTS, SHAPES, Document
from tests.docs.json_page import PAGE, SPECS, Spec, example_folder, keys_of, printed, section, table

SEEN: dict[str, set[str]] = {name: set() for name in SHAPES}
"""Keys of each shape that some document had."""


@pytest.fixture(scope="module", autouse=True)
def _folder() -> Iterator[None]:
    with example_folder():
        yield


def _paths(found: list[tuple[str, str]], spec: Spec, name: str) -> set[str]:
    """Paths of one shape or of the document; an empty list or object stands for what it could hold."""
    paths = {path for shape, path in found if shape == name}
    empty = {path.removesuffix("*") for path in paths if path.endswith("*")}
    return {path for path in paths if not path.endswith("*")} | {path for path in empty if path in spec.meaning}


def _unknown(paths: set[str], spec: Spec) -> set[str]:
    """Paths that the page does not name: a null may stand where an object could."""
    return {
        path for path in paths if path not in spec.meaning and not any(m.startswith(f"{path}.") for m in spec.meaning)
    }


@pytest.mark.parametrize("document", DOCUMENTS, ids=[document.title for document in DOCUMENTS])
def test_a_document_has_the_keys_of_the_page(document: Document) -> None:
    """Every key that a command prints is on the page, and every one of the page is printed by one of the commands."""
    spec = Spec(document.keys)
    answers: list[Any] = [printed(command) for command in document.commands]
    if spec.whole:
        spec = SPECS[spec.whole]
    found = [each for answer in answers for each in keys_of(answer, spec)]
    paths = _paths(found, spec, "")
    assert not _unknown(paths, spec)
    assert not {path for path in spec.meaning if path not in paths}, "on the page and not printed"
    for name, shape in SPECS.items():
        of_shape = _paths(found, shape, name)
        assert not _unknown(of_shape, shape), name
        SEEN[name] |= of_shape
    if Spec(document.keys).whole:
        SEEN[Spec(document.keys).whole or ""] |= paths
    assert section(document, answers[0]) in PAGE.read_text(encoding="utf-8")


def test_every_key_of_a_shape_is_printed_somewhere() -> None:
    """And the page has the shapes as they are written down."""
    text = PAGE.read_text(encoding="utf-8")
    for name, spec in SPECS.items():
        assert not {path for path in spec.meaning if path not in SEEN[name]}, name
        assert f"### {name}\n\n{table(spec)}" in text
    headings = [line for line in text.splitlines() if line.startswith("## ")]
    assert headings == [*(f"## {document.title}" for document in DOCUMENTS), "## Shapes"]
