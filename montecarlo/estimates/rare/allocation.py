"""Shares of a mixture's components, so that no setting of the family is served much worse than another."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from montecarlo.estimates.rare.mixture import Mixture
from montecarlo.quantities import Array

__all__ = ["allocate"]

STEPS = 40
TRUST = 0.7                                                # in the optimised shares; the rest stays as it was
SMALLEST = 5e-4                                            # share of a component that is worth its while


def allocate(mixture: Mixture, u: Array, weights: Array, events: Sequence[NDArray[np.intp]],
             least: Array) -> Mixture:
    """The mixture with shares that lower the largest relative variances of the events.

    u (n, d) with weights (n,) phi/q; events: rows of u that belong to each; least (K,): smallest shares. The variance
    of an event's estimate is convex in the shares (He and Owen, arXiv:1411.3954, 2014; from memory). Each step
    multiplies a share by its part in the weighted sum of relative variances, events weighing what their own variance
    is (derived). 70 % of the result and 30 % of the shares before: what few samples say is not the whole truth."""
    rows = np.unique(np.concatenate(list(events)))
    ratios = np.exp(np.minimum(mixture.log_ratios(u[rows]), 300.0)) / mixture.shares         # q_k/phi, (n, K)
    member = np.zeros((len(events), rows.size))
    for k, event in enumerate(events):
        w = weights[event]
        member[k, np.searchsorted(rows, event)] = w / w.sum() ** 2
    shares = mixture.shares.copy()
    for _ in range(STEPS):
        density = ratios @ shares
        variance = member @ (1 / density)                  # of each event, relative to its p squared, (A,)
        gain = ((variance @ member) / density**2) @ ratios
        shares = _at_least(shares * gain / (shares @ gain), least)
    shares = TRUST * shares + (1 - TRUST) * mixture.shares
    kept = np.flatnonzero((shares >= SMALLEST) | (least > 0))
    shares = _at_least(shares[kept] / shares[kept].sum(), least[kept])
    return Mixture(mixture.dims, mixture.active, shares, mixture.means[kept], mixture.sds[kept])


def _at_least(shares: Array, least: Array) -> Array:
    """Shares that sum to 1, none below its least."""
    above = np.maximum(shares - least, 0.0)
    return np.asarray(least + above * (1 - least.sum()) / above.sum())
