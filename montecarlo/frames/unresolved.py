"""The table of samples without a result: a row a type and batch, those that lack most first."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from montecarlo.engine.guard import COUNTED, EFFECTS, ENERGY, ROWS, WEIGHTED, Unresolved
from montecarlo.sampling.stratum import Side

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo.engine.run import Outcome

__all__ = ["COUNTED_AS", "unresolved_frame", "unresolved_numbers", "unresolved_of"]


# What each sample without a result counts as
COUNTED_AS = {
    Side.INTERNAL: "missed in the upper limit of p, detected in the lower one, no part of p",
    Side.EXTERNAL: "operated in the upper limit of p, silent in the lower one, no part of p",
    Side.STATE: "no part of the share that operates",
    ENERGY: "no part of means and quantiles",
    EFFECTS: "the mean of the others",
    ROWS: "neither missed nor tripped",
    WEIGHTED: (
        "operated in the upper limit of p, by the upper limit of their own probability, silent in"
        " the lower one, no part of p"
    ),
}


def unresolved_of(outcome: Outcome) -> tuple[Unresolved, ...]:
    """Of a run's own batch and of the fresh batch that it reports."""
    return (*outcome.first.unresolved, *(() if outcome.fresh is None else outcome.fresh.unresolved))


def unresolved_frame(rows: Sequence[Unresolved]) -> pd.DataFrame:
    """`unresolved` is of the candidate that has most, on `circuit`; the causes are counted over all
    circuits, empty where nobody looked."""
    import pandas as pd

    frame = pd.DataFrame(
        [_row(row) for row in sorted(rows, key=lambda row: -row.share)],
        columns=[
            "side",
            "type",
            "samples",
            "batch",
            "of",
            "drawn",
            "unresolved",
            "unresolved_share",
            "not_finite",
            "not_converged",
            "circuit",
            "counted_as",
        ],
    )
    return frame.astype(dict.fromkeys(("not_finite", "not_converged"), "Int64"))


def _row(row: Unresolved) -> dict[str, Any]:
    return {
        "side": row.stratum.side.value,
        "type": row.stratum.kind,
        "samples": row.samples,
        "batch": 1 if row.round_ == 0 else 2,
        "of": row.of,
        "drawn": row.drawn,
        "unresolved": row.number,
        "unresolved_share": row.share,
        "not_finite": row.not_finite,
        "not_converged": row.not_converged,
        "circuit": row.circuit,
        "counted_as": COUNTED_AS[row.stratum.side if row.samples == COUNTED else row.samples],
    }


def unresolved_numbers(rows: Sequence[Unresolved]) -> dict[str, str]:
    """What a record of a run keeps of them: how many of how many, by the name of the samples."""
    return {row.name: f"{row.number} of {row.drawn}" for row in rows}
