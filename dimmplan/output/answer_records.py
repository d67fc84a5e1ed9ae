"""Answers as JSON of format 1: the same objects as on the terminal, every sentence with its rule and source."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from typing import Any

from dimmplan.answers import changes, mixing, slots
from dimmplan.answers.rulebook import RuleGroup
from dimmplan.answers.said import Said
from dimmplan.explain import breach_finding
from dimmplan.figures import PlacementFigures
from dimmplan.mix import Mix, MixSet
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.output.record import finding_record
from dimmplan.output.values import FORMAT, exact, gib_number
from dimmplan.rules import Breach
from dimmplan.units import decimal
from dimmplan.why.expect import Expectation
from dimmplan.why.failed import Failure, LeftSet
from dimmplan.why.grow import Change, NextAnswer, NextStep
from dimmplan.why.rate import RateReason
from dimmplan.why.slots import SlotReason, Tried
from dimmplan.why.split import SplitStep
from dimmplan.why.weigh import Case, Parted, Weighed


def _value(value: int | Fraction | None) -> int | str | None:
    return None if value is None else exact(value)


def _said(said: Iterable[Said]) -> list[dict[str, str]]:
    return [{"text": each.text, "rule": each.rule, "source": each.source} for each in said]


def _breaches(board: Board, breaches: Iterable[Breach]) -> list[dict[str, Any]]:
    return [finding_record(breach_finding(board, breach)) for breach in breaches]


def _labels(content: Mapping[str, Module | None]) -> dict[str, str | None]:
    return {slot: module.label if module else None for slot, module in content.items()}


def _counts(counts: Iterable[tuple[Module, int]]) -> list[dict[str, Any]]:
    return [{"label": module.label, "count": count} for module, count in counts]


def _head(case: Case) -> dict[str, Any]:
    """What every answer about a plan begins with."""
    placement = case.placement
    return {
        "format": FORMAT,
        "board": {"id": case.board.id, "trust": case.board.trust},
        "fitted": list(placement.fitted),
        "processor": placement.processor,
        "mode": placement.mode.value,
        "prefer": placement.prefer,
        "status": placement.status,
        "asked_gib": placement.capacity_gib,
    }


def figures_record(figures: PlacementFigures | None) -> dict[str, Any] | None:
    """Figures as JSON, by system and socket; ``None`` where a content does not run."""
    if figures is None:
        return None
    return {
        "usable_gib": gib_number(figures.usable_gib),
        "modules": figures.modules,
        "rate_mts": figures.rate_mts,
        "system_sweep_gb_s": decimal(figures.system_sweep_gb_s, 1),
        "worst_share": decimal(figures.worst_share, 4),
        "socket_difference_gib": gib_number(figures.socket_difference_gib),
        "sockets": [
            {
                "id": socket.socket,
                "usable_gib": gib_number(socket.usable_gib),
                "rate_mts": socket.rate.rate_mts,
                "rate_row": socket.rate.row,
                "sweep_gb_s": decimal(socket.sweep_gb_s, 1),
                "share": decimal(socket.share, 4),
                "regions": [{"ways": r.ways, "capacity_gib": gib_number(r.capacity_gib)} for r in socket.regions],
            }
            for socket in figures.sockets
        ],
    }


# -- why -------------------------------------------------------------------------------------------------------------


def why_record(case: Case, rates: Sequence[RateReason], reasons: Sequence[SlotReason]) -> dict[str, Any]:
    """Every slot's reason, and why the rate is what it is."""
    return {
        **_head(case),
        "figures": figures_record(case.plan.figures),
        "rate": [_rate(case, rate) for rate in rates],
        "slots": [_reason(case, reason) for reason in reasons],
    }


def _rate(case: Case, reason: RateReason) -> dict[str, Any]:
    return {
        "sockets": list(reason.sockets),
        "channels": list(reason.channels),
        "rate_mts": reason.rate_mts,
        "row": reason.row,
        "source": reason.source,
        "limits": [
            {"kind": limit.kind, "name": limit.name, "rate_mts": limit.rate_mts, "source": limit.source}
            for limit in reason.limits
        ],
        "lifts": [
            {
                "kind": lift.kind,
                "name": lift.name,
                "slots": list(lift.slots),
                "rate_mts": lift.rate_mts,
                "gain_mts": lift.rate_mts - reason.rate_mts,
                "usable_gib": gib_number(lift.usable_gib),
                "system_sweep_gb_s": decimal(lift.sweep_gb_s, 1),
                "broken": list(lift.broken),
            }
            for lift in reason.lifts
        ],
        "said": _said(slots.rate_said(case, reason)),
    }


def _reason(case: Case, reason: SlotReason) -> dict[str, Any]:
    return {
        "slot": reason.slot,
        "state": reason.state,
        "kind": reason.kind,
        "title": slots.reason_title(case, reason),
        "socket": reason.socket,
        "channel": reason.channel,
        "place": reason.place + 1,
        "module": reason.module.label if reason.module else None,
        "tried": [_tried(case, reason, tried) for tried in reason.tried],
        "said": _said(slots.reason_said(case, reason)) if not reason.tried else [],
    }


def _tried(case: Case, reason: SlotReason, tried: Tried) -> dict[str, Any]:
    changed = {slot: m for slot, m in tried.weighed.content.items() if m != case.content.get(slot)}
    return {
        "what": tried.what,
        "module": tried.module.label,
        "other": tried.other,
        "weighed": tried.of,
        "slots": _labels(changed),
        "parted": _parted(case, tried.parted),
        "figures": figures_record(tried.weighed.figures),
        "said": _said(slots.tried_said(case, reason, tried)),
    }


def _parted(case: Case, parted: Parted) -> dict[str, Any]:
    return {
        "by": parted.by,
        "name": parted.name,
        "plan": _value(parted.plan),
        "alternative": _value(parted.alternative),
        "better": parted.better,
        "first": parted.first,
        "broken": _breaches(case.board, parted.breaches),
    }


def expectation_record(case: Case, expected: Expectation) -> dict[str, Any]:
    """What comes of the slots that somebody expected."""
    return {
        **_head(case),
        "expected": list(expected.slots),
        "plans_modules": expected.exact,
        "proven": expected.proven,
        "only_plan": list(expected.only_plan),
        "only_expected": list(expected.only_expected),
        "slots": _labels(expected.weighed.content),
        "parted": _parted(case, expected.parted),
        "plan": figures_record(case.plan.figures),
        "alternative": figures_record(expected.weighed.figures),
        "said": _said(slots.expectation_said(case, expected)),
    }


# -- next, put and clear ---------------------------------------------------------------------------------------------


def next_record(case: Case, answer: NextAnswer) -> dict[str, Any]:
    """What comes next, alone and as a group."""
    return {
        **_head(case),
        "now": figures_record(case.plan.figures),
        "alone": [_step(case, step) for step in answer.singles],
        "group": [_step(case, step) for step in answer.groups],
        "refused": [_step(case, step) for step in answer.refused],
        "complete": answer.complete,
        "said": [] if answer.possible else _said(changes.no_next_said(case, answer)),
    }


def _step(case: Case, step: NextStep) -> dict[str, Any]:
    return {
        "module": step.module.label,
        "slots": list(step.slots),
        "equal": list(step.equal),
        "figures": figures_record(step.change.after_figures),
        "broken": _breaches(case.board, step.change.broken),
        "said": _said(changes.next_said(case, step)),
    }


def change_record(case: Case, change: Change) -> dict[str, Any]:
    """What putting and clearing modules changes."""
    return {
        **_head(case),
        "changes": [
            {"slot": slot, "before": old.label if old else None, "after": new.label if new else None}
            for slot, old, new in change.changes
        ],
        "allowed": not change.refused,
        "before": figures_record(change.before_figures),
        "after": figures_record(change.after_figures),
        "broken": _breaches(case.board, change.broken),
        "mended": _breaches(case.board, change.mended),
        "still_broken": _breaches(case.board, (b for b in change.after.errors if b not in change.broken)),
        "said": _said([*changes.verdict_said(case.board, change), *changes.unbroken_effects(case.board, change)]),
    }


# -- after a failure -------------------------------------------------------------------------------------------------


def failure_record(case: Case, failure: Failure) -> dict[str, Any]:
    """What is left after modules failed."""
    return {
        **_head(case),
        "without": list(failure.slots),
        "failed": _counts(failure.failed),
        "left": _counts(failure.left),
        "stay": {
            "allowed": not failure.stay.errors,
            "figures": figures_record(failure.stay.figures),
            "broken": _breaches(case.board, failure.stay.breaches),
            "said": _said(changes.stay_said(case.board, failure)),
        },
        "best": _left(case, failure.best),
        "causes": [] if failure.best or not failure.left else _said(changes.causes_said(failure)),
        "fastest": _left(case, failure.fastest, by="bandwidth-first"),
        "independent": _left(case, failure.independent),
        "smallest": _left(case, failure.smallest, by="modules"),
        "smallest_and_halves_mode": "independent",
        "halves": [_split(case, step) for step in failure.split],
    }


def _left(case: Case, found: LeftSet | None, *, by: str = "") -> dict[str, Any] | None:
    if found is None:
        return None
    weighed: Weighed = found.weighed
    return {
        "proven": found.proven,
        "slots": _labels(weighed.content),
        "figures": figures_record(weighed.figures),
        "moves": [
            {"kind": m.kind, "module": m.module.label, "from": m.source, "to": m.target} for m in found.moves.handled
        ],
        "broken": _breaches(case.board, weighed.breaches),
        "said": _said(changes.left_said(case, found, by=by)),
    }


def _split(case: Case, step: SplitStep) -> dict[str, Any]:
    return {
        "step": step.number,
        "suspects": list(step.suspects),
        "keep": list(step.keep),
        "company": list(step.company),
        "out": list(step.out),
        "allowed": not step.broken,
        "broken": _breaches(case.board, step.broken),
        "other_half_allowed": not step.other_broken,
        "other_half_broken": _breaches(case.board, step.other_broken),
        "fault": step.if_fault,
        "clean": step.if_clean,
    }


# -- mix and rules ---------------------------------------------------------------------------------------------------


def mix_record(mix: Mix) -> dict[str, Any]:
    """A mix, judged and compared."""
    return {
        "format": FORMAT,
        "board": {"id": mix.board.id, "trust": mix.board.trust},
        "fitted": list(mix.fitted),
        "labels": [module.label for module in mix.modules],
        "allowed": mix.allowed,
        "together": mix.together if not mix.refused else "never",
        "title": mixing.mix_title(mix),
        "refused": [
            {"label": module.label, **finding_record(breach_finding(mix.board, breach))}
            for module, breach in mix.refused
        ],
        "pairs": [
            {
                "labels": [pair.one.label, pair.other.label],
                "together": pair.together,
                "differ": list(pair.differ),
                "rules": [row.id for row in pair.rows],
                "broken": _breaches(mix.board, pair.breaches),
                "loads": [
                    {
                        "channels": list(load.channels),
                        "order": [module.label for module in load.load],
                        "allowed": load.allowed,
                        "rate_mts": load.rate.rate_mts if load.rate else None,
                        "broken": _breaches(mix.board, load.breaches),
                    }
                    for load in pair.loads
                ],
                "said": _said(mixing.pair_said(mix, pair)),
            }
            for pair in mix.pairs
        ],
        "compared_gib": mix.capacity_gib,
        "mixed": _set(mix, mix.mixed),
        "alone": [_set(mix, alone) for alone in mix.alone],
        "said": _said(mixing.price_said(mix)),
    }


def _set(mix: Mix, found: MixSet | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "modules": _counts(found.modules),
        "proven": found.proven,
        "figures": figures_record(found.figures),
        "broken": _breaches(mix.board, found.breaches),
    }


def rules_record(board: Board, groups: Sequence[RuleGroup]) -> dict[str, Any]:
    """A board's rules by question; sources in full beside their ids."""
    return {
        "format": FORMAT,
        "board": {"id": board.id, "trust": board.trust},
        "groups": [
            {
                "id": group.id,
                "question": group.question,
                "rules": [
                    {
                        "rule": line.rule,
                        "severity": line.severity,
                        "usual": line.usual,
                        "text": line.text,
                        "source": line.source,
                        "citation": board.citation(line.source),
                    }
                    for line in group.lines
                ],
                "table": [list(row) for row in group.table],
            }
            for group in groups
        ],
    }
