"""Fills in [ct] what a class or measured points decide: the knee, and defaults of ratio error,
ankle and remanence.

`places` is a `CtPlaces`; this file knows its fields by name only, since that table asks for its
completion."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any, TypeVar

from pydantic import BaseModel

from montecarlo.quantities import Distribution, number
from montecarlo.quantities.wording import listed, shown
from montecarlo.relays.places import ENDS, GROUPS
from montecarlo.secondary.measured import (
    MISFIT_MAX_PERCENT,
    SINGLE,
    ExcitationFit,
    ExcitationPoints,
    NoCurveError,
    fit_points,
)
from montecarlo.secondary.nameplate import Core, Design, Designation, band, design, read_class

WAYS: dict[str, tuple[str, ...]] = {
    "knee": ("knee_voltage_v", "knee_current_a"),
    "class": ("rated_burden_va", "accuracy_limit_factor", "transient_factor"),
    "points": ("excitation_points",),
}
MISFIT = "excitation_misfit_max_percent"
DECIDING = {
    "class",
    "knee_factor",
    MISFIT,
    "secondary_a",
    "winding_resistance_ohm",
    "saturation_exponent",
    "ankle_ratio",
    "remanence_bound_percent",
    *(key for way in WAYS.values() for key in way),
}
# of every CT; these have no default
NEEDED = ("primary_a", "winding_resistance_ohm")
CURE = (
    "give knee_voltage_v and knee_current_a, or class and rated_burden_va, or excitation_points:"
    " exactly one way"
)
CLASSES = (
    'a class as "5P20", "10P10", "5PR20", "PX", "PXR", "TPX", "TPY", "TPZ", or with the voltage at'
    ' 20 times rated current as "C400"'
)

Fault = tuple[str, str]
Table = dict[str, Any]
Places = TypeVar("Places", bound=BaseModel)


def completed(places: Places, in_use: Sequence[str]) -> tuple[Places, list[Fault]]:
    """The table [ct] with what its classes and points decide.

    Parameters
    ----------
    places : CtPlaces
    in_use : sequence of str
        Places whose CTs a scheme uses. The others may lack anything.

    Returns
    -------
    tuple of CtPlaces and list of (str, str)
        The whole table; the faults, each a key within it and what is wrong.
    """
    base = _given(places)
    fill = _defaults(base)
    known = {key: getattr(places, key) for key in type(places).model_fields} | fill
    faults: list[Fault] = []
    shared = list(in_use)  # where the CTs have the curve of [ct] itself
    for end in GROUPS:
        override = getattr(places, end)
        own = {} if override is None else _given(override)
        if not DECIDING & set(own):
            continue
        gone = dict.fromkeys(_replaced(base, own))
        mine = _defaults(own)
        explicit = set(own) if "class" in own else {*base, *own}
        curve, wrong = _curve(known | gone | mine | own, explicit)
        if end in in_use:
            shared.remove(end)
            faults += [(f"{end}.{key}" if key else end, text) for key, text in wrong]
        fill[end] = override.model_copy(update=gone | mine | curve)
    curve, wrong = _curve(known, set(base))
    whole = places.model_copy(update=fill | curve)
    if shared != list(in_use) and not _ways(base):
        wrong = [(end, text) for end in shared for _, text in wrong]
    every = [*_lacking(places, base, in_use), *(wrong if shared else ()), *faults]
    return whole.model_copy(update=_drawn_apart(whole)), every


def there(places: BaseModel) -> tuple[str, ...]:
    """Places that have CTs: both ends, and those with a table.

    Parameters
    ----------
    places : CtPlaces

    Returns
    -------
    tuple of str
    """
    return tuple(group for group in GROUPS if group in ENDS or getattr(places, group) is not None)


def _lacking(places: BaseModel, base: Mapping[str, Any], in_use: Sequence[str]) -> Iterator[Fault]:
    """Keys without a default that some place in use has neither of its own nor of [ct]."""
    for key in (key for key in NEEDED if key not in base):
        without = [end for end in in_use if getattr(getattr(places, end), key, None) is None]
        if without == list(in_use):
            yield key, f"missing; give it in [ct], or in the table of every place: {listed(in_use)}"
            continue
        for end in without:
            yield f"{end}.{key}", "missing, and [ct] has none for all CTs; give one of the two"


def _drawn_apart(places: BaseModel) -> Table:
    """The tables beside the two ends' with the spreads of [ct] that they do not give, so that these
    CTs' values are drawn for themselves: the six values of [ct] are those of the two ends."""
    tables = {}
    for group in GROUPS[len(ENDS) :]:
        own = getattr(places, group)
        if own is None:
            continue
        left_out = set(type(own).model_fields) - own.model_fields_set
        spreads = {key: getattr(places, key) for key in left_out if _spreads(getattr(places, key))}
        tables[group] = own.model_copy(update=spreads)
    return tables


def _spreads(value: Any) -> bool:
    """Whether each CT has a value of its own."""
    return isinstance(value, Distribution) and not value.is_number and not value.shared


def _given(table: BaseModel) -> Table:
    """What a table itself gives; the ends' own tables left out."""
    values = {key: getattr(table, key) for key in table.model_fields_set if key not in GROUPS}
    return {key: value for key, value in values.items() if value is not None}


def _plate(values: Mapping[str, Any]) -> Designation | None:
    return read_class(values["class"]) if values.get("class") is not None else None


def _defaults(values: Mapping[str, Any]) -> Table:
    """What the class says where the file says nothing."""
    plate = _plate(values)
    if plate is None:
        return {}
    rules, source = plate.rules, f"default of class {values['class']}"
    found = {
        "turns_ratio_error_percent": band(-rules.turns_percent, rules.turns_percent, source),
        "ankle_ratio": band(*rules.ankle, source),
        "remanence_bound_percent": rules.bound_percent,
    }
    return {key: value for key, value in found.items() if key not in values}


def _ways(values: Mapping[str, Any]) -> dict[str, str]:
    """The ways in which the curve is given, each with the first key that says so."""
    found = {
        way: next((key for key in keys if values.get(key) is not None), "")
        for way, keys in WAYS.items()
    }
    if (plate := _plate(values)) is not None and plate.rules.limit is not None:
        found["class"] = "class"
    return {way: key for way, key in found.items() if key}


def _replaced(base: Mapping[str, Any], own: Mapping[str, Any]) -> Iterator[str]:
    """Keys of [ct] that do not hold at an end that gives its curve in another way."""
    theirs = set(_ways(own))
    if not theirs:
        return
    for way in set(WAYS) - theirs:
        yield from (key for key in WAYS[way] if key in base)
        if way == "class" and "class" in _ways(base) and "class" not in own:
            yield "class"
    if "knee" in theirs and "knee_factor" in base:
        yield "knee_factor"
    if "points" not in theirs and MISFIT in base:
        yield MISFIT
    if "class" in own and "class" in theirs:
        for key in WAYS["class"]:
            if key in base and key not in own and not _takes(own["class"], key):
                yield key


def _takes(name: str, key: str) -> bool:
    """Whether a class has use of a key of its way."""
    plate = read_class(name)
    if plate is None or plate.rules.limit is None:
        return False
    return plate.volts is None if key == "rated_burden_va" else plate.transient


def _curve(values: Mapping[str, Any], explicit: set[str]) -> tuple[Table, list[Fault]]:
    """What is to be filled in for the excitation curve, and what is wrong. `explicit`: keys that
    the file gives."""
    name, ways = values.get("class"), _ways(values)
    if name is not None and _plate(values) is None:
        return {}, [("class", f"{shown(name)}; expected {CLASSES}")]
    if len(ways) != 1:
        given = listed(ways.values())
        said = f"the excitation curve is given by {given}" if ways else "no excitation curve"
        return {}, [("", f"{said}; {CURE}")]
    if values.get(MISFIT) is not None and "points" not in ways:
        return {}, [(MISFIT, "has no meaning without excitation_points; take it out")]
    if "knee" in ways:
        return {}, list(_knee_faults(values))
    if "points" in ways:
        return _from_points(values, explicit)
    wrong = list(_class_faults(values))
    if wrong or values["winding_resistance_ohm"] is None:  # `_lacking` tells the latter
        return {}, wrong
    found = design_of(values)
    assert found is not None
    plate, met = found
    burden = "" if plate.volts is not None else f", {values['rated_burden_va']:g} VA"
    source = f"class {name}{burden}, met only just"
    return {
        "knee_voltage_v": _sourced(met.knee_voltage_v, source),
        "knee_current_a": _sourced(met.knee_current_a, source),
    }, []


def _sourced(value: float, source: str) -> Distribution:
    return replace(number(value), source=source)


def _knee_faults(values: Mapping[str, Any]) -> Iterator[Fault]:
    for key, other in (WAYS["knee"], WAYS["knee"][::-1]):
        if values.get(key) is None:
            yield key, f"missing; {other} needs it beside it"
    if values.get("knee_factor") is not None:
        yield (
            "knee_factor",
            "has no meaning beside knee_voltage_v, which may be a distribution itself; take it out",
        )


def _class_faults(values: Mapping[str, Any]) -> Iterator[Fault]:
    name = values.get("class")
    if name is None:
        yield "class", f"missing; {_ways(values)['class']} belongs to a class: give {CLASSES}"
        return
    for key in WAYS["class"]:
        if values.get(key) is not None and not _takes(name, key):
            yield key, f"class {name} has no use of it; take it out"
    for key in ("rated_burden_va", "accuracy_limit_factor"):
        if values.get(key) is None and _takes(name, key):
            yield key, f"missing; the knee follows from it and class {name}"


def _from_points(values: Mapping[str, Any], explicit: set[str]) -> tuple[Table, list[Fault]]:
    ankle = values["ankle_ratio"].centre() if "ankle_ratio" in explicit else None
    exponent = values["saturation_exponent"] if "saturation_exponent" in explicit else None
    points = values["excitation_points"]
    try:
        fit = fit_points(*points.curve, values["remanence_bound_percent"], ankle, exponent)
    except NoCurveError as error:
        return {}, [("excitation_points", str(error))]
    wrong = list(_misfit_faults(fit, points, values.get(MISFIT)))
    if wrong:
        return {}, wrong
    source = f"fitted to {len(points.voltage_v)} measured points"
    fill: Table = {
        "knee_voltage_v": _sourced(fit.knee_voltage_v, source),
        "knee_current_a": _sourced(fit.knee_current_a, source),
    }
    if ankle is None:
        fill["ankle_ratio"] = _sourced(fit.ankle_ratio, source)
    if exponent is None:
        fill["saturation_exponent"] = fit.exponent
    return fill, []


def _misfit_faults(
    fit: ExcitationFit, points: ExcitationPoints, stated_percent: float | None
) -> Iterator[Fault]:
    """One line with the misfit and the cure, then a line a point."""
    limit = MISFIT_MAX_PERCENT if stated_percent is None else stated_percent
    if fit.misfit_percent <= limit:
        return
    yield (
        "excitation_points",
        f"the fitted curve differs from the points by {100 * fit.rms:.3g} % RMS, and by at most"
        f" {100 * fit.worst_upper:.3g} % from half the knee voltage up; must be within {limit:g} %"
        f" and {limit * SINGLE:.3g} %. Are they RMS values of one core, in V and A? If so,"
        f" {MISFIT} = {math.ceil(fit.misfit_percent)} accepts it, with a caution; point by point:",
    )
    for volts, measured, fitted in fit.against(points):
        yield (
            "excitation_points",
            f"{volts:g} V: measured {measured:.4g} A, fitted {fitted:.4g} A, "
            f"{100 * (fitted / measured - 1):+.0f} %",
        )


# --- once more from a completed table -----------------------------------------


def design_of(values: Mapping[str, Any]) -> tuple[Designation, Design] | None:
    """The class of one end's CTs and the core that only just meets it, winding resistance and ankle
    at their medians.

    Parameters
    ----------
    values : mapping
        Fields of one end's CTs by name.

    Returns
    -------
    tuple of Designation and Design, or None
        None where no class gives the knee.
    """
    plate = _plate(values)
    if plate is None or plate.rules.limit is None:
        return None
    core = Core(
        values["remanence_bound_percent"],
        values["ankle_ratio"].centre(),
        values["saturation_exponent"],
    )
    rated = values["secondary_a"]
    return plate, design(
        plate,
        core,
        rated,
        values["winding_resistance_ohm"].centre(),
        plate.burden_ohm(values.get("rated_burden_va"), rated),
        plate.factor or values["accuracy_limit_factor"],
        values.get("transient_factor") or 1.0,
    )


def fit_of(values: Mapping[str, Any]) -> ExcitationFit | None:
    """The fit through one end's measured points, with the ankle and the exponent that the table now
    has.

    Parameters
    ----------
    values : mapping
        Fields of one end's CTs by name.

    Returns
    -------
    ExcitationFit or None
        None without points.
    """
    points = values.get("excitation_points")
    if points is None:
        return None
    return fit_points(
        *points.curve,
        values["remanence_bound_percent"],
        values["ankle_ratio"].centre(),
        values["saturation_exponent"],
    )
