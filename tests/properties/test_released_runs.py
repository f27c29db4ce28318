"""The biased restricted earth fault element and its release by the neutral CT."""

from __future__ import annotations

import os
from typing import Any

import numpy as np
import pytest

from montecarlo import run_study
from montecarlo.engine.block import Block
from montecarlo.engine.job import Job
from montecarlo.engine.path import Measured, solve
from montecarlo.engine.sizes import designs
from montecarlo.quantities import Array, Complex
from montecarlo.relays.schemes import build_scheme
from montecarlo.sampling.stratum import Side, Stratum
from montecarlo.secondary.measurement import Measurement
from montecarlo.secondary.restraint import NO_BIAS, SUM, Bias
from montecarlo.secondary.steady import Steady
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.circuits import measurement
from tests.made.studies import faults_of, study_with

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "20"))
RELEASED = {"name": "released", "start": "no_neutral_current", "start_pu": 0.02}
OUTSIDE = [
    {
        "name": "close_in",
        "kind": kind,
        "per_year": 0.1,
        "external_reactance_pu": 0.1,
        "clearing_time_s": 0.1,
    }
    for kind in ("three_phase", "phase_phase", "phase_earth")
]
SMALL: dict[str, Any] = {
    "study.seed": SEED,
    "study.samples": 256,
    "study.installations": 32,
    "study.earth_fault_samples": 64,
    "scheme.kind": "biased_restricted_earth_fault",
    "scheme.bias_current": "largest",
    "scheme.gates": [RELEASED],
    "relay.measure": "fundamental",
    "ct.neutral_conductor": {"turns_ratio_error_percent": 0.0, "knee_current_a": 0.0},
    "ct.knee_voltage_v": 40.0,  # small: they saturate
    "policy.p_false_max": 1e-9,
    "candidates": {
        "earth_pickup_a": [0.02, 0.05],
        "first_slope": [0.3],
        "earth_gate": ["none", "released"],
    },
}


def elements(kind: str, ends: Complex) -> tuple[Array, Array]:
    """Difference and bias of the earth element, of line end's three and the neutral's CT."""
    scheme = build_scheme("biased_restricted_earth_fault")
    wanted = Measurement(
        legs=scheme.watch,
        bias=tuple(element.bias for element in scheme.elements),
        senses=((-1.0, -1.0, -1.0, 1.0),),
        bias_current=(kind,),
        forms=(NO_BIAS, Bias(1.0).form(SUM)),
    )
    difference, margin = Steady(ends @ scheme.table.T, ends, 0 * ends).quantities(wanted)[:, 0].T
    return difference, difference - margin


@pytest.mark.parametrize("kind", ["largest", "residual_pair"])
def test_an_earth_fault_outside_is_restrained_and_one_inside_is_not(kind: str) -> None:
    """Ideal CTs. Outside the residual current is the neutral's; inside, off the network, there is
    none (by hand)."""
    neutral = np.array([0.4, 1.0, 3.0]) * np.exp(1j * np.array([0.0, 1.0, 4.0]))
    load = 0.5 * np.exp(-2j * np.pi / 3 * np.arange(3))
    outside = np.zeros((3, 4), complex)
    outside[:, :3], outside[:, 3] = load, neutral
    outside[:, 1] += neutral
    difference, bias = elements(kind, outside)
    assert difference == pytest.approx(0.0, abs=1e-12)
    assert (bias >= np.abs(neutral) - 1e-12).all() or kind == "largest"
    inside = np.zeros((3, 4), complex)
    inside[:, 3] = neutral
    difference, bias = elements(kind, inside)
    assert difference == pytest.approx(np.abs(neutral))
    assert difference / bias == pytest.approx({"largest": 1.0, "residual_pair": 2.0}[kind])


def block_of(stratum: Stratum, changes: dict[str, Any]) -> Block:
    study = study_with(SMALL | changes)
    job = Job(study, candidate_lattices(study), *designs(study))
    return Block(job, job.design_of(stratum).chunks(stratum)[0])


@pytest.mark.parametrize("outside", OUTSIDE[:2], ids=lambda event: event["kind"])
def test_what_is_clear_of_earth_trips_nothing_that_the_neutral_releases(
    outside: dict[str, Any],
) -> None:
    """By construction, whatever the line end's CTs do: also after the fault is cleared."""
    found = solve(block_of(Stratum("external.close_in"), {"external_events": [outside]}))
    assert isinstance(found, Measured)
    (judged,) = found.by_circuit.values()
    held = {form[4]: judged.quantity[:, 0, v, 0] for v, form in enumerate(judged.forms)}
    assert (held[0] > 0.05).mean() > 0.2  # a residual of saturated CTs
    assert (held[1] <= 0).all()


def test_a_release_lowers_every_quantity_sample_by_sample() -> None:
    events = {"external_events": [OUTSIDE[2]]}
    for stratum in (Stratum("external.close_in"), Stratum.of(Side.INTERNAL, "phase_phase_earth")):
        found = solve(block_of(stratum, events))
        assert isinstance(found, Measured)
        (judged,) = found.by_circuit.values()
        held = {form[4]: judged.quantity[:, 0, v, 0] for v, form in enumerate(judged.forms)}
        assert (held[1] <= held[0]).all()
        assert held[1].any()


def test_a_release_costs_faults_near_the_neutral_and_buys_false_trips() -> None:
    result = run_study(study_with(SMALL | {"external_events": OUTSIDE[:1]}), workers=1)
    rows = result.candidates.set_index(["earth_pickup_a", "earth_gate"])
    for pickup in (0.02, 0.05):
        free, released = rows.loc[(pickup, "none")], rows.loc[(pickup, "released")]
        assert free["p_false"] > 0.2
        assert released["p_false"] == 0.0
        assert released["p_missed"] >= free["p_missed"] - 1e-12


def test_the_pick_up_by_hand_is_reached_along_the_winding() -> None:
    """Released, off the network: I_N = xE/(R_N + R_F) and slope 0, so x = I_set N R_N/E; release
    at 0.02 of the rated current likewise. Resistances of the winding are small."""
    plain = {
        "candidates": {"earth_pickup_a": [0.05], "first_slope": [0.0], "earth_gate": ["none"]},
        "scheme.gates": [RELEASED],
        "states.breaker_open_share": 1.0,
        "internal_faults.shares": {"earth": 1.0},
        "internal_faults.earth_fault_resistance_ohm": 0.0,
        "machine.stator_capacitance_f": 0.0,
        "earthing.resistance_ohm": 21.2,
        "ct.turns_ratio_error_percent": 0.0,
        "ct.knee_current_a": 0.0,
        "relay.pickup_error_percent": 0.0,
    }
    for gate, secondary_a in (("none", 0.05), ("released", 0.05), ("released", 0.01)):
        own = {"earth_pickup_a": [secondary_a], "first_slope": [0.0], "earth_gate": [gate]}
        result = run_study(study_with(SMALL | plain | {"candidates": own}), workers=1)
        rated_a = 25e6 / np.sqrt(3) / 11e3
        reached_a = max(secondary_a * 1500, 0.02 * rated_a if gate == "released" else 0.0)
        wanted = reached_a * 21.2 / (11e3 / np.sqrt(3))
        assert result.candidates["p_missed"].iloc[0] == pytest.approx(wanted, rel=0.02)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (
            {
                "candidates": {
                    "earth_pickup_a": [0.05],
                    "first_slope": [0.1],
                    "earth_gate": ["angle"],
                }
            },
            'candidates.earth_gate: "angle" is a gate of phase elements; take none or released',
        ),
        (
            {"candidates": {"earth_pickup_a": [0.05], "first_slope": [0.1], "earth_gate": ["of"]}},
            'candidates.earth_gate: "of" is no gate of scheme.gates; take none or released',
        ),
        (
            {
                "scheme.kind": "biased",
                "scheme.bias_current": "mean",
                "candidates": {"phase_pickup_a": [0.1], "first_slope": [0.1], "gate": ["released"]},
            },
            'candidates.gate: "released" is a gate of an earth element; take none or angle',
        ),
        (
            {
                "scheme.kind": "biased",
                "scheme.bias_current": "residual_pair",
                "candidates": {"phase_pickup_a": [0.1], "first_slope": [0.1]},
            },
            "scheme.bias_current: residual_pair in the scheme biased, whose phase L1 element does"
            " not compare a neutral CT with others; take mean, sum or largest",
        ),
    ],
)
def test_a_release_and_a_pair_belong_to_the_earth_element(
    changes: dict[str, Any], words: str
) -> None:
    gates = [RELEASED, {"name": "angle", "start": "angle", "within_degrees": 90.0}]
    assert words in faults_of(SMALL | {"scheme.gates": gates} | changes)


def test_both_built_in_forms_have_the_release() -> None:
    for kind in ("biased_restricted_earth_fault", "biased_with_restricted_earth_fault"):
        grids = SMALL["candidates"] | ({"phase_pickup_a": [0.1]} if "with" in kind else {})
        study = study_with(SMALL | {"scheme.kind": kind, "candidates": grids})
        scheme = build_scheme(kind)
        sides = measurement(study, scheme).sides
        assert np.flatnonzero(sides[-1]).tolist() == [len(scheme.places) - 1]
