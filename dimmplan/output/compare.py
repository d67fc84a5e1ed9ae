"""A comparison in short forms and words: what its rows, its table and its chart share."""

from __future__ import annotations

import shlex
from collections import Counter
from collections.abc import Sequence
from functools import cached_property
from itertools import groupby

from dimmplan.compare import Comparison, Group, Row, Worth
from dimmplan.model.module import Module
from dimmplan.model.placement import Finding
from dimmplan.model.request import DEFAULT_EFFORT, DEFAULT_MAX_TYPES, Mode
from dimmplan.output.columns import NOTHING
from dimmplan.output.plan import request_findings
from dimmplan.output.stock import money
from dimmplan.solve.criteria import LISTS
from dimmplan.supply import Limit, UnusableModule, left_out_of, same_on_board, supplies_of
from dimmplan.units import by_key, counted, decimal, format_capacity, listed
from dimmplan.wording import placement_findings

CHANNELS = (
    "4bb 2b | 6b says that at the first socket four channels carry two modules of type b and two carry one, and at the "
    "second six carry one; - is an empty channel"
)
"""How a placement in short form is read."""


class Report:
    """A comparison with what its forms share: one key letter for each type, findings, short forms, sentences.

    ``board_name`` and ``stock_name`` are how the board and the shelf were named in the call.
    """

    def __init__(
        self, comparison: Comparison, *, board_name: str, stock_name: str | None = None, over: str | None = None
    ) -> None:
        self.comparison, self.board = comparison, comparison.board
        self.board_name, self.stock_name, self.over = board_name, stock_name, over

    # rows

    def shown(self, group: Group) -> list[Row]:
        """The rows of a group worth showing: those above its allowance only where there are no others."""
        placed = [row for row in group.rows if row.planned is not None]
        return [row for row in placed if not row.outside] or placed

    @cached_property
    def rows(self) -> list[Row]:
        """All rows worth showing."""
        return [row for group in self.comparison.groups for row in self.shown(group)]

    def every_channel_alike(self, worth: Worth) -> bool:
        """Whether some row of a capacity fills every channel alike."""
        return any(row.even for row in self.rows if row.request.capacity_gib == worth.capacity_gib)

    # types

    @cached_property
    def keys(self) -> dict[Module, str]:
        """Every type of the comparison, larger ones first, to its key letter."""
        types = {module for row in self.comparison.rows for module in row.types}
        letters = "abcdefghijklmnopqrstuvwxyz"
        names = [*letters, *(one + other for one in letters for other in letters)]
        return dict(zip(sorted(types, key=lambda module: module.order_key), names, strict=False))

    def key(self, row: Row) -> str:
        """The letters of the types that a row uses: ``b`` or ``b+c``."""
        return "+".join(self.keys[module] for module, _ in counts_of(row))

    def modules(self, row: Row) -> str:
        """Modules in short form: ``8 x 64GB b + 4 x 32GB c``."""
        return " + ".join(f"{count} x {module.capacity_gib}GB {self.keys[module]}" for module, count in counts_of(row))

    def placement(self, row: Row) -> str:
        """Placement in short form: ``4bb 2b | 6b``, channels by what they carry, sockets apart.

        Sockets that carry the same are said once: ``each 6b``, or ``(6b)x3`` for three in a row.
        """
        assert row.planned is not None
        content = row.planned.placement.content
        sockets: list[str] = []
        for name in row.planned.placement.fitted:
            loads = Counter(
                "".join(self.keys[module] for slot in channel.slots if (module := content.get(slot)))
                for channel in row.planned.board.socket(name).channels
            )
            order = sorted(loads, key=lambda load: (-len(load), load))
            sockets.append(" ".join(f"{loads[load]}{load or NOTHING}" for load in order))
        if len(sockets) > 1 and len(set(sockets)) == 1:
            return f"each {sockets[0]}"
        runs = [(text, len(list(equal))) for text, equal in groupby(sockets)]
        return " | ".join(f"({text})x{number}" if number > 1 else text for text, number in runs)

    def unreached(self, group: Group) -> str:
        """The types that do not serve a group's capacity, and why: ``a (128 GiB at most), b (640 GiB at least)``."""
        shown = self.shown(group)
        left = [row for row in group.rows if len(row.types) == 1 and not any(row is each for each in shown)]
        return ", ".join(f"{self.keys[row.types[0]]} ({unreached_text(row)})" for row in left)

    def below_label(self, row: Row) -> bool:
        """True where a socket runs slower than a label of the row says."""
        assert row.figures is not None
        return any(module.rate_mts > row.figures.rate_mts for module, _ in counts_of(row))

    # findings

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
        own = dict.fromkeys(finding._replace(where=()) for row in self.rows for finding in self.own_findings(row))
        return {finding: number for number, finding in enumerate(own, start=1)}

    def numbers(self, row: Row) -> list[str]:
        """The numbers of a row's own findings, rising."""
        return list(map(str, sorted({self.numbered[each._replace(where=())] for each in self.own_findings(row)})))

    # the call, and the shelf

    def command(self, row: Row) -> str:
        """The call of ``plan`` that gives the same answer."""
        request, board, shelf = row.request, self.board, self.comparison.shelf
        first = board.processors[0].id if board.processors else None
        usual = [supply.module for supply in supplies_of(board, shelf, request.processor)] if shelf else board.modules
        given: list[tuple[str, str | int | None, object]] = [
            ("--capacity", f"{request.capacity_gib}GiB", None),
            ("--stock", self.stock_name, None),
            *(("--module", module.label, None) for module in row.types if set(row.types) != set(usual)),
            ("--processor", request.processor, first),
            ("--fitted", ",".join(request.fitted), ",".join(socket.id for socket in board.sockets)),
            ("--mode", request.mode.value, Mode.INDEPENDENT.value),
            ("--prefer", request.prefer, next(iter(LISTS))),
            ("--over", self.over, None),
            ("--max-types", self.comparison.base.max_types, DEFAULT_MAX_TYPES),
            ("--effort", self.comparison.base.effort, DEFAULT_EFFORT),
        ]
        options = [(name, str(value)) for name, value, default in given if value not in (None, default)]
        return shlex.join(["dimmplan", "plan", self.board_name, *(word for option in options for word in option)])

    @property
    def currency(self) -> str | None:
        """The currency of all costs, where the shelf names one."""
        return self.comparison.shelf.currency if self.comparison.shelf else None

    @cached_property
    def left_out(self) -> tuple[UnusableModule, ...]:
        """What the board cannot use of the shelf."""
        shelf = self.comparison.shelf
        return left_out_of(self.board, shelf, self.comparison.processors[0]) if shelf else ()

    def shelf_text(self, module: Module) -> str:
        """How many modules of a type the shelf has, at what prices, and which other labels are equal on this board."""
        shelf = self.comparison.shelf
        if shelf is None:
            return ""
        lots = [lot for lot in shelf.lots if lot.count and same_on_board(self.board, lot.module, module)]
        prices = sorted({lot.price for lot in lots if lot.price is not None})
        span = " to ".join(money(price, None) for price in dict.fromkeys((*prices[:1], *prices[-1:])))
        price = f" at {span}" + (f" {shelf.currency}" if shelf.currency else "") if prices else ""
        others = sorted({lot.label for lot in lots} - {module.label})
        equal = f"; equal here: {', '.join(others)}" if others else ""
        return f": {sum(lot.count for lot in lots)} on the shelf{price}{equal}"

    # sentences

    @property
    def headline(self) -> str:
        """What is compared, in one line: sockets, processors, mode, list, allowance, shelf."""
        base = self.comparison.base
        processors = [name for name in self.comparison.processors if name]
        parts = [
            f"sockets {', '.join(base.fitted)}" if len(base.fitted) > 1 else f"socket {base.fitted[0]}",
            f"{'processor' if len(processors) == 1 else 'processors'} {', '.join(processors)}" if processors else "",
            base.mode.value,
            base.prefer,
            f"up to {self.over} over" if self.over else "",
            f"at most {counted(base.max_types, 'type')} together",
            "from the shelf alone" if self.comparison.shelf else "",
        ]
        return "; ".join(part for part in parts if part)

    @property
    def asked(self) -> bool:
        """Whether the capacities were asked for."""
        return any(worth.why == "asked" for worth in self.comparison.chosen)

    @property
    def why(self) -> str:
        """Which capacities are compared."""
        return "Capacities as asked." if self.asked else _WORTH

    @property
    def priced(self) -> bool:
        """Whether some row worth showing has a cost."""
        return any(row.cost is not None for row in self.rows)

    @property
    def cost(self) -> str:
        """Whether cost took part."""
        if self.comparison.priced:
            return "Cost is compared: every allowed type has a price."
        some = any(row.cost is not None for row in self.comparison.rows)
        known = "; costs are shown where they are known" if some else ""
        return f"Cost is no criterion here: not every allowed type has a price{known}."

    @property
    def beaten_in(self) -> str:
        """What one row must be as good in as another to beat it."""
        return "balanced sweep, cost and free slots" if self.comparison.priced else "balanced sweep and free slots"

    @property
    def processors(self) -> list[str]:
        """Where modules are more than a processor allows, and what a swap does to memory."""
        lines = [f"warning: {sentence}" for sentence in limit_sentences(self.comparison.limits)]
        for before, group in self.swaps:
            swap = f"{format_capacity(group.capacity_gib)}, {self.comparison.processors[0]} to {group.processor}"
            lines.append(f"{swap}: {swap_text(self, before, group.answer)}")
        return lines

    @property
    def swaps(self) -> list[tuple[Row | None, Group]]:
        """Every group with another processor than the first, with the answer that the first gives."""
        first, *_ = self.comparison.processors
        answers = {group.capacity_gib: group.answer for group in self.comparison.groups if group.processor == first}
        others = [group for group in self.comparison.groups if group.processor not in (None, first)]
        return [(answers[group.capacity_gib], group) for group in others]

    @property
    def other_processors(self) -> list[str]:
        """Processor options of the board that are not compared."""
        return [option.id for option in self.board.processors if option.id not in self.comparison.processors]


_WORTH = (
    "Capacities worth looking at: one type reaches them with no rule broken, and no small step up is clearly "
    "faster; the fastest ones between where these lie far apart."
)


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
    alike = by_key(limits, lambda each: (each.processor, each.kind, each.kind != "ceiling" and each.allowed))
    return [_limit_sentence(processor, kind, its) for (processor, kind, _), its in alike.items()]


def _limit_sentence(processor: str, kind: str, limits: Sequence[Limit]) -> str:
    names = [limit.module.label for limit in limits]
    if kind == "refused":
        return f"{processor} runs no {listed(names, last='or')}."
    if kind == "rate":
        return f"{processor} allows {limits[0].allowed} MT/s at most, below the label of {listed(names)}."
    most = [
        f"{limit.allowed} x {name}" if limit.allowed else f"no {name}"
        for limit, name in zip(limits, names, strict=True)
    ]
    return f"{processor} has a ceiling: of the {limits[0].slots} slots of a socket it takes {listed(most, last='or')}."


def swap_text(report: Report, before: Row | None, after: Row | None) -> str:
    """A swap in words: ``281.6 to 230.4 GB/s (-18.2 %), 2933 to 2400 MT/s``."""
    if after is None or after.figures is None:
        return "nothing fits" if before is not None else "nothing fits with either"
    if before is None or before.figures is None:
        return f"fits only with {after.request.processor}"
    old, new = before.figures, after.figures
    sweeps = old.balanced_sweep_gb_s, new.balanced_sweep_gb_s
    text = " to ".join(f"{decimal(sweep, 1):.1f}" for sweep in sweeps) + " GB/s"
    change = sweeps[1] - sweeps[0]
    if change:
        text += f" ({'+' if change > 0 else '-'}{decimal(abs(change) / sweeps[0] * 100, 1):.1f} %)"
    if old.rate_mts != new.rate_mts:
        text += f", {old.rate_mts} to {new.rate_mts} MT/s"
    if old.usable_gib != new.usable_gib:
        text += f", {format_capacity(old.usable_gib)} to {format_capacity(new.usable_gib)}"
    if counts_of(before) != counts_of(after):
        text += f", {report.modules(before)} become {report.modules(after)}"
    return text
