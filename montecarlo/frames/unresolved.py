"""The table of samples without a result: a row a type and batch, those that lack most first."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from montecarlo.engine.guard import COUNTED, Unresolved

if TYPE_CHECKING:
    import pandas as pd

    from montecarlo.engine.run import Outcome


def unresolved_of(outcome: Outcome) -> tuple[Unresolved, ...]:
    """Of a run's own batch and of the independent sample that it reports.

    Parameters
    ----------
    outcome : Outcome

    Returns
    -------
    tuple of Unresolved
    """
    return (*outcome.first.unresolved, *(() if outcome.fresh is None else outcome.fresh.unresolved))


def unresolved_frame(rows: Sequence[Unresolved]) -> pd.DataFrame:
    """The table of samples without a result, those types that lack most first.

    `unresolved` is of the candidate that has most, on `circuit`; the causes are counted over all
    circuits, empty where nobody looked.

    Parameters
    ----------
    rows : sequence of Unresolved

    Returns
    -------
    DataFrame
    """
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
        "counted_as": row.stratum.side.value if row.samples == COUNTED else row.samples,
    }


def unresolved_numbers(rows: Sequence[Unresolved]) -> dict[str, str]:
    """What a record of a run keeps of them: how many of how many, by the name of the samples.

    Parameters
    ----------
    rows : sequence of Unresolved

    Returns
    -------
    dict of str
    """
    return {row.name: f"{row.number} of {row.drawn}" for row in rows}
