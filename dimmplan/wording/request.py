"""Words about an answer: what a runner-up gains and loses, and what the request itself should be warned of."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

from dimmplan.boardfile.expand import USUAL
from dimmplan.boardfile.tables import unused_rates
from dimmplan.model.board import Board
from dimmplan.model.module import Module, by_type, modules_phrase
from dimmplan.model.placement import Finding
from dimmplan.planner import Planned
from dimmplan.solve.answer import STEP_SHARE, Choice
from dimmplan.tables import TableNote, preferred, table_notes
from dimmplan.units import format_capacity, listed
from dimmplan.wording.placement import criterion_name, criterion_phrase, gains_and_losses, gb_s

UNEVEN_GAIN = Fraction(11, 10)
"""A step up that gains more than this factor is worth a warning (domain rule: over 10 %)."""


def choice_gains(planned: Planned, choice: Choice) -> tuple[str, str]:
    """What a choice gains over the answer and what it loses, criterion by criterion, in the list's order."""
    answer = planned.answer
    gains, losses = gains_and_losses(answer.criteria, answer.best.vector, choice.vector)
    return "; ".join(gains), "; ".join(losses)


def request_findings(planned: Planned) -> list[Finding]:
    """What the asker must know and no sheet carries: an uneven request, a capacity rounded up, a cut search."""
    answer, request = planned.answer, planned.request
    found = [*planned.remarks, *_uneven(planned), *_sockets_differ(planned), *_rounded_up(planned)]
    if planned.placement.status != "proven" and answer.bound is not None:
        text = f"Not proven: {answer.stopped}. A better {criterion_name(answer.bound.criterion)} may exist."
        found.append(Finding(rule="effort", severity="note", where=(), text=text, source="MODEL"))
    found += _table_findings(planned)
    some_priced = any(lot.price is not None for supply in request.supplies for lot in supply.lots)
    if (request.prefer == "cost-first" or some_priced) and not all(s.priced for s in request.supplies):
        text = "Cost is left out: not every allowed module has a price."
        found.append(Finding(rule="cost", severity="note", where=(), text=text, source="MODEL"))
    return found


def _table_findings(planned: Planned) -> Iterator[Finding]:
    """What the model would have preferred over a population table, and gained; nothing where both agree."""
    found = preferred(planned)
    if found is not None:
        gains, _ = choice_gains(planned, found.choice)
        slots = [slot for slot in planned.board.slots if found.choice.content.get(slot)]
        text = (
            f"The population table {found.table.id} decides the slots. Without it the model would fill {listed(slots)} "
            f"with {choice_phrase(found.choice)}: {gains}."
        )
        where = tuple(slot for slot, module in planned.placement.slots if module != found.choice.content.get(slot))
        yield Finding(rule="table", severity="note", where=where, text=text, source=found.table.source)


class CheckNote(NamedTuple):
    """What the check of a good board file tells of one of its rows; ``modules`` is the number meant, if any."""

    rule: str
    text: str
    modules: int | None = None


def check_notes(board: Board) -> list[CheckNote]:
    """What the file leaves to the tool, what population tables leave out, rows of rates that are never used."""
    row = board.interleave
    ways = listed([str(ways) for ways in row.ways], last="or")
    text = f"the file does not say which channels work together: as usual {row.style}, {ways} of a socket"
    usual = [CheckNote(row.id, text)] if row.id == USUAL else []
    tables = [CheckNote(note.table.id, table_note_text(note), note.modules) for note in table_notes(board)]
    return usual + tables + [CheckNote(rule, text) for rule, text in unused_rates(board)]


def table_note_text(note: TableNote) -> str:
    """What a table leaves out, or where the model would fill other slots, in words."""
    if note.criterion is None:
        return note.text
    name, there, here = note.criterion
    gain = f"{criterion_phrase(name, there)} instead of {criterion_phrase(name, here)}"
    return f"the model would fill {', '.join(note.slots)}: {gain}"


def _uneven(planned: Planned) -> Iterator[Finding]:
    """More or fewer of the same modules, up to a quarter of them, would make the machine clearly faster."""
    answer = planned.answer
    here, types = sweep_of(planned, answer.best), _types(answer.best)
    got, sentences = format_capacity(answer.best.usable_gib), []
    for up, step in ((True, answer.step_above), (False, answer.step_below)):
        if step is None or not _types(step) <= types or step.usable_gib < answer.best.usable_gib * (1 - STEP_SHARE):
            continue
        if sweep_of(planned, step) > here * UNEVEN_GAIN:
            capacity, there = format_capacity(step.usable_gib), gb_s(sweep_of(planned, step))
            lead = f"{capacity} would be faster" if up else f"{capacity} is faster than {got}"
            sentences.append(f"{lead}: {choice_phrase(step)} sweep at {there}.")
    if sentences:
        text = " ".join([f"{got} spreads unevenly over the channels: balanced sweep {gb_s(here)}.", *sentences])
        yield Finding(rule="uneven", severity="warning", where=(), text=text, source="MODEL")


def _sockets_differ(planned: Planned) -> Iterator[Finding]:
    """Sockets hold more or less than they would have to; one of them is the slowest."""
    figures, least = planned.figures, planned.answer.least_difference_gib
    if least is None or figures.socket_difference_gib <= least:
        return
    slowest = min(figures.sockets, key=lambda socket: (socket.sweep_gb_s, socket.usable_gib))
    other = max(figures.sockets, key=lambda socket: (abs(socket.usable_gib - slowest.usable_gib), socket.sweep_gb_s))
    could = f"only {format_capacity(least)} apart" if least else "equal"
    text = (
        f"{slowest.socket} is the slowest socket: it holds {format_capacity(slowest.usable_gib)} and sweeps at "
        f"{gb_s(slowest.sweep_gb_s)}; {other.socket} holds {format_capacity(other.usable_gib)}. At this capacity "
        f"the sockets could be {could}, but {planned.request.prefer} puts this placement first."
    )
    yield Finding(rule="sockets-differ", severity="note", where=(slowest.socket,), text=text, source="MODEL")


def _rounded_up(planned: Planned) -> Iterator[Finding]:
    """Why the capacity is not the one asked."""
    request, got = planned.request, format_capacity(planned.answer.best.usable_gib)
    asked = format_capacity(request.capacity_gib)
    far = " No capacity within the allowance fits." if planned.answer.outside_window else ""
    for cause in planned.answer.rounded_up:
        text = f"{asked} was asked; {got} is the next larger capacity that fits.{far} Rule {cause.rule}: {cause.text}"
        yield Finding(rule="rounded-up", severity="note", where=(), text=text, source=cause.source or "MODEL")


def _types(choice: Choice) -> set[Module]:
    return {module for module in choice.content.values() if module}


def sweep_of(planned: Planned, choice: Choice) -> Fraction:
    """The balanced sweep of a choice in GB/s."""
    place = [criterion.name for criterion in planned.answer.criteria].index("balanced_sweep")
    return Fraction(choice.vector[place])


def choice_phrase(choice: Choice) -> str:
    """The modules of a choice: ``12 x 32GB 2Rx4 PC4-2933Y-R``."""
    return modules_phrase(by_type(choice.content.values()))
