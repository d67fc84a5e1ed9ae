"""Which slots belong to which socket: by words, letters, nodes, repeats, or shared out and asked."""

from __future__ import annotations

from collections.abc import Sequence

from dimmplan.boardfile.evidence import MOST_DEEP, MOST_SOCKETS, USUAL_DEEP, Evidence, Guess, Sharing
from dimmplan.inventory.locators import merged, natural
from dimmplan.model.module import Generation


class Sockets:
    """A socket's key for each memory device; best witness first, and a question for whatever is guessed."""

    def __init__(self, evidence: Evidence) -> None:
        self.evidence = evidence

    def keys(self) -> tuple[str, ...]:
        """A socket's key for each slot."""
        for words in (
            [words.processor for words in self.evidence.stated],
            [words.processor for words in self.evidence.locator],
            [words.processor for words in self.evidence.bank],
        ):
            keys = self.evidence.all_of(words)
            if keys is not None:
                self._tell_missing(keys)
                return keys
        ways = (self.by_digits, self._by_cards, self._by_repeats, self._by_letters, self._by_node)
        return next((keys for way in ways if (keys := way()) is not None), None) or self._by_sharing()

    def _tell_missing(self, keys: Sequence[str]) -> None:
        """Fewer sockets than processors listed are never drafted in silence."""
        some = len(set(keys))
        if some < self.evidence.listed:
            text = (
                f"the machine lists {self.evidence.processors_told()} and names slots of {some}; "
                f"the others have none in this draft"
            )
            layouts = {"as-named": self.evidence.draw(keys)}
            self.evidence.asked.append(Guess(about="sockets", text=text, chosen="as-named", layouts=layouts))

    def by_digits(self) -> tuple[str, ...] | None:
        digits = self.evidence.all_of(words.digits for words in self.evidence.locator)
        if digits is None or len(set(digits)) != len(digits) or max(each[2] for each in digits) > str(MOST_DEEP - 1):
            return None
        keys = tuple(each[0] for each in digits)
        return keys if len(set(keys)) == max(1, self.evidence.listed) else None

    def _by_cards(self) -> tuple[str, ...] | None:
        """Memory boards shared out in order over the processors, which is asked."""
        cards = self.evidence.all_of(mine.card or bank.card for mine, bank in self.evidence.both)
        if cards is None or self.evidence.listed < 2:
            return None
        order = sorted(set(cards), key=natural)
        if len(order) % self.evidence.listed:
            return None
        share = len(order) // self.evidence.listed
        in_order = Sharing("in-order", tuple(str(order.index(card) // share + 1) for card in cards))
        text = (
            f"the slots lie on {len(order)} memory boards; "
            f"are they divided in order between {self.evidence.processors_told()}?"
        )
        choices = [in_order, Sharing("one", ("1",) * len(cards))]
        return self.evidence.ask("sockets", text, choices, lambda each: self.evidence.draw(each.keys)).keys

    def _repeats(self) -> list[int]:
        """How often each device's words have been met before it, nodes aside; all 0 where no two say the same place."""
        met: dict[tuple[str | None, ...], int] = {}
        before: list[int] = []
        for mine, bank in self.evidence.both:
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
        if self.evidence.listed > 1 and count != self.evidence.listed:
            return None
        nodes = self.evidence.all_of(mine.node or bank.node for mine, bank in self.evidence.both)
        by_node = nodes if nodes is not None and len(set(nodes)) == count else None
        if by_node is not None and self.evidence.listed == count:
            return by_node
        first = Sharing("by-node", by_node) if by_node else Sharing("by-repeat", tuple(str(n + 1) for n in before))
        text = f"slot names are there up to {count} times; is each of them at another processor?"
        choices = [first, Sharing("one", ("1",) * len(before))]
        if before.count(1) * 2 < before.count(0):
            choices.reverse()  # a name or two that firmware has copied
        return self.evidence.ask("sockets", text, choices, lambda each: self.evidence.draw(each.keys)).keys

    def _by_letters(self) -> tuple[str, ...] | None:
        """Letters that mean processors, or channels that run on over the processors (``ChannelA`` among them)."""
        keys = [
            words.channel if words.channel and words.channel.isalpha() else words.letter
            for words in self.evidence.locator
        ]
        letters = self.evidence.all_of(keys)
        if letters is None or self.evidence.filling_letters():
            return None
        order = sorted(set(letters), key=lambda letter: (len(letter), letter))
        deep = max(letters.count(letter) for letter in order)
        plain = not any(words.channel or words.number_first for words in self.evidence.locator)
        if plain and (deep > USUAL_DEEP or len(order) == self.evidence.listed > 1):
            return self._letter_is_processor(letters, order, deep)
        if self.evidence.listed > 1:
            return self._letters_run_on(letters, order, plain=plain) if len(order) > self.evidence.listed else None
        one = Sharing("one", ("1",) * len(letters))
        most = 12 if self.evidence.generation is Generation.DDR5 else 8
        if len(order) == 1 or (self.evidence.listed and len(order) <= most):
            return one.keys
        halves = self._run_on(letters, order, 2)
        listed = self.evidence.processors_told()
        text = f"letters {order[0]} to {order[-1]}, and the machine lists {listed}; do all belong to one?"
        choices = [halves, one] if len(order) > most else [one, halves]
        return self.evidence.ask("sockets", text, choices, lambda each: self.evidence.draw(each.keys)).keys

    def _letter_is_processor(self, letters: tuple[str, ...], order: Sequence[str], deep: int) -> tuple[str, ...]:
        """A letter with more numbers than a channel has slots, or as many letters as processors."""
        if len(order) == max(1, self.evidence.listed) and not any(self._repeats()):
            return letters
        choices = [Sharing("by-letter", letters)]
        if deep <= MOST_DEEP and 1 < self.evidence.listed < len(order):
            choices.append(self._run_on(letters, order, self.evidence.listed))
        choices.append(Sharing("one", ("1",) * len(letters)))
        text = (
            f"the machine lists {self.evidence.processors_told()}, the letters of the slots name {len(order)}; "
            "does a letter mean a processor?"
        )
        return self.evidence.ask("sockets", text, choices, lambda each: self.evidence.draw(each.keys)).keys

    def _letters_run_on(self, letters: tuple[str, ...], order: Sequence[str], *, plain: bool) -> tuple[str, ...]:
        """Channel letters that run on over the processors: shared out in order, asked unless something confirms it."""
        run_on = self._run_on(letters, order, self.evidence.listed)
        by_node = self._nodes_of(self.evidence.listed)
        if by_node is not None and self._follows(by_node, letters):
            return by_node
        if self._fill_confirms(run_on.keys, letters) or self._partly_confirmed(run_on.keys):
            return run_on.keys
        text = (
            f"letters {order[0]} to {order[-1]} run on over {self.evidence.listed} processors; "
            "are they divided in order?"
        )
        choices = [run_on, Sharing("one", ("1",) * len(letters)), *([Sharing("by-letter", letters)] if plain else [])]
        return self.evidence.ask("sockets", text, choices, lambda each: self.evidence.draw(each.keys)).keys

    def _partly_confirmed(self, keys: Sequence[str]) -> bool:
        """True where the words of some slots name processors, and these are just the sockets of ``keys``."""
        for words in (
            [mine.processor or bank.processor for mine, bank in self.evidence.both],
            [bank.node for bank in self.evidence.bank],
        ):
            pairs = {(word, key) for word, key in zip(words, keys, strict=True) if word is not None}
            if len(pairs) == len({word for word, _ in pairs}) == len(set(keys)):
                return len({key for _, key in pairs}) == len(set(keys))
        return False

    def _run_on(self, letters: Sequence[str], order: Sequence[str], wanted: int) -> Sharing:
        share = -(-len(order) // wanted)
        return Sharing("in-order", tuple(str(order.index(letter) // share + 1) for letter in letters))

    def _nodes_of(self, wanted: int) -> tuple[str, ...] | None:
        """Sockets by the nodes that locators or banks name, shared out in order; of slots without one, by letter."""
        nodes = [mine.node or bank.node for mine, bank in self.evidence.both]
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
            mine = [index for index in self.evidence.count if keys[index] == socket]
            order = sorted({letters[index] for index in mine}, key=lambda letter: (len(letter), letter))
            patterns.append([tuple(self.evidence.filled[i] for i in mine if letters[i] == letter) for letter in order])
        return all(each == patterns[0] for each in patterns) and len(set(patterns[0])) > 1

    def _by_node(self) -> tuple[str, ...] | None:
        """One node for each processor listed, or as many nodes for each."""
        return self._nodes_of(self.evidence.listed) if self.evidence.listed > 1 else None

    def _by_sharing(self) -> tuple[str, ...]:
        """Nothing says it: one socket, or the list shared out in order, which is asked."""
        wanted = self.evidence.listed
        partly = [mine.processor or bank.processor for mine, bank in self.evidence.both]
        if any(partly):
            return self._by_neighbours(partly)
        everything = ("1",) * len(self.evidence.memory)
        if wanted <= 1:
            return self._one_or_nodes(everything)
        one = Sharing("one", everything)
        orders = (
            [one] if len(self.evidence.memory) % wanted else [self._in_order(wanted), self._alternating(wanted), one]
        )
        text = (
            f"the machine lists {wanted} processors and does not say which slots are whose; "
            f"the draft {'puts all at one socket' if orders[0] is one else 'shares them out in the order of the list'}"
        )
        return self.evidence.ask("sockets", text, orders, lambda each: self.evidence.draw(each.keys)).keys

    def _one_or_nodes(self, everything: tuple[str, ...]) -> tuple[str, ...]:
        """One socket; where words name several nodes these may be processors that the machine does not list."""
        nodes = self.evidence.all_of(mine.node or bank.node for mine, bank in self.evidence.both)
        if nodes is None or not 1 < len(set(nodes)) <= MOST_SOCKETS:
            return everything
        text = (
            f"the machine lists {self.evidence.processors_told()}, the words name {len(set(nodes))} nodes; "
            f"are these processors?"
        )
        choices = [Sharing("one", everything), Sharing("by-node", nodes)]
        return self.evidence.ask("sockets", text, choices, lambda each: self.evidence.draw(each.keys)).keys

    def _by_neighbours(self, partly: Sequence[str | None]) -> tuple[str, ...]:
        """Slots without a word for the processor go with their letter, or with the slot before them; that is asked."""
        of_letter = {words.letter or "": key for words, key in zip(self.evidence.locator, partly, strict=True) if key}
        keys: list[str] = []
        last = next(key for key in partly if key)
        for words, key in zip(self.evidence.locator, partly, strict=True):
            last = key or (words.letter and of_letter.get(words.letter)) or last
            keys.append(last)
        self._tell_missing(keys)
        text = "some slots have no word for their processor; the draft puts them with the slot before them"
        choices = [Sharing("with-the-one-before", tuple(keys))]
        return self.evidence.ask("sockets", text, choices, lambda each: self.evidence.draw(each.keys)).keys

    def _in_order(self, wanted: int) -> Sharing:
        share = len(self.evidence.memory) // wanted
        order = self.evidence.numbered(self.evidence.count)
        if len({self.evidence.locator[index].number for index in self.evidence.count}) < len(self.evidence.memory):
            order = list(self.evidence.count)  # numbers begin again: the list's own order tells more
        place = {index: rank for rank, index in enumerate(order)}
        return Sharing("in-order", tuple(str(place[index] // share + 1) for index in self.evidence.count))

    def _alternating(self, wanted: int) -> Sharing:
        return Sharing("alternating", tuple(str(index % wanted + 1) for index in self.evidence.count))
