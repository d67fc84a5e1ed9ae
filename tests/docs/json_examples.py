"""Commands whose documents stand on the page about JSON, and the files that they read."""

from __future__ import annotations

WHOLE = """\
slot,label
K1,32GB 2Rx4 PC4-2933Y-R
K2,empty
L1,32GB 2Rx4 PC4-2933Y-R
L2,empty
M1,32GB 2Rx4 PC4-2933Y-R
P1,32GB 2Rx4 PC4-2933Y-R
P2,empty
Q1,32GB 2Rx4 PC4-2933Y-R
Q2,empty
R1,32GB 2Rx4 PC4-2933Y-R
T1,32GB 2Rx4 PC4-2933Y-R
U1,32GB 2Rx4 PC4-2933Y-R
V1,32GB 2Rx4 PC4-2933Y-R
W1,32GB 2Rx4 PC4-2933Y-R
X1,32GB 2Rx4 PC4-2933Y-R
Y1,empty
"""
FILES = {
    "copied.csv": "count,slots\n1,D3\n2,D3 D9\n",
    "found.csv": """\
slot,label
K1,32GB 2Rx4 PC4-2933Y-R
K2,empty
L1,32GB 2Rx4 PC4-2933Y-R
L2,empty
M1,empty
P1,32GB 2Rx4 PC4-2933Y-R
P2,empty
Q1,32GB 2Rx4 PC4-2933Y-R
Q2,32GB 2Rx4 PC4-2933Y-R
R1,smudged
T1,32GB 2Rx4 PC4-2933Y-R
U1,16GB 1Rx4 PC4-2666V-R
V1,empty
W1,32GB 2Rx4 PC4-2933Y-R
X1,32GB 2Rx4 PC4-2933Y-R
Y1,empty
""",
    "whole.csv": WHOLE,
    "seated.csv": WHOLE + "spare,32GB 2Rx4 PC4-2933Y-R\n",
    "shelf.csv": """\
label,count,price,currency,note
32GB 2Rx4 PC4-2933Y-R,20,90,EUR,
64GB 2Rx4 PC4-2933Y-R,4,210,EUR,
16GB 2Rx8 PC3-12800E,8,5,EUR,drawer
""",
    "racks.csv": """\
tag,board,fitted,processor,capacity,modules,prefer
QUAY-01,skerry-16,,,384GiB,32GiB,
QUAY-02,skerry-16,,,512GiB,32GiB,
QUAY-03,skerry-16,,,1TiB,64GiB,
""",
}
"""Files that the examples read."""

LISTING = """\
Handle 0x0004, DMI type 4, 26 bytes
Processor Information
\tSocket Designation: NEAR
\tType: Central Processor
\tStatus: Populated, Enabled
\tCore Count: 20

Handle 0x0011, DMI type 17, 40 bytes
Memory Device
\tTotal Width: 72 bits
\tData Width: 64 bits
\tSize: 32 GB
\tForm Factor: DIMM
\tLocator: K1
\tBank Locator: NEAR
\tType: DDR4
\tType Detail: Synchronous Registered (Buffered)
\tSpeed: 2933 MT/s
\tRank: 2
"""
"""``listing.txt``: what Linux tools print of a machine, cut short."""

PLAN = "dimmplan plan skerry-16 --capacity 384GiB --module 32GiB --json"
FULL = "dimmplan plan skerry-16 --capacity 512GiB --module 32GiB --json"

EDITED = {
    "edited.json": (PLAN, {"code": "0000-0000"}),
    "worse.json": (
        "dimmplan plan skerry-16 --capacity 320GiB --module 32GiB --prefer equal-sockets --json",
        {"prefer": "capacity-first", "code": None},
    ),
}
"""Plans that somebody has edited, by the command that makes them and what was changed."""

COMMANDS: dict[str, tuple[str, ...]] = {
    "plan": (
        "dimmplan plan skerry-16 --capacity 224GiB --fitted NEAR --module 32GiB --module 64GiB --json",
        "dimmplan plan skerry-16 --capacity 160GiB --fitted NEAR --stock shelf.csv --then 320GiB --json",
        "dimmplan plan skerry-16 --capacity 384GiB --module 32GiB --keep found.csv --json",
        "dimmplan plan skerry-16 --capacity 160GiB --fitted NEAR --keep found.csv --data-saved R1 --json",
        "dimmplan plan saltern-24 --capacity 96GiB --module 32GiB --mode mirrored --json",
        "dimmplan plan skerry-16 --capacity 512GiB --keep whole.csv --tag QUAY-07 --json",
        "dimmplan plan skerry-16 --capacity 96GiB --module 32GiB --then 160GiB --then-may-move --json",
        "dimmplan plan trays.toml --capacity 320GiB --module 64GiB --processor S=dunlin --without-tray upper --json",
    ),
    "plan: impossible": (
        "dimmplan plan skerry-16 --capacity 3TiB --module 32GiB --json",
        "dimmplan plan skerry-16 --capacity 768GiB --module 64GiB --stock shelf.csv --json",
    ),
    "any command: refused": ("dimmplan plan skerry-16 --capacity 384GiB --module '16GB 2Rx8 PC3-12800E' --json",),
    "any command: errors": ("dimmplan plan skerry-16 --capacity 384 --module 32GiB --json",),
    "plan --machines": ("dimmplan plan --machines racks.csv --stock shelf.csv --out sheets --json",),
    "compare": (
        "dimmplan compare skerry-16 --capacity 384GiB --capacity 1TiB --module 32GiB --module 64GiB "
        "--processor tern-20 --processor tern-12 --json",
        "dimmplan compare skerry-16 --capacity 512GiB --module 64GiB --stock shelf.csv -o rows.csv --json",
    ),
    "draw": (
        f"{PLAN} | dimmplan draw - -o map.svg --json",
        f"{PLAN} | dimmplan draw - -o map.svg --prove --json",
        "dimmplan draw edited.json -o edited.svg --json",
        "dimmplan draw worse.json -o worse.svg --prove --json",
    ),
    "boards list": ("dimmplan boards list --json",),
    "boards check": ("dimmplan boards check mine.toml tabled.toml found.csv --json",),
    "boards table": ("dimmplan boards table copied.csv --json",),
    "boards draft": ("dimmplan boards draft found.csv -o mine.toml --force --json",),
    "found": (
        "dimmplan found found.csv --serials --json",
        "dimmplan found listing.txt --json",
    ),
    "audit": (
        f"{PLAN} | dimmplan audit seated.csv --against - --json",
        f"{PLAN} | dimmplan audit found.csv --against - --json",
        "dimmplan audit seated.csv --against edited.json --json",
    ),
    "locate": ("dimmplan locate skerry-16 'CPU_SrcID#0_MC#1_Chan#0_DIMM#1' 'mc#0csrow#2channel#1' --json",),
    "moves": (
        f"{PLAN} | dimmplan moves found.csv --to - --json",
        "dimmplan moves found.csv --to edited.json --json",
    ),
    "why, why SLOT": (
        f"{FULL} | dimmplan why - --json",
        f"{PLAN} | dimmplan why - K2 --json",
        "dimmplan plan skerry-16 --capacity 160GiB --fitted NEAR --module 32GiB --json | dimmplan why - --json",
        "dimmplan why edited.json K1 --json",
    ),
    "why --next": (
        f"{PLAN} | dimmplan why - --next --json",
        f"{PLAN} | dimmplan why - --next --module 64GiB --json",
        "dimmplan why edited.json --next --json",
    ),
    "why --put, --clear": (
        f"{PLAN} | dimmplan why - --put K2=32GiB --clear R1 -o change.svg --json",
        f"{FULL} | dimmplan why - --clear K1 --json",
        "dimmplan why edited.json --put K2=32GiB --json",
    ),
    "why --without": (
        f"{FULL} | dimmplan why - --without K1 --json",
        "dimmplan plan lagoon-32 --capacity 256GiB --module 32GiB --mode mirrored --json | dimmplan why - "
        "--without 11r --json",
        "dimmplan why edited.json --without K1 --json",
    ),
    "why --expect": (
        f"{PLAN} | dimmplan why - --expect K1,K2,L1,L2,M1,P1,P2,Q1,T1,U1,V1,W1 --json",
        f"{PLAN} | dimmplan why - --expect K1,K2,L1,L2,M1,P1,P2,Q1 --json",
    ),
    "mix": (
        "dimmplan mix skerry-16 32GiB 64GiB --json",
        "dimmplan mix skerry-16 32GiB '16GB 2Rx8 PC3-12800E' --json",
    ),
    "rules": ("dimmplan rules skerry-16 --json",),
    "boards show": ("dimmplan boards show skerry-16 --json",),
    "docs": ("dimmplan docs --json",),
    "docs TOPIC": ("dimmplan docs limits --json",),
}
"""The commands of each document; together they print every key of it. The first is the page's example."""
