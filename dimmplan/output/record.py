"""The plan as JSON, format 1. ``output.reading`` reads it back into a placement without loss."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from dimmplan.advice import choice_gains, request_findings
from dimmplan.errors import ImpossibleError, Shortfall
from dimmplan.explain import blank_slots, placement_findings
from dimmplan.figures import PlacementFigures, SocketFigures, placement_figures
from dimmplan.model.board import Board
from dimmplan.model.finding import Finding
from dimmplan.model.module import Module
from dimmplan.model.placement import Placement, dead_slots
from dimmplan.output.values import FORMAT, exact, gib_number
from dimmplan.plancode.code import encode
from dimmplan.planner import Planned
from dimmplan.rules import install_order
from dimmplan.solve.answer import Choice
from dimmplan.units import Gib, decimal


def plan_record(planned: Planned) -> dict[str, Any]:
    """The plan of a solved request, with the stable keys of format 1."""
    board, request, answer, placement = planned.board, planned.request, planned.answer, planned.placement
    figures = planned.figures
    findings = placement_findings(board, placement, figures) + request_findings(planned)
    searched = {
        "request": {
            "capacity_gib": request.capacity_gib,
            "over_gib": request.over_gib,
            "max_types": request.max_types,
            "effort": request.effort,
            "modules": [supply.module.label for supply in request.supplies],
        },
        "stopped": answer.stopped,
        "bound": _bound(planned),
        "totals": totals_record(figures, planned.cost),
        "criteria": [
            {"name": c.name, "value": exact(v), "better": c.better}
            for c, v in zip(answer.criteria, answer.best.vector, strict=True)
        ],
        "runners_up": [_choice(planned, choice) for choice in answer.runners_up],
        "one_step": {
            "above": _choice(planned, answer.step_above) if answer.step_above else None,
            "below": _choice(planned, answer.step_below) if answer.step_below else None,
        },
        "findings": [finding_record(finding) for finding in findings],
    }
    return {**placement_record(board, placement, figures), **searched, "code": encode(board, placement)}


def placement_record(board: Board, placement: Placement, figures: PlacementFigures | None) -> dict[str, Any]:
    """The keys of a plan that follow from its placement and board alone; a plan that is read back must agree with them.

    Without figures those of the sockets and totals are left out. Keys of the search stand in their places, empty.
    """
    keys = placement.keys
    return {
        "format": FORMAT,
        "board": {
            "id": board.id,
            "trust": board.trust,
            "electrical_digest": board.electrical_digest,
            "drawing_digest": board.drawing_digest,
        },
        "fitted": list(placement.fitted),
        "processor": placement.processor,
        "mode": placement.mode.value,
        "prefer": placement.prefer,
        "request": {},
        "status": placement.status,
        "stopped": None,
        "bound": {},
        "modules": [_module(module, keys[module], placement.count(module)) for module in placement.types],
        "slots": {slot: keys[module] if module else None for slot, module in placement.slots},
        "dead": list(dead_slots(board, placement)),
        "blanks": list(blank_slots(board, placement)),
        "hold": list(placement.hold),
        "install_order": list(install_order(board, placement)),
        "sockets": [_socket(socket) for socket in figures.sockets] if figures else [],
        "totals": totals_record(figures, None) if figures else {},
    }


def sheet_record(given: Mapping[str, Any]) -> dict[str, Any]:
    """What ``plan`` was given for the title block, so that the sheet can be drawn again; no key for nothing."""
    words = {name: given.get(name) for name in ("title", "tag", "date")}
    return {"sheet": words} if any(words.values()) else {}


def _bound(planned: Planned) -> dict[str, Any]:
    bound = planned.answer.bound
    if bound is None:
        return {"criterion": None, "value": None, "nodes": planned.answer.effort}
    value = None if bound.value is None else exact(bound.value)
    return {"criterion": bound.criterion, "value": value, "nodes": planned.answer.effort}


def _module(module: Module, key: str, count: int) -> dict[str, Any]:
    die = module.die_gbit
    return {
        "key": key,
        "label": module.label,
        "generation": module.generation.value,
        "capacity_gib": module.capacity_gib,
        "kind": module.kind.value,
        "package_ranks": module.package_ranks,
        "logical_ranks": module.logical_ranks,
        "device_width": module.device_width,
        "ecc_bits": module.ecc_bits,
        "die_gbit": int(die) if die.denominator == 1 else float(die),
        "rate_mts": module.rate_mts,
        "voltage_mv": module.voltage_mv,
        "count": count,
    }


def _socket(socket: SocketFigures) -> dict[str, Any]:
    return {
        "id": socket.socket,
        "capacity_gib": socket.capacity_gib,
        "usable_gib": gib_number(socket.usable_gib),
        "modules": socket.modules,
        "rate_mts": socket.rate.rate_mts,
        "rate_row": socket.rate.row,
        "peak_gb_s": decimal(socket.peak_gb_s, 1),
        "sweep_gb_s": decimal(socket.sweep_gb_s, 1),
        "parallel_gb_s": decimal(socket.parallel_gb_s, 1),
        "share": decimal(socket.share, 4),
        "regions": [
            {
                "ways": region.ways,
                "capacity_gib": gib_number(region.capacity_gib),
                "channels": list(region.channels),
                "peak_gb_s": decimal(region.peak_gb_s, 1),
            }
            for region in socket.regions
        ],
    }


def totals_record(figures: PlacementFigures, cost: Fraction | None) -> dict[str, Any]:
    """The totals of a placement as JSON."""
    return {
        "capacity_gib": figures.capacity_gib,
        "usable_gib": gib_number(figures.usable_gib),
        "modules": figures.modules,
        "free_slots": figures.free_slots,
        "rate_mts": figures.rate_mts,
        "system_sweep_gb_s": decimal(figures.system_sweep_gb_s, 1),
        "worst_share": decimal(figures.worst_share, 4),
        "socket_difference_gib": gib_number(figures.socket_difference_gib),
        "cost": None if cost is None else decimal(cost, 2),
    }


def _choice(planned: Planned, choice: Choice) -> dict[str, Any]:
    board, placement = planned.board, planned.placement
    option = board.processor(placement.processor)
    figures = placement_figures(board, option, placement.fitted, choice.content, mode=placement.mode)
    used = Counter(module for module in choice.content.values() if module)
    gains, loses = choice_gains(planned, choice)
    return {
        "capacity_gib": figures.capacity_gib,
        "usable_gib": gib_number(figures.usable_gib),
        "system_sweep_gb_s": decimal(figures.system_sweep_gb_s, 1),
        "modules": [
            {"label": module.label, "count": used[module]} for module in sorted(used, key=lambda m: m.order_key)
        ],
        "slots": {slot: module.label if (module := choice.content.get(slot)) else None for slot in board.slots},
        "gains": gains,
        "loses": loses,
    }


def finding_record(finding: Finding) -> dict[str, Any]:
    """A finding as JSON."""
    return {
        "rule": finding.rule,
        "severity": finding.severity,
        "where": list(finding.where),
        "text": finding.text,
        "source": finding.source,
    }


def impossible_record(error: ImpossibleError) -> dict[str, Any]:
    """The answer that nothing fits, as JSON."""
    record = {
        "format": FORMAT,
        "status": "impossible",
        "causes": [{"rule": c.rule, "text": c.text, "source": c.source} for c in error.causes],
        "nearest": nearest_record(error.below_gib, error.above_gib),
    }
    if error.shortfall is not None:
        record |= shortfall_record(error.shortfall)
    return record


def nearest_record(below: Gib | None, above: Gib | None) -> dict[str, Any]:
    """The nearest capacities that fit, as JSON."""
    return {
        "below_gib": None if below is None else gib_number(below),
        "above_gib": None if above is None else gib_number(above),
    }


def shortfall_record(shortfall: Shortfall) -> dict[str, Any]:
    """What there is to buy, as JSON; ``buy`` is null where no list would serve."""
    buy = shortfall.buy
    return {
        "buy": None
        if buy is None
        else [
            {
                "label": each.label,
                "count": each.count,
                "cost": None if each.cost is None else decimal(each.cost, 2),
                "substitutes": list(each.substitutes),
            }
            for each in buy
        ],
        "buy_status": "proven" if shortfall.proven else "best-found",
        "currency": shortfall.currency,
    }


def to_json(record: Mapping[str, Any]) -> str:
    """One JSON document, two blanks deep, ending with a line end; ASCII so that any pipe carries it."""
    return json.dumps(record, indent=2, ensure_ascii=True) + "\n"
