"""Ranges of settings: how they are read, where a search begins and how it comes nearer."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from montecarlo.errors import StudyError
from montecarlo.study.axes import Grids, Setting
from montecarlo.study.candidates import candidate_lattices, grids_of, is_searched, settings_of
from montecarlo.study.grids import Range
from montecarlo.study.ranges import (
    FIRST,
    MOST_WHOLE,
    about,
    are_searched,
    at_first,
    beside,
    combinations,
    is_fine,
    spread_out,
)
from montecarlo.study.read import digest
from tests.made.studies import REMOVE, study_with

LONG = {
    "relay.step_a": 0.005,
    "relay.range_a": [0.005, 2.0],
    "candidates.phase_pickup_a": {"from": 0.05, "to": 0.5},
    "candidates.earth_pickup_a": {"from": 0.01, "to": 0.2},
    "candidates.stabilising_resistance_ohm": {"from": 0, "to": 1000, "step": 10},
}


def refused(**changes: Any) -> str:
    with pytest.raises(StudyError) as caught:
        study_with(LONG | {f"candidates.{key}": value for key, value in changes.items()})
    return str(caught.value)


def test_a_range_takes_the_steps_of_the_relay() -> None:
    grid = study_with(LONG).candidates.earth_pickup_a
    assert isinstance(grid, Range)
    assert grid[:3] == (0.01, 0.015, 0.02)
    assert grid[-1] == 0.2
    assert len(grid) == 39


def test_a_range_in_per_cent_takes_the_same_steps() -> None:
    changes = {"candidates.earth_pickup_a": REMOVE}
    changes["candidates.earth_pickup_relay_percent"] = {"from": 1, "to": 20}
    assert study_with(LONG | changes).candidates.earth_pickup_a == (
        study_with(LONG).candidates.earth_pickup_a
    )


@pytest.mark.parametrize(
    ("grid", "said"),
    [
        ({"from": 0.0512, "to": 0.0538}, "0.0512 ... 0.0538 A holds no step of the relay"),
        ({"from": 0.01, "to": 5.0}, "5 A, 0.005 ... 2 A is the relay's range"),
        ({"from": 0.2, "to": 0.1}, "from: 0.2 A lies above to = 0.1 A"),
        ({"from": 0.2}, "to: missing; a range takes from, to and step"),
        ({"from": 0.2, "to": 0.4, "step": -1}, "step: -1 A, must be above 0"),
    ],
)
def test_a_range_that_means_nothing_is_refused(grid: dict[str, float], said: str) -> None:
    message = refused(phase_pickup_a=grid)
    assert "candidates.phase_pickup_a" in message
    assert said in message


def test_a_range_needs_a_step_where_the_relay_has_none() -> None:
    with pytest.raises(StudyError, match=r"phase_pickup_a\.step: missing; give one, or"):
        study_with({key: value for key, value in LONG.items() if "relay" not in key})


@pytest.mark.parametrize("axis", ["stabilising_resistance_ohm", "delay_s"])
def test_only_pickups_have_the_step_of_the_relay(axis: str) -> None:
    assert f"{axis}.step: missing" in refused(**{axis: {"from": 0, "to": 1}})


def test_few_combinations_are_judged_whole() -> None:
    short = {"candidates.stabilising_resistance_ohm": [0, 100]}
    short["candidates.phase_pickup_a"] = [0.1, 0.2]
    study = study_with(LONG | short)
    assert combinations(grids_of(study)) == len(settings_of(candidate_lattices(study)))
    assert combinations(grids_of(study)) <= MOST_WHOLE
    assert not is_searched(study)


def test_many_combinations_of_lists_are_not_searched() -> None:
    grids = [Grids("any", {"phase_pickup_a": tuple(range(1, MOST_WHOLE + 2))})]
    assert not are_searched(grids)


def test_a_search_begins_with_few_candidates() -> None:
    study = study_with(LONG)
    assert is_searched(study)
    assert combinations(grids_of(study)) > 100_000
    first = settings_of(candidate_lattices(study))
    assert len(first) <= FIRST["pick-up"] ** 2 * FIRST["circuit"]


def test_a_range_that_is_searched_is_another_study_than_the_list_of_its_values() -> None:
    study = study_with(LONG)
    lists = {
        f"candidates.{key}": list(getattr(study.candidates, key))
        for key in ("phase_pickup_a", "stabilising_resistance_ohm")
    }
    lists["candidates.earth_pickup_a"] = [0.01, 0.015]
    ranges = LONG | {"candidates.earth_pickup_a": {"from": 0.01, "to": 0.015}}
    assert digest(study_with(LONG | lists)) != digest(study_with(ranges))


# --- coming nearer ------------------------------------------------------------


@given(st.integers(1, 400), st.integers(2, 30))
def test_values_spread_out_keep_both_ends(count: int, most: int) -> None:
    values = tuple(0.005 * k for k in range(1, count + 1))
    few = spread_out(values, most)
    assert len(few) <= most
    assert set(few) <= set(values)
    assert (few[0], few[-1]) == (values[0], values[-1])
    assert list(few) == sorted(few)


@given(st.data())
def test_coming_nearer_ends_at_the_best_of_a_slope_to_both_sides(data: st.DataObject) -> None:
    ohms = Range(range(0, 10 * data.draw(st.integers(2, 300)), 10))
    amps = Range(0.005 * k for k in range(1, data.draw(st.integers(2, 400))))
    whole = Grids("per_phase", {"stabilising_resistance_ohm": ohms, "phase_pickup_a": amps})
    goal = data.draw(st.sampled_from(ohms)), data.draw(st.sampled_from(amps))

    def best(grids: Grids) -> Setting:
        ohm = min(grids.values["stabilising_resistance_ohm"], key=lambda x: abs(x - goal[0]))
        amp = min(grids.values["phase_pickup_a"], key=lambda x: abs(x - goal[1]))
        return Setting("per_phase", amp, None, ohm, 0.0)

    judged = at_first(whole)
    for _ in range(12):
        found = best(judged)
        if is_fine(whole, judged, found):
            break
        judged = about(whole, judged, found)
    assert (found.stabilising_resistance_ohm, found.phase_pickup_a) == goal
    nearer = about(whole, judged, found)
    assert is_fine(whole, nearer, found)


def test_every_gate_stays_in_a_search() -> None:
    """A gate has no neighbour by order, so none can be left out."""
    gates = ("none", "late", "early")
    values: dict[str, Any] = {"phase_pickup_a": Range((0.1, 0.2, 0.3, 0.4)), "gate": gates}
    whole = Grids("biased", values)
    judged = at_first(whole)
    for gate in gates:
        best = Setting("biased", 0.2, None, 0.0, 0.0, gate=gate)
        assert about(whole, judged, best).values["gate"] == gates
        assert beside(whole, best).values["gate"] == gates
