"""Schemes as data: who drives what, and where the resistances stand."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from pydantic import ValidationError

from montecarlo.relays.places import PHASES, carried
from montecarlo.relays.schemes import BUILT_IN, SchemeChoice, build_scheme, leg_resistances

PAIRS = list(combinations(PHASES, 2))


def test_a_phase_leg_carries_the_difference_of_its_ends() -> None:
    currents = np.array([5.0, 7.0, 11.0, 1.0, 2.0, 3.0])  # neutral end L1-L3, line end L1-L3
    assert build_scheme("per_phase").table @ currents == pytest.approx([4.0, 5.0, 8.0])
    assert build_scheme("two_phase_one_earth").table @ currents == pytest.approx(
        [4.0, 5.0, 8.0, 17.0]
    )


@pytest.mark.parametrize("kind", BUILT_IN)
def test_through_current_passes_no_leg(kind: str) -> None:
    """But the star link, by half of what the neutral carries."""
    scheme = build_scheme(kind)
    passing = scheme.table @ carried(np.tile([3.0, -1.0, 0.5], 2) + 0j, scheme.places)
    assert passing.tolist() == ([1.25] if kind == "neutral_to_neutral" else [0] * len(passing))


def test_elements_watch_the_legs_that_they_are_said_to() -> None:
    three = build_scheme("per_phase")
    assert (three.watch, three.element_columns, three.of("earth")) == ((0, 1, 2), (0, 1, 2), ())
    for pair in PAIRS:
        scheme = build_scheme("two_phase_one_earth", pair)
        assert [scheme.legs[leg].name for leg in scheme.watch] == [*pair, "earth"]
        assert scheme.element_columns == (*(PHASES.index(phase) for phase in pair), 3)
    assert build_scheme("two_phase_one_earth", ("L3", "L1")).watch == (0, 2, 3)


@pytest.mark.parametrize("watched", PAIRS)
def test_two_watched_phases_see_every_fault_between_phases(watched: tuple[str, str]) -> None:
    scheme = build_scheme("two_phase_one_earth", watched)  # type: ignore[arg-type]
    for one, other in combinations(range(3), 2):
        fault = np.zeros(6)
        fault[one], fault[other] = 1.0, -1.0
        legs = scheme.table @ fault
        assert np.abs(legs[[scheme.elements[k].leg for k in scheme.of("phase")]]).max() == 1.0
        assert (
            legs[scheme.elements[scheme.of("earth")[0]].leg] == 0.0
        )  # and the earth element does not


def test_where_the_resistances_stand() -> None:
    ohm = {
        "phase_burden": np.array([0.1, 0.2]),
        "phase_resistor": np.zeros(2),
        "balancing": np.array([1.0, 2.0]),
        "earth_burden": np.array([5.0, 6.0]),
        "stabilising": np.full(2, 100.0),
    }
    three = leg_resistances(build_scheme("per_phase"), ohm)
    assert three == pytest.approx(np.array([[100.1] * 3, [100.2] * 3]))
    star = leg_resistances(build_scheme("two_phase_one_earth", ("L2", "L3")), ohm)
    assert star == pytest.approx(np.array([[1.0, 0.1, 0.1, 105.0], [2.0, 0.2, 0.2, 106.0]]))


def test_the_choice_refuses_one_phase_twice() -> None:
    with pytest.raises(ValidationError, match="name two different phases"):
        SchemeChoice(kind="two_phase_one_earth", watched_phases=("L1", "L1"))
    assert SchemeChoice(kind="per_phase").kinds == ("per_phase",)
    assert SchemeChoice(kind=("per_phase", "two_phase_one_earth")).kinds == (
        "per_phase",
        "two_phase_one_earth",
    )
