"""A finding: what a rule or a figure says about a placement, in words, with its source."""

from __future__ import annotations

from typing import Literal, NamedTuple

FindingSeverity = Literal["error", "warning", "note"]


class Finding(NamedTuple):
    """``where`` names slots, channels or sockets; ``source`` is an id of the source list."""

    rule: str
    severity: FindingSeverity
    where: tuple[str, ...]
    text: str
    source: str
