"""Which input decides the damage: against the same study with the input changed in its file."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from montecarlo.engine.clearing import sample_clearing
from montecarlo.engine.clearing_inputs import inputs_of_damage, sample_inputs
from montecarlo.engine.progress import silent
from montecarlo.engine.workers import workers_of
from montecarlo.frames.clearing import ClearingFrames
from montecarlo.frames.clearing_inputs import inputs_frame
from montecarlo.sampling.stratum import EARTH
from tests.made.clearing import SMALL, TIMES, part, setting_of, with_parts
from tests.made.studies import study_with

RATE = {"dist": "uniform", "low": 0.02, "high": 0.04}
GIVEN: dict[str, Any] = (
    SMALL
    | with_parts(part("breaker", "phase_elements", "earth_element", rate=RATE))
    | {"fault_energy": TIMES, "damage": {"exponent": 1.5}}
)
KEY = "fault_energy.breaker_time_s"


def test_a_moved_input_is_the_study_with_that_input() -> None:
    study, crew = study_with(GIVEN), workers_of(1)
    stated = sample_clearing(study, setting_of(study), 1, crew, silent)
    few, found = sample_inputs(stated, crew, silent)
    frame = inputs_frame(few, found).set_index(["input", "way"])
    moved = TIMES | {"breaker_time_s": {"dist": "uniform", "low": 0.075, "high": 0.125}}
    other = study_with(GIVEN | {"fault_energy": moved})
    again = sample_clearing(other, setting_of(other), 1, crew, silent, only=(EARTH,))
    own, apart = (ClearingFrames(one).block_means()["damage_mean_s"] for one in (few, again))
    change = float((apart - own).mean())
    row = frame.loc[KEY, "higher"]
    assert row["by"] == pytest.approx(0.025)
    assert row["damage_change_s"] == pytest.approx(change, rel=1e-9)
    assert row["damage_change_share"] == pytest.approx(change / own.mean(), rel=1e-9)
    assert change > 0
    assert row["nobody_change"] == 0
    assert frame.loc[KEY, "lower"]["damage_change_s"] == pytest.approx(-change, rel=1e-6)


def test_a_rate_moves_how_often_nobody_clears() -> None:
    """Failure on demand of a rate is the rate here: half of 0.02 either way."""
    study, crew = study_with(GIVEN | {"backup": BACKUP_OFF}), workers_of(1)
    stated = sample_clearing(study, setting_of(study), 1, crew, silent)
    few, found = sample_inputs(stated, crew, silent)
    frame = inputs_frame(few, found).set_index(["input", "way"])
    whole = sample_clearing(few.study, setting_of(study), 1, crew, silent, only=(EARTH,))
    key = "dependability.parts.breaker.dangerous_per_year"
    sound = ClearingFrames(whole).nobody((0.0, 1.0)).p
    row = frame.loc[key, "higher"]
    assert row["nobody_change"] == pytest.approx(0.01 * (1 - sound), rel=1e-9)
    sizes = frame["damage_change_s"].abs().to_numpy()
    assert (np.diff(sizes) <= 0).all()


BACKUP_OFF: dict[str, Any] = {"neutral_voltage": {"pickup_percent": 100, "delay_s": 4.0}}


def test_only_inputs_of_earth_faults_are_moved() -> None:
    keys = {item.key for item in inputs_of_damage(study_with(GIVEN))}
    assert KEY in keys
    assert "internal_faults.earth_fault_resistance_ohm" in keys
    assert not any(key.startswith("external_events.") for key in keys)
    assert not any(key.endswith("per_year") and "dangerous" not in key for key in keys)
    without = {key: value for key, value in GIVEN.items() if key != "damage"}
    assert inputs_of_damage(study_with(without)) == []
