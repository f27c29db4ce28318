"""Candidates one step of the grids away."""

from __future__ import annotations

from dataclasses import replace

from montecarlo.study.axes import STEPS, Setting
from montecarlo.study.candidates import grid_lattices, neighbours
from tests.made.studies import study_with


def settings_of(**grids: list[float]) -> list[Setting]:
    study = study_with({f"candidates.{name}": values for name, values in grids.items()})
    return [setting for lattice in grid_lattices(study) for setting in lattice.settings()]


def test_neighbours_differ_on_one_axis_by_one_step() -> None:
    every = settings_of(
        earth_pickup_a=[0.02, 0.05, 0.1, 0.2],
        phase_pickup_a=[0.1, 0.2],
        stabilising_resistance_ohm=[0.0, 300.0, 900.0],
        delay_s=[0.0, 0.1],
    )
    (at,) = [
        s
        for s in every
        if (s.phase_pickup_a, s.earth_pickup_a, s.stabilising_resistance_ohm, s.delay_s)
        == (0.1, 0.05, 300.0, 0.0)
    ]
    assert neighbours(every, at) == {
        replace(at, earth_pickup_a=0.02): "earth_pickup_a",
        replace(at, earth_pickup_a=0.1): "earth_pickup_a",
        replace(at, phase_pickup_a=0.2): "phase_pickup_a",
        replace(at, stabilising_resistance_ohm=0.0): "stabilising_resistance_ohm",
        replace(at, stabilising_resistance_ohm=900.0): "stabilising_resistance_ohm",
        replace(at, delay_s=0.1): "delay_s",
    }


def test_what_a_scheme_has_not_is_no_axis() -> None:
    study = study_with(
        {
            "scheme.kind": ["per_phase", "biased"],
            "candidates": {
                "phase_pickup_a": [0.1, 0.2],
                "first_slope": [0.1, 0.2],
                "stabilising_resistance_ohm": [0.0, 300.0],
            },
        }
    )
    every = [setting for lattice in grid_lattices(study) for setting in lattice.settings()]
    phase = next(s for s in every if s.scheme == "per_phase")
    assert sorted(neighbours(every, phase).values()) == [
        "phase_pickup_a",
        "stabilising_resistance_ohm",
    ]
    biased = next(s for s in every if s.scheme == "biased")
    assert sorted(neighbours(every, biased).values()) == ["first_slope", "phase_pickup_a"]
    assert all(other.scheme == "biased" for other in neighbours(every, biased))


def test_every_number_of_a_setting_is_an_axis() -> None:
    assert {"scheme", *STEPS} == set(Setting.__dataclass_fields__)


def test_a_setting_off_the_grid_has_those_on_either_side() -> None:
    every = settings_of(
        earth_pickup_a=[0.02, 0.1], phase_pickup_a=[0.1], stabilising_resistance_ohm=[0.0]
    )
    between = replace(every[0], earth_pickup_a=0.04)
    assert list(neighbours(every, between)) == every
