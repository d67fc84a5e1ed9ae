"""What a machine says, its audit, its moves and its draft, for a terminal."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from dimmplan.audit import Audit
from dimmplan.boardfile.draft import Draft
from dimmplan.figures import PlacementFigures
from dimmplan.inventory.match import Matching
from dimmplan.inventory.reader import form_name
from dimmplan.model.inventory import Inventory
from dimmplan.model.move import Change
from dimmplan.output.columns import Column, lines_of, table
from dimmplan.output.text import finding_lines, wrapped
from dimmplan.units import counted, decimal, format_capacity, format_kib
from dimmplan.wording.machine import (
    answer_text,
    audit_findings,
    blocked_text,
    device_text,
    moves_summary,
    step_text,
    suspect_text,
)
from dimmplan.wording.placement import gb_s


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


# -- drafts --------------------------------------------------------------------------------------------------------


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
