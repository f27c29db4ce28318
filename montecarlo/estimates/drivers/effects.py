"""First and total Sobol' effects of groups of inputs, with limits.

First: by how much the variance of the output would fall on average if the group were known (Sobol',
Math. Comput. Simul. 55, 2001, 271-280); total: what would be left of it if everything else were
known (Homma and Saltelli, Reliab. Eng. Syst. Saf. 52, 1996, 1-17). Estimators of Saltelli et al.,
Comput. Phys. Commun. 181, 2010, 259-270, as `scipy.stats.sobol_indices` has them; a group is
swapped as a whole."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from montecarlo.estimates.intervals import Estimate
from montecarlo.quantities import Array

RESAMPLES = 400


@dataclass(frozen=True, eq=False)
class Effects:
    """Of every group, (k,) each: shares of the output's variance."""

    first: Estimate
    total: Estimate


def sobol_effects(
    f_a: Array, f_b: Array, f_ab: Array, rng: np.random.Generator, level: float = 0.95
) -> Effects:
    """First and total effects of groups of inputs, with limits. [-]

    Limits: percentiles over resampled rows (bootstrap: Efron and Tibshirani, An Introduction to the
    Bootstrap, 1993, ch. 13, from memory). On one net in the columns of both sets they are wider
    than they need be, since its rows are no independent draws. Not clipped: an estimate may lie
    below 0 or above 1 by chance. An output that never varies has effects of 0.

    Parameters
    ----------
    f_a, f_b : (n,) array
        The output at two independent sets of points, n a power of two; no NaN.
    f_ab : (k, n) array
        At the first set with the columns of one group from the second; k of at least 2.
    rng : numpy.random.Generator
    level : float (-)

    Returns
    -------
    Effects
    """
    n = f_a.size
    first, total = _indices(f_a, f_b, f_ab)
    drawn = np.empty((RESAMPLES, 2, len(f_ab)))
    for each in drawn:
        rows = rng.integers(n, size=n)
        each[:] = _indices(f_a[rows], f_b[rows], f_ab[:, rows])
    low, high = np.quantile(drawn, [(1 - level) / 2, (1 + level) / 2], axis=0)
    return Effects(Estimate(first, low[0], high[0]), Estimate(total, low[1], high[1]))


def _indices(f_a: Array, f_b: Array, f_ab: Array) -> tuple[Array, Array]:
    from scipy.stats import sobol_indices  # scipy.stats is heavy

    found = sobol_indices(
        func={"f_A": f_a[None], "f_B": f_b[None], "f_AB": f_ab[:, None]}, n=f_a.size
    )
    return np.asarray(found.first_order, float), np.asarray(found.total_order, float)
