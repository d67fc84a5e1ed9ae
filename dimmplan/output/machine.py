"""A machine's inventory, audit and error records: as JSON of format 1 and as text for a terminal.

Serial numbers and asset tags are left out unless asked for.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from shlex import quote
from typing import TYPE_CHECKING

from dimmplan.figures import PlacementFigures
from dimmplan.inventory.reader import form_name, readers
from dimmplan.model.inventory import Inventory, InventorySlot
from dimmplan.model.placement import Finding
from dimmplan.output.columns import Text
from dimmplan.output.record import Document, FindingEntry, Label, MachineFigures, OfPlan, Record, means
from dimmplan.units import counted, format_capacity, format_kib, listed
from dimmplan.wording import breach_finding, drafted_findings, gb_s, share_text

if TYPE_CHECKING:
    from dimmplan.audit import Audit, Difference, SlotAnswer, Suspect
    from dimmplan.inventory.match import Matching
    from dimmplan.locate import Location

# -- found -------------------------------------------------------------------------------------------------------------


class DeviceEntry(Record):
    """A memory device as the machine lists it."""

    locator: str = means("name that the machine gives the slot")
    bank: str = means("its bank")
    state: str = means("`filled`, `empty`, `cannot-tell` or `hold`")
    role: str = means("`memory`, or what else it is")
    why: str = means("why it cannot be told, or is on hold")
    capacity_gib: int | None = means("in whole GiB")
    capacity_kib: int | None = means("exactly")
    label: str | None = means("a JEDEC label, where all of it is known")
    generation: str | None = means("`DDR3`, `DDR4` or `DDR5`")
    kind: str | None = means("`RDIMM` and so on")
    ranks_said: int | None = means("ranks as said, whatever they count")
    package_ranks: int | None = means("where known")
    logical_ranks: int | None = means("where known")
    device_width: int | None = means("where known")
    ecc: bool | None = means("where known")
    rated_mts: int | None = means("of the module")
    configured_mts: int | None = means("as it runs")
    part_number: str | None = means("as said")
    persistent: bool = means("keeps its data without power")
    serial: str | None = means(
        "serial number, with `--serials`", within=lambda told, slot: slot.serial if told else ..., default=None
    )
    asset_tag: str | None = means(
        "asset tag, with `--serials`", within=lambda told, slot: slot.asset_tag if told else ..., default=None
    )


class ProcessorEntry(Record):
    """A processor socket as the machine lists it."""

    locator: str = means("name that the machine gives it")
    state: str = means("`filled`, `empty` or `cannot-tell`")
    enabled: bool | None = means("null where it is not said")
    cores: int | None = means("where known")


class OddityEntry(Record):
    """Something odd about an inventory."""

    oddity: str = means("id of what is odd")
    where: str = means("the locator")
    text: str = means("in words")


class FoundDocument(Document, commands="found"):
    """What a machine reports; `serial` and `asset_tag` with `--serials`."""

    form: str = means(listed([f"`{reader.form}`" for reader in readers()], last="or"))
    edition: str | None = means("of the standard, where it says so")
    date: str | None = means("when it was taken, where it says so")
    slots: list[DeviceEntry] = means("every memory device, in the machine's order")
    processors: list[ProcessorEntry] = means("every processor socket")
    oddities: list[OddityEntry] = means("what is odd")


def device_text(slot: InventorySlot) -> str:
    """What a memory device says of itself, short; serial numbers are left out."""
    if slot.state not in {"filled", "hold"}:
        return slot.why if slot.state == "cannot-tell" and slot.why else slot.state.replace("-", " ")
    size = format_kib(slot.capacity_kib) if slot.capacity_kib else "?"
    ranks = f"{slot.package_ranks or slot.ranks_said}R" if slot.package_ranks or slot.ranks_said else ""
    width = f"x{slot.device_width}" if slot.device_width else ""
    parts = [
        size,
        slot.generation.value if slot.generation else "",
        slot.kind.value if slot.kind else "ECC" if slot.ecc else "",
        ranks + width,
        f"{slot.rated_mts} MT/s" if slot.rated_mts else "",
        f"(runs at {slot.configured_mts})" if slot.configured_mts and slot.configured_mts != slot.rated_mts else "",
        "HOLD: persistent" if slot.state == "hold" else "",
    ]
    return " ".join(part for part in parts if part)


def found_text(inventory: Inventory, *, serials: bool = False) -> str:
    """An inventory for a terminal."""
    filled = [slot for slot in inventory.memory if slot.state == "filled"]
    unknown = sum(slot.state == "cannot-tell" for slot in inventory.memory)
    edition = f" ({inventory.edition})" if inventory.edition else ""
    page = Text(
        f"Read as {form_name(inventory.form)}{edition}: {counted(len(inventory.memory), 'memory slot')}, "
        f"{len(filled)} filled, {f'{unknown} not known, ' if unknown else ''}"
        f"{format_kib(sum(slot.capacity_kib or 0 for slot in filled))}"
        + (f"; taken {inventory.date}" if inventory.date else "")
    )
    if inventory.processors:
        seated = sum(processor.state == "filled" for processor in inventory.processors)
        page.note(f"{counted(len(inventory.processors), 'processor socket')}, {seated} filled", 0)
    rows = []
    for slot in inventory.slots:
        words = device_text(slot) if slot.counts else _uncounted(slot)
        serial = f" serial {slot.serial}" if serials and slot.serial else ""
        rows.append([slot.locator or "-", slot.bank or "-", words + serial])
    if rows:
        page.heading()
        page.rows(rows, ("locator", "bank", "says"), indent=0)
    odd = [(f"{each.oddity} ({each.where})" if each.where else each.oddity, each.text) for each in inventory.oddities]
    page.notes("Oddities", map(": ".join, odd))
    return str(page)


def _uncounted(slot: InventorySlot) -> str:
    """What a place is that is no memory slot; memory behind CXL the system counts all the same."""
    if slot.role != "add-on":
        return f"not memory ({slot.role})"
    size = f"{format_kib(slot.capacity_kib)} of " if slot.capacity_kib else ""
    return f"{size}memory behind CXL: counted by the system, not placed here"


# -- audit -------------------------------------------------------------------------------------------------------------


_DIFFERENCES = {
    "empty": "planned {planned}, found empty",
    "extra": "planned empty, found {found}",
    "generation": "generation: planned {planned}, found {found}",
    "size": "size: planned {planned}, found {found}",
    "kind": "kind: planned {planned}, found {found}",
    "rank": "ranks: planned {planned}, found {found}",
    "width": "device width: planned {planned}, found {found}",
    "rate": "rated rate: planned {planned}, found {found}",
    "swapped": "swapped with {other}",
    "misplaced": "holds the module planned for {other}",
    "elsewhere": "its module is in {other}",
    "hold": "on hold: {found}; leave it alone until its data is saved",
    "not-listed": "the machine does not list this slot{as_planned}",
    "not-said": "the machine does not say what it holds ({found})",
}
_SUSPECTS = {
    "not-seated": "The module planned for {slots} ({expected}) is not seen: it may be badly seated, or the slot may be "
    "faulty. Reseat it first; then try a module known to be good.",
    "missing": "{found} modules of the plan are missing ({slots}): the change is not done yet, or this is "
    "another machine's plan.",
    "swapped": "The modules in {slots} have changed places.",
    "misplaced": "The module planned for {first} is in {second}.",
    "another-plan": "{found} modules of the plan are in other slots than planned (those of {slots}): this is "
    "another machine's plan, or the map was not followed.",
    "not-upgraded": "None of the new modules is in, and {found} slots hold modules that the plan does not have: the "
    "machine is not upgraded yet, or this is another machine's plan.",
    "half-done": "The upgrade is half done: {expected} new modules are in, and {slots} still hold modules that the "
    "plan does not have.",
    "wrong-module": "{slots} holds a different module: {found} instead of {expected}.",
    "extra": "{slots} holds a module that the plan does not have ({found}).",
    "channel": "All modules of channel {found} are missing ({slots}): check the channel and the seat of the processor "
    "first, then the modules.",
    "socket": "All modules of socket {found} are missing: its processor may be absent, disabled or not seated well.",
    "slow": "The memory runs at {found} instead of {expected}: look for a firmware rate cap, another processor, or a "
    "slower module.",
    "cannot-tell": "The content of {slots} is not known.",
}


def difference_text(difference: Difference) -> str:
    """A typed difference in words."""
    words = {
        "planned": difference.planned or "nothing",
        "found": difference.found or "nothing",
        "other": difference.other,
        "as_planned": f" (planned {difference.planned})" if difference.planned else "",
    }
    return _DIFFERENCES[difference.kind].format(**words)


def answer_text(answer: SlotAnswer) -> str:
    """The answer of one slot in words."""
    said = "; ".join(difference_text(difference) for difference in answer.differences)
    return f"{answer.answer.replace('-', ' ')}: {said}" if said else answer.answer.replace("-", " ")


def suspect_text(suspect: Suspect) -> str:
    """The fault to look for first, in words."""
    slots = listed(list(suspect.slots[:8])) + (" and others" if len(suspect.slots) > 8 else "")
    first, second = suspect.slots[:1], suspect.slots[1:2]
    return _SUSPECTS[suspect.fault].format(
        slots=slots, first="".join(first), second="".join(second), found=suspect.found, expected=suspect.expected
    )


def audit_findings(audit: Audit) -> list[Finding]:
    """The rows that the machine as found breaks, and what the board's draft guesses."""
    doubtful = [breach_finding(audit.board, breach) for breach in audit.doubtful]
    doubt = " This is not certain: the draft may guess the wiring wrongly."
    return [
        *(breach_finding(audit.board, breach) for breach in audit.breaches),
        *(finding._replace(severity="note", text=finding.text + doubt) for finding in doubtful),
        *drafted_findings(audit.board),
    ]


class DifferenceEntry(Record):
    """What differs at a slot."""

    kind: str = means("what differs")
    planned: str = means("as planned")
    found: str = means("as found")
    other: str = means("another slot that has to do with it")
    text: str = means("in words", by=difference_text)


class AuditedSlot(Record):
    """The answer for one slot."""

    slot: str = means("the slot")
    answer: str = means("`as-planned` (known, where there is no plan), `different` or `cannot-tell`")
    module: Label | None = means("label of the module in it")
    differences: list[DifferenceEntry] = means("what differs")


class SuspectEntry(Record):
    """What would explain the differences together."""

    fault: str = means("what it is")
    slots: list[str] = means("where")
    text: str = means("in words", by=suspect_text)


class FoundPlanned(Record):
    """Figures as found and as planned."""

    found: MachineFigures | None = means("how it runs as found, null where that cannot be told", of="figures_found")
    planned: MachineFigures | None = means("how it would run as planned", of="figures_planned")


class QuestionEntry(Record):
    """What only a person at the machine can answer."""

    locator: str = means("the device")
    bank: str = means("its bank")
    text: str = means("in words")


class AuditDocument(OfPlan, commands="audit"):
    """Slot by slot against a plan; exit status 1 where something differs or cannot be told."""

    board: str = means("id of the board", of="board.id")
    date: str | None = means("of the inventory")
    fitted: list[str] = means("sockets with a processor")
    processor: str | None = means("the processor option that the rules are judged by")
    fitting: list[str] = means("without a plan: the options that fit what is seen")
    slots: list[AuditedSlot] = means("every slot")
    findings: list[FindingEntry] = means("rows that break, and what else is to be known", by=audit_findings)
    suspect: SuspectEntry | None = means("what would explain the differences together; null without one")
    figures: FoundPlanned = means("how it runs", by=lambda audit: audit)
    questions: list[QuestionEntry] = means("what only a person at the machine can answer")


def audit_text(audit: Audit, matching: Matching) -> str:
    """An audit for a terminal: what differs first, then the rules, the figures, the suspect."""
    dated = f"; inventory of {audit.date}" if audit.date else ""
    page = Text(f"{audit.board.title} [{audit.board.id}]{dated}: {_answers(audit)}")
    if audit.planned is None and len(audit.board.processors) > 1:
        fitting = listed(list(audit.fitting), last="or") if audit.fitting else "none of the board's"
        text = f"Processor options that fit what is seen: {fitting}. Judged by {audit.processor}; choose another with "
        page.note(f"{text}--processor.")
    for answer in audit.slots:
        if answer.answer != "as-planned":
            page.note(f"{answer.slot}: {answer_text(answer)}")
    page.findings(audit_findings(audit))
    named = (("as found", audit.figures_found), ("as planned", audit.figures_planned))
    rows = [[name, *(text(its) for text in _FIGURES.values())] for name, its in named if its is not None]
    if rows:
        page.heading()
        page.rows(rows, ("", *_FIGURES), indent=0, right=_FIGURES)
    if audit.suspect is not None:
        page.heading(f"Look first: {suspect_text(audit.suspect)}")
    page.notes("To ask at the machine", [question.text for question in matching.questions])
    return str(page)


def _answers(audit: Audit) -> str:
    """How many slots have each answer; against a board alone nothing is planned, and a slot is known or not."""
    counts = Counter(slot.answer for slot in audit.slots)
    unsure = f"{counts['cannot-tell']} cannot tell"
    if audit.planned is None:
        return f"{counted(counts['as-planned'], 'slot')} known, {unsure}; no plan to compare with"
    return f"{counts['as-planned']} as planned, {counts['different']} different, {unsure}"


_FIGURES: dict[str, Callable[[PlacementFigures], str]] = {
    "usable": lambda its: format_capacity(its.usable_gib),
    "rate": lambda its: f"{its.rate_mts} MT/s",
    "balanced sweep": lambda its: gb_s(its.balanced_sweep_gb_s),
    "worst socket": lambda its: gb_s(its.worst_sweep_gb_s),
    "worst share": lambda its: share_text(its.worst_share),
}
"""What is shown of a machine as found and as planned, by its head."""


# -- error records -----------------------------------------------------------------------------------------------------

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

    record: str = means("the record as given, or what alike lines of a log have in common")
    slots: list[str] = means("the slots that it can mean")
    certain: bool = means("true where it means exactly that slot")
    why: str = means("how the slot follows")
    apart: str = means("what would tell the candidates apart; empty where there is one")
    count: int = means("errors that it reports")
    uncorrected: int = means("how many of these were not corrected")


class SlotErrors(Record):
    """Errors of a slot that is sure."""

    slot: str = means("a slot that is sure")
    corrected: int = means("corrected errors")
    uncorrected: int = means("errors that were not corrected")


class LocateDocument(Document, commands="locate"):
    """Slots that error records mean; exit status 1 where a record fits no slot."""

    board: str = means("id of the board", of="board.id")
    records: list[LocatedEntry] = means("every record")
    slots: list[SlotErrors] = means(
        "errors by slot",
        by=lambda location: [
            {"slot": slot, "corrected": good, "uncorrected": bad} for slot, (good, bad) in location.counts.items()
        ],
    )
    pattern: str = means("`one-slot`, `one-channel`, `one-socket`, `several-sockets` or `none`: how the sure slots lie")
    first_steps: list[str] = means("what to do first (common practice)", by=first_steps)
    other_lines: int = means("lines of a log that are left out", of="ignored")
    unplaced_lines: int = means("how many of these may speak of memory errors", of="unplaced")


def location_text(location: Location) -> str:
    """The slots of each record, errors by slot, and what to do first."""
    if not location.records:
        lines = counted(location.ignored, "line")
        if location.unplaced:
            return f"No line names a slot of this board, in {lines}; {location.unplaced} may speak of memory errors.\n"
        return f"No memory error in {lines}.\n"
    page = Text()
    for record in location.records:
        slots = listed(list(record.slots[:12])) + (" and others" if len(record.slots) > 12 else "")
        meant = slots if record.certain else f"{slots}, not sure which" if record.slots else "fits no slot"
        times = f" ({record.count} times)" if record.count > 1 else ""
        page.note(f"{meant}{times}: {record.record[:160]}", 0)
        page.note(f"{record.why}.", hang=0)
        if record.apart:
            page.note(f"To tell them apart: {record.apart}.", hang=0)
    if sum(record.count for record in location.records) > 1:
        bad = {slot: f", {bad} not corrected" if bad else "" for slot, (_, bad) in location.counts.items()}
        page.notes("Errors by slot", [f"{s}: {good} corrected{bad[s]}" for s, (good, _) in location.counts.items()])
    if location.ignored:
        speak = f"; {location.unplaced} may speak of memory errors" if location.unplaced else ""
        page.heading(f"{counted(location.ignored, 'other line')} left out{speak}")
    page.heading("First (common practice, no source; the machine's service manual comes before it)")
    for number, step in enumerate(first_steps(location), start=1):
        page.note(f"{number}. {step}", hang=3)
    sure = [slot for slot, certain in location.marked.items() if certain]
    if sure:
        page.heading(f"What still runs without it: dimmplan why PLAN --without {quote(sure[0])}")
    return str(page)
