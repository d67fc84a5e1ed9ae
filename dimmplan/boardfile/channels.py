"""Which slots of a socket share a channel: by words, by a grid of letters and numbers, or by a pairing that is asked.

How channels are numbered where only the socket is said is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from dimmplan.boardfile.evidence import MOST_DEEP, USUAL_DEEP, Evidence, Sharing
from dimmplan.inventory.locators import Words, merged
from dimmplan.model.module import Generation

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
    """A channel's key for each memory device of known sockets; ``order`` lists the sockets."""

    def __init__(self, evidence: Evidence, sockets: Sequence[str], order: Sequence[str], *, by_digits: bool) -> None:
        self.evidence = evidence
        self.sockets = sockets
        self.order = order
        self.by_digits = by_digits

    def keys(self) -> tuple[str, ...]:
        """A channel's key for each slot."""
        for words in (self.evidence.stated, self.evidence.locator):
            keys = self._named_channels(words)
            if keys is not None:
                return keys
        keys = self._pairs()
        if keys is not None and self._shallow(keys) and self._distinct(keys, self.evidence.locator):
            return keys
        words = [merged(bank, mine) for mine, bank in self.evidence.both]
        return self._named_channels(words) or self._digit_channels() or self._inherited() or self._numbered_channels()

    def _named_channels(self, words: Sequence[Words]) -> tuple[str, ...] | None:
        """Channels that words name, with their controller where a socket has a channel of that name on several."""
        channels = self.evidence.all_of(each.channel for each in words)
        if channels is None:
            return None
        nodes = [each.controller or each.node or each.card for each in words]
        places = set(zip(self.sockets, channels, nodes, strict=True))
        if len(places) > len({(socket, channel) for socket, channel, _ in places}):
            channels = tuple(f"{node or 0}.{channel}" for node, channel in zip(nodes, channels, strict=True))
        fits = self._shallow(channels) and self._distinct(channels, words)
        return channels if fits else None

    def _distinct(self, channels: Sequence[str], words: Sequence[Words]) -> bool:
        """True where no two slots have the same place: words that repeat say nothing."""
        positions = [each.position or (each.letter, each.number) for each in words]
        places = list(zip(self.sockets, channels, positions, strict=True))
        told = [place for place in places if place[2] != (None, None)]
        return len(set(told)) == len(told)

    def _shallow(self, keys: Sequence[str]) -> bool:
        """True where no channel is deeper than a channel can be."""
        both = list(zip(self.sockets, keys, strict=True))
        return max(both.count(each) for each in set(both)) <= MOST_DEEP

    def _pairs(self) -> tuple[str, ...] | None:
        """Letter and number: which of the two is the channel."""
        letters = self.evidence.all_of(words.letter for words in self.evidence.locator)
        if letters is None or len(set(zip(self.sockets, letters, strict=True))) == len(set(self.sockets)):
            return None  # one letter for each socket
        numbers = self.evidence.all_of(words.number for words in self.evidence.locator)
        cards = [words.card or "" for words in self.evidence.locator]
        if numbers is None:
            places = list(zip(self.sockets, cards, letters, strict=True))
            return letters if len(set(places)) == len(places) and len(set(letters)) > 1 else None
        if not all(words.number_first for words in self.evidence.locator):
            both = list(zip(self.sockets, letters, strict=True))
            deep = max(both.count(each) for each in set(both))
            return letters if deep <= USUAL_DEEP else None
        if self.evidence.filling_letters() or any(cards) or len(set(letters)) == 1:
            return None
        return self._grid(letters, numbers)

    def _grid(self, letters: tuple[str, ...], numbers: tuple[str, ...]) -> tuple[str, ...] | None:
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
            choices = [Sharing(names[keys], keys) for keys in (drafted, other)]
            return self.evidence.ask("channels", text, choices, lambda each: self.evidence.draw(each.keys)).keys
        return letters if more + listed > 0 else numbers

    @staticmethod
    def _stand_together(places: Sequence[tuple[str, str]]) -> bool:
        """True where each place is one run of the list, and some run is longer than one."""
        runs = [place for place, _ in groupby(places)]
        return len(runs) == len(set(runs)) < len(places)

    def _digit_channels(self) -> tuple[str, ...] | None:
        digits = self.evidence.all_of(words.digits for words in self.evidence.locator)
        return tuple(each[1] for each in digits) if digits and self.by_digits else None

    def _inherited(self) -> tuple[str, ...] | None:
        """Slots without any word, among others that name a channel: with the slot before them, which is asked."""
        cells = [
            words.channel
            or (words.letter if words.letter != socket and not words.number_first else None)
            or bank.channel
            for words, bank, socket in zip(self.evidence.locator, self.evidence.bank, self.sockets, strict=True)
        ]
        if not any(cells) or all(self.evidence.memory[i].locator for i in self.evidence.count if cells[i] is None):
            return None
        keys: list[str] = []
        last = next(key for key in cells if key)
        for key in cells:
            last = key or last
            keys.append(last)
        if not self._shallow(keys):
            return None
        text = "some slots have no name; the draft puts them on the channel of the slot before them"
        choices = [Sharing("with-the-one-before", tuple(keys))]
        return self.evidence.ask("channels", text, choices, lambda each: self.evidence.draw(each.keys)).keys

    def _numbered_channels(self) -> tuple[str, ...]:
        """Slots that are only numbered: the pairing that fits what is filled and how the list runs; always asked."""
        groups = [
            self.evidence.numbered([i for i in self.evidence.count if self.sockets[i] == socket])
            for socket in self.order
        ]
        choices = self._pairings(groups)
        by_letter = any(words.letter for words in self.evidence.locator)
        first = max(choices, key=lambda each: self._likelihood(each, groups, by_letter=by_letter))
        choices = [first, *(each for each in choices if each is not first)][:6]
        if len(choices) == 1 and len(groups[0]) == 1:
            return first.keys
        text = "the machine does not say which slots share a channel; look at the marks beside the slots"
        return self.evidence.ask("channels", text, choices, lambda each: self._drawn_pairing(each, groups[0])).keys

    def _drawn_pairing(self, pairing: Sharing, group: Sequence[int]) -> str:
        return self.evidence.draw([pairing.keys[index] for index in group], group)

    def _pairings(self, groups: Sequence[Sequence[int]]) -> list[Sharing]:
        """Ways to share the slots of every socket over as many channels: apart by a whole turn, or as neighbours."""
        sizes = [len(group) for group in groups]
        counts = [
            count for count in range(1, max(sizes) + 1) if all(count <= size <= count * USUAL_DEEP for size in sizes)
        ]
        usual = [each for each in _USUAL_CHANNELS[self.evidence.generation] if each in counts]
        choices: list[Sharing] = []
        for count in usual or [max(counts, default=max(sizes))]:
            for name in ("apart", "neighbours"):
                keys = [""] * len(self.evidence.memory)
                for group in groups:
                    deep = -(-len(group) // count)
                    for rank, index in enumerate(group):
                        keys[index] = str((rank % count if name == "apart" else rank // deep) + 1)
                if all(each.keys != tuple(keys) for each in choices):
                    whole = all(size % count == 0 for size in sizes)
                    if name == "apart" or whole:
                        choices.append(Sharing(f"{name}-{count}", tuple(keys)))
        return choices

    def _likelihood(self, pairing: Sharing, groups: Sequence[Sequence[int]], *, by_letter: bool) -> tuple[object, ...]:
        """Greater is likelier: what the list's order says, what is filled, what is usual."""
        name, _, count = pairing.choice.partition("-")
        number_first = any(words.number_first for words in self.evidence.locator)
        covered = [len({pairing.keys[i] for i in group if self.evidence.filled[i]}) for group in groups]
        could = sum(min([self.evidence.filled[i] for i in group].count(True), int(count)) for group in groups)
        telling = by_letter and not number_first or self._filled_from_the_first(groups)
        share = sum(covered) / could if telling and could > 0 else 0.0
        usual = (name == "apart") == (by_letter and not number_first)
        return (
            self._listed_together(pairing),
            self._fill_letters(pairing, groups),
            len({len(group) for group in groups}) > 1 or len(groups[0]) % int(count) == 0,
            round(share, 6),
            self._usual_count(int(count), groups),
            usual or self._filled_from_the_first(groups),
        )

    def _usual_count(self, count: int, groups: Sequence[Sequence[int]]) -> int:
        usual = list(_USUAL_CHANNELS[self.evidence.generation])
        sizes = sorted({len(group) for group in groups})
        if len(sizes) > 1 and count == sizes[0]:
            return 1  # unequal sockets have as many channels, mostly as many as the smaller has slots
        rates = [rate for slot in self.evidence.memory for rate in (slot.rated_mts, slot.configured_mts) if rate]
        if self.evidence.generation is Generation.DDR4 and rates:
            fastest = max(rates)
            likeliest = 4 if fastest <= _SLOW_DDR4 else 8 if fastest >= _FAST_DDR4 else 6
            usual = [likeliest, *(each for each in usual if each != likeliest)]
        elif self.evidence.generation is Generation.DDR4 and len(groups[0]) % 6:
            usual = [8, 4, 6, 2, 3, 1] if len(groups[0]) > 8 else [4, 8, 6, 2, 3, 1]
        return -usual.index(count) if count in usual else -len(usual)

    def _filled_from_the_first(self, groups: Sequence[Sequence[int]]) -> bool:
        """True where numbers are the order of filling: the first two or more of every socket in use, and no other."""
        runs = [[self.evidence.filled[i] for i in group] for group in groups]
        used = [run for run in runs if any(run)]
        return bool(used) and all(run == sorted(run, reverse=True) and 1 < sum(run) < len(run) for run in used)

    def _listed_together(self, pairing: Sharing) -> bool:
        """True where the list is not in the order of the numbers, and slots of a channel stand together in it."""
        by_socket: dict[str, list[int]] = {}
        for index in self.evidence.count:
            by_socket.setdefault(self.sockets[index], []).append(index)
        if all(indexes == self.evidence.numbered(indexes) for indexes in by_socket.values()):
            return False
        runs = [[pairing.keys[index] for index in indexes] for indexes in by_socket.values()]
        return all({run.count(key) for key in run} == {2} and len(set(run)) == len(list(groupby(run))) for run in runs)

    def _fill_letters(self, pairing: Sharing, groups: Sequence[Sequence[int]]) -> bool:
        """True where letters are the order of filling (``3A`` first) and the first of them share no channel."""
        if not all(words.number_first and words.letter for words in self.evidence.locator):
            return False
        for group in groups:
            by_letter = sorted(group, key=lambda index: str(self.evidence.locator[index].letter))
            first = by_letter[: len({pairing.keys[index] for index in group})]
            if len({pairing.keys[index] for index in first}) < len(first):
                return False
        return True
