"""Words for a mix: allowed or not, in which slots, by which rule, at what price."""

from __future__ import annotations

from collections.abc import Iterator

from dimmplan.model.module import Module, modules_phrase
from dimmplan.reasons.mix import Mix, MixLoad, MixSet, PairVerdict
from dimmplan.rules.base import field_noun
from dimmplan.units import format_capacity, listed
from dimmplan.wording.changes import figures_phrase
from dimmplan.wording.placement import breach_finding, label_short, regions_sentence
from dimmplan.wording.statements import ORDINALS, Statement, breach_statements, channels_phrase, lowered, rate_source

_TOGETHER = {
    "channel": "may share a channel",
    "channels": "may be used in one system, but never on one channel",
    "sockets": "may be used in one system, but never at one socket",
    "never": "may not be used in one system",
}


def mix_title(mix: Mix) -> str:
    """The verdict in a few words."""
    if len(mix.modules) == 1:
        only = mix.modules[0].label
        return f"{'Yes' if mix.allowed else 'No'}: these labels are one type, {only}"
    if mix.refused:
        names = listed(list(dict.fromkeys(module.label for module, _ in mix.refused)))
        return f"No: the board refuses {names}"
    if not mix.allowed:
        return f"No: {listed([module.label for module in mix.modules])} {_TOGETHER['never']}"
    return f"Yes: {listed([module.label for module in mix.modules])} {_TOGETHER[mix.together]}"


def refused_statements(mix: Mix) -> list[Statement]:
    """The rows that refuse a type in any company."""
    return [
        Statement(text=f"{module.label}: {lowered(told.text)}", rule=breach.rule, source=breach.source)
        for module, breach in mix.refused
        for told in [breach_finding(mix.board, breach)]
    ]


def pair_title(mix: Mix, pair: PairVerdict) -> str:
    """A pair and how close it may stand."""
    return f"{_short(mix, pair.one)} with {_short(mix, pair.other)} {_TOGETHER[pair.together]}"


def pair_statements(mix: Mix, pair: PairVerdict) -> list[Statement]:
    """The rows about what the two differ in, those that keep them apart, and the orders that a channel takes."""
    found = breach_statements(mix.board, pair.breaches)
    told = {said.rule for said in found}
    found += [
        Statement(text=f"{row.sentence()} These differ in it.", rule=row.id, source=row.source)
        for row in pair.rows
        if row.id not in told
    ]
    covered = {row.field for row in pair.rows}
    free = [field_noun(field) for field in pair.differ if field not in covered]
    if free:
        text = f"They also differ in {listed(free)}; no rule of this board forbids that."
        if not covered:
            text = f"They differ in {listed(free)}; no rule of this board forbids that."
        found.append(Statement(text=text, rule="mix", source="MODEL"))
    return [*found, *_loads_statements(mix, pair)]


def _loads_statements(mix: Mix, pair: PairVerdict) -> Iterator[Statement]:
    """Orders on one channel: allowed ones with their rate, then those that a row refuses."""
    if not pair.loads and pair.together in ("channel", "channels"):
        text = "Every channel has one slot, so two modules are always on different channels."
        yield Statement(text=text, rule="slots", source="MODEL")
    allowed = [load for load in pair.loads if load.allowed]
    for load in allowed:
        assert load.rate is not None
        slots = listed(list(load.channel.slots[: len(load.load)]))
        where = channels_phrase(mix.board, load.channels)
        text = f"{_order(mix, load)}, as in {slots}: {load.rate.rate_mts} MT/s. The same holds on {where}."
        yield Statement(text=text, rule=load.rate.row, source=rate_source(mix.board, load.rate.row))
    refused: dict[str, list[MixLoad]] = {}
    for load in pair.loads if allowed else ():
        if not load.allowed:
            refused.setdefault(load.breaches[0].rule, []).append(load)
    for loads in refused.values():
        first = breach_statements(mix.board, loads[0].breaches[:1])[0]
        more = f" and {len(loads) - 1} more orders" if len(loads) > 1 else ""
        text = f"Not {_order(mix, loads[0])}{more}: {lowered(first.text)}"
        yield Statement(text=text, rule=first.rule, source=first.source)


def _short(mix: Mix, module: Module) -> str:
    """A type in a few words, its whole label where another one of the mix has the same few."""
    short = label_short(module)
    return short if sum(label_short(other) == short for other in mix.modules) == 1 else module.label


def _order(mix: Mix, load: MixLoad) -> str:
    parts = [f"{_short(mix, module)} {ORDINALS[place]}" for place, module in enumerate(load.load)]
    return listed(parts, last="then")


def price_statements(mix: Mix) -> list[Statement]:
    """The capacity compared: mixed, then each type alone."""
    if mix.mixed is None:
        return []
    found = [_set_statement("Mixed", mix.mixed)]
    for alone in mix.alone:
        module = alone.modules[0][0]
        usable, asked = alone.figures.usable_gib, mix.capacity_gib or 0
        short = "" if usable == asked else ", the nearest above" if usable > asked else ", the most that fits"
        found.append(_set_statement(f"{_short(mix, module)} alone{short}", alone))
    return found


def price_title(mix: Mix) -> str:
    """What is compared."""
    assert mix.capacity_gib is not None
    return f"Compared: the best placement of {format_capacity(mix.capacity_gib)} at {listed(list(mix.fitted))}"


def _set_statement(name: str, found: MixSet) -> Statement:
    shapes: dict[str, list[str]] = {}
    for socket in found.figures.sockets:
        shapes.setdefault(regions_sentence(socket), []).append(socket.socket)
    regions = " ".join(f"{listed(sockets)}: {lowered(text)}" for text, sockets in shapes.items())
    advised = list(dict.fromkeys(breach.rule for breach in found.breaches))
    broken = f" Advised rules broken: {listed(advised)}." if advised else ""
    text = f"{name}: {modules_phrase(found.modules)}; {figures_phrase(found.figures)}. {regions}{broken}"
    return Statement(text=text, rule="capacity-first", source="MODEL")
