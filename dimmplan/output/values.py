"""JSON documents as typed records: keys in order, what each means, and how exact values become numbers."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from fractions import Fraction
from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from dimmplan.model.module import Module
from dimmplan.units import Gib, decimal

FORMAT: Literal[1] = 1
"""The format of every JSON document that is written."""


def exact(value: int | Fraction) -> int | str:
    """Whole numbers as numbers, other exact values as fractions in text."""
    return value if isinstance(value, int) else str(value)


def gib_number(value: Gib) -> int | float:
    """A capacity as a number: whole, or with the decimals that a mode leaves."""
    return value if isinstance(value, int) else float(value)


def Places(count: int) -> BeforeValidator:  # noqa: N802 - reads as a type does
    """Exact values rounded to some decimals."""
    return BeforeValidator(lambda value: decimal(value, count) if isinstance(value, Fraction) else value)


GbS = Annotated[float, Places(1)]
"""GB/s to one decimal."""
BalancedSweep = Annotated[GbS, Field(description="the lower of system and own sweep, GB/s")]
SystemSweep = Annotated[GbS, Field(description="all capacity over the longest sweep time of a socket, GB/s")]
OwnSweep = Annotated[GbS, Field(description="sweep of the worst socket times the number of sockets, GB/s")]
WorstSweep = Annotated[GbS, Field(description="sweep of the worst socket, GB/s")]
Share = Annotated[float, Places(4)]
WorstShare = Annotated[Share, Field(description="lowest share of a socket")]
Money = Annotated[float, Places(2)]
GibNumber = Annotated[int | float, BeforeValidator(lambda v: gib_number(v) if isinstance(v, Fraction) else v)]
Exact = Annotated[int | str, BeforeValidator(lambda value: exact(value) if isinstance(value, Fraction) else value)]
Label = Annotated[str, BeforeValidator(lambda value: value.label if isinstance(value, Module) else value)]
"""The label of a module."""
Slots = Annotated[
    dict[str, Label | None],
    BeforeValidator(lambda value: dict(value) if isinstance(value, tuple | list) else value),
]
"""Slot to the label in it, null where it is empty."""


class Record(BaseModel):
    """A part of a JSON document: its keys in order, each with what it means.

    It is made from keywords, or with ``of`` from an object whose attributes have the names (or aliases) of the keys.
    A key that is not set is left out of the document; ``None`` is null.
    """

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        defer_build=True,
        populate_by_name=True,
        from_attributes=True,
        protected_namespaces=(),
    )

    @classmethod
    def of(cls, value: object) -> Self:
        """The record of an object."""
        return cls.model_validate(value)

    @classmethod
    def all_of(cls, values: Iterable[object]) -> list[Self]:
        """The records of some objects."""
        return [cls.model_validate(value) for value in values]

    def plain(self) -> dict[str, Any]:
        """The record as what JSON is made of."""
        return self.model_dump(mode="json", exclude_unset=True, by_alias=True)


class Document(Record):
    """A whole JSON document. ``commands`` names the commands that print it, ``about`` says what it is."""

    commands: ClassVar[str]
    about: ClassVar[str]

    format: Literal[1] = Field(default=FORMAT, description="1")

    def model_post_init(self, _context: Any) -> None:
        """The format stands in every document."""
        self.__pydantic_fields_set__.add("format")


class CauseEntry(Record):
    """What stands in the way."""

    rule: str = Field(description="the row, or what else stands in the way")
    text: str = Field(description="in words")
    source: str = Field(description="id of the source, where it has one")


class JudgementEntry(Record):
    """A plan that breaks its board's rules, or does not agree with itself."""

    obeys_board: bool = Field(description="false where it breaks an error row")
    agrees_with_itself: bool = Field(description="false where figures or code do not follow from its slots")
    causes: list[CauseEntry] = Field(description="what is wrong with it")


class OfPlan(Document):
    """An answer about a plan that was read back."""

    plan: JudgementEntry | None = Field(default=None, description="of a plan that is not good: why; else left out")


def plain(value: Any) -> Any:
    """Records anywhere in lists and mappings as what JSON is made of."""
    if isinstance(value, Record):
        return value.plain()
    if isinstance(value, Mapping):
        return {key: plain(each) for key, each in value.items()}
    return [plain(each) for each in value] if isinstance(value, list) else value


def to_json(record: Record | Mapping[str, Any]) -> str:
    """One JSON document, two blanks deep, ending with a line end; ASCII so that any pipe carries it."""
    return json.dumps(plain(record), indent=2, ensure_ascii=True) + "\n"


class Count(Record):
    """Modules of one type."""

    label: str = Field(description="a type")
    count: int = Field(description="how many of it")


def counts(pairs: Iterable[tuple[Module, int]]) -> list[Count]:
    """Modules with their numbers as records."""
    return [Count(label=module.label, count=count) for module, count in pairs]
