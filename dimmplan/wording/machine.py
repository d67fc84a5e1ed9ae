"""Words about a machine: what was found, how it compares, what to do. Objects in, sentences out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dimmplan.model.move import Move, Step
from dimmplan.model.placement import Finding
from dimmplan.units import counted, format_kib, listed
from dimmplan.wording.placement import breach_finding, drafted_findings

if TYPE_CHECKING:
    from dimmplan.audit import Audit, Difference, SlotAnswer, Suspect
    from dimmplan.model.inventory import InventorySlot

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
        slot.kind.value if slot.kind else "",
        ranks + width,
        f"{slot.rated_mts} MT/s" if slot.rated_mts else "",
        f"(runs at {slot.configured_mts})" if slot.configured_mts and slot.configured_mts != slot.rated_mts else "",
        "HOLD: persistent" if slot.state == "hold" else "",
    ]
    return " ".join(part for part in parts if part)


def blocked_text(slots: tuple[str, ...]) -> str:
    """Slots that a change would need and that nobody may touch, with what to do about it."""
    return f"{', '.join(slots)} must change, but may not be touched. {HOLD_REMEDY.format(slot=slots[0])}"


HOLD_REMEDY = (
    "Where a slot is empty, list it ({slot},empty), or add --rest-empty for all slots that the list leaves out. Where "
    "its data is saved, add --data-saved {slot}."
)


def move_text(move: Move) -> str:
    """One move in words."""
    if move.kind == "keep":
        return f"keep {move.module.label} in {move.source}"
    if move.kind == "pull":
        return f"take out {move.module.label} from {move.source}"
    if move.kind == "move":
        return f"move {move.module.label} from {move.source} to {move.target}"
    return f"insert {move.module.label} into {move.target}"


def step_text(step: Step) -> str:
    """One step of a change in words; a module that moves comes out at one step and goes in at a later one."""
    move = step.move
    if move.kind != "move":
        return move_text(move)
    if step.act == "out":
        return f"take out {move.module.label} from {move.source}; it goes into {move.target}"
    return f"put {move.module.label} from {move.source} into {move.target}"


def moves_summary(moves: tuple[Move, ...]) -> str:
    """A change in one line."""
    counts = {kind: sum(move.kind == kind for move in moves) for kind in ("keep", "pull", "move", "insert")}
    words = [
        counted(counts[kind], "module") + f" to {kind}" for kind in ("keep", "pull", "move", "insert") if counts[kind]
    ]
    return listed(words) or "nothing to do"
