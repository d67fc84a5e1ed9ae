"""What a worker does for ``plan --machines``: it solves requests and draws machines. It reads and writes no file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any, NamedTuple

from dimmplan.cli.draw import sheet_files
from dimmplan.errors import Cause, ImpossibleError
from dimmplan.fleet.options import Option
from dimmplan.fleet.share import planned_share
from dimmplan.model.board import Board
from dimmplan.model.placement import Placement
from dimmplan.model.request import Request
from dimmplan.output.fleet import planned_row
from dimmplan.output.plan import plan_record
from dimmplan.output.record import to_json
from dimmplan.planner import plan

Files = dict[str, bytes]


class MachinePlan(NamedTuple):
    """A solved request as bytes and records: ``row`` is its summary without what belongs to one machine."""

    placement: Placement
    plan_json: bytes
    row: dict[str, Any]


class MachineFailure(NamedTuple):
    """Why a request has no plan."""

    causes: tuple[Cause, ...]
    below_gib: Fraction | int | None
    above_gib: Fraction | int | None

    def error(self) -> ImpossibleError:
        """As it was raised."""
        return ImpossibleError(self.causes, below_gib=self.below_gib, above_gib=self.above_gib)


def solve(board: Board, request: Request, option: Option | None) -> MachinePlan | MachineFailure:
    """Solve a request, or plan the share of a shelf that it got."""
    try:
        planned = plan(board, request) if option is None else planned_share(board, request, option)
    except ImpossibleError as error:
        return MachineFailure(error.causes, error.below_gib, error.above_gib)
    content = to_json(plan_record(planned)).encode("ascii")
    return MachinePlan(planned.placement, content, planned_row(planned))


def draw(board: Board, placement: Placement, sheets: Sequence[Mapping[str, Any]]) -> list[Files]:
    """The sheets of machines with one placement, each with its own words for the title block."""
    drawn = (sheet_files(board, placement, Path("map.svg"), quiet=True, **sheet) for sheet in sheets)
    return [{path.name: content for path, content in files.items()} for files in drawn]
