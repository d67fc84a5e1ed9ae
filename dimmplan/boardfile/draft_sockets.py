"""What the words of a machine's slots say, the questions that they leave open, and which slots belong to which socket.

A socket is told by words, letters, nodes or repeats; else slots are shared out, and that is asked.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from dimmplan.errors import InputError, Problem, did_you_mean
from dimmplan.inventory.locators import Words, merged, natural, read_words, stated_words
from dimmplan.model.inventory import Inventory
from dimmplan.model.module import Generation
from dimmplan.units import quoted

MOST_SOCKETS = 16
MOST_DEEP = 4
"""Slots that a channel of a board file may have."""
USUAL_DEEP = 3

AS_DRAFTED = "as-drafted"
"""The choice of a guess that has no other layout: it is right as it stands."""


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


class Questions:
    """What a machine leaves open, asked in order. ``answers`` maps what a question is about to one of its choices."""

    def __init__(self, answers: Mapping[str, str]) -> None:
        self.answers = answers
        self._asked: dict[str, Guess] = {}

    def ask(self, about: str, text: str, layouts: Mapping[str, str] | None = None) -> str:
        """The choice taken: the answer, or the first; without a right answer the guess stays open."""
        guess = Guess(about=about, text=text, chosen=next(iter(layouts or {}), AS_DRAFTED), layouts=layouts or {})
        self._asked[about] = guess
        return guess.chosen if self._is_open(guess) else self.answers[about]

    def _is_open(self, guess: Guess) -> bool:
        return self.answers.get(guess.about) not in guess.candidates

    @property
    def guesses(self) -> tuple[Guess, ...]:
        """What is not answered."""
        return tuple(filter(self._is_open, self._asked.values()))

    def check_answers(self) -> None:
        """Raise ``InputError`` for an answer to what was not asked, and for one that is no candidate."""
        problems = []
        for about, choice in self.answers.items():
            place, found, candidates = "", about, tuple(self._asked)
            if about in self._asked:
                place, found, candidates = about, choice, self._asked[about].candidates
                if found in candidates:
                    continue
            allowed = (
                " or ".join(candidates) if place else f"what this draft guesses: {', '.join(candidates) or 'nothing'}"
            )
            hint = did_you_mean(found, candidates)
            problems.append(Problem(file="--answer", place=place, found=quoted(found), allowed=allowed, hint=hint))
        if problems:
            raise InputError(problems)


Keys = tuple[str, ...]
"""A key for each slot: that of its socket, or of its channel."""


class Evidence:
    """The machine's processors and memory devices, and their words as read by the grammar."""

    def __init__(self, found: Inventory, names: Sequence[str], generation: Generation, questions: Questions) -> None:
        self.memory = found.memory
        self.names = names
        self.generation = generation
        self._questions = questions
        self.count = range(len(self.memory))
        self.processors = sorted(
            (each for each in found.processors if each.state != "cannot-tell"), key=lambda each: natural(each.locator)
        )
        listed = max(len(self.processors), found.processors_said or 0)
        self.listed = listed if listed <= MOST_SOCKETS else 0  # a virtual machine's
        self.stated = [stated_words(slot) for slot in self.memory]
        self.locator = [read_words(slot.locator) for slot in self.memory]
        self.bank = [read_words(slot.bank, is_bank=True) if not slot.place else Words() for slot in self.memory]
        self.both = list(zip(self.locator, self.bank, strict=True))
        self.one: Keys = ("1",) * len(self.memory)
        """All slots at one socket."""
        self.filled = [slot.state in ("filled", "hold") for slot in self.memory]

    def ask(self, about: str, text: str, choices: Mapping[str, Keys], *, only: Sequence[int] | None = None) -> Keys:
        """The keys that are taken: those of the first choice, or of the answer. ``only`` these slots are shown."""
        shown = self.count if only is None else only
        layouts = {name: self.draw([keys[index] for index in shown], shown) for name, keys in choices.items()}
        return choices[self._questions.ask(about, text, layouts)]

    def position(self, index: int) -> tuple[object, ...]:
        """Sorts slots by their place on a channel, then as they are listed."""
        for words in (self.stated[index], self.locator[index], self.bank[index]):
            position = words.position or (words.letter if words.number_first and words.number else words.number)
            if position is not None:
                return (natural(words.number), natural(position), index)
        return (natural(None), natural(None), index)

    def either(self, role: str) -> list[str | None]:
        """What each slot's locator says of a role, or else its bank."""
        return [getattr(mine, role) or getattr(bank, role) for mine, bank in self.both]

    def all_of(self, values: Iterable[str | None]) -> Keys | None:
        """The values where every slot has one."""
        known = tuple(values)
        return tuple(str(value) for value in known) if None not in known else None

    def draw(self, keys: Sequence[str], slots: Sequence[int]) -> str:
        """A layout in text: ``A: A1 A7 | B: A2 A8``."""
        groups: dict[str, list[str]] = {}
        for index, key in zip(slots, keys, strict=True):
            groups.setdefault(key, []).append(self.names[index])
        parts = [
            f"{key}: {' '.join(names[:4])}{' ... ' + names[-1] if len(names) > 4 else ''}"
            for key, names in sorted(groups.items(), key=lambda each: natural(each[0]))
        ]
        return " | ".join(parts[:12]) + (" | ..." if len(parts) > 12 else "")

    def filling_letters(self) -> bool:
        """True where a letter behind the number is the order of filling: each number has one letter (``3A``)."""
        pairs = {(words.number, words.letter) for words in self.locator if words.number_first}
        return bool(pairs) and len(pairs) == len({number for number, _ in pairs}) and len(pairs) > 2

    def processors_told(self) -> str:
        return "1 processor" if self.listed == 1 else f"{self.listed or 'no'} processors"

    def numbered(self, indexes: Iterable[int]) -> list[int]:
        """Slots in the order of their numbers; those without one in the order of the list."""
        mine = list(indexes)
        numbers = [self.locator[index].number or self.locator[index].position for index in mine]
        if None in numbers or len(set(numbers)) < len(numbers):
            return mine
        return sorted(mine, key=lambda index: natural(self.locator[index].number or self.locator[index].position))


def socket_keys(said: Evidence) -> Keys:
    """A socket's key for each memory device; best witness first, and a question for whatever is guessed."""
    for witness in (said.stated, said.locator, said.bank):
        keys = said.all_of(words.processor for words in witness)
        if keys is not None:
            _tell_missing(said, keys)
            return keys
    ways = (by_digits, _by_cards, _by_repeats, _by_letters, _by_node)
    return next((keys for way in ways if (keys := way(said)) is not None), None) or _by_sharing(said)


def _tell_missing(said: Evidence, keys: Sequence[str]) -> None:
    """Fewer sockets than processors listed are never drafted in silence."""
    some = len(set(keys))
    if some < said.listed:
        text = (
            f"the machine lists {said.processors_told()} and names slots of {some}; the others have none in this draft"
        )
        said.ask("sockets", text, {"as-named": tuple(keys)})


def by_digits(said: Evidence) -> Keys | None:
    """The first of three digits (``DIMM010``), where there are as many as processors."""
    digits = said.all_of(words.digits for words in said.locator)
    if digits is None or len(set(digits)) != len(digits) or max(each[2] for each in digits) > str(MOST_DEEP - 1):
        return None
    keys = tuple(each[0] for each in digits)
    return keys if len(set(keys)) == max(1, said.listed) else None


def _by_cards(said: Evidence) -> Keys | None:
    """Memory boards shared out in order over the processors, which is asked."""
    cards = said.all_of(said.either("card"))
    if cards is None or said.listed < 2:
        return None
    order = sorted(set(cards), key=natural)
    if len(order) % said.listed:
        return None
    share = len(order) // said.listed
    in_order = tuple(str(order.index(card) // share + 1) for card in cards)
    text = f"the slots lie on {len(order)} memory boards; are they divided in order between {said.processors_told()}?"
    return said.ask("sockets", text, {"in-order": in_order, "one": said.one})


def _repeats(said: Evidence) -> list[int]:
    """How often each device's words have been met before it, nodes aside; all 0 where no two say the same place."""
    met: dict[tuple[str | None, ...], int] = {}
    before: list[int] = []
    for mine, bank in said.both:
        words = merged(mine, bank)
        place = (words.card, words.channel, words.letter, words.number, words.position, words.digits)
        before.append(met.get(place, 0))
        met[place] = before[-1] + 1
    return before


def _by_repeats(said: Evidence) -> Keys | None:
    """Words that begin again for each processor: by their node where that tells them apart, else by the list."""
    before = _repeats(said)
    count = max(before) + 1
    if count == 1 or count > MOST_SOCKETS:
        return None
    if said.listed > 1 and count != said.listed:
        return None
    nodes = said.all_of(said.either("node"))
    by_node = nodes if nodes is not None and len(set(nodes)) == count else None
    if by_node is not None and said.listed == count:
        return by_node
    first = {"by-node": by_node} if by_node else {"by-repeat": tuple(str(number + 1) for number in before)}
    text = f"slot names are there up to {count} times; is each of them at another processor?"
    one = {"one": said.one}
    copied = before.count(1) * 2 < before.count(0)  # a name or two that firmware has copied
    return said.ask("sockets", text, one | first if copied else first | one)


def _by_letters(said: Evidence) -> Keys | None:
    """Letters that mean processors, or channels that run on over the processors (``ChannelA`` among them)."""
    keys = [words.channel if words.channel and words.channel.isalpha() else words.letter for words in said.locator]
    letters = said.all_of(keys)
    if letters is None or said.filling_letters():
        return None
    order = sorted(set(letters), key=lambda letter: (len(letter), letter))
    deep = max(letters.count(letter) for letter in order)
    plain = not any(words.channel or words.number_first for words in said.locator)
    if plain and (deep > USUAL_DEEP or len(order) == said.listed > 1):
        return _letter_is_processor(said, letters, order, deep)
    if said.listed > 1:
        return _letters_run_on(said, letters, order, plain=plain) if len(order) > said.listed else None
    most = 12 if said.generation is Generation.DDR5 else 8
    if len(order) == 1 or (said.listed and len(order) <= most):
        return said.one
    halves, one = {"in-order": _run_on(said, letters, order, 2)}, {"one": said.one}
    listed = said.processors_told()
    text = f"letters {order[0]} to {order[-1]}, and the machine lists {listed}; do all belong to one?"
    return said.ask("sockets", text, halves | one if len(order) > most else one | halves)


def _letter_is_processor(said: Evidence, letters: Keys, order: Sequence[str], deep: int) -> Keys:
    """A letter with more numbers than a channel has slots, or as many letters as processors."""
    if len(order) == max(1, said.listed) and not any(_repeats(said)):
        return letters
    choices = {"by-letter": letters}
    if deep <= MOST_DEEP and 1 < said.listed < len(order):
        choices["in-order"] = _run_on(said, letters, order, said.listed)
    text = (
        f"the machine lists {said.processors_told()}, the letters of the slots name {len(order)}; "
        "does a letter mean a processor?"
    )
    return said.ask("sockets", text, choices | {"one": said.one})


def _letters_run_on(said: Evidence, letters: Keys, order: Sequence[str], *, plain: bool) -> Keys:
    """Channel letters that run on over the processors: shared out in order, asked unless something confirms it."""
    run_on = _run_on(said, letters, order, said.listed)
    by_node = _nodes_of(said, said.listed)
    if by_node is not None and _follows(said, by_node, letters):
        return by_node
    if _fill_confirms(said, run_on, letters) or _partly_confirmed(said, run_on):
        return run_on
    text = f"letters {order[0]} to {order[-1]} run on over {said.listed} processors; are they divided in order?"
    choices = {"in-order": run_on, "one": said.one} | ({"by-letter": letters} if plain else {})
    return said.ask("sockets", text, choices)


def _partly_confirmed(said: Evidence, keys: Sequence[str]) -> bool:
    """True where the words of some slots name processors, and these are just the sockets of ``keys``."""
    for words in (said.either("processor"), [bank.node for bank in said.bank]):
        pairs = {(word, key) for word, key in zip(words, keys, strict=True) if word is not None}
        if len(pairs) == len({word for word, _ in pairs}) == len(set(keys)):
            return len({key for _, key in pairs}) == len(set(keys))
    return False


def _run_on(said: Evidence, letters: Sequence[str], order: Sequence[str], wanted: int) -> Keys:
    share = -(-len(order) // wanted)
    return tuple(str(order.index(letter) // share + 1) for letter in letters)


def _nodes_of(said: Evidence, wanted: int) -> Keys | None:
    """Sockets by the nodes that locators or banks name, shared out in order; of slots without one, by letter."""
    nodes = said.either("node")
    known = sorted({node for node in nodes if node is not None}, key=natural)
    if not known or len(known) % wanted or None in nodes:
        return None
    share = len(known) // wanted
    return tuple(str(known.index(str(node)) // share + 1) for node in nodes)


def _follows(said: Evidence, keys: Sequence[str], letters: Sequence[str]) -> bool:
    """True where every letter lies in one socket."""
    return len(set(zip(letters, keys, strict=True))) == len(set(letters))


def _fill_confirms(said: Evidence, keys: Sequence[str], letters: Sequence[str]) -> bool:
    """True where every socket is filled alike and within a socket not all letters are: two halves that match."""
    patterns: list[list[tuple[bool, ...]]] = []
    for socket in sorted(set(keys)):
        mine = [index for index in said.count if keys[index] == socket]
        order = sorted({letters[index] for index in mine}, key=lambda letter: (len(letter), letter))
        patterns.append([tuple(said.filled[i] for i in mine if letters[i] == letter) for letter in order])
    return all(each == patterns[0] for each in patterns) and len(set(patterns[0])) > 1


def _by_node(said: Evidence) -> Keys | None:
    """One node for each processor listed, or as many nodes for each."""
    return _nodes_of(said, said.listed) if said.listed > 1 else None


def _by_sharing(said: Evidence) -> Keys:
    """Nothing says it: one socket, or the list shared out in order, which is asked."""
    wanted = said.listed
    partly = said.either("processor")
    if any(partly):
        return _by_neighbours(said, partly)
    if wanted <= 1:
        return _one_or_nodes(said)
    unequal = len(said.memory) % wanted
    text = (
        f"the machine lists {wanted} processors and does not say which slots are whose; "
        f"the draft {'puts all at one socket' if unequal else 'shares them out in the order of the list'}"
    )
    if unequal:
        return said.ask("sockets", text, {"one": said.one})
    alternating = tuple(str(i % wanted + 1) for i in said.count)
    return said.ask("sockets", text, {"in-order": _in_order(said, wanted), "alternating": alternating, "one": said.one})


def _one_or_nodes(said: Evidence) -> Keys:
    """One socket; where words name several nodes these may be processors that the machine does not list."""
    nodes = said.all_of(said.either("node"))
    if nodes is None or not 1 < len(set(nodes)) <= MOST_SOCKETS:
        return said.one
    text = f"the machine lists {said.processors_told()}, the words name {len(set(nodes))} nodes; are these processors?"
    return said.ask("sockets", text, {"one": said.one, "by-node": nodes})


def _by_neighbours(said: Evidence, partly: Sequence[str | None]) -> Keys:
    """Slots without a word for the processor go with their letter, or with the slot before them; that is asked."""
    of_letter = {words.letter or "": key for words, key in zip(said.locator, partly, strict=True) if key}
    keys: list[str] = []
    last = next(key for key in partly if key)
    for words, key in zip(said.locator, partly, strict=True):
        last = key or (words.letter and of_letter.get(words.letter)) or last
        keys.append(last)
    _tell_missing(said, keys)
    text = "some slots have no word for their processor; the draft puts them with the slot before them"
    return said.ask("sockets", text, {"with-the-one-before": tuple(keys)})


def _in_order(said: Evidence, wanted: int) -> Keys:
    """The slots shared out by their numbers, or as they are listed where numbers begin again."""
    share = len(said.memory) // wanted
    order = said.numbered(said.count)
    if len({said.locator[index].number for index in said.count}) < len(said.memory):
        order = list(said.count)
    place = {index: rank for rank, index in enumerate(order)}
    return tuple(str(place[index] // share + 1) for index in said.count)
