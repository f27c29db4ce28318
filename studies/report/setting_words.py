"""A setting as a sheet lists it: every value that a relay takes, its unit beside it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from montecarlo.frames.candidates import setting_columns
from montecarlo.quantities import Distribution
from montecarlo.relays.gates import NEEDS, OF_DIFFERENCE, Gate
from montecarlo.study.axes import Setting
from montecarlo.study.description import Study
from studies.report.catalogue import without_unit
from studies.report.words import AXIS_WORDS, full_unit, has

FORMS = {
    "sum": "sum: trips above pick-up and bias together",
    "greater_of": "greater of: trips above pick-up and above bias",
}
CURRENTS = {
    "mean": "mean of the ends' currents",
    "sum": "sum of the ends' currents",
    "largest": "largest of the ends' currents",
    "vector_mean": "half the vector sum of the two ends' currents",
    "residual_pair": "half the sum of the residual and the neutral CT's current",
    "scalar_product": "root of the scalar product of the two ends' currents",
}
WHAT = {  # keys of a gate that need a word
    "start": "started by",
    "on": "looks at",
    "start_pu": "start",
    "hold": "held by",
    "ratio": "largest difference",
}


def setting_row(study: Study, setting: Setting) -> dict[str, Any]:
    """The setting as a row of the candidates: NaN for what its scheme does not have."""
    return {
        "scheme": setting.scheme,
        **{name: value for name, (value,) in setting_columns(study, [setting]).items()},
    }


def setting_lines(study: Study, row: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Name and value with its unit of all that the setting has; row as `setting_row` gives it."""
    for key, words in AXIS_WORDS.items():
        if has(row, key):
            value = row[key]
            yield words.label, value if isinstance(value, str) else f"{value:g}{full_unit(key)}"
    yield from bias_words(study, row)
    yield from gate_words(study, row)


def bias_words(study: Study, row: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """How a biased element weighs its bias; nothing for another."""
    choice = study.scheme
    if has(row, "first_slope"):
        yield "bias form", FORMS[choice.bias_form]
        yield "bias current", CURRENTS[choice.bias_current]
        if choice.earth_bias_form is not None:
            yield "bias form, earth", FORMS[choice.earth_bias_form]
        if choice.earth_bias_current is not None:
            yield "bias current, earth", CURRENTS[choice.earth_bias_current]


def gate_words(study: Study, row: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Every key of the setting's gate that matters, its input at its centre; nothing without."""
    for gate in study.scheme.gates:
        if gate.name in (row.get("gate"), row.get("earth_gate")):
            for key in _keys(gate):
                label, unit = without_unit(key)
                words = WHAT.get(key, label.replace("_", " "))
                value = _told(getattr(gate, key))
                yield f"gate, {words}", f"{value} {unit}".rstrip()
            if gate.slope is None:
                yield "gate, while it is on", "blocks"


def _keys(gate: Gate) -> Iterator[str]:
    needs = NEEDS[gate.start]
    for key in type(gate).model_fields:
        without = getattr(gate, key) in (None, False, "none")
        idle = key in OF_DIFFERENCE and "wait_s" not in needs
        idle |= key == "on" and gate.start != "time_difference"
        if key != "name" and not without and not idle:
            yield key


def _told(value: Any) -> str:
    if isinstance(value, Distribution):
        return f"{value.centre():g}"
    if value is True:
        return "yes"
    return value.replace("_", " ") if isinstance(value, str) else f"{value:g}"
