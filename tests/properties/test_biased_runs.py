"""Biased schemes in whole studies: what they share with the unbiased one, and where along the
winding they operate."""

from __future__ import annotations

import os
from typing import Any

import numpy as np
import pytest

from montecarlo import Result, run_study
from montecarlo.engine import primary, winding
from montecarlo.engine.block import Block
from montecarlo.engine.job import Job
from montecarlo.engine.sizes import designs
from montecarlo.estimates.conditional import winding_nodes
from montecarlo.quantities import Array
from montecarlo.relays.places import carried
from montecarlo.sampling.stratum import EARTH
from montecarlo.secondary import steady
from montecarlo.secondary.circuit import take
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.description import Study
from tests.made.studies import FEW_TYPES, study_with

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "20"))
SMALL: dict[str, Any] = FEW_TYPES | {
    "study.samples": 256,
    "study.installations": 32,
    "study.earth_fault_samples": 64,
}
PICKUPS = [0.02, 0.05, 0.1]
NUMBERS = [
    "p_missed",
    "p_missed_low",
    "p_missed_high",
    "p_false",
    "p_false_low",
    "p_false_high",
    "p_false_bound",
    "protected_median",
    "protected_p05",
    "protected_p95",
    "missed_line_end_law",
    "installation_missed_p95",
    "installation_false_p95",
    "load_operates_share",
    "unresolved",
]


def biased(changes: dict[str, Any] | None = None, *, form: str = "sum", **grids: Any) -> Study:
    """The minimal study with biased elements; no candidate may be chosen, so that all rows are of
    the first batch."""
    return study_with(
        SMALL
        | {
            "scheme.kind": "biased",
            "scheme.bias_form": form,
            "policy.p_false_max": 1e-9,
            "candidates": {"phase_pickup_a": PICKUPS, "first_slope": [0.0]} | grids,
        }
        | (changes or {})
    )


def run(study: Study) -> Result:
    return run_study(study, workers=1)


# --- against the unbiased scheme ----------------------------------------------


@pytest.fixture(scope="module")
def unbiased() -> Any:
    return run(
        study_with(
            SMALL
            | {
                "scheme.kind": "per_phase",
                "policy.p_false_max": 1e-9,
                "candidates": {"phase_pickup_a": PICKUPS, "delay_s": [0.0, 0.06]},
            }
        )
    ).candidates[NUMBERS]


@pytest.mark.parametrize("form", ["sum", "greater_of"])
def test_without_slope_a_biased_scheme_is_the_unbiased_one(form: str, unbiased: Any) -> None:
    """The same samples, the same circuit: bit for bit, but for earth faults, where places are
    interpolated on the quantity itself, and in the greater-of form for each element by itself."""
    found = run(biased(form=form, delay_s=[0.0, 0.06])).candidates[NUMBERS]
    assert len(found) == 6
    assert 0 < found["p_missed"].min() < found["p_missed"].max() < 1
    false = [name for name in NUMBERS if "false" in name]
    assert unbiased[false].equals(found[false])
    assert found["p_missed"].to_numpy() == pytest.approx(unbiased["p_missed"].to_numpy(), abs=1e-4)


def test_a_steeper_slope_misses_more_and_trips_falsely_less() -> None:
    frame = run(biased(first_slope=[0.0, 0.1, 0.4])).candidates
    for _, group in frame.groupby("phase_pickup_a"):
        ordered = group.sort_values("first_slope")
        assert (ordered["p_missed"].diff().dropna() > 0).all()
        assert (ordered["p_false"].diff().dropna() < 0).all()


def test_the_sum_form_trips_no_more_often_than_the_greater_of_form() -> None:
    one, other = (
        run(biased(form=form, first_slope=[0.2])).candidates for form in ("sum", "greater_of")
    )
    assert (one["p_false"] <= other["p_false"]).all()
    assert (one["p_missed"] >= other["p_missed"]).all()
    assert (one["p_missed"] > other["p_missed"]).any()


# --- the axes -----------------------------------------------------------------


def test_slopes_and_break_are_axes_of_the_candidates() -> None:
    """A second slope that equals the first has no turning point and stands there once."""
    frame = run(
        biased(
            phase_pickup_a=[0.1],
            first_slope=[0.1, 0.3],
            second_slope=[0.3, 0.6],
            turning_point_a=[0.5, 1.0],
        )
    ).candidates
    rows = {
        tuple(row)
        for row in frame[["first_slope", "second_slope", "turning_point_a"]]
        .fillna(-1.0)
        .to_numpy()
        .tolist()
    }
    assert rows == {
        (0.1, 0.3, 0.5),
        (0.1, 0.3, 1.0),
        (0.1, 0.6, 0.5),
        (0.1, 0.6, 1.0),
        (0.3, -1.0, -1.0),
        (0.3, 0.6, 0.5),
        (0.3, 0.6, 1.0),
    }
    assert len(frame) == len(rows)
    assert frame["stabilising_resistance_ohm"].isna().all()
    assert frame["earth_pickup_a"].isna().all()


def test_two_slopes_lie_between_their_slopes_alone() -> None:
    frame = run(
        biased(
            phase_pickup_a=[0.05], first_slope=[0.1, 0.4], second_slope=[0.4], turning_point_a=[0.5]
        )
    ).candidates
    two = frame[frame["second_slope"].notna()].iloc[0]
    steep = frame[frame["second_slope"].isna()].iloc[0]
    flat = run(biased(phase_pickup_a=[0.05], first_slope=[0.1])).candidates.iloc[0]
    assert flat["p_missed"] < two["p_missed"] < steep["p_missed"]
    assert steep["p_false"] <= two["p_false"] <= flat["p_false"]


@pytest.mark.parametrize(
    ("second_slope", "expected"),
    [
        ({}, 1),
        ({"second_slope": 0.1, "turning_point_a": 2.0}, 1),
        ({"second_slope": 0.7, "turning_point_a": 2.0}, 2),
    ],
)
def test_the_setting_in_service_is_found_in_the_grid_or_added(
    second_slope: dict[str, float], expected: int
) -> None:
    study = biased(
        phase_pickup_a=[0.1],
        first_slope=[0.1],
        existing={"phase_pickup_a": 0.1, "first_slope": 0.1} | second_slope,
    )
    frame = run(
        study.model_copy(update={"policy": study.policy.model_copy(update={"p_false_max": 1.0})})
    ).candidates
    existing = frame[frame["existing"]].iloc[0]
    assert len(frame) == expected
    assert existing["batch"] == 2
    assert (existing["second_slope"] == 0.7) == (expected == 2)


# --- along the winding --------------------------------------------------------


def earth_block(study: Study) -> Block:
    job = Job(study, candidate_lattices(study), *designs(study))
    return Block(job, job.design_of(EARTH).chunks(EARTH)[0])


def critical(block: Block, number: int) -> Array:
    """x* (n, pick-ups) of one lattice, as the run has it."""
    lattice = block.job.lattices[number]
    by_phasors = {
        c: winding._by_phasors(block, c, winding_nodes(winding.STEADY_INTERVALS))[0]
        for c in block.circuits
    }
    notes = dict.fromkeys(("re_entries", "interpolation", "interpolated"), 0.0)
    found = winding.Along({lattice: winding.beyond_phasors(block.study, lattice)}, by_phasors, {})
    return winding.critical_positions(block, lattice, found, notes)[0][:, :, 0]


def scanned(block: Block, number: int, form: str, nodes: Array) -> Array:
    """The same by the printed rule itself on a fine grid of places: above the last at which no
    element operates."""
    lattice = block.job.lattices[number]
    circuit, bias = lattice.circuit, lattice.bias
    assert bias is not None
    scheme, n = block.scheme(circuit), len(block)
    each = np.repeat(np.arange(n), nodes.size)
    solved = steady.solve(
        scheme.table,
        block.leg_ohm(circuit)[each],
        take(block.bank(circuit), each),
        carried(primary.earth_faults(block, nodes).reshape(-1, 6), scheme.places),
        block.omega,
    )
    difference = np.abs(solved.cts[:, :3] - solved.cts[:, 3:])
    current = (np.abs(solved.cts[:, :3]) + np.abs(solved.cts[:, 3:])) / 2
    restraint = bias.first_slope * current
    if bias.second_slope is not None and bias.turning_point_a is not None:
        restraint += (bias.second_slope - bias.first_slope) * np.maximum(
            current - bias.turning_point_a, 0.0
        )
    error = 1 + block.samples["relay.pickup_error_percent"][each][:, :3] / 100
    out = np.empty((n, len(lattice.phase_pickup_a)))
    for k, pickup in enumerate(lattice.phase_pickup_a):
        trips = (
            (difference > pickup * error + restraint)
            if form == "sum"
            else ((difference > pickup * error) & (difference > restraint))
        )
        silent = ~trips.any(axis=1).reshape(n, nodes.size)
        last = np.where(silent.any(axis=1), nodes.size - 1 - np.argmax(silent[:, ::-1], axis=1), -1)
        out[:, k] = nodes[np.minimum(last + 1, nodes.size - 1)]
    return out


@pytest.mark.parametrize("form", ["sum", "greater_of"])
def test_critical_positions_against_a_scan_of_the_winding(form: str) -> None:
    """On random machines and CTs, two slopes; the grid's step is the error allowed."""
    study = biased(
        {
            "study.seed": SEED,
            "earthing.resistance_ohm": {"dist": "lognormal", "median": 5.0, "sigma": 0.7},
            "internal_faults.earth_fault_resistance_ohm": 0.1,
            "ct.knee_current_a": {"dist": "uniform", "low": 0.01, "high": 0.06},
        },
        form=form,
        first_slope=[0.15],
        second_slope=[0.8],
        turning_point_a=[0.6],
    )
    block, nodes = earth_block(study), winding_nodes(1500)
    x, fine = critical(block, 0), scanned(block, 0, form, nodes)
    assert np.mean((x > 0.02) & (x < 0.98)) > 0.3
    step = np.interp(x, nodes[1:], np.diff(nodes))
    off = np.abs(x - fine) > 2 * step + 1e-3
    assert off.mean() < 0.02  # a re-entry between two of the run's places
    later = (
        critical(
            earth_block(
                study.model_copy(
                    update={
                        "candidates": study.candidates.model_copy(
                            update={
                                "first_slope": (0.0,),
                                "second_slope": (),
                                "turning_point_a": (),
                            }
                        )
                    }
                )
            ),
            0,
        )
        < x - 1e-3
    )
    assert (
        later.all() if form == "sum" else 0.1 < later.mean() < 0.9
    )  # either of its two conditions decides


@pytest.mark.parametrize("form", ["sum", "greater_of"])
def test_phasors_and_the_transient_pass_agree_on_biased_elements(
    form: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Slopes so steep that the bias decides, small pick-ups, low earthing resistance; common
    samples."""
    study = biased(
        {
            "internal_faults.shares": {"earth": 1.0},
            "ct.remanence_percent": 0.0,
            "earthing.resistance_ohm": 4.0,
            "study.earth_fault_samples": 32,
        },
        form=form,
        phase_pickup_a=[0.02],
        first_slope=[0.0, 0.5],
    )
    phasors = run(study).candidates["p_missed"].to_numpy()
    monkeypatch.setattr(steady, "VALID_KNEE_SHARE", 0.0)
    in_time = run(study).candidates["p_missed"].to_numpy()
    assert phasors[1] > 3 * phasors[0]
    assert in_time == pytest.approx(phasors, rel=0.03, abs=0.003)
