"""The pick list of a plan from a shelf, for whoever fetches the modules: what really lies there, row by row."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from dimmplan.model.placement import Placement
from dimmplan.output.columns import Column, csv_text
from dimmplan.planner import Planned
from dimmplan.stock import Shelf
from dimmplan.supply import takes_of


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


COLUMNS = (
    Column[tuple[str, Pick]](key="key", value=lambda row: row[0]),
    *(
        Column[tuple[str, Pick]](key=name, value=lambda row, name=name: getattr(row[1], name))  # type: ignore[misc]
        for name in ("count", "label", "serves_as", "place", "note")
    ),
)


def pick_csv(placement: Placement, picks: Iterable[Pick]) -> str:
    """A pick list as CSV: the label on each module and its place, under the keys of the sheet; no cell runs."""
    keys = {module.label: key for module, key in placement.keys.items()}
    return csv_text(COLUMNS, ((keys[pick.serves_as], pick) for pick in picks))
