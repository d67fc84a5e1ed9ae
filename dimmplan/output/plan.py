"""The plan: as JSON of format 1, which ``output.reading`` reads back without loss, and as text for a terminal."""

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from fractions import Fraction
from types import SimpleNamespace
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import create_model

from dimmplan.figures import PlacementFigures, SocketFigures, placement_figures
from dimmplan.model.board import Board, Socket
from dimmplan.model.module import Module, by_type, modules_phrase
from dimmplan.model.placement import Finding, Placement, dead_slots, why_dead
from dimmplan.model.request import Mode
from dimmplan.output.columns import Column, Text, board_line
from dimmplan.output.record import (
    BalancedSweep,
    BoardEntry,
    BoundEntry,
    Counts,
    CriterionEntry,
    FindingEntry,
    GbS,
    Label,
    NodeEntry,
    Number,
    OwnSweep,
    PlacementDocument,
    Places,
    Record,
    Slots,
    SocketEntry,
    SystemSweep,
    TotalsEntry,
    WorstSweep,
    means,
)
from dimmplan.plancode.code import encode
from dimmplan.planner import Planned
from dimmplan.rules import install_order
from dimmplan.solve.answer import STEP_SHARE, Choice
from dimmplan.tables import preferred
from dimmplan.units import by_key, counted, format_capacity, listed, watts_words
from dimmplan.wording import (
    blank_slots,
    criterion_name,
    gains_and_losses,
    gb_s,
    node_sentences,
    placement_findings,
    rate_row_words,
    regions_sentence,
    share_text,
)

if TYPE_CHECKING:
    from dimmplan.growth.pinned import Next


class RequestEntry(Record):
    """What was asked."""

    capacity_gib: int = means("usable capacity asked")
    over_gib: int | None = means("allowance above it that counts as equal")
    max_types: int = means("most types used at once")
    effort: int = means("most search nodes")
    modules: list[Label] = means(
        "labels that might be used", by=lambda request: [supply.module for supply in request.supplies]
    )


class ModuleEntry(Record):
    """A module type of the plan."""

    key: str = means(
        "letter of the type in `slots` and on the sheet", within=lambda plan, module: plan.placement.keys[module]
    )
    label: str = means("JEDEC label")
    generation: str = means("`DDR3`, `DDR4` or `DDR5`")
    capacity_gib: int = means("of one module")
    kind: str = means("`RDIMM` and so on")
    package_ranks: int = means("as a label counts them")
    logical_ranks: int = means("with the dies of a stack")
    device_width: int = means("4, 8, 16")
    ecc_bits: int = means("0, 8 or 16")
    die_gbit: Number = means("density that follows from the label")
    rate_mts: int = means("of the label")
    voltage_mv: int = means("supply voltage")
    part: str | None = means(
        "part number, where the board file has one",
        within=lambda plan, module: plan.board.facts_of(module).part or None,
    )
    watts: Annotated[float | None, Places(1)] = means(
        "the most that one takes, by the board file", within=lambda plan, module: plan.board.facts_of(module).watts
    )
    count: int = means("how many", within=lambda plan, module: plan.placement.count(module))


class ChoiceEntry(Record):
    """Another placement beside the plan."""

    capacity_gib: int = means("of all modules")
    usable_gib: Number = means("what the mode leaves")
    balanced_sweep_gb_s: BalancedSweep
    system_sweep_gb_s: SystemSweep
    own_sweep_gb_s: OwnSweep
    worst_sweep_gb_s: WorstSweep
    modules: Counts = means("its types", of="slots")
    slots: Slots = means("label, or null where it is empty")
    gains: str = means("what it has over the plan, in words")
    loses: str = means("what it lacks")


class StepEntry(Record):
    """The nearest capacities with a higher sweep."""

    above: ChoiceEntry | None = means(
        "nearest capacity above, or null", by=lambda planned: _choice(planned, planned.answer.step_above)
    )
    below: ChoiceEntry | None = means("the same below", by=lambda planned: _choice(planned, planned.answer.step_below))


class SheetEntry(Record):
    """What `plan` was given for the title block, so that the sheet can be drawn again."""

    title: str | None = means("`--title`")
    tag: str | None = means("`--tag`")
    date: str | None = means("`--date`")


def _choice(planned: Planned, choice: Choice | None) -> ChoiceEntry | None:
    if choice is None:
        return None
    board, placement = planned.board, planned.placement
    option = board.processor(placement.processor)
    figures = placement_figures(board, option, placement.fitted, choice.content, mode=placement.mode)
    gains, loses = choice_gains(planned, choice)
    slots = {slot: choice.content.get(slot) for slot in board.slots}
    return ChoiceEntry.of(figures, slots=slots, gains=gains, loses=loses)


class AddedEntry(Record):
    """A module that is added."""

    slot: str = means("where it goes")
    label: Label = means("what goes there")


class NextEntry(Record):
    """A capacity that adding alone reaches."""

    usable_gib: Number = means("the capacity")
    balanced_sweep_gb_s: GbS = means("GB/s", of="sweep_gb_s")
    added: list[AddedEntry] = means(
        "what is added", by=lambda step: [{"slot": slot, "label": module} for slot, module in step.added]
    )


class PlanDocument(PlacementDocument, commands="plan"):
    """What every plan has; what some options put beside it is in ``output.growth``."""

    board: BoardEntry = means("the board")
    request: RequestEntry = means("as asked")
    status: str = means("`proven` or `best-found`", of="placement.status")
    stopped: str | None = means("why the search stopped, null where it is proven", of="answer.stopped")
    bound: BoundEntry = means("how far the search came", of="answer")
    modules: list[ModuleEntry] = means("types in the plan", of="placement.types")
    slots: dict[str, str | None] = means(
        "key of the type, null where it is empty; in board order",
        by=lambda plan: {slot: module and plan.placement.keys[module] for slot, module in plan.placement.slots},
    )
    dead: list[str] = means(
        "slots whose processor or tray is absent, or whose channel is not served",
        by=lambda plan: dead_slots(plan.board, plan.placement),
    )
    blanks: list[str] = means("empty slots that carry a blank", by=lambda plan: blank_slots(plan.board, plan.placement))
    hold: list[str] = means("slots on hold", of="placement.hold")
    install_order: list[str] = means(
        "filled slots in the order of installing", by=lambda plan: install_order(plan.board, plan.placement)
    )
    sockets: list[SocketEntry] = means("figures of each socket", of="figures.sockets")
    nodes: list[NodeEntry] = means("figures of each node with each setting of the board file", of="figures.nodes")
    totals: TotalsEntry = means("the whole machine", by=lambda plan: TotalsEntry.of(plan.figures, cost=plan.cost))
    criteria: list[CriterionEntry] = means(
        "what decided, in order",
        by=lambda planned: [
            CriterionEntry.of(criterion, value=value)
            for criterion, value in zip(planned.answer.criteria, planned.answer.best.vector, strict=True)
        ],
    )
    runners_up: list[ChoiceEntry] = means(
        "the next best placements", by=lambda planned: [_choice(planned, each) for each in planned.answer.runners_up]
    )
    one_step: StepEntry = means("nearest capacities with a higher sweep", by=lambda planned: planned)
    findings: list[FindingEntry] = means(
        "what a person must know",
        by=lambda planned: (
            placement_findings(planned.board, planned.placement, planned.figures) + request_findings(planned)
        ),
    )
    code: str = means("the plan code", by=lambda planned: encode(planned.board, planned.placement))
    sheet: SheetEntry | None = means("words of the title block, where some were given", default=None)
    next_by_adding: list[NextEntry] = means("capacities that adding alone reaches", default=[])


def following_keys(board: Board, placement: Placement, figures: PlacementFigures | None) -> dict[str, Any]:
    """The keys of a plan that follow from its placement and board: what a plan that is read back must agree with."""
    names = [*list(PlacementDocument.model_fields)[2:], "status", "modules", "slots", "dead", "blanks", "hold"]
    names += ["install_order", *(("sockets", "nodes", "totals") if figures else ())]
    fields: Any = {name: (field.annotation, field) for name in names for field in (PlanDocument.model_fields[name],)}
    plan = SimpleNamespace(board=board, placement=placement, figures=figures, cost=None)
    return create_model("Following", __base__=Record, **fields).of(plan).plain()


def sheet_record(given: Mapping[str, Any]) -> dict[str, SheetEntry]:
    """What ``plan`` was given for the title block; no key for nothing."""
    words = {name: given.get(name) for name in SheetEntry.model_fields}
    return {"sheet": SheetEntry(**words)} if any(words.values()) else {}


# -- words -------------------------------------------------------------------------------------------------------------

UNEVEN_GAIN = Fraction(11, 10)
"""A step up that gains more than this factor is worth a warning (domain rule: over 10 %)."""


def choice_gains(planned: Planned, choice: Choice) -> tuple[str, str]:
    """What a choice gains over the answer and what it loses, criterion by criterion, in the list's order."""
    answer = planned.answer
    gains, losses = gains_and_losses(answer.criteria, answer.best.vector, choice.vector)
    return "; ".join(gains), "; ".join(losses)


def request_findings(planned: Planned) -> list[Finding]:
    """What the asker must know and no sheet carries: an uneven request, a capacity rounded up, a cut search."""
    answer, request = planned.answer, planned.request
    found = [*planned.remarks, *_uneven(planned), *_sockets_differ(planned), *_rounded_up(planned)]
    if planned.placement.status != "proven" and answer.bound is not None:
        text = f"Not proven: {answer.stopped}. A better {criterion_name(answer.bound.criterion)} may exist."
        found.append(Finding(rule="effort", severity="note", where=(), text=text, source="MODEL"))
    found += _table_findings(planned)
    some_priced = any(lot.price is not None for supply in request.supplies for lot in supply.lots)
    if (request.prefer == "cost-first" or some_priced) and not all(s.priced for s in request.supplies):
        text = "Cost is left out: not every allowed module has a price."
        found.append(Finding(rule="cost", severity="note", where=(), text=text, source="MODEL"))
    return found


def _table_findings(planned: Planned) -> Iterator[Finding]:
    """What the model would have preferred over a population table, and gained; nothing where both agree."""
    found = preferred(planned)
    if found is not None:
        gains, _ = choice_gains(planned, found.choice)
        slots = [slot for slot in planned.board.slots if found.choice.content.get(slot)]
        text = (
            f"The population table {found.table.id} decides the slots. Without it the model would fill {listed(slots)} "
            f"with {choice_phrase(found.choice)}: {gains}."
        )
        where = tuple(slot for slot, module in planned.placement.slots if module != found.choice.content.get(slot))
        yield Finding(rule="table", severity="note", where=where, text=text, source=found.table.source)


def _uneven(planned: Planned) -> Iterator[Finding]:
    """More or fewer of the same modules, up to a quarter of them, would make the machine clearly faster."""
    answer = planned.answer
    here, types = sweep_of(planned, answer.best), _types(answer.best)
    got, sentences = format_capacity(answer.best.usable_gib), []
    for up, step in ((True, answer.step_above), (False, answer.step_below)):
        if step is None or not _types(step) <= types or step.usable_gib < answer.best.usable_gib * (1 - STEP_SHARE):
            continue
        if sweep_of(planned, step) > here * UNEVEN_GAIN:
            capacity, there = format_capacity(step.usable_gib), gb_s(sweep_of(planned, step))
            lead = f"{capacity} would be faster" if up else f"{capacity} is faster than {got}"
            sentences.append(f"{lead}: {choice_phrase(step)} sweep at {there}.")
    if sentences:
        text = " ".join([f"{got} spreads unevenly over the channels: balanced sweep {gb_s(here)}.", *sentences])
        yield Finding(rule="uneven", severity="warning", where=(), text=text, source="MODEL")


def _sockets_differ(planned: Planned) -> Iterator[Finding]:
    """Sockets hold more or less than they would have to; one of them is the slowest."""
    figures, least = planned.figures, planned.answer.least_difference_gib
    if least is None or figures.socket_difference_gib <= least:
        return
    slowest = min(figures.sockets, key=lambda socket: (socket.sweep_gb_s, socket.usable_gib))
    other = max(figures.sockets, key=lambda socket: (abs(socket.usable_gib - slowest.usable_gib), socket.sweep_gb_s))
    could = f"only {format_capacity(least)} apart" if least else "equal"
    text = (
        f"{slowest.socket} is the slowest socket: it holds {format_capacity(slowest.usable_gib)} and sweeps at "
        f"{gb_s(slowest.sweep_gb_s)}; {other.socket} holds {format_capacity(other.usable_gib)}. At this capacity "
        f"the sockets could be {could}, but {planned.request.prefer} puts this placement first."
    )
    yield Finding(rule="sockets-differ", severity="note", where=(slowest.socket,), text=text, source="MODEL")


def _rounded_up(planned: Planned) -> Iterator[Finding]:
    """Why the capacity is not the one asked."""
    request, got = planned.request, format_capacity(planned.answer.best.usable_gib)
    asked = format_capacity(request.capacity_gib)
    far = " No capacity within the allowance fits." if planned.answer.outside_window else ""
    advised = {row.id for row in planned.board.rules if row.severity == "advised"}
    for cause in planned.answer.rounded_up:
        how = "breaks no advised rule" if cause.rule in advised else "fits"
        lead = f"Rule {cause.rule}: " if cause.source else ""
        text = f"{asked} was asked; {got} is the next larger capacity that {how}.{far} {lead}{cause.text}"
        yield Finding(rule="rounded-up", severity="note", where=(), text=text, source=cause.source or "MODEL")
    if far and not planned.answer.rounded_up:
        text = f"{asked} was asked.{far} Of all above it {request.prefer} puts {got} first."
        yield Finding(rule="rounded-up", severity="note", where=(), text=text, source="MODEL")


def _types(choice: Choice) -> set[Module]:
    return {module for module in choice.content.values() if module}


def sweep_of(planned: Planned, choice: Choice) -> Fraction:
    """The balanced sweep of a choice in GB/s."""
    place = [criterion.name for criterion in planned.answer.criteria].index("balanced_sweep")
    return Fraction(choice.vector[place])


def choice_phrase(choice: Choice) -> str:
    """The modules of a choice: ``12 x 32GB 2Rx4 PC4-2933Y-R``."""
    return modules_phrase(by_type(choice.content.values()))


# -- the plan as text ------------------------------------------------------------------------------------------------


def plan_text(planned: Planned) -> str:
    """The one-screen answer: placement by socket and channel, figures, regions, findings, one step."""
    board, placement, answer = planned.board, planned.placement, planned.answer
    figures = planned.figures
    page = Text(*_headline(planned, figures), hang=2)
    for socket in board.sockets:
        page.heading()
        _socket_lines(page, board, socket, placement, figures)
    page.heading("Modules")
    page.table(_module_columns(board, placement), placement.types)
    _figure_lines(page, figures)
    page.findings(request_findings(planned) + placement_findings(board, placement, figures))
    _runner_lines(page, planned, answer.runners_up)
    return str(page)


def _module_columns(board: Board, placement: Placement) -> list[Column[Module]]:
    return [
        Column(text=lambda module: placement.keys[module]),
        Column(text=lambda module: f"{placement.count(module)} x", align="right"),
        Column(text=lambda module: module.label),
        Column(text=lambda module: module.kind.value),
        Column(text=lambda module: board.facts_of(module).part),
        Column(text=lambda module: watts_words(watts) if (watts := board.facts_of(module).watts) else ""),
    ]


def _headline(planned: Planned, figures: PlacementFigures) -> list[str]:
    """What goes in, how fast the machine and its worst socket are, why this capacity, and what would be faster."""
    placement, answer, request = planned.placement, planned.answer, planned.request
    status = "proven first under this board file and this model"
    if placement.status == "best-found":
        status = f"best found, not proven: {answer.stopped}"
    asked, got = format_capacity(request.capacity_gib), format_capacity(figures.usable_gib)
    processor = f", processor {', '.join(placement.processor.split(','))}" if placement.processor else ""
    mode = f" {placement.mode.words}" if placement.mode is not Mode.INDEPENDENT else ""
    if figures.usable_gib != figures.capacity_gib:
        mode += f" ({format_capacity(figures.capacity_gib)} installed)"
    worst = min(figures.sockets, key=lambda socket: socket.sweep_gb_s)
    modules = modules_phrase((module, placement.count(module)) for module in placement.types)
    lines = [
        board_line(planned.board),
        f"{got}{mode} in {counted(figures.modules, 'module')} at {figures.rate_mts} MT/s{processor}: {modules}",
        f"Balanced sweep {gb_s(figures.balanced_sweep_gb_s)}; worst socket {worst.socket} {gb_s(worst.sweep_gb_s)}, "
        f"share {share_text(worst.share)}",
    ]
    if asked == got:
        lines.append(f"Why {got}: as asked")
    else:
        why = "; ".join(f"{cause.text.rstrip('.')} [{cause.rule}]" for cause in answer.rounded_up[:1])
        otherwise = f"{placement.prefer} prefers it" if answer.proven else "the best found"
        lines.append(f"Why {got}: {asked} asked{f'. {why}' if why else f'; {otherwise}'}")
    faster = [step for step in (answer.step_above, answer.step_below) if step]
    lines += [f"Faster: {_step_text(planned, step)}" for step in faster]
    return [*lines, f"{placement.prefer}: {status}"]


def _step_text(planned: Planned, step: Choice) -> str:
    return f"{format_capacity(step.usable_gib)} sweeps at {gb_s(sweep_of(planned, step))} ({choice_phrase(step)})"


def _socket_lines(page: Text, board: Board, socket: Socket, placement: Placement, figures: PlacementFigures) -> None:
    """What each channel of a socket carries, what is dead, and which regions follow."""
    whole = next(each for each in board.every_socket if each.id == socket.id)
    if socket.id not in placement.fitted:
        gone = [f"{tray} is not there" for tray in placement.absent if tray in map(board.tray_of.get, whole.slots)]
        page.note(f"{socket.id}: {', '.join(['no processor', *gone, counted(len(whole.slots), 'slot')])} dead", 0)
        return
    its = next(each for each in figures.sockets if each.socket == socket.id)
    page.note(f"{socket.id}: {format_capacity(its.usable_gib)}, share {share_text(its.share)}", 0)
    keys, content = placement.keys, placement.content
    deepest = max(len(channel.slots) for channel in socket.channels)
    rows = []
    for channel in socket.channels:
        held = [(slot, content.get(slot)) for slot in channel.slots]
        cells = [f"{slot}: {keys[module]} {module.capacity_gib}GB" if module else f"{slot}: -" for slot, module in held]
        rows.append([channel.controller, channel.id, *cells, *[""] * (deepest - len(cells))])
    page.rows(rows)
    dead: dict[str, list[str]] = {}
    for slot in whole.slots:
        why = why_dead(board, placement, slot)
        if why:
            processor = placement.processors.get(socket.id)
            words = f"not served by {processor}" if why == "channel" else f"{board.tray_of.get(slot)} is not there"
            dead.setdefault(words, []).append(slot)
    for words, slots in dead.items():
        page.note(f"Dead, {words}: {', '.join(slots)}.", hang=0)
    page.note(regions_sentence(its), hang=0)


_FIGURES: dict[str, Callable[[SocketFigures], str]] = {
    "rate": lambda its: f"{its.rate.rate_mts} MT/s",
    "peak": lambda its: gb_s(its.peak_gb_s),
    "sweep": lambda its: gb_s(its.sweep_gb_s),
    "parallel": lambda its: gb_s(its.parallel_gb_s),
    "share": lambda its: share_text(its.share),
}
"""What is shown of a socket, by its head."""


def _figure_lines(page: Text, figures: PlacementFigures) -> None:
    page.heading("Figures (peaks of a model; STREAM usually measures 70 to 85 % of peak)")
    rows = [[its.socket, *(text(its) for text in _FIGURES.values())] for its in figures.sockets]
    page.rows(rows, ("", *_FIGURES), right=_FIGURES)
    bound = by_key(figures.sockets, lambda its: rate_row_words(its.rate.row))
    told = [f"{listed([its.socket for its in alike])}: {what}" for what, alike in bound.items()]
    page.note(f"Rate limited by {'; '.join(told if len(bound) > 1 else bound)}", hang=0)
    difference = figures.socket_difference_gib
    equal = "sockets hold the same" if not difference else f"{format_capacity(difference)} between sockets"
    page.note(
        f"System sweep {gb_s(figures.system_sweep_gb_s)}, own sweep {gb_s(figures.own_sweep_gb_s)}; {equal}; "
        f"{counted(figures.free_slots, 'slot')} free",
        hang=0,
    )
    for text in node_sentences(figures):
        page.note(text)


def _runner_lines(page: Text, planned: Planned, runners: Sequence[Choice]) -> None:
    if runners:
        page.heading("Runners-up")
    for choice in runners:
        gains, loses = choice_gains(planned, choice)
        page.note(f"{format_capacity(choice.usable_gib)}: {choice_phrase(choice)}")
        if gains:
            page.note(f"gains {gains}", 4)
        page.note(f"loses {loses}" if loses else "equal in every criterion; board order decides", 4)


def next_text(nexts: Sequence["Next"]) -> str:
    """The next capacities by adding, for a terminal."""
    if not nexts:
        return "Next by adding only: nothing within these module types\n"
    page = Text("Next by adding only")
    for each in nexts:
        counts = Counter(module for _, module in each.added)
        modules = modules_phrase(sorted(counts.items(), key=lambda pair: pair[0].order_key))
        page.note(f"{format_capacity(each.usable_gib)} sweeps at {gb_s(each.sweep_gb_s)} (adds {modules})")
    return str(page)
