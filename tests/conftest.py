"""Tests that need a system tool name it, and are skipped by that name where it is absent."""

from __future__ import annotations

import shutil

import pytest


def pytest_runtest_setup(item: pytest.Item) -> None:
    for marker in item.iter_markers("system_tool"):
        if shutil.which(marker.args[0]) is None:
            pytest.skip(f"needs the system tool {marker.args[0]}")
