"""The families of distributions: quantile function, cumulative probability, support and mean of
each.

They are scipy.stats' own definitions, written with `scipy.special`: `check` and the command line
never load scipy.stats (most of a second), a frozen law there costs 25 times as much a call on a
block of samples, and it cuts no law. A test compares each with its namesake there.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Protocol

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from montecarlo.quantities.arrays import Array


class Law(Protocol):
    """A distribution of one number."""

    def ppf(self, u: ArrayLike) -> Array:
        """Quantiles, in the unit of the number.

        Parameters
        ----------
        u : array_like (-)
            In (0, 1).

        Returns
        -------
        array of the shape of u
        """
        ...

    def cdf(self, x: ArrayLike) -> Array:
        """Probability of a value <= x. [-]

        Parameters
        ----------
        x : array_like
            In the unit of the number.

        Returns
        -------
        array of the shape of x
        """
        ...

    def support(self) -> tuple[float, float]:
        """Smallest and largest value, or what values come near to.

        Returns
        -------
        (float, float)
        """
        ...

    def mean(self) -> float:
        """The mean.

        Returns
        -------
        float
        """
        ...


def _floats(values: ArrayLike) -> Array:
    return np.asarray(values, float)


@dataclass(frozen=True)
class Uniform(Law):
    """Every value between two alike."""

    low: float
    high: float

    def ppf(self, u: ArrayLike) -> Array:
        return self.low + (self.high - self.low) * _floats(u)

    def cdf(self, x: ArrayLike) -> Array:
        return np.clip((_floats(x) - self.low) / (self.high - self.low), 0.0, 1.0)

    def support(self) -> tuple[float, float]:
        return self.low, self.high

    def mean(self) -> float:
        return (self.low + self.high) / 2


@dataclass(frozen=True)
class Normal(Law):
    """By mean and standard deviation."""

    centre: float
    sd: float

    def ppf(self, u: ArrayLike) -> Array:
        return _floats(self.centre + self.sd * special.ndtri(u))

    def cdf(self, x: ArrayLike) -> Array:
        return _floats(special.ndtr((_floats(x) - self.centre) / self.sd))

    def support(self) -> tuple[float, float]:
        return -math.inf, math.inf

    def mean(self) -> float:
        return self.centre


@dataclass(frozen=True)
class Lognormal(Law):
    """By median and standard deviation of the natural logarithm."""

    median: float
    sigma: float

    def ppf(self, u: ArrayLike) -> Array:
        return _floats(self.median * np.exp(self.sigma * special.ndtri(u)))

    def cdf(self, x: ArrayLike) -> Array:
        positive = np.maximum(_floats(x), np.finfo(float).tiny)
        return _floats(special.ndtr(np.log(positive / self.median) / self.sigma))

    def support(self) -> tuple[float, float]:
        return 0.0, math.inf

    def mean(self) -> float:
        # a Python power raises where it overflows
        return float(self.median * np.exp(np.square(self.sigma) / 2))


@dataclass(frozen=True)
class Triangular(Law):
    """Density rising straight to the mode and falling straight from it."""

    low: float
    mode: float
    high: float

    def ppf(self, u: ArrayLike) -> Array:
        u = _floats(u)
        width = self.high - self.low
        rising = self.low + np.sqrt(u * width * (self.mode - self.low))
        falling = self.high - np.sqrt((1 - u) * width * (self.high - self.mode))
        return np.where(u * width <= self.mode - self.low, rising, falling)

    def cdf(self, x: ArrayLike) -> Array:
        x = np.clip(_floats(x), self.low, self.high)
        width = self.high - self.low
        left = max(self.mode - self.low, np.finfo(float).tiny)
        right = max(self.high - self.mode, np.finfo(float).tiny)
        return np.where(
            x <= self.mode,
            (x - self.low) / width * ((x - self.low) / left),
            1 - (self.high - x) / width * ((self.high - x) / right),
        )

    def support(self) -> tuple[float, float]:
        return self.low, self.high

    def mean(self) -> float:
        return (self.low + self.mode + self.high) / 3


@dataclass(frozen=True)
class Beta(Law):
    """By its two exponents, from low to high."""

    alpha: float
    beta: float
    low: float
    high: float

    def ppf(self, u: ArrayLike) -> Array:
        return _floats(
            self.low + (self.high - self.low) * special.betaincinv(self.alpha, self.beta, u)
        )

    def cdf(self, x: ArrayLike) -> Array:
        share = np.clip((_floats(x) - self.low) / (self.high - self.low), 0.0, 1.0)
        return _floats(special.betainc(self.alpha, self.beta, share))

    def support(self) -> tuple[float, float]:
        return self.low, self.high

    def mean(self) -> float:
        return self.low + (self.high - self.low) * self.alpha / (self.alpha + self.beta)


@dataclass(frozen=True)
class Weibull(Law):
    """By its exponent and the value below which 63 % lie."""

    shape: float
    scale: float

    def ppf(self, u: ArrayLike) -> Array:
        return _floats(self.scale * (-np.log1p(-_floats(u))) ** (1 / self.shape))

    def cdf(self, x: ArrayLike) -> Array:
        return -np.expm1(-((np.maximum(_floats(x), 0.0) / self.scale) ** self.shape))

    def support(self) -> tuple[float, float]:
        return 0.0, math.inf

    def mean(self) -> float:
        return float(self.scale * special.gamma(1 + 1 / self.shape))


@dataclass(frozen=True)
class Discrete(Law):
    """Values with weights; the quantile function is a staircase."""

    values: tuple[float, ...]
    weights: tuple[float, ...]

    @cached_property
    def _sorted(self) -> tuple[Array, Array]:
        order = np.argsort(self.values, kind="stable")
        weights = _floats(self.weights)[order]
        found = _floats(self.values)[order], np.cumsum(weights) / weights.sum()
        for part in found:
            part.setflags(write=False)
        return found

    def ppf(self, u: ArrayLike) -> Array:
        values, cumulated = self._sorted
        return values[np.minimum(np.searchsorted(cumulated, u, side="left"), len(values) - 1)]

    def cdf(self, x: ArrayLike) -> Array:
        values, cumulated = self._sorted
        return np.concatenate(([0.0], cumulated))[np.searchsorted(values, x, side="right")]

    def support(self) -> tuple[float, float]:
        possible = [
            value for value, weight in zip(self.values, self.weights, strict=True) if weight > 0
        ]
        return min(possible), max(possible)

    def mean(self) -> float:
        return float(np.average(self.values, weights=self.weights))


@dataclass(frozen=True)
class Cut(Law):
    """A continuous law given that its value lies in [low, high]."""

    law: Law
    low: float
    high: float

    @cached_property
    def _edges(self) -> tuple[float, float]:
        below, above = self.law.cdf((self.low, self.high))
        return float(below), float(above)

    @property
    def kept(self) -> float:
        """Share of the law that the cut keeps."""
        return self._edges[1] - self._edges[0]

    def ppf(self, u: ArrayLike) -> Array:
        return np.clip(self.law.ppf(self._edges[0] + self.kept * _floats(u)), self.low, self.high)

    def cdf(self, x: ArrayLike) -> Array:
        return np.clip((self.law.cdf(x) - self._edges[0]) / self.kept, 0.0, 1.0)

    def support(self) -> tuple[float, float]:
        low, high = self.law.support()
        return max(low, self.low), min(high, self.high)

    def mean(self) -> float:
        """The integral of the quantile function.

        u = t³(10 − 15t + 6t²) takes the steepness out of its ends.

        Returns
        -------
        float
        """
        t = (np.arange(4096) + 0.5) / 4096
        return float(np.mean(self.ppf(t**3 * (10 - 15 * t + 6 * t**2)) * 30 * (t * (1 - t)) ** 2))


def _band(nominal: float, tolerance_percent: float, shape: str) -> Law:
    """nominal ± tolerance; a normal shape puts two standard deviations at the band's edge and is
    cut at three."""
    half = abs(nominal) * tolerance_percent / 100
    match shape:
        case "uniform":
            return Uniform(nominal - half, nominal + half)
        case "triangular":
            return Triangular(nominal - half, nominal, nominal + half)
        case "normal":
            return Cut(Normal(nominal, half / 2), nominal - 1.5 * half, nominal + 1.5 * half)
    raise ValueError(f"shape {shape!r}: say uniform, triangular or normal")


def _equal_weights(values: tuple[float, ...]) -> Law:
    return Discrete(values, (1.0,) * len(values))


@dataclass(frozen=True)
class Family:
    """How a distribution is written and built."""

    build: Callable[..., Law]
    keys: tuple[str, ...]
    positive: tuple[str, ...] = ()  # keys that must be positive
    continuous: bool = True
    above_zero: bool = False  # draws come as near to 0 as one likes, and are positive


FAMILIES: dict[str, Family] = {
    "tolerance": Family(_band, ("nominal", "tolerance_percent", "shape"), ("tolerance_percent",)),
    "uniform": Family(Uniform, ("low", "high")),
    "normal": Family(lambda mean, sd: Normal(mean, sd), ("mean", "sd"), ("sd",)),
    "lognormal": Family(Lognormal, ("median", "sigma"), ("median", "sigma"), above_zero=True),
    "triangular": Family(Triangular, ("low", "mode", "high")),
    "beta": Family(Beta, ("alpha", "beta", "low", "high"), ("alpha", "beta")),
    "weibull": Family(Weibull, ("shape", "scale"), ("shape", "scale"), above_zero=True),
    "discrete": Family(Discrete, ("values", "weights"), continuous=False),
    "empirical": Family(_equal_weights, ("values",), continuous=False),
}

KEY_TEXTS: dict[str, str] = {
    "nominal": "middle of the band",
    "tolerance_percent": "half-width of the band, in per cent of nominal",
    "shape": (
        "shape of the band (a normal one has two standard deviations at its edge and is cut at"
        " three); of a weibull distribution, its exponent"
    ),
    "low": "smallest value",
    "high": "largest value",
    "mean": "mean",
    "sd": "standard deviation",
    "median": "median",
    "sigma": "standard deviation of the natural logarithm",
    "mode": "likeliest value",
    "alpha": "first exponent",
    "beta": "second exponent",
    "scale": "value below which 63 % lie",
    "values": "the values",
    "weights": "probability of each value; they sum to 1",
}


def build(family: str, parameters: dict[str, Any], truncate: tuple[float, float]) -> Law:
    """The law of a family with its parameters.

    Parameters
    ----------
    family : str
        A key of `FAMILIES`.
    parameters : dict
        By the family's keys.
    truncate : (float, float)
        The range to which it is cut, where that is finite.

    Returns
    -------
    Law
    """
    law = FAMILIES[family].build(**parameters)
    return law if truncate == (-math.inf, math.inf) else Cut(law, *truncate)
