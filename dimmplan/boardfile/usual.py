"""What a board file may leave out: rates of its generation, channels that work together, a schematic drawing."""

from __future__ import annotations

from collections.abc import Sequence

from dimmplan.boardfile.expand import expand_sockets, trays
from dimmplan.boardfile.schema import BoardFile, PhysicalPart, SlotRow, SocketBox
from dimmplan.model.module import RATES_MTS
from dimmplan.model.rows import InterleaveRow

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
