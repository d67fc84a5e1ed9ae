"""A board as JSON, for ``boards show --json``."""

from __future__ import annotations

from typing import Any

from dimmplan.explain import rule_sentence
from dimmplan.model.board import Board


def board_record(board: Board) -> dict[str, Any]:
    """What a board file says, expanded: wiring, modules, processors, rules in words, digests."""
    return {
        "format": 1,
        "id": board.id,
        "title": board.title,
        "trust": board.trust,
        "electrical_digest": board.electrical_digest,
        "drawing_digest": board.drawing_digest,
        "generation": board.generation.value,
        "rate_scope": board.rate_scope,
        "rates_mts": list(board.rates_mts),
        "sockets": [
            {
                "id": socket.id,
                "controllers": [
                    {"id": c.id, "channels": [{"id": ch.id, "slots": list(ch.slots)} for ch in c.channels]}
                    for c in socket.controllers
                ],
            }
            for socket in board.sockets
        ],
        "interleave": board.interleave.model_dump(mode="json"),
        "modules": [module.label for module in board.modules],
        "processors": [option.model_dump(mode="json") for option in board.processors],
        "rates": [row.model_dump(mode="json") for row in board.rates],
        "rules": [
            {
                "id": row.id,
                "check": row.check,
                "severity": row.severity,
                "text": rule_sentence(row),
                "source": row.source,
            }
            for row in board.rules
        ],
        "access": list(board.physical.access),
    }
