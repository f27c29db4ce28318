"""What a paired difference shows."""

from __future__ import annotations

from enum import Enum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from montecarlo.estimates.intervals import Estimate


class Verdict(Enum):
    """Of two candidates, at the level of the limits."""

    APART = "apart"
    ALIKE = "alike"  # 0 lies within the limits, or there is no result
    ITSELF = "itself"  # the two are one


def verdict_of(gap: Estimate) -> Verdict:
    """Whether 0 lies outside the limits of a difference; no result tells nothing apart.

    Parameters
    ----------
    gap : Estimate
        One difference, with limits.

    Returns
    -------
    Verdict
        APART or ALIKE.
    """
    return Verdict.APART if gap.low > 0 or gap.high < 0 else Verdict.ALIKE
