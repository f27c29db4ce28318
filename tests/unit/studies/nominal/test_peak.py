"""Peak voltage across the relay circuit: limits in closed form, the desk formula, steps, and the
study's table."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from montecarlo.formulas import handcalc
from montecarlo.quantities import Array
from montecarlo.relays.schemes import build_scheme
from montecarlo.secondary import peak
from montecarlo.secondary.circuit import CtBank
from montecarlo.secondary.excitation import excitation_table
from studies.nominal.peak import caution, peak_blocks, peak_frame, peak_voltages
from studies.report.safety import PEAK
from studies.report.terminal import lines
from tests.made.said import check_text
from tests.made.secondary_cases import FREQUENCY_HZ, OMEGA
from tests.made.studies import REMOVE, study_with

KNEE_V, SERIES_OHM, TURNS = 300.0, 6.0, 1000.0
RATIOS = np.array([1.0, 1.5, 2.0, 3.0, 5.0, 8.0, 12.0, 20.0])  # V_f/V_k
PER_PHASE, TWO_AND_EARTH = build_scheme("per_phase"), build_scheme("two_phase_one_earth")
ABC = np.exp(-2j * np.pi / 3 * np.arange(3))


def bank(
    n: int, *, knee_a: float = 0.03, remanence: float = 0.0, steep: int | None = None
) -> CtBank:
    """Cores alike; `steep`: without hysteresis, i = I_k m^steep only."""
    coefficients = np.repeat(
        np.repeat(excitation_table(80.0, 15).at(0.25)[:, None, None], n, 1), 6, 2
    )
    if steep is not None:
        coefficients = np.zeros_like(coefficients)
        coefficients[1] = 1.0
    return CtBank(
        turns=np.full((n, 6), TURNS),
        series_ohm=np.full((n, 6), SERIES_OHM),
        knee_flux_wb=np.full((n, 6), np.sqrt(2) * KNEE_V / OMEGA),
        knee_current_a=np.full((n, 6), knee_a),
        coefficients=coefficients,
        exponent=np.full(6, steep or 15),
        remanence=np.full((n, 6), remanence),
    )


def neutral_end(current_a: Array, phases: Array = ABC) -> np.ndarray:
    """Secondary RMS currents (n,) as primary phasors fed from the neutral end, (n, 6)."""
    return TURNS * np.concatenate(
        [current_a[:, None] * phases, np.zeros((current_a.size, 3))], axis=1
    )


def per_phase(
    ratios: Array, leg_ohm: float, decay_s: float, *, knee_a: float = 0.03, remanence: float = 0.0
) -> Array:
    """Simulated peak over the desk formula's, for V_f/V_k."""
    n = ratios.size
    fault = neutral_end(ratios * KNEE_V / (leg_ohm + SERIES_OHM))
    out = peak.peak_voltage(
        PER_PHASE.table,
        np.full((n, 3), leg_ohm),
        bank(n, knee_a=knee_a, remanence=remanence),
        fault,
        np.full(n, decay_s),
        np.ones(3, bool),
        FREQUENCY_HZ,
    )
    return out / handcalc.peak_voltage(KNEE_V, ratios * KNEE_V)


# --- limits -------------------------------------------------------------------


def test_without_excitation_the_peak_is_root_two_of_the_leg_voltage() -> None:
    current, ohm = np.array([0.1, 1.0, 30.0]), np.array([[10.0], [500.0], [3000.0]]) * np.ones(3)
    out = peak.peak_voltage(
        PER_PHASE.table,
        ohm,
        bank(3, knee_a=0.0),
        neutral_end(current),
        np.zeros(3),
        np.ones(3, bool),
        FREQUENCY_HZ,
    )
    assert out == pytest.approx(
        np.sqrt(2) * current * ohm[:, 0], rel=1e-4
    )  # a step ends 0.7 degrees past the crest
    full = peak.full_voltage(PER_PHASE.table, ohm, bank(3), neutral_end(current), np.ones(3, bool))[
        :, 0
    ]
    assert full == pytest.approx(current * (ohm[:, 0] + SERIES_OHM), rel=1e-12)


def test_full_offset_doubles_it_at_most() -> None:
    out = peak.peak_voltage(
        PER_PHASE.table,
        np.full((1, 3), 100.0),
        bank(1, knee_a=0.0),
        neutral_end(np.ones(1)),
        np.full(1, 1e3),
        np.ones(3, bool),
        FREQUENCY_HZ,
    )
    assert out[0] == pytest.approx(2 * np.sqrt(2) * 100, rel=1e-3)


def test_a_core_whose_flux_stops_at_the_knee_gives_the_formula() -> None:
    """S = 201, no hysteresis, no offset, one phase; the core takes the crest of the current just at
    the knee's flux. Measured: -0.3 ... -2.3 % for V_f/V_k 1 ... 20 (what excitation takes before
    the flux stops)."""
    current = RATIOS * KNEE_V / (2000.0 + SERIES_OHM)
    for k, ratio in enumerate(RATIOS):
        core = bank(1, knee_a=np.sqrt(2) * current[k], steep=201)
        fault = neutral_end(current[k : k + 1], np.array([1j, 0, 0]))  # begins at its zero
        out = peak.simulate(
            PER_PHASE.table,
            np.full((1, 3), 2000.0),
            core,
            fault,
            np.zeros(1),
            np.ones(3, bool),
            FREQUENCY_HZ,
            per_cycle=2048,
        ).max()
        assert out == pytest.approx(handcalc.peak_voltage(KNEE_V, ratio * KNEE_V), rel=0.03), ratio


def test_nothing_flows_nothing_is_across() -> None:
    out = peak.peak_voltage(
        TWO_AND_EARTH.table,
        np.full((1, 4), 1e3),
        bank(1, remanence=0.8),
        np.zeros((1, 6), complex),
        np.full(1, 0.1),
        np.ones(4, bool),
        FREQUENCY_HZ,
    )
    assert out[0] < 1e-6


# --- the formula's band, steps, remanence -------------------------------------


@pytest.mark.parametrize(
    ("leg_ohm", "knee_a", "low", "high"),
    [
        (20.0, 0.03, 0.93, 1.40),
        (200.0, 0.03, 1.05, 1.68),
        (2000.0, 0.005, 1.05, 1.68),
        (2000.0, 0.03, 0.97, 1.45),
        (10000.0, 0.03, 0.70, 0.90),
    ],
)
def test_band_of_the_simulation_about_the_formula(
    leg_ohm: float, knee_a: float, low: float, high: float
) -> None:
    """Three-phase fault, one element per phase, V_f/V_k 1 ... 20, offset of 0.1 s, remanence 80 %.
    Measured, lowest and highest: 0.94-1.36 (the formula counts R_ct, which is no part of the relay
    circuit), 1.07-1.64, 1.08-1.65, 0.98-1.41, and 0.72-0.83 where the cores take much of the
    current (R I_k = V_k). The offset lifts it below 3 V_k."""
    ratio = per_phase(RATIOS, leg_ohm, 0.1, knee_a=knee_a, remanence=0.8)
    assert low < ratio.min()
    assert ratio.max() < high
    assert 0.80 < ratio[-1] < 1.10


@pytest.mark.parametrize("scheme", [PER_PHASE, TWO_AND_EARTH])
def test_steps_are_fine_enough(scheme) -> None:  # type: ignore[no-untyped-def]
    ratios = np.array([0.3, 1.0, 3.0, 20.0, 50.0, 200.0])
    legs = len(scheme.legs)
    args = (
        scheme.table,
        np.full((6, legs), 2000.0),
        bank(6, remanence=0.6),
        neutral_end(ratios * KNEE_V / (2000.0 + SERIES_OHM)),
        np.full(6, 0.1),
        np.ones(legs, bool),
        FREQUENCY_HZ,
    )
    coarse, fine = (
        peak.simulate(*args, per_cycle=steps).max(axis=1) for steps in (peak.STEPS_PER_CYCLE, 8192)
    )
    assert coarse == pytest.approx(fine, rel=0.01)


def test_no_pattern_of_remanence_gives_more() -> None:
    rng, n = np.random.default_rng(5), 40
    for ratio in (0.6, 1.0, 3.0, 12.0):
        current = np.full(n, ratio * KNEE_V / (2000.0 + SERIES_OHM))
        turn = np.exp(2j * np.pi * rng.random((n, 1)))
        cores = bank(n)
        cores.remanence[:] = rng.uniform(-0.8, 0.8, (n, 6))
        some = peak.simulate(
            PER_PHASE.table,
            np.full((n, 3), 2000.0),
            cores,
            neutral_end(current) * turn,
            np.full(n, 0.1),
            np.ones(3, bool),
            FREQUENCY_HZ,
        )
        most = per_phase(np.array([ratio]), 2000.0, 0.1, remanence=0.8) * handcalc.peak_voltage(
            KNEE_V, ratio * KNEE_V
        )
        assert some.max() < 1.02 * most[0]


def test_an_earth_leg_gets_what_unequal_saturation_throws_into_it() -> None:
    """A three-phase fault has no residual, so the formula knows nothing of the earth leg's
    resistance."""

    def both(earth_ohm: float) -> tuple[float, float]:
        ohm, fault, legs = (
            np.array([[200.0, 200.0, 200.0, earth_ohm]]),
            neutral_end(np.array([7.5])),
            np.ones(4, bool),
        )
        full = peak.full_voltage(TWO_AND_EARTH.table, ohm, bank(1), fault, legs).max()
        simulated = peak.peak_voltage(
            TWO_AND_EARTH.table, ohm, bank(1), fault, np.full(1, 0.1), legs, FREQUENCY_HZ
        )
        return float(handcalc.peak_voltage(KNEE_V, full)), float(simulated[0])

    (formula, short), (same, tall) = both(0.0), both(2000.0)
    assert formula == pytest.approx(same)
    assert tall > 1.5 * formula > 1.2 * short


def test_the_path_of_an_earth_fault_and_a_return_core() -> None:
    scheme = TWO_AND_EARTH.with_return_cores(["neutral_end"])
    inside = np.array([True, True, True, True, False])
    ohm = np.array([[10.0, 20.0, 30.0, 500.0, 7.0]])
    one = neutral_end(np.array([2.0]), np.array([0, 1.0, 0]))
    full = peak.full_voltage(scheme.table, ohm, bank(1), one, inside)
    assert full[0, 1] == pytest.approx(2 * (20 + 500 + SERIES_OHM))
    assert not peak.places_across(scheme.table, inside)[4].any()


# --- through the study file ---------------------------------------------------


PHASES_ONLY = {"scheme.kind": "per_phase", "candidates.earth_pickup_a": REMOVE}
HIGH = {**PHASES_ONLY, "candidates.stabilising_resistance_ohm": [0, 2000]}
LOW = {**PHASES_ONLY, "candidates.stabilising_resistance_ohm": [0, 20]}


def test_check_cautions_above_the_limit_and_not_below() -> None:
    high, low = (re.sub(r"\s+", " ", check_text(study_with(changes))) for changes in (HIGH, LOW))
    assert "PEAK VOLTAGE ACROSS THE RELAY CIRCUIT" in high
    assert "PEAK VOLTAGE ACROSS THE RELAY CIRCUIT" in low
    for words in (
        "above 3 kV for one element per phase with 2000 ohm",
        "non-linear resistor across the relay circuit is needed",
        "The non-linear resistor is not in the simulated circuit",
    ):
        assert words in high
        assert words not in low
    assert PEAK in high
    assert PEAK in low  # a peak below the limit is dangerous too


def test_the_study_gives_the_hand_worked_fault() -> None:
    """E/X''d at the smallest X''d, no network: 1312.2 A/((0.18 + 0.2)/2) over 1500 A = 4.604 A; X2
    = 0.2. V_f = 4.604 (5 + 1 + 0.1 + 2000) = 9236 V, 2 sqrt(2 x 300 x 8936) = 4631 V."""
    study = study_with(HIGH)
    none, some = peak_voltages(study)
    assert some.current_a == pytest.approx(4.604, rel=1e-3)
    assert (some.v_full_v, some.peak_formula_v) == (
        pytest.approx(9236, rel=1e-3),
        pytest.approx(4631, rel=1e-3),
    )
    assert some.peak_simulated_v == pytest.approx(some.peak_formula_v, rel=0.1)
    assert some.above_limit
    assert not none.above_limit
    assert none.peak_formula_v < 50


def test_infeed_and_voltage_raise_it() -> None:
    plain = peak_voltages(study_with(HIGH))[-1]
    fed = peak_voltages(
        study_with({**HIGH, "network.reactance_pu": {"dist": "uniform", "low": 0.2, "high": 0.6}})
    )[-1]
    assert fed.current_a == pytest.approx(plain.current_a * (1 + 0.19 / 0.2), rel=1e-3)
    assert fed.peak_simulated_v > plain.peak_simulated_v
    higher = peak_voltages(
        study_with({**HIGH, "machine.voltage_factor": {"dist": "uniform", "low": 0.9, "high": 1.1}})
    )
    assert higher[-1].current_a == pytest.approx(1.1 * plain.current_a, rel=1e-9)


@pytest.mark.parametrize(
    "kind", ["per_phase", "two_phase_one_earth", "biased", "restricted_earth_fault"]
)
def test_every_scheme_has_its_row(kind: str) -> None:
    changes = {"scheme.kind": kind}
    if kind in ("per_phase", "biased"):
        changes |= PHASES_ONLY | {"scheme.kind": kind}
    if kind == "restricted_earth_fault":
        changes |= {"candidates.phase_pickup_a": REMOVE, "ct.neutral_conductor": {}}
    if kind == "biased":
        changes |= {
            "candidates.first_slope": [0.2],
            "candidates.stabilising_resistance_ohm": REMOVE,
        }
    rows = peak_voltages(study_with(changes))
    frame = peak_frame(rows)
    assert list(frame["scheme"]) == [kind] * len(rows)
    assert np.isfinite(frame[["v_full_v", "peak_formula_v", "peak_simulated_v"]]).all(axis=None)
    assert frame["above_limit"].dtype == bool
    assert all(len(line) <= 100 for line in lines(peak_blocks(rows)))
    assert len(caution(rows)) == int(frame["above_limit"].any())
    if kind == "biased":  # no leg for one: empty, not 0 ohm
        assert frame["stabilising_resistance_ohm"].isna().all()
        assert (
            next(line for line in lines(peak_blocks(rows)) if "three-phase" in line).split()[0]
            == "-"
        )
        assert (
            "one biased element per phase (up to"
            in caution([replace(row, peak_simulated_v=4000.0) for row in rows])[0]
        )
    else:
        assert frame["stabilising_resistance_ohm"].notna().all()
    if kind == "restricted_earth_fault":  # only a fault to earth has a residual
        assert {row.fault for row in rows} == {"earth"}
