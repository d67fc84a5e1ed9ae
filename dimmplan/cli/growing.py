"""What ``plan`` does with ``--keep`` and ``--then``: reads the machine and the later steps, answers, and words it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from dimmplan.cli.machine import Machine
from dimmplan.cli.waiting import waiting
from dimmplan.errors import InputError, Problem
from dimmplan.growth.grow import grow
from dimmplan.growth.keep import KeptModules
from dimmplan.growth.pinned import NOTHING, Next, Start, next_by_adding, plan_from
from dimmplan.growth.upgrade import upgrade_of
from dimmplan.model.board import Board
from dimmplan.model.placement import Placement
from dimmplan.model.request import Request
from dimmplan.output.growth import (
    BeforeEntry,
    growth_record,
    growth_text,
    kept_record,
    kept_text,
    mode_record,
    mode_text,
    next_record,
    next_text,
    upgrade_findings,
)
from dimmplan.planner import Planned, read_over, without_mode
from dimmplan.stock import Shelf
from dimmplan.units import format_capacity, parse_capacity

MOST_STEPS = 6
"""Steps of one chain: the space of chains grows with a power of them."""


@dataclass(frozen=True, kw_only=True)
class GrowthOptions:
    """The options of ``plan`` that are about growth and about what is in the machine already."""

    keep: str | None = None
    in_place: bool = False
    data_saved: Sequence[str] = ()
    slots: Path | None = None
    rest_empty: bool = False
    then: Sequence[str] = ()
    may_move: bool = False
    over: str | None = None

    def check(self) -> None:
        """Raise ``InputError`` for options that mean nothing without another one."""
        alone = [
            ("--keep-in-place", self.in_place, self.keep, "--keep INVENTORY"),
            ("--data-saved", self.data_saved, self.keep, "--keep INVENTORY"),
            ("--slots", self.slots, self.keep, "--keep INVENTORY"),
            ("--rest-empty", self.rest_empty, self.keep, "--keep INVENTORY"),
            ("--then-may-move", self.may_move, self.then, "--then C"),
        ]
        problems = [
            Problem(file=name, place="", found=f"no {needs}", allowed=f"together with {needs}")
            for name, given, other, needs in alone
            if given and not other
        ]
        if len(self.then) >= MOST_STEPS:
            found = f"{len(self.then)} later steps"
            problems.append(Problem(file="--then", place="", found=found, allowed=f"at most {MOST_STEPS - 1}"))
        if problems:
            raise InputError(problems)


@dataclass(frozen=True, kw_only=True)
class GrowthAnswer:
    """The answer with what stands beside it: more keys of its JSON, more text, and the plans of later steps."""

    planned: Planned
    record: dict[str, Any] = field(default_factory=dict)
    text: str = ""
    later: tuple[Planned, ...] = ()
    stopped: bool = False
    """True where Ctrl-C ended the search: the best found so far."""

    @property
    def placements(self) -> list[Placement]:
        """The placements of the steps, the first one's first."""
        return [self.planned.placement, *(step.placement for step in self.later)]


def answer(
    board: Board, request: Request, wishes: GrowthOptions, *, shelf: Shelf | None, modules: Sequence[str]
) -> GrowthAnswer:
    """Answer ``plan``: alone, from what is in a machine, or as the first step of a chain.

    Raises ``InputError`` and ``ImpossibleError``.
    """

    wishes.check()
    kept = _read_kept(board, request, wishes) if wishes.keep is not None else None
    start = NOTHING
    if kept is not None:
        request = replace(request, supplies=kept.supplies)
        start = kept.start(request.fitted, in_place=wishes.in_place)
    if wishes.then:
        return _with_kept(_chain(board, request, wishes, start), kept, start)
    return _with_kept(_alone(board, request, start, shelf=shelf, modules=modules), kept, start)


def _alone(
    board: Board, request: Request, start: Start, *, shelf: Shelf | None, modules: Sequence[str]
) -> GrowthAnswer:
    with waiting() as wait:
        planned = plan_from(board, request, start, shelf=shelf, modules=modules)
        nexts = wait.unless_stopped(lambda: next_by_adding(planned), tuple[Next, ...]())
        free = None if start.pins else wait.unless_stopped(lambda: without_mode(planned), None)
    record: dict[str, Any] = {"next_by_adding": next_record(nexts)}
    text = next_text(nexts)
    if free is not None:
        record["mode_price"] = mode_record(planned, free)
        text = f"{mode_text(planned, free)}\n{text}"
    return GrowthAnswer(planned=planned, record=record, text=text, stopped=wait.stopping)


def _chain(board: Board, request: Request, wishes: GrowthOptions, start: Start) -> GrowthAnswer:
    growth = grow(board, _requests(request, wishes), may_move=wishes.may_move, start=start)
    nexts = next_by_adding(growth.steps[-1])
    return GrowthAnswer(
        planned=growth.steps[0],
        record={"growth": growth_record(growth), "next_by_adding": next_record(nexts)},
        text=f"{growth_text(growth)}\n{next_text(nexts)}",
        later=growth.steps[1:],
    )


def _requests(request: Request, wishes: GrowthOptions) -> list[Request]:
    """The request of each step. Raises ``InputError`` where capacities do not rise."""

    found, problems = [request], list[Problem]()
    for text in wishes.then:
        try:
            gib = parse_capacity(text, file="--then")
        except InputError as error:
            problems += error.problems
            continue
        before = found[-1].capacity_gib
        if gib <= before:
            allowed = f"more than the step before, {format_capacity(before)}"
            problems.append(Problem(file="--then", place="", found=format_capacity(gib), allowed=allowed))
        over = None if wishes.over is None else read_over(wishes.over, gib)
        found.append(replace(request, capacity_gib=gib, over_gib=over))
    if problems:
        raise InputError(problems)
    return found


def _read_kept(board: Board, request: Request, wishes: GrowthOptions) -> KeptModules:
    from dimmplan.growth.keep import keep

    machine = Machine(
        inventory=str(wishes.keep), slots=wishes.slots, data_saved=wishes.data_saved, rest_empty=wishes.rest_empty
    )
    found, matching = machine.matched(board)
    return keep(board, found, matching, data_saved=wishes.data_saved, supplies=request.supplies)


def _with_kept(grown: GrowthAnswer, kept: KeptModules | None, start: Start) -> GrowthAnswer:
    if kept is None:
        return grown

    planned = grown.planned
    upgrade = upgrade_of(planned, kept.now(planned.request.fitted), start)
    before = None if upgrade.before is None else BeforeEntry.of(upgrade.before)
    return replace(
        grown,
        planned=replace(planned, remarks=upgrade_findings(upgrade)),
        record={"before": before, "kept": kept_record(kept, planned), **grown.record},
        text=f"{kept_text(kept, planned, upgrade)}\n{grown.text}",
    )
