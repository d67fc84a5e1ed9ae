"""From a placement on its board to the sheet: which pages there are, and what stands on each.

Page one is for the open chassis: heading, map, legend, the five stages in columns, title block. It stands upright
where the map has room, else it lies. The next page has every caution in full, figures, findings and the pick list.
A board that is too dense for one map gets an overview, and pages for its sockets. Letters never get smaller.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from functools import cache
from itertools import product
from typing import Literal, NamedTuple

from dimmplan.errors import InputError, Problem
from dimmplan.model.board import Board
from dimmplan.model.placement import Change, Placement
from dimmplan.sheet.blocks import Block, in_columns, paragraph
from dimmplan.sheet.facts import Facts, State, clean, gather, socket_words
from dimmplan.sheet.letters import Run
from dimmplan.sheet.map import SlotMap, legend
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
    draw_margin,
    draw_tear,
    frame,
    heading,
    title_block,
)
from dimmplan.sheet.plan_view import Front, PlanView, plan_view
from dimmplan.sheet.shapes import TEXT_MM, Group, Ink, Page, Rect, Shape, Sheet, stylesheet
from dimmplan.sheet.slotbox import SlotStyle
from dimmplan.sheet.stages import DEFERENCE, Stage, safety_in_full
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

_GAP_MM = 1.2
_LEAST_BESIDE_MM = 30.0
_SPARE_MM = 8.0
"""Room that stays where processors' boxes need paper for what they say beside their names."""


class Job(NamedTuple):
    """A sheet that is asked for: what it tells, on which paper, which way round, and what was given for its title.

    ``on`` names the panels below its map; ``figures`` is false where nothing is planned.
    """

    facts: Facts
    paper: PaperName
    front: Front
    given: TitleFields
    on: Literal["chassis", "rules"] = "chassis"
    figures: bool = True

    @property
    def works(self) -> bool:
        """True where the sheet is for work at the open chassis: it has the five stages."""
        return self.on == "chassis"

    @property
    def head(self) -> str:
        """Which machine it is for."""
        board, machine = clean(self.facts.board.title.split(",")[0]), clean(self.given.tag or "")
        return f"{machine} · {board}" if machine else board

    @property
    def read_first(self) -> str:
        """What a map without the stages says: where they are."""
        return "Before you touch anything, read sheet 2: WARNING." if self.works else "What the marks mean: sheet 2."

    def more_on(self, sheet: int) -> str:
        """Where to read on, on a sheet for work."""
        return f"More on sheet {sheet}." if self.works else ""

    def stages(self, batches: Batches) -> list[Stage]:
        """What stands below a map, for some steps."""
        return [stage(self.facts, batches) for stage in PANELS[self.on] if issubclass(stage, Stage)]


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
    about = [f"{counted(facts.counts[State.FILLED], 'module')} in {len(facts.slots)} slots; expect {facts.expected}."]
    about += [f"Type {kind.key}, {kind.label}, {kind.count} modules: {kind.slots}." for kind in facts.types]
    empty = facts.counts[State.EMPTY] + facts.counts[State.BLANK]
    about += [f"{empty} slots stay empty."] if empty else []
    job = Job(facts, paper, front, TitleFields(title=title, tag=tag, date=date, code=code, matrix=matrix))
    return sheet_of(job, ink, title or f"Slot map of {board.title}", " ".join(about))


def sheet_of(job: Job, ink: Ink, name: str, about: str) -> Sheet:
    """The pages of a job, numbered; ``about`` is for people who hear the sheet instead of seeing it."""
    name, about, css = clean(name, most=200), clean(about, most=2000), stylesheet(ink)
    try:
        planned = _all_pages(job)
    except _TooDenseError as error:
        raise _refused(job, str(error)) from None
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


class _TooDenseError(Exception):
    """Something that the paper cannot show in letters that can be read."""


def _refused(job: Job, what: str) -> InputError:
    """The error for a paper that is too small, with the papers that are not."""
    works = []
    for paper in SIZES_MM:
        with suppress(_TooDenseError):
            _all_pages(job._replace(paper=paper))
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


def _all_pages(job: Job) -> list[_Layout]:
    """Every page, before any is drawn: page numbers stand on them. Raises ``_TooDenseError``."""
    facts, view = job.facts, plan_view(job.facts.board, job.front)
    stages = job.stages(facts.steps)
    chassis = _one_map(job, view, stages) if len(view.slots) <= MOST_ON_ONE_MAP else None
    chassis = chassis or _several_maps(job, view, stages)
    return [*chassis, *(_reference_pages(job, all(page.noted for page in chassis)) if job.works else [])]


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

    def with_map(self, plan: SlotMap) -> _Layout | None:
        """The page with a map, ``None`` where it has no room.

        Its processors' boxes say more where that takes no room from slots.
        """
        wide, high = self.page.inner_width, self.room
        if plan.least_width > wide or plan.least_height > high:
            return None

        def spared(fuller: SlotMap) -> bool:
            across = wide - fuller.least_width >= _SPARE_MM or fuller.least_width <= plan.least_width + 1e-6
            return across and (
                high - fuller.least_height >= _SPARE_MM or fuller.least_height <= plan.least_height + 1e-6
            )

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
            shapes += draw_tear(page, page.y + foot, self.job.head, self.job.given)
            listing = self.pick.draw(x, page.y + foot + TEAR_MM)
            shapes.append(Group(children=tuple(listing), id="pick-list", look="pick-list"))
        title = title_block(self.job.facts, self.job.given, sheet, min(page.width, WIDTH_MM))
        fields = title.draw(page.x + page.width - title.width, page.y + foot - HEIGHT_MM)
        border = Rect(x=page.x, y=page.y, width=page.width, height=foot, look="heavy")
        return [border, *draw_margin(page, sheet), *shapes, Group(children=tuple(fields), look="title-block")]


# -- pages for the open chassis ----------------------------------------------------------------------------------------


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
        on = f"For this machine: read sheet {notes_on} before you start."
        elsewhere: list[Run] = [] if notes or not notes_on else [(on, True)]
        said = [*elsewhere, (DEFERENCE, not elsewhere), (more, False)]
        by_title = page.width - min(page.width, WIDTH_MM) - PAD_MM - 3.0
        beside = paragraph(said, TEXT_MM, by_title) if by_title > _LEAST_BESIDE_MM else None
        below = MachineNotes(job.facts).blocks(wide) if notes else []
        if stages:
            below += _rows(job, page, [replace(stage, brief=True) for stage in stages] if brief else stages, said)
        elif beside is None:
            below.append(paragraph(said, TEXT_MM, wide))
        return _Layout(job, page, heading(job.facts, page, *words), below, beside=beside, noted=notes)

    fewer = range(3 if job.facts.slower or job.facts.left_over else 2)
    for notes, plan in product((True, False) if job.facts.chassis_findings else (True,), maps):
        for lying, left_out in product((False, True), fewer):
            layout = fixed(lying, notes, left_out > 1)
            key = legend(plan, layout.page.inner_width, brief=left_out > 0)
            if found := layout._replace(blocks=(key, *layout.blocks)).with_map(plan):
                return found
    return None


def _maps(job: Job, view: PlanView, longest_mm: float = math.inf) -> list[SlotMap]:
    """The map in every style, the wanted ones first."""
    slots = [job.facts.slots[slot.slot] for slot in view.slots]
    return [SlotMap(job.facts, view, style._replace(longest_mm=longest_mm).fitting(slots)) for style in STYLES]


def _one_map(job: Job, view: PlanView, stages: Sequence[Stage]) -> list[_Layout] | None:
    """One page with every slot, or the stages apart from it; ``None`` where the paper is too small."""
    maps, words = _maps(job, view), (job.head, job.facts.amount)
    if whole := _page_of(job, maps, words, stages, job.more_on(2), notes_on=2):
        return [whole]
    apart = _page_of(job, maps, words, (), job.read_first, notes_on=2)
    return [apart._replace(noted=True), *_stage_pages(job, stages, 2)] if apart else None


def _stage_pages(job: Job, stages: Sequence[Stage], before: int) -> list[_Layout]:
    """The five stages apart from the map; ``before`` is how many sheets stand before the one to read on, but these."""
    page = frame(job.paper)
    head = heading(job.facts, page, job.head, job.facts.amount)
    empty = _Layout(job, page, head, name="stages", about="For the open chassis: the five stages, cautions.")
    known = MachineNotes(job.facts).blocks(page.inner_width)

    def pages(number: int) -> list[_Layout]:
        return _flow(empty, [*_rows(job, page, stages, [(DEFERENCE, True), (job.more_on(number), False)]), *known])

    return pages(before + len(pages(before)))


def _several_maps(job: Job, view: PlanView, stages: Sequence[Stage]) -> list[_Layout]:
    """An overview that says what is on which page, and the slots large on pages of their own."""
    large = _socket_pages(job)
    for apart in (False, True):
        second = _stage_pages(job, stages, 2 + len(large)) if apart else []
        first = 2 + len(second)
        shown = {socket: f"sheet {number}" for number, page in enumerate(large, first) for socket in page.sockets}
        plan = SlotMap(job.facts, view, SlotStyle(name_mm=TEXT_MM, bars=True), shown)
        last = first + len(large)
        more = f"Slot names: on the sheets that the processors name. {job.more_on(last)}"
        more = f"{job.read_first} {more}" if apart else more
        words = job.head, job.facts.amount
        layout = _page_of(job, [plan], words, () if apart else stages, more, notes_on=2 if apart else last)
        if layout is not None:
            about = "overview, the five stages, cautions; the slots themselves are on further sheets."
            layout = layout._replace(about=f"For the open chassis: {about}", noted=layout.noted or apart)
            return [layout, *second, *large]
    raise _TooDenseError(f"an overview of {len(job.facts.board.sockets)} sockets")


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
    words = f"{job.head}: {named}", count if job.works else facts.amount
    maps = _maps(job, plan_view(facts.board, job.front, sockets), longest_mm)
    more = "Take off, put back, first boot: sheet 1." if job.works else ""
    layout = _page_of(job, maps, words, stages, more) or _page_of(job, maps, words, (), f"{job.read_first} {more}")
    return layout and layout._replace(about=f"Slots of {named}.", sockets=sockets)


# -- the page to read before the work, and for figures -----------------------------------------------------------------


def _reference_pages(job: Job, noted: bool) -> list[_Layout]:
    """Cautions in full and the pick list, figures, findings: on as many pages as they take.

    ``noted`` says that what the board says of itself stands on a page before.
    """
    page = frame(job.paper)
    wide = page.inner_width
    right = "cautions in full" + (", figures and findings" if job.figures else "")
    columns = [lambda each, n=n: safety_in_full(job.facts, each)[n] for n in range(3)]
    blocks = [in_columns(columns, wide)] if job.paper != "a5" else safety_in_full(job.facts, wide)
    blocks += [] if noted else MachineNotes(job.facts).blocks(wide)
    if job.figures:
        blocks += [block for panel in PANELS["figures"] for block in panel(job.facts).blocks(wide)]
    about = "To read before the work, and for the desk: cautions, pick list, figures, findings."
    head = heading(job.facts, page, job.head, right, most=3.5)
    return _flow(_Layout(job, page, head, name="reference", about=about), blocks, PickList(job.facts))


def _flow(first: _Layout, blocks: Sequence[Block], picked: PickList | None = None) -> list[_Layout]:
    """Blocks one below the other, on an empty page and as many more as they take; the pick list, where it has room.

    Raises ``_TooDenseError`` where a block is higher than a page.
    """
    room, wide = first.room, first.page.inner_width
    pick = next(iter(picked.lines(wide)), None) if picked else None
    if picked and pick and blocks[0].height + pick.height + TEAR_MM > room:
        rows = [pick] if pick.height <= room else picked.blocks(wide)
        blocks, pick = [*blocks, *map(_marked_as_picked, rows)], None
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
    top, *others = batches
    more = [first._replace(blocks=batch, name=f"{first.name}-{number}") for number, batch in enumerate(others, 2)]
    return [first._replace(blocks=top, pick=pick), *more]


def _marked_as_picked(block: Block) -> Block:
    """A part of the pick list that stands among other blocks."""
    return block._replace(draw=lambda x, y: [Group(children=tuple(block.draw(x, y)), look="pick-list")])
