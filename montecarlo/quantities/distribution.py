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

from montecarlo.quantities.laws import FAMILIES, Array, Law, build

Varies = Literal["plant", "event"]
EVERYTHING = (-math.inf, math.inf)


@dataclass(frozen=True)
class Distribution:
    """A number (family "number") or a distribution; built by `read_distribution`, never by hand
    from a file.

    `truncate` cuts a continuous family to [low, high]. `varies` is "" where the field's own default
    holds."""

    family: str
    parameters: Mapping[str, Any] = field(default_factory=dict)
    truncate: tuple[float, float] = EVERYTHING
    shared: bool = False
    varies: Varies | Literal[""] = ""
    source: str = ""

    @cached_property
    def _law(self) -> Law:
        return build(self.family, dict(self.parameters), self.truncate)

    @property
    def is_number(self) -> bool:
        return self.family == "number"

    @property
    def is_continuous(self) -> bool:
        return not self.is_number and FAMILIES[self.family].continuous

    def ppf(self, u: ArrayLike) -> Array:
        """Quantile at u in (0, 1), any shape; in the unit of the key."""
        if self.is_number:
            return np.full(np.shape(u), self.parameters["value"])
        return self._law.ppf(u)

    def cdf(self, x: ArrayLike) -> Array:
        """Probability of a value <= x, any shape."""
        if self.is_number:
            return np.asarray(np.asarray(x) >= self.parameters["value"], float)
        return self._law.cdf(x)

    def support(self) -> tuple[float, float]:
        """Smallest and largest value that can be drawn (or that draws can come near to)."""
        if self.is_number:
            return self.parameters["value"], self.parameters["value"]
        return self._law.support()

    def stays_above(self, limit: float) -> bool:
        """Whether every value drawn lies above `limit`."""
        low = self.support()[0]
        return low > limit or (
            low == limit == 0 and not self.is_number and FAMILIES[self.family].above_zero
        )

    def mean(self) -> float:
        return float(self.parameters["value"]) if self.is_number else self._law.mean()

    def centre(self) -> float:
        """The nominal value for hand calculations: the median."""
        return float(self.ppf(0.5))

    def as_table(self) -> float | dict[str, Any]:
        """As a study file would give it: a number, or a table; lists of values stand in it
        whole."""
        if self.is_number and not self.source:
            return float(self.parameters["value"])
        table: dict[str, Any] = (
            {} if self.family in ("number", "tolerance") else {"dist": self.family}
        )
        table |= {
            key: list(value) if isinstance(value, tuple) else value
            for key, value in self.parameters.items()
        }
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
            else:
                words.append(f"{key} {value:g}" if isinstance(value, float) else f"{key} {value}")
        if self.truncate != EVERYTHING:
            words.append("cut to {:g} ... {:g}".format(*self.truncate))
        return f"{self.family}: " + ", ".join(words) + (", shared" if self.shared else "")


def number(value: float) -> Distribution:
    """A plain number as a `Distribution`."""
    return Distribution("number", {"value": float(value)})
