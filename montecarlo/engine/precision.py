"""The independent sample as large as the study's precision needs: planned from a batch that is
there, then drawn whole."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from montecarlo.engine.batch import Batch
from montecarlo.engine.winding import STEADY_INTERVALS
from montecarlo.estimates.assemble import Gathered
from montecarlo.estimates.choose import weights_of
from montecarlo.estimates.planning import planned
from montecarlo.estimates.rare import rare_estimate
from montecarlo.estimates.totals import Total
from montecarlo.sampling.stratum import EARTH
from montecarlo.study.axes import Setting
from montecarlo.study.budget import earth_fault_samples, weighted_samples
from montecarlo.study.description import Study


@dataclass(frozen=True)
class Precise:
    """What the chosen candidate reached on its independent sample.

    Attributes
    ----------
    reached : tuple
        Quantity, relative half-width asked for, and reached.
    samples, earth_faults : int
        Of each counted type; of earth faults.
    weighted : tuple of int, or None
        The fewest and the most of an event.
    most : int or None
        The limit that kept it short of that; None where it was reached.
    """

    reached: tuple[tuple[str, float, float], ...]
    samples: int
    earth_faults: int
    weighted: tuple[int, int] | None
    most: int | None


def precision_of(study: Study, batch: Batch, setting: Setting) -> Precise:
    """How near a batch comes to the precision that the study asks for.

    Parameters
    ----------
    study : Study
        In the sizes that were drawn.
    batch : Batch
    setting : Setting
        One of its candidates.

    Returns
    -------
    Precise
    """
    asked, at = study.study.precision, batch.settings.index(setting)
    assert asked is not None
    rare = [stratum.weighted for stratum in batch.strata.values() if stratum.weighted is not None]
    drawn = [weighted.sums.trials for weighted in rare]
    reached = [
        (name, wanted, _relative(total, at))
        for name, wanted, total in (
            ("p_missed", asked.p_missed, batch.judgement.missed),
            ("p_false", asked.p_false, batch.judgement.false),
        )
        if wanted is not None
    ]
    short = any(not width <= wanted for _, wanted, width in reached)
    return Precise(
        tuple(reached),
        study.study.samples,
        earth_fault_samples(study),
        (min(drawn), max(drawn)) if drawn else None,
        asked.most_samples if short else None,
    )


def _relative(total: Total, at: int) -> float:
    """Half of a 95 % interval over the estimate; infinite where that is 0."""
    half, p = (total.high[at] - total.low[at]) / 2, total.total[at]
    return float(half / p) if p > 0 else np.inf


def sizes_for(study: Study, batch: Batch, setting: Setting) -> dict[str, int]:
    """Sizes of a batch in which a candidate reaches its precision, as far as this one tells.

    All counted types have one size, so the larger need of p_missed and p_false decides it.

    Parameters
    ----------
    study : Study
        In the sizes of the batch.
    batch : Batch
    setting : Setting
        One of its candidates.

    Returns
    -------
    dict of str to int
        By key of [study].
    """
    asked, at = study.study.precision, batch.settings.index(setting)
    assert asked is not None
    weight, judged = weights_of(study), batch.judgement
    drawn = {
        "samples": study.study.samples,
        "earth_fault_samples": earth_fault_samples(study),
        "rare_samples": weighted_samples(study),
    }
    cost = {"samples": 1.0, "earth_fault_samples": STEADY_INTERVALS + 1.0, "rare_samples": 1.0}
    wanted = dict(drawn)
    for total, width, names, weights in (
        (judged.missed, asked.p_missed, weight.internal, weight.shares),
        (judged.false, asked.p_false, weight.external, weight.event_shares),
    ):
        p = float(total.total[at])
        if width is None or not p > 0:
            continue
        squares: dict[str, float] = {}
        for name, w in zip(names, weights, strict=True):
            key = _size_of(batch.strata[name], at)
            half = w * _half(batch.strata[name], at, drawn["rare_samples"])
            squares[key] = squares.get(key, 0.0) + half**2
        sizes = planned(
            [square**0.5 for square in squares.values()],
            [drawn[key] for key in squares],
            [cost[key] for key in squares],
            width * p,
        )
        for key, size in zip(squares, sizes, strict=True):
            wanted[key] = max(wanted[key], int(size))
    return {key: max(min(size, asked.most_samples), drawn[key]) for key, size in wanted.items()}


def _size_of(stratum: Gathered, candidate: int) -> str:
    """The key of [study] that says how many samples its interval rests on."""
    if stratum.name == EARTH:
        return "earth_fault_samples"
    rare = stratum.weighted
    return "samples" if rare is None or not rare.used[candidate] else "rare_samples"


def _half(stratum: Gathered, candidate: int, rare_samples: int) -> float:
    """Half of a type's interval. Of weighted samples their own, at this number of them: limits that
    reach over those of the counts for want of hits do so no more when there are enough."""
    rare = stratum.weighted
    if rare is None or not rare.used[candidate]:
        limits, times = stratum.estimate(), 1.0
    else:
        limits, times = rare_estimate(rare.sums), rare.sums.trials / rare_samples
    return float((limits.high[candidate] - limits.low[candidate]) / 2 * np.sqrt(times))
