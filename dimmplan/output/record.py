"""JSON documents as typed records: keys in order, what each means, and how exact values become numbers."""

import json
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from functools import cache, partial
from types import SimpleNamespace
from typing import Annotated, Any, ClassVar, Literal, NamedTuple, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo, model_validator

from dimmplan.model.module import Module
from dimmplan.units import decimal
from dimmplan.wording import breach_finding

FORMAT: Literal[1] = 1
"""The format of every JSON document that is written."""


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
Exact = Annotated[int | str, BeforeValidator(lambda value: str(value) if isinstance(value, Fraction) else value)]
"""A whole number, or another exact value as a fraction in text."""
Label = Annotated[str, BeforeValidator(lambda value: value.label if isinstance(value, Module) else value)]
"""The label of a module."""
Slots = Annotated[
    dict[str, Label | None],
    BeforeValidator(lambda value: dict(value) if isinstance(value, tuple | list) else value),
]
"""Slot to the label in it, null where it is empty."""


def means(
    text: str,
    *,
    of: str = "",
    by: Callable[[Any], Any] | None = None,
    within: Callable[[Any, Any], Any] | None = None,
    to: str | None = None,
    default: Any = ...,
) -> Any:
    """A key of a record: what it means, and where its value comes from where that is not the attribute of its name.

    ``of`` is a dotted place in the object; ``by`` works the value out from the object, ``within`` from what the whole
    document is about and the object; a value ``...`` leaves the key out. ``to`` is the key in JSON where Python does
    not allow it as a name.
    """
    field = Field(default, description=text, serialization_alias=to)
    if by is not None:
        field.metadata.append(_Source(lambda _, value: by(value)))
    elif within is not None or of:
        field.metadata.append(_Source(within or partial(_at, of.split("."))))
    return field


class _Source(NamedTuple):
    """How a key's value is found, from what the document is about and from the object; ``...`` is none."""

    find: Callable[[Any, Any], Any]


def _at(place: Sequence[str], _: object, value: object) -> Any:
    """What stands at a place of an object, attribute by attribute."""
    for name in place:
        value = getattr(value, name, ...)
    return value


class Record(BaseModel):
    """A part of a JSON document: its keys in order, each with what it means and where it comes from (``means``).

    ``of`` makes it from an object whose attributes have the names of the keys, records within it alike. A key that is
    not set is left out of the document; ``None`` is null.
    """

    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True, protected_namespaces=())

    @classmethod
    def of(cls, value: object = None, about: object = None, /, **own: Any) -> Self:
        """The record of an object; ``own`` are keys that the object itself does not have, or has otherwise.

        ``about`` is what the whole document is about; in a document, it has what the object lacks.
        """
        whole = _Beside(SimpleNamespace(**own), value, *((about,) if issubclass(cls, Document) else ()))
        about = value if about is None else about
        return cls.model_validate(cls._found(whole, about, own), context=about)

    @model_validator(mode="before")
    @classmethod
    def _find(cls, value: Any, info: ValidationInfo) -> Any:
        return value if isinstance(value, (cls, Mapping)) else cls._found(value, info.context, {})

    @classmethod
    def _found(cls, value: object, about: object, own: Mapping[str, Any]) -> dict[str, Any]:
        """The values of the keys of an object, and its own ones; those that there are."""
        others = {name: find(about, value) for name, find in _sources(cls) if name not in own}
        return {name: found for name, found in (others | dict(own)).items() if found is not ...}

    def plain(self) -> dict[str, Any]:
        """The record as what JSON is made of."""
        return self.model_dump(mode="json", exclude_unset=True, by_alias=True)


@cache
def _sources(kind: type[Record]) -> list[tuple[str, Callable[[Any, Any], Any]]]:
    """How each key of a record is found: by its source, or as the attribute of its name."""
    told = [
        (name, [each for each in field.metadata if isinstance(each, _Source)])
        for name, field in kind.model_fields.items()
    ]
    return [(name, sources[0].find if sources else partial(_at, (name,))) for name, sources in told]


class _Beside:
    """Some objects as one: an attribute is that of the first that has it."""

    def __init__(self, *objects: object) -> None:
        self._objects = objects

    def __getattr__(self, name: str) -> Any:
        for each in self._objects:
            if (found := getattr(each, name, ...)) is not ...:
                return found
        raise AttributeError(name)


class Document(Record):
    """A whole JSON document. ``commands`` name what prints it; of two for the same, the fuller is listed."""

    commands: ClassVar[str]
    every: ClassVar[dict[str, "type[Document]"]] = {}

    def __init_subclass__(cls, commands: str = "", **options: Any) -> None:
        super().__init_subclass__(**options)
        cls.commands = commands
        if commands:
            cls.every[commands] = cls

    format: Literal[1] = means("1", default=FORMAT)

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

    id: str = means("the board")
    trust: str = means("`example`, `drafted`, `manual` or `running`")


class BoardEntry(BoardHead):
    """The board, by what its plans depend on."""

    electrical_digest: str = means("changes with slots, rules, rates, processors and modules")
    drawing_digest: str = means("changes with the drawing")


class PlacementDocument(Document):
    """What every document about a placement begins with."""

    board: BoardHead = means("the board")
    fitted: list[str] = means("sockets with a processor", of="placement.fitted")
    processor: str | None = means(
        "the processor option of all sockets, null where they differ", of="placement.one_processor"
    )
    processors: dict[str, str] = means("the processor option of each fitted socket", of="placement.processors")
    absent_trays: list[str] = means("trays that are not there", of="placement.absent")
    inlet_c: int | None = means(
        "warmest air at the inlet in degrees Celsius; null where nobody has said", of="placement.inlet_c"
    )
    mode: str = means("`independent`, `mirrored`, `partly-mirrored`, `lockstep` or `sparing`", of="placement.mode")
    prefer: str = means("the list of criteria", of="placement.prefer")


class Count(Record):
    """Modules of one type."""

    label: str = means("a type")
    count: int = means("how many of it")


def counts(modules: Any) -> Any:
    """Modules as pairs with their numbers, or those in some slots, larger ones first, as records."""
    if isinstance(modules, Mapping):
        used = Counter(module for module in modules.values() if module)
        modules = sorted(used.items(), key=lambda pair: pair[0].order_key)
    return [Count(label=each[0].label, count=each[1]) if isinstance(each, tuple) else each for each in modules]


Counts = Annotated[list[Count], BeforeValidator(counts)]
"""Modules with their numbers, from pairs or from what slots hold."""


class FindingEntry(Record):
    """What a person must know."""

    rule: str = means("id of the board's row, or of what the tool itself looks at")
    severity: str = means("`error` (must not be), `warning` (not advised), `note`")
    where: list[str] = means("slots, channels or sockets")
    text: str = means("a sentence")
    source: str = means("id of the source; `rules` gives the citation")


Broken = Annotated[
    list[FindingEntry],
    BeforeValidator(lambda breaches, info: [breach_finding(info.context.board, breach) for breach in breaches]),
]
"""Broken rows in words, of the board that the document is about."""


class SentenceEntry(Record):
    """What the terminal prints."""

    text: str = means("what the terminal prints")
    rule: str = means("the row, criterion or figure behind it")
    source: str = means("id of the source")


class RegionEntry(Record):
    """One region of a socket's address range."""

    ways: int = means("channels that the addresses rotate over")
    capacity_gib: Number = means("how much of the capacity")
    channels: list[str] = means("which channels")
    peak_gb_s: GbS = means("GB/s")


class SocketEntry(Record):
    """The figures of a fitted socket."""

    id: str = means("the socket", of="socket")
    capacity_gib: int = means("of its modules")
    usable_gib: Number = means("what the mode leaves")
    modules: int = means("how many")
    rate_mts: int = means("MT/s", of="rate.rate_mts")
    rate_row: str = means("what limits the rate: a rate row, `processor:ID` or `module:LABEL`", of="rate.row")
    peak_gb_s: GbS = means("of all its channels, empty ones too")
    sweep_gb_s: GbS = means("every byte once")
    parallel_gb_s: GbS = means("traffic even over all addresses")
    share: Share = means("sweep over the peak of all channels, 0 to 1")
    regions: list[RegionEntry] = means("lowest addresses first")


class NodeEntry(Record):
    """The figures of a node of a socket, with a firmware setting of the board file."""

    setting: str = means("row of the setting")
    socket: str = means("the socket", of="figures.socket")
    node: str = means("the node")
    usable_gib: Number = means("what the mode leaves", of="figures.usable_gib")
    modules: int = means("how many", of="figures.modules")
    sweep_gb_s: GbS = means("every byte once", of="figures.sweep_gb_s")
    share: Share = means("sweep over the peak of the node's channels, 0 to 1", of="figures.share")
    regions: list[RegionEntry] = means("lowest addresses first", of="figures.regions")


class MachineFigures(Record):
    """How a machine runs."""

    capacity_gib: int = means("of all modules")
    usable_gib: Number = means("what the mode leaves")
    modules: int = means("how many")
    free_slots: int = means("of the fitted sockets")
    rate_mts: int = means("MT/s; with rates that differ by channel, the lowest")
    balanced_sweep_gb_s: BalancedSweep
    system_sweep_gb_s: SystemSweep
    own_sweep_gb_s: OwnSweep
    worst_sweep_gb_s: WorstSweep
    worst_share: WorstShare
    socket_difference_gib: Number = means("largest less smallest usable capacity of a socket")


class TotalsEntry(MachineFigures):
    """The whole machine."""

    watts: Annotated[float | None, Places(1)] = means(
        "the most that the modules take, by the board file; null where it does not say it of each"
    )
    cost: Money | None = means("of what must be bought, where everything has a price", default=None)


class FiguresEntry(MachineFigures):
    """How a content runs."""

    sockets: list[SocketEntry] = means("each socket")


class CriterionEntry(Record):
    """One criterion of the list, and its value."""

    name: str = means("in the order that decides")
    value: Exact = means("sweep and parallel as exact fractions of GB/s in text")
    better: str = means("`high` or `low`")


class BoundEntry(Record):
    """How far the search came."""

    criterion: str | None = means(
        "the criterion in which a better placement is possible, or null", by=lambda its: its.bound and its.bound[0]
    )
    value: Exact | None = means("what it can be at best", by=lambda its: its.bound and its.bound[1])
    nodes: int = means("search nodes spent", of="effort")


class NearestEntry(Record):
    """The nearest capacities that fit."""

    below_gib: Number | None = means("the nearest capacity below that fits")
    above_gib: Number | None = means("the nearest above")


class CauseEntry(Record):
    """What stands in the way."""

    rule: str = means("the row, or what else stands in the way")
    text: str = means("in words")
    source: str = means("id of the source, where it has one")


class JudgementEntry(Record):
    """A plan that breaks its board's rules, or does not agree with itself."""

    obeys_board: bool = means("false where it breaks an error row")
    agrees_with_itself: bool = means("false where figures or code do not follow from its slots")
    causes: list[CauseEntry] = means("what is wrong with it")


class OfPlan(Document):
    """An answer about a plan that was read back."""

    plan: JudgementEntry | None = means("of a plan that is not good: why; else left out", of="judgement", default=None)


# -- every command: what is wrong, and no ------------------------------------------------------------------------------


class ErrorEntry(Record):
    """What is wrong with a call or an input."""

    file: str = means("file or option")
    place: str = means("dotted path or line in it")
    found: str = means("what was found")
    allowed: str = means("what is allowed")
    hint: str = means("the nearest right spelling, or what to do")


class ErrorsDocument(Document, commands="any command: errors"):
    """Exit status 2: the call or an input is wrong."""

    errors: list[ErrorEntry] = means("everything that is wrong")


class RefusedDocument(Document, commands="any command: refused"):
    """Exit status 1: the input can be read, and the answer is no."""

    status: Literal["refused"] = means("`refused`")
    causes: list[CauseEntry] = means("why")
