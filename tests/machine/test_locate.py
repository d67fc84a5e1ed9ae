"""From error records to slots: each form that kernels have written, and what cannot be known."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dimmplan.boardfile.read import examine_text, find_board_file, load_board
from dimmplan.cli.app import application
from dimmplan.inventory.match import match_slots
from dimmplan.inventory.reader import read_inventory
from dimmplan.locate import Location, locate, locate_log
from dimmplan.model.inventory import Inventory
from dimmplan.output.machine import first_steps, location_text
from dimmplan.output.svg import render_svg
from dimmplan.sheet.marked import compose_marked
from tests.inventory import build
from tests.machine.support import device

BOARD = load_board("skerry-16")
M32 = BOARD.module_of_size(32)


def one(record: str, board=BOARD, **known) -> tuple[list[str], bool]:
    (located,) = locate(board, [record], **known).records
    return list(located.slots), located.certain


@pytest.mark.parametrize(
    ("record", "slots"),
    [
        # drivers/edac (kernel-03): NEAR is source 0 with controllers port (K, L, M) and starboard (P, Q, R)
        ("CPU_SrcID#0_MC#1_Chan#0_DIMM#1", ["P2"]),
        ("CPU_SrcID#0_MC#0_Chan#2_DIMM#0", ["M1"]),
        ("CPU_SrcID#1_Ha#1_Chan#2_DIMM#0", ["Y1"]),
        ("CPU_SrcID#0_Channel#4_DIMM#1", ["Q2"]),
        ("CPU#1Channel#0_DIMM#0", ["T1"]),
        ("EDAC MC0: 1 CE memory read error on CPU_SrcID#0_MC#0_Chan#1_DIMM#1 (channel:1 slot:1 page:0x8)", ["L2"]),
        ("mc_event: 1 Corrected error: memory read error at CPU_SrcID#0_MC#1_Chan#1_DIMM#0 (mc: 1)", ["Q1"]),
        ("mc#0channel#1slot#1", ["L2"]),
        ("mc#0csrow#0channel#2", ["M1"]),
        ('EDAC MC0: CE page 0x4, offset 0x0, grain 0, syndrome 0x1, row 0, channel 2, label ""', ["M1"]),
        ("/sys/devices/system/edac/mc/mc0/csrow0/ch2_ce_count", ["M1"]),
        ('EDAC MC0: CE page 0x4, row 2, channel 0, label "L2": driver', ["L2"]),
        ("EDAC MC0: 1 CE Multi-bit ECC on Q2 (node:0 card:0 module:0 rank:0)", ["Q2"]),
        # drivers/firmware/efi/cper (kernel-04)
        ("DIMM location: NEAR P1 ", ["P1"]),
        ("/redfish/v1/Systems/1/Memory/K1/MemoryMetrics", ["K1"]),
        ("k 1", ["K1"]),
        ("DIMM K1", ["K1"]),
        ("EDAC MC0: 1 CE on DIMM_Q2 (channel:0)", ["Q2"]),
    ],
)
def test_a_form_of_error_record_means_its_slot(record: str, slots: list[str]) -> None:
    assert one(record) == (slots, True)


@pytest.mark.parametrize(
    ("record", "slots"),
    [
        ("mc#0csrow#2channel#1", ["L1", "L2"]),
        ("mc0: csrow2: ch1: 4 Corrected Errors", ["L1", "L2"]),
        ("EDAC MC0: 1 UE ECC on K2 or L2 (channel:0)", ["K2", "L2"]),
        ("{1}[Hardware Error]: node: 0 card: 1 module: 0 rank: 1", ["L1", "P1"]),
        ("mc#1channel#0slot#0", ["P1", "T1"]),
        ("CPU1_DIMM_K1", ["K1"]),
    ],
)
def test_where_numbers_can_mean_several_slots_all_are_named(record: str, slots: list[str]) -> None:
    (located,) = locate(BOARD, [record]).records
    assert (list(located.slots), located.certain) == (slots, False)
    assert located.apart


@pytest.mark.parametrize(
    "record",
    [
        "CPU_SrcID#7_MC#0_Chan#0_DIMM#0",
        "CPU_SrcID#0_MC#0_Chan#0_DIMM#2",
        "CPU_SrcID#0_HBMC#0_Chan#0_DIMM#0",
        "mc#0csrow#9channel#2",
        "mc#0csrow#3",
        "mc#0memory#2",
        "DIMM location: not present. DMI handle: 0x1101",
        "0x1101",
        "something else",
        "/redfish/v1/Systems/1/Memory/DIMM7",  # v1 is no slot V1
        "",
    ],
)
def test_a_record_that_fits_no_slot_says_why(record: str) -> None:
    (located,) = locate(BOARD, [record]).records
    assert located.slots == () and not located.certain and located.why


def _machine(ranks: int | None) -> Inventory:
    slots = [
        replace(device(slot, M32, ranks_said=ranks), handle=f"0x{0x1100 + number:04X}")
        for number, slot in enumerate(BOARD.slots)
    ]
    return Inventory(form="smbios-text", slots=tuple(slots))


@pytest.mark.parametrize(
    ("ranks", "row", "slots"),
    [(2, 2, ["L2"]), (2, 1, ["L1"]), (1, 1, ["L1", "L2"]), (4, 3, ["L1", "L2"]), (None, 2, ["L1", "L2"])],
)
def test_a_row_is_a_rank_so_modules_of_two_take_two(ranks: int | None, row: int, slots: list[str]) -> None:
    """With one or four ranks drivers differ: rows fixed by slot, or counted through."""
    found = _machine(ranks)
    told = one(f"mc#0csrow#{row}channel#1", found=found, matching=match_slots(found, BOARD))
    assert told == (slots, len(slots) == 1)


def test_a_handle_is_found_in_the_inventory() -> None:
    found = _machine(2)
    known = {"found": found, "matching": match_slots(found, BOARD)}
    assert one("{3}[Hardware Error]: DIMM location: not present. DMI handle: 0x1102", **known) == (
        [BOARD.slots[2]],
        True,
    )
    assert one("0x110f", **known) == ([BOARD.slots[15]], True)
    assert one("0x2000", **known) == ([], False)


def test_a_resource_is_found_by_its_id_in_the_inventory() -> None:
    found = read_inventory(
        build.as_json([build.memory("7", DeviceLocator="V1"), build.memory("K1", DeviceLocator="K2")])
    )
    known = {"found": found, "matching": match_slots(found, BOARD)}
    assert one("/redfish/v1/Systems/1/Memory/7", **known) == (["V1"], True)
    assert one("/redfish/v1/Systems/1/Memory/K1/", **known) == (["K2"], True)
    assert one("0x1101", **known) == ([], False)


def test_a_place_in_the_list_of_the_firmware_is_found_in_the_inventory() -> None:
    found = _machine(2)
    known = {"found": found, "matching": match_slots(found, BOARD)}
    assert one("mc#0memory#2", **known) == ([BOARD.slots[2]], True)
    assert one("mc#0memory#99", **known) == ([], False)


@pytest.mark.parametrize(
    ("slots", "record", "meant"),
    [
        (("CPU1 A1", "CPU2 A1"), "Processor 2, Channel A, DIMM 1", (["CPU2 A1"], True)),
        (("CPU1 A1", "CPU2 A1"), "Channel A, DIMM 1", (["CPU1 A1", "CPU2 A1"], False)),
        (("CPU1 A1", "CPU2 A1"), "Processor 3, Channel A, DIMM 1", ([], False)),
    ],
)
def test_a_locator_in_other_words_means_the_same_place(slots: tuple[str, ...], record: str, meant: object) -> None:
    text = find_board_file("skerry-16").read_text(encoding="utf-8")
    for slot, name in zip(("K1", "T1"), slots, strict=True):
        text = text.replace(f'"{slot}"', f'"{name}"')
    board, problems = examine_text(text.encode(), file="renamed.toml")
    assert board is not None, problems
    assert one(record, board) == meant


def test_names_of_the_board_file_go_before_numbers() -> None:
    named = replace(BOARD, edac=(("K2", ("CPU_SrcID#0_MC#1_Chan#0_DIMM#1",)),))
    assert one("EDAC MC1: 1 CE on CPU_SrcID#0_MC#1_Chan#0_DIMM#1 (channel:0)", named) == (["K2"], True)


def test_a_draft_with_one_guessed_controller_gives_the_candidates() -> None:
    joined = replace(
        BOARD,
        trust="drafted",
        sockets=tuple(
            socket._replace(controllers=(socket.controllers[0]._replace(channels=socket.channels),))
            for socket in BOARD.sockets
        ),
    )
    slots, certain = one("CPU_SrcID#0_MC#1_Chan#0_DIMM#0", joined)
    assert not certain and {"P1", "M1"} <= set(slots)


@pytest.mark.parametrize(
    ("guessed", "record", "slots", "certain"),
    [
        ("channels", "CPU_SrcID#0_MC#1_Chan#0_DIMM#1", ["P2"], False),
        ("fill-order", "CPU_SrcID#0_MC#1_Chan#0_DIMM#1", ["P1", "P2"], False),
        ("fill-order", "CPU_SrcID#0_MC#1_Chan#2_DIMM#0", ["R1"], True),
        ("channels", "P2", ["P2"], True),
        ("width", "CPU_SrcID#0_MC#1_Chan#0_DIMM#1", ["P2"], True),
    ],
)
def test_numbers_are_not_sure_where_the_wiring_is_guessed(
    guessed: str, record: str, slots: list[str], certain: bool
) -> None:
    assert one(record, replace(BOARD, guesses=((guessed, "?"),))) == (slots, certain)


_READ = "CE memory read error on CPU_SrcID#0_MC#0_Chan#0_DIMM"
LOG = f"""\
Nov 01 00:00:01 shore kernel: EDAC MC0: 1 {_READ}#0 (channel:0 slot:0 page:0x1 offset:0x40 grain:32)
Nov 01 00:00:02 shore kernel: eth0: link up
Nov 01 00:00:03 shore kernel: EDAC MC0: 4 {_READ}#0 (channel:0 slot:0 page:0x9 offset:0x80 grain:32)
Nov 01 00:00:04 shore kernel: EDAC MC0: 1 {_READ.replace("CE", "UE")}#1 (channel:0 slot:1 page:0x9 offset:0x80)
Nov 01 00:00:05 shore kernel: {{7}}[Hardware Error]: event severity: corrected
Nov 01 00:00:05 shore kernel: {{7}}[Hardware Error]:   node: 0 card: 1 module: 0 rank: 1 bank: 2
Nov 01 00:00:05 shore kernel: {{7}}[Hardware Error]:   DIMM location: NEAR K2
Nov 01 00:00:06 shore bmc: Memory | Correctable ECC | Asserted | K1
"""


def test_a_log_is_grouped_and_counted_by_slot() -> None:
    location = locate_log(BOARD, LOG.splitlines())
    assert location.counts == {"K1": (6, 0), "K2": (1, 1)}
    assert location.pattern == "one-channel" and location.ignored == 2
    assert all(record.certain for record in location.records)


def test_counters_of_nothing_are_no_errors() -> None:
    label = "CPU_SrcID#0_Channel#{}_DIMM#0"
    lines = [
        *(f"mc0: csrow0: {label.format(channel)}: {3 * channel} Corrected Errors" for channel in range(2)),
        *(f"/sys/devices/system/edac/mc/mc0/csrow0/ch{channel}_ce_count:{channel}" for channel in (0, 2)),
    ]
    location = locate_log(BOARD, lines)
    assert location.counts == {"L1": (3, 0), "M1": (2, 0)} and location.ignored == 2


def test_a_log_of_many_alike_errors_is_one_record_for_each_place() -> None:
    lines = [
        f"\x1b[31mEDAC MC0: 1 {_READ}#{n % 2} (channel:0 slot:{n % 2} page:0x{n:x} err_code:0x1:0x{n:x})"
        for n in range(999)
    ]
    location = locate_log(BOARD, ["EDAC MC0: " + "(" * 5000, *lines])
    assert location.counts == {"K1": (500, 0), "K2": (499, 0)} and len(location.records) == 2


@pytest.mark.parametrize(
    ("log", "counts", "left_out"),
    [
        (
            "Label  \tCE\tUE\nmc#0channel#1slot#0\t7\t0\nmc#0channel#0slot#1\t0\t0\nK1\t2\t1\n",
            {"L1": (7, 0), "K1": (2, 1)},
            4,
        ),
        (
            "Memory errors\nSOCKET 1 CHANNEL 3 DIMM 0\ncorrected memory errors:\n\t9 total\n\t1 in 24h\n"
            "uncorrected memory errors:\n\t2 total\n\t0 in 24h\n",
            {"W1": (9, 2)},
            3,
        ),
        (
            "MCE 0\nMemory read ECC error\nMemory DIMM ID of error: 1\nMemory channel ID of error: 4\n"
            "MCGCAP 1c09 APICID 20 SOCKETID 0\n",
            {"Q2": (1, 0)},
            2,
        ),
    ],
)
def test_reports_of_several_lines_and_tables_of_counts(
    log: str, counts: dict[str, tuple[int, int]], left_out: int
) -> None:
    location = locate_log(BOARD, log.splitlines())
    assert location.counts == counts and location.ignored == left_out


def test_a_socket_or_channel_that_a_record_does_not_name_leaves_candidates() -> None:
    assert one("SOCKET 1 CHANNEL any DIMM any") == (["T1", "U1", "V1", "W1", "X1", "Y1"], False)
    assert one("SOCKET 0 CHANNEL 0 DIMM 0") == (["K1", "P1"], False)  # of the socket, or of its second controller
    assert one("SOCKET 0 CHANNEL 5 DIMM any") == (["R1"], True)
    assert one("SOCKET 2 CHANNEL 0 DIMM 0") == ([], False)


def test_a_log_that_speaks_of_errors_and_names_no_slot_says_so() -> None:
    lines = ["3a | 11/30/26 | 04:45:00 | Memory #0x88 | Correctable ECC (elsewhere) | Asserted", "link up"]
    location = locate_log(BOARD, lines)
    assert (location.records, location.ignored, location.unplaced) == ((), 2, 1)
    assert "1 may speak of memory errors" in location_text(location)
    assert location_text(locate_log(BOARD, lines[1:])) == "No memory error in 1 line.\n"
    assert locate_log(BOARD, [lines[0].replace("elsewhere", "K1")]).counts == {"K1": (1, 0)}


def test_a_label_that_firmware_gives_stands_before_what_differs_from_line_to_line() -> None:
    """Of drivers/edac (kernel-03): the place is in the brackets, behind the numbers and before the page."""
    said = "EDAC MC0: 1 CE Single-bit ECC on unknown memory (node:0 card:1 module:0 DIMM location:NEAR P1"
    location = locate_log(BOARD, [f"{said} page:0x{page:x} grain:1)" for page in range(40)])
    assert location.counts == {"P1": (40, 0)} and len(location.records) == 1


@pytest.mark.parametrize(
    ("records", "pattern", "word"),
    [
        (["K1"], "one-slot", "exchange it with its neighbour"),
        (["K1", "K2"], "one-channel", "of that channel"),
        (["K1", "L1", "P1"], "one-socket", "processor"),
        (["K1", "T1"], "several-sockets", "common cause"),
        (["0x1"], "none", "No slot is sure"),
    ],
)
def test_first_steps_follow_how_the_slots_lie(records: list[str], pattern: str, word: str) -> None:
    location = locate(BOARD, records)
    assert location.pattern == pattern
    assert any(word in step for step in first_steps(location))


def test_the_map_marks_the_slot_and_carries_the_cautions() -> None:
    sheet = compose_marked(BOARD, {"L1": False, "P2": True})
    drawn = render_svg(sheet.pages[0])
    for words in ("LOOK HERE", "OR HERE", "WARNING", "CAUTION", "NOTICE", "is an aid, not", "2 slots marked"):
        assert words in drawn
    assert "0 GiB" not in drawn and "tear off" not in drawn


def _called(*arguments: str, input_text: str | None = None) -> tuple[int, str]:
    done = CliRunner().invoke(application("locate"), ["locate", *arguments], input=input_text)
    return done.exit_code, done.stdout


def test_the_command_prints_records_and_ends_with_one_where_a_record_fits_no_slot(tmp_path: Path) -> None:
    status, text = _called("skerry-16", "CPU_SrcID#0_MC#1_Chan#0_DIMM#1", "nothing", "--json")
    answer = json.loads(text)
    assert status == 1 and answer["format"] == 1
    assert [record["slots"] for record in answer["records"]] == [["P2"], []]
    assert {"record", "slots", "certain", "why"} <= set(answer["records"][0])
    status, text = _called("skerry-16", "-", input_text=LOG)
    assert status == 0 and "K1: 6 corrected" in text and "K2: 1 corrected, 1 not corrected" in text
    assert _called("skerry-16", "K1", "-o", str(tmp_path / "map.svg"))[0] == 0
    assert "LOOK HERE" in (tmp_path / "map.svg").read_text(encoding="utf-8")
    assert _called("skerry-16", "-", input_text="nothing odd\n")[0] == 1


def test_a_pattern_is_one_of_those_with_steps() -> None:
    location: Location = locate(BOARD, ["K1"])
    assert first_steps(location)[0].startswith("Copy the records")
