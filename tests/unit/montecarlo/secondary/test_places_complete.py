"""[ct] needs a key without a default only where CTs that a scheme uses lack it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from montecarlo.frames.result import run_study
from montecarlo.relays.places import ENDS, GROUP_OF
from montecarlo.sampling.inputs import list_inputs
from montecarlo.secondary.circuit import PER_CT
from montecarlo.study.checks import cautions
from montecarlo.study.circuits import scheme_of
from montecarlo.study.nominal import Nominal
from studies.check.text import checked
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
ENDS_OF_CT = [f"ct.{end}" for end in ENDS]
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


# --- CTs that no scheme uses ---------------------------------------------------

UNSTATED: Changes = {key: REMOVE for key in MOVED if key not in ("ct.neutral_end", "ct.line_end")}
EARTH_ONLY = {"earth_pickup_a": [0.02, 0.05], "stabilising_resistance_ohm": [0, 300]}
REF: Changes = UNSTATED | {
    "scheme.kind": "restricted_earth_fault",
    "candidates": EARTH_ONLY,
    "ct.line_end": OWN,
    "ct.neutral_conductor": OWN,
}


def _one_ended(*cts: str) -> Changes:
    """A scheme of one earth element whose leg has these CTs."""
    own = {
        "name": "one_ended",
        "legs": [{"name": "residual", "cts": list(cts)}],
        "elements": [{"leg": "residual", "setting": "earth"}],
    }
    return UNSTATED | {
        "scheme.kind": "one_ended",
        "scheme.custom": [own],
        "candidates": EARTH_ONLY | {"stabilising_resistance_ohm": [0]},
    }


ONE_END = {
    "restricted earth fault": (REF, ("line_end", "neutral_conductor")),
    "line end": (
        _one_ended("line_end.L1", "line_end.L2", "line_end.L3") | {"ct.line_end": OWN},
        ("line_end",),
    ),
    "neutral end": (
        _one_ended("neutral_end.L1", "neutral_end.L2", "neutral_end.L3") | {"ct.neutral_end": OWN},
        ("neutral_end",),
    ),
    "neutral CT": (_one_ended("neutral_conductor") | NEUTRAL, ("neutral_conductor",)),
}


@pytest.mark.parametrize(("changes", "in_use"), ONE_END.values(), ids=[*ONE_END])
def test_cts_that_no_scheme_uses_need_no_key(changes: Changes, in_use: tuple[str, ...]) -> None:
    study = study_with(changes)
    assert study.ct.groups == in_use
    assert study.ct.stating.primary_a == OWN["primary_a"]
    assert checked(study).text  # which works out all that needs no sample
    for kind in study.scheme.kinds:
        bank = Nominal(study).bank
        there = np.isin(GROUP_OF, scheme_of(study, kind).groups)
        assert np.isfinite(bank.turns[0, there]).all()
        assert np.isnan(bank.turns[0, ~there]).all()


@pytest.mark.parametrize("changes", [one for one, _ in ONE_END.values()], ids=[*ONE_END])
def test_a_run_of_one_end_has_the_numbers_of_the_study_that_describes_both(
    changes: Changes,
) -> None:
    few = {"study.samples": 64, "study.installations": 16, "study.earth_fault_samples": 16}
    small = FEW_TYPES | few
    described = {key: value for key, value in changes.items() if value is not REMOVE}
    lean = run_study(study_with(changes | small))
    whole = run_study(study_with(described | dict.fromkeys(ENDS_OF_CT, OWN) | small))
    columns = ["candidate", "p_missed", "p_false", "p_missed_low", "p_missed_high"]
    assert len(lean.candidates) > 1
    assert lean.candidates[columns].equals(whole.candidates[columns])


def test_a_table_of_cts_that_no_scheme_uses_is_named_by_check() -> None:
    study = study_with(REF | {"ct.neutral_end": {"primary_a": 1500}})
    (caution,) = [one for one in cautions(study) if one.key == "ct.neutral_end"]
    assert caution.text == "No scheme uses these CTs. The table changes no result."


def test_an_alternative_may_use_what_the_study_does_not() -> None:
    residual = _one_ended("neutral_end.L1", "neutral_end.L2", "neutral_end.L3")["scheme.custom"]
    two = REF | {"scheme.custom": residual, "candidates.stabilising_resistance_ohm": [0]}
    changes = {"scheme.kind": "one_ended"}
    alternatives = two | {
        "study.kind": "alternatives",
        "alternatives": [{"name": "residual", "changes": changes}],
    }
    study = study_with(alternatives | {"ct.neutral_end": OWN})
    ((_, other),) = study.alternative_studies
    assert study.ct.groups == ("line_end", "neutral_conductor")
    assert other.ct.groups == ("neutral_end",)
    assert "ct.neutral_end" not in {one.key for one in cautions(study)}
    assert "ct.primary_a: missing" in faults_of(alternatives)[0]


def test_a_scheme_that_is_not_known_asks_for_no_cts() -> None:
    (fault,) = faults_of(REF | {"scheme.kind": "restricted_earth_falt"})
    assert fault.startswith("scheme.kind: ")


# --- what is said --------------------------------------------------------------


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
            REF | {"ct.neutral_conductor": {}},
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
