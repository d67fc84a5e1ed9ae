"""Memory population planner for servers, with a slot-map renderer.

The library in three calls: ``load_board`` reads a board by id or file, ``ask`` makes a request from text, ``plan``
solves it. ``draw`` composes the sheet of a placement. Errors are ``InputError``, ``RefusedError`` and
``ImpossibleError``, all of them ``DimmplanError``.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from dimmplan.boardfile.read import load_board
    from dimmplan.errors import DimmplanError, ImpossibleError, InputError, RefusedError
    from dimmplan.planner import Planned, ask, plan
    from dimmplan.sheet.compose import compose as draw

__version__ = "0.1.0"

_HOME = {
    "DimmplanError": "dimmplan.errors",
    "ImpossibleError": "dimmplan.errors",
    "InputError": "dimmplan.errors",
    "Planned": "dimmplan.planner",
    "RefusedError": "dimmplan.errors",
    "ask": "dimmplan.planner",
    "draw": "dimmplan.sheet.compose:compose",
    "load_board": "dimmplan.boardfile.read",
    "plan": "dimmplan.planner",
}

__all__ = [
    "DimmplanError",
    "ImpossibleError",
    "InputError",
    "Planned",
    "RefusedError",
    "__version__",
    "ask",
    "draw",
    "load_board",
    "plan",
]


def __getattr__(name: str) -> Any:
    """Load a public name when it is first used, so that importing the package is quick."""
    if name not in _HOME:
        raise AttributeError(f"module 'dimmplan' has no attribute '{name}'")
    home, _, attribute = _HOME[name].partition(":")
    return getattr(import_module(home), attribute or name)
