"""What the package offers as a library: few names, each with a contract, typed, and used as the README does."""

from __future__ import annotations

import inspect
import typing
from pathlib import Path

import pytest

import dimmplan

FUNCTIONS = ("ask", "draw", "load_board", "plan")
ERRORS = ("DimmplanError", "ImpossibleError", "InputError", "RefusedError")


def test_the_names_are_few_and_known() -> None:
    """A name more or less is a change of the public surface, and of the version."""
    assert sorted(dimmplan.__all__) == sorted([*FUNCTIONS, *ERRORS, "Planned", "__version__"])
    assert (Path(dimmplan.__file__).parent / "py.typed").exists()
    with pytest.raises(AttributeError, match="no_such_name"):
        _ = dimmplan.no_such_name


@pytest.mark.parametrize("name", FUNCTIONS)
def test_functions_have_contracts(name: str) -> None:
    """Each says in words what it does and what it raises, and types everything."""
    function = getattr(dimmplan, name)
    text = inspect.getdoc(function) or ""
    assert len(text) > 60
    assert "Error``" in text, "what is raised"
    signature = inspect.signature(function)
    assert signature.return_annotation is not inspect.Signature.empty
    assert all(parameter.annotation is not inspect.Parameter.empty for parameter in signature.parameters.values())


@pytest.mark.parametrize("name", [*ERRORS, "Planned"])
def test_classes_say_what_they_are(name: str) -> None:
    assert len(inspect.getdoc(getattr(dimmplan, name)) or "") > 20


def test_errors_are_one_family() -> None:
    """One except catches everything that is raised on purpose; a request that does not fit is a refusal."""
    for name in ERRORS:
        assert issubclass(getattr(dimmplan, name), dimmplan.DimmplanError)
    assert issubclass(dimmplan.ImpossibleError, dimmplan.RefusedError)
    board = dimmplan.load_board("skerry-16")
    with pytest.raises(dimmplan.InputError) as wrong:
        dimmplan.ask(board, "384")
    assert "unit" in str(wrong.value)
    with pytest.raises(dimmplan.ImpossibleError):
        dimmplan.plan(board, dimmplan.ask(board, "512TiB"))


def test_the_main_job() -> None:
    """Board, request, plan, sheet; what is annotated can be resolved."""
    board = dimmplan.load_board("skerry-16")
    planned = dimmplan.plan(board, dimmplan.ask(board, "384GiB", modules=["32GiB"]))
    assert planned.answer.proven
    assert planned.placement.capacity_gib == 384
    assert dimmplan.draw(board, planned.placement).pages
    assert typing.get_type_hints(dimmplan.load_board)["name"] is str
