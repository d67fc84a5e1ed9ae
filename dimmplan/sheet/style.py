"""How things look: letter heights, line widths, colours and the one stylesheet of a page.

Heights are those of ISO 3098, widths those of ISO 128. Meaning never rests on colour: states differ in form, types
in pattern and letter, and ``mono`` uses black on white alone. Every pair in ``contrast_pairs`` is kept by a test
(WCAG 2.2: text 4.5 to 1, lines 3 to 1).
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from dimmplan.sheet.hatch import COLOURS

Ink = Literal["colour", "mono"]

TEXT_MM = 2.5
"""Least height of what is read at the chassis."""

SMALLEST_TEXT_MM = 2.0
"""Height of figures and of the captions in the title block."""

THIN, MEDIUM, THICK, HEAVY, DOUBLE = 0.25, 0.35, 0.5, 0.7, 1.4
"""Line widths in mm; ``DOUBLE`` is drawn as two lines, by a white one along its middle."""


class Palette(NamedTuple):
    """Colours of one ink. ``types`` are the grounds of filled slots and the colours of their patterns.

    A colour means a type and nothing else. Blue and red-brown are left out: slots, latches and handles wear them
    themselves, to tell first from second or what may be pulled while it runs. So are the colours of signal words.
    """

    ink: str
    paper: str
    board: str
    mark: str
    pale: str
    zone: str
    types: tuple[str, ...]
    warning: str
    caution: str
    notice: str
    on_notice: str


_COLOUR = Palette(
    ink="#14181c",
    paper="#ffffff",
    board="#f5f4ef",
    mark="#fafaf7",
    pale="#686d72",
    zone="#dfe5e3",
    types=("#6a2f86", "#46640b", "#0b5c66", "#6b5208", "#8c1d4f", "#3f4a5a"),
    warning="#f39a3b",
    caution="#f2dc5a",
    notice="#17527a",
    on_notice="#ffffff",
)
_MONO = Palette(
    ink="#000000",
    paper="#ffffff",
    board="#ffffff",
    mark="#ffffff",
    pale="#000000",
    zone="#ffffff",
    types=("#000000",) * COLOURS,
    warning="#000000",
    caution="#ffffff",
    notice="#ffffff",
    on_notice="#000000",
)


def palette(ink: Ink) -> Palette:
    """The colours of an ink."""
    return _COLOUR if ink == "colour" else _MONO


def on_warning(ink: Ink) -> str:
    """Colour of the word on the warning ground: a grey printer gets white on black, which nothing else on paper is."""
    return _COLOUR.ink if ink == "colour" else _MONO.paper


def contrast_pairs(ink: Ink) -> list[tuple[str, str, str, float]]:
    """What is drawn on what: a name, the two colours, and the least contrast between them."""
    use = palette(ink)
    grounds = {"paper": use.paper, "board": use.board, "mark": use.mark, "zone": use.zone}
    pairs = [(f"text on {name}", use.ink, ground, 4.5) for name, ground in grounds.items()]
    pairs += [
        ("text on ink", use.paper, use.ink, 4.5),
        ("word on warning", on_warning(ink), use.warning, 4.5),
        ("word on caution", use.ink, use.caution, 4.5),
        ("word on notice", use.on_notice, use.notice, 4.5),
        ("outline on board", use.ink, use.board, 3.0),
        ("outline on caution", use.ink, use.caution, 3.0),
        ("pale outline on zone", use.pale, use.zone, 3.0),
        ("inner line of a hold slot", use.paper, use.ink, 3.0),
    ]
    for number, colour in enumerate(use.types):
        pairs += [(f"name on type {number}", use.paper, colour, 4.5), (f"type {number} on zone", colour, use.zone, 4.5)]
    return pairs


def stylesheet(ink: Ink) -> str:
    """The one stylesheet of a page; user units are mm."""
    use = palette(ink)
    stroke = f"fill:none;stroke:{use.ink}"
    rules = {
        "text": f"font-family:sans-serif;fill:{use.ink};fill-opacity:0",
        ".t": f"fill:{use.ink}",
        ".seen": "fill-opacity:1",
        ".b": "font-weight:bold",
        ".inv": f"fill:{use.paper}",
        ".on-warning": f"fill:{on_warning(ink)}",
        ".on-notice": f"fill:{use.on_notice}",
        ".paper": f"fill:{use.paper}",
        ".ink": f"fill:{use.ink}",
        ".thin": f"{stroke};stroke-width:{THIN}",
        ".medium": f"{stroke};stroke-width:{MEDIUM}",
        ".thick": f"{stroke};stroke-width:{THICK}",
        ".heavy": f"{stroke};stroke-width:{HEAVY}",
        ".write": f"{stroke};stroke-width:{THIN};stroke-dasharray:0.3 0.9;stroke-linecap:round",
        ".tear": f"{stroke};stroke-width:{MEDIUM};stroke-dasharray:3 1.5",
        ".box": f"fill:{use.paper};stroke:{use.ink};stroke-width:{MEDIUM}",
        ".box-inv": f"fill:none;stroke:{use.paper};stroke-width:{MEDIUM}",
        ".bar": f"fill:{use.mark};stroke:{use.ink};stroke-width:{THIN}",
        ".bar-open": f"fill:{use.paper};stroke:{use.ink};stroke-width:{THIN}",
        ".bar-dead": f"fill:{use.paper};stroke:{use.ink};stroke-width:{THIN};stroke-dasharray:0.7 0.7",
        ".board": f"fill:{use.board};stroke:{use.ink};stroke-width:{HEAVY};stroke-linejoin:round",
        ".detail": f"fill:{use.board};stroke:{use.ink};stroke-width:{THIN};stroke-dasharray:6 1 1 1",
        ".mark": f"fill:{use.mark};stroke:{use.ink};stroke-width:{THIN}",
        ".cpu": f"fill:{use.paper};stroke:{use.ink};stroke-width:{THICK}",
        ".tray": f"fill:none;stroke:{use.ink};stroke-width:{HEAVY};stroke-linejoin:round",
        ".tray-absent": f"fill:none;stroke:{use.ink};stroke-width:{HEAVY};stroke-dasharray:3 1.8",
        ".cpu-absent": f"fill:{use.paper};stroke:{use.ink};stroke-width:{THIN};stroke-dasharray:2 1",
        ".zone": f"fill:{use.zone};stroke:{use.pale};stroke-width:{THIN};stroke-dasharray:0.3 1.1;stroke-linecap:round",
        ".pale": f"fill:none;stroke:{use.pale};stroke-width:{THIN}",
        ".slot-empty": f"fill:{use.paper};stroke:{use.pale};stroke-width:{THIN};stroke-dasharray:1.2 0.8",
        ".slot-pull": f"fill:{use.paper};stroke:{use.ink};stroke-width:{HEAVY};stroke-dasharray:2.4 1.2",
        ".slot-blank": f"fill:{use.paper};stroke:{use.pale};stroke-width:{THIN}",
        ".slot-kept": f"fill:{use.paper};stroke:{use.pale};stroke-width:{THIN}",
        ".slot-dead": f"fill:{use.paper};stroke:{use.pale};stroke-width:{THIN}",
        ".slot-hold": f"fill:{use.paper};stroke:{use.ink};stroke-width:{DOUBLE}",
        ".slot-hold-inner": f"fill:none;stroke:{use.paper};stroke-width:{THICK}",
        ".warning": f"fill:{use.warning};stroke:{use.ink};stroke-width:{MEDIUM}",
        ".caution": f"fill:{use.caution};stroke:{use.ink};stroke-width:{MEDIUM}",
        ".notice": f"fill:{use.notice};stroke:{use.ink};stroke-width:{MEDIUM}",
    }
    for number, colour in enumerate(use.types):
        rules[f".slot-{number}"] = f"fill:{colour};stroke:{use.ink};stroke-width:{THICK}"
        rules[f".hatch-{number}"] = f"fill:none;stroke:{colour};stroke-width:{THICK}"
        rules[f".dots-{number}"] = f"fill:none;stroke:{colour};stroke-width:0.9;stroke-linecap:round"
    return "\n".join(f"{selector}{{{rule}}}" for selector, rule in rules.items())
