"""What a board file must mean, beyond its form. Every check yields problems; none stops another."""

from __future__ import annotations

import itertools
import re
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import replace

from dimmplan.boardfile.expand import expand_physical, expand_sockets
from dimmplan.boardfile.schema import BoardFile
from dimmplan.errors import InputError, Problem, did_you_mean
from dimmplan.model.board import Box, Physical, Socket
from dimmplan.model.defaults import effective_rows
from dimmplan.model.label import parse_label
from dimmplan.model.module import RATES_MTS, Kind, Module
from dimmplan.model.rows import (
    AcceptRow,
    AlikeRow,
    BlanksRow,
    CeilingRow,
    CountsRow,
    FillOrderRow,
    FittedRow,
    InterleaveRow,
    MixRow,
    RankLimitRow,
    RateRow,
    RuleRow,
    SequenceRow,
)
from dimmplan.sources import SOURCES
from dimmplan.units import cleaned, quoted

Found = Iterator[tuple[str, str, str, str]]
"""Place, what was found, what is allowed, hint."""

_TOUCH_MM = 0.01
_KINDS = [kind.value for kind in Kind]
_FORBIDDEN_IN_NAMES = re.compile(r"[=,;]|^\s|\s$|\s\s")


def check_meaning(board_file: BoardFile, *, file: str, lost: Collection[str] = ()) -> list[Problem]:
    """Every problem of meaning in a file whose form has been read.

    ``lost`` are places that could not be read. Where sockets, rows of slots or rates are among them, nobody can say
    which names are wrong, or what has no rate.
    """
    board = _Wiring(board_file)
    physical = expand_physical(board_file)
    if {"physical", "physical.rows"} & {*lost}:
        physical = replace(physical, slots=())
    wired = not _any_in(lost, "electrical.sockets")
    found = itertools.chain(
        _names(board_file, board),
        _modules(board_file),
        _rates(board_file),
        _processors(board_file),
        _sources(board_file),
        _places(board_file, physical),
    )
    if wired:
        found = itertools.chain(
            found,
            _interleave(board_file, board),
            _rules(board_file, board),
            _aliases(board_file, board),
        )
    if wired and not _any_in(lost, "rates"):
        found = itertools.chain(found, _rates_cover(board_file, board))
    if wired and not _any_in(lost, "physical.rows"):
        found = itertools.chain(found, _slots_drawn(board_file, board, physical))
    problems = [
        Problem(file=file, place=cleaned(p), found=cleaned(f), allowed=cleaned(a, most=1000), hint=cleaned(h, most=400))
        for p, f, a, h in found
    ]
    return list(dict.fromkeys(problems))


def _any_in(lost: Iterable[str], part: str) -> bool:
    """True where a part of the file, something in it, or the table that holds it could not be read."""
    return any(place.startswith((part, f"{part}[")) or place == part.split(".", maxsplit=1)[0] for place in lost)


class _Wiring:
    """The electrical part, expanded, with the look-ups that the checks share."""

    def __init__(self, file: BoardFile) -> None:
        self.sockets: tuple[Socket, ...] = expand_sockets(file)
        self.socket_ids = [socket.id for socket in self.sockets]
        self.slots = [slot for socket in self.sockets for slot in socket.slots]
        self.rules: tuple[RuleRow, ...] = effective_rows(file.rules, file.electrical.generation)


def folded(name: str) -> str:
    """A name as the eye may confuse it: case and blanks do not count."""
    return "".join(name.split()).casefold()


def _names(file: BoardFile, board: _Wiring) -> Found:
    """Ids are readable, and stay apart after folding case and blanks."""
    for index, entry in enumerate(file.electrical.sockets):
        place = f"electrical.sockets[{index + 1}]"
        if bool(entry.id) == bool(entry.ids):
            yield place, "both id and ids" if entry.id else "neither id nor ids", "id for one socket, or ids", ""
        several = len(entry.ids) > 1
        for controller, channels in entry.controllers.items():
            for channel, slots in channels.items():
                for slot in slots:
                    if several and "{socket}" not in slot:
                        where = f"{place}.controllers.{controller}.{channel}"
                        yield where, quoted(slot), "slot names with {socket}, since ids names several sockets", ""
    yield from _apart("electrical.sockets", "socket id", board.socket_ids)
    yield from _apart("electrical.sockets", "slot name", board.slots)
    for socket in board.sockets:
        where = f"electrical.sockets.{cleaned(socket.id)}"
        yield from _apart(where, "channel id", [channel.id for channel in socket.channels])
        yield from _apart(where, "controller id", [controller.id for controller in socket.controllers])
    ids = [("rules", row.id) for row in file.rules] + [("rates", row.id) for row in file.rates]
    yield from _apart("rules and rates", "row id", [row_id for _, row_id in ids])
    yield from _apart("processors", "processor id", [option.id for option in file.processors])
    written = [*board.slots, *board.socket_ids, *(row_id for _, row_id in ids)]
    written += [channel.id for socket in board.sockets for channel in socket.channels]
    written += [controller.id for socket in board.sockets for controller in socket.controllers]
    written += [file.title, *(mark.name for mark in file.physical.landmarks), *file.physical.access]
    written += [option.id for option in file.processors]
    for text in dict.fromkeys([*written, *_texts(file.model_dump(mode="json"))]):
        if not text.isprintable():
            yield "names", quoted(text), "printable characters only", ""
    for text in dict.fromkeys([*board.slots, *board.socket_ids, *(option.id for option in file.processors)]):
        if _FORBIDDEN_IN_NAMES.search(text) or "{" in text:
            yield "names", quoted(text), "no comma, semicolon, equals sign, brace or blank at an end", ""


def _texts(value: object) -> Iterator[str]:
    """Every text in a file, keys too."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for key, inside in value.items():
            yield str(key)
            yield from _texts(inside)
    elif isinstance(value, list | tuple):
        for inside in value:
            yield from _texts(inside)


def _apart(place: str, what: str, names: Sequence[str]) -> Found:
    for name, group in itertools.groupby(sorted(names, key=folded), key=folded):
        same = list(group)
        if len(same) > 1:
            listed = ", ".join(quoted(each) for each in dict.fromkeys(same))
            yield place, f"{what} {listed} {len(same)} times", "names that differ in more than case and blanks", ""
        if not name:
            yield place, f"an empty {what}", "a name", ""


def read_modules(file: BoardFile) -> list[Module]:
    """The usual modules that can be read, in the file's order."""
    modules = []
    for text in file.modules:
        try:
            modules.append(parse_label(text))
        except InputError:
            continue
    return modules


def _modules(file: BoardFile) -> Found:
    """Usual modules can be read, are taken by the board, and stand once."""
    rows = effective_rows(file.rules, file.electrical.generation)
    accepts = [row for row in rows if isinstance(row, AcceptRow) and row.severity == "error"]
    seen: list[Module] = []
    for index, text in enumerate(file.modules):
        place = f"modules[{index + 1}]"
        try:
            module = parse_label(text)
        except InputError as error:
            problem = error.problems[0]
            yield place, problem.found, problem.allowed, problem.hint
            continue
        if module in seen:
            yield place, quoted(text), "each usual module once", ""
        seen.append(module)
        for row in accepts:
            value = getattr(module, row.field)
            if not any(str(value) == str(allowed) for allowed in row.values):
                allowed = f"{row.field} {', '.join(str(v) for v in row.values)} (rule {row.id})"
                yield place, f"{quoted(text)} with {row.field} {value}", allowed, ""


def _interleave(file: BoardFile, board: _Wiring) -> Found:
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


def _groups(row: InterleaveRow, board: _Wiring) -> Found:
    """Listed groups name channels that are there, each once."""
    place = "electrical.interleave"
    known = {channel.id for socket in board.sockets for channel in socket.channels}
    for index, group in enumerate(row.groups):
        where = f"{place}.groups[{index + 1}].channels"
        yield from _known(group.channels, sorted(known), where, "channel ids of a socket")
        if len(set(group.channels)) != len(group.channels):
            yield where, "a channel twice", "each channel once", ""
    for group_set, count in Counter(frozenset(group.channels) for group in row.groups).items():
        if count > 1:
            yield f"{place}.groups", f"group {' '.join(sorted(group_set))} twice", "each group once", ""


def _rules(file: BoardFile, board: _Wiring) -> Found:
    """Rows name sockets and slots that are there, and no two rows speak of the same thing."""
    accepts = {row.field for row in file.rules if isinstance(row, AcceptRow)}
    if "kind" not in accepts:
        yield "rules", "no row accepts module kinds", 'a row with check = "accept", field = "kind"', ""
    subjects = Counter((row.check, row.field) for row in file.rules if isinstance(row, AcceptRow | MixRow))
    for (check, field), count in subjects.items():
        if count > 1:
            yield "rules", f"{count} rows with check {check} for {field}", "one row for each field", ""
    for index, row in enumerate(file.rules):
        yield from _rule(row, f"rules[{index + 1}]", board)


def _rule(row: RuleRow, place: str, board: _Wiring) -> Found:
    if isinstance(row, CeilingRow | CountsRow):
        yield from _known(row.sockets, board.socket_ids, f"{place}.sockets", "sockets of the board")
    if isinstance(row, CountsRow):
        yield from _counts(row, place, board)
    if isinstance(row, FittedRow):
        for fitted in row.sets:
            yield from _known(fitted, board.socket_ids, f"{place}.sets", "sockets of the board")
    if isinstance(row, BlanksRow):
        yield from _known(row.slots, board.slots, f"{place}.slots", "slots of the board")
    if isinstance(row, AlikeRow):
        yield from _alike(row, place, board)
    if isinstance(row, AcceptRow) and row.field == "kind":
        yield from _known([str(value) for value in row.values], _KINDS, f"{place}.values", ", ".join(_KINDS))
    if isinstance(row, SequenceRow):
        yield from _sequence(row, place, board)


def _counts(row: CountsRow, place: str, board: _Wiring) -> Found:
    """No count is above the slots of the sockets meant."""
    meant = [socket for socket in board.sockets if not row.sockets or socket.id in row.sockets]
    most = max((len(socket.slots) for socket in meant), default=0)
    for count in row.modules:
        if count > most:
            yield f"{place}.modules", str(count), f"at most {most}, the slots of the socket", ""


def _alike(row: AlikeRow, place: str, board: _Wiring) -> Found:
    """Only sockets of one shape can be required to have the same population."""
    builds = {socket.build for socket in board.sockets}
    if row.what == "population" and row.severity == "error" and len(builds) > 1:
        yield f"{place}.what", "population", "capacity or count, since the sockets are built differently", ""


def _sequence(row: SequenceRow, place: str, board: _Wiring) -> Found:
    """A prescribed order names every slot of its socket once and never leaves a gap in a channel."""
    yield from _known((row.socket,), board.socket_ids, f"{place}.socket", "a socket of the board")
    socket = next((socket for socket in board.sockets if socket.id == row.socket), None)
    if socket is None:
        return
    if Counter(row.slots) != Counter(socket.slots):
        missing = sorted(set(socket.slots) - set(row.slots))
        found = f"without {', '.join(missing)}" if missing else "a slot twice or of another socket"
        yield f"{place}.slots", found, f"each of the {len(socket.slots)} slots of {socket.id} once", ""
        return
    if any(isinstance(rule, FillOrderRow) and rule.severity == "error" for rule in board.rules):
        for channel in socket.channels:
            order = [slot for slot in row.slots if slot in channel.slots]
            if order != list(channel.slots):
                yield f"{place}.slots", f"{' '.join(order)}", f"fill order {' '.join(channel.slots)}", ""


def _known(names: Iterable[str], known: Sequence[str], place: str, allowed: str) -> Found:
    for name in names:
        if name not in known:
            yield place, quoted(name), allowed, did_you_mean(name, known)


def _rates(file: BoardFile) -> Found:
    """Rates are those of the generation and of the board, and no module meets two rows."""
    generation = file.electrical.generation
    for mts in file.electrical.rates_mts:
        if mts not in RATES_MTS[generation]:
            near = min(RATES_MTS[generation], key=lambda known: abs(known - mts))
            yield "electrical.rates_mts", f"{mts}", f"rates of {generation} in MT/s", f"The nearest is {near}."
    for index, row in enumerate(file.rates):
        if row.mts != "none" and row.mts not in file.electrical.rates_mts:
            yield f"rates[{index + 1}].mts", f"{row.mts}", "a rate of electrical.rates_mts, or none", ""
    for (i, one), (j, other) in itertools.combinations(enumerate(file.rates), 2):
        if _speak_of_the_same(one, other):
            place = f"rates[{j + 1}]"
            yield place, f"a row for what rates[{i + 1}] ({one.id}) rules already", "one row for each case", ""


def _rates_cover(file: BoardFile, board: _Wiring) -> Found:
    """Every module and every number on a channel that the rules allow has a rate row."""
    limits = [r for r in board.rules if isinstance(r, RankLimitRow) and r.severity == "error" and r.count == "package"]
    most_ranks = min((row.most for row in limits), default=64)
    slot_counts = sorted({len(channel.slots) for socket in board.sockets for channel in socket.channels})
    cases = _allowed_cases(file, read_modules(file))
    for case, slots in itertools.product(cases, slot_counts):
        kind, ranks, _ = case
        for dpc in range(1, slots + 1):
            missing = not any(rate_row_fits(row, case, dpc=dpc, slots=slots) for row in file.rates)
            if missing and ranks + dpc - 1 <= most_ranks:
                what = f"{kind.value} of {ranks} ranks, {dpc} on a channel of {slots}"
                yield "rates", f"no row for {what}", 'a row (mts = "none" where the board does not run so)', ""


def _allowed_cases(file: BoardFile, modules: list[Module]) -> list[tuple[Kind, int, int]]:
    """Kind, package ranks and voltage that the rules allow: those of the usual modules, and every accepted kind."""
    cases = [(module.kind, module.package_ranks, module.voltage_mv) for module in modules]
    accepted = {row.field: row.values for row in file.rules if isinstance(row, AcceptRow)}
    voltages = {module.voltage_mv for module in modules}
    for kind in Kind:
        if kind.value in accepted.get("kind", ()):
            ranks = accepted.get("package_ranks") or sorted({m.package_ranks for m in modules}) or (1,)
            cases += [(kind, int(r), v) for r in ranks for v in sorted(voltages) if str(r).isdigit()]
    return sorted(set(cases), key=lambda case: (case[0].value, case[1:]))


def rate_row_fits(row: RateRow, case: tuple[Kind, int, int], *, dpc: int, slots: int) -> bool:
    """True where the row speaks of such a module (kind, package ranks, voltage) on such a channel."""
    kind, ranks, voltage_mv = case
    return (
        row.dpc == dpc
        and (not row.kinds or kind in row.kinds)
        and (not row.package_ranks or ranks in row.package_ranks)
        and (not row.slots or slots in row.slots)
        and (not row.voltage_mv or voltage_mv in row.voltage_mv)
    )


def _speak_of_the_same(one: RateRow, other: RateRow) -> bool:
    def meet(mine: Sequence[object], theirs: Sequence[object]) -> bool:
        return not mine or not theirs or bool(set(mine) & set(theirs))

    return (
        one.dpc == other.dpc
        and meet(one.kinds, other.kinds)
        and meet(one.package_ranks, other.package_ranks)
        and meet(one.slots, other.slots)
        and meet(one.voltage_mv, other.voltage_mv)
    )


def _processors(file: BoardFile) -> Found:
    for index, option in enumerate(file.processors):
        for rate in option.rates:
            if rate.mts not in RATES_MTS[file.electrical.generation]:
                place = f"processors[{index + 1}].rates"
                yield place, f"{rate.mts}", f"rates of {file.electrical.generation} in MT/s", ""


def _sources(file: BoardFile) -> Found:
    """Every source id resolves, in the project's list or in the file's own."""
    known = {*SOURCES, *file.sources}
    cited = [(f"rules[{i + 1}].source", row.source) for i, row in enumerate(file.rules)]
    cited += [(f"rates[{i + 1}].source", row.source) for i, row in enumerate(file.rates)]
    cited += [(f"processors[{i + 1}].source", option.source) for i, option in enumerate(file.processors)]
    cited.append(("electrical.interleave.source", file.electrical.interleave.source))
    for place, source in cited:
        if source not in known:
            hint = did_you_mean(source, sorted(known)) or "Add it to the [sources] table of this file."
            yield place, quoted(source), "a known source id", hint


def _aliases(file: BoardFile, board: _Wiring) -> Found:
    yield from _known(file.electrical.aliases, board.slots, "electrical.aliases", "slots of the board")
    names = [alias for aliases in file.electrical.aliases.values() for alias in aliases]
    yield from _apart("electrical.aliases", "alias", names)
    order = file.electrical.code_order
    if order and Counter(order) != Counter(board.slots):
        yield "electrical.code_order", "other slots than the board's", "every slot of the board once", ""


def _slots_drawn(file: BoardFile, board: _Wiring, physical: Physical) -> Found:
    """The electrical and the physical part name the same slots and sockets."""
    for index, row in enumerate(file.physical.rows):
        place = f"physical.rows[{index + 1}]"
        if isinstance(row.start_mm, dict):
            yield from _known(row.start_mm, board.socket_ids, f"{place}.start_mm", "sockets of the board")
            if len(row.start_mm) > 1 and any("{socket}" not in slot for slot in row.slots):
                yield f"{place}.slots", "a slot name without {socket}", "slot names with {socket}", ""
    drawn = Counter(place.slot for place in physical.slots)
    for slot, count in drawn.items():
        if slot not in board.slots:
            hint = did_you_mean(slot, board.slots)
            yield "physical.rows", f"slot {quoted(slot)}", "slots that the electrical part names", hint
        elif count > 1:
            yield "physical.rows", f"slot {quoted(slot)} {count} times", "each slot once", ""
    for slot in dict.fromkeys(board.slots):
        if slot not in drawn:
            yield "physical.rows", f"no place for slot {quoted(slot)}", "a place for every slot", ""
    boxes = [socket for socket, _ in physical.sockets]
    yield from _known(boxes, board.socket_ids, "physical.sockets", "sockets of the board")
    for socket in dict.fromkeys(board.socket_ids):
        if socket not in boxes:
            yield "physical.sockets", f"no place for socket {quoted(socket)}", "a place for every socket", ""


def _places(file: BoardFile, physical: Physical) -> Found:
    """Nothing lies outside the board, and nothing lies on something else (a baffle may lie over slots)."""
    things = [(f"slot {place.slot}", place.box) for place in physical.slots]
    things += [(f"socket {socket}", box) for socket, box in physical.sockets]
    solid = things + [(f"landmark {mark.name}", mark.box) for mark in physical.landmarks if mark.kind != "baffle"]
    whole = Box(x_mm=0, y_mm=0, width_mm=physical.width_mm, depth_mm=physical.depth_mm)
    for name, box in things:
        if not _inside(box, whole):
            yield "physical", f"{cleaned(name)} outside the outline", f"within {_size(whole)}", ""
    for name, other in _overlapping(solid):
        yield "physical", f"{cleaned(name)} and {cleaned(other)} overlap", "things that lie apart", ""
    for x, y in file.physical.outline_mm:
        if not (0 <= x <= physical.width_mm and 0 <= y <= physical.depth_mm):
            yield "physical.outline_mm", f"[{x:g}, {y:g}]", f"within {_size(whole)}", ""
    if 0 < len(file.physical.outline_mm) < 3:
        yield "physical.outline_mm", f"{len(file.physical.outline_mm)} points", "at least three points", ""


def _size(box: Box) -> str:
    return f"{box.width_mm:g} x {box.depth_mm:g} mm"


def _inside(box: Box, whole: Box) -> bool:
    return (
        box.x_mm >= -_TOUCH_MM
        and box.y_mm >= -_TOUCH_MM
        and box.x_mm + box.width_mm <= whole.width_mm + _TOUCH_MM
        and box.y_mm + box.depth_mm <= whole.depth_mm + _TOUCH_MM
    )


def _overlapping(things: list[tuple[str, Box]]) -> Iterator[tuple[str, str]]:
    """Names of pairs whose boxes share more than an edge; sweeps from left to right."""
    ordered = sorted(things, key=lambda thing: thing[1].x_mm)
    for index, (name, box) in enumerate(ordered):
        for other, other_box in ordered[index + 1 :]:
            if other_box.x_mm >= box.x_mm + box.width_mm - _TOUCH_MM:
                break
            lower, upper = sorted((box, other_box), key=lambda b: b.y_mm)
            if upper.y_mm < lower.y_mm + lower.depth_mm - _TOUCH_MM:
                yield name, other
