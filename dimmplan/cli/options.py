"""Options and arguments that several commands share, worded once, and what a shell offers at each place.

An offer never fails and never prints: no offer beats a wrong one.
"""

import inspect
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import MISSING, asdict, dataclass, field, fields, is_dataclass
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, get_type_hints

import typer

from dimmplan.errors import InputError, Problem, did_you_mean
from dimmplan.model.request import DEFAULT_EFFORT, DEFAULT_MAX_TYPES, Mode
from dimmplan.units import quoted, unknown_word, words_problem

if TYPE_CHECKING:
    from dimmplan.inventory.match import Matching
    from dimmplan.model.board import Board as LoadedBoard
    from dimmplan.model.inventory import Inventory
    from dimmplan.planner import Terms
    from dimmplan.stock import Shelf

REQUEST, LIMITS, MACHINE = "The request", "Limits", "What is in the machine"
LATER, MANY, SHEET = "Later steps", "Many machines", "The sheet"
"""Heads of the help under which options stand together."""

# -- what a shell offers -----------------------------------------------------------------------------------------------

_CHOICES = {"paper": ("a4", "letter", "a5"), "ink": ("colour", "mono"), "front": ("down", "up")}
Offer = Callable[[typer.Context, str], list[str]]


def offer(choices: Callable[[typer.Context], Iterable[str]]) -> Offer:
    """Decisions as a completion: those that begin with what is typed; the last of several with commas between."""

    def complete(context: typer.Context, incomplete: str) -> list[str]:
        found: list[str] = []
        with suppress(Exception, SystemExit):
            before, comma, last = incomplete.rpartition(",")
            found = [f"{before}{comma}{choice}" for choice in choices(context) if choice.startswith(last)]
        return found

    return complete


def _board(context: typer.Context) -> "LoadedBoard":
    """The board that the command line names so far: by itself, or by the plan or code that it is about.

    Where an option still lacks its value, the parser has not yet got to the arguments; they wait in ``args``.
    """
    from dimmplan.boardfile.read import load_board

    said, waiting = context.params, next(iter(context.args), None)
    plan = said.get("against") or said.get("to") or said.get("plan")
    named = said.get("board") or (waiting if "board" in said else None)
    if named and not plan:
        return load_board(str(named))
    from dimmplan.cli.plans import read_judged

    board_file = said.get("board_file")
    return read_judged(str(plan or waiting), Path(board_file) if board_file else None).board


def _board_ids(_: typer.Context) -> list[str]:
    from dimmplan.boardfile.read import boards_by_id

    return sorted(boards_by_id())


def _lists(_: typer.Context) -> list[str]:
    from dimmplan.solve.criteria import LISTS

    return list(LISTS)


def _labels(context: typer.Context) -> list[str]:
    """Labels of the shelf that is named, or the board's usual ones, and their sizes."""
    board = _board(context)
    stock = context.params.get("stock")
    if stock:
        from dimmplan.stock import read_shelf

        return list(dict.fromkeys(lot.label for lot in read_shelf(Path(stock), board).lots if lot.count))
    sizes = dict.fromkeys(f"{module.capacity_gib}GiB" for module in board.modules)
    return [*sizes, *(module.label for module in board.modules)]


board_ids, lists, labels = offer(_board_ids), offer(_lists), offer(_labels)
processors = offer(lambda context: [option.id for option in _board(context).processors])
slots = offer(lambda context: _board(context).slots)
modes = offer(lambda _: list(Mode))
papers = offer(lambda _: _CHOICES["paper"])
inks = offer(lambda _: _CHOICES["ink"])
fronts = offer(lambda _: _CHOICES["front"])
puts = offer(
    lambda context: [
        f"{slot}={module.capacity_gib}GiB" for slot in _board(context).slots for module in _board(context).modules
    ]
)

# -- options and arguments ---------------------------------------------------------------------------------------------


def option(text: str, metavar: str | None = None, *names: str, panel: str | None = None, offers: Any = None) -> Any:
    """An option: its help, what stands for its value, its names where the parameter's is not all, its head."""
    return typer.Option(*names, help=text, metavar=metavar, rich_help_panel=panel, autocompletion=offers)


Board = Annotated[
    str, typer.Argument(help="A shipped board id, or a board file.", metavar="BOARD", autocompletion=board_ids)
]
Plan = Annotated[str, typer.Argument(help="A plan file, - for standard input, or a plan code.", metavar="PLAN_OR_CODE")]
BoardFile = Annotated[Path | None, option("The board's file, where it is not a shipped one.", "FILE")]
Json = Annotated[bool, option("One JSON document on standard output.", None, "--json")]
Force = Annotated[bool, option("Overwrite files that this tool did not make.", None, "--force")]
Fitted = Annotated[
    str | None,
    option(
        "Sockets with a processor, separated by commas. Without it: all.",
        "S,S",
        panel=REQUEST,
        offers=offer(lambda context: [socket.id for socket in _board(context).sockets]),
    ),
]
Processor = Annotated[
    list[str] | None,
    option(
        "Processor option, or SOCKET=OPTION where the board lets sockets differ; may be repeated. Without it: the "
        "first.",
        "OPTION",
        panel=REQUEST,
        offers=processors,
    ),
]
Inlet = Annotated[
    int | None,
    typer.Option(
        help="Warmest air at the inlet, in degrees Celsius: some boards refuse modules above a limit.",
        metavar="C",
        rich_help_panel=REQUEST,
    ),
]
WithoutTray = Annotated[
    list[str] | None,
    option(
        "A tray or riser that is not there; may be repeated.",
        "TRAY",
        panel=REQUEST,
        offers=offer(lambda context: [tray.name for tray in _board(context).physical.trays]),
    ),
]


@dataclass(frozen=True, kw_only=True)
class RequestOptions:
    """What may be said of a request beside its board and capacity, for one placement or for many side by side."""

    head: ClassVar = REQUEST

    module: Annotated[
        list[str],
        option(
            "A JEDEC label or a bare size; may be repeated. Without it: the board's usual ones.", "M", offers=labels
        ),
    ] = field(default_factory=list)
    stock: Annotated[
        Path | None,
        option("Stock list, CSV or TOML: only modules on it are used; with --module, only those in both.", "FILE"),
    ] = None
    over: Annotated[
        str | None, option("How far above the capacity a placement still counts as equal: 10% or 64GiB.", "A")
    ] = None
    fitted: Fitted = None
    mode: Annotated[
        str, option("Memory mode: independent, mirrored, partly-mirrored, lockstep or sparing.", "MODE", offers=modes)
    ] = "independent"
    max_types: Annotated[int, option("How many module types may be used at once.", "N", panel=LIMITS)] = (
        DEFAULT_MAX_TYPES
    )
    effort: Annotated[int, option("Most search nodes for one answer; there is no time limit.", "N", panel=LIMITS)] = (
        DEFAULT_EFFORT
    )

    def terms(self) -> "Terms":
        """What of it goes to ``ask`` as it is."""
        return {
            "modules": self.module,
            "fitted": self.fitted,
            "mode": self.mode,
            "over": self.over,
            "max_types": self.max_types,
            "effort": self.effort,
        }

    def shelf(self, board: "LoadedBoard") -> "Shelf | None":
        """The stock list as that board reads its labels. Raises ``InputError``."""
        if self.stock is None:
            return None
        from dimmplan.stock import read_shelf  # most calls have none

        return read_shelf(self.stock, board)


@dataclass(frozen=True, kw_only=True)
class MapOptions:
    """How a map is drawn, and whose it is."""

    head: ClassVar = SHEET

    paper: Annotated[str, option("a4, letter or a5.", "PAPER", offers=papers)] = "a4"
    ink: Annotated[str, option("colour or mono.", "INK", offers=inks)] = "colour"
    front: Annotated[str, option("Where the front edge is drawn: down or up.", "SIDE", offers=fronts)] = "down"
    tag: Annotated[str | None, option("Tag of the machine.", "TEXT")] = None

    def named(self) -> dict[str, Any]:
        """All of it by name."""
        return asdict(self)

    def check(self) -> None:
        """Raise ``InputError`` for a paper, an ink or a front that is none, and for words that no printer can print."""
        problems = [
            unknown_word(value, choices, file=f"--{name}")
            for name, choices in _CHOICES.items()
            if (value := getattr(self, name)) not in choices
        ]
        problems += [
            problem
            for name, words in self.named().items()
            if name not in _CHOICES and (problem := words_problem(words, file=f"--{name}"))
        ]
        if problems:
            raise InputError(problems)


@dataclass(frozen=True, kw_only=True)
class SheetOptions(MapOptions):
    """How a sheet is drawn, and the words of its title block."""

    title: Annotated[str | None, option("Title of the sheet.", "TEXT")] = None
    date: Annotated[str | None, option("Date, printed on the sheet as given.", "TEXT")] = None


Slots = Annotated[
    Path | None, option("Slot mapping: which slot each locator of the inventory means.", "MAPPING", panel=MACHINE)
]


@dataclass(frozen=True, kw_only=True)
class InventoryOptions:
    """What a person says of an inventory that meets a board."""

    head: ClassVar = MACHINE

    slots: Slots = None
    data_saved: Annotated[
        list[str], option("A slot on hold whose data is saved; may be repeated.", "SLOT", offers=slots)
    ] = field(default_factory=list)
    rest_empty: Annotated[
        bool,
        option(
            "Slots that the inventory does not list are empty. For a list that names filled slots only.",
            None,
            "--rest-empty",
        ),
    ] = False

    def matched(self, inventory: str, board: "LoadedBoard") -> "tuple[Inventory, Matching]":
        """The inventory as read, and which slot each device is. Raises ``InputError``."""
        from dimmplan.inventory.match import match_slots, read_mapping, with_rest_empty
        from dimmplan.inventory.reader import read_inventory  # most calls read no machine

        wrong = [slot for slot in self.data_saved if slot not in board.slots]
        if wrong:
            found, hint = quoted(wrong[0]), did_you_mean(wrong[0], board.slots)
            raise InputError(Problem(file="--data-saved", found=found, allowed="slots of the board", hint=hint))
        answers = read_mapping(self.slots, board) if self.slots else {}
        read = read_inventory(inventory)
        if self.rest_empty:
            read = with_rest_empty(read, board, answers)
        return read, match_slots(read, board, answers)


def grouped(command: Callable[..., None]) -> Callable[..., None]:
    """A command whose parameters may be such groups: each of their fields is an option, and they come as objects.

    In the help they stand under the ``head`` of the group where they name none.
    """
    signature = inspect.signature(command, eval_str=True)
    groups: dict[str, type[Any]] = {}
    options: list[inspect.Parameter] = []
    for parameter in signature.parameters.values():
        if not is_dataclass(parameter.annotation):
            options.append(parameter.replace(kind=inspect.Parameter.KEYWORD_ONLY))
            continue
        group: Any = parameter.annotation
        groups[parameter.name] = group
        hints = get_type_hints(group, include_extras=True)
        for each in fields(group):
            default: Any = each.default if each.default_factory is MISSING else each.default_factory()
            kind, its = inspect.Parameter.KEYWORD_ONLY, hints[each.name]
            its.__metadata__[0].rich_help_panel = its.__metadata__[0].rich_help_panel or group.head
            options.append(inspect.Parameter(each.name, kind, default=default, annotation=its))

    @wraps(command)
    def called(**given: Any) -> None:
        for name, group in groups.items():
            given[name] = group(**{each.name: given.pop(each.name) for each in fields(group)})
        command(**given)

    called.__signature__ = signature.replace(parameters=options)  # type: ignore[attr-defined]
    return called
