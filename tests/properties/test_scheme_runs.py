"""Whole small studies on every scheme: what each sees and does not, leads, ratio matching, burdens
in VA."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from montecarlo import run_study
from montecarlo.engine import primary
from montecarlo.engine.block import Block
from montecarlo.engine.job import Job
from montecarlo.engine.notes import BurdenCircuits
from montecarlo.engine.sizes import designs
from montecarlo.engine.waves import Waves, external_event, step_currents
from montecarlo.relays.places import NEUTRAL
from montecarlo.sampling.inputs import list_inputs
from montecarlo.sampling.stratum import EARTH, Stratum
from montecarlo.sampling.transform import event_samples
from montecarlo.secondary import steady, transient
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.description import Study
from studies.report.notes import sentences
from tests.made.studies import FEW_TYPES, REMOVE, faults_of, study_table, study_with

SMALL: dict[str, Any] = FEW_TYPES | {
    "study.samples": 128,
    "study.installations": 16,
    "study.earth_fault_samples": 32,
    "policy.p_false_max": 1e-9,
}  # nothing is chosen: all rows are of the study's own batch
IDEAL: dict[str, Any] = {"ct.knee_current_a": 0.0, "ct.turns_ratio_error_percent": 0.0}
GRIDS: dict[str, dict[str, Any]] = {
    "per_phase": {"phase_pickup_a": [0.05, 0.1], "stabilising_resistance_ohm": [0, 300]},
    "two_phase_one_earth": {
        "phase_pickup_a": [0.1],
        "earth_pickup_a": [0.02, 0.05],
        "stabilising_resistance_ohm": [0, 300],
    },
    "biased": {"phase_pickup_a": [0.05, 0.1], "first_slope": [0.1, 0.3]},
    "restricted_earth_fault": {
        "earth_pickup_a": [0.02, 0.05],
        "stabilising_resistance_ohm": [0, 300],
    },
}
NUMBERS = [
    "p_missed",
    "p_missed_low",
    "p_missed_high",
    "p_false",
    "p_false_low",
    "p_false_high",
    "p_false_bound",
    "protected_median",
    "missed_line_end_law",
    "installation_missed_p95",
    "installation_false_p95",
    "load_operates_share",
    "unresolved",
    "usable",
]
FAST = ("two_phase_one_earth",)
every_kind = pytest.mark.parametrize(
    "kind",
    [kind if kind in FAST else pytest.param(kind, marks=pytest.mark.slow) for kind in GRIDS],
)


def study_on(kind: str, changes: dict[str, Any] | None = None) -> Study:
    neutral = {"ct.neutral_conductor": {}} if kind == "restricted_earth_fault" else {}
    return study_with(
        SMALL | {"scheme.kind": kind, "candidates": GRIDS[kind]} | neutral | (changes or {})
    )


def numbers(study: Study) -> pd.DataFrame:
    return run_study(study, workers=1).candidates[NUMBERS].astype(float)


def by_type(study: Study) -> pd.DataFrame:
    return run_study(study, workers=1).by_type.set_index(["type", "candidate"])["p"].unstack("type")


def same(one: pd.DataFrame, other: pd.DataFrame, rel: float = 1e-9) -> None:
    pd.testing.assert_frame_equal(one, other, rtol=rel, atol=1e-9, check_exact=rel == 0)


# --- restricted earth fault ---------------------------------------------------


def test_an_element_for_earth_faults_sees_no_fault_clear_of_earth_and_no_event_outside() -> None:
    seen = by_type(
        study_on(
            "restricted_earth_fault",
            IDEAL
            | {
                "candidates.earth_pickup_a": [0.001],
                "internal_faults": study_table()["internal_faults"],
                "external_events": study_table()["external_events"],
            },
        )
    )
    assert (seen[["phase_phase", "three_phase"]] == 1).all(axis=None)  # missed, always
    assert (seen[["earth", "phase_phase_earth"]] < 0.1).all(axis=None)
    assert (seen[["near_fault", "far_fault", "load"]] == 0).all(axis=None)


def test_what_an_element_for_earth_faults_makes_of_real_cts() -> None:
    """With exciting currents it has a spill like the others, which the stabilising resistance holds
    down."""
    frame = run_study(study_on("restricted_earth_fault"), workers=1).candidates
    for _, group in frame.groupby("earth_pickup_a"):
        spill = group.sort_values("stabilising_resistance_ohm")["p_false"].to_numpy()
        assert spill[0] > spill[1]


def test_the_neutral_conductor_s_ct_is_drawn_for_itself_and_leaves_the_others() -> None:
    without, beside = study_on("per_phase"), study_on("per_phase", {"ct.neutral_conductor": {}})
    drawn = []
    for study in (
        study_on(
            "per_phase",
            more
            | {
                "study.installations": 1024,
                "study.samples": 1024,
                "study.earth_fault_samples": 1024,
            },
        )
        for more in ({}, {"ct.neutral_conductor": {}})
    ):
        design = designs(study)[0]
        parts = [
            event_samples(
                list_inputs(study), study.ties, seed=study.study.seed, design=design, chunks=[chunk]
            )
            for chunk in design.chunks(Stratum("internal.phase_phase"))
        ]
        drawn.append({key: np.concatenate([part[key] for part in parts]) for key in parts[0]})
    assert all(np.array_equal(drawn[0][key], drawn[1][key]) for key in drawn[0])
    own = {key for key in drawn[1] if key not in drawn[0]}
    assert own == {
        f"ct.neutral_conductor.{key}"
        for key in ("turns_ratio_error_percent", "knee_voltage_v", "remanence_percent")
    }  # the rest is fixed or shared
    for key in own:
        values, six = drawn[1][key][:, 0], drawn[1][key.replace("neutral_conductor.", "")]
        assert values.size == 1024  # 16 nets: in one of them two dimensions may be correlated
        assert np.abs(np.corrcoef(values, six.T)[0, 1:]).max() < 0.5
        assert not (values[:, None] == six).any()
    same(numbers(without), numbers(beside), 0)


def test_the_neutral_conductor_s_waveform_is_the_sum_of_the_neutral_end_s() -> None:
    """Where the ends are alike, where they differ, and where one state follows another."""
    outside = {"name": "outside", "kind": "phase_earth", "per_year": 1.0, "clearing_time_s": 0.1}
    study = study_on(
        "restricted_earth_fault", {"external_events": [*study_table()["external_events"], outside]}
    )
    job = Job(study, candidate_lattices(study), *designs(study))
    largest = {}
    for name in ("near_fault", "outside"):
        block = Block(job, job.design.chunks(Stratum(f"external.{name}"))[0])
        window, waves, _ = external_event(block)
        flowing = int(np.searchsorted(window.times(), 0.1))  # no phase is interrupted before
        largest[name] = _neutral_against_phases(waves, flowing)
    assert largest["near_fault"] < 1e-9
    assert largest["outside"] > 100  # A; 299 A RMS at the terminals
    block = Block(job, job.earth_design.chunks(EARTH)[0])
    faults = primary.earth_faults(block, np.array([0.7]))[:, 0]
    window = transient.Window(study.machine.frequency_hz, 0.1)
    assert _neutral_against_phases(step_currents(block, window, block.load_primary, faults)) > 100


def _neutral_against_phases(waves: Waves, points: int | None = None) -> float:
    """The largest current of the neutral conductor's CT in the first `points`, once it is shown to
    be the sum. [A]"""
    source = waves.at((0, 1, 2, 3, 4, 5, NEUTRAL))
    phases, neutral = source.wave[:, source.channel[:3]], source.wave[:, source.channel[6]]
    assert neutral == pytest.approx(phases.sum(axis=1), abs=1e-9)
    assert source.channel[6] not in source.channel[:6]
    return float(np.abs(neutral[:, :points]).max())


@pytest.mark.parametrize("kind", ["restricted_earth_fault", "per_phase"])
def test_phasors_and_the_transient_pass_agree_on_earth_faults(
    kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    study = study_on(
        kind,
        {
            "internal_faults.shares": {"earth": 1.0},
            "ct.remanence_percent": 0.0,
            "candidates.stabilising_resistance_ohm": [300],
        },
    )
    phasors = numbers(study)["p_missed"].to_numpy()
    monkeypatch.setattr(steady, "VALID_KNEE_SHARE", 0.0)
    in_time = numbers(study)["p_missed"].to_numpy()
    assert not np.array_equal(in_time, phasors)
    assert in_time == pytest.approx(phasors, rel=0.03)


# --- leads -------------------------------------------------------------------


@every_kind
def test_six_wire_leads_are_leads_twice_as_long(kind: str) -> None:
    """The CT in the neutral conductor has a loop of its own on either."""
    one_way = (
        {"ct.neutral_conductor.lead_resistance_ohm": 1.0}
        if kind == "restricted_earth_fault"
        else {}
    )
    six = study_on(kind, {"scheme.leads": "six_wire", "ct.lead_resistance_ohm": 1.0})
    same(numbers(six), numbers(study_on(kind, {"ct.lead_resistance_ohm": 2.0} | one_way)), 0)


@every_kind
def test_a_return_core_matters_to_cts_that_excite_only(kind: str) -> None:
    cores = {"ct.return_core_ohm": 5.0}
    assert not numbers(study_on(kind))["p_missed"].equals(
        numbers(study_on(kind, cores))["p_missed"]
    )
    same(numbers(study_on(kind, IDEAL)), numbers(study_on(kind, IDEAL | cores)))


def test_six_wire_leads_have_no_return_core() -> None:
    line = (
        "ct.return_core_ohm: six-wire leads have no common return core; take it out, or set "
        "scheme.leads = 'four_wire'"
    )
    assert faults_of({"scheme.leads": "six_wire", "ct.return_core_ohm": 0.5}) == (line,)
    assert faults_of({"scheme.leads": "six_wire", "ct.line_end": {"return_core_ohm": 0.5}}) == (
        line,
    )


# --- ratio matching -----------------------------------------------------------

ONE_AMPERE: dict[str, Any] = {
    "ct.knee_voltage_v": 300.0,
    "ct.knee_current_a": 0.03,
    "ct.lead_resistance_ohm": 1.0,
    "ct.winding_resistance_ohm": 5.0,
    "ct.return_core_ohm": 0.5,
}
FIVE_AMPERES = {
    "secondary_a": 5,
    "ratio_matching": 0.2,
    "knee_voltage_v": 60.0,
    "knee_current_a": 0.15,
    "lead_resistance_ohm": 1 / 25,
    "winding_resistance_ohm": 5 / 25,
    "return_core_ohm": 0.5 / 25,
}


@every_kind
@pytest.mark.parametrize("ideal", [False, pytest.param(True, marks=pytest.mark.slow)])
def test_matched_cts_of_another_rating_are_those_of_the_same(kind: str, ideal: bool) -> None:
    """1500/5 at the line end, matched by 0.2, with the same volt-amperes: every figure and every
    verdict, ideal or not. Pick-ups up to the knee rule, so that it decides somewhere."""
    more = IDEAL if ideal else {}
    five = FIVE_AMPERES | ({"knee_current_a": 0.0} if ideal else {})
    ohms = {} if kind == "biased" else {"candidates.stabilising_resistance_ohm": [100, 6000]}
    loads = ONE_AMPERE | {"load.current_pu": 0.01} | ohms | more
    one, other = (
        numbers(study_on(kind, loads)),
        numbers(study_on(kind, loads | {"ct.line_end": five})),
    )
    same(one, other, 1e-6)
    if ohms and not ideal:
        assert 0 < one["usable"].mean() < 1


@pytest.mark.parametrize(
    ("changes", "end", "needed"),
    [
        ({"ct.line_end": {"secondary_a": 5}}, "line_end", 0.2),
        ({"ct.line_end": {"primary_a": 1200, "secondary_a": 5}}, "line_end", 0.16),
        ({"ct.neutral_end": {"ratio_matching": 0.5}}, "line_end", 0.5),
        (
            {
                "ct.neutral_conductor": {"primary_a": 300},
                "scheme.kind": "restricted_earth_fault",
                "candidates.phase_pickup_a": REMOVE,
            },
            "neutral_conductor",
            0.2,
        ),
    ],
)
def test_unequal_ratios_are_refused_with_the_number_that_cures_them(
    changes: dict[str, Any], end: str, needed: float
) -> None:
    (fault,) = faults_of(changes)
    assert fault.endswith(f"give both the same ratio, or ct.{end}.ratio_matching = {needed:g}")
    cured = study_with(changes | {f"ct.{end}.ratio_matching": needed})
    assert cured.ct.at(end).leg_ratio == pytest.approx(cured.ct.at("neutral_end").leg_ratio)


def test_matching_that_is_a_little_off_spills_load_through_the_elements() -> None:
    """4 % of 0.875 A of rated load is 0.035 A: above a pick-up of 0.02 A, below one of 0.05 A."""
    grids = {"phase_pickup_a": [0.02, 0.05]}
    load = {"load.current_pu": 1.0, "candidates": grids}
    found = run_study(
        study_on("per_phase", IDEAL | load | {"ct.line_end": {"ratio_matching": 0.96}}), workers=1
    )
    assert found.candidates["load_operates_share"].tolist() == [1.0, 0.0]
    assert found.candidates["usable"].tolist() == [False, True]
    assert run_study(study_on("per_phase", IDEAL | load), workers=1).candidates[
        "usable"
    ].tolist() == [True, True]
    assert faults_of(IDEAL | {"ct.line_end": {"ratio_matching": 0.94}})


# --- burdens in VA ------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize(
    ("kind", "axis"),
    [
        ("two_phase_one_earth", "earth"),
        ("two_phase_one_earth", "phase"),
        ("per_phase", "phase"),
        ("biased", "phase"),
        ("restricted_earth_fault", "earth"),
    ],
)
def test_a_burden_in_va_is_the_ohms_of_each_setting(kind: str, axis: str) -> None:
    """Every candidate of the grid against a study of its own with VA/I^2 ohms."""
    va, key = 0.05, f"candidates.{axis}_pickup_a"
    pickups = [0.02, 0.05, 0.1]
    grid = {key: pickups} | (
        {} if kind == "biased" else {"candidates.stabilising_resistance_ohm": [100.0]}
    )
    table = numbers(
        study_on(kind, grid | {f"relay.{axis}_burden_va": va, f"relay.{axis}_burden_ohm": REMOVE})
    )
    rows = []
    for pickup in pickups:
        single = grid | {key: [pickup], f"relay.{axis}_burden_ohm": va / pickup**2}
        rows.append(numbers(study_on(kind, single)))
    expected = pd.concat(rows).sort_values(NUMBERS).reset_index(drop=True)
    same(table.sort_values(NUMBERS).reset_index(drop=True), expected, 1e-9)
    assert table["p_missed"].nunique() > 1


def test_a_run_says_how_many_circuits_its_grid_needs() -> None:
    grid = {
        "candidates": {
            "phase_pickup_a": [0.1, 0.2],
            "earth_pickup_a": [0.02, 0.05, 0.1],
            "stabilising_resistance_ohm": [0, 300],
        }
    }
    burden = {"relay.earth_burden_va": 0.05, "relay.earth_burden_ohm": REMOVE}
    result = run_study(study_with(SMALL | grid | burden), workers=1)
    assert BurdenCircuits(12, 6) in result.outcome.notes
    assert any("12 candidates need 6 circuits" in sentence for sentence in sentences(result))
    plain = run_study(study_with(SMALL | grid), workers=1)
    assert not any(isinstance(note, BurdenCircuits) for note in plain.outcome.notes)


# --- what the relay measures, and for how long --------------------------------

HELD = {"candidates.delay_s": [0.06]}


@every_kind
def test_over_travel_as_long_as_the_delay_takes_it_away(kind: str) -> None:
    """For p_false; internal faults are solved by phasors here, or last."""
    kept = ["p_false", "p_false_high", "p_false_bound", "installation_false_p95"]
    held, ran_on = (
        numbers(study_on(kind, HELD | {"relay.over_travel_s": over})) for over in (0.0, 0.06)
    )
    same(ran_on[kept], numbers(study_on(kind))[kept], 0)
    assert (held["p_false"] <= ran_on["p_false"]).all()
    assert (held["p_false"] < ran_on["p_false"]).any()


def test_an_element_that_lets_go_late_trips_more_often() -> None:
    at_once, late = (
        numbers(study_on("per_phase", HELD | {"relay.drop_off_ratio": ratio}))
        for ratio in (1.0, 0.5)
    )
    assert (at_once["p_false"] <= late["p_false"]).all()
    assert (at_once["p_false"] < late["p_false"]).any()


def test_what_is_measured_matters_to_spill_and_not_to_sinusoids() -> None:
    """By phasors peak, RMS and fundamental of a fault are one. RMS is never below the fundamental;
    a peak over root two may lie on either side of both."""
    changes = {
        "candidates.stabilising_resistance_ohm": [0],
        "internal_faults.shares": {"earth": 1.0},
        "external_events": study_table()["external_events"],
    }
    peak, rms, first = (
        numbers(study_on("per_phase", changes | {"relay.measure": kind}))
        for kind in ("peak", "rms", "fundamental")
    )
    assert (rms["p_false"] > first["p_false"]).all()
    assert (peak["p_false"] != rms["p_false"]).all()
    assert peak["p_missed"].equals(rms["p_missed"])


# --- open CT circuits --------------------------------------------------------------

OPEN = {"states.open_ct_circuit_per_year": 0.01, "load.current_pu": 0.8}


def test_the_share_is_over_a_scheme_s_own_cores() -> None:
    """A core of the neutral conductor's CT carries no load: open, it operates nothing; the six
    others do."""
    study = study_with(
        SMALL
        | OPEN
        | {
            "scheme.kind": ["per_phase", "restricted_earth_fault"],
            "ct.neutral_conductor": {},
            "candidates": {"phase_pickup_a": [0.1], "earth_pickup_a": [0.1]},
        }
    )
    result = run_study(study, workers=1)
    shares = result.candidates.set_index("scheme")["open_ct_circuit_operates_share"]
    assert shares["per_phase"] == 1.0
    assert shares["restricted_earth_fault"] == pytest.approx(3 / 4)
    states = result.by_type[result.by_type["side"] == "state"].set_index(["type", "candidate"])["p"]
    names = [
        name
        for name in states.index.get_level_values(0).unique()
        if name.startswith("open_ct_circuit")
    ]
    assert len(names) == 7 + 1  # each core, and whichever of them
    assert states["open_ct_circuit_neutral_conductor"].tolist() == [0.0, 0.0]
    assert states["open_ct_circuit_neutral_end_L2"].tolist() == [
        1.0,
        0.0,
    ]  # no core of the second scheme
    assert states["open_ct_circuit_line_end_L2"].tolist() == [1.0, 1.0]


@pytest.mark.slow
def test_open_cores_among_the_events_do_not_depend_on_the_schemes_compared() -> None:
    both = {
        "ct.neutral_conductor": {},
        "states.open_ct_circuit_counts": True,
        "states.open_ct_circuit_per_year": 0.3,
    }
    grids = {
        "per_phase": {"phase_pickup_a": [0.1]},
        "restricted_earth_fault": {"earth_pickup_a": [0.1]},
    }
    together = run_study(
        study_with(
            SMALL
            | OPEN
            | both
            | {
                "scheme.kind": list(grids),
                "candidates": {"phase_pickup_a": [0.1], "earth_pickup_a": [0.1]},
            }
        ),
        workers=1,
    )
    for kind, grid in grids.items():
        alone = run_study(
            study_with(SMALL | OPEN | both | {"scheme.kind": kind, "candidates": grid}), workers=1
        )
        row = together.candidates.set_index("scheme").loc[kind]
        for column in ("p_false", "p_false_low", "p_false_high", "false_per_year"):
            assert row[column] == pytest.approx(alone.candidates[column].iloc[0], rel=1e-12)


@pytest.mark.parametrize(("current", "restraint"), [("mean", 0.5), ("sum", 1.0), ("largest", 1.0)])
def test_an_open_core_does_not_restrain(current: str, restraint: float) -> None:
    """Load of 0.7 A through one CT alone: 0.7 (1 - s·restraint) against the pick-up, either side of
    it."""
    load = 0.8 * 25e6 / (np.sqrt(3) * 11e3) / 1500
    trips = (load - 0.1) / (load * restraint)  # the slope at which it would only just trip
    grid = {"phase_pickup_a": [0.1], "first_slope": [0.95 * trips, 1.05 * trips]}
    study = study_on(
        "biased",
        IDEAL
        | OPEN
        | {
            "candidates": grid,
            "scheme.bias_current": current,
            "machine.stator_capacitance_f": REMOVE,
            "relay.pickup_error_percent": REMOVE,
        },
    )
    found = run_study(study, workers=1).candidates.sort_values("first_slope")
    assert found["open_ct_circuit_operates_share"].tolist() == [1.0, 0.0]
