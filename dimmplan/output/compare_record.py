"""A comparison as JSON."""

from __future__ import annotations

from typing import Any

from dimmplan.compare import Row
from dimmplan.output.compare import Swap, View, counts_of, limit_sentences
from dimmplan.output.record import finding_record, nearest_record, totals_record
from dimmplan.output.stock import left_out_record
from dimmplan.output.values import FORMAT
from dimmplan.plancode.code import encode
from dimmplan.supply import Limit, left_out_of
from dimmplan.units import decimal


def compare_record(view: View) -> dict[str, Any]:
    """A comparison as JSON, format 1; totals have the keys of a plan's."""
    comparison, board = view.comparison, view.board
    base, shelf = comparison.base, comparison.shelf
    left_out = left_out_of(board, shelf, comparison.processors[0]) if shelf else ()
    return {
        "format": FORMAT,
        "board": {
            "id": board.id,
            "trust": board.trust,
            "electrical_digest": board.electrical_digest,
            "drawing_digest": board.drawing_digest,
        },
        "fitted": list(base.fitted),
        "mode": base.mode.value,
        "prefer": base.prefer,
        "over": view.over,
        "max_types": base.max_types,
        "processors": list(comparison.processors),
        "modules": [{"key": view.keys[module], "label": module.label} for module in view.types],
        "capacities": [
            {
                "capacity_gib": worth.capacity_gib,
                "why": worth.why,
                "every_channel_alike": any(
                    row.even for g in comparison.groups if g.capacity_gib == worth.capacity_gib for row in view.shown(g)
                ),
            }
            for worth in comparison.chosen
        ],
        "currency": view.currency,
        "cost_compared": comparison.priced,
        "rows": [row_record(view, row) for row in comparison.rows],
        "swaps": [_swap_record(view, swap) for swap in view.swaps()],
        "limits": [_limit_record(limit) for limit in comparison.limits],
        "findings": [finding_record(finding) for finding in view.common],
        "left_out": [left_out_record(why) for why in left_out],
    }


def row_record(view: View, row: Row) -> dict[str, Any]:
    """A row as JSON."""
    request, planned = row.request, row.planned
    record: dict[str, Any] = {
        "capacity_gib": request.capacity_gib,
        "processor": request.processor,
        "allowed": [module.label for module in row.types],
        "command": view.command(row),
    }
    if planned is None or row.figures is None:
        return record | {"status": "impossible", "nearest": nearest_record(row.below_gib, row.above_gib)}
    placement = planned.placement
    return record | {
        "status": placement.status,
        "outside_window": row.outside,
        "modules": [{"label": module.label, "count": count} for module, count in counts_of(row)],
        "placement": view.placement(row),
        "totals": totals_record(row.figures, row.cost),
        "every_channel_alike": row.even,
        "unbeaten": row.unbeaten,
        "plan_answer": row.is_answer,
        "picked_by": list(row.picked_by),
        "findings": [finding_record(finding) for finding in view.findings(row)],
        "slots": {slot: module.label if module else None for slot, module in placement.slots},
        "code": encode(view.board, placement),
    }


def _swap_record(view: View, swap: Swap) -> dict[str, Any]:
    def sweep(row: Row | None) -> float | None:
        return decimal(row.figures.system_sweep_gb_s, 1) if row is not None and row.figures is not None else None

    def rate(row: Row | None) -> int | None:
        return row.figures.rate_mts if row is not None and row.figures is not None else None

    return {
        "capacity_gib": swap.capacity_gib,
        "from": view.comparison.processors[0],
        "to": swap.processor,
        "system_sweep_gb_s": {"from": sweep(swap.before), "to": sweep(swap.after)},
        "rate_mts": {"from": rate(swap.before), "to": rate(swap.after)},
        "text": view.swap_text(swap),
    }


def _limit_record(limit: Limit) -> dict[str, Any]:
    return {
        "processor": limit.processor,
        "label": limit.module.label,
        "kind": limit.kind,
        "allowed": limit.allowed,
        "text": limit_sentences([limit])[0],
    }
