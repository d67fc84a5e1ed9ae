"""A comparison as a chart: capacity against bandwidth, a point for each row, and what it costs or leaves free below.

Drawn by matplotlib (extra ``charts``). Types differ in the form of their points, never in colour alone, and every
point says what it is. Same comparison, same bytes: fixed ids, no date, letters as paths.
"""

from __future__ import annotations

import io
import textwrap
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from html import escape
from itertools import pairwise, product
from math import ceil
from typing import TYPE_CHECKING, Any

from dimmplan.compare import Row
from dimmplan.errors import InputError, Problem
from dimmplan.model.module import modules_phrase
from dimmplan.output.compare import View, cost_text, counts_of, headline
from dimmplan.output.stock import money
from dimmplan.output.svg import MARK
from dimmplan.units import decimal, format_capacity

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

HINT = "Install it with: pip install 'dimmplan[charts]'. The table needs nothing more."
_WIDE, _NARROWEST, _HIGH = 11.7, 6.2, 8.3
"""Inches: A4 on its side; more where several processors stand side by side."""
_INK, _LINE, _GRID = "#14181c", "#6d6a60", "#d8d5cb"
_COLOURS = ("#17527a", "#a33a12", "#46640b", "#6b2f6b", "#7a5a00", "#2f5f5f")
_FORMS, _FILLS = "os^Dv<>pPX*hd8", ("full", "none")
_SIZE = 9.0
"""Of a point, in typographic points."""


def matplotlib_missing() -> Problem | None:
    """What to say where matplotlib is not installed."""
    try:
        import matplotlib as _  # noqa: F401, PLC0415 - heavy, and only for charts
    except ImportError:
        allowed = "a file ending in .csv or .html, or the extra charts"
        return Problem(file="-o", found="a chart without matplotlib", allowed=allowed, hint=HINT)
    return None


def require_matplotlib() -> None:
    """Raise ``InputError`` where matplotlib is not installed."""
    problem = matplotlib_missing()
    if problem is not None:
        raise InputError(problem)


def chart_svg(view: View) -> str:
    """The chart of a comparison as an SVG document. Same rows, same text; ``InputError`` without matplotlib."""
    drawn = _drawn(view, format="svg", metadata=dict.fromkeys(("Creator", "Date", "Format", "Type")))
    head, tag, rest = drawn.decode("utf-8").partition("<svg ")
    opening, close, body = rest.partition(">")
    words = f"<title>{escape(title_of(view))}</title>\n<desc>{escape(description(view))}</desc>"
    return f"{head}{tag}{opening}{close}\n<metadata>{MARK}</metadata>\n{words}{body}"


def chart_png(view: View) -> bytes:
    """The chart as PNG at 300 dots per inch; ``InputError`` without matplotlib."""
    return _drawn(view, format="png", dpi=300, metadata={"Software": "dimmplan"})


def _drawn(view: View, **how: Any) -> bytes:
    require_matplotlib()
    import logging  # noqa: PLC0415
    import warnings  # noqa: PLC0415

    from matplotlib import rc_context  # noqa: PLC0415

    settings: Any = {"svg.hashsalt": "dimmplan", "svg.fonttype": "path", "font.family": "DejaVu Sans", "font.size": 10}
    logging.getLogger("matplotlib").setLevel(logging.ERROR)
    with rc_context(settings), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a letter that the font lacks is drawn as a box
        output = io.BytesIO()
        _Chart(view).figure().savefig(output, **how)
    return output.getvalue()


def title_of(view: View) -> str:
    """The title of the chart."""
    return f"dimmplan: capacity against bandwidth, {view.board.title}"


def description(view: View) -> str:
    """The chart in words: one line for each point."""
    lines = [f"{headline(view)}. {cost_text(view.comparison)} One line for each point:"]
    for group in view.comparison.groups:
        lines += [_in_words(view, row) for row in view.shown(group)]
        if not view.shown(group):
            processor = f", {group.processor}" if len(view.comparison.processors) > 1 else ""
            lines.append(f"{format_capacity(group.capacity_gib)}{processor}: nothing fits")
    return "\n".join(lines)


def _in_words(view: View, row: Row) -> str:
    assert row.figures is not None
    processor = f", {row.request.processor}" if len(view.comparison.processors) > 1 else ""
    cost = f", cost {money(row.cost, view.currency)}" if row.cost is not None else ""
    marks = [words for on, words in ((row.is_answer, "what plan answers"), (row.unbeaten, "unbeaten")) if on]
    return (
        f"{format_capacity(row.request.capacity_gib)}{processor}: {modules_phrase(counts_of(row))}, balanced sweep "
        f"{decimal(row.figures.balanced_sweep_gb_s, 1):.1f} GB/s at {row.figures.rate_mts} MT/s, worst share "
        f"{decimal(row.figures.worst_share, 3):.3f}, {row.figures.free_slots} slots free{cost}"
        + (f" ({', '.join(marks)})" if marks else "")
    )


@dataclass(frozen=True, slots=True)
class Point:
    """A row as it is drawn: GiB, GB/s, what stands in the second view, what it is, and the form of its types."""

    row: Row
    capacity: float
    sweep: float
    second: float | None
    label: str
    look: tuple[str, str, str]
    aside: int = 0
    second_aside: int = 0
    """How many places it is moved aside in each view, where several points would lie on one another."""


def looks_of(keys: Sequence[str]) -> dict[str, tuple[str, str, str]]:
    """Form, filling and colour of the points of each set of types: no two are alike, in colour or without.

    Beyond the forms that there are, the letters themselves are the points.
    """
    forms = [(form, fill) for fill, form in product(_FILLS, _FORMS)]
    return {
        key: (*(forms[index] if index < len(forms) else (f"${key}$", "full")), _COLOURS[index % len(_COLOURS)])
        for index, key in enumerate(dict.fromkeys(keys))
    }


def points_of(view: View, processor: str | None) -> list[Point]:
    """The points of one processor's panel, those at the same place side by side."""
    rows = [row for group in view.comparison.groups for row in view.shown(group)]
    looks = looks_of(_keys(view))
    sizes = Counter(module.capacity_gib for module in view.types)
    priced = any(row.cost is not None for row in rows)
    found: dict[object, Point] = {}
    for row in sorted(rows, key=lambda row: (not row.is_answer, not row.unbeaten)):
        if row.request.processor != processor or row.figures is None:
            continue
        its = row.figures
        second = (None if row.cost is None else float(row.cost)) if priced else float(its.free_slots)
        label = " + ".join(
            f"{count} x {module.capacity_gib}GB" + (f" {view.keys[module]}" if sizes[module.capacity_gib] > 1 else "")
            for module, count in counts_of(row)
        )
        at = float(its.usable_gib), float(its.balanced_sweep_gb_s)
        found.setdefault((at, label), Point(row, *at, second, label, looks[view.key(row)]))
    ordered = sorted(found.values(), key=lambda point: (point.capacity, -point.sweep))
    aside = _aside([(point.capacity, point.sweep) for point in ordered])
    second_aside = _aside([(point.capacity, point.second) for point in ordered])
    return [
        replace(point, aside=one, second_aside=two)
        for point, one, two in zip(ordered, aside, second_aside, strict=True)
    ]


def _aside(places: Sequence[tuple[float, float | None]]) -> list[int]:
    """How far each is moved aside from those at the same place: -1 and 1 for two, -2, 0 and 2 for three."""
    counts, seen = Counter(places), Counter[tuple[float, float | None]]()
    found = []
    for place in places:
        found.append(2 * seen[place] - counts[place] + 1)
        seen[place] += 1
    return found


def _keys(view: View) -> list[str]:
    """The sets of types that rows use: single types first, larger modules first."""
    used = {view.key(row) for group in view.comparison.groups for row in view.shown(group)}
    return sorted(used, key=lambda key: (key.count("+"), key))


def fastest_unbeaten(points: Sequence[Point]) -> list[Point]:
    """Of each capacity asked the fastest row that no other beats, capacities rising: what the line joins."""
    best: dict[int, Point] = {}
    for point in points:
        asked = point.row.request.capacity_gib
        if point.row.unbeaten and (asked not in best or point.sweep > best[asked].sweep):
            best[asked] = point
    return [best[asked] for asked in sorted(best)]


class _Chart:
    """One figure: a column for each processor, bandwidth above, cost or free slots below."""

    def __init__(self, view: View) -> None:
        self.view = view
        rows = [row for group in view.comparison.groups for row in view.shown(group)]
        self.priced = any(row.cost is not None for row in rows)
        self.panels = [points_of(view, processor) for processor in view.comparison.processors]
        self.looks = looks_of(_keys(view))

    def figure(self) -> Figure:
        from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415
        from matplotlib.figure import Figure  # noqa: PLC0415

        count = len(self.panels)
        wide = max(_WIDE, _NARROWEST * count)
        figure = Figure(figsize=(wide, _HIGH))
        renderer = FigureCanvasAgg(figure).get_renderer()  # type: ignore[no-untyped-call]  # measures letters
        letters = int(wide * 13)
        head = [f"{self.view.board.title}: what to buy"]
        about = textwrap.wrap(f"{headline(self.view)}. {cost_text(self.view.comparison)}", letters)
        foot = textwrap.wrap(_FOOT, letters)
        top = 1 - (0.5 + 0.2 * len(about)) / _HIGH
        bottom = (0.55 + 0.19 * len(foot) + 0.24 * ceil(len(self.looks) / self._across(wide))) / _HIGH
        axes = figure.subplots(
            2, count, squeeze=False, sharex=True, sharey="row", height_ratios=(7, 3),
            gridspec_kw={"left": 0.85 / wide, "right": 1 - 0.3 / wide, "top": top - 0.02, "bottom": bottom + 0.05,
                         "hspace": 0.08, "wspace": 0.06},
        )  # fmt: skip
        figure.text(0.3 / wide, 1 - 0.32 / _HIGH, head[0], size=15, weight="bold", parse_math=False)
        figure.text(0.3 / wide, top + 0.015, "\n".join(about), size=9.5, va="bottom", parse_math=False)
        figure.text(0.3 / wide, 0.16 / _HIGH, "\n".join(foot), size=9, va="bottom", parse_math=False)
        self._legend(figure, wide, (0.28 + 0.19 * len(foot)) / _HIGH)
        for column, points in enumerate(self.panels):
            self._panel(axes[0][column], axes[1][column], points, first=column == 0, name=self._name(column))
        self._scales(axes)
        for column, points in enumerate(self.panels):
            _Labels(figure, axes[0][column], points, renderer).place()
        return figure

    def _name(self, column: int) -> str:
        return self.view.comparison.processors[column] or "" if len(self.panels) > 1 else ""

    def _across(self, wide: float) -> int:
        longest = max((len(self._type_words(key)) for key in self.looks), default=1)
        return max(1, int(wide * 12 / (longest + 6)))

    def _type_words(self, key: str) -> str:
        labels = {letter: module.label for module, letter in self.view.keys.items()}
        parts = key.split("+")
        return f"{key}: {labels[key]}" if len(parts) == 1 else f"{key}: {' and '.join(parts)} together"

    def _legend(self, figure: Figure, wide: float, y: float) -> None:
        from matplotlib.lines import Line2D  # noqa: PLC0415

        handles = [
            Line2D([], [], linestyle="none", label=self._type_words(key), **_style(look))
            for key, look in self.looks.items()
        ]
        legend = figure.legend(
            handles=handles, loc="lower left", bbox_to_anchor=(0.2 / wide, y), ncols=self._across(wide), fontsize=9,
            frameon=False, borderpad=0.2, handletextpad=0.3, columnspacing=1.2,
        )  # fmt: skip
        for text in legend.get_texts():
            text.set_parse_math(False)

    def _panel(self, speed: Axes, other: Axes, points: Sequence[Point], *, first: bool, name: str) -> None:
        joined = fastest_unbeaten(points)
        places = [(p.capacity, p.sweep) for p in joined]
        speed.plot(*zip(*places, strict=True), color=_LINE, linewidth=1.4, zorder=1) if places else None
        for point in points:
            _dot(speed, point, point.sweep, point.aside)
            if point.second is not None:
                _dot(other, point, point.second, point.second_aside)
        if name:
            speed.set_title(name, size=11, weight="bold", parse_math=False)
        if first:
            speed.set_ylabel("balanced sweep, GB/s")
            currency = f", {self.view.currency}" if self.view.currency else ""
            other.set_ylabel(f"cost{currency}" if self.priced else "free slots", parse_math=False)
        other.set_xlabel("usable capacity")

    def _scales(self, axes: Any) -> None:
        """Capacities doubling from place to place, all of them marked that have room; bandwidth from nothing on."""
        from matplotlib.ticker import FixedLocator, MaxNLocator, NullFormatter, NullLocator  # noqa: PLC0415

        points = [point for panel in self.panels for point in panel]
        places = sorted({p.capacity for p in points}) or [1.0]
        for ax in axes.flat:
            ax.set_xscale("log", base=2)
            ax.set_xlim(places[0] / 1.22, places[-1] * 1.22)
            ax.grid(visible=True, color=_GRID, linewidth=0.6, zorder=0)
            ax.set_axisbelow(True)
            ax.spines[["top", "right"]].set_visible(False)
            ax.xaxis.set_minor_locator(NullLocator())
            ax.xaxis.set_minor_formatter(NullFormatter())
        ticks = _apart(places, wide=axes[0][0].get_window_extent().width)
        for ax in axes[1]:
            ax.xaxis.set_major_locator(FixedLocator(ticks))
            ax.set_xticklabels([format_capacity(int(p) if p.is_integer() else p) for p in ticks])  # type: ignore[arg-type]
        low = min((p.sweep for p in points), default=0.0)
        high = max((p.sweep for p in points), default=1.0)
        room = max(high - low, 0.12 * high)
        axes[0][0].set_ylim(max(0.0, low - 0.25 * room), high + 0.2 * room)
        seconds = [p.second for p in points if p.second is not None]
        axes[1][0].set_ylim(0, 1.18 * max([*seconds, 1.0]))
        axes[1][0].yaxis.set_major_locator(MaxNLocator(4, integer=True))


_FOOT = (
    "A point is a row of the table; bold is what plan answers. The line joins the fastest row of each capacity that no "
    "other row beats. A point without words had no room for them: its form says its type, the table the number. "
    "Bandwidths are peaks of a model: STREAM usually measures 70 to 85 % of peak."
)


def _style(look: tuple[str, str, str]) -> dict[str, Any]:
    form, fill, colour = look
    return {
        "marker": form, "fillstyle": fill, "color": colour, "markersize": _SIZE, "markeredgewidth": 1.5,
        "markerfacecoloralt": "white",
    }  # fmt: skip


def _dot(ax: Axes, point: Point, height: float, aside: int) -> None:
    from matplotlib.transforms import ScaledTranslation  # noqa: PLC0415

    figure = ax.get_figure()
    assert figure is not None
    moved = ax.transData + ScaledTranslation(0.6 * _SIZE * aside / 72, 0, figure.dpi_scale_trans)
    style = _style(point.look) | {"linestyle": "none", "zorder": 3, "clip_on": False}
    ax.plot([point.capacity], [height], transform=moved, **style)


def _apart(places: Sequence[float], *, wide: float) -> list[float]:
    """The capacities whose names have room beside each other on a scale of doublings."""
    from math import log2  # noqa: PLC0415

    whole = log2(places[-1] * 1.22) - log2(places[0] / 1.22)
    kept = [places[0]]
    for place in places[1:]:
        if (log2(place) - log2(kept[-1])) / whole * wide >= _TICK_DOTS:
            kept.append(place)
    return kept


_TICK_DOTS = 62.0
_RINGS, _FURTHEST = 7, 16
"""How far from its point a label may stand, in parts of its height; further where the row matters most."""
Box = tuple[float, float, float, float]


class _Labels:
    """Puts the words of each point where nothing else is: no text on a point, a line or another text."""

    def __init__(self, figure: Figure, ax: Axes, points: Sequence[Point], renderer: Any) -> None:
        self.figure, self.ax, self.points, self.renderer = figure, ax, points, renderer
        self.dot = figure.dpi / 72
        frame = ax.get_window_extent()
        self.frame: Box = (frame.x0 + 2, frame.y0 + 2, frame.x1 + 0.25 * figure.dpi, frame.y1 + 0.1 * figure.dpi)
        half = (0.5 * _SIZE + 1.5) * self.dot
        self.at = [self._place(point) for point in points]
        self.taken: list[Box] = [(x - half, y - half, x + half, y + half) for x, y in self.at]
        joined = [ax.transData.transform((p.capacity, p.sweep)) for p in fastest_unbeaten(points)]
        self.lines = [((a[0], a[1]), (b[0], b[1])) for a, b in pairwise(joined)]

    def _place(self, point: Point) -> tuple[float, float]:
        x, y = self.ax.transData.transform((point.capacity, point.sweep))
        return float(x) + 0.6 * _SIZE * point.aside * self.dot, float(y)

    def place(self) -> None:
        """The answers' labels first, then the unbeaten rows'; a label that has no room near gets a leader, or goes."""
        from matplotlib.lines import Line2D  # noqa: PLC0415

        rows = [point.row for point in self.points]
        order = sorted(range(len(rows)), key=lambda i: (not rows[i].is_answer, not rows[i].unbeaten, i))
        for index in order:
            point, (x, y) = self.points[index], self.at[index]
            weight = "bold" if point.row.is_answer else "normal"
            text = self.ax.text(0, 0, point.label, size=9, weight=weight, color=_INK, transform=None, parse_math=False)
            extent = text.get_window_extent(self.renderer)
            text.remove()
            spot = next(self._free(index, extent.width, extent.height), None)
            if spot is None:
                continue
            box, leader = spot
            if leader is not None:
                (x1, y1), (x2, y2) = self.figure.transFigure.inverted().transform([(x, y), leader])
                self.figure.add_artist(Line2D([x1, x2], [y1, y2], color=_LINE, linewidth=0.7, zorder=2))
                self.lines.append(((x, y), leader))
            across, up = self.figure.transFigure.inverted().transform(box[:2])
            behind = {"facecolor": "white", "edgecolor": "none", "pad": 0.6}
            self.figure.text(
                across, up, point.label, size=9, weight=weight, color=_INK, va="bottom", parse_math=False, zorder=5,
                bbox=behind,
            )  # fmt: skip
            self.taken.append((box[0] - 2, box[1] - 1, box[2] + 2, box[3] + 1))

    def _free(self, index: int, wide: float, high: float) -> Iterator[tuple[Box, tuple[float, float] | None]]:
        """Places for a label, nearest first, each with the end of its leader where it needs one."""
        x, y = self.at[index]
        near = (0.5 * _SIZE + 3.5) * self.dot
        row = self.points[index].row
        for ring in range(_FURTHEST if row.is_answer or row.unbeaten else _RINGS):
            gap = near + ring * 0.7 * high
            aside = 0.8 * gap
            across = (x - wide / 2, x - near, x - wide + near)
            sides = [(left, bottom) for bottom in (y + gap, y - gap - high) for left in across]
            sides[1:1] = [(x + gap, y - high / 2), (x - gap - wide, y - high / 2)]
            sides += [(left, y + aside) for left in (x + aside, x - aside - wide)]
            sides += [(left, y - aside - high) for left in (x + aside, x - aside - wide)]
            for left, bottom in sides:
                box = (left, bottom, left + wide, bottom + high)
                if not self._inside(box) or self._meets(box):
                    continue
                end = (min(max(x, box[0]), box[2]), min(max(y, box[1]), box[3]))
                if not ring:
                    yield box, None
                elif not any(_crosses(other, (x, y), end) for i, other in enumerate(self.taken) if i != index):
                    yield box, end

    def _inside(self, box: Box) -> bool:
        left, bottom, right, top = self.frame
        return box[0] >= left and box[1] >= bottom and box[2] <= right and box[3] <= top

    def _meets(self, box: Box) -> bool:
        return any(_overlap(box, other) for other in self.taken) or any(_crosses(box, *line) for line in self.lines)


def _overlap(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _crosses(box: Box, a: tuple[float, float], b: tuple[float, float]) -> bool:
    """Whether the line from a to b touches a box: cut down to the box side by side, something is left of it."""
    low, high = 0.0, 1.0
    for axis in (0, 1):
        start, step = a[axis], b[axis] - a[axis]
        if step == 0:
            if not box[axis] <= start <= box[axis + 2]:
                return False
            continue
        one, two = sorted(((box[axis] - start) / step, (box[axis + 2] - start) / step))
        low, high = max(low, one), min(high, two)
    return low <= high
