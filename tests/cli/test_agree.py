"""The terminal, the JSON and the sheet say the same."""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from dimmplan.cli.run import run
from dimmplan.units import format_capacity
from tests.support import sampled

PLANS = [
    ["skerry-16", "--capacity", "512GiB", "--module", "32GiB"],
    ["skerry-16", "--capacity", "400GiB"],
    ["saltern-24", "--capacity", "192GiB", "--mode", "mirrored"],
    ["machair-20", "--capacity", "640GiB", "--prefer", "bandwidth-first"],
    ["tombolo-32", "--capacity", "768GiB"],
    ["causeway-48", "--capacity", "1TiB", "--fitted", "pier"],
]


def text_of(path: Path) -> str:
    """All text of an SVG, a blank between the pieces."""
    return " ".join("".join(e.itertext()) for e in ET.parse(path).iter() if e.tag.endswith("text"))


@pytest.mark.parametrize("arguments", sampled(PLANS, 2), ids=" ".join)
def test_terminal_json_and_sheet_agree(
    arguments: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["plan", *arguments, "--out", str(tmp_path / "out")]) == 0
    terminal = " ".join(capsys.readouterr().out.split())
    record = json.loads((tmp_path / "out" / "plan.json").read_text())
    sheet = " ".join(text_of(path) for path in sorted((tmp_path / "out").glob("*.svg")))
    totals = record["totals"]
    for said in (f"{totals['rate_mts']} MT/s", f"{totals['modules']} module", f"{totals['balanced_sweep_gb_s']:.1f}"):
        assert said in terminal and said.split()[0] in sheet
    usable = totals["usable_gib"]
    assert f"{usable} GiB" in sheet
    assert f"{usable} GiB" in terminal or f"{usable / 1024:g} TiB" in terminal
    for socket in record["sockets"]:
        assert f"{socket['share']:.4f}" in terminal
        assert f"{socket['share'] * 100:.3g}"[:4] in sheet
        for region in socket["regions"]:
            said = f"{format_capacity(region['capacity_gib'])} over {region['ways']} channel"
            assert said in terminal and said in " ".join(sheet.split())
    for module in record["modules"]:
        assert module["label"] in terminal and module["label"] in sheet
    for slot, key in record["slots"].items():
        assert slot in sheet
        if key:
            assert re.search(rf"(?<!\S){re.escape(slot)}: {key} ", terminal)
    assert record["code"] in sheet.replace(" ", "") or record["code"] in sheet


def test_quiet_and_verbose_change_only_standard_error(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    arguments = ["plan", "skerry-16", "--capacity", "384GiB", "--module", "32GiB", "--out", str(tmp_path / "out")]
    said = []
    for volume in ([], ["-q"], ["-v"]):
        assert run([*volume, *arguments]) == 0
        said.append(capsys.readouterr())
    assert len({each.out for each in said}) == 1
    usual, quiet, verbose = (each.err for each in said)
    assert "wrote" in usual and quiet == "" and "search nodes, proven" in verbose
