"""A change of a machine, from what is in it to a plan: as JSON of format 1 and as text for a terminal."""

from dimmplan.model.placement import Change, LeftOver, Move
from dimmplan.output.columns import Text
from dimmplan.output.record import Label, OfPlan, Record, means
from dimmplan.units import counted, listed


def blocked_text(slots: tuple[str, ...]) -> str:
    """Slots that a change would need and that nobody may touch, with what to do about it."""
    return (
        f"{', '.join(slots)} must change, but may not be touched. Where a slot is empty, list it ({slots[0]},empty), "
        "or add --rest-empty for all slots that the list leaves out. Where its data is saved, add --data-saved "
        f"{slots[0]}."
    )


_ACTS = {
    "keep": "keep {label} in {source}",
    "pull": "take out {label} from {source}",
    "insert": "insert {label} into {target}",
    "out": "take out {label} from {source}; it goes into {target}",
    "in": "put {label} from {source} into {target}",
}


def act_text(move: Move, act: str = "") -> str:
    """What is done with a module in words; one that moves comes ``out`` at one step and goes ``in`` at a later one."""
    words = _ACTS[act if move.kind == "move" else move.kind]
    return words.format(label=move.module.label, source=move.source, target=move.target)


def moves_summary(moves: tuple[Move, ...]) -> str:
    """A change in one line."""
    counts = {kind: sum(move.kind == kind for move in moves) for kind in ("keep", "pull", "move", "insert")}
    words = [
        counted(counts[kind], "module") + f" to {kind}" for kind in ("keep", "pull", "move", "insert") if counts[kind]
    ]
    return listed(words) or "nothing to do"


class MoveEntry(Record):
    """What is done with one module."""

    kind: str = means("`keep`, `pull`, `move` or `insert`")
    label: Label = means("the module", of="module")
    source: str | None = means("the slot that it leaves, null for `insert`", to="from")
    target: str | None = means("the slot that it goes to, null for `pull`", to="to")


class ActEntry(Record):
    """One act with a module."""

    step: int = means("its number, as on the change sheet", of="number")
    act: str = means("`out` of a slot or `in`; a module that moves does both")
    slot: str = means("the slot")


class StrandedEntry(Record):
    """Modules that a change leaves over."""

    label: Label = means("a type left over", of="module")
    count: int = means("how many of it")
    fits: list[str] = means("slots of this board that would still take one")


class MovesDocument(OfPlan, commands="moves"):
    """From what is in a machine to a plan; exit status 1 where a slot that must change may not be touched."""

    moves: list[MoveEntry] = means("what becomes of each module")
    steps: list[ActEntry] = means("the acts in order")
    handled: int = means("modules handled at all", by=lambda change: len(change.handled))
    stranded: list[StrandedEntry] = means("what is left over")
    blocked: list[str] = means("slots that must change, but may not be touched")
    hold: list[str] = means("all slots that may not be touched")
    released: list[str] = means("slots whose data is saved; what lies there comes out first")


def moves_text(change: Change) -> str:
    """A change for a terminal, ending with what to see to before power-on, unless it cannot be done."""
    page = Text(moves_summary(change.moves))
    if change.blocked:
        page.note(f"Not possible: {blocked_text(change.blocked)}", 0, hang=0)
    for slot in change.released:
        page.note(f"first take out what is in {slot}: its data is saved")
    step_lines(page, change, 2)
    for left in change.stranded:
        page.note(left_over_text(left))
    if change.hold:
        page.note(f"not to be touched, on hold or not known: {', '.join(change.hold)}")
    if not change.blocked:
        page.notes("Before power-on", [f"[ ] {step}" for step in _BEFORE_POWER_ON])
    return str(page)


def left_over_text(left: LeftOver) -> str:
    """Modules of a type that a change leaves over, and where they would fit."""
    fits = f"would also fit in {', '.join(left.fits)}" if left.fits else "no free slot of this board would take it"
    return f"left over: {left.count} x {left.module.label}; {fits}"


def step_lines(page: Text, change: Change, indent: int) -> None:
    """The steps of a change, numbered as on its sheet."""
    for step in change.steps:
        page.note(f"{step.number}. {act_text(step.move, step.act)}", indent, hang=3)


_BEFORE_POWER_ON = (
    "blanks where the board asks for them",
    "slots match the map, latches closed",
    "baffle and lid on, nothing left inside",
    "the machine's service manual comes before this list",
)
