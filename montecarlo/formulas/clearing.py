"""Which of several paths clears a fault, where each may fail and several share parts.

Derived. A path is all that must work from CT to breaker. Given which common parts have failed, the
paths fail independently. Then path j clears if it works and all that are faster do not."""

from __future__ import annotations

from itertools import product

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.quantities import Array


def first_that_works(
    times_s: ArrayLike, failure: ArrayLike, part_failure: ArrayLike = (), needs: ArrayLike = ()
) -> Array:
    """Probability that each path is the first that works, and that none does; exact. [-]

    Parameters
    ----------
    times_s : array_like, (n, J) (s)
        Operating time of each path; inf where it does not see the fault. Of equal times the
        earlier column's path comes first.
    failure : array_like, (J,) or (n, J) (-)
        Probability that the path's own parts fail.
    part_failure : array_like, (g,) or (n, g) (-)
        The same of parts that paths share. Each of their 2^g states takes a pass over all samples;
        those that cannot occur are left out.
    needs : array_like of bool, (g, J)
        Which paths need each part.

    Returns
    -------
    array, (n, J + 1) (-)
        A column each path, then that of no path. NaN in all columns where a time is NaN.

    Examples
    --------
    Two paths that fail once in ten, and a battery that fails once in a hundred:

    >>> first_that_works([[0.1, 0.4]], [0.1, 0.1]).round(4)
    array([[0.9 , 0.09, 0.01]])
    >>> first_that_works([[0.1, 0.4]], [0.1, 0.1], [0.01], [[True, True]]).round(4)
    array([[0.891 , 0.0891, 0.0199]])
    """
    times = np.asarray(times_s, float)
    order = np.argsort(times, axis=1, kind="stable")
    sees = np.isfinite(np.take_along_axis(times, order, 1))
    own = np.broadcast_to(1 - np.asarray(failure, float), times.shape)
    works = np.where(sees, np.take_along_axis(own, order, 1), 0.0)
    parts = np.asarray(part_failure, float)
    needed = np.asarray(needs, bool) if parts.size else np.zeros((0, times.shape[1]), bool)

    first, nobody = np.zeros(times.shape), np.zeros(len(times))
    for state in product((False, True), repeat=parts.shape[-1]):
        failed = np.array(state, bool)
        weight = np.prod(np.where(failed, parts, 1 - parts), axis=-1)
        if np.all(weight == 0):
            continue
        clears, left = _in_order(works * ~needed[failed].any(axis=0)[order])
        first += weight[..., None] * clears
        nobody += weight * left

    found = np.empty((len(times), times.shape[1] + 1))
    np.put_along_axis(found, order, first, axis=1)
    found[:, -1] = nobody
    found[np.isnan(times).any(axis=1)] = np.nan
    return found


def _in_order(works: Array) -> tuple[Array, Array]:
    """First to work of independent paths, the fastest in front, and none of them. (n, J), (n,)"""
    fails = np.ones((works.shape[0], works.shape[1] + 1))
    np.cumprod(1 - works, axis=1, out=fails[:, 1:])
    return works * fails[:, :-1], fails[:, -1]
