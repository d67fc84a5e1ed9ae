"""Every published value beside the planner's figures, as a page of the docs.

    python -m tests.published.outside

writes ``dimmplan/docs/outside-values.md``. Nothing is typed twice: figures are computed here, and what a board's row
says is read from the shipped boards. A value that the planner has no figure for stands there too, and says so.
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

from dimmplan.boardfile.read import load_board
from dimmplan.figures import SocketFigures, placement_figures
from dimmplan.model.board import Board
from dimmplan.model.module import Generation, Module
from dimmplan.model.request import Mode
from dimmplan.planner import ask, plan
from dimmplan.rates import channel_rate, rate_row
from dimmplan.rules import SparingRow
from dimmplan.units import channel_peak_gb_s, counted, listed
from tests.published.test_interleave import (
    ATL_KNOWS,
    ATL_ONLY_SPLIT,
    IN_PAIRS,
    PAIRS,
    QUADS,
    SIX_CHANNELS,
    SIX_WAY,
    best_figures,
    first_ways,
    paired,
    without_advice,
)
from tests.published.test_peaks import NOMINAL, WHOLE_SYSTEMS
from tests.published.test_rates import CASES, PRINTED, Published, four_channels
from tests.support import filled, mode_breaches, regions_of, shipped_boards, usual

PAGE = Path(__file__).resolve().parents[2] / "dimmplan" / "docs" / "outside-values.md"
AGREES, DIFFERS, ROW, NO_FIGURE = "agrees", "differs", "a board row", "no figure"
MEASURED, STATED, CALCULATED, PRACTISED = "measured", "stated", "calculated", "common practice"


_RATE_SOURCES = {Generation.DDR3: "MEMORY", Generation.DDR4: "standard-03", Generation.DDR5: "standard-04"}


HEAD = "| what | published | how | source | here | difference | verdict | note |"
RULE = "|---|---|---|---|---|---|---|---|"


DISPUTED = (
    # board, socket, slots meant, modules, percent as published, how, likely reason
    (
        "lagoon-32",
        "1",
        8,
        3,
        "33",
        STATED,
        "the model pairs two and leaves one alone; three of eight are 37.5 %",
    ),
    ("lagoon-32", "1", 16, 12, "66", STATED, "six channels of eight are 75 %, and so are eight and four more"),
    ("tombolo-32", "isle", 8, 7, "70", MEASURED, "perhaps its firmware makes larger sets than the guide states"),
)
"""Published values that the model does not give; they stand here so that nobody takes it to agree."""


class Line(NamedTuple):
    """One published value. ``here`` is the planner's, ``note`` the likely reason of a difference.

    ``difference`` is what was published less what the planner says; a dash where there are no two numbers.
    """

    what: str
    published: str
    how: str
    source: str
    here: str
    verdict: str
    note: str = ""
    difference: str = "–"

    def cells(self) -> tuple[str, ...]:
        """The line as the page prints it."""
        return (*self[:5], self.difference, self.verdict, self.note)


@functools.cache
def lines() -> tuple[tuple[str, tuple[Line, ...]], ...]:
    """The parts of the page, each with its heading."""
    return (
        ("Bandwidth against population", tuple(_bandwidth())),
        ("Interleave sets", tuple(_sets())),
        ("Data rate by modules on a channel", tuple(_rates())),
        ("Peaks", tuple(_peaks())),
        ("Population and mixing", tuple(_population())),
        ("Modes", tuple(_modes())),
    )


# -- bandwidth ---------------------------------------------------------------------------------------------------------


def _shares(found: SocketFigures) -> str:
    parallel = found.parallel_gb_s / found.peak_gb_s
    return f"sweep {_percent(found.share)} %, parallel {_percent(parallel)} %"


def _percent(value: Fraction) -> str:
    return f"{float(100 * value):.1f}"


def _points(published: str, share: Fraction) -> Fraction:
    return Fraction(published) - 100 * share


def _compared(what: str, printed: str, how: str, source: str, found: SocketFigures, note: str, *, within: int) -> Line:
    apart = _points(printed, found.share)
    agrees = abs(apart) < within
    return Line(
        what,
        f"{printed} %",
        how,
        source,
        _shares(found),
        AGREES if agrees else DIFFERS,
        note if not agrees else "the publisher cuts or rounds" if apart else "",
        _apart(apart, "points"),
    )


def _apart(difference: Fraction | int, unit: str) -> str:
    return f"{float(difference):+.2g} {unit}" if difference else "none"


def _bandwidth() -> Iterator[Line]:
    tombolo, saltern = load_board("tombolo-32"), load_board("saltern-24")
    for modules, _, measured, _ in IN_PAIRS:
        note = "a share of the best measured, not of peak; even the best does not reach peak"
        what = f"8 channels in pairs, {modules} modules, of best"
        yield _compared(
            what, str(measured), MEASURED, "report-01", best_figures(tombolo, "isle", modules), note, within=1
        )
    for name, socket, slots, modules, said, how, note in DISPUTED:
        found = best_figures(load_board(name), socket, modules)
        what = f"8 channels, {modules} of {slots} modules ({name})"
        yield _compared(what, said, how, "MEMORY", found, f"{note}; the document is not at hand", within=1)
    for modules, _, printed in SIX_CHANNELS:
        what = f"6 channels on 2 controllers, {counted(modules, 'module')}"
        yield _compared(what, printed, STATED, "guide-01", best_figures(saltern, "low", modules), "", within=1)
    eight = best_figures(saltern, "low", 8)
    stacked = [gib for gib in eight.channel_gib if gib]
    yield Line(
        "6 channels on 2 controllers, where 8 modules lie",
        "two each on four channels",
        STATED,
        "guide-01",
        f"{counted(len(stacked), 'channel')} of {listed(sorted({str(gib) for gib in stacked}))} GiB; {_shares(eight)}",
        AGREES if len(stacked) == 4 and len(set(stacked)) == 1 else DIFFERS,
    )
    nine = best_figures(without_advice(saltern), "low", 9)
    yield Line(
        "6 channels on 2 controllers, 9 modules",
        "unbalanced, no figure",
        STATED,
        "guide-01",
        f"{len(nine.regions)} regions, {_shares(nine)}",
        AGREES if len(nine.regions) > 1 else DIFFERS,
    )
    groyne = load_board("groyne-24")
    content = filled(groyne, usual(groyne, 16), {"fore": [2, 2, 1, 1]})
    found = placement_figures(groyne, groyne.processor(None), ["fore"], content).sockets[0]
    regions = [(region.ways, region.capacity_gib) for region in found.regions]
    yield Line(
        "4 channels, six modules of 16 GB",
        "64 GB four-way + 32 GB two-way",
        STATED,
        "article-02",
        " + ".join(f"{gib} GiB {ways}-way" for ways, gib in regions) + f"; {_shares(found)}",
        AGREES if regions == [(4, 64), (2, 32)] else DIFFERS,
    )
    loss = 1 - Fraction(1333, 1866)
    peaks = [
        placement_figures(
            groyne, groyne.processor(None), ["fore"], filled(groyne, usual(groyne, 16), {"fore": [dpc] * 4})
        )
        .sockets[0]
        .peak_gb_s
        for dpc in (1, 3)
    ]
    here = 1 - peaks[1] / peaks[0]
    yield Line(
        "4 channels DDR3, three modules on each instead of one",
        "about -30 % of peak",
        CALCULATED,
        "article-01",
        f"-{_percent(here)} % of peak",
        AGREES if here == loss else DIFFERS,
        "the publisher rounds 1333 / 1866",
        _apart(100 * here - 30, "points"),
    )
    six, twelve = (best_figures(saltern, "low", modules) for modules in (6, 12))
    parallel = (six.parallel_gb_s / six.peak_gb_s) / (twelve.parallel_gb_s / twelve.peak_gb_s)
    yield Line(
        "6 channels, six of twelve slots against all twelve",
        "about 97 % of the full board",
        PRACTISED,
        "PRACTICE",
        f"{_percent(six.share / twelve.share)} % by sweep and {_percent(parallel)} % by parallel, at one rate",
        DIFFERS,
        "two modules on a channel overlap their ranks, which the model leaves out",
        _apart(97 - 100 * six.share / twelve.share, "points"),
    )
    several = [n for n in range(1, 13) if len(best_figures(without_advice(saltern), "low", n).regions) > 1]
    yield Line(
        "6 channels, unbalanced layouts",
        "memory is split into several regions",
        STATED,
        "guide-18",
        f"several regions with {listed([str(n) for n in several])} modules",
        AGREES if several == [5, 7, 9, 10, 11] else DIFFERS,
    )


# -- sets --------------------------------------------------------------------------------------------------------------


def _sets() -> Iterator[Line]:
    row = paired(six_way="exclusive")
    for size, listed_sets in ((2, PAIRS), (4, QUADS), (6, (SIX_WAY,)), (8, ("ABCDEFGH",))):
        whole = {"".join(c) for c in itertools.combinations("ABCDEFGH", size) if first_ways(row, c) == size}
        yield Line(
            f"8 channels in pairs, {size}-way sets",
            ", ".join(sorted(listed_sets)),
            STATED,
            "guide-02",
            ", ".join(sorted(whole)),
            AGREES if whole == set(listed_sets) else DIFFERS,
        )
    unequal = [region.ways for region in regions_of(row, [[32, 16], [16, 16], [0, 0], [0, 0]])]
    yield Line(
        "sets of more than two channels",
        "equal sizes only",
        STATED,
        "guide-02",
        f"{max(unequal)}-way at most over ABCD of 32, 16, 16 and 16 GiB",
        AGREES if max(unequal) == 2 else DIFFERS,
    )
    pair = [(region.ways, region.capacity) for region in regions_of(row, [[64, 16], [0, 0], [0, 0], [0, 0]])]
    yield Line(
        "unequal modules in a pair",
        "the larger one's excess is not interleaved",
        STATED,
        "guide-02",
        " + ".join(f"{gib} GiB {ways}-way" for ways, gib in pair) + " of 64 and 16 GiB",
        AGREES if pair[1] == (1, 48) else DIFFERS,
    )
    strand = load_board("strand-12")
    ways = set()
    for modules in range(1, 13):
        content = filled(strand, usual(strand, 64), {"tide": [1] * modules + [0] * (12 - modules)})
        figures = placement_figures(strand, strand.processor(None), ["tide"], content)
        ways |= {region.ways for region in figures.sockets[0].regions}
    yield Line(
        "12 channels, ways",
        "1, 2, 3, 4, 5, 6, 8, 10, 12; odd ones only in a split socket",
        STATED,
        "kernel-01",
        f"{', '.join(map(str, sorted(ways)))} in use with 1 to 12 equal modules",
        AGREES if ways <= ATL_KNOWS - ATL_ONLY_SPLIT else DIFFERS,
        "split sockets are not modelled: a note row says to leave the setting off",
    )
    two = load_board("saltern-24").interleave
    yield Line(
        "2 controllers of 3 channels, ways",
        "1, 2, 3, 4, 6, the same on both controllers",
        STATED,
        "kernel-02",
        f"{', '.join(map(str, two.ways))}, style {two.style}",
        AGREES if set(two.ways) == {1, 2, 3, 4, 6} and two.style == "even" else DIFFERS,
    )
    most = max(
        len(best_figures(without_advice(board), board.sockets[0].id, modules).regions)
        for board in (load_board("saltern-24"),)
        for modules in range(1, 13)
    )
    yield Line(
        "2 controllers of 3 channels, list of regions",
        "up to 24 rules",
        STATED,
        "kernel-02",
        f"at most {most} regions with 1 to 12 equal modules; the model has no limit of its own",
        AGREES if most <= 24 else DIFFERS,
    )
    yield Line(
        "ways between memory devices behind a link",
        "1, 2, 3, 4, 6, 8, 12, 16",
        "second-hand",
        "standard-12",
        "none",
        NO_FIGURE,
        "modules in slots only; a board row may list any ways up to 32",
    )
    saltern = load_board("saltern-24")
    uneven = {n for n in range(1, 9) if len(best_figures(without_advice(saltern), "low", n).regions) > 1}
    yield Line(
        "6 channels, uneven numbers of modules up to 8",
        "5 and 7; 1, 2, 3, 4, 6, 8 are recommended",
        STATED,
        "guide-07",
        f"several regions with {listed([str(n) for n in sorted(uneven)])}",
        AGREES if uneven == {5, 7} else DIFFERS,
    )
    yield _of_rows("interleaving across sockets wants equal channels and capacity on each", "guide-12", "alike")


# -- rates and peaks ---------------------------------------------------------------------------------------------------


def _rates() -> Iterator[Line]:
    for printed in PRINTED:
        kinds = "".join(f", {kind.value}" for kind in printed.kinds)
        ranks = f", {' or '.join(map(str, printed.ranks))} ranks" if printed.ranks else ""
        boards, source = _boards_at(printed)
        made = () if boards else _run_by_a_made_board(printed)
        agrees = bool(boards) or made == printed.mts
        yield Line(
            f"{printed.generation.value}, {printed.channels} channels{kinds}{ranks}: {_counts(printed)} on a channel",
            _each_mts(printed.mts),
            STATED,
            printed.source,
            f"{_each_mts(printed.mts if boards else made)} by the rows of "
            + (listed(boards) if boards else "a board made for the tests"),
            ROW if agrees else DIFFERS,
            "a board's row is data: it holds what its source prints"
            if source == printed.source
            else f"the rows cite {source}, which prints the same",
            "none" if agrees else "–",
        )


def _boards_at(printed: Published) -> tuple[list[str], str]:
    """Shipped boards that run at what is printed, and whom their rows cite: this source, or one that says the same."""
    others = (other.source for other in PRINTED if other.mts == printed.mts)
    for source in dict.fromkeys((printed.source, *others)):
        boards = [
            board.id for board in shipped_boards() if _run_by(board, replace(printed, source=source)) == printed.mts
        ]
        if boards:
            return boards, source
    return [], printed.source


def _counts(printed: Published) -> str:
    return " / ".join(str(dpc) for dpc in range(1, len(printed.mts) + 1))


def _each_mts(rates: Sequence[int | None]) -> str:
    return f"{' / '.join(str(mts or 'none') for mts in rates)} MT/s"


def _run_by(board: Board, printed: Published) -> tuple[int | None, ...]:
    """What a shipped board that cites the table runs at, with its fastest usual modules, one on a channel and up."""
    found: dict[int, list[int]] = {}
    for cited, module, dpc, slots in CASES:
        row = rate_row(cited, module, dpc, slots)
        widest = max(len(socket.channels) for socket in cited.sockets)
        if (
            cited.id == board.id
            and row is not None
            and (row.source, widest) == (printed.source, printed.channels)
            and printed.speaks_of(module)
        ):
            rate = channel_rate(cited, None, [module] * dpc, slots)
            found.setdefault(dpc, []).append(rate.rate_mts if rate else 0)
    return tuple(max(found[dpc]) or None for dpc in sorted(found))


def _run_by_a_made_board(printed: Published) -> tuple[int | None, ...]:
    board = four_channels(printed)
    (module,) = board.modules
    contents = (filled(board, module, {"S": [dpc, 1, 1, 1]}) for dpc in range(1, len(printed.mts) + 1))
    return tuple(placement_figures(board, None, ["S"], content).rate_mts for content in contents)


def _peaks() -> Iterator[Line]:
    for generation, mts, nominal in NOMINAL:
        here = channel_peak_gb_s(mts)
        yield Line(
            f"{generation.value}, one channel at {mts} MT/s",
            f"{nominal} MB/s",
            CALCULATED,
            _RATE_SOURCES[generation],
            f"{float(here * 1000):.0f} MB/s",
            AGREES if here * 1000 == nominal else DIFFERS,
            difference=_apart(nominal - here * 1000, "MB/s"),
        )
    for mts, _, printed in WHOLE_SYSTEMS:
        here = 16 * channel_peak_gb_s(mts)
        yield Line(
            f"two sockets of 8 channels at {mts} MT/s",
            f"{printed} MB/s",
            CALCULATED,
            "report-02",
            f"{float(here * 1000):.0f} MB/s",
            AGREES if here * 1000 == printed else DIFFERS,
            difference=_apart(printed - here * 1000, "MB/s"),
        )
    yield Line(
        "STREAM of peak",
        "70 to 85 %",
        MEASURED,
        "report-03",
        "said beside every peak, never computed",
        NO_FIGURE,
        "a range of other people's machines, not a figure of a placement",
    )


# -- rules -------------------------------------------------------------------------------------------------------------


def _of_rows(says: str, source: str, check: str, note: str = "") -> Line:
    """What a source says of populations, and the shipped boards whose rows cite it."""
    boards = sorted(
        board.id for board in shipped_boards() if any(r.source == source and r.check == check for r in board.rules)
    )
    all_of_them = len(boards) == len(shipped_boards())
    named = "every shipped board" if all_of_them else listed(boards)
    held = f"`{check}` row of {named}" if boards else f"can be written as a `{check}` row; no shipped board"
    return Line(says.split(":", maxsplit=1)[0], says.partition(": ")[2] or "as said", STATED, source, held, ROW, note)


def _said_by(says: str, check: str, cited: str, *others: str) -> Iterator[Line]:
    """The same thing said by several sources, of which the boards' rows cite one."""
    line = _of_rows(says, cited, check)
    yield line
    for source in others:
        yield line._replace(source=source, note=f"the rows cite {cited}, which says the same")


def _population() -> Iterator[Line]:
    yield _of_rows("a lone module: in the slot farthest from the processor", "guide-10", "fill-order")
    order = "along a channel: more ranks first, then larger capacity"
    yield from _said_by(order, "channel-order", "guide-03", "guide-18", "guide-11")
    yield from _said_by("RDIMM and LRDIMM: never together in a system", "mix", "guide-03", "guide-04")
    stacked = _of_rows("3DS with other kinds: not in a channel, not in a system", "guide-03", "mix")
    yield stacked._replace(source="guide-10", note="3DS kinds are kinds of their own; the rows cite guide-03")
    either = "sources disagree: it is a row of each board"
    yield _of_rows("x4 with x8: allowed in one channel", "guide-13", "mix", either)
    yield _of_rows("x4 with x8: across channels only", "guide-11", "mix", either)
    yield _of_rows("x4 with x8: never", "guide-09", "mix", either)
    yield _of_rows("ranks of a channel: at most 8; a 4-rank LRDIMM loads like one rank", "guide-06", "rank-limit")
    saltern = load_board("saltern-24")
    apart = sum(board.rate_scope != "system" for board in shipped_boards())
    rates = [_rate_with(saltern, slow=slow) for slow in (False, True)]
    for source in ("guide-04", "guide-02"):
        yield Line(
            "data rate of the system",
            "the slowest of processor, module, population",
            STATED,
            source,
            f"{rates[0]} MT/s, and {rates[1]} MT/s with one module of 2400 MT/s",
            AGREES if rates[1] == 2400 < rates[0] else DIFFERS,
            f"{counted(apart, 'shipped board')} let sockets or channels run at rates of their own",
        )
    even = best_figures(saltern, "low", 8)
    yield Line(
        "balanced",
        "the same on every controller, then on every filled channel",
        STATED,
        "guide-14",
        f"controllers differ by {even.controller_difference_gib} GiB with 8 modules, "
        f"channels hold {listed(sorted({str(gib) for gib in even.channel_gib if gib}))} GiB",
        AGREES if even.controller_difference_gib == 0 else DIFFERS,
    )
    yield _of_rows("every processor: at least one module", "guide-07", "socket-minimum")
    yield _of_rows("every processor: equal counts advised", "guide-07", "alike")


def _rate_with(board: Board, *, slow: bool) -> int:
    from dimmplan.model.label import parse_label

    content = filled(board, usual(board, 32), {"low": [1] * 6, "high": [1] * 6})
    if slow:
        content[next(slot for slot, module in content.items() if module)] = parse_label("32GB 2Rx4 PC4-2400T-R")
    return placement_figures(board, board.processor("petrel-18"), ["low", "high"], content).rate_mts


def _modes() -> Iterator[Line]:
    half = _usable("saltern-24", "96GiB", Mode.MIRRORED, "low")
    yield Line(
        "mirroring, 6 channels, usable",
        "half; two or three identical channels of each controller",
        STATED,
        "guide-05",
        f"{half[0]} of {half[1]} GiB usable",
        AGREES if half[0] * 2 == half[1] else DIFFERS,
    )
    counts = [_mirrors("lagoon-32", modules) for modules in (4, 8, 12, 16)]
    yield Line(
        "mirroring, 8 channels DDR5, modules of a processor",
        "8 or 16 only",
        STATED,
        "guide-15",
        f"{listed([str(n) for n, held in zip((4, 8, 12, 16), counts, strict=True) if held])} of 4, 8, 12, 16",
        AGREES if counts == [False, True, False, True] else DIFFERS,
    )
    two_types = _mirrors("lagoon-32", 8, types=2)
    yield Line(
        "mirroring, 8 channels DDR5, part numbers",
        "one",
        STATED,
        "guide-15",
        f"8 modules of one type {'mirror' if _mirrors('lagoon-32', 8) else 'do not'}, "
        f"of two types {'mirror as well' if two_types else 'do not'}",
        AGREES if _mirrors("lagoon-32", 8) and not two_types else DIFFERS,
    )
    spared = _usable("saltern-24", "96GiB", Mode.SPARING, "low")
    yield Line(
        "rank sparing, usable",
        "the spare rank, at least as large as any other of its channel, is lost",
        STATED,
        "guide-16",
        f"{spared[0]} of {spared[1]} GiB usable",
        AGREES if spared[0] < spared[1] else DIFFERS,
    )
    for source, printed in (("guide-19", 2), ("guide-17", 3)):
        rows = [row for board in shipped_boards() for row in board.rules if row.source == source]
        least = sorted({row.min_ranks for row in rows if isinstance(row, SparingRow)})
        yield Line(
            "rank sparing, least ranks of a channel",
            str(printed),
            STATED,
            source,
            f"`min_ranks` {', '.join(map(str, least))}",
            AGREES if least == [printed] else DIFFERS,
            "the two sources disagree: it is a row of each board",
        )


def _usable(board_id: str, capacity: str, mode: Mode, socket: str) -> tuple[object, int]:
    board = load_board(board_id)
    planned = plan(board, ask(board, capacity, mode=mode.value, fitted=socket), alternatives=False)
    figures = placement_figures(
        board, board.processor(None), [socket], planned.placement.content, mode=planned.placement.mode
    )
    return figures.usable_gib, figures.capacity_gib


def _mirrors(board_id: str, modules: int, *, types: int = 1) -> bool:
    """True where so many modules at one socket can mirror on that board: equal ones, or pairs of channels unlike."""
    board = load_board(board_id)
    socket = board.sockets[0]
    each, more = divmod(modules, len(socket.channels))
    content: dict[str, Module | None] = {}
    for number, channel in enumerate(socket.channels):
        module = board.modules[number // 2 % types]
        content |= dict.fromkeys(channel.slots[: each + (number < more)], module)
    return not mode_breaches(board, Mode.MIRRORED, [socket.id], content)


# -- the page ----------------------------------------------------------------------------------------------------------


def page() -> str:
    """The whole page."""
    every = [line for _, part in lines() for line in part]
    tally = ", ".join(
        f"{sum(line.verdict == verdict for line in every)} {word}"
        for verdict, word in (
            (AGREES, "agree"),
            (DIFFERS, "differ"),
            (ROW, "are what a board's row says"),
            (NO_FIGURE, "have no figure here"),
        )
    )
    text = [
        "# Outside values",
        "",
        "What others published, and what this planner says of the same. Made by `python -m tests.published.outside`; a",
        "test holds it still. Shares are of the peak of all channels of a socket; sweep and parallel are the two",
        "figures of the model. Where they differ from what was published, the difference stands here (published less",
        "what is said here): the model is not bent. `dimmplan docs sources` lists the sources.",
        "",
        f"Of {len(every)} values, {tally}.",
        "",
    ]
    for heading, part in lines():
        text += [
            f"## {heading}",
            "",
            HEAD,
            RULE,
        ]
        text += [f"| {' | '.join(line.cells())} |" for line in part]
        text.append("")
    return "\n".join(text)


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
