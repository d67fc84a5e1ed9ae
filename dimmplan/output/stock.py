"""A shelf in words and in JSON: what a placement takes, what the board cannot use, what there is to buy."""

from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import TYPE_CHECKING, Annotated, Any, Literal

from dimmplan.errors import ImpossibleError, Shortfall
from dimmplan.model.placement import Placement
from dimmplan.output.columns import Column, Text, csv_text
from dimmplan.output.record import CauseEntry, Document, Label, Money, NearestEntry, Places, Record, means
from dimmplan.planner import Planned
from dimmplan.supply import Take, UnusableModule, left_out_of, takes_of
from dimmplan.units import counted, decimal, listed, watts_words

if TYPE_CHECKING:
    from dimmplan.stock import Shelf


def money(value: Fraction, currency: str | None) -> str:
    """A price or a cost: ``738.00 EUR``."""
    return f"{decimal(value, 2):.2f}" + (f" {currency}" if currency else "")


class TakeEntry(Record):
    """Modules to take from one line of a stock list."""

    place: str = means("line of the stock list", of="lot.place")
    label: str = means("as the shelf names it", of="lot.label")
    count: int = means("how many to take")
    price: Annotated[float | None, Places(4)] = means("of one", of="lot.price")
    cost: Money | None = means(
        "of all", by=lambda take: None if take.lot.price is None else take.lot.price * take.count
    )
    part: str = means("part number on the shelf, may be empty", of="lot.part")
    watts: Annotated[float | None, Places(1)] = means("the most that one takes, by the shelf", of="lot.watts")
    serves_as: Label = means("label in the plan, which the board cannot tell apart")


class LeftOutEntry(Record):
    """A label that the board cannot use."""

    label: Label = means("what the board cannot use", of="module")
    rule: str = means("which row says so")
    found: str = means("what the label has")
    allowed: str = means("what the row allows")


class ShelfEntry(Record):
    """What a placement takes from a shelf."""

    currency: str | None = means("of the shelf")
    take: list[TakeEntry] = means(
        "what to take", within=lambda planned, shelf: takes_of(planned.board, shelf, planned.placement)
    )
    left_out: list[LeftOutEntry] = means(
        "what the board cannot use",
        within=lambda planned, shelf: left_out_of(planned.board, shelf, planned.request.processor),
    )


def _columns(currency: str | None) -> list[Column[Take]]:
    return [
        Column(text=lambda take: f"{take.count} x", align="right"),
        Column(text=lambda take: take.lot.label),
        Column(text=lambda take: "no price" if take.lot.price is None else f"at {money(take.lot.price, currency)}"),
        Column(text=lambda take: take.lot.part),
        Column(text=lambda take: "" if take.lot.watts is None else watts_words(take.lot.watts)),
        Column(text=lambda take: take.lot.place + (f" ({take.lot.note})" if take.lot.note else "")),
        Column(text=lambda take: f"as {take.serves_as.label}" if take.serves_as.label != take.lot.label else ""),
    ]


def shelf_text(planned: Planned, shelf: "Shelf") -> str:
    """What to take from the shelf, for a terminal."""
    takes = takes_of(planned.board, shelf, planned.placement)
    page = Text("From the shelf")
    page.table(_columns(shelf.currency), takes)
    if planned.cost is not None:
        page.note(f"cost {money(planned.cost, shelf.currency)}")
    if any(take.serves_as.label != take.lot.label for take in takes):
        page.note('Labels marked "as" are equal for this board.')
    left_out_lines(page, left_out_of(planned.board, shelf, planned.request.processor))
    return str(page)


def left_out_lines(page: Text, left_out: Iterable[UnusableModule]) -> None:
    """The labels that the board cannot use, one paragraph each."""
    for why in left_out:
        page.note(f"not for this board: {why.module.label} ({why.found}; allowed: {why.allowed}) [{why.rule}]")


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


# -- nothing fits ------------------------------------------------------------------------------------------------------


class BuyEntry(Record):
    """Modules to buy."""

    label: str = means("what to buy")
    count: int = means("how many")
    cost: Money | None = means("where it has a price")
    part: str = means("part number by the shelf or the board file, may be empty")
    watts: Annotated[float | None, Places(1)] = means("the most that one takes, by the same, or null")
    substitutes: list[str] = means("labels that would do as well on this board")


class ImpossibleDocument(Document, commands="plan: impossible"):
    """Exit status 1. `buy`, `buy_status` and `currency` with `--stock`."""

    status: Literal["impossible"] = means("`impossible`")
    causes: list[CauseEntry] = means("what stands in the way")
    nearest: NearestEntry = means("the nearest capacities that fit")
    buy: list[BuyEntry] | None = means("what to buy so that the shelf is enough; null where no list is", default=None)
    buy_status: str | None = means("`proven` (the shortest list) or `best-found`", default=None)
    currency: str | None = means("of the shelf", default=None)


def impossible_record(error: ImpossibleError) -> ImpossibleDocument:
    """The answer that nothing fits, as JSON."""
    bought = shortfall_keys(error.shortfall)
    return ImpossibleDocument.of(status="impossible", causes=error.causes, nearest=error, **bought)


def shortfall_keys(shortfall: Shortfall | None) -> dict[str, Any]:
    """What there is to buy, as keys of a record; ``buy`` is null where no list would serve."""
    if shortfall is None:
        return {}
    status = "proven" if shortfall.proven else "best-found"
    return {"buy": shortfall.buy, "buy_status": status, "currency": shortfall.currency}
