"""The board as it lies before the reader: x to the right, y downwards, the front edge below or above as asked.

Front up is the board turned by half a turn, never mirrored. Still in board millimetres; nothing is stretched yet.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from functools import reduce
from itertools import groupby
from typing import Literal, NamedTuple

from dimmplan.model.board import Board, Box, SlotPlace
from dimmplan.sheet.facts import socket_words

Front = Literal["down", "up"]
_FAR_APART_MM = 32.0


class Area(NamedTuple):
    """A rectangle before the reader: left, top, right, bottom."""

    left: float
    top: float
    right: float
    bottom: float

    def turned(self, on_side: bool) -> Area:
        """The rectangle with its axes exchanged, where it lies ``on_side``: the y axis is told as the x axis is."""
        return Area(self.top, self.left, self.bottom, self.right) if on_side else self

    def overlaps(self, other: Area, slack: float = 0.0) -> bool:
        """True where the two share more than a border."""
        return (
            self.left < other.right - slack
            and other.left < self.right - slack
            and self.top < other.bottom - slack
            and other.top < self.bottom - slack
        )

    def around(self, other: Area) -> Area:
        """The smallest rectangle that holds both."""
        return Area(
            min(self.left, other.left),
            min(self.top, other.top),
            max(self.right, other.right),
            max(self.bottom, other.bottom),
        )

    def grown(self, by: float) -> Area:
        """The rectangle with a border around it."""
        return Area(self.left - by, self.top - by, self.right + by, self.bottom + by)

    def within(self, other: Area) -> Area:
        """The part of the rectangle that lies in another."""
        return Area(
            max(self.left, other.left),
            max(self.top, other.top),
            min(self.right, other.right),
            min(self.bottom, other.bottom),
        )

    @property
    def width(self) -> float:
        """From left to right."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """From top to bottom."""
        return self.bottom - self.top

    @property
    def centre(self) -> tuple[float, float]:
        """The middle."""
        return (self.left + self.right) / 2, (self.top + self.bottom) / 2


class PlanSlot(NamedTuple):
    """A slot before the reader; ``pin1_first`` is true where pin 1 is at the end where reading starts."""

    slot: str
    area: Area
    upright: bool
    pin1_first: bool | None


class Mark(NamedTuple):
    """A landmark that is seen while slots are filled. What lies over them came off before."""

    name: str
    area: Area
    kind: str


class Bank(NamedTuple):
    """Slots of one socket side by side, in reading order across."""

    slots: tuple[PlanSlot, ...]
    upright: bool
    area: Area
    socket: str


class Span(NamedTuple):
    """Neighbours of a bank on one channel, or of one controller: the first and last index in it.

    ``tray`` is the name of the tray that holds them, where that is told.
    """

    name: str
    first: int
    last: int
    tray: str = ""


class PlanView(NamedTuple):
    """Everything to draw, in the reader's directions."""

    front: Front
    area: Area
    outline: tuple[tuple[float, float], ...]
    slots: tuple[PlanSlot, ...]
    sockets: tuple[tuple[str, Area], ...]
    marks: tuple[Mark, ...]
    whole: bool
    banks: tuple[Bank, ...] = ()

    @property
    def blocks(self) -> tuple[Area, ...]:
        """Everything that stands in a slot's way, but for slots."""
        return *(box for _, box in self.sockets), *(mark.area for mark in self.marks)


def plan_view(board: Board, front: Front, sockets: Sequence[str] | None = None) -> PlanView:
    """The board before the reader; with ``sockets`` only the part around them."""
    physical, down = board.physical, front == "down"

    def point(x: float, y: float) -> tuple[float, float]:
        return (x, physical.depth_mm - y) if down else (physical.width_mm - x, y)

    def area_of(box: Box) -> Area:
        ends = point(box.x_mm, box.y_mm), point(box.x_mm + box.width_mm, box.y_mm + box.depth_mm)
        (left, right), (top, bottom) = (sorted(each) for each in zip(*ends, strict=True))
        return Area(left, top, right, bottom)

    def seen_slot(place: SlotPlace) -> PlanSlot:
        upright = place.lie == "front-rear"
        start = ("front" if down else "rear") if upright else ("left" if down else "right")
        return PlanSlot(place.slot, area_of(place.box), upright, None if place.pin1 is None else place.pin1 == start)

    slots = [seen_slot(place) for place in physical.slots]
    boxes = [(socket_id, area_of(box)) for socket_id, box in physical.sockets]
    outline = tuple(point(x, y) for x, y in physical.outline)
    area = bounds(Area(x, y, x, y) for x, y in outline)
    if sockets is not None:
        slots = [slot for slot in slots if board.channel_of[slot.slot].socket in sockets]
        boxes = [(socket_id, box) for socket_id, box in boxes if socket_id in sockets]
        around = bounds([*(slot.area for slot in slots), *(box for _, box in boxes)])
        area = around.grown(0.06 * min(area.width, area.height)).within(area)
        outline = ((area.left, area.top), (area.right, area.top), (area.right, area.bottom), (area.left, area.bottom))
    things = [slot.area for slot in slots] + [box for _, box in boxes]
    area = bounds([area, *things])
    marks = []
    for mark in physical.landmarks:
        place = area_of(mark.box)
        if any(place.overlaps(thing, 0.5) for thing in things):
            continue
        if sockets is not None:
            seen = place.within(area)
            if not place.overlaps(area, 6.0) or seen.width < 0.5 * place.width:
                continue
            place = seen
        marks.append(Mark(mark.name, place, mark.kind))
        area = area.around(place)
    ordered = tuple(sorted(slots, key=lambda slot: board.slots.index(slot.slot)))
    view = PlanView(front, area, outline, ordered, tuple(boxes), tuple(marks), sockets is None)
    return view._replace(banks=tuple(_banks(board, view)))


def bounds(areas: Iterable[Area]) -> Area:
    """The smallest rectangle that holds some."""
    return reduce(Area.around, areas)


def _banks(board: Board, view: PlanView) -> Iterator[Bank]:
    """Slots that lie the same way, level with each other, of one socket, with nothing between them."""

    def level(slot: PlanSlot) -> tuple[bool, str, float, float]:
        area = slot.area.turned(not slot.upright)
        return slot.upright, board.channel_of[slot.slot].socket, area.top, area.bottom

    def parted(one: PlanSlot, other: PlanSlot) -> bool:
        first, second = (slot.area.turned(not one.upright) for slot in (one, other))
        gap = Area(first.right, first.top, second.left, first.bottom)
        blocks = (block.turned(not one.upright) for block in view.blocks)
        return gap.width > _FAR_APART_MM or gap.width > 0 and any(gap.overlaps(block) for block in blocks)

    for (upright, socket, *_), level_slots in groupby(sorted(view.slots, key=level), key=level):
        banks: list[list[PlanSlot]] = []
        for slot in sorted(level_slots, key=lambda slot: slot.area.turned(not slot.upright).left):
            if not banks or parted(banks[-1][-1], slot):
                banks.append([])
            banks[-1].append(slot)
        yield from (Bank(tuple(bank), upright, bounds(slot.area for slot in bank), socket) for bank in banks)


def spans(board: Board, bank: Bank, what: Literal["channel", "owner"]) -> list[Span]:
    """Neighbours of a bank that share a channel, or socket and controller. A name that slots already tell is empty."""
    several = len(board.socket(bank.socket).controllers) > 1

    def name_of(slot: PlanSlot) -> str:
        channel = board.channel_of[slot.slot]
        owner = f"{socket_words(bank.socket)} · {channel.controller}" if several else socket_words(bank.socket)
        tray = board.tray_of.get(slot.slot)
        owner += f" · {tray}" if tray else ""
        owner += " absent" if tray in board.absent else ""
        return channel.id if what == "channel" else owner

    found: list[Span] = []
    at = 0
    for name, slots in groupby(bank.slots, key=name_of):
        group = list(slots)
        channel = board.channel_of[group[0].slot]
        named = all(channel.id in re.split(r"[\W_]+", slot) for slot in channel.slots)  # as a word of their own names
        if what == "owner" or not named:
            tray = board.tray_of.get(group[0].slot, "") if what == "owner" else ""
            found.append(Span(name, at, at + len(group) - 1, tray))
        elif len(channel.slots) > 1:
            found.append(Span("", at, at + len(group) - 1))
        at += len(group)
    return found
