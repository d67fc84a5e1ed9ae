"""Rows that no placement breaks and a person must be told of: cooling, blanks, and the board's own notes."""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Annotated, Literal

from pydantic import Field, PrivateAttr

from dimmplan.model.board import Board, Socket
from dimmplan.model.module import Kind, Module
from dimmplan.model.rows import CapacityGib, Name, ProcessorOption, Text
from dimmplan.rules.base import (
    Content,
    Fault,
    Problems,
    Rule,
    SocketView,
    Wiring,
    known_names,
    named_in_brackets,
)
from dimmplan.units import listed


class _HotModules(Rule):
    """A row about modules of ``from_gib`` or more, of ``from_watts`` or more, of ``kinds``; a part left out means any.

    Watts are those of the board's own module rows: a module of which none are known is not meant by them.
    """

    from_gib: CapacityGib | None = None
    from_watts: Annotated[float, Field(gt=0, le=200, allow_inf_nan=False)] | None = None
    kinds: tuple[Kind, ...] = ()
    _board: Board | None = PrivateAttr(default=None)
    _option: ProcessorOption | None = PrivateAttr(default=None)

    def on(self, board: Board, option: ProcessorOption | None) -> Rule:
        """The row with the watts of a board's modules and its processors."""
        found = self.model_copy()
        found._board, found._option = board, option
        return found

    def means(self, module: Module) -> bool:
        """True where the row speaks of such a module."""
        watts = self._board.facts_of(module).watts if self._board is not None else None
        return (
            module.capacity_gib >= (self.from_gib or 0)
            and (self.from_watts is None or watts is not None and watts >= Fraction(str(self.from_watts)))
            and (not self.kinds or module.kind in self.kinds)
        )

    @property
    def tells_alike_apart(self) -> bool:
        """True where watts count: the board file has them by label."""
        return self.from_watts is not None

    def named(self) -> str:
        """The modules in words."""
        kinds = f"{listed([kind.value for kind in self.kinds], last='or')} modules" if self.kinds else "Modules"
        size = [f"{self.from_gib} GiB"] if self.from_gib is not None else []
        size += [f"{self.from_watts:g} W"] if self.from_watts is not None else []
        return f"{kinds} of {' and '.join(size)} or more"

    def problems(self, place: str, wiring: Wiring) -> Problems:
        """The row says from what on."""
        if self.from_gib is None and self.from_watts is None:
            yield place, "neither from_gib nor from_watts", "one of them, or both", ""


class ThermalRow(_HotModules):
    """Such modules need something for their cooling."""

    question = "care"
    scopes = ()
    judged_in_part = False
    limits = "nothing"

    check: Literal["thermal"]
    needs: Text

    def told_at(self, content: Content) -> tuple[str, ...] | None:
        """The slots whose modules need it."""
        return tuple(slot for slot, module in content.items() if module and self.means(module)) or None

    def wording(self) -> str:
        return f"{self.named()} need {self.needs}."


class ThermalLimitRow(_HotModules):
    """Such modules are refused, in sockets with one of ``processors`` where that is given.

    With ``above_inlet_c`` only where the air at the inlet may be warmer; where nobody has said how warm, it is told.
    """

    question = "care"
    scopes = ("socket",)
    stays_broken = True
    limits = "capacity"

    check: Literal["thermal-limit"]
    processors: tuple[Name, ...] = ()
    above_inlet_c: Annotated[int, Field(ge=0, le=61)] | None = None

    def of_socket(self, view: SocketView) -> Iterator[Fault]:
        """The socket has a module that is too hot for it."""
        own = self._option.at(view.socket.id).id if self._option is not None else ""
        if self.above_inlet_c is not None and (self._inlet_c is None or self._inlet_c <= self.above_inlet_c):
            return
        if not self.processors or own in self.processors:
            hot = [module.label for module in view.types if self.means(module)]
            if hot:
                yield Fault(listed(hot), f"no {self.named()}{self._where()}".replace("no Modules", "no modules"))

    @property
    def _inlet_c(self) -> int | None:
        return self._board.inlet_c if self._board is not None else None

    def told_at(self, content: Content) -> tuple[str, ...] | None:
        """The slots whose modules depend on the air at the inlet, of which nobody has said how warm it is."""
        if self.above_inlet_c is None or self._inlet_c is not None:
            return None
        return tuple(slot for slot, module in content.items() if module and self.means(module)) or None

    def _where(self) -> str:
        where = f" with the processor {listed(list(self.processors), last='or')}" if self.processors else ""
        return where + (f" above {self.above_inlet_c} °C at the inlet" if self.above_inlet_c is not None else "")

    def wording(self) -> str:
        return f"{self.named()} are refused{self._where()}."

    def problems(self, place: str, wiring: Wiring) -> Problems:
        """The row says from what on, and its processors are there."""
        yield from super().problems(place, wiring)
        yield from known_names(self.processors, wiring.processors, f"{place}.processors", "processors of the board")


class _Told(Rule):
    """A row that is only told."""

    question = "care"
    scopes = ()
    judged_in_part = False
    limits = "nothing"


class DeviceCorrectionRow(_Told):
    """Error correction makes up for the loss of a whole device only where devices are of these widths."""

    check: Literal["device-correction"]
    device_widths: Annotated[tuple[Literal[4, 8, 16], ...], Field(min_length=1)] = (4,)

    def told_at(self, content: Content) -> tuple[str, ...] | None:
        """The slots whose modules have other devices."""
        weak = (slot for slot, module in content.items() if module and module.device_width not in self.device_widths)
        return tuple(weak) or None

    def wording(self) -> str:
        widths = listed([f"x{width}" for width in self.device_widths], last="or")
        return f"Error correction covers a whole failed {widths} device; modules with other devices weaken it."


class NoteRow(_Told):
    """Something a person must know: firmware settings that change regions, parts that differ between sockets."""

    check: Literal["note"]
    about: Literal["firmware", "parts", "care"]
    text: Text

    def answers(self, question: str) -> bool:
        """Notes on firmware have a question of their own."""
        return question == ("firmware" if self.about == "firmware" else "care")

    def told_at(self, content: Content) -> tuple[str, ...]:
        """Always, for the whole board."""
        return ()

    def wording(self) -> str:
        """The note itself."""
        return self.text


class BlanksRow(_Told):
    """Empty slots that must carry a blank for the air flow; no slots named means all."""

    check: Literal["blanks"]
    slots: tuple[Name, ...] = ()
    marks = "a blank while the slot is empty"

    def slot_marks(self, sockets: Sequence[Socket]) -> dict[str, str]:
        """The slots named, if any."""
        return dict.fromkeys(self.slots, "")

    def wording(self) -> str:
        return f"Empty slots{named_in_brackets(self.slots)} take a blank."

    def problems(self, place: str, wiring: Wiring) -> Problems:
        """The slots are there."""
        yield from known_names(self.slots, wiring.slots, f"{place}.slots", "slots of the board")
