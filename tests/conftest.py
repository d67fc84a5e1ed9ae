"""Tests that need a system tool or library name it, and are skipped by that name where it is absent."""

from __future__ import annotations

import functools
import shutil

import pytest

LIBRARIES = frozenset({"libcairo2"})
"""What is a library of the system and no program on its path."""


@functools.cache
def present(name: str) -> bool:
    """Whether this machine has a tool on its path, or a library that loads."""
    if name not in LIBRARIES:
        return shutil.which(name) is not None
    try:
        import cairocffi  # noqa: F401 - the binding knows how the library is named on each system
    except (ImportError, OSError):
        return False
    return True


def pytest_runtest_setup(item: pytest.Item) -> None:
    for marker in item.iter_markers("system_tool"):
        for name in marker.args:
            if not present(name):
                pytest.skip(f"needs the system's {name}")
