"""Tables of rare false trips: where each p_false comes from, what speaks for it, and the curves of
exceedance."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.engine.batch import Batch
from montecarlo.engine.curves import curves
from montecarlo.engine.run import Outcome
from montecarlo.engine.tails import decided_by_tails
from montecarlo.estimates.assemble import Gathered
from montecarlo.estimates.intervals import with_unresolved
from montecarlo.estimates.rare import Diagnostics, Trust, Why, diagnose, rare_estimate
from montecarlo.estimates.weighted import Source
from montecarlo.frames.batches import Numbers, rows_of_all
from montecarlo.frames.limits import limit_columns, with_limits
from montecarlo.sampling.stratum import Stratum
from montecarlo.study.axes import KEYS, PICKUPS

if TYPE_CHECKING:
    import pandas as pd


def origin(strata: Sequence[Gathered], candidates: int) -> list[str]:
    """How p of each candidate over these types was estimated: "both" where some type's is so, since
    its limits are then of two kinds.

    Parameters
    ----------
    strata : sequence of Gathered
    candidates : int

    Returns
    -------
    list of str
    """
    sources = [_sources(stratum, candidates) for stratum in strata]
    return [_joined(set(of_types)) for of_types in zip(*sources, strict=True)]


def _sources(stratum: Gathered, candidates: int) -> Sequence[Source]:
    """The same of one type."""
    if stratum.weighted is not None:
        return stratum.weighted.source
    return (Source.INTEGRATED if stratum.conditional else Source.COUNT,) * candidates


def _joined(sources: set[Source]) -> str:
    if Source.BOTH in sources:
        return Source.BOTH.value
    return " and ".join(source.value for source in Source if source in sources)


def rare(outcome: Outcome) -> pd.DataFrame:
    """What weighted samples show beside counts.

    Parameters
    ----------
    outcome : Outcome

    Returns
    -------
    DataFrame
        A row a candidate and external event, probabilities with limits [-]; empty where counted
        only. `verdict`: a `Trust`; `widened_note`: one that speaks against the wider inputs' p.
    """
    return rows_of_all(outcome, _weighted_rows)


def _weighted_rows(_: Outcome, batch: Batch, numbers: Numbers) -> pd.DataFrame:
    """One row an external event and candidate: weighted samples, counts, what was made of the
    two."""
    import pandas as pd

    frames = []
    for name, stratum in batch.strata.items():
        if stratum.weighted is None:
            continue
        found, own = stratum.weighted.diagnostics, rare_estimate(stratum.weighted.sums)
        counted = with_unresolved(
            stratum.total, stratum.trials, stratum.unresolved, method="clustered"
        )
        frames.append(
            pd.DataFrame(
                {
                    "candidate": numbers,
                    "event": name.kind,
                    "samples": stratum.weighted.sums.trials,
                    **limit_columns("p_weighted", own),
                    **limit_columns("p_counted", counted),
                    "difference_in_errors": stratum.weighted.gap,
                    "effective_hits": found.effective,
                    "largest_share": found.largest_share,
                    "p_from": origin([stratum], len(numbers)),
                    "verdict": stratum.weighted.verdict,
                    "batch": batch.number,
                    **_wider_columns(batch, name),
                }
            )
        )
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame()


def _wider_columns(batch: Batch, name: Stratum) -> dict[str, Any]:
    """p with wider inputs of an event's candidates whose own p is decided by tails, and what speaks
    for it; empty for the others."""
    weighted, wider = batch.strata[name].weighted, batch.wider.get(name)
    assert weighted is not None
    columns = with_limits("p_widened")
    if wider is None:
        return dict.fromkeys(columns, np.nan) | {"widened_note": None}
    shown = decided_by_tails(weighted.sums)
    found = rare_estimate(wider)
    notes = _notes(diagnose(wider))
    return {
        column: np.where(shown, part, np.nan) for column, part in zip(columns, found, strict=True)
    } | {"widened_note": [note if tail else None for note, tail in zip(notes, shown, strict=True)]}


def _notes(found: Diagnostics) -> list[Trust | None]:
    """What speaks against each estimate; None where nothing does."""
    return [None if trust.why is Why.GOOD else trust for trust in found.trust]


def exceedance(outcome: Outcome) -> pd.DataFrame:
    """How often an event drives an element beyond a pick-up.

    Parameters
    ----------
    outcome : Outcome

    Returns
    -------
    DataFrame
        A row an external event, circuit, element, delay and pick-up: the probability that the
        elements of this kind would operate at the pick-up, with limits [-]; `note`: a `Trust` that
        speaks against it. Empty where counted only.
    """
    import pandas as pd

    batch = outcome.first
    rows: list[dict[str, Any]] = []
    for curve in curves(batch.lattices):
        values = {**curve.lattice.shared, "delay_s": curve.delay_s}
        rows += [
            {
                "scheme": curve.lattice.scheme,
                "element": curve.axis,
                "pickup_a": pickup,
                **{
                    key: np.nan if values[key] is None else values[key]
                    for key in KEYS
                    if key not in PICKUPS
                },
            }
            for pickup in curve.grid
        ]
    frames = []
    for name, sums in batch.exceedance.items():
        estimate, found = rare_estimate(sums), diagnose(sums)
        frame = pd.DataFrame(rows)
        frame.insert(0, "event", name.kind)
        frames.append(frame.assign(**limit_columns("p", estimate), note=_notes(found)))
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame()
