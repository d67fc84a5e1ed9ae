"""Mutated inventories against the readers: only ``InputError``, nothing slow, nothing large.

Run: python -m tests.bench.mutate_inventories [--count 20000] [--seed 1] [--form FORM]...

Right inventories of every form are flipped, cut, spliced, given wrong lengths and values, zipped and broken again;
worst cases (deep and huge JSON, archives that expand, endless lines) come on top. Each is read as a whole file and,
where it is not recognised any more, by the reader that it was made for. The seed gives the same inputs every time.
Times are of the processor, so that other work on the machine does not count; a hang ends by the caller's limit.
"""

from __future__ import annotations

import argparse
import json
import random
import resource
import sys
import time
import traceback
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from dimmplan.errors import InputError
from dimmplan.inventory import labels, redfish, smbios_binary, smbios_text, spd
from dimmplan.inventory.clean import decode_file
from dimmplan.inventory.detect import read_inventory
from tests.inventory import build
from tests.inventory.build import EMPTY, FILLED

SLOWEST_SECONDS = 1.0
MOST_MEMORY_MB = 300

Reader = Callable[[bytes], object]


def _text(content: bytes) -> str:
    return decode_file(content) or content.decode("latin-1")


READERS: dict[str, Reader] = {
    "smbios-binary": smbios_binary.read_dump,
    "smbios-text": lambda content: smbios_text.read_listing(_text(content)),
    "redfish": lambda content: redfish.read_documents([("a.json", content)], file="a.json"),
    "labels": lambda content: labels.read_label_list(_text(content)),
    "spd": lambda content: spd.read_images([("A1", content)]),
}


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


def _numbers(rng: random.Random) -> Any:
    return rng.choice((0, 1, 255, 256, 0x7FFF, 0xFFFF, 0x8000, (1 << 31), rng.randrange(1 << 16)))


PIECES = (
    *(
        b"\0",
        b"\0\0",
        b"\xff" * 8,
        b"\x1b[31m",
        b"\r\n",
        b"\n\n",
        b"\t",
        b":",
        b",",
        b";",
        b'"',
        b"{",
        b"[",
        b"}",
        b"]",
    ),
    *(b"999999999999999999999999 GB", b"0x", b"<OUT OF SPEC>", b"<BAD INDEX>", b"No Module Installed", b"-1", b"1e999"),
    *("\u202e\ud7ff\u200b".encode(), b"\xed\xa0\x80", b"Handle 0x1100, DMI type 17, 40 bytes\n", b"Memory Device\n"),
    *(b"_SM3_", b"PK\x03\x04", b"PK\x01\x02", b"null", b"true", b'"@odata.type"', b"PC5-9999", b"16GB", b"#"),
)


def mutate(content: bytes, other: bytes, rng: random.Random) -> bytes:
    """One mutation of ``content``, with ``other`` to splice from."""
    data = bytearray(content)
    kind = rng.randrange(8)
    at = rng.randrange(len(data)) if data else 0
    if kind == 0:
        for _ in range(rng.randrange(1, 9)):
            if data:
                data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    elif kind == 1:
        data = data[:at]
    elif kind == 2:
        data = data[:at] + other[rng.randrange(len(other) + 1) :]
    elif kind == 3:
        value = _numbers(rng)
        data[at : at + 2] = int(value & 0xFFFF).to_bytes(2, "little")
    elif kind == 4:
        length = rng.randrange(1, 64)
        data[at:at] = data[at : at + length] * rng.randrange(1, 5)
    elif kind == 5:
        del data[at : at + rng.randrange(1, 64)]
    elif kind == 6:
        data[at:at] = rng.choice(PIECES) * rng.choice((1, 1, 1, 3, 40))
    else:
        data[at : at + rng.randrange(1, 8)] = rng.randbytes(rng.randrange(1, 8))
    return bytes(data)


def mutate_json(value: Any, rng: random.Random, depth: int = 0) -> Any:
    """A JSON value with some of its parts replaced by others of any type."""
    if rng.random() < 0.06:
        return rng.choice(
            (
                None,
                True,
                -1,
                0,
                3.5,
                10 ** rng.randrange(300),
                "",
                "x" * 500,
                "32768",
                [],
                {},
                [None],
                {"@odata.id": 7},
                "Absent",
            )
        )
    if isinstance(value, dict):
        return {key if rng.random() > 0.02 else key.swapcase(): mutate_json(item, rng) for key, item in value.items()}
    if isinstance(value, list):
        return [mutate_json(item, rng) for item in value]
    return value


def mutants(form: str, seed: int, count: int) -> Iterator[bytes]:
    """``count`` mutated inventories of one form; the same for the same seed."""
    rng = random.Random(f"{form} {seed}")
    originals = bases(form)
    for _ in range(count):
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


@dataclass(slots=True)
class Tally:
    """What came of the inputs of one form."""

    form: str
    read: int = 0
    refused: int = 0
    slowest: float = 0.0
    slowest_name: str = ""
    failures: list[str] = field(default_factory=list)

    def take(self, name: str, content: bytes) -> None:
        """Read one input by both doors and note what came of it."""
        recognised = self._try(name, content, lambda data: read_inventory(data, name="A1.bin"))
        if not recognised:
            self._try(f"{name}, reader alone", content, READERS[self.form])
        self.read += recognised
        self.refused += not recognised

    def _try(self, name: str, content: bytes, reader: Reader) -> bool:
        start = time.process_time()
        try:
            reader(content)
            answered = True
        except InputError as error:
            answered = False
            if not error.problems:
                self.failures.append(f"{name}: an error without a problem")
        except BaseException:  # any other exception is what this bench looks for
            answered = False
            self.failures.append(f"{name}: {traceback.format_exc(limit=-3)}")
        took = time.process_time() - start
        if took > self.slowest:
            self.slowest, self.slowest_name = took, name
        if took > SLOWEST_SECONDS:
            self.failures.append(f"{name}: {took:.2f} s")
        return answered


def run(form: str, seed: int, count: int) -> Tally:
    """Read ``count`` mutants and the worst cases of one form."""
    tally = Tally(form)
    for name, content in worst(form):
        tally.take(name, content)
    for index, content in enumerate(mutants(form, seed, count)):
        tally.take(f"mutant {index}", content)
    return tally


def peak_mb() -> int:
    """The most memory this process has held, in MB."""
    status = Path("/proc/self/status")
    if status.exists():  # rusage also counts what the starting process had before this one began
        peak = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM"))
        return int(peak.split()[1]) // 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024


def main(arguments: list[str] | None = None) -> int:
    """Run the bench and print seed, counts, the slowest input and the peak of memory; 1 where anything failed."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--form", action="append", choices=sorted(READERS))
    options = parser.parse_args(arguments)
    failed = False
    for form in options.form or sorted(READERS):
        tally = run(form, options.seed, options.count)
        print(  # noqa: T201 - a bench prints what it found
            f"{form}: seed {options.seed}, {options.count} mutants, {tally.read} read, {tally.refused} refused, "
            f"slowest {tally.slowest:.3f} s ({tally.slowest_name}), peak {peak_mb()} MB, {len(tally.failures)} failures"
        )
        for failure in tally.failures[:20]:
            print(f"  {failure}")  # noqa: T201
        failed = failed or bool(tally.failures) or peak_mb() > MOST_MEMORY_MB
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
