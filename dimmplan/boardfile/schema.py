"""The board file as written by hand: TOML, format 1. Electrical and physical parts apart, equal rows said once.

``{socket}`` in a slot name stands for the socket's id wherever one description serves several equal sockets.
"""

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from dimmplan.model.board import LandmarkKind, Lie, Side
from dimmplan.model.module import Generation
from dimmplan.model.rows import (
    InterleaveRow,
    Name,
    NodeRow,
    ProcessorOption,
    RateMts,
    RateRow,
    RateScope,
    Record,
    Text,
    Trust,
)
from dimmplan.rules import RuleRow

FORMAT = 1

Title = Annotated[str, Field(min_length=1, max_length=80)]
Identifier = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]{0,38}[a-z0-9]$")]
Length = Annotated[float, Field(gt=0, le=3000, allow_inf_nan=False)]
Coordinate = Annotated[float, Field(ge=-200, le=3000, allow_inf_nan=False)]
Point = tuple[Coordinate, Coordinate]
Size = tuple[Length, Length]


ChannelSlots = Annotated[tuple[Name, ...], Field(min_length=1, max_length=4)]


class ModuleEntry(Record):
    """A usual module with what the manual says of it: its part number, the most watts that it takes."""

    label: Text
    part: Name | None = None
    watts: Annotated[float, Field(gt=0, le=200, allow_inf_nan=False)] | None = None


Modules = Annotated[
    ModuleEntry,
    BeforeValidator(
        lambda given: given if isinstance(given, dict) else {"label": given}, json_schema_input_type=Text | ModuleEntry
    ),
]
"""A usual module: a table, or its label alone."""


class SocketEntry(Record):
    """One socket (``id``) or several wired alike (``ids``): controllers, channels, slots in fill order."""

    id: Name | None = None
    ids: tuple[Name, ...] = ()
    controllers: Annotated[
        dict[Name, Annotated[dict[Name, ChannelSlots], Field(min_length=1)]],
        Field(min_length=1, max_length=16),
    ]


class ElectricalPart(Record):
    """What the signals see. Without ``rates_mts`` the board knows all rates of its generation."""

    generation: Generation
    rate_scope: RateScope = "system"
    rates_mts: tuple[RateMts, ...] = ()
    sockets: Annotated[tuple[SocketEntry, ...], Field(min_length=1, max_length=32)]
    interleave: InterleaveRow = InterleaveRow(style="any", ways=(1,), source="PRACTICE")
    processors_differ: bool = False
    trays: Annotated[
        dict[Name, Annotated[tuple[Name, ...], Field(min_length=1, max_length=128)]], Field(max_length=32)
    ] = {}
    code_order: tuple[Name, ...] = ()
    aliases: dict[Name, tuple[Text, ...]] = {}
    edac: dict[Name, tuple[Text, ...]] = {}


class SocketBox(Record):
    """Where a socket lies: its left front corner and its size."""

    at_mm: Point
    size_mm: Size


class SlotRow(Record):
    """A row of equal slots: the centre of the first, the pitch, and the way to the next.

    ``start_mm`` is one point, or a table of points by socket id, one row for each socket, with ``{socket}`` in
    the slot names.
    """

    slots: Annotated[tuple[Name, ...], Field(min_length=1, max_length=64)]
    start_mm: Point | dict[Name, Point]
    pitch_mm: Annotated[float, Field(gt=0, le=300, allow_inf_nan=False)] = 8.5
    towards: Side = "right"
    lie: Lie = "front-rear"
    length_mm: Length = 142.0
    width_mm: Length = 6.5
    pin1: Side | None = None


class LandmarkEntry(Record):
    """Something to orient by: its left front corner and its size."""

    name: Name
    kind: LandmarkKind = "other"
    at_mm: Point
    size_mm: Size


class TrayEntry(Record):
    """Where a tray lies, how it comes out and goes back. Without a place it is drawn around its slots."""

    at_mm: Point | None = None
    size_mm: Size | None = None
    access: Annotated[tuple[Text, ...], Field(max_length=10)] = ()
    closing: Annotated[tuple[Text, ...], Field(max_length=10)] = ()


class PhysicalPart(Record):
    """What the eye sees from above; ``y`` is measured from the front edge to the rear, ``x`` from the left.

    Without ``rows`` the tool draws a schematic; without a width or depth the board ends where its parts do.
    """

    width_mm: Length | None = None
    depth_mm: Length | None = None
    outline_mm: tuple[Point, ...] = ()
    weight_kg: Annotated[float, Field(gt=0, le=1000, allow_inf_nan=False)] | None = None
    to_scale: bool = True
    sockets: dict[Name, SocketBox] = {}
    rows: Annotated[tuple[SlotRow, ...], Field(max_length=200)] = ()
    landmarks: Annotated[tuple[LandmarkEntry, ...], Field(max_length=100)] = ()
    access: Annotated[tuple[Text, ...], Field(max_length=20)] = ()
    trays: Annotated[dict[Name, TrayEntry], Field(max_length=32)] = {}
    closing: Annotated[tuple[Text, ...], Field(max_length=20)] = ()


class BoardFile(Record):
    """A whole board file."""

    format: Literal[1]
    id: Identifier
    title: Title
    trust: Trust
    modules: Annotated[tuple[Modules, ...], Field(min_length=1, max_length=64)]
    guesses: Annotated[dict[Name, Text], Field(max_length=20)] = {}
    electrical: ElectricalPart
    rules: Annotated[tuple[RuleRow, ...], Field(max_length=100)] = ()
    rates: Annotated[tuple[RateRow, ...], Field(min_length=1, max_length=200)]
    processors: Annotated[tuple[ProcessorOption, ...], Field(max_length=40)] = ()
    nodes: Annotated[tuple[NodeRow, ...], Field(max_length=20)] = ()
    sources: dict[Name, Text] = {}
    physical: PhysicalPart = PhysicalPart()


def json_schema() -> dict[str, Any]:
    """The JSON Schema of the board file, for editors."""
    schema = BoardFile.model_json_schema()
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "dimmplan board file, format 1"
    return schema
