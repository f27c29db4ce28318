"""Non-linear resistors that cannot be, in one line each; and what `check` says of one."""

from __future__ import annotations

from typing import Any

import pytest

from montecarlo.relays.nonlinear import rms_current
from montecarlo.study.nonlinear_checks import KEY
from tests.made.custom_schemes import element, leg
from tests.made.said import check_text, words
from tests.made.studies import REMOVE, faults_of, study_with

GIVEN = {"c": 450.0, "beta": 0.25}
BIASED: dict[str, Any] = {
    "scheme": {"kind": "biased", "nonlinear_resistor": GIVEN},
    "candidates": {"phase_pickup_a": [0.1], "first_slope": [0.1]},
}
PER_PHASE = {"phase_pickup_a": [0.1], "stabilising_resistance_ohm": [100]}


@pytest.mark.parametrize(
    ("given", "key", "limit"),
    [
        ({"c": 0.0, "beta": 0.25}, f"{KEY}.c: 0", "above 0"),
        ({"c": -450.0, "beta": 0.25}, f"{KEY}.c: -450", "above 0"),
        ({"c": 450.0, "beta": 0.005}, f"{KEY}.beta: 0.005", "at least 0.01"),
        ({"c": 450.0, "beta": 1.5}, f"{KEY}.beta: 1.5", "at most 1"),
        ({"c": 450.0}, f"{KEY}.beta", "missing"),
    ],
)
def test_a_value_out_of_range_is_refused(given: dict[str, float], key: str, limit: str) -> None:
    (fault,) = faults_of({KEY: given})
    assert fault.startswith(key)
    assert limit in fault


def test_a_scheme_without_a_leg_for_it_is_refused() -> None:
    assert faults_of(BIASED) == (
        f"{KEY}: given, but biased: no element without bias with a stabilising resistance;"
        " take it out or name a scheme that has one",
    )


def test_a_high_set_element_on_the_same_leg_is_refused() -> None:
    high = {"candidates": PER_PHASE | {"high_set_pickup_a": [5.0]}}
    faults = faults_of({"scheme": {"kind": "per_phase", "nonlinear_resistor": GIVEN}} | high)
    assert len(faults) == 3  # a leg each
    assert all(fault.startswith("candidates.high_set_pickup_a: given, but") for fault in faults)


def own(elements: list[Any]) -> dict[str, Any]:
    one = leg("one", "neutral_end.L1", "-line_end.L1", stabilising=True)
    two = leg("two", "neutral_end.L2", "-line_end.L2", stabilising=True)
    custom = [{"name": "own", "legs": [one, two], "elements": elements}]
    return {"kind": "own", "custom": custom, "nonlinear_resistor": GIVEN}


def test_a_leg_has_one_kind_of_element_and_no_bias() -> None:
    both = [element("one", "phase"), element("one", "earth")]
    grid = PER_PHASE | {"earth_pickup_a": [0.1]}
    (fault,) = faults_of({"scheme": own(both), "candidates": grid})
    assert "the relay circuit one of own has two elements" in fault
    biased = element("one", "phase", bias_cts=["neutral_end.L1"])
    mixed = [biased, element("two", "phase")]
    grid = PER_PHASE | {"first_slope": [0.1]}
    (fault,) = faults_of({"scheme": own(mixed), "candidates": grid})
    assert "in the relay circuit one has bias" in fault


def test_a_resistor_that_takes_more_than_the_element_is_refused_with_a_cure() -> None:
    grid = {"candidates.stabilising_resistance_ohm": [0, 300, 3000]}
    (fault,) = faults_of(grid | {KEY: GIVEN})
    assert fault.startswith(f"{KEY}.c: 450 V, at which the resistor takes more than the element")
    cured = float(fault.rpartition("at least ")[2].removesuffix(" V"))
    study_with(grid | {KEY: GIVEN | {"c": cured}})
    assert len(faults_of(grid | {KEY: GIVEN | {"c": 0.98 * cured}})) == 1


def test_the_existing_setting_is_looked_at_too() -> None:
    existing = {"phase_pickup_a": 0.1, "earth_pickup_a": 0.1, "stabilising_resistance_ohm": 1e4}
    (fault,) = faults_of({KEY: GIVEN, "candidates.existing": existing | {"delay_s": 0.0}})
    assert "with 10000 ohm" in fault


def test_check_prints_what_it_takes_beside_the_pick_up() -> None:
    study = study_with(
        {
            KEY: GIVEN,
            "relay.earth_burden_ohm": 50.0,
            "candidates.earth_pickup_a": [0.2],
            "candidates.stabilising_resistance_ohm": [350],
        }
    )
    taken = float(rms_current(0.2 * 400, 450.0, 0.25))
    text = words(check_text(study))
    assert "Non-linear resistor across the relay circuit, V = 450 V x I^0.25" in text
    assert f"80 {1000 * taken:.3g} {100 * taken / 0.2:.2g} %" in text
    assert "with resistor" in text
    assert "Non-linear resistor across the relay circuit, V" not in words(check_text(study_with()))


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"candidates.earth_pickup_a": REMOVE}, "candidates.earth_pickup_a: missing"),
        (
            {"candidates.existing": {"scheme": "other", "delay_s": 0.0}},
            "candidates.existing.scheme",
        ),
        ({"candidates.existing": {"delay_s": 0.0}}, "candidates.existing.phase_pickup_a: missing"),
    ],
)
def test_settings_that_are_not_whole_are_told_as_ever(changes: dict[str, Any], told: str) -> None:
    assert any(fault.startswith(told) for fault in faults_of({KEY: GIVEN} | changes))
