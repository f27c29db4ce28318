"""Studies with ranges that are searched, against the same settings judged whole."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from montecarlo import run_study
from montecarlo.engine.run import Outcome, run
from montecarlo.frames.result import Result
from montecarlo.study.description import Study
from tests.made.studies import FEW_TYPES, REMOVE, study_with

RANGES = {
    "candidates.phase_pickup_a": {"from": 0.1, "to": 0.5, "step": 0.05},
    "candidates.earth_pickup_a": {"from": 0.01, "to": 0.19, "step": 0.005},
    "candidates.stabilising_resistance_ohm": {"from": 0, "to": 300, "step": 50},
    "candidates.delay_s": [0],
}
SMALL: dict[str, Any] = FEW_TYPES | {
    "study.samples": 512,
    "study.earth_fault_samples": 256,
    "study.installations": 32,
    "study.rare_samples": 0,
    "policy.p_false_max": 0.4,
}


def values(grid: Any) -> list[float]:
    if isinstance(grid, list):
        return grid
    count = round((grid["to"] - grid["from"]) / grid["step"]) + 1
    return [round(grid["from"] + k * grid["step"], 12) for k in range(count)]


def small(**changes: Any) -> Study:
    return study_with(SMALL | RANGES | changes)


ONE_CIRCUIT = SMALL | {
    "study.samples": 256,
    "study.earth_fault_samples": 64,
    "study.installations": 16,
    "scheme.kind": "per_phase",
    "candidates.phase_pickup_a": {"from": 0.05, "to": 2, "step": 0.005},
    "candidates.earth_pickup_a": REMOVE,
    "candidates.stabilising_resistance_ohm": [0],
    "candidates.delay_s": {"from": 0, "to": 0.25, "step": 0.05},
}


@pytest.fixture(scope="module")
def found() -> Outcome:
    return run(small(), workers=1)


@pytest.fixture(scope="module")
def on_one_circuit() -> Outcome:
    return run(study_with(ONE_CIRCUIT), workers=1)


@pytest.mark.slow
def test_the_best_found_is_the_best_of_all(found: Outcome) -> None:
    """Of every combination on the same samples; none is better by more than a hundredth."""
    whole = run(study_with(SMALL | {key: values(grid) for key, grid in RANGES.items()}), workers=1)
    every = whole.first.verdict
    best = every.missed.total[every.order()[0]]
    judged = found.first.verdict
    assert len(found.first.settings) < len(whole.first.settings) / 10
    assert judged.missed.total[judged.order()[0]] <= 1.01 * best
    for here, setting in enumerate(found.first.settings):
        there = whole.first.settings.index(setting)
        assert judged.missed.total[here] == every.missed.total[there]
        assert judged.bound[here] == every.bound[there]


@pytest.mark.slow
def test_every_step_beside_the_chosen_one_was_judged(found: Outcome) -> None:
    chosen = found.chosen
    assert chosen is not None
    for key, grid in RANGES.items():
        axis = key.removeprefix("candidates.")
        every, own = np.array(values(grid)), getattr(chosen, axis)
        judged = {getattr(one, axis) for one in found.first.settings}
        at = int(np.argmin(np.abs(every - own)))
        for value in every[max(at - 1, 0) : at + 2]:
            assert min(abs(value - other) for other in judged) < 1e-9


def test_rounds_and_front_are_told(on_one_circuit: Outcome) -> None:
    result = Result(on_one_circuit)
    last = on_one_circuit.rounds[-1].number
    assert [*result.search["round"].unique()] == [*range(1, last + 1)]
    front = result.front.sort_values("p_false_limit")
    assert (front["p_false_bound"] <= front["p_false_limit"]).all()
    assert (front["p_missed"].diff().dropna() <= 0).all()  # a looser limit never misses more


def test_what_stands_beside_the_choice(on_one_circuit: Outcome) -> None:
    """A price a neighbour; under the law stated the missed faults that are reported, and the range
    of laws about them; no other setting that is allowed can be better by much."""
    result = Result(on_one_circuit)
    chosen = result.chosen
    assert chosen is not None
    assert {*result.prices["candidate"]} == {*result.neighbours["candidate"]}
    own = result.place_laws[result.place_laws["candidate"] == chosen]
    missed = own.set_index(["law", "factor"])["p_missed"]
    stated = missed.loc["as stated"].iloc[0]
    assert stated == pytest.approx(result.row(chosen)["p_missed"], abs=1e-12)
    rising = [
        missed["least missed", 5.0],
        missed["least missed", 2.0],
        stated,
        missed["most missed", 2.0],
        missed["most missed", 5.0],
    ]
    assert rising == sorted(set(rising))
    earth = result.by_type[
        (result.by_type["candidate"] == chosen) & (result.by_type["type"] == "earth")
    ]
    assert own["p_missed_earth"].iloc[0] == pytest.approx(earth["p"].iloc[0], abs=1e-6)
    assert result.gap is not None
    assert 0 <= result.gap.mean <= result.gap.high < 0.05
    assert result.provenance["optimality_gap"]["candidates"] == result.gap.candidates


def test_a_search_does_not_depend_on_the_workers(on_one_circuit: Outcome) -> None:
    again = run(study_with(ONE_CIRCUIT), workers=2)
    assert again.rounds == on_one_circuit.rounds
    assert again.chosen == on_one_circuit.chosen
    assert (again.first.verdict.bound == on_one_circuit.first.verdict.bound).all()


@pytest.mark.slow
def test_schemes_are_searched_each() -> None:
    changes = ONE_CIRCUIT | {
        "study.kind": "scheme_comparison",
        "scheme.kind": ["two_phase_one_earth", "per_phase"],
        "candidates.earth_pickup_a": [0.1],
    }
    outcome = run(study_with(changes), workers=1, by_scheme=True)
    assert {one.scheme for one in outcome.rounds} == {"two_phase_one_earth", "per_phase"}
    assert set(outcome.best) == {"two_phase_one_earth", "per_phase"}


def test_a_list_has_no_rounds() -> None:
    lists = {key: values(grid)[:2] for key, grid in RANGES.items()}
    result = run_study(study_with(SMALL | lists), workers=1)
    assert result.search.empty
    assert (result.front["p_false_bound"] <= result.front["p_false_limit"]).all()
    every = result.candidates.set_index("candidate")
    for row in result.front.to_dict("records"):  # by the selection sample
        setting = every.loc[row["candidate"]]
        assert setting["earth_pickup_a"] == row["earth_pickup_a"]
    assert result.provenance["found"] == []


@pytest.mark.slow
def test_a_burden_at_setting_makes_a_circuit_of_each_pickup() -> None:
    burden = {"relay.phase_burden_ohm": REMOVE, "relay.phase_burden_va": 0.5}
    outcome = run(study_with(ONE_CIRCUIT | burden), workers=1)
    first = outcome.rounds[0]
    assert first.circuits == 16  # pick-ups
    assert first.candidates == 16 * 6  # and delays
