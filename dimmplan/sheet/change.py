"""What a change sheet has to tell: the same map, with what stays, what is taken out, and what goes where.

Everything that leaves a slot comes before anything that goes into one, and each act has its number.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cached_property
from itertools import groupby

from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.move import Change, Move
from dimmplan.model.placement import Placement
from dimmplan.sheet.facts import Facts, SlotFact, State, TypeFact, clean, gather, socket_words
from dimmplan.wording.placement import label_short


@dataclass(frozen=True, kw_only=True)
class ChangeFacts(Facts):
    """Facts of a placement that a machine is changed to."""

    change: Change

    @cached_property
    def outs(self) -> dict[str, Move]:
        """Slots that are emptied first, in board order."""
        return {step.slot: step.move for step in self.change.steps if step.act == "out"}

    @cached_property
    def ins(self) -> dict[str, Move]:
        """Slots that something goes into, in the order of doing it."""
        return {step.slot: step.move for step in self.change.steps if step.act == "in"}

    @cached_property
    def out_steps(self) -> dict[str, int]:
        """Number of each taking out."""
        return {step.slot: step.number for step in self.change.steps if step.act == "out"}

    @cached_property
    def in_steps(self) -> dict[str, int]:
        """Number of each putting in; counted on from the takings out."""
        return {step.slot: step.number for step in self.change.steps if step.act == "in"}

    @property
    def worked_on(self) -> frozenset[str]:
        """Slots that something goes into or comes out of."""
        return frozenset((*self.outs, *self.ins))

    @property
    def doing(self) -> str:
        """What the steps are steps of."""
        return "Change"

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
        number = self.in_steps[slot]
        words, short = fact.words, ""
        if into.source:
            words, short = f"{words} from {clean(into.source, most=80)}", f"←{self.out_steps[into.source]}"
        if out and out.target:
            words = f"old to {clean(out.target, most=80)}, {words}"
            short = f"→{self.in_steps[out.target]} {short}".strip()
        hover = f"{fact.hover}. Step {number}: {_act(into)}"
        if out is not None:
            hover += f"; before that, step {self.out_steps[slot]}: {_act(out)}"
        return fact._replace(step=number, out=self.out_steps.get(slot, 0), words=words, short=short, hover=clean(hover))

    def _emptied(self, fact: SlotFact, out: Move) -> SlotFact:
        number = self.out_steps[fact.slot]
        if out.target is None:
            words, short = f"OUT {clean(label_short(out.module))}", "OUT"
        else:
            words, short = f"OUT to {clean(out.target, most=80)}", f"OUT→{self.in_steps[out.target]}"
        hover = clean(f"{fact.slot}: step {number}, {_act(out)}")
        return fact._replace(state=State.PULL, step=number, words=words, short=short, hover=hover)

    @cached_property
    def steps(self) -> tuple[tuple[str, tuple[SlotFact, ...]], ...]:
        """The change in batches: what comes out, then what goes in, socket by socket."""
        found = []
        for socket, slots in groupby(self.outs, key=lambda slot: self.board.channel_of[slot].socket):
            outs = tuple(self.slots[slot]._replace(step=self.out_steps[slot], key="") for slot in slots)
            found.append((f"out: {socket_words(socket)}", outs))
        for (socket, which), slots in groupby(self.ins, key=self._batch):
            said = socket_words(socket) if which == "its slots" else f"{socket_words(socket)}, {which}"
            found.append((f"in: {said}", tuple(self.slots[slot] for slot in slots)))
        return tuple(found)

    @cached_property
    def picked(self) -> tuple[TypeFact, ...]:
        """What to fetch from the shelf."""
        fetched = [slot for slot, move in self.ins.items() if move.kind == "insert"]
        found = []
        for kind in self.types:
            held = [slot for slot in fetched if self.slots[slot].key == kind.key]
            if held:
                found.append(replace(kind, count=len(held), slots=self.slots_in_words(held)))
        return tuple(found)

    @cached_property
    def left_over(self) -> tuple[tuple[str, int], ...]:
        """Labels and numbers of modules that the change leaves over."""
        return tuple((clean(left.module.label), left.count) for left in self.change.stranded)

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
