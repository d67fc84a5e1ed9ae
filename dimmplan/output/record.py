"""The plan as JSON, format 1. ``output.reading`` reads it back into a placement without loss."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from fractions import Fraction
from typing import Any, Literal

from pydantic import AliasPath, Field

from dimmplan.errors import ImpossibleError, Shortfall
from dimmplan.figures import PlacementFigures, placement_figures
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.placement import Placement, dead_slots
from dimmplan.output.values import (
    BalancedSweep,
    CauseEntry,
    Count,
    Document,
    Exact,
    GbS,
    GibNumber,
    Money,
    OwnSweep,
    Record,
    Share,
    Slots,
    SystemSweep,
    WorstShare,
    WorstSweep,
    counts,
    exact,
    plain,
)
from dimmplan.plancode.code import encode
from dimmplan.planner import Planned
from dimmplan.rules import install_order
from dimmplan.solve.answer import Choice
from dimmplan.units import Gib
from dimmplan.wording.placement import blank_slots, placement_findings
from dimmplan.wording.request import choice_gains, request_findings


class BoardEntry(Record):
    """The board, by what its plans depend on."""

    id: str = Field(description="the board")
    trust: str = Field(description="`example`, `drafted`, `manual` or `running`")
    electrical_digest: str = Field(description="changes with slots, rules, rates, processors and modules")
    drawing_digest: str = Field(description="changes with the drawing")


class FindingEntry(Record):
    """What a person must know."""

    rule: str = Field(description="id of the board's row, or of what the tool itself looks at")
    severity: str = Field(description="`error` (must not be), `warning` (not advised), `note`")
    where: list[str] = Field(description="slots, channels or sockets")
    text: str = Field(description="a sentence")
    source: str = Field(description="id of the source; `rules` gives the citation")


class TotalsEntry(Record):
    """The whole machine."""

    capacity_gib: int = Field(description="of all modules")
    usable_gib: GibNumber = Field(description="what the mode leaves")
    modules: int = Field(description="how many")
    free_slots: int = Field(description="of the fitted sockets")
    rate_mts: int = Field(description="MT/s")
    balanced_sweep_gb_s: BalancedSweep
    system_sweep_gb_s: SystemSweep
    own_sweep_gb_s: OwnSweep
    worst_sweep_gb_s: WorstSweep
    worst_share: WorstShare
    socket_difference_gib: GibNumber = Field(description="largest less smallest usable capacity of a socket")
    cost: Money | None = Field(default=None, description="of what must be bought, where everything has a price")


class RequestEntry(Record):
    """What was asked."""

    capacity_gib: int = Field(description="usable capacity asked")
    over_gib: int | None = Field(description="allowance above it that counts as equal")
    max_types: int = Field(description="most types used at once")
    effort: int = Field(description="most search nodes")
    modules: list[str] = Field(description="labels that might be used")


class BoundEntry(Record):
    """How far the search came."""

    criterion: str | None = Field(description="the criterion that is not decided, null where all are")
    value: Exact | None = Field(description="what it can be at best")
    nodes: int = Field(description="search nodes spent")


class ModuleEntry(Record):
    """A module type of the plan."""

    key: str = Field(description="letter of the type in `slots` and on the sheet")
    label: str = Field(description="JEDEC label")
    generation: str = Field(description="`DDR3`, `DDR4` or `DDR5`")
    capacity_gib: int = Field(description="of one module")
    kind: str = Field(description="`RDIMM` and so on")
    package_ranks: int = Field(description="as a label counts them")
    logical_ranks: int = Field(description="with the dies of a stack")
    device_width: int = Field(description="4, 8, 16")
    ecc_bits: int = Field(description="0, 8 or 16")
    die_gbit: int | float = Field(description="density that follows from the label")
    rate_mts: int = Field(description="of the label")
    voltage_mv: int = Field(description="supply voltage")
    count: int = Field(description="how many")


class RegionEntry(Record):
    """One region of a socket's address range."""

    ways: int = Field(description="channels that the addresses rotate over")
    capacity_gib: GibNumber = Field(description="how much of the capacity")
    channels: list[str] = Field(description="which channels")
    peak_gb_s: GbS = Field(description="GB/s")


class SocketEntry(Record):
    """The figures of a fitted socket."""

    id: str = Field(validation_alias="socket", description="the socket")
    capacity_gib: int = Field(description="of its modules")
    usable_gib: GibNumber = Field(description="what the mode leaves")
    modules: int = Field(description="how many")
    rate_mts: int = Field(validation_alias=AliasPath("rate", "rate_mts"), description="MT/s")
    rate_row: str = Field(
        validation_alias=AliasPath("rate", "row"),
        description="what limits the rate: a rate row, `processor:ID` or `module:LABEL`",
    )
    peak_gb_s: GbS = Field(description="of its filled channels")
    sweep_gb_s: GbS = Field(description="every byte once")
    parallel_gb_s: GbS = Field(description="traffic even over all addresses")
    share: Share = Field(description="sweep over the peak of all channels, 0 to 1")
    regions: list[RegionEntry] = Field(description="lowest addresses first")


class CriterionEntry(Record):
    """One criterion of the list, and its value."""

    name: str = Field(description="in the order that decides")
    value: Exact = Field(description="sweep and parallel as exact fractions of GB/s in text")
    better: str = Field(description="`high` or `low`")


class ChoiceEntry(Record):
    """Another placement beside the plan."""

    capacity_gib: int = Field(description="of all modules")
    usable_gib: GibNumber = Field(description="what the mode leaves")
    balanced_sweep_gb_s: BalancedSweep
    system_sweep_gb_s: SystemSweep
    own_sweep_gb_s: OwnSweep
    worst_sweep_gb_s: WorstSweep
    modules: list[Count] = Field(description="its types")
    slots: Slots = Field(description="label, or null where it is empty")
    gains: str = Field(description="what it has over the plan, in words")
    loses: str = Field(description="what it lacks")


class StepEntry(Record):
    """The nearest capacities with a higher sweep."""

    above: ChoiceEntry | None = Field(description="nearest capacity above, null where there is none")
    below: ChoiceEntry | None = Field(description="the same below")


class NearestEntry(Record):
    """The nearest capacities that fit."""

    below_gib: GibNumber | None = Field(description="the nearest capacity below that fits")
    above_gib: GibNumber | None = Field(description="the nearest above")


class PlanDocument(Document):
    """A plan."""

    commands = "plan"
    about = (
        "The plan; `plan.json` is the same. `stock` stands there with `--stock`, `kept` with `--keep`, `growth` with "
        "`--then`, `mode_price` with another `--mode`."
    )

    board: BoardEntry = Field(description="the board")
    fitted: list[str] = Field(description="sockets with a processor")
    processor: str | None = Field(description="the processor option")
    mode: str = Field(description="`independent`, `mirrored` or `sparing`")
    prefer: str = Field(description="the list of criteria")
    request: RequestEntry = Field(description="as asked")
    status: str = Field(description="`proven` or `best-found`")
    stopped: str | None = Field(description="why the search stopped, null where it is proven")
    bound: BoundEntry = Field(description="how far the search came")
    modules: list[ModuleEntry] = Field(description="types in the plan")
    slots: dict[str, str | None] = Field(description="key of the type, null where it is empty; in board order")
    dead: list[str] = Field(description="slots whose processor is absent")
    blanks: list[str] = Field(description="empty slots that carry a blank")
    hold: list[str] = Field(description="slots that nobody may touch")
    install_order: list[str] = Field(description="filled slots in the order of installing")
    sockets: list[SocketEntry] = Field(description="figures of each socket")
    totals: TotalsEntry = Field(description="the whole machine")
    criteria: list[CriterionEntry] = Field(description="what decided, in order")
    runners_up: list[ChoiceEntry] = Field(description="the next best placements")
    one_step: StepEntry = Field(description="nearest capacities with a higher sweep")
    findings: list[FindingEntry] = Field(description="what a person must know")
    code: str = Field(description="the plan code")


def plan_record(planned: Planned) -> PlanDocument:
    """The plan of a solved request, with the stable keys of format 1."""
    board, request, answer, placement = planned.board, planned.request, planned.answer, planned.placement
    figures = planned.figures
    findings = placement_findings(board, placement, figures) + request_findings(planned)
    return PlanDocument(
        **placement_keys(board, placement),
        request=RequestEntry(
            capacity_gib=request.capacity_gib,
            over_gib=request.over_gib,
            max_types=request.max_types,
            effort=request.effort,
            modules=[supply.module.label for supply in request.supplies],
        ),
        stopped=answer.stopped,
        bound=_bound(planned),
        sockets=SocketEntry.all_of(figures.sockets),
        totals=totals_record(figures, planned.cost),
        criteria=[
            CriterionEntry(name=c.name, value=exact(v), better=c.better)
            for c, v in zip(answer.criteria, answer.best.vector, strict=True)
        ],
        runners_up=[_choice(planned, choice) for choice in answer.runners_up],
        one_step=StepEntry(
            above=_choice(planned, answer.step_above) if answer.step_above else None,
            below=_choice(planned, answer.step_below) if answer.step_below else None,
        ),
        findings=FindingEntry.all_of(findings),
        code=encode(board, placement),
    )


def placement_keys(board: Board, placement: Placement) -> dict[str, Any]:
    """The keys of a plan that follow from its placement and board alone, but for its figures."""
    keys = placement.keys
    return {
        "board": BoardEntry.of(board),
        "fitted": list(placement.fitted),
        "processor": placement.processor,
        "mode": placement.mode.value,
        "prefer": placement.prefer,
        "status": placement.status,
        "modules": [_module(module, keys[module], placement.count(module)) for module in placement.types],
        "slots": {slot: keys[module] if module else None for slot, module in placement.slots},
        "dead": list(dead_slots(board, placement)),
        "blanks": list(blank_slots(board, placement)),
        "hold": list(placement.hold),
        "install_order": list(install_order(board, placement)),
    }


def placement_record(board: Board, placement: Placement, figures: PlacementFigures | None) -> dict[str, Any]:
    """What a plan that is read back must agree with. Without figures there are none of the sockets and totals."""
    keys: dict[str, Any] = plain(placement_keys(board, placement))
    keys |= {
        "sockets": [each.plain() for each in SocketEntry.all_of(figures.sockets)] if figures else [],
        "totals": totals_record(figures, None).plain() if figures else {},
    }
    return keys


class SheetEntry(Record):
    """What `plan` was given for the title block, so that the sheet can be drawn again."""

    title: str | None = Field(description="`--title`")
    tag: str | None = Field(description="`--tag`")
    date: str | None = Field(description="`--date`")


def sheet_record(given: Mapping[str, Any]) -> dict[str, SheetEntry]:
    """What ``plan`` was given for the title block; no key for nothing."""
    words = {name: given.get(name) for name in SheetEntry.model_fields}
    return {"sheet": SheetEntry(**words)} if any(words.values()) else {}


def _bound(planned: Planned) -> BoundEntry:
    bound = planned.answer.bound
    return BoundEntry(
        criterion=None if bound is None else bound.criterion,
        value=None if bound is None or bound.value is None else exact(bound.value),
        nodes=planned.answer.effort,
    )


def _module(module: Module, key: str, count: int) -> ModuleEntry:
    die = module.die_gbit
    own = {name: getattr(module, name) for name in ModuleEntry.model_fields if name not in ("key", "die_gbit", "count")}
    return ModuleEntry(**own, key=key, die_gbit=int(die) if die.denominator == 1 else float(die), count=count)


def totals_record(figures: PlacementFigures, cost: Fraction | None) -> TotalsEntry:
    """The totals of a placement as JSON."""
    own = {name: getattr(figures, name) for name in TotalsEntry.model_fields if name != "cost"}
    return TotalsEntry(**own, cost=cost)


def _choice(planned: Planned, choice: Choice) -> ChoiceEntry:
    board, placement = planned.board, planned.placement
    option = board.processor(placement.processor)
    figures = placement_figures(board, option, placement.fitted, choice.content, mode=placement.mode)
    used = Counter(module for module in choice.content.values() if module)
    gains, loses = choice_gains(planned, choice)
    return ChoiceEntry(
        capacity_gib=figures.capacity_gib,
        usable_gib=figures.usable_gib,
        balanced_sweep_gb_s=figures.balanced_sweep_gb_s,
        system_sweep_gb_s=figures.system_sweep_gb_s,
        own_sweep_gb_s=figures.own_sweep_gb_s,
        worst_sweep_gb_s=figures.worst_sweep_gb_s,
        modules=counts(sorted(used.items(), key=lambda pair: pair[0].order_key)),
        slots={slot: choice.content.get(slot) for slot in board.slots},
        gains=gains,
        loses=loses,
    )


class BuyEntry(Record):
    """Modules to buy."""

    label: str = Field(description="what to buy")
    count: int = Field(description="how many")
    cost: Money | None = Field(description="where it has a price")
    substitutes: list[str] = Field(description="labels that would do as well on this board")


class ImpossibleDocument(Document):
    """Nothing fits."""

    commands = "plan: impossible"
    about = "Exit status 1. `buy`, `buy_status` and `currency` stand there with `--stock`."

    status: Literal["impossible"] = Field(description="`impossible`")
    causes: list[CauseEntry] = Field(description="what stands in the way")
    nearest: NearestEntry = Field(description="the nearest capacities that fit")
    buy: list[BuyEntry] | None = Field(
        default=None, description="what to buy so that the shelf would serve; null where no list would"
    )
    buy_status: str | None = Field(default=None, description="`proven` (the shortest list) or `best-found`")
    currency: str | None = Field(default=None, description="of the shelf")


def impossible_record(error: ImpossibleError) -> ImpossibleDocument:
    """The answer that nothing fits, as JSON."""
    return ImpossibleDocument(
        status="impossible",
        causes=CauseEntry.all_of(error.causes),
        nearest=nearest_record(error.below_gib, error.above_gib),
        **(shortfall_keys(error.shortfall) if error.shortfall is not None else {}),
    )


def nearest_record(below: Gib | None, above: Gib | None) -> NearestEntry:
    """The nearest capacities that fit, as JSON."""
    return NearestEntry(below_gib=below, above_gib=above)


def shortfall_keys(shortfall: Shortfall) -> dict[str, Any]:
    """What there is to buy, as keys of a record; ``buy`` is null where no list would serve."""
    return {
        "buy": None if shortfall.buy is None else BuyEntry.all_of(shortfall.buy),
        "buy_status": "proven" if shortfall.proven else "best-found",
        "currency": shortfall.currency,
    }
