"""Rules about what one channel carries and in which order it fills."""

import itertools
from collections.abc import Collection, Iterator, Sequence
from typing import Annotated, Literal

from pydantic import Field

from dimmplan.model.board import Channel, Socket
from dimmplan.model.module import Kind, Module
from dimmplan.rules.base import Fault, Load, Rule, field_noun, value_alone, value_of

_RANKS = {"package": "package ranks", "logical": "logical ranks", "loads": "loads"}


def loads_of(module: Module) -> int:
    """Electrical loads on the channel: an LRDIMM's buffers load like one rank (guide-06 p. 32), others by rank."""
    return 1 if module.kind.unstacked is Kind.LRDIMM else module.package_ranks


class RankLimitRow(Rule):
    """At most ``most`` ranks on a channel, counted as package ranks, logical ranks or loads."""

    question = "capacity"
    scopes = ("channel",)
    stays_broken = True
    limits = "capacity"

    check: Literal["rank-limit"]
    count: Literal["package", "logical", "loads"] = "package"
    most: Annotated[int, Field(ge=1, le=64)]

    def _counted(self, module: Module) -> int:
        counts = {"package": module.package_ranks, "logical": module.logical_ranks, "loads": loads_of(module)}
        return counts[self.count]

    def of_channel(self, channel: Channel, load: Load) -> Iterator[Fault]:
        """The modules have more ranks together."""
        total = sum(self._counted(module) for module in load if module)
        if total > self.most:
            loads = self.count == "loads" and any(m and m.package_ranks != loads_of(m) for m in load)
            yield Fault(f"{total} {'loads' if loads else 'ranks'}", f"at most {self.most}")

    def wording(self) -> str:
        """The standard sentence."""
        return f"A channel carries at most {self.most} {_RANKS[self.count]}."


class FillOrderRow(Rule):
    """A channel fills in slot order, without a gap."""

    question = "order"
    scopes = ("channel",)
    limits = "placement"

    check: Literal["fill-order"]
    marks = "1 is the first slot of its channel"

    def slot_marks(self, sockets: Sequence[Socket]) -> dict[str, str]:
        """The place of each slot in its channel; of boards with several slots on a channel only."""
        channels = [channel for socket in sockets for channel in socket.channels]
        if all(len(channel.slots) == 1 for channel in channels):
            return {}
        return {slot: str(place) for channel in channels for place, slot in enumerate(channel.slots, 1)}

    def gap(self, channel: Channel, filled: Collection[str]) -> str:
        """The first slot that is empty in front of a filled one; empty text where there is none."""
        return next((a for a, b in itertools.pairwise(channel.slots) if b in filled and a not in filled), "")

    def of_channel(self, channel: Channel, load: Load) -> Iterator[Fault]:
        """A slot is empty in front of a filled one."""
        gap = self.gap(channel, {slot for slot, module in zip(channel.slots, load, strict=True) if module})
        if gap:
            yield Fault(f"{gap} empty", "filled before the slots after it")

    def wording(self) -> str:
        """The standard sentence."""
        return "A channel fills in slot order, without a gap."


class ChannelOrderRow(Rule):
    """Along a channel's fill order these never rise: more ranks first, then larger capacity, usually."""

    question = "order"
    scopes = ("channel",)
    stays_broken = True
    limits = "nothing"

    check: Literal["channel-order"]
    keys: Annotated[tuple[Literal["package_ranks", "logical_ranks", "capacity_gib"], ...], Field(min_length=1)] = (
        "package_ranks",
        "capacity_gib",
    )

    def of_channel(self, channel: Channel, load: Load) -> Iterator[Fault]:
        """A module comes before one that has more."""
        keys = [tuple(value_of(module, key) for key in self.keys) for module in load if module]
        for first, second in itertools.pairwise(keys):
            if second > first:
                words = [
                    ", ".join(value_alone(key, value) for key, value in zip(self.keys, values, strict=True))
                    for values in (second, first)
                ]
                yield Fault(f"{words[0]} after {words[1]}", "the larger one first")
                return

    def wording(self) -> str:
        """The standard sentence."""
        keys = [f"more {field_noun(key)}" if key != "capacity_gib" else "larger capacity" for key in self.keys]
        return f"Along a channel, {', then '.join([f'{keys[0]} first', *keys[1:]])}."
