"""A finding: what a rule or a figure says about a placement, in words, with its source."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

FindingSeverity = Literal["error", "warning", "note"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Finding:
    """``where`` names slots, channels or sockets; ``source`` is an id of the source list."""

    rule: str
    severity: FindingSeverity
    where: tuple[str, ...]
    text: str
    source: str
