"""The settings' axes are declared once: everything that names them agrees."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from montecarlo.relays.schemes import BUILT_IN, OF_GROUPS
from montecarlo.study.axes import (
    AXES,
    BIAS,
    CIRCUIT,
    CURRENTS,
    KEYS,
    OTHER_KEYS,
    PICKUPS,
    STEPS,
    Candidates,
    ExistingSetting,
    Setting,
)
from montecarlo.study.candidates import grid_lattices
from montecarlo.study.circuits import scheme_of
from studies.report.words import AXIS_WORDS, setting_text
from tests.made.studies import study_with


def test_the_grids_the_setting_and_the_words_have_the_same_axes() -> None:
    assert set(KEYS) == set(Candidates.model_fields) - {"existing", *OTHER_KEYS}
    assert set(KEYS) == set(ExistingSetting.model_fields) - {"scheme", *OTHER_KEYS}
    assert set(Candidates.model_fields) >= OTHER_KEYS <= set(ExistingSetting.model_fields)
    assert {"scheme", *KEYS} == {field.name for field in fields(Setting)}
    assert set(AXIS_WORDS) == set(STEPS) == set(KEYS)


def test_the_grids_have_the_units_of_the_axes() -> None:
    numbers = [axis for axis in AXES if axis.part != "gate"]
    units = {axis.key: Candidates.model_fields[axis.key].metadata[0].unit for axis in numbers}
    assert {axis.key: axis.unit or "-" for axis in numbers} == units
    assert all(key.endswith("_a") == (key in CURRENTS) for key in KEYS)


def test_a_setting_has_a_value_on_just_the_axes_of_its_scheme() -> None:
    grids: dict[str, Any] = {
        "phase_pickup_a": [0.1],
        "earth_pickup_a": [0.02],
        "first_slope": [0.2],
        "second_slope": [0.5],
        "turning_point_a": [1.0],
        "earth_delay_s": [0.1],
        "high_set_pickup_a": [5.0],
        "high_set_delay_s": [0.0],
        "gate": ["none", "angle"],
    }
    gate = {"name": "angle", "start": "angle", "within_degrees": 90.0}
    two_ends = [kind for kind in BUILT_IN if kind not in OF_GROUPS]
    schemes = {"scheme.kind": two_ends, "ct.neutral_conductor": {}, "scheme.gates": [gate]}
    study = study_with(schemes | {"candidates": grids})
    for lattice in grid_lattices(study):
        own = {axis.key for axis in AXES if axis.in_scheme(scheme_of(study, lattice.scheme))}
        assert set(lattice.shared) == set(KEYS) - {*PICKUPS, "delay_s"}
        for setting in lattice.settings():
            given = {key for key in KEYS if getattr(setting, key) is not None}
            assert given - {*CIRCUIT} == own - {*CIRCUIT}  # 0 ohm where there is no place for it


def test_a_text_without_one_slope_has_no_slope() -> None:
    row = dict.fromkeys(KEYS, float("nan")) | {"phase_pickup_a": 0.1, "delay_s": 0.0}
    row |= {"first_slope": 0.2, "second_slope": 0.5, "turning_point_a": 1.0}
    assert setting_text(row) == "phase 0.1 A, slope 0.2 (0.5 above 1 A), no delay"
    for key in BIAS:
        assert setting_text(row, key) == "phase 0.1 A, no delay"
    assert setting_text(row, "delay_s") == "phase 0.1 A, slope 0.2 (0.5 above 1 A)"
