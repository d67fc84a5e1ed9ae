"""What a machine says, its audit, its moves and its draft as JSON of format 1.

Serial numbers and asset tags are left out unless asked for.
"""

from __future__ import annotations

from typing import Any

from pydantic import Field

from dimmplan.audit import Audit
from dimmplan.boardfile.draft import Draft
from dimmplan.inventory.match import Matching
from dimmplan.model.inventory import FoundSlot, Inventory
from dimmplan.model.move import Change
from dimmplan.output.record import FindingEntry
from dimmplan.output.values import (
    BalancedSweep,
    Document,
    GibNumber,
    Label,
    OfPlan,
    OwnSweep,
    Record,
    SystemSweep,
    WorstShare,
    WorstSweep,
)
from dimmplan.wording.machine import audit_findings, difference_text, suspect_text


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
    about = "What a machine says of itself; `serial` and `asset_tag` stand there with `--serials`."

    form: str = Field(description="`smbios-binary`, `smbios-text`, `redfish`, `labels` or `spd`")
    edition: str | None = Field(description="of the standard, where it says so")
    date: str | None = Field(description="when it was taken, where it says so")
    slots: list[DeviceEntry] = Field(description="every memory device, in the machine's order")
    processors: list[ProcessorEntry] = Field(description="every processor socket")
    oddities: list[OddityEntry] = Field(description="what is odd")


def found_record(found: Inventory, *, serials: bool = False) -> FoundDocument:
    """An inventory as JSON: one entry for each memory device that the machine lists, in its order."""
    return FoundDocument(
        form=found.form,
        edition=found.edition,
        date=found.date,
        slots=[_device(slot, serials=serials) for slot in found.slots],
        processors=ProcessorEntry.all_of(found.processors),
        oddities=OddityEntry.all_of(found.oddities),
    )


def _device(slot: FoundSlot, *, serials: bool) -> DeviceEntry:
    left_out = set() if serials else {"serial", "asset_tag"}
    return DeviceEntry(**{name: getattr(slot, name) for name in DeviceEntry.model_fields if name not in left_out})


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
    module: Label | None = Field(description="label of what lies there")
    differences: list[DifferenceEntry] = Field(description="what differs")


class SuspectEntry(Record):
    """What would explain the differences together."""

    fault: str = Field(description="what it is")
    slots: list[str] = Field(description="where")
    text: str = Field(description="in words")


class AuditFigures(Record):
    """How a machine runs."""

    usable_gib: GibNumber = Field(description="usable capacity")
    rate_mts: int = Field(description="MT/s")
    balanced_sweep_gb_s: BalancedSweep
    system_sweep_gb_s: SystemSweep
    own_sweep_gb_s: OwnSweep
    worst_sweep_gb_s: WorstSweep
    worst_share: WorstShare


class FoundPlanned(Record):
    """Figures as found and as planned."""

    found: AuditFigures | None = Field(description="how it runs as found, null where that cannot be told")
    planned: AuditFigures | None = Field(description="how it would run as planned")


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
    slots: list[AuditedSlot] = Field(description="every slot")
    findings: list[FindingEntry] = Field(description="rows that break, and what else is to be known")
    suspect: SuspectEntry | None = Field(description="what would explain the differences together; null without one")
    figures: FoundPlanned = Field(description="how it runs")
    questions: list[QuestionEntry] = Field(description="what only a person at the machine can answer")


def audit_record(audit: Audit, matching: Matching) -> AuditDocument:
    """An audit as JSON."""
    suspect = audit.suspect
    return AuditDocument(
        board=audit.board.id,
        date=audit.date,
        fitted=list(audit.fitted),
        slots=[
            AuditedSlot(
                slot=answer.slot,
                answer=answer.answer,
                module=answer.module,
                differences=[
                    DifferenceEntry(
                        kind=d.kind, planned=d.planned, found=d.found, other=d.other, text=difference_text(d)
                    )
                    for d in answer.differences
                ],
            )
            for answer in audit.slots
        ],
        findings=FindingEntry.all_of(audit_findings(audit)),
        suspect=None
        if suspect is None
        else SuspectEntry(fault=suspect.fault, slots=list(suspect.slots), text=suspect_text(suspect)),
        figures=FoundPlanned(
            found=None if audit.figures_found is None else AuditFigures.of(audit.figures_found),
            planned=None if audit.figures_planned is None else AuditFigures.of(audit.figures_planned),
        ),
        questions=QuestionEntry.all_of(matching.questions),
    )


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
    about = "From what is in a machine to a plan; exit status 1 where a slot may not be touched."

    moves: list[MoveEntry] = Field(description="what becomes of each module")
    steps: list[ActEntry] = Field(description="the acts in order")
    handled: int = Field(description="modules handled at all")
    stranded: list[StrandedEntry] = Field(description="what is left over")
    blocked: list[str] = Field(description="slots that would have to change and may not be touched")


def moves_record(change: Change) -> MovesDocument:
    """A change as JSON: moves, the steps of doing them, what is left over, what stands in the way."""
    return MovesDocument(
        moves=MoveEntry.all_of(change.moves),
        steps=ActEntry.all_of(change.steps),
        handled=len(change.handled),
        stranded=StrandedEntry.all_of(change.stranded),
        blocked=list(change.blocked),
    )


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
        description="sockets to plan for where not every processor is seated; null where all are, or nobody says"
    )
    guesses: list[GuessEntry] = Field(description="what is open")
    to_do: list[str] = Field(description="the guesses, and what else is to be seen to by hand")


def draft_record(draft: Draft, board_id: str, file: str) -> DraftDocument:
    """A draft as JSON: its open guesses with their candidates, the sockets to plan for, what else is to do."""
    guesses: list[dict[str, Any]] = [
        {
            "about": guess.about,
            "text": guess.text,
            "chosen": guess.chosen,
            "candidates": list(guess.candidates),
            "layouts": [LayoutEntry(choice=choice, layout=drawn) for choice, drawn in guess.layouts.items()],
        }
        for guess in draft.guesses
    ]
    return DraftDocument(
        board=board_id,
        file=file,
        fitted=list(draft.fitted) or None,
        guesses=[GuessEntry(**each) for each in guesses],
        to_do=list(draft.to_do),
    )
