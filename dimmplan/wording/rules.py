"""A board's rules as a person asks for them: what fits, in what order, what may be mixed, how fast, how much."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

from dimmplan.model.board import Board
from dimmplan.model.rows import ChannelGroup, ModulesMeant, ProcessorOption, RateRow
from dimmplan.rules import (
    MODE_KINDS,
    Rule,
    all_rows,
    ceiling_row,
    default_rows,
    mode_row,
)
from dimmplan.units import by_key, counted, listed


class RuleLine(NamedTuple):
    """One row in words. ``usual`` marks a default of the trade that the board file does not state itself."""

    text: str
    rule: str
    source: str
    severity: str = "error"
    usual: bool = False


class RuleGroup(NamedTuple):
    """One question and the rows that answer it; ``table`` has a heading row, and is empty for most groups."""

    id: str
    question: str
    lines: tuple[RuleLine, ...]
    table: tuple[tuple[str, ...], ...] = ()
    table_sources: tuple[str, ...] = ()

    @property
    def sources(self) -> tuple[str, ...]:
        """The ids of all sources cited, each once."""
        return tuple(dict.fromkeys((*(line.source for line in self.lines), *self.table_sources)))


_QUESTIONS = {
    "fits": "What fits?",
    "order": "In what order?",
    "mix": "What may be mixed?",
    "rate": "How fast?",
    "capacity": "How much?",
    "interleave": "Which channels work together?",
    "modes": "Mirroring, lockstep and rank sparing?",
    "firmware": "Which firmware settings matter?",
    "care": "Cooling and care?",
}
"""The questions, in the order in which they are read out; a kind of rule names its own."""


def rule_groups(board: Board) -> tuple[RuleGroup, ...]:
    """Every row in force on a board, defaults and processor options included, by the question that it answers."""
    rows = all_rows(board, None)
    for option in board.processors:
        rows += ceiling_row(option)
    defaults = default_rows(board.generation)
    found = []
    for group, question in _QUESTIONS.items():
        lines = [_line(row, defaults) for row in rows if row.answers(group)]
        lines += _MORE_LINES[group](board) if group in _MORE_LINES else ()
        found.append(RuleGroup(group, question, tuple(lines)))
        if group == "rate":
            sources = tuple(dict.fromkeys(row.source for row in board.rates))
            found[-1] = found[-1]._replace(table=_rate_table(board), table_sources=sources)
    return tuple(found)


def _line(row: Rule, defaults: Sequence[Rule]) -> RuleLine:
    usual = row in defaults or row.id == "first-socket"
    text = row.sentence()
    if row.id.startswith("processor:"):
        text = f"{text.removesuffix('.')} with {row.id.removeprefix('processor:')}."
    severity = row.severity if row.scopes else "note"
    return RuleLine(text, row.id, row.source, severity, usual)


def _served_lines(board: Board) -> Iterator[RuleLine]:
    for option in board.processors:
        if option.channels:
            text = f"The processor {option.id} serves the channels {listed(option.channels)}; other slots are dead."
            yield RuleLine(text, f"processor:{option.id}", option.source)


def _mode_lines(board: Board) -> Iterator[RuleLine]:
    without = [kind.noun for mode, kind in MODE_KINDS.items() if mode_row(board, mode) is None]
    if without:
        text = f"This board has no row for {listed(without, last='or')}; a plan that asks for it is refused."
        yield RuleLine(text, "modes", "MODEL")


def _slots_lines(board: Board) -> Iterator[RuleLine]:
    slots = [
        f"{counted(count, 'slot')} at {'each of ' if len(alike) > 1 else ''}{listed([socket.id for socket in alike])}"
        for count, alike in by_key(board.sockets, lambda socket: len(socket.slots)).items()
    ]
    sizes = listed([str(gib) for gib in sorted({module.capacity_gib for module in board.modules})])
    text = f"There are {listed(slots)}. Usual modules have {sizes} GiB."
    yield RuleLine(text, "slots", "MODEL", severity="note")


# -- rates -----------------------------------------------------------------------------------------------------------

_SCOPES = {
    "system": "The slowest channel sets the rate of the whole system.",
    "socket": "The slowest channel sets the rate of its socket; the other sockets keep theirs.",
    "channel": "Every channel runs at a rate of its own.",
}


def _rate_table(board: Board) -> tuple[tuple[str, ...], ...]:
    """The rate rows as a table, columns that no row uses left out."""
    heading = ("filled", "of slots", *_MEANT, "MT/s", "row", "source")
    rows = [_rate_cells(row) for row in board.rates]
    kept = [
        i for i, name in enumerate(heading) if name in ("filled", "MT/s", "row") or any(row[i] != "any" for row in rows)
    ]
    return tuple(tuple(row[i] for i in kept) for row in (heading, *rows))


_MEANT = {
    "kinds": "kinds",
    "ranks": "package_ranks",
    "logical ranks": "logical_ranks",
    "size": "capacity_gib",
    "die": "die_gbit",
    "voltage": "voltage_mv",
}
"""Columns of the rate table about modules, and the part of a row that fills each."""
_UNITS = {"capacity_gib": " GiB", "die_gbit": " Gbit"}


def _meant(row: ModulesMeant, name: str) -> str:
    values = getattr(row, name)
    if name == "voltage_mv":
        return "/".join(f"{mv / 1000:g} V" for mv in values)
    if name == "kinds":
        return ", ".join(kind.value for kind in values)
    return "/".join(map(str, values)) + (_UNITS.get(name, "") if values else "")


def _rate_cells(row: RateRow) -> tuple[str, ...]:
    return (
        str(row.dpc),
        "/".join(map(str, row.slots)) or "any",
        *(_meant(row, name) or "any" for name in _MEANT.values()),
        "does not run" if row.mts == "none" else str(row.mts),
        row.id,
        row.source,
    )


def _rate_lines(board: Board) -> Iterator[RuleLine]:
    rates = listed([str(rate) for rate in board.rates_mts])
    text = (
        "A channel runs at the lowest of its rate row, the processor and the labels of its modules, "
        f"rounded down to one of {rates} MT/s. A population without a row does not run."
    )
    yield RuleLine(text, "rates", "PRACTICE")
    yield RuleLine(_SCOPES[board.rate_scope], "rate_scope", "PRACTICE")
    for option in board.processors:
        if option.rates:
            text = f"{option.title or option.id}: {_processor_rates(option)}."
            yield RuleLine(text, f"processor:{option.id}", option.source)


def _processor_rates(option: ProcessorOption) -> str:
    parts = []
    for rate in option.rates:
        where = [*(kind.value for kind in rate.kinds)]
        where += [
            f"{said}{' ranks' if name == 'package_ranks' else ' logical ranks' if name == 'logical_ranks' else ''}"
            for name in _MEANT.values()
            if name != "kinds" and (said := _meant(rate, name))
        ]
        where += [f"{listed([str(dpc) for dpc in rate.dpc], last='or')} on a channel"] if rate.dpc else []
        parts.append(f"{rate.mts} MT/s" + (f" ({', '.join(where)})" if where else " for every population"))
    return listed(parts)


# -- channels that work together -------------------------------------------------------------------------------------

_EXCESS = {
    "layers": "What is left above their common depth forms further sets.",
    "alone": "Above their common depth each channel works alone.",
    "none": "Only channels with equal amounts left form a set.",
}


def _interleave_lines(board: Board) -> Iterator[RuleLine]:
    row = board.interleave
    if row.style == "groups":
        texts = _group_texts(row.groups)
    else:
        ways = listed([str(ways) for ways in sorted(row.ways) if ways > 1], last="or")
        which = {
            "even": f"Channels of a socket work together in sets of {ways}, the same number on each controller "
            "that takes part.",
            "any": f"Channels of a socket work together in sets of {ways}, whichever they are.",
        }
        texts = [which[row.style], _EXCESS[row.excess]]
    for text in (
        *texts,
        "A single channel may always work alone. The widest set comes first; of equal ones, the deepest.",
    ):
        yield RuleLine(text, row.id, row.source)


def _group_texts(groups: Sequence[ChannelGroup]) -> list[str]:
    """Listed sets, those of one kind of excess together."""
    texts = []
    for (excess, exclusive), alike in by_key(groups, lambda group: (group.excess, group.exclusive)).items():
        sets = [" ".join(group.channels) for group in alike]
        only = ", each only while no other channel of the socket is filled" if exclusive else ""
        texts.append(f"These channels of a socket work together{only}: {'; '.join(sets)}. {_EXCESS[excess]}")
    return texts


_MORE_LINES: dict[str, Callable[[Board], Iterator[RuleLine]]] = {
    "fits": _served_lines,
    "rate": _rate_lines,
    "capacity": _slots_lines,
    "interleave": _interleave_lines,
    "modes": _mode_lines,
}
"""What answers a question beside the rows that do."""
