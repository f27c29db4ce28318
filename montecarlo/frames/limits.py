"""Names and columns of an estimate with its limits, as every table has them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from montecarlo.estimates.intervals import Estimate
from montecarlo.estimates.verdicts import verdict_of


def with_limits(*names: str) -> tuple[str, ...]:
    """Each name with those of its lower and its upper limit: p, p_low, p_high.

    Parameters
    ----------
    *names : str

    Returns
    -------
    tuple of str
    """
    return tuple(f"{name}{end}" for name in names for end in ("", "_low", "_high"))


def limit_columns(name: str, found: Iterable[Any], at: int | None = None) -> dict[str, Any]:
    """An estimate, its lower and its upper limit under these names.

    Parameters
    ----------
    name : str
    found : Estimate, Total or three arrays
    at : int, optional
        Of one candidate only.

    Returns
    -------
    dict
        Arrays, or numbers of one estimate.
    """
    parts = found if at is None else (part[at] for part in found)
    values = (part if np.ndim(part) else float(part) for part in parts)
    return dict(zip(with_limits(name), values, strict=True))


def difference_columns(gap: Estimate) -> dict[str, Any]:
    """A paired difference, its limits, and what it shows.

    Parameters
    ----------
    gap : Estimate
        One difference.

    Returns
    -------
    dict
    """
    p, low, high = map(float, gap)
    return {"difference": p, "low": low, "high": high, "verdict": verdict_of(gap)}
