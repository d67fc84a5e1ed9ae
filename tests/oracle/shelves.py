"""A refurbisher's shelf: random labels, a few of each, at random prices."""

from __future__ import annotations

import random
from fractions import Fraction

from dimmplan.errors import InputError
from dimmplan.model.label import parse_label
from dimmplan.model.module import Module
from dimmplan.stock import Shelf, ShelfLot

RATES = {1600: "K", 1866: "M", 2133: "P", 2400: "T", 2666: "V", 2933: "Y", 3200: "A"}
SIZES = (4, 8, 16, 32, 64, 128, 256)


def random_labels(count: int, seed: int, *, kinds: str = "RRRRRLLUE") -> list[Module]:
    """So many different DDR4 modules, registered ones mostly."""
    rng = random.Random(f"labels {seed}")
    found: dict[Module, None] = {}
    while len(found) < count:
        kind, rate = rng.choice(kinds), rng.choice(list(RATES))
        stack = rng.choice(("", "", "", "S2", "S4")) if kind in "RL" else ""
        ranks = rng.choice((1, 2) if stack else (1, 2, 2, 4, 8))
        label = f"{rng.choice(SIZES)}GB {ranks}{stack}Rx{rng.choice((4, 4, 8))} PC4-{rate}{RATES[rate]}-{kind}"
        try:
            found.setdefault(parse_label(label))
        except InputError:  # no such dies
            continue
    return list(found)


def random_shelf(labels: int, rows: int, seed: int, *, kinds: str = "RRRRRLLUE", most: int = 12) -> Shelf:
    """A stock list of so many rows over so many labels, each row at most ``most`` modules, in a currency."""
    rng = random.Random(f"shelf {seed}")
    modules = random_labels(labels, seed, kinds=kinds)
    lots = [
        ShelfLot(
            place=f"row {row}",
            module=modules[row % labels],
            count=rng.randint(1, most),
            price=Fraction(rng.randint(20, 400)),
        )
        for row in range(rows)
    ]
    return Shelf(file="a shelf", currency="EUR", lots=tuple(lots))
