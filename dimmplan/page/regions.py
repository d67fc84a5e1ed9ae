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


class Picture(NamedTuple):
    """Size of the picture of a range, in its own units."""

    wide: int
    high: int
    base: int


PICTURE = Picture(WIDE, HIGH + GAP + BELOW, HIGH + GAP)


class RegionBar(NamedTuple):
    """One region: its figures, its channels' names within the socket, and its bar in the picture.

    ``label`` stands under the bar; it is left out where it has no room.
    """

    number: int
    capacity_gib: Gib
    part: Fraction
    ways: int
    channels: tuple[str, ...]
    peak_gb_s: Fraction
    look: str
    x: str
    y: str
    width: str
    height: str
    label: str
    label_x: str


class RangeText(NamedTuple):
    """The address range of equal sockets: in words, and as bars of a picture that are rows of a table too."""

    title: str
    said: str
    id: str
    alt: str
    caption: str
    bars: tuple[RegionBar, ...]


REGION_COLUMNS = (
    Column[RegionBar](title="region", text=lambda bar: str(bar.number)),
    Column[RegionBar](title="capacity", text=lambda bar: format_capacity(bar.capacity_gib), align="right"),
    Column[RegionBar](title="share of the range", text=lambda bar: f"{float(100 * bar.part):.0f} %", align="right"),
    Column[RegionBar](title="ways", text=lambda bar: str(bar.ways), align="right"),
    Column[RegionBar](title="channels", text=lambda bar: ", ".join(bar.channels)),
    Column[RegionBar](title="peak", text=lambda bar: gb_s(bar.peak_gb_s), align="right"),
)


def address_ranges(facts: Facts) -> list[RangeText]:
    """Every socket's regions, drawn to one scale; equal sockets once."""
    if facts.figures is None:
        return []
    most = max(sum(Fraction(region.capacity_gib) for region in its.regions) for its in facts.figures.sockets)
    alike: dict[tuple[Gib, tuple[RegionBar, ...]], list[SocketFigures]] = {}
    for its in facts.figures.sockets:
        bars = tuple(_bars(its, len(facts.board.socket(its.socket).channels), most))
        alike.setdefault((its.usable_gib, bars), []).append(its)
    return [_told(sockets, bars) for (_, bars), sockets in alike.items()]


def _told(sockets: list[SocketFigures], bars: tuple[RegionBar, ...]) -> RangeText:
    names, size = listed([its.socket for its in sockets]), format_capacity(sockets[0].usable_gib)
    regions = ", then ".join(f"{format_capacity(bar.capacity_gib)} over {counted(bar.ways, 'channel')}" for bar in bars)
    return RangeText(
        title=f"{names}: {size} each" if len(sockets) > 1 else f"{names}: {size}",
        said=regions_sentence(sockets[0]) if bars else "No module, no region.",
        id=ident("regions", sockets[0].socket),
        alt=f"Address range of {names}: {regions}.",
        caption=f"Regions of {names}, lowest addresses first",
        bars=bars,
    )


def _bars(its: SocketFigures, channels: int, most: Fraction | int) -> Iterator[RegionBar]:
    whole = sum(Fraction(region.capacity_gib) for region in its.regions)
    at = free = Fraction(0)
    for number, region in enumerate(its.regions, 1):
        wide, high = Fraction(region.capacity_gib) / most * WIDE, Fraction(region.ways, channels) * HIGH
        full = f"{number}: {format_capacity(region.capacity_gib)}, {counted(region.ways, 'way')}"
        label = full if len(full) * LETTER <= wide else str(number)
        shown = at >= free or len(label) * LETTER <= wide
        yield RegionBar(
            number=number,
            capacity_gib=region.capacity_gib,
            part=Fraction(region.capacity_gib) / whole,
            ways=region.ways,
            channels=tuple(name.removeprefix(f"{its.socket}.") for name in region.channels),
            peak_gb_s=region.peak_gb_s,
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


def _number(value: Fraction | int) -> str:
    return f"{float(value):.2f}".rstrip("0").rstrip(".")
