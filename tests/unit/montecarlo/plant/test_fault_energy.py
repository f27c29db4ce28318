"""Energy of earth faults: against integration of the current itself, against the power of the
source, and by hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad, trapezoid

from montecarlo.engine.batch import run_batch
from montecarlo.engine.block import Block
from montecarlo.engine.job import Job
from montecarlo.engine.sizes import designs
from montecarlo.engine.workers import Workers
from montecarlo.formulas.damage import damage
from montecarlo.sampling.stratum import EARTH
from montecarlo.study.candidates import candidate_lattices, lattices_of
from montecarlo.study.description import Study
from studies.earthing.lasting import PLACES, EarthFaults, earth_faults, sample_earth_faults
from tests.made.studies import REMOVE, study_with

OMEGA = 100 * np.pi
TIMES: dict[str, Any] = {
    "breaker_time_s": 0.08,
    "field_decay_time_constant_s": 3.0,
    "undetected_time_s": 100.0,
}
PHASE_V = 11e3 / np.sqrt(3)
# No winding impedance to speak of, no capacitance, no load, ideal CTs: the loop is E, R_F and
# the resistor.
BARE: dict[str, Any] = {
    "study.samples": 64,
    "study.installations": 16,
    "study.earth_fault_samples": 64,
    "fault_energy": TIMES,
    "machine.rated_power_va": 3e9,
    "machine.subtransient_reactance_pu": 5e-3,
    "machine.transient_reactance_pu": 5e-3,
    "machine.negative_sequence_reactance_pu": 5e-3,
    "machine.zero_sequence_reactance_pu": 5e-3,
    "machine.stator_capacitance_f": REMOVE,
    "load.current_pu": 0.0,
    "earthing.resistance_ohm": 30.0,
    "ct.turns_ratio_error_percent": 0.0,
    "ct.knee_voltage_v": 1000.0,
    "ct.knee_current_a": 0.0,
    "ct.remanence_percent": 0.0,
    "relay.pickup_error_percent": 0.0,
    "candidates.earth_pickup_a": [0.05],
    "candidates.stabilising_resistance_ohm": [0],
    "candidates.delay_s": [0.1],
}
PICKUP_A = 0.05 * 1500


def sampled(changes: dict[str, Any]) -> tuple[Block, EarthFaults]:
    study = study_with(BARE | changes)
    setting = next(candidate_lattices(study)[0].settings())
    job = Job(study, lattices_of(study, setting), *designs(study))
    block = Block(job, job.earth_design.chunks(EARTH)[0])
    return block, earth_faults(block)


def by_place(values: Any, block: Block) -> Any:
    return np.asarray(values).reshape(len(block), PLACES)


# --- the integral -------------------------------------------------------------


def test_the_joule_integral_is_that_of_the_current_wave() -> None:
    """sqrt(2) I sin(wt) until the breaker is open, after it sqrt(2) I' e^(-t/T) sin(wt), squared
    and summed."""
    current, lasts, after, decay = 210.0, 0.12 + 0.08, 180.0, 2.5
    t = np.linspace(0, lasts + 12 * decay, 2_000_001)
    wave = (
        np.sqrt(2)
        * np.sin(OMEGA * t)
        * np.where(t < lasts, current, after * np.exp(-(t - lasts) / decay))
    )
    assert damage(current, lasts, after, decay, 2.0) == pytest.approx(
        trapezoid(wave**2, t), rel=1e-3
    )


def test_the_joule_integral_against_adaptive_quadrature_of_the_rms() -> None:
    rng = np.random.default_rng(4)
    for current, lasts, after, decay in rng.uniform(0.1, 5.0, (5, 4)):
        tail, _ = quad(lambda t, a=after, d=decay: (a * np.exp(-t / d)) ** 2, 0, 60 * decay)
        assert damage(current, lasts, after, decay, 2.0) == pytest.approx(
            current**2 * lasts + tail, rel=1e-9
        )


def test_without_a_decay_the_fault_ends_with_the_breaker() -> None:
    assert damage(100.0, 0.2, 100.0, 0.0, 2.0) == pytest.approx(2000.0)


# --- of sampled faults --------------------------------------------------------


def test_what_fault_and_resistor_take_is_what_the_source_gives() -> None:
    """x E I, the power of the winding's EMF, for as long as each fault lasts and half the decay."""
    block, faults = sampled({})
    s = block.samples
    x = (np.arange(PLACES) + s["internal_faults.position"][:, None]) / PLACES
    current = x * PHASE_V / (s["internal_faults.earth_fault_resistance_ohm"][:, None] + 30.0)
    seen = current > PICKUP_A
    assert 0.05 < seen.mean() < 0.95
    assert np.array_equal(by_place(faults.seen, block), seen)
    lasts = np.where(seen, 0.1 + 0.02, 100.0)
    assert by_place(faults.lasts_s, block) == pytest.approx(lasts)
    given = x * PHASE_V * current * (lasts + 0.08 + 3.0 / 2)
    assert by_place(faults.fault_j + faults.resistor_j, block) == pytest.approx(given, rel=1e-5)
    assert by_place(faults.neutral_v, block) == pytest.approx(30 * current, rel=1e-5)
    assert faults.solid_fault_a == pytest.approx(PHASE_V / 30, rel=1e-5)


def test_a_backup_ends_what_the_differential_does_not_see() -> None:
    backup = {
        "neutral_current": {"pickup_a": 40.0, "delay_s": 0.6},
        "neutral_voltage": {"pickup_percent": 5.0, "delay_s": 2.0},
    }
    block, faults = sampled({"backup": backup})
    neutral_a = by_place(faults.neutral_v, block) / 30
    lasts = np.select(
        [neutral_a > PICKUP_A, neutral_a > 40.0, neutral_a > 0.05 * PHASE_V / 30],
        [0.12, 0.62, 2.02],
        100.0,
    )
    assert {0.12, 0.62, 2.02, 100.0} == set(np.unique(lasts))
    assert by_place(faults.lasts_s, block) == pytest.approx(lasts)


def test_a_backup_faster_than_the_differential_ends_the_fault() -> None:
    backup = {"neutral_voltage": {"pickup_percent": 1.0, "delay_s": 0.0}}
    _, faults = sampled({"backup": backup})
    assert faults.lasts_s[faults.seen == 1] == pytest.approx(0.02)


def test_off_the_network_other_neutrals_feed_the_fault_no_more() -> None:
    """R_F = 0: while the breaker is closed both neutrals carry the current, each x E over its own
    resistance; after it the machine's own."""
    block, faults = sampled(
        {"earthing.other_neutrals_ohm": 60.0, "internal_faults.earth_fault_resistance_ohm": 0.0}
    )
    x = by_place(faults.neutral_v, block) / PHASE_V
    own, both = x * PHASE_V / 30, x * PHASE_V / 20
    closed = by_place(faults.lasts_s, block) + 0.08
    assert by_place(faults.fault_a2s, block) == pytest.approx(
        both**2 * closed + own**2 * 1.5, rel=1e-5
    )
    assert by_place(faults.neutral_a2s, block) == pytest.approx(own**2 * (closed + 1.5), rel=1e-5)
    assert faults.fault_j == pytest.approx(0.0)  # a solid fault takes no heat
    assert faults.solid_fault_a == pytest.approx(PHASE_V / 20, rel=1e-5)
    assert faults.solid_neutral_a == pytest.approx(PHASE_V / 30, rel=1e-5)


def test_only_the_resistor_of_a_transformer_takes_the_resistors_heat() -> None:
    """30 ohm as n^2 times 0.1 ohm and 20 ohm of windings: three fifths of the neutral's heat."""
    earthing = {
        "transformer_ratio": 10.0,
        "secondary_resistance_ohm": 0.3,
        "transformer_resistance_ohm": 20.0,
    }
    _, faults = sampled({"earthing": earthing})
    assert faults.resistor_j == pytest.approx(30.0 * faults.neutral_a2s)
    assert faults.solid_neutral_a == pytest.approx(PHASE_V / 50, rel=1e-5)


def test_discrete_places_stand_for_themselves() -> None:
    places = {"dist": "discrete", "values": [0.25, 1.0], "weights": [0.5, 0.5]}
    block, faults = sampled(
        {"internal_faults.position": places, "internal_faults.earth_fault_resistance_ohm": 0.0}
    )
    assert faults.neutral_v == pytest.approx(
        block.samples["internal_faults.position"] * PHASE_V, rel=1e-5
    )


# --- of a whole round ---------------------------------------------------------


def whole(study: Study, workers: int = 1) -> EarthFaults:
    setting = next(candidate_lattices(study)[0].settings())
    return sample_earth_faults(
        study, setting, round_=1, workers=Workers(workers), progress=lambda done, total, what: None
    )


def test_a_round_has_the_faults_of_the_batch() -> None:
    """What the setting sees here is what the batch of that round says of it, place by place or
    exact in the place."""
    study = study_with({"study.earth_fault_samples": 512, "fault_energy": TIMES})
    faults = whole(study)
    setting = next(candidate_lattices(study)[0].settings())
    batch = run_batch(
        study, lattices_of(study, setting), 1, Workers(1), lambda done, total, what: None
    )
    p_missed = float(batch.strata[EARTH].estimate().p[0])
    assert 1 - faults.seen.mean() == pytest.approx(p_missed, abs=0.01)  # 4,096 places on nets
    assert faults.seen.shape == (16, 32 * PLACES)
    assert faults.solid_fault_a.shape == (16, 32)


def test_without_a_setting_nothing_is_known_that_hangs_on_the_time() -> None:
    study = study_with(BARE)
    faults = sample_earth_faults(
        study, None, round_=1, workers=Workers(1), progress=lambda done, total, what: None
    )
    assert np.isfinite(faults.solid_fault_a).all()
    assert np.isfinite(faults.neutral_v).all()
    for part in (
        faults.seen,
        faults.lasts_s,
        faults.fault_j,
        faults.resistor_j,
        faults.neutral_a2s,
    ):
        assert np.isnan(part).all()
