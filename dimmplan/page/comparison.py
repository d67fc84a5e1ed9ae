"""A comparison as one HTML file: the chart, the whole table, and every finding, for a browser or a colleague's mail."""

from __future__ import annotations

import base64

from dimmplan.compare import Group
from dimmplan.output.columns import Part, finding_text
from dimmplan.output.compare import CHANNELS, Report
from dimmplan.output.compare_chart import chart_svg, matplotlib_missing
from dimmplan.output.compare_rows import Line, columns, lines_of
from dimmplan.page.render import page_of
from dimmplan.units import format_capacity
from dimmplan.wording import TRUST


def compare_html(report: Report) -> str:
    """A comparison as a whole HTML document; it loads nothing and runs nothing."""
    board, others = report.board, report.other_processors
    missing = matplotlib_missing()
    picture = "" if missing else base64.b64encode(chart_svg(report).encode("utf-8")).decode("ascii")
    second = "cost" if report.priced else "free slots"
    return page_of(
        "compare.html",
        styles=("base.css", "compare.css"),
        images=True,
        title=f"{board.title}: capacities compared",
        about=f"{board.id}; {TRUST[board.trust]}; {report.headline}.",
        why=f"{report.why} {report.cost}",
        picture=f"data:image/svg+xml;base64,{picture}" if picture else "",
        picture_alt=f"Points of bandwidth and of {second} over capacity; the table below holds the same figures.",
        no_picture=f"No chart: matplotlib is not installed. {missing.hint}" if missing else "",
        types=[f"{letter}: {module.label}{report.shelf_text(module)}" for module, letter in report.keys.items()],
        meaning="The answer (bold) is what plan gives when all these types are allowed. Unbeaten: no other row of its "
        f"capacity beats it in {report.beaten_in}. Channels: {CHANNELS}. "
        "Bandwidths are peaks of a model; STREAM usually measures 70 to 85 % of peak.",
        columns=[column for column in columns(report) if column.title],
        groups=[_group(report, group) for group in report.comparison.groups],
        processors=report.processors + ([f"Not compared: {', '.join(others)}"] if others else []),
        findings=[finding_text(finding) for finding in report.numbered],
        common=[finding_text(finding) for finding in report.common],
        left_out=[f"{why.module.label}: {why.found}; allowed: {why.allowed} [{why.rule}]" for why in report.left_out],
    )


def _group(report: Report, group: Group) -> Part[Line]:
    """The rows of one capacity and processor, under a heading of their own."""
    lines, unreached = lines_of(report, group), report.unreached(group)
    processor = f", {group.processor}" if group.processor else ""
    name = f"{format_capacity(group.capacity_gib)}{processor}" + ("" if lines else ": nothing fits")
    return Part(items=lines, title=name + (f"; not with {unreached}" if unreached else ""))
