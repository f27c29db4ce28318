"""One judgement from several of the same candidates: each by its worst assumption set."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from montecarlo.estimates.choose import Judgement
from montecarlo.estimates.totals import Total
from montecarlo.quantities import Array, Flags
from montecarlo.sampling.stratum import Stratum

Places = NDArray[np.intp]


def worst_places(judged: Sequence[Judgement]) -> Places:
    """Which judgement has the largest aim of each candidate.

    Parameters
    ----------
    judged : sequence of Judgement

    Returns
    -------
    (C,) array of int
        The first of equal ones, one without a result before all.
    """
    return _largest([each.aim for each in judged])


def worst_of(judged: Sequence[Judgement]) -> Judgement:
    """Each candidate by its worst assumption set.

    Aim and p_missed of that assumption set, its most frequent false trips and largest bound of any,
    and allowed only where every assumption set allows it.

    Parameters
    ----------
    judged : sequence of Judgement

    Returns
    -------
    Judgement
    """
    if len(judged) == 1:
        return judged[0]
    at = worst_places(judged)
    tripping = _largest([each.false.total for each in judged])
    costs = [each.cost for each in judged if each.cost is not None]

    def largest(name: str) -> Array:
        return np.asarray(np.max([getattr(each, name) for each in judged], axis=0))

    def everywhere(name: str) -> Flags:
        return np.asarray(np.all([getattr(each, name) for each in judged], axis=0))

    return Judgement(
        _picked([each.missed for each in judged], at),
        _picked([each.false for each in judged], tripping),
        largest("bound"),
        largest("load_share"),
        largest("open_ct_circuit_share"),
        largest("unresolved"),
        everywhere("knee_rule"),
        everywhere("allowed"),
        everywhere("usable"),
        largest("limit_used"),
        _picked(costs, at) if costs else None,
        _largest_of_each(judged),
        judged[0].demand,
    )


def _largest_of_each(judged: Sequence[Judgement]) -> dict[Stratum, Array]:
    """The largest bound of each kind of event, of the assumption sets that have it."""
    kinds = dict.fromkeys(kind for each in judged for kind in each.each)
    return {
        kind: np.max([each.each[kind] for each in judged if kind in each.each], axis=0)
        for kind in kinds
    }


def _largest(values: Sequence[Array]) -> Places:
    stacked = np.stack(values)
    return np.asarray(np.argmax(np.where(np.isnan(stacked), np.inf, stacked), axis=0))


def _picked(totals: Sequence[Total], at: Places) -> Total:
    parts = np.stack([np.stack(total) for total in totals])  # (judgements, 3, C)
    return Total(*np.take_along_axis(parts, at[None, None], axis=0)[0])
