"""The usual rules are made without validation, to start fast: what they say is valid all the same."""

from __future__ import annotations

import pytest

from dimmplan.model.module import Generation
from dimmplan.rules import default_rows


@pytest.mark.parametrize("generation", Generation)
def test_default_rows_are_valid(generation: Generation) -> None:
    rows = default_rows(generation)
    assert [type(row).model_validate(dict(iter(row))) for row in rows] == list(rows)
