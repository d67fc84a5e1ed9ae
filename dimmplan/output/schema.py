"""Every JSON document of the commands in one list, and the JSON Schema that follows from it."""

from __future__ import annotations

from typing import Any

from pydantic.json_schema import models_json_schema

from dimmplan.output.boards import (
    BoardDocument,
    BoardList,
    CheckDocument,
    RulesDocument,
    TableDocument,
    TopicDocument,
    TopicsDocument,
)
from dimmplan.output.changes import ChangeDocument, FailureDocument, MixDocument, NextDocument
from dimmplan.output.compare_rows import CompareDocument
from dimmplan.output.fleet import FleetDocument
from dimmplan.output.growth import WholePlanDocument
from dimmplan.output.machine import AuditDocument, DraftDocument, FoundDocument, LocateDocument
from dimmplan.output.moves import MovesDocument
from dimmplan.output.plan import ImpossibleDocument
from dimmplan.output.record import Document, ErrorsDocument, FilesDocument, RefusedDocument
from dimmplan.output.why import ExpectDocument, WhyDocument

DOCUMENTS: tuple[type[Document], ...] = (
    WholePlanDocument,
    ImpossibleDocument,
    RefusedDocument,
    ErrorsDocument,
    FleetDocument,
    CompareDocument,
    FilesDocument,
    BoardList,
    BoardDocument,
    CheckDocument,
    TableDocument,
    DraftDocument,
    FoundDocument,
    AuditDocument,
    LocateDocument,
    MovesDocument,
    WhyDocument,
    NextDocument,
    ChangeDocument,
    FailureDocument,
    ExpectDocument,
    MixDocument,
    RulesDocument,
    TopicsDocument,
    TopicDocument,
)
"""Every document, in the order of the page about them."""


def output_schema() -> dict[str, Any]:
    """The JSON Schema of every document, each under the commands that print it."""
    refs, schema = models_json_schema([(document, "serialization") for document in DOCUMENTS])
    documents = {document.commands: refs[document, "serialization"] for document in DOCUMENTS}
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "documents": documents, **schema}
