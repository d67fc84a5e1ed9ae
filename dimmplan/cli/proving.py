"""``dimmplan draw --prove``: a plan that was read back is searched for again."""

from __future__ import annotations

from dataclasses import dataclass, replace

from dimmplan.errors import ImpossibleError, InputError, Problem
from dimmplan.model.board import Board
from dimmplan.model.label import parse_label
from dimmplan.model.placement import Placement
from dimmplan.model.request import Request, Supply
from dimmplan.output.reading import JudgedPlan
from dimmplan.output.record import BetterEntry, ProofEntry
from dimmplan.planner import plan
from dimmplan.reasons.case import Case, Separation
from dimmplan.units import quoted


@dataclass(frozen=True, kw_only=True)
class Proof:
    """A plan searched again: ``placement`` carries its new status, ``separation`` what a better one has more of."""

    placement: Placement
    separation: Separation | None = None
    slots: tuple[str, ...] = ()

    @property
    def better(self) -> bool:
        """True where the search found a better placement."""
        return self.separation is not None

    @property
    def record(self) -> ProofEntry:
        """The proof as JSON."""

        separation = self.separation
        better = separation and BetterEntry(
            criterion=separation.name,
            plan=None if separation.plan is None else str(separation.plan),
            better=None if separation.alternative is None else str(separation.alternative),
            slots=list(self.slots),
        )
        return ProofEntry(proven=self.placement.status == "proven", better=better)

    @property
    def text(self) -> str:
        """The proof as a sentence."""
        if self.separation is None:
            proven = self.placement.status == "proven"
            return (
                "proven: no better placement of these modules\n"
                if proven
                else "not proven: the search reached its effort limit\n"
            )
        better = self.separation
        values = f": {better.alternative}, not {better.plan}" if better.plan is not None else ""
        return f"a better placement exists: {better.name}{values}, with modules in {', '.join(self.slots)}\n"


def proof_of(judged: JudgedPlan) -> Proof:
    """Search for a plan's request again, with the modules that its file says, or those that its code holds.

    Raises ``InputError`` for a plan that was made from more than that: a machine, a shelf, a chain of steps.
    """

    board, placement = judged.board, judged.placement
    beside = judged.beside or (("kept",) if placement.prefer == "upgrade" else ())
    if beside:
        found = f"a plan with {' and '.join(map(quoted, beside))}"
        hint = "Plan again as it was planned."
        raise InputError(Problem(file="--prove", place="", found=found, allowed="a plan of modules alone", hint=hint))
    case = Case(board, placement)
    unproven = replace(placement, status="best-found")
    try:
        planned = plan(board, _request(judged, board, case.request), alternatives=False)
    except ImpossibleError:
        return Proof(placement=unproven)
    if planned.placement.slots == placement.slots:
        return Proof(placement=replace(placement, status=planned.placement.status))
    separation = case.part(case.weigh(planned.placement.content))
    filled = tuple(slot for slot, module in planned.placement.slots if module)
    return Proof(placement=unproven, separation=separation, slots=filled)


def _request(judged: JudgedPlan, board: Board, request: Request) -> Request:
    """The request of a plan as its file says it; else as it follows from its slots."""

    asked = judged.request
    if asked is None or not asked.modules:
        return request
    modules = [parse_label(label, file="plan", place="request.modules", usual=board.modules) for label in asked.modules]
    return replace(
        request,
        supplies=tuple(Supply(module=module) for module in dict.fromkeys((*judged.placement.types, *modules))),
        over_gib=asked.over_gib,
        max_types=asked.max_types or request.max_types,
    )
