"""A distribution drawn towards its centre: what a tighter tolerance would make of it."""

from __future__ import annotations

from dataclasses import dataclass, field, fields

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.quantities.distribution import Distribution
from montecarlo.quantities.laws import Array

__all__ = ["narrowed"]


@dataclass(frozen=True)
class _Narrowed(Distribution):
    """Every value of `inner` moved towards the median until `share` of the distance is left."""

    inner: Distribution = field(kw_only=True)
    share: float = 1.0

    def _moved(self, value: Array) -> Array:
        return self.inner.centre() + self.share * (value - self.inner.centre())

    def ppf(self, u: ArrayLike) -> Array:
        return self._moved(self.inner.ppf(u))

    def cdf(self, x: ArrayLike) -> Array:
        return self.inner.cdf(self.inner.centre() + (np.asarray(x, float) - self.inner.centre()) / self.share)

    def support(self) -> tuple[float, float]:
        low, high = self.inner.support()
        centre = self.inner.centre()
        return centre + self.share * (low - centre), centre + self.share * (high - centre)

    def mean(self) -> float:
        return self.inner.centre() + self.share * (self.inner.mean() - self.inner.centre())

    def __str__(self) -> str:
        return f"{self.inner}, {self.share:g} of it"


def narrowed(distribution: Distribution, share: float) -> Distribution:
    """The distribution with every distance from its median times `share` in (0, 1]: half a uniform's or a normal's
    width, whatever the family; the median stays (derived)."""
    if distribution.is_number:
        return distribution
    same = {part.name: getattr(distribution, part.name) for part in fields(Distribution)}
    return _Narrowed(**same, inner=distribution, share=share)
