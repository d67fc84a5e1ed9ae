"""The map for a screen: slots as they lie on the board, each big enough to touch, in rows that fit a phone."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from dimmplan.page.slots import before_of, reason_id
from dimmplan.sheet.change import ChangeFacts
from dimmplan.sheet.facts import Facts, SlotFact, State
from dimmplan.sheet.view import Area, Bank, Front, look_at


class TouchSlot(NamedTuple):
    """One slot to touch: what it holds now, what it held before a change, and where its reason stands."""

    name: str
    href: str
    said: str
    state: str
    now: str
    mark: str
    look: str
    was_state: str
    was: str
    step: str


class Place(NamedTuple):
    """Slots side by side (``bank``), or a processor (without slots)."""

    look: str
    title: str
    slots: tuple[TouchSlot, ...]


class TouchMap(NamedTuple):
    """Rows of places from the rear to the front of the board, or the other way round."""

    rows: tuple[tuple[Place, ...], ...]
    front_last: bool


def touch_map(facts: Facts, front: Front) -> TouchMap:
    """The slots of a board where a person sees them, the front below or above."""
    view = look_at(facts.board, front)
    things: list[tuple[Area, Place]] = [(bank.area, _bank(facts, bank)) for bank in view.banks]
    fitted = set(facts.placement.fitted)
    for socket, area in view.sockets:
        look = "processor" if socket in fitted else "processor absent"
        things.append((area, Place(look, socket if socket in fitted else f"{socket}: no processor", ())))
    rows = tuple(tuple(place for _, place in sorted(row, key=_across)) for row in _rows(things))
    return TouchMap(rows, front == "down")


def _across(thing: tuple[Area, Place]) -> tuple[float, float]:
    return thing[0].left, thing[0].top


def _rows(things: list[tuple[Area, Place]]) -> Iterator[list[tuple[Area, Place]]]:
    """Things whose middle lies beside the first one of a row stand in that row."""
    waiting = sorted(things, key=lambda thing: (thing[0].top, thing[0].left))
    while waiting:
        first, _ = waiting[0]
        row = [thing for thing in waiting if thing[0].centre[1] <= first.bottom]
        yield row
        waiting = [thing for thing in waiting if thing not in row]


def _bank(facts: Facts, bank: Bank) -> Place:
    slots = tuple(_slot(facts, facts.slots[each.slot]) for each in bank.slots)
    return Place("bank upright" if bank.upright else "bank lying", bank.socket, slots)


LOOKS = 3
"""Colours of module types; the letter tells them apart where there are more."""
_WORDS = {State.EMPTY: "empty", State.BLANK: "blank", State.DEAD: "dead", State.HOLD: "hold", State.PULL: "empty"}


def _slot(facts: Facts, fact: SlotFact) -> TouchSlot:
    module = facts.placement.content[fact.slot]
    filled = fact.state is State.FILLED and module is not None
    was = before_of(facts, fact.slot) if isinstance(facts, ChangeFacts) else None
    keys = list(facts.placement.keys.values())
    kept = was is not None and module is not None and was == module and not fact.step
    return TouchSlot(
        name=fact.name,
        href=f"#{reason_id(fact.slot)}",
        said=fact.hover,
        state=("kept" if kept else "filled") if filled else fact.state.value,
        now=f"{module.capacity_gib} GB" if filled and module else _WORDS.get(fact.state, ""),
        mark=fact.key,
        look=f"type-{(keys.index(fact.key)) % LOOKS + 1}" if fact.key and not kept else "",
        was_state="filled" if was else "empty",
        was=f"{was.capacity_gib} GB" if was else "empty",
        step=str(fact.step) if fact.step else "",
    )
