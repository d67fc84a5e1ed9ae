"""The whole document: what stands on the page, in the order in which it is read aloud."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import NamedTuple

from dimmplan.answers.said import Said
from dimmplan.answers.slots import rate_said, rate_title, reason_said, reason_title
from dimmplan.errors import DimmplanError
from dimmplan.explain import counted, gb_s, share_sentence
from dimmplan.model.board import Board
from dimmplan.model.move import Change, Move
from dimmplan.model.placement import Placement, install_order
from dimmplan.output.svg import MARK, inline_svg
from dimmplan.page.markup import Markup, element, listed_items, section, table
from dimmplan.page.regions import address_range
from dimmplan.report import move_text, moves_summary
from dimmplan.sheet.care import BEFORE, DEFERENCE
from dimmplan.sheet.change import facts_of
from dimmplan.sheet.facts import Facts
from dimmplan.sheet.ids import ident
from dimmplan.sheet.shapes import Sheet
from dimmplan.sources import citation
from dimmplan.units import decimal, format_capacity
from dimmplan.why.rate import rate_reasons
from dimmplan.why.slots import SlotReason, slot_reasons
from dimmplan.why.weigh import Case

_TRUST = {"drafted": "drafted, not checked by a person", "manual": "read from a manual", "running": "seen running"}


class Reasons(NamedTuple):
    """Why a plan is as it is: of its rate, of each slot; or why that cannot be said."""

    rates: Sequence[tuple[str, Sequence[Said]]]
    slots: Mapping[str, tuple[str, Sequence[Said]]]
    why_none: str = ""


def page_html(
    board: Board, placement: Placement, sheet: Sheet, *, code: str, tag: str | None, change: Change | None
) -> str:
    """A plan and its sheet as a whole HTML document, which loads nothing. Same arguments, same text.

    ``change`` is the way from what is in a machine; the sheet then is a change sheet.
    """
    facts = facts_of(board, placement, change)
    reasons = _reasons(board, placement)
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
            *([_change_list(change)] if change is not None else []),
            _slots(board, placement, facts, reasons, change),
            _rates(reasons),
            _ranges(facts),
            _figures(facts),
            _findings(facts),
            _installing(board, placement),
            _care(),
            _sources(facts, reasons),
        ),
        Markup(
            '<aside id="chosen" class="screen" aria-label="Chosen slot" hidden>'
            '<div id="chosen-text" aria-live="polite"></div>'
            '<button type="button" id="chosen-close">Close</button></aside>'
        ),
        Markup(f"<script>{script}</script>"),
    )
    return f'<!DOCTYPE html>\n<html lang="en">{head}{body}</html>\n'


# -- head --------------------------------------------------------------------------------------------------------------


@cache
def _file(name: str) -> str:
    return Path(__file__).with_name(name).read_text(encoding="utf-8")


def _sheet_style(sheet: Sheet) -> str:
    """The looks of the sheet, kept to its pages, and the paper to print them on."""
    page = sheet.pages[0]
    looks = "\n".join(f".sheet {rule}" for rule in page.stylesheet.splitlines())
    paper = f"@page{{size:{page.width_mm:g}mm {page.height_mm:g}mm;margin:0}}"
    printed = f"@media print{{.sheet svg{{width:{page.width_mm:g}mm;height:{page.height_mm:g}mm}}}}"
    return f"{looks}\n{paper}\n{printed}\n"


def _policy(style: str, script: str) -> str:
    """Only this style and this script; nothing else is loaded, sent or framed."""

    def digest(text: str) -> str:
        return "sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")

    return (
        f"default-src 'none'; style-src '{digest(style)}'; script-src '{digest(script)}'; "
        "base-uri 'none'; form-action 'none'"
    )


def _header(facts: Facts, title: str, code: str) -> Iterator[Markup]:
    board, placement, figures = facts.board, facts.placement, facts.figures
    yield element("h1", title)
    yield element("p", f"{board.title} [{board.id}; {_TRUST[board.trust]}]")
    if figures is not None:
        told = (
            f"{format_capacity(figures.usable_gib)} usable in {counted(figures.modules, 'module')} at "
            f"{figures.rate_mts} MT/s, swept at {gb_s(figures.system_sweep_gb_s)}; {share_sentence(figures)}."
        )
        yield element("p", told)
    proven = "proven first" if placement.status == "proven" else "not proven first"
    processor = f", processor {placement.processor}" if placement.processor else ""
    yield element(
        "p", f"{placement.prefer}, {proven} under this board file and this model; {placement.mode.value}{processor}."
    )
    yield element("p", "Plan code ", element("code", code))


# -- map and change ----------------------------------------------------------------------------------------------------


def _map(sheet: Sheet, facts: Facts) -> Markup:
    """The pages of the sheet. Every slot on them leads to its reason."""
    links = {
        ident(kind, slot): (f"#{_reason_id(slot)}", fact.hover)
        for slot, fact in facts.slots.items()
        for kind in ("slot", "overview-slot")
    }
    hint = (
        "Choose a slot by mouse, touch or keyboard (Tab, arrow keys, Enter) for its reason. Printing prints the sheet."
    )
    pages = [element("figure", Markup(inline_svg(page, links)), class_=f"sheet {page.name}") for page in sheet.pages]
    return section("map-of-slots", "Map", element("p", hint, class_="screen"), *pages)


def _reason_id(slot: str) -> str:
    return ident("why", slot)


def _change_list(change: Change) -> Markup:
    kept = [move for move in change.moves if move.kind == "keep"]
    left = [
        f"Left over: {each.count} x {each.module.label}"
        + (f"; would also fit in {', '.join(each.fits)}" if each.fits else "")
        for each in change.stranded
    ]
    return section(
        "change",
        "What to do, in order",
        element("p", moves_summary(change.moves)),
        listed_items((move_text(move) for move in change.handled), ordered=True),
        listed_items([*(move_text(move) for move in kept), *left]),
    )


# -- slots -------------------------------------------------------------------------------------------------------------


def _reasons(board: Board, placement: Placement) -> Reasons:
    try:
        case = Case(board, placement)
        found = slot_reasons(case)
        rates = [(rate_title(rate), rate_said(case, rate)) for rate in rate_reasons(case)]
    except DimmplanError as error:
        return Reasons(rates=(), slots={}, why_none=str(error))
    return Reasons(rates=rates, slots={reason.slot: _reason(case, reason) for reason in found})


def _reason(case: Case, reason: SlotReason) -> tuple[str, Sequence[Said]]:
    return reason_title(case, reason), reason_said(case, reason)


def _said(sentences: Sequence[Said]) -> Markup:
    return listed_items(
        element("span", f"{each.text} ", element("cite", f"[{each.rule}, {each.source}]")) for each in sentences
    )


def _slots(board: Board, placement: Placement, facts: Facts, reasons: Reasons, change: Change | None) -> Markup:
    """Each slot: what it holds, where it belongs, what was found there, why."""
    content = placement.content
    found = {move.source: move for move in change.moves if move.source} if change is not None else {}
    articles = []
    for slot, fact in facts.slots.items():
        module, channel = content.get(slot), board.channel_of[slot]
        title, said = reasons.slots.get(slot, (reasons.why_none or "no reason can be given", ()))
        held = module.label if module and slot not in placement.hold else fact.words or "empty"
        where = f"socket {channel.socket}, controller {channel.controller}, channel {channel.id}"
        step = f", step {fact.step}" if fact.step else ""
        articles.append(
            element(
                "article",
                element("h3", slot),
                element("p", f"{held}{step}; {where}"),
                *([element("p", _as_found(found.get(slot)))] if change is not None else []),
                element("p", title, class_="title"),
                _said(said),
                element("p", element("a", f"{slot} on the map", href=f"#{ident('slot', slot)}"), class_="screen back"),
                id=_reason_id(slot),
                class_="slot-reason",
            )
        )
    return section("slots", "Slots and reasons", element("div", *articles, class_="reasons"))


def _as_found(move: Move | None) -> str:
    """What the inventory has in a slot, and what becomes of it."""
    if move is None:
        return "As found: empty, or not to be touched."
    fate = {"keep": "stays", "pull": "comes out for good"}.get(move.kind, f"moves to {move.target}")
    return f"As found: {move.module.label}; it {fate}."


def _rates(reasons: Reasons) -> Markup:
    parts = [part for title, said in reasons.rates for part in (element("h3", title), _said(said))]
    return section("rate", "Rate", *parts) if parts else Markup()


# -- figures and findings ----------------------------------------------------------------------------------------------


def _ranges(facts: Facts) -> Markup:
    if facts.figures is None:
        return Markup()
    parts = [part for its in facts.figures.sockets for part in address_range(its)]
    return section("range", "Address range", *parts)


def _figures(facts: Facts) -> Markup:
    figures = facts.figures
    if figures is None:
        return Markup()
    rows = [
        (
            its.socket,
            format_capacity(its.usable_gib),
            str(its.modules),
            str(its.rate.rate_mts),
            decimal_text(its.peak_gb_s),
            decimal_text(its.sweep_gb_s),
            decimal_text(its.parallel_gb_s),
            f"{decimal(its.share, 4):.4f}",
        )
        for its in figures.sockets
    ]
    head = ("socket", "usable", "modules", "MT/s", "peak GB/s", "sweep GB/s", "parallel GB/s", "share of peak")
    note = (
        "Peaks of a model, in decimal GB/s: sweep is capacity over the time that every byte once takes, parallel is "
        "traffic even over all addresses. STREAM usually measures 70 to 85 % of peak: a range, never a promise."
    )
    return section(
        "figures",
        "Figures",
        table("Figures of each socket", head, rows, numbers=range(1, 8)),
        element("p", note),
    )


def decimal_text(value: object) -> str:
    """A bandwidth in GB/s to one decimal."""
    return gb_s(value).removesuffix(" GB/s")


def _findings(facts: Facts) -> Markup:
    items = [
        element(
            "span",
            element("strong", f"{finding.severity}: "),
            f"{finding.text} ",
            element("cite", f"[{finding.rule}, {finding.source}]"),
        )
        for finding in facts.findings
    ]
    return section("findings", "Findings", listed_items(items) if items else element("p", "None."))


def _installing(board: Board, placement: Placement) -> Markup:
    content = placement.content
    order = [slot for slot in install_order(board, placement) if slot not in placement.hold]
    rows = [
        (str(step), slot, module.label)
        for step, slot in enumerate(order, 1)
        if (module := content.get(slot)) is not None
    ]
    picks = listed_items(f"{placement.count(module)} x {module.label}" for module in placement.types)
    return section(
        "installing",
        "Modules and install order",
        picks,
        table("Install order", ("step", "slot", "module"), rows) if rows else Markup(),
    )


def _care() -> Markup:
    return section("care", "Before you start", listed_items(BEFORE), element("p", element("strong", DEFERENCE)))


def _sources(facts: Facts, reasons: Reasons) -> Markup:
    said = [each for _, sentences in (*reasons.slots.values(), *reasons.rates) for each in sentences]
    cited = dict.fromkeys([*(finding.source for finding in facts.findings), *(each.source for each in said)])
    return section("sources", "Sources", listed_items(f"{source}: {citation(source)}" for source in cited if source))
