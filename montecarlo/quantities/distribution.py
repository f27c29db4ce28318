"""A number or a distribution, as the file gave it: immutable, picklable, and drawn through its
quantile function."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike

from montecarlo.quantities.arrays import Array
from montecarlo.quantities.frozen import frozen
from montecarlo.quantities.laws import FAMILIES, Law, build

Varies = Literal["installation", "event"]
EVERYTHING = (-math.inf, math.inf)


@dataclass(frozen=True)
class Distribution:
    """A number (family "number") or a distribution; files are read by `read_distribution`.

    Parameters
    ----------
    family : str
        "number" or a key of `FAMILIES`.
    parameters : mapping
        By the family's keys, in the unit of the key that holds the distribution.
    truncate : (float, float)
        The range to which a continuous family is cut.
    shared : bool
        Whether all CTs, or all elements, have the same value.
    varies : str
        "installation", "event", or "" where the field's own default holds.
    source : str
        Where the values come from; one that begins with "assumed" is a guess.
    """

    family: str
    parameters: Mapping[str, Any] = field(default_factory=dict)
    truncate: tuple[float, float] = EVERYTHING
    shared: bool = False
    varies: Varies | Literal[""] = ""
    source: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "parameters", frozen(self.parameters))

    @cached_property
    def law(self) -> Law:
        """Quantile function and the rest, of a distribution that is no number."""
        return build(self.family, dict(self.parameters), self.truncate)

    @property
    def is_assumed(self) -> bool:
        """Whether its author calls it a guess."""
        return self.source.startswith("assumed")

    @property
    def is_number(self) -> bool:
        """Whether it is a plain number."""
        return self.family == "number"

    @property
    def is_continuous(self) -> bool:
        """Whether it can be cut: neither a number nor a list of values."""
        return not self.is_number and FAMILIES[self.family].continuous

    def ppf(self, u: ArrayLike) -> Array:
        """Quantiles, in the unit of the key.

        Parameters
        ----------
        u : array_like
            In (0, 1).

        Returns
        -------
        array of the shape of u
        """
        if self.is_number:
            return np.full(np.shape(u), self.parameters["value"])
        return self.law.ppf(u)

    def cdf(self, x: ArrayLike) -> Array:
        """Probability of a value <= x. [-]

        Parameters
        ----------
        x : array_like

        Returns
        -------
        array of the shape of x
        """
        if self.is_number:
            return np.asarray(np.asarray(x) >= self.parameters["value"], float)
        return self.law.cdf(x)

    def support(self) -> tuple[float, float]:
        """The range of the draws.

        Returns
        -------
        (float, float)
            Smallest and largest value that can be drawn, or that draws can come near to.
        """
        if self.is_number:
            return self.parameters["value"], self.parameters["value"]
        return self.law.support()

    def stays_above(self, limit: float) -> bool:
        """Whether every value drawn lies above a limit.

        Parameters
        ----------
        limit : float

        Returns
        -------
        bool
        """
        low = self.support()[0]
        return low > limit or (
            low == limit == 0 and not self.is_number and FAMILIES[self.family].above_zero
        )

    def mean(self) -> float:
        """The mean, in the unit of the key.

        Returns
        -------
        float
        """
        return float(self.parameters["value"]) if self.is_number else self.law.mean()

    def centre(self) -> float:
        """The nominal value for hand calculations: the median.

        Returns
        -------
        float
        """
        return float(self.parameters["value"] if self.is_number else self.law.ppf(0.5))

    def as_table(self) -> float | dict[str, Any]:
        """As a study file would give it; lists of values stand in it whole.

        Returns
        -------
        float or dict
        """
        if self.is_number and not self.source:
            return float(self.parameters["value"])
        table: dict[str, Any] = {}
        if self.family not in ("number", "tolerance"):
            table["dist"] = self.family
        for key, value in self.parameters.items():
            table[key] = list(value) if isinstance(value, tuple) else value
        if self.truncate != EVERYTHING:
            table["truncate"] = list(self.truncate)
        extras = {"shared": self.shared, "varies": self.varies, "source": self.source}
        return table | {key: value for key, value in extras.items() if value}

    def __str__(self) -> str:
        if self.is_number:
            return f"{self.parameters['value']:g}"
        words = []
        for key, value in self.parameters.items():
            if isinstance(value, tuple) and len(value) > 6:
                words.append(f"{len(value)} {key}")
            elif isinstance(value, tuple):
                words.append(f"{key} " + " ".join(f"{item:g}" for item in value))
            elif isinstance(value, float):
                words.append(f"{key} {value:g}")
            else:
                words.append(f"{key} {value}")
        if self.truncate != EVERYTHING:
            words.append("cut to {:g} ... {:g}".format(*self.truncate))
        if self.shared:
            words.append("shared")
        return f"{self.family}: {', '.join(words)}"


def number(value: float) -> Distribution:
    """A plain number as a `Distribution`.

    Parameters
    ----------
    value : float

    Returns
    -------
    Distribution
    """
    return Distribution("number", {"value": float(value)})
