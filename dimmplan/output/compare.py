"""A comparison in short forms and words: what every form of it, screen, file or picture, is made from."""

from __future__ import annotations

import shlex
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import groupby

from dimmplan.compare import Comparison, Group, Row
from dimmplan.model.finding import Finding
from dimmplan.model.module import Module
from dimmplan.model.request import DEFAULT_EFFORT, DEFAULT_MAX_TYPES, Mode
from dimmplan.output.columns import NOTHING
from dimmplan.output.stock import money
from dimmplan.solve.criteria import LISTS
from dimmplan.supply import Limit, UnusableModule, left_out_of, same_on_board, supplies_of
from dimmplan.units import counted, decimal, format_capacity, listed
from dimmplan.wording.placement import placement_findings
from dimmplan.wording.request import request_findings
from dimmplan.worth import Worth


@dataclass(frozen=True, slots=True)
class Swap:
    """What another processor does to one capacity: the answers with the first and with the other one."""

    capacity_gib: int
    processor: str
    before: Row | None
    after: Row | None


class View:
    """A comparison with what its forms share: one key letter for each type, findings, short forms.

    ``board_name`` and ``stock_name`` are how the board and the shelf were named in the call.
    """

    def __init__(
        self, comparison: Comparison, *, board_name: str, stock_name: str | None = None, over: str | None = None
    ) -> None:
        self.comparison = comparison
        self.board_name, self.stock_name, self.over = board_name, stock_name, over
        self.board = comparison.board

    @cached_property
    def types(self) -> tuple[Module, ...]:
        """Every type of the comparison, larger ones first."""
        found = dict.fromkeys(module for row in self.comparison.rows for module in row.types)
        return tuple(sorted(found, key=lambda module: module.order_key))

    @cached_property
    def keys(self) -> dict[Module, str]:
        """Type to its key letter."""
        return {module: _letter(index) for index, module in enumerate(self.types)}

    @cached_property
    def left_out(self) -> tuple[UnusableModule, ...]:
        """What the board cannot use of the shelf."""
        shelf = self.comparison.shelf
        return left_out_of(self.board, shelf, self.comparison.processors[0]) if shelf else ()

    def alike(self, worth: Worth) -> bool:
        """Whether some row of a capacity fills every channel alike."""
        groups = [group for group in self.comparison.groups if group.capacity_gib == worth.capacity_gib]
        return any(row.even for group in groups for row in self.shown(group))

    @property
    def currency(self) -> str | None:
        """The currency of all costs, where the shelf names one."""
        return self.comparison.shelf.currency if self.comparison.shelf else None

    def shown(self, group: Group) -> list[Row]:
        """The rows of a group worth showing: those above its allowance only where there are no others."""
        placed = [row for row in group.rows if row.planned is not None]
        return [row for row in placed if not row.outside] or placed

    def unreached(self, group: Group) -> str:
        """The types that do not serve a group's capacity, and why: ``a (128 GiB at most), b (640 GiB at least)``."""
        shown = self.shown(group)
        left = [row for row in group.rows if len(row.types) == 1 and not any(row is each for each in shown)]
        return ", ".join(f"{self.keys[row.types[0]]} ({unreached_text(row)})" for row in left)

    def modules(self, row: Row) -> str:
        """Modules in short form: ``8 x 64GB b + 4 x 32GB c``."""
        return " + ".join(f"{count} x {module.capacity_gib}GB {self.keys[module]}" for module, count in counts_of(row))

    def key(self, row: Row) -> str:
        """The letters of the types that a row uses: ``b`` or ``b+c``."""
        return "+".join(self.keys[module] for module, _ in counts_of(row))

    def placement(self, row: Row) -> str:
        """Placement in short form: ``4bb 2b | 6b``, channels by what they carry, sockets apart.

        Sockets that carry the same are said once: ``each 6b``, or ``(6b)x3`` for three in a row.
        """
        assert row.planned is not None
        content = row.planned.placement.content
        sockets: list[str] = []
        for socket in row.planned.board.sockets:
            if socket.id not in row.request.fitted:
                continue
            loads = Counter(
                "".join(self.keys[module] for slot in channel.slots if (module := content.get(slot)))
                for channel in socket.channels
            )
            order = sorted(loads, key=lambda load: (-len(load), load))
            sockets.append(" ".join(f"{loads[load]}{load or NOTHING}" for load in order))
        if len(sockets) > 1 and len(set(sockets)) == 1:
            return f"each {sockets[0]}"
        runs = [(text, len(list(equal))) for text, equal in groupby(sockets)]
        return " | ".join(f"({text})x{number}" if number > 1 else text for text, number in runs)

    def findings(self, row: Row) -> list[Finding]:
        """What ``plan`` finds for the same request, but for what needs a look at other capacities."""
        assert row.planned is not None
        return placement_findings(self.board, row.planned.placement, row.figures) + request_findings(row.planned)

    @cached_property
    def common(self) -> list[Finding]:
        """Findings of every row that has a placement: what the board says whatever is chosen."""
        placed = [self.findings(row) for row in self.comparison.rows if row.planned is not None]
        return [finding for finding in placed[0] if all(finding in each for each in placed)] if placed else []

    def own_findings(self, row: Row) -> list[Finding]:
        """The findings of a row that not every row has, but for those that only say what binds its rate."""
        assert row.figures is not None
        binding = {socket.rate.row for socket in row.figures.sockets}
        return [
            finding
            for finding in self.findings(row)
            if finding not in self.common and not (finding.severity == "note" and finding.rule in binding)
        ]

    @cached_property
    def numbered(self) -> dict[Finding, int]:
        """The findings that not every row has, without their places, each with its number."""
        found: dict[Finding, int] = {}
        for group in self.comparison.groups:
            for row in self.shown(group):
                for finding in self.own_findings(row):
                    found.setdefault(finding._replace(where=()), len(found) + 1)
        return found

    def numbers(self, row: Row) -> list[int]:
        """The numbers of a row's own findings, rising."""
        return sorted({self.numbered[finding._replace(where=())] for finding in self.own_findings(row)})

    def below_label(self, row: Row) -> bool:
        """True where a socket runs slower than a label of the row says."""
        assert row.figures is not None
        return any(module.rate_mts > row.figures.rate_mts for module, _ in counts_of(row))

    def command(self, row: Row) -> str:
        """The call of ``plan`` that gives the same answer."""
        request, whole = row.request, self.comparison.base
        words = ["dimmplan", "plan", self.board_name, "--capacity", f"{request.capacity_gib}GiB"]
        if self.stock_name is not None:
            words += ["--stock", self.stock_name]
        for module in () if set(row.types) == self._usual(request.processor) else row.types:
            words += ["--module", module.label]
        if request.processor is not None and request.processor != self.board.processors[0].id:
            words += ["--processor", request.processor]
        if set(request.fitted) != {socket.id for socket in self.board.sockets}:
            words += ["--fitted", ",".join(request.fitted)]
        if request.mode is not Mode.INDEPENDENT:
            words += ["--mode", request.mode.value]
        if request.prefer != next(iter(LISTS)):
            words += ["--prefer", request.prefer]
        if self.over is not None:
            words += ["--over", self.over]
        if whole.max_types != DEFAULT_MAX_TYPES:
            words += ["--max-types", str(whole.max_types)]
        if whole.effort != DEFAULT_EFFORT:
            words += ["--effort", str(whole.effort)]
        return shlex.join(words)

    def shelf_text(self, module: Module) -> str:
        """How many modules of a type the shelf has, at what prices, and which other labels are equal on this board."""
        shelf = self.comparison.shelf
        if shelf is None:
            return ""
        lots = [lot for lot in shelf.lots if lot.count and same_on_board(self.board, lot.module, module)]
        prices = sorted({lot.price for lot in lots if lot.price is not None})
        said = [f"{sum(lot.count for lot in lots)} on the shelf"]
        if prices:
            span = money(prices[0], None) + (f" to {money(prices[-1], None)}" if len(prices) > 1 else "")
            said.append(f"at {span}" + (f" {shelf.currency}" if shelf.currency else ""))
        others = sorted({lot.label for lot in lots} - {module.label})
        return f": {' '.join(said)}" + (f"; equal here: {', '.join(others)}" if others else "")

    def _usual(self, processor: str | None) -> set[Module]:
        """The types that ``plan`` uses where none is named."""
        shelf = self.comparison.shelf
        if shelf is None:
            return set(self.board.modules)
        return {supply.module for supply in supplies_of(self.board, shelf, processor)}

    def swaps(self) -> list[Swap]:
        """Every capacity with every processor but the first, against the first."""
        first = {
            g.capacity_gib: g.answer for g in self.comparison.groups if g.processor == self.comparison.processors[0]
        }
        return [
            Swap(group.capacity_gib, group.processor, first[group.capacity_gib], group.answer)
            for group in self.comparison.groups
            if group.processor is not None and group.processor != self.comparison.processors[0]
        ]

    def swap_text(self, swap: Swap) -> str:
        """A swap in words: ``281.6 to 230.4 GB/s (-18.2 %), 2933 to 2400 MT/s``."""
        before, after = swap.before, swap.after
        if after is None or after.figures is None:
            return "nothing fits" if before is not None else "nothing fits with either"
        if before is None or before.figures is None:
            return f"fits only with {swap.processor}"
        old, new = before.figures.balanced_sweep_gb_s, after.figures.balanced_sweep_gb_s
        parts = [f"{decimal(old, 1):.1f} to {decimal(new, 1):.1f} GB/s"]
        if new != old:
            parts[0] += f" ({'+' if new > old else '-'}{decimal(abs(new - old) / old * 100, 1):.1f} %)"
        if before.figures.rate_mts != after.figures.rate_mts:
            parts.append(f"{before.figures.rate_mts} to {after.figures.rate_mts} MT/s")
        if before.figures.usable_gib != after.figures.usable_gib:
            usable = (format_capacity(each.figures.usable_gib) for each in (before, after) if each.figures)
            parts.append(" to ".join(usable))
        if counts_of(before) != counts_of(after):
            parts.append(f"{self.modules(before)} become {self.modules(after)}")
        return ", ".join(parts)


def _letter(index: int) -> str:
    letters = "abcdefghijklmnopqrstuvwxyz"
    return letters[index] if index < 26 else letters[index // 26 - 1] + letters[index % 26]


def counts_of(row: Row) -> list[tuple[Module, int]]:
    """The modules of a row's placement with their numbers, larger ones first."""
    assert row.planned is not None
    return [(module, row.planned.placement.count(module)) for module in row.planned.placement.types]


def unreached_text(row: Row) -> str:
    """Why a row has no place among the others: ``128 GiB at most`` or ``640 GiB at least``."""
    if row.figures is not None:
        return f"{format_capacity(row.figures.usable_gib)} at least"
    return f"{format_capacity(row.below_gib)} at most" if row.below_gib is not None else "not at all"


def limit_sentences(limits: Sequence[Limit]) -> list[str]:
    """Where modules are more than a processor allows, in words; modules with the same limit in one sentence."""
    grouped: dict[tuple[str, str, int], list[Limit]] = {}
    for limit in limits:
        allowed = 0 if limit.kind == "ceiling" else limit.allowed
        grouped.setdefault((limit.processor, limit.kind, allowed), []).append(limit)
    return [_limit_sentence(processor, kind, found) for (processor, kind, _), found in grouped.items()]


def _limit_sentence(processor: str, kind: str, limits: Sequence[Limit]) -> str:
    names = [limit.module.label for limit in limits]
    if kind == "refused":
        return f"{processor} runs no {listed(names, last='or')}."
    if kind == "rate":
        return f"{processor} allows {limits[0].allowed} MT/s at most, below the label of {listed(names)}."
    most = [
        f"{limit.allowed} x {limit.module.label}" if limit.allowed else f"no {limit.module.label}" for limit in limits
    ]
    return f"{processor} has a ceiling: of the {limits[0].slots} slots of a socket it takes {listed(most, last='or')}."


def beaten_in(comparison: Comparison) -> str:
    """What one row must be as good in as another to beat it."""
    return "balanced sweep, cost and free slots" if comparison.priced else "balanced sweep and free slots"


def cost_text(comparison: Comparison) -> str:
    """Whether cost took part, in words."""
    if comparison.priced:
        return "Cost is compared: every allowed type has a price."
    some = any(row.cost is not None for row in comparison.rows)
    known = "; costs are shown where they are known" if some else ""
    return f"Cost is no criterion here: not every allowed type has a price{known}."


def headline(view: View) -> str:
    """What is compared, in one line: sockets, processors, mode, list, allowance, shelf."""
    base = view.comparison.base
    processors = [name for name in view.comparison.processors if name]
    parts = [
        f"sockets {', '.join(base.fitted)}" if len(base.fitted) > 1 else f"socket {base.fitted[0]}",
        f"{'processor' if len(processors) == 1 else 'processors'} {', '.join(processors)}" if processors else "",
        base.mode.value,
        base.prefer,
        f"up to {view.over} over" if view.over else "",
        f"at most {counted(base.max_types, 'type')} together",
        "from the shelf alone" if view.comparison.shelf else "",
    ]
    return "; ".join(part for part in parts if part)


def why_text(view: View) -> str:
    """Which capacities are compared, in words."""
    if any(worth.why == "asked" for worth in view.comparison.chosen):
        return "Capacities as asked."
    return (
        "Capacities worth looking at: one type reaches them with no rule broken, and no small step up is clearly "
        "faster; the fastest ones between where these lie far apart."
    )


def processor_lines(view: View) -> list[str]:
    """Where modules are more than a processor allows, and what a swap does to memory."""
    first = view.comparison.processors[0]
    lines = [f"warning: {sentence}" for sentence in limit_sentences(view.comparison.limits)]
    return lines + [
        f"{format_capacity(swap.capacity_gib)}, {first} to {swap.processor}: {view.swap_text(swap)}"
        for swap in view.swaps()
    ]


def other_processors(view: View) -> list[str]:
    """Processor options of the board that are not compared."""
    return [option.id for option in view.board.processors if option.id not in view.comparison.processors]


CHANNELS = (
    "4bb 2b | 6b says that at the first socket four channels carry two modules of type b and two carry one, and at the "
    "second six carry one; - is an empty channel"
)
"""How a placement in short form is read."""
