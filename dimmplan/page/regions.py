"""The address range of a socket as a picture: a bar for each region, as wide as its capacity, as high as its ways."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from dimmplan.explain import counted, gb_s, regions_sentence
from dimmplan.figures import SocketFigures
from dimmplan.page.markup import Markup, element, table
from dimmplan.sheet.ids import ident
from dimmplan.units import format_capacity

WIDE, HIGH, GAP = 600, 96, 3
LOOKS = 6
"""Looks of bars; a seventh region begins again with the first."""


def address_range(figures: SocketFigures) -> Iterator[Markup]:
    """A socket's regions: said, drawn, and as a table with the same figures."""
    yield element("h3", f"{figures.socket}: {format_capacity(figures.usable_gib)}")
    if not figures.regions:
        yield element("p", "No module, no region.")
        return
    yield element("p", f"{regions_sentence(figures)} Left is the lowest address; a bar is as high as it has channels.")
    yield element("figure", _picture(figures))
    total = sum((Fraction(region.capacity_gib) for region in figures.regions), Fraction(0))
    yield table(
        f"Regions of {figures.socket}, lowest addresses first",
        ("region", "capacity", "share of the range", "ways", "channels", "peak"),
        [
            (
                str(number),
                format_capacity(region.capacity_gib),
                f"{float(100 * Fraction(region.capacity_gib) / total):.0f} %",
                str(region.ways),
                ", ".join(name.removeprefix(f"{figures.socket}.") for name in region.channels),
                gb_s(region.peak_gb_s),
            )
            for number, region in enumerate(figures.regions, 1)
        ],
        numbers=(1, 2, 3, 5),
    )


def _picture(figures: SocketFigures) -> Markup:
    total = sum((Fraction(region.capacity_gib) for region in figures.regions), Fraction(0))
    most = max(region.ways for region in figures.regions)
    name = ident("regions", figures.socket)
    said = ", then ".join(
        f"{format_capacity(region.capacity_gib)} over {counted(region.ways, 'channel')}" for region in figures.regions
    )
    parts = [element("title", f"Address range of {figures.socket}: {said}.", id=name)]
    at = Fraction(0)
    for number, region in enumerate(figures.regions):
        wide = Fraction(region.capacity_gib) / total * WIDE
        high = Fraction(region.ways, most) * HIGH
        left, top = _number(at), _number(HIGH - high + GAP)
        parts.append(
            element(
                "rect",
                class_=f"region region-{number % LOOKS + 1}",
                x=left,
                y=top,
                width=_number(wide),
                height=_number(high),
            )
        )
        middle = _number(at + wide / 2)
        parts.append(element("text", str(number + 1), x=middle, y=_number(HIGH + GAP + 18), text_anchor="middle"))
        at += wide
    view = f"0 0 {WIDE} {HIGH + GAP + 24}"
    return element("svg", *parts, class_="range", role="img", aria_labelledby=name, **{"viewBox": view})


def _number(value: Fraction | int) -> str:
    return f"{float(value):.2f}".rstrip("0").rstrip(".")
