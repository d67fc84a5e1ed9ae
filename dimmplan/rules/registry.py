"""Every kind of rule, the row of a board file that is one of them, and the usual rows of the trade.

The usual rows are in force on every board whose file does not say otherwise: a board's own row of the same check (and
field) replaces the usual one; severity ``off`` removes it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Annotated, Any, Union, get_args

from pydantic import Field

from dimmplan.model.board import Board
from dimmplan.model.module import Generation
from dimmplan.rules import channels, modes, sockets, tables, told
from dimmplan.rules.base import Rule
from dimmplan.rules.channels import AcceptRow, ChannelOrderRow, FillOrderRow, MixRow, RankLimitRow
from dimmplan.rules.sockets import SocketMinimumRow

FAMILIES = (channels, sockets, tables, told, modes)
"""The modules that define kinds; importing them is what registers a kind."""


def _leaves(kind: type[Rule]) -> Iterator[type[Rule]]:
    below = kind.__subclasses__()
    for each in below:
        yield from _leaves(each)
    if not below:
        yield kind


def check_of(kind: type[Rule]) -> str:
    """What ``check`` says in the rows of a kind."""
    (word,) = get_args(kind.__annotations__["check"]) or get_args(kind.model_fields["check"].annotation)
    return str(word)


_ORDER = [family.__name__ for family in FAMILIES]
KINDS: tuple[type[Rule], ...] = tuple(sorted(_leaves(Rule), key=lambda kind: _ORDER.index(kind.__module__)))
"""Every kind of rule, in the order of the families and of their modules."""

if TYPE_CHECKING:
    RuleRow = Rule
else:
    RuleRow = Annotated[Union[KINDS], Field(discriminator="check")]  # noqa: UP007 - a union of a tuple of classes


def rules_of(board: Board) -> tuple[Rule, ...]:
    """The rules of a board: its own rows, and the usual ones that they do not replace."""
    return tuple(row for row in board.rules if isinstance(row, Rule))


_VOLTAGES_MV = {Generation.DDR3: (1500, 1350), Generation.DDR4: (1200,), Generation.DDR5: (1100,)}


def _usual(kind: type[Rule], row_id: str, source: str = "PRACTICE", **parts: Any) -> Rule:
    """One usual row. It is not validated, which would build a validator for each kind; a test does it."""
    return kind.model_construct(id=row_id, check=check_of(kind), source=source, **parts)


def default_rows(generation: Generation) -> tuple[Rule, ...]:
    """The usual rows for a board of that generation, in the order in which they are read out."""
    limit = "A channel carries at most 8 ranks; an LRDIMM counts as one."
    return (
        _usual(AcceptRow, "takes-generation", field="generation", values=(generation.value,)),
        _usual(AcceptRow, "takes-voltage", field="voltage_mv", values=_VOLTAGES_MV[generation]),
        _usual(AcceptRow, "takes-form-factor", field="form_factor", values=("DIMM",)),
        _usual(MixRow, "one-generation", field="generation", apart="system"),
        _usual(MixRow, "one-kind", "guide-03", field="kind", apart="system"),
        _usual(MixRow, "one-ecc-width", field="ecc_bits", apart="system"),
        _usual(MixRow, "one-die-family", field="die_family", apart="system"),
        _usual(MixRow, "one-device-width", "guide-09", field="device_width", apart="system"),
        _usual(FillOrderRow, "fill-order", "guide-10"),
        _usual(ChannelOrderRow, "more-ranks-first", "guide-03"),
        _usual(RankLimitRow, "eight-ranks", "guide-06", count="loads", most=8, text=limit),
        _usual(SocketMinimumRow, "every-socket", "guide-07", modules=1),
    )


def as_once(row: Rule) -> Rule:
    """A row as digests name it.

    The usual limit once counted package ranks. Whatever obeyed that obeys it now, so that maps and codes of boards
    that state no limit of their own stay good.
    """
    if isinstance(row, RankLimitRow) and row.id == "eight-ranks" and row.count == "loads":
        return row.model_copy(update={"count": "package"})
    return row


def effective_rows(own: Iterable[Rule], generation: Generation) -> tuple[Rule, ...]:
    """A board's own rows and the usual ones that they do not replace, rows that are off left out."""
    own = tuple(own)
    replaced = {row.subject for row in own}
    kept = tuple(row for row in default_rows(generation) if row.subject not in replaced)
    return tuple(row for row in kept + own if row.severity != "off")
