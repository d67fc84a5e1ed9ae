"""Alternatives to a placement, weighed by the rules and by the list of criteria that chose it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

from dimmplan.errors import Cause, ImpossibleError, RefusedError
from dimmplan.figures import PlacementFigures, figures_if_any
from dimmplan.model.board import Board, Channel, Socket
from dimmplan.model.module import Module
from dimmplan.model.placement import Placement, board_of
from dimmplan.model.request import USUAL_OVER, Request, Supply
from dimmplan.model.rows import ProcessorOption
from dimmplan.rules import Breach, Content, judge
from dimmplan.solve.answer import Answer
from dimmplan.solve.criteria import Criterion, Value, board_order_of, criteria_of, measured_vector, ranked
from dimmplan.solve.space import Space
from dimmplan.units import Gib

SeparatedBy = Literal["rule", "below", "above", "criterion", "board-order", "same"]


@dataclass(frozen=True, kw_only=True)
class Alternative:
    """One content of the slots. ``vector`` and ``figures`` are ``None`` where an error row breaks."""

    content: dict[str, Module | None]
    breaches: tuple[Breach, ...]
    figures: PlacementFigures | None
    vector: tuple[Value, ...] | None

    @property
    def errors(self) -> tuple[Breach, ...]:
        """The broken error rows."""
        return errors_of(self.breaches)


def errors_of(breaches: Iterable[Breach]) -> tuple[Breach, ...]:
    """The broken error rows of some rows."""
    return tuple(breach for breach in breaches if breach.severity == "error")


@dataclass(frozen=True, kw_only=True, slots=True)
class Separation:
    """The first rule or criterion that separates an alternative from the plan, and both values.

    ``rule``: error rows break, ``breaches`` has them all. ``below`` and ``above``: usable GiB under the request, or
    over all that counts as an answer to it. ``criterion``: the first of the list that differs; for
    ``advised_broken``, ``breaches`` has the advised rows. ``board-order``: all criteria are equal. ``same``: it is
    the plan.
    """

    by: SeparatedBy
    name: str
    plan: Value | None = None
    alternative: Value | None = None
    better: Literal["high", "low"] | None = None
    breaches: tuple[Breach, ...] = ()
    first: Literal["plan", "alternative"] = "plan"


class Case:
    """A placement with all that alternatives to it are weighed by; contents weighed are remembered.

    The request is made from the placement: capacity asked, its types (and ``extra`` ones), sockets, processor, mode
    and list. Stock, prices and an allowance above the request are not carried by a placement: what the plan itself
    is above the request counts as allowed. ``figures`` are there for a plan that breaks a rule too, where it can run.
    """

    def __init__(self, board: Board, placement: Placement, *, extra: Iterable[Module] = ()) -> None:
        self.placement = placement
        self.option = board.processor(placement.processor)
        self.board = board = board_of(board, placement)
        self.content: dict[str, Module | None] = dict(placement.slots)
        self.criteria: tuple[Criterion, ...] = criteria_of(placement.prefer, priced=False)
        types = dict.fromkeys((*placement.types, *extra))
        self.figures = self.figures_of(self.content)
        self.usable_gib: Gib = self.figures.usable_gib if self.figures else 0
        self.request = Request(
            capacity_gib=placement.capacity_gib,
            supplies=tuple(Supply(module=module) for module in types),
            fitted=placement.fitted,
            processor=placement.processor,
            mode=placement.mode,
            prefer=placement.prefer,
            over_gib=max(0, math.ceil(self.usable_gib) - placement.capacity_gib),
            max_types=max(1, len(types)),
        )
        self.space = Space(board, self.request)
        self._weighed: dict[tuple[Module | None, ...], Alternative] = {}
        self.plan = self.weigh(self.content)

    @property
    def floor_gib(self) -> Gib:
        """Usable capacity under which an alternative does not answer the request as the plan does."""
        return min(self.request.capacity_gib, self.usable_gib)

    @property
    def limit_gib(self) -> Gib:
        """Usable capacity above which nothing counts as an answer to the request."""
        asked = self.request.capacity_gib
        return max(asked + int(asked * USUAL_OVER), self.usable_gib)

    def require_sound(self) -> None:
        """Raise ``RefusedError`` where the plan itself breaks an error row: nothing can be measured against it."""
        if not any(self.content.values()):
            raise RefusedError([Cause(rule="modules", text="The plan holds no module.")])
        if self.plan.errors:
            raise RefusedError(
                Cause(
                    rule=breach.rule,
                    text=f"The plan breaks a rule: {breach.found} at {', '.join(breach.where)}; "
                    f"allowed: {breach.allowed}.",
                    source=breach.source,
                )
                for breach in self.plan.errors
            )

    def judge_content(
        self,
        content: Content,
        *,
        option: ProcessorOption | None = None,
        fitted: tuple[str, ...] = (),
        beside: tuple[str, ...] = (),
    ) -> tuple[Breach, ...]:
        """Every row that a content breaks in the plan's mode, on its sockets with its processor, or on others.

        ``beside`` are fitted sockets whose content is left open.
        """
        sockets = fitted or self.placement.fitted
        return judge(self.board, option or self.option, sockets, content, mode=self.placement.mode, beside=beside)

    def figures_of(
        self, content: Content, *, option: ProcessorOption | None = None, fitted: tuple[str, ...] = ()
    ) -> PlacementFigures | None:
        """The figures of a content in the plan's mode; ``None`` where it cannot run at all."""
        sockets, mode = fitted or self.placement.fitted, self.placement.mode
        return figures_if_any(self.board, option or self.option, sockets, content, mode=mode)

    def weigh(self, content: Mapping[str, Module | None]) -> Alternative:
        """Judge and measure a content."""
        key = tuple(content.get(slot) for slot in self.board.slots)
        if key not in self._weighed:
            self._weighed[key] = self._weigh(dict(zip(self.board.slots, key, strict=True)))
        return self._weighed[key]

    def _weigh(self, content: dict[str, Module | None]) -> Alternative:
        breaches = self.judge_content(content)
        if any(breach.severity == "error" for breach in breaches):
            return Alternative(content=content, breaches=breaches, figures=None, vector=None)
        figures = self.figures_of(content)
        vector = measured_vector(self.space, self.criteria, content, breaches, figures) if figures else None
        return Alternative(content=content, breaches=breaches, figures=figures, vector=vector)

    def changed(self, changes: Mapping[str, Module | None]) -> Alternative:
        """The plan with some slots changed, weighed."""
        return self.weigh({**self.content, **changes})

    def part(self, other: Alternative) -> Separation:
        """What separates an alternative from the plan first. The plan must be sound."""
        if other.errors:
            return Separation(by="rule", name=other.errors[0].rule, breaches=other.errors)
        figures = None if other.vector is None or self.plan.vector is None else other.figures
        usable = 0 if figures is None else figures.usable_gib
        if figures is None or usable < self.floor_gib:
            return Separation(by="below", name="capacity", plan=self.usable_gib, alternative=usable, better="high")
        if usable > self.limit_gib:
            return Separation(by="above", name="capacity", plan=self.usable_gib, alternative=usable, better="low")
        return self._part_by_criteria(other)

    def _part_by_criteria(self, other: Alternative) -> Separation:
        for criterion, here, there in zip(self.criteria, self.plan.vector or (), other.vector or (), strict=True):
            if here != there:
                wins = there > here if criterion.better == "high" else there < here
                return Separation(
                    by="criterion",
                    name=criterion.name,
                    plan=here,
                    alternative=there,
                    better=criterion.better,
                    breaches=other.breaches if criterion.name == "advised_broken" else (),
                    first="alternative" if wins else "plan",
                )
        here_text, there_text = board_order_of(self.space, self.content), board_order_of(self.space, other.content)
        if here_text == there_text:
            return Separation(by="same", name="same")
        return Separation(
            by="board-order", name="board_order", first="alternative" if there_text > here_text else "plan"
        )

    def closeness(self, other: Alternative) -> tuple[int, tuple[Value, ...]]:
        """Smaller is nearer to being an answer: by the list, then under the request, then above it, then refused."""
        if other.vector is None or other.figures is None:
            return 3, (len({breach.rule for breach in other.errors}), len(other.errors))
        usable = other.figures.usable_gib
        if usable < self.floor_gib:
            return 1, (-usable, *ranked(self.criteria, other.vector))
        if usable > self.limit_gib:
            return 2, (usable, *ranked(self.criteria, other.vector))
        return 0, ranked(self.criteria, other.vector)

    # -- slots -----------------------------------------------------------------------------------------------------

    def held(self, slots: Iterable[str]) -> list[Module]:
        """The modules in some slots, in their order."""
        return [module for slot in slots if (module := self.content.get(slot))]

    def sockets(self) -> list[Socket]:
        """The fitted sockets in board order."""
        return self.space.wired

    def first_empty(self) -> list[str]:
        """For each channel of the fitted sockets its first empty slot, where it has one that may be touched."""
        found = (next((s for s in each.slots if not self.content.get(s)), None) for each in self._channels())
        return [slot for slot in found if slot is not None and slot not in self.placement.hold]

    def last_filled(self) -> list[str]:
        """For each channel of the fitted sockets its last filled slot."""
        found = (next((s for s in reversed(each.slots) if self.content.get(s)), None) for each in self._channels())
        return [slot for slot in found if slot is not None]

    def _channels(self) -> Iterator[Channel]:
        return (channel for socket in self.sockets() for channel in socket.channels)

    def look(self, slot: str, beside: str | None = None) -> tuple[object, ...]:
        """What distinguishes a slot for the figures; slots of one look, seen from ``beside``, are interchangeable."""
        channel = self.board.channel_of[slot]
        near: tuple[object, ...] = ()
        if beside is not None:
            other = self.board.channel_of[beside]
            same_socket = other.socket == channel.socket
            near = (same_socket, same_socket and other.controller == channel.controller, other == channel)
        return (*self._looks[channel.name], channel.slots.index(slot), near)

    @cached_property
    def _looks(self) -> dict[str, tuple[object, ...]]:
        """How each channel's socket, its controller and the channel itself look to the figures."""
        if self.space.shapes.partner:  # in lockstep a channel counts with its other one: none stands for another
            return {channel.name: (channel.name,) for channel in self._channels()}
        found: dict[str, tuple[object, ...]] = {}
        for shape, socket in zip(self.space.shapes.each, self.sockets(), strict=True):
            ordered = self.space.shapes.tell_slots_apart(socket.id)
            controllers = []
            for controller, shapes in zip(socket.controllers, shape.controllers, strict=True):
                channels = [
                    (its.slots, its.membership, tuple(map(self._held, channel.slots)), channel.name if ordered else "")
                    for channel, its in zip(controller.channels, shapes, strict=True)
                ]
                controllers.append((controller, channels, tuple(sorted(channels))))
            look = shape.rules, tuple(sorted(str(its) for _, _, its in controllers))
            for controller, channels, its in controllers:
                for channel, own in zip(controller.channels, channels, strict=True):
                    found[channel.name] = (look, its, own)
        return found

    def _held(self, slot: str) -> str:
        module = self.content.get(slot)
        return module.label if module else "hold" if slot in self.placement.hold else ""


def solved_below(solve: Callable[[Request], Answer], request: Request) -> Answer:
    """The answer to a request, or to the nearest capacity below it that has one. Raises ``ImpossibleError``."""
    while True:
        try:
            return solve(request)
        except ImpossibleError as error:
            below = math.floor(error.below_gib or 0)
            if not 0 < below < request.capacity_gib:
                raise
            request = replace(request, capacity_gib=below)
