"""Whether a density shows enough of what the settings ask for, so that no better one is sought.

Judged by what it promises to a final batch, from samples that were drawn from it and that it was
not fitted to. The final batch has random numbers of its own, so that the judgement cannot bias it:
a density that is given up too early costs variance and nothing else."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from montecarlo.estimates.rare.levels import Ranked, size_of
from montecarlo.estimates.rare.limits import COMMON, HITS, ONE, PASSED, SHOWN, Seen
from montecarlo.quantities import Array


@dataclass(frozen=True)
class Asked:
    """What a final batch shall show."""

    trials: int  # its size
    decides: float  # p from which an event decides about a setting


def is_enough(
    quantities: Array, log_w: Array, thresholds: Sequence[Sequence[float]], asked: Asked
) -> bool:
    """Whether samples promise enough effective hits beyond every threshold that is neither common
    nor out of reach.

    Parameters
    ----------
    quantities : (n, C) array
        Of each curve.
    log_w : (n,) array
        ln of the weights.
    thresholds : sequence of sequence of float
        Of each curve.
    asked : Asked

    Returns
    -------
    bool
    """
    ranked = [Ranked(quantity, log_w) for quantity in quantities.T]
    return all(
        _promised(each, log_w, threshold, asked)
        for each, own in zip(ranked, thresholds, strict=True)
        for threshold in own
    )


def _promised(ranked: Ranked, log_w: Array, threshold: float, asked: Asked) -> bool:
    if ranked.unreached(threshold, SHOWN):
        return False
    beyond = log_w[ranked.known > threshold]
    w = np.exp(beyond)
    p = w.sum() / len(log_w)
    if not SHOWN <= p < COMMON:
        return True
    seen = Seen(len(log_w), p, size_of(beyond), w.max() / w.sum(), 0.0)
    hoped = seen.expected(asked.trials)
    if p >= asked.decides and hoped.steady_hits < HITS:
        return False
    return bool(hoped.effective >= PASSED and hoped.largest_share <= ONE)
