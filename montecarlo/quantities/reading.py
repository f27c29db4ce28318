"""From the study file's number or table to a `Distribution`, with every fault of the table at
once."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Any, Literal, cast

import numpy as np
from pydantic_core import PydanticCustomError

from montecarlo.errors import StudyError
from montecarlo.quantities.columns import read_column
from montecarlo.quantities.distribution import EVERYTHING, Distribution, Varies
from montecarlo.quantities.laws import FAMILIES, Cut
from montecarlo.quantities.wording import bare, listed, shown

COMMON_KEYS = ("shared", "varies", "source")
SHAPES = ("uniform", "triangular", "normal")
MOST_VALUES = 1_000_000
LEAST_KEPT = 1e-6  # a cut that keeps less is a mistake, and quantiles would lose their digits

Fault = tuple[str, str]  # key inside the table, or "", and the text


def refusal(*faults: str | Fault) -> PydanticCustomError:
    """The error that carries faults through the validation of a whole study.

    Parameters
    ----------
    *faults : str or (str, str)
        A text, or the key inside the table and a text.

    Returns
    -------
    PydanticCustomError
    """
    pairs = [("", fault) if isinstance(fault, str) else fault for fault in faults]
    return PydanticCustomError(
        "quantity", "{text}", {"text": "; ".join(text for _, text in pairs), "faults": pairs}
    )


def finite(value: object) -> float | None:
    """The value as a float, if it is a finite number.

    Parameters
    ----------
    value : object

    Returns
    -------
    float or None
        None for anything else; true and false are no numbers.
    """
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    try:
        return float(value) if math.isfinite(value) else None
    except OverflowError:
        return None


def read_distribution(value: object, folder: Path | None = None) -> Distribution:
    """A number or a table from the study file as a `Distribution`.

    Parameters
    ----------
    value : object
    folder : Path, optional
        Where the study file lies; a CSV column is read relative to it.

    Returns
    -------
    Distribution

    Raises
    ------
    PydanticCustomError
        Every fault of the table at once.
    """
    if isinstance(value, Distribution):
        return value
    if isinstance(value, Mapping):
        return _read_table(dict(value), folder)
    if (plain := finite(value)) is None:
        raise refusal(f"{shown(value)} is not a finite number; give a number or a distribution")
    return Distribution("number", {"value": plain})


def _read_table(table: dict[str, Any], folder: Path | None) -> Distribution:
    if "value" in table and "dist" not in table:
        return _read_value(table)
    name = _family_name(table)
    if name == "empirical" and ("file" in table or "column" in table):
        table = _with_column(table, folder)
    faults: list[Fault] = [*_unknown(name, table)]
    parameters = _parameters(name, table, faults)
    truncate = _truncation(table, faults) if FAMILIES[name].continuous else EVERYTHING
    shared, varies, source = _common(table, faults)
    if faults:
        raise refusal(*faults)
    distribution = Distribution(name, parameters, truncate, shared, varies, source)
    if faults := [*_contradictions(name, parameters)] or [*_not_usable(distribution)]:
        raise refusal(*faults)
    return distribution


def _read_value(table: dict[str, Any]) -> Distribution:
    unknown = [bare(key) for key in table if key not in ("value", "source")]
    faults = [(key, "unknown; a plain value may carry only source") for key in unknown]
    if (plain := finite(table["value"])) is None:
        faults.append(("value", f"{shown(table['value'])} is not a finite number; give one"))
    source = _text(table, faults)
    if faults:
        raise refusal(*faults)
    return Distribution("number", {"value": plain}, source=source)


def _family_name(table: dict[str, Any]) -> str:
    if "dist" in table:
        name = table["dist"]
        known = [key for key in FAMILIES if key != "tolerance"]
        if name in known:
            return cast(str, name)
        raise refusal(("dist", f"{shown(name)}; {_guess(name, known, 'it is one of')}"))
    if "nominal" in table or "tolerance_percent" in table:
        return "tolerance"
    raise refusal(
        f"{shown(table)} is no quantity; give a number, or a table with dist = ..., "
        "with nominal, tolerance_percent and shape, or with value and source"
    )


def _guess(word: object, known: Sequence[str], otherwise: str) -> str:
    """What a wrong word may have meant, or all that it can be."""
    near = get_close_matches(word, known, 1) if isinstance(word, str) else []
    return f"did you mean {near[0]}?" if near else f"{otherwise} {listed(known)}"


def _unknown(name: str, table: dict[str, Any]) -> list[Fault]:
    allowed = [*FAMILIES[name].keys, *COMMON_KEYS]
    if name != "tolerance":
        allowed.insert(0, "dist")
    if FAMILIES[name].continuous:
        allowed.insert(-len(COMMON_KEYS), "truncate")
    return [
        (bare(key), f"unknown in the {name} distribution; {_guess(str(key), allowed, 'it takes')}")
        for key in table
        if key not in allowed
    ]


def _parameters(name: str, table: dict[str, Any], faults: list[Fault]) -> dict[str, Any]:
    family = FAMILIES[name]
    missing = [key for key in family.keys if key not in table]
    if missing == ["shape"] and name == "tolerance":
        shapes = listed(map(shown, SHAPES), "or")
        faults.append(("", f"a tolerance needs its shape: shape = {shapes}"))
    elif missing:
        faults.append(("", f"the {name} distribution also needs {listed(missing)}"))
    parameters: dict[str, Any] = {}
    for key in family.keys:
        if key not in table:
            continue
        value = _parameter(name, key, table[key], faults)
        if key in family.positive and value is not None and not value > 0:
            faults.append((key, f"{shown(table[key])}, must be above 0"))
        parameters[key] = value
    return parameters


def _parameter(name: str, key: str, value: Any, faults: list[Fault]) -> Any:
    if name == "tolerance" and key == "shape":
        if value not in SHAPES:
            faults.append((key, f"{shown(value)}; say {listed(SHAPES, 'or')}"))
        return value
    if key in ("values", "weights"):
        return _numbers(key, value, faults)
    if (plain := finite(value)) is None:
        faults.append((key, f"{shown(value)} is not a finite number; give one"))
    return plain


def _numbers(key: str, value: Any, faults: list[Fault]) -> tuple[float, ...] | None:
    is_list = isinstance(value, Sequence) and not isinstance(value, str)
    if not is_list or not 1 <= len(value) <= MOST_VALUES:
        faults.append((key, f"{shown(value)}; expected a list of 1 to {MOST_VALUES} numbers"))
        return None
    numbers: list[float] = []
    for item in value:
        plain = finite(item)
        if plain is None:
            faults.append((key, f"{shown(item)} is not a finite number; give numbers"))
            return None
        numbers.append(plain)
    return tuple(numbers)


def _truncation(table: dict[str, Any], faults: list[Fault]) -> tuple[float, float]:
    if "truncate" not in table:
        return EVERYTHING
    pair = table["truncate"]
    edges = [finite(item) for item in pair] if isinstance(pair, (list, tuple)) else []
    if len(edges) != 2 or edges[0] is None or edges[1] is None:
        faults.append(("truncate", f"{shown(pair)}; expected [low, high], two finite numbers"))
    elif not edges[0] < edges[1]:
        faults.append(("truncate", f"low {edges[0]:g} must lie below high {edges[1]:g}"))
    else:
        return edges[0], edges[1]
    return EVERYTHING


def _common(table: dict[str, Any], faults: list[Fault]) -> tuple[bool, Varies | Literal[""], str]:
    if not isinstance(shared := table.get("shared", False), bool):
        faults.append(("shared", f"{shown(shared)}; say true or false"))
    varies = table.get("varies", "")
    if "varies" in table and varies not in ("installation", "event"):
        faults.append(("varies", f'{shown(varies)}; say "installation" or "event"'))
    return shared is True, cast("Varies | Literal['']", varies), _text(table, faults)


def _text(table: dict[str, Any], faults: list[Fault]) -> str:
    if not isinstance(source := table.get("source", ""), str):
        faults.append(("source", f"{shown(source)}; expected a text"))
        return ""
    return source


def _contradictions(name: str, parameters: Mapping[str, Any]) -> list[Fault]:
    faults: list[Fault] = []
    if "low" in parameters:
        low = parameters["low"]
        high = parameters["high"]
        if not low < high:
            faults.append(("low", f"{low:g} must lie below high = {high:g}"))
        elif name == "triangular" and not low <= parameters["mode"] <= high:
            faults.append(("mode", f"{parameters['mode']:g} must lie between low and high"))
    if parameters.get("nominal") == 0:
        faults.append(
            ("nominal", '0 has no tolerance in per cent; give dist = "uniform" with low and high')
        )
    weights = parameters.get("weights")
    if weights:
        count = len(parameters["values"])
        if len(weights) != count:
            faults.append(
                ("weights", f"{len(weights)} weights for {count} values; give one a value")
            )
        elif not min(weights) >= 0 or not abs(sum(weights) - 1) <= 1e-6:
            faults.append(("weights", f"must be at least 0 and sum to 1, not to {sum(weights):g}"))
    return faults


def _not_usable(distribution: Distribution) -> list[Fault]:
    """Parameters that pass one by one, and still give no numbers."""
    with np.errstate(all="ignore"):
        law = distribution.law
        cuts = distribution.truncate != EVERYTHING
        if cuts and isinstance(law, Cut) and not law.kept >= LEAST_KEPT:
            text = (
                f"[{law.low:g}, {law.high:g}] keeps {law.kept:.1g} of the distribution, "
                f"must keep at least {LEAST_KEPT:g}; give the distribution of what is kept"
            )
            return [("truncate", text)]
        values = [*law.ppf((2.0**-54, 0.5, 1 - 2.0**-53)), law.mean()]
    if np.all(np.isfinite(values)):
        return []
    too_large = "gives values too large to compute with; narrow it or cut it with truncate"
    return [("", f"{distribution} {too_large}")]


def _with_column(table: dict[str, Any], folder: Path | None) -> dict[str, Any]:
    """The table with the values of its CSV column in the place of file and column."""
    if "values" in table:
        raise refusal(("values", "stands beside file and column; give one or the other"))
    for key in ("file", "column"):
        if key not in table:
            raise refusal((key, "missing; a distribution from a CSV file needs file and column"))
        if not isinstance(table[key], str):
            raise refusal((key, f"{shown(table[key])}; expected a text"))
    if folder is None:
        raise refusal(
            ("file", "has no folder to start from; read the study from a file, or give values")
        )
    file = table.pop("file")
    column = table.pop("column")
    try:
        values = read_column(folder, file, column)
    except StudyError as error:
        raise refusal(*(("file", fault) for fault in error.faults)) from None
    return {"source": f"{file}, column {column}"} | table | {"values": values}
