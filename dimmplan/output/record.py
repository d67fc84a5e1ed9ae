"""JSON documents as typed records: keys in order, what each means, and how exact values become numbers."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping
from fractions import Fraction
from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import AliasPath, BaseModel, BeforeValidator, ConfigDict, Field

from dimmplan.model.module import Module
from dimmplan.units import decimal

FORMAT: Literal[1] = 1
"""The format of every JSON document that is written."""


def exact(value: int | Fraction) -> int | str:
    """Whole numbers as numbers, other exact values as fractions in text."""
    return value if isinstance(value, int) else str(value)


def number(value: Any) -> Any:
    """An exact number whole, or with its decimals; anything else as it is."""
    if not isinstance(value, Fraction):
        return value
    return int(value) if value.denominator == 1 else float(value)


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
Number = Annotated[int | float, BeforeValidator(number)]
"""Whole where it is; a capacity has the decimals that a mode leaves."""
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

    ``of`` makes it from an object whose attributes have the names (or aliases) of the keys, records within it alike.
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
    def of(cls, value: object = None, /, **own: Any) -> Self:
        """The record of an object; ``own`` are keys that the object itself does not have, or has otherwise."""
        return cls.model_validate(_Beside(value, own) if own else value)

    def plain(self) -> dict[str, Any]:
        """The record as what JSON is made of."""
        return self.model_dump(mode="json", exclude_unset=True, by_alias=True)


class _Beside:
    """An object with some attributes of its own before those of another."""

    def __init__(self, value: object, own: Mapping[str, Any]) -> None:
        self.__dict__.update(own)
        self._value = value

    def __getattr__(self, name: str) -> Any:
        return getattr(self._value, name)


class Document(Record):
    """A whole JSON document. ``commands`` names the commands that print it, ``about`` says what it is."""

    commands: ClassVar[str]
    about: ClassVar[str]

    format: Literal[1] = Field(default=FORMAT, description="1")

    def model_post_init(self, _context: Any) -> None:
        """The format stands in every document."""
        self.__pydantic_fields_set__.add("format")


def to_json(record: Record | Mapping[str, Any]) -> str:
    """One JSON document, two blanks deep, ending with a line end; ASCII so that any pipe carries it."""
    plain = record.plain() if isinstance(record, Record) else record
    return json.dumps(plain, indent=2, ensure_ascii=True) + "\n"


# -- shapes of several documents ---------------------------------------------------------------------------------------


class BoardHead(Record):
    """The board."""

    id: str = Field(description="the board")
    trust: str = Field(description="`example`, `drafted`, `manual` or `running`")


class BoardEntry(BoardHead):
    """The board, by what its plans depend on."""

    electrical_digest: str = Field(description="changes with slots, rules, rates, processors and modules")
    drawing_digest: str = Field(description="changes with the drawing")


class Count(Record):
    """Modules of one type."""

    label: str = Field(description="a type")
    count: int = Field(description="how many of it")


def counts(pairs: Iterable[tuple[Module, int]]) -> list[Count]:
    """Modules with their numbers as records."""
    return [Count(label=module.label, count=count) for module, count in pairs]


def counts_in(content: Mapping[str, Module | None]) -> list[Count]:
    """The modules in some slots, larger ones first."""
    used = Counter(module for module in content.values() if module)
    return counts(sorted(used.items(), key=lambda pair: pair[0].order_key))


class FindingEntry(Record):
    """What a person must know."""

    rule: str = Field(description="id of the board's row, or of what the tool itself looks at")
    severity: str = Field(description="`error` (must not be), `warning` (not advised), `note`")
    where: list[str] = Field(description="slots, channels or sockets")
    text: str = Field(description="a sentence")
    source: str = Field(description="id of the source; `rules` gives the citation")


class RegionEntry(Record):
    """One region of a socket's address range."""

    ways: int = Field(description="channels that the addresses rotate over")
    capacity_gib: Number = Field(description="how much of the capacity")
    channels: list[str] = Field(description="which channels")
    peak_gb_s: GbS = Field(description="GB/s")


class SocketEntry(Record):
    """The figures of a fitted socket."""

    id: str = Field(validation_alias="socket", description="the socket")
    capacity_gib: int = Field(description="of its modules")
    usable_gib: Number = Field(description="what the mode leaves")
    modules: int = Field(description="how many")
    rate_mts: int = Field(validation_alias=AliasPath("rate", "rate_mts"), description="MT/s")
    rate_row: str = Field(
        validation_alias=AliasPath("rate", "row"),
        description="what limits the rate: a rate row, `processor:ID` or `module:LABEL`",
    )
    peak_gb_s: GbS = Field(description="of its filled channels")
    sweep_gb_s: GbS = Field(description="every byte once")
    parallel_gb_s: GbS = Field(description="traffic even over all addresses")
    share: Share = Field(description="sweep over the peak of all channels, 0 to 1")
    regions: list[RegionEntry] = Field(description="lowest addresses first")


class NodeEntry(Record):
    """The figures of a node of a socket, with a firmware setting of the board file."""

    setting: str = Field(description="row of the setting")
    socket: str = Field(validation_alias=AliasPath("figures", "socket"), description="the socket")
    node: str = Field(description="the node")
    usable_gib: Number = Field(validation_alias=AliasPath("figures", "usable_gib"), description="what the mode leaves")
    modules: int = Field(validation_alias=AliasPath("figures", "modules"), description="how many")
    sweep_gb_s: GbS = Field(validation_alias=AliasPath("figures", "sweep_gb_s"), description="every byte once")
    share: Share = Field(
        validation_alias=AliasPath("figures", "share"), description="sweep over the peak of the node's channels, 0 to 1"
    )
    regions: list[RegionEntry] = Field(
        validation_alias=AliasPath("figures", "regions"), description="lowest addresses first"
    )


class MachineFigures(Record):
    """How a machine runs."""

    capacity_gib: int = Field(description="of all modules")
    usable_gib: Number = Field(description="what the mode leaves")
    modules: int = Field(description="how many")
    free_slots: int = Field(description="of the fitted sockets")
    rate_mts: int = Field(description="MT/s; with rates that differ by channel, the lowest")
    balanced_sweep_gb_s: BalancedSweep
    system_sweep_gb_s: SystemSweep
    own_sweep_gb_s: OwnSweep
    worst_sweep_gb_s: WorstSweep
    worst_share: WorstShare
    socket_difference_gib: Number = Field(description="largest less smallest usable capacity of a socket")


class TotalsEntry(MachineFigures):
    """The whole machine."""

    watts: Annotated[float | None, Places(1)] = Field(
        description="the most that the modules take, by the board file; null where it does not say it of each"
    )
    cost: Money | None = Field(default=None, description="of what must be bought, where everything has a price")


class FiguresEntry(MachineFigures):
    """How a content runs."""

    sockets: list[SocketEntry] = Field(description="each socket")


class CriterionEntry(Record):
    """One criterion of the list, and its value."""

    name: str = Field(description="in the order that decides")
    value: Exact = Field(description="sweep and parallel as exact fractions of GB/s in text")
    better: str = Field(description="`high` or `low`")


class BoundEntry(Record):
    """How far the search came."""

    criterion: str | None = Field(description="the criterion in which a better placement is possible, or null")
    value: Exact | None = Field(description="what it can be at best")
    nodes: int = Field(description="search nodes spent")


def bound_record(bound: tuple[str, object] | None, nodes: int) -> BoundEntry:
    """How far a search came that spent some nodes; without a bound all is decided."""
    criterion, value = bound or (None, None)
    return BoundEntry.of(criterion=criterion, value=value, nodes=nodes)


class NearestEntry(Record):
    """The nearest capacities that fit."""

    below_gib: Number | None = Field(description="the nearest capacity below that fits")
    above_gib: Number | None = Field(description="the nearest above")


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


# -- every command: what is wrong, and no ------------------------------------------------------------------------------


class ErrorEntry(Record):
    """What is wrong with a call or an input."""

    file: str = Field(description="file or option")
    place: str = Field(description="dotted path or line in it")
    found: str = Field(description="what was found")
    allowed: str = Field(description="what is allowed")
    hint: str = Field(description="the nearest right spelling, or what to do")


class ErrorsDocument(Document):
    """Exit status 2."""

    commands = "any command: errors"
    about = "Exit status 2: the call or an input is wrong."

    errors: list[ErrorEntry] = Field(description="everything that is wrong")


class RefusedDocument(Document):
    """The answer is no."""

    commands = "any command: refused"
    about = "Exit status 1: the input can be read, and the answer is no."

    status: Literal["refused"] = Field(description="`refused`")
    causes: list[CauseEntry] = Field(description="why")


# -- files written -----------------------------------------------------------------------------------------------------


class BetterEntry(Record):
    """A better placement than the plan."""

    criterion: str = Field(description="the first criterion in which it is better")
    plan: str | None = Field(description="its value in the plan")
    better: str | None = Field(description="and in the better placement")
    slots: list[str] = Field(description="slots that the better placement fills")


class ProofEntry(Record):
    """What a new search says of a plan."""

    proven: bool = Field(description="no better placement of these modules")
    better: BetterEntry | None = Field(description="a better placement, null where there is none")


class FilesDocument(OfPlan):
    """Files written."""

    commands = "draw"
    about = "The files written; `proof` with `--prove`."

    files: list[str] = Field(description="in the order of the pages")
    proof: ProofEntry | None = Field(default=None, description="what a new search says of the plan")
