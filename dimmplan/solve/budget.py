"""The counted effort of a search. No clock: the same effort does the same work everywhere."""

from __future__ import annotations


class EffortSpent(Exception):  # noqa: N818 - a signal within the search, never an error for a caller
    """The effort limit was reached."""


class Budget:
    """Counts search nodes. The limit binds only once ``armed``: a search never ends without a first placement."""

    def __init__(self, limit: int) -> None:
        self.limit = limit
        self.spent = 0
        self.armed = False

    def spend(self, nodes: int) -> None:
        """Count ``nodes``. Raises ``EffortSpent`` when an armed budget has run out."""
        self.spent += nodes
        if self.armed and self.spent > self.limit:
            raise EffortSpent
