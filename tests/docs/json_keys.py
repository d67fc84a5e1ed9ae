"""What the keys of the JSON documents mean: the text of the page, held against what the commands print.

A line is ``path | meaning`` or ``path -> shape | meaning``. ``[]`` is every item of a list, a part in capitals every
key of an object whose keys are names of slots.
"""

from __future__ import annotations

from dataclasses import dataclass

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
    "seated.csv": """\
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
spare,32GB 2Rx4 PC4-2933Y-R
""",
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


@dataclass(frozen=True)
class Document:
    """One document: its title, what it is, the commands whose output has all of its keys, and the keys."""

    title: str
    intro: str
    commands: tuple[str, ...]
    keys: str


SHAPES = {
    "finding": """
rule | id of the board's row, or of what the tool itself looks at
severity | `error` (must not be), `warning` (not advised), `note`
where[] | slots, channels or sockets
text | a sentence
source | id of the source; `rules` gives the citation
""",
    "sentence": """
text | what the terminal prints
rule | the row, criterion or figure behind it
source | id of the source
""",
    "figures": """
usable_gib | usable capacity over all fitted sockets
modules | how many
rate_mts | MT/s; with rates that differ by channel, the lowest
system_sweep_gb_s | all capacity over the longest sweep time of a socket, GB/s
worst_share | lowest share of a socket
socket_difference_gib | largest less smallest usable capacity of a socket
sockets[].id | the socket
sockets[].usable_gib | its usable capacity
sockets[].rate_mts | its rate
sockets[].rate_row | what limits the rate: a rate row, `processor:ID` or `module:LABEL`
sockets[].sweep_gb_s | every byte once, GB/s
sockets[].share | of the peak of all its channels
sockets[].regions[].ways | channels that the addresses rotate over
sockets[].regions[].capacity_gib | how much of the capacity
""",
    "parted": """
by | `rule`, `below`, `above` (the capacity asked), `criterion`, `board-order`, `same`
name | the first rule or criterion that separates the two
plan | its value in the plan; sweep and parallel as exact fractions of GB/s
alternative | its value in the alternative
better | `high` or `low`
first | which of the two comes first: `plan` or `alternative`
broken[] -> finding | rows that decide, where rows do
""",
    "totals": """
capacity_gib | of all modules
usable_gib | what the mode leaves
modules | how many
free_slots | of the fitted sockets
rate_mts | MT/s
system_sweep_gb_s | GB/s
worst_share | lowest share of a socket
socket_difference_gib | largest less smallest usable capacity of a socket
cost | of what must be bought, where everything has a price
""",
    "choice": """
capacity_gib | of all modules
usable_gib | what the mode leaves
system_sweep_gb_s | GB/s
modules[].label | a type
modules[].count | how many of it
slots.SLOT | label, or null where it is empty
gains | what it has over the plan, in words
loses | what it lacks
""",
    "left set": """
proven | first of its kind under this board file and this model
slots.SLOT | label, or null
figures -> figures | how it runs
moves[].kind | `pull` or `move`
moves[].module | label
moves[].from | the slot that it leaves
moves[].to | the slot that it goes to, null for `pull`
broken[] -> finding | advised rows that it breaks
said[] -> sentence | the same in words
""",
    "next step": """
module | label of what is added
slots[] | where
equal[] | slots that would do as well as that one
figures -> figures | how it runs then
broken[] -> finding | rows that break and did not before
said[] -> sentence | what changes
""",
    "moves": """
format | 1
moves[].kind | `keep`, `pull`, `move` or `insert`
moves[].label | the module
moves[].from | the slot that it leaves, null for `insert`
moves[].to | the slot that it goes to, null for `pull`
steps[].step | its number, as on the change sheet
steps[].act | `out` of a slot or `in`; a module that moves does both
steps[].slot | the slot
handled | modules handled at all
stranded[].label | a type left over
stranded[].count | how many of it
stranded[].fits[] | slots of this board that would still take one
blocked[] | slots that would have to change and may not be touched
""",
}

_HEAD = """
format | 1
board.id | the board
board.trust | `example` (an invented board), `drafted`, `manual` or `running`
fitted[] | sockets with a processor
processor | the processor option
mode | `independent`, `mirrored` or `sparing`
prefer | the list of criteria
status | `proven` or `best-found`
asked_gib | capacity asked
"""

_BOARD = """
format | 1
board.id | the board
board.trust | `example` (an invented board), `drafted`, `manual` or `running`
board.electrical_digest | changes with slots, rules, rates, processors and modules
board.drawing_digest | changes with the drawing
fitted[] | sockets with a processor
"""

_PLAN = "dimmplan plan skerry-16 --capacity 384GiB --module 32GiB --json"
_FULL = "dimmplan plan skerry-16 --capacity 512GiB --module 32GiB --json"

DOCUMENTS = (
    Document(
        "plan",
        "The plan; `plan.json` is the same. `stock` stands there with `--stock`, `kept` with `--keep`, `growth` with "
        "`--then`, `mode_price` with another `--mode`.",
        (
            "dimmplan plan skerry-16 --capacity 224GiB --fitted NEAR --module 32GiB --module 64GiB --json",
            "dimmplan plan skerry-16 --capacity 160GiB --fitted NEAR --stock shelf.csv --then 320GiB --json",
            "dimmplan plan skerry-16 --capacity 384GiB --module 32GiB --keep found.csv --json",
            "dimmplan plan skerry-16 --capacity 160GiB --fitted NEAR --keep found.csv --data-saved R1 --json",
            "dimmplan plan saltern-24 --capacity 96GiB --module 32GiB --mode mirrored --json",
        ),
        _BOARD
        + """
processor | the processor option
mode | `independent`, `mirrored` or `sparing`
prefer | the list of criteria
request.capacity_gib | usable capacity asked
request.over_gib | allowance above it that counts as equal
request.max_types | most types used at once
request.effort | most search nodes
request.modules[] | labels that might be used
status | `proven` or `best-found`
stopped | why the search stopped, null where it is proven
bound.criterion | the criterion that is not decided, null where all are
bound.value | what it can be at best
bound.nodes | search nodes spent
modules[].key | letter of the type in `slots` and on the sheet
modules[].label | JEDEC label
modules[].generation | `DDR3`, `DDR4` or `DDR5`
modules[].capacity_gib | of one module
modules[].kind | `RDIMM` and so on
modules[].package_ranks | as a label counts them
modules[].logical_ranks | with the dies of a stack
modules[].device_width | 4, 8, 16
modules[].ecc_bits | 0, 8 or 16
modules[].die_gbit | density that follows from the label
modules[].rate_mts | of the label
modules[].voltage_mv | supply voltage
modules[].count | how many
slots.SLOT | key of the type, null where it is empty; every slot in board order
dead[] | slots whose processor is absent
blanks[] | empty slots that carry a blank
hold[] | slots that nobody may touch
install_order[] | filled slots in the order of installing
sockets[].id | the socket
sockets[].capacity_gib | of its modules
sockets[].usable_gib | what the mode leaves
sockets[].modules | how many
sockets[].rate_mts | MT/s
sockets[].rate_row | what limits the rate: a rate row, `processor:ID` or `module:LABEL`
sockets[].peak_gb_s | of its filled channels
sockets[].sweep_gb_s | every byte once
sockets[].parallel_gb_s | traffic even over all addresses
sockets[].share | sweep over the peak of all channels, 0 to 1
sockets[].regions[].ways | channels that the addresses rotate over
sockets[].regions[].capacity_gib | how much of the capacity
sockets[].regions[].channels[] | which channels
sockets[].regions[].peak_gb_s | GB/s
totals -> totals | the whole machine
criteria[].name | in the order that decides
criteria[].value | sweep and parallel as exact fractions of GB/s in text
criteria[].better | `high` or `low`
runners_up[] -> choice | the next best placements
one_step.above -> choice | nearest capacity above with a higher sweep, null where there is none
one_step.below -> choice | the same below
findings[] -> finding | what a person must know
code | the plan code
next_by_adding[].usable_gib | capacities that adding alone reaches
next_by_adding[].system_sweep_gb_s | GB/s
next_by_adding[].added[].slot | where one goes
next_by_adding[].added[].label | what goes there
mode_price.independent.usable_gib | what the request would have in the independent mode
mode_price.independent.modules[].label | a type that it would take
mode_price.independent.modules[].count | how many of it
mode_price.independent.system_sweep_gb_s | GB/s
mode_price.installed_gib | how much more the mode puts into the machine
mode_price.slots | how many slots more
mode_price.read_gb_s | how much faster the mode reads, GB/s; below 0 where slower
mode_price.write_gb_s | and writes
stock.currency | of the shelf
stock.take[].place | line of the stock list
stock.take[].label | as the shelf names it
stock.take[].count | how many to take
stock.take[].price | of one
stock.take[].cost | of all
stock.take[].serves_as | label in the plan, which the board cannot tell apart
stock.left_out[].label | what the board cannot use
stock.left_out[].rule | which row says so
stock.left_out[].found | what the label has
stock.left_out[].allowed | what the row allows
kept.date | of the inventory
kept.slots.SLOT | what lies there, as far as it is kept
kept.hold[] | slots not to be touched
kept.unlisted[] | those of them that the inventory does not list
kept.released[].slot | a slot on hold whose data is saved
kept.released[].found | what lies there, in words
kept.questions[] | what to ask at the machine
kept.discarded | modules left over
kept.bought[].label | a type to buy
kept.bought[].count | how many
kept.change -> moves | how to get there
growth.may_move | whether later steps may move modules
growth.max_types | most types used at once
growth.status | `best-found`: no search goes over whole chains
growth.stopped | what is not proven
growth.bound.criterion | where a better chain is not ruled out, or null
growth.bound.value | what it can be at best
growth.bound.nodes | search nodes spent
growth.outside_window | a step is more than a quarter above its request
growth.criteria[].name | what decides the chain
growth.criteria[].value | its value
growth.criteria[].better | `high` or `low`
growth.steps[].capacity_gib | asked at the step
growth.steps[].usable_gib | reached
growth.steps[].system_sweep_gb_s | GB/s
growth.steps[].modules[].label | a type
growth.steps[].modules[].count | how many of it
growth.steps[].slots.SLOT | label, or null
growth.steps[].added[].label | a type added at the step
growth.steps[].added[].count | how many of it
growth.steps[].status | `proven` or `best-found`, of the step for itself
growth.steps[].code | its plan code
growth.steps[].free.usable_gib | the step planned for itself alone
growth.steps[].free.system_sweep_gb_s | GB/s
growth.steps[].free.modules[].label | a type
growth.steps[].free.modules[].count | how many of it
growth.steps[].price.system_sweep_gb_s | what the chain costs against that
growth.steps[].price.over_gib | the same in capacity
growth.path.bought | modules bought along the chain
growth.path.left_over | modules left over along it
growth.free_path.bought | the same with every step planned for itself
growth.free_path.left_over | the same
""",
    ),
    Document(
        "plan: impossible",
        "Exit status 1. `buy`, `buy_status` and `currency` stand there with `--stock`.",
        (
            "dimmplan plan skerry-16 --capacity 3TiB --module 32GiB --json",
            "dimmplan plan skerry-16 --capacity 768GiB --module 64GiB --stock shelf.csv --json",
        ),
        """
format | 1
status | `impossible`
causes[].rule | what stands in the way
causes[].text | in words
causes[].source | id of the source, where it has one
nearest.below_gib | the nearest capacity below that fits
nearest.above_gib | the nearest above
buy[].label | what to buy so that the shelf would serve; null where no list would
buy[].count | how many
buy[].cost | where it has a price
buy[].substitutes[] | labels that would do as well on this board
buy_status | `proven` (the shortest list) or `best-found`
currency | of the shelf
""",
    ),
    Document(
        "any command: refused",
        "Exit status 1: the input can be read, and the answer is no.",
        ("dimmplan plan skerry-16 --capacity 384GiB --module '16GB 2Rx8 PC3-12800E' --json",),
        """
format | 1
status | `refused`
causes[].rule | the row
causes[].text | in words
causes[].source | id of the source
""",
    ),
    Document(
        "any command: errors",
        "Exit status 2: the call or an input is wrong.",
        ("dimmplan plan skerry-16 --capacity 384 --module 32GiB --json",),
        """
format | 1
errors[].file | file or option
errors[].place | dotted path or line in it
errors[].found | what was found
errors[].allowed | what is allowed
errors[].hint | the nearest right spelling, or what to do
""",
    ),
    Document(
        "plan --machines",
        "Many machines; `summary.json` in the output folder is the same.",
        ("dimmplan plan --machines racks.csv --stock shelf.csv --out sheets --json",),
        """
format | 1
made_by | the mark of the file
machines[].tag | as in the list
machines[].line | line of the list
machines[].status | `planned`, `impossible`, `not-served`, `bad-row`
machines[].board | the board; this and what follows where it is planned
machines[].capacity_gib | asked
machines[].usable_gib | reached
machines[].modules[].label | a type
machines[].modules[].count | how many of it
machines[].rate_mts | MT/s
machines[].system_sweep_gb_s | GB/s
machines[].worst_share | lowest share of a socket
machines[].plan_status | `proven` or `best-found`
machines[].code | the plan code
machines[].folder | where its plan and sheet are
machines[].take[].place | line of the stock list
machines[].take[].label | what to take
machines[].take[].count | how many
machines[].take[].serves_as | label in the plan, which the board cannot tell apart
machines[].nearest.below_gib | where nothing fits: the nearest capacity below that does
machines[].nearest.above_gib | and above
machines[].buy[].label | what to buy beside what is left so that it would be served; null where no list would
machines[].buy[].count | how many
machines[].buy[].cost | where it has a price
machines[].buy[].substitutes[] | labels that would do as well on this board
machines[].buy_status | `proven` (the shortest list) or `best-found`
machines[].currency | of the costs
machines[].problems[].place | why it is not planned
machines[].problems[].found | what was found
machines[].problems[].allowed | what is allowed
machines[].problems[].hint | what to do
counts.planned | machines of each status
counts.impossible | no placement
counts.not-served | not by this shelf
counts.bad-row | rows that cannot be read
division.method | `exact` or `one-at-a-time`; null without a shelf
division.why | why not exact
division.served | machines served
division.machines | machines that could be
division.smallest_sweep_gb_s | of those served
division.modules | taken in all
division.left[].place | line of the stock list
division.left[].label | what is left
division.left[].count | how many
""",
    ),
    Document(
        "compare",
        "Rows of options side by side.",
        (
            "dimmplan compare skerry-16 --capacity 384GiB --capacity 1TiB --module 32GiB --module 64GiB "
            "--processor tern-20 --processor tern-12 --json",
            "dimmplan compare skerry-16 --capacity 512GiB --module 64GiB --stock shelf.csv -o rows.csv --json",
        ),
        _BOARD
        + """
mode | `independent`, `mirrored` or `sparing`
prefer | the list of criteria
over | allowance as asked
max_types | most types used at once
processors[] | options compared
modules[].key | letter of the type
modules[].label | its label
capacities[].capacity_gib | compared
capacities[].why | `asked`, or why it was looked at
capacities[].every_channel_alike | some row fills every channel alike
currency | of the shelf
cost_compared | whether every row has a cost
rows[].capacity_gib | asked
rows[].processor | the option
rows[].allowed[] | labels that the row may use
rows[].command | the command that plans it
rows[].status | `proven`, `best-found` or `impossible`
rows[].outside_window | more than a quarter above what is asked
rows[].modules[].label | a type used
rows[].modules[].count | how many of it
rows[].placement | the placement in a few letters
rows[].totals -> totals | the whole machine
rows[].every_channel_alike | all channels carry the same
rows[].unbeaten | no other row of the capacity is at least as good in everything
rows[].plan_answer | what `plan` answers with these modules
rows[].picked_by[] | lists that put it first
rows[].findings[] -> finding | what a person must know
rows[].slots.SLOT | label, or null
rows[].code | the plan code
rows[].nearest.below_gib | the nearest capacity below that fits
rows[].nearest.above_gib | the nearest above
swaps[].capacity_gib | where another processor is compared
swaps[].from | the first option
swaps[].to | the other one
swaps[].system_sweep_gb_s.from | GB/s with the first, null where it has no row
swaps[].system_sweep_gb_s.to | with the other
swaps[].rate_mts.from | MT/s with the first
swaps[].rate_mts.to | with the other
swaps[].text | in words
limits[].processor | option that limits a type
limits[].label | the type
limits[].kind | what it limits
limits[].allowed | what it allows
limits[].text | in words
findings[] -> finding | findings that all rows share
left_out[].label | what the board cannot use of the shelf
left_out[].rule | which row says so
left_out[].found | what the label has
left_out[].allowed | what the row allows
files[] | files written, with `-o`
""",
    ),
    Document(
        "draw",
        "The files written.",
        (f"{_PLAN} | dimmplan draw - -o map.svg --json",),
        """
format | 1
files[] | in the order of the pages
""",
    ),
    Document(
        "boards list",
        "The board library.",
        ("dimmplan boards list --json",),
        """
format | 1
boards[].id | name of the board in other commands
boards[].title | what it is
boards[].sockets | how many
boards[].channels | how many
boards[].slots | how many
""",
    ),
    Document(
        "boards check",
        "Problems of board files; exit status 1 where there is one. `boards schema` prints the JSON Schema of a file.",
        ("dimmplan boards check mine.toml tabled.toml found.csv --json",),
        """
format | 1
files[].file | the file
files[].id | id of the board, null where it cannot be read
files[].problem_count | how many problems there are; the first hundred are told
files[].notes[].rule | id of a population table
files[].notes[].modules | the number of modules meant; null for the whole table
files[].notes[].text | what the table leaves out, or what the model would fill instead
files[].problems[].file | the file
files[].problems[].place | dotted path
files[].problems[].found | what was found
files[].problems[].allowed | what is allowed
files[].problems[].hint | the nearest right key or value
files[].problems[].line | its line in the file, counted from one; null where there is none
""",
    ),
    Document(
        "boards table",
        "A population table, as copied from a manual, as a rule row.",
        ("dimmplan boards table copied.csv --json",),
        """
format | 1
row.id | id of the row
row.check | table
row.socket | the socket whose modules it counts, or null
row.mode | the only mode that it is for, or null
row.source | its source id
rows[].modules | how many
rows[].slots[] | the slots for that many
""",
    ),
    Document(
        "boards draft",
        "A first board file from an inventory, and what the machine does not say.",
        ("dimmplan boards draft found.csv -o mine.toml --force --json",),
        """
format | 1
board | id of the board
file | the file written
fitted | sockets to plan for where not every processor is seated; null where all are, or nobody says
guesses[].about | `sockets`, `channels`, `generation`, `fill-order`, `modules`, `width` or `interleave`
guesses[].text | the question
guesses[].chosen | the choice that was drafted
guesses[].candidates[] | choices for `--answer`
guesses[].layouts[].choice | a choice
guesses[].layouts[].layout | its layout, drawn in text
to_do[] | the guesses, and what else is to be seen to by hand
""",
    ),
    Document(
        "found",
        "What a machine says of itself; `serial` and `asset_tag` stand there with `--serials`.",
        ("dimmplan found found.csv --serials --json",),
        """
format | 1
form | `smbios-binary`, `smbios-text`, `redfish`, `labels` or `spd`
edition | of the standard, where it says so
date | when it was taken, where it says so
slots[].locator | name that the machine gives the slot
slots[].bank | its bank
slots[].state | `filled`, `empty`, `cannot-tell` or `hold`
slots[].role | `memory`, or what else it is
slots[].why | why it cannot be told, or is on hold
slots[].capacity_gib | in whole GiB
slots[].capacity_kib | exactly
slots[].label | a JEDEC label, where all of it is known
slots[].generation | `DDR3`, `DDR4` or `DDR5`
slots[].kind | `RDIMM` and so on
slots[].ranks_said | ranks as said, whatever they count
slots[].package_ranks | where known
slots[].logical_ranks | where known
slots[].device_width | where known
slots[].ecc | where known
slots[].rated_mts | of the module
slots[].configured_mts | as it runs
slots[].part_number | as said
slots[].persistent | keeps its data without power
slots[].serial | serial number
slots[].asset_tag | asset tag
processors[] | with `locator`, `state`, `enabled` and `cores`
oddities[].oddity | id of what is odd
oddities[].where | the locator
oddities[].text | in words
""",
    ),
    Document(
        "audit",
        "Slot by slot against a plan; exit status 1 where something differs or cannot be told.",
        (
            f"{_PLAN} | dimmplan audit seated.csv --against - --json",
            f"{_PLAN} | dimmplan audit found.csv --against - --json",
        ),
        """
format | 1
board | id of the board
date | of the inventory
fitted[] | sockets with a processor
slots[].slot | the slot
slots[].answer | `as-planned` (known, where there is no plan), `different` or `cannot-tell`
slots[].module | label of what lies there
slots[].differences[].kind | what differs
slots[].differences[].planned | as planned
slots[].differences[].found | as found
slots[].differences[].other | another slot that has to do with it
slots[].differences[].text | in words
findings[] -> finding | rows that break, and what else is to be known
suspect.fault | what would explain the differences together; null without one
suspect.slots[] | where
suspect.text | in words
figures.found.usable_gib | how it runs as found, null where that cannot be told
figures.found.rate_mts | MT/s
figures.found.system_sweep_gb_s | GB/s
figures.found.worst_share | lowest share of a socket
figures.planned.usable_gib | how it would run as planned
figures.planned.rate_mts | MT/s
figures.planned.system_sweep_gb_s | GB/s
figures.planned.worst_share | lowest share of a socket
questions[].locator | what only a person at the machine can answer
questions[].bank | its bank
questions[].text | in words
""",
    ),
    Document(
        "locate",
        "Slots that error records mean; exit status 1 where a record fits no slot.",
        ("dimmplan locate skerry-16 'CPU_SrcID#0_MC#1_Chan#0_DIMM#1' 'mc#0csrow#2channel#1' --json",),
        """
format | 1
board | id of the board
records[].record | the record as given, or what alike lines of a log have in common
records[].slots[] | the slots that it can mean
records[].certain | true where it means just that slot
records[].why | how the slot follows
records[].apart | what would tell candidates apart; empty where nothing is to tell
records[].count | errors that it reports
records[].uncorrected | how many of these were not corrected
slots[].slot | a slot that is sure
slots[].corrected | corrected errors
slots[].uncorrected | errors that were not corrected
pattern | `one-slot`, `one-channel`, `one-socket`, `several-sockets` or `none`: how the sure slots lie
first_steps[] | what to do first (common practice)
other_lines | lines of a log that are no memory errors
""",
    ),
    Document(
        "moves",
        "From what is in a machine to a plan: *moves*; exit status 1 where a slot may not be touched.",
        (f"{_PLAN} | dimmplan moves found.csv --to - --json",),
        "-> moves",
    ),
    Document(
        "why, why SLOT",
        "Why the rate is what it is, and each slot's reason; with a slot, that slot alone.",
        (
            f"{_FULL} | dimmplan why - --json",
            f"{_PLAN} | dimmplan why - K2 --json",
            "dimmplan plan skerry-16 --capacity 160GiB --fitted NEAR --module 32GiB --json | dimmplan why - --json",
        ),
        _HEAD
        + """
figures -> figures | of the plan
rate[].sockets[] | sockets that run at this rate
rate[].channels[] | channels whose rate the row limits
rate[].rate_mts | MT/s
rate[].row | what limits the rate: a rate row, `processor:ID` or `module:LABEL`
rate[].source | id of its source
rate[].limits[].kind | `board`, `processor` or `module`
rate[].limits[].name | row, option or label
rate[].limits[].rate_mts | what it allows
rate[].limits[].source | id of its source
rate[].lifts[].kind | `fewer` (slots left empty), `processor`, `type`, `label`
rate[].lifts[].name | the option, type or rate
rate[].lifts[].slots[] | slots left empty
rate[].lifts[].rate_mts | the rate then
rate[].lifts[].gain_mts | how much more
rate[].lifts[].usable_gib | capacity then
rate[].lifts[].system_sweep_gb_s | GB/s then
rate[].lifts[].broken[] | rows that this breaks
rate[].said[] -> sentence | the same in words
slots[].slot | the slot
slots[].state | `filled`, `empty`, `dead` or `hold`
slots[].kind | the reason: `first-in-channel`, `stacked`, `equal-share`, `needed`, `board-order`, `breaks-rule`, \
`lowers-rate`, `splits-range`, `exceeds-request`, `ranks-lower`, `alternative-first`, `dead`, `hold`
slots[].title | the reason in a few words
slots[].socket | where it is
slots[].channel | where it is
slots[].place | 1 is the first slot of its channel
slots[].module | label, or null
slots[].tried[].what | the alternative: `fill`, `move-here`, `empty`, `move-away`, `exchange`
slots[].tried[].module | label of what is filled in, moved or taken out
slots[].tried[].other | the other slot of a move or an exchange
slots[].tried[].weighed | how many different ones it is the best of
slots[].tried[].slots.SLOT | slots that the alternative changes
slots[].tried[].parted -> parted | what separates it from the plan
slots[].tried[].figures -> figures | how it would run, null where it may not
slots[].tried[].said[] -> sentence | the same in words
slots[].said[] -> sentence | of slots without an alternative: dead ones, and those on hold
""",
    ),
    Document(
        "why --next",
        "What comes next, alone and as a group; exit status 1 where nothing can.",
        (
            f"{_PLAN} | dimmplan why - --next --json",
            f"{_PLAN} | dimmplan why - --next --module 64GiB --json",
        ),
        _HEAD
        + """
now -> figures | of the plan
alone[] -> next step | the best single slot for each type
group[] -> next step | the smallest group of those that sweep highest
refused[] -> next step | single slots that a rule refuses
complete | false where there were too many ways to look at all
said[] -> sentence | why nothing comes next
""",
    ),
    Document(
        "why --put, --clear",
        "What a change does; exit status 1 where it is refused. `files` stands there with `-o`.",
        (
            f"{_PLAN} | dimmplan why - --put K2=32GiB --clear R1 -o change.svg --json",
            f"{_FULL} | dimmplan why - --clear K1 --json",
        ),
        _HEAD
        + """
changes[].slot | the slot
changes[].before | label, or null
changes[].after | label, or null
allowed | whether the rules allow it
before -> figures | of the plan
after -> figures | after the change
broken[] -> finding | rows that break and did not before
mended[] -> finding | rows that no longer break
still_broken[] -> finding | error rows that broke before
said[] -> sentence | the verdict and the effects
files[] | the change sheet; none is drawn of a refused change
""",
    ),
    Document(
        "why --without",
        "After failed modules; exit status 1 where no set obeys the rules in the plan's mode.",
        (
            f"{_FULL} | dimmplan why - --without K1 --json",
            "dimmplan plan lagoon-32 --capacity 256GiB --module 32GiB --mode mirrored --json | "
            "dimmplan why - --without 11r --json",
        ),
        _HEAD
        + """
without[] | slots whose modules failed
failed[].label | what failed
failed[].count | how many
left[].label | what is left
left[].count | how many
stay.allowed | whether it may run with nothing else moved
stay.figures -> figures | how it runs then
stay.broken[] -> finding | rows that this breaks
stay.said[] -> sentence | in words
best -> left set | runs best by the plan's list; null where nothing does in its mode
causes[] -> sentence | why nothing does
fastest -> left set | sweeps faster with less, or null
independent -> left set | runs best once the mode is set to independent, where nothing does in its own
smallest -> left set | fewest modules that boot
smallest_and_halves_mode | the mode that these are for
halves[].step | number of the step
halves[].suspects[] | slots among which the bad module is
halves[].keep[] | those of them that stay in for the test
halves[].company[] | modules known to be good that stay in too
halves[].out[] | what is taken out
halves[].allowed | whether the test breaks no error row
halves[].broken[] -> finding | rows that it breaks
halves[].other_half_allowed | whether the other half could be tested instead
halves[].other_half_broken[] -> finding | rows that this would break
halves[].fault | next step, or the bad slot, where the fault is still there
halves[].clean | the same where it is not
""",
    ),
    Document(
        "why --expect",
        "Why not exactly these slots; exit status 1 where the rules refuse them.",
        (
            f"{_PLAN} | dimmplan why - --expect K1,K2,L1,L2,M1,P1,P2,Q1,T1,U1,V1,W1 --json",
            f"{_PLAN} | dimmplan why - --expect K1,K2,L1,L2,M1,P1,P2,Q1 --json",
        ),
        _HEAD
        + """
expected[] | the slots
plans_modules | true where they take just the plan's modules, false for its types in other numbers
proven | the best assignment of them to the slots
only_plan[] | slots that only the plan fills
only_expected[] | slots that only this fills
slots.SLOT | label, or null
parted -> parted | what separates it from the plan
plan -> figures | of the plan
alternative -> figures | of this, null where it may not run
said[] -> sentence | in words
""",
    ),
    Document(
        "mix",
        "Types together; exit status 1 where they may not be.",
        (
            "dimmplan mix skerry-16 32GiB 64GiB --json",
            "dimmplan mix skerry-16 32GiB '16GB 2Rx8 PC3-12800E' --json",
        ),
        """
format | 1
board.id | the board
board.trust | `example` (an invented board), `drafted`, `manual` or `running`
fitted[] | sockets with a processor
labels[] | what is mixed
allowed | whether they may stand in one system
together | how close: `channel`, `channels`, `sockets` or `never`
title | the verdict in words
refused[].label | a type that the board refuses in any company
refused[].rule | which row says so
refused[].severity | `error`
refused[].where[] | where it would break
refused[].text | in words
refused[].source | id of the source
pairs[].labels[] | two of them
pairs[].together | how close they may stand
pairs[].differ[] | what they differ in
pairs[].rules[] | rows about that
pairs[].broken[] -> finding | rows that keep them apart
pairs[].loads[].channels[] | channels that may carry them both
pairs[].loads[].order[] | labels in slot order
pairs[].loads[].allowed | whether the rules allow it
pairs[].loads[].rate_mts | the rate then
pairs[].loads[].broken[] -> finding | rows that it breaks
pairs[].said[] -> sentence | in words
compared_gib | capacity at which the price is compared, null where nothing is
mixed.modules[].label | a type of the best mixed placement
mixed.modules[].count | how many of it
mixed.proven | first under this board file and this model
mixed.figures -> figures | how it runs
mixed.broken[] -> finding | advised rows that it breaks
alone[].modules[].label | the same with one type alone
alone[].modules[].count | how many of it
alone[].proven | first under this board file and this model
alone[].figures -> figures | how it runs
alone[].broken[] -> finding | advised rows that it breaks
said[] -> sentence | the price in words
""",
    ),
    Document(
        "rules",
        "A board's rules by the question that they answer.",
        ("dimmplan rules skerry-16 --json",),
        """
format | 1
board.id | the board
board.trust | `example` (an invented board), `drafted`, `manual` or `running`
groups[].id | `fits`, `order`, `mixing`, `rate`, `capacity` and so on
groups[].question | as a person asks
groups[].rules[].rule | id of the row
groups[].rules[].severity | `error`, `advised` or `note`
groups[].rules[].usual | a default of the trade that the file does not state itself
groups[].rules[].text | in words
groups[].rules[].source | id of the source
groups[].rules[].citation | the source in full
groups[].table[][] | rates as rows of text, the head first
""",
    ),
)
