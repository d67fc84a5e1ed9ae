"""What every sheet says for safety, and whom it defers to (ISO 3864-2, ANSI Z535, ESD S20.20, IEC 61340-5-1).

WARNING could injure seriously, CAUTION slightly, NOTICE is for property only. Page one of a sheet has what hands must
do, in few words; every text stands in full on the next page.
"""

from __future__ import annotations

from collections.abc import Iterator

from dimmplan.model.board import Tray
from dimmplan.model.request import Mode
from dimmplan.sheet.facts import Facts, clean
from dimmplan.sheet.letters import Run
from dimmplan.units import counted, listed

BEFORE = (
    "Right machine: its tag and locate light agree with this sheet.",
    "Owner agrees, data is saved, the system itself was shut down.",
    "Shared chassis: a cord may feed a neighbour. Ask first.",
)
DEFERENCE = (
    "This sheet is an aid, not a safety label: "
    "service manual, site rules, local codes and licensed practice come first."
)

TRAINING = "Training can take many minutes. Do not interrupt it."
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

CORDS = "All cords pulled, waited, no standby light."
SHORT_BEFORE = (
    "Right machine: tag, locate light.",
    "Owner agrees, data saved, shut down.",
    "Shared chassis? Ask first.",
)
SHORT_CAUTIONS: tuple[Lead, ...] = (("", "Sharp edges, hot parts, latches that pinch."),)
SHORT_NOTICES: tuple[Lead, ...] = (
    ("", "Strap, mat and chassis on one earth. Hold edges, match the notch, never force."),
)
NOTHING_LEFT = "Nothing left inside."
SHORT_BOOT_CHECKS = ("As expected", "Log cleared", "Memory test passed")


def _heavy(facts: Facts) -> str:
    weight = facts.board.physical.weight_kg
    return f"The board file says {weight:g} kg." if weight is not None else "Weigh it or ask."


def warnings(facts: Facts) -> tuple[Lead, ...]:
    """What could injure seriously, in words."""
    return (
        (
            "Shock.",
            "Pull all power cords and wait as the maker states; no standby light may be lit in the chassis or by "
            "the slots. Modules are not hot-pluggable.",
        ),
        ("Fans", "may restart: keep fingers, hair and cables out."),
        ("Tipping, weight.", f"One machine out at a time, anti-tip feet out. {_heavy(facts)} Lift by the site's rule."),
        ("Liquid-cooled:", "stop. Trained staff only."),
    )


def short_warnings(facts: Facts) -> tuple[Lead, ...]:
    """The same for hands at the chassis."""
    weight = facts.board.physical.weight_kg
    heavy = f"{weight:g} kg:" if weight is not None else "Weight: ask,"
    return (
        ("Shock:", "nothing is hot-pluggable."),
        ("Fans", "may restart."),
        (heavy, "lift by the site's rule, one machine out at a time."),
        ("Liquid-cooled:", "stop, trained staff only."),
    )


def access_steps(facts: Facts) -> list[str]:
    """What comes off before the slots can be reached, in words and in order."""
    trays = [f"{_named(tray)}: {text}" for tray in trays_opened(facts) for text in tray.access or ("Take it out.",)]
    steps = (*facts.board.physical.access, *trays)
    return [clean(text) for text in steps or ("The board file names nothing: see the service manual.",)]


def _named(*trays: Tray) -> str:
    """Trays at the beginning of a sentence, each called a tray."""
    said = listed([tray.name if "tray" in tray.name.lower() else f"tray {tray.name}" for tray in trays])
    return clean(said[:1].upper() + said[1:])


def trays_opened(facts: Facts) -> list[Tray]:
    """The trays that come out, since something is done in their slots."""
    return [tray for tray in facts.board.physical.trays if not facts.worked_on.isdisjoint(tray.slots)]


def closing_steps(facts: Facts) -> list[str]:
    """What goes back, in order: as the board file says, else each step of taking off undone, the last one first."""
    opened = trays_opened(facts)
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
    blanks = len(facts.blanks)
    seen = [f"{counted(blanks, 'blank')} in place, see map."] if blanks else []
    return ["Slots as on the map, latches closed.", *seen, *closing_steps(facts), NOTHING_LEFT]


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
    yield ((TRAINING, False),)
