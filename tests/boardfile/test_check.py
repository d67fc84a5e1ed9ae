"""The check of board files: every fault told at once, in place, with what is allowed and the nearest right spelling."""

from __future__ import annotations

import copy
import functools
import json
import random
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any, get_args

import jsonschema
import pytest

from dimmplan.boardfile.read import MOST_BYTES, examine_file, examine_text, load_board, shipped_folder
from dimmplan.boardfile.schema import json_schema
from dimmplan.cli.run import run
from dimmplan.errors import InputError, Problem
from dimmplan.model.rows import Trust
from dimmplan.wording import TRUST
from tests.support import sampled, shipped_boards, shipped_raw, toml_text

Raw = dict[str, Any]
SHIPPED = sorted(path.stem for path in shipped_folder().glob("*.toml"))


def problems_of(raw: Raw) -> list[Problem]:
    """The problems of a file of those values, by way of TOML."""
    return examine_text(toml_text(raw).encode("utf-8"), file="mine.toml")[1]


def edited(edit: Callable[[Raw], object]) -> list[Problem]:
    """The problems of an edited copy of the board of ten and six slots."""
    raw = shipped_raw("skerry-16")
    edit(raw)
    return problems_of(raw)


def rule(raw: Raw, row_id: str) -> Raw:
    """The rule row of that id."""
    found: Raw = next(row for row in raw["rules"] if row["id"] == row_id)
    return found


# The good ones


@pytest.mark.parametrize("board_id", SHIPPED)
def test_shipped_boards_are_good(board_id: str) -> None:
    """Every shipped board passes its check, under its own file name."""
    board, problems = examine_file(shipped_folder() / f"{board_id}.toml")
    assert problems == []
    assert board is not None
    assert board.id == board_id


def test_the_shapes_of_the_trade_are_there() -> None:
    """At least ten boards: 1 to 8 sockets, 2 to 12 channels, 1 to 3 slots, all styles and scopes, irregular ones."""
    boards = shipped_boards()
    assert len(boards) >= 10
    assert {1, 2, 4, 8} <= {len(board.sockets) for board in boards}
    assert {2, 4, 6, 8, 12} <= {len(socket.channels) for board in boards for socket in board.sockets}
    assert {1, 2, 3} <= {len(channel.slots) for board in boards for channel in board.channels}
    assert {board.interleave.style for board in boards} == {"even", "any", "groups"}
    assert {board.rate_scope for board in boards} == {"system", "socket", "channel"}
    assert sum(len({len(s.slots) for s in board.sockets}) > 1 for board in boards) >= 2
    assert all(board.physical.access and board.physical.landmarks for board in boards)


@pytest.mark.parametrize("board_id", SHIPPED)
def test_writing_the_values_back_changes_nothing(board_id: str) -> None:
    """A board read from its values written plainly is the same board with the same digests."""
    board, problems = examine_text(toml_text(shipped_raw(board_id)).encode("utf-8"), file="mine.toml")
    assert problems == []
    assert board is not None
    original = load_board(board_id)
    assert board == original
    assert (board.electrical_digest, board.drawing_digest) == (original.electrical_digest, original.drawing_digest)


def test_digests_tell_what_changed() -> None:
    """Wording changes neither digest, a moved slot the drawing's alone, another wiring the electrical one."""
    base = load_board("skerry-16")

    def digests(edit: Callable[[Raw], object]) -> tuple[bool, bool]:
        raw = shipped_raw("skerry-16")
        edit(raw)
        board, problems = examine_text(toml_text(raw).encode("utf-8"), file="mine.toml")
        assert problems == []
        assert board is not None
        return board.electrical_digest == base.electrical_digest, board.drawing_digest == base.drawing_digest

    assert digests(lambda raw: raw["processors"][0].update(title="Another title")) == (True, True)
    assert digests(lambda raw: raw["physical"]["rows"][0].update(start_mm=[25, 251])) == (True, False)
    assert digests(lambda raw: rule(raw, "board-ceiling").update(socket_gib=1024)) == (False, False)
    assert not digests(lambda raw: raw["rates"][1].update(mts=2400))[0]


# Six faults at once


def six_faults(raw: Raw) -> None:
    raw["modules"][0] = "17GB 1Rx4 PC4-2933Y-R"
    raw["trust"] = "hearsay"
    raw["electrical"]["interleave"]["source"] = "LNX-3CTL"
    rule(raw, "x4-with-x8")["apat"] = "channel"
    raw["rates"][1]["mts"] = 2667
    raw["physical"]["rows"][0]["slots"][4] = "M2"


SIX = {
    "modules[1]": "17GB",
    "trust": "'hearsay'",
    "electrical.interleave.source": "'LNX-3CTL'",
    "rules[2].apat": "an unknown key",
    "rates[2].mts": "2667",
    "physical.rows[1].slots": "'M2'",
}
FOLLOWS_SIX = "physical.rows"
"""A slot under a wrong name has no place."""


def test_six_faults_are_told_at_once() -> None:
    """One file with six different faults reports all six, each with its dotted path."""
    found = edited(six_faults)
    for place, text in SIX.items():
        assert [problem for problem in found if problem.place == place and text in problem.found], (place, found)
    follows = [p for p in found if p.place == FOLLOWS_SIX and "no place for slot 'M1'" in p.found]
    assert len(found) == len(SIX) + len(follows) == 7


@pytest.mark.parametrize("left_out", range(6))
def test_each_of_the_six_faults_is_told_for_itself(left_out: int) -> None:
    """With one of the six put right, just that one is told no more."""
    whole, raw = shipped_raw("skerry-16"), shipped_raw("skerry-16")
    six_faults(raw)
    put_right: list[Callable[[], object]] = [
        lambda: raw["modules"].__setitem__(0, whole["modules"][0]),
        lambda: raw.update(trust=whole["trust"]),
        lambda: raw["electrical"]["interleave"].update(source="kernel-02"),
        lambda: rule(raw, "x4-with-x8").pop("apat"),
        lambda: raw["rates"][1].update(mts=2666),
        lambda: raw["physical"]["rows"][0]["slots"].__setitem__(4, "M1"),
    ]
    put_right[left_out]()
    places = {problem.place for problem in problems_of(raw)} - {FOLLOWS_SIX}
    assert places == set(SIX) - {list(SIX)[left_out]}


# Each check, by a copy of a good board with one fault

Fault = tuple[str, Callable[[Raw], object], str, str, str, str]
"""A name, the edit, the place told, words of what was found, of what is allowed, and of the hint."""


def set_at(*path: str | int, value: Any) -> Callable[[Raw], None]:
    """An edit that puts a value at a path."""

    def edit(raw: Raw) -> None:
        here: Any = raw
        for part in path[:-1]:
            here = here[part]
        here[path[-1]] = value

    return edit


def drop(*path: str | int) -> Callable[[Raw], None]:
    """An edit that takes out what is at a path."""

    def edit(raw: Raw) -> None:
        here: Any = raw
        for part in path[:-1]:
            here = here[part]
        del here[path[-1]]

    return edit


def add(*path: str | int, value: Any) -> Callable[[Raw], None]:
    """An edit that appends a value to the list at a path."""

    def edit(raw: Raw) -> None:
        here: Any = raw
        for part in path:
            here = here[part]
        here.append(value)

    return edit


def both(*edits: Callable[[Raw], object]) -> Callable[[Raw], None]:
    """Several edits as one fault."""

    def edit(raw: Raw) -> None:
        for each in edits:
            each(raw)

    return edit


def as_groups(*groups: Raw) -> Callable[[Raw], None]:
    """An edit that lists channel groups in place of ways."""
    row = {"style": "groups", "source": "guide-02", "groups": list(groups)}
    return set_at("electrical", "interleave", value=row)


NEAR, FAR = ("electrical", "sockets", 0), ("electrical", "sockets", 1)
INTERLEAVE = ("electrical", "interleave")
EVERY_SLOT = list(load_board("skerry-16").slots)
NEAR_SLOTS = EVERY_SLOT[:10]


def row_of(check: str, **content: Any) -> Raw:
    return {"id": "mine", "check": check, "source": "INVENTED", **content}


FORM: list[Fault] = [
    ("unknown key on top", set_at("titel", value="x"), "titel", "unknown key", "known keys", "title"),
    (
        "unknown key in a row",
        set_at("rules", 0, "sorce", value="x"),
        "rules[1].sorce",
        "unknown key",
        "known keys",
        "source",
    ),
    (
        "unknown key of another check",
        set_at("rules", 1, "values", value=["x"]),
        "rules[2].values",
        "unknown key",
        "known keys",
        "",
    ),
    (
        "unknown key deep inside",
        set_at("physical", "landmarks", 2, "kynd", value="fan"),
        "physical.landmarks[3].kynd",
        "unknown key",
        "known keys",
        "kind",
    ),
    (
        "unknown key in the electrical part",
        set_at("electrical", "rate_scop", value="system"),
        "electrical.rate_scop",
        "unknown key",
        "known keys",
        "rate_scope",
    ),
    ("no id", drop("id"), "id", "nothing", "required", ""),
    ("no title", drop("title"), "title", "nothing", "required", ""),
    ("no usual modules", set_at("modules", value=[]), "modules", "a list", "at least 1", ""),
    ("another format", set_at("format", value=2), "format", "2", "1", ""),
    ("an id with a blank", set_at("id", value="Skerry 16"), "id", "'Skerry 16'", "", ""),
    ("a trust that is none", set_at("trust", value="manuel"), "trust", "'manuel'", "manual", "manual"),
    ("a row without source", drop("rules", 1, "source"), "rules[2].source", "nothing", "required", ""),
    (
        "a check that is none",
        set_at("rules", 1, "check", value="mixx"),
        "rules[2].check",
        "'mixx'",
        "'mix'",
        "mix",
    ),
    (
        "a severity that is none",
        set_at("rules", 1, "severity", value="adviced"),
        "rules[2].severity",
        "'adviced'",
        "advised",
        "advised",
    ),
    (
        "a field that is none",
        set_at("rules", 1, "field", value="rank"),
        "rules[2].field",
        "'rank'",
        "package_ranks",
        "",
    ),
    (
        "a landmark kind that is none",
        set_at("physical", "landmarks", 0, "kind", value="fam"),
        "physical.landmarks[1].kind",
        "'fam'",
        "'fan'",
        "fan",
    ),
    ("a slot row's side", set_at("physical", "rows", 0, "pin1", value="top"), "physical.rows[1].pin1", "'top'", "", ""),
    (
        "an absurd ceiling",
        set_at("rules", 3, "socket_gib", value=1 << 30),
        "rules[4].socket_gib",
        str(1 << 30),
        "1048576",
        "",
    ),
    ("no ceiling at all", set_at("rules", 3, "socket_gib", value=0), "rules[4].socket_gib", "0", "1", ""),
    ("a weight below nothing", set_at("physical", "weight_kg", value=-1), "physical.weight_kg", "-1", "greater", ""),
    ("an absurd weight", set_at("physical", "weight_kg", value=5000), "physical.weight_kg", "5000", "1000", ""),
    ("an absurd width", set_at("physical", "width_mm", value=99999), "physical.width_mm", "99999", "3000", ""),
    ("a width of text", set_at("physical", "width_mm", value="wide"), "physical.width_mm", "'wide'", "number", ""),
    ("an absurd pitch", set_at("physical", "rows", 0, "pitch_mm", value=0), "physical.rows[1].pitch_mm", "0", "", ""),
    *(
        (
            f"a point of {len(point)}",
            set_at("physical", "rows", 0, "start_mm", value=point),
            "physical.rows[1].start_mm",
            f"a list of {len(point)}",
            "two numbers",
            "",
        )
        for point in ([1, 2, 3], [1], [])
    ),
    ("a rule without a check", drop("rules", 1, "check"), "rules[2].check", "nothing", "'accept', 'mix'", ""),
    (
        "a rate with its unit",
        set_at("rates", 0, "mts", value="2933 MT/s"),
        "rates[1].mts",
        "'2933 MT/s'",
        "a whole number in MT/s or 'none'",
        "without quotes and unit",
    ),
    (
        "a rate in GT/s",
        set_at("rates", 0, "mts", value=2.933),
        "rates[1].mts",
        "2.933",
        "a whole number in MT/s or 'none'",
        "",
    ),
    ("a rate below nothing", set_at("rates", 0, "mts", value=-1), "rates[1].mts", "-1", "at least 400 MT/s", ""),
    (
        "a ceiling in TiB",
        set_at("rules", 3, "socket_gib", value=0.5),
        "rules[4].socket_gib",
        "0.5",
        "a whole number in GiB",
        "",
    ),
    (
        "a pitch with its unit",
        set_at("physical", "rows", 0, "pitch_mm", value="1cm"),
        "physical.rows[1].pitch_mm",
        "'1cm'",
        "a number in mm",
        "without quotes and unit",
    ),
    (
        "values that are neither text nor whole",
        set_at("rules", 0, "values", value=[1.2]),
        "rules[1].values[1]",
        "1.2",
        "text in quotes or a whole number",
        "",
    ),
    (
        "a set that is no list",
        set_at("rules", 2, "sets", value=["NEAR"]),
        "rules[3].sets[1]",
        "'NEAR'",
        "a list",
        '["NEAR"]',
    ),
    (
        "a number in words",
        set_at("electrical", "interleave", "ways", value=["two"]),
        "electrical.interleave.ways[1]",
        "'two'",
        "a whole number",
        "",
    ),
    ("a format in quotes", set_at("format", value="1"), "format", "'1'", "1", "Without quotes"),
    ("a newer format", set_at("format", value=3), "format", "3", "1", "newer dimmplan"),
    ("an id of other letters", set_at("id", value="skärry"), "id", "'skärry'", "small letters, digits and hyphens", ""),
    ("an electrical part of text", set_at("electrical", value="x"), "electrical", "'x'", "a table", ""),
]

NAMES: list[Fault] = [
    (
        "id and ids",
        set_at(*NEAR, "ids", value=["NEAR2"]),
        "electrical.sockets[1]",
        "both id and ids",
        "id for one socket",
        "",
    ),
    ("neither id nor ids", drop(*FAR, "id"), "electrical.sockets[2]", "neither id nor ids", "id for one socket", ""),
    (
        "several ids without {socket}",
        both(drop(*FAR, "id"), set_at(*FAR, "ids", value=["FAR", "AFT"])),
        "electrical.sockets[2].controllers.port.T",
        "'T1'",
        "{socket}",
        "",
    ),
    (
        "a controller without channels",
        set_at(*FAR, "controllers", "aft", value={}),
        "electrical.sockets[2].controllers.aft",
        "an empty table",
        "at least 1",
        "",
    ),
    ("a socket twice", set_at(*FAR, "id", value="near"), "electrical.sockets", "'NEAR', 'near'", "differ", ""),
    (
        "a slot twice",
        set_at(*FAR, "controllers", "port", "T", value=["K1"]),
        "electrical.sockets",
        "'K1' 2 times (channel K of NEAR and channel T of FAR)",
        "differ",
        "",
    ),
    (
        "slots that differ in case and blanks",
        both(
            set_at(*FAR, "controllers", "port", "T", value=["k 1"]),
            set_at("physical", "rows", 2, "slots", 0, value="k 1"),
        ),
        "electrical.sockets",
        "'K1', 'k 1'",
        "differ",
        "",
    ),
    (
        "channels that differ in case",
        both(drop(*FAR, "controllers", "port", "T"), set_at(*FAR, "controllers", "port", "u", value=["T1"])),
        "electrical.sockets[2]",
        "channel id 'U', 'u'",
        "differ",
        "",
    ),
    (
        "controllers that differ in case",
        lambda raw: raw["electrical"]["sockets"][1].update(
            controllers={
                "port": raw["electrical"]["sockets"][1]["controllers"]["port"],
                "Port": raw["electrical"]["sockets"][1]["controllers"]["starboard"],
            }
        ),
        "electrical.sockets[2]",
        "controller id 'port', 'Port'",
        "differ",
        "",
    ),
    ("a row id twice", set_at("rates", 0, "id", value="kinds"), "rules and rates", "'kinds'", "differ", ""),
    (
        "a processor twice",
        set_at("processors", 1, "id", value="Tern-20"),
        "processors",
        "processor id",
        "differ",
        "",
    ),
    ("a title with an escape", set_at("title", value="a\x1b[31mb"), "title", "\\x1b[31m", "printable", ""),
    (
        "an override in an access step",
        set_at("physical", "access", 0, value="Lift \u202e"),
        "physical.access[1]",
        "\\u202e",
        "printable",
        "",
    ),
    (
        "a control character in a landmark",
        set_at("physical", "landmarks", 0, "name", value="Fan\x07"),
        "physical.landmarks[1].name",
        "\\x07",
        "printable",
        "",
    ),
    (
        "a slot name with a comma",
        both(
            set_at(*FAR, "controllers", "port", "T", value=["T,1"]),
            set_at("physical", "rows", 2, "slots", 0, value="T,1"),
        ),
        "electrical.sockets[2].controllers.port.T",
        "'T,1'",
        "no comma",
        "",
    ),
    (
        "a slot name with an equals sign",
        both(
            set_at(*FAR, "controllers", "port", "T", value=["T=1"]),
            set_at("physical", "rows", 2, "slots", 0, value="T=1"),
        ),
        "electrical.sockets[2].controllers.port.T",
        "'T=1'",
        "equals sign",
        "",
    ),
    (
        "a processor with a semicolon",
        set_at("processors", 1, "id", value="tern;12"),
        "processors[2].id",
        "'tern;12'",
        "semicolon",
        "",
    ),
    (
        "a slot name with a brace",
        both(
            set_at(*FAR, "controllers", "port", "T", value=["{T"]),
            set_at("physical", "rows", 2, "slots", 0, value="{T"),
        ),
        "electrical.sockets[2].controllers.port.T",
        "'{T'",
        "brace",
        "",
    ),
]

MODULES: list[Fault] = [
    ("a label that is none", add("modules", value="4 GiB"), "modules[6]", "'4 GiB'", "JEDEC label", ""),
    (
        "a label with a typo",
        set_at("modules", 1, value="32GB 2Rx4 PC4-2934Y-R"),
        "modules[2]",
        "no rate 2934",
        "JEDEC label",
        "2933",
    ),
    ("a module twice", add("modules", value="32GB 2Rx4 PC4-2933V-R"), "modules[6]", "PC4-2933V-R", "once", ""),
    (
        "a module that the board refuses",
        add("modules", value="16GB 1Rx8 PC4-2933Y-E"),
        "modules[6]",
        "ECC UDIMM",
        "rule kinds",
        "",
    ),
    (
        "a module of another generation",
        add("modules", value="16GB 1Rx8 PC5-4800B-R"),
        "modules[6]",
        ": DDR5",
        "DDR4",
        "",
    ),
]

SETS: list[Fault] = [
    ("no ways", drop(*INTERLEAVE, "ways"), "electrical.interleave.ways", "nothing", "numbers of channels", ""),
    ("ways beyond the channels", add(*INTERLEAVE, "ways", value=8), "electrical.interleave.ways", "8", "at most 6", ""),
    ("ways twice", add(*INTERLEAVE, "ways", value=6), "electrical.interleave.ways", "a number twice", "once", ""),
    (
        "groups beside ways",
        set_at(*INTERLEAVE, "groups", value=[{"channels": ["K", "L"]}]),
        "electrical.interleave.groups",
        "groups",
        "no groups, since style is even",
        "",
    ),
    (
        "no groups",
        set_at(*INTERLEAVE, value={"style": "groups", "source": "guide-02"}),
        "electrical.interleave.groups",
        "nothing",
        "since style is groups",
        "",
    ),
    (
        "ways beside groups",
        both(as_groups({"channels": ["K", "L"]}), set_at(*INTERLEAVE, "ways", value=[1, 2])),
        "electrical.interleave.ways",
        "ways",
        "no ways, since style is groups",
        "",
    ),
    (
        "a group of an unknown channel",
        as_groups({"channels": ["K", "LL"]}),
        "electrical.interleave.groups[1].channels",
        "'LL'",
        "channel ids",
        "L",
    ),
    (
        "a channel twice in a group",
        as_groups({"channels": ["K", "L"]}, {"channels": ["K", "L", "K"]}),
        "electrical.interleave.groups[2].channels",
        "a channel twice",
        "once",
        "",
    ),
    (
        "a group twice",
        as_groups({"channels": ["K", "L"]}, {"channels": ["L", "K"]}),
        "electrical.interleave.groups",
        "group K L twice",
        "once",
        "",
    ),
]

RULES: list[Fault] = [
    ("no row on kinds", drop("rules", 0), "rules", "no row accepts module kinds", 'field = "kind"', ""),
    (
        "two rows on one field",
        add("rules", value=row_of("mix", field="device_width", apart="system")),
        "rules",
        "2 rows with check mix for device_width",
        "one row for each field",
        "",
    ),
    (
        "a ceiling of an unknown socket",
        set_at("rules", 3, "sockets", value=["FAAR"]),
        "rules[4].sockets",
        "'FAAR'",
        "sockets of the board",
        "FAR",
    ),
    (
        "counts of an unknown socket",
        add("rules", value=row_of("counts", modules=[6], sockets=["EAR"])),
        "rules[9].sockets",
        "'EAR'",
        "sockets of the board",
        "NEAR",
    ),
    (
        "counts above the slots",
        add("rules", value=row_of("counts", modules=[6, 7], sockets=["FAR"])),
        "rules[9].modules",
        "7",
        "at most 6",
        "",
    ),
    (
        "a set of unknown sockets",
        set_at("rules", 2, "sets", value=[["NEAR"], ["NEAR", "FARR"]]),
        "rules[3].sets",
        "'FARR'",
        "sockets of the board",
        "FAR",
    ),
    (
        "blanks in unknown slots",
        set_at("rules", 4, "slots", value=["K3"]),
        "rules[5].slots",
        "'K3'",
        "slots of the board",
        "",
    ),
    (
        "unlike sockets required alike",
        add("rules", value=row_of("alike", what="population")),
        "rules[9].what",
        "population",
        "built differently",
        "",
    ),
    (
        "a kind that is none",
        add("rules", 0, "values", value="RDIM"),
        "rules[1].values",
        "'RDIM'",
        "ECC UDIMM",
        "RDIMM",
    ),
    (
        "capacities with their unit",
        add("rules", value=row_of("accept", field="capacity_gib", values=[8, "16GiB"])),
        "rules[9].values[2]",
        "'16GiB'",
        "whole numbers in GiB",
        "without quotes and unit",
    ),
    (
        "an order with a slot of another socket",
        add("rules", value=row_of("sequence", socket="NEAR", slots=[*NEAR_SLOTS, "T1"])),
        "rules[9].slots",
        "T1 twice or of another socket",
        "each of the 10 slots of NEAR once",
        "",
    ),
    (
        "an order of an unknown socket",
        add("rules", value=row_of("sequence", socket="NEAR1", slots=NEAR_SLOTS)),
        "rules[9].socket",
        "'NEAR1'",
        "a socket of the board",
        "NEAR",
    ),
    (
        "an order without a slot",
        add("rules", value=row_of("sequence", socket="NEAR", slots=NEAR_SLOTS[:-1])),
        "rules[9].slots",
        "without R1",
        "each of the 10 slots of NEAR once",
        "",
    ),
    (
        "an order with a slot twice",
        add("rules", value=row_of("sequence", socket="NEAR", slots=[*NEAR_SLOTS, "R1"])),
        "rules[9].slots",
        "twice",
        "each of the 10 slots of NEAR once",
        "",
    ),
    (
        "an order against the fill order",
        add("rules", value=row_of("sequence", socket="NEAR", slots=["K2", "K1", *NEAR_SLOTS[2:]])),
        "rules[9].slots",
        "K2 K1",
        "fill order K1 K2",
        "",
    ),
]

RATES: list[Fault] = [
    (
        "a rate of another generation",
        add("electrical", "rates_mts", value=4800),
        "electrical.rates_mts",
        "4800",
        "rates of DDR4",
        "3200",
    ),
    (
        "a rate that the board does not list",
        set_at("rates", 1, "mts", value=3200),
        "rates[2].mts",
        "3200",
        "electrical.rates_mts",
        "",
    ),
    (
        "two rows for one case",
        add("rates", value={"id": "again", "dpc": 2, "package_ranks": [2], "mts": 2400, "source": "INVENTED"}),
        "rates[3]",
        "rates[2] (two-per-channel)",
        "one row for each case",
        "",
    ),
    (
        "a processor's rate of another generation",
        set_at("processors", 1, "rates", value=[{"mts": 2401}]),
        "processors[2].rates",
        "2401",
        "rates of DDR4",
        "",
    ),
]

SOURCES: list[Fault] = [
    (
        "a rule's source",
        set_at("rules", 0, "source", value="guide-0"),
        "rules[1].source",
        "'guide-0'",
        "known",
        "guide",
    ),
    (
        "a rate's source",
        set_at("rates", 0, "source", value="HEARSAY"),
        "rates[1].source",
        "'HEARSAY'",
        "known",
        "[sources]",
    ),
    (
        "a processor's source",
        set_at("processors", 0, "source", value="INVENTD"),
        "processors[1].source",
        "'INVENTD'",
        "known",
        "INVENTED",
    ),
    (
        "the interleave row's source",
        set_at(*INTERLEAVE, "source", value="kernel-2"),
        "electrical.interleave.source",
        "'kernel-2'",
        "known",
        "kernel-02",
    ),
    (
        "an alias of an unknown slot",
        set_at("electrical", "aliases", value={"K9": ["A"]}),
        "electrical.aliases",
        "'K9'",
        "slots of the board",
        "",
    ),
    (
        "an alias twice",
        set_at("electrical", "aliases", value={"K1": ["Mem A"], "K2": ["mem a"]}),
        "electrical.aliases",
        "'Mem A', 'mem a'",
        "differ",
        "",
    ),
    (
        "a code order without a slot",
        set_at("electrical", "code_order", value=EVERY_SLOT[:-1]),
        "electrical.code_order",
        "other slots",
        "every slot of the board once",
        "",
    ),
]

DRAWING: list[Fault] = [
    (
        "a start of an unknown socket",
        set_at("physical", "rows", 2, "start_mm", value={"FARR": [256, 251]}),
        "physical.rows[3].start_mm",
        "'FARR'",
        "sockets of the board",
        "FAR",
    ),
    (
        "a socket drawn that is not wired",
        set_at("physical", "sockets", "AFT", value={"at_mm": [200, 330], "size_mm": [20, 20]}),
        "physical.sockets",
        "'AFT'",
        "sockets of the board",
        "",
    ),
    (
        "a socket wired that is not drawn",
        drop("physical", "sockets", "FAR"),
        "physical.sockets",
        "no place for socket 'FAR'",
        "a place for every socket",
        "",
    ),
    (
        "a slot wired that is not drawn",
        drop("physical", "rows", 2, "slots", 2),
        "physical.rows",
        "no place for slot 'V1'",
        "a place for every slot",
        "",
    ),
    (
        "a slot drawn twice",
        add("physical", "rows", value={"slots": ["T1"], "start_mm": [410, 251]}),
        "physical.rows",
        "'T1' 2 times",
        "each slot once",
        "",
    ),
    (
        "a slot drawn that is not wired",
        add("physical", "rows", value={"slots": ["T11"], "start_mm": [410, 251]}),
        "physical.rows",
        "slot 'T11'",
        "the electrical part names",
        "T1",
    ),
    (
        "a slot outside",
        set_at("physical", "rows", 0, "start_mm", value=[3, 251]),
        "physical",
        "slot K1 outside",
        "within 424 x 460 mm",
        "",
    ),
    (
        "a socket outside",
        set_at("physical", "sockets", "FAR", "at_mm", value=[292, 400]),
        "physical",
        "socket FAR outside",
        "within 424 x 460 mm",
        "",
    ),
    (
        "a width in cm",
        set_at("physical", "width_mm", value=20),
        "physical.rows[1]",
        "slot K1, slot K2, slot L1 and 2 more outside",
        "within 20 x 460 mm",
        "",
    ),
    (
        "a pitch in cm",
        set_at("physical", "rows", 0, "pitch_mm", value=0.9),
        "physical.rows[1].pitch_mm",
        "0.9, so that slots of the row overlap",
        "at least 6.5 mm",
        "",
    ),
    (
        "a slot on a socket",
        set_at("physical", "sockets", "FAR", "size_mm", value=[80, 80]),
        "physical",
        "socket FAR and slot Y1 overlap",
        "lie apart",
        "",
    ),
    (
        "a fan on a slot",
        set_at("physical", "landmarks", 0, "at_mm", value=[20, 150]),
        "physical",
        "overlap",
        "lie apart",
        "",
    ),
    (
        "an outline outside",
        set_at("physical", "outline_mm", value=[[0, 0], [424, 0], [424, 461], [0, 460]]),
        "physical.outline_mm",
        "[424, 461]",
        "within 424 x 460 mm",
        "",
    ),
    (
        "an outline of two points",
        set_at("physical", "outline_mm", value=[[0, 0], [424, 0]]),
        "physical.outline_mm",
        "2 points",
        "at least three",
        "",
    ),
]

FAULTS = FORM + NAMES + MODULES + SETS + RULES + RATES + SOURCES + DRAWING
FOLLOWS = {
    # places where a single fault makes more than one thing wrong
    "no usual modules": {"modules[1]"},
    "an absurd width": {"physical"},
    "a point of three": {"physical.rows"},
    "a slot twice": {"physical.rows[3].slots"},
    "a width in cm": {f"physical.{each}" for each in ("rows[2]", "rows[3]", "rows[4]", "sockets.NEAR", "sockets.FAR")},
    "a socket outside": {"physical.landmarks"},
    "a module that the board refuses": {"rates"},
    "a channel twice in a group": {"electrical.interleave.groups"},
    "counts of an unknown socket": {"rules[9].modules"},
    "a start of an unknown socket": {"physical.rows"},
}
SOCKETS_CHANGED = {"id and ids", "neither id nor ids", "several ids without {socket}", "a socket twice"}
"""With other sockets whatever names them is wrong as well: only the fault itself is looked for."""


@pytest.mark.parametrize("fault", FAULTS, ids=[fault[0] for fault in FAULTS])
def test_each_check(fault: Fault) -> None:
    """One fault in a good file: its place, what was found, what is allowed, the nearest right spelling, and no more."""
    name, edit, place, found, allowed, hint = fault
    problems = edited(edit)
    told = [
        problem
        for problem in problems
        if problem.place.startswith(place)
        and found in problem.found
        and allowed in problem.allowed
        and hint in problem.hint
    ]
    assert told, problems
    assert len({problem.place for problem in problems}) == len(problems) or fault not in FORM
    follows = FOLLOWS.get(name, set())
    others = [problem for problem in problems if problem.place not in {*follows, told[0].place}]
    assert others == [] or name in SOCKETS_CHANGED
    assert all(problem.file == "mine.toml" for problem in problems)
    assert all(problem.sentence().isprintable() for problem in problems)


def test_faults_have_names_of_their_own() -> None:
    """No two faults above share a name, and each edit really changes the file."""
    assert len({fault[0] for fault in FAULTS}) == len(FAULTS)
    for _, edit, *_ in FAULTS:
        raw = shipped_raw("skerry-16")
        edit(raw)
        assert raw != shipped_raw("skerry-16")


@pytest.mark.parametrize(
    ("edit", "case"),
    [
        (drop("rates", 1), "2 on a channel of 2"),
        (set_at("rates", 0, "slots", value=[2]), "1 on a channel of 1"),
        (set_at("rates", 0, "kinds", value=["RDIMM", "LRDIMM"]), "3DS RDIMM of 2 ranks, 1 on a channel"),
        (set_at("rates", 0, "package_ranks", value=[1]), "RDIMM of 2 ranks, 1 on a channel"),
    ],
)
def test_the_rate_table_covers_what_the_rules_allow(edit: Callable[[Raw], object], case: str) -> None:
    """A kind, rank count or number on a channel that the rules allow and no row speaks of is told, case by case."""
    found = edited(edit)
    assert any(case in problem.found for problem in found)
    assert {problem.place for problem in found} == {"rates"}
    assert all('mts = "none"' in problem.allowed for problem in found)


def test_a_row_of_none_covers_too() -> None:
    """A row that says that the board does not run so is a row."""
    assert edited(set_at("rates", 1, "mts", value="none")) == []


def test_a_start_for_each_socket_needs_a_place_holder() -> None:
    """A row of slots for several sockets names its slots with {socket}."""
    raw = shipped_raw("saltern-24")
    raw["physical"]["rows"][0]["slots"][0] = "low-brine-1"
    found = problems_of(raw)
    assert any(p.place == "physical.rows[1].slots" and "without {socket}" in p.found for p in found)


def test_a_row_for_several_sockets_needs_a_start_for_each() -> None:
    """One point for slot names with {socket} is told once, with what is to be written."""
    raw = shipped_raw("saltern-24")
    raw["physical"]["rows"][0]["start_mm"] = [22, 252]
    (problem,) = problems_of(raw)
    assert problem.place == "physical.rows[1].start_mm"
    assert "{ low = [10, 20], high = [10, 20] }" in problem.allowed


def test_rows_that_lie_on_each_other_are_told_once() -> None:
    """Two rows at one place overlap in many pairs: one problem names the first and counts the rest."""
    found = edited(lambda raw: raw["physical"]["rows"][1].update(start_mm=raw["physical"]["rows"][0]["start_mm"]))
    (problem,) = [each for each in found if "overlap" in each.found]
    assert "more pairs of the same rows" in problem.found


def test_a_kind_that_is_none_is_told_where_it_stands_alone() -> None:
    """Modules are not refused by a rule that is itself in question."""
    assert [p.place for p in edited(set_at("rules", 0, "values", value=["RDIM", "LRDIMM"]))] == ["rules[1].values"]


def test_a_baffle_may_lie_over_slots() -> None:
    """A baffle covers slots as baffles do; nothing else may."""
    baffle = {"name": "Shroud", "kind": "baffle", "at_mm": [10, 160], "size_mm": [400, 190]}
    assert edited(add("physical", "landmarks", value=baffle)) == []
    found = edited(add("physical", "landmarks", value=baffle | {"kind": "riser"}))
    assert any("slot K1" in problem.found and "Shroud" in problem.found for problem in found)


def test_a_file_may_cite_its_own_documents() -> None:
    """A source id that the file's own table explains is known."""
    own = both(set_at("rules", 0, "source", value="OUR-GUIDE"), set_at("sources", value={"OUR-GUIDE": "Guide, 2026"}))
    assert edited(own) == []


# Files that are no board files


@pytest.mark.parametrize(
    ("content", "found"),
    [
        (b"", "an empty file"),
        (b" \n\t\n", "an empty file"),
        (b"\x00" * 64, "not TOML"),
        (b"\x89PNG\r\n\x1a\n" + bytes(range(256)), "not UTF-8"),
        ("format = 1".encode("utf-16"), "not UTF-8"),
        (b"format = ", "not TOML"),
        (b"format = 1\nformat = 1\n", "not TOML"),
        (b'title = "\x1b[31m"', "not TOML"),
        (b"x = " + b"[" * 5000, "too deep"),
        (b"#" * (MOST_BYTES + 1), "more than 1 MiB"),
    ],
)
def test_what_is_no_board_file(content: bytes, found: str, tmp_path: Path) -> None:
    """Empty, binary, broken, endless files: one printable problem each, the same by bytes and by file."""
    path = tmp_path / "mine.toml"
    path.write_bytes(content)
    for board, problems in (examine_text(content, file=str(path)), examine_file(path)):
        assert board is None
        (problem,) = problems
        assert found in problem.found
        assert problem.sentence().isprintable()


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    """A missing file, a folder and an unusable name are problems, not exceptions."""
    for path in (tmp_path / "none.toml", tmp_path, tmp_path / ("x" * 5000), Path("\x00")):
        board, problems = examine_file(path)
        assert board is None
        assert len(problems) == 1
        assert problems[0].sentence().isprintable()


def test_windows_line_ends_and_a_byte_order_mark() -> None:
    """Files saved on other systems are read."""
    text = toml_text(shipped_raw("skerry-16"))
    board, problems = examine_text(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode("utf-8"), file="mine.toml")
    assert problems == []
    assert board == load_board("skerry-16")


WRONG_SOURCE = set_at("rules", 3, "source", value="NOPE")
LOST: dict[str, Callable[[Raw], object]] = {
    "format": drop("format"),
    "modules": set_at("modules", value=[]),
    "electrical": drop("electrical"),
    "electrical.generation": drop("electrical", "generation"),
    "electrical.sockets": set_at("electrical", "sockets", value=[]),
    "rates": drop("rates"),
}


@pytest.mark.parametrize("place", LOST)
def test_a_part_that_is_missing_hides_no_other_problem(place: str) -> None:
    """Whatever is missing, what can be told of the rest is told, once; and nothing that only follows from it."""
    found = edited(both(WRONG_SOURCE, LOST[place]))
    assert [problem.place for problem in found] == [place, "rules[4].source"]


@pytest.mark.parametrize(
    ("path", "wrong"),
    [
        (("electrical",), "electricla"),
        (("physical",), "phisical"),
        (("rules",), "rulse"),
        (("processors",), "processor"),
        (("electrical", "generation"), "generaton"),
        (("electrical", "sockets"), "socket"),
        (("physical", "depth_mm"), "deph_mm"),
        (("rules", 1, "source"), "sorce"),
    ],
)
def test_a_misspelt_name_hides_no_other_problem(path: tuple[str | int, ...], wrong: str) -> None:
    """A misspelt key is told with the one that is meant, and what stands under it is read as that."""

    def misspell(raw: Raw) -> None:
        here: Any = raw
        for part in path[:-1]:
            here = here[part]
        here[wrong] = here.pop(path[-1])

    found = edited(both(WRONG_SOURCE, misspell))
    (hint,) = [problem.hint for problem in found if problem.place.endswith(wrong)]
    assert hint.startswith(f"Did you mean {path[-1]}")
    assert sorted(problem.place for problem in found if not problem.place.endswith(wrong)) == ["rules[4].source"]


def test_places_are_those_of_the_file_where_items_before_them_could_not_be_read() -> None:
    """Items that are taken out of a list still count in the places of later ones."""
    unread = both(*(set_at("rules", index, "check", value="none") for index in (0, 2)))
    found = edited(
        both(unread, set_at("rates", 0, "dpc", value=9), set_at("rates", 1, "mts", value=2134), WRONG_SOURCE)
    )
    places = ["rules[1].check", "rules[3].check", "rates[1].dpc", "rates[2].mts", "rules[4].source"]
    assert sorted(each.place for each in found if each.place != "rules") == sorted(places)


def test_many_faults_are_all_told() -> None:
    """Hundreds of faults of one sort are told one by one, without end or exception."""
    raw = shipped_raw("skerry-16")
    raw["physical"]["landmarks"] = [
        {"name": f"Thing {index}", "kind": "thing", "at_mm": [1, 1], "size_mm": [1, 1]} for index in range(90)
    ]
    found = problems_of(raw)
    assert len([problem for problem in found if problem.place.endswith(".kind")]) == 90


def test_more_unknown_keys_than_anyone_mends_are_told_without_a_look_for_what_was_meant() -> None:
    found = problems_of(shipped_raw("skerry-16") | {f"titel{index}": 1 for index in range(501)})
    assert len(found) == 501
    assert {(problem.found, problem.allowed, problem.hint) for problem in found} == {
        ("an unknown key", "known keys only", "")
    }


def test_processors_that_may_differ_need_two_and_sockets_that_may() -> None:
    def differing(raw: Raw) -> None:
        raw["electrical"] |= {"processors_differ": True, "rate_scope": "socket"}
        raw["processors"] = raw["processors"][:1]
        raw["rules"].append({"id": "alike", "check": "alike", "what": "count", "source": "INVENTED"})

    told = [problem.found for problem in edited(differing) if problem.place == "electrical.processors_differ"]
    assert told == ["true with 1 processor", "true, sockets alike, and rates of their own"]


def test_load_board_raises_with_every_problem(tmp_path: Path) -> None:
    """Loading a faulty file by path raises once, with all its problems."""
    raw = shipped_raw("skerry-16")
    six_faults(raw)
    path = tmp_path / "mine.toml"
    path.write_text(toml_text(raw), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_board(str(path))
    assert set(SIX) <= {problem.place for problem in caught.value.problems}


JUNK = (0, -1, 2, 1 << 62, 1.5, True, "", " ", "a", "\x1b[31m", "\u202e", "{socket}", "none", "NEAR", [], [[]], {})


def paths(value: Any, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    """Every path inside plain values."""
    found = [path] if path else []
    if isinstance(value, dict):
        items: list[tuple[str | int, Any]] = list(value.items())
    else:
        items = list(enumerate(value)) if isinstance(value, list) else []
    return found + [inner for key, each in items for inner in paths(each, (*path, key))]


@pytest.mark.parametrize("start", sampled(range(0, 400, 50), 3))
def test_spoilt_files_never_end_in_an_exception(start: int) -> None:
    """Shipped boards with values taken out, replaced by junk or doubled: read, or refused with problems."""
    raws = [shipped_raw(board_id) for board_id in SHIPPED]
    for seed in range(start, start + 50):
        rng = random.Random(seed)
        raw = copy.deepcopy(rng.choice(raws))
        for _ in range(rng.choice((1, 1, 2, 4))):
            spoil(raw, rng)
        board, problems = examine_text(toml_text(raw).encode("utf-8"), file="mine.toml")
        assert (board is None) == bool(problems), f"seed {seed}"


def spoil(raw: Raw, rng: random.Random) -> None:
    path = rng.choice(paths(raw))
    here: Any = raw
    for part in path[:-1]:
        here = here[part]
    chance = rng.random()
    if chance < 0.25:
        del here[path[-1]]
    elif chance < 0.85 or isinstance(here, dict):
        here[path[-1]] = copy.deepcopy(rng.choice(JUNK))
    else:
        here.append(copy.deepcopy(here[path[-1]]))


# The schema for editors


@functools.cache
def schema_validator() -> Any:
    jsonschema.Draft202012Validator.check_schema(json_schema())
    return jsonschema.Draft202012Validator(json_schema())


@pytest.mark.parametrize("board_id", SHIPPED)
def test_the_schema_takes_shipped_boards(board_id: str) -> None:
    """The JSON Schema is one, and every shipped board file is valid by it."""
    text = (shipped_folder() / f"{board_id}.toml").read_text(encoding="utf-8")
    schema_validator().validate(tomllib.loads(text))


@pytest.mark.parametrize("fault", FORM, ids=[fault[0] for fault in FORM])
def test_the_schema_refuses_faults_of_form(fault: Fault) -> None:
    """Every fault of form that the check tells is one by the JSON Schema too."""
    raw = shipped_raw("skerry-16")
    fault[1](raw)
    assert not schema_validator().is_valid(raw)


@pytest.mark.parametrize("trust", get_args(Trust))
def test_how_far_a_board_can_be_trusted_is_told(
    trust: Trust, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every value is read, and told in the same words by every command; JSON has the value."""
    monkeypatch.chdir(tmp_path)
    raw = shipped_raw("marram-4")
    Path("mine.toml").write_text(toml_text(raw | {"trust": trust}), encoding="utf-8")
    compared = "compare mine.toml --capacity 32GiB --module 8GiB"
    for command in ("plan mine.toml --capacity 32GiB", compared, "rules mine.toml", "boards show mine.toml"):
        assert run(command.split()) == 0
        assert f"; {TRUST[trust]}]" in capsys.readouterr().out
        assert run([*command.split(), "--json"]) == 0
        record = json.loads(capsys.readouterr().out)
        assert record.get("board", record)["trust"] == trust
