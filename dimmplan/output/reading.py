"""A plan's JSON read back into a placement."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from dimmplan.bounded import check_length, parse_json
from dimmplan.errors import InputError, Problem, did_you_mean
from dimmplan.model.board import Board
from dimmplan.model.label import parse_label
from dimmplan.model.placement import Placement
from dimmplan.model.request import Mode
from dimmplan.solve.criteria import LISTS
from dimmplan.units import cleaned, quoted

MOST_BYTES = 4 << 20
"""A plan's JSON is no longer than this, in bytes."""


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


class _ReadPlan(_Lenient):
    format: Literal[1]
    board: _ReadBoard
    fitted: tuple[str, ...] = Field(min_length=1, max_length=64)
    processor: str | None = None
    mode: Mode
    prefer: str
    request: _ReadRequest
    status: Literal["proven", "best-found"]
    modules: tuple[_ReadModule, ...] = Field(max_length=26)
    slots: dict[str, str | None] = Field(max_length=4096)
    hold: tuple[str, ...] = ()


def read_plan(content: bytes, *, file: str) -> _ReadPlan:
    """A plan record from a JSON document. Raises ``InputError`` with every problem of its form."""
    allowed = "a plan of dimmplan, as plan --json writes it"
    check_length(len(content), MOST_BYTES, file=file, allowed=allowed)
    raw = parse_json(content, file=file, allowed=allowed)
    if isinstance(raw, dict) and raw.get("status") == "impossible":
        raise InputError(Problem(file=file, place="status", found="impossible", allowed="a plan with a placement"))
    try:
        return _ReadPlan.model_validate(raw)
    except ValidationError as error:
        raise InputError(
            Problem(
                file=file,
                place=".".join(cleaned(str(part), most=40) for part in detail["loc"]),
                found="nothing" if detail["type"] == "missing" else quoted(str(detail.get("input")), most=40),
                allowed="this key is required" if detail["type"] == "missing" else detail["msg"],
            )
            for detail in error.errors(include_url=False)[:20]
        ) from None


def placement_of(record: _ReadPlan, board: Board, *, file: str) -> Placement:
    """The placement of a plan record on its board.

    A board whose electrical part has changed since is accepted as long as every name still resolves; the placement
    keeps the digest that it was made with, so that sheets and codes of it tell. Raises ``InputError`` where they do
    not belong together.
    """
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
        problems.insert(0, Problem(file=file, place="board.electrical_digest", found=found, allowed="", hint=hint))
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
        processor=option.id if (option := board.processor(record.processor)) else None,
        mode=record.mode,
        prefer=record.prefer,
        capacity_gib=record.request.capacity_gib,
        status=record.status,
        slots=tuple((slot, modules[key] if (key := record.slots.get(slot)) else None) for slot in board.slots),
        hold=tuple(slot for slot in board.slots if slot in record.hold),
    )


def _mismatches(record: _ReadPlan, board: Board) -> list[tuple[str, str, str]]:
    found: list[tuple[str, str, str]] = []
    known = {module.key for module in record.modules}
    sockets = {socket.id for socket in board.sockets}
    found += [("fitted", name, "sockets of the board") for name in record.fitted if name not in sockets]
    found += [("hold", slot, "slots of the board") for slot in record.hold if slot not in board.slots]
    found += [("slots", slot, "slots of the board") for slot in record.slots if slot not in board.slots]
    found += [(f"slots.{slot}", key, "a module key") for slot, key in record.slots.items() if key and key not in known]
    if record.prefer not in LISTS:
        found.append(("prefer", record.prefer, ", ".join(LISTS)))
    options = {option.id for option in board.processors}
    if record.processor is not None and record.processor not in options:
        found.append(("processor", record.processor, "a processor option of the board"))
    if not any(record.slots.values()):
        found.append(("slots", "no module in any slot", "a plan with a placement"))
    dead = {slot for socket in board.sockets if socket.id not in record.fitted for slot in socket.slots}
    found += [
        (f"slots.{slot}", key, "nothing: its processor is absent")
        for slot, key in record.slots.items()
        if key and slot in dead
    ]
    return found
