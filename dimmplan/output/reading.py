"""A plan that is read back: its placement, whether its board allows it, and whether all beside it follows from it.

Nothing that a plan file says of itself is believed where it can be worked out: figures, counts and code must follow
from the slots, and the rules are judged again. A plan that disagrees with itself, or breaks a rule, is never *proven*.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from dimmplan.bounded import check_length, parse_json
from dimmplan.errors import MOST_PROBLEMS, Cause, ImpossibleError, InputError, Problem, RefusedError, did_you_mean
from dimmplan.figures import PlacementFigures, figures_if_any
from dimmplan.model.board import Board
from dimmplan.model.label import parse_label
from dimmplan.model.placement import Finding, Placement, board_of
from dimmplan.model.request import Mode
from dimmplan.output.record import OfPlan, Record, means
from dimmplan.plancode.code import decode, read_head
from dimmplan.solve.criteria import LISTS
from dimmplan.units import cleaned, format_capacity, quoted, words_problem
from dimmplan.wording import placement_findings

MOST_BYTES = 4 << 20
"""A plan's JSON is no longer than this, in bytes."""
_NOT_FROM_THE_SLOTS = ("board", "stopped", "totals.cost")
"""Keys of a placement's record that other things decide."""


class _Lenient(BaseModel):
    """Records of later releases may carry more keys."""

    model_config = ConfigDict(frozen=True, extra="ignore")


class _ReadBoard(_Lenient):
    id: str = Field(max_length=60)
    electrical_digest: str = Field(max_length=64)
    drawing_digest: str = Field(default="", max_length=64)


class _ReadModule(_Lenient):
    key: str = Field(max_length=2)
    label: str = Field(max_length=80)


class _ReadRequest(_Lenient):
    capacity_gib: int = Field(ge=1, le=1 << 20)
    over_gib: int | None = Field(default=None, ge=0, le=1 << 20)
    max_types: int | None = Field(default=None, ge=1, le=1 << 10)
    modules: tuple[str, ...] = Field(default=(), max_length=10_000)


class SheetWords(_Lenient):
    """What ``plan`` was given for the title block."""

    title: str | None = Field(default=None, max_length=200)
    tag: str | None = Field(default=None, max_length=200)
    date: str | None = Field(default=None, max_length=200)


class _ReadPlan(_Lenient):
    format: Literal[1]
    board: _ReadBoard
    fitted: tuple[str, ...] = Field(min_length=1, max_length=64)
    processor: str | None = None
    processors: dict[str, str] = Field(default={}, max_length=64)
    absent_trays: tuple[str, ...] = Field(default=(), max_length=64)
    inlet_c: int | None = Field(default=None, ge=0, le=62)
    mode: Mode
    prefer: str
    request: _ReadRequest
    status: Literal["proven", "best-found"]
    modules: tuple[_ReadModule, ...] = Field(max_length=26)
    slots: dict[str, str | None] = Field(max_length=4096)
    hold: tuple[str, ...] = ()
    code: str | None = Field(default=None, max_length=20_000)
    sheet: SheetWords = SheetWords()


_FOUND = {"None": "null", "True": "true", "False": "false"}
_ALLOWED = {
    "missing": "this key is required",
    "model_type": "an object",
    "dict_type": "an object",
    "tuple_type": "a list",
    "string_type": "a text",
}
"""What pydantic names in Python's words."""


class PlanFile(NamedTuple):
    """A plan file of the right form: the keys that are read, and the whole document."""

    file: str
    record: _ReadPlan
    document: Mapping[str, Any]


def read_plan(content: bytes, *, file: str) -> PlanFile:
    """A plan from a JSON document. Raises ``InputError`` with every problem of its form."""
    allowed = "a plan of dimmplan, as plan --json writes it"
    check_length(len(content), MOST_BYTES, file=file, allowed=allowed)
    if not content.strip():
        hint = "If this is another command's output, that command failed: see its error."
        raise InputError(Problem(file=file, found="nothing", allowed=allowed, hint=hint))
    raw = parse_json(content, file=file, allowed=allowed)
    if isinstance(raw, dict):
        _relay(raw, file=file, allowed=allowed)
    try:
        plan = PlanFile(file, _ReadPlan.model_validate(raw), raw)
    except ValidationError as error:
        raise InputError(
            Problem(
                file=file,
                place=".".join(cleaned(str(part), most=40) for part in detail["loc"]),
                found=_FOUND.get(repr(detail["input"]), quoted(str(detail["input"]), most=40))
                if detail["type"] != "missing"
                else "nothing",
                allowed=_ALLOWED.get(detail["type"], detail["msg"].removeprefix("Input should be ")),
            )
            for detail in error.errors(include_url=False)[:20]
        ) from None
    words = [words_problem(text, file=file, place=f"sheet.{name}") for name, text in plan.record.sheet]
    if any(words):
        raise InputError(problem for problem in words if problem)
    return plan


def _relay(document: Mapping[str, Any], *, file: str, allowed: str) -> None:
    """Raise what a failed command said where its answer is given as a plan: its problems, or its causes."""
    status, errors, causes = document.get("status"), _told(document.get("errors")), _told(document.get("causes"))
    if errors and "slots" not in document:
        raise InputError(Problem(**_words(each, Problem._fields[:-1])) for each in errors)
    if status == "impossible":
        near = document.get("nearest")
        below, above = (near.get(key) if isinstance(near, dict) else None for key in ("below_gib", "above_gib"))
        raise ImpossibleError(
            [Cause(**_words(each, Cause._fields)) for each in causes],
            below_gib=below if isinstance(below, int) else None,
            above_gib=above if isinstance(above, int) else None,
        )
    if status == "refused":
        raise RefusedError(Cause(**_words(each, Cause._fields)) for each in causes)
    if status == "stopped":
        raise InputError(Problem(file=file, found="a search that was stopped before it found a plan", allowed=allowed))


def _told(value: Any) -> list[dict[str, Any]]:
    return [each for each in value[:MOST_PROBLEMS] if isinstance(each, dict)] if isinstance(value, list) else []


def _words(told: Mapping[str, Any], keys: Iterable[str]) -> dict[str, Any]:
    return {key: cleaned(str(told.get(key) or ""), most=400) for key in keys}


def placement_of(plan: PlanFile, board: Board) -> Placement:
    """The placement of a plan file on its board.

    A board whose electrical part has changed since is accepted as long as every name still resolves; the placement
    keeps the digest that it was made with, so that sheets and codes of it tell. Raises ``InputError`` where they do
    not belong together.
    """
    from dimmplan.planner import read_processor  # noqa: PLC0415 - a code needs no search

    file, record, _ = plan
    if record.board.id != board.id:
        raise InputError(Problem(file=file, place="board.id", found=quoted(record.board.id), allowed=quoted(board.id)))
    problems = [
        Problem(
            file=file,
            place=place,
            found=quoted(found),
            allowed=allowed,
            hint=did_you_mean(found, list(LISTS)) if place == "prefer" else "",
        )
        for place, found, allowed in _mismatches(record, board)
    ]
    if problems and record.board.electrical_digest != board.electrical_digest:
        found = f"{board.id} has changed since this plan was made"
        hint = "Do not use this map: plan again, or give the board file that it was made on."
        problems.insert(0, Problem(file=file, place="board.electrical_digest", found=found, hint=hint))
    if problems:
        raise InputError(problems)
    modules = {
        module.key: parse_label(module.label, file=file, place="modules", usual=board.modules)
        for module in record.modules
    }
    return Placement(
        board=board.id,
        electrical_digest=record.board.electrical_digest,
        fitted=tuple(socket.id for socket in board.sockets if socket.id in record.fitted),
        processor=read_processor(board, _seats(record), record.fitted),
        absent=tuple(tray.name for tray in board.physical.trays if tray.name in record.absent_trays),
        inlet_c=record.inlet_c,
        mode=record.mode,
        prefer=record.prefer,
        capacity_gib=record.request.capacity_gib,
        status=record.status,
        slots=tuple((slot, modules[key] if (key := record.slots.get(slot)) else None) for slot in board.slots),
        hold=tuple(slot for slot in board.slots if slot in record.hold),
    )


def _seats(record: _ReadPlan) -> list[str] | None:
    """The processors of a plan, as they are given to a request."""
    if record.processors:
        return [f"{socket}={option}" for socket, option in record.processors.items()]
    return None if record.processor is None else [record.processor]


def _mismatches(record: _ReadPlan, board: Board) -> list[tuple[str, str, str]]:
    """Names that do not belong to the board, or not together: each with its place and what is allowed there."""
    filled = [(slot, key) for slot, key in record.slots.items() if key]
    keys = [module.key for module in record.modules]
    options = [option.id for option in board.processors]
    seats = record.processors
    mixed = len(set(seats.values())) > 1 and not board.processors_differ
    dead = {slot for socket in board.sockets if socket.id not in record.fitted for slot in socket.slots}
    checks: list[tuple[str, Iterable[str], Container[str], str]] = [
        ("modules", [key for key in dict.fromkeys(keys) if keys.count(key) > 1], (), "each key once"),
        ("fitted", record.fitted, [socket.id for socket in board.sockets], "sockets of the board"),
        ("hold", record.hold, board.slots, "slots of the board"),
        ("slots", record.slots, board.slots, "slots of the board"),
        *((f"slots.{slot}", [key], keys, "a module key") for slot, key in filled),
        ("prefer", [record.prefer], LISTS, ", ".join(LISTS)),
        ("processor", [record.processor] if record.processor is not None else [], options, _OPTION),
        *(
            check
            for socket, option in seats.items()
            for check in (
                ("processors", [socket], record.fitted, "fitted sockets"),
                (f"processors.{socket}", [option], options, _OPTION),
            )
        ),
        ("processors", [", ".join(seats.values())] if mixed else [], (), "one option for all sockets"),
        ("absent_trays", record.absent_trays, [tray.name for tray in board.physical.trays], "trays of the board"),
        ("slots", [] if filled else ["no module in any slot"], (), "a plan with a placement"),
        *((f"slots.{slot}", [key], (), "nothing: its processor is absent") for slot, key in filled if slot in dead),
    ]
    return [(place, name, allowed) for place, names, known, allowed in checks for name in names if name not in known]


_OPTION = "a processor option of the board"


# -- judged --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, slots=True)
class JudgedPlan:
    """A plan that was read back. ``broken`` are error rows of its board, ``disagreements`` what does not follow.

    With either, its placement is not called proven. ``sheet`` and ``request`` are what a file says of them;
    ``beside`` names what else it was made from: modules kept, a stock list, a chain of steps.
    """

    board: Board
    placement: Placement
    same_drawing: bool = True
    broken: tuple[Finding, ...] = ()
    disagreements: tuple[Problem, ...] = ()
    sheet: SheetWords = field(default_factory=SheetWords)
    request: _ReadRequest | None = None
    beside: tuple[str, ...] = ()

    @property
    def good(self) -> bool:
        """True where it obeys its board and agrees with itself."""
        return not self.broken and not self.disagreements

    @property
    def causes(self) -> tuple[Cause, ...]:
        """Why it is not good, in words: the rules that it breaks, else what disagrees."""
        broken = tuple(Cause(rule=each.rule, text=each.text, source=each.source) for each in self.broken)
        return broken or tuple(Cause(rule="plan", text=each.sentence()) for each in self.disagreements)


def judge_file(plan: PlanFile, board: Board) -> JudgedPlan:
    """A plan file held against its board. Raises ``InputError`` where its names do not belong there."""
    placement, record = placement_of(plan, board), plan.record
    figures = _figures(board, placement)
    disagreements = tuple(_disagreements(plan, board, placement, figures))
    judged = _judged(board, placement, figures, disagreements, file=plan.file, believed=record.code is not None)
    same_drawing = record.board.drawing_digest in ("", board.drawing_digest)
    beside = tuple(key for key in ("kept", "stock", "growth") if key in plan.document)
    return replace(judged, same_drawing=same_drawing, sheet=record.sheet, request=record.request, beside=beside)


def judge_code(text: str, board: Board) -> JudgedPlan:
    """A plan code held against its board. Raises ``InputError`` where it was not made there."""
    head = read_head(text)
    placement = decode(head, board)
    judged = _judged(board, placement, _figures(board, placement), (), file="plan code", believed=True)
    return replace(judged, same_drawing=head.same_drawing(board))


def _figures(board: Board, placement: Placement) -> PlacementFigures | None:
    """The figures of a placement, ``None`` where it cannot run; the rules then say why."""
    option, there = board.processor(placement.processor), board_of(board, placement)
    return figures_if_any(there, option, placement.fitted, placement.content, mode=placement.mode)


def _judged(
    board: Board,
    placement: Placement,
    figures: PlacementFigures | None,
    disagreements: tuple[Problem, ...],
    *,
    file: str,
    believed: bool,
) -> JudgedPlan:
    board = board_of(board, placement)
    findings = placement_findings(board, placement, figures)
    broken = tuple(finding for finding in findings if finding.severity == "error")
    if placement.status == "proven" and figures is not None and figures.usable_gib < placement.capacity_gib:
        found, most = format_capacity(placement.capacity_gib), format_capacity(figures.usable_gib)
        allowed = f"at most {most}, which the slots give"
        disagreements += (Problem(file=file, place="request.capacity_gib", found=found, allowed=allowed),)
    if broken or disagreements or not believed:
        placement = replace(placement, status="best-found")
    return JudgedPlan(board=board, placement=placement, broken=broken, disagreements=disagreements)


def _disagreements(
    plan: PlanFile, board: Board, placement: Placement, figures: PlacementFigures | None
) -> Iterator[Problem]:
    """What a plan file says and its slots do not: figures only where the board's electrical part is still the same."""
    if plan.record.code is not None and not _code_agrees(plan.record.code, board, placement):
        allowed = "the code of these slots, sockets and terms"
        yield Problem(file=plan.file, place="code", found=quoted(plan.record.code, most=40), allowed=allowed)
    if placement.electrical_digest != board.electrical_digest:
        return
    from dimmplan.output.plan import following_keys  # noqa: PLC0415 - a code needs no records

    expected = following_keys(board_of(board, placement), placement, figures)
    for place, found, follows in _differences(expected, plan.document, ""):
        text, allowed = quoted(str(found), most=40), cleaned(str(follows), most=80)
        yield Problem(file=plan.file, place=place, found=text, allowed=f"{allowed}, which follows from the slots")


def _code_agrees(code: str, board: Board, placement: Placement) -> bool:
    try:
        head = read_head(code)
        coded = decode(head, board)
    except InputError:
        return False
    same = head.made_on(placement.electrical_digest)
    return same and replace(coded, electrical_digest=placement.electrical_digest) == placement


def _differences(expected: Any, given: Any, place: str) -> Iterator[tuple[str, object, object]]:
    """Place, found and expected of whatever is given otherwise than expected; keys that are not given are no matter."""
    if place in _NOT_FROM_THE_SLOTS:
        return
    if isinstance(expected, dict) and isinstance(given, dict):
        for key, value in expected.items():
            if key in given:
                yield from _differences(value, given[key], f"{place}.{key}".lstrip("."))
    elif _are_rows(expected) and _are_rows(given) and len(expected) == len(given):
        for number, (mine, theirs) in enumerate(zip(expected, given, strict=True), start=1):
            yield from _differences(mine, theirs, f"{place}[{number}]")
    elif expected != given and expected not in ([], {}):
        yield place, given, ", ".join(map(str, expected)) if isinstance(expected, list) else expected


def _are_rows(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(item, dict) for item in value)


# -- files written -----------------------------------------------------------------------------------------------------


AsText = Annotated[str | None, BeforeValidator(lambda value: value if value is None else str(value))]


class BetterEntry(Record):
    """A better placement than the plan."""

    criterion: str = means("the first criterion in which it is better", of="separation.name")
    plan: AsText = means("its value in the plan", of="separation.plan")
    better: AsText = means("and in the better placement", of="separation.alternative")
    slots: list[str] = means("slots that the better placement fills")


class ProofEntry(Record):
    """What a new search says of a plan."""

    proven: bool = means("no better placement of these modules", by=lambda proof: proof.placement.status == "proven")
    better: BetterEntry | None = means(
        "a better placement, null where there is none", by=lambda proof: proof if proof.separation else None
    )


class FilesDocument(OfPlan, commands="draw"):
    """The files written; `proof` with `--prove`."""

    files: list[str] = means("in the order of the pages")
    proof: ProofEntry | None = means("what a new search says of the plan", default=None)
