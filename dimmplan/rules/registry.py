"""Every kind of rule: the leaves below ``Rule``, and the row of a board file that is one of them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated, Union, get_args

from pydantic import Field

from dimmplan.model.board import Board
from dimmplan.rules import channels, modes, modules, sockets, system, tables, told
from dimmplan.rules.base import Rule

FAMILIES = (modules, channels, sockets, tables, system, told, modes)
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


KINDS: tuple[type[Rule], ...] = tuple(_leaves(Rule))
"""Every kind of rule, in the order of their modules."""

if TYPE_CHECKING:
    RuleRow = Rule
else:
    RuleRow = Annotated[Union[KINDS], Field(discriminator="check")]  # noqa: UP007 - a union of a tuple of classes


def rules_of(board: Board) -> tuple[Rule, ...]:
    """The rules of a board: its own rows, and the usual ones that they do not replace."""
    return tuple(row for row in board.rules if isinstance(row, Rule))
