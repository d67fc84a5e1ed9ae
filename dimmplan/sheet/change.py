"""What a change sheet has to tell: the same map, with what stays, what is taken out, and what goes where.

Everything that leaves a slot comes before anything that goes into one, and each act has its number.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cached_property
from itertools import groupby
from typing import ClassVar

from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.placement import Change, Move, Placement, Step
from dimmplan.sheet.facts import Facts, LeftFact, SlotFact, State, TypeFact, clean, gather, socket_words
from dimmplan.wording.placement import label_short


@dataclass(frozen=True, kw_only=True)
class ChangeFacts(Facts):
    """Facts of a placement that a machine is changed to."""

    doing: ClassVar[str] = "Change"
    change: Change

    @cached_property
    def outs(self) -> dict[str, Step]:
        """Slots that are emptied first, in board order."""
        return {step.slot: step for step in self.change.steps if step.act == "out"}

    @cached_property
    def ins(self) -> dict[str, Step]:
        """Slots that something goes into, in the order of doing it; counted on from the takings out."""
        return {step.slot: step for step in self.change.steps if step.act == "in"}

    @property
    def worked_on(self) -> frozenset[str]:
        """Slots that something goes into or comes out of."""
        return frozenset((*self.outs, *self.ins))

    def _slot(self, slot: str, module: Module | None, step: int) -> SlotFact:
        fact = super()._slot(slot, module, step)
        if fact.state is State.HOLD:
            return fact
        out, into = self.outs.get(slot), self.ins.get(slot)
        if out is not None and into is None:
            return self._emptied(fact, out)
        if fact.state is not State.FILLED:
            return fact
        if into is None:
            return fact._replace(step=0, kept=True, hover=f"{fact.hover}. Stays")
        words, hover = fact.words, f"{fact.hover}. Step {into.number}: {_act(into.move)}"
        number = goes_to = came_at = 0
        if source := into.move.source:
            words, came_at = f"{words} from {clean(source, most=80)}", self.outs[source].number
        if out is not None:
            number, hover = out.number, f"{hover}; before that, step {out.number}: {_act(out.move)}"
            if target := out.move.target:
                words, goes_to = f"old to {clean(target, most=80)}, {words}", self.ins[target].number
        arrows = [f"→{goes_to}"] * bool(goes_to) + [f"←{came_at}"] * bool(came_at)
        return fact._replace(
            step=into.number,
            out=number,
            words=words,
            short=" ".join(arrows),
            hover=clean(hover),
            goes_to=goes_to,
            came_at=came_at,
        )

    def _emptied(self, fact: SlotFact, out: Step) -> SlotFact:
        words, short, goes_to = f"OUT {clean(label_short(out.move.module))}", "OUT", 0
        if target := out.move.target:
            goes_to = self.ins[target].number
            words, short = f"OUT to {clean(target, most=80)}", f"OUT→{goes_to}"
        hover = clean(f"{fact.slot}: step {out.number}, {_act(out.move)}")
        return fact._replace(state=State.PULL, step=out.number, words=words, short=short, hover=hover, goes_to=goes_to)

    @cached_property
    def steps(self) -> tuple[tuple[str, tuple[SlotFact, ...]], ...]:
        """The change in batches: what comes out, then what goes in, socket by socket; each slot has its number."""
        found = []
        by_socket = groupby(self.change.steps, key=lambda step: (step.act, self.board.channel_of[step.slot].socket))
        for (act, socket), steps in by_socket:
            facts = tuple(self.slots[step.slot]._replace(step=step.number) for step in steps)
            found.append((f"{act}: {socket_words(socket)}", facts))
        return tuple(found)

    @cached_property
    def picked(self) -> tuple[TypeFact, ...]:
        """What to fetch from the shelf."""
        fetched = [slot for slot, step in self.ins.items() if step.move.kind == "insert"]
        found = []
        for kind in self.types:
            held = [slot for slot in fetched if self.slots[slot].key == kind.key]
            if held:
                found.append(replace(kind, count=len(held), slots=self.slots_in_words(held)))
        return tuple(found)

    @cached_property
    def left_over(self) -> tuple[LeftFact, ...]:
        """The modules that the change leaves over."""
        return tuple(
            LeftFact(
                module=left.module,
                count=left.count,
                steps=tuple(
                    step.number
                    for step in self.outs.values()
                    if step.move.target is None and step.move.module == left.module
                ),
            )
            for left in self.change.stranded
        )

    @property
    def band(self) -> str:
        """That this sheet is a change, and its counts."""
        stays = sum(move.kind == "keep" for move in self.change.moves)
        return f"CHANGE: {len(self.outs)} out, then {len(self.ins)} in; {stays} stay"


def _act(move: Move) -> str:
    """One act in words."""
    if move.kind == "pull":
        return f"take out {move.module.label}"
    if move.kind == "move":
        return f"move {move.module.label} from {move.source} to {move.target}"
    return f"insert {move.module.label}"


def facts_of(board: Board, placement: Placement, change: Change | None) -> Facts:
    """Everything that follows from a placement, and from the change to it where there is one.

    Raises ``ValueError`` for another board's placement.
    """
    facts = gather(board, placement)
    if change is None:
        return facts
    return ChangeFacts(**{each.name: getattr(facts, each.name) for each in fields(facts)}, change=change)
