"""What every kind of rule is: the row that is written, how it is judged, and how a person hears of it.

A kind is one class. It names its question, says what it can judge and how, words itself, and tells the search what it
needs to know. A test goes through all classes and demands every part.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import ClassVar, Literal, NamedTuple, TypeVar

from dimmplan.errors import did_you_mean
from dimmplan.model.board import Board, Channel, Socket
from dimmplan.model.module import Module
from dimmplan.model.request import Mode
from dimmplan.model.rows import ProcessorOption, Row
from dimmplan.units import counted, listed, quoted

Scope = Literal["module", "channel", "controller", "socket", "system"]
Reads = Literal["counts", "channels", "slots"]
Question = Literal["fits", "order", "mix", "capacity", "modes", "firmware", "care"]
Limits = Literal["capacity", "placement", "nothing"]
Couples = Literal["nothing", "types", "fitted", "amounts", "mode"]

Load = tuple[Module | None, ...]
"""What the slots of one channel hold, in fill order."""

Content = Mapping[str, Module | None]
"""What the slots of a board hold; a slot that is missing is empty."""

Populations = Mapping[int, frozenset[str]]
"""For each number of modules that is allowed, the slots that are filled."""

Problems = Iterator[tuple[str, str, str, str]]
"""Problems of a board file: place, what was found, what is allowed, hint."""


class Fault(NamedTuple):
    """How a row is broken: what was found and what is allowed; ``where`` is set where it is not the whole view."""

    found: str
    allowed: str
    where: tuple[str, ...] = ()


class SocketView(NamedTuple):
    """What a socket or controller rule sees; of a controller ``socket`` is the part of the socket that it serves.

    Modules, capacity, types and ``content`` are those of the slots that are known. ``content`` is ``None`` where only
    counts are known: a row that reads counts alone says nothing of slots then, others are not asked. ``unknown`` are
    slots that may hold anything. ``fitted`` are the sockets in use.
    """

    socket: Socket
    modules: int
    capacity_gib: int
    types: tuple[Module, ...]
    content: Content | None = None
    unknown: frozenset[str] = frozenset()
    fitted: tuple[str, ...] = ()
    mode: Mode = Mode.INDEPENDENT

    @classmethod
    def of(
        cls, socket: Socket, content: Content, *, unknown: Iterable[str] = (), fitted: Sequence[str], mode: Mode
    ) -> SocketView:
        """The view of a socket, or of a part of it, whose content is known but for some slots."""
        slots = socket.slots
        view = cls(socket, 0, 0, (), unknown=frozenset(unknown).intersection(slots), fitted=tuple(fitted), mode=mode)
        return view.holding(content, [module for slot in slots if (module := content.get(slot))])

    def holding(self, content: Content, modules: Sequence[Module]) -> SocketView:
        """The same view of other content, whose modules in the socket these are."""
        return self._replace(
            modules=len(modules),
            capacity_gib=sum([module.capacity_gib for module in modules]),
            types=tuple(dict.fromkeys(modules)),
            content=content,
        )

    @property
    def filled(self) -> frozenset[str] | None:
        """The filled slots, where more than counts is known."""
        return None if self.content is None else frozenset(slot for slot in self.socket.slots if self.content.get(slot))

    @property
    def counts(self) -> range:
        """Every number of modules that the socket may have."""
        return range(self.modules, self.modules + len(self.unknown) + 1)


class SystemView(NamedTuple):
    """What a system rule sees: the board, the fitted sockets and their content; ``unknown`` slots may hold anything."""

    board: Board
    fitted: tuple[str, ...]
    content: Content
    unknown: frozenset[str] = frozenset()
    mode: Mode = Mode.INDEPENDENT

    @property
    def sockets(self) -> list[Socket]:
        """The fitted sockets."""
        return [self.board.socket(socket_id) for socket_id in self.fitted]

    @property
    def known_sockets(self) -> list[Socket]:
        """The fitted sockets whose content is known whole."""
        return [socket for socket in self.sockets if self.unknown.isdisjoint(socket.slots)]


class Wiring(NamedTuple):
    """What a row is checked against in a board file: the sockets, and the rows in force."""

    sockets: tuple[Socket, ...]
    rules: tuple[Rule, ...]
    processors: tuple[str, ...] = ()

    @property
    def socket_ids(self) -> list[str]:
        """Ids of the sockets, in board order."""
        return [socket.id for socket in self.sockets]

    @property
    def slots(self) -> list[str]:
        """Names of the slots, in board order."""
        return [slot for socket in self.sockets for slot in socket.slots]


class Rule(Row):
    """One kind of rule. Each class narrows ``check`` to its own word and states the class variables."""

    check: str
    question: ClassVar[Question]
    """The question of ``rules BOARD`` that the row answers."""
    scopes: ClassVar[tuple[Scope, ...]]
    """Where the kind can be judged; empty for rows that are only told."""
    judged_in_part: ClassVar[bool] = True
    """True where a view with unknown slots is judged: a fault is then one whatever those slots hold."""
    stays_broken: ClassVar[bool] = False
    """True where nothing that is added mends a broken row."""
    tells_types: ClassVar[bool] = True
    """False where a controller or socket is judged by slots, counts, capacities and what is the same alone.

    ``True`` is always right: the search then takes no set of types for another that runs alike.
    """
    limits: ClassVar[Limits]
    """What the row alone can keep a request from having: enough capacity, a placement at all, or nothing."""
    passes_over: ClassVar[bool] = False
    """True where ``populations`` hold without the slots that cannot be used; else those with such a slot are out."""
    couples: ClassVar[Couples] = "nothing"
    """What a row of system scope ties between sockets, which is what the search has to fix before it looks at one.

    ``types``: which types are used (``apart_by``). ``fitted``: which sockets are. ``amounts``: how much or what each
    socket holds (``alike``, ``populations``). ``mode``: what a mode needs (the hooks of ``ModeRow``).
    """

    # -- judgement -------------------------------------------------------------------------------------------------

    def judged_at(self, scope: Scope) -> bool:
        """True where this row is judged at that scope."""
        return scope in self.scopes

    def of_module(self, module: Module) -> Iterator[Fault]:
        """Where a module type breaks the row."""
        raise NotImplementedError

    def of_channel(self, channel: Channel, load: Load) -> Iterator[Fault]:
        """Where a channel's load breaks the row; of a channel known in part only the known slots are given."""
        raise NotImplementedError

    def of_controller(self, view: SocketView) -> Iterator[Fault]:
        """Where the content of one controller breaks the row."""
        raise NotImplementedError

    def of_socket(self, view: SocketView) -> Iterator[Fault]:
        """Where a socket's content breaks the row."""
        raise NotImplementedError

    def of_system(self, view: SystemView) -> Iterator[Fault]:
        """Where a placement breaks the row."""
        raise NotImplementedError

    # -- words -----------------------------------------------------------------------------------------------------

    def sentence(self) -> str:
        """The row in plain words; the board's own wording goes before."""
        return self.text or self.wording()

    def brief(self) -> str:
        """The row where what it allows is told beside it: the sentence, without a long list."""
        return self.sentence()

    def wording(self) -> str:
        """The standard sentence of the kind."""
        raise NotImplementedError

    def answers(self, question: str) -> bool:
        """True where the row belongs to that question of ``rules BOARD``."""
        return question == self.question

    def told_at(self, content: Content) -> tuple[str, ...] | None:
        """The slots for which a row that is only told must be told; empty for the whole board, ``None`` for never."""
        return None

    # -- slots that it names ---------------------------------------------------------------------------------------

    marks: ClassVar[str] = ""
    """What ``slot_marks`` mean, in words; empty for a kind that names no slots."""

    def slot_marks(self, sockets: Sequence[Socket]) -> dict[str, str]:
        """The slots that the row names, each with a few signs for what it says of the slot."""
        return {}

    # -- names and fields ------------------------------------------------------------------------------------------

    @property
    def module_field(self) -> str:
        """The field of a module that the row speaks about; empty for most kinds."""
        return ""

    @property
    def subject(self) -> tuple[str, str]:
        """What the row speaks about: a board's own row replaces the usual one of the same subject."""
        return self.check, self.module_field

    @property
    def only_at(self) -> tuple[str, ...]:
        """The sockets that the row is about; empty for all."""
        return ()

    def problems(self, place: str, wiring: Wiring) -> Problems:
        """What is wrong with the row in the file of a board wired so."""
        yield from ()

    def among(self, rows: Iterable[Rule]) -> Rule:
        """The row as it stands among the others of its board."""
        return self

    def on(self, board: Board, option: ProcessorOption | None) -> Rule:
        """The row as it stands on a board with these processors."""
        return self

    # -- what the search asks --------------------------------------------------------------------------------------

    def reads(self, scope: Scope) -> Reads:
        """How closely the row looks at a channel, a controller or a socket; the search judges it there.

        ``counts``: how many modules of which types; of a channel its load. Slots that the row prescribes
        (``populations``) count as read. ``channels``: what each channel holds, where equal channels may trade and the
        order within one makes no difference that putting each in its best order would not make good. ``slots``: which
        slot holds what, or which channel it is by its name; nothing is interchangeable then. That is always right, and
        slower than the others.
        """
        return "counts"

    @property
    def alike(self) -> Literal["", "capacity", "count", "population"]:
        """What all fitted sockets have to have the same of, where the row couples amounts."""
        return ""

    @property
    def tells_alike_apart(self) -> bool:
        """True where the row may treat modules differently that are alike but for their rate and label."""
        return self.module_field == "rate_mts"

    def in_mode(self, mode: Mode) -> bool:
        """True where the row is judged in a mode."""
        return True

    def apart_by(self, module: Module) -> object:
        """What must not differ between the types of a system, where the row couples types."""
        raise NotImplementedError

    def populations(self, socket: str | None, fitted: Sequence[str], mode: Mode) -> Populations | None:
        """The slots that are filled with so many modules at a socket, or in the whole machine (``None``).

        A number that is missing is refused. ``None`` where the row prescribes no slots there.
        """
        return None


K = TypeVar("K", bound=Row)


def of_kind(rows: Iterable[Row], kind: type[K]) -> list[K]:
    """The rows of one kind."""
    return [row for row in rows if isinstance(row, kind)]


def known_names(names: Iterable[str], among: Sequence[str], place: str, allowed: str) -> Problems:
    """A problem for every name that is none of those that may stand there."""
    for name in names:
        if name not in among:
            yield place, quoted(name), allowed, did_you_mean(name, among)


# -- words for the fields of a module -------------------------------------------------------------------------------


class _Field(NamedTuple):
    """How a field of a module is named, and how its value is written after its name and by itself."""

    noun: str
    named: str = "{}"
    alone: str = ""


_FIELDS = {
    "generation": _Field("generation"),
    "voltage_mv": _Field("supply voltage", "{} V"),
    "form_factor": _Field("form factor"),
    "kind": _Field("kind"),
    "ecc_bits": _Field("ECC width", "{} bits", "{} ECC bits"),
    "device_width": _Field("device width", "x{}"),
    "package_ranks": _Field("package ranks", "{}", "{} ranks"),
    "logical_ranks": _Field("logical ranks", "{}", "{} logical ranks"),
    "capacity_gib": _Field("capacity", "{} GiB"),
    "rate_mts": _Field("rate", "{} MT/s"),
    "die_family": _Field("die family", "{}", "{} dies"),
}


def field_noun(field: str) -> str:
    """The name of a field in a sentence."""
    return _FIELDS[field].noun


def _written(field: str, value: object) -> str:
    return f"{int(str(value)) / 1000:g}" if field == "voltage_mv" else str(value)


def value_named(field: str, value: object) -> str:
    """A value as it stands after the name of its field."""
    return _FIELDS[field].named.format(_written(field, value))


def value_alone(field: str, value: object) -> str:
    """A value by itself, short, in the trade's words."""
    form = _FIELDS[field].alone or _FIELDS[field].named
    text = form.format(_written(field, value))
    return text.removesuffix("s") if text.startswith("1 ") and field.endswith("ranks") else text


def value_told(module: Module, field: str) -> str:
    """A module's value by itself; of its die the density, not the family that decides."""
    if field == "die_family":
        return f"{module.die_gbit} Gbit dies"
    return value_alone(field, getattr(module, field))


def modules_counted(count: int) -> str:
    """A number of modules in words: ``no module``, ``1 module``, ``2 modules``."""
    return counted(count, "module") if count else "no module"


def named_in_brackets(names: Sequence[str]) -> str:
    """Names that a sentence is about, in brackets; empty for all."""
    return f" ({listed(list(names))})" if names else ""
