"""Values at the edge of what a study may say: a whole small study runs on them, or one line says
why not."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from montecarlo import run_study
from montecarlo.engine import sizes
from montecarlo.errors import StudyError
from montecarlo.frames.result import Result
from montecarlo.sampling.design import Design
from montecarlo.study.candidates import candidate_lattices
from montecarlo.study.consistency import MOST_CANDIDATES
from montecarlo.study.read import read_study
from tests.made.studies import FEW_TYPES, faults_of, study_table, study_with

TINY = FEW_TYPES | {
    "study.samples": 16,
    "study.installations": 16,
    "study.earth_fault_samples": 16,
    "study.rare_samples": 0,
    "candidates.earth_pickup_a": [0.02, 0.1],
    "candidates.phase_pickup_a": [0.1],
    "candidates.stabilising_resistance_ohm": [300],
    "policy.p_false_max": 0.9,
}
DAMAGE = {
    "fault_energy": {
        "breaker_time_s": 0.08,
        "field_decay_time_constant_s": 4.0,
        "undetected_time_s": 60,
    },
    "damage": {"exponent": 1.5},
}
HYDRO = Path(__file__).parents[2] / "configs/hydro_11kv.toml"
TYPES = ("earth", "phase_phase", "phase_phase_earth", "three_phase", "inter_turn")


def ran(changes: dict[str, Any]) -> Result:
    """The small study with some keys changed, run; what must hold of every study is asserted."""
    result = run_study(study_with(TINY | changes), workers=1)
    frame = result.candidates
    for name in ("p_missed", "p_false"):
        p, low, high = (
            frame[column].to_numpy() for column in (name, f"{name}_low", f"{name}_high")
        )
        assert np.all(
            (low >= 0) & (low <= p * (1 + 1e-12)) & (p <= high * (1 + 1e-12)) & (high <= 1 + 1e-12)
        ), name
    assert not np.isinf(frame.select_dtypes("number").to_numpy(float)).any()
    return result


def missed(changes: dict[str, Any]) -> list[float]:
    return [float(p) for p in ran(changes).candidates["p_missed"]]


# --- resistances --------------------------------------------------------------

RESISTANCES = (
    "earthing.resistance_ohm",
    "internal_faults.earth_fault_resistance_ohm",
    "internal_faults.phase_fault_resistance_ohm",
    "ct.lead_resistance_ohm",
    "ct.winding_resistance_ohm",
    "relay.earth_burden_ohm",
    "relay.phase_burden_ohm",
    "scheme.phase_stabilising_ohm",
    "scheme.balancing_resistance_ohm",
)
BOUNDED = {
    "ct.lead_resistance_ohm": "1000",
    "ct.winding_resistance_ohm": "1000",
    "relay.earth_burden_ohm": "10000",
    "relay.phase_burden_ohm": "10000",
    "scheme.phase_stabilising_ohm": "1e+06",
    "scheme.balancing_resistance_ohm": "1e+06",
}


@pytest.mark.parametrize(
    "key",
    [RESISTANCES[0], *(pytest.param(key, marks=pytest.mark.slow) for key in RESISTANCES[1:])],
)
def test_a_billionth_of_an_ohm_is_next_to_none(key: str) -> None:
    assert missed({key: 1e-9}) == pytest.approx(missed({key: 1e-6}), rel=1e-4)


@pytest.mark.parametrize("key", sorted(BOUNDED))
def test_a_billion_ohm_in_the_secondary_is_a_wrong_prefix(key: str) -> None:
    assert faults_of({key: 1e9}) == (
        (
            f"{key}: 1e+09 ohm is outside 0 ... {BOUNDED[key]} ohm, the widest range seen in "
            "practice; is the unit prefix right?"
        ),
    )


def test_a_stabilising_resistor_of_a_billion_ohm_is_refused_and_of_none_is_not() -> None:
    assert faults_of({"candidates.stabilising_resistance_ohm": [1e9]}) == (
        (
            "candidates.stabilising_resistance_ohm: 1e+09 ohm, must be at least 0 and at most"
            " 1e+06 ohm; give such a value: stabilising resistances: in the relay circuit of the"
            " earth element if there is one, else in each phase circuit"
        ),
    )
    assert missed({"candidates.stabilising_resistance_ohm": [1e-9]}) == pytest.approx(
        missed({"candidates.stabilising_resistance_ohm": [0]}), rel=1e-6
    )


@pytest.mark.parametrize(
    "key", ["earthing.resistance_ohm", "internal_faults.earth_fault_resistance_ohm"]
)
def test_earth_faults_without_current_are_all_missed(key: str) -> None:
    changes = {
        key: 1e9,
        "machine.stator_capacitance_f": 0,
        "internal_faults.shares": {"earth": 1.0},
    }
    assert missed(changes) == [1.0, 1.0]


def test_phase_faults_without_current_are_all_missed() -> None:
    assert missed(
        {
            "internal_faults.phase_fault_resistance_ohm": 1e9,
            "internal_faults.shares": {"phase_phase": 1.0},
        }
    ) == [1.0, 1.0]


# --- machines -----------------------------------------------------------------


@pytest.mark.slow
def test_a_railway_machine_runs() -> None:
    assert missed({"machine.frequency_hz": 16.7}) == pytest.approx(
        missed({}), rel=0.02
    )  # hardly: ohms, no henrys


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        (
            {"machine.frequency_hz": 400},
            "machine.frequency_hz: 400 Hz, must be at least 15 and at most 70 Hz; give such a"
            " value: rated frequency",
        ),
        (
            {"machine.rated_power_va": 1e3},
            "machine.rated_power_va: 1000 VA, must be at least 10000 and at most 3e+09 VA; give"
            " such a value: rated apparent power",
        ),
        (
            {"study.samples": 1},
            (
                "study.samples: 1, must be at least study.installations = 32, one event per"
                " installation; take more samples or fewer installations"
            ),
        ),
        (
            {"relay.step_a": 1e-12},
            "relay.step_a: 1e-12 A, must be at least 1e-06 and at most 10 A;"
            " give such a value: smallest setting step, secondary",
        ),
        (
            {"relay.rated_current_a": 1e-12},
            "relay.rated_current_a: 1e-12 A, must be at least 0.01 and at most 20 A; give such a"
            " value: rated current, the base of settings in per cent",
        ),
        (
            {"earthing.other_neutrals_ohm": 1e-320},
            "earthing.other_neutrals_ohm: 9.99989e-321, must be 0 or at least 1e-30 either way",
        ),
        (
            {"network.reactance_pu": {"dist": "uniform", "low": 1e-31, "high": 0.2}},
            "network.reactance_pu.low: 1e-31, must be 0 or at least 1e-30 either way",
        ),
        (
            {"candidates.phase_pickup_a": [0.1, -1e-300, 1e-300]},
            "candidates.phase_pickup_a[1]: -1e-300, must be 0 or at least 1e-30 either way",
        ),
        (
            {"study.installations": 1},
            "study.installations: 1, must be at least 16 and at most 65536; give such a value:"
            " sampled installations, rounded up to 16 times a power of two; every type's events"
            " are spread over them",
        ),
        (
            {"external_events": []},
            (
                "external_events: [] is empty; give at least one event, each a table "
                "[[external_events]]"
            ),
        ),
        (
            {"internal_faults.shares": {"inter_turn": 1.0}},
            (
                "internal_faults.shares.inter_turn: 1, must be below 1; no fault is left on which"
                " a longitudinal differential scheme can operate"
            ),
        ),
    ],
)
def test_beyond_the_edge_one_line_says_why(changes: dict[str, Any], line: str) -> None:
    assert faults_of(changes) == (line,)


@pytest.mark.slow
def test_the_largest_and_the_smallest_machine_run() -> None:
    ran({"machine.rated_power_va": 1e9, "machine.line_voltage_v": 27_000, "ct.primary_a": 25_000})
    ran({"machine.rated_power_va": 1e4, "machine.line_voltage_v": 400, "ct.primary_a": 20})


# --- shares, spread, counts ---------------------------------------------------


@pytest.mark.parametrize("kind", TYPES[:-1])
def test_all_faults_of_one_type(kind: str) -> None:
    result = ran({"internal_faults.shares": {kind: 1.0}})
    internal = result.by_type[result.by_type["side"] == "internal"]
    assert set(internal["type"]) == {kind}
    assert set(internal["weight"]) == {1.0}


def centred(value: Any) -> Any:
    """A study's table with the middle of every distribution in its place."""
    match value:
        case {"nominal": middle} | {"mode": middle} | {"median": middle} | {"mean": middle}:
            return middle
        case {"low": low, "high": high}:
            return (low + high) / 2
        case {**items}:
            return {key: centred(item) for key, item in items.items()}
        case list():
            return [centred(item) for item in value]
    return value


def test_without_any_spread_every_fault_is_the_same() -> None:
    kept = ("study", "candidates", "policy")
    table = centred({key: value for key, value in study_table().items() if key not in kept})
    table["internal_faults"]["shares"] = {"earth": 1.0}
    first = ran(table).candidates.iloc[0]  # solved by phasors: no point on wave either
    assert first["p_missed_low"] == pytest.approx(first["p_missed"], rel=1e-9)
    assert first["p_missed_high"] == pytest.approx(first["p_missed"], rel=1e-9)
    single = 1e-7  # critical positions are kept in single precision
    assert first["protected_p05"] == pytest.approx(1 - first["p_missed"], rel=single)
    assert first["protected_p95"] == pytest.approx(first["protected_p05"], rel=1e-9)


def test_one_candidate_is_chosen_and_has_no_neighbour() -> None:
    both = study_table()["external_events"]
    result = ran({"external_events": both, "candidates.earth_pickup_a": [0.1]})
    assert len(result.candidates) == 1
    assert result.chosen == 1
    assert result.runner_up is None


def test_a_hundred_thousand_candidates_are_the_most() -> None:
    grid = {
        "candidates.earth_pickup_a": [k / 1000 for k in range(1, 1001)],
        "candidates.phase_pickup_a": [k / 100 for k in range(1, 101)],
    }
    assert faults_of(TINY | grid | {"candidates.stabilising_resistance_ohm": [0, 300]}) == (
        (
            f"candidates: 200000 settings in all, must be at most {MOST_CANDIDATES}; take coarser"
            " grids"
        ),
    )
    assert faults_of(TINY | {"candidates.delay_s": {"from": 0, "to": 10.0, "step": 1e-9}}) == (
        (
            "candidates.delay_s: 10000000001 points, must be at most 10000; take a wider step or a"
            " narrower range"
        ),
    )
    assert study_with(TINY | grid).candidates.phase_pickup_a[-1] == 1.0


def test_more_candidates_than_the_memory_holds_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sizes, "memory_bytes", lambda: 1e5)
    with pytest.raises(StudyError) as caught:
        run_study(study_with(TINY | {"candidates.earth_pickup_a": [0.02, 0.04, 0.1]}), workers=1)
    assert caught.value.faults == (
        (
            "candidates: 3 settings on 16 installations and 16 earth faults need about 0.0 GB, and"
            " this machine has 0.0 GB; thin the grids in [candidates], or lower study.installations"
            " or study.earth_fault_samples"
        ),
    )


def test_damage_that_does_not_fit_is_refused_before_any_fault_is_followed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """16 faults, of two paths and nobody, 900 bytes each."""
    study = study_with(TINY | DAMAGE)
    need = sizes.damage_bytes(study)
    assert need == 16 * 3 * 900
    assert sizes.damage_bytes(study_with(TINY)) == 0
    monkeypatch.setattr(sizes, "memory_needed", lambda *_: 0.0)
    monkeypatch.setattr(sizes, "search_bytes", lambda *_: 0.0)
    monkeypatch.setattr(sizes, "memory_bytes", lambda: need)
    sizes.check_sizes(study)
    monkeypatch.setattr(sizes, "memory_bytes", lambda: need - 1)
    with pytest.raises(StudyError) as caught:
        sizes.check_sizes(study)
    (fault,) = caught.value.faults
    assert fault.startswith("study.earth_fault_samples: 16 earth faults whose damage is counted")
    assert fault.endswith("give fewer")


def test_a_million_earth_faults_are_counted_in_the_memory_that_a_run_needs() -> None:
    """All of the hydro example's settings: half a gigabyte; without them its 288 candidates take
    0.05."""
    lattices = candidate_lattices(read_study(HYDRO))
    few, many = (sizes.memory_needed(lattices, Design(256, n, net=True)) for n in (4096, 2**20))
    assert 0.04e9 < few < 0.06e9
    assert 0.5e9 < many - few < 0.7e9
