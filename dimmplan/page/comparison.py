"""A comparison as one HTML file: the chart, the whole table, and every finding, for a browser or a colleague's mail."""

from __future__ import annotations

import base64

from dimmplan.compare import Group
from dimmplan.output.columns import Part
from dimmplan.output.compare import (
    CHANNELS,
    View,
    beaten_in,
    cost_text,
    headline,
    other_processors,
    processor_lines,
    why_text,
)
from dimmplan.output.compare_chart import chart_svg, matplotlib_missing
from dimmplan.output.compare_record import Line, columns, lines_of
from dimmplan.output.text import finding_text
from dimmplan.page.render import page_of
from dimmplan.units import format_capacity
from dimmplan.wording.placement import TRUST


def compare_html(view: View) -> str:
    """A comparison as a whole HTML document; it loads nothing and runs nothing."""
    board, others = view.board, other_processors(view)
    missing = matplotlib_missing()
    picture = "" if missing else base64.b64encode(chart_svg(view).encode("utf-8")).decode("ascii")
    second = "cost" if any(row.cost is not None for row in view.comparison.rows) else "free slots"
    return page_of(
        "compare.html",
        styles=("base.css", "compare.css"),
        images=True,
        title=f"{board.title}: capacities compared",
        about=f"{board.id}; {TRUST[board.trust]}; {headline(view)}.",
        why=f"{why_text(view)} {cost_text(view.comparison)}",
        picture=f"data:image/svg+xml;base64,{picture}" if picture else "",
        picture_alt=f"Points of bandwidth and of {second} over capacity; the table below holds the same figures.",
        no_picture=f"No chart: matplotlib is not installed. {missing.hint}" if missing else "",
        types=[f"{view.keys[module]}: {module.label}{view.shelf_text(module)}" for module in view.types],
        meaning=_meaning(view),
        columns=[column for column in columns(view) if column.title],
        groups=[_group(view, group) for group in view.comparison.groups],
        processors=processor_lines(view) + ([f"Not compared: {', '.join(others)}"] if others else []),
        findings=[finding_text(finding) for finding in view.numbered],
        common=[finding_text(finding) for finding in view.common],
        left_out=[f"{why.module.label}: {why.found}; allowed: {why.allowed} [{why.rule}]" for why in view.left_out],
    )


def _meaning(view: View) -> str:
    return (
        "The answer (bold) is what plan gives when all these types are allowed. Unbeaten: no other row of its capacity "
        f"beats it in {beaten_in(view.comparison)}. Channels: {CHANNELS}. "
        "Bandwidths are peaks of a model; STREAM usually measures 70 to 85 % of peak."
    )


def _group(view: View, group: Group) -> Part[Line]:
    """The rows of one capacity and processor, under a heading of their own."""
    lines = lines_of(view, group)
    processor = f", {group.processor}" if group.processor else ""
    unreached = view.unreached(group)
    name = f"{format_capacity(group.capacity_gib)}{processor}" + ("" if lines else ": nothing fits")
    return Part(items=lines, title=name + (f"; not with {unreached}" if unreached else ""))
