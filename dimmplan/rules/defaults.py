"""The usual rules of the trade, in force on every board whose file does not say otherwise.

A board's own row of the same check (and field) replaces the default; severity ``off`` removes it.
"""

from __future__ import annotations

from collections.abc import Iterable

from dimmplan.model.module import Generation
from dimmplan.rules.base import Rule
from dimmplan.rules.channels import ChannelOrderRow, FillOrderRow, RankLimitRow
from dimmplan.rules.modules import AcceptRow, MixRow
from dimmplan.rules.sockets import SocketMinimumRow

_VOLTAGES_MV: dict[Generation, tuple[int, ...]] = {
    Generation.DDR3: (1500, 1350),
    Generation.DDR4: (1200,),
    Generation.DDR5: (1100,),
}


def default_rows(generation: Generation) -> tuple[Rule, ...]:
    """The default rows for a board of that generation, in the order in which they are read out.

    They are not validated, which would build a validator for each kind; a test does it.
    """
    return (
        AcceptRow.model_construct(
            id="takes-generation", check="accept", field="generation", values=(generation.value,), source="PRACTICE"
        ),
        AcceptRow.model_construct(
            id="takes-voltage", check="accept", field="voltage_mv", values=_VOLTAGES_MV[generation], source="PRACTICE"
        ),
        AcceptRow.model_construct(
            id="takes-form-factor", check="accept", field="form_factor", values=("DIMM",), source="PRACTICE"
        ),
        MixRow.model_construct(id="one-generation", check="mix", field="generation", apart="system", source="PRACTICE"),
        MixRow.model_construct(id="one-kind", check="mix", field="kind", apart="system", source="guide-03"),
        MixRow.model_construct(id="one-ecc-width", check="mix", field="ecc_bits", apart="system", source="PRACTICE"),
        MixRow.model_construct(id="one-die-family", check="mix", field="die_family", apart="system", source="PRACTICE"),
        MixRow.model_construct(
            id="one-device-width", check="mix", field="device_width", apart="system", source="guide-09"
        ),
        FillOrderRow.model_construct(id="fill-order", check="fill-order", source="guide-10"),
        ChannelOrderRow.model_construct(id="more-ranks-first", check="channel-order", source="guide-03"),
        RankLimitRow.model_construct(
            id="eight-ranks",
            check="rank-limit",
            count="loads",
            most=8,
            source="guide-06",
            text="A channel carries at most 8 ranks; an LRDIMM counts as one.",
        ),
        SocketMinimumRow.model_construct(id="every-socket", check="socket-minimum", modules=1, source="guide-07"),
    )


def as_once(row: Rule) -> Rule:
    """A row as digests name it.

    The usual limit once counted package ranks. Whatever obeyed that obeys it now, so that maps and codes of boards
    that state no limit of their own stay good.
    """
    if isinstance(row, RankLimitRow) and row.id == "eight-ranks" and row.count == "loads":
        return row.model_copy(update={"count": "package"})
    return row


def effective_rows(own: Iterable[Rule], generation: Generation) -> tuple[Rule, ...]:
    """A board's own rows and the defaults that they do not replace, rows that are off left out."""
    own = tuple(own)
    replaced = {row.subject for row in own}
    kept = tuple(row for row in default_rows(generation) if row.subject not in replaced)
    return tuple(row for row in kept + own if row.severity != "off")
