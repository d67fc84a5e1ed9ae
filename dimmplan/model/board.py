"""A board, whole: sockets, controllers, channels and slots, their rules, and where everything lies."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property
from typing import Literal, NamedTuple

from dimmplan.model.module import Generation, Module
from dimmplan.model.rows import (
    DifferentOptions,
    InterleaveRow,
    NodeRow,
    ProcessorOption,
    RateRow,
    RateScope,
    Row,
    Trust,
    seats_of,
)
from dimmplan.sources import citation

Side = Literal["left", "right", "front", "rear"]
Lie = Literal["front-rear", "left-right"]
LandmarkKind = Literal["fan", "power", "riser", "baffle", "drives", "connector", "battery", "other"]


class Channel(NamedTuple):
    """A channel: ``slots`` in fill order. ``name`` is unique on the board, ``id`` within its socket."""

    id: str
    socket: str
    controller: str
    slots: tuple[str, ...]

    @property
    def name(self) -> str:
        """Socket and channel, as outputs print it."""
        return f"{self.socket}.{self.id}"


class Controller(NamedTuple):
    """A memory controller and its channels, in board order."""

    id: str
    channels: tuple[Channel, ...]


class Socket(NamedTuple):
    """Where a processor sits, with its memory controllers in board order."""

    id: str
    controllers: tuple[Controller, ...]

    @property
    def channels(self) -> tuple[Channel, ...]:
        """All channels of the socket in board order."""
        return tuple(channel for controller in self.controllers for channel in controller.channels)

    @property
    def slots(self) -> tuple[str, ...]:
        """All slot names of the socket in board order."""
        return tuple(slot for channel in self.channels for slot in channel.slots)

    @property
    def build(self) -> tuple[tuple[tuple[str, int], ...], ...]:
        """Channel ids and slot counts by controller: only sockets that are built equally can be populated alike."""
        return tuple(tuple((ch.id, len(ch.slots)) for ch in controller.channels) for controller in self.controllers)

    def with_slots(self, kept: Callable[[Channel, str], bool]) -> Socket:
        """The socket with only the slots that are kept; a channel or controller without any is left out."""
        controllers = []
        for controller in self.controllers:
            channels = (
                channel._replace(slots=tuple(slot for slot in channel.slots if kept(channel, slot)))
                for channel in controller.channels
            )
            controllers.append(controller._replace(channels=tuple(channel for channel in channels if channel.slots)))
        return self._replace(controllers=tuple(controller for controller in controllers if controller.channels))

    def part(self, controllers: Collection[str]) -> Socket:
        """The socket with only these controllers."""
        return self._replace(controllers=tuple(each for each in self.controllers if each.id in controllers))

    def serving(self, channels: Collection[str]) -> Socket:
        """The socket with only these channels."""
        return self.with_slots(lambda channel, _: channel.id in channels)


class Box(NamedTuple):
    """A rectangle in mm seen from above: ``x`` grows to the right, ``y`` from the front edge to the rear."""

    x_mm: float
    y_mm: float
    width_mm: float
    depth_mm: float


class SlotPlace(NamedTuple):
    """Where a slot lies. ``lie`` is the run of its long side, ``pin1`` the side its first pins are at, if known."""

    slot: str
    box: Box
    lie: Lie
    pin1: Side | None


class Landmark(NamedTuple):
    """Something a person at the open chassis orients by."""

    name: str
    kind: LandmarkKind
    box: Box


class ModuleFacts(NamedTuple):
    """What a board file says of a usual module beside its label: part number (may be empty), most watts."""

    label: str
    part: str = ""
    watts: Fraction | None = None


class Tray(NamedTuple):
    """A part that holds slots and may be absent: a memory board, a riser.

    ``access`` says how it comes out, ``closing`` how it goes back.
    """

    name: str
    slots: tuple[str, ...]
    box: Box
    access: tuple[str, ...]
    closing: tuple[str, ...] = ()


class Physical(NamedTuple):
    """The board from above, in mm; the front edge is ``y = 0``. ``outline`` is a closed polygon."""

    width_mm: float
    depth_mm: float
    outline: tuple[tuple[float, float], ...]
    weight_kg: float | None
    to_scale: bool
    slots: tuple[SlotPlace, ...]
    sockets: tuple[tuple[str, Box], ...]
    landmarks: tuple[Landmark, ...]
    access: tuple[str, ...]
    trays: tuple[Tray, ...] = ()
    closing: tuple[str, ...] = ()
    """What goes back at the end, in order; empty where it is ``access`` undone, the last step first."""


@dataclass(frozen=True, kw_only=True)
class Board:
    """One board. Equal boards have equal fields; digests name the electrical part and the drawing apart.

    ``sockets`` have the slots that can be used: those on channels that the processors serve, in trays that are there.
    Where they are not all, ``wired`` has all.
    """

    id: str
    title: str
    trust: Trust
    generation: Generation
    rate_scope: RateScope
    rates_mts: tuple[int, ...]
    sockets: tuple[Socket, ...]
    interleave: InterleaveRow
    rules: tuple[Row, ...]
    rates: tuple[RateRow, ...]
    processors: tuple[ProcessorOption, ...]
    modules: tuple[Module, ...]
    code_order: tuple[str, ...]
    aliases: tuple[tuple[str, tuple[str, ...]], ...]
    sources: tuple[tuple[str, str], ...]
    guesses: tuple[tuple[str, str], ...] = ()
    """What a draft guesses and nobody has seen to: what about, and the question."""
    edac: tuple[tuple[str, tuple[str, ...]], ...] = ()
    """Names of slots in error records, where the running system numbers them otherwise than the board."""
    physical: Physical
    electrical_digest: str = field(compare=False)
    drawing_digest: str = field(compare=False)
    wired: tuple[Socket, ...] = ()
    processors_differ: bool = False
    """True where sockets may carry different processor options."""
    module_facts: tuple[ModuleFacts, ...] = ()
    """What the board file says of its usual modules, in their order."""
    nodes: tuple[NodeRow, ...] = ()
    """Firmware settings that split a socket into nodes."""
    absent: tuple[str, ...] = ()
    """Names of the trays that are not there."""
    inlet_c: int | None = None
    """The warmest air at the inlet, in degrees Celsius; ``None`` where nobody has said."""

    @property
    def every_socket(self) -> tuple[Socket, ...]:
        """The sockets with all their slots, whether they can be used or not."""
        return self.wired or self.sockets

    @cached_property
    def slots(self) -> tuple[str, ...]:
        """All slot names in board order: sockets, channels, slots as the board file lists them."""
        return tuple(slot for socket in self.every_socket for slot in socket.slots)

    @cached_property
    def channels(self) -> tuple[Channel, ...]:
        """All channels in board order."""
        return tuple(channel for socket in self.sockets for channel in socket.channels)

    @cached_property
    def channel_of(self) -> dict[str, Channel]:
        """Slot name to its channel; the slots of the channel are those that can be used, if there are any."""
        channels = (channel for socket in (*self.every_socket, *self.sockets) for channel in socket.channels)
        return {slot: channel for channel in channels for slot in channel.slots}

    @cached_property
    def served(self) -> frozenset[str]:
        """Slots whose channel the processor serves, and whose tray is there."""
        return frozenset(slot for socket in self.sockets for slot in socket.slots)

    @cached_property
    def tray_of(self) -> dict[str, str]:
        """Slot to the name of the tray that holds it; slots on the board itself are in none."""
        return {slot: tray.name for tray in self.physical.trays for slot in tray.slots}

    def serving(self, option: ProcessorOption | None) -> Board:
        """The board as the processors serve it."""

        def kept(channel: Channel, slot: str) -> bool:
            channels = option.at(channel.socket).channels if option is not None else ()
            return (not channels or channel.id in channels) and self.tray_of.get(slot) not in self.absent

        wired = self.every_socket
        limited = bool(self.absent) or (option is not None and any(each.channels for each in option.each))
        sockets = tuple(socket.with_slots(kept) for socket in wired) if limited else wired
        return self if sockets == self.sockets else replace(self, sockets=sockets, wired=wired)

    def without(self, trays: Collection[str]) -> Board:
        """The board without these trays, whichever were absent before."""
        absent = tuple(tray.name for tray in self.physical.trays if tray.name in trays)
        return self if absent == self.absent else replace(self, absent=absent).serving(None)

    def socket(self, socket_id: str) -> Socket:
        """The socket of that id. Raises ``KeyError``."""
        for socket in self.sockets:
            if socket.id == socket_id:
                return socket
        raise KeyError(socket_id)

    def processor(self, option_id: str | None) -> ProcessorOption | None:
        """The processor option of that id, the first where ``None`` is given; ``None`` where the board lists none.

        ``S1=one,S2=other`` are different options at sockets. Raises ``KeyError`` for an unknown id.
        """
        if option_id is None:
            return self.processors[0] if self.processors else None
        if seats := seats_of(option_id):
            options = {option.id: option for option in self.processors}
            chosen = tuple((socket, options[option]) for socket, option in seats.items())
            return DifferentOptions(id=option_id, source=chosen[0][1].source, seats=chosen)
        for option in self.processors:
            if option.id == option_id:
                return option
        raise KeyError(option_id)

    def citation(self, source_id: str) -> str:
        """The document of a source id in full: the board file's own table goes before the list of the package."""
        return dict(self.sources).get(source_id) or citation(source_id)

    def facts_of(self, module: Module) -> ModuleFacts:
        """What the board file says of a module: nothing of one that is none of its usual ones."""
        return next((facts for facts in self.module_facts if facts.label == module.label), ModuleFacts(module.label))

    def watts_of(self, modules: Iterable[Module]) -> Fraction | None:
        """The most watts of some modules together; ``None`` where those of one are not known."""
        total = Fraction(0)
        for module in modules:
            watts = self.facts_of(module).watts
            if watts is None:
                return None
            total += watts
        return total

    def module_of_size(self, capacity_gib: int) -> Module | None:
        """The usual module of a bare size: the first that the board lists."""
        return next((module for module in self.modules if module.capacity_gib == capacity_gib), None)
