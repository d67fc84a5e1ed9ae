"""What a search chooses among: branches that fix what couples the sockets, and the profiles of each socket in them."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import NamedTuple

from dimmplan.solve.profiles import Profile
from dimmplan.solve.space import Rows, SocketShape

Value = int | Fraction


class Kind(NamedTuple):
    """Equal sockets: ``places`` are their positions, ``profiles`` what each may hold.

    ``tied`` sockets all hold the same profile.
    """

    shape: SocketShape
    places: tuple[int, ...]
    profiles: tuple[Profile, ...]
    tied: bool = False

    def steps(self) -> list[int]:
        """How often each independent choice counts: once for each socket, or all at once where tied."""
        return [len(self.places)] if self.tied else [1] * len(self.places)


class Branch(NamedTuple):
    """One way to fix what couples the sockets; ``targets`` are the total counts still possible."""

    types: tuple[int, ...]
    may_break: Rows
    rate: int
    kinds: tuple[Kind, ...]
    targets: frozenset[int]
    drawn: bool = False
    """False while profiles are counts of modules only, without figures."""
    summed: tuple[str, ...] = ()
    """Sums over sockets that are decided: regions, low-rank channels."""
    least: int = 0
    """What they are, as digits of one number: no choice of profiles has less, and what is chosen has just that."""
    least_sweep: Fraction = Fraction(0)
    """No socket may sweep slower than that, in GB/s."""

    def gibs(self) -> list[int]:
        """Every capacity that some socket may have, scaled, rising."""
        return sorted({profile.gib for kind in self.kinds for profile in kind.profiles})

    def steps(self) -> list[list[int]]:
        """The codes that each independent choice of a profile may add."""
        return [
            sorted({profile.code * times for profile in kind.profiles}) for kind in self.kinds for times in kind.steps()
        ]

    def keeping(self, test: Callable[[Profile], bool]) -> Branch | None:
        """The branch with only the profiles that pass; ``None`` where a socket is left without any."""
        kinds = []
        for kind in self.kinds:
            profiles = tuple(profile for profile in kind.profiles if test(profile))
            if not profiles:
                return None
            kinds.append(kind._replace(profiles=profiles))
        return self._replace(kinds=tuple(kinds))
