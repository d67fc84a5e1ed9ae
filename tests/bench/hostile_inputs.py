"""Every form of input but inventories, right ones and damaged ones, and what is done with each.

What can be read is also used: a board that passes its check is planned on and drawn, a plan that fits its board is
drawn and asked why. A fault is anything but ``InputError``, ``RefusedError`` or an exit status of 0 to 2, a character
in an output that a terminal must not get, or an output that is not what its form promises.
"""

from __future__ import annotations

import io
import json
import os
import random
import sys
import tempfile
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

from defusedxml import ElementTree

from dimmplan.boardfile.read import examine_text, load_board, shipped_folder
from dimmplan.cli.run import run
from dimmplan.cli.sheets import sheet_files
from dimmplan.errors import DimmplanError, InputError
from dimmplan.fleet.requests import Requests
from dimmplan.fleet.rows import BadRow, MachineList
from dimmplan.inventory.match import read_mapping
from dimmplan.model.board import Board
from dimmplan.model.label import parse_label
from dimmplan.model.placement import Placement
from dimmplan.output.boards import board_text
from dimmplan.output.plan import PlanDocument, plan_text
from dimmplan.output.reading import judge_file, read_plan
from dimmplan.output.record import to_json
from dimmplan.plancode.code import decode, encode, read_head
from dimmplan.plancode.symbols import ALPHABET, with_checks
from dimmplan.planner import ask, plan
from dimmplan.stock import read_shelf
from tests.bench.mutate import HOSTILE_WORDS, hostile_word, mutate, mutate_json
from tests.support import one_document, toml_text, unprintable

EFFORT = 500
FEW_SLOTS = 48
"""Larger boards are planned on without runners-up and drawn without the page that gives every slot its reason: that is
work for a second, and no fault."""

BOARDS = ("skerry-16", "marram-4", "saltern-24", "groyne-24", "strand-12")


class WrongError(Exception):
    """What came out is not what the form promises."""


def must_be_printable(*texts: str) -> None:
    """Raise ``WrongError`` for a character that a terminal must not get."""
    for text in texts:
        found = next(unprintable(text), None)
        if found is not None:
            at = text.index(found)
            raise WrongError(f"U+{ord(found):04X} in {text[max(0, at - 60) : at + 20]!r}")


def must_be_inert(files: Mapping[Path, bytes]) -> None:
    """Raise where an SVG is not well-formed, or it or an HTML page runs or loads anything but its own."""
    for path, content in files.items():
        text = content.decode("utf-8")
        must_be_printable(text)
        if path.suffix == ".svg":
            elements = [(str(each.tag), dict(each.attrib)) for each in ElementTree.fromstring(text).iter()]
        else:
            reader = _Elements()
            reader.feed(text)
            elements = reader.found
        for tag, attributes in elements:
            name = tag.rpartition("}")[2].casefold()
            loads = [value for key, value in attributes.items() if key.rpartition("}")[2] in ("href", "src")]
            if any(key.casefold().startswith("on") for key in attributes) or not all(v.startswith("#") for v in loads):
                raise WrongError(f"<{tag}> with {attributes} in {path.name}")
            if name in ("foreignobject", "iframe", "object", "embed", "base", "form", "image", "img"):
                raise WrongError(f"<{tag}> in {path.name}")
        scripts = sum(tag.casefold().endswith("script") for tag, _ in elements)
        if scripts != (path.suffix == ".html"):
            raise WrongError(f"{scripts} scripts in {path.name}")


class _Elements(HTMLParser):
    """The elements of a page with their attributes."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep one element."""
        self.found.append((tag, {key: value or "" for key, value in attrs}))


@contextmanager
def _file(content: bytes, suffix: str) -> Iterator[Path]:
    """The content as a file, in memory where the system has such a place."""
    place = "/dev/shm" if Path("/dev/shm").is_dir() else None
    with tempfile.TemporaryDirectory(dir=place) as folder:
        path = Path(folder) / f"input{suffix}"
        path.write_bytes(content)
        yield path


# Boards


def boards(rng: random.Random) -> Iterator[bytes]:
    """Board files with bytes or values damaged."""
    texts = [path.read_bytes() for path in sorted(shipped_folder().glob("*.toml")) if path.stat().st_size < 9000]
    raws = [tomllib.loads(text.decode("utf-8")) for text in texts]
    while True:
        kind = rng.random()
        if kind < 0.25:
            yield mutate(rng.choice(texts), rng.choice(texts), rng)
        elif kind < 0.4:
            raw = {key: mutate_json(value, rng, share=0.01) for key, value in rng.choice(raws).items()}
            yield toml_text(_without_none(raw)).encode("utf-8", "surrogatepass")
        else:
            raw = json.loads(json.dumps(rng.choice(raws)))
            change = _nudge if kind < 0.7 else _spoil
            for _ in range(rng.choice((1, 1, 2, 5))):
                change(raw, rng)
            yield toml_text(raw).encode("utf-8", "surrogatepass")


def _without_none(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _without_none(each) for key, each in value.items() if each is not None}
    return [_without_none(each) for each in value if each is not None] if isinstance(value, list) else value


def _nudge(raw: dict[str, Any], rng: random.Random) -> None:
    """A change that may leave a board good: a rule, a rate, a socket or a word is another, or gone, or elsewhere."""
    electrical, physical = raw["electrical"], raw["physical"]
    kind = rng.randrange(9)
    if kind == 0 and raw["rules"]:
        rng.choice(raw["rules"])["severity"] = rng.choice(("error", "advised"))
    elif kind == 1 and raw["rules"]:
        del raw["rules"][rng.randrange(len(raw["rules"]))]
    elif kind == 2:
        rng.choice(raw["rates"])["mts"] = rng.choice([*electrical["rates_mts"], "none"])
    elif kind == 3:
        rng.shuffle(raw[rng.choice(("modules", "rates", "rules"))])
    elif kind == 4:
        electrical["interleave"]["ways"] = sorted(rng.sample(range(1, 9), rng.randint(1, 4)))
        electrical["interleave"]["excess"] = rng.choice(("layers", "alone", "none"))
    elif kind == 5:
        electrical["rate_scope"] = rng.choice(("system", "socket", "channel"))
    elif kind == 6:
        raw["title"] = hostile_word(rng, [raw["title"]])[:80]
    elif kind == 7:
        physical["access"] = [hostile_word(rng, ["Take off the lid"])[:60] for _ in range(rng.randrange(4))]
    else:
        raw["modules"] = rng.sample(raw["modules"], rng.randint(1, len(raw["modules"])))


def _spoil(raw: Any, rng: random.Random) -> None:
    """One leaf of plain values replaced, taken out or said twice: a name, a number, a whole table."""
    here, leaves = raw, 0
    while True:
        keys: Sequence[Any] = list(here) if isinstance(here, dict) else range(len(here))
        if not keys:
            return
        key = rng.choice(keys)
        inner = here[key]
        leaves += 1
        if isinstance(inner, dict | list) and inner and rng.random() < 0.9:
            here = inner
            continue
        break
    kind = rng.randrange(6)
    if kind == 0:
        del here[key]
    elif kind == 1 and isinstance(here, list):
        here.append(inner)
    elif kind == 2 and isinstance(inner, str):
        here[key] = hostile_word(rng, [inner or "x"])
    elif isinstance(inner, bool):
        here[key] = not inner
    elif isinstance(inner, int | float):
        here[key] = rng.choice((0, 1, -1, 2, inner * 2, inner + 1, 0.1, 1e300, 10**18, -(10**30), 3000, 64, 299.999))
    elif isinstance(inner, str):
        here[key] = rng.choice(HOSTILE_WORDS)[:200]
    else:
        here[key] = rng.choice(("", [], {}, 0, [[]], {"a": {}}, [here[key]] if len(str(here[key])) < 99 else []))


EXCESS = {  # text of a board file, and a word of the one problem that it has
    "deep key": (".".join(["a"] * 20_000) + " = 1\n", "parts"),
    "deep quoted key": (" . ".join(['"a"', "'b'"] * 10_000) + " = 1\n", "parts"),
    "deep table": (f"[{'.'.join(['a'] * 20_000)}]\n", "parts"),
    "tables": ("[[rates]]\n" * 100_000, "keys"),
    "keys": ("".join(f"k{i} = 1\n" for i in range(80_000)), "keys"),
    "lists": (f"a = [{'[],' * 300_000}]", "keys"),
    "inline tables": ("a = " + "{a = " * 30_000, "keys"),
    "one key": ("a" * 1_000_000, "TOML"),
    "dots alone": ("a." * 20 + "\n", "TOML"),
}


def take_board(content: bytes, rng: random.Random) -> bool:
    """Check a board file; where it is good, plan on it and draw now and then."""
    board, problems = examine_text(content, file="mine.toml")
    for problem in problems:
        must_be_printable(*map(str, problem))
    if board is None:
        if not problems:
            raise WrongError("no board and no problem")
        return False
    if rng.random() < 0.3:
        must_be_printable(board_text(board))
        _use(board, rng)
    return True


def _use(board: Board, rng: random.Random) -> None:
    """Plan something on a board and draw it."""
    size = rng.choice(board.modules).capacity_gib * rng.randint(1, len(board.slots))
    try:
        small = len(board.slots) <= FEW_SLOTS
        planned = plan(board, ask(board, f"{size}GiB", effort=EFFORT), alternatives=small)
    except DimmplanError as error:
        must_be_printable(str(error))
        return
    must_be_printable(plan_text(planned))
    if rng.random() < 0.2:
        _draw(board, planned.placement, rng)


def _draw(board: Board, placement: Placement, rng: random.Random) -> None:
    words = {key: hostile_word(rng) if rng.random() < 0.7 else None for key in ("title", "tag", "date")}
    ending = rng.choice((".svg", ".svg", ".svg", ".html" if len(board.slots) <= FEW_SLOTS else ".svg"))
    try:
        must_be_inert(sheet_files(board, placement, Path(f"x{ending}"), **words))
    except DimmplanError as error:
        must_be_printable(str(error))


# Lists


STOCKS = (
    b"label,count,price,currency,note\n32GB 2Rx4 PC4-2933Y-R,24,61.50,EUR,left\n64GB 2Rx4 PC4-2933Y-R,8,140,EUR,\n",
    b"label;count\n16GB 2Rx8 PC4-2666V-R;40\n32GB 2Rx4 PC4-2933Y-R;3\n32GB 2Rx4 PC4-2933Y-R;9\n",
    b"32GB 2Rx4 PC4-2933Y-R\t12\t60\tUSD\tnote\n",
    b'currency = "EUR"\n[[lots]]\nlabel = "32GB 2Rx4 PC4-2933Y-R"\ncount = 20\nprice = 61.5\n[[lots]]\n'
    b'label = "64GB 2Rx4 PC4-2933Y-R"\ncount = 4\nprice = 140.25\nnote = "new"\n',
)
MACHINES = (
    b"tag,board,fitted,processor,capacity,modules,prefer\nQ-1,skerry-16,,,384GiB,32GiB,\n"
    b"Q-2,strand-12,,,768GiB,64GiB|32GiB,room-first\nQ-3,marram-4,,,32GiB,,\n",
    b"capacity;board;tag\n512 GB;skerry-16;a b\n128GB;marram-4;\xc3\xa9\n",
)
MAPPINGS = (
    b"# dimmplan slot mapping\nlocator,bank,slot\nDIMM_A1,BANK 0,K1\nDIMM_A2,BANK 1,\nP0 CHANNEL B,,L1\n",
    b'locator,bank,slot\n"DIMM ""1""",x,K2\n',
)


def _damaged(bases: Sequence[bytes], words: Sequence[str], rng: random.Random) -> Iterator[bytes]:
    """Lists with bytes damaged, or with hostile words in place of a cell."""
    while True:
        content = rng.choice(bases)
        if rng.random() < 0.5:
            for _ in range(rng.choice((1, 1, 2, 5))):
                content = mutate(content, rng.choice(bases), rng)
            yield content
            continue
        lines = content.decode("utf-8").splitlines()
        for _ in range(rng.choice((1, 1, 3))):
            line = rng.randrange(len(lines))
            mark = next((each for each in ",;\t=" if each in lines[line]), ",")
            cells = lines[line].split(mark)
            word = hostile_word(rng, words) if rng.random() < 0.7 else rng.choice(words)
            quoted = '"' + word.replace('"', '""') + '"' if rng.random() < 0.3 else word
            cells[rng.randrange(len(cells))] = quoted
            lines[line] = mark.join(cells)
        yield rng.choice(("\n", "\r\n", "\n", "\r")).join(lines).encode("utf-8", "surrogatepass")


WORDS = (
    *("32GB 2Rx4 PC4-2933Y-R", "64GB 2S2Rx4 PC4-2933Y-R", "16GB 1Rx8 EC4 PC5-4800B-R", "4GB 1Rx8 PC3L-10600E"),
    *("384GiB", "1.5TiB", "32 GB", "24", "61.50", "EUR", "K1", "NEAR,FAR", "skerry-16", "capacity-first", "10%"),
    *("label", "count", "price", "tag", "board", "capacity", "slot", "locator", "mirrored", "3/16", "a4", "mono"),
)


def stocks(rng: random.Random) -> Iterator[bytes]:
    """Damaged shelf lists."""
    return _damaged(STOCKS, WORDS, rng)


def take_stock(content: bytes, rng: random.Random) -> bool:
    """Read a shelf list; where it is good, plan with it now and then."""
    board = load_board("skerry-16")
    with _file(content, rng.choice((".csv", ".csv", ".toml"))) as path:
        try:
            shelf = read_shelf(path, board)
        except InputError as error:
            must_be_printable(*(each for problem in error.problems for each in map(str, problem)))
            return False
    must_be_printable(*(lot.note for lot in shelf.lots), *(lot.label for lot in shelf.lots))
    if rng.random() < 0.1:
        try:
            request = ask(board, "256GiB", shelf=shelf, effort=EFFORT, prefer=rng.choice(("cost-first", None)))
            must_be_printable(plan_text(plan(board, request, shelf=shelf)))
        except DimmplanError as error:
            must_be_printable(str(error))
    return True


def machines(rng: random.Random) -> Iterator[bytes]:
    """Damaged lists of machines."""
    return _damaged(MACHINES, WORDS, rng)


def take_machines(content: bytes, rng: random.Random) -> bool:
    """Read a list of machines and ask for each of its rows; rarely plan and draw them all."""
    del rng
    with _file(content, ".csv") as path:
        rows = MachineList(path)
        requests = Requests(rows, {"effort": EFFORT})
        good = 0
        try:
            for row in rows:
                if isinstance(row, BadRow):
                    must_be_printable(row.tag, *(each for problem in row.problems for each in map(str, problem)))
                    continue
                must_be_printable(row.folder)
                if not row.folder or "/" in row.folder or row.folder.startswith("."):
                    raise WrongError(f"a folder {row.folder!r}")
                asked = requests.asked(row)
                if isinstance(asked, DimmplanError):
                    must_be_printable(
                        *(each for problem in requests.problems(row, asked) for each in map(str, problem))
                    )
                else:
                    good += 1
        except InputError as error:
            must_be_printable(*(each for problem in error.problems for each in map(str, problem)))
            return False
    return good > 0


def mappings(rng: random.Random) -> Iterator[bytes]:
    """Damaged mapping files."""
    return _damaged(MAPPINGS, WORDS, rng)


def take_mapping(content: bytes, rng: random.Random) -> bool:
    """Read a mapping file."""
    del rng
    board = load_board("skerry-16")
    with _file(content, ".csv") as path:
        try:
            answers = read_mapping(path, board)
        except InputError as error:
            must_be_printable(*(each for problem in error.problems for each in map(str, problem)))
            return False
    must_be_printable(*(word for key in answers for word in key))
    return True


# Plans and codes


@cache
def placements() -> tuple[tuple[Board, Placement, str], ...]:
    """Plans on several boards, with their JSON."""
    found = []
    for board_id in BOARDS:
        board = load_board(board_id)
        size = board.modules[0].capacity_gib * len(board.slots) // 2
        planned = plan(board, ask(board, f"{size}GiB", modules=[f"{board.modules[0].capacity_gib}GiB"]))
        found.append((board, planned.placement, to_json(PlanDocument.of(planned))))
    return tuple(found)


def plans(rng: random.Random) -> Iterator[bytes]:
    """Plan JSON with bytes or values damaged."""
    texts = [text.encode() for _, _, text in placements()]
    while True:
        kind = rng.random()
        if kind < 0.4:
            content = rng.choice(texts)
            for _ in range(rng.choice((1, 1, 2))):
                content = mutate(content, rng.choice(texts), rng)
            yield content
        elif kind < 0.7:
            raw = json.loads(rng.choice(texts))
            for _ in range(rng.choice((1, 1, 2, 4))):
                _spoil({key: raw[key] for key in raw}, rng) if rng.random() < 0.1 else _spoil(raw, rng)
            yield json.dumps(raw).encode()
        else:
            yield json.dumps(_other_plan(json.loads(rng.choice(texts)), rng)).encode()


def _other_plan(raw: dict[str, Any], rng: random.Random) -> dict[str, Any]:
    """Another content of the same form: other modules in other slots, holds, sockets, capacities."""
    labels = [
        *WORDS[:4],
        "256GB 4Rx4 PC5-5600B-R",
        "8GB 1Rx8 PC4-2400TXX-R",
        "32GB 2Rx4 PC4-2933-X",
        "1GB 1Rx8 PC3-8500U",
    ]
    keys = [chr(97 + index) for index in range(rng.choice((1, 2, 3, 8, 12)))]
    raw["modules"] = [{"key": key, "label": rng.choice(labels)} for key in keys]
    raw["slots"] = {slot: rng.choice([None, *keys]) for slot in raw["slots"] if rng.random() < 0.95}
    slots = list(raw["slots"]) or [""]
    raw["hold"] = rng.choices(slots, k=rng.choice((0, 0, 1, 3)))
    raw["mode"] = rng.choice(("independent", "mirrored", "sparing"))
    raw["request"] = {"capacity_gib": rng.choice((1, 384, 1 << 20, 77))}
    raw["processor"] = rng.choice((raw["processor"], raw["processor"], None))
    raw["fitted"] = rng.choice((raw["fitted"], raw["fitted"], raw["fitted"][:1], raw["fitted"] * 2))
    return raw


def take_plan(content: bytes, rng: random.Random) -> bool:
    """Read a plan; where it fits its board, write its code, draw it and ask why."""
    board = next((each for each, _, _ in placements() if each.id.encode() in content), placements()[0][0])
    try:
        judged = judge_file(read_plan(content, file="plan.json"), board)
    except InputError as error:
        must_be_printable(*(each for problem in error.problems for each in map(str, problem)))
        return False
    must_be_printable(*(cause.text for cause in judged.causes))
    _use_placement(board, judged.placement, rng)
    return True


def _use_placement(board: Board, placement: Placement, rng: random.Random) -> None:
    try:
        code = encode(board, placement)
    except DimmplanError as error:
        must_be_printable(str(error))
    else:
        again = decode(read_head(code), board)
        if [module and module.label for _, module in again.slots] != [m and m.label for _, m in placement.slots]:
            raise WrongError(f"{code} brings back other modules")
    if rng.random() < 0.05:
        _draw(board, placement, rng)
    if rng.random() < 0.03:
        text = json.dumps(_record_of(board, placement))
        words = rng.choice(([], [rng.choice(board.slots)], ["--next"], ["--without", rng.choice(board.slots)]))
        take_call(["why", "-", *words, *rng.choice(([], ["--json"]))], rng, given=text.encode())


def _record_of(board: Board, placement: Placement) -> dict[str, Any]:
    """The keys of a plan that reading it back needs."""
    keys = {module: chr(97 + index) for index, module in enumerate(placement.types)}
    return {
        "format": 1,
        "board": {"id": board.id, "electrical_digest": board.electrical_digest},
        "fitted": placement.fitted,
        "processor": placement.processor,
        "mode": placement.mode.value,
        "prefer": placement.prefer,
        "request": {"capacity_gib": placement.capacity_gib},
        "status": placement.status,
        "modules": [{"key": key, "label": module.label} for module, key in keys.items()],
        "slots": {slot: module and keys[module] for slot, module in placement.slots},
        "hold": placement.hold,
    }


def codes(rng: random.Random) -> Iterator[str]:
    """Codes with characters replaced, swapped, lost or added, and codes whose checks are right and content is not."""
    right = [encode(board, placement).replace("-", "") for board, placement, _ in placements()]
    while True:
        code = rng.choice(right)
        kind = rng.randrange(5)
        at = rng.randrange(len(code))
        if kind == 0:
            yield code[:at] + rng.choice(ALPHABET.replace(code[at], "")) + code[at + 1 :]
        elif kind == 1:
            yield _cut_or_grown(code, rng)
        elif kind == 2:
            yield hostile_word(rng, [code])
        elif kind == 3:
            yield with_checks("".join(rng.choices(ALPHABET, k=rng.randrange(1, 60))))
        else:  # the board's own head, then anything
            head = code[:-4][-10:]
            yield with_checks("".join(rng.choices(ALPHABET, k=rng.randrange(0, 30))) + head)


def _cut_or_grown(code: str, rng: random.Random) -> str:
    at = rng.randrange(len(code))
    return rng.choice(
        (code[:at], code[:at] + rng.choice(ALPHABET) + code[at:], code[at:], code * 2, code[at:] + code[:at])
    )


def take_code(code: str, rng: random.Random) -> bool:
    """Read a code; where it is one of a board at hand, it must come back from what it carries."""
    try:
        head = read_head(code)
        board = next((each for each, _, _ in placements() if head.is_of(each.id)), placements()[0][0])
        placement = decode(head, board)
    except InputError as error:
        must_be_printable(*(each for problem in error.problems for each in map(str, problem)))
        return False
    _use_placement(board, placement, rng)
    return True


# Labels and calls


def labels(rng: random.Random) -> Iterator[str]:
    """Module labels with something done to them."""
    while True:
        yield hostile_word(rng, WORDS[:4])


def take_label(text: str, rng: random.Random) -> bool:
    """Read a label; its one spelling must read as the same module."""
    board = load_board(rng.choice(BOARDS))
    try:
        module = parse_label(text, usual=board.modules)
    except InputError as error:
        must_be_printable(*(each for problem in error.problems for each in map(str, problem)))
        return False
    must_be_printable(module.label)
    if parse_label(module.label, usual=board.modules) != module:
        raise WrongError(f"{module.label} reads as another module")
    return True


CALLS: tuple[tuple[str, ...], ...] = (
    ("plan", "BOARD", "--capacity", "CAPACITY", "OPTIONS"),
    ("plan", "BOARD", "--capacity", "384GiB", "--module", "LABEL", "OPTIONS"),
    ("plan", "BOARD", "--capacity", "64GiB", "--then", "CAPACITY", "OPTIONS"),
    ("plan", "BOARD", "--capacity", "CAPACITY", "--keep", "FILE", "--slots", "FILE", "--data-saved", "SLOT"),
    ("plan", "BOARD", "--capacity", "CAPACITY", "--stock", "FILE", "OPTIONS"),
    ("plan", "--machines", "FILE", "--out", "WORD", "--jobs", "WORD", "OPTIONS"),
    ("compare", "BOARD", "--capacity", "CAPACITY", "--module", "LABEL", "OPTIONS"),
    ("draw", "PLAN", "-o", "NAME", "--title", "WORD", "--tag", "WORD", "--date", "WORD"),
    ("compare", "marram-4", "--capacity", "CAPACITY", "-o", "NAME"),
    ("boards", "draft", "labels.csv", "-o", "NAME", "--title", "WORD"),
    ("audit", "labels.csv", "--against", "-", "--save-slots", "NAME"),
    ("draw", "PLAN", "-o", "WORD", "--paper", "WORD", "--page", "WORD", "--title", "WORD"),
    ("why", "PLAN", "SLOT"),
    ("why", "PLAN", "--put", "PUT"),
    ("why", "PLAN", "--clear", "SLOT", "--without", "SLOT"),
    ("why", "PLAN", "--without", "SLOT"),
    ("why", "PLAN", "--expect", "SLOTS"),
    ("why", "PLAN", "--next", "WORD"),
    ("mix", "BOARD", "LABEL", "LABEL"),
    ("rules", "BOARD"),
    ("boards", "show", "BOARD"),
    ("boards", "check", "FILE"),
    ("boards", "draft", "FILE", "-o", "WORD", "--title", "WORD"),
    ("found", "FILE", "OPTIONS"),
    ("audit", "FILE", "--against", "PLAN", "--slots", "FILE", "--data-saved", "SLOT"),
    ("moves", "FILE", "--to", "PLAN", "--data-saved", "SLOT"),
    ("WORD", "WORD"),
    ("boards", "WORD"),
)
OPTIONS = ("--over", "--fitted", "--processor", "--mode", "--prefer", "--max-types", "--effort", "--title", "--WORD")


def calls(rng: random.Random) -> Iterator[list[str]]:
    """Calls with hostile words where a board, a capacity, a label, a slot, a file or an option is expected."""
    code = encode(*placements()[0][:2])
    slots = placements()[0][0].slots
    likely = {
        "BOARD": BOARDS,
        "CAPACITY": ("384GiB", "1.5TiB", "512 GB", "48GiB"),
        "LABEL": (*WORDS[:4], "32GiB"),
        "SLOT": slots[:4],
        "SLOTS": (",".join(slots[:3]),),
        "PUT": (f"{slots[0]}=32GiB", f"{slots[1]}=empty"),
        "PLAN": (code, "-", "plan.json"),
        "FILE": ("labels.csv", "machines.csv", "stock.csv", "mapping.csv", "board.toml", "plan.json", "."),
        "NAME": ("map.svg", "map.html", "table.csv", "mine.toml"),
        "WORD": WORDS,
    }
    while True:
        call: list[str] = []
        for word in rng.choice(CALLS):
            if word == "OPTIONS":
                for option in rng.sample(OPTIONS, rng.choice((0, 1, 2))):
                    name = option.replace("WORD", hostile_word(rng, ("force", "json", "tag")))
                    call += [name, hostile_word(rng, WORDS)]
            elif word in likely:
                call.append(rng.choice(likely[word]) if rng.random() < 0.55 else hostile_word(rng, likely[word]))
            else:
                call.append(word)
        if call[0] == "plan" and "--effort" not in call:
            call += ["--effort", str(EFFORT)]
        yield [*call, *rng.choice(([], ["--json"]))]


FOLDER_FILES = {
    "labels.csv": b"slot,label\nK1,32GB 2Rx4 PC4-2933Y-R\nK2,empty\nN9,64GB 2Rx4 PC4-2933Y-R\n",
    "stock.csv": STOCKS[0],
    "mapping.csv": MAPPINGS[0],
    "machines.csv": MACHINES[0],
}


@contextmanager
def in_folder() -> Iterator[None]:
    """A folder with files of every form to call upon."""
    before = Path.cwd()
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory())) / "some" / "way" / "down"
        folder.mkdir(parents=True)
        for name, content in FOLDER_FILES.items():
            (folder / name).write_bytes(content)
        (folder / "plan.json").write_text(placements()[0][2], encoding="utf-8")
        (folder / "board.toml").write_bytes((shipped_folder() / "skerry-16.toml").read_bytes())
        os.chdir(folder)
        try:
            yield
        finally:
            os.chdir(before)


def take_call(call: Sequence[str], rng: random.Random, *, given: bytes = b"") -> bool:
    """Run a call: status 0, 1 or 2, printable lines, one JSON document where it is asked for."""
    del rng
    streams = sys.stdin, sys.stdout, sys.stderr
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", errors="strict") for _ in range(2))
    sys.stdin, sys.stdout, sys.stderr = io.TextIOWrapper(io.BytesIO(given or placements()[0][2].encode())), out, err
    try:
        status = run(list(call))
        out.flush()
        err.flush()
    finally:
        sys.stdin, sys.stdout, sys.stderr = streams
    said, told = (stream.buffer.getvalue().decode("utf-8", "backslashreplace") for stream in (out, err))  # type: ignore[attr-defined]
    must_be_printable(said, told)
    if status not in (0, 1, 2) or "an internal fault" in told + said or "Traceback" in told:
        raise WrongError(f"status {status}: {told[-400:]}")
    if call[-1] == "--json" and "--help" not in call and not one_document(said):
        raise WrongError("no JSON document")
    if status == 2 and not (told or said):
        raise WrongError("status 2 without a word")
    return status != 2
