"""What a board file must mean, beyond its form. Every check yields problems; none stops another."""

from __future__ import annotations

import itertools
import re
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from functools import partial

from dimmplan.boardfile.check_drawing import places, places_without_rows, slots_drawn
from dimmplan.boardfile.expand import completed, expand_sockets, socket_ids, trays
from dimmplan.boardfile.form import Path, dotted, placed
from dimmplan.boardfile.schema import BoardFile, SocketEntry
from dimmplan.errors import InputError, Problem, did_you_mean
from dimmplan.model.label import parse_label
from dimmplan.model.module import RATES_MTS, Kind, Module
from dimmplan.model.rows import MEANT_BY, InterleaveRow, RateRow
from dimmplan.rules import (
    AcceptRow,
    AlikeRow,
    Problems,
    RankLimitRow,
    Wiring,
    effective_rows,
    judge_module,
    known_names,
    of_kind,
)
from dimmplan.sources import SOURCES, current_id
from dimmplan.units import cleaned, counted, quoted

_FORBIDDEN_IN_NAMES = re.compile(r"[=,;{]|^\s|\s$|\s\s")


def check_meaning(board_file: BoardFile, *, file: str, lost: Collection[str] = ()) -> list[Problem]:
    """Every problem of meaning in a file whose form has been read.

    ``lost`` are places that could not be read. Where sockets, rows of slots or rates are among them, nobody can say
    which names are wrong, or what has no rate.
    """
    rows_lost = bool({"physical", "physical.rows"} & {*lost})
    unplaced = () if rows_lost else tuple(places_without_rows(board_file))
    board_file = completed(board_file)
    board = _wiring(board_file)
    wired = not _any_in(lost, "electrical.sockets")
    found = itertools.chain(
        _names(board_file, board),
        _modules(board_file),
        _rates(board_file),
        _processors(board_file),
        _sources(board_file),
        unplaced or places(board_file, rows_lost=rows_lost),
    )
    if wired:
        found = itertools.chain(
            found,
            _interleave(board_file, board),
            _served(board_file, board),
            _trays(board_file, board),
            _nodes(board_file, board),
            _rules(board_file, board),
            _aliases(board_file, board),
        )
    if wired and not _any_in(lost, "rates"):
        found = itertools.chain(found, _rates_cover(board_file, board))
    if wired and not unplaced and not _any_in(lost, "physical.rows"):
        found = itertools.chain(found, slots_drawn(board_file, board.slots, board.socket_ids))
    problems = [
        Problem(file=file, place=cleaned(p), found=cleaned(f), allowed=cleaned(a, most=1000), hint=cleaned(h, most=400))
        for p, f, a, h in found
    ]
    return list(dict.fromkeys(problems))


def _any_in(lost: Iterable[str], part: str) -> bool:
    """True where a part of the file, something in it, or the table that holds it could not be read."""
    return any(place.startswith((part, f"{part}[")) or place == part.split(".", maxsplit=1)[0] for place in lost)


def _wiring(file: BoardFile) -> Wiring:
    """The electrical part, expanded, as rows are checked against it."""
    rules = effective_rows(file.rules, file.electrical.generation)
    return Wiring(expand_sockets(file), rules, tuple(option.id for option in file.processors))


def _channels_with(board: Wiring, slot: str) -> str:
    """The channels that name a slot, in words."""
    channels = (channel for socket in board.sockets for channel in socket.channels)
    return " and ".join(f"channel {each.id} of {each.socket}" for each in channels if slot in each.slots)


def _names(file: BoardFile, board: Wiring) -> Problems:
    """Ids are readable, and stay apart after folding case and blanks."""
    for place, entry in placed("electrical.sockets", file.electrical.sockets):
        if bool(entry.id) == bool(entry.ids):
            yield place, "both id and ids" if entry.id else "neither id nor ids", "id for one socket, or ids", ""
        if len(entry.ids) > 1:
            for where, slots in _channel_entries(place, entry):
                for slot in slots:
                    if "{socket}" not in slot:
                        yield where, quoted(slot), "slot names with {socket}, since ids names several sockets", ""
    yield from _apart("electrical.sockets", "socket id", board.socket_ids)
    yield from _apart("electrical.sockets", "slot name", board.slots, partial(_channels_with, board))
    for place, entry in placed("electrical.sockets", file.electrical.sockets):
        yield from _apart(place, "channel id", [id_ for channels in entry.controllers.values() for id_ in channels])
        yield from _apart(place, "controller id", list(entry.controllers))
    ids = [("rules", row.id) for row in file.rules] + [("rates", row.id) for row in file.rates]
    yield from _apart("rules and rates", "row id", [row_id for _, row_id in ids])
    yield from _apart("nodes", "node setting", [row.id for row in file.nodes])
    yield from _apart("processors", "processor id", [option.id for option in file.processors])
    yield from _readable(file)


def _folded(name: str) -> str:
    """A name as the eye may confuse it: case and blanks do not count."""
    return "".join(name.split()).casefold()


def _apart(place: str, what: str, names: Sequence[str], where: Callable[[str], str] | None = None) -> Problems:
    """No two names are the same to the eye; ``where`` says which places of the file hold a name."""
    for name, group in itertools.groupby(sorted(names, key=_folded), key=_folded):
        same = list(group)
        if len(same) > 1:
            listed = ", ".join(quoted(each) for each in dict.fromkeys(same))
            at = f" ({', '.join(where(each) for each in dict.fromkeys(same))})" if where else ""
            yield place, f"{what} {listed} {len(same)} times{at}", "names that differ in more than case and blanks", ""
        if not name:
            yield place, f"an empty {what}", "a name", ""


def _readable(file: BoardFile) -> Problems:
    """Every text can be printed, and names that stand in lists on the command line have no sign of such a list."""
    for path, text in _texts(file.model_dump(mode="json")):
        if not text.isprintable():
            yield dotted(path), quoted(text), "printable characters only", ""
    for place, text in _listed_names(file):
        if _FORBIDDEN_IN_NAMES.search(text.replace("{socket}", "_")):
            yield place, quoted(text), "no comma, semicolon, equals sign, brace or blank at an end", ""


def _listed_names(file: BoardFile) -> Iterator[tuple[str, str]]:
    """Names of sockets, slots and processors with their places."""
    for place, entry in placed("electrical.sockets", file.electrical.sockets):
        yield from ((place, name) for name in socket_ids(entry))
        for where, slots in _channel_entries(place, entry):
            yield from ((where, slot) for slot in slots)
    yield from ((f"{place}.id", option.id) for place, option in placed("processors", file.processors))
    yield from (("electrical.trays", name) for name, _, _ in trays(file))


def _channel_entries(place: str, entry: SocketEntry) -> Iterator[tuple[str, tuple[str, ...]]]:
    """The channels of an entry: place in the file and slots as they are written."""
    for controller, channels in entry.controllers.items():
        for channel, slots in channels.items():
            yield f"{place}.controllers.{controller}.{channel}", slots


def _texts(value: object, path: Path = ()) -> Iterator[tuple[Path, str]]:
    """Every text in a file, keys too, with its path."""
    if isinstance(value, str):
        yield path, value
    elif isinstance(value, dict):
        for key, inside in value.items():
            yield (*path, str(key)), str(key)
            yield from _texts(inside, (*path, str(key)))
    elif isinstance(value, list | tuple):
        for index, inside in enumerate(value):
            yield from _texts(inside, (*path, index))


def read_modules(file: BoardFile) -> list[Module]:
    """The usual modules that can be read, in the file's order."""
    modules = []
    for entry in file.modules:
        try:
            modules.append(parse_label(entry.label))
        except InputError:
            continue
    return modules


def _modules(file: BoardFile) -> Problems:
    """Usual modules can be read, are taken by the board, and stand once."""
    rows = [row for row in effective_rows(file.rules, file.electrical.generation) if row.severity == "error"]
    nothing = Wiring((), ())
    sound = [row for row in rows if row.judged_at("module") and not any(row.problems("", nothing))]
    seen: list[Module] = []
    for place, entry in placed("modules", file.modules):
        text = entry.label
        try:
            module = parse_label(text)
        except InputError as error:
            problem = error.problems[0]
            yield place, problem.found, "a JEDEC label such as '32GB 2Rx4 PC4-2933Y-R'", problem.hint
            continue
        if module in seen:
            yield place, quoted(text), "each usual module once", ""
        seen.append(module)
        for breach in judge_module(sound, module):
            yield place, f"{quoted(text)}: {breach.found}", f"{breach.allowed} (rule {breach.rule})", ""


def _interleave(file: BoardFile, board: Wiring) -> Problems:
    """The style has just what it needs: ways for even and any, groups for groups."""
    row = file.electrical.interleave
    place = "electrical.interleave"
    by_groups = row.style == "groups"
    if by_groups and row.ways:
        yield f"{place}.ways", "ways", "no ways, since style is groups: the groups say it", ""
    if not by_groups and row.groups:
        yield f"{place}.groups", "groups", f"no groups, since style is {row.style}", ""
    if by_groups and not row.groups:
        yield f"{place}.groups", "nothing", "the channel groups, since style is groups", ""
    if not by_groups and not row.ways:
        yield f"{place}.ways", "nothing", "the permitted numbers of channels", ""
    most = max((len(socket.channels) for socket in board.sockets), default=0)
    for ways in row.ways:
        if ways > most:
            yield f"{place}.ways", str(ways), f"at most {most}, the channels of the largest socket", ""
    if len(set(row.ways)) != len(row.ways):
        yield f"{place}.ways", "a number twice", "each number once", ""
    yield from _groups(row, board)


def _groups(row: InterleaveRow, board: Wiring) -> Problems:
    """Listed groups name channels that are there, each once."""
    place = "electrical.interleave"
    channels = sorted({channel.id for socket in board.sockets for channel in socket.channels})
    for at, group in placed(f"{place}.groups", row.groups):
        where = f"{at}.channels"
        yield from known_names(group.channels, channels, where, "channel ids of a socket")
        if len(set(group.channels)) != len(group.channels):
            yield where, "a channel twice", "each channel once", ""
    for group_set, count in Counter(frozenset(group.channels) for group in row.groups).items():
        if count > 1:
            yield f"{place}.groups", f"group {' '.join(sorted(group_set))} twice", "each group once", ""


def _rules(file: BoardFile, board: Wiring) -> Problems:
    """Rows name sockets and slots that are there, and no two rows speak of the same thing."""
    if not any(row.field == "kind" for row in of_kind(file.rules, AcceptRow)):
        yield "rules", "no row accepts module kinds", 'a row with check = "accept", field = "kind"', ""
    subjects = Counter(row.subject for row in file.rules if row.module_field)
    for (check, field), count in subjects.items():
        if count > 1:
            yield "rules", f"{count} rows with check {check} for {field}", "one row for each field", ""
    for place, row in placed("rules", file.rules):
        yield from row.problems(place, board)


def _rates(file: BoardFile) -> Problems:
    """Rates are those of the generation and of the board, and no module meets two rows."""
    generation, listed = file.electrical.generation, file.electrical.rates_mts

    def unknown(place: str, mts: int) -> tuple[str, str, str, str]:
        near = min(RATES_MTS[generation], key=lambda known: abs(known - mts))
        return place, f"{mts}", f"rates of {generation} in MT/s", f"The nearest is {near}."

    yield from (unknown("electrical.rates_mts", mts) for mts in listed if mts not in RATES_MTS[generation])
    for place, row in placed("rates", file.rates):
        if row.mts == "none" or row.mts in listed:
            continue
        if row.mts not in RATES_MTS[generation]:
            yield unknown(f"{place}.mts", row.mts)
        else:
            yield f"{place}.mts", f"{row.mts}", "a rate of electrical.rates_mts, or none", ""
    for (first, one), (place, other) in itertools.combinations(placed("rates", file.rates), 2):
        if _speak_of_the_same(one, other):
            yield place, f"the case of {first} ({one.id}) once more", "one row for each case", ""


def _rates_cover(file: BoardFile, board: Wiring) -> Problems:
    """Every module and every number on a channel that the rules allow has a rate row."""
    limits = [row for row in of_kind(board.rules, RankLimitRow) if row.severity == "error"]
    slot_counts = sorted({len(channel.slots) for socket in board.sockets for channel in socket.channels})
    for case, slots in itertools.product(_allowed_cases(file, read_modules(file)), slot_counts):
        kind, ranks = Kind(str(case["kinds"])), int(str(case["package_ranks"]))
        for dpc in range(1, slots + 1):
            rows = (row for row in file.rates if row.dpc == dpc and (not row.slots or slots in row.slots))
            missing = not any(row.may_mean(case) for row in rows)
            if missing and all(ranks_counted(row, kind, ranks) + dpc - 1 <= row.most for row in limits):
                size = f" with {case['capacity_gib']} GiB" if "capacity_gib" in case else ""
                what = f"{kind.value} of {ranks} ranks{size}, {dpc} on a channel of {slots}"
                yield "rates", f"no row for {what}", 'a row (mts = "none" where the board does not run so)', ""


def ranks_counted(row: RankLimitRow, kind: Kind, package_ranks: int) -> int:
    """What a module counts for in a rank limit, at least: an LRDIMM is one load, logical ranks are no fewer."""
    return 1 if row.count == "loads" and kind.unstacked is Kind.LRDIMM else package_ranks


def _allowed_cases(file: BoardFile, modules: list[Module]) -> list[dict[str, object]]:
    """What is known of the modules that the rules allow: every usual one, and each accepted kind by ranks and voltage.

    Of a usual module only that is told apart by which some row tells modules apart.
    """
    told = [name for name in MEANT_BY if name in _ALWAYS or any(getattr(row, name) for row in file.rates)]
    cases: list[dict[str, object]] = [{name: getattr(m, MEANT_BY[name]) for name in told} for m in modules]
    accepted = {row.field: row.values for row in of_kind(file.rules, AcceptRow)}
    voltages = sorted({module.voltage_mv for module in modules})
    for kind in Kind:
        if kind.value in accepted.get("kind", ()):
            ranks = accepted.get("package_ranks") or sorted({m.package_ranks for m in modules}) or (1,)
            numbers = [int(r) for r in ranks if str(r).isdigit()]
            cases += [dict(zip(_ALWAYS, (kind, r, v), strict=True)) for r in numbers for v in voltages]
    found = {tuple(str(case[name]) for name in _ALWAYS) + tuple(map(str, case.values())): case for case in cases}
    return [found[key] for key in sorted(found)]


_ALWAYS = ("kinds", "package_ranks", "voltage_mv")


def _speak_of_the_same(one: RateRow, other: RateRow) -> bool:
    slots = not one.slots or not other.slots or not set(one.slots).isdisjoint(other.slots)
    return one.dpc == other.dpc and slots and one.meets(other)


def _served(file: BoardFile, board: Wiring) -> Problems:
    """Channels that a processor serves are there, and each socket has one of them."""
    ids = sorted({channel.id for socket in board.sockets for channel in socket.channels})
    for at, option in placed("processors", file.processors):
        place = f"{at}.channels"
        wrong = [*known_names(option.channels, ids, place, "channel ids of a socket")]
        yield from wrong
        bare = [socket.id for socket in board.sockets if option.channels and not socket.serving(option.channels).slots]
        if bare and not wrong:
            yield place, f"no channel of {', '.join(bare)}", "a channel of each socket", ""


def _nodes(file: BoardFile, board: Wiring) -> Problems:
    """A setting shares out every controller of its sockets, each to one node."""
    for place, row in placed("nodes", file.nodes):
        named = [controller for controllers in row.nodes.values() for controller in controllers]
        if row.socket is not None:
            wrong = [*known_names([row.socket], board.socket_ids, f"{place}.socket", "sockets of the board")]
            if wrong:
                yield from wrong
                continue
        sockets = [socket for socket in board.sockets if row.socket in (None, socket.id)]
        ids = sorted({controller.id for socket in sockets for controller in socket.controllers})
        yield from known_names(named, ids, f"{place}.nodes", "controllers of its sockets")
        twice = [controller for controller, times in Counter(named).items() if times > 1]
        if twice:
            yield f"{place}.nodes", f"controller {', '.join(twice)} twice", "each controller in one node", ""
        missing = [controller for controller in ids if controller not in named]
        if missing and row.socket is not None:
            yield f"{place}.nodes", f"no node for {', '.join(missing)}", "a node for each controller", ""


def _trays(file: BoardFile, board: Wiring) -> Problems:
    """Trays hold slots of the board, each in one tray, and the drawing names the same trays."""
    holds: dict[str, str] = {}
    for name, slots, _ in trays(file):
        place = f"electrical.trays.{name}"
        yield from known_names(slots, board.slots, place, "slots of the board")
        for slot in slots:
            if slot in holds:
                other = "twice" if holds[slot] == name else f"which {holds[slot]} holds"
                yield place, f"{quoted(slot)}, {other}", "each slot in one tray", ""
            holds.setdefault(slot, name)
    yield from _apart("electrical.trays", "tray", [name for name, _, _ in trays(file)])
    known = list(file.electrical.trays)
    yield from known_names(file.physical.trays, known, "physical.trays", "trays of electrical.trays")
    for name, tray in file.physical.trays.items():
        if bool(tray.at_mm) != bool(tray.size_mm):
            yield f"physical.trays.{name}", "one of at_mm and size_mm", "both, or neither", ""
        elif tray.at_mm and "{socket}" in name:
            allowed = "no at_mm: each is drawn around its slots"
            yield f"physical.trays.{name}", "one place for several trays", allowed, ""


def _processors(file: BoardFile) -> Problems:
    if file.electrical.processors_differ:
        place = "electrical.processors_differ"
        if len(file.processors) < 2:
            yield place, f"true with {counted(len(file.processors), 'processor')}", "two rows of processors or more", ""
        if file.electrical.rate_scope != "system" and of_kind(file.rules, AlikeRow):
            allowed = 'sockets that need not be alike, or rate_scope = "system"'
            yield place, "true, sockets alike, and rates of their own", allowed, ""
    for place, option in placed("processors", file.processors):
        for rate in option.rates:
            if rate.mts not in RATES_MTS[file.electrical.generation]:
                yield f"{place}.rates", f"{rate.mts}", f"rates of {file.electrical.generation} in MT/s", ""


def _sources(file: BoardFile) -> Problems:
    """Every source id resolves, in the project's list or in the file's own."""
    ids = {*SOURCES, *file.sources}
    parts = ("rules", "rates", "processors", "nodes")
    cited = [(f"{place}.source", row.source) for part in parts for place, row in placed(part, getattr(file, part))]
    for place, source in [*cited, ("electrical.interleave.source", file.electrical.interleave.source)]:
        if current_id(source) not in ids and source not in ids:
            hint = did_you_mean(source, sorted(ids)) or "Add it to the [sources] table of this file."
            yield place, quoted(source), "a known source id", hint


def _aliases(file: BoardFile, board: Wiring) -> Problems:
    tables = (("aliases", "alias", file.electrical.aliases), ("edac", "name", file.electrical.edac))
    for key, what, table in tables:
        yield from known_names(table, board.slots, f"electrical.{key}", "slots of the board")
        yield from _apart(f"electrical.{key}", what, [name for names in table.values() for name in names])
    order = file.electrical.code_order
    if order and Counter(order) != Counter(board.slots):
        yield "electrical.code_order", "other slots than the board's", "every slot of the board once", ""
