"""What a machine brings to a plan and how to get from one to the other, in words and in JSON."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from pydantic import Field

from dimmplan.growth.keep import Kept, change_to
from dimmplan.growth.upgrade import Speed, Upgrade
from dimmplan.model.finding import Finding
from dimmplan.model.move import Change
from dimmplan.output.machine import step_lines
from dimmplan.output.machine_record import MovesDocument, moves_record
from dimmplan.output.text import wrapped
from dimmplan.output.values import Count, GbS, Record, Slots
from dimmplan.planner import Planned
from dimmplan.units import format_capacity, listed
from dimmplan.wording.machine import device_text, moves_summary
from dimmplan.wording.placement import gb_s
from dimmplan.wording.request import choice_phrase


class BeforeEntry(Record):
    """How fast a machine is before its upgrade."""

    rate_mts: int = Field(description="MT/s")
    balanced_sweep_gb_s: GbS = Field(validation_alias="balanced_gb_s", description="GB/s")
    worst_sweep_gb_s: GbS = Field(validation_alias="worst_gb_s", description="of the slowest socket")
    worst_socket: str = Field(description="that socket")


def upgrade_findings(upgrade: Upgrade) -> tuple[Finding, ...]:
    """A warning where the machine would get slower than it is, with the cheapest option that does not make it so."""
    if upgrade.before is None or not upgrade.slower:
        return ()
    text = f"The machine gets slower: {_speed(upgrade.before)} now, {_speed(upgrade.after)} after."
    choice, speed = upgrade.no_slower, upgrade.no_slower_speed
    if choice is None or speed is None:
        text += " Nothing within the capacity that was asked for is as fast as it is now."
    else:
        capacity = format_capacity(choice.usable_gib)
        text += f" The cheapest that is no slower: {choice_phrase(choice)}, {capacity}, {_speed(speed)}."
    where = (upgrade.after.worst_socket,)
    return (Finding(rule="slower-than-now", severity="warning", where=where, text=text, source="MODEL"),)


def _speed(speed: Speed) -> str:
    worst = f"worst socket {speed.worst_socket} {gb_s(speed.worst_gb_s)}"
    return f"{gb_s(speed.balanced_gb_s)} at {speed.rate_mts} MT/s ({worst})"


class ReleasedEntry(Record):
    """A slot on hold whose data is saved."""

    slot: str = Field(description="a slot on hold whose data is saved")
    found: str = Field(description="what lies there, in words")


class KeptEntry(Record):
    """What a machine brings to a plan."""

    date: str | None = Field(description="of the inventory")
    slots: Slots = Field(description="what lies there, as far as it is kept")
    hold: list[str] = Field(description="slots not to be touched")
    unlisted: list[str] = Field(description="those of them that the inventory does not list")
    released: list[ReleasedEntry] = Field(description="slots whose data is saved")
    questions: list[str] = Field(description="what to ask at the machine")
    discarded: int = Field(description="modules left over")
    bought: list[Count] = Field(description="what to buy")
    change: MovesDocument = Field(description="how to get there")


def kept_record(kept: Kept, planned: Planned) -> KeptEntry:
    """What a machine brings to a plan, and how to get there, as JSON."""
    change = change_to(kept, planned)
    bought = Counter(move.module.label for move in change.moves if move.kind == "insert")
    return KeptEntry(
        date=kept.date,
        slots=kept.content,
        hold=list(kept.hold),
        unlisted=list(kept.unlisted),
        released=[
            ReleasedEntry(slot=each.slot, found=device_text(each.found) if each.found else "not listed")
            for each in kept.released
        ],
        questions=list(kept.questions),
        discarded=sum(left.count for left in change.stranded),
        bought=[Count(label=label, count=count) for label, count in sorted(bought.items())],
        change=moves_record(change),
    )


def kept_text(kept: Kept, planned: Planned, upgrade: Upgrade) -> str:
    """How to get from the machine to the plan, for a terminal."""
    dated = f" (inventory of {kept.date})" if kept.date else ""
    lines = [f"From what is in the machine{dated}"]
    now = "not known" if upgrade.before is None else _speed(upgrade.before)
    lines += wrapped(f"sweep now: {now}; after: {_speed(upgrade.after)}", first="  ", rest="    ")
    for each in kept.released:
        said = device_text(each.found) if each.found else "what lies there"
        lines += wrapped(f"first take {said} out of {each.slot}: its data is said to be saved", first="  ", rest="    ")
    change = change_to(kept, planned)
    lines += change_lines(change, first="  ")
    for left in change.stranded:
        fits = f"would also fit in {', '.join(left.fits)}" if left.fits else "no free slot of this board would take it"
        lines += wrapped(f"left over: {left.count} x {left.module.label}; {fits}", first="  ", rest="    ")
    held = [slot for slot in kept.hold if slot not in kept.unlisted]
    if held:
        text = f"on hold, not to be touched: {', '.join(held)}; --data-saved SLOT releases one"
        lines += wrapped(text, first="  ", rest="    ")
    if kept.unlisted:
        text = (
            f"not in the inventory, so not to be touched: {', '.join(kept.unlisted)}; a list names empty slots "
            f"too ({kept.unlisted[0]},empty), or --rest-empty says it of all"
        )
        lines += wrapped(text, first="  ", rest="    ")
    if kept.questions:
        text = "to ask at the machine (dimmplan audit --save-slots keeps the answers for --slots):"
        lines += wrapped(text, first="  ", rest="    ")
        lines += [line for question in kept.questions for line in wrapped(question, first="    ", rest="      ")]
    absent = kept.empty_sockets(planned.request.fitted)
    if absent:
        text = f"the machine shows no module at {listed(list(absent))}: without its processor there, say --fitted"
        lines += wrapped(text, first="  ", rest="    ")
    return "\n".join(lines) + "\n"


def change_lines(change: Change, *, first: str) -> Iterator[str]:
    """What is handled and in which order, each line after ``first``."""
    yield from wrapped(moves_summary(change.moves), first=first, rest=first + "  ")
    yield from step_lines(change, first=first + "  ")
