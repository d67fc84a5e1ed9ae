"""What a machine says, its audit and its draft: as JSON of format 1 and as text for a terminal.

Serial numbers and asset tags are left out unless asked for.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from pydantic import Field

from dimmplan.figures import PlacementFigures
from dimmplan.inventory.reader import form_name
from dimmplan.model.inventory import Inventory, InventorySlot
from dimmplan.output.columns import Column, lines_of, table
from dimmplan.output.record import Document, FindingEntry, Label, MachineFigures, OfPlan, Record
from dimmplan.output.text import finding_lines, indented, wrapped
from dimmplan.units import counted, decimal, format_capacity, format_kib, listed
from dimmplan.wording.machine import (
    answer_text,
    audit_findings,
    device_text,
    difference_text,
    suspect_text,
)
from dimmplan.wording.placement import gb_s

if TYPE_CHECKING:
    from dimmplan.audit import Audit
    from dimmplan.boardfile.draft import Draft
    from dimmplan.inventory.match import Matching

# -- found -------------------------------------------------------------------------------------------------------------


class DeviceEntry(Record):
    """A memory device as the machine lists it."""

    locator: str = Field(description="name that the machine gives the slot")
    bank: str = Field(description="its bank")
    state: str = Field(description="`filled`, `empty`, `cannot-tell` or `hold`")
    role: str = Field(description="`memory`, or what else it is")
    why: str = Field(description="why it cannot be told, or is on hold")
    capacity_gib: int | None = Field(description="in whole GiB")
    capacity_kib: int | None = Field(description="exactly")
    label: str | None = Field(description="a JEDEC label, where all of it is known")
    generation: str | None = Field(description="`DDR3`, `DDR4` or `DDR5`")
    kind: str | None = Field(description="`RDIMM` and so on")
    ranks_said: int | None = Field(description="ranks as said, whatever they count")
    package_ranks: int | None = Field(description="where known")
    logical_ranks: int | None = Field(description="where known")
    device_width: int | None = Field(description="where known")
    ecc: bool | None = Field(description="where known")
    rated_mts: int | None = Field(description="of the module")
    configured_mts: int | None = Field(description="as it runs")
    part_number: str | None = Field(description="as said")
    persistent: bool = Field(description="keeps its data without power")
    serial: str | None = Field(default=None, description="serial number, with `--serials`")
    asset_tag: str | None = Field(default=None, description="asset tag, with `--serials`")


class ProcessorEntry(Record):
    """A processor socket as the machine lists it."""

    locator: str = Field(description="name that the machine gives it")
    state: str = Field(description="`filled`, `empty` or `cannot-tell`")
    enabled: bool | None = Field(description="null where it is not said")
    cores: int | None = Field(description="where known")


class OddityEntry(Record):
    """Something odd about an inventory."""

    oddity: str = Field(description="id of what is odd")
    where: str = Field(description="the locator")
    text: str = Field(description="in words")


class FoundDocument(Document):
    """An inventory."""

    commands = "found"
    about = "What a machine reports; `serial` and `asset_tag` with `--serials`."

    form: str = Field(description="`smbios-binary`, `smbios-text`, `redfish`, `labels` or `spd`")
    edition: str | None = Field(description="of the standard, where it says so")
    date: str | None = Field(description="when it was taken, where it says so")
    slots: list[DeviceEntry] = Field(description="every memory device, in the machine's order")
    processors: list[ProcessorEntry] = Field(description="every processor socket")
    oddities: list[OddityEntry] = Field(description="what is odd")


def found_record(found: Inventory, *, serials: bool = False) -> FoundDocument:
    """An inventory as JSON: one entry for each memory device that the machine lists, in its order."""
    return FoundDocument.of(found, slots=[_device(slot, serials=serials) for slot in found.slots])


def _device(slot: InventorySlot, *, serials: bool) -> DeviceEntry:
    left_out = () if serials else ("serial", "asset_tag")
    return DeviceEntry(**{name: getattr(slot, name) for name in DeviceEntry.model_fields if name not in left_out})


def found_text(found: Inventory, *, serials: bool = False) -> str:
    """An inventory for a terminal."""
    memory = found.memory
    filled = [slot for slot in memory if slot.state == "filled"]
    total = sum(slot.capacity_kib or 0 for slot in filled)
    edition = f" ({found.edition})" if found.edition else ""
    lines = wrapped(
        f"Read as {form_name(found.form)}{edition}: {counted(len(memory), 'memory slot')}, {len(filled)} filled, "
        f"{format_kib(total)}" + (f"; taken {found.date}" if found.date else "")
    )
    if found.processors:
        seated = sum(processor.state == "filled" for processor in found.processors)
        lines.append(f"{counted(len(found.processors), 'processor socket')}, {seated} filled")
    rows = [["locator", "bank", "says"]]
    for slot in found.slots:
        words = device_text(slot) if slot.counts else _uncounted(slot)
        if serials and slot.serial:
            words += f" serial {slot.serial}"
        rows.append([slot.locator or "-", slot.bank or "-", words])
    lines += ["", *table(rows)]
    if found.oddities:
        lines += ["", "Oddities"]
        for oddity in found.oddities:
            where = f" ({oddity.where})" if oddity.where else ""
            lines += indented(f"{oddity.oddity}{where}: {oddity.text}")
    return "\n".join(lines) + "\n"


def _uncounted(slot: InventorySlot) -> str:
    """What a place is that is no memory slot; memory behind CXL the system counts all the same."""
    if slot.role != "add-on":
        return f"not memory ({slot.role})"
    size = f"{format_kib(slot.capacity_kib)} of " if slot.capacity_kib else ""
    return f"{size}memory behind CXL: counted by the system, not placed here"


# -- audit -------------------------------------------------------------------------------------------------------------


class DifferenceEntry(Record):
    """What differs at a slot."""

    kind: str = Field(description="what differs")
    planned: str = Field(description="as planned")
    found: str = Field(description="as found")
    other: str = Field(description="another slot that has to do with it")
    text: str = Field(description="in words")


class AuditedSlot(Record):
    """The answer for one slot."""

    slot: str = Field(description="the slot")
    answer: str = Field(description="`as-planned` (known, where there is no plan), `different` or `cannot-tell`")
    module: Label | None = Field(description="label of the module in it")
    differences: list[DifferenceEntry] = Field(description="what differs")


class SuspectEntry(Record):
    """What would explain the differences together."""

    fault: str = Field(description="what it is")
    slots: list[str] = Field(description="where")
    text: str = Field(description="in words")


class FoundPlanned(Record):
    """Figures as found and as planned."""

    found: MachineFigures | None = Field(description="how it runs as found, null where that cannot be told")
    planned: MachineFigures | None = Field(description="how it would run as planned")


class QuestionEntry(Record):
    """What only a person at the machine can answer."""

    locator: str = Field(description="the device")
    bank: str = Field(description="its bank")
    text: str = Field(description="in words")


class AuditDocument(OfPlan):
    """An audit."""

    commands = "audit"
    about = "Slot by slot against a plan; exit status 1 where something differs or cannot be told."

    board: str = Field(description="id of the board")
    date: str | None = Field(description="of the inventory")
    fitted: list[str] = Field(description="sockets with a processor")
    processor: str | None = Field(description="the processor option that the rules are judged by")
    fitting: list[str] = Field(description="without a plan: the options that fit what is seen")
    slots: list[AuditedSlot] = Field(description="every slot")
    findings: list[FindingEntry] = Field(description="rows that break, and what else is to be known")
    suspect: SuspectEntry | None = Field(description="what would explain the differences together; null without one")
    figures: FoundPlanned = Field(description="how it runs")
    questions: list[QuestionEntry] = Field(description="what only a person at the machine can answer")


def audit_record(audit: Audit, matching: Matching) -> AuditDocument:
    """An audit as JSON."""
    suspect = audit.suspect
    return AuditDocument.of(
        audit,
        board=audit.board.id,
        slots=[
            AuditedSlot.of(
                answer,
                differences=[DifferenceEntry.of(each, text=difference_text(each)) for each in answer.differences],
            )
            for answer in audit.slots
        ],
        findings=audit_findings(audit),
        suspect=suspect and SuspectEntry.of(suspect, text=suspect_text(suspect)),
        figures={"found": audit.figures_found, "planned": audit.figures_planned},
        questions=matching.questions,
    )


def audit_text(audit: Audit, matching: Matching) -> str:
    """An audit for a terminal: what differs first, then the rules, the figures, the suspect."""
    lines = wrapped(
        f"{audit.board.title} [{audit.board.id}]"
        + (f"; inventory of {audit.date}" if audit.date else "")
        + f": {_counts(audit)}"
    )
    if audit.planned is None and len(audit.board.processors) > 1:
        fitting = listed(list(audit.fitting), last="or") if audit.fitting else "none of the board's"
        text = f"Processor options that fit what is seen: {fitting}. Judged by {audit.processor}; choose another with "
        lines += indented(f"{text}--processor.")
    for answer in audit.slots:
        if answer.answer != "as-planned":
            lines += indented(f"{answer.slot}: {answer_text(answer)}")
    lines += finding_lines(audit_findings(audit))
    lines += _figure_lines(audit)
    if audit.suspect is not None:
        lines += ["", *wrapped(f"Look first: {suspect_text(audit.suspect)}")]
    if matching.questions:
        lines += ["", "To ask at the machine"]
        for question in matching.questions:
            lines += indented(question.text)
    return "\n".join(lines) + "\n"


def _counts(audit: Audit) -> str:
    """How many slots have each answer; against a board alone nothing is planned, and a slot is known or not."""
    counts = Counter(slot.answer for slot in audit.slots)
    unsure = f"{counts['cannot-tell']} cannot tell"
    if audit.planned is None:
        return f"{counted(counts['as-planned'], 'slot')} known, {unsure}; no plan to compare with"
    return f"{counts['as-planned']} as planned, {counts['different']} different, {unsure}"


_FIGURES = (
    Column[tuple[str, PlacementFigures]](short="", text=lambda row: row[0]),
    Column[tuple[str, PlacementFigures]](
        title="usable", text=lambda row: format_capacity(row[1].usable_gib), align="right"
    ),
    Column[tuple[str, PlacementFigures]](title="rate", text=lambda row: f"{row[1].rate_mts} MT/s", align="right"),
    Column[tuple[str, PlacementFigures]](
        title="balanced sweep", text=lambda row: gb_s(row[1].balanced_sweep_gb_s), align="right"
    ),
    Column[tuple[str, PlacementFigures]](
        title="worst socket", text=lambda row: gb_s(row[1].worst_sweep_gb_s), align="right"
    ),
    Column[tuple[str, PlacementFigures]](
        title="worst share", text=lambda row: f"{decimal(row[1].worst_share, 4):.4f}", align="right"
    ),
)


def _figure_lines(audit: Audit) -> list[str]:
    named = (("as found", audit.figures_found), ("as planned", audit.figures_planned))
    rows = [(name, figures) for name, figures in named if figures is not None]
    return ["", *lines_of(_FIGURES, rows)] if rows else []


# -- drafts ------------------------------------------------------------------------------------------------------------


class LayoutEntry(Record):
    """A layout that a guess offers."""

    choice: str = Field(description="a choice")
    layout: str = Field(description="its layout, drawn in text")


class GuessEntry(Record):
    """What a draft had to guess."""

    about: str = Field(
        description="`sockets`, `channels`, `generation`, `fill-order`, `modules`, `width` or `interleave`"
    )
    text: str = Field(description="the question")
    chosen: str = Field(description="the choice that was drafted")
    candidates: list[str] = Field(description="choices for `--answer`")
    layouts: list[LayoutEntry] = Field(description="what the choices look like")


class DraftDocument(Document):
    """A drafted board file."""

    commands = "boards draft"
    about = "A first board file from an inventory, and what the machine does not say."

    board: str = Field(description="id of the board")
    file: str = Field(description="the file written")
    fitted: list[str] | None = Field(
        description="sockets to plan for where not every processor is seated; null where all are, or it is not known"
    )
    guesses: list[GuessEntry] = Field(description="what is open")
    to_do: list[str] = Field(description="the guesses, and what else is to be seen to by hand")


def draft_record(draft: Draft, board_id: str, file: str) -> DraftDocument:
    """A draft as JSON: its open guesses with their candidates, the sockets to plan for, what else is to do."""
    guesses = [
        GuessEntry.of(guess, layouts=[{"choice": choice, "layout": drawn} for choice, drawn in guess.layouts.items()])
        for guess in draft.guesses
    ]
    return DraftDocument.of(draft, board=board_id, file=file, fitted=draft.fitted or None, guesses=guesses)


def draft_text(draft: Draft, again: str) -> str:
    """A draft's questions for a terminal, each with its candidate layouts and how to answer it."""
    lines: list[str] = []
    if draft.fitted:
        lines += [f"Not every processor is seated: plan with --fitted {','.join(draft.fitted)}", ""]
    if draft.guesses:
        lines.append("Questions that the machine does not answer")
    for guess in draft.guesses:
        lines += indented(f"{guess.about}: {guess.text}")
        width = max(map(len, guess.candidates)) + 2
        for choice in guess.candidates:
            mark = "drafted" if choice == guess.chosen else ""
            drawn = guess.layouts.get(choice, "right as it stands")
            lines += wrapped(f"{choice:<{width}}{drawn}", first=f"    {mark:<8} ", rest=" " * (13 + width))
    if draft.guesses:
        first = draft.guesses[0]
        lines += ["", f"To answer: {again} --answer {first.about}={first.candidates[-1]}"]
        lines += ["or correct the file, and delete the line under [guesses].", ""]
    asked = len(draft.guesses)
    return "\n".join([*lines, "To do by hand", *(f"  [ ] {item}" for item in draft.to_do[asked:])]) + "\n"
