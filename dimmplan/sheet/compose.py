"""From a placement on its board to the sheet: which pages there are, and what stands on each."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

from dimmplan.model.board import Board
from dimmplan.model.move import Change
from dimmplan.model.placement import Placement
from dimmplan.sheet.blocks import Block
from dimmplan.sheet.change import facts_of
from dimmplan.sheet.chassis import (
    KEEPS,
    MOST_ON_ONE_MAP,
    SHORT_KEEPS,
    Layout,
    choose,
    slot_maps,
)
from dimmplan.sheet.desk import desk_blocks
from dimmplan.sheet.detail import Detail, details
from dimmplan.sheet.facts import Facts, State, clean, slot_count
from dimmplan.sheet.foot import draw_foot
from dimmplan.sheet.further import draw_further, spread
from dimmplan.sheet.job import GAP_MM, Job
from dimmplan.sheet.overview import Overview
from dimmplan.sheet.paper import PAD_MM, Frame, PaperName, draw_frame, draw_margin, frame, too_dense
from dimmplan.sheet.shapes import Page, Shape, Sheet
from dimmplan.sheet.style import BODY_MM, Ink, stylesheet
from dimmplan.sheet.titleblock import HEIGHT_MM, Given
from dimmplan.sheet.view import Front, View, look_at


class _Planned(NamedTuple):
    """A page whose number is not known yet. ``draw`` gets ``2 of 3``."""

    name: str
    about: str
    page: Frame
    draw: Callable[[str], list[Shape]]


def compose(
    board: Board,
    placement: Placement,
    *,
    paper: PaperName = "a4",
    ink: Ink = "colour",
    front: Front = "down",
    title: str | None = None,
    tag: str | None = None,
    date: str | None = None,
    code: str | None = None,
    matrix: tuple[tuple[bool, ...], ...] | None = None,
    change: Change | None = None,
) -> Sheet:
    """The sheet of a placement: page one for the chassis, further pages where print needs them, the desk last.

    ``title``, ``tag`` and ``date`` are printed as given, with lines to write on where they are ``None``; so is
    ``code``, the plan code, with ``matrix``, its QR symbol as rows of dark and light without the quiet zone. Equal
    arguments give equal sheets. With a ``change`` to the placement it is a change sheet: what stays, comes out and goes
    in is marked on the same map. Raises ``ValueError`` where the placement is for another board, ``InputError`` where
    a socket has more slots than the paper can show in letters that can be read.
    """
    facts = facts_of(board, placement, change)
    job = Job(facts, paper, front, Given(title=title, tag=tag, date=date, code=code, matrix=matrix))
    name = clean(title or f"Slot map of {board.title}", most=200)
    return composed(job, ink, name, clean(_description(facts), most=2000))


def composed(job: Job, ink: Ink, name: str, about: str, *, desk: bool = True) -> Sheet:
    """The pages of a job, numbered; without ``desk`` only those for the open chassis."""
    planned = [each for each in _plan(job) if desk or not each.name.startswith("desk")]
    css = stylesheet(ink)
    pages = tuple(
        Page(
            name=each.name,
            title=f"{name}, sheet {number} of {len(planned)}",
            desc=f"{each.about} {about}",
            width_mm=each.page.page_width,
            height_mm=each.page.page_height,
            stylesheet=css,
            shapes=tuple(each.draw(f"{number} of {len(planned)}")),
        )
        for number, each in enumerate(planned, 1)
    )
    return Sheet(title=name, desc=about, pages=pages)


def _plan(job: Job) -> list[_Planned]:
    """Every page, before any is drawn: page numbers stand on them."""
    view = look_at(job.facts.board, job.front)
    layout = choose(job, slot_maps(job, view), KEEPS) if len(view.slots) <= MOST_ON_ONE_MAP else None
    if layout is not None:
        about = "For the open chassis: map, pick list, steps, cautions."
        first = _Planned("chassis", about, layout.at.page, layout.draw)
        return [first, *_continued(job, layout), *_desk(job)]
    return _dense(job, view)


def _dense(job: Job, view: View) -> list[_Planned]:
    """An overview, what it has no room for, and the slots large on pages of their own."""
    large = details(job)
    # The overview names the sheets of the slots. They come after what it has no room for, which a first try tells;
    # no height on it rests on a sheet's number.
    more = _continued(job, _overview(job, view, large, first=2))
    layout = _overview(job, view, large, first=2 + len(more))
    about = "For the open chassis: overview, pick list, steps, cautions; the slots themselves are on further sheets."
    pages = [_Planned("chassis", about, layout.at.page, layout.draw), *_continued(job, layout)]
    pages += [
        _Planned(f"sockets-{number}", f"Slots of {page.title}.", page.page, page.draw)
        for number, page in enumerate(large, 1)
    ]
    return [*pages, *_desk(job)]


def _overview(job: Job, view: View, large: list[Detail], *, first: int) -> Layout:
    """Page one of a dense board whose slots stand on the sheets from ``first`` on."""
    last = first + len(large) - 1
    named = replace(job, sheets=f"{first} to {last}" if last > first else f"{first}")
    shown_on = {socket: number for number, page in enumerate(large, first) for socket in page.sockets}
    overview = Overview(job.facts, view, job.front, shown_on, machine=job.given.tag or "")
    layout = choose(named, [overview], SHORT_KEEPS)
    if layout is None:
        raise too_dense(job.paper, f"an overview of {len(job.facts.board.sockets)} sockets")
    return layout


def _continued(job: Job, layout: Layout) -> list[_Planned]:
    """Further chassis pages until every panel has its place."""
    page = layout.at.page
    sheets = spread(job, page, layout.later)
    placed = {name for names in sheets for name in names}
    if any(name not in placed and job.block(name, BODY_MM[0], page.width) for name in layout.later):
        raise too_dense(job.paper, "a panel of the sheet")

    def page_of(names: tuple[str, ...]) -> Callable[[str], list[Shape]]:
        return lambda sheet: draw_further(job, page, names, sheet)

    about = "For the open chassis, continued."
    return [_Planned(f"chassis-{number}", about, page, page_of(names)) for number, names in enumerate(sheets, 2)]


def _desk(job: Job) -> list[_Planned]:
    """The desk pages: panels one below the other, on as many pages as they take."""
    page = frame(job.paper, landscape=False)
    cap = BODY_MM[0] if job.paper != "a5" else BODY_MM[-1]
    blocks = desk_blocks(job.facts, cap, page.inner_width)
    room = page.height - 2 * PAD_MM - HEIGHT_MM - GAP_MM
    batches: list[list[Block]] = [[]]
    used = 0.0
    for block in blocks:
        if batches[-1] and used + block.height > room:
            batches.append([])
            used = 0.0
        batches[-1].append(block)
        used += block.height + GAP_MM

    def page_of(batch: list[Block]) -> Callable[[str], list[Shape]]:
        def draw(sheet: str) -> list[Shape]:
            shapes = [*draw_frame(page, page.height), *draw_margin(page, sheet)]
            y = page.y + PAD_MM
            for block in batch:
                shapes += block.draw(page.x + PAD_MM, y)
                y += block.height + GAP_MM
            return shapes + draw_foot(job, page, page.height, sheet, None)

        return draw

    about = "For the desk: figures and findings."
    names = ["desk", *(f"desk-{number}" for number in range(2, len(batches) + 1))]
    return [_Planned(name, about, page, page_of(batch)) for name, batch in zip(names, batches, strict=True)]


def _description(facts: Facts) -> str:
    """The placement in a few sentences, for people who hear the sheet instead of seeing it."""
    parts = [f"{slot_count(facts)}; expect {facts.expected}."]
    parts += [f"Type {kind.key}, {kind.label}, {kind.count} modules: {kind.slots}." for kind in facts.types]
    empty = facts.counts[State.EMPTY] + facts.counts[State.BLANK]
    if empty:
        parts.append(f"{empty} slots stay empty.")
    return " ".join(parts)
