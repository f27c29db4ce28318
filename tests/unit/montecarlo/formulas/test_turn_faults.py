"""Current in shorted turns: the closed form against winding functions, limits, and in print."""

from __future__ import annotations

import numpy as np
import pytest

from montecarlo.formulas.turn_faults import (
    coil_share,
    pitch_factor,
    through_resistance,
    turn_fault,
)
from montecarlo.plant.turns.catalogue import WITHIN_COIL, contacts
from montecarlo.plant.turns.currents import TurnFaults
from montecarlo.plant.turns.layout import Winding, coils_of
from montecarlo.quantities import number

X, LEAK = 0.20, 0.13
SPREAD = {1: 1.0, 2: 0.9659, 3: 0.9598, 4: 0.9577}  # k_d of q slots a belt, textbook
WINDINGS = [(60, 2, 5), (24, 3, 8), (12, 4, 10), (48, 2, 6)]  # poles, q, pitch


@pytest.mark.parametrize("layout", ["half", "alternate"])
@pytest.mark.parametrize(("poles", "q", "pitch"), WINDINGS)
def test_closed_form_is_that_of_winding_functions(
    poles: int, q: int, pitch: int, layout: str
) -> None:
    winding = Winding(
        slots=3 * q * poles,
        pole_pairs=poles // 2,
        pitch=pitch,
        branches=2,
        turns_per_coil=3,
        layout=layout,  # type: ignore[arg-type]
        leakage_reactance_pu=number(LEAK),
    )
    found = contacts(coils_of(winding.placing), 3)
    (inside,) = np.nonzero(found.of(WITHIN_COIL))
    model = TurnFaults(found)
    carried = model.currents(inside, reactance_pu=X, leakage_pu=LEAK)
    beta = pitch / (3 * q)
    factor = SPREAD[q] * float(pitch_factor(beta))
    np.testing.assert_allclose(model.winding.factors, factor, rtol=1e-4)
    share = coil_share(q, beta, poles, factor)
    current = turn_fault(1, 3, SPREAD[q], share, reactance_pu=X, leakage_pu=LEAK)
    np.testing.assert_allclose(np.abs(carried.fault), current, rtol=0.05)
    apart = np.abs(carried.difference).max(axis=1)
    shorted = 1 / (3 * winding.coils_in_series)
    # coils where the halves of the bore meet differ most
    near = 0.06 if layout == "alternate" else 0.10
    np.testing.assert_allclose(apart, shorted * current, rtol=near)


def test_one_turn_carries_six_to_seven_times_rated_current() -> None:
    """Kim, Finney, Fischer, Kasztenny, CT requirements for generator split-phase protection, 2011,
    abstract; the protection sees about 1/20 of full load."""
    share = coil_share(2, 5 / 6, 60, SPREAD[2] * pitch_factor(5 / 6))
    current = float(turn_fault(1, 1, SPREAD[2], share, reactance_pu=X, leakage_pu=LEAK))
    assert 6 < current < 7
    of_machine = current / 60 / 2  # coils in series, branches
    assert of_machine == pytest.approx(1 / 20, rel=0.15)


def test_more_turns_make_the_same_difference() -> None:
    """Of tightly coupled turns: n times the turns, 1/n of the current."""
    n = np.array([1, 2, 3])
    current = turn_fault(n, 3, 0.966, 0.388, reactance_pu=X, leakage_pu=LEAK)
    np.testing.assert_allclose(n * current, current[0], rtol=1e-12)
    loose = turn_fault(n, 3, 0.966, 0.388, reactance_pu=X, leakage_pu=LEAK, coupling=0.0)
    assert loose[0] < current[0]
    assert loose[2] == pytest.approx(current[2], rel=1e-12)


def test_resistance_takes_over_from_reactance() -> None:
    assert float(through_resistance(6.59, 0.0259, 0.0)) == pytest.approx(6.59)
    assert float(through_resistance(6.59, 0.0259, 10.0)) == pytest.approx(0.00259, rel=1e-3)
    equal = 0.0259 / 6.59  # as much resistance as reactance
    assert float(through_resistance(6.59, 0.0259, equal)) == pytest.approx(6.59 / np.sqrt(2))


def test_the_pitch_factor_is_that_of_a_sum_of_phasors() -> None:
    for beta in (0.5, 5 / 6, 1.0):
        both = 1 - np.exp(1j * np.pi * beta)
        assert float(pitch_factor(beta)) == pytest.approx(abs(both) / 2)
