"""From what a person asks to a placement: requests read and checked against a board, then solved."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING, TypedDict, TypeVar

from dimmplan.errors import Cause, ImpossibleError, InputError, Problem, RefusedError
from dimmplan.figures import PlacementFigures, placement_figures
from dimmplan.model.board import Board
from dimmplan.model.label import parse_label
from dimmplan.model.module import Module
from dimmplan.model.placement import Finding, Placement, board_of
from dimmplan.model.request import DEFAULT_EFFORT, DEFAULT_MAX_TYPES, Mode, Request, Supply
from dimmplan.rules import FittedRow, all_rows, judge_module, of_kind
from dimmplan.solve.answer import Answer, solve
from dimmplan.solve.criteria import LISTS
from dimmplan.supply import left_out_causes, same_on_board, shortfall_of, supplies_of
from dimmplan.units import parse_capacity, unknown_word

if TYPE_CHECKING:
    from dimmplan.stock import Shelf

MOST_TYPES = 4
T = TypeVar("T")
_PERCENT = re.compile(r"\s*(\d{1,3})(?:\.(\d{1,3}))?\s*%\s*", re.ASCII)


@dataclass(frozen=True, kw_only=True)
class Planned:
    """A request with its answer, and the answer as a placement."""

    board: Board
    request: Request
    answer: Answer
    placement: Placement
    remarks: tuple[Finding, ...] = ()
    """Findings about the plan beside those of its placement and its request."""

    @cached_property
    def figures(self) -> PlacementFigures:
        """The figures of the placement."""
        option, placement = self.board.processor(self.placement.processor), self.placement
        return placement_figures(self.board, option, placement.fitted, placement.content, mode=placement.mode)

    @property
    def cost(self) -> Fraction | None:
        """What the modules to be bought cost; ``None`` unless every allowed type has a price."""
        supplies = self.request.supplies
        if not supplies or not all(supply.priced for supply in supplies):
            return None
        return sum((supply.cost(self.placement.count(supply.module)) for supply in supplies), Fraction(0))


class Terms(TypedDict, total=False):
    """What may be said of a request beside its board and capacity, in the words of ``ask``."""

    modules: Sequence[str]
    fitted: str | None
    processor: str | Sequence[str] | None
    mode: str
    prefer: str | None
    over: str | None
    max_types: int
    effort: int


def ask(
    board: Board,
    capacity: str,
    *,
    modules: Sequence[str] = (),
    supplies: Sequence[Supply] | None = None,
    shelf: Shelf | None = None,
    fitted: str | Sequence[str] | None = None,
    processor: str | Sequence[str] | None = None,
    mode: str = Mode.INDEPENDENT.value,
    prefer: str | None = None,
    over: str | None = None,
    max_types: int = DEFAULT_MAX_TYPES,
    effort: int = DEFAULT_EFFORT,
) -> Request:
    """A request from text as people type it.

    ``capacity`` and ``over`` carry their unit (``over`` may be a share, ``10%``); ``modules`` are labels or bare
    sizes, none means every usual module of the board; ``fitted`` are socket ids, none means all. With ``supplies``, or
    a ``shelf``, these alone are used; with ``modules`` too, what is in both.

    Raises ``InputError`` with every problem of the call, or ``RefusedError`` for a module that the board refuses.
    """
    problems: list[Problem] = []
    gib = _collect(problems, lambda: parse_capacity(capacity, file="--capacity"))
    sockets = _collect(problems, lambda: read_fitted(board, fitted))
    option = _collect(problems, lambda: read_processor(board, processor, sockets))
    asked = [_collect(problems, lambda text=text: read_module(board, text)) for text in modules]  # type: ignore[misc]
    said: Terms = {"mode": mode, "prefer": prefer, "over": over, "max_types": max_types, "effort": effort}
    chosen_mode, chosen_list, allowance = _read_terms(said, gib or 0, problems)
    if problems:
        raise InputError(problems)
    bare = [socket for socket in sockets or () if not board.serving(board.processor(option)).socket(socket).slots]
    if bare:
        found = f"no slot left at {', '.join(bare)}"
        left = [socket for socket in sockets or () if socket not in bare]
        rows = of_kind(all_rows(board, board.processor(option)), FittedRow)
        fits = left and all(set(left) in map(set, row.sets) for row in rows if row.severity == "error")
        hint = f"Without the processor too it is --fitted {','.join(left)}" if fits else "Leave a tray in."
        source = "--without-tray" if board.absent else "--fitted"
        raise InputError(Problem(file=source, found=found, allowed="sockets with slots", hint=hint))
    assert gib is not None and sockets is not None and chosen_list is not None and chosen_mode is not None
    offered = tuple(module for module in asked if module is not None)
    _refuse_modules(board, option, offered)
    return Request(
        capacity_gib=gib,
        supplies=_supplies(board, offered, supplies if shelf is None else supplies_of(board, shelf, option)),
        fitted=sockets,
        processor=option,
        mode=chosen_mode,
        prefer=chosen_list,
        over_gib=allowance,
        max_types=max_types,
        effort=effort,
    )


def check_terms(terms: Terms) -> None:
    """Raise ``InputError`` with every problem of terms that is one whatever the board."""
    problems: list[Problem] = []
    _read_terms(terms, 0, problems)
    if problems:
        raise InputError(problems)


def _read_terms(terms: Terms, gib: int, problems: list[Problem]) -> tuple[Mode | None, str | None, int | None]:
    """Mode, list and allowance in GiB of a request; ``problems`` gets what is wrong with them and with the numbers."""
    mode, over = terms.get("mode", Mode.INDEPENDENT.value), terms.get("over")
    max_types, effort = terms.get("max_types", DEFAULT_MAX_TYPES), terms.get("effort", DEFAULT_EFFORT)
    chosen = (terms.get("prefer") or "capacity-first").strip().casefold()
    read = _collect(problems, lambda: read_mode(mode))
    if chosen not in LISTS:
        problems.append(unknown_word(chosen, list(LISTS), file="--prefer"))
    allowance = _collect(problems, lambda: read_over(over, gib)) if over is not None else None
    if not 1 <= max_types <= MOST_TYPES:
        problems.append(Problem(file="--max-types", found=str(max_types), allowed=f"1 to {MOST_TYPES}"))
    elif effort < 1:
        problems.append(Problem(file="--effort", found=str(effort), allowed="a number of nodes from 1 on"))
    return read, chosen, allowance


def _collect(problems: list[Problem], read: Callable[[], T]) -> T | None:
    """The value read, or ``None`` and its problems kept: so that one run names everything wrong with a call."""
    try:
        return read()
    except InputError as error:
        problems += error.problems
        return None


def read_fitted(board: Board, fitted: str | Sequence[str] | None) -> tuple[str, ...]:
    """Sockets fitted, in board order; all of them where nothing is said. Raises ``InputError``."""
    known = [socket.id for socket in board.sockets]
    if fitted is None:
        return tuple(known)
    named = [name.strip() for name in (fitted.split(",") if isinstance(fitted, str) else fitted)]
    folded = {name.casefold(): name for name in known}
    wrong = [name for name in named if name.casefold() not in folded]
    if wrong:
        raise InputError(unknown_word(wrong[0], known, file="--fitted"))
    if not named:
        raise InputError(Problem(file="--fitted", found="nothing", allowed=", ".join(known)))
    chosen = {folded[name.casefold()] for name in named}
    return tuple(name for name in known if name in chosen)


MOST_INLET_C = 62


def check_inlet(inlet_c: int | None) -> None:
    """Raise ``InputError`` for inlet air, in degrees Celsius, that no machine room has."""
    if inlet_c is not None and not 0 <= inlet_c <= MOST_INLET_C:
        raise InputError(Problem(file="--inlet", found=f"{inlet_c}", allowed=f"0 to {MOST_INLET_C} °C"))


def read_trays(board: Board, trays: Sequence[str], inlet_c: int | None = None) -> Board:
    """The board without the trays named, with the inlet air in degrees Celsius. Raises ``InputError``."""
    check_inlet(inlet_c)
    board = board if inlet_c is None else replace(board, inlet_c=inlet_c)
    known = [tray.name for tray in board.physical.trays]
    absent = {_known("--without-tray", tray, known, "no trays: this board has none") for tray in trays}
    return board.without(absent)


def _known(file: str, text: str, known: Sequence[str], none: str) -> str:
    """A name as the board spells it. Raises ``InputError``."""
    found = next((name for name in known if name.casefold() == text.strip().casefold()), None)
    if found is None:
        raise InputError(unknown_word(text, known, file=file, none=none))
    return found


def read_processor(
    board: Board, processor: str | Sequence[str] | None, fitted: Sequence[str] | None = None
) -> str | None:
    """A processor option's id, or ``S1=one,S2=other`` where fitted sockets carry different ones.

    Each text is an option for all sockets, or ``SOCKET=OPTION``, or several of these with commas. Sockets that are
    not named carry the option for all, the board's first where nothing is said. Raises ``InputError``.
    """
    file, texts = "--processor", [processor] if isinstance(processor, str) else processor or ()
    known = [option.id for option in board.processors]
    sockets = fitted or [socket.id for socket in board.sockets]
    usual = known[0] if known else None
    own: dict[str, str] = {}
    for said in (part for text in texts for part in text.split(",")):
        socket, equals, option = said.rpartition("=")
        chosen = _known(file, option, known, "none: this board lists no processor options")
        if equals:
            own[_known(file, socket, sockets, "")] = chosen
        else:
            usual = chosen
    seats = {socket: own.get(socket, usual or "") for socket in sockets}
    if len(set(seats.values())) <= 1:
        return next(iter(seats.values())) or None
    if not board.processors_differ:
        raise InputError(Problem(file=file, found="different options", allowed="one option for all sockets"))
    return ",".join(f"{socket}={option}" for socket, option in seats.items())


def read_module(board: Board, text: str) -> Module:
    """A module from a label, or the board's usual one of a bare size. Raises ``InputError``."""
    if re.fullmatch(r"\s*[\d.,]+\s*[a-zA-Z]*\s*", text):
        size = parse_capacity(text, file="--module")
        module = board.module_of_size(size)
        if module is None:
            sizes = ", ".join(f"{gib} GiB" for gib in sorted({usual.capacity_gib for usual in board.modules}))
            hint = "Another size goes in by its label."
            raise InputError(Problem(file="--module", found=f"{size} GiB", allowed=sizes, hint=hint))
        return module
    return parse_label(text, file="--module", usual=board.modules)


def read_over(text: str, capacity_gib: int) -> int:
    """An allowance above the request in GiB, from ``10%`` or ``64GiB``. Raises ``InputError``."""
    match = _PERCENT.fullmatch(text)
    if match is None:
        if re.fullmatch(r"\s*0\s*[a-zA-Z]*\s*", text):
            return 0
        try:
            return parse_capacity(text, file="--over")
        except InputError as error:
            problem = error.problems[0]
            allowed = "a share such as 10%, or a capacity such as 64GiB"
            raise InputError(Problem(file="--over", found=problem.found, allowed=allowed, hint=problem.hint)) from None
    share = Fraction(f"{match[1]}.{match[2] or 0}") / 100
    return int(capacity_gib * share)


def read_mode(mode: str) -> Mode:
    """A mode by its name. Raises ``InputError``."""
    try:
        return Mode(mode.strip().casefold())
    except ValueError:
        raise InputError(unknown_word(mode, [each.value for each in Mode], file="--mode")) from None


def _refuse_modules(board: Board, processor: str | None, modules: Iterable[Module]) -> None:
    """Raise ``RefusedError`` with every rule that a module asked for breaks by itself."""
    rows = [row for row in all_rows(board, board.processor(processor)) if row.severity == "error"]
    causes = [
        Cause(
            rule=breach.rule,
            text=f"The board refuses {module.label}: {breach.found}; allowed: {breach.allowed}.",
            source=breach.source,
        )
        for module in modules
        for breach in judge_module(rows, module)
    ]
    if causes:
        raise RefusedError(causes)


def _supplies(board: Board, offered: Sequence[Module], stocked: Sequence[Supply] | None) -> tuple[Supply, ...]:
    """The modules that may be used: those asked for, those in stock, or what is in both; usual ones otherwise."""
    if stocked is not None:
        wanted = [s for s in stocked if not offered or any(same_on_board(board, s.module, each) for each in offered)]
        return tuple(wanted)
    return tuple(Supply(module=module) for module in dict.fromkeys(offered or board.modules))


def plan(
    board: Board,
    request: Request,
    *,
    alternatives: bool = True,
    steps: bool = False,
    shelf: Shelf | None = None,
    modules: Sequence[str] = (),
) -> Planned:
    """Solve a request and make a placement of the answer. Raises ``ImpossibleError`` where nothing fits.

    ``alternatives`` and ``steps`` are as for ``solve``. Where the request was made with a ``shelf`` (and
    ``modules``), the error says what there is to buy.
    """
    try:
        answer = solve(board, request, alternatives=alternatives, steps=steps)
    except ImpossibleError as error:
        if shelf is None:
            raise
        usual = [*board.modules, *(lot.module for lot in shelf.lots)]
        known = [read_module(board, text) for text in modules] or usual
        nothing = () if request.supplies else left_out_causes(board, shelf, request.processor)
        raise ImpossibleError(
            (*error.causes, *nothing),
            below_gib=error.below_gib,
            above_gib=error.above_gib,
            shortfall=shortfall_of(board, request, shelf, known),
        ) from None
    return planned_of(board, request, answer)


def planned_of(board: Board, request: Request, answer: Answer, *, hold: tuple[str, ...] = ()) -> Planned:
    """An answer with its placement."""
    placement = Placement(
        board=board.id,
        electrical_digest=board.electrical_digest,
        fitted=request.fitted,
        processor=request.processor,
        mode=request.mode,
        prefer=request.prefer,
        capacity_gib=request.capacity_gib,
        status="proven" if answer.proven else "best-found",
        slots=tuple((slot, answer.best.content.get(slot)) for slot in board.slots),
        hold=hold,
        absent=board.absent,
        inlet_c=board.inlet_c,
    )
    return Planned(board=board_of(board, placement), request=request, answer=answer, placement=placement)


def without_mode(planned: Planned) -> Planned | None:
    """The same request in the independent mode, to see what its mode costs; ``None`` without one or if nothing fits."""
    if planned.request.mode is Mode.INDEPENDENT:
        return None
    try:
        return plan(planned.board, replace(planned.request, mode=Mode.INDEPENDENT), alternatives=False)
    except ImpossibleError:
        return None
