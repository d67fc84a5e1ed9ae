"""Which slots belong to which socket: by words, letters, nodes, repeats, or shared out and asked."""

from __future__ import annotations

from collections.abc import Sequence

from dimmplan.boardfile.draft_evidence import MOST_DEEP, MOST_SOCKETS, USUAL_DEEP, Evidence, Keys
from dimmplan.inventory.locators import merged, natural
from dimmplan.model.module import Generation


class Sockets:
    """A socket's key for each memory device; best witness first, and a question for whatever is guessed."""

    def __init__(self, said: Evidence) -> None:
        self.said = said
        self.one: Keys = ("1",) * len(said.memory)
        """All slots at one socket."""

    def keys(self) -> Keys:
        """A socket's key for each slot."""
        for words in (
            [words.processor for words in self.said.stated],
            [words.processor for words in self.said.locator],
            [words.processor for words in self.said.bank],
        ):
            keys = self.said.all_of(words)
            if keys is not None:
                self._tell_missing(keys)
                return keys
        ways = (self.by_digits, self._by_cards, self._by_repeats, self._by_letters, self._by_node)
        return next((keys for way in ways if (keys := way()) is not None), None) or self._by_sharing()

    def _tell_missing(self, keys: Sequence[str]) -> None:
        """Fewer sockets than processors listed are never drafted in silence."""
        some = len(set(keys))
        if some < self.said.listed:
            text = (
                f"the machine lists {self.said.processors_told()} and names slots of {some}; "
                f"the others have none in this draft"
            )
            self.said.ask("sockets", text, {"as-named": tuple(keys)})

    def by_digits(self) -> Keys | None:
        digits = self.said.all_of(words.digits for words in self.said.locator)
        if digits is None or len(set(digits)) != len(digits) or max(each[2] for each in digits) > str(MOST_DEEP - 1):
            return None
        keys = tuple(each[0] for each in digits)
        return keys if len(set(keys)) == max(1, self.said.listed) else None

    def _by_cards(self) -> Keys | None:
        """Memory boards shared out in order over the processors, which is asked."""
        cards = self.said.all_of(mine.card or bank.card for mine, bank in self.said.both)
        if cards is None or self.said.listed < 2:
            return None
        order = sorted(set(cards), key=natural)
        if len(order) % self.said.listed:
            return None
        share = len(order) // self.said.listed
        in_order = tuple(str(order.index(card) // share + 1) for card in cards)
        text = (
            f"the slots lie on {len(order)} memory boards; "
            f"are they divided in order between {self.said.processors_told()}?"
        )
        return self.said.ask("sockets", text, {"in-order": in_order, "one": self.one})

    def _repeats(self) -> list[int]:
        """How often each device's words have been met before it, nodes aside; all 0 where no two say the same place."""
        met: dict[tuple[str | None, ...], int] = {}
        before: list[int] = []
        for mine, bank in self.said.both:
            words = merged(mine, bank)
            place = (words.card, words.channel, words.letter, words.number, words.position, words.digits)
            before.append(met.get(place, 0))
            met[place] = before[-1] + 1
        return before

    def _by_repeats(self) -> Keys | None:
        """Words that begin again for each processor: by their node where that tells them apart, else by the list."""
        before = self._repeats()
        count = max(before) + 1
        if count == 1 or count > MOST_SOCKETS:
            return None
        if self.said.listed > 1 and count != self.said.listed:
            return None
        nodes = self.said.all_of(mine.node or bank.node for mine, bank in self.said.both)
        by_node = nodes if nodes is not None and len(set(nodes)) == count else None
        if by_node is not None and self.said.listed == count:
            return by_node
        first = {"by-node": by_node} if by_node else {"by-repeat": tuple(str(number + 1) for number in before)}
        text = f"slot names are there up to {count} times; is each of them at another processor?"
        one = {"one": self.one}
        copied = before.count(1) * 2 < before.count(0)  # a name or two that firmware has copied
        return self.said.ask("sockets", text, one | first if copied else first | one)

    def _by_letters(self) -> Keys | None:
        """Letters that mean processors, or channels that run on over the processors (``ChannelA`` among them)."""
        keys = [
            words.channel if words.channel and words.channel.isalpha() else words.letter for words in self.said.locator
        ]
        letters = self.said.all_of(keys)
        if letters is None or self.said.filling_letters():
            return None
        order = sorted(set(letters), key=lambda letter: (len(letter), letter))
        deep = max(letters.count(letter) for letter in order)
        plain = not any(words.channel or words.number_first for words in self.said.locator)
        if plain and (deep > USUAL_DEEP or len(order) == self.said.listed > 1):
            return self._letter_is_processor(letters, order, deep)
        if self.said.listed > 1:
            return self._letters_run_on(letters, order, plain=plain) if len(order) > self.said.listed else None
        most = 12 if self.said.generation is Generation.DDR5 else 8
        if len(order) == 1 or (self.said.listed and len(order) <= most):
            return self.one
        halves, one = {"in-order": self._run_on(letters, order, 2)}, {"one": self.one}
        listed = self.said.processors_told()
        text = f"letters {order[0]} to {order[-1]}, and the machine lists {listed}; do all belong to one?"
        return self.said.ask("sockets", text, halves | one if len(order) > most else one | halves)

    def _letter_is_processor(self, letters: Keys, order: Sequence[str], deep: int) -> Keys:
        """A letter with more numbers than a channel has slots, or as many letters as processors."""
        if len(order) == max(1, self.said.listed) and not any(self._repeats()):
            return letters
        choices = {"by-letter": letters}
        if deep <= MOST_DEEP and 1 < self.said.listed < len(order):
            choices["in-order"] = self._run_on(letters, order, self.said.listed)
        text = (
            f"the machine lists {self.said.processors_told()}, the letters of the slots name {len(order)}; "
            "does a letter mean a processor?"
        )
        return self.said.ask("sockets", text, choices | {"one": self.one})

    def _letters_run_on(self, letters: Keys, order: Sequence[str], *, plain: bool) -> Keys:
        """Channel letters that run on over the processors: shared out in order, asked unless something confirms it."""
        run_on = self._run_on(letters, order, self.said.listed)
        by_node = self._nodes_of(self.said.listed)
        if by_node is not None and self._follows(by_node, letters):
            return by_node
        if self._fill_confirms(run_on, letters) or self._partly_confirmed(run_on):
            return run_on
        text = (
            f"letters {order[0]} to {order[-1]} run on over {self.said.listed} processors; are they divided in order?"
        )
        choices = {"in-order": run_on, "one": self.one} | ({"by-letter": letters} if plain else {})
        return self.said.ask("sockets", text, choices)

    def _partly_confirmed(self, keys: Sequence[str]) -> bool:
        """True where the words of some slots name processors, and these are just the sockets of ``keys``."""
        for words in (
            [mine.processor or bank.processor for mine, bank in self.said.both],
            [bank.node for bank in self.said.bank],
        ):
            pairs = {(word, key) for word, key in zip(words, keys, strict=True) if word is not None}
            if len(pairs) == len({word for word, _ in pairs}) == len(set(keys)):
                return len({key for _, key in pairs}) == len(set(keys))
        return False

    def _run_on(self, letters: Sequence[str], order: Sequence[str], wanted: int) -> Keys:
        share = -(-len(order) // wanted)
        return tuple(str(order.index(letter) // share + 1) for letter in letters)

    def _nodes_of(self, wanted: int) -> Keys | None:
        """Sockets by the nodes that locators or banks name, shared out in order; of slots without one, by letter."""
        nodes = [mine.node or bank.node for mine, bank in self.said.both]
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
            mine = [index for index in self.said.count if keys[index] == socket]
            order = sorted({letters[index] for index in mine}, key=lambda letter: (len(letter), letter))
            patterns.append([tuple(self.said.filled[i] for i in mine if letters[i] == letter) for letter in order])
        return all(each == patterns[0] for each in patterns) and len(set(patterns[0])) > 1

    def _by_node(self) -> Keys | None:
        """One node for each processor listed, or as many nodes for each."""
        return self._nodes_of(self.said.listed) if self.said.listed > 1 else None

    def _by_sharing(self) -> Keys:
        """Nothing says it: one socket, or the list shared out in order, which is asked."""
        wanted = self.said.listed
        partly = [mine.processor or bank.processor for mine, bank in self.said.both]
        if any(partly):
            return self._by_neighbours(partly)
        if wanted <= 1:
            return self._one_or_nodes()
        choices = {
            "in-order": self._in_order(wanted),
            "alternating": tuple(str(i % wanted + 1) for i in self.said.count),
        }
        unequal = len(self.said.memory) % wanted
        text = (
            f"the machine lists {wanted} processors and does not say which slots are whose; "
            f"the draft {'puts all at one socket' if unequal else 'shares them out in the order of the list'}"
        )
        return self.said.ask("sockets", text, ({} if unequal else choices) | {"one": self.one})

    def _one_or_nodes(self) -> Keys:
        """One socket; where words name several nodes these may be processors that the machine does not list."""
        nodes = self.said.all_of(mine.node or bank.node for mine, bank in self.said.both)
        if nodes is None or not 1 < len(set(nodes)) <= MOST_SOCKETS:
            return self.one
        text = (
            f"the machine lists {self.said.processors_told()}, the words name {len(set(nodes))} nodes; "
            f"are these processors?"
        )
        return self.said.ask("sockets", text, {"one": self.one, "by-node": nodes})

    def _by_neighbours(self, partly: Sequence[str | None]) -> Keys:
        """Slots without a word for the processor go with their letter, or with the slot before them; that is asked."""
        of_letter = {words.letter or "": key for words, key in zip(self.said.locator, partly, strict=True) if key}
        keys: list[str] = []
        last = next(key for key in partly if key)
        for words, key in zip(self.said.locator, partly, strict=True):
            last = key or (words.letter and of_letter.get(words.letter)) or last
            keys.append(last)
        self._tell_missing(keys)
        text = "some slots have no word for their processor; the draft puts them with the slot before them"
        return self.said.ask("sockets", text, {"with-the-one-before": tuple(keys)})

    def _in_order(self, wanted: int) -> Keys:
        """The slots shared out by their numbers, or as they are listed where numbers begin again."""
        share = len(self.said.memory) // wanted
        order = self.said.numbered(self.said.count)
        if len({self.said.locator[index].number for index in self.said.count}) < len(self.said.memory):
            order = list(self.said.count)
        place = {index: rank for rank, index in enumerate(order)}
        return tuple(str(place[index] // share + 1) for index in self.said.count)
