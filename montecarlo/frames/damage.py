"""The damage of earth faults by the path that clears them and by zone, and what exceeds it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from montecarlo.engine.damage import Burnt
from montecarlo.estimates.intervals import student, student_mean
from montecarlo.frames.limits import limit_columns
from montecarlo.plant.damage import Damage
from montecarlo.quantities import Array, Flags

if TYPE_CHECKING:
    import pandas as pd

ALL = "all"
UNSEEN, FAILED = "nobody, not seen", "nobody, parts failed"
QUANTILES = {"median": 0.5, "p95": 0.95}  # over faults and the paths that clear them


def damage_frame(
    names: Sequence[str], blocks: Sequence[Burnt], trials: float, *, split: bool
) -> pd.DataFrame:
    """The table damage.csv: a row for all, a row a path, then nobody.

    Parameters
    ----------
    names : sequence of str
        Of the paths, then nobody.
    blocks : sequence of Burnt
    trials : float
        Faults.
    split : bool
        Whether faults that nobody clears stand once more in two rows: those that no path sees, and
        those that a path sees whose parts have failed.

    Returns
    -------
    DataFrame
    """
    import pandas as pd

    columns: list[tuple[str, int | slice]] = [
        (ALL, slice(None)),
        *((name, at) for at, name in enumerate(names)),
    ]
    rows = [_damage_row(name, at, blocks, trials) for name, at in columns]
    for name, seen in ((UNSEEN, False), (FAILED, True)) if split else ():
        part = [_only(one, one.seen == seen) for one in blocks]
        rows.append(_damage_row(name, -1, part, trials))
    return pd.DataFrame(rows)


def above(blocks: Sequence[Burnt], points: int) -> tuple[Array, Array, Array]:
    """How many earth faults do more than a damage, and how many of these nobody clears.

    Parameters
    ----------
    blocks : sequence of Burnt
    points : int
        Damages in even steps of their logarithm, from the least to the most.

    Returns
    -------
    (points,) array (s), (points,) array (-), (points,) array (-)
    """
    weight, harm = (
        np.concatenate([getattr(one, part) for one in blocks])
        for part in ("weight", "equivalent_s")
    )
    weight = np.where(np.isfinite(weight), weight, 0.0)
    some = harm[(weight > 0) & (harm > 0)]
    ends = (some.min(), some.max()) if some.size else (1.0, 10.0)
    seconds = np.geomspace(ends[0], max(ends[1], 1.01 * ends[0]), points)
    total = weight.sum()
    shares = []
    for columns in (slice(None), slice(-1, None)):
        one, own = harm[:, columns].ravel(), weight[:, columns].ravel()
        order = np.argsort(one)
        up_to = np.concatenate([[0.0], np.cumsum(own[order])])
        found = up_to[np.searchsorted(one[order], seconds, side="right")]
        shares.append((up_to[-1] - found) / total)
    return seconds, shares[0], shares[1]


def zones_frame(given: Damage, blocks: Sequence[Burnt], trials: float) -> pd.DataFrame:
    """The table damage_zones.csv: a row a zone; empty without zones.

    Parameters
    ----------
    given : Damage
    blocks : sequence of Burnt
    trials : float
        Faults.

    Returns
    -------
    DataFrame
    """
    import pandas as pd

    if not given.zones:
        return pd.DataFrame()
    ends = [(zone.name, zone.current_a, zone.time_s) for zone in given.zones]
    ends.append((given.beyond, np.nan, np.nan))
    return pd.DataFrame(
        [
            {
                "zone": name,
                "up_to_a": current,
                "for_s": time,
                **limit_columns("p", student_mean(_in_zone(blocks, at), trials=trials)),
            }
            for at, (name, current, time) in enumerate(ends)
        ]
    )


def _damage_row(
    name: str, at: int | slice, blocks: Sequence[Burnt], trials: float
) -> dict[str, Any]:
    weight, harm, after, iron = (
        np.concatenate([getattr(one, part)[:, at].ravel() for one in blocks])
        for part in ("weight", "equivalent_s", "after_share", "iron_cm3")
    )
    known = np.isfinite(weight) & (weight > 0)
    weight, harm, after, iron = (one[known] for one in (weight, harm, after, iron))
    total = float((weight * harm).sum())
    p = student_mean(block_means(blocks, at, None), trials=trials)
    return {
        "path": name,
        **limit_columns("p", (1.0, 1.0, 1.0) if name == ALL else p),
        **limit_columns("mean_s", student(block_means(blocks, at, "equivalent_s"))),
        **{f"{word}_s": _quantile(harm, weight, q) for word, q in QUANTILES.items()},
        "after_opening_share": float((weight * harm * after).sum()) / total if total else 0.0,
        **{f"iron_{word}_cm3": _quantile(iron, weight, q) for word, q in QUANTILES.items()},
    }


def _only(one: Burnt, rows: Flags) -> Burnt:
    """The same faults, of which only those rows count."""
    return replace(one, weight=np.where(rows[:, None], one.weight, 0.0 * one.weight))


def faults(one: Burnt) -> float:
    return float(np.isfinite(one.weight[:, 0]).sum())


def block_means(blocks: Sequence[Burnt], at: int | slice, part: str | None) -> Array:
    """Of each block, over its faults: the probability of a path, or its part of a mean."""
    found = []
    for one in blocks:
        value = 1.0 if part is None else getattr(one, part)[:, at]
        found.append(np.nansum(one.weight[:, at] * value) / faults(one))
    return np.array(found)


def _in_zone(blocks: Sequence[Burnt], at: int) -> Array:
    return np.array([np.nansum(one.weight * (one.beyond == at)) / faults(one) for one in blocks])


def _quantile(values: Array, weights: Array, share: float) -> float:
    """The smallest value with at least that share of the weights up to it."""
    if not values.size:
        return float("nan")
    order = np.argsort(values)
    reached = np.cumsum(weights[order])
    at = np.searchsorted(reached, share * reached[-1] * (1 - 1e-12))
    return float(values[order][min(int(at), values.size - 1)])
