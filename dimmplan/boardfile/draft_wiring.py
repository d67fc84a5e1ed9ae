"""Sockets and channels from what a machine says: best witness first, and a question for whatever is guessed.

The witnesses, in their order: numbers that resources state; the locator's own grammar; the bank's words with their
node; the processors listed, empty ones too; which slots are filled; the order of the list.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from dimmplan.boardfile.draft_sockets import MOST_DEEP, USUAL_DEEP, Evidence, Keys, Questions, by_digits, socket_keys
from dimmplan.inventory.locators import Words, merged, natural
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


def _channel_name(key: str) -> str:
    """A channel's name for paper: a letter as it is, ``C2`` for a number, ``N1C2`` with its node."""
    node, _, number = key.rpartition(".")
    return f"N{node}C{number}" if node else f"C{key}" if key.isdigit() else key


def wire(
    found: Inventory, names: Sequence[str], generation: Generation, questions: Questions
) -> tuple[WiredSocket, ...]:
    """Decide which slots belong to which socket and channel; what the machine does not say is asked."""
    said = Evidence(found, names, generation, questions)
    sockets = socket_keys(said)
    order = sorted(dict.fromkeys(sockets), key=natural)
    channels = Channels(said, sockets, order, by_digits=by_digits(said) is not None).keys()
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
    return tuple(made)


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


# -- channels ----------------------------------------------------------------------------------------------------------

_USUAL_CHANNELS = {
    Generation.DDR3: (4, 3, 2, 6, 8, 1),
    Generation.DDR4: (6, 4, 8, 2, 3, 1),
    Generation.DDR5: (8, 12, 6, 4, 2, 1),
}
"""Channels of a socket in that generation, the likeliest first (common practice, no source)."""
_SLOW_DDR4 = 2400
"""Processors that run DDR4 no faster mostly have four channels (common practice, no source)."""
_FAST_DDR4 = 3200


class Channels:
    """A channel's key for each memory device of known sockets; ``order`` lists the sockets.

    The witnesses: words, a grid of letters and numbers, or a pairing that is asked.
    """

    def __init__(self, said: Evidence, sockets: Sequence[str], order: Sequence[str], *, by_digits: bool) -> None:
        self.said = said
        self.sockets = sockets
        self.order = order
        self.by_digits = by_digits

    def keys(self) -> Keys:
        """A channel's key for each slot."""
        for words in (self.said.stated, self.said.locator):
            keys = self._named_channels(words)
            if keys is not None:
                return keys
        keys = self._pairs()
        if keys is not None and self._depth(keys) <= MOST_DEEP and self._distinct(keys, self.said.locator):
            return keys
        words = [merged(bank, mine) for mine, bank in self.said.both]
        return self._named_channels(words) or self._digit_channels() or self._inherited() or self._numbered_channels()

    def _named_channels(self, words: Sequence[Words]) -> Keys | None:
        """Channels that words name, with their controller where a socket has a channel of that name on several."""
        channels = self.said.all_of(each.channel for each in words)
        if channels is None:
            return None
        nodes = [each.controller or each.node or each.card for each in words]
        places = set(zip(self.sockets, channels, nodes, strict=True))
        if len(places) > len({(socket, channel) for socket, channel, _ in places}):
            channels = tuple(f"{node or 0}.{channel}" for node, channel in zip(nodes, channels, strict=True))
        return channels if self._depth(channels) <= MOST_DEEP and self._distinct(channels, words) else None

    def _distinct(self, channels: Sequence[str], words: Sequence[Words]) -> bool:
        """True where no two slots have the same place: words that repeat say nothing."""
        positions = [each.position or (each.letter, each.number) for each in words]
        places = list(zip(self.sockets, channels, positions, strict=True))
        told = [place for place in places if place[2] != (None, None)]
        return len(set(told)) == len(told)

    def _depth(self, keys: Sequence[str]) -> int:
        """The slots of the deepest channel."""
        return max(Counter(zip(self.sockets, keys, strict=True)).values())

    def _pairs(self) -> Keys | None:
        """Letter and number: which of the two is the channel."""
        letters = self.said.all_of(words.letter for words in self.said.locator)
        if letters is None or len(set(zip(self.sockets, letters, strict=True))) == len(set(self.sockets)):
            return None  # one letter for each socket
        numbers = self.said.all_of(words.number for words in self.said.locator)
        cards = [words.card or "" for words in self.said.locator]
        if numbers is None:
            places = list(zip(self.sockets, cards, letters, strict=True))
            return letters if len(set(places)) == len(places) and len(set(letters)) > 1 else None
        if not all(words.number_first for words in self.said.locator):
            return letters if self._depth(letters) <= USUAL_DEEP else None
        if self.said.filling_letters() or any(cards) or len(set(letters)) == 1:
            return None
        return self._grid(letters, numbers)

    def _grid(self, letters: Keys, numbers: Keys) -> Keys | None:
        """Which of ``1A``'s two is the channel: there are more channels than places, and a channel stands together.

        Where the two witnesses disagree, or neither speaks, it is asked.
        """
        if len(set(numbers)) == 1:
            return letters
        together = {
            keys: self._stand_together(list(zip(self.sockets, keys, strict=True))) for keys in (letters, numbers)
        }
        more = (len(set(letters)) > len(set(numbers))) - (len(set(letters)) < len(set(numbers)))
        listed = together[letters] - together[numbers]
        if listed == 0 or more == -listed:
            drafted, other = (letters, numbers) if (listed or more) > 0 else (numbers, letters)
            names = {letters: "by-letter", numbers: "by-number"}
            text = "letter and number name a slot; the machine does not say which of the two is the channel"
            return self.said.ask("channels", text, {names[keys]: keys for keys in (drafted, other)})
        return letters if more + listed > 0 else numbers

    @staticmethod
    def _stand_together(places: Sequence[tuple[str, str]]) -> bool:
        """True where each place is one run of the list, and some run is longer than one."""
        runs = [place for place, _ in groupby(places)]
        return len(runs) == len(set(runs)) < len(places)

    def _digit_channels(self) -> Keys | None:
        digits = self.said.all_of(words.digits for words in self.said.locator)
        return tuple(each[1] for each in digits) if digits and self.by_digits else None

    def _inherited(self) -> Keys | None:
        """Slots without any word, among others that name a channel: with the slot before them, which is asked."""
        cells = [
            words.channel
            or (words.letter if words.letter != socket and not words.number_first else None)
            or bank.channel
            for words, bank, socket in zip(self.said.locator, self.said.bank, self.sockets, strict=True)
        ]
        if not any(cells) or all(self.said.memory[i].locator for i in self.said.count if cells[i] is None):
            return None
        keys: list[str] = []
        last = next(key for key in cells if key)
        for key in cells:
            last = key or last
            keys.append(last)
        if self._depth(keys) > MOST_DEEP:
            return None
        text = "some slots have no name; the draft puts them on the channel of the slot before them"
        return self.said.ask("channels", text, {"with-the-one-before": tuple(keys)})

    def _numbered_channels(self) -> Keys:
        """Slots that are only numbered: the pairing that fits what is filled and how the list runs; always asked."""
        groups = [
            self.said.numbered([i for i in self.said.count if self.sockets[i] == socket]) for socket in self.order
        ]
        choices = self._pairings(groups)
        by_letter = any(words.letter for words in self.said.locator)
        first = max(choices, key=lambda name: self._likelihood(name, choices[name], groups, by_letter=by_letter))
        choices = dict([*({first: choices[first]} | choices).items()][:6])
        if len(choices) == 1 and len(groups[0]) == 1:
            return choices[first]
        text = "the machine does not say which slots share a channel; look at the marks beside the slots"
        return self.said.ask("channels", text, choices, only=groups[0])

    def _pairings(self, groups: Sequence[Sequence[int]]) -> dict[str, Keys]:
        """Ways to share the slots of every socket over as many channels: apart by a whole turn, or as neighbours."""
        sizes = [len(group) for group in groups]
        counts = [
            count for count in range(1, max(sizes) + 1) if all(count <= size <= count * USUAL_DEEP for size in sizes)
        ]
        usual = [each for each in _USUAL_CHANNELS[self.said.generation] if each in counts]
        choices: dict[str, Keys] = {}
        for count in usual or [max(counts, default=max(sizes))]:
            for name in ("apart", "neighbours"):
                keys = [""] * len(self.said.memory)
                for group in groups:
                    deep = -(-len(group) // count)
                    for rank, index in enumerate(group):
                        keys[index] = str((rank % count if name == "apart" else rank // deep) + 1)
                whole = all(size % count == 0 for size in sizes)
                if tuple(keys) not in choices.values() and (name == "apart" or whole):
                    choices[f"{name}-{count}"] = tuple(keys)
        return choices

    def _likelihood(
        self, choice: str, keys: Keys, groups: Sequence[Sequence[int]], *, by_letter: bool
    ) -> tuple[object, ...]:
        """Greater is likelier: what the list's order says, what is filled, what is usual."""
        name, _, count = choice.partition("-")
        number_first = any(words.number_first for words in self.said.locator)
        covered = [len({keys[i] for i in group if self.said.filled[i]}) for group in groups]
        could = sum(min([self.said.filled[i] for i in group].count(True), int(count)) for group in groups)
        telling = by_letter and not number_first or self._filled_from_the_first(groups)
        share = sum(covered) / could if telling and could > 0 else 0.0
        usual = (name == "apart") == (by_letter and not number_first)
        return (
            self._listed_together(keys),
            self._fill_letters(keys, groups),
            len({len(group) for group in groups}) > 1 or len(groups[0]) % int(count) == 0,
            round(share, 6),
            self._usual_count(int(count), groups),
            usual or self._filled_from_the_first(groups),
        )

    def _usual_count(self, count: int, groups: Sequence[Sequence[int]]) -> int:
        usual = list(_USUAL_CHANNELS[self.said.generation])
        sizes = sorted({len(group) for group in groups})
        if len(sizes) > 1 and count == sizes[0]:
            return 1  # unequal sockets have as many channels, mostly as many as the smaller has slots
        rates = [rate for slot in self.said.memory for rate in (slot.rated_mts, slot.configured_mts) if rate]
        if self.said.generation is Generation.DDR4 and rates:
            fastest = max(rates)
            likeliest = 4 if fastest <= _SLOW_DDR4 else 8 if fastest >= _FAST_DDR4 else 6
            usual = [likeliest, *(each for each in usual if each != likeliest)]
        elif self.said.generation is Generation.DDR4 and len(groups[0]) % 6:
            usual = [8, 4, 6, 2, 3, 1] if len(groups[0]) > 8 else [4, 8, 6, 2, 3, 1]
        return -usual.index(count) if count in usual else -len(usual)

    def _filled_from_the_first(self, groups: Sequence[Sequence[int]]) -> bool:
        """True where numbers are the order of filling: the first two or more of every socket in use, and no other."""
        runs = [[self.said.filled[i] for i in group] for group in groups]
        used = [run for run in runs if any(run)]
        return bool(used) and all(run == sorted(run, reverse=True) and 1 < sum(run) < len(run) for run in used)

    def _listed_together(self, keys: Keys) -> bool:
        """True where the list is not in the order of the numbers, and slots of a channel stand together in it."""
        by_socket: dict[str, list[int]] = {}
        for index in self.said.count:
            by_socket.setdefault(self.sockets[index], []).append(index)
        if all(indexes == self.said.numbered(indexes) for indexes in by_socket.values()):
            return False
        runs = [[keys[index] for index in indexes] for indexes in by_socket.values()]
        return all({run.count(key) for key in run} == {2} and len(set(run)) == len(list(groupby(run))) for run in runs)

    def _fill_letters(self, keys: Keys, groups: Sequence[Sequence[int]]) -> bool:
        """True where letters are the order of filling (``3A`` first) and the first of them share no channel."""
        if not all(words.number_first and words.letter for words in self.said.locator):
            return False
        for group in groups:
            by_letter = sorted(group, key=lambda index: str(self.said.locator[index].letter))
            first = by_letter[: len({keys[index] for index in group})]
            if len({keys[index] for index in first}) < len(first):
                return False
        return True
