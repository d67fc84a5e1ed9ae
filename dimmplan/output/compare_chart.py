"""A comparison as a chart: capacity against bandwidth, and cost below it, as plain shapes for the SVG writer.

Every bar is one row of the table. Types differ by pattern and letter, never by colour alone; every bar carries its
figures as its title, and the page's description holds the whole table as text.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate

from dimmplan.compare import Group, Row
from dimmplan.explain import modules_phrase
from dimmplan.model.module import Module
from dimmplan.output.compare import View, beaten_in, cost_text, counts_of, headline
from dimmplan.output.stock import money
from dimmplan.sheet.hatch import TYPE_PATTERNS
from dimmplan.sheet.measure import cap_height, fitted, font_size, width, wrap_runs
from dimmplan.sheet.shapes import Anchor, Line, Page, Polygon, Rect, Shape, Strokes, Text, moved
from dimmplan.sheet.shapes import Group as Shapes
from dimmplan.sheet.style import TYPE_LOOKS, stylesheet
from dimmplan.units import channel_peak_gb_s, decimal, format_capacity

PAGE_MM = 297.0
MARGIN, LEFT = 8.0, 22.0
BAR, NARROWEST, GAP, FILL = 7.0, 3.4, 3.6, 0.86
SPEED_MM, COST_MM = 66.0, 26.0
LETTERS_MM = 2.7
VALUES_MM = 11.0
"""Room above the tallest bar for its figure, which reads upwards."""
_GRID = ".grid{fill:none;stroke:#9a9a94;stroke-width:0.18}"
TITLE_CAP, TEXT_CAP, SMALL_CAP = 3.5, 2.3, 2.0


@dataclass(frozen=True, slots=True)
class _Bar:
    """Where the bar of one row stands."""

    row: Row
    x: float
    width: float


def chart_page(view: View) -> Page:
    """The chart of a comparison as one page; as wide as its bars need, as high as its processors."""
    panels = _panels(view)
    grid = _grid(panels)
    page_width = max(PAGE_MM, grid.end + MARGIN)
    shapes: list[Shape] = []
    y = _head(view, shapes, page_width)
    speed_top, cost_top = _tops(view, panels)
    for processor, groups in panels:
        y = _panel(view, shapes, y, panel=(processor, groups), grid=grid, tops=(speed_top, cost_top))
    y = _foot(view, shapes, y, page_width)
    return Page(
        name="compare",
        title=f"dimmplan: capacity against bandwidth, {view.board.title}",
        desc=description(view),
        width_mm=round(page_width, 1),
        height_mm=round(y, 1),
        stylesheet=f"{stylesheet('colour')}\n{_GRID}",
        shapes=tuple(shapes),
    )


def description(view: View) -> str:
    """The chart in words: one line for each bar."""
    lines = [f"{headline(view)}. {cost_text(view.comparison)} One line for each bar:"]
    for group in view.comparison.groups:
        lines += [_in_words(view, row) for row in view.shown(group)]
        if not view.shown(group):
            lines.append(f"{_where(view, group)}: nothing fits")
    return "\n".join(lines)


def _in_words(view: View, row: Row) -> str:
    assert row.figures is not None
    processor = f", {row.request.processor}" if len(view.comparison.processors) > 1 else ""
    modules = modules_phrase(counts_of(row))
    cost = f", cost {money(row.cost, view.currency)}" if row.cost is not None else ""
    marks = [words for on, words in ((row.is_answer, "what plan answers"), (row.unbeaten, "unbeaten")) if on]
    return (
        f"{format_capacity(row.request.capacity_gib)}{processor}: {modules}, system sweep "
        f"{decimal(row.figures.system_sweep_gb_s, 1):.1f} GB/s at {row.figures.rate_mts} MT/s, worst share "
        f"{decimal(row.figures.worst_share, 3):.3f}, {row.figures.free_slots} slots free{cost}"
        + (f" ({', '.join(marks)})" if marks else "")
    )


def _where(view: View, group: Group) -> str:
    processor = f", {group.processor}" if len(view.comparison.processors) > 1 else ""
    return f"{format_capacity(group.capacity_gib)}{processor}"


Panel = tuple[str | None, list[tuple[Group, list[Row]]]]


def _panels(view: View) -> list[Panel]:
    """Groups by processor; bars of a group by type, larger modules first, mixes last."""

    def by_type(row: Row) -> tuple[int, str]:
        return len(counts_of(row)), view.key(row)

    return [
        (
            processor,
            [
                (group, sorted(view.shown(group), key=by_type))
                for group in view.comparison.groups
                if group.processor == processor
            ],
        )
        for processor in view.comparison.processors
    ]


@dataclass(frozen=True, slots=True)
class _Grid:
    """What all panels share along the axis: the width of a bar with its gap, and where each capacity begins."""

    pitch: float
    starts: tuple[float, ...]
    end: float

    def middle(self, index: int) -> float:
        """The middle of a capacity's room."""
        return (self.starts[index] + (*self.starts, self.end)[index + 1]) / 2

    def bars(self, index: int, rows: Sequence[Row]) -> list[_Bar]:
        """The bars of a capacity, in the middle of its room."""
        x = self.middle(index) - len(rows) * self.pitch / 2 + self.pitch * (1 - FILL) / 2
        return [_Bar(row, x + place * self.pitch, self.pitch * FILL) for place, row in enumerate(rows)]


def _grid(panels: Sequence[Panel]) -> _Grid:
    """The widest bars with which every capacity fits the page, within what can still be read."""
    most = [max(len(rows) for _, rows in equal) for equal in zip(*(groups for _, groups in panels), strict=True)]
    names = [width(format_capacity(group.capacity_gib), TEXT_CAP, True) for group, _ in panels[0][1]]
    pitch = BAR

    def rooms() -> list[float]:
        return [max(bars * pitch, name) + GAP for bars, name in zip(most, names, strict=True)]

    while pitch > NARROWEST and LEFT + sum(rooms()) > PAGE_MM - MARGIN:
        pitch = round(pitch - 0.1, 1)
    ends = list(accumulate(rooms(), initial=LEFT))
    return _Grid(pitch, tuple(ends[:-1]), ends[-1])


def _tops(view: View, panels: Sequence[Panel]) -> tuple[float, float]:
    """What the axes reach: one scale for all panels."""
    rows = [row for _, groups in panels for _, shown in groups for row in shown]
    peak = max((_peak(view, row) for row in rows), default=Fraction(1))
    cost = max((row.cost for row in rows if row.cost is not None), default=Fraction(0))
    return float(peak), float(cost)


def _peak(view: View, row: Row) -> Fraction:
    """All channels of the fitted sockets at the rate that the row runs at."""
    assert row.figures is not None
    channels = sum(len(s.channels) for s in view.board.sockets if s.id in row.request.fitted)
    return channels * channel_peak_gb_s(row.figures.rate_mts)


# -- the parts ---------------------------------------------------------------------------------------------------------


def _text(
    x: float, y: float, text: str, cap: float, *, look: str = "", anchor: Anchor = "start", turn: int = 0
) -> Text:
    return Text(x=x, y=y, text=text, size=font_size(cap), look=look, anchor=anchor, turn=turn)


def _wrapped(text: str, room: float) -> Iterator[str]:
    """Lines of running text that fit the room."""
    for line in wrap_runs(((text, False),), TEXT_CAP, room):
        yield " ".join(piece for piece, _ in line)


def _head(view: View, shapes: list[Shape], page_width: float) -> float:
    """Title, what is compared, and the types with their patterns; returns where the panels begin."""
    room = page_width - 2 * MARGIN
    y = MARGIN + TITLE_CAP
    known = any(row.cost is not None for row in view.comparison.rows)
    title = f"{'Capacity, bandwidth and cost' if known else 'Capacity and bandwidth'}: {view.board.title}"
    shapes.append(_text(MARGIN, y, fitted(title, TITLE_CAP, room, True), TITLE_CAP, look="b"))
    for line in _wrapped(headline(view), room):
        y += 5
        shapes.append(_text(MARGIN, y, line, TEXT_CAP))
    y += 3
    x = MARGIN
    for module in view.types:
        shape, wide = _legend_entry(view, module, y)
        if x + wide > page_width - MARGIN and x > MARGIN:
            x, y = MARGIN, y + 6.5
            shape, wide = _legend_entry(view, module, y)
        shapes.append(moved(shape, x, 0))
        x += wide
    if any(len(counts_of(row)) > 1 for group in view.comparison.groups for row in view.shown(group)):
        name = "several types, letters below"
        wide = 8 + width(name, TEXT_CAP) + 6
        if x + wide > page_width - MARGIN:
            x, y = MARGIN, y + 6.5
        shapes += [Rect(x=x, y=y, width=6, height=4.6, look="bar"), _text(x + 8, y + 3.6, name, TEXT_CAP)]
    return y + 10


def _legend_entry(view: View, module: Module, y: float) -> tuple[Shapes, float]:
    name = f"{view.keys[module]}  {module.label}"
    box = _filled(view, module, (0, y, 6, 4.6))
    return Shapes(children=(*box, _text(8, y + 3.6, name, TEXT_CAP))), 8 + width(name, TEXT_CAP) + 6


def _filled(view: View, module: Module, box: tuple[float, float, float, float]) -> tuple[Shape, ...]:
    """A box (x, y, width, height) in the look of a type: its tint and its pattern."""
    x, y, wide, high = box
    letter = TYPE_LOOKS[view.types.index(module) % len(TYPE_LOOKS)]
    lines = TYPE_PATTERNS[letter](wide, high)
    segments = tuple((x + a, y + b, x + c, y + d) for a, b, c, d in lines)
    hatch = "dots" if letter == "b" else "hatch"
    return (
        Rect(x=x, y=y, width=wide, height=high, look=f"slot-{letter}"),
        *((Strokes(segments=segments, look=f"{hatch}-{letter}"),) if segments else ()),
    )


def _panel(view: View, shapes: list[Shape], y: float, *, panel: Panel, grid: _Grid, tops: tuple[float, float]) -> float:
    """One processor: bandwidth, capacities below it, cost below them; returns where the next begins."""
    processor, groups = panel
    speed_top, cost_top = tops
    bars = [bar for index, (_, rows) in enumerate(groups) for bar in grid.bars(index, rows)]
    if processor is not None and len(view.comparison.processors) > 1:
        option = view.board.processor(processor)
        name = option.title if option and option.title else processor
        shapes.append(_text(MARGIN, y, f"{processor}: {name}" if name != processor else name, 2.8, look="b"))
        y += 5
    base = y + VALUES_MM + SPEED_MM
    shapes += _axis("GB/s, system sweep", speed_top, base=base, high=SPEED_MM, end=grid.end)
    shapes += [_speed_bar(view, bar, base, speed_top) for bar in bars]
    lines = max((len(list(_letters(view, bar, base))) for bar in bars), default=1)
    y = base + 4 + LETTERS_MM * lines + TEXT_CAP
    for index, (group, rows) in enumerate(groups):
        middle = grid.middle(index)
        shapes.append(_text(middle, y, format_capacity(group.capacity_gib), TEXT_CAP, look="b", anchor="middle"))
        if not rows:
            shapes.append(_text(middle + 1, base - 2, "nothing fits", SMALL_CAP, turn=-90))
    y += 3
    if cost_top:
        cost_base = y + VALUES_MM + COST_MM
        name = f"cost, {view.currency}" if view.currency else "cost"
        shapes += _axis(name, cost_top, base=cost_base, high=COST_MM, end=grid.end)
        shapes += [_cost_bar(view, bar, cost_base, cost_top) for bar in bars]
        y = cost_base + 4
    return y + 8


def _ticks(top: float) -> list[float]:
    """Round values from 0 to the top, at most seven of them."""
    power = 10.0 ** math.floor(math.log10(top))
    step = next(power * factor for factor in (0.2, 0.25, 0.5, 1, 2) if top / (power * factor) <= 6)
    return [step * index for index in range(int(top / step + 1e-9) + 1)]


def _axis(name: str, top: float, *, base: float, high: float, end: float) -> Iterator[Shape]:
    for tick in _ticks(top):
        y = base - tick / top * high
        yield Line(x1=LEFT, y1=y, x2=end, y2=y, look="medium" if not tick else "grid")
        yield _text(LEFT - 1.5, y + SMALL_CAP / 2, f"{tick:g}", SMALL_CAP, anchor="end")
    yield _text(MARGIN + 1, base - high / 2, name, TEXT_CAP, anchor="middle", turn=-90)


def _speed_bar(view: View, bar: _Bar, base: float, top: float) -> Shape:
    row = bar.row
    assert row.figures is not None
    high = float(row.figures.system_sweep_gb_s) / top * SPEED_MM
    middle = bar.x + bar.width / 2
    value = f"{decimal(row.figures.system_sweep_gb_s, 1):.1f}"
    parts = [*_body(view, bar, base, high), *_letters(view, bar, base)]
    parts.append(_upwards(middle, base - high - 1.2, value, bold=row.unbeaten))
    if row.is_answer:
        tip = base - high - 2.6 - width(value, SMALL_CAP, row.unbeaten)
        parts.append(Polygon(points=((middle, tip), (middle - 1.3, tip - 2.2), (middle + 1.3, tip - 2.2)), look="ink"))
    return Shapes(children=tuple(parts), id=_id(view, row, "speed"), title=_in_words(view, row))


def _cost_bar(view: View, bar: _Bar, base: float, top: float) -> Shape:
    row, middle = bar.row, bar.x + bar.width / 2
    if row.cost is None:
        return _text(middle, base - 1, "?", SMALL_CAP, anchor="middle")
    high = float(row.cost) / top * COST_MM
    value = f"{decimal(row.cost, 0):.0f}" if row.cost >= 100 else f"{decimal(row.cost, 2):g}"
    parts = (*_body(view, bar, base, high), _upwards(middle, base - high - 1.2, value, bold=row.unbeaten))
    return Shapes(children=parts, id=_id(view, row, "cost"), title=_in_words(view, row))


def _upwards(middle: float, y: float, text: str, *, bold: bool) -> Text:
    return _text(middle + cap_height(font_size(SMALL_CAP)) / 2, y, text, SMALL_CAP, look="b" if bold else "", turn=-90)


def _body(view: View, bar: _Bar, base: float, high: float) -> tuple[Shape, ...]:
    high = max(high, 0.3)
    counts = counts_of(bar.row)
    if len(counts) > 1:
        return (Rect(x=bar.x, y=base - high, width=bar.width, height=high, look="bar"),)
    return _filled(view, counts[0][0], (bar.x, base - high, bar.width, high))


def _letters(view: View, bar: _Bar, base: float) -> Iterator[Shape]:
    """The letters of the types under a bar, below each other where there are several."""
    letters = view.key(bar.row)
    middle = bar.x + bar.width / 2
    if width(letters, SMALL_CAP) <= bar.width + 0.3:
        yield _text(middle, base + 3.2, letters, SMALL_CAP, anchor="middle")
        return
    for index, letter in enumerate(letters.split("+")):
        yield _text(middle, base + 3.2 + LETTERS_MM * index, letter, SMALL_CAP, anchor="middle")


def _id(view: View, row: Row, what: str) -> str:
    processor = view.comparison.processors.index(row.request.processor)
    letters = view.key(row).replace("+", "-")
    return f"{what}-{row.request.capacity_gib}-{processor + 1}-{letters}-{len(row.types)}"


def _foot(view: View, shapes: list[Shape], y: float, page_width: float) -> float:
    marks = (
        "A triangle marks what plan answers when all these types are allowed. Bold figures: no other bar of that "
        f"capacity beats it in {beaten_in(view.comparison)}."
    )
    peaks = "Bandwidths are peaks of a model; STREAM usually measures 70 to 85 % of peak."
    for text in (marks, cost_text(view.comparison), peaks):
        for line in _wrapped(text, page_width - 2 * MARGIN):
            shapes.append(_text(MARGIN, y, line, TEXT_CAP))
            y += 4.2
    return y + MARGIN - 4
