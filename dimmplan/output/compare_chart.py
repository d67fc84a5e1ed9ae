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
from math import log2
from typing import TYPE_CHECKING, Any

from dimmplan.compare import Row
from dimmplan.errors import InputError, Problem
from dimmplan.model.module import modules_phrase
from dimmplan.output.compare import Report, counts_of
from dimmplan.output.stock import money
from dimmplan.output.svg import MARK
from dimmplan.units import decimal, format_capacity

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.path import Path
    from matplotlib.transforms import Bbox

HINT = "Install it with: pip install 'dimmplan[charts]'. The table needs nothing more."
_WIDE, _NARROWEST, _HIGH = 11.7, 6.2, 8.3
"""Inches: A4 on its side; more where several processors stand side by side."""
_INK, _LINE, _GRID = "#14181c", "#6d6a60", "#d8d5cb"
_COLOURS = ("#17527a", "#a33a12", "#46640b", "#6b2f6b", "#7a5a00", "#2f5f5f")
_FORMS, _FILLS = "os^Dv<>pPX*hd8", ("full", "none")
_SIZE = 9.0
"""Of a point, in typographic points."""
_FOOT = (
    "A point is a row of the table; bold is what plan answers. The line joins the fastest row of each capacity that no "
    "other row beats. A point without words had no room for them: its form says its type, the table the number. "
    "Bandwidths are peaks of a model: STREAM usually measures 70 to 85 % of peak."
)


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


def chart_svg(report: Report) -> str:
    """The chart of a comparison as an SVG document. Same rows, same text; ``InputError`` without matplotlib."""
    drawn = _drawn(report, format="svg", metadata=dict.fromkeys(("Creator", "Date", "Format", "Type")))
    before, opening, after = drawn.decode("utf-8").partition("<svg ")
    attributes, close, body = after.partition(">")
    words = f"<title>{escape(title_of(report))}</title>\n<desc>{escape(description(report))}</desc>"
    return f"{before}{opening}{attributes}{close}\n<metadata>{MARK}</metadata>\n{words}{body}"


def chart_png(report: Report) -> bytes:
    """The chart as PNG at 300 dots per inch; ``InputError`` without matplotlib."""
    return _drawn(report, format="png", dpi=300, metadata={"Software": "dimmplan"})


def _drawn(report: Report, **how: Any) -> bytes:
    require_matplotlib()
    import logging  # noqa: PLC0415
    import warnings  # noqa: PLC0415

    from matplotlib import rc_context  # noqa: PLC0415

    settings: Any = {
        "svg.hashsalt": "dimmplan", "svg.fonttype": "path", "font.family": "DejaVu Sans", "font.size": 10,
        "text.parse_math": False, "axes.spines.top": False, "axes.spines.right": False, "axes.axisbelow": True,
        "axes.grid": True, "grid.color": _GRID, "grid.linewidth": 0.6, "legend.frameon": False,
    }  # fmt: skip
    logging.getLogger("matplotlib").setLevel(logging.ERROR)
    with rc_context(settings), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a letter that the font lacks is drawn as a box
        output = io.BytesIO()
        _figure(report).savefig(output, **how)
    return output.getvalue()


def title_of(report: Report) -> str:
    """The title of the chart."""
    return f"dimmplan: capacity against bandwidth, {report.board.title}"


def description(report: Report) -> str:
    """The chart in words: one line for each point."""
    lines = [f"{report.headline}. {report.cost} One line for each point:"]
    for group in report.comparison.groups:
        processor = f", {group.processor}" if len(report.comparison.processors) > 1 else ""
        asked = f"{format_capacity(group.capacity_gib)}{processor}"
        lines += [f"{asked}: {_in_words(report, row)}" for row in report.shown(group)] or [f"{asked}: nothing fits"]
    return "\n".join(lines)


def _in_words(report: Report, row: Row) -> str:
    assert row.figures is not None
    cost = f", cost {money(row.cost, report.currency)}" if row.cost is not None else ""
    marks = [words for on, words in ((row.is_answer, "what plan answers"), (row.unbeaten, "unbeaten")) if on]
    return (
        f"{modules_phrase(counts_of(row))}, balanced sweep "
        f"{decimal(row.figures.balanced_sweep_gb_s, 1):.1f} GB/s at {row.figures.rate_mts} MT/s, worst share "
        f"{decimal(row.figures.worst_share, 3):.3f}, {row.figures.free_slots} slots free{cost}"
        + (f" ({', '.join(marks)})" if marks else "")
    )


@dataclass(frozen=True, slots=True)
class Point:
    """A row as it is drawn: GiB, GB/s, what stands in the second report, what it is, and the form of its types."""

    row: Row
    capacity: float
    sweep: float
    second: float | None
    label: str
    look: tuple[str, str, str]
    aside: int = 0
    second_aside: int = 0
    """How many places it is moved aside in each report, where several points would lie on one another."""


def looks_of(keys: Sequence[str]) -> dict[str, tuple[str, str, str]]:
    """Form, filling and colour of the points of each set of types: no two are alike, in colour or without.

    Beyond the forms that there are, the letters themselves are the points.
    """
    forms = [(form, fill) for fill, form in product(_FILLS, _FORMS)]
    return {
        key: (*(forms[index] if index < len(forms) else (f"${key}$", "full")), _COLOURS[index % len(_COLOURS)])
        for index, key in enumerate(dict.fromkeys(keys))
    }


def points_of(report: Report, processor: str | None) -> list[Point]:
    """The points of one processor's panel, those at the same place side by side."""
    looks = looks_of(_keys(report))
    sizes = Counter(module.capacity_gib for module in report.keys)
    points: dict[object, Point] = {}
    for row in sorted(report.rows, key=lambda row: (not row.is_answer, not row.unbeaten)):
        if row.request.processor != processor or row.figures is None:
            continue
        its = row.figures
        second = (None if row.cost is None else float(row.cost)) if report.priced else float(its.free_slots)
        label = " + ".join(
            f"{count} x {module.capacity_gib}GB" + (f" {report.keys[module]}" if sizes[module.capacity_gib] > 1 else "")
            for module, count in counts_of(row)
        )
        at = float(its.usable_gib), float(its.balanced_sweep_gb_s)
        points.setdefault((at, label), Point(row, *at, second, label, looks[report.key(row)]))
    ordered = sorted(points.values(), key=lambda point: (point.capacity, -point.sweep))
    aside = _aside([(point.capacity, point.sweep) for point in ordered])
    second_aside = _aside([(point.capacity, point.second) for point in ordered])
    return [
        replace(point, aside=one, second_aside=two)
        for point, one, two in zip(ordered, aside, second_aside, strict=True)
    ]


def _aside(places: Sequence[tuple[float, float | None]]) -> list[int]:
    """How far each is moved aside from those at the same place: -1 and 1 for two, -2, 0 and 2 for three."""
    return [2 * places[:index].count(place) - places.count(place) + 1 for index, place in enumerate(places)]


def _keys(report: Report) -> list[str]:
    """The sets of types that rows use: single types first, larger modules first."""
    return sorted(set(map(report.key, report.rows)), key=lambda key: (key.count("+"), key))


def fastest_unbeaten(points: Sequence[Point]) -> list[Point]:
    """Of each capacity asked the fastest row that no other beats, capacities rising: what the line joins."""
    best: dict[int, Point] = {}
    for point in points:
        asked = point.row.request.capacity_gib
        if point.row.unbeaten and (asked not in best or point.sweep > best[asked].sweep):
            best[asked] = point
    return [best[asked] for asked in sorted(best)]


# -- drawn -------------------------------------------------------------------------------------------------------------


def _figure(report: Report) -> Figure:
    """One figure: a column for each processor, bandwidth above, cost or free slots below."""
    from matplotlib.figure import Figure  # noqa: PLC0415

    panels = [points_of(report, processor) for processor in report.comparison.processors]
    wide = max(_WIDE, _NARROWEST * len(panels))
    figure = Figure(figsize=(wide, _HIGH))
    left, letters = 0.3 / wide, int(wide * 13)
    figure.text(left, 0.975, f"{report.board.title}: what to buy", size=15, weight="bold", va="top")
    about, foot = (textwrap.fill(text, letters) for text in (f"{report.headline}. {report.cost}", _FOOT))
    top = figure.text(left, 0.93, about, size=9.5, va="top").get_window_extent().y0 / figure.bbox.height
    bottom = figure.text(left, 0.02, foot, size=9, va="bottom").get_window_extent().y1 / figure.bbox.height
    bottom = _legend(figure, report, int(wide * 12), (0.2 / wide, bottom + 0.005)) / figure.bbox.height
    figure.set_layout_engine("constrained", rect=(left / 2, bottom, 1 - left, top - bottom - 0.02), hspace=0.02)
    axes = figure.subplots(2, len(panels), squeeze=False, sharex=True, sharey="row", height_ratios=(7, 3))
    for column, (points, processor) in enumerate(zip(panels, report.comparison.processors, strict=True)):
        _panel(axes[0][column], axes[1][column], points, (processor or "") if len(panels) > 1 else "")
    currency = f", {report.currency}" if report.currency else ""
    axes[0][0].set_ylabel("balanced sweep, GB/s")
    axes[1][0].set_ylabel(f"cost{currency}" if report.priced else "free slots")
    _scales(axes, [point for points in panels for point in points], inches=wide / len(panels))
    figure.draw_without_rendering()  # settles where everything is
    figure.set_layout_engine("none")
    for ax, points in zip(axes[0], panels, strict=True):
        _Labels(figure, ax, points).place()
    return figure


def _legend(figure: Figure, report: Report, letters: int, corner: tuple[float, float]) -> float:
    """What each form means, as many beside each other as have room; returns where it ends, in dots."""
    from matplotlib.lines import Line2D  # noqa: PLC0415

    labels = {letter: module.label for module, letter in report.keys.items()}
    looks = looks_of(_keys(report))
    words = {key: labels.get(key) or f"{' and '.join(key.split('+'))} together" for key in looks}
    handles = [
        Line2D([], [], linestyle="none", label=f"{key}: {words[key]}", **_style(look)) for key, look in looks.items()
    ]
    longest = max((len(handle.get_label()) for handle in handles), default=1)  # type: ignore[arg-type]
    across = max(1, letters // (longest + 6))
    legend = figure.legend(
        handles=handles, loc="lower left", bbox_to_anchor=corner, ncols=across, fontsize=9, handletextpad=0.3,
        borderpad=0.2, columnspacing=1.2,
    )  # fmt: skip
    legend.set_in_layout(False)
    return float(legend.get_window_extent().y1)


def _panel(speed: Axes, other: Axes, points: Sequence[Point], name: str) -> None:
    joined = fastest_unbeaten(points)
    speed.plot([p.capacity for p in joined], [p.sweep for p in joined], color=_LINE, linewidth=1.4, zorder=1)
    for point in points:
        _dot(speed, point, point.sweep, point.aside)
        if point.second is not None:
            _dot(other, point, point.second, point.second_aside)
    speed.set_title(name, size=11, weight="bold")
    other.set_xlabel("usable capacity")


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


def _scales(axes: Any, points: Sequence[Point], *, inches: float) -> None:
    """Capacities doubling from place to place, all of them marked that have room; bandwidth from nothing on."""
    from matplotlib.ticker import MaxNLocator, NullLocator  # noqa: PLC0415

    places = sorted({point.capacity for point in points}) or [1.0]
    ends = places[0] / 1.22, places[-1] * 1.22
    ticks = places[:1]
    for place in places[1:]:  # a name takes three quarters of an inch
        if log2(place / ticks[-1]) / log2(ends[1] / ends[0]) * inches >= _TICK_INCHES:
            ticks.append(place)
    for ax in axes.flat:
        ax.set_xscale("log", base=2)
        ax.set_xlim(ends)
        ax.set_xticks(ticks, [format_capacity(int(each) if each.is_integer() else each) for each in ticks])  # type: ignore[arg-type]
        ax.xaxis.set_minor_locator(NullLocator())
    for ax in axes[0]:
        ax.tick_params(labelbottom=False)
    low = min((point.sweep for point in points), default=0.0)
    high = max((point.sweep for point in points), default=1.0)
    room = max(high - low, 0.12 * high)
    axes[0][0].set_ylim(max(0.0, low - 0.25 * room), high + 0.2 * room)
    axes[1][0].set_ylim(0, 1.18 * max([1.0, *(point.second for point in points if point.second is not None)]))
    axes[1][0].yaxis.set_major_locator(MaxNLocator(4, integer=True))


_TICK_INCHES = 0.7
_RINGS, _FURTHEST = 7, 16
"""How far from its point a label may stand, in parts of its height; further where the row matters most."""


class _Labels:
    """Puts the words of each point where nothing else is: no text on a point, a line or another text."""

    def __init__(self, figure: Figure, ax: Axes, points: Sequence[Point]) -> None:
        from matplotlib.path import Path  # noqa: PLC0415
        from matplotlib.transforms import Bbox  # noqa: PLC0415

        self.box, self.path = Bbox, Path
        self.figure, self.ax, self.points, self.dot = figure, ax, points, figure.dpi / 72
        left, bottom, right, top = ax.get_window_extent().extents
        self.frame = Bbox.from_extents(left + 2, bottom + 2, right + 0.25 * figure.dpi, top + 0.1 * figure.dpi)
        joined = [ax.transData.transform((point.capacity, point.sweep)) for point in fastest_unbeaten(points)]
        self.lines = [Path(pair) for pair in pairwise(joined)]
        self.dots = [Bbox([self._at(point)] * 2).padded((0.5 * _SIZE + 1.5) * self.dot) for point in points]
        self.taken: list[Bbox] = []

    def _at(self, point: Point) -> tuple[float, float]:
        x, y = self.ax.transData.transform((point.capacity, point.sweep))
        return x + 0.6 * _SIZE * point.aside * self.dot, y

    def place(self) -> None:
        """The answers' labels first, then the unbeaten rows'; a label that has no room near gets a leader, or goes."""
        from matplotlib.text import Text  # noqa: PLC0415

        part: Any = self.figure.transFigure.inverted().transform
        for point in sorted(self.points, key=lambda point: (not point.row.is_answer, not point.row.unbeaten)):
            words = self.ax.annotate(
                point.label, part(self._at(point)), (0, 0), xycoords="figure fraction", textcoords="figure fraction",
                size=9, weight="bold" if point.row.is_answer else "normal", color=_INK, va="bottom",
                arrowprops={"arrowstyle": "-", "color": _LINE, "linewidth": 0.7, "shrinkA": 0, "shrinkB": _SIZE / 2},
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6}, zorder=5, annotation_clip=False,
            )  # fmt: skip
            extent = Text.get_window_extent(words)
            place = next(self._free(point, extent.width, extent.height), None)
            if place is None:
                words.remove()
                continue
            box, leader = place
            words.set_position(part(box.p0))
            self.taken.append(box.padded(2, 1))
            if leader is not None:
                self.lines.append(leader)
            elif words.arrow_patch is not None:
                words.arrow_patch.set_visible(False)

    def _free(self, point: Point, wide: float, high: float) -> Iterator[tuple[Bbox, Path | None]]:
        """Places for a label, nearest first, each with its leader where it needs one."""
        x, y = self._at(point)
        near = (0.5 * _SIZE + 3.5) * self.dot
        others = [dot for dot in self.dots if not dot.contains(x, y)]
        for ring in range(_FURTHEST if point.row.is_answer or point.row.unbeaten else _RINGS):
            gap = near + ring * 0.7 * high
            aside = 0.8 * gap
            across = (x - wide / 2, x - near, x - wide + near)
            sides = [(left, bottom) for bottom in (y + gap, y - gap - high) for left in across]
            sides[1:1] = [(x + gap, y - high / 2), (x - gap - wide, y - high / 2)]
            sides += product((x + aside, x - aside - wide), (y + aside,))
            sides += product((x + aside, x - aside - wide), (y - aside - high,))
            for left, bottom in sides:
                box = self.box.from_bounds(left, bottom, wide, high)
                if self._meets(box):
                    continue
                leader = self.path([(x, y), ((box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2)])
                if not ring:
                    yield box, None
                elif not any(leader.intersects_bbox(other) for other in (*self.taken, *others)):
                    yield box, leader

    def _meets(self, box: Bbox) -> bool:
        inside = all(self.frame.contains(*corner) for corner in (box.p0, box.p1))
        busy = box.count_overlaps([*self.taken, *self.dots])
        return not inside or busy > 0 or any(line.intersects_bbox(box) for line in self.lines)
