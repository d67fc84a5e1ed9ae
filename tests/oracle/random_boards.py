"""Small random boards and requests, irregular ones too, all of them valid board files."""

from __future__ import annotations

import itertools
import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any, NamedTuple

from dimmplan.boardfile.check import check_meaning
from dimmplan.boardfile.expand import expand
from dimmplan.boardfile.schema import BoardFile
from dimmplan.model.board import Board, Box, ModuleFacts, Tray
from dimmplan.model.label import parse_label
from dimmplan.model.module import RATES_MTS, Generation, Module
from dimmplan.model.request import Lot, Mode, Request, Supply
from dimmplan.model.rows import ProcessorOption
from dimmplan.rules import (
    AlikeRow,
    LockstepRow,
    MirroringRow,
    PartialMirroringRow,
    RuleRow,
    SequenceRow,
    SparingRow,
    TableRow,
    ThermalLimitRow,
)
from dimmplan.solve.criteria import LISTS

Wiring = dict[str, dict[str, dict[str, list[str]]]]
"""Socket, controller, channel, slots in fill order."""

MOST_SLOTS = 8
MOST_PLACEMENTS = 50_000

POOLS: dict[Generation, tuple[str, ...]] = {
    Generation.DDR3: (
        "4GB 1Rx4 PC3-12800R",
        "8GB 2Rx4 PC3-14900R",
        "8GB 2Rx8 PC3L-12800R",
        "16GB 2Rx4 PC3L-12800R",
        "16GB 4Rx4 PC3-10600R",
        "32GB 4Rx4 PC3-14900L",
    ),
    Generation.DDR4: (
        "4GB 1Rx8 PC4-2400T-R",
        "8GB 1Rx8 PC4-2933Y-R",
        "8GB 2Rx8 PC4-2666V-E",
        "12GB 1Rx8 PC4-3200AA-R",
        "16GB 1Rx4 PC4-2933Y-R",
        "16GB 2Rx4 PC4-2933Y-R",
        "16GB 2Rx8 PC4-2666V-R",
        "16GB 2Rx8 PC4-2666V-U",
        "24GB 1Rx4 PC4-3200AA-R",
        "32GB 1Rx4 PC4-3200AA-R",
        "32GB 2Rx4 PC4-2933Y-R",
        "32GB 2Rx8 PC4-3200AA-R",
        "32GB 4Rx8 PC4-2400T-R",
        "64GB 2Rx4 PC4-2933Y-R",
        "64GB 2S2Rx4 PC4-2933Y-R",
        "64GB 4Rx4 PC4-2666V-L",
        "128GB 4Rx4 PC4-3200AA-L",
    ),
    Generation.DDR5: (
        "16GB 1Rx8 PC5-4800B-R",
        "16GB 1Rx8 EC4 PC5-4800B-R",
        "24GB 1Rx8 PC5-5600B-R",
        "32GB 1Rx4 PC5-5600B-R",
        "32GB 2Rx8 PC5-4800B-R",
        "48GB 1Rx4 PC5-5600B-R",
        "64GB 2Rx4 PC5-4800B-R",
        "96GB 2Rx4 PC5-5600B-R",
        "128GB 2S2Rx4 PC5-4800B-R",
    ),
}
_RATES: dict[Generation, tuple[int, ...]] = {
    Generation.DDR3: (1066, 1333, 1600, 1866),
    Generation.DDR4: (2133, 2400, 2666, 2933, 3200),
    Generation.DDR5: (4000, 4400, 4800, 5600),
}
_MIX_FIELDS = ("device_width", "capacity_gib", "kind", "package_ranks", "ecc_bits", "die_family", "rate_mts")


def random_case(seed: int) -> tuple[Board, Request]:
    """A board and a request on it; the same seed gives the same case."""
    rng = random.Random(seed)
    board, modules, fitted = _random_board(rng)
    return board, _random_request(rng, board, modules, fitted)


def random_mode_case(seed: int) -> tuple[Board, Request]:
    """As ``random_case``, with a row on mirroring or on rank sparing (or none, rarely) and a request in that mode."""
    rng = random.Random(f"mode {seed}")
    board, request = random_case(seed)
    if rng.random() < 0.5:
        mode = Mode.MIRRORED
        row: RuleRow = MirroringRow(
            id="mirror",
            check="mirroring",
            group_channels=rng.choice([2, 3, (2, 3)]),
            within=rng.choice(["controller", "socket"]),
            modules=rng.choice([(), (), (2, 4, 6)]),
            one_type=rng.random() < 0.3,
            source="INVENTED",
        )
    else:
        mode = Mode.SPARING
        row = SparingRow(
            id="spare",
            check="sparing",
            min_ranks=rng.choice([2, 2, 3]),
            spare=rng.choice(["package", "logical"]),
            source="INVENTED",
        )
    rules = board.rules if rng.random() < 0.05 else (*board.rules, row)
    capacity = max(1, request.capacity_gib // rng.choice([1, 2, 2]))
    return replace(board, rules=rules), replace(request, mode=mode, capacity_gib=capacity)


def random_part_mode_case(seed: int) -> tuple[Board, Request]:
    """As ``random_case``, with a row on partial mirroring or on lockstep and a request in that mode."""
    rng = random.Random(f"part mode {seed}")
    board, request = random_case(seed)
    row: RuleRow
    if rng.random() < 0.5:
        mode = Mode.PARTLY_MIRRORED
        amount = {"mirrored_gib": rng.choice([8, 16, 32])} if rng.random() < 0.5 else {"mirrored_percent": 25}
        row = PartialMirroringRow(
            id="partial",
            check="partial-mirroring",
            group_channels=rng.choice([(), 2, (2, 3)]),
            within=rng.choice(["controller", "socket"]),
            modules=rng.choice([(), (), (2, 4, 6)]),
            one_type=rng.random() < 0.2,
            source="INVENTED",
            **amount,
        )
    else:
        mode = Mode.LOCKSTEP
        row = LockstepRow(
            id="lock",
            check="lockstep",
            pairs=tuple(_random_pairs(rng, board)) or (("no", "channels"),),
            pair_peak=rng.choice([None, "one", "both"]),
            source="INVENTED",
        )
    capacity = max(1, request.capacity_gib // rng.choice([1, 1, 2]))
    return replace(board, rules=(*board.rules, row)), replace(request, mode=mode, capacity_gib=capacity)


def _random_pairs(rng: random.Random, board: Board) -> Iterator[tuple[str, str]]:
    """Pairs of channels that share a controller at every socket that has both."""
    ids = list(dict.fromkeys(channel.id for channel in board.channels))
    rng.shuffle(ids)
    homes = [{channel.id: channel.controller for channel in socket.channels} for socket in board.sockets]
    while ids:
        one = ids.pop()
        fitting = [each for each in ids if all(home.get(one) == home.get(each) for home in homes)]
        if fitting and rng.random() < 0.9:
            ids.remove(fitting[0])
            yield one, fitting[0]


def random_equipment_case(seed: int) -> tuple[Board, Request]:
    """As ``random_case``, with sockets of different processors, channels that some do not serve, and absent trays."""
    rng = random.Random(f"equipment {seed}")
    board, request = random_mode_case(seed) if rng.random() < 0.2 else random_case(seed)
    rules = [row for row in board.rules if not isinstance(row, SequenceRow)]
    if board.rate_scope != "system":
        rules = [row for row in rules if not isinstance(row, AlikeRow)]
    modules = [supply.module for supply in request.supplies]
    raw = [each for _ in range(3) for each in _processors(rng, board.generation, modules)]
    raw = [each | {"id": f"option-{number}"} for number, each in enumerate([*raw, {"source": "INVENTED"}])]
    ids = [sorted({channel.id for channel in socket.channels}) for socket in board.sockets]
    for each in raw:
        served = [name for name in dict.fromkeys(itertools.chain(*ids)) if rng.random() < 0.8]
        if rng.random() < 0.4 and all(set(own) & set(served) for own in ids):
            each["channels"] = served
    options = tuple(ProcessorOption.model_validate(each) for each in raw)
    fitted = tuple(socket.id for socket in board.sockets if socket.id in request.fitted)
    seats = {socket: rng.choice(options).id for socket in fitted}
    mixed = ",".join(f"{socket}={option}" for socket, option in seats.items())
    alike = len(set(seats.values())) == 1
    held = [slot for slot in board.slots if rng.random() < 0.25]
    trays = (Tray("tray", tuple(held), Box(0, 0, 1, 1), ()),) if held and rng.random() < 0.5 else ()
    board = replace(
        board,
        rules=tuple(rules),
        processors=options,
        processors_differ=True,
        physical=board.physical._replace(trays=trays),
    )
    watts = [(module.label, Fraction(rng.randint(6, 18), 2) if rng.random() < 0.8 else None) for module in modules]
    board = replace(board, module_facts=tuple(ModuleFacts(label, "", most) for label, most in watts))
    if rng.random() < 0.5:
        hot: dict[str, Any] = {"processors": rng.sample([option.id for option in options], 1)}
        if rng.random() < 0.5:
            hot["above_inlet_c"] = 30
            board = replace(board, inlet_c=rng.choice((None, 30, 31)))
        hot |= rng.choice(({"from_watts": 6.0}, {"from_gib": max(m.capacity_gib for m in modules)}))
        row = ThermalLimitRow(
            id="hot", check="thermal-limit", severity=rng.choice(("error", "advised")), source="INVENTED", **hot
        )
        board = replace(board, rules=(*board.rules, row))
    processor = next(iter(seats.values())) if alike else mixed
    return board.without(["tray"]), replace(request, fitted=fitted, processor=processor)


def as_wired(board: Board, request: Request) -> Board:
    """A board on which only those slots are wired that can be used, found without asking the board."""
    options = {option.id: option for option in board.processors}
    seats = dict(seat.split("=") for seat in str(request.processor).split(",") if "=" in seat)
    absent = {slot for tray in board.physical.trays for slot in tray.slots if tray.name in board.absent}
    sockets = []
    for socket in board.every_socket:
        own = seats.get(socket.id, request.processor) if socket.id in request.fitted else None
        served = options[own].channels if own else ()
        controllers = []
        for controller in socket.controllers:
            channels = []
            for channel in controller.channels:
                slots = tuple(slot for slot in channel.slots if slot not in absent)
                if slots and (not served or channel.id in served):
                    channels.append(channel._replace(slots=slots))
            if channels:
                controllers.append(controller._replace(channels=tuple(channels)))
        sockets.append(socket._replace(controllers=tuple(controllers)))
    bare = tuple(option.model_copy(update={"channels": ()}) for option in board.processors)
    return replace(board, sockets=tuple(sockets), wired=(), absent=(), processors=bare)


def random_table_case(seed: int) -> tuple[Board, Request]:
    """As ``random_case``, with one or two population tables: of a socket, of each, or of the whole machine."""
    rng = random.Random(f"table {seed}")
    board, request = random_mode_case(seed) if rng.random() < 0.2 else random_case(seed)
    tables = [_table(rng, board, request, f"table-{number}") for number in range(rng.choice((1, 1, 2)))]
    if len(tables) == 2 and tables[0]._meets(tables[1]):
        tables.pop()
    return replace(board, rules=(*board.rules, *tables)), request


def _table(rng: random.Random, board: Board, request: Request, row_id: str) -> TableRow:
    """A table whose rows mostly leave no gap in a channel, with most numbers listed."""
    sockets = [board.socket(socket_id) for socket_id in request.fitted]
    kind = rng.choice(("socket", "machine", "machine", "each"))
    socket = rng.choice(sockets)
    alike = kind == "each" and all(other.build == sockets[0].build for other in sockets)
    channels = [channel.slots for each in (sockets if kind == "machine" else [socket]) for channel in each.channels]
    most = sum(map(len, channels))
    rows: dict[int, tuple[str, ...]] = {}
    for count in sorted(rng.sample(range(1, most + 1), rng.randint((most + 1) // 2, most))):
        if rng.random() < 0.1:
            slots = rng.sample([slot for channel in channels for slot in channel], count)
        else:
            order = {id(channel): iter(channel) for channel in channels}
            picks = rng.sample([id(channel) for channel in channels for _ in channel], count)
            slots = [next(order[pick]) for pick in picks]
        rows[count] = tuple(slot.replace(socket.id, "{socket}") if alike else slot for slot in slots)
    return TableRow(
        id=row_id,
        check="table",
        severity=rng.choice(("error", "error", "error", "advised")),
        rows=rows,
        socket=None if kind == "machine" or alike else socket.id,
        fitted=request.fitted if rng.random() < 0.3 else (),
        mode=request.mode if rng.random() < 0.3 else None,
        source="INVENTED",
    )


def _chance(rng: random.Random, share: float) -> bool:
    return rng.random() < share


def _severity(rng: random.Random) -> str:
    return rng.choice(("error", "error", "advised"))


# Boards


def make_board(
    wiring: Wiring,
    *,
    modules: list[str],
    interleave: dict[str, Any],
    rules: list[dict[str, Any]],
    rates: list[dict[str, Any]],
    rates_mts: list[int],
    generation: Generation = Generation.DDR4,
    rate_scope: str = "system",
    processors: Sequence[dict[str, Any]] = (),
) -> Board:
    """A board of these parts, read as a file is. Raises ``ValueError`` where its check finds a problem."""
    raw = {
        "format": 1,
        "id": "test-board",
        "title": "Test board",
        "trust": "drafted",
        "modules": modules,
        "electrical": {
            "generation": generation.value,
            "rate_scope": rate_scope,
            "rates_mts": rates_mts,
            "sockets": [{"id": socket, "controllers": controllers} for socket, controllers in wiring.items()],
            "interleave": {"source": "INVENTED", **interleave},
        },
        "rules": rules,
        "rates": rates,
        "processors": list(processors),
        "physical": _physical(wiring),
    }
    board_file = BoardFile.model_validate(raw)
    problems = check_meaning(board_file, file="test board")
    if problems:
        raise ValueError(problems)
    return expand(board_file)


def _random_board(rng: random.Random) -> tuple[Board, list[Module], tuple[str, ...]]:
    generation = rng.choices(list(POOLS), weights=(2, 7, 2))[0]
    wiring = _wiring(rng)
    seed = rng.getrandbits(32)
    fitted_rows, fitted = _fitted(rng, list(wiring))
    rows = fitted_rows + _fill_order_rows(_stream(seed, "fill-order"))
    in_order = all(row["severity"] == "error" for row in rows if row["check"] == "fill-order")
    modules = _modules(rng, generation, wiring, fitted, in_order=in_order)
    facts = _Facts(wiring, modules, in_order)
    rows += [row for kind, make in _ROWS.items() for row in make(_stream(seed, kind), facts)]
    rows.sort(key=lambda row: _stream(seed, f"place of {row['id']}").random())
    listed = sorted(rng.sample(_RATES[generation], rng.randint(2, len(_RATES[generation]))))
    usual = [module for module in modules if _accepted(rows, module)]
    board = make_board(
        wiring,
        generation=generation,
        modules=[module.label for module in usual],
        rate_scope=rng.choice(("system", "system", "socket", "channel")),
        rates_mts=listed,
        interleave=_interleave(rng, wiring),
        rules=rows,
        rates=_rate_rows(rng, listed, usual),
        processors=_processors(rng, generation, modules),
    )
    return board, modules, fitted


def _wiring(rng: random.Random) -> Wiring:
    """Sockets wired alike or each in its own way, with at most ``MOST_SLOTS`` slots in all."""
    sockets = rng.choices((1, 2, 3), weights=(4, 6, 2))[0]
    while True:
        shapes = [_shape(rng) for _ in range(sockets)]
        if _chance(rng, 0.45):
            shapes = [shapes[0]] * sockets
        total = sum(slots for shape in shapes for controller in shape for slots in controller)
        if not 2 <= total <= MOST_SLOTS or (total < 6 and _chance(rng, 0.8)):
            continue
        wiring: Wiring = {}
        for number, shape in enumerate(shapes, start=1):
            letters = iter("ABCDEFGHI")
            wiring[f"S{number}"] = {
                f"M{index}": {
                    letter: [f"S{number}{letter}{slot}" for slot in range(1, slots + 1)]
                    for slots, letter in zip(controller, letters, strict=False)
                }
                for index, controller in enumerate(shape)
            }
        return wiring


def _shape(rng: random.Random) -> list[list[int]]:
    """Slots of each channel of each controller."""
    usual = rng.choice((1, 1, 2, 2, 2, 3))
    channels = rng.randint(1, 3)
    shape = []
    for _ in range(rng.choices((1, 2, 3), weights=(3, 5, 2))[0]):
        own = channels if _chance(rng, 0.8) else rng.randint(1, 3)
        shape.append([usual if _chance(rng, 0.8) else rng.randint(1, 3) for _ in range(own)])
    return shape


def _channels(wiring: Wiring) -> list[list[str]]:
    return [
        slots for controllers in wiring.values() for channels in controllers.values() for slots in channels.values()
    ]


def _slots(controllers: dict[str, dict[str, list[str]]]) -> list[str]:
    return [slot for channels in controllers.values() for slots in channels.values() for slot in slots]


def _modules(
    rng: random.Random, generation: Generation, wiring: Wiring, fitted: Sequence[str], *, in_order: bool
) -> list[Module]:
    """One to three types, so few that every placement can be tried."""
    channels = _channels({socket: wiring[socket] for socket in fitted})
    wanted = rng.choices((1, 2, 3), weights=(1, 5, 5))[0]
    while wanted > 1:
        placements = 1
        for slots in channels:
            most = len(slots)
            placements *= sum(wanted**n for n in range(most + 1)) if in_order else (wanted + 1) ** most
        if placements <= MOST_PLACEMENTS:
            break
        wanted -= 1
    pool = [parse_label(label) for label in POOLS[generation]]
    first = rng.choice(pool)
    alike = ("kind", "device_width", "ecc_bits", "die_family")
    near = [module for module in pool if all(getattr(module, f) == getattr(first, f) for f in alike)]
    equal = [module for module in pool if module.capacity_gib == first.capacity_gib]
    chosen = [first]
    while len(chosen) < wanted:
        another = rng.choice(rng.choice((near, near, near, near, equal, pool)))
        if another not in chosen:
            chosen.append(another)
        elif len(chosen) >= len(near):
            near = pool
    rng.shuffle(chosen)
    return chosen


def _row(rng: random.Random, check: str, row_id: str, **content: Any) -> dict[str, Any]:
    return {"check": check, "id": row_id, "source": "INVENTED", "severity": _severity(rng), **content}


def _fitted(rng: random.Random, sockets: list[str]) -> tuple[list[dict[str, Any]], tuple[str, ...]]:
    """Rows on which sockets may be fitted, and those that are, refused ones now and then."""
    sets = [sockets[:1], sockets, rng.sample(sockets, rng.randint(1, len(sockets)))]
    rows = []
    if _chance(rng, 0.3):
        rows.append(_row(rng, "fitted", "boot-socket", sets=rng.sample(sets, rng.randint(1, 3))))
    fitted = rng.choice(rows[0]["sets"]) if rows and _chance(rng, 0.85) else sockets
    if not rows and _chance(rng, 0.25):
        fitted = sockets[: rng.randint(1, len(sockets))]
    elif _chance(rng, 0.06):
        fitted = rng.sample(sockets, rng.randint(1, len(sockets)))
    return rows, tuple(rng.sample(list(fitted), len(fitted)))


class _Facts(NamedTuple):
    """What rows of a random board are made for."""

    wiring: Wiring
    modules: list[Module]
    in_order: bool

    @property
    def sockets(self) -> list[str]:
        return list(self.wiring)


Rows = list[dict[str, Any]]


def _stream(seed: int, kind: str) -> random.Random:
    """Chance of its own for each kind of rule: a new kind leaves the rows of all others as they were."""
    return random.Random(f"{seed} {kind}")


def _fill_order_rows(rng: random.Random) -> Rows:
    severity = rng.choice(("off", "advised", "error"))
    return [_row(rng, "fill-order", "gaps", severity=severity)] if _chance(rng, 0.25) else []


def _channel_order_rows(rng: random.Random, _: _Facts) -> Rows:
    keys = rng.choice((["package_ranks"], ["capacity_gib"], ["capacity_gib", "package_ranks"], ["logical_ranks"]))
    severity = rng.choice(("off", "advised", "error"))
    row = _row(rng, "channel-order", "along-the-channel", severity=severity, keys=keys)
    return [row] if _chance(rng, 0.35) else []


def _rank_limit_rows(rng: random.Random, _: _Facts) -> Rows:
    counts = rng.sample(("package", "logical", "loads"), rng.choice((0, 0, 0, 1, 1, 2)))
    return [
        _row(rng, "rank-limit", f"most-{count}", count=count, most=rng.choice((2, 3, 4, 4, 6, 6, 8)))
        for count in counts
    ]


def _minimum_rows(rng: random.Random, _: _Facts) -> Rows:
    row = _row(rng, "socket-minimum", "least", severity="error", modules=rng.choice((1, 1, 2)))
    return [row] if _chance(rng, 0.2) else []


def _accept_rows(rng: random.Random, facts: _Facts) -> Rows:
    """What the board takes: always the first type, most often all."""
    rows, modules = [], facts.modules
    for field in ("kind", "capacity_gib", "device_width", "package_ranks", "rate_mts", "voltage_mv"):
        if field != "kind" and not _chance(rng, 0.04):
            continue
        first, *others = [getattr(module, field) for module in modules]
        values = sorted({first, *(value for value in others if _chance(rng, 0.85))})
        if field == "kind" and _chance(rng, 0.5):
            values = sorted({"RDIMM", *values})
        rows.append(_row(rng, "accept", f"takes-{field}", field=field, values=values))
    return rows


def _accepted(rows: list[dict[str, Any]], module: Module) -> bool:
    accepts = [row for row in rows if row["check"] == "accept"]
    return all(getattr(module, row["field"]) in row["values"] for row in accepts)


def _mix_rows(rng: random.Random, _: _Facts) -> Rows:
    return [
        _row(
            rng,
            "mix",
            f"mix-{field}",
            field=field,
            apart=rng.choice(("system", "socket", "channel", "channel", "nowhere")),
            severity=rng.choice(("off", "advised", "error", "error")),
        )
        for field in _MIX_FIELDS
        if _chance(rng, 0.2)
    ]


def _named(rng: random.Random, facts: _Facts) -> list[str]:
    """The sockets that a row is about: none for all."""
    return rng.choice(([], rng.sample(facts.sockets, rng.randint(1, len(facts.wiring)))))


def _ceiling_rows(rng: random.Random, facts: _Facts) -> Rows:
    most = max(len(_slots(controllers)) for controllers in facts.wiring.values())
    largest = most * max(module.capacity_gib for module in facts.modules)
    return [
        _row(rng, "ceiling", row_id, socket_gib=rng.randint(max(1, largest // 3), largest), sockets=_named(rng, facts))
        for row_id in ("ceiling-one", "ceiling-two")
        if _chance(rng, 0.12)
    ]


def _counts_rows(rng: random.Random, facts: _Facts) -> Rows:
    rows = []
    for row_id in ("counts-one", "counts-two"):
        if _chance(rng, 0.12):
            named = _named(rng, facts)
            fewest = min(len(_slots(facts.wiring[socket])) for socket in named or facts.sockets)
            counts = sorted(rng.sample(range(1, fewest + 1), rng.randint((fewest + 1) // 2, fewest)))
            rows.append(_row(rng, "counts", row_id, modules=counts, sockets=named))
    return rows


def _sequence_rows(rng: random.Random, facts: _Facts) -> Rows:
    if not _chance(rng, 0.12):
        return []
    socket = rng.choice(facts.sockets)
    slots = _slots(facts.wiring[socket])
    order = rng.sample(slots, len(slots))
    if facts.in_order:
        channels = _channels(facts.wiring)
        of_channel = {slot: channel for channel in channels for slot in channel}
        waiting = {id(channel): iter(channel) for channel in channels}
        order = [next(waiting[id(of_channel[slot])]) for slot in order]
    return [_row(rng, "sequence", "prescribed", socket=socket, slots=order)]


def _alike_rows(rng: random.Random, facts: _Facts) -> Rows:
    if not _chance(rng, 0.2):
        return []
    row = _row(rng, "alike", "alike", what=rng.choice(("capacity", "count", "population")))
    shapes = {
        tuple(tuple(len(slots) for slots in channels.values()) for channels in controllers.values())
        for controllers in facts.wiring.values()
    }
    return [row | {"severity": "advised"} if len(shapes) > 1 and row["what"] == "population" else row]


_ROWS: dict[str, Callable[[random.Random, _Facts], Rows]] = {
    "channel-order": _channel_order_rows,
    "rank-limit": _rank_limit_rows,
    "socket-minimum": _minimum_rows,
    "accept": _accept_rows,
    "mix": _mix_rows,
    "ceiling": _ceiling_rows,
    "counts": _counts_rows,
    "sequence": _sequence_rows,
    "alike": _alike_rows,
}
"""What makes the rows of a kind, now and then."""


def _interleave(rng: random.Random, wiring: Wiring) -> dict[str, Any]:
    style = rng.choice(("even", "any", "groups"))
    ids = [[channel for channels in c.values() for channel in channels] for c in wiring.values()]
    widest = max(ids, key=len)
    if style == "groups" and len(widest) > 1:
        groups: dict[frozenset[str], dict[str, Any]] = {}
        for _ in range(rng.randint(1, 6)):
            channels = rng.sample(widest, rng.randint(2, len(widest)))
            excess = rng.choice(("layers", "alone", "none"))
            group = {"channels": channels, "exclusive": _chance(rng, 0.3), "excess": excess}
            groups.setdefault(frozenset(channels), group)
        return {"style": style, "groups": list(groups.values())}
    most = len(widest)
    ways = rng.sample(range(1, most + 1), rng.randint(max(1, most - 2), most))
    excess = rng.choice(("layers", "layers", "alone", "none"))
    return {"style": "any" if style == "groups" else style, "ways": ways, "excess": excess}


def _rate_rows(rng: random.Random, listed: list[int], usual: list[Module]) -> list[dict[str, Any]]:
    """One row for each case, by ranks, slots, kind or voltage; slower with more modules on a channel."""
    kinds = sorted({module.kind.value for module in usual} | {"RDIMM"})
    ranks = sorted({module.package_ranks for module in usual})
    parts: dict[str, list[list[Any]]] = {
        "all": [[]],
        "package_ranks": [[1], [n for n in (2, 4, 8) if n in ranks or _chance(rng, 0.7)] or [2]],
        "slots": [[1, 2], [3, 4]] if _chance(rng, 0.5) else [[1], [2, 3, 4]],
        "kinds": [[kinds[0]], ["RDIMM", "LRDIMM", "UDIMM", "ECC UDIMM", "3DS RDIMM"]],
        "voltage_mv": [[1500, 1200, 1100], [1350]],
    }
    parts["kinds"][1].remove(kinds[0])
    rows = []
    fastest = len(listed) - 1
    for dpc in (1, 2, 3):
        field = rng.choice(("all", "all", "all", *parts))
        for number, values in enumerate(parts[field]):
            mts: int | str = listed[max(0, fastest - rng.choice((0, 0, 1)))]
            if _chance(rng, 0.03 if dpc == 1 else 0.1):
                mts = "none"
            row = {"id": f"rate-{dpc}-{number}", "dpc": dpc, "mts": mts, "source": "INVENTED"}
            rows.append(row if field == "all" else {**row, field: values})
        fastest = max(0, fastest - rng.choice((0, 1, 1, 2)))
    rng.shuffle(rows)
    return rows


def _processors(rng: random.Random, generation: Generation, modules: list[Module]) -> list[dict[str, Any]]:
    options = []
    for number in range(rng.choice((0, 0, 1, 2))):
        rates = []
        for _ in range(rng.choice((0, 1, 1, 2))):
            rate: dict[str, Any] = {"mts": rng.choice(RATES_MTS[generation][2:])}
            if _chance(rng, 0.2):
                rate["dpc"] = rng.choice(([1], [1, 2], [2, 3]))
            if _chance(rng, 0.2):
                rate["kinds"] = [rng.choice(modules).kind.value]
            rates.append(rate)
        option: dict[str, Any] = {"id": f"option-{number}", "rates": rates, "source": "INVENTED"}
        if _chance(rng, 0.35):
            option["ceiling_gib"] = rng.randint(2, 6) * max(module.capacity_gib for module in modules)
        options.append(option)
    return options


def _physical(wiring: Wiring) -> dict[str, Any]:
    """A row of slots for each socket, the socket to the right of it."""
    rows = [_slots(controllers) for controllers in wiring.values()]
    longest = 10 * max(map(len, rows))
    return {
        "width_mm": longest + 120,
        "depth_mm": 70 * len(rows) + 20,
        "sockets": {
            socket: {"at_mm": [longest + 30, 70 * index + 15], "size_mm": [80, 60]}
            for index, socket in enumerate(wiring)
        },
        "rows": [
            {"slots": slots, "start_mm": [20, 70 * index + 45], "pitch_mm": 10, "length_mm": 60}
            for index, slots in enumerate(rows)
        ],
    }


# Requests


def _random_request(rng: random.Random, board: Board, modules: list[Module], fitted: tuple[str, ...]) -> Request:
    supplies = _supplies(rng, modules)
    slots = sum(len(board.socket(socket).slots) for socket in fitted)
    sizes = [module.capacity_gib for module in modules]
    capacity = _capacity(rng, sizes, slots)
    prefer = rng.choice(sorted(LISTS))
    if any(supply.kept for supply in supplies) and _chance(rng, 0.5):
        prefer = "upgrade"
    over = rng.choice((None, None, None, 0, rng.choice(sizes), 2 * max(sizes), capacity // 10, capacity))
    return Request(
        capacity_gib=capacity,
        supplies=supplies,
        fitted=fitted,
        processor=rng.choice((None, *(option.id for option in board.processors))),
        prefer=prefer,
        over_gib=over,
        max_types=rng.choice((1, 2, 2, 2, 3, 3)),
    )


def _capacity(rng: random.Random, sizes: list[int], slots: int) -> int:
    """Exact, odd, tiny or too large."""
    form = rng.choices(("exact", "odd", "tiny", "full", "too large"), weights=(20, 8, 2, 2, 1))[0]
    if form == "exact":
        count = rng.randint(1, max(1, (slots * 4) // 5))
        return sum(rng.choice(sizes) for _ in range(count))
    if form == "odd":
        return rng.randint(1, slots * max(sizes))
    if form == "tiny":
        return 1
    return slots * max(sizes) + (form == "too large")


def _supplies(rng: random.Random, modules: list[Module]) -> tuple[Supply, ...]:
    limited, priced, kept = _chance(rng, 0.45), rng.choice((0.0, 0.0, 0.7, 1.0, 1.0)), _chance(rng, 0.3)

    def lot() -> Lot:
        count = rng.choice((0, 1, 2, 2, 3, 4, 6, 8)) if limited and _chance(rng, 0.7) else None
        price = Fraction(rng.randint(0, 900), rng.choice((1, 1, 2))) if _chance(rng, priced) else None
        return Lot(count=count, price=price)

    def supply(module: Module) -> Supply:
        mine = rng.randint(0, 4) if kept else 0
        lots = () if mine and _chance(rng, 0.2) else tuple(lot() for _ in range(rng.choice((1, 1, 2))))
        return Supply(module=module, kept=mine, lots=lots)

    return tuple(supply(module) for module in modules)
