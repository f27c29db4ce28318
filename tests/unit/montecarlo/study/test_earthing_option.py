"""Options of earthing: [earthing] with some keys changed, read through the door; all else is drawn
alike."""

from __future__ import annotations

import pickle
from typing import Any

import numpy as np
import pytest

from montecarlo.engine.block import Block
from montecarlo.engine.job import Job
from montecarlo.engine.sizes import designs
from montecarlo.plant.earthing import Earthing, EarthingOption
from montecarlo.sampling.stratum import EARTH
from montecarlo.study.description import Study
from montecarlo.study.read import digest
from tests.made.studies import REMOVE, faults_of, study_with

TIMES: dict[str, Any] = {
    "breaker_time_s": {"dist": "uniform", "low": 0.05, "high": 0.1},
    "field_decay_time_constant_s": {"dist": "uniform", "low": 2, "high": 5},
    "undetected_time_s": {"dist": "uniform", "low": 60, "high": 600},
}
BAND = {"nominal": 50, "tolerance_percent": 10, "shape": "uniform"}
TRANSFORMER = {
    "transformer_ratio": 40.0,
    "secondary_resistance_ohm": 0.2,
    "transformer_resistance_ohm": 5.0,
}


def options(*given: dict[str, Any]) -> dict[str, Any]:
    return {"study.kind": "earthing_options", "fault_energy": TIMES, "earthing_options": [*given]}


def read(*given: dict[str, Any], **changes: Any) -> dict[str, Study]:
    return dict(study_with(options(*given) | changes).options)


def test_an_option_is_the_study_with_its_resistor() -> None:
    found = read(
        {"name": "as stated"},
        {"name": "50 A", "current_limit_a": BAND, "rated_current_a": 50.0, "rated_time_s": 10.0},
        {"name": "transformer"} | TRANSFORMER,
    )
    assert found["as stated"] == study_with(fault_energy=TIMES)
    assert found["50 A"] == study_with(fault_energy=TIMES, earthing={"current_limit_a": BAND})
    assert found["transformer"] == study_with(fault_energy=TIMES, earthing=TRANSFORMER)
    study = study_with(options({"name": "a"}, {"name": "b", "resistance_ohm": 5.0}))
    assert pickle.loads(pickle.dumps(study)).options == study.options
    assert digest(study) != digest(
        study_with(options({"name": "a"}, {"name": "b", "resistance_ohm": 6.0}))
    )


def test_keys_that_are_no_resistor_stay_and_a_transformer_may_change_in_part() -> None:
    hot = {"earthing.temperature_rise_k": 300.0, "earthing.temperature_coefficient_per_k": 0.001}
    found = read(
        {"name": "a", "current_limit_a": 50.0}, {"name": "cold", "temperature_rise_k": 0.0}, **hot
    )
    assert found["a"].earthing.temperature_rise_k.centre() == 300
    assert found["a"].earthing.resistance_ohm is None
    assert found["cold"].earthing.temperature_rise_k.centre() == 0
    assert found["cold"].earthing.resistance_ohm is not None
    found = read(
        {"name": "a", "secondary_resistance_ohm": 0.4},
        {"name": "b", "resistance_ohm": 10.0},
        earthing=TRANSFORMER,
    )
    assert found["a"].earthing.transformer_ratio == 40
    assert found["a"].earthing.transformer_resistance_ohm is not None
    assert found["b"].earthing == Earthing.model_validate({"resistance_ohm": 10.0})


def test_every_key_of_earthing_can_be_changed() -> None:
    assert set(EarthingOption.model_fields) == {
        *Earthing.model_fields,
        "name",
        "rated_current_a",
        "rated_time_s",
    }


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        (
            options({"name": "a", "curent_limit_a": 50}, {"name": "b"}),
            "earthing_options.a.curent_limit_a: unknown; did you mean current_limit_a?",
        ),
        (
            options({"name": "a", "current_limit_a": -50}, {"name": "b"}),
            "earthing_options[0]: earthing.current_limit_a: -50 A, must be above 0 A; give such a"
            " value: instead: current through the cold resistor at rated phase voltage",
        ),
        (
            options({"name": "a", "transformer_ratio": 50.0}, {"name": "b"}),
            (
                "earthing_options[0]: earthing.secondary_resistance_ohm: missing; an earthing"
                " transformer needs transformer_ratio and secondary_resistance_ohm"
            ),
        ),
        (
            options({"name": "a", "current_limit_a": 50, "resistance_ohm": 3}, {"name": "b"}),
            (
                "earthing_options[0]: earthing: resistance_ohm and current_limit_a given; give"
                " exactly one of resistance_ohm, current_limit_a, and transformer_ratio with"
                " secondary_resistance_ohm"
            ),
        ),
        (
            options({"name": "a"}, {"name": "a", "current_limit_a": 50}),
            'earthing_options[1].name: "a" is empty or used before; give each option its own name',
        ),
        (
            options({"name": "a", "rated_current_a": 50}, {"name": "b"}),
            (
                "earthing_options[0].rated_time_s: missing; a rating is a current and a time, give"
                " both or none"
            ),
        ),
        (
            options({"name": "a"}),
            (
                "earthing_options: 1, must be 2 to 12, each a table [[earthing_options]]; one"
                " without keys is [earthing] as stated"
            ),
        ),
        (
            options({"name": "a"}, {"name": "b"}) | {"fault_energy": REMOVE},
            (
                "fault_energy: missing; give the table with breaker_time_s,"
                " field_decay_time_constant_s and undetected_time_s"
            ),
        ),
        (
            options({"name": "a"}, {"name": "b"})
            | {"fault_energy": REMOVE, "damage": {"exponent": 1.5}},
            (
                "fault_energy: missing; give the table with breaker_time_s,"
                " field_decay_time_constant_s and undetected_time_s"
            ),
        ),
        (
            options({"name": "a"}, {"name": "b"}) | {"study.kind": "setting_sweep"},
            (
                'earthing_options: study.kind is "setting_sweep"; give "earthing_options" or take'
                " the options out"
            ),
        ),
        (
            options({"name": "a"}, {"name": "b"}) | {"study.compare": [[1, 2]]},
            (
                "study.compare: is for a single choice; take it out, or run the option by itself as"
                " setting_sweep"
            ),
        ),
        (
            options({"name": "a"}, {"name": "b"}) | {"study.compare_remanence_models": True},
            (
                "study.compare_remanence_models: is for a single choice; take it out, or run the"
                " option by itself as setting_sweep"
            ),
        ),
        (
            options({"name": "a"}, {"name": "b"})
            | {"internal_faults.shares": {"phase_phase": 1.0}},
            (
                "internal_faults.shares.earth: 0, must be above 0; options of earthing differ in"
                " earth faults"
            ),
        ),
    ],
)
def test_an_option_that_cannot_be_is_refused_in_one_line(
    changes: dict[str, Any], line: str
) -> None:
    assert faults_of({key: value for key, value in changes.items() if value is not REMOVE}) == (
        line,
    )


HYBRID = {"switch_time_s": 0.1}
LOW = "must be above the {} ohm of the branch that is opened after the trip; give what stays"


@pytest.mark.parametrize(
    ("resistor", "ohm"),
    [
        ({"resistance_ohm": {"dist": "uniform", "low": 10, "high": 30}}, 20.0),
        ({"current_limit_a": 11000 / 3**0.5 / 25}, 25.0),
        ({"transformer_ratio": 20.0, "secondary_resistance_ohm": 0.1}, 40.0),
        (
            {
                "resistance_ohm": 40.0,
                "temperature_rise_k": 250.0,
                "temperature_coefficient_per_k": 0.001,
            },
            50.0,
        ),
    ],
)
@pytest.mark.parametrize("part", [0.5, 1.0, 1.001])
def test_what_stays_after_the_trip_is_above_the_resistor_however_it_is_given(
    resistor: dict[str, Any], ohm: float, part: float
) -> None:
    changed = resistor | HYBRID | {"high_resistance_ohm": part * ohm}
    if part > 1:
        assert study_with(earthing=changed).earthing.high_resistance_ohm is not None
        return
    of_table = faults_of({"earthing": changed})
    of_option = faults_of(options({"name": "a"}, {"name": "b"} | changed))
    value = f"earthing.high_resistance_ohm: {part * ohm:g} ohm"
    told = f"{value}, {LOW.format(f'{ohm:.4g}')}"
    assert of_table == (told,)
    assert of_option == (f"earthing_options[1]: {told}",)


def test_the_centre_of_what_stays_is_compared() -> None:
    given = {"resistance_ohm": 20.0} | HYBRID
    wide = {"dist": "uniform", "low": 10.0, "high": 50.0}
    assert study_with(earthing=given | {"high_resistance_ohm": wide}).earthing is not None
    low = wide | {"high": 29.0}
    assert faults_of({"earthing": given | {"high_resistance_ohm": low}})[0].startswith(
        "earthing.high_resistance_ohm: 19.5 ohm, must be above the 20 ohm of the branch"
    )


# --- common random numbers ----------------------------------------------------


def drawn(study: Study) -> dict[str, Any]:
    job = Job(study, (), *designs(study))
    return dict(Block(job, job.earth_design.chunks(EARTH)[3]).samples)


def test_all_but_the_resistor_is_drawn_alike_whatever_the_kind_of_earthing() -> None:
    """Installations and earth faults lie on nets, where an input more or less moves the dimensions
    of those behind it."""
    found = read(
        {"name": "as stated"},
        {"name": "50 A", "current_limit_a": BAND},
        {"name": "t"} | TRANSFORMER,
        **{"ct.neutral_end": {"winding_resistance_ohm": {"dist": "uniform", "low": 4, "high": 6}}},
    )
    first = drawn(found["as stated"])
    plain = drawn(
        study_with(
            {"ct.neutral_end": {"winding_resistance_ohm": {"dist": "uniform", "low": 4, "high": 6}}}
        )
    )
    for other in (plain, *map(drawn, found.values())):
        shared = [key for key in other if key in first]
        assert len(shared) > 30
        assert all(np.array_equal(first[key], other[key]) for key in shared)
    ohms = drawn(found["50 A"])["earthing.current_limit_a"]
    assert 45 <= ohms.min() < ohms.max() <= 55
