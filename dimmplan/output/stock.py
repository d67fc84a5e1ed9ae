"""A shelf in words and in JSON: what a placement takes, what the board cannot use, what there is to buy."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import TYPE_CHECKING, Annotated

from pydantic import AliasPath, Field

from dimmplan.errors import Shortfall
from dimmplan.model.placement import Placement
from dimmplan.output.columns import Column, csv_text, lines_of
from dimmplan.output.record import Label, Money, Places, Record
from dimmplan.output.text import indented
from dimmplan.planner import Planned
from dimmplan.supply import Take, UnusableModule, left_out_of, takes_of
from dimmplan.units import counted, decimal, listed, watts_words

if TYPE_CHECKING:
    from dimmplan.stock import Shelf


def money(value: Fraction | None, currency: str | None) -> str:
    """A price or a cost: ``738.00 EUR``, a dash where it is not known."""
    if value is None:
        return "-"
    return f"{decimal(value, 2):.2f}" + (f" {currency}" if currency else "")


class TakeEntry(Record):
    """Modules to take from one line of a stock list."""

    place: str = Field(validation_alias=AliasPath("lot", "place"), description="line of the stock list")
    label: str = Field(validation_alias=AliasPath("lot", "label"), description="as the shelf names it")
    count: int = Field(description="how many to take")
    price: Annotated[float | None, Places(4)] = Field(validation_alias=AliasPath("lot", "price"), description="of one")
    cost: Money | None = Field(description="of all")
    part: str = Field(validation_alias=AliasPath("lot", "part"), description="part number on the shelf, may be empty")
    watts: Annotated[float | None, Places(1)] = Field(
        validation_alias=AliasPath("lot", "watts"), description="the most that one takes, by the shelf"
    )
    serves_as: Label = Field(description="label in the plan, which the board cannot tell apart")


class LeftOutEntry(Record):
    """A label that the board cannot use."""

    label: Label = Field(validation_alias="module", description="what the board cannot use")
    rule: str = Field(description="which row says so")
    found: str = Field(description="what the label has")
    allowed: str = Field(description="what the row allows")


class ShelfEntry(Record):
    """What a placement takes from a shelf."""

    currency: str | None = Field(description="of the shelf")
    take: list[TakeEntry] = Field(description="what to take")
    left_out: list[LeftOutEntry] = Field(description="what the board cannot use")


def shelf_record(planned: Planned, shelf: Shelf) -> ShelfEntry:
    """What a placement takes from a shelf, as JSON."""
    takes = takes_of(planned.board, shelf, planned.placement)
    return ShelfEntry.of(
        shelf,
        take=[
            TakeEntry.of(take, cost=None if take.lot.price is None else take.lot.price * take.count) for take in takes
        ],
        left_out=left_out_of(planned.board, shelf, planned.request.processor),
    )


def _columns(currency: str | None) -> tuple[Column[Take], ...]:
    return (
        Column(short="", text=lambda take: f"{take.count} x", align="right"),
        Column(short="", text=lambda take: take.lot.label),
        Column(
            short="",
            text=lambda take: "no price" if take.lot.price is None else f"at {money(take.lot.price, currency)}",
        ),
        Column(short="", text=lambda take: take.lot.part),
        Column(short="", text=lambda take: "" if take.lot.watts is None else watts_words(take.lot.watts)),
        Column(short="", text=lambda take: take.lot.place + (f" ({take.lot.note})" if take.lot.note else "")),
        Column(short="", text=lambda take: f"as {take.serves_as.label}" if _instead(take) else ""),
    )


def _instead(take: Take) -> bool:
    return take.serves_as.label != take.lot.label


def shelf_text(planned: Planned, shelf: Shelf) -> str:
    """What to take from the shelf, for a terminal."""
    takes = takes_of(planned.board, shelf, planned.placement)
    lines = ["From the shelf", *(f"  {line}" for line in lines_of(_columns(shelf.currency), takes))]
    if planned.cost is not None:
        lines.append(f"  cost {money(planned.cost, shelf.currency)}")
    if any(_instead(take) for take in takes):
        lines.append('  Labels marked "as" are equal for this board.')
    lines += left_out_lines(left_out_of(planned.board, shelf, planned.request.processor))
    return "\n".join(lines) + "\n"


def left_out_lines(left_out: tuple[UnusableModule, ...]) -> Iterator[str]:
    """The labels that the board cannot use, one paragraph each."""
    for why in left_out:
        yield from indented(
            f"not for this board: {why.module.label} ({why.found}; allowed: {why.allowed}) [{why.rule}]"
        )


def shortfall_lines(shortfall: Shortfall, *, beside: str = "the shelf") -> Iterator[str]:
    """What there is to buy, for a terminal."""
    if shortfall.buy is None:
        yield "no list of modules to buy would be enough"
        return
    number = sum(each.count for each in shortfall.buy)
    total = sum((each.cost or Fraction(0) for each in shortfall.buy), Fraction(0))
    priced = all(each.cost is not None for each in shortfall.buy)
    cost = f", {money(total, shortfall.currency)}" if priced else ", not all priced"
    shortest = "the shortest list" if shortfall.proven else "a list, not proven to be the shortest,"
    yield f"{shortest} to buy beside {beside}, {counted(number, 'module')}{cost}:"
    for each in shortfall.buy:
        cost = f", {money(each.cost, shortfall.currency)}" if each.cost is not None else ""
        instead = f"; as good on this board: {listed(list(each.substitutes), last='or')}" if each.substitutes else ""
        facts = [each.part] * bool(each.part) + ([f"{watts_words(each.watts)} each"] if each.watts is not None else [])
        told = f" ({', '.join(facts)})" if facts else ""
        yield f"  {each.count} x {each.label}{told}{cost}{instead}"


# -- the pick list -----------------------------------------------------------------------------------------------------


def pick_csv(placement: Placement, takes: Iterable[Take]) -> str:
    """A pick list as CSV: the label on each module and its place, under the keys of the sheet; no cell runs."""
    keys = {module.label: key for module, key in placement.keys.items()}
    columns = (
        Column[Take](key="key", value=lambda take: keys[take.serves_as.label]),
        Column[Take](key="count"),
        Column[Take](key="lot.label"),
        Column[Take](key="serves_as.label", name="serves_as"),
        Column[Take](key="lot.place"),
        Column[Take](key="lot.note"),
        Column[Take](key="lot.part"),
        Column[Take](key="lot.watts", value=lambda take: None if take.lot.watts is None else float(take.lot.watts)),
    )
    return csv_text(columns, takes)
