"""Damaged inventories of every form, and the worst that each can be given.

Right inventories are flipped, cut, spliced, given wrong lengths and values, zipped and broken again; worst cases (deep
and huge JSON, archives that expand, endless lines) come on top. Each is read as a whole file and, where it is not
recognised any more, by the reader that it was made for. What can be read is printed, matched, audited and drafted from.
"""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Iterator

from dimmplan.audit import audit
from dimmplan.boardfile.draft import draft_board
from dimmplan.boardfile.read import examine_text, load_board
from dimmplan.errors import InputError
from dimmplan.inventory.files import Piece
from dimmplan.inventory.match import mapping_text, match_slots
from dimmplan.inventory.oddities import Oddities
from dimmplan.inventory.reader import Reader, read_inventory, readers
from dimmplan.model.inventory import Inventory
from dimmplan.output.machine import AuditDocument, audit_text, found_record, found_text
from dimmplan.output.record import to_json
from tests.bench.hostile_inputs import WrongError, must_be_printable
from tests.bench.mutate import mutate, mutate_json
from tests.inventory import build
from tests.inventory.build import EMPTY, FILLED

Read = Callable[[bytes], object]


def _read_as(reader: Reader) -> Read:
    """How the reader of one form reads a file, whatever the file looks like."""
    return lambda content: reader.read([Piece(name="A1", content=content)], file="A1", odd=Oddities())


READERS: dict[str, Read] = {reader.form: _read_as(reader) for reader in readers()}


def bases(form: str) -> list[bytes]:
    """Right inventories of one form."""
    if form == "smbios-binary":
        devices = [build.device(0x1100 + index, locator=f"DIMM_{index}", serial=f"S{index}") for index in range(8)]
        empty = [build.empty_device(0x1200 + index, locator=f"DIMM_E{index}") for index in range(8)]
        long = [build.device(0x1300, length=100, technology=4, sizes=(1 << 37, 0, 0, 0))]
        return [
            build.machine(devices + empty, version=(3, 2)),
            build.machine(devices[:2] + long, version=(2, 8)),
            build.machine(empty, version=(3, 5), marked=False),
        ]
    if form == "smbios-text":
        plain = build.listing([FILLED, EMPTY] * 6)
        return [each.encode() for each in (plain, plain.replace("\n", "\r\n"), build.listing(head="", handles=False))]
    if form == "redfish":
        members = [build.memory(f"DIMM{index}") for index in range(6)] + [build.absent("DIMM9")]
        tree = {f"{each['Id']}.json": build.as_json(each) for each in members}
        tree["index.json"] = build.as_json(build.collection(members, expanded=False))
        return [build.as_json(build.collection(members)), build.as_json(members[0]), build.zipped(tree)]
    if form == "labels":
        rows = [f"A{index},32GB 2Rx4 PC4-2933Y-RB{index}-12" for index in range(8)] + [
            "B1,empty",
            "B2,128GB 4DRx4 PC4-2666V-L",
        ]
        return ["\n".join(["slot,label", *rows]).encode(), "\n".join(rows).replace(",", ";").encode()]
    images = {f"A{index}.bin": build.spd4(serial=bytes((1, 2, 3, index))) for index in range(4)}
    return [build.spd4(), build.spd4(package=0x92), build.spd5(), build.zipped(images)]


def mutants(form: str, rng: random.Random) -> Iterator[bytes]:
    """Damaged inventories of one form, without end."""
    originals = bases(form)
    while True:
        content, other = rng.choice(originals), rng.choice(originals)
        if form == "redfish" and not content.startswith(b"PK") and rng.random() < 0.5:
            yield json.dumps(mutate_json(json.loads(content), rng)).encode()
            continue
        for _ in range(rng.choice((1, 1, 1, 2, 5))):
            content = mutate(content, other, rng)
        yield build.zipped({"A1.bin": content, "A2.bin": other}) if rng.random() < 0.02 else content


def worst(form: str) -> Iterator[tuple[str, bytes]]:
    """The worst that one form can be given."""
    mib = 1 << 20
    if form == "smbios-binary":
        yield "as many structures as fit", build.dump([b"\x80\x04\0\0\0\0" * (4 * mib // 6 - 20)])
        yield (
            "as many devices as fit",
            build.dump([build.array(slots=2000), *(build.device(each) for each in range(2000))]),
        )
        yield "as many texts as fit", build.dump([build.structure(17, 1, build.device()[4:40], b"ab\0" * mib + b"\0")])
        yield "one endless text", build.dump([build.structure(17, 1, build.device()[4:40], b"a" * (3 * mib) + b"\0\0")])
        yield "zeros", b"_SM_" + bytes(4 * mib - 4)
        yield "ones", b"_SM3_" + b"\xff" * (4 * mib - 5)
        yield "bare structures", b"\x11\x04\0\0\0\0" * (4 * mib // 6)
    elif form == "smbios-text":
        head = build.HEAD.encode() + b"Handle 0x1100, DMI type 17, 40 bytes\nMemory Device\n"
        for name, piece in (
            *(("blank lines", b"\n"), ("short fields", b"a:\n"), ("fields", b"\tSize: 1 GB\n"), ("titles", b"ab\n")),
            *(
                ("blanks", b" " * 4000 + b"\n"),
                ("blanks and a colon", b" " * 79 + b":\n"),
                ("quotes", b"> " * 40 + b"\n"),
            ),
            *(("escapes", b"\x1b["), ("handles", b"Handle 0x1\n"), ("one line", b"x"), ("heads", b"# dmidecode 1\n")),
            *(("devices", b"Handle 0x1, DMI type 17, 40 bytes\nMemory Device\n\tSize: 1 GB\n"), ("colons", b":")),
            *(("complaints", b"Invalid entry length\n"), ("versions", b"SMBIOS 3.2 present.\n")),
        ):
            yield name, head + piece * ((2 * mib - len(head)) // len(piece))
        yield "untold titles", b"Memory Device\n" * (2 * mib // 14)
        yield "distinct fields", head + b"".join(b"k%d: v\n" % each for each in range(180_000))
    elif form == "redfish":
        yield "deep arrays", b"[" * (4 * mib)
        yield "deep objects", b'{"a":' * (mib // 2)
        for piece in (
            b"[],",
            b"{},",
            b"[[]],",
            b'{"":0},',
            b'[{"":[]}],',
            b"0.5,",
            b'"ab",',
            b"[0,0],",
            b'{"Id":"a"},',
        ):
            yield f"many {piece.decode()}", b"[" + piece * ((4 * mib - 3) // len(piece)) + b"0]"
        resource_ = b'{"@odata.type":"#Memory.v1_0_0.Memory"},'
        yield "as many resources as fit", b"[" + resource_ * (4 * mib // len(resource_) - 2) + b"0]"
        yield "4000 resources", build.as_json([build.memory(f"D{each}", MemoryType="X") for each in range(2000)])
        yield "a huge number", b'{"Id":"1","CapacityMiB":' + b"9" * (2 * mib) + b"}"
        yield "a huge text", b'{"Id":"1","CapacityMiB":1,"DeviceLocator":"' + b"\\u202e" * (mib // 2) + b'"}'
        member = b'{"@odata.id":"/%d"},'
        members = b"".join(member % each for each in range(150_000))
        yield "many members", b'{"@odata.type":"#MemoryCollection.MemoryCollection","Members":[' + members + b"0]}"
        yield (
            "many documents",
            build.zipped({f"{each}.json": build.as_json(build.memory(f"D{each}")) for each in range(2000)}),
        )
        yield (
            "large documents",
            build.zipped({f"{each}.json": b'["#Memory.",' + b"{}," * mib + b"0]" for each in range(8)}),
        )
    elif form == "labels":
        yield "blank lines", b"slot,label\nA1,x\n" + b"\n" * (2 * mib - 20)
        yield "short rows", b"a,b\n" * (mib // 2)
        yield "commas", b"slot,label\n" + b"," * (2 * mib - 20)
        yield "an open quote", b'slot,label\nA1,"' + b"x" * (2 * mib - 20)
        yield "unreadable labels", b"slot,label\n" + b"A1,48GB 2RX8 PC5 56008 REO_1010-XT\n" * 4000
        yield "long labels", b"slot,label\n" + (b"A1," + b"2Rx4 PC4-" * 50 + b"\n") * 4000
        yield "blanks", b"slot,label\n" + (b"A1," + b" " * 500 + b"\n") * 4000
        yield "comments", b"slot,label\nA1,x\n" + b"# x\n" * (mib // 2)
    else:
        yield "an archive of images", build.zipped({f"A{each}.bin": build.spd5() for each in range(2000)})
        yield "an archive that expands", build.zipped({"A1.bin": bytes(64 * mib)})
        yield "many that expand", build.zipped({f"A{each}.bin": bytes(12 * mib) for each in range(6)})
        yield "many members", b"PK\x03\x04" + b"PK\x01\x02" + bytes(42) + build.zipped({"A1.bin": build.spd4()})
        yield "16 MiB of zeros", bytes(16 * mib)
        yield "16 MiB of text", b"x y\n" * (4 * mib)
        yield "16 MiB of accents", "é".encode() * (8 * mib)
        yield "16 MiB of noise", random.Random(1).randbytes(16 * mib)
        yield "member records", b"PK\x03\x04" + b"PK\x01\x02" * (4 * mib) + build.zipped({"A1.bin": build.spd4()})


def take(form: str, content: bytes, rng: random.Random) -> bool:
    """Read one inventory by both doors; true where it was recognised."""
    try:
        found = read_inventory(content, name="A1.bin")
    except InputError as error:
        must_be_told(error)
        try:
            READERS[form](content)
        except InputError as alone:
            must_be_told(alone)
        return False
    if len(found.slots) <= 64 and rng.random() < 0.2:
        use(found)
    return True


def must_be_told(error: InputError) -> None:
    """Raise where an error names no problem, or names one in characters that a terminal must not get."""
    if not error.problems:
        raise WrongError("an error without a problem")
    must_be_printable(*(each for problem in error.problems for each in map(str, problem)))


def use(found: Inventory) -> None:
    """Print an inventory, match and audit it, and draft a board from it: a draft has no problem."""
    must_be_printable(found_text(found, serials=True))
    to_json(found_record(found, serials=True))
    board = load_board("skerry-16")
    matching = match_slots(found, board)
    result = audit(board, found, matching, None)
    must_be_printable(audit_text(result, matching), mapping_text(found, matching))
    to_json(AuditDocument.of(result, questions=matching.questions))
    try:
        made = draft_board(found, board_id="drafted", title="Drafted")
    except InputError as error:
        must_be_told(error)
        return
    drafted, problems = examine_text(made.text.encode("utf-8"), file="drafted.toml")
    if drafted is None or problems:
        raise WrongError(f"a draft with problems: {problems[:3]}")
