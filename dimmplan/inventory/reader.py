"""What a reader of one form of inventory is. A new form is one new file with a ``READER``; nothing else names it."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from functools import cache
from importlib import import_module
from pkgutil import iter_modules
from typing import ClassVar

import dimmplan.inventory
from dimmplan.inventory.files import Piece
from dimmplan.inventory.oddities import Oddities
from dimmplan.model.inventory import Inventory


class Reader(ABC):
    """Sniffs, reads and names one form.

    ``form`` is the form's id in JSON, ``name`` what it is called to people, ``given`` what to give, in a refusal.
    ``several`` says that many files may make one inventory; ``by_look`` that the form has no mark of its own and is
    asked for after all that have one.
    """

    form: ClassVar[str]
    name: ClassVar[str]
    given: ClassVar[str]
    several: ClassVar[bool] = False
    by_look: ClassVar[bool] = False

    @abstractmethod
    def sniff(self, content: bytes, text: str | None) -> bool:
        """True for the bytes of one file of this form; ``text`` is the file as text, ``None`` where it is none."""

    @abstractmethod
    def read(self, pieces: Sequence[Piece], *, file: str, odd: Oddities) -> Inventory:
        """The inventory of one file, or of many where the form has several. Raises ``InputError``."""

    def whole(self, pieces: Sequence[Piece]) -> bool:
        """True where just these files together are one inventory, though none of them is one alone."""
        del pieces
        return False


@cache
def readers() -> tuple[Reader, ...]:
    """Every reader of the package, those with a mark of their own first."""
    package = dimmplan.inventory
    modules = [import_module(f"{package.__name__}.{each.name}") for each in iter_modules(package.__path__)]
    found = [module.READER for module in modules if hasattr(module, "READER")]
    return tuple(sorted(found, key=lambda reader: reader.by_look))


def form_name(form: str) -> str:
    """What a form is called to people."""
    return next(reader.name for reader in readers() if reader.form == form)
