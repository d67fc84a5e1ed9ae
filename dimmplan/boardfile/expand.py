"""From the file's short way of writing to the whole board: sockets multiplied, rows of slots laid out.

What a file may leave out is filled in before: rates of its generation, channels that work together, a schematic
drawing.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Iterable, Iterator, Sequence
from fractions import Fraction
from typing import Any, TypeVar

from dimmplan.boardfile.schema import BoardFile, PhysicalPart, SlotRow, SocketBox, SocketEntry, TrayEntry
from dimmplan.model.board import (
    Board,
    Box,
    Channel,
    Controller,
    Landmark,
    ModuleFacts,
    Physical,
    SlotPlace,
    Socket,
    Tray,
)
from dimmplan.model.label import parse_label
from dimmplan.model.module import RATES_MTS, Module
from dimmplan.model.rows import InterleaveRow, NodeRow, ProcessorOption, RateRow
from dimmplan.rules import Rule, as_once, effective_rows
from dimmplan.sources import current_id

_STEP = {"right": (1, 0), "left": (-1, 0), "rear": (0, 1), "front": (0, -1)}


_Cited = TypeVar("_Cited", InterleaveRow, NodeRow, ProcessorOption, RateRow, Rule)


def socket_ids(entry: SocketEntry) -> tuple[str, ...]:
    """The ids that an entry stands for."""
    return (*((entry.id,) if entry.id else ()), *entry.ids)


def expand_sockets(file: BoardFile) -> tuple[Socket, ...]:
    """Every socket of the file with its controllers, channels and slots, in board order."""
    return tuple(
        Socket(
            id=socket_id,
            controllers=tuple(
                Controller(
                    id=controller_id,
                    channels=tuple(
                        Channel(
                            id=channel_id,
                            socket=socket_id,
                            controller=controller_id,
                            slots=tuple(fill(slot, socket_id) for slot in slots),
                        )
                        for channel_id, slots in channels.items()
                    ),
                )
                for controller_id, channels in entry.controllers.items()
            ),
        )
        for entry in file.electrical.sockets
        for socket_id in socket_ids(entry)
    )


def fill(name: str, socket_id: str) -> str:
    """A slot name with the socket's id in place of ``{socket}``."""
    return name.replace("{socket}", socket_id)


def expand_row(row: SlotRow) -> Iterator[SlotPlace]:
    """The places of a row's slots, in order."""
    starts = row.start_mm if isinstance(row.start_mm, dict) else {"": row.start_mm}
    right, rear = _STEP[row.towards]
    wide, deep = (row.width_mm, row.length_mm) if row.lie == "front-rear" else (row.length_mm, row.width_mm)
    for socket_id, (x, y) in starts.items():
        for index, slot in enumerate(row.slots):
            centre_x, centre_y = x + right * row.pitch_mm * index, y + rear * row.pitch_mm * index
            box = Box(round(centre_x - wide / 2, 3), round(centre_y - deep / 2, 3), wide, deep)
            yield SlotPlace(slot=fill(slot, socket_id), box=box, lie=row.lie, pin1=row.pin1)


def expand_physical(file: BoardFile) -> Physical:
    """The drawing part, laid out. The outline is the whole rectangle where the file gives none."""
    part = file.physical
    places = tuple(place for row in part.rows for place in expand_row(row))
    sockets = tuple((socket_id, Box(*each.at_mm, *each.size_mm)) for socket_id, each in part.sockets.items())
    landmarks = tuple(Landmark(each.name, each.kind, Box(*each.at_mm, *each.size_mm)) for each in part.landmarks)
    boxes = [*(place.box for place in places), *(box for _, box in sockets), *(mark.box for mark in landmarks)]
    width = part.width_mm or max((box.x_mm + box.width_mm for box in boxes), default=0.0) + _AROUND_MM
    depth = part.depth_mm or max((box.y_mm + box.depth_mm for box in boxes), default=0.0) + _AROUND_MM
    return Physical(
        width_mm=width,
        depth_mm=depth,
        outline=part.outline_mm or ((0.0, 0.0), (width, 0.0), (width, depth), (0.0, depth)),
        weight_kg=part.weight_kg,
        to_scale=part.to_scale,
        slots=places,
        sockets=sockets,
        landmarks=landmarks,
        access=part.access,
        trays=tuple(
            Tray(name, slots, _around(slots, entry, places), entry.access, entry.closing)
            for name, slots, entry in trays(file)
        ),
        closing=part.closing,
    )


_AROUND_MM = 4.0
"""How far a tray, or a board, without a place or size of its own is drawn around what lies on it."""


def trays(file: BoardFile) -> Iterator[tuple[str, tuple[str, ...], TrayEntry]]:
    """The trays, their slots, and what the drawing says of them; ``{socket}`` in a name is one for each socket."""
    sockets = [socket_id for entry in file.electrical.sockets for socket_id in socket_ids(entry)]
    for name, slots in file.electrical.trays.items():
        for socket_id in sockets if "{socket}" in name else ("{socket}",):
            named = tuple(fill(slot, socket_id) for slot in slots)
            yield fill(name, socket_id), named, file.physical.trays.get(name, TrayEntry())


def _around(slots: tuple[str, ...], entry: TrayEntry, places: Sequence[SlotPlace]) -> Box:
    """The place of a tray: as the file gives it, or around its slots."""
    if entry.at_mm and entry.size_mm:
        return Box(*entry.at_mm, *entry.size_mm)
    boxes = [place.box for place in places if place.slot in slots] or [Box(0.0, 0.0, 0.0, 0.0)]
    left, front = min(b.x_mm for b in boxes) - _AROUND_MM, min(b.y_mm for b in boxes) - _AROUND_MM
    right, rear = max(b.x_mm + b.width_mm for b in boxes), max(b.y_mm + b.depth_mm for b in boxes)
    return Box(left, front, right - left + _AROUND_MM, rear - front + _AROUND_MM)


def expand(file: BoardFile) -> Board:
    """The board of a file that has passed its check."""
    sockets = expand_sockets(file)
    slots = tuple(slot for socket in sockets for slot in socket.slots)
    modules = [parse_label(entry.label) for entry in file.modules]
    facts = [
        ModuleFacts(module.label, entry.part or "", None if entry.watts is None else Fraction(str(entry.watts)))
        for module, entry in zip(modules, file.modules, strict=True)
    ]
    rules = effective_rows(file.rules, file.electrical.generation)
    # dumped once and whole: a dump of each row builds a serializer for each kind of row
    content = _without_unused(file.model_dump(mode="json"), _LATER)
    return Board(
        id=file.id,
        title=file.title,
        trust=file.trust,
        generation=file.electrical.generation,
        rate_scope=file.electrical.rate_scope,
        rates_mts=tuple(sorted(file.electrical.rates_mts)),
        sockets=sockets,
        interleave=_cited_now(file.electrical.interleave, file),
        rules=tuple(_cited_now(row, file) for row in rules),
        rates=tuple(_cited_now(row, file) for row in file.rates),
        processors=tuple(_cited_now(option, file) for option in file.processors),
        modules=tuple(modules),
        module_facts=tuple(facts),
        code_order=file.electrical.code_order or slots,
        aliases=tuple((slot, names) for slot, names in file.electrical.aliases.items()),
        sources=tuple(file.sources.items()),
        guesses=tuple(file.guesses.items()),
        edac=tuple((slot, names) for slot, names in file.electrical.edac.items()),
        physical=expand_physical(file),
        nodes=tuple(_cited_now(row, file) for row in file.nodes),
        processors_differ=file.electrical.processors_differ,
        electrical_digest=_digest(_electrical_content(file, content, sockets, rules, modules)),
        drawing_digest=_digest(
            {key: content[key] for key in ("title", "physical", "rules", "trust", "guesses") if key in content}
            | ({"modules": content["modules"]} if any(each.part or each.watts for each in facts) else {})
        ),
    )


def _cited_now(row: _Cited, file: BoardFile) -> _Cited:
    """A row that cites by the ids of today; an id that the file declares itself stays."""
    now = current_id(row.source)
    return (
        row if now == row.source or file.sources.keys() & {now, row.source} else row.model_copy(update={"source": now})
    )


def _electrical_content(
    file: BoardFile,
    content: dict[str, Any],
    sockets: tuple[Socket, ...],
    rules: tuple[Rule, ...],
    modules: list[Module],
) -> dict[str, Any]:
    """What decides a placement, without wording: a changed source or title leaves the digest as it is."""
    return {
        "generation": file.electrical.generation,
        "rate_scope": file.electrical.rate_scope,
        "rates_mts": sorted(file.electrical.rates_mts),
        "sockets": [
            [socket.id, [[[channel.id, channel.slots] for channel in c.channels] for c in socket.controllers]]
            for socket in sockets
        ],
        "interleave": _without_wording(content["electrical"]["interleave"].items()),
        "rules": [_without_wording(as_once(row)) for row in rules if row.scopes],
        "rates": [_without_unused(_without_wording(row.items()), _RATE_PARTS) for row in content["rates"]],
        "processors": [
            {"id": option["id"], **_without_unused(_without_wording(option.items()), _PROCESSOR_PARTS)}
            for option in content["processors"]
        ],
        "modules": [module.label for module in modules],
        **({"watts": watts} if any(watts := [entry.watts for entry in file.modules]) else {}),
        "code_order": file.electrical.code_order,
        **{key: content["electrical"][key] for key in ("processors_differ", "trays") if key in content["electrical"]},
        **({"nodes": content["nodes"]} if "nodes" in content else {}),
    }


_LATER = {"closing", "from_watts", "guesses", "nodes", "processors_differ", "trays"}
"""Keys that came after the first boards: a file that does not use them keeps its digests."""


def _without_wording(fields: Iterable[tuple[str, Any]]) -> dict[str, Any]:
    """The fields of a row that decide anything."""
    return {name: value for name, value in fields if name not in ("id", "source", "text", "title")}


_RATE_PARTS = ("logical_ranks", "capacity_gib", "die_gbit")
_PROCESSOR_PARTS = (*_RATE_PARTS, "package_ranks", "voltage_mv", "channels")


def _without_unused(value: Any, names: Collection[str]) -> Any:
    """A value without those keys of these names that say nothing: a board that does not use them keeps its digest."""
    if isinstance(value, dict):
        return {key: _without_unused(inside, names) for key, inside in value.items() if inside or key not in names}
    return [_without_unused(inside, names) for inside in value] if isinstance(value, list) else value


def _digest(content: Any) -> str:
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode("ascii")).hexdigest()[:16]


# -- what a file may leave out -----------------------------------------------------------------------------------------

USUAL = "usual-interleave"
"""Id of the row on interleaving where the file has none."""

_WAYS = (1, 2, 3, 4, 6, 8, 10, 12)
_PITCH_MM, _LENGTH_MM, _SOCKET_MM, _GAP_MM = 10.0, 142.0, 76.0, 24.0
_BLOCK_MM = _LENGTH_MM + 60
"""Depth of a socket with its slots, or of a tray."""
_ROW = 32


def completed(file: BoardFile) -> BoardFile:
    """The file with what it leaves out."""
    electrical = file.electrical
    usual: dict[str, object] = {}
    if not electrical.rates_mts:
        usual["rates_mts"] = RATES_MTS[electrical.generation]
    if "interleave" not in electrical.model_fields_set:
        usual["interleave"] = usual_interleave(file)
    found = file.model_copy(update={"electrical": electrical.model_copy(update=usual)}) if usual else file
    return found if file.physical.rows else found.model_copy(update={"physical": _drawn(file)})


def usual_interleave(file: BoardFile) -> InterleaveRow:
    """Evenly over the controllers where a socket has several, else any channels, in usual numbers."""
    channels = [[len(controller.channels) for controller in socket.controllers] for socket in expand_sockets(file)]
    style = "even" if max(map(len, channels)) > 1 else "any"
    return InterleaveRow(id=USUAL, style=style, ways=tuple(usual_ways(channels, style)), source="PRACTICE")


def usual_ways(channels: Sequence[Sequence[int]], style: str) -> list[int]:
    """Usual numbers of channels that work together; ``channels`` are those of each controller, by sockets."""
    ways = [number for number in _WAYS if number <= max(map(sum, channels))]
    if style != "even":
        return ways
    even = {
        of * each
        for controllers in channels
        for of in range(1, len(controllers) + 1)
        for each in range(1, sum(controllers) // len(controllers) + 1)
    }
    return [way for way in ways if way in even]


def _drawn(file: BoardFile) -> PhysicalPart:
    """The drawing part of a file without places."""
    on_trays = [(name, slots) for name, slots, _ in trays(file)]
    held = {slot for _, slots in on_trays for slot in slots}
    sockets = expand_sockets(file)
    blocks = [
        (
            socket.id,
            [slot for slot in socket.slots if slot not in held],
            [slots for _, slots in on_trays if slots[0] in socket.slots],
        )
        for socket in sockets
    ]
    found = schematic(blocks)
    kept = {key: getattr(file.physical, key) for key in ("weight_kg", "access", "closing", "trays")}
    return found.model_copy(update=kept)


def schematic(blocks: Sequence[tuple[str, Sequence[str], Sequence[Sequence[str]]]]) -> PhysicalPart:
    """A drawing that is not to scale, sockets in columns: half of a socket's slots left of it, the rest right of it.

    ``blocks`` are sockets with their slots and, behind them, the slots of their trays.
    """
    columns = 2 if len(blocks) <= 8 else 4
    boxes: dict[str, SocketBox] = {}
    rows: list[SlotRow] = []
    beside = max(len(slots) for _, slots, _ in blocks) * _PITCH_MM + _SOCKET_MM + _PITCH_MM
    widest = max((len(tray) for *_, behind in blocks for tray in behind), default=0) * _PITCH_MM
    width = max(beside, widest) + 2 * _GAP_MM
    depth = (1 + max(len(behind) for *_, behind in blocks)) * _BLOCK_MM
    for number, (socket, slots, behind) in enumerate(blocks):
        left = _GAP_MM + (number % columns) * width
        middle = (number // columns) * depth + 40 + _LENGTH_MM / 2
        half = (len(slots) + 1) // 2
        right = left + half * _PITCH_MM
        at, size = (right, middle - 40), (_SOCKET_MM, 80.0)
        boxes[socket] = SocketBox.model_construct(at_mm=at, size_mm=size)
        rows += _rows(slots[:half], left, middle)
        rows += _rows(slots[half:], right + _SOCKET_MM + _PITCH_MM, middle)
        for place, tray in enumerate(behind, 1):
            rows += _rows(tray, left, middle + place * _BLOCK_MM)
    return PhysicalPart.model_construct(
        width_mm=min(len(blocks), columns) * width,
        depth_mm=-(-len(blocks) // columns) * depth + 40,
        to_scale=False,
        sockets=boxes,
        rows=tuple(rows),
    )


def _rows(slots: Sequence[str], x: float, middle: float) -> list[SlotRow]:
    """Slots side by side."""
    return [
        SlotRow.model_construct(
            slots=tuple(slots[first : first + _ROW]),
            start_mm=(x + _PITCH_MM * (first + 0.5), middle),
            pitch_mm=_PITCH_MM,
        )
        for first in range(0, len(slots), _ROW)
    ]
