"""What the drawing part must mean: every slot and socket has one place, on the board, and nothing lies on another."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from typing import NamedTuple

from dimmplan.boardfile.expand import expand_physical, expand_row
from dimmplan.boardfile.form import placed
from dimmplan.boardfile.schema import BoardFile, SlotRow
from dimmplan.errors import did_you_mean
from dimmplan.model.board import Box
from dimmplan.rules import Problems, known_names
from dimmplan.units import cleaned, listed, quoted

_TOUCH_MM = 0.01
_MOST_NAMED = 3


class _Thing(NamedTuple):
    """Something that lies on the board. ``place`` is what it is written at, with others of its row."""

    place: str
    name: str
    box: Box


def slots_drawn(file: BoardFile, slots: Sequence[str], sockets: Sequence[str]) -> Problems:
    """The electrical and the physical part name the same slots and sockets."""
    wrong_starts = list(_starts(file, sockets))
    yield from wrong_starts
    if not wrong_starts:
        yield from _slots_placed(file, slots)
    boxes = list(file.physical.sockets)
    yield from known_names(boxes, sockets, "physical.sockets", "sockets of the board")
    for socket in dict.fromkeys(sockets):
        if socket not in boxes:
            yield "physical.sockets", f"no place for socket {quoted(socket)}", "a place for every socket", ""


def places_without_rows(file: BoardFile) -> Problems:
    """A file that says where things lie says it of the slots too: only without any place is all of it schematic."""
    given = [
        key for key in ("width_mm", "depth_mm", "outline_mm", "sockets", "landmarks") if getattr(file.physical, key)
    ]
    if given and not file.physical.rows:
        yield "physical", f"{listed(given)} without rows", "[[physical.rows]] for the slots, or no places at all", ""


def _starts(file: BoardFile, sockets: Sequence[str]) -> Problems:
    """A row of slots of several sockets has ``{socket}`` in its names and a start for each."""
    for place, row in placed("physical.rows", file.physical.rows):
        held = any("{socket}" in slot for slot in row.slots)
        if isinstance(row.start_mm, dict):
            yield from known_names(row.start_mm, sockets, f"{place}.start_mm", "sockets of the board")
            if len(row.start_mm) > 1 and not all("{socket}" in slot for slot in row.slots):
                yield f"{place}.slots", "a slot name without {socket}", "slot names with {socket}", ""
        elif held:
            starts = ", ".join(f"{socket} = [10, 20]" for socket in sockets[:2])
            allowed = f"a start for each socket, such as {{ {starts} }}"
            yield f"{place}.start_mm", "one start for slot names with {socket}", allowed, ""


def _slots_placed(file: BoardFile, slots: Sequence[str]) -> Problems:
    """Every slot has a place, and one alone."""
    drawn: Counter[str] = Counter()
    for place, row in placed("physical.rows", file.physical.rows):
        names = [each.slot for each in expand_row(row)]
        drawn.update(names)
        for slot in names:
            if slot not in slots:
                hint = did_you_mean(slot, slots)
                yield f"{place}.slots", f"slot {quoted(slot)}", "slots that the electrical part names", hint
    for slot, count in drawn.items():
        if count > 1 and slot in slots:
            yield "physical.rows", f"slot {quoted(slot)} {count} times", "each slot once", ""
    for slot in dict.fromkeys(slots):
        if slot not in drawn:
            yield "physical.rows", f"no place for slot {quoted(slot)}", "a place for every slot", ""


def places(file: BoardFile, *, rows_lost: bool) -> Problems:
    """Nothing lies outside the board, and nothing lies on something else (a baffle may lie over slots)."""
    physical = expand_physical(file)
    rows = [] if rows_lost else list(placed("physical.rows", file.physical.rows))
    things = [_Thing(place, f"slot {each.slot}", each.box) for place, row in rows for each in expand_row(row)]
    things += [_Thing(f"physical.sockets.{socket}", f"socket {socket}", box) for socket, box in physical.sockets]
    marks = [mark for mark in physical.landmarks if mark.kind != "baffle"]
    solid = things + [_Thing("physical.landmarks", f"landmark {mark.name}", mark.box) for mark in marks]
    whole = Box(x_mm=0, y_mm=0, width_mm=physical.width_mm, depth_mm=physical.depth_mm)
    with_place = [tray for tray in physical.trays if (entry := file.physical.trays.get(tray.name)) and entry.at_mm]
    trays = [_Thing(f"physical.trays.{tray.name}", f"tray {tray.name}", tray.box) for tray in with_place]
    outside = (each for each in (*things, *trays) if not _inside(each.box, whole))
    for place, group in itertools.groupby(outside, key=lambda thing: thing.place):
        yield place, f"{_named([each.name for each in group])} outside the outline", f"within {_size(whole)}", ""
    tight = {place for place, row in rows if len(row.slots) > 1 and row.pitch_mm < _extent(row) - _TOUCH_MM}
    for place, row in rows:
        if place in tight:
            found = f"{row.pitch_mm:g}, so that slots of the row overlap"
            yield f"{place}.pitch_mm", found, f"at least {_extent(row):g} mm, the size of a slot that way", ""
    yield from _overlaps(solid, tight)
    for x, y in file.physical.outline_mm:
        if not (0 <= x <= physical.width_mm and 0 <= y <= physical.depth_mm):
            yield "physical.outline_mm", f"[{x:g}, {y:g}]", f"within {_size(whole)}", ""
    if 0 < len(file.physical.outline_mm) < 3:
        yield "physical.outline_mm", f"{len(file.physical.outline_mm)} points", "at least three points", ""


def _overlaps(solid: list[_Thing], tight: Collection[str]) -> Problems:
    """Pairs that overlap, those of the same two rows together; ``tight`` rows have been told."""
    pairs: dict[tuple[str, str], list[str]] = {}
    for one, other in _overlapping(solid):
        if one.place != other.place or one.place not in tight:
            rows = sorted((one.place, other.place))
            pairs.setdefault((rows[0], rows[1]), []).append(f"{cleaned(one.name)} and {cleaned(other.name)}")
    for (place, _), found in pairs.items():
        more = f" (and {len(found) - 1} more pairs of the same rows)" if len(found) > 1 else ""
        yield place, f"{found[0]} overlap{more}", "things that lie apart", ""


def _named(names: Sequence[str]) -> str:
    more = [f"{len(names) - _MOST_NAMED} more"] if len(names) > _MOST_NAMED else []
    shown = [*map(cleaned, names[:_MOST_NAMED]), *more]
    return listed(shown)


def _extent(row: SlotRow) -> float:
    """The size of a slot in the direction of its row."""
    across = (row.lie == "front-rear") is (row.towards in ("left", "right"))
    return row.width_mm if across else row.length_mm


def _size(box: Box) -> str:
    return f"{box.width_mm:g} x {box.depth_mm:g} mm"


def _inside(box: Box, whole: Box) -> bool:
    return (
        box.x_mm >= -_TOUCH_MM
        and box.y_mm >= -_TOUCH_MM
        and box.x_mm + box.width_mm <= whole.width_mm + _TOUCH_MM
        and box.y_mm + box.depth_mm <= whole.depth_mm + _TOUCH_MM
    )


def _overlapping(things: list[_Thing]) -> Iterator[tuple[_Thing, _Thing]]:
    """Pairs whose boxes share more than an edge; sweeps from left to right."""
    ordered = sorted(things, key=lambda thing: thing.box.x_mm)
    for index, one in enumerate(ordered):
        box = one.box
        for other in ordered[index + 1 :]:
            if other.box.x_mm >= box.x_mm + box.width_mm - _TOUCH_MM:
                break
            lower, upper = sorted((box, other.box), key=lambda b: b.y_mm)
            if upper.y_mm < lower.y_mm + lower.depth_mm - _TOUCH_MM:
                yield one, other
