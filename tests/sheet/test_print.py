"""Print quality as numbers: letter heights, line widths, contrast, page sizes, the bar to check them by."""

from __future__ import annotations

import itertools
import re

import pytest

from dimmplan.output.svg import render_svg
from dimmplan.sheet.facts import State, gather
from dimmplan.sheet.letters import CAP
from dimmplan.sheet.paper import check_bar
from dimmplan.sheet.shapes import PALETTES, Ink, Line, Strokes, Text, mark_of, stylesheet, walk
from dimmplan.sheet.slotbox import Placing, SlotStyle, draw_slot
from tests.sheet.pages import SAMPLE, board, sheet, texts
from tests.sheet.placements import Fill, make

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4), "a5": (148.0, 210.0)}


def contrast_pairs(ink: Ink) -> list[tuple[str, str, str, float]]:
    """What is drawn on what: a name, the two colours, and the least contrast between them."""
    use = PALETTES[ink]
    grounds = {"paper": use.paper, "board": use.board, "mark": use.mark, "zone": use.zone}
    pairs = [(f"text on {name}", use.ink, ground, 4.5) for name, ground in grounds.items()]
    pairs += [
        ("text on ink", use.paper, use.ink, 4.5),
        ("word on warning", use.on_warning, use.warning, 4.5),
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


def luminance(colour: str) -> float:
    """Relative luminance of WCAG 2.2."""

    def linear(value: float) -> float:
        return value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4

    red, green, blue = (linear(int(colour[i : i + 2], 16) / 255) for i in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def grey(colour: str) -> str:
    """What a grey printer makes of a colour: the usual weights on the coded values."""
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    level = round(0.299 * red + 0.587 * green + 0.114 * blue)
    return f"#{level:02x}{level:02x}{level:02x}"


def test_contrast_formula_on_known_pairs() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#0072b2", "#ffffff") == pytest.approx(5.19, abs=0.01)  # standards, section 9.3
    assert contrast("#e69f00", "#ffffff") == pytest.approx(2.25, abs=0.01)


@pytest.mark.parametrize("ink", ["colour", "mono"])
def test_contrast_of_every_pair_in_colour_and_in_grey(ink: str) -> None:
    for name, one, other, least in contrast_pairs(ink):
        assert contrast(one, other) >= least, name
        assert contrast(grey(one), grey(other)) >= least, f"{name} in grey"


def test_mono_is_black_on_white_alone() -> None:
    assert set(re.findall(r"#[0-9a-f]{6}", stylesheet("mono"))) == {"#000000", "#ffffff"}


def test_first_types_keep_apart_for_colour_blind_eyes() -> None:
    """Distance in linear RGB after the red-green simulations of Vienot, Brettel and Mollon (1999)."""
    matrices = (
        ((0.11238, 0.88762, 0.0), (0.11238, 0.88762, 0.0), (0.00401, -0.00401, 1.0)),
        ((0.29275, 0.70725, 0.0), (0.29275, 0.70725, 0.0), (-0.02234, 0.02234, 1.0)),
    )
    for matrix in matrices:
        seen = []
        for colour in PALETTES["colour"].types[:2]:
            rgb = [(int(colour[i : i + 2], 16) / 255) ** 2.2 for i in (1, 3, 5)]
            seen.append([sum(w * v for w, v in zip(row, rgb, strict=True)) for row in matrix])
        assert sum((a - b) ** 2 for a, b in zip(*seen, strict=True)) ** 0.5 > 0.1


def test_types_differ_in_pattern() -> None:
    """No two of all key letters look alike, in mono neither; the seventh is no first one again."""
    marks = [mark_of(key) for key in "abcdefghijklmnopqrstuvwxyz"]
    drawn = [(mark.bars, tuple(sorted(mark.lines(14.0, 6.0)))) for mark in marks]
    assert len(set(drawn)) == 26 and all(lines for _, lines in drawn)
    assert len({(mark.colour, mark.pattern) for mark in marks}) == 26


def test_a_mark_has_one_direction_on_lying_and_upright_slots_and_in_the_legend() -> None:
    style, fact = (
        SlotStyle(name_mm=3.5),
        next(iter(gather(board("skerry-16"), make(board("skerry-16"))).slots.values())),
    )
    slopes = set()
    for upright in (False, True):
        drawn = draw_slot(fact, Placing(0, 0, 60, style.width_mm, upright), style, pin1_first=None, ident="")
        (hatch,) = [s for s in walk(drawn.children) if isinstance(s, Strokes) and s.look.startswith("hatch")]
        slopes |= {(x2 - x1) * (y2 - y1) > 0 for x1, y1, x2, y2 in hatch.segments}
    assert len(slopes) == 1


def test_filled_slots_are_dark_and_all_others_pale() -> None:
    for ink in ("colour", "mono"):
        rules = dict(re.findall(r"\.(slot-[a-z0-9-]+)\{fill:(#[0-9a-f]{6})", stylesheet(ink)))
        for name, fill in rules.items():
            assert (luminance(fill) < 0.2) == name.removeprefix("slot-").isdecimal(), name


def test_lines_are_never_thinner_than_a_fifth_of_a_millimetre() -> None:
    for ink in ("colour", "mono"):
        widths = [float(w) for w in re.findall(r"stroke-width:([0-9.]+)", stylesheet(ink))]
        strokes = len(re.findall(r"stroke:#", stylesheet(ink)))
        assert len(widths) == strokes  # no line without a width of its own
        assert min(widths) >= 0.2


def test_written_sizes_keep_the_heights_after_rounding() -> None:
    sizes = [float(size) for size in re.findall(r'font-size="([0-9.]+)"', render_svg(sheet("lagoon-32").pages[0]))]
    assert min(sizes) * CAP >= 2.0 - 0.005  # sizes are written to a hundredth; outlines are drawn to a ten-thousandth


@pytest.mark.parametrize("paper", PAPERS)
def test_pages_have_the_size_of_their_paper(paper: str) -> None:
    for name in SAMPLE:
        for page in sheet(name, "full", paper=paper).pages:
            assert tuple(sorted((page.width_mm, page.height_mm))) == PAPERS[paper]


def test_check_bar_is_50_mm() -> None:
    lines = [shape for shape in check_bar(10.0, 100.0) if isinstance(shape, Line)]
    ys = [y for line in lines for y in (line.y1, line.y2)]
    assert max(ys) - min(ys) == 50.0
    ticks = sorted({line.y1 for line in lines if line.y1 == line.y2})
    assert [b - a for a, b in itertools.pairwise(ticks)] == [10.0] * 5


def test_everything_is_drawn_inside_the_printable_page() -> None:
    """Four millimetres at each edge stay free: less is what some printers cannot reach."""
    for name in SAMPLE:
        for page in sheet(name, "mixed").pages:
            for text in texts(page):
                assert 4.0 <= text.x <= page.width_mm - 4.0
                assert 4.0 <= text.y <= page.height_mm - 4.0


def states_drawn() -> dict[State, tuple[str, ...]]:
    """The looks and words of one slot in each state."""
    style = SlotStyle(name_mm=3.5, dead=True)
    found: dict[State, tuple[str, ...]] = {}
    fills: tuple[Fill, ...] = ("full", "hold", "one-socket")
    for name, fill in itertools.product(("skerry-16", "groyne-24"), fills):
        for fact in gather(board(name), make(board(name), fill)).slots.values():
            group = draw_slot(fact, Placing(0, 0, 80, style.width_mm, False), style, pin1_first=None, ident="")
            looks = [shape.look for shape in walk(group.children)]
            said = [shape.text for shape in walk(group.children) if isinstance(shape, Text) and shape.text != fact.name]
            found.setdefault(fact.state, (*looks, *said))
    return found


def test_states_differ_in_form() -> None:
    drawn = states_drawn()
    assert set(drawn) == set(State) - {State.PULL}, "a slot to empty is on change sheets alone: see test_change"
    assert len(set(drawn.values())) == len(drawn)
    assert "HOLD – do not touch" in drawn[State.HOLD] and "slot-hold-inner" in drawn[State.HOLD]
    assert "BLANK" in drawn[State.BLANK] and "empty" in drawn[State.EMPTY]
    assert "no processor" in drawn[State.DEAD]
    assert "hatch-0" in drawn[State.FILLED] and "a" in drawn[State.FILLED]


def test_states_differ_in_line_in_mono() -> None:
    rules = dict(re.findall(r"\.(slot-[a-z0-9-]+)\{([^}]*)\}", stylesheet("mono")))
    lines = {name: rules[name] for name in ("slot-0", "slot-empty", "slot-blank", "slot-hold")}
    assert len(set(lines.values())) == 4
    assert "dasharray" in lines["slot-empty"] and "dasharray" not in lines["slot-blank"]
