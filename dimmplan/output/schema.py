"""Every JSON document of the commands in one list, and the JSON Schema that follows from it."""

from __future__ import annotations

from typing import Any

from pydantic import Field
from pydantic.json_schema import models_json_schema

from dimmplan.output.adding import NextEntry
from dimmplan.output.answer_records import (
    ChangeDocument,
    ExpectDocument,
    FailureDocument,
    MixDocument,
    NextDocument,
    RulesDocument,
    WhyDocument,
)
from dimmplan.output.boards import BoardDocument, BoardList
from dimmplan.output.compare_record import CompareDocument
from dimmplan.output.fleet import FleetDocument
from dimmplan.output.growth import GrowthEntry
from dimmplan.output.kept import BeforeEntry, KeptEntry
from dimmplan.output.locating import LocateDocument
from dimmplan.output.machine_record import AuditDocument, DraftDocument, FoundDocument, MovesDocument
from dimmplan.output.mode import ModePriceEntry
from dimmplan.output.record import ImpossibleDocument, PlanDocument, SheetEntry
from dimmplan.output.short_records import (
    CheckDocument,
    ErrorsDocument,
    FilesDocument,
    RefusedDocument,
    TableDocument,
    TopicDocument,
    TopicsDocument,
)
from dimmplan.output.stock import ShelfEntry
from dimmplan.output.values import Document


class WholePlan(PlanDocument):
    """A plan with all that may stand beside it."""

    sheet: SheetEntry | None = Field(default=None, description="words of the title block, where some were given")
    stock: ShelfEntry | None = Field(default=None, description="what it takes from the shelf, with `--stock`")
    before: BeforeEntry | None = Field(default=None, description="how fast it is now, with `--keep`; null if not known")
    kept: KeptEntry | None = Field(default=None, description="what the machine brings, with `--keep`")
    growth: GrowthEntry | None = Field(default=None, description="the chain, with `--then`")
    next_by_adding: list[NextEntry] = Field(default=[], description="capacities that adding alone reaches")
    mode_price: ModePriceEntry | None = Field(default=None, description="what another `--mode` costs")


DOCUMENTS: tuple[type[Document], ...] = (
    WholePlan,
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
