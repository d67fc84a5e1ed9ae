"""Sockets and channels from what a machine says: best witness first, and a question for whatever is guessed.

The witnesses, in their order: numbers that resources state; the locator's own grammar; the bank's words with their
node; the processors listed, empty ones too; which slots are filled; the order of the list. How channels are numbered
where only the socket is said is common practice, no source, and always asked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import groupby

from dimmplan.inventory.locators import Words, merged, natural, read_words, stated_words
from dimmplan.model.inventory import Inventory
from dimmplan.model.module import Generation

MOST_SOCKETS = 16
MOST_DEEP = 4
"""Slots that a channel of a board file may have."""
USUAL_DEEP = 3
_USUAL_CHANNELS = {
    Generation.DDR3: (4, 3, 2, 6, 8, 1),
    Generation.DDR4: (6, 4, 8, 2, 3, 1),
    Generation.DDR5: (8, 12, 6, 4, 2, 1),
}
"""Channels of a socket in that generation, the likeliest first (common practice, no source)."""
_SLOW_DDR4 = 2400
"""Processors that run DDR4 no faster mostly have four channels (common practice, no source)."""
_FAST_DDR4 = 3200


@dataclass(frozen=True, kw_only=True, slots=True)
class Guess:
    """Something that the machine does not say: what it is about, the question, what was chosen, what else it can be.

    ``layouts`` maps each choice to a small drawing in text.
    """

    about: str
    text: str
    chosen: str
    layouts: Mapping[str, str] = field(default_factory=dict)

    @property
    def candidates(self) -> tuple[str, ...]:
        """The choices that an answer can name; with no other layout only what was drafted."""
        return tuple(self.layouts) or (self.chosen,)


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


Answers = Mapping[str, str]


def _channel_name(key: str) -> str:
    """A channel's name for paper: a letter as it is, ``C2`` for a number, ``N1C2`` with its node."""
    node, _, number = key.rpartition(".")
    return f"N{node}C{number}" if node else f"C{key}" if key.isdigit() else key


def wire(found: Inventory, names: Sequence[str], generation: Generation, answers: Answers) -> Wiring:
    """Decide which slots belong to which socket and channel. ``answers`` maps a guess's ``about`` to a choice."""
    machine = _Machine(found, names, generation, answers)
    return machine.wired()


@dataclass(frozen=True, slots=True)
class _Sharing:
    """One way to share the slots out over sockets, or those of a socket over channels: a key for each slot."""

    choice: str
    keys: tuple[str, ...]


class _Machine:
    """What a machine's words say, all slots together."""

    def __init__(self, found: Inventory, names: Sequence[str], generation: Generation, answers: Answers) -> None:
        self.memory = found.memory
        self.names = names
        self.generation = generation
        self.answers = answers
        self.asked: list[Guess] = []
        self.count = range(len(self.memory))
        self.processors = sorted(
            (each for each in found.processors if each.state != "cannot-tell"), key=lambda each: natural(each.locator)
        )
        listed = max(len(self.processors), found.processors_said or 0)
        self.listed = listed if listed <= MOST_SOCKETS else 0  # a virtual machine's
        self.stated = [stated_words(slot) for slot in self.memory]
        self.locator = [read_words(slot.locator) for slot in self.memory]
        self.bank = [read_words(slot.bank, is_bank=True) if not slot.place else Words() for slot in self.memory]
        self.filled = [slot.state in ("filled", "hold") for slot in self.memory]

    def wired(self) -> Wiring:
        sockets = self._sockets()
        order = sorted(dict.fromkeys(sockets), key=natural)
        channels = self._channels(sockets, order)
        controllers = self._controllers(sockets, channels)
        names = self._socket_names(order)
        made = []
        for number, socket in enumerate(order):
            mine = [index for index in self.count if sockets[index] == socket]
            keys = sorted({channels[index] for index in mine}, key=natural)
            wired = tuple(
                WiredChannel(
                    _channel_name(key),
                    controllers[socket, key],
                    tuple(sorted((i for i in mine if channels[i] == key), key=self._position)),
                )
                for key in keys
            )
            made.append(WiredSocket(names[number], self._seated(number, len(order)), wired))
        asked = tuple({guess.about: guess for guess in self.asked}.values())
        still = tuple(guess for guess in asked if self.answers.get(guess.about) not in guess.candidates)
        return Wiring(tuple(made), asked, still)

    # -- helpers ---------------------------------------------------------------------------------------------------

    def _guess(self, about: str, text: str, choices: Sequence[_Sharing], draw: Callable[[_Sharing], str]) -> _Sharing:
        """The choice that is taken: the first, or the one that was answered; a guess stays open till it is."""
        self.asked.append(
            Guess(about=about, text=text, chosen=choices[0].choice, layouts={c.choice: draw(c) for c in choices})
        )
        return next((each for each in choices if each.choice == self.answers.get(about)), choices[0])

    def _position(self, index: int) -> tuple[object, ...]:
        for words in (self.stated[index], self.locator[index], self.bank[index]):
            said = words.position or (words.letter if words.number_first and words.number else words.number)
            if said is not None:
                return (natural(words.number), natural(said), index)
        return (natural(None), natural(None), index)

    def _all(self, values: Iterable[str | None]) -> tuple[str, ...] | None:
        """The values where every slot has one."""
        known = tuple(values)
        return tuple(str(value) for value in known) if None not in known else None

    def _draw(self, keys: Sequence[str], wanted: Sequence[int] | None = None) -> str:
        """A layout in text: ``A: A1 A7 | B: A2 A8``."""
        groups: dict[str, list[str]] = {}
        for index, key in zip(wanted if wanted is not None else self.count, keys, strict=True):
            groups.setdefault(key, []).append(self.names[index])
        parts = [
            f"{key}: {' '.join(names[:4])}{' ... ' + names[-1] if len(names) > 4 else ''}"
            for key, names in sorted(groups.items(), key=lambda each: natural(each[0]))
        ]
        return " | ".join(parts[:12]) + (" | ..." if len(parts) > 12 else "")

    # -- sockets ---------------------------------------------------------------------------------------------------

    def _sockets(self) -> tuple[str, ...]:
        """A socket's key for each slot."""
        for said in (
            [words.processor for words in self.stated],
            [words.processor for words in self.locator],
            [words.processor for words in self.bank],
        ):
            keys = self._all(said)
            if keys is not None:
                self._tell_missing(keys)
                return keys
        ways = (self._by_digits, self._by_cards, self._by_repeats, self._by_letters, self._by_node)
        return next((keys for way in ways if (keys := way()) is not None), None) or self._by_sharing()

    def _tell_missing(self, keys: Sequence[str]) -> None:
        """Fewer sockets than processors listed are never drafted in silence."""
        some = len(set(keys))
        if some < self.listed:
            text = (
                f"the machine lists {self._processors()} and names slots of {some}; the others have none in this draft"
            )
            layouts = {"as-named": self._draw(keys)}
            self.asked.append(Guess(about="sockets", text=text, chosen="as-named", layouts=layouts))

    def _by_digits(self) -> tuple[str, ...] | None:
        digits = self._all(words.digits for words in self.locator)
        if digits is None or len(set(digits)) != len(digits) or max(each[2] for each in digits) > str(MOST_DEEP - 1):
            return None
        keys = tuple(each[0] for each in digits)
        return keys if len(set(keys)) == max(1, self.listed) else None

    def _by_cards(self) -> tuple[str, ...] | None:
        """Memory boards shared out in order over the processors, which is asked."""
        cards = self._all(mine.card or bank.card for mine, bank in zip(self.locator, self.bank, strict=True))
        if cards is None or self.listed < 2:
            return None
        order = sorted(set(cards), key=natural)
        if len(order) % self.listed:
            return None
        share = len(order) // self.listed
        in_order = _Sharing("in-order", tuple(str(order.index(card) // share + 1) for card in cards))
        text = f"the slots lie on {len(order)} memory boards; are these shared out in order over {self._processors()}?"
        choices = [in_order, _Sharing("one", ("1",) * len(cards))]
        return self._guess("sockets", text, choices, lambda each: self._draw(each.keys)).keys

    def _repeats(self) -> list[int]:
        """How often each device's words have been met before it, nodes aside; all 0 where no two say the same place."""
        met: dict[tuple[str | None, ...], int] = {}
        before: list[int] = []
        for mine, bank in zip(self.locator, self.bank, strict=True):
            words = merged(mine, bank)
            place = (words.card, words.channel, words.letter, words.number, words.position, words.digits)
            before.append(met.get(place, 0))
            met[place] = before[-1] + 1
        return before

    def _by_repeats(self) -> tuple[str, ...] | None:
        """Words that begin again for each processor: by their node where that tells them apart, else by the list."""
        before = self._repeats()
        count = max(before) + 1
        if count == 1 or count > MOST_SOCKETS:
            return None
        if self.listed > 1 and count != self.listed:
            return None
        nodes = self._all(mine.node or bank.node for mine, bank in zip(self.locator, self.bank, strict=True))
        by_node = nodes if nodes is not None and len(set(nodes)) == count else None
        if by_node is not None and self.listed == count:
            return by_node
        first = _Sharing("by-node", by_node) if by_node else _Sharing("by-repeat", tuple(str(n + 1) for n in before))
        text = f"names of slots are there up to {count} times; is each time a processor?"
        choices = [first, _Sharing("one", ("1",) * len(before))]
        if before.count(1) * 2 < before.count(0):
            choices.reverse()  # a name or two that firmware has copied
        return self._guess("sockets", text, choices, lambda each: self._draw(each.keys)).keys

    def _by_letters(self) -> tuple[str, ...] | None:
        """Letters that mean processors, or channels that run on over the processors (``ChannelA`` among them)."""
        said = [words.channel if words.channel and words.channel.isalpha() else words.letter for words in self.locator]
        letters = self._all(said)
        if letters is None or self._filling_letters():
            return None
        order = sorted(set(letters), key=lambda letter: (len(letter), letter))
        deep = max(letters.count(letter) for letter in order)
        plain = not any(words.channel or words.number_first for words in self.locator)
        if plain and (deep > USUAL_DEEP or len(order) == self.listed > 1):
            return self._letter_is_processor(letters, order, deep)
        if self.listed > 1:
            return self._letters_run_on(letters, order, plain=plain) if len(order) > self.listed else None
        one = _Sharing("one", ("1",) * len(letters))
        most = 12 if self.generation is Generation.DDR5 else 8
        if len(order) == 1 or (self.listed and len(order) <= most):
            return one.keys
        halves = self._run_on(letters, order, 2)
        text = f"letters {order[0]} to {order[-1]}, and the machine lists {self._processors()}; are all of one?"
        choices = [halves, one] if len(order) > most else [one, halves]
        return self._guess("sockets", text, choices, lambda each: self._draw(each.keys)).keys

    def _letter_is_processor(self, letters: tuple[str, ...], order: Sequence[str], deep: int) -> tuple[str, ...]:
        """A letter with more numbers than a channel has slots, or as many letters as processors."""
        if len(order) == max(1, self.listed) and not any(self._repeats()):
            return letters
        choices = [_Sharing("by-letter", letters)]
        if deep <= MOST_DEEP and 1 < self.listed < len(order):
            choices.append(self._run_on(letters, order, self.listed))
        choices.append(_Sharing("one", ("1",) * len(letters)))
        text = (
            f"the machine lists {self._processors()}, the letters of the slots name {len(order)}; "
            "does a letter mean a processor?"
        )
        return self._guess("sockets", text, choices, lambda each: self._draw(each.keys)).keys

    def _letters_run_on(self, letters: tuple[str, ...], order: Sequence[str], *, plain: bool) -> tuple[str, ...]:
        """Channel letters that run on over the processors: shared out in order, asked unless something confirms it."""
        run_on = self._run_on(letters, order, self.listed)
        by_node = self._nodes_of(self.listed)
        if by_node is not None and self._follows(by_node, letters):
            return by_node
        if self._fill_confirms(run_on.keys, letters) or self._partly_confirmed(run_on.keys):
            return run_on.keys
        text = f"letters {order[0]} to {order[-1]} run on over {self.listed} processors; are they shared out in order?"
        choices = [run_on, _Sharing("one", ("1",) * len(letters)), *([_Sharing("by-letter", letters)] if plain else [])]
        return self._guess("sockets", text, choices, lambda each: self._draw(each.keys)).keys

    def _filling_letters(self) -> bool:
        """True where a letter behind the number is the order of filling: each number has one letter (``3A``)."""
        pairs = {(words.number, words.letter) for words in self.locator if words.number_first}
        return bool(pairs) and len(pairs) == len({number for number, _ in pairs}) and len(pairs) > 2

    def _partly_confirmed(self, keys: Sequence[str]) -> bool:
        """True where the words of some slots name processors, and these are just the sockets of ``keys``."""
        for said in (
            [mine.processor or bank.processor for mine, bank in zip(self.locator, self.bank, strict=True)],
            [bank.node for bank in self.bank],
        ):
            pairs = {(word, key) for word, key in zip(said, keys, strict=True) if word is not None}
            if len(pairs) == len({word for word, _ in pairs}) == len(set(keys)):
                return len({key for _, key in pairs}) == len(set(keys))
        return False

    def _processors(self) -> str:
        return "1 processor" if self.listed == 1 else f"{self.listed or 'no'} processors"

    def _run_on(self, letters: Sequence[str], order: Sequence[str], wanted: int) -> _Sharing:
        share = -(-len(order) // wanted)
        return _Sharing("in-order", tuple(str(order.index(letter) // share + 1) for letter in letters))

    def _nodes_of(self, wanted: int) -> tuple[str, ...] | None:
        """Sockets by the nodes that locators or banks name, shared out in order; of slots without one, by letter."""
        nodes = [mine.node or bank.node for mine, bank in zip(self.locator, self.bank, strict=True)]
        known = sorted({node for node in nodes if node is not None}, key=natural)
        if not known or len(known) % wanted or None in nodes:
            return None
        share = len(known) // wanted
        return tuple(str(known.index(str(node)) // share + 1) for node in nodes)

    def _follows(self, keys: Sequence[str], letters: Sequence[str]) -> bool:
        """True where every letter lies in one socket."""
        return len(set(zip(letters, keys, strict=True))) == len(set(letters))

    def _fill_confirms(self, keys: Sequence[str], letters: Sequence[str]) -> bool:
        """True where every socket is filled alike and within a socket not all letters are: two halves that match."""
        patterns: list[list[tuple[bool, ...]]] = []
        for socket in sorted(set(keys)):
            mine = [index for index in self.count if keys[index] == socket]
            order = sorted({letters[index] for index in mine}, key=lambda letter: (len(letter), letter))
            patterns.append([tuple(self.filled[i] for i in mine if letters[i] == letter) for letter in order])
        return all(each == patterns[0] for each in patterns) and len(set(patterns[0])) > 1

    def _by_node(self) -> tuple[str, ...] | None:
        """One node for each processor listed, or as many nodes for each."""
        return self._nodes_of(self.listed) if self.listed > 1 else None

    def _by_sharing(self) -> tuple[str, ...]:
        """Nothing says it: one socket, or the list shared out in order, which is asked."""
        wanted = self.listed
        partly = [mine.processor or bank.processor for mine, bank in zip(self.locator, self.bank, strict=True)]
        if any(partly):
            return self._by_neighbours(partly)
        everything = ("1",) * len(self.memory)
        if wanted <= 1:
            return self._one_or_nodes(everything)
        one = _Sharing("one", everything)
        orders = [one] if len(self.memory) % wanted else [self._in_order(wanted), self._alternating(wanted), one]
        text = (
            f"the machine lists {wanted} processors and does not say which slots are whose; "
            f"the draft {'puts all at one socket' if orders[0] is one else 'shares them out in the order of the list'}"
        )
        return self._guess("sockets", text, orders, lambda each: self._draw(each.keys)).keys

    def _one_or_nodes(self, everything: tuple[str, ...]) -> tuple[str, ...]:
        """One socket; where words name several nodes these may be processors that the machine does not list."""
        nodes = self._all(mine.node or bank.node for mine, bank in zip(self.locator, self.bank, strict=True))
        if nodes is None or not 1 < len(set(nodes)) <= MOST_SOCKETS:
            return everything
        text = f"the machine lists {self._processors()}, the words name {len(set(nodes))} nodes; are these processors?"
        choices = [_Sharing("one", everything), _Sharing("by-node", nodes)]
        return self._guess("sockets", text, choices, lambda each: self._draw(each.keys)).keys

    def _by_neighbours(self, partly: Sequence[str | None]) -> tuple[str, ...]:
        """Slots without a word for the processor go with their letter, or with the slot before them; that is asked."""
        of_letter = {words.letter or "": key for words, key in zip(self.locator, partly, strict=True) if key}
        keys: list[str] = []
        last = next(key for key in partly if key)
        for words, key in zip(self.locator, partly, strict=True):
            last = key or (words.letter and of_letter.get(words.letter)) or last
            keys.append(last)
        self._tell_missing(keys)
        text = "some slots have no word for their processor; the draft puts them with the slot before them"
        choices = [_Sharing("with-the-one-before", tuple(keys))]
        return self._guess("sockets", text, choices, lambda each: self._draw(each.keys)).keys

    def _in_order(self, wanted: int) -> _Sharing:
        share = len(self.memory) // wanted
        order = self._numbered(self.count)
        if len({self.locator[index].number for index in self.count}) < len(self.memory):
            order = list(self.count)  # numbers begin again: the list's own order tells more
        place = {index: rank for rank, index in enumerate(order)}
        return _Sharing("in-order", tuple(str(place[index] // share + 1) for index in self.count))

    def _alternating(self, wanted: int) -> _Sharing:
        return _Sharing("alternating", tuple(str(index % wanted + 1) for index in self.count))

    def _seated(self, number: int, sockets: int) -> bool | None:
        if len(self.processors) != sockets:
            return None
        return self.processors[number].state == "filled"

    def _socket_names(self, order: Sequence[str]) -> list[str]:
        """Sockets called as locators call them, or as the processors are listed, or numbered."""
        word = next((each.word for each in [*self.locator, *self.bank] if each.word), "")
        if word and all(key.isdigit() for key in order):
            return [f"{'CPU' if word == 'SRCID' else word}{key}" for key in order]
        listed = ["".join(processor.locator.split())[:16] for processor in self.processors]
        plain = all(name.replace("_", "").replace("-", "").isalnum() for name in listed)
        if len(listed) == len(order) and len(set(listed)) == len(listed) and plain and not self.stated[0].processor:
            return listed
        return [f"S{number}" for number in range(1, len(order) + 1)]

    # -- channels --------------------------------------------------------------------------------------------------

    def _channels(self, sockets: Sequence[str], order: Sequence[str]) -> tuple[str, ...]:
        """A channel's key for each slot."""
        for said in (self.stated, self.locator):
            keys = self._named_channels(sockets, said)
            if keys is not None:
                return keys
        keys = self._pairs(sockets)
        if keys is not None and self._shallow(sockets, keys) and self._distinct(sockets, keys, self.locator):
            return keys
        words = [merged(bank, mine) for mine, bank in zip(self.locator, self.bank, strict=True)]
        return (
            self._named_channels(sockets, words)
            or self._digit_channels()
            or self._inherited(sockets)
            or self._numbered_channels(sockets, order)
        )

    def _named_channels(self, sockets: Sequence[str], words: Sequence[Words]) -> tuple[str, ...] | None:
        """Channels that words name, with their controller where a socket has a channel of that name on several."""
        channels = self._all(each.channel for each in words)
        if channels is None:
            return None
        nodes = [each.controller or each.node or each.card for each in words]
        places = set(zip(sockets, channels, nodes, strict=True))
        if len(places) > len({(socket, channel) for socket, channel, _ in places}):
            channels = tuple(f"{node or 0}.{channel}" for node, channel in zip(nodes, channels, strict=True))
        fits = self._shallow(sockets, channels) and self._distinct(sockets, channels, words)
        return channels if fits else None

    def _distinct(self, sockets: Sequence[str], channels: Sequence[str], words: Sequence[Words]) -> bool:
        """True where no two slots have the same place: words that repeat say nothing."""
        positions = [each.position or (each.letter, each.number) for each in words]
        places = list(zip(sockets, channels, positions, strict=True))
        told = [place for place in places if place[2] != (None, None)]
        return len(set(told)) == len(told)

    def _shallow(self, sockets: Sequence[str], keys: Sequence[str]) -> bool:
        """True where no channel is deeper than a channel can be."""
        both = list(zip(sockets, keys, strict=True))
        return max(both.count(each) for each in set(both)) <= MOST_DEEP

    def _pairs(self, sockets: Sequence[str]) -> tuple[str, ...] | None:
        """Letter and number: which of the two is the channel."""
        letters = self._all(words.letter for words in self.locator)
        if letters is None or len(set(zip(sockets, letters, strict=True))) == len(set(sockets)):
            return None  # one letter for each socket
        numbers = self._all(words.number for words in self.locator)
        cards = [words.card or "" for words in self.locator]
        if numbers is None:
            places = list(zip(sockets, cards, letters, strict=True))
            return letters if len(set(places)) == len(places) and len(set(letters)) > 1 else None
        if not all(words.number_first for words in self.locator):
            both = list(zip(sockets, letters, strict=True))
            deep = max(both.count(each) for each in set(both))
            return letters if deep <= USUAL_DEEP else None
        if self._filling_letters() or any(cards) or len(set(letters)) == 1:
            return None
        return self._grid(sockets, letters, numbers)

    def _grid(
        self, sockets: Sequence[str], letters: tuple[str, ...], numbers: tuple[str, ...]
    ) -> tuple[str, ...] | None:
        """Which of ``1A``'s two is the channel: there are more channels than places, and a channel stands together.

        Where the two witnesses disagree, or neither speaks, it is asked.
        """
        if len(set(numbers)) == 1:
            return letters
        together = {keys: self._stand_together(list(zip(sockets, keys, strict=True))) for keys in (letters, numbers)}
        more = (len(set(letters)) > len(set(numbers))) - (len(set(letters)) < len(set(numbers)))
        listed = together[letters] - together[numbers]
        if listed == 0 or more == -listed:
            drafted, other = (letters, numbers) if (listed or more) > 0 else (numbers, letters)
            names = {letters: "by-letter", numbers: "by-number"}
            text = "letter and number name a slot; the machine does not say which of the two is the channel"
            choices = [_Sharing(names[keys], keys) for keys in (drafted, other)]
            return self._guess("channels", text, choices, lambda each: self._draw(each.keys)).keys
        return letters if more + listed > 0 else numbers

    @staticmethod
    def _stand_together(places: Sequence[tuple[str, str]]) -> bool:
        """True where each place is one run of the list, and some run is longer than one."""
        runs = [place for place, _ in groupby(places)]
        return len(runs) == len(set(runs)) < len(places)

    def _digit_channels(self) -> tuple[str, ...] | None:
        digits = self._all(words.digits for words in self.locator)
        return tuple(each[1] for each in digits) if digits and self._by_digits() else None

    def _inherited(self, sockets: Sequence[str]) -> tuple[str, ...] | None:
        """Slots without any word, among others that name a channel: with the slot before them, which is asked."""
        said = [
            words.channel
            or (words.letter if words.letter != socket and not words.number_first else None)
            or bank.channel
            for words, bank, socket in zip(self.locator, self.bank, sockets, strict=True)
        ]
        if not any(said) or all(self.memory[i].locator for i in self.count if said[i] is None):
            return None
        keys: list[str] = []
        last = next(key for key in said if key)
        for key in said:
            last = key or last
            keys.append(last)
        if not self._shallow(sockets, keys):
            return None
        text = "some slots have no name; the draft puts them on the channel of the slot before them"
        choices = [_Sharing("with-the-one-before", tuple(keys))]
        return self._guess("channels", text, choices, lambda each: self._draw(each.keys)).keys

    def _numbered_channels(self, sockets: Sequence[str], order: Sequence[str]) -> tuple[str, ...]:
        """Slots that are only numbered: the pairing that fits what is filled and how the list runs; always asked."""
        groups = [self._numbered([i for i in self.count if sockets[i] == socket]) for socket in order]
        choices = self._pairings(groups)
        by_letter = any(words.letter for words in self.locator)
        first = max(choices, key=lambda each: self._likelihood(each, groups, sockets, by_letter=by_letter))
        choices = [first, *(each for each in choices if each is not first)][:6]
        if len(choices) == 1 and len(groups[0]) == 1:
            return first.keys
        text = "the machine does not say which slots share a channel; look at the marks beside the slots"
        return self._guess("channels", text, choices, lambda each: self._drawn_pairing(each, groups[0])).keys

    def _drawn_pairing(self, pairing: _Sharing, group: Sequence[int]) -> str:
        return self._draw([pairing.keys[index] for index in group], group)

    def _numbered(self, indexes: Iterable[int]) -> list[int]:
        """Slots in the order of their numbers; those without one in the order of the list."""
        mine = list(indexes)
        numbers = [self.locator[index].number or self.locator[index].position for index in mine]
        if None in numbers or len(set(numbers)) < len(numbers):
            return mine
        return sorted(mine, key=lambda index: natural(self.locator[index].number or self.locator[index].position))

    def _pairings(self, groups: Sequence[Sequence[int]]) -> list[_Sharing]:
        """Ways to share the slots of every socket over as many channels: apart by a whole turn, or as neighbours."""
        sizes = [len(group) for group in groups]
        counts = [
            count for count in range(1, max(sizes) + 1) if all(count <= size <= count * USUAL_DEEP for size in sizes)
        ]
        usual = [each for each in _USUAL_CHANNELS[self.generation] if each in counts]
        choices: list[_Sharing] = []
        for count in usual or [max(counts, default=max(sizes))]:
            for name in ("apart", "neighbours"):
                keys = [""] * len(self.memory)
                for group in groups:
                    deep = -(-len(group) // count)
                    for rank, index in enumerate(group):
                        keys[index] = str((rank % count if name == "apart" else rank // deep) + 1)
                if all(each.keys != tuple(keys) for each in choices):
                    whole = all(size % count == 0 for size in sizes)
                    if name == "apart" or whole:
                        choices.append(_Sharing(f"{name}-{count}", tuple(keys)))
        return choices

    def _likelihood(
        self, pairing: _Sharing, groups: Sequence[Sequence[int]], sockets: Sequence[str], *, by_letter: bool
    ) -> tuple[object, ...]:
        """Greater is likelier: what the list's order says, what is filled, what is usual."""
        name, _, count = pairing.choice.partition("-")
        number_first = any(words.number_first for words in self.locator)
        covered = [len({pairing.keys[i] for i in group if self.filled[i]}) for group in groups]
        could = sum(min([self.filled[i] for i in group].count(True), int(count)) for group in groups)
        telling = by_letter and not number_first or self._filled_from_the_first(groups)
        share = sum(covered) / could if telling and could > 0 else 0.0
        usual = (name == "apart") == (by_letter and not number_first)
        return (
            self._listed_together(pairing, sockets),
            self._fill_letters(pairing, groups),
            len({len(group) for group in groups}) > 1 or len(groups[0]) % int(count) == 0,
            round(share, 6),
            self._usual_count(int(count), groups),
            usual or self._filled_from_the_first(groups),
        )

    def _usual_count(self, count: int, groups: Sequence[Sequence[int]]) -> int:
        usual = list(_USUAL_CHANNELS[self.generation])
        sizes = sorted({len(group) for group in groups})
        if len(sizes) > 1 and count == sizes[0]:
            return 1  # unequal sockets have as many channels, mostly as many as the smaller has slots
        rates = [rate for slot in self.memory for rate in (slot.rated_mts, slot.configured_mts) if rate]
        if self.generation is Generation.DDR4 and rates:
            fastest = max(rates)
            likeliest = 4 if fastest <= _SLOW_DDR4 else 8 if fastest >= _FAST_DDR4 else 6
            usual = [likeliest, *(each for each in usual if each != likeliest)]
        elif self.generation is Generation.DDR4 and len(groups[0]) % 6:
            usual = [8, 4, 6, 2, 3, 1] if len(groups[0]) > 8 else [4, 8, 6, 2, 3, 1]
        return -usual.index(count) if count in usual else -len(usual)

    def _filled_from_the_first(self, groups: Sequence[Sequence[int]]) -> bool:
        """True where numbers are the order of filling: the first two or more of every socket in use, and no other."""
        runs = [[self.filled[i] for i in group] for group in groups]
        used = [run for run in runs if any(run)]
        return bool(used) and all(run == sorted(run, reverse=True) and 1 < sum(run) < len(run) for run in used)

    def _listed_together(self, pairing: _Sharing, sockets: Sequence[str]) -> bool:
        """True where the list is not in the order of the numbers, and slots of a channel stand together in it."""
        by_socket: dict[str, list[int]] = {}
        for index in self.count:
            by_socket.setdefault(sockets[index], []).append(index)
        if all(indexes == self._numbered(indexes) for indexes in by_socket.values()):
            return False
        runs = [[pairing.keys[index] for index in indexes] for indexes in by_socket.values()]
        return all({run.count(key) for key in run} == {2} and len(set(run)) == len(list(groupby(run))) for run in runs)

    def _fill_letters(self, pairing: _Sharing, groups: Sequence[Sequence[int]]) -> bool:
        """True where letters are the order of filling (``3A`` first) and the first of them share no channel."""
        if not all(words.number_first and words.letter for words in self.locator):
            return False
        for group in groups:
            by_letter = sorted(group, key=lambda index: str(self.locator[index].letter))
            first = by_letter[: len({pairing.keys[index] for index in group})]
            if len({pairing.keys[index] for index in first}) < len(first):
                return False
        return True

    # -- controllers -----------------------------------------------------------------------------------------------

    def _controllers(self, sockets: Sequence[str], channels: Sequence[str]) -> dict[tuple[str, str], str]:
        """Controller of each channel: stated, or by the node of its words; one for all of a socket where none says.

        A node for every channel tells nothing of which channels belong together, and is taken for none.
        """
        keys = list(dict.fromkeys(zip(sockets, channels, strict=True)))
        said: dict[tuple[str, str], set[str]] = {key: set() for key in keys}
        for index, key in enumerate(zip(sockets, channels, strict=True)):
            for words in (self.stated[index], self.locator[index], self.bank[index]):
                node = words.controller or words.node
                if node is not None:
                    said[key].add(node)
                    break
        numbered: dict[tuple[str, str], str] = {}
        for socket in dict.fromkeys(sockets):
            mine = sorted((key for key in keys if key[0] == socket), key=lambda key: natural(key[1]))
            nodes = sorted({node for key in mine for node in said[key]}, key=natural)
            whole = all(len(said[key]) == 1 for key in mine) and len(nodes) < len(mine)
            for key in mine:
                numbered[key] = f"M{nodes.index(next(iter(said[key]))) + 1}" if whole else "M1"
        return numbered
