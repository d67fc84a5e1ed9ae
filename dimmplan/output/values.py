"""Exact values as JSON carries them, the same in every document."""

from __future__ import annotations

import json
from fractions import Fraction
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict

from dimmplan.units import Gib

FORMAT: Literal[1] = 1
"""The format of every JSON document that is written."""


def exact(value: int | Fraction) -> int | str:
    """Whole numbers as numbers, other exact values as fractions in text."""
    return value if isinstance(value, int) else str(value)


def gib_number(value: Gib) -> int | float:
    """A capacity as a number: whole, or with the decimals that a mode leaves."""
    return value if isinstance(value, int) else float(value)


class Record(BaseModel):
    """A part of a JSON document: its keys in order, each with what it means.

    A key that is not set is left out of the document; ``None`` is null.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True, populate_by_name=True)

    def plain(self) -> dict[str, Any]:
        """The record as what JSON is made of."""
        return self.model_dump(mode="json", exclude_unset=True, by_alias=True)

    def json_text(self) -> str:
        """One JSON document, two blanks deep, ending with a line end; ASCII so that any pipe carries it."""
        return json.dumps(self.plain(), indent=2, ensure_ascii=True) + "\n"
