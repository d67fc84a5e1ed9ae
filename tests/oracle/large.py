"""Large regular boards and seeded requests on them: what the search is timed on."""

from __future__ import annotations

import random
from collections.abc import Sequence
from typing import Any

from dimmplan.model.board import Board
from dimmplan.model.label import parse_label
from dimmplan.model.module import Generation
from dimmplan.model.request import Lot, Request, Supply
from tests.oracle.random_boards import Wiring, make_board

LABELS = (
    "16GB 1Rx4 PC5-4800B-R",
    "32GB 1Rx4 PC5-4800B-R",
    "64GB 2Rx4 PC5-4800B-R",
    "128GB 2Rx4 PC5-4800B-R",
    "256GB 4Rx4 PC5-4800B-R",
)
ODD_LABELS = (
    "16GB 1Rx4 PC5-4800B-R",
    "32GB 1Rx4 PC5-4800B-R",
    "48GB 1Rx4 PC5-4800B-R",
    "64GB 2Rx4 PC5-4800B-R",
    "96GB 2Rx4 PC5-4800B-R",
)
"""Five sizes that add up to more different capacities."""

EIGHT_LABELS = (
    "16GB 1Rx8 PC5-4800B-R",
    "24GB 1Rx8 PC5-4800B-R",
    "32GB 2Rx8 PC5-4800B-R",
    "48GB 2Rx8 PC5-4800B-R",
    "64GB 2Rx4 PC5-4800B-R",
    "96GB 2Rx4 PC5-4800B-R",
    "128GB 4Rx4 PC5-4800B-R",
    "256GB 4Rx4 PC5-4800B-R",
)
"""Eight sizes of two die families."""

ADVICE: tuple[dict[str, Any], ...] = (
    *(
        {"check": "accept", "field": field, "values": [value]}
        for field, value in (("capacity_gib", 32), ("package_ranks", 2), ("logical_ranks", 2), ("device_width", 8))
    ),
    {"check": "accept", "field": "ecc_bits", "values": [16]},
    {"check": "mix", "field": "capacity_gib", "apart": "channel"},
    {"check": "mix", "field": "package_ranks", "apart": "system"},
    {"check": "mix", "field": "logical_ranks", "apart": "socket"},
    {"check": "mix", "field": "device_width", "apart": "nowhere"},
    *({"check": "alike", "what": what} for what in ("capacity", "count", "population")),
    *({"check": "rank-limit", "count": count, "most": most} for count, most in (("package", 3), ("logical", 2))),
    {"check": "ceiling", "socket_gib": 300},
    {"check": "counts", "modules": [1, 2, 4, 8]},
    {"check": "channel-order"},
)
"""Seventeen rows, of which most requests break some."""

DIES = {"id": "dies", "check": "mix", "field": "die_family", "apart": "nowhere", "source": "INVENTED"}
EVEN: dict[str, Any] = {"style": "even", "ways": [1, 2, 3, 4, 6, 8, 12], "excess": "layers"}
ANY: dict[str, Any] = {"style": "any", "ways": [1, 2, 4, 6, 8, 10, 12], "excess": "layers"}
LISTED = {"AB": "alone", "CD": "alone", "EF": "alone", "GH": "alone", "ABCD": "none", "EFGH": "none", "CDGH": "none"}
GROUPS: dict[str, Any] = {
    "style": "groups",
    "groups": [
        {"channels": list(channels), "excess": excess}
        for channels, excess in {**LISTED, "ACDEGH": "none", "ABCDEFGH": "none"}.items()
    ],
}
LAYERED: dict[str, Any] = {
    "style": "groups",
    "groups": [
        {"channels": list(channels), "excess": "layers"}
        for channels in (
            *("AB", "CD", "EF", "GH", "IJ", "KL"),
            *("ABCD", "EFGH", "IJKL", "ABCDEFGH", "EFGHIJKL", "ABCDEFGHIJKL"),
        )
    ],
}
"""Twelve groups of twelve channels; what is left over forms further sets."""


def large_board(
    sockets: int,
    controllers: int,
    channels: int,
    slots: int,
    interleave: dict[str, Any],
    labels: tuple[str, ...] = LABELS,
    *,
    advice: Sequence[dict[str, Any]] = (),
    mixed_dies: bool = False,
    rate_scope: str = "system",
) -> Board:
    """Equal sockets of ``controllers`` x ``channels`` channels with ``slots`` slots each; slower with more modules.

    ``advice`` are advised rows; with ``mixed_dies`` die families may stand together.
    """
    wiring: Wiring = {}
    most = controllers * channels
    for number in range(1, sockets + 1):
        names = iter("ABCDEFGHIJKLMNOP"[:most])
        wiring[f"S{number}"] = {
            f"M{index}": {
                (name := next(names)): [f"S{number}{name}{slot}" for slot in range(1, slots + 1)]
                for _ in range(channels)
            }
            for index in range(controllers)
        }
    if interleave["style"] != "groups":
        interleave = {**interleave, "ways": [ways for ways in interleave["ways"] if ways <= most]}
    rates = {1: 4800, 2: 4400, 3: 4000, 4: 4000}
    return make_board(
        wiring,
        modules=list(labels),
        interleave=interleave,
        rules=[
            {"id": "kinds", "check": "accept", "field": "kind", "values": ["RDIMM"], "source": "INVENTED"},
            *([] if mixed_dies else [DIES]),
            *({"id": f"advice-{n}", "severity": "advised", "source": "INVENTED"} | row for n, row in enumerate(advice)),
        ],
        rates=[
            {"id": f"rate-{dpc}", "dpc": dpc, "mts": mts, "source": "INVENTED"}
            for dpc, mts in rates.items()
            if dpc <= slots
        ],
        rates_mts=sorted({mts for dpc, mts in rates.items() if dpc <= slots}),
        generation=Generation.DDR5,
        rate_scope=rate_scope,
    )


def large_request(board: Board, seed: int, *, types: int = 2, stock: bool = False) -> Request:
    """A request that some placement of two sizes meets, or misses by a little."""
    rng = random.Random(f"large {seed}")
    kinds, slots = len(board.modules), len(board.slots)
    limits = [rng.randint(slots // 8, slots // 2) if stock else None for _ in range(kinds)]
    while True:
        one, other = rng.sample(range(kinds), 2)
        count = rng.randint(slots // 4, slots * 9 // 10)
        first = rng.randint(1, count - 1)
        if all(limit is None or n <= limit for limit, n in ((limits[one], first), (limits[other], count - first))):
            return _request(board, {one: first, other: count - first}, limits, rng.choice((0, 0, -8, 4)), types)


def scaled_request(board: Board, seed: int, share: float, *, types: int = 2, stock: bool = False) -> Request:
    """The same request of every socket, whatever the number of sockets: ``share`` of its slots filled."""
    rng = random.Random(f"scaled {seed}")
    kinds, sockets = len(board.modules), len(board.sockets)
    slots = len(board.slots) // sockets
    one, other = rng.sample(range(kinds), 2)
    count = max(2, round(slots * share))
    first = min(count - 1, max(1, round(count * rng.random())))
    needed = {one: first * sockets, other: (count - first) * sockets}
    least = [needed.get(kind, 0) for kind in range(kinds)]
    spare = [rng.random() / 2 for _ in range(kinds)]
    limits = [n + round(slots * more) * sockets if stock else None for n, more in zip(least, spare, strict=True)]
    return _request(board, needed, limits, rng.choice((0, 0, -8, 4)), types)


def _request(board: Board, counts: dict[int, int], limits: Sequence[int | None], off: int, types: int) -> Request:
    """A request for the capacity of these counts of the board's modules, ``off`` by some GiB."""
    modules = [parse_label(module.label) for module in board.modules]
    return Request(
        capacity_gib=sum(modules[kind].capacity_gib * count for kind, count in counts.items()) + off,
        supplies=tuple(
            Supply(module=module, lots=(Lot(count=limit),)) for module, limit in zip(modules, limits, strict=True)
        ),
        fitted=tuple(socket.id for socket in board.sockets),
        max_types=types,
    )
