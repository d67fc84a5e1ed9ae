"""Population questions as callers ask them: the command that answers, and the facts that the answer must hold.

A question speaks of a plan by its name in ``PLANS``; the command carries it as the code that a caller reads out. The
facts are dotted paths into the JSON answer with their values, computed from the board's rows, from the rules or from
the figures of a placement, never from the answer itself. A callable value is a test of what stands there.

Run: python -m tests.why.questions, which remakes the page of the docs.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from dimmplan.boardfile.read import load_board
from dimmplan.figures import PlacementFigures, placement_figures
from dimmplan.model.board import Board
from dimmplan.model.module import Module
from dimmplan.model.placement import Placement
from dimmplan.planner import ask, plan, read_module
from dimmplan.rules import AcceptRow, AlikeRow, CeilingRow, ChannelOrderRow, FittedRow, MixRow, NoteRow, judge
from dimmplan.units import decimal

PLANS: dict[str, tuple[str, str, dict[str, Any]]] = {
    "ten-six-full": ("skerry-16", "512GiB", {"modules": ["32GiB"]}),
    "ten-six-even": ("skerry-16", "384GiB", {"modules": ["32GiB"]}),
    "ten-six-slow": ("skerry-16", "384GiB", {"modules": ["32GiB"], "processor": "tern-12"}),
    "ten-alone": ("skerry-16", "160GiB", {"modules": ["32GiB"], "fitted": "NEAR"}),
    "eleven": ("strand-12", "704GiB", {"modules": ["64GiB"]}),
    "slow-labels": ("strand-12", "1536GiB", {"modules": ["128GiB"]}),
    "four-sockets": ("causeway-48", "768GiB", {"modules": ["32GiB"]}),
    "mirrored": ("lagoon-32", "256GiB", {"modules": ["32GiB"], "mode": "mirrored"}),
    "own-rates": ("machair-20", "640GiB", {"modules": ["32GiB"]}),
    "four-slots": ("marram-4", "16GiB", {"modules": ["16GiB"]}),
    "four-slots-two": ("marram-4", "64GiB", {"modules": ["32GiB"]}),
    "quay-even": ("quay-24", "384GiB", {"modules": ["32GiB"]}),
    "three-deep": ("groyne-24", "256GiB", {"modules": ["16GiB"]}),
    "quads": ("groyne-24", "512GiB", {"modules": ["32GiB"]}),
    "pairs": ("tombolo-32", "256GiB", {"modules": ["32GiB"]}),
    "eight-sockets": ("firth-96", "1536GiB", {"modules": ["32GiB"]}),
    "salt": ("saltern-24", "384GiB", {"modules": ["32GiB"]}),
}


@dataclass(frozen=True)
class World:
    """A plan with its board, and what can be computed of it apart from the answers."""

    board: Board
    placement: Placement | None = None

    @property
    def held(self) -> dict[str, Module | None]:
        """What the slots of the plan hold."""
        assert self.placement is not None
        return dict(self.placement.slots)

    @property
    def module(self) -> Module:
        """The plan's first type."""
        assert self.placement is not None
        return self.placement.types[0]

    def size(self, text: str) -> Module:
        """A module by its size or label."""
        return read_module(self.board, text)

    def having(self, changes: Mapping[str, Module | None]) -> dict[str, Module | None]:
        """The plan with some slots changed."""
        return self.held | dict(changes)

    def figures(self, changes: Mapping[str, Module | None] | None = None) -> PlacementFigures:
        """The figures of the plan, or of the plan changed."""
        assert self.placement is not None
        option = self.board.processor(self.placement.processor)
        content = self.having(changes or {})
        return placement_figures(self.board, option, self.placement.fitted, content, mode=self.placement.mode)

    def sweep(self, changes: Mapping[str, Module | None] | None = None) -> float:
        """System sweep in GB/s as it is printed."""
        return decimal(self.figures(changes).balanced_sweep_gb_s, 1)

    def broken(self, changes: Mapping[str, Module | None], severity: str = "error") -> set[str]:
        """Rows of a severity that the changed plan breaks."""
        assert self.placement is not None
        option = self.board.processor(self.placement.processor)
        found = judge(self.board, option, self.placement.fitted, self.having(changes))
        return {breach.rule for breach in found if breach.severity == severity}

    def filled(self) -> list[str]:
        """The slots that the plan fills."""
        return [slot for slot, module in self.held.items() if module]

    def place(self, number: int, *sockets: str) -> list[str]:
        """The slots of that place on every channel that has one, at those sockets or at all."""
        chosen = [channel for channel in self.board.channels if not sockets or channel.socket in sockets]
        return [channel.slots[number] for channel in chosen if len(channel.slots) > number]

    def row(self, kind: type[Any], **said: Any) -> Any:
        """The row of a kind that says this."""
        rows = [row for row in self.board.rules if isinstance(row, kind)]
        (found,) = [row for row in rows if all(getattr(row, name) == value for name, value in said.items())]
        return found

    def rate(self, row_id: str) -> int:
        """What a rate row gives."""
        mts = next(row.mts for row in self.board.rates if row.id == row_id)
        assert mts != "none"
        return mts


@functools.cache
def world_of(name: str) -> World:
    """The world of a named plan, or of a board by its id."""
    if name not in PLANS:
        return World(load_board(name))
    board_id, capacity, options = PLANS[name]
    board = load_board(board_id)
    return World(board, plan(board, ask(board, capacity, **options), alternatives=False).placement)


Facts = Callable[[World], dict[str, Any]]


@dataclass(frozen=True)
class Question:
    """What a caller asks, about which plan or board, the command without the plan's code, its status and its facts.

    ``shown`` is the line at which the page of the docs begins to show the answer, where it is not the first.
    """

    text: str
    about: str
    command: tuple[str, ...]
    facts: Facts
    status: int = 0
    shown: str = ""


def rules_of(found: Iterable[Mapping[str, Any]]) -> set[str]:
    """Rule ids of findings in an answer."""
    return {each["rule"] for each in found}


def breaks(rules: Iterable[str]) -> Callable[[Any], bool]:
    """A test that findings name exactly these rules."""
    wanted = set(rules)
    return lambda found: rules_of(found) == wanted


def holds(*parts: str) -> Callable[[Any], bool]:
    """A test that sentences or rule lines say all of these."""
    return lambda found: all(any(part in each["text"] for each in found) for part in parts)


def group(answer: Any, group_id: str) -> Any:
    """One group of a rules answer."""
    return next(each for each in answer["groups"] if each["id"] == group_id)


def _pair_breaks(field: str) -> Facts:
    return lambda w: {
        "allowed": False,
        "pairs.0.broken": breaks([w.row(MixRow, field=field).id]),
        "pairs.0.broken.0.source": w.row(MixRow, field=field).source,
    }


QUESTIONS: tuple[Question, ...] = (
    # -- why is this slot so ------------------------------------------------------------------------------------------
    Question(
        "Why is there a second module in K2? I thought one on each channel was best.",
        "ten-six-full",
        ("why", "K2"),
        lambda w: {
            "slots.0.kind": "stacked",
            "slots.0.tried.0.parted.by": "below",
            "slots.0.tried.0.parted.plan": w.figures().usable_gib,
            "slots.0.tried.0.parted.alternative": w.figures({"K2": None}).usable_gib,
        },
    ),
    Question(
        "Why must K1 be filled, can it not be only K2?",
        "ten-six-full",
        ("why", "K1"),
        lambda w: {
            "slots.0.kind": "first-in-channel",
            "slots.0.tried.0.parted.broken": breaks(w.broken({"K1": None})),
        },
    ),
    Question(
        "Why is T1 filled, and not a second slot on the other side?",
        "ten-six-even",
        ("why", "T1"),
        lambda w: {
            "slots.0.kind": "equal-share",
            "slots.0.tried.1.other": lambda slot: slot in w.place(1, "NEAR"),
            "slots.0.tried.1.figures.balanced_sweep_gb_s": w.sweep({"T1": None, "K2": w.module}),
        },
    ),
    Question(
        "Why is K2 empty? There is room.",
        "ten-six-even",
        ("why", "K2"),
        lambda w: {
            "slots.0.kind": "lowers-rate",
            "slots.0.tried.0.figures.rate_mts": w.rate("two-per-channel"),
            "slots.0.tried.0.parted.alternative": w.module.capacity_gib,
            "slots.0.tried.1.parted.name": "balanced_sweep",
        },
    ),
    Question(
        "Five of six slots are filled: why is it R1 that stays empty?",
        "ten-alone",
        ("why", "R1"),
        lambda w: {
            "slots.0.kind": "exceeds-request",
            "slots.0.tried.0.figures.balanced_sweep_gb_s": w.sweep({"R1": w.module}),
            "slots.0.tried.1.parted.by": "board-order",
        },
    ),
    Question(
        "The sheet says that T1 is dead. Is the slot broken?",
        "ten-alone",
        ("why", "T1"),
        lambda w: {
            "slots.0.kind": "dead",
            "slots.0.said.0.rule": w.row(FittedRow).id,
            "slots.0.said.0.source": w.row(FittedRow).source,
        },
    ),
    Question(
        "One of twelve slots is empty. Would the twelfth make a difference?",
        "eleven",
        ("why", "lamp"),
        lambda w: {
            "slots.0.state": "empty",
            "slots.0.tried.0.figures.balanced_sweep_gb_s": w.sweep({"lamp": w.module}),
            "slots.0.tried.0.figures.worst_share": 1.0,
        },
    ),
    Question(
        "Why is the single module in rush and not beside the socket?",
        "four-slots",
        ("why", "rush"),
        lambda w: {
            "slots.0.tried.1.parted.name": "advised_broken",
            "slots.0.tried.1.parted.alternative": len(w.broken({"rush": None, "sedge": w.module}, "advised")),
            "slots.0.tried.1.parted.broken": breaks(["lid-order"]),
        },
    ),
    Question(
        "May one socket get less than the others? Why is pier-1 needed?",
        "four-sockets",
        ("why", "pier-1"),
        lambda w: {
            "slots.0.kind": "breaks-rule",
            "slots.0.tried.0.parted.broken": breaks(w.broken({"pier-1": None})),
            "slots.0.tried.0.parted.name": w.row(AlikeRow).id,
        },
    ),
    Question(
        "Why are there two on every channel here and not three?",
        "quads",
        ("why", "13-fore"),
        lambda w: {
            "slots.0.state": "empty",
            "slots.0.kind": "breaks-rule",
            "slots.0.tried.0.parted.broken": breaks(w.broken({"13-fore": w.module})),
        },
    ),
    # -- why this rate ------------------------------------------------------------------------------------------------
    Question(
        "The label says 2933, the machine says 2666. Is a module bad?",
        "ten-six-full",
        ("why",),
        lambda w: {
            "rate.0.row": "two-per-channel",
            "rate.0.rate_mts": w.rate("two-per-channel"),
            "rate.0.source": next(row.source for row in w.board.rates if row.id == "two-per-channel"),
            "rate.0.lifts.0.slots": w.place(1),
            "rate.0.lifts.0.rate_mts": w.rate("one-per-channel"),
            "rate.0.lifts.0.balanced_sweep_gb_s": w.sweep(dict.fromkeys(w.place(1))),
        },
    ),
    Question(
        "Would the other processor be faster?",
        "ten-six-slow",
        ("why",),
        lambda w: {
            "rate.0.row": "processor:tern-12",
            "rate.0.rate_mts": w.board.processor("tern-12").rates[0].mts,
            "rate.0.lifts.0.name": "tern-20",
            "rate.0.lifts.0.rate_mts": min(w.board.processor("tern-20").rates[0].mts, w.rate("one-per-channel")),
        },
    ),
    Question(
        "Why 5600 on a machine that can do 6000?",
        "slow-labels",
        ("why",),
        lambda w: {
            "rate.0.row": f"module:{w.module.label}",
            "rate.0.rate_mts": w.module.rate_mts,
            "rate.0.lifts.0.kind": "label",
            "rate.0.lifts.0.rate_mts": w.rate("one-per-channel"),
        },
    ),
    Question(
        "Why do not all channels run at the same rate?",
        "own-rates",
        ("why",),
        lambda w: {
            "rate": lambda found: (
                {each["rate_mts"] for each in found}
                == {w.rate(row) for row in ("alone-on-short-channel", "two-of-two")}
            ),
            "figures.rate_mts": w.figures().rate_mts,
        },
    ),
    Question(
        "Three modules on a channel: is it slower?",
        "three-deep",
        ("why", "--put", "13-fore=16GiB"),
        lambda w: {
            "allowed": not w.broken({"13-fore": w.module}),
            "after.rate_mts": w.rate("three-per-channel"),
            "before.rate_mts": w.rate("two-per-channel"),
        },
    ),
    # -- what comes next ----------------------------------------------------------------------------------------------
    Question(
        "I have one more module. Where does it go?",
        "ten-six-even",
        ("why", "--next"),
        lambda w: {
            "alone.0.slots.0": lambda slot: slot in w.place(1),
            "alone.0.figures.balanced_sweep_gb_s": w.sweep({"K2": w.module}),
            "group.0.slots": w.place(1),
            "group.0.figures.balanced_sweep_gb_s": w.sweep(dict.fromkeys(w.place(1), w.module)),
        },
    ),
    Question(
        "Can this machine take any more memory?",
        "ten-six-full",
        ("why", "--next"),
        lambda w: {"alone": [], "group": [], "said.0.rule": "slots"},
        status=1,
    ),
    Question(
        "I only have a 64 GiB module. Where may it go?",
        "ten-six-even",
        ("why", "--next", "--module", "64GiB"),
        lambda w: {
            "alone": [],
            "refused.0.broken": breaks(w.broken({"K2": w.size("64GiB")})),
            "refused.0.broken.0.rule": "more-ranks-first",
        },
        status=1,
    ),
    Question(
        "Which slot comes next on the board with twelve channels?",
        "eleven",
        ("why", "--next"),
        lambda w: {
            "alone.0.slots": ["lamp"],
            "group.0.slots": ["lamp"],
            "alone.0.figures.worst_share": 1.0,
            "now.worst_share": decimal(w.figures().worst_share, 4),
        },
    ),
    Question(
        "Four processors: may I add a single module?",
        "four-sockets",
        ("why", "--next"),
        lambda w: {
            "alone": [],
            "refused.0.broken": breaks([w.row(AlikeRow).id]),
            "group.0.slots": lambda slots: len({w.board.channel_of[slot].socket for slot in slots}) == 4,
        },
        shown="Not here",
    ),
    Question(
        "How many do I order to keep it even on both sockets?",
        "salt",
        ("why", "--next"),
        lambda w: {
            "group.0.slots": w.place(1),
            "group.0.broken": [],
            "group.0.figures.rate_mts": w.rate("two-per-channel"),
            "group.0.figures.balanced_sweep_gb_s": w.sweep(dict.fromkeys(w.place(1), w.module)),
        },
        shown="Next as a group: the smallest group with the highest sweep",
    ),
    Question(
        "Eight sockets: what is the next sensible order?",
        "eight-sockets",
        ("why", "--next"),
        lambda w: {"group.0.slots": w.place(1), "alone.0.broken": breaks(w.broken({"arch.1.2": w.module}, "advised"))},
        shown="Next as a group: the smallest group with the highest sweep",
    ),
    # -- may I put this here ------------------------------------------------------------------------------------------
    Question(
        "May a 64 GiB module go behind a 32 GiB one?",
        "ten-six-even",
        ("why", "--put", "K2=64GiB"),
        lambda w: {"allowed": False, "broken": breaks(w.broken({"K2": w.size("64GiB")}))},
        status=1,
    ),
    Question(
        "And the other way round, 64 first and 32 behind it?",
        "ten-six-even",
        ("why", "--put", "K1=64GiB", "--put", "K2=32GiB"),
        lambda w: {
            "allowed": True,
            "after.usable_gib": w.figures({"K1": w.size("64GiB"), "K2": w.module}).usable_gib,
            "after.balanced_sweep_gb_s": w.sweep({"K1": w.size("64GiB"), "K2": w.module}),
        },
    ),
    Question(
        "May I take K1 out and leave K2?",
        "ten-six-full",
        ("why", "--clear", "K1"),
        lambda w: {"allowed": False, "broken": breaks(w.broken({"K1": None}))},
        status=1,
    ),
    Question(
        "Is ten better than eleven on twelve channels?",
        "eleven",
        ("why", "--clear", "keel"),
        lambda w: {
            "allowed": True,
            "before.balanced_sweep_gb_s": w.sweep(),
            "after.balanced_sweep_gb_s": lambda value: value == w.sweep({"keel": None}) > w.sweep(),
        },
    ),
    Question(
        "Can I put one in T1 although the second processor is missing?",
        "ten-alone",
        ("why", "--put", "T1=32GiB"),
        lambda w: {"status": "refused", "causes.0.rule": "dead"},
        status=1,
    ),
    Question(
        "Is it all right to have seven on one side and six on the other?",
        "quay-even",
        ("why", "--put", "1-lee=32GiB"),
        lambda w: {"allowed": True, "broken": breaks(w.broken({"1-lee": w.module}, "advised"))},
    ),
    Question(
        "One of the mirrored modules is wanted elsewhere. May I take it?",
        "mirrored",
        ("why", "--clear", "11r"),
        lambda w: {"allowed": False, "broken": lambda found: "mirror-8-or-16" in rules_of(found)},
        status=1,
    ),
    Question(
        "Would a registered module do in the small board?",
        "four-slots",
        ("why", "--put", "lyme=16GB 1Rx8 PC4-2666V-R"),
        lambda w: {"allowed": False, "broken": lambda found: w.row(AcceptRow, field="kind").id in rules_of(found)},
        status=1,
    ),
    Question(
        "Filling both channels double on the small board: what does it do to the rate?",
        "four-slots-two",
        ("why", "--put", "lyme=32GiB", "--put", "reed=32GiB"),
        lambda w: {
            "allowed": True,
            "after.rate_mts": w.rate("two-of-two-ranks"),
            "after.usable_gib": 4 * w.module.capacity_gib,
        },
    ),
    # -- a failed module ----------------------------------------------------------------------------------------------
    Question(
        "K1 has failed and there is no spare. What now?",
        "ten-six-full",
        ("why", "--without", "K1"),
        lambda w: {
            "left.0.count": len(w.filled()) - 1,
            "best.figures.usable_gib": w.figures({"K1": None}).capacity_gib,
            "best.moves": lambda moves: [move["to"] for move in moves] == ["K1"],
            "fastest.figures.rate_mts": w.rate("one-per-channel"),
            "smallest.slots": lambda slots: sum(label is not None for label in slots.values()) == 2,
        },
    ),
    Question(
        "One of eight sockets lost a module. Must the others be moved?",
        "eight-sockets",
        ("why", "--without", "arch.1.1"),
        lambda w: {
            # five channels are starved; four and, elsewhere, seven are not
            "best.moves": lambda moves: [(m["from"], m["to"]) for m in moves] == [("arch.6.1", "bell.1.2")],
            "best.figures.balanced_sweep_gb_s": lambda value: (
                value
                == w.sweep({"arch.1.1": None, "arch.6.1": None, "bell.1.2": w.module})
                > w.sweep({"arch.1.1": None})
            ),
            "smallest.slots": lambda slots: sum(label is not None for label in slots.values()) == len(w.board.sockets),
        },
    ),
    Question(
        "What is the least that boots, to see whether the board is alive?",
        "quay-even",
        ("why", "--without", "1-sea"),
        lambda w: {
            "smallest.figures.modules": len(w.placement.fitted),
            "smallest.broken": lambda found: all(each["severity"] != "error" for each in found),
        },
        shown="Smallest that boots: 2 modules",
    ),
    Question(
        "Errors without a slot name: how do I find the bad module?",
        "salt",
        ("why", "--without", "low-brine-1"),
        lambda w: {
            "halves": lambda steps: len(steps) == len(w.filled()) - 2 and all(step["allowed"] for step in steps),
            "halves.0.step": 1,
        },
        shown="If it still fails: test by halves, each module in its own slot",
    ),
    # -- why not so ---------------------------------------------------------------------------------------------------
    Question(
        "Why not two on each channel of the big socket and two on the small one?",
        "ten-six-even",
        ("why", "--expect", "K1,K2,L1,L2,M1,P1,P2,Q1,Q2,R1,T1,W1"),
        lambda w: {
            "parted.name": "balanced_sweep",
            "plan.balanced_sweep_gb_s": w.sweep(),
            "alternative.rate_mts": w.rate("two-per-channel"),
            "alternative.balanced_sweep_gb_s": w.sweep(
                dict.fromkeys(w.place(1), w.module) | dict.fromkeys(["U1", "V1", "X1", "Y1"])
            ),
        },
    ),
    Question(
        "Why not all of it at one socket?",
        "ten-six-even",
        ("why", "--expect", "K1,K2,L1,L2,M1,P1,P2,Q1,Q2,R1"),
        lambda w: {
            "parted.by": "rule",
            "parted.broken": breaks(w.broken(dict.fromkeys(w.place(0, "FAR")) | dict.fromkeys(w.place(1), w.module))),
        },
        status=1,
    ),
    Question(
        "Five modules: why not four and one stacked?",
        "ten-alone",
        ("why", "--expect", "K1,K2,L1,P1,Q1"),
        lambda w: {
            "parted.by": "criterion",
            "alternative.balanced_sweep_gb_s": w.sweep({"M1": None, "K2": w.module}),
            "alternative.rate_mts": w.rate("two-per-channel"),
        },
    ),
    Question(
        "Eight modules on eight channels of one socket, the other with none: why not?",
        "pairs",
        ("why", "--expect", "isle-F-head,isle-H-head,isle-K-head,isle-L-head,isle-Q-head,isle-R-head,isle-W-head"),
        lambda w: {
            "parted.broken": breaks(w.broken(dict.fromkeys(w.filled()) | dict.fromkeys(["isle-F-head"], w.module))),
        },
        status=1,
    ),
    # -- may these be mixed -------------------------------------------------------------------------------------------
    Question(
        "May 32 and 64 GiB modules be mixed?",
        "skerry-16",
        ("mix", "32GiB", "64GiB"),
        lambda w: {
            "allowed": True,
            "together": "channel",
            "pairs.0.loads": lambda loads: [load["allowed"] for load in loads] == [True, False],
            "pairs.0.loads.0.order": [w.size("64GiB").label, w.size("32GiB").label],
            "pairs.0.loads.0.rate_mts": w.rate("two-per-channel"),
            "pairs.0.loads.1.broken": breaks([w.row(ChannelOrderRow).id]),
        },
    ),
    Question(
        "May x8 modules stand beside x4 ones?",
        "skerry-16",
        ("mix", "8GB 1Rx8 PC4-2933Y-R", "64GB 2Rx4 PC4-2933Y-R"),
        lambda w: {
            "together": "channels",
            "pairs.0.broken": breaks([w.row(MixRow, field="device_width").id]),
            "pairs.0.broken.0.source": w.row(MixRow, field="device_width").source,
        },
    ),
    Question(
        "And x8 beside x4 on the board that is newer?",
        "machair-20",
        ("mix", "16GB 1Rx8 PC5-5600B-R", "32GB 1Rx4 PC5-5600B-R"),
        lambda w: {"together": "channel", "pairs.0.rules": [w.row(MixRow, field="device_width").id]},
    ),
    Question(
        "I have 96 GiB modules left over. May they go beside 64 GiB ones?",
        "strand-12",
        ("mix", "96GiB", "64GiB"),
        _pair_breaks("die_family"),
        status=1,
    ),
    Question(
        "Both are 64 GiB DDR5. Why does one say EC4?",
        "strand-12",
        ("mix", "64GB 2Rx4 PC5-6400B-R", "64GB 2Rx4 EC4 PC5-4800B-R"),
        _pair_breaks("ecc_bits"),
        status=1,
    ),
    Question(
        "May load-reduced modules stand beside registered ones?",
        "causeway-48",
        ("mix", "64GB 2Rx4 PC4-2933Y-R", "64GB 4DRx4 PC4-2933Y-L"),
        _pair_breaks("kind"),
        status=1,
    ),
    Question(
        "What happens when low-voltage modules join the others?",
        "groyne-24",
        ("mix", "16GB 2Rx4 PC3-14900R", "16GB 2Rx4 PC3L-12800R"),
        lambda w: {
            "allowed": True,
            "pairs.0.broken": breaks([w.row(MixRow, field="voltage_mv").id]),
            "pairs.0.loads.0.rate_mts": w.rate("two-per-channel-low"),
            "mixed.broken": breaks([w.row(MixRow, field="voltage_mv").id]),
        },
    ),
    Question(
        "Will an older DDR3 module do for now?",
        "skerry-16",
        ("mix", "32GiB", "16GB 2Rx4 PC3-14900R"),
        lambda w: {
            "allowed": False,
            "refused": lambda found: w.row(AcceptRow, field="generation").id in rules_of(found),
        },
        status=1,
    ),
    Question(
        "Four ranks and two ranks on one channel: in which order?",
        "groyne-24",
        ("mix", "32GB 4Rx4 PC3-10600R", "16GB 2Rx4 PC3-14900R"),
        lambda w: {
            "pairs.0.loads.0.order": [w.size("32GiB").label, w.size("16GiB").label],
            "pairs.0.loads.0.rate_mts": w.rate("two-of-four-ranks"),
            "pairs.0.loads": lambda loads: sum(load["allowed"] for load in loads) == 1,
        },
    ),
    # -- which rules are there ----------------------------------------------------------------------------------------
    Question(
        "Which firmware settings must stay as they are?",
        "skerry-16",
        ("rules",),
        lambda w: {
            "groups": lambda groups: (
                {line["rule"] for line in group({"groups": groups}, "firmware")["rules"]}
                == {row.id for row in w.board.rules if isinstance(row, NoteRow) and row.about == "firmware"}
            ),
        },
        shown="Which firmware settings matter?",
    ),
    Question(
        "How fast is it with one, two or three on a channel?",
        "groyne-24",
        ("rules",),
        lambda w: {
            "groups": lambda groups: (
                [row[-3] for row in group({"groups": groups}, "rate")["table"][1:]]
                == ["does not run" if row.mts == "none" else str(row.mts) for row in w.board.rates]
            ),
        },
        shown="How fast?",
    ),
    Question(
        "How much memory may one socket have?",
        "machair-20",
        ("rules",),
        lambda w: {
            "groups": lambda groups: (
                {row.id for row in w.board.rules if isinstance(row, CeilingRow)}
                <= rules_of(group({"groups": groups}, "capacity")["rules"])
            ),
        },
        shown="How much?",
    ),
    Question(
        "Which channels work together on the board with pairs?",
        "tombolo-32",
        ("rules",),
        lambda w: {
            "groups": lambda groups: holds(*(" ".join(each.channels) for each in w.board.interleave.groups))(
                group({"groups": groups}, "interleave")["rules"]
            ),
        },
        shown="Which channels work together?",
    ),
    Question(
        "May three of the four processors be fitted?",
        "causeway-48",
        ("rules",),
        lambda w: {
            "groups": lambda groups: holds(w.row(FittedRow).text)(group({"groups": groups}, "fits")["rules"]),
        },
        shown="What fits?",
    ),
)


if __name__ == "__main__":
    from tests.why.questions_page import write

    write()
