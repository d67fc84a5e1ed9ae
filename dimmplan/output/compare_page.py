"""A comparison as one HTML file: the chart, the whole table, and every finding, for a browser or a colleague's mail."""

from __future__ import annotations

import base64
from collections.abc import Iterator, Sequence
from html import escape

from dimmplan.compare import Group
from dimmplan.explain import TRUST
from dimmplan.output.columns import Column
from dimmplan.output.compare import (
    View,
    beaten_in,
    cost_text,
    finding_text,
    headline,
    limit_sentences,
    other_processors,
    why_text,
)
from dimmplan.output.compare_chart import chart_page
from dimmplan.output.compare_columns import Line, columns, lines_of
from dimmplan.output.policy import hash_source
from dimmplan.output.svg import render_svg
from dimmplan.supply import left_out_of
from dimmplan.units import format_capacity

_STYLE = """
:root { color-scheme: light; }
body { font: 15px/1.45 'Liberation Sans', Arial, Helvetica, sans-serif; color: #14181c; background: #fff;
  margin: 2rem auto; max-width: 82rem; padding: 0 1rem; }
h1 { font-size: 1.5rem; margin: 0 0 .3rem; }
h2 { font-size: 1.1rem; margin: 1.8rem 0 .4rem; }
p, ul, ol { margin: .3rem 0; }
figure { margin: 1rem 0; }
img { max-width: 100%; height: auto; }
.scroll { overflow-x: auto; }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; }
caption { text-align: left; padding: .3rem 0; }
th, td { padding: .2rem .6rem; text-align: left; vertical-align: top; border-bottom: 1px solid #c9c7be; }
th.n, td.n { text-align: right; }
thead th { border-bottom: 2px solid #14181c; }
tbody th { background: #f5f4ef; border-top: 2px solid #14181c; }
tr.answer td { font-weight: bold; }
td { white-space: nowrap; }
td.w { white-space: normal; min-width: 9rem; }
code { font: .8em 'Liberation Mono', monospace; }
@media print { body { margin: 0; max-width: none; font-size: 9pt; } .scroll { overflow: visible; }
  th:last-child:not([colspan]), td:last-child { display: none; } }
""".strip()
_POLICY = f"default-src 'none'; style-src {hash_source(_STYLE)}; img-src data:; base-uri 'none'; form-action 'none'"


def compare_html(view: View) -> str:
    """A comparison as a whole HTML document; it loads nothing and runs nothing."""
    board = view.board
    page = chart_page(view)
    picture = base64.b64encode(render_svg(page).encode("utf-8")).decode("ascii")
    title = f"{board.title}: capacities compared"
    parts = [
        "<!DOCTYPE html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        '<meta name="generator" content="made by dimmplan">',
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{escape(title)}</title>",
        f"<style>{_STYLE}</style>",
        "</head>",
        "<body>",
        "<main>",
        f"<h1>{escape(title)}</h1>",
        f"<p>{escape(board.id)}; {escape(TRUST[board.trust])}; {escape(headline(view))}.</p>",
        f"<p>{escape(why_text(view))} {escape(cost_text(view.comparison))}</p>",
        "<figure>",
        f'<img src="data:image/svg+xml;base64,{picture}" alt="Bars of bandwidth{_cost_alt(view)} for each capacity; '
        'the table below holds the same figures.">',
        "</figure>",
        *_types(view),
        *_table(view),
        *_list("Processors", _processors(view)),
        *_numbered(view),
        *_list("For every row", [finding_text(finding) for finding in view.common]),
        *_left_out(view),
        "</main>",
        "</body>",
        "</html>",
    ]
    return "\n".join(parts) + "\n"


def _cost_alt(view: View) -> str:
    return " and of cost" if any(row.cost is not None for row in view.comparison.rows) else ""


def _numbered(view: View) -> Iterator[str]:
    if view.numbered:
        yield "<h2>Findings</h2>"
        yield "<ol>"
        yield from (f"<li>{escape(finding_text(finding))}</li>" for finding in view.numbered)
        yield "</ol>"


def _types(view: View) -> Iterator[str]:
    yield "<h2>Module types</h2>"
    yield "<ul>"
    for module in view.types:
        yield f"<li>{view.keys[module]}: {escape(module.label + view.shelf_text(module))}</li>"
    yield "</ul>"


def _table(view: View) -> Iterator[str]:
    """One table; each capacity (and processor) is a body of its own with a heading."""
    yield "<h2>All rows</h2>"
    yield '<div class="scroll" tabindex="0" role="region" aria-label="All rows">'
    yield "<table>"
    meaning = (
        "The answer (bold) is what plan gives when all these types are allowed. Unbeaten: no other row of its capacity "
        f"beats it in {beaten_in(view.comparison)}. Channels: 4bb 2b | 6b says that at the first socket four channels "
        "carry two modules of type b and two carry one, and at the second six carry one; - is an empty channel. "
        "Bandwidths are peaks of a model; STREAM usually measures 70 to 85 % of peak."
    )
    yield f"<caption>{escape(meaning)}</caption>"
    shown = [column for column in columns(view) if column.title]
    heads = "".join(f'<th scope="col"{_class(column)}>{escape(column.head)}</th>' for column in shown)
    yield f"<thead><tr>{heads}</tr></thead>"
    for group in view.comparison.groups:
        yield from _body(view, group, shown)
    yield "</table>"
    yield "</div>"


def _body(view: View, group: Group, shown: Sequence[Column[Line]]) -> Iterator[str]:
    lines = lines_of(view, group)
    processor = f", {group.processor}" if group.processor else ""
    unreached = view.unreached(group)
    name = f"{format_capacity(group.capacity_gib)}{processor}" + ("" if lines else ": nothing fits")
    name += f"; not with {unreached}" if unreached else ""
    yield "<tbody>"
    yield f'<tr><th scope="rowgroup" colspan="{len(shown)}">{escape(name)}</th></tr>'
    for line in lines:
        answer = ' class="answer"' if line.row.is_answer else ""
        cells = "".join(f"<td{_class(column)}>{escape(column.paged(line))}</td>" for column in shown)
        yield f"<tr{answer}>{cells}</tr>"
    yield "</tbody>"


def _class(column: Column[Line]) -> str:
    names = [name for is_so, name in ((column.align == "right", "n"), (bool(column.breaks), "w")) if is_so]
    return f' class="{" ".join(names)}"' if names else ""


def _processors(view: View) -> list[str]:
    first = view.comparison.processors[0]
    found = [f"warning: {sentence}" for sentence in limit_sentences(view.comparison.limits)]
    found += [
        f"{format_capacity(swap.capacity_gib)}, {first} to {swap.processor}: {view.swap_text(swap)}"
        for swap in view.swaps()
    ]
    others = other_processors(view)
    return [*found, f"Not compared: {', '.join(others)}"] if others else found


def _left_out(view: View) -> Iterator[str]:
    shelf = view.comparison.shelf
    left_out = left_out_of(view.board, shelf, view.comparison.processors[0]) if shelf else ()
    texts = [f"{why.module.label}: {why.found}; allowed: {why.allowed} [{why.rule}]" for why in left_out]
    yield from _list("On the shelf, but not for this board", texts)


def _list(title: str, items: Sequence[str]) -> Iterator[str]:
    if items:
        yield f"<h2>{escape(title)}</h2>"
        yield "<ul>"
        yield from (f"<li>{escape(item)}</li>" for item in items)
        yield "</ul>"
