"""A board's rules as a person asks for them, and types that are to be mixed: as JSON of format 1 and as text."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from dimmplan.model.board import Board
from dimmplan.model.module import Module, modules_phrase
from dimmplan.model.rows import ChannelGroup, ModulesMeant, ProcessorOption, RateRow
from dimmplan.output.columns import Text, board_line
from dimmplan.output.record import (
    BoardHead,
    Broken,
    Counts,
    Document,
    FiguresEntry,
    FindingEntry,
    Label,
    Record,
    SentenceEntry,
    means,
)
from dimmplan.reasons.mix import Mix, MixLoad, MixSet, PairVerdict
from dimmplan.rules import MODE_KINDS, Rule, all_rows, ceiling_row, default_rows, mode_row
from dimmplan.rules.base import field_noun
from dimmplan.units import by_key, counted, format_capacity, listed
from dimmplan.wording import (
    ORDINALS,
    Statement,
    breach_finding,
    breach_statements,
    broken_rules,
    channels_phrase,
    figures_phrase,
    label_short,
    lowered,
    rate_source,
    regions_sentence,
)


class RuleEntry(Record):
    """A rule of the board."""

    rule: str = means("id of the row")
    severity: str = means("`error`, `advised` or `note`")
    usual: bool = means("a default of the trade that the file does not state itself")
    text: str = means("in words")
    source: str = means("id of the source")
    citation: str = means("the source in full")


class RuleGroupEntry(Record):
    """The rules that answer one question."""

    id: str = means("`fits`, `order`, `mixing`, `rate`, `capacity` and so on")
    question: str = means("as a person asks")
    rules: list[RuleEntry] = means("its rules")
    table: list[list[str]] = means("rates as rows of text, the head first")


_QUESTIONS = {
    "fits": "What fits?",
    "order": "In what order?",
    "mix": "What may be mixed?",
    "rate": "How fast?",
    "capacity": "How much?",
    "interleave": "Which channels work together?",
    "modes": "Mirroring, lockstep and rank sparing?",
    "firmware": "Which firmware settings matter?",
    "care": "Cooling and care?",
}
"""The questions, in the order in which they are read out; a kind of rule names its own."""


def rule_groups(board: Board) -> list[RuleGroupEntry]:
    """Every row in force on a board, defaults and processor options included, by the question that it answers."""
    rows = all_rows(board, None)
    for option in board.processors:
        rows += ceiling_row(option)
    defaults = default_rows(board.generation)
    found = []
    for group, question in _QUESTIONS.items():
        rules = [_entry(board, row, defaults) for row in rows if row.answers(group)]
        more = _MORE[group](board) if group in _MORE else ()
        rules += [_rule(board, said, severity="note" if group == "capacity" else "error") for said in more]
        table = _rate_table(board) if group == "rate" else []
        found.append(RuleGroupEntry(id=group, question=question, rules=rules, table=table))
    return found


def _rule(board: Board, said: Statement, *, severity: str, usual: bool = False) -> RuleEntry:
    return RuleEntry.of(said, severity=severity, usual=usual, citation=board.citation(said.source))


def _entry(board: Board, row: Rule, defaults: Sequence[Rule]) -> RuleEntry:
    text = row.sentence()
    if row.id.startswith("processor:"):
        text = f"{text.removesuffix('.')} with {row.id.removeprefix('processor:')}."
    severity = row.severity if row.scopes else "note"
    usual = row in defaults or row.id == "first-socket"
    return _rule(board, Statement(text, row.id, row.source), severity=severity, usual=usual)


def _served_lines(board: Board) -> Iterator[Statement]:
    for option in board.processors:
        if option.channels:
            text = f"The processor {option.id} serves the channels {listed(option.channels)}; other slots are dead."
            yield Statement(text, f"processor:{option.id}", option.source)


def _mode_lines(board: Board) -> Iterator[Statement]:
    without = [kind.noun for mode, kind in MODE_KINDS.items() if mode_row(board, mode) is None]
    if without:
        text = f"This board has no row for {listed(without, last='or')}; a plan that asks for it is refused."
        yield Statement(text, "modes")


def _slots_lines(board: Board) -> Iterator[Statement]:
    slots = [
        f"{counted(count, 'slot')} at {'each of ' if len(alike) > 1 else ''}{listed([socket.id for socket in alike])}"
        for count, alike in by_key(board.sockets, lambda socket: len(socket.slots)).items()
    ]
    sizes = listed([str(gib) for gib in sorted({module.capacity_gib for module in board.modules})])
    text = f"There are {listed(slots)}. Usual modules have {sizes} GiB."
    yield Statement(text, "slots")


# -- rates -----------------------------------------------------------------------------------------------------------

_SCOPES = {
    "system": "The slowest channel sets the rate of the whole system.",
    "socket": "The slowest channel sets the rate of its socket; the other sockets keep theirs.",
    "channel": "Every channel runs at a rate of its own.",
}


def _rate_table(board: Board) -> list[list[str]]:
    """The rate rows as a table, columns that no row uses left out."""
    heading = ["filled", "of slots", *_MEANT, "MT/s", "row", "source"]
    rows = [_rate_cells(row) for row in board.rates]
    kept = [
        i for i, name in enumerate(heading) if name in ("filled", "MT/s", "row") or any(row[i] != "any" for row in rows)
    ]
    return [[row[i] for i in kept] for row in (heading, *rows)]


_MEANT = {
    "kinds": "kinds",
    "ranks": "package_ranks",
    "logical ranks": "logical_ranks",
    "size": "capacity_gib",
    "die": "die_gbit",
    "voltage": "voltage_mv",
}
"""Columns of the rate table about modules, and the part of a row that fills each."""
_UNITS = {"capacity_gib": " GiB", "die_gbit": " Gbit"}


def _meant(row: ModulesMeant, name: str) -> str:
    values = getattr(row, name)
    if name == "voltage_mv":
        return "/".join(f"{mv / 1000:g} V" for mv in values)
    if name == "kinds":
        return ", ".join(kind.value for kind in values)
    return "/".join(map(str, values)) + (_UNITS.get(name, "") if values else "")


def _rate_cells(row: RateRow) -> list[str]:
    return [
        str(row.dpc),
        "/".join(map(str, row.slots)) or "any",
        *(_meant(row, name) or "any" for name in _MEANT.values()),
        "does not run" if row.mts == "none" else str(row.mts),
        row.id,
        row.source,
    ]


def _rate_lines(board: Board) -> Iterator[Statement]:
    rates = listed([str(rate) for rate in board.rates_mts])
    text = (
        "A channel runs at the lowest of its rate row, the processor and the labels of its modules, "
        f"rounded down to one of {rates} MT/s. A population without a row does not run."
    )
    yield Statement(text, "rates", "PRACTICE")
    yield Statement(_SCOPES[board.rate_scope], "rate_scope", "PRACTICE")
    for option in board.processors:
        if option.rates:
            text = f"{option.title or option.id}: {_processor_rates(option)}."
            yield Statement(text, f"processor:{option.id}", option.source)


def _processor_rates(option: ProcessorOption) -> str:
    parts = []
    for rate in option.rates:
        where = [*(kind.value for kind in rate.kinds)]
        where += [
            f"{said}{' ranks' if name == 'package_ranks' else ' logical ranks' if name == 'logical_ranks' else ''}"
            for name in _MEANT.values()
            if name != "kinds" and (said := _meant(rate, name))
        ]
        where += [f"{listed([str(dpc) for dpc in rate.dpc], last='or')} on a channel"] if rate.dpc else []
        parts.append(f"{rate.mts} MT/s" + (f" ({', '.join(where)})" if where else " for every population"))
    return listed(parts)


# -- channels that work together -------------------------------------------------------------------------------------

_EXCESS = {
    "layers": "What is left above their common depth forms further sets.",
    "alone": "Above their common depth each channel works alone.",
    "none": "Only channels with equal amounts left form a set.",
}


def _interleave_lines(board: Board) -> Iterator[Statement]:
    row = board.interleave
    if row.style == "groups":
        texts = _group_texts(row.groups)
    else:
        ways = listed([str(ways) for ways in sorted(row.ways) if ways > 1], last="or")
        which = {
            "even": f"Channels of a socket work together in sets of {ways}, the same number on each controller "
            "that takes part.",
            "any": f"Channels of a socket work together in sets of {ways}, whichever they are.",
        }
        texts = [which[row.style], _EXCESS[row.excess]]
    for text in (
        *texts,
        "A single channel may always work alone. The widest set comes first; of equal ones, the deepest.",
    ):
        yield Statement(text, row.id, row.source)


def _group_texts(groups: Sequence[ChannelGroup]) -> list[str]:
    """Listed sets, those of one kind of excess together."""
    texts = []
    for (excess, exclusive), alike in by_key(groups, lambda group: (group.excess, group.exclusive)).items():
        sets = [" ".join(group.channels) for group in alike]
        only = ", each only while no other channel of the socket is filled" if exclusive else ""
        texts.append(f"These channels of a socket work together{only}: {'; '.join(sets)}. {_EXCESS[excess]}")
    return texts


_MORE: dict[str, Callable[[Board], Iterator[Statement]]] = {
    "fits": _served_lines,
    "rate": _rate_lines,
    "capacity": _slots_lines,
    "interleave": _interleave_lines,
    "modes": _mode_lines,
}
"""What answers a question beside the rows that do."""


class RulesDocument(Document, commands="rules"):
    """A board's rules by the question that they answer."""

    board: BoardHead = means("the board", by=lambda board: board)
    groups: list[RuleGroupEntry] = means("questions in order", by=rule_groups)


def rules_text(board: Board) -> str:
    """A board's rules by the question that they answer, and the documents that they cite."""
    page = Text(board_line(board))
    sources: list[str] = []
    for group in rule_groups(board):
        if group.rules or group.table:
            page.heading(group.question)
        for rule in group.rules:
            marks = [word for word, is_so in (("advised", rule.severity == "advised"), ("usual", rule.usual)) if is_so]
            mark = f"({listed(marks)}) " if marks else ""
            page.sentences([Statement(f"{mark}{rule.text}", rule.rule, rule.source)])
        page.rows(group.table)
        sources += [*(rule.source for rule in group.rules), *(row.source for row in board.rates if group.table)]
    page.heading("Rows marked usual are common practice; the board file does not state them.")
    page.heading("Sources")
    for source in dict.fromkeys(sources):
        page.note(f"{source}: {board.citation(source)}")
    return str(page)


# -- types together ----------------------------------------------------------------------------------------------------

_TOGETHER = {
    "channel": "may share a channel",
    "channels": "may be used in one system, but never on one channel",
    "sockets": "may be used in one system, but never at one socket",
    "never": "may not be used in one system",
}


def mix_title(mix: Mix) -> str:
    """The verdict in a few words."""
    if len(mix.modules) == 1:
        only = mix.modules[0].label
        return f"{'Yes' if mix.allowed else 'No'}: these labels are one type, {only}"
    if mix.refused:
        names = listed(list(dict.fromkeys(module.label for module, _ in mix.refused)))
        return f"No: the board refuses {names}"
    if not mix.allowed:
        return f"No: {listed([module.label for module in mix.modules])} {_TOGETHER['never']}"
    return f"Yes: {listed([module.label for module in mix.modules])} {_TOGETHER[mix.together]}"


def refused_label_statements(mix: Mix) -> list[Statement]:
    """The rows that refuse a type in any company."""
    return [
        Statement(f"{module.label}: {lowered(told.text)}", breach.rule, breach.source)
        for module, breach in mix.refused
        for told in [breach_finding(mix.board, breach)]
    ]


def pair_statements(mix: Mix, pair: PairVerdict) -> list[Statement]:
    """The rows about what the two differ in, those that keep them apart, and the orders that a channel takes."""
    found = breach_statements(mix.board, pair.breaches)
    told = {said.rule for said in found}
    found += [
        Statement(f"{row.sentence()} These differ in it.", row.id, row.source)
        for row in pair.rows
        if row.id not in told
    ]
    covered = {row.field for row in pair.rows}
    free = [field_noun(field) for field in pair.differ if field not in covered]
    if free:
        also = "also " if covered else ""
        found.append(Statement(f"They {also}differ in {listed(free)}; no row about mixing speaks of that.", "mix"))
    return [*found, *_loads_statements(mix, pair)]


def _loads_statements(mix: Mix, pair: PairVerdict) -> Iterator[Statement]:
    """Orders on one channel: allowed ones with their rate, then those that a row refuses."""
    if not pair.loads and pair.together in ("channel", "channels"):
        text = "Every channel has one slot, so two modules are always on different channels."
        yield Statement(text, "slots")
    allowed = [load for load in pair.loads if load.allowed]
    for load in allowed:
        assert load.rate is not None
        slots = listed(list(load.channel.slots[: len(load.load)]))
        where = channels_phrase(mix.board, load.channels)
        text = f"{_order(mix, load)}, as in {slots}: {load.rate.rate_mts} MT/s. The same holds on {where}."
        yield Statement(text, load.rate.row, rate_source(mix.board, load.rate.row))
    refused = [load for load in pair.loads if allowed and not load.allowed]
    for loads in by_key(refused, lambda load: load.breaches[0].rule).values():
        first = breach_statements(mix.board, loads[0].breaches[:1])[0]
        more = f" and {len(loads) - 1} more orders" if len(loads) > 1 else ""
        text = f"Not {_order(mix, loads[0])}{more}: {lowered(first.text)}"
        yield Statement(text, first.rule, first.source)


def _short(mix: Mix, module: Module) -> str:
    """A type in a few words, its whole label where another one of the mix has the same few."""
    short = label_short(module)
    return short if sum(label_short(other) == short for other in mix.modules) == 1 else module.label


def _order(mix: Mix, load: MixLoad) -> str:
    parts = [f"{_short(mix, module)} {ORDINALS[place]}" for place, module in enumerate(load.load)]
    return listed(parts, last="then")


def price_statements(mix: Mix) -> list[Statement]:
    """The capacity compared: mixed, then each type alone."""
    if mix.mixed is None:
        return []
    found = [_set_statement("Mixed", mix.mixed)]
    for alone in mix.alone:
        module = alone.modules[0][0]
        usable, asked = alone.figures.usable_gib, mix.capacity_gib or 0
        short = "" if usable == asked else ", the nearest above" if usable > asked else ", the most that fits"
        found.append(_set_statement(f"{_short(mix, module)} alone{short}", alone))
    return found


def _set_statement(name: str, found: MixSet) -> Statement:
    shapes = by_key(found.figures.sockets, regions_sentence).items()
    regions = " ".join(f"{listed([each.socket for each in alike])}: {lowered(text)}" for text, alike in shapes)
    broken = f" Advised rules broken: {broken_rules(found.breaches)}." if found.breaches else ""
    text = f"{name}: {modules_phrase(found.modules)}; {figures_phrase(found.figures)}. {regions}{broken}"
    return Statement(text, "capacity-first")


class RefusedLabel(FindingEntry):
    """A type that the board refuses in any company."""

    label: Label = means("a type that the board refuses")


class LoadEntry(Record):
    """Two types on a channel."""

    channels: list[str] = means("channels that may carry them both")
    order: list[Label] = means("labels in slot order", of="load")
    allowed: bool = means("whether the rules allow it")
    rate_mts: int | None = means("the rate then", by=lambda load: load.rate and load.rate.rate_mts)
    broken: Broken = means("rows that it breaks", of="breaches")


class PairEntry(Record):
    """Two types together."""

    labels: list[Label] = means("two of them", by=lambda pair: [pair.one, pair.other])
    together: str = means("how close they may stand")
    differ: list[str] = means("what they differ in")
    rules: list[str] = means("rows about that", by=lambda pair: [row.id for row in pair.rows])
    broken: Broken = means("rows that keep them apart", of="breaches")
    loads: list[LoadEntry] = means("channels with both")
    said: list[SentenceEntry] = means("in words", within=pair_statements)


class MixSetEntry(Record):
    """A placement of some types."""

    modules: Counts = means("what it uses")
    proven: bool = means("first under this board file and this model")
    figures: FiguresEntry | None = means("how it runs")
    broken: Broken = means("advised rows that it breaks", of="breaches")


class MixDocument(Document, commands="mix"):
    """Types together; exit status 1 where they may not be."""

    board: BoardHead = means("the board")
    fitted: list[str] = means("sockets with a processor")
    labels: list[Label] = means("what is mixed", of="modules")
    allowed: bool = means("whether they may stand in one system")
    together: str = means(
        "how close: `channel`, `channels`, `sockets` or `never`",
        by=lambda mix: "never" if mix.refused else mix.together,
    )
    title: str = means("the verdict in words", by=mix_title)
    refused: list[RefusedLabel] = means(
        "what the board refuses",
        by=lambda mix: [RefusedLabel.of(breach_finding(mix.board, b), label=module) for module, b in mix.refused],
    )
    pairs: list[PairEntry] = means("each two of them")
    compared_gib: int | None = means(
        "capacity at which the price is compared, null where nothing is", of="capacity_gib"
    )
    mixed: MixSetEntry | None = means("the best placement of as many modules of each type")
    alone: list[MixSetEntry | None] = means("the same with one type alone")
    said: list[SentenceEntry] = means("the price in words", by=price_statements)


def mix_text(mix: Mix) -> str:
    """Whether labels may be mixed, where, by which rule, at what price."""
    page = Text(board_line(mix.board))
    page.heading(mix_title(mix))
    page.sentences(refused_label_statements(mix))
    for pair in mix.pairs:
        if len(mix.pairs) > 1:
            page.heading(f"{_short(mix, pair.one)} with {_short(mix, pair.other)} {_TOGETHER[pair.together]}")
        page.sentences(pair_statements(mix, pair))
    if mix.capacity_gib is not None:
        capacity, sockets = format_capacity(mix.capacity_gib), listed(list(mix.fitted))
        page.heading(f"Compared: {capacity} at {sockets}, with as many modules of each type")
        page.sentences(price_statements(mix))
    return str(page)
