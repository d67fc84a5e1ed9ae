"""From a placement on its board to the sheet: which pages there are, and what stands on each.

Page one is for the open chassis: heading, map, legend, the five stages in columns, title block. It stands upright
where the map has room, else it lies. The next page has every caution in full, figures, findings and the pick list.
A board that is too dense for one map gets an overview, and pages for its sockets. Letters never get smaller.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import cache
from itertools import product
from typing import Literal, NamedTuple

from dimmplan.errors import InputError, Problem
from dimmplan.model.board import Board
from dimmplan.model.placement import Change, Placement
from dimmplan.sheet.blocks import Block, label, paragraph, side_by_side, stacked
from dimmplan.sheet.facts import Facts, State, clean, gather, socket_words
from dimmplan.sheet.letters import Run, fitted, line_pitch, width, wrap_runs
from dimmplan.sheet.map import SlotMap
from dimmplan.sheet.panels import PANELS, Batches, MachineNotes, PickList
from dimmplan.sheet.paper import (
    HEIGHT_MM,
    PAD_MM,
    SIZES_MM,
    TEAR_MM,
    WIDTH_MM,
    Frame,
    PaperName,
    TitleFields,
    draw_frame,
    draw_margin,
    draw_tear,
    frame,
    title_block,
)
from dimmplan.sheet.plan_view import Front, PlanView, plan_view
from dimmplan.sheet.shapes import Group, Page, Rect, Shape, Sheet
from dimmplan.sheet.slotbox import SlotStyle
from dimmplan.sheet.stages import DEFERENCE, Stage, safety_in_full
from dimmplan.sheet.style import TEXT_MM, Ink, stylesheet
from dimmplan.units import counted, listed

MOST_ON_ONE_MAP = 32
"""Boards with more slots get an overview and a page for each socket or pair."""

STYLES = (
    SlotStyle(5.0),
    SlotStyle(3.5),
    SlotStyle(3.5, two_lines=True),
    SlotStyle(3.5, full=False),
    SlotStyle(3.5, full=False, flat=True),
    SlotStyle(3.0, full=False, flat=True),
    SlotStyle(3.0, full=False, two_lines=True),
)
"""The wanted ones come first. Names are always larger than those of landmarks."""

_LONGEST_MM = (math.inf, 48.0, 32.0, 20.0)
"""Limits to the length of names in slots, tried in turn: names that no page could show whole are cut there."""

_HEAD_MM, _BAND_GAP_MM = 7.0, 0.8
_GUTTER_MM, _GAP_MM = 4.0, 1.2
_LEAST_COLUMN_MM = 30.0
_STEP_MM = 2.0
_SPARE_MM = 8.0
"""Room that stays where processors' boxes need paper for what they say beside their names."""


class Job(NamedTuple):
    """A sheet that is asked for: what it tells, on which paper, which way round, and what was given for its title."""

    facts: Facts
    paper: PaperName
    front: Front
    given: TitleFields
    on: Literal["chassis", "rules"] = "chassis"

    @property
    def works(self) -> bool:
        """True where the sheet is for work at the open chassis: it has the five stages."""
        return self.on == "chassis"

    def stages(self, batches: Batches) -> list[Stage]:
        """What stands below the map, for some steps."""
        return [stage(self.facts, batches) for stage in PANELS[self.on] if issubclass(stage, Stage)]

    @property
    def read_first(self) -> str:
        """What a map without the stages says: where they are."""
        return "Before you touch anything, read sheet 2: WARNING." if self.works else "What the marks mean: sheet 2."

    def more_on(self, sheet: int) -> str:
        """Where to read on, on a sheet for work."""
        return f"More on sheet {sheet}." if self.works else ""


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
    """The sheet of a placement: page one for the chassis, further pages where print needs them, figures last.

    ``title``, ``tag`` and ``date`` are printed as given, with lines to write on where they are ``None``; so is
    ``code``, the plan code, with ``matrix``, its QR symbol as rows of dark and light without the quiet zone. Equal
    arguments give equal sheets. With a ``change`` to the placement it is a change sheet: what stays, comes out and goes
    in is marked on the same map. Raises ``ValueError`` where the placement is for another board, ``InputError`` where
    a socket has more slots than the paper can show in letters that can be read.
    """
    facts = gather(board, placement, change)
    job = Job(facts, paper, front, TitleFields(title=title, tag=tag, date=date, code=code, matrix=matrix))
    name = clean(title or f"Slot map of {board.title}", most=200)
    return sheet_of(job, ink, name, clean(_description(facts), most=2000))


def sheet_of(job: Job, ink: Ink, name: str, about: str, *, figures: bool = True) -> Sheet:
    """The pages of a job, numbered; without ``figures`` where nothing is planned, for work of the five stages."""
    try:
        planned = _all_pages(job, figures)
    except _TooDenseError as error:
        raise _refused(job, figures, str(error)) from None
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


def _all_pages(job: Job, figures: bool) -> list[_Layout]:
    """Every page, before any is drawn. Raises ``_TooDenseError``."""
    chassis = _chassis(job)
    noted = all(page.noted for page in chassis)
    return [*chassis, *(_reference_pages(job, figures=figures, noted=noted) if job.works else [])]


class _TooDenseError(Exception):
    """Something that the paper cannot show in letters that can be read."""


def _refused(job: Job, figures: bool, what: str) -> InputError:
    """The error for a paper that is too small, with the papers that are not."""
    works = []
    for paper in SIZES_MM:
        with suppress(_TooDenseError):
            _all_pages(job._replace(paper=paper), figures)
            works.append(paper)
    return InputError(
        Problem(
            file="sheet",
            place="paper",
            found=f"{job.paper}, too small for {what} in letters that can be read",
            allowed=", ".join(works),
            hint="" if works else "No paper is large enough: use shorter slot names.",
        )
    )


# -- what stands at the top and at the foot of every page --------------------------------------------------------------


def _heading(job: Job, page: Frame, left: str, right: str, *, most: float = 5.0) -> Block:
    """Which machine on the left, what it comes to on the right, and below it what nobody may miss."""
    wide = page.inner_width
    caps = [cap for cap in (5.0, 4.2, 3.5, 3.0) if cap <= most]
    both = width(left, 1.0, bold=True) + width(right, 1.0, bold=True)
    band, banner = job.facts.band, job.facts.banner
    middle = width(band, 3.0, bold=True) + 3.0
    small = 3.5 if both * 3.5 + middle + 6 <= wide else 3.0
    beside = band and not banner and both * small + middle + 6 <= wide
    cap = small if beside else next((cap for cap in caps if both * cap + 8 <= wide), TEXT_MM)
    below = [] if beside else [text for text in (banner, band) if text]

    bands = stacked([_band(text, wide) for text in below], _BAND_GAP_MM)

    def draw(x: float, y: float) -> list[Shape]:
        room = wide - width(right, cap, bold=True) - 4
        shapes: list[Shape] = [label(x, y + 5.2, fitted(left, cap, room, bold=True), cap, "b")]
        shapes.append(label(x + wide, y + 5.2, right, cap, "b", anchor="end"))
        if beside:
            shapes += _band(band, wide - both * cap - 6).draw(x + width(left, cap, bold=True) + 3, y + 0.6)
        return shapes + bands.draw(x, y + _HEAD_MM)

    return Block(wide, _HEAD_MM + (bands.height + _BAND_GAP_MM if below else 0.0), draw)


def _band(text: str, wide: float) -> Block:
    """What nobody may miss, white on black and whole, on as many lines as it takes."""
    cap = next((c for c in (3.5, 3.0) if width(text, c, bold=True) <= wide - 3), TEXT_MM)
    lines = [line[0][0] for line in wrap_runs(((text, True),), cap, wide - 3)]
    pitch = line_pitch(cap)
    high = 5.6 + pitch * (len(lines) - 1)

    def draw(x: float, y: float) -> list[Shape]:
        middle, base = x + wide / 2, y + 2.8 + cap / 2
        said = [label(middle, base + n * pitch, line, cap, "b inv", anchor="middle") for n, line in enumerate(lines)]
        return [Rect(x=x, y=y, width=wide, height=high, look="ink"), *said]

    return Block(wide, high, draw)


def _whole(job: Job) -> tuple[str, str]:
    board, machine = clean(job.facts.board.title.split(",")[0]), clean(job.given.tag or "")
    return f"{machine} · {board}" if machine else board, job.facts.amount


# -- one page ----------------------------------------------------------------------------------------------------------


class _Layout(NamedTuple):
    """A page that is decided, its number not known yet: heading, map, blocks below, the pick list to tear off.

    ``beside`` stands left of the title block, ``sockets`` are those whose slots it shows large. ``noted`` says that
    nothing that the board says of itself is left to another page.
    """

    job: Job
    page: Frame
    head: Block
    blocks: Sequence[Block] = ()
    name: str = "chassis"
    about: str = "For the open chassis: map, the five stages, cautions."
    map: SlotMap | None = None
    beside: Block | None = None
    pick: Block | None = None
    sockets: tuple[str, ...] = ()
    noted: bool = True

    @property
    def room(self) -> float:
        """Height that heading, blocks and title block leave."""
        used = sum(block.height + _GAP_MM for block in self.blocks)
        return self.page.height - 2 * PAD_MM - self.head.height - HEIGHT_MM - used

    def takes(self, plan: SlotMap) -> bool:
        """True where a map fits."""
        return plan.least_width <= self.page.inner_width and plan.least_height <= self.room

    def with_map(self, plan: SlotMap) -> _Layout:
        """The page with a map that it takes; its processors' boxes say more where that takes no room from slots."""

        def spared(fuller: SlotMap) -> bool:
            wide, high = self.page.inner_width - fuller.least_width, self.room - fuller.least_height
            wider = fuller.least_width > plan.least_width + 1e-6
            higher = fuller.least_height > plan.least_height + 1e-6
            return (wide >= _SPARE_MM or not wider) and (high >= _SPARE_MM or not higher)

        return self._replace(map=next(filter(spared, plan.fuller), plan))

    def draw(self, sheet: str) -> list[Shape]:
        """The page's shapes; ``sheet`` is its number, such as ``2 of 3``."""
        page, foot, step = self.page, self.page.height, 0.0
        x, y = page.x + PAD_MM, page.y + PAD_MM
        shapes = self.head.draw(x, y)
        y += self.head.height
        if self.map is not None:
            high = self.map.height_for(page.inner_width, self.room)
            shapes.append(Group(children=tuple(self.map.draw(x, y, page.inner_width, high)), look="map"))
            y += high
            step = min(max(0.0, self.room - high) / (len(self.blocks) + 1), 5.0)
        for block in self.blocks:
            shapes += block.draw(x, y + step)
            y += step + block.height + _GAP_MM
        if self.beside is not None:
            shapes += self.beside.draw(x, page.y + foot - HEIGHT_MM + 0.5)
        if self.pick is not None:
            foot -= self.pick.height + TEAR_MM
            shapes += draw_tear(page, page.y + foot, _whole(self.job)[0], self.job.given)
            listing = self.pick.draw(x, page.y + foot + TEAR_MM)
            shapes.append(Group(children=tuple(listing), id="pick-list", look="pick-list"))
        title = title_block(self.job.facts, self.job.given, sheet, min(page.width, WIDTH_MM))
        fields = title.draw(page.x + page.width - title.width, page.y + foot - HEIGHT_MM)
        title_group = Group(children=tuple(fields), look="title-block")
        return [*draw_frame(page, foot), *draw_margin(page, sheet), *shapes, title_group]


def _of_pick_list(block: Block) -> Block:
    """A part of the pick list that stands among other blocks, marked as such."""
    return block._replace(draw=lambda x, y: [Group(children=tuple(block.draw(x, y)), look="pick-list")])


# -- pages for the open chassis ----------------------------------------------------------------------------------------


def in_columns(columns: Sequence[Callable[[float], Block]], wide: float) -> Block:
    """Columns side by side, as low as their widths allow: each is as narrow as the common height lets it be."""
    free = wide - (len(columns) - 1) * _GUTTER_MM
    made = [cache(column) for column in columns]
    widths = [_LEAST_COLUMN_MM + _STEP_MM * n for n in range(int((free - _LEAST_COLUMN_MM) / _STEP_MM) + 1)]

    def narrowest(height: float) -> list[float] | None:
        """The least width of each column at a height; ``None`` where they are too wide together."""
        found = []
        for column in made:
            at = bisect_left(widths, True, key=lambda each: column(each).height <= height)
            if at == len(widths):
                return None
            found.append(widths[at])
        return found if sum(found) <= free else None

    low, high = 0.0, max(column(free / len(columns)).height for column in made) + 60
    while high - low > 1.0:
        middle = (low + high) / 2
        low, high = (low, middle) if narrowest(middle) else (middle, high)
    least = narrowest(high) or [free / len(columns)] * len(columns)
    more = (free - sum(least)) / len(columns)
    return side_by_side([column(each + more) for column, each in zip(columns, least, strict=True)], _GUTTER_MM)


def _rows(job: Job, page: Frame, stages: Sequence[Stage], said: Sequence[Run]) -> list[Block]:
    """The stages, each in its row; on an upright page the last row has what is ``said`` below them all as well."""
    if page.landscape:
        return [in_columns([stage.block for stage in stages], page.inner_width)]
    places = [stage.small if job.paper == "a5" else stage.upright for stage in stages]
    rows = [[stage.block for stage, place in zip(stages, places, strict=True) if place == row] for row in set(places)]
    rows[-1].append(lambda wide: paragraph(said, TEXT_MM, wide))
    return [in_columns(row, page.inner_width) for row in rows]


def _page_of(
    job: Job,
    maps: Sequence[SlotMap],
    words: tuple[str, str],
    stages: Sequence[Stage],
    more: str,
    *,
    notes_on: int = 0,
) -> _Layout | None:
    """The first page that takes a map: one that says most, upright before lying. ``None`` where none does.

    ``stages`` stand below the map; ``more`` is where to read on. What the board says of itself stands here if
    it fits, else where to read it: on the sheet ``notes_on``, which is 0 where another page of the map has it.
    Words that can be spared are left out rather than any letter made smaller.
    """

    @cache
    def fixed(lying: bool, notes: bool, brief: bool) -> _Layout:
        page = frame(job.paper, landscape=lying)
        wide = page.inner_width
        elsewhere: list[Run] = [] if notes or not notes_on else [(NOTES_ON.format(notes_on), True)]
        said = [*elsewhere, (DEFERENCE, not elsewhere), (more, False)]
        by_title = page.width - min(page.width, WIDTH_MM) - PAD_MM - 3.0
        beside = paragraph(said, TEXT_MM, by_title) if by_title > _LEAST_COLUMN_MM else None
        below = MachineNotes(job.facts).blocks(wide) if notes else []
        if stages:
            below += _rows(job, page, [replace(stage, brief=True) for stage in stages] if brief else stages, said)
        elif beside is None:
            below.append(paragraph(said, TEXT_MM, wide))
        return _Layout(job, page, _heading(job, page, *words), below, beside=beside, noted=notes)

    for notes in (True, False) if job.facts.chassis_findings else (True,):
        for plan in maps:
            for lying, left_out in product((False, True), range(3 if job.facts.slower or job.facts.left_over else 2)):
                layout = fixed(lying, notes, left_out > 1)
                legend = plan.legend(layout.page.inner_width, brief=left_out > 0)
                layout = layout._replace(blocks=(legend, *layout.blocks))
                if layout.takes(plan):
                    return layout.with_map(plan)
    return None


def _maps(job: Job, view: PlanView, longest_mm: float = math.inf) -> list[SlotMap]:
    """The map in every style, the wanted ones first."""
    slots = [job.facts.slots[slot.slot] for slot in view.slots]
    return [SlotMap(job.facts, view, style._replace(longest_mm=longest_mm).fitting(slots)) for style in STYLES]


NOTES_ON = "For this machine: read sheet {} before you start."


def _chassis(job: Job) -> list[_Layout]:
    """Every page for the open chassis, before any is drawn: page numbers stand on them."""
    facts, view = job.facts, plan_view(job.facts.board, job.front)
    stages = job.stages(facts.steps)
    if len(view.slots) <= MOST_ON_ONE_MAP:
        maps = _maps(job, view)
        layout = _page_of(job, maps, _whole(job), stages, job.more_on(2), notes_on=2)
        if layout is not None:
            return [layout]
        apart = _page_of(job, maps, _whole(job), (), job.read_first, notes_on=2)
        if apart is not None:
            return [apart._replace(noted=True), *_stage_pages(job, stages, 2)]
    return _dense(job, view, stages)


def _stage_pages(job: Job, stages: Sequence[Stage], before: int) -> list[_Layout]:
    """The five stages apart from the map; ``before`` is how many sheets stand before the one to read on, but these."""
    page = frame(job.paper, landscape=False)
    about = "For the open chassis: the five stages, cautions."
    empty = _Layout(job, page, _heading(job, page, *_whole(job)), name="stages", about=about)
    known = MachineNotes(job.facts).blocks(page.inner_width)

    def pages(number: int) -> list[_Layout]:
        return _flow(empty, [*_rows(job, page, stages, [(DEFERENCE, True), (job.more_on(number), False)]), *known])

    return pages(before + len(pages(before)))


def _dense(job: Job, view: PlanView, stages: Sequence[Stage]) -> list[_Layout]:
    """An overview that says what is on which page, and the slots large on pages of their own."""
    large = _socket_pages(job)

    def overview(apart: Sequence[_Layout]) -> _Layout | None:
        shown: dict[str, str] = {}
        for number, page in enumerate(large, 2 + len(apart)):
            shown |= dict.fromkeys(page.sockets, f"sheet {number}")
        plan = SlotMap(job.facts, view, SlotStyle(name_mm=TEXT_MM, bars=True), shown)
        last = 2 + len(apart) + len(large)
        more = f"Slot names: on the sheets that the processors name. {job.more_on(last)}"
        first = f"{job.read_first} {more}" if apart else more
        return _page_of(job, [plan], _whole(job), () if apart else stages, first, notes_on=2 if apart else last)

    second: list[_Layout] = []
    layout = overview(second)
    if layout is None:
        second = _stage_pages(job, stages, 2 + len(large))
        layout = overview(second)
    if layout is None:
        raise _TooDenseError(f"an overview of {len(job.facts.board.sockets)} sockets")
    about = "For the open chassis: overview, the five stages, cautions; the slots themselves are on further sheets."
    return [layout._replace(about=about, noted=layout.noted or bool(second)), *second, *large]


def _socket_pages(job: Job) -> list[_Layout]:
    """A page for each pair of neighbouring sockets, or for each socket where a pair does not fit.

    Raises ``_TooDenseError`` where even one socket does not fit the paper.
    """
    found: list[_Layout] = []
    ids = [socket.id for socket in job.facts.board.sockets]
    while ids:
        tries = [(tuple(ids[:2]), math.inf)] if len(ids) > 1 else []
        tries += [((ids[0],), longest) for longest in _LONGEST_MM]
        layout = next((page for sockets, longest in tries if (page := _socket_page(job, sockets, longest))), None)
        if layout is None:
            slots = len(job.facts.board.socket(ids[0]).slots)
            raise _TooDenseError(f"socket {clean(ids[0])} with {slots} slots")
        found.append(layout._replace(name=f"sockets-{len(found) + 1}", noted=True))
        ids = ids[len(layout.sockets) :]
    return found


def _socket_page(job: Job, sockets: tuple[str, ...], longest_mm: float) -> _Layout | None:
    """The page for some sockets: their map, the warnings, their steps."""
    facts = job.facts
    steps = [(head, batch) for head, batch in facts.steps if facts.board.channel_of[batch[0].slot].socket in sockets]
    stages = [stage for stage in job.stages(steps) if stage.by_socket]
    named = listed([socket_words(socket) for socket in sockets])
    held = [facts.slots[slot] for socket in sockets for slot in facts.board.socket(socket).slots]
    count = counted(sum(fact.state is State.FILLED for fact in held), "module")
    words = f"{_whole(job)[0]}: {named}", count if job.works else facts.amount
    maps = _maps(job, plan_view(facts.board, job.front, sockets), longest_mm)
    more = "Take off, put back, first boot: sheet 1." if job.works else ""
    layout = _page_of(job, maps, words, stages, more) or _page_of(job, maps, words, (), f"{job.read_first} {more}")
    return layout and layout._replace(about=f"Slots of {named}.", sockets=sockets)


# -- the page to read before the work, and for figures -------------------------------------------------------------


def _reference_pages(job: Job, *, figures: bool, noted: bool) -> list[_Layout]:
    """Cautions in full and the pick list, figures, findings: on as many pages as they take.

    ``noted`` says that what the board says of itself stands on a page before.
    """
    page = frame(job.paper, landscape=False)
    wide = page.inner_width
    right = "cautions in full" + (", figures and findings" if figures else "")
    head = _heading(job, page, _whole(job)[0], right, most=3.5)
    columns = [lambda each, n=n: safety_in_full(job.facts, each)[n] for n in range(3)]
    care = [in_columns(columns, wide)] if job.paper != "a5" else safety_in_full(job.facts, wide)
    blocks = [*care, *([] if noted else MachineNotes(job.facts).blocks(wide))]
    if figures:
        blocks += [block for panel in PANELS["figures"] for block in panel(job.facts).blocks(wide)]
    pick = next(iter(PickList(job.facts).lines(wide)), None)
    about = "To read before the work, and for the desk: cautions, pick list, figures, findings."
    return _flow(_Layout(job, page, head, name="reference", about=about, pick=pick), blocks)


def _flow(first: _Layout, blocks: Sequence[Block]) -> list[_Layout]:
    """Blocks one below the other, on an empty page and as many more as they take; its pick list, where it has room.

    Raises ``_TooDenseError`` where a block is higher than a page.
    """
    room, pick = first.room, first.pick
    if pick and blocks[0].height + pick.height + TEAR_MM > room:
        rows = [pick] if pick.height <= room else PickList(first.job.facts).blocks(first.page.inner_width)
        blocks, pick = [*blocks, *map(_of_pick_list, rows)], None
    batches: list[list[Block]] = [[]]
    used = pick.height + TEAR_MM if pick else 0.0
    for block in blocks:
        if block.height > room:
            raise _TooDenseError("a panel of the sheet")
        if batches[-1] and used + block.height > room:
            batches.append([])
            used = 0.0
        batches[-1].append(block)
        used += block.height + _GAP_MM
    pages = [first._replace(blocks=batch, name=f"{first.name}-{n}", pick=None) for n, batch in enumerate(batches, 1)]
    return [pages[0]._replace(name=first.name, pick=pick), *pages[1:]]


def _description(facts: Facts) -> str:
    """The placement in a few sentences, for people who hear the sheet instead of seeing it."""
    modules = counted(facts.counts[State.FILLED], "module")
    parts = [f"{modules} in {len(facts.slots)} slots; expect {facts.expected}."]
    parts += [f"Type {kind.key}, {kind.label}, {kind.count} modules: {kind.slots}." for kind in facts.types]
    empty = facts.counts[State.EMPTY] + facts.counts[State.BLANK]
    if empty:
        parts.append(f"{empty} slots stay empty.")
    return " ".join(parts)
