"""What a memory mode costs: its plan beside that of the same request in the independent mode, in words and in JSON."""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from pydantic import Field

from dimmplan.model.request import Mode
from dimmplan.output.text import wrapped
from dimmplan.output.values import Count, GbS, GibNumber, Record, counts
from dimmplan.planner import Planned
from dimmplan.units import counted, format_capacity
from dimmplan.wording.placement import gb_s, modules_phrase


class _Side(NamedTuple):
    """Figures that a mode is weighed by; GB/s are system sweeps."""

    modules: str
    installed_gib: int
    slots: int
    read: Fraction
    write: Fraction


def _side(planned: Planned) -> _Side:
    placement, figures = planned.placement, planned.figures
    sweep = figures.balanced_sweep_gb_s
    return _Side(
        modules=modules_phrase((module, placement.count(module)) for module in placement.types),
        installed_gib=figures.capacity_gib,
        slots=figures.modules,
        read=sweep,
        write=sweep / 2 if placement.mode is Mode.MIRRORED else sweep,
    )


class IndependentEntry(Record):
    """The same request in the independent mode."""

    usable_gib: GibNumber = Field(description="what the request would have in the independent mode")
    modules: list[Count] = Field(description="what it would take")
    balanced_sweep_gb_s: GbS = Field(description="GB/s")


class ModePriceEntry(Record):
    """What a mode costs."""

    independent: IndependentEntry = Field(description="the same request in the independent mode")
    installed_gib: int = Field(description="how much more the mode puts into the machine")
    slots: int = Field(description="how many slots more")
    read_gb_s: GbS = Field(description="how much faster the mode reads, GB/s; below 0 where slower")
    write_gb_s: GbS = Field(description="and writes")


def mode_record(planned: Planned, free: Planned) -> ModePriceEntry:
    """The price of a mode as JSON: what the independent mode would take, and how much more or less the mode has."""
    mine, other = _side(planned), _side(free)
    return ModePriceEntry(
        independent=IndependentEntry(
            usable_gib=free.answer.best.usable_gib,
            modules=counts((module, free.placement.count(module)) for module in free.placement.types),
            balanced_sweep_gb_s=other.read,
        ),
        installed_gib=mine.installed_gib - other.installed_gib,
        slots=mine.slots - other.slots,
        read_gb_s=mine.read - other.read,
        write_gb_s=mine.write - other.write,
    )


def mode_text(planned: Planned, free: Planned) -> str:
    """The price of a mode for a terminal."""
    mine, other = _side(planned), _side(free)
    mode, asked = planned.request.mode.value, format_capacity(planned.request.capacity_gib)
    lines = ["What the mode costs"]
    for name, side in ((mode, mine), ("independent", other)):
        speed = gb_s(side.read) + (f" reading, {gb_s(side.write)} writing" if side.write != side.read else "")
        lines += wrapped(
            f"{name}: {asked} asked is {side.modules}, {format_capacity(side.installed_gib)} in "
            f"{counted(side.slots, 'slot')}; sweeps at {speed}",
            first="  ",
            rest="    ",
        )
    return "\n".join(lines) + "\n"
