"""The records against what the commands print: no key missing, none too many, the page as it is generated."""

from __future__ import annotations

import functools
from collections.abc import Iterator
from typing import Any

import jsonschema
import pytest

from dimmplan.cli.run import run
from dimmplan.output.boards import documents, output_schema
from dimmplan.output.record import Document
from tests.docs.json_examples import COMMANDS
from tests.docs.json_page import PAGE, SHAPES, Kind, example_folder, fields_of, printed, section, shape, uses

SEEN: set[tuple[Kind, str]] = set()
"""Fields that some document had."""


@pytest.fixture(scope="module", autouse=True)
def _folder() -> Iterator[None]:
    with example_folder():
        yield


@functools.cache
def _schema() -> dict[str, Any]:
    return output_schema()


@pytest.mark.parametrize("document", documents(), ids=[document.commands for document in documents()])
def test_what_is_printed_obeys_the_schema_and_stands_on_the_page(document: type[Document]) -> None:
    """No key that the record does not have, none missing, each of its type."""
    schema = _schema()
    validator = jsonschema.Draft202012Validator(schema | schema["documents"][document.commands])
    answers: list[Any] = [printed(command) for command in COMMANDS[document.commands]]
    for answer in answers:
        validator.validate(answer)
        assert next(iter(answer.items())) == ("format", 1)
        SEEN.update(fields_of(document, answer))
        with pytest.raises(jsonschema.ValidationError):
            validator.validate(answer | {"of nobody": 1})
    own = {(document, name) for name in document.model_fields}
    assert own <= SEEN, f"never printed: {own - SEEN}"
    assert section(document, answers[0]) in PAGE.read_text(encoding="utf-8")


def test_every_key_is_told_and_printed_somewhere() -> None:
    """And the page has just these documents and shapes."""
    kinds = {*documents(), *uses()}
    every = {(kind, name) for kind in kinds for name in kind.model_fields}
    assert all(kind.model_fields[name].description for kind, name in every)
    assert not every - SEEN
    text = PAGE.read_text(encoding="utf-8")
    assert all(shape(kind) in text for kind in SHAPES)
    headings = [line for line in text.splitlines() if line.startswith("## ")]
    assert headings == [*(f"## {document.commands}" for document in documents()), "## Shapes"]


def test_the_schema_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["docs", "json-schema"]) == 0
    import json

    printed_schema = json.loads(capsys.readouterr().out)
    assert printed_schema == _schema()
    jsonschema.Draft202012Validator.check_schema(printed_schema)
    assert set(printed_schema["documents"]) == {document.commands for document in documents()}
