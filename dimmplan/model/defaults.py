"""The usual rules of the trade, in force on every board whose file does not say otherwise.

A board's own row of the same check (and field) replaces the default; severity ``off`` removes it.
"""

from __future__ import annotations

from collections.abc import Iterable

from dimmplan.model.module import Generation
from dimmplan.model.rows import (
    AcceptRow,
    ChannelOrderRow,
    FillOrderRow,
    MixRow,
    RankLimitRow,
    RuleRow,
    SocketMinimumRow,
)

_VOLTAGES_MV: dict[Generation, tuple[int, ...]] = {
    Generation.DDR3: (1500, 1350),
    Generation.DDR4: (1200,),
    Generation.DDR5: (1100,),
}


def default_rows(generation: Generation) -> tuple[RuleRow, ...]:
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
        RankLimitRow.model_construct(id="eight-ranks", check="rank-limit", count="package", most=8, source="guide-06"),
        SocketMinimumRow.model_construct(id="every-socket", check="socket-minimum", modules=1, source="guide-07"),
    )


def _subject(row: RuleRow) -> tuple[str, str]:
    """What a row speaks about: rows with the same subject replace each other."""
    return row.check, row.field if isinstance(row, AcceptRow | MixRow) else ""


def effective_rows(own: Iterable[RuleRow], generation: Generation) -> tuple[RuleRow, ...]:
    """A board's own rows and the defaults that they do not replace, rows that are off left out."""
    own = tuple(own)
    replaced = {_subject(row) for row in own}
    kept = tuple(row for row in default_rows(generation) if _subject(row) not in replaced)
    return tuple(row for row in kept + own if row.severity != "off")
