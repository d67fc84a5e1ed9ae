"""The address range as a picture: a bar for each region, as wide as its capacity, as high as its channels at work."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

from dimmplan.figures import SocketFigures
from dimmplan.output.columns import Column
from dimmplan.sheet.facts import Facts
from dimmplan.sheet.ids import ident
from dimmplan.units import Gib, counted, format_capacity, listed
from dimmplan.wording.placement import gb_s, regions_sentence

WIDE, HIGH, GAP, BELOW = 600, 96, 3, 30
LETTER = 11
"""Most that a letter of a label is wide, in the picture's units."""

LOOKS = 6
"""Looks of bars; a seventh region begins again with the first."""


class _Bar(NamedTuple):
    """One region; ``channels`` are their names within the socket."""

    capacity_gib: Gib
    ways: int
    channels: tuple[str, ...]
    peak_gb_s: Fraction


class _Range(NamedTuple):
    """The address range of a socket, lowest addresses first, and how many channels the socket has."""

    usable_gib: Gib
    channels: int
    bars: tuple[_Bar, ...]


class Picture(NamedTuple):
    """Size of the picture of a range, in its own units."""

    wide: int
    high: int
    base: int


PICTURE = Picture(WIDE, HIGH + GAP + BELOW, HIGH + GAP)


class DrawnBar(NamedTuple):
    """A bar where it stands, with its label; the label is left out where it has no room."""

    look: str
    x: str
    y: str
    width: str
    height: str
    label: str
    label_x: str


class RangeText(NamedTuple):
    """The address range of equal sockets: said, drawn, and as rows of a table with the same figures."""

    title: str
    said: str
    id: str
    alt: str
    bars: tuple[DrawnBar, ...]
    caption: str
    rows: tuple[RegionRow, ...]


class RegionRow(NamedTuple):
    """One region of a range."""

    number: int
    bar: _Bar
    part: Fraction


REGION_COLUMNS = (
    Column[RegionRow](title="region", text=lambda row: str(row.number)),
    Column[RegionRow](title="capacity", text=lambda row: format_capacity(row.bar.capacity_gib), align="right"),
    Column[RegionRow](title="share of the range", text=lambda row: f"{float(100 * row.part):.0f} %", align="right"),
    Column[RegionRow](title="ways", text=lambda row: str(row.bar.ways), align="right"),
    Column[RegionRow](title="channels", text=lambda row: ", ".join(row.bar.channels)),
    Column[RegionRow](title="peak", text=lambda row: gb_s(row.bar.peak_gb_s), align="right"),
)


def address_ranges(facts: Facts) -> list[RangeText]:
    """Every socket's regions, drawn to one scale; equal sockets once."""
    if facts.figures is None:
        return []
    alike: dict[_Range, list[SocketFigures]] = {}
    for its in facts.figures.sockets:
        alike.setdefault(_range_of(its, len(facts.board.socket(its.socket).channels)), []).append(its)
    most = max(_drawn_gib(each) for each in alike)
    return [_told(each, sockets, most) for each, sockets in alike.items()]


def _range_of(its: SocketFigures, channels: int) -> _Range:
    bars = (
        _Bar(
            capacity_gib=region.capacity_gib,
            ways=region.ways,
            channels=tuple(name.removeprefix(f"{its.socket}.") for name in region.channels),
            peak_gb_s=region.peak_gb_s,
        )
        for region in its.regions
    )
    return _Range(its.usable_gib, channels, tuple(bars))


def _drawn_gib(each: _Range) -> Fraction:
    return sum((Fraction(bar.capacity_gib) for bar in each.bars), Fraction(0))


def _told(each: _Range, sockets: list[SocketFigures], most: Fraction) -> RangeText:
    names, size = listed([its.socket for its in sockets]), format_capacity(each.usable_gib)
    whole = _drawn_gib(each)
    regions = ", then ".join(
        f"{format_capacity(bar.capacity_gib)} over {counted(bar.ways, 'channel')}" for bar in each.bars
    )
    return RangeText(
        title=f"{names}: {size} each" if len(sockets) > 1 else f"{names}: {size}",
        said=regions_sentence(sockets[0]) if each.bars else "No module, no region.",
        id=ident("regions", sockets[0].socket),
        alt=f"Address range of {names}: {regions}.",
        bars=tuple(_drawn_bars(each, most)),
        caption=f"Regions of {names}, lowest addresses first",
        rows=tuple(
            RegionRow(number, bar, Fraction(bar.capacity_gib) / whole) for number, bar in enumerate(each.bars, 1)
        ),
    )


def _drawn_bars(each: _Range, most: Fraction) -> Iterator[DrawnBar]:
    at = free = Fraction(0)
    for number, bar in enumerate(each.bars, 1):
        wide, high = Fraction(bar.capacity_gib) / most * WIDE, Fraction(bar.ways, each.channels) * HIGH
        label = _label(number, bar, wide)
        shown = at >= free or len(label) * LETTER <= wide
        yield DrawnBar(
            look=f"region region-{(number - 1) % LOOKS + 1}",
            x=_number(at),
            y=_number(HIGH - high + GAP),
            width=_number(wide),
            height=_number(high),
            label=label if shown else "",
            label_x=_number(at + (GAP if at == 0 else 0)),
        )
        free = at + len(label) * LETTER if shown else free
        at += wide


def _label(number: int, bar: _Bar, wide: Fraction) -> str:
    """What stands under a bar: its row of the table, and its figures where they have room."""
    full = f"{number}: {format_capacity(bar.capacity_gib)}, {counted(bar.ways, 'way')}"
    return full if len(full) * LETTER <= wide else str(number)


def _number(value: Fraction | int) -> str:
    return f"{float(value):.2f}".rstrip("0").rstrip(".")
