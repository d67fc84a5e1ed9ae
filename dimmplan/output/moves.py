"""A change of a machine, from what is in it to a plan: as JSON of format 1 and as text for a terminal."""

from __future__ import annotations

from collections.abc import Iterator

from pydantic import Field

from dimmplan.model.move import Change
from dimmplan.output.record import Label, OfPlan, Record
from dimmplan.output.text import indented, wrapped
from dimmplan.wording.machine import blocked_text, moves_summary, step_text


class MoveEntry(Record):
    """What is done with one module."""

    kind: str = Field(description="`keep`, `pull`, `move` or `insert`")
    label: Label = Field(validation_alias="module", description="the module")
    source: str | None = Field(serialization_alias="from", description="the slot that it leaves, null for `insert`")
    target: str | None = Field(serialization_alias="to", description="the slot that it goes to, null for `pull`")


class ActEntry(Record):
    """One act with a module."""

    step: int = Field(validation_alias="number", description="its number, as on the change sheet")
    act: str = Field(description="`out` of a slot or `in`; a module that moves does both")
    slot: str = Field(description="the slot")


class StrandedEntry(Record):
    """Modules that a change leaves over."""

    label: Label = Field(validation_alias="module", description="a type left over")
    count: int = Field(description="how many of it")
    fits: list[str] = Field(description="slots of this board that would still take one")


class MovesDocument(OfPlan):
    """A change."""

    commands = "moves"
    about = "From what is in a machine to a plan; exit status 1 where a slot that must change may not be touched."

    moves: list[MoveEntry] = Field(description="what becomes of each module")
    steps: list[ActEntry] = Field(description="the acts in order")
    handled: int = Field(description="modules handled at all")
    stranded: list[StrandedEntry] = Field(description="what is left over")
    blocked: list[str] = Field(description="slots that must change, but may not be touched")


def moves_record(change: Change) -> MovesDocument:
    """A change as JSON: moves, the steps of doing them, what is left over, what stands in the way."""
    return MovesDocument.of(change, handled=len(change.handled))


def moves_text(change: Change) -> str:
    """A change for a terminal, ending with what to see to before power-on, unless it cannot be done."""
    lines = [moves_summary(change.moves)]
    if change.blocked:
        lines += wrapped(f"Not possible: {blocked_text(change.blocked)}")
    lines += step_lines(change, first="  ")
    for left in change.stranded:
        fits = f"; also fits in {', '.join(left.fits)}" if left.fits else "; no slot of this board takes it"
        lines += indented(f"left over: {left.count} x {left.module.label}{fits}")
    if not change.blocked:
        lines += ["", "Before power-on"]
        lines += [f"  [ ] {step}" for step in _BEFORE_POWER_ON]
    return "\n".join(lines) + "\n"


def step_lines(change: Change, *, first: str) -> Iterator[str]:
    """The steps of a change, numbered as on its sheet."""
    for step in change.steps:
        yield from wrapped(f"{step.number}. {step_text(step)}", first=first, rest=first + "   ")


_BEFORE_POWER_ON = (
    "blanks where the board asks for them",
    "slots match the map, latches closed",
    "baffle and lid on, nothing left inside",
    "the machine's service manual comes before this list",
)
