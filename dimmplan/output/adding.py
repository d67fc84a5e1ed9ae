"""What adding modules alone can reach from a plan, in words and in JSON."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from pydantic import Field

from dimmplan.growth.pinned import Next
from dimmplan.output.text import wrapped
from dimmplan.output.values import GbS, GibNumber, Label, Record
from dimmplan.units import format_capacity
from dimmplan.wording.placement import gb_s, modules_phrase


class AddedEntry(Record):
    """A module that is added."""

    slot: str = Field(description="where it goes")
    label: Label = Field(description="what goes there")


class NextEntry(Record):
    """A capacity that adding alone reaches."""

    usable_gib: GibNumber = Field(description="the capacity")
    balanced_sweep_gb_s: GbS = Field(description="GB/s")
    added: list[AddedEntry] = Field(description="what is added")


def next_record(nexts: Iterable[Next]) -> list[NextEntry]:
    """The next capacities by adding, as JSON."""
    return [
        NextEntry(
            usable_gib=each.usable_gib,
            balanced_sweep_gb_s=each.sweep_gb_s,
            added=[AddedEntry(slot=slot, label=module) for slot, module in each.added],
        )
        for each in nexts
    ]


def next_text(nexts: Sequence[Next]) -> str:
    """The next capacities by adding, for a terminal."""
    if not nexts:
        return "Next by adding only: nothing within these module types\n"
    lines = ["Next by adding only"]
    for each in nexts:
        counts = Counter(module for _, module in each.added)
        modules = modules_phrase(sorted(counts.items(), key=lambda pair: pair[0].order_key))
        text = f"{format_capacity(each.usable_gib)} sweeps at {gb_s(each.sweep_gb_s)} (adds {modules})"
        lines += wrapped(text, first="  ", rest="    ")
    return "\n".join(lines) + "\n"
