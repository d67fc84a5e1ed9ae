"""What a machine brings to a plan and how to get from one to the other, in words and in JSON."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any

from dimmplan.growth.keep import Kept, change_to
from dimmplan.model.move import Change
from dimmplan.output.machine import moves_record, step_lines
from dimmplan.output.text import wrapped
from dimmplan.planner import Planned
from dimmplan.report import device_text, moves_summary
from dimmplan.units import listed


def kept_record(kept: Kept, planned: Planned) -> dict[str, Any]:
    """What a machine brings to a plan, and how to get there, as JSON."""
    change = change_to(kept, planned)
    return {
        "date": kept.date,
        "slots": {slot: module.label if module else None for slot, module in kept.content.items()},
        "hold": list(kept.hold),
        "unlisted": list(kept.unlisted),
        "released": [
            {"slot": each.slot, "found": device_text(each.found) if each.found else "not listed"}
            for each in kept.released
        ],
        "questions": list(kept.questions),
        "discarded": sum(left.count for left in change.stranded),
        "bought": [
            {"label": label, "count": count}
            for label, count in sorted(Counter(m.module.label for m in change.moves if m.kind == "insert").items())
        ],
        "change": moves_record(change),
    }


def kept_text(kept: Kept, planned: Planned) -> str:
    """How to get from the machine to the plan, for a terminal."""
    dated = f" (inventory of {kept.date})" if kept.date else ""
    lines = [f"From what is in the machine{dated}"]
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
