"""Whole small studies with back-up elements in the neutral: closed forms, what adds up, what is
left alone."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from pandas.testing import assert_frame_equal

from montecarlo import Result, run_study
from montecarlo.engine import primary
from montecarlo.engine.backup import operating_currents
from montecarlo.engine.block import Block
from montecarlo.engine.job import Job
from montecarlo.engine.sizes import designs
from montecarlo.errors import StudyError
from montecarlo.formulas import handcalc
from montecarlo.sampling.stratum import EARTH
from tests.made.studies import study_table, study_with

OHM, PHASE_V = 100.0, 11e3 / np.sqrt(3)
EARTH_FAULT = {"name": "feeder", "kind": "phase_earth", "per_year": 1.0, "clearing_time_s": 0.12}
ERROR = {"dist": "uniform", "low": -5, "high": 5}
MIXED: dict[str, Any] = {
    "study.samples": 256,
    "study.installations": 32,
    "study.earth_fault_samples": 64,
    "machine.terminal_capacitance_f": 1e-6,
    "states.breaker_open_share": 0.2,
    "network": {"reactance_pu": 0.5},
    "earthing.other_neutrals_ohm": 30.0,
    "scheme.kind": ["two_phase_one_earth", "biased"],
    "scheme.bias_form": "greater_of",
    "candidates.first_slope": [0.2],
    "candidates.earth_pickup_a": [0.02, 0.1],
    "candidates.stabilising_resistance_ohm": [0],
    "candidates.delay_s": [0.0, 0.06],
    "policy.p_false_max": 0.9,
    "external_events": [EARTH_FAULT, *study_table()["external_events"][:1]],
}
BOTH: dict[str, Any] = {
    "neutral_current": {"pickup_a": 25.0, "delay_s": 1.0, "error_percent": ERROR},
    "neutral_voltage": {"pickup_percent": 6.0, "delay_s": 0.05, "error_percent": ERROR},
}
BARE: dict[str, Any] = {  # bolted, nothing uncertain, no capacitance, ideal CTs
    "study.samples": 32,
    "study.installations": 32,
    "study.earth_fault_samples": 32,
    "earthing.resistance_ohm": OHM,
    "machine.stator_capacitance_f": 0.0,
    "load.current_pu": 0.0,
    "ct.turns_ratio_error_percent": 0.0,
    "ct.knee_current_a": 0.0,
    "ct.remanence_percent": 0.0,
    "relay.pickup_error_percent": 0.0,
    "internal_faults.earth_fault_resistance_ohm": 0.0,
    "internal_faults.shares": {"earth": 1.0},
    "candidates.phase_pickup_a": [1.0],
    "candidates.earth_pickup_a": [0.01, 0.02, 0.04],
    "candidates.stabilising_resistance_ohm": [0],
    "policy.p_false_max": 1e-9,  # no fresh batch
    "external_events": study_table()["external_events"][:1],
}


def run(changes: dict[str, Any]) -> Result:
    return run_study(study_with(changes), workers=1)


@pytest.fixture(scope="module")
def mixed() -> Result:
    return run(MIXED | {"backup": BOTH})


@pytest.mark.parametrize(
    ("backup", "operating_a"),
    [
        ({"neutral_current": {"pickup_a": 20.0, "delay_s": 1.0}}, 20.0),
        ({"neutral_current": {"pickup_a": 20.0, "delay_s": 1.0, "error_percent": 10.0}}, 22.0),
        ({"neutral_voltage": {"pickup_percent": 5.0, "delay_s": 1.0}}, 0.05 * PHASE_V / OHM),
        (
            {
                "neutral_current": {"pickup_a": 20.0, "delay_s": 1.0},
                "neutral_voltage": {"pickup_percent": 50, "delay_s": 1.0},
            },
            20.0,
        ),
        (
            {"neutral_current": {"pickup_a": 200.0, "delay_s": 1.0}},
            PHASE_V / OHM,
        ),  # never: not even at x = 1
    ],
)
def test_nobody_catches_the_shorter_of_two_stretches_of_the_winding(
    backup: dict[str, Any], operating_a: float
) -> None:
    # bolted, no capacitance: the differential's x = I_set N R_N / E, the back-up's x = I R_N /
    # E (= V / E)
    result = run(BARE | {"backup": backup})
    differential = handcalc.unprotected_fraction(1500 * np.array([0.01, 0.02, 0.04]), OHM, PHASE_V)
    alone = float(handcalc.displacement_fraction(operating_a * OHM, PHASE_V))
    rows = result.candidates.sort_values("earth_pickup_a")
    assert rows["p_missed"].to_numpy() == pytest.approx(differential, rel=1e-3)
    assert rows["p_nobody"].to_numpy() == pytest.approx(np.minimum(differential, alone), rel=1e-3)
    assert rows["p_backup_only"].to_numpy() == pytest.approx(
        np.maximum(differential - alone, 0.0), abs=1e-3
    )
    assert result.backup.set_index("type").loc["earth", "p_operates"] == pytest.approx(
        1 - alone, rel=1e-3
    )


def test_the_faults_resistance_lengthens_both_stretches_alike() -> None:
    # x = I (R_N + R_F) / E, without capacitance
    backup = {"neutral_current": {"pickup_a": 10.0, "delay_s": 1.0}}
    result = run(
        BARE
        | {
            "internal_faults.earth_fault_resistance_ohm": 50.0,
            "backup": backup,
            "candidates.earth_pickup_a": [0.005, 0.02],
        }
    )
    expected = handcalc.displacement_fraction(np.minimum([7.5, 30.0], 10.0) * (OHM + 50.0), PHASE_V)
    assert result.candidates.sort_values("earth_pickup_a")["p_nobody"].to_numpy() == pytest.approx(
        expected, rel=1e-3
    )


def test_what_is_missed_is_what_the_backup_catches_and_what_nobody_does(mixed: Result) -> None:
    frame = mixed.candidates
    assert (frame["p_nobody"] <= frame["p_missed"]).all()
    assert (frame["p_backup_only"] + frame["p_nobody"]).to_numpy() == pytest.approx(
        frame["p_missed"], abs=1e-12
    )
    assert (
        (frame["p_nobody_low"] <= frame["p_nobody"]) & (frame["p_nobody"] <= frame["p_nobody_high"])
    ).all()
    assert frame["p_backup_only"].gt(0.01).any()
    assert frame["nobody_per_year"].to_numpy() == pytest.approx(frame["p_nobody"] * 0.01 * 0.99)


def test_by_type_it_helps_only_where_earth_is_touched(mixed: Result) -> None:
    rows = mixed.by_type
    assert rows.loc[rows["side"] != "internal", "p_nobody"].isna().all()
    clear = rows["type"].isin(["phase_phase", "three_phase"])
    assert (rows.loc[clear, "p_nobody"] == rows.loc[clear, "p"]).all()
    earth = rows["type"].isin(["earth", "phase_phase_earth"])
    assert (rows.loc[earth, "p_nobody"] <= rows.loc[earth, "p"]).all()
    assert set(mixed.backup["type"]) == {"earth", "phase_phase_earth", "feeder"}


def test_a_backup_changes_no_other_number(mixed: Result) -> None:
    without = run(MIXED)
    assert without.chosen == mixed.chosen
    assert_frame_equal(
        mixed.candidates[without.candidates.columns], without.candidates, check_exact=True
    )
    assert_frame_equal(mixed.by_type[without.by_type.columns], without.by_type, check_exact=True)
    assert len(without.backup) == 0


@pytest.mark.parametrize(("delay_s", "share"), [(0.05, 1.0), (0.2, 0.0)])
def test_on_an_earth_fault_outside_it_operates_if_its_delay_is_the_shorter(
    delay_s: float, share: float
) -> None:
    # cleared after 120 ms, and the one-cycle measurement falls below within two cycles of that
    backup = {"neutral_voltage": {"pickup_percent": 6.0, "delay_s": delay_s}}
    result = run(BARE | {"external_events": [EARTH_FAULT], "backup": backup})
    row = result.backup.set_index(["side", "type"]).loc[("external", "feeder")]
    assert row["p_operates"] == share
    assert row["p_operates_low"] <= share <= row["p_operates_high"]


def test_two_phases_to_earth_are_counted_at_their_places() -> None:
    # bolted, high resistance: the two joined phases lift the neutral by half of xE, so it
    # operates where x > 2V/E
    backup = {"neutral_voltage": {"pickup_percent": 15.0, "delay_s": 1.0}}
    result = run(
        BARE
        | {
            "study.samples": 1024,
            "internal_faults.shares": {"phase_phase_earth": 1.0},
            "backup": backup,
        }
    )
    row = result.backup.set_index("type").loc["phase_phase_earth"]
    assert row["p_operates"] == pytest.approx(
        0.7, abs=5 * (0.21 / 1024) ** 0.5
    )  # by chance once in 1.7 million
    assert row["p_operates_low"] < row["p_operates"] < row["p_operates_high"]


def test_elements_at_the_bus_see_the_displaced_neutral_while_the_breaker_is_closed() -> None:
    """5 % of the voltage at the bus as at the neutral; the current of other neutrals by Ohm."""
    own = {"pickup_percent": 5, "delay_s": 1.0}
    bus = {"bus_voltage": own, "bus_current": {"pickup_a": 10.0, "delay_s": 1.0}}
    study = study_with(
        {
            "backup": {"neutral_voltage": own, **bus},
            "earthing.other_neutrals_ohm": 50.0,
            "states.breaker_open_share": 0.5,
        }
    )
    job = Job(study, (), *designs(study))
    block = Block(job, job.earth_design.chunks(EARTH)[0])
    assert study.backup is not None
    needed = operating_currents(block, study.backup)
    off = block.breaker_open
    assert 0 < off.sum() < len(block)
    assert needed["bus_voltage"][~off] == pytest.approx(needed["neutral_voltage"][~off])
    neutral = np.abs(primary.neutral(block))
    assert needed["bus_current"][~off] == pytest.approx((10.0 * 50.0 / neutral)[~off])
    assert np.isinf(needed["bus_voltage"][off]).all()
    assert np.isinf(needed["bus_current"][off]).all()


def test_the_current_of_other_neutrals_needs_some() -> None:
    with pytest.raises(StudyError, match=r"earthing\.other_neutrals_ohm: missing; \[backup\.bus"):
        study_with({"backup": {"bus_current": {"pickup_a": 10.0, "delay_s": 1.0}}})
