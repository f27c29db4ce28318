"""[ct] needs a key without a default only where the CTs of some place lack it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from montecarlo.frames.result import run_study
from montecarlo.relays.places import ENDS
from montecarlo.sampling.inputs import list_inputs
from montecarlo.secondary.circuit import PER_CT
from montecarlo.study.nominal import Nominal
from tests.made.studies import FEW_TYPES, REMOVE, faults_of, study_with

Changes = dict[str, Any]
OWN = {
    "primary_a": 1500,
    "winding_resistance_ohm": 5,
    "knee_voltage_v": 300,
    "knee_current_a": 0.03,
}
MOVED: Changes = {f"ct.{key}": REMOVE for key in OWN} | {f"ct.{end}": OWN for end in ENDS}
WHOLE: Changes = {f"ct.{key}": value for key, value in OWN.items()}
NUMBERS = (*PER_CT, "coefficients", "exponent")
NEUTRAL = {"ct.neutral_conductor": OWN}
CLASS = {"class": "5P20", "rated_burden_va": 15, "primary_a": 1500, "winding_resistance_ohm": 5}


@pytest.mark.parametrize("more", [{}, NEUTRAL], ids=["ends", "neutral conductor"])
def test_keys_of_every_place_are_as_good_as_those_of_ct(more: Changes) -> None:
    moved, whole = study_with(MOVED | more), study_with(WHOLE | more)
    for group in moved.ct.groups:
        assert vars(moved.ct.at(group)) == vars(whole.ct.at(group))
    assert "ct.winding_resistance_ohm" not in {item.key for item in list_inputs(moved)}
    for name, values in vars(Nominal(moved).bank).items():
        other = getattr(Nominal(whole).bank, name)
        same = np.array_equal(values, other, equal_nan=True) if name in NUMBERS else values == other
        assert same, name


def test_a_run_has_the_same_numbers() -> None:
    small = FEW_TYPES | {
        "study.samples": 64,
        "study.installations": 16,
        "study.earth_fault_samples": 16,
    }
    moved, whole = (run_study(study_with(small | changes)) for changes in (MOVED, WHOLE))
    columns = ["candidate", "p_missed", "p_false"]
    assert moved.candidates[columns].equals(whole.candidates[columns])


def test_classes_of_every_place_need_nothing_in_ct() -> None:
    moved = study_with(MOVED | {f"ct.{end}": CLASS for end in ENDS})
    whole = study_with(
        {f"ct.{key}": REMOVE for key in OWN} | {f"ct.{key}": value for key, value in CLASS.items()}
    )
    for end in ENDS:
        assert moved.ct.at(end).knee_voltage_v == whole.ct.at(end).knee_voltage_v


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        (
            {"ct.primary_a": REMOVE},
            [
                "ct.primary_a: missing; give it in [ct], or in the table of every place:"
                " neutral_end and line_end"
            ],
        ),
        (
            MOVED | {"ct.line_end": {**OWN, "primary_a": REMOVE}},
            ["ct.line_end.primary_a: missing, and [ct] has none for all CTs; give one of the two"],
        ),
        (
            MOVED | {"ct.neutral_conductor": {}},
            [
                "ct.neutral_conductor.primary_a: missing, and [ct] has none for all CTs; give one"
                " of the two",
                "ct.neutral_conductor.winding_resistance_ohm: missing, and [ct] has none for all"
                " CTs; give one of the two",
                "ct.neutral_conductor: no excitation curve",
            ],
        ),
        (
            MOVED | {"ct.neutral_end": {"primary_a": 1500, "winding_resistance_ohm": 5}},
            ["ct.neutral_end: no excitation curve"],
        ),
        (  # the other fault is told beside it
            MOVED | {"ct.line_end": {"winding_resistance_ohm": 5, "class": "nonsense"}},
            [
                "ct.line_end.primary_a: missing, and [ct] has none for all CTs; give one of the"
                " two",
                'ct.line_end.class: "nonsense"; expected',
            ],
        ),
        (  # a class of which the winding's resistance is not known
            {"ct.winding_resistance_ohm": REMOVE, "ct.class": "PX"},
            ["ct.winding_resistance_ohm: missing; give it in [ct], or in the table of every place"],
        ),
    ],
)
def test_what_is_lacking_is_told_with_its_place(changes: Changes, told: list[str]) -> None:
    given = {
        key: {k: v for k, v in value.items() if v is not REMOVE}
        if isinstance(value, dict)
        else value
        for key, value in changes.items()
    }
    faults = faults_of(given)
    assert len(faults) == len(told)
    for fault, start in zip(faults, told, strict=True):
        assert fault.startswith(start)
