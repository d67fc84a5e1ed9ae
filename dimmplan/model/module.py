"""A module type: what the label of a DIMM says, as one electrical identity."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction


class Generation(StrEnum):
    """Memory generation; never mixed."""

    DDR3 = "DDR3"
    DDR4 = "DDR4"
    DDR5 = "DDR5"


class Kind(StrEnum):
    """Module kind, as the kind letter and the stack letter of the JEDEC label give it."""

    RDIMM = "RDIMM"
    LRDIMM = "LRDIMM"
    UDIMM = "UDIMM"
    ECC_UDIMM = "ECC UDIMM"
    RDIMM_3DS = "3DS RDIMM"
    LRDIMM_3DS = "3DS LRDIMM"
    MRDIMM = "MRDIMM"
    SO_DIMM = "SO-DIMM"
    ECC_SO_DIMM = "ECC SO-DIMM"
    OTHER = "other"

    @property
    def stacked(self) -> Kind:
        """The kind of such a module made of 3DS stacks."""
        return {Kind.RDIMM: Kind.RDIMM_3DS, Kind.LRDIMM: Kind.LRDIMM_3DS}.get(self, self)

    @property
    def unstacked(self) -> Kind:
        """The kind by its kind letter alone, which firmware often tells and 3DS it does not."""
        return {Kind.RDIMM_3DS: Kind.RDIMM, Kind.LRDIMM_3DS: Kind.LRDIMM}.get(self, self)


class FormFactor(StrEnum):
    """Outline of the module."""

    DIMM = "DIMM"
    SO_DIMM = "SO-DIMM"


RATES_MTS: dict[Generation, tuple[int, ...]] = {
    Generation.DDR3: (800, 1066, 1333, 1600, 1866, 2133),
    Generation.DDR4: (1600, 1866, 2133, 2400, 2666, 2933, 3200),
    Generation.DDR5: (*range(3200, 8801, 400), 9200, 12800),
}
"""Standard data rates in MT/s (standards, sections 1.6 and 5; 12800 is the second MRDIMM step)."""

DIE_GBIT: dict[Generation, tuple[Fraction, ...]] = {
    Generation.DDR3: tuple(Fraction(n, 2) for n in (1, 2, 4, 8, 16)),
    Generation.DDR4: tuple(Fraction(n) for n in (2, 4, 8, 12, 16, 24, 32)),
    Generation.DDR5: tuple(Fraction(n) for n in (4, 8, 12, 16, 24, 32, 48, 64)),
}
"""Die densities that SPD contents can code, in Gbit (standards, sections 2.1 and 2.4)."""


MOST_LOGICAL_RANKS = 16
"""A label may say more (``8S4Rx4`` would be 32); no such module is known (common practice, no source)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Module:
    """One module type. Two modules are equal when they are electrically alike; the label's wording is not compared.

    ``package_ranks`` are chip selects, ``logical_ranks`` counts the dies of 3DS stacks too (package ranks times
    stack height); both are per module. ``ecc_bits`` is 0, 8, or 16 for an 80-bit DDR5 module.
    """

    label: str = field(compare=False)
    generation: Generation
    capacity_gib: int
    kind: Kind
    package_ranks: int
    logical_ranks: int
    device_width: int
    ecc_bits: int
    rate_mts: int
    voltage_mv: int

    @property
    def form_factor(self) -> FormFactor:
        """The outline that the kind comes in."""
        return FormFactor.SO_DIMM if self.kind in (Kind.SO_DIMM, Kind.ECC_SO_DIMM) else FormFactor.DIMM

    @property
    def die_gbit(self) -> Fraction:
        """Density of one die, from capacity, width and ranks (standards, sections 2.2 and 2.6)."""
        return Fraction(self.capacity_gib * 8 * self.device_width, 64 * self.logical_ranks)

    @property
    def die_family(self) -> str:
        """``24 Gbit`` for dies of 12, 24 or 48 Gbit, ``16 Gbit`` for the powers of two: the two never mix."""
        return "24 Gbit" if self.die_gbit.numerator % 3 == 0 else "16 Gbit"

    @property
    def order_key(self) -> tuple[int, int, str]:
        """Board-order key: larger capacity, then more package ranks, then the label ascending; first is best."""
        return (-self.capacity_gib, -self.package_ranks, self.label)


def by_type(modules: Iterable[Module | None]) -> tuple[tuple[Module, int], ...]:
    """The types among some modules, in board order, with how many there are of each."""
    held = Counter(module for module in modules if module)
    return tuple((module, held[module]) for module in sorted(held, key=lambda module: module.order_key))


def modules_phrase(counts: Iterable[tuple[Module, int]]) -> str:
    """Modules in a sentence: ``12 x 32GB 2Rx4 PC4-2933Y-R``."""
    return " + ".join(f"{count} x {module.label}" for module, count in counts)
