"""What is asked of a sheet, and its panels, each measured once for a letter height and a width."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from dimmplan.sheet import care, panels
from dimmplan.sheet.blocks import Block, Packed, packed
from dimmplan.sheet.facts import Facts
from dimmplan.sheet.paper import PaperName
from dimmplan.sheet.titleblock import Given
from dimmplan.sheet.view import Front

Maker = Callable[[Facts, float, float], Block | None]

_MAKERS: dict[str, Maker] = {
    "before": lambda _, cap, wide: care.before_start(cap, wide),
    "access": panels.access,
    "warning": care.warning,
    "caution": lambda _, cap, wide: care.caution(cap, wide),
    "notice": lambda _, cap, wide: care.notice(cap, wide),
    "install": lambda facts, cap, wide: panels.install(facts, facts.steps, cap, wide),
    "know": panels.must_know,
    "power": care.before_power,
    "boot": care.first_boot,
    "pick": panels.pick_list,
    "deference": lambda _, cap, wide: care.deference(cap, wide),
}


_USUAL_MM = 57.0
GUTTER_MM = 4.0
GAP_MM = 2.0


@dataclass(frozen=True)
class Job:
    """A sheet that is asked for: what it tells, on which paper, which way round, and what was given for its title.

    ``sheets`` names the sheets that show the slots where page one has only an overview.
    """

    facts: Facts
    paper: PaperName
    front: Front
    given: Given
    sheets: str = ""
    _measured: dict[tuple[str, float, float], Block | None] = field(
        default_factory=dict, init=False, compare=False, repr=False
    )

    _packed: dict[tuple[tuple[str, ...], float, float, int], Packed] = field(
        default_factory=dict, init=False, compare=False, repr=False
    )

    def block(self, name: str, cap_mm: float, width_mm: float) -> Block | None:
        """A panel by name; ``None`` where it has nothing to say."""
        key = (name, cap_mm, width_mm)
        if key not in self._measured:
            if name == "install-short":
                block: Block | None = panels.install_short(self.facts, cap_mm, width_mm, sheets=self.sheets)
            else:
                block = _MAKERS[name](self.facts, cap_mm, width_mm)
            self._measured[key] = block
        return self._measured[key]

    def area(self, name: str, cap_mm: float) -> float:
        """About the paper that a panel takes, whatever its width, in square mm."""
        block = self.block(name, cap_mm, _USUAL_MM)
        return block.height * block.width if block else 0.0

    def blocks(self, names: Sequence[str], cap_mm: float, width_mm: float) -> list[Block]:
        """Panels by name, those with nothing to say left out."""
        found = [self.block(name, cap_mm, width_mm) for name in names]
        return [block for block in found if block is not None]

    def packing(self, orders: Sequence[Sequence[str]], cap_mm: float, width_mm: float, count: int) -> Packed:
        """The panels in so many columns, in that one of some orders that takes least height."""
        key = (tuple(orders[0]), cap_mm, width_mm, count)
        if key not in self._packed:
            tries = (packed(self.blocks(order, cap_mm, width_mm), count, GAP_MM, GUTTER_MM) for order in orders)
            self._packed[key] = min(tries, key=lambda each: round(each.height, 1))
        return self._packed[key]
