"""What a memory mode costs: its plan beside that of the same request in the independent mode, in words and in JSON."""

from __future__ import annotations

from fractions import Fraction
from typing import Any, NamedTuple

from dimmplan.explain import gb_s, modules_phrase
from dimmplan.model.request import Mode
from dimmplan.output.text import wrapped
from dimmplan.output.values import gib_number
from dimmplan.planner import Planned
from dimmplan.units import counted, decimal, format_capacity


class _Side(NamedTuple):
    """Figures that a mode is weighed by; GB/s are system sweeps."""

    modules: str
    installed_gib: int
    slots: int
    read: Fraction
    write: Fraction


def _side(planned: Planned) -> _Side:
    placement, figures = planned.placement, planned.figures
    sweep = figures.system_sweep_gb_s
    return _Side(
        modules=modules_phrase((module, placement.count(module)) for module in placement.types),
        installed_gib=figures.capacity_gib,
        slots=figures.modules,
        read=sweep,
        write=sweep / 2 if placement.mode is Mode.MIRRORED else sweep,
    )


def mode_record(planned: Planned, free: Planned) -> dict[str, Any]:
    """The price of a mode as JSON: what the independent mode would take, and how much more or less the mode has."""
    mine, other = _side(planned), _side(free)
    return {
        "independent": {
            "usable_gib": gib_number(free.answer.best.usable_gib),
            "modules": [{"label": m.label, "count": free.placement.count(m)} for m in free.placement.types],
            "system_sweep_gb_s": decimal(other.read, 1),
        },
        "installed_gib": mine.installed_gib - other.installed_gib,
        "slots": mine.slots - other.slots,
        "read_gb_s": decimal(mine.read - other.read, 1),
        "write_gb_s": decimal(mine.write - other.write, 1),
    }


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
