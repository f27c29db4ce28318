"""A number or a distribution, with its unit, its physical range and its meaning on the field that holds it.

A study file may give any physical number plainly or as a table:

    resistance_ohm = 63.5
    resistance_ohm = { nominal = 63.5, tolerance_percent = 10, shape = "uniform" }
    fault_resistance_ohm = { dist = "lognormal", median = 2.0, sigma = 1.2 }

Both become a `Distribution`. Quantile functions come from `scipy.stats`, imported when first needed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Literal, cast

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import BaseModel, ConfigDict, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import PydanticCustomError, core_schema

Varies = Literal["plant", "event"]
Width = Literal["one", "ct", "element"]
Array = NDArray[np.float64]


class Section(BaseModel):
    """A table of the study file: typed, frozen, unknown keys refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


# --- the families -----------------------------------------------------------------------------------------


def _band(nominal: float, tolerance_percent: float, shape: str) -> Any:
    """A tolerance band nominal ± tolerance; a normal shape puts two standard deviations at the band's edge
    and is cut off at three."""
    from scipy import stats

    half = abs(nominal) * tolerance_percent / 100
    match shape:
        case "uniform":
            return stats.uniform(nominal - half, 2 * half)
        case "triangular":
            return stats.triang(0.5, nominal - half, 2 * half)
        case "normal":
            return stats.truncnorm(-3, 3, nominal, half / 2)
    raise ValueError(f"shape {shape!r}: say uniform, triangular or normal")


def _uniform(low: float, high: float) -> Any:
    from scipy import stats

    return stats.uniform(low, high - low)


def _normal(mean: float, sd: float) -> Any:
    from scipy import stats

    return stats.norm(mean, sd)


def _lognormal(median: float, sigma: float) -> Any:
    from scipy import stats

    return stats.lognorm(sigma, scale=median)


def _triangular(low: float, mode: float, high: float) -> Any:
    from scipy import stats

    return stats.triang((mode - low) / (high - low), low, high - low)


def _beta(alpha: float, beta: float, low: float, high: float) -> Any:
    from scipy import stats

    return stats.beta(alpha, beta, low, high - low)


def _weibull(shape: float, scale: float) -> Any:
    from scipy import stats

    return stats.weibull_min(shape, scale=scale)


@dataclass(frozen=True)
class Discrete:
    """Values with weights; the quantile function is a staircase."""

    values: tuple[float, ...]
    weights: tuple[float, ...]

    @cached_property
    def _sorted(self) -> tuple[Array, Array]:
        order = np.argsort(self.values, kind="stable")
        weights = np.asarray(self.weights, float)[order]
        return np.asarray(self.values, float)[order], np.cumsum(weights) / weights.sum()

    def ppf(self, u: ArrayLike) -> Array:
        values, cumulated = self._sorted
        return values[np.minimum(np.searchsorted(cumulated, u, side="left"), len(values) - 1)]

    def cdf(self, x: ArrayLike) -> Array:
        values, cumulated = self._sorted
        return np.concatenate(([0.0], cumulated))[np.searchsorted(values, x, side="right")]

    def support(self) -> tuple[float, float]:
        return min(self.values), max(self.values)

    def mean(self) -> float:
        return float(np.average(self.values, weights=self.weights))


def _discrete(values: tuple[float, ...], weights: tuple[float, ...]) -> Discrete:
    return Discrete(values, weights)


def _empirical(values: tuple[float, ...]) -> Discrete:
    return Discrete(values, (1.0,) * len(values))


@dataclass(frozen=True)
class Family:
    """How a distribution is written (its keys), built, and which of its keys must be positive."""

    build: Callable[..., Any]
    keys: tuple[str, ...]
    positive: tuple[str, ...] = ()
    continuous: bool = True


FAMILIES: dict[str, Family] = {
    "tolerance": Family(_band, ("nominal", "tolerance_percent", "shape"), ("tolerance_percent",)),
    "uniform": Family(_uniform, ("low", "high")),
    "normal": Family(_normal, ("mean", "sd"), ("sd",)),
    "lognormal": Family(_lognormal, ("median", "sigma"), ("median", "sigma")),
    "triangular": Family(_triangular, ("low", "mode", "high")),
    "beta": Family(_beta, ("alpha", "beta", "low", "high"), ("alpha", "beta")),
    "weibull": Family(_weibull, ("shape", "scale"), ("shape", "scale")),
    "discrete": Family(_discrete, ("values", "weights"), continuous=False),
    "empirical": Family(_empirical, ("values",), continuous=False),
}


@dataclass(frozen=True)
class Distribution:
    """A number (family "number") or a distribution; built by `read_distribution`, never by hand from a file.

    `truncate` cuts a continuous family to [low, high]. `varies` is "" where the field's own default holds.
    """

    family: str
    parameters: Mapping[str, Any] = field(default_factory=dict)
    truncate: tuple[float, float] = (-math.inf, math.inf)
    shared: bool = False
    varies: Varies | Literal[""] = ""
    source: str = ""

    @cached_property
    def _rv(self) -> Any:
        return FAMILIES[self.family].build(**self.parameters)

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
        if self.truncate == (-math.inf, math.inf):
            return np.asarray(self._rv.ppf(u), float)
        below, above = self._rv.cdf(np.asarray(self.truncate))
        return np.asarray(np.clip(self._rv.ppf(below + (above - below) * np.asarray(u)), *self.truncate), float)

    def cdf(self, x: ArrayLike) -> Array:
        """Probability of a value <= x, any shape."""
        if self.is_number:
            return np.asarray(np.asarray(x) >= self.parameters["value"], float)
        if self.truncate == (-math.inf, math.inf):
            return np.asarray(self._rv.cdf(x), float)
        below, above = self._rv.cdf(np.asarray(self.truncate))
        return np.asarray(np.clip((self._rv.cdf(x) - below) / (above - below), 0.0, 1.0), float)

    def support(self) -> tuple[float, float]:
        """Smallest and largest value that can be drawn."""
        if self.is_number:
            return self.parameters["value"], self.parameters["value"]
        low, high = self._rv.support()
        return max(float(low), self.truncate[0]), min(float(high), self.truncate[1])

    def mean(self) -> float:
        if self.is_number:
            return float(self.parameters["value"])
        if self.truncate == (-math.inf, math.inf):
            return float(self._rv.mean())
        midpoints = (np.arange(4096) + 0.5) / 4096            # mean as the integral of the quantile function
        return float(np.mean(self.ppf(midpoints)))

    def centre(self) -> float:
        """The nominal value for hand calculations: the median."""
        return float(self.ppf(0.5))

    def __str__(self) -> str:
        if self.is_number:
            return f"{self.parameters['value']:g}"
        words = []
        for key, value in self.parameters.items():
            if isinstance(value, tuple) and len(value) > 6:
                words.append(f"{len(value)} {key}")
            else:
                words.append(f"{key} {value:g}" if isinstance(value, float) else f"{key} {value}")
        if self.truncate != (-math.inf, math.inf):
            words.append("cut to {:g} ... {:g}".format(*self.truncate))
        return f"{self.family}: " + ", ".join(words) + (", shared" if self.shared else "")


def number(value: float) -> Distribution:
    """A plain number as a `Distribution`."""
    return Distribution("number", {"value": float(value)})


# --- from the file ----------------------------------------------------------------------------------------

COMMON_KEYS = ("shared", "varies", "source")


def _refuse(text: str) -> PydanticCustomError:
    return PydanticCustomError("quantity", "{text}", {"text": text})


def _finite(key: str, value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise _refuse(f"{key} = {value!r} is not a finite number")
    return float(value)


def _parameters(family_name: str, table: Mapping[str, Any]) -> dict[str, Any]:
    family = FAMILIES[family_name]
    if missing := [key for key in family.keys if key not in table]:
        raise _refuse(f"a {family_name} distribution also needs {', '.join(missing)}")
    known = {"dist", *family.keys, *COMMON_KEYS, *(("truncate",) if family.continuous else ())}
    if unknown := sorted(set(table) - known):
        raise _refuse(f"{', '.join(unknown)}: unknown in a {family_name} distribution; it takes "
                      f"{', '.join(family.keys)} and may carry {', '.join(sorted(known - set(family.keys)))}")
    parameters: dict[str, Any] = {}
    for key in family.keys:
        value = table[key]
        if key == "shape" and family_name == "tolerance":
            if value not in ("uniform", "triangular", "normal"):
                raise _refuse(f"shape {value!r}: say uniform, triangular or normal")
            parameters[key] = value
        elif key in ("values", "weights"):
            if not isinstance(value, (list, tuple)) or not value:
                raise _refuse(f"{key} must be a list with at least one number")
            parameters[key] = tuple(_finite(key, item) for item in value)
        else:
            parameters[key] = _finite(key, value)
        if key in family.positive and not parameters[key] > 0:
            raise _refuse(f"{key} = {value!r} must be above 0")
    return parameters


def _check_parameters(family_name: str, parameters: Mapping[str, Any]) -> None:
    if "low" in parameters and not parameters["low"] < parameters["high"]:
        raise _refuse(f"low = {parameters['low']:g} must lie below high = {parameters['high']:g}")
    if family_name == "triangular" and not parameters["low"] <= parameters["mode"] <= parameters["high"]:
        raise _refuse(f"mode = {parameters['mode']:g} must lie between low and high")
    if "weights" in parameters:
        if len(parameters["weights"]) != len(parameters["values"]):
            raise _refuse(f"{len(parameters['values'])} values but {len(parameters['weights'])} weights")
        if not min(parameters["weights"]) >= 0 or not abs(sum(parameters["weights"]) - 1) <= 1e-6:
            raise _refuse(f"weights must be >= 0 and sum to 1, not {sum(parameters['weights']):g}")


def read_distribution(value: object) -> Distribution:
    """A number or a table from the study file as a `Distribution`. Raises PydanticCustomError."""
    if isinstance(value, Distribution):
        return value
    if not isinstance(value, Mapping):
        return number(_finite("value", value))
    table = dict(value)
    if "dist" in table:
        name = table["dist"]
        if name not in FAMILIES or name == "tolerance":
            known = ", ".join(key for key in FAMILIES if key != "tolerance")
            raise _refuse(f"dist {name!r} is unknown; it is one of {known}")
    elif "nominal" in table:
        if "shape" not in table and "tolerance_percent" in table:
            raise _refuse("a tolerance needs its shape: uniform, triangular or normal")
        name = "tolerance"
    elif "value" in table:
        if unknown := sorted(set(table) - {"value", "source"}):
            raise _refuse(f"{', '.join(unknown)}: a plain value may carry only source")
        return Distribution("number", {"value": _finite("value", table["value"])},
                            source=_text("source", table.get("source", "")))
    else:
        raise _refuse("give a number, or a table with dist, with nominal, or with value")
    parameters = _parameters(name, table)
    _check_parameters(name, parameters)
    return Distribution(name, parameters, _truncation(table), _flag(table), _varies(table),
                        _text("source", table.get("source", "")))


def _text(key: str, value: object) -> str:
    if not isinstance(value, str):
        raise _refuse(f"{key} = {value!r} is not a text")
    return value


def _flag(table: Mapping[str, Any]) -> bool:
    if not isinstance(shared := table.get("shared", False), bool):
        raise _refuse(f"shared = {shared!r}: say true or false")
    return shared


def _varies(table: Mapping[str, Any]) -> Varies | Literal[""]:
    match table.get("varies", ""):
        case "" | "plant" | "event" as varies:
            return cast("Varies | Literal['']", varies)
        case other:
            raise _refuse(f"varies = {other!r}: say plant or event")


def _truncation(table: Mapping[str, Any]) -> tuple[float, float]:
    if "truncate" not in table:
        return -math.inf, math.inf
    pair = table["truncate"]
    if not isinstance(pair, (list, tuple)) or len(pair) != 2:
        raise _refuse("truncate must be [low, high]")
    low, high = (_finite("truncate", item) for item in pair)
    if not low < high:
        raise _refuse(f"truncate: low = {low:g} must lie below high = {high:g}")
    return low, high


@dataclass(frozen=True)
class Quantity:
    """Unit, meaning and physical range of a field: `Annotated[Distribution, Quantity("ohm", "...", low=0)]`.

    low, high: the physical range, which no drawn value may leave (`above=True` excludes low itself).
    usual: where the centre must lie, wide enough for any real plant: catches a wrong unit prefix.
    varies: per plant or per event unless the file says otherwise. width: one value, one a CT, one an element.
    """

    unit: str
    text: str
    low: float = -math.inf
    high: float = math.inf
    above: bool = False
    usual: tuple[float, float] = (-math.inf, math.inf)
    varies: Varies = "plant"
    width: Width = "one"

    def check(self, value: Distribution) -> Distribution:
        low, high = value.support()
        if not (low > self.low if self.above else low >= self.low):
            raise _refuse(self._range_text(f"can be {low:g}" if not value.is_number else f"{low:g}"))
        if not high <= self.high:
            raise _refuse(self._range_text(f"can be {high:g}" if not value.is_number else f"{high:g}"))
        if not self.usual[0] <= value.centre() <= self.usual[1]:
            raise _refuse(f"{value.centre():g} {self.unit} is outside {self.usual[0]:g} ... {self.usual[1]:g} "
                          f"{self.unit}, the widest range seen in practice; is the unit prefix right?")
        if value.shared and self.width == "one":
            raise _refuse("shared has no meaning here: this is one value already")
        return value

    def _range_text(self, what: str) -> str:
        bound = "above" if self.above else "at least"
        limits = [f"{bound} {self.low:g}"] if self.low > -math.inf else []
        limits += [f"at most {self.high:g}"] if self.high < math.inf else []
        cure = "; cut the distribution with truncate = [low, high]" if what.startswith("can") else ""
        return f"{what} {self.unit}, must be {' and '.join(limits)} {self.unit}{cure}"

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(lambda value: self.check(read_distribution(value)))

    def __get_pydantic_json_schema__(self, schema: core_schema.CoreSchema,
                                     handler: GetJsonSchemaHandler) -> dict[str, Any]:
        plain: dict[str, Any] = {"type": "number"}
        if self.low > -math.inf:
            plain["exclusiveMinimum" if self.above else "minimum"] = self.low
        if self.high < math.inf:
            plain["maximum"] = self.high
        return {"description": f"{self.text} [{self.unit}]", "anyOf": [plain, {"$ref": "#/$defs/Distribution"}]}


@dataclass(frozen=True)
class Plain:
    """Unit, meaning and range of a field that is always a plain number (a base, a ratio, a count)."""

    unit: str
    text: str
    low: float = -math.inf
    high: float = math.inf
    above: bool = False

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.no_info_after_validator_function(self.check, handler(source))

    def check(self, value: float) -> float:
        if not (value > self.low if self.above else value >= self.low) or not value <= self.high:
            raise _refuse(Quantity(self.unit, self.text, self.low, self.high, self.above)._range_text(f"{value:g}"))
        return value

    def __get_pydantic_json_schema__(self, schema: core_schema.CoreSchema,
                                     handler: GetJsonSchemaHandler) -> dict[str, Any]:
        json = handler(schema)
        json["description"] = f"{self.text} [{self.unit}]"
        return json
