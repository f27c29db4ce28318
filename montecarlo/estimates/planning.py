"""How many samples an independent sample needs for a wanted precision, planned from a batch that is
there.

The size is fixed before the batch is drawn. Watching the interval shrink and stopping when it suits
would bias a probability upwards: a run of luck with many hits looks precise too soon."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.quantities import Array

# the half-widths that a plan rests on are estimates themselves; common practice, no source
SAFETY = 1.15


def planned(halves: ArrayLike, drawn: ArrayLike, costs: ArrayLike, target: float) -> Array:
    """Samples of each part for a wanted half-width of their sum.

    The least total cost Σ cost·n under Σ half²·drawn/n = target² has n in proportion to
    half·√(drawn/cost) (Neyman, J. R. Stat. Soc. 97, 1934; with costs Cochran, Sampling Techniques,
    5.5).

    Parameters
    ----------
    halves : (parts,) array_like
        Half-width of each part's interval at `drawn` samples, weights taken in; they fall as 1/√n
        (on
        nets faster, so that a plan for them is on the safe side).
    drawn, costs : (parts,) array_like
        Samples drawn, and what one costs.
    target : float
        Half-width of the sum.

    Returns
    -------
    (parts,) array
        At least what was drawn.
    """
    half, n, cost = (np.asarray(a, float) for a in (halves, drawn, costs))
    unit = half * np.sqrt(n)  # half-width of one sample
    wanted = unit / np.sqrt(cost) * np.sum(unit * np.sqrt(cost)) * (SAFETY / target) ** 2
    return np.asarray(np.ceil(np.maximum(wanted, n)))
