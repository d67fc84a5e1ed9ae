"""The five stages of the work, and what every sheet says for safety and whom it defers to.

ISO 3864-2, ANSI Z535, ESD S20.20, IEC 61340-5-1: WARNING could injure seriously, CAUTION slightly, NOTICE is for
property only. Page one has what hands must do, in few words; every text stands in full on the next page.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import ClassVar

from dimmplan.model.board import Tray
from dimmplan.model.request import Mode
from dimmplan.sheet.blocks import Block, headed, paragraph, signal, stacked, ticked, ticked_row
from dimmplan.sheet.facts import Facts, clean
from dimmplan.sheet.letters import Run
from dimmplan.sheet.panels import Panel, left_over
from dimmplan.sheet.shapes import TEXT_MM, Group
from dimmplan.units import counted, listed

DEFERENCE = (
    "This sheet is an aid, not a safety label: "
    "service manual, site rules, local codes and licensed practice come first."
)
BEFORE = (
    "Right machine: its tag and locate light agree with this sheet.",
    "Owner agrees, data is saved, the system itself was shut down.",
    "Shared chassis: a cord may feed a neighbour. Ask first.",
)
BOOT_CHECKS = ("Machine shows what is expected.", "Log cleared.", "Memory test passed.")

Lead = tuple[str, str]
"""A few words that stand out, and what follows them."""

CAUTIONS: tuple[Lead, ...] = (("", "Sharp edges. Hot modules and heat sinks. Latches and rails pinch fingers."),)
NOTICES: tuple[Lead, ...] = (
    (
        "Static.",
        "Strap, mat and chassis to one earthed common point: with its cords out the chassis is not earthed.",
    ),
    (
        "Modules.",
        "Hold them by the edges, match the notch; both latches close by themselves. Never force: the wrong "
        "generation does not fit.",
    ),
)
HOLD = "HOLD, do not touch"
_NOTHING_LEFT = "Nothing left inside."
_AS_ON_MAP = "Slots as on the map, latches closed."


def warnings(facts: Facts) -> tuple[Lead, ...]:
    """What could injure seriously, in words."""
    weight = facts.board.physical.weight_kg
    heavy = f"The board file says {weight:g} kg." if weight is not None else "Weigh it or ask."
    return (
        (
            "Shock.",
            "Pull all power cords and wait as the maker states; no standby light may be lit in the chassis or by "
            "the slots. Modules are not hot-pluggable.",
        ),
        ("Fans", "may restart: keep fingers, hair and cables out."),
        ("Tipping, weight.", f"One machine out at a time, anti-tip feet out. {heavy} Lift by the site's rule."),
        ("Liquid-cooled:", "stop. Trained staff only."),
    )


def access_steps(facts: Facts) -> list[str]:
    """What comes off before the slots can be reached, in words and in order."""
    trays = [f"{_named(tray)}: {text}" for tray in _opened(facts) for text in tray.access or ("Take it out.",)]
    steps = (*facts.board.physical.access, *trays)
    return [clean(text) for text in steps or ("The board file names nothing: see the service manual.",)]


def _named(*trays: Tray) -> str:
    """Trays at the beginning of a sentence, each called a tray."""
    said = listed([tray.name if "tray" in tray.name.lower() else f"tray {tray.name}" for tray in trays])
    return clean(said[:1].upper() + said[1:])


def _opened(facts: Facts) -> list[Tray]:
    """The trays that come out, since something is done in their slots."""
    return [tray for tray in facts.board.physical.trays if not facts.worked_on.isdisjoint(tray.slots)]


def _closing_steps(facts: Facts) -> list[str]:
    """What goes back, in order: as the board file says, else each step of taking off undone, the last one first."""
    opened = _opened(facts)
    plain = [tray for tray in opened if not tray.closing]
    back = [f"{_named(*plain)} back in, latched."] if plain else []
    back += [f"{_named(tray)}: {clean(text)}" for tray in opened for text in tray.closing]
    if facts.board.physical.closing:
        return back + [clean(text) for text in facts.board.physical.closing]
    named = list(enumerate(facts.board.physical.access, 1))
    undone = [f"Step {number} undone ({clean(text).rstrip('.')})." for number, text in reversed(named)]
    return back + undone or ["All that came off is back."]


def power_checks(facts: Facts) -> list[str]:
    """What to look at before the cords go back, in words."""
    seen = [f"{counted(len(facts.blanks), 'blank')} in place, see map."] if facts.blanks else []
    return [_AS_ON_MAP, *seen, *_closing_steps(facts), _NOTHING_LEFT]


def first_boot(facts: Facts, *, brief: bool = False) -> Iterator[tuple[Run, ...]]:
    """What the machine should show at first boot and what to know of it, a sentence each.

    Where a mode that is set in firmware takes memory, what it shows before that comes first. ``brief`` leaves out why
    it is slower than its modules could run.
    """
    mode = facts.placement.mode
    if facts.mode_takes:
        first, set_it = f"{facts.capacity_gib} GiB;", f"with mode {mode.words} set in firmware,"
        yield ("Expect", False), (first, True), (set_it, False), (f"{facts.shown}.", True)
    else:
        yield ("Expect", False), (f"{facts.expected}.", True)
        if mode is not Mode.INDEPENDENT:
            yield (("Set the mode in firmware.", False),)
    if facts.slower and not brief:
        yield ((facts.slower, False),)
    yield (("Training can take many minutes. Do not interrupt it.", False),)


def hold_said(facts: Facts) -> str:
    """Which slots are on hold, and until when."""
    names = ", ".join(clean(slot) for slot in facts.placement.hold)
    return f"{names}: not before the owner says that their data is saved."


def safety_in_full(facts: Facts, wide: float) -> list[Block]:
    """Every text for safety in full, in three columns of a page for reading before the work."""
    expect, *more = first_boot(facts, brief=True)  # figures and findings are on the same page
    boot = [paragraph(runs, TEXT_MM, wide) for runs in ([expect] if facts.mode_takes else []) + more]
    moved = any(fact.goes_to for fact in facts.slots.values())
    notices = (*NOTICES, *([("Waiting", "modules: mark each with its new slot when it comes out.")] if moved else []))
    checks = headed("Before you start", stacked(_ticks(BEFORE, wide), 0.3), TEXT_MM)
    return [
        stacked([checks, _signal("CAUTION", CAUTIONS, wide)], 2.0),
        _signal("WARNING", warnings(facts), wide),
        stacked([_signal("NOTICE", notices, wide), headed("First boot", stacked(boot, 0.3), TEXT_MM)], 2.0),
    ]


def _ticks(texts: Sequence[str], wide: float) -> list[Block]:
    return [ticked([(text, False)], TEXT_MM, wide) for text in texts]


def _signal(word: str, leads: Sequence[Lead], wide: float) -> Block:
    return signal(word, [_runs(lead) for lead in leads], TEXT_MM, wide)


def _runs(lead: Lead) -> list[Run]:
    return [(text, bold) for text, bold in zip(lead, (True, False), strict=True) if text]


class Stage(Panel):
    """One of the five stages of the work, in a row that is always the same.

    On a lying page all five stand side by side; ``upright`` is the row on an upright page, ``small`` on small paper.
    ``by_socket`` says that it stands on pages of some sockets too.
    """

    by_socket: ClassVar[bool] = False
    upright: ClassVar[int] = 0
    small: ClassVar[int] = 0

    def block(self, wide: float) -> Block:
        """The panel, as a group of shapes that names its stage."""
        whole = super().block(wide)
        look = f"stage stage-{self.title[0]}"
        return whole._replace(draw=lambda x, y: [Group(children=tuple(whole.draw(x, y)), look=look)])


class Before(Stage, on="chassis"):
    """What must be sure, and the warnings, before anything is touched."""

    title = "1 Before"
    by_socket = True

    def lines(self, wide: float) -> list[Block]:
        """Boxes, WARNING, and the box for the cords that it is about."""
        weight = self.facts.board.physical.weight_kg
        leads = (
            ("Shock:", "nothing is hot-pluggable."),
            ("Fans", "may restart."),
            (
                f"{weight:g} kg:" if weight is not None else "Weight: ask,",
                "lift by the site's rule, one machine out at a time.",
            ),
            ("Liquid-cooled:", "stop, trained staff only."),
        )
        sure = "Right machine: tag, locate light.", "Owner agrees, data saved, shut down.", "Shared chassis? Ask first."
        danger = signal("WARNING", [[run for lead in leads for run in _runs(lead)]], TEXT_MM, wide)
        return [*_ticks(sure, wide), danger, *_ticks(["All cords pulled, waited, no standby light."], wide)]


class TakeOff(Stage, on="chassis"):
    """What comes off before the slots can be reached."""

    title = "2 Take off"
    small = 1

    def lines(self, wide: float) -> list[Block]:
        """CAUTION, then the board's steps in order."""
        danger = _signal("CAUTION", [("", "Sharp edges, hot parts, latches that pinch.")], wide)
        steps = enumerate(access_steps(self.facts), 1)
        return [danger, *(ticked([(str(number), True), (text, False)], TEXT_MM, wide) for number, text in steps)]


class Install(Stage, on="chassis"):
    """The steps, in batches: the numbers are on the map."""

    title = "3 Install"
    by_socket = True
    small = 1

    @property
    def head(self) -> str:
        """What the steps are steps of."""
        return f"3 {self.facts.doing}"

    def lines(self, wide: float) -> list[Block]:
        """NOTICE, what a change takes and leaves over, a box for each batch, blanks, what is on hold."""
        facts, items = self.facts, list[Sequence[Run]]()
        whole = len(self.batches) == len(facts.steps)
        if whole and facts.band and facts.picked:
            fetched = ", ".join(f"{kind.count} {kind.key}" for kind in facts.picked)
            left = sum(each.count for each in facts.left_over) if self.brief else 0
            items.append([("Bring", False), (fetched, True), *([(f"({left} old left over)", False)] if left else [])])
        if whole and facts.released:
            slots = facts.slots_in_words(facts.released)
            items.append([("First empty", False), (slots, True), ("(data saved)", False)])
        if whole and facts.left_over and not self.brief:
            items.append([("Left over:", False), (left_over(facts.left_over), True)])
        if not self.brief and any(fact.goes_to for _, batch in self.batches for fact in batch):
            items.append([("Mark each module that moves with its new slot", False)])
        for head, batch in self.batches:
            first, last = batch[0].step, batch[-1].step
            items.append([(f"{first} to {last}" if last > first else f"{first}", True), (head, False)])
        if whole and facts.blanks:
            put_in = "" if self.brief else "Put in "
            items.append([(f"{put_in}{counted(len(facts.blanks), 'blank')}, see map", False)])
        notice = ("", "Strap, mat and chassis on one earth. Hold edges, match the notch, never force.")
        blocks = [_signal("NOTICE", [notice], wide), ticked_row(items, TEXT_MM, wide)]
        if facts.placement.hold:
            blocks.append(paragraph([(f"{HOLD}:", True), (hold_said(facts), False)], TEXT_MM, wide))
        return blocks


class PutBack(Stage, on="chassis"):
    """What goes back, in order, and what to look at before it does."""

    title = "4 Put back and close"
    upright, small = 1, 2

    def lines(self, wide: float) -> list[Block]:
        """A box for each."""
        return _ticks([_AS_ON_MAP, *_closing_steps(self.facts), _NOTHING_LEFT], wide)


class FirstBoot(Stage, on="chassis"):
    """What the machine should show, and that it may take long."""

    title = "5 First boot"
    upright, small = 1, 2

    def lines(self, wide: float) -> list[Block]:
        """What to expect, what to know, boxes."""
        said = [paragraph(runs, TEXT_MM, wide) for runs in first_boot(self.facts, brief=self.brief)]
        checks = "As expected", "Log cleared", "Memory test passed"
        return [*said, ticked_row([[(text, False)] for text in checks], TEXT_MM, wide)]
