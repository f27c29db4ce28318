"""What makes up p_missed and p_false: a row a fault type or event, a place along the winding; and
what the back-up sees."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from montecarlo.engine.batch import Batch
from montecarlo.engine.groups import class_shares
from montecarlo.engine.run import Outcome
from montecarlo.estimates.assemble import detection_curve, operated_before
from montecarlo.estimates.choose import weights_of
from montecarlo.estimates.intervals import Estimate
from montecarlo.estimates.shares import shares_of_total
from montecarlo.frames.batches import Numbers, rows_of_all
from montecarlo.frames.limits import limit_columns, with_limits
from montecarlo.frames.rare import origin
from montecarlo.sampling.stratum import EARTH, EVOLVING, Side, Stratum

if TYPE_CHECKING:
    import pandas as pd

PLACES = np.arange(41) / 40  # of the winding, for protected_winding


def by_type(outcome: Outcome) -> pd.DataFrame:
    """How often each candidate misses each fault type, and operates on each event and state.

    Parameters
    ----------
    outcome : Outcome

    Returns
    -------
    DataFrame
        A row a candidate and type. `p` with limits [-]: missed for an internal fault, operated for
        the others. `weight`: the share of an internal fault, the events a year of an external one.
        `share_of_total`: of all missed faults, or of all false trips.
    """
    return rows_of_all(outcome, _type_rows)


def protected_winding(outcome: Outcome) -> pd.DataFrame:
    """How often each candidate detects an earth fault at a place along the winding.

    Parameters
    ----------
    outcome : Outcome

    Returns
    -------
    DataFrame
        A row a candidate and place: `x` from the neutral, 41 places [-], `p_detected` with limits
        [-]. Empty without earth faults.
    """
    import pandas as pd

    if EARTH not in outcome.first.strata:
        return pd.DataFrame(columns=["candidate", "x", "p_detected", "low", "high"])
    return rows_of_all(outcome, _protected_winding_rows)


def backup(outcome: Outcome) -> pd.DataFrame:
    """How often the back-up operates, whatever the candidate.

    Parameters
    ----------
    outcome : Outcome

    Returns
    -------
    DataFrame
        A row a type that touches earth, with limits [-]; empty without a back-up.
    """
    import pandas as pd

    columns = ["side", "type", "samples", "p_operates", "p_operates_low", "p_operates_high"]
    rows = []
    for name, stratum in outcome.first.backup.items():
        found, drawn = stratum.estimate(), int(stratum.trials.sum())
        limits = found.p[0], found.low[0], found.high[0]
        rows.append((name.side.value, name.kind, drawn, *limits))
    return pd.DataFrame(rows, columns=columns)


def turn_faults_missed(outcome: Outcome) -> pd.DataFrame:
    """How often each candidate misses each class of the faults between turns.

    p is that of the samples of the class, not their joint probability over the class's known share
    s: of n samples the first scatters by p(1 - p)/(s n), the second by p(1 - s p)/(s n), never less
    and beyond 1 (derived).

    Parameters
    ----------
    outcome : Outcome

    Returns
    -------
    DataFrame
        A row a candidate and class: its `share` of the faults between turns by the catalogue's
        weights, samples of it, `p_missed` with limits [-]; NaN, 0 and 1 without a sample. Empty
        where no fault between turns is sampled.
    """
    return rows_of_all(outcome, _class_rows)


def _class_rows(outcome: Outcome, batch: Batch, numbers: Numbers) -> pd.DataFrame:
    """One row a class with places and candidate."""
    import pandas as pd

    columns = ["candidate", "class", "share", "samples", *with_limits("p_missed"), "batch"]
    shares = class_shares(outcome.study) if batch.turn_classes else {}
    frames = [
        pd.DataFrame(
            {
                "candidate": numbers,
                "class": name,
                "share": shares[name],
                "samples": int(found.trials.sum()),
                **limit_columns("p_missed", found.estimate()),
                "batch": batch.number,
            },
            columns=columns,
        )
        for name, found in batch.turn_classes.items()
        if shares[name] > 0
    ]
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=columns)


def _type_rows(outcome: Outcome, batch: Batch, numbers: Numbers) -> pd.DataFrame:
    """One row a type and candidate; `numbers`: of the candidates."""
    import pandas as pd

    weight = weights_of(outcome.study)
    values = dict(zip(weight.internal, weight.shares, strict=True))
    values |= zip(weight.external, weight.rates, strict=True)
    for name in batch.strata:
        if name.side is Side.STATE:
            values.setdefault(name, np.nan)
    frames, found = [], {name: batch.strata[name].estimate() for name in values}
    shares = _shares_of_total(found, weight.internal, weight.shares) | _shares_of_total(
        found, weight.external, weight.event_shares
    )
    none = Estimate(*(np.full(len(numbers), np.nan),) * 3)
    for name, value in values.items():
        stratum, estimate, share = batch.strata[name], found[name], shares.get(name, none)
        frame = pd.DataFrame(
            {
                "candidate": numbers,
                "side": (Side.EXTERNAL if name in weight.external else name.side).value,
                "type": name.kind,
                "weight": value,
                "samples": int(stratum.trials.sum()),
                "unresolved": stratum.unresolved.sum(axis=1).astype(int),
                **limit_columns("p", estimate),
                "p_from": origin([stratum], len(numbers)),
                **limit_columns("share_of_total", share),
                "batch": batch.number,
            }
        )
        if outcome.study.backup is not None:
            nobody = batch.nobody.get(name, stratum).estimate()
            seen = nobody if name.side is Side.INTERNAL else (np.nan,) * 3
            frame = frame.assign(**limit_columns("p_nobody", seen))
        if EVOLVING in batch.strata:
            nothing = (np.nan,) * 3
            before = operated_before(stratum) or nothing
            frame = frame.assign(**limit_columns("p_operated_before", before))
        frames.append(frame)
    return pd.concat(frames, ignore_index=True)


def _shares_of_total(
    found: Mapping[Stratum, Estimate], names: Sequence[Stratum], weights: Sequence[float]
) -> dict[Stratum, Estimate]:
    """What each type makes of all missed faults, or of all false trips, by type, (C,)."""
    parts = ([getattr(found[name], part) for name in names] for part in ("p", "low", "high"))
    shares = shares_of_total(weights, *parts)
    return {name: Estimate(*(part[k] for part in shares)) for k, name in enumerate(names)}


def _protected_winding_rows(_: Outcome, batch: Batch, numbers: Numbers) -> pd.DataFrame:
    """One row a candidate and place; the batch has earth faults."""
    import pandas as pd

    curve = detection_curve(batch.strata[EARTH], PLACES)
    return pd.DataFrame(
        {
            "candidate": np.repeat(numbers, PLACES.size),
            "x": np.tile(PLACES, len(numbers)),
            "p_detected": curve.p.ravel(),
            "low": curve.low.ravel(),
            "high": curve.high.ravel(),
        }
    )
