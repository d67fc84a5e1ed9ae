"""The address range as a picture: a bar for each region, as wide as its capacity, as high as its channels at work."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

from dimmplan.explain import counted, gb_s, listed, regions_sentence
from dimmplan.figures import SocketFigures
from dimmplan.page.markup import Markup, element, section, table
from dimmplan.sheet.facts import Facts
from dimmplan.sheet.ids import ident
from dimmplan.units import Gib, format_capacity

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


def address_ranges(facts: Facts) -> Markup:
    """Every socket's regions: said, drawn to one scale, and as a table with the same figures; equal sockets once."""
    if facts.figures is None:
        return Markup()
    alike: dict[_Range, list[SocketFigures]] = {}
    for its in facts.figures.sockets:
        alike.setdefault(_range_of(its, len(facts.board.socket(its.socket).channels)), []).append(its)
    most = max(_drawn_gib(each) for each in alike)
    said = "Left is the lowest address. The wider a bar, the more capacity; the higher, the more channels work at once."
    parts = [part for each, sockets in alike.items() for part in _told(each, sockets, most)]
    return section("range", "Address range", element("p", said), *parts)


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


def _told(each: _Range, sockets: list[SocketFigures], most: Fraction) -> Iterator[Markup]:
    names = listed([its.socket for its in sockets])
    size = format_capacity(each.usable_gib)
    yield element("h3", f"{names}: {size} each" if len(sockets) > 1 else f"{names}: {size}")
    if not each.bars:
        yield element("p", "No module, no region.")
        return
    yield element("p", regions_sentence(sockets[0]))
    yield element("figure", _picture(each, sockets[0].socket, names, most))
    whole = _drawn_gib(each)
    yield table(
        f"Regions of {names}, lowest addresses first",
        ("region", "capacity", "share of the range", "ways", "channels", "peak"),
        [
            (
                str(number),
                format_capacity(bar.capacity_gib),
                f"{float(100 * Fraction(bar.capacity_gib) / whole):.0f} %",
                str(bar.ways),
                ", ".join(bar.channels),
                gb_s(bar.peak_gb_s),
            )
            for number, bar in enumerate(each.bars, 1)
        ],
        numbers=(1, 2, 3, 5),
    )


def _picture(each: _Range, socket: str, names: str, most: Fraction) -> Markup:
    title = ident("regions", socket)
    said = ", then ".join(
        f"{format_capacity(bar.capacity_gib)} over {counted(bar.ways, 'channel')}" for bar in each.bars
    )
    parts = [element("title", f"Address range of {names}: {said}.", id=title)]
    at = free = Fraction(0)
    for number, bar in enumerate(each.bars, 1):
        wide, high = Fraction(bar.capacity_gib) / most * WIDE, Fraction(bar.ways, each.channels) * HIGH
        look = f"region region-{(number - 1) % LOOKS + 1}"
        sides = {"x": at, "y": HIGH - high + GAP, "width": wide, "height": high}
        parts.append(element("rect", class_=look, **{side: _number(value) for side, value in sides.items()}))
        label = _label(number, bar, wide)
        if at >= free or len(label) * LETTER <= wide:
            place = _number(at + (GAP if at == 0 else 0))
            parts.append(element("text", label, x=place, y=_number(HIGH + GAP + 21)))
            free = at + len(label) * LETTER
        at += wide
    base = _number(HIGH + GAP)
    parts.append(element("line", class_="base", x1="0", y1=base, x2=str(WIDE), y2=base))
    view = {"viewBox": f"0 0 {WIDE} {HIGH + GAP + BELOW}"}
    return element("svg", *parts, class_="range", role="img", aria_labelledby=title, **view)


def _label(number: int, bar: _Bar, wide: Fraction) -> str:
    """What stands under a bar: its row of the table, and its figures where they have room."""
    full = f"{number}: {format_capacity(bar.capacity_gib)}, {counted(bar.ways, 'way')}"
    return full if len(full) * LETTER <= wide else str(number)


def _number(value: Fraction | int) -> str:
    return f"{float(value):.2f}".rstrip("0").rstrip(".")
