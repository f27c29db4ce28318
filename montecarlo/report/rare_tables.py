"""Tables of rare false trips: where each p_false comes from, what speaks for it, and the curves of exceedance."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from montecarlo.engine.batch import Batch
from montecarlo.engine.rare import curves
from montecarlo.engine.tails import decided_by_tails
from montecarlo.estimates.assemble import Stratum
from montecarlo.estimates.intervals import with_unresolved
from montecarlo.estimates.rare import GOOD, diagnose, rare_estimate

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["COUNT", "INTEGRATED", "WEIGHTED", "exceedance_rows", "origin", "weighted_rows"]

COUNT, WEIGHTED, BOTH = "count", "weighted", "count and weighted"
INTEGRATED = "integrated over the place"  # of an earth fault, given everything else


def origin(strata: Sequence[Stratum], candidates: int) -> list[str]:
    """How p of each candidate over these types was estimated, (C,), in a word: that of all types,
    or that they differ."""
    words = np.stack([_word(stratum, candidates) for stratum in strata])
    return [str(some[0]) if len(set(some)) == 1 else BOTH for some in words.T]


def _word(stratum: Stratum, candidates: int) -> NDArray[np.str_]:
    """The same of one type."""
    if stratum.conditional:
        return np.full(candidates, INTEGRATED)
    used = np.zeros(candidates, bool) if stratum.weighted is None else stratum.weighted.used
    return np.where(used, WEIGHTED, COUNT)


def weighted_rows(batch: Batch, numbers: Sequence[int], batch_number: int) -> pd.DataFrame:
    """One row an external event and candidate: weighted samples, counts, what was made of the two."""
    import pandas as pd

    frames = []
    for name, stratum in batch.strata.items():
        if stratum.weighted is None:
            continue
        found, own = stratum.weighted.diagnostics, rare_estimate(stratum.weighted.sums)
        counted = with_unresolved(stratum.total, stratum.trials, stratum.unresolved, method="clustered")
        frames.append(pd.DataFrame({
            "candidate": numbers, "event": name.partition(".")[2], "samples": stratum.weighted.sums.trials,
            "p_weighted": own.p, "p_weighted_low": own.low, "p_weighted_high": own.high,
            "p_counted": counted.p, "p_counted_low": counted.low, "p_counted_high": counted.high,
            "difference_in_errors": stratum.weighted.gap, "effective_hits": found.effective,
            "largest_share": found.largest_share, "used": stratum.weighted.used, "verdict": stratum.weighted.verdict,
            "batch": batch_number, **_wider_columns(batch, name)}))
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame()


def _wider_columns(batch: Batch, name: str) -> dict[str, Any]:
    """p with wider inputs of an event's candidates whose own p is decided by tails; empty for the others."""
    weighted, wider = batch.strata[name].weighted, batch.wider.get(name)
    assert weighted is not None
    columns = ("p_widened", "p_widened_low", "p_widened_high")
    if wider is None:
        return dict.fromkeys(columns, np.nan) | {"widened_note": ""}
    shown = decided_by_tails(weighted.sums)
    found, trust = rare_estimate(wider), diagnose(wider).trust
    return {column: np.where(shown, part, np.nan) for column, part in zip(columns, found, strict=True)} | {
        "widened_note": ["" if text == GOOD or not tail else text for text, tail in zip(trust, shown, strict=True)]}


def exceedance_rows(batch: Batch) -> pd.DataFrame:
    """One row an external event, circuit, element, delay and pick-up: the probability that the elements of this kind
    would operate at the pick-up."""
    import pandas as pd

    rows: list[dict[str, Any]] = []
    for curve in curves(batch.lattices):
        circuit, bias = curve.lattice.circuit, curve.lattice.bias
        rows += [{"scheme": circuit.scheme, "element": curve.axis, "pickup_a": pickup,
                  "stabilising_resistance_ohm": circuit.stabilising_resistance_ohm, "delay_s": curve.delay_s,
                  "slope1": bias.slope1 if bias else np.nan, "slope2": bias.slope2 if bias else np.nan,
                  "slope_break_a": bias.slope_break_a if bias else np.nan} for pickup in curve.grid]
    frames = []
    for name, sums in batch.exceedance.items():
        estimate, found = rare_estimate(sums), diagnose(sums)
        frame = pd.DataFrame(rows)
        frame.insert(0, "event", name.partition(".")[2])
        frames.append(frame.assign(p=estimate.p, p_low=estimate.low, p_high=estimate.high,
                                   note=["" if text == GOOD else text for text in found.trust]))
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame()
