"""Sockets and channels from what a machine says: best witness first, and a question for whatever is guessed.

The witnesses, in their order: numbers that resources state; the locator's own grammar; the bank's words with their
node; the processors listed, empty ones too; which slots are filled; the order of the list.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dimmplan.boardfile.channels import Channels
from dimmplan.boardfile.evidence import Answers, Evidence, Guess
from dimmplan.boardfile.sockets import Sockets
from dimmplan.inventory.locators import natural
from dimmplan.model.inventory import Inventory
from dimmplan.model.module import Generation


@dataclass(frozen=True, slots=True)
class WiredChannel:
    """A channel and its slots, as places in the list of memory devices, in the order of their positions."""

    name: str
    controller: str
    slots: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class WiredSocket:
    """A socket, whether its processor is seated (``None``: not said), and its channels."""

    name: str
    seated: bool | None
    channels: tuple[WiredChannel, ...]


@dataclass(frozen=True, slots=True)
class Wiring:
    """The sockets of a machine, what was asked, and what of it is still a guess."""

    sockets: tuple[WiredSocket, ...]
    asked: tuple[Guess, ...]
    guesses: tuple[Guess, ...]


def _channel_name(key: str) -> str:
    """A channel's name for paper: a letter as it is, ``C2`` for a number, ``N1C2`` with its node."""
    node, _, number = key.rpartition(".")
    return f"N{node}C{number}" if node else f"C{key}" if key.isdigit() else key


def wire(found: Inventory, names: Sequence[str], generation: Generation, answers: Answers) -> Wiring:
    """Decide which slots belong to which socket and channel. ``answers`` maps a guess's ``about`` to a choice."""
    said = Evidence(found, names, generation, answers)
    chosen = Sockets(said)
    sockets = chosen.keys()
    order = sorted(dict.fromkeys(sockets), key=natural)
    by_digits = chosen.by_digits() is not None
    channels = Channels(said, sockets, order, by_digits=by_digits).keys()
    controllers = _controllers(said, sockets, channels)
    names = _socket_names(said, order)
    made = []
    for number, socket in enumerate(order):
        mine = [index for index in said.count if sockets[index] == socket]
        keys = sorted({channels[index] for index in mine}, key=natural)
        wired = tuple(
            WiredChannel(
                _channel_name(key),
                controllers[socket, key],
                tuple(sorted((i for i in mine if channels[i] == key), key=said.position)),
            )
            for key in keys
        )
        made.append(WiredSocket(names[number], _seated(said, number, len(order)), wired))
    asked = tuple({guess.about: guess for guess in said.asked}.values())
    still = tuple(guess for guess in asked if said.answers.get(guess.about) not in guess.candidates)
    return Wiring(tuple(made), asked, still)


def _seated(said: Evidence, number: int, sockets: int) -> bool | None:
    if len(said.processors) != sockets:
        return None
    return said.processors[number].state == "filled"


def _socket_names(said: Evidence, order: Sequence[str]) -> list[str]:
    """Sockets called as locators call them, or as the processors are listed, or numbered."""
    word = next((each.word for each in [*said.locator, *said.bank] if each.word), "")
    if word and all(key.isdigit() for key in order):
        return [f"{'CPU' if word == 'SRCID' else word}{key}" for key in order]
    listed = ["".join(processor.locator.split())[:16] for processor in said.processors]
    plain = all(name.replace("_", "").replace("-", "").isalnum() for name in listed)
    if len(listed) == len(order) and len(set(listed)) == len(listed) and plain and not said.stated[0].processor:
        return listed
    return [f"S{number}" for number in range(1, len(order) + 1)]


def _controllers(said: Evidence, sockets: Sequence[str], channels: Sequence[str]) -> dict[tuple[str, str], str]:
    """Controller of each channel: stated, or by the node of its words; one for all of a socket where none says.

    A node for every channel tells nothing of which channels belong together, and is taken for none.
    """
    keys = list(dict.fromkeys(zip(sockets, channels, strict=True)))
    named: dict[tuple[str, str], set[str]] = {key: set() for key in keys}
    for index, key in enumerate(zip(sockets, channels, strict=True)):
        for words in (said.stated[index], said.locator[index], said.bank[index]):
            node = words.controller or words.node
            if node is not None:
                named[key].add(node)
                break
    numbered: dict[tuple[str, str], str] = {}
    for socket in dict.fromkeys(sockets):
        mine = sorted((key for key in keys if key[0] == socket), key=lambda key: natural(key[1]))
        nodes = sorted({node for key in mine for node in named[key]}, key=natural)
        whole = all(len(named[key]) == 1 for key in mine) and len(nodes) < len(mine)
        for key in mine:
            numbered[key] = f"M{nodes.index(next(iter(named[key]))) + 1}" if whole else "M1"
    return numbered
