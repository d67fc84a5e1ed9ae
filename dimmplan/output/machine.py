"""What a machine says, its audit and its moves: as JSON of format 1 and as text for a terminal.

Serial numbers and asset tags are left out unless asked for.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any

from dimmplan.audit import Audit
from dimmplan.boardfile.draft import Draft
from dimmplan.explain import gb_s
from dimmplan.figures import PlacementFigures
from dimmplan.inventory.match import Matching
from dimmplan.model.inventory import FoundSlot, Inventory
from dimmplan.model.move import Change
from dimmplan.output.columns import Column, lines_of, table
from dimmplan.output.record import finding_record
from dimmplan.output.text import finding_lines, wrapped
from dimmplan.report import (
    answer_text,
    audit_findings,
    blocked_text,
    device_text,
    difference_text,
    moves_summary,
    step_text,
    suspect_text,
)
from dimmplan.units import counted, decimal, format_capacity, format_kib

FORMAT = 1
_FORMS = {
    "smbios-binary": "SMBIOS tables",
    "smbios-text": "a text listing of SMBIOS tables",
    "redfish": "Redfish resources",
    "labels": "a label list",
    "spd": "SPD images",
}


def found_record(found: Inventory, *, serials: bool = False) -> dict[str, Any]:
    """An inventory as JSON: one entry for each memory device that the machine lists, in its order."""
    return {
        "format": FORMAT,
        "form": found.form,
        "edition": found.edition,
        "date": found.date,
        "slots": [_device(slot, serials=serials) for slot in found.slots],
        "processors": [
            {"locator": p.locator, "state": p.state, "enabled": p.enabled, "cores": p.cores} for p in found.processors
        ],
        "oddities": [{"oddity": o.oddity, "where": o.where, "text": o.text} for o in found.oddities],
    }


def _device(slot: FoundSlot, *, serials: bool) -> dict[str, Any]:
    entry: dict[str, Any] = {
        "locator": slot.locator,
        "bank": slot.bank,
        "state": slot.state,
        "role": slot.role,
        "why": slot.why,
        "capacity_gib": slot.capacity_gib,
        "capacity_kib": slot.capacity_kib,
        "label": slot.label,
        "generation": slot.generation.value if slot.generation else None,
        "kind": slot.kind.value if slot.kind else None,
        "ranks_said": slot.ranks_said,
        "package_ranks": slot.package_ranks,
        "logical_ranks": slot.logical_ranks,
        "device_width": slot.device_width,
        "ecc": slot.ecc,
        "rated_mts": slot.rated_mts,
        "configured_mts": slot.configured_mts,
        "part_number": slot.part_number,
        "persistent": slot.persistent,
    }
    if serials:
        entry |= {"serial": slot.serial, "asset_tag": slot.asset_tag}
    return entry


def found_text(found: Inventory, *, serials: bool = False) -> str:
    """An inventory for a terminal."""
    memory = found.memory
    filled = [slot for slot in memory if slot.state == "filled"]
    total = sum(slot.capacity_kib or 0 for slot in filled)
    edition = f" ({found.edition})" if found.edition else ""
    lines = wrapped(
        f"Read as {_FORMS[found.form]}{edition}: {counted(len(memory), 'memory slot')}, {len(filled)} filled, "
        f"{format_kib(total)}" + (f"; taken {found.date}" if found.date else "")
    )
    if found.processors:
        seated = sum(processor.state == "filled" for processor in found.processors)
        lines.append(f"{counted(len(found.processors), 'processor socket')}, {seated} filled")
    rows = [["locator", "bank", "says"]]
    for slot in found.slots:
        words = device_text(slot) if slot.counts else f"not memory ({slot.role})"
        if serials and slot.serial:
            words += f" serial {slot.serial}"
        rows.append([slot.locator or "-", slot.bank or "-", words])
    lines += ["", *table(rows)]
    if found.oddities:
        lines += ["", "Oddities"]
        for oddity in found.oddities:
            where = f" ({oddity.where})" if oddity.where else ""
            lines += wrapped(f"{oddity.oddity}{where}: {oddity.text}", first="  ", rest="    ")
    return "\n".join(lines) + "\n"


# -- audit ---------------------------------------------------------------------------------------------------------


def audit_record(audit: Audit, matching: Matching) -> dict[str, Any]:
    """An audit as JSON."""
    return {
        "format": FORMAT,
        "board": audit.board.id,
        "date": audit.date,
        "fitted": list(audit.fitted),
        "slots": [
            {
                "slot": answer.slot,
                "answer": answer.answer,
                "module": answer.module.label if answer.module else None,
                "differences": [
                    {
                        "kind": d.kind,
                        "planned": d.planned,
                        "found": d.found,
                        "other": d.other,
                        "text": difference_text(d),
                    }
                    for d in answer.differences
                ],
            }
            for answer in audit.slots
        ],
        "findings": [finding_record(finding) for finding in audit_findings(audit)],
        "suspect": None
        if audit.suspect is None
        else {"fault": audit.suspect.fault, "slots": list(audit.suspect.slots), "text": suspect_text(audit.suspect)},
        "figures": {"found": _figures(audit.figures_found), "planned": _figures(audit.figures_planned)},
        "questions": [{"locator": q.locator, "bank": q.bank, "text": q.text} for q in matching.questions],
    }


def _figures(figures: PlacementFigures | None) -> dict[str, Any] | None:
    if figures is None:
        return None
    return {
        "usable_gib": figures.usable_gib,
        "rate_mts": figures.rate_mts,
        "system_sweep_gb_s": decimal(figures.system_sweep_gb_s, 1),
        "worst_share": decimal(figures.worst_share, 4),
    }


def audit_text(audit: Audit, matching: Matching) -> str:
    """An audit for a terminal: what differs first, then the rules, the figures, the suspect."""
    lines = wrapped(
        f"{audit.board.title} [{audit.board.id}]"
        + (f"; inventory of {audit.date}" if audit.date else "")
        + f": {_counts(audit)}"
    )
    rows = [[answer.slot, answer_text(answer)] for answer in audit.slots if answer.answer != "as-planned"]
    for slot, text in rows:
        lines += wrapped(f"{slot}: {text}", first="  ", rest="    ")
    lines += finding_lines(audit_findings(audit))
    lines += _figure_lines(audit)
    if audit.suspect is not None:
        lines += ["", *wrapped(f"Look first: {suspect_text(audit.suspect)}")]
    if matching.questions:
        lines += ["", "To ask at the machine"]
        for question in matching.questions:
            lines += wrapped(question.text, first="  ", rest="    ")
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
        title="system sweep", text=lambda row: gb_s(row[1].system_sweep_gb_s), align="right"
    ),
    Column[tuple[str, PlacementFigures]](
        title="worst share", text=lambda row: f"{decimal(row[1].worst_share, 4):.4f}", align="right"
    ),
)


def _figure_lines(audit: Audit) -> list[str]:
    named = (("as found", audit.figures_found), ("as planned", audit.figures_planned))
    rows = [(name, figures) for name, figures in named if figures is not None]
    return ["", *lines_of(_FIGURES, rows)] if rows else []


# -- drafts --------------------------------------------------------------------------------------------------------


def draft_record(draft: Draft, board_id: str, file: str) -> dict[str, Any]:
    """A draft as JSON: its open guesses with their candidates, the sockets to plan for, what else is to do."""
    return {
        "format": FORMAT,
        "board": board_id,
        "file": file,
        "fitted": list(draft.fitted) or None,
        "guesses": [
            {
                "about": guess.about,
                "text": guess.text,
                "chosen": guess.chosen,
                "candidates": list(guess.candidates),
                "layouts": [{"choice": choice, "layout": drawn} for choice, drawn in guess.layouts.items()],
            }
            for guess in draft.guesses
        ],
        "to_do": list(draft.to_do),
    }


def draft_text(draft: Draft, again: str) -> str:
    """A draft's questions for a terminal, each with its candidate layouts and how to answer it."""
    lines: list[str] = []
    if draft.fitted:
        lines += [f"Not every processor is seated: plan with --fitted {','.join(draft.fitted)}", ""]
    if draft.guesses:
        lines.append("Asked, since the machine does not say it")
    for guess in draft.guesses:
        lines += wrapped(f"{guess.about}: {guess.text}", first="  ", rest="    ")
        width = max(map(len, guess.candidates)) + 2
        for choice in guess.candidates:
            mark = "drafted" if choice == guess.chosen else ""
            drawn = guess.layouts.get(choice, "right as it stands")
            lines += wrapped(f"{choice:<{width}}{drawn}", first=f"    {mark:<8} ", rest=" " * (13 + width))
    if draft.guesses:
        first = draft.guesses[0]
        lines += ["", f"To answer: {again} --answer {first.about}={first.candidates[-1]}"]
        lines += ["or correct the file and delete the line under [guesses].", ""]
    asked = len(draft.guesses)
    return "\n".join([*lines, "To do by hand", *(f"  [ ] {item}" for item in draft.to_do[asked:])]) + "\n"


# -- moves ---------------------------------------------------------------------------------------------------------


def moves_record(change: Change) -> dict[str, Any]:
    """A change as JSON: moves, the steps of doing them, what is left over, what stands in the way."""
    return {
        "format": FORMAT,
        "moves": [
            {"kind": move.kind, "label": move.module.label, "from": move.source, "to": move.target}
            for move in change.moves
        ],
        "steps": [{"step": step.number, "act": step.act, "slot": step.slot} for step in change.steps],
        "handled": len(change.handled),
        "stranded": [
            {"label": left.module.label, "count": left.count, "fits": list(left.fits)} for left in change.stranded
        ],
        "blocked": list(change.blocked),
    }


def moves_text(change: Change) -> str:
    """A change for a terminal, ending with what to see to before power-on, unless it cannot be done."""
    lines = [moves_summary(change.moves)]
    if change.blocked:
        lines += wrapped(f"Cannot be done: {blocked_text(change.blocked)}")
    lines += step_lines(change, first="  ")
    for left in change.stranded:
        fits = f"; would fit in {', '.join(left.fits)}" if left.fits else "; no slot of this board would take it"
        lines += wrapped(f"left over: {left.count} x {left.module.label}{fits}", first="  ", rest="    ")
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
