"""The plan as JSON, format 1, with all that stands beside it. ``output.reading`` reads it back without loss."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import Field

from dimmplan.errors import ImpossibleError, Shortfall
from dimmplan.figures import PlacementFigures, placement_figures
from dimmplan.model.board import Board
from dimmplan.model.placement import Placement, dead_slots
from dimmplan.output.growth import BeforeEntry, GrowthEntry, KeptEntry, ModePriceEntry, NextEntry
from dimmplan.output.record import (
    BalancedSweep,
    BoardEntry,
    BoundEntry,
    CauseEntry,
    Count,
    CriterionEntry,
    Document,
    FindingEntry,
    Money,
    NearestEntry,
    NodeEntry,
    Number,
    OwnSweep,
    Places,
    Record,
    Slots,
    SocketEntry,
    SystemSweep,
    TotalsEntry,
    WorstSweep,
    bound_record,
    counts_in,
)
from dimmplan.output.stock import ShelfEntry
from dimmplan.plancode.code import encode
from dimmplan.planner import Planned
from dimmplan.rules import install_order
from dimmplan.solve.answer import Choice
from dimmplan.wording.placement import blank_slots, placement_findings
from dimmplan.wording.request import choice_gains, request_findings


class RequestEntry(Record):
    """What was asked."""

    capacity_gib: int = Field(description="usable capacity asked")
    over_gib: int | None = Field(description="allowance above it that counts as equal")
    max_types: int = Field(description="most types used at once")
    effort: int = Field(description="most search nodes")
    modules: list[str] = Field(description="labels that might be used")


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
    die_gbit: Number = Field(description="density that follows from the label")
    rate_mts: int = Field(description="of the label")
    voltage_mv: int = Field(description="supply voltage")
    part: str | None = Field(description="part number, where the board file has one")
    watts: Annotated[float | None, Places(1)] = Field(description="the most that one takes, by the board file")
    count: int = Field(description="how many")


class ChoiceEntry(Record):
    """Another placement beside the plan."""

    capacity_gib: int = Field(description="of all modules")
    usable_gib: Number = Field(description="what the mode leaves")
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

    above: ChoiceEntry | None = Field(description="nearest capacity above, or null")
    below: ChoiceEntry | None = Field(description="the same below")


class SheetEntry(Record):
    """What `plan` was given for the title block, so that the sheet can be drawn again."""

    title: str | None = Field(description="`--title`")
    tag: str | None = Field(description="`--tag`")
    date: str | None = Field(description="`--date`")


class PlanDocument(Document):
    """A plan with all that may stand beside it."""

    commands = "plan"
    about = (
        "The plan; `plan.json` is the same. It has `stock` with `--stock`, `kept` with `--keep`, `growth` with "
        "`--then`, `mode_price` with another `--mode`."
    )

    board: BoardEntry = Field(description="the board")
    fitted: list[str] = Field(description="sockets with a processor")
    processor: str | None = Field(description="the processor option of all sockets, null where they differ")
    processors: dict[str, str] = Field(description="the processor option of each fitted socket")
    absent_trays: list[str] = Field(description="trays that are not there")
    inlet_c: int | None = Field(description="warmest air at the inlet in degrees Celsius; null where nobody has said")
    mode: str = Field(description="`independent`, `mirrored`, `partly-mirrored`, `lockstep` or `sparing`")
    prefer: str = Field(description="the list of criteria")
    request: RequestEntry = Field(description="as asked")
    status: str = Field(description="`proven` or `best-found`")
    stopped: str | None = Field(description="why the search stopped, null where it is proven")
    bound: BoundEntry = Field(description="how far the search came")
    modules: list[ModuleEntry] = Field(description="types in the plan")
    slots: dict[str, str | None] = Field(description="key of the type, null where it is empty; in board order")
    dead: list[str] = Field(description="slots whose processor or tray is absent, or whose channel is not served")
    blanks: list[str] = Field(description="empty slots that carry a blank")
    hold: list[str] = Field(description="slots on hold")
    install_order: list[str] = Field(description="filled slots in the order of installing")
    sockets: list[SocketEntry] = Field(description="figures of each socket")
    nodes: list[NodeEntry] = Field(description="figures of each node with each setting of the board file")
    totals: TotalsEntry = Field(description="the whole machine")
    criteria: list[CriterionEntry] = Field(description="what decided, in order")
    runners_up: list[ChoiceEntry] = Field(description="the next best placements")
    one_step: StepEntry = Field(description="nearest capacities with a higher sweep")
    findings: list[FindingEntry] = Field(description="what a person must know")
    code: str = Field(description="the plan code")
    sheet: SheetEntry | None = Field(default=None, description="words of the title block, where some were given")
    stock: ShelfEntry | None = Field(default=None, description="what it takes from the shelf, with `--stock`")
    before: BeforeEntry | None = Field(default=None, description="how fast it is now, with `--keep`; null if not known")
    kept: KeptEntry | None = Field(default=None, description="what the machine brings, with `--keep`")
    growth: GrowthEntry | None = Field(default=None, description="the chain, with `--then`")
    next_by_adding: list[NextEntry] = Field(default=[], description="capacities that adding alone reaches")
    mode_price: ModePriceEntry | None = Field(default=None, description="what another `--mode` costs")


def plan_record(planned: Planned, **beside: Any) -> PlanDocument:
    """The plan of a solved request, with the stable keys of format 1, and what stands beside it."""
    board, request, answer, placement = planned.board, planned.request, planned.answer, planned.placement
    figures = planned.figures
    return PlanDocument.of(
        **placement_keys(board, placement),
        request=RequestEntry.of(request, modules=[supply.module.label for supply in request.supplies]),
        stopped=answer.stopped,
        bound=bound_record(answer.bound, answer.effort),
        sockets=figures.sockets,
        nodes=figures.nodes,
        totals=TotalsEntry.of(figures, cost=planned.cost),
        criteria=[
            CriterionEntry.of(criterion, value=value)
            for criterion, value in zip(answer.criteria, answer.best.vector, strict=True)
        ],
        runners_up=[_choice(planned, choice) for choice in answer.runners_up],
        one_step={"above": _choice(planned, answer.step_above), "below": _choice(planned, answer.step_below)},
        findings=placement_findings(board, placement, figures) + request_findings(planned),
        code=encode(board, placement),
        **beside,
    )


def placement_keys(board: Board, placement: Placement) -> dict[str, Any]:
    """The keys of a plan that follow from its placement and board alone, but for its figures."""
    keys = placement.keys
    return {
        "board": BoardEntry.of(board),
        "fitted": list(placement.fitted),
        "processor": placement.one_processor,
        "processors": placement.processors,
        "absent_trays": list(placement.absent),
        "inlet_c": placement.inlet_c,
        "mode": placement.mode.value,
        "prefer": placement.prefer,
        "status": placement.status,
        "modules": [
            ModuleEntry.of(
                module,
                key=keys[module],
                count=placement.count(module),
                part=board.facts_of(module).part or None,
                watts=board.facts_of(module).watts,
            )
            for module in placement.types
        ],
        "slots": {slot: keys[module] if module else None for slot, module in placement.slots},
        "dead": list(dead_slots(board, placement)),
        "blanks": list(blank_slots(board, placement)),
        "hold": list(placement.hold),
        "install_order": list(install_order(board, placement)),
    }


def placement_record(board: Board, placement: Placement, figures: PlacementFigures | None) -> dict[str, Any]:
    """What a plan that is read back must agree with. Without figures there are none of the sockets and totals."""
    keys = placement_keys(board, placement)
    return keys | {
        "board": keys["board"].plain(),
        "modules": [module.plain() for module in keys["modules"]],
        "sockets": [SocketEntry.of(socket).plain() for socket in figures.sockets] if figures else [],
        "nodes": [NodeEntry.of(node).plain() for node in figures.nodes] if figures else [],
        "totals": TotalsEntry.of(figures).plain() if figures else {},
    }


def sheet_record(given: Mapping[str, Any]) -> dict[str, SheetEntry]:
    """What ``plan`` was given for the title block; no key for nothing."""
    words = {name: given.get(name) for name in SheetEntry.model_fields}
    return {"sheet": SheetEntry(**words)} if any(words.values()) else {}


def _choice(planned: Planned, choice: Choice | None) -> ChoiceEntry | None:
    if choice is None:
        return None
    board, placement = planned.board, planned.placement
    option = board.processor(placement.processor)
    figures = placement_figures(board, option, placement.fitted, choice.content, mode=placement.mode)
    gains, loses = choice_gains(planned, choice)
    slots = {slot: choice.content.get(slot) for slot in board.slots}
    return ChoiceEntry.of(figures, modules=counts_in(choice.content), slots=slots, gains=gains, loses=loses)


# -- nothing fits ------------------------------------------------------------------------------------------------------


class BuyEntry(Record):
    """Modules to buy."""

    label: str = Field(description="what to buy")
    count: int = Field(description="how many")
    cost: Money | None = Field(description="where it has a price")
    part: str = Field(description="part number by the shelf or the board file, may be empty")
    watts: Annotated[float | None, Places(1)] = Field(description="the most that one takes, by the same, or null")
    substitutes: list[str] = Field(description="labels that would do as well on this board")


class ImpossibleDocument(Document):
    """Nothing fits."""

    commands = "plan: impossible"
    about = "Exit status 1. `buy`, `buy_status` and `currency` with `--stock`."

    status: Literal["impossible"] = Field(description="`impossible`")
    causes: list[CauseEntry] = Field(description="what stands in the way")
    nearest: NearestEntry = Field(description="the nearest capacities that fit")
    buy: list[BuyEntry] | None = Field(
        default=None, description="what to buy so that the shelf is enough; null where no list is"
    )
    buy_status: str | None = Field(default=None, description="`proven` (the shortest list) or `best-found`")
    currency: str | None = Field(default=None, description="of the shelf")


def impossible_record(error: ImpossibleError) -> ImpossibleDocument:
    """The answer that nothing fits, as JSON."""
    bought = shortfall_keys(error.shortfall)
    return ImpossibleDocument.of(status="impossible", causes=error.causes, nearest=error, **bought)


def shortfall_keys(shortfall: Shortfall | None) -> dict[str, Any]:
    """What there is to buy, as keys of a record; ``buy`` is null where no list would serve."""
    if shortfall is None:
        return {}
    status = "proven" if shortfall.proven else "best-found"
    return {"buy": shortfall.buy, "buy_status": status, "currency": shortfall.currency}
