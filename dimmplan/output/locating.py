"""Where error records point: as JSON of format 1 and as text for a terminal."""

from __future__ import annotations

from pydantic import Field

from dimmplan.locate import LocatedRecord, Location
from dimmplan.output.record import Document, Record
from dimmplan.output.text import wrapped
from dimmplan.units import counted, listed

_STEPS = {
    "one-slot": (
        "Save data and shut the machine down; look at the module's seat and clean contacts, and seat it again.",
        "If errors come back, exchange it with its neighbour of the same type and clear the log: if the errors "
        "follow the module, replace it; if they stay, check the slot, its channel and the seat of the processor.",
    ),
    "one-channel": (
        "Several slots of one channel: save data, shut down, and seat all modules of that channel again.",
        "If errors come back, exchange them with those of another channel: if the errors stay on the channel, "
        "check the seat of the processor and the board before the modules.",
    ),
    "one-socket": (
        "Several channels of one socket: check the processor, its seat, its cooling and the board before the "
        "modules. Leave the modules where they are until a trained person has looked at the processor.",
    ),
    "several-sockets": (
        "Slots of several sockets: look for a common cause first (power, heat, firmware, a batch of modules), then "
        "treat each slot alone.",
    ),
    "none": ("No slot is sure: find out which slot is meant before anything is pulled.",),
}
"""What to do first, by how the slots lie to each other: common practice, no source."""

_UNCORRECTED = "An error was not corrected: data may be wrong. Take the machine out of service and replace the module."
_FIRST = "Copy the records first; a cleared log is lost."


def first_steps(location: Location) -> list[str]:
    """What to do first, in order."""
    bad = any(record.uncorrected for record in location.records)
    return [_FIRST, *([_UNCORRECTED] if bad else []), *_STEPS[location.pattern]]


class LocatedEntry(Record):
    """An error record and the slots that it can mean."""

    record: str = Field(description="the record as given, or what alike lines of a log have in common")
    slots: list[str] = Field(description="the slots that it can mean")
    certain: bool = Field(description="true where it means exactly that slot")
    why: str = Field(description="how the slot follows")
    apart: str = Field(description="what would tell the candidates apart; empty where there is one")
    count: int = Field(description="errors that it reports")
    uncorrected: int = Field(description="how many of these were not corrected")


class SlotErrors(Record):
    """Errors of a slot that is sure."""

    slot: str = Field(description="a slot that is sure")
    corrected: int = Field(description="corrected errors")
    uncorrected: int = Field(description="errors that were not corrected")


class LocateDocument(Document):
    """Where error records point."""

    commands = "locate"
    about = "Slots that error records mean; exit status 1 where a record fits no slot."

    board: str = Field(description="id of the board")
    records: list[LocatedEntry] = Field(description="every record")
    slots: list[SlotErrors] = Field(description="errors by slot")
    pattern: str = Field(
        description="`one-slot`, `one-channel`, `one-socket`, `several-sockets` or `none`: how the sure slots lie"
    )
    first_steps: list[str] = Field(description="what to do first (common practice)")
    other_lines: int = Field(description="lines of a log that are no memory errors")


def location_record(location: Location) -> LocateDocument:
    """Records with their slots, errors by slot, and what to do first, as JSON."""
    return LocateDocument.of(
        location,
        board=location.board.id,
        slots=[{"slot": slot, "corrected": good, "uncorrected": bad} for slot, (good, bad) in location.counts.items()],
        first_steps=first_steps(location),
        other_lines=location.ignored,
    )


def location_text(location: Location) -> str:
    """The slots of each record, errors by slot, and what to do first."""
    if not location.records:
        return f"No memory error in {counted(location.ignored, 'line')}.\n"
    lines: list[str] = []
    for record in location.records:
        lines += _record_lines(record)
    if sum(record.count for record in location.records) > 1 and location.counts:
        lines += ["", "Errors by slot"]
        for slot, (good, bad) in location.counts.items():
            lines.append(f"  {slot}: {good} corrected" + (f", {bad} not corrected" if bad else ""))
    if location.ignored:
        lines += ["", f"{counted(location.ignored, 'other line')} left out"]
    lines += ["", "First (common practice, no source; the machine's service manual comes before it)"]
    for number, step in enumerate(first_steps(location), start=1):
        lines += wrapped(f"{number}. {step}", first="  ", rest="     ")
    sure = [slot for slot, certain in location.marked.items() if certain]
    if sure:
        lines += ["", *wrapped(f"What still runs without it: dimmplan why PLAN --without {sure[0]}")]
    return "\n".join(lines) + "\n"


def _record_lines(record: LocatedRecord) -> list[str]:
    slots = listed(list(record.slots[:12])) + (" and others" if len(record.slots) > 12 else "")
    said = slots if record.certain else f"{slots}, not sure which" if record.slots else "fits no slot"
    times = f" ({record.count} times)" if record.count > 1 else ""
    lines = wrapped(f"{said}{times}: {record.record[:160]}", rest="  ")
    lines += wrapped(f"{record.why}.", first="  ", rest="  ")
    return lines + (wrapped(f"To tell them apart: {record.apart}.", first="  ", rest="  ") if record.apart else [])
