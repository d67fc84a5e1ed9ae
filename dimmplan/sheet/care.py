"""What every sheet carries for safety, short, and whom it defers to (ISO 3864-2, ANSI Z535, ESD S20.20, IEC 61340-5-1).

WARNING could injure seriously, CAUTION slightly, NOTICE is for property only.
"""

from __future__ import annotations

from collections.abc import Sequence

from dimmplan.model.request import Mode
from dimmplan.sheet.blocks import SIGNAL_PAD_MM, Block, headed, paragraph, signal, stacked, ticked
from dimmplan.sheet.facts import Facts, clean
from dimmplan.sheet.measure import Run
from dimmplan.sheet.panels import trays_opened
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

POWER_AND_LID = ("Baffle and lid on.", "Nothing left inside.")
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


def power_checks(facts: Facts) -> list[str]:
    """What to look at before the cords go back, in words."""
    blanks = len(facts.blanks)
    seen = [f"{counted(blanks, 'blank')} in place, see map."] if blanks else []
    trays = trays_opened(facts)
    back = [f"{clean(listed([tray.name for tray in trays]))} back in, latched."] if trays else []
    return ["Slots as on the map, latches closed.", *seen, *back, *POWER_AND_LID]


def boot_notes(facts: Facts) -> list[str]:
    """What to know at first boot beside what to expect, in words."""
    if facts.placement.mode is Mode.INDEPENDENT:
        return [TRAINING]
    return [f"Set the mode in firmware; until then the machine shows {facts.capacity_gib} GiB.", TRAINING]


def before_start(cap_mm: float, width_mm: float) -> Block:
    """What must be sure before anything is touched."""
    ticks = [ticked([(text, False)], cap_mm, width_mm) for text in BEFORE]
    return headed("Before you start", stacked(ticks, 0.3), cap_mm)


def _signal_text(items: Sequence[Lead], cap_mm: float, width_mm: float) -> Block:
    runs: list[list[Run]] = [[(head, True), (text, False)] if head else [(text, False)] for head, text in items]
    return stacked([paragraph(run, cap_mm, width_mm - SIGNAL_PAD_MM) for run in runs], 0.5)


def warning(facts: Facts, cap_mm: float, width_mm: float) -> Block:
    """What could injure seriously."""
    return signal("WARNING", "warning", _signal_text(warnings(facts), cap_mm, width_mm), cap_mm, alert=True)


def caution(cap_mm: float, width_mm: float) -> Block:
    """What could injure slightly."""
    return signal("CAUTION", "caution", _signal_text(CAUTIONS, cap_mm, width_mm), cap_mm, alert=True)


def notice(cap_mm: float, width_mm: float) -> Block:
    """What could harm the machine."""
    return signal("NOTICE", "notice", _signal_text(NOTICES, cap_mm, width_mm), cap_mm, alert=False)


def deference(cap_mm: float, width_mm: float) -> Block:
    """Whose word comes before this sheet's."""
    return paragraph([(DEFERENCE, True)], cap_mm, width_mm)


def before_power(facts: Facts, cap_mm: float, width_mm: float) -> Block:
    """What to look at before the cords go back."""
    ticks = [ticked([(text, False)], cap_mm, width_mm) for text in power_checks(facts)]
    return headed("Before power-on", stacked(ticks, 0.3), cap_mm)


def first_boot(facts: Facts, cap_mm: float, width_mm: float) -> Block:
    """What the machine should show, and that it may take long."""
    blocks = [paragraph([("Expect", False), (f"{facts.expected}.", True)], cap_mm, width_mm)]
    blocks += [paragraph([(said, False)], cap_mm, width_mm) for said in boot_notes(facts)]
    blocks += [ticked([(text, False)], cap_mm, width_mm) for text in BOOT_CHECKS]
    return headed("First boot", stacked(blocks, 0.3), cap_mm)
