"""A plan as one HTML page: for a screen the map to touch, every reason and every figure; for paper the sheet itself."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from typing import Any, NamedTuple

from dimmplan.errors import DimmplanError
from dimmplan.figures import PlacementFigures, RegionFigures, SocketFigures, placement_figures
from dimmplan.model.board import Board
from dimmplan.model.placement import Change, Move, Placement
from dimmplan.output.columns import Column, text_columns
from dimmplan.output.moves import act_text, moves_summary
from dimmplan.output.svg import inline_svg, outlines
from dimmplan.output.why import rate_statements, rate_title, reason_statements, reason_title
from dimmplan.page.render import page_of
from dimmplan.reasons.case import Case
from dimmplan.reasons.rate import rate_reasons
from dimmplan.reasons.slots import slot_reasons
from dimmplan.sheet.facts import ChangeFacts, Facts, SlotFact, State, gather
from dimmplan.sheet.panels import (
    MODEL,
    SEVERITY_WORDS,
    FiguresPanel,
    MachineNotes,
    PickList,
    RequestPanel,
    SocketsPanel,
)
from dimmplan.sheet.plan_view import Area, Front, plan_view
from dimmplan.sheet.shapes import Page, Sheet, ident
from dimmplan.sheet.stages import (
    BEFORE,
    BOOT_CHECKS,
    CAUTIONS,
    DEFERENCE,
    HOLD,
    NOTICES,
    access_steps,
    first_boot,
    hold_said,
    power_checks,
    warnings,
)
from dimmplan.units import Gib, counted, format_capacity, listed
from dimmplan.wording import Statement, gb_s, node_sentences, regions_sentence, share_sentence

Row = Sequence[str]


def page_html(
    board: Board,
    placement: Placement,
    sheet: Sheet,
    *,
    code: str,
    tag: str | None,
    change: Change | None,
    front: Front = "down",
) -> str:
    """A plan and its sheet as a whole HTML document, which loads nothing. Same arguments, same text.

    ``change`` is the way from what is in a machine; the sheet then is a change sheet. ``front`` is where the map has
    the front of the board.
    """
    facts = gather(board, placement, change)
    rates, reasons = reasons_of(board, placement)
    title = f"{sheet.title}{f' – {tag}' if tag else ''}"
    return page_of(
        "page.html",
        styles=("base.css", "page.css"),
        script="page.js",
        more_style=_sheet_style(sheet),
        title=title,
        board_title="" if board.title in title else board.title,
        alerts=list(_alerts(facts)),
        headline=_headline(facts),
        answer=RequestPanel(facts).answer,
        asked=RequestPanel(facts).rows,
        code=code,
        change=change is not None,
        rows=touch_map(facts, front),
        edges=("rear", "front") if front == "down" else ("front", "rear"),
        types=[f"{each.key}: {each.count} x {each.label}" for each in facts.types],
        slots=list(slot_texts(facts, reasons)),
        rates=rates,
        ranges=address_ranges(facts),
        region_columns=REGION_COLUMNS,
        picture=PICTURE,
        figures=_figures(facts),
        dead=facts.dead_words,
        findings=[
            (f"{SEVERITY_WORDS[each.severity]}:", f"{each.text} [{each.rule}, {each.source}]")
            for each in facts.findings
        ],
        before=_before(facts),
        doing=_doing(facts),
        after=_after(facts),
        sheet=[(f"{page.name} {_paper(page)}", inline_svg(page)) for page in sheet.pages],
        outlines=outlines(sheet.pages),
    )


# -- the sheet, for paper ----------------------------------------------------------------------------------------------


def _sheet_style(sheet: Sheet) -> str:
    """The looks of the sheet, kept to its pages, and the paper to print each on."""
    first = sheet.pages[0]
    rules = [f".sheet {rule}" for rule in first.stylesheet.splitlines()]
    rules.append(f"@page{{size:{first.width_mm:g}mm {first.height_mm:g}mm;margin:0}}")
    for paper, page in {_paper(page): page for page in sheet.pages}.items():
        wide, high = f"{page.width_mm:g}mm", f"{page.height_mm:g}mm"
        rules.append(f"@page {paper}{{size:{wide} {high};margin:0}}")
        rules.append(f"@media print{{.{paper}{{page:{paper}}}.{paper} svg{{width:{wide};height:{high}}}}}")
    return "\n".join(rules) + "\n"


def _paper(page: Page) -> str:
    return "lying" if page.width_mm > page.height_mm else "upright"


# -- what must be known first ------------------------------------------------------------------------------------------


def _alerts(facts: Facts) -> Iterator[str]:
    """What must be known before anything else is read."""
    if facts.banner:
        yield facts.banner
    yield from (f"{lead} {text}" for lead, text in MachineNotes(facts).rows if lead)


class Headline(NamedTuple):
    """A figure that comes first, with that before the change where there is one."""

    name: str
    now: str
    was: str


def _headline(facts: Facts) -> list[Headline]:
    now, was = _headline_values(facts.figures), _headline_values(_before_figures(facts))
    return [Headline(name, value, was.get(name, "")) for name, value in now.items()]


def _headline_values(its: PlacementFigures | None) -> dict[str, str]:
    if its is None:
        return {}
    worst = min(its.sockets, key=lambda socket: socket.sweep_gb_s)
    return {
        "Capacity": format_capacity(its.usable_gib),
        "Rate": f"{its.rate_mts} MT/s",
        "Balanced sweep": gb_s(its.balanced_sweep_gb_s),
        "Worst socket": f"{worst.socket}, {gb_s(worst.sweep_gb_s)}" if len(its.sockets) > 1 else gb_s(worst.sweep_gb_s),
        "Modules": f"{its.modules}, {counted(its.free_slots, 'slot')} free",
    }


def _before_figures(facts: Facts) -> PlacementFigures | None:
    """The figures of what is in the machine before a change, where it runs."""
    if not isinstance(facts, ChangeFacts):
        return None
    content = {move.source: move.module for move in facts.change.moves if move.source}
    option = facts.board.processor(facts.placement.processor)
    try:
        return placement_figures(facts.board, option, facts.placement.fitted, content, mode=facts.placement.mode)
    except ValueError:
        return None


def _figures(facts: Facts) -> dict[str, Any] | None:
    """The figures of the machine and of each socket."""
    its = facts.figures
    if its is None:
        return None
    sockets = SocketsPanel(facts)
    words = {"socket", "the rate is limited by"}
    return {
        "totals": FiguresPanel(facts).rows,
        "share": f"{share_sentence(its)}.",
        "columns": text_columns(sockets.heads, right=set(sockets.heads) - words),
        "rows": sockets.rows,
        "notes": [sockets.note, *node_sentences(its), MODEL],
    }


# -- what is done at the chassis ---------------------------------------------------------------------------------------


def _before(facts: Facts) -> dict[str, Any]:
    """What must be sure, what may harm, and what comes off first."""
    cares: dict[str, Sequence[Row]] = {
        "Warning": warnings(facts),
        "Caution": CAUTIONS,
        "Notice": NOTICES,
        "For this machine": MachineNotes(facts).rows,
    }
    return {
        "deference": DEFERENCE,
        "sure": BEFORE,
        "cares": [(word, items) for word, items in cares.items() if items],
        "hold": (HOLD, hold_said(facts)) if facts.placement.hold else None,
        "access": access_steps(facts),
    }


def _doing(facts: Facts) -> dict[str, Any]:
    """What to fetch and every step, with the numbers that the map has."""
    change = facts.change if isinstance(facts, ChangeFacts) else None
    pick, content = PickList(facts), facts.placement.content
    key, module, *more = pick.heads
    held = ((fact, content[fact.slot]) for _, batch in facts.steps for fact in batch)
    steps: list[Row] = [(str(fact.step), fact.slot, f"insert {new.label}") for fact, new in held if new]
    kept: list[str] = []
    if change:  # as the sheet counts: a module that moves comes out at one step and goes in at a later one
        steps = [(str(step.number), step.slot, act_text(step.move, step.act)) for step in change.steps]
        kept = [act_text(move) for move in change.moves if move.kind == "keep"]
        over = [left for left in change.stranded if left.fits]
        kept += [f"{left.module.label}, left over: would also fit in {', '.join(left.fits)}" for left in over]
    return {
        "title": f"{facts.doing}, in this order",
        "summary": f"{moves_summary(change.moves)}." if change else "",
        "kept": kept,
        "fetch": "To fetch, and left over" if change else "To fetch",
        "pick_columns": text_columns((module, key, *more), right={"count"}),
        "picks": [(label, letter, *rest) for letter, label, *rest in pick.rows],
        "step_columns": text_columns(("step", "slot", "what is done")),
        "steps": steps,
    }


def _after(facts: Facts) -> dict[str, Any]:
    """What to look at before the cords go back, and what the machine should then show."""
    return {
        "power": power_checks(facts),
        "said": [" ".join(text for text, _ in runs) for runs in first_boot(facts)],
        "boot": BOOT_CHECKS,
    }


# -- slots and their reasons -------------------------------------------------------------------------------------------


Reason = tuple[str, Sequence[Statement]]
"""A title, and what is said below it."""


def reasons_of(board: Board, placement: Placement) -> tuple[Sequence[Reason], Mapping[str, Reason]]:
    """The reasons that ``why`` gives, in its words: of the rate, and of each slot or why none can be given."""
    try:
        case = Case(board, placement)
        slots = {each.slot: (reason_title(case, each), reason_statements(case, each)) for each in slot_reasons(case)}
        return [(rate_title(each), rate_statements(case, each)) for each in rate_reasons(case)], slots
    except DimmplanError as error:
        return (), dict.fromkeys(board.slots, (str(error), ()))


class SlotText(NamedTuple):
    """What is said of a slot: what it holds, what it held before a change, and why."""

    id: str
    name: str
    held: str
    before: str
    title: str
    sentences: Sequence[Statement]


def slot_texts(facts: Facts, reasons: Mapping[str, Reason]) -> Iterator[SlotText]:
    """Every slot, in board order."""
    for slot, fact in facts.slots.items():
        title, sentences = reasons.get(slot, ("no reason can be given", ()))
        before = _held_before(facts, slot) if isinstance(facts, ChangeFacts) else ""
        module, channel = facts.placement.content.get(slot), facts.board.channel_of[slot]
        held = "empty, takes a blank" if fact.state is State.BLANK else fact.words
        held = module.label if module and fact.state is State.FILLED else held
        held += f", step {fact.step}" if fact.step else ""
        held += f"; socket {channel.socket}, controller {channel.controller}, channel {channel.id}"
        yield SlotText(ident("why", slot), slot, held, before, title, sentences)


def _leaving(facts: Facts, slot: str) -> Move | None:
    """What becomes of the module that is in a slot before a change."""
    moves = facts.change.moves if isinstance(facts, ChangeFacts) else ()
    return next((move for move in moves if move.source == slot), None)


def _held_before(facts: ChangeFacts, slot: str) -> str:
    """What is in a slot before the change, and what becomes of it."""
    move = _leaving(facts, slot)
    if slot in facts.placement.hold:
        return "Before the change: on hold, not to be touched."
    if move is None:
        return "Before the change: empty."
    if move.kind == "keep":
        return f"Before the change: {move.module.label}; it stays."
    fate = "comes out for good" if move.kind == "pull" else f"moves to {move.target}"
    return f"Before the change: {move.module.label}; step {facts.outs[slot].number}, it {fate}."


# -- the map to touch --------------------------------------------------------------------------------------------------


class TouchSlot(NamedTuple):
    """One slot to touch: its fact, what it holds now and held before a change, each in words and as a look."""

    fact: SlotFact
    href: str
    state: str
    now: str
    look: str
    was_state: str
    was: str


class Place(NamedTuple):
    """Slots side by side (``bank``), or a processor (without slots)."""

    look: str
    title: str
    slots: tuple[TouchSlot, ...]


def touch_map(facts: Facts, front: Front) -> list[list[Place]]:
    """The slots of a board where a person sees them, the front below or above, in rows from above to below."""
    view, fitted = plan_view(facts.board, front), facts.placement.fitted
    things: list[tuple[Area, Place]] = []
    for bank in view.banks:
        slots = tuple(_slot(facts, facts.slots[each.slot]) for each in bank.slots)
        things.append((bank.area, Place("bank upright" if bank.upright else "bank lying", bank.socket, slots)))
    for socket, area in view.sockets:
        absent = ("", "") if socket in fitted else (" absent", ": no processor")
        things.append((area, Place(f"processor{absent[0]}", f"{socket}{absent[1]}", ())))
    rows = []
    waiting = sorted(things, key=lambda thing: (thing[0].top, thing[0].left))
    while waiting:  # things whose middle lies beside the first one of a row stand in that row
        row = [thing for thing in waiting if thing[0].centre[1] <= waiting[0][0].bottom]
        waiting = [thing for thing in waiting if thing not in row]
        rows.append([place for _, place in sorted(row, key=lambda thing: (thing[0].left, thing[0].top))])
    return rows


TYPE_LOOKS = 3
"""Colours of module types; the letter tells them apart where there are more."""
_WORDS = {State.EMPTY: "empty", State.BLANK: "blank", State.DEAD: "dead", State.HOLD: "hold", State.PULL: "empty"}


def _slot(facts: Facts, fact: SlotFact) -> TouchSlot:
    module = facts.placement.content[fact.slot]
    filled = fact.state is State.FILLED and module is not None
    move = _leaving(facts, fact.slot)
    was = move.module if move else None
    keys = list(facts.placement.keys.values())
    kept = was is not None and module is not None and was == module and not fact.step
    return TouchSlot(
        fact=fact,
        href=f"#{ident('why', fact.slot)}",
        state=("kept" if kept else "filled") if filled else fact.state.value,
        now=f"{module.capacity_gib} GB" if filled and module else _WORDS.get(fact.state, ""),
        look=f"type-{(keys.index(fact.key)) % TYPE_LOOKS + 1}" if fact.key and not kept else "",
        was_state="filled" if was else "empty",
        was=f"{was.capacity_gib} GB" if was else "empty",
    )


# -- the address range -------------------------------------------------------------------------------------------------

WIDE, HIGH, GAP, BELOW = 600, 96, 3, 30
LETTER = 11
"""Most that a letter of a label is wide, in the picture's units."""

LOOKS = 6
"""Looks of bars; a seventh region begins again with the first."""

PICTURE = {"width": WIDE, "height": HIGH + GAP + BELOW, "base": HIGH + GAP}
"""Size of the picture of a range, and its base line, in its own units."""


class RegionBar(NamedTuple):
    """One region, its channels named within the socket: its number, its part of the range, its bar in the picture.

    ``label`` stands under the bar; it is left out where it has no room.
    """

    number: int
    region: RegionFigures
    part: Fraction
    look: str
    box: tuple[tuple[str, str], ...]
    label: str
    label_x: str


class RangeText(NamedTuple):
    """The address range of equal sockets: in words, and as bars of a picture that are rows of a table too."""

    title: str
    sentence: str
    id: str
    alt: str
    caption: str
    bars: tuple[RegionBar, ...]


REGION_COLUMNS = (
    Column[RegionBar](title="region", text=lambda bar: str(bar.number)),
    Column[RegionBar](title="capacity", text=lambda bar: format_capacity(bar.region.capacity_gib), align="right"),
    Column[RegionBar](title="share of the range", text=lambda bar: f"{float(100 * bar.part):.0f} %", align="right"),
    Column[RegionBar](title="ways", text=lambda bar: str(bar.region.ways), align="right"),
    Column[RegionBar](title="channels", text=lambda bar: ", ".join(bar.region.channels)),
    Column[RegionBar](title="peak", text=lambda bar: gb_s(bar.region.peak_gb_s), align="right"),
)


def address_ranges(facts: Facts) -> list[RangeText]:
    """Every socket's regions, drawn to one scale; equal sockets once."""
    if facts.figures is None:
        return []
    most = max(sum(Fraction(region.capacity_gib) for region in its.regions) for its in facts.figures.sockets)
    alike: dict[tuple[Gib, tuple[RegionBar, ...]], list[SocketFigures]] = {}
    for its in facts.figures.sockets:
        bars = tuple(_bars(its, len(facts.board.socket(its.socket).channels), most))
        alike.setdefault((its.usable_gib, bars), []).append(its)
    return [_told(sockets, bars) for (_, bars), sockets in alike.items()]


def _told(sockets: list[SocketFigures], bars: tuple[RegionBar, ...]) -> RangeText:
    names, size = listed([its.socket for its in sockets]), format_capacity(sockets[0].usable_gib)
    shown = [bar.region for bar in bars]
    regions = ", then ".join(f"{format_capacity(r.capacity_gib)} over {counted(r.ways, 'channel')}" for r in shown)
    return RangeText(
        title=f"{names}: {size} each" if len(sockets) > 1 else f"{names}: {size}",
        sentence=regions_sentence(sockets[0]) if bars else "No module, no region.",
        id=ident("regions", sockets[0].socket),
        alt=f"Address range of {names}: {regions}.",
        caption=f"Regions of {names}, lowest addresses first",
        bars=bars,
    )


def _bars(its: SocketFigures, channels: int, most: Fraction | int) -> Iterator[RegionBar]:
    whole = sum(Fraction(region.capacity_gib) for region in its.regions)
    at = free = Fraction(0)
    for number, region in enumerate(its.regions, 1):
        wide, high = Fraction(region.capacity_gib) / most * WIDE, Fraction(region.ways, channels) * HIGH
        box = {"x": at, "y": HIGH - high + GAP, "width": wide, "height": high}
        full = f"{number}: {format_capacity(region.capacity_gib)}, {counted(region.ways, 'way')}"
        label = full if len(full) * LETTER <= wide else str(number)
        shown = at >= free or len(label) * LETTER <= wide
        yield RegionBar(
            number=number,
            region=region._replace(channels=tuple(name.removeprefix(f"{its.socket}.") for name in region.channels)),
            part=Fraction(region.capacity_gib) / whole,
            look=f"region region-{(number - 1) % LOOKS + 1}",
            box=tuple((name, _number(value)) for name, value in box.items()),
            label=label if shown else "",
            label_x=_number(at + (GAP if at == 0 else 0)),
        )
        free = at + len(label) * LETTER if shown else free
        at += wide


def _number(value: Fraction | int) -> str:
    return f"{float(value):.2f}".rstrip("0").rstrip(".")
