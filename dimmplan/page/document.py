"""The whole document: what stands on the page, in the order in which it is read aloud."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from math import ceil
from pathlib import Path

from dimmplan.answers.said import lowered
from dimmplan.explain import counted, gb_s, share_sentence
from dimmplan.model.board import Board
from dimmplan.model.move import Change
from dimmplan.model.placement import Placement
from dimmplan.output.policy import hash_source
from dimmplan.output.svg import MARK, inline_svg
from dimmplan.page.desk import figures, findings
from dimmplan.page.markup import Markup, element, named_values, section
from dimmplan.page.regions import address_ranges
from dimmplan.page.slots import reason_id, reasons_of, slots_and_reasons, why_this_rate
from dimmplan.page.work import after_work, before_work, doing
from dimmplan.sheet.change import facts_of
from dimmplan.sheet.desk import asked_rows
from dimmplan.sheet.facts import Facts
from dimmplan.sheet.ids import ident
from dimmplan.sheet.panels import finding_lead
from dimmplan.sheet.paper import DRAFTED
from dimmplan.sheet.shapes import Group, Page, Rect, Sheet, walk
from dimmplan.units import format_capacity

TOUCH_PX = 24
"""The least width of what is touched (WCAG 2.2, 2.5.8)."""

_CHOSEN = (
    '<aside id="chosen" class="screen" aria-label="Chosen slot" tabindex="-1" hidden>'
    '<button type="button" id="chosen-close">Close</button>'
    '<div id="chosen-text" aria-live="polite"></div></aside>'
)


def page_html(
    board: Board, placement: Placement, sheet: Sheet, *, code: str, tag: str | None, change: Change | None
) -> str:
    """A plan and its sheet as a whole HTML document, which loads nothing. Same arguments, same text.

    ``change`` is the way from what is in a machine; the sheet then is a change sheet.
    """
    facts = facts_of(board, placement, change)
    reasons = reasons_of(board, placement)
    work = (before_work(facts), doing(facts), after_work(facts))
    desk = (
        slots_and_reasons(facts, reasons, drawn=_drawn(sheet)),
        why_this_rate(reasons),
        address_ranges(facts),
        figures(facts),
        findings(facts),
    )
    style = _file("page.css") + _sheet_style(sheet)
    script = _file("page.js")
    title = f"{sheet.title}{f' – {tag}' if tag else ''}"
    head = element(
        "head",
        Markup('<meta charset="utf-8">'),
        Markup(f'<meta name="generator" content="{MARK}">'),
        Markup(f'<meta http-equiv="Content-Security-Policy" content="{_policy(style, script)}">'),
        Markup('<meta name="viewport" content="width=device-width, initial-scale=1">'),
        Markup('<meta name="color-scheme" content="light dark">'),
        element("title", title),
        Markup(f"<style>{style}</style>"),
    )
    body = element(
        "body",
        element("a", "Skip to the slots", class_="skip", href="#slots"),
        element("header", *_header(facts, title, code)),
        element(
            "main",
            _map(sheet, facts),
            *((*desk, *work) if change is None else (*work, *desk)),
        ),
        Markup(_CHOSEN),
        Markup(f"<script>{script}</script>"),
    )
    return f'<!DOCTYPE html>\n<html lang="en">{head}{body}</html>\n'


# -- head --------------------------------------------------------------------------------------------------------------


@cache
def _file(name: str) -> str:
    return Path(__file__).with_name(name).read_text(encoding="utf-8")


def _sheet_style(sheet: Sheet) -> str:
    """The looks of the sheet, kept to its pages; the paper to print each on; how narrow each may be shown."""
    first = sheet.pages[0]
    rules = [f".sheet {rule}" for rule in first.stylesheet.splitlines()]
    rules.append(f"@page{{size:{first.width_mm:g}mm {first.height_mm:g}mm;margin:0}}")
    for paper, page in {_paper(page): page for page in sheet.pages}.items():
        wide, high = f"{page.width_mm:g}mm", f"{page.height_mm:g}mm"
        rules.append(f"@page {paper}{{size:{wide} {high};margin:0}}")
        rules.append(f"@media print{{.{paper}{{page:{paper}}}.{paper} svg{{width:{wide};height:{high}}}}}")
    least = {page.name: _least_px(page) for page in sheet.pages}
    rules += [f"@media screen{{.{name} svg{{min-width:{wide}px}}}}" for name, wide in least.items() if wide]
    return "\n".join(rules) + "\n"


def _paper(page: Page) -> str:
    return "lying" if page.width_mm > page.height_mm else "upright"


def _slots(page: Page) -> list[Group]:
    """The slots of a page, those of an overview not among them."""
    prefix = ident("slot", "")
    return [shape for shape in walk(page.shapes) if isinstance(shape, Group) and shape.id.startswith(prefix)]


def _drawn(sheet: Sheet) -> frozenset[str]:
    """The ids of the slots that stand on any page; one page alone may have been asked for."""
    return frozenset(slot.id for page in sheet.pages for slot in _slots(page))


def _least_px(page: Page) -> int:
    """The width at which the narrowest slot of a page can still be touched; 0 without slots, or with an overview's."""
    boxes = [next(child for child in slot.children if isinstance(child, Rect)) for slot in _slots(page)]
    narrow = min((min(box.width, box.height) for box in boxes), default=0.0)
    return ceil(TOUCH_PX * page.width_mm / narrow) if narrow else 0


def _policy(style: str, script: str) -> str:
    """Only this style and this script; nothing else is loaded, sent or framed."""
    return (
        f"default-src 'none'; style-src {hash_source(style)}; script-src {hash_source(script)}; "
        "base-uri 'none'; form-action 'none'"
    )


def _header(facts: Facts, title: str, code: str) -> Iterator[Markup]:
    yield element("h1", title)
    if facts.board.title not in title:
        yield element("p", facts.board.title)
    yield from (element("p", said, class_="alert") for said in _alerts(facts))
    if facts.figures is not None:
        its = facts.figures
        yield element(
            "p",
            f"{format_capacity(its.usable_gib)} usable in {counted(its.modules, 'module')} at {its.rate_mts} MT/s, "
            f"swept at {gb_s(its.system_sweep_gb_s)}; {lowered(share_sentence(its))}.",
        )
    yield named_values([*asked_rows(facts), ("Plan code", element("code", code))])


def _alerts(facts: Facts) -> Iterator[str]:
    """What must be known before anything else is read."""
    if facts.board.trust == "drafted":
        yield DRAFTED
    for finding in facts.chassis_findings:
        if finding.severity != "note":
            yield f"{finding_lead(finding)} {finding.text}"


def _map(sheet: Sheet, facts: Facts) -> Markup:
    """The pages of the sheet. Every slot on them leads to its reason."""
    links = {
        ident(kind, slot): (f"#{reason_id(slot)}", fact.hover)
        for slot, fact in facts.slots.items()
        for kind in ("slot", "overview-slot")
    }
    hint = (
        "Choose a slot with the mouse or a finger, or with Tab, the arrow keys and Enter, to read why it is so. "
        "Enter again goes into the text, Escape comes back. Printing this page prints the sheet."
    )
    return section(
        "map-of-slots",
        "Map",
        element("p", hint, class_="screen"),
        *(
            element("figure", Markup(inline_svg(page, links)), class_=f"sheet {page.name} {_paper(page)}")
            for page in sheet.pages
        ),
    )
