"""The pick list of a plan from a shelf, for whoever fetches the modules: what really lies there, row by row."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass

from dimmplan.output.compare_record import inert
from dimmplan.planner import Planned
from dimmplan.stock import Shelf
from dimmplan.supply import takes_of

PICK_HEAD = "key,count,label,serves_as,place,note"
"""What a pick list begins with."""


@dataclass(frozen=True, slots=True)
class Pick:
    """Modules to fetch from one row of a shelf, and the label that they stand for on the sheet."""

    count: int
    label: str
    serves_as: str
    place: str
    note: str = ""


def picks_of(planned: Planned, shelf: Shelf) -> list[Pick]:
    """What a placement takes from a shelf, row by row."""
    takes = takes_of(planned.board, shelf, planned.placement)
    return [Pick(t.count, t.lot.label, t.serves_as.label, t.lot.place, t.lot.note) for t in takes]


def pick_csv(planned: Planned, picks: Iterable[Pick]) -> str:
    """A pick list as CSV: the label on each module and its place, under the keys of the sheet; no cell runs."""
    keys = {module.label: key for module, key in planned.placement.keys.items()}
    output = io.StringIO()
    rows = csv.writer(output, lineterminator="\n")
    rows.writerow(PICK_HEAD.split(","))
    for pick in picks:
        cells = (keys[pick.serves_as], pick.count, pick.label, pick.serves_as, pick.place, pick.note)
        rows.writerow([inert(cell) for cell in cells])
    return output.getvalue()
