"""The peak voltage with a non-linear resistor."""

from __future__ import annotations

import numpy as np
import pytest

from studies.nominal.limited import across_resistor_v, largest_sum

THREE = 7.0 * np.exp(2j * np.pi * np.arange(3) / 3)


def test_one_saturated_ct_unbalances_three() -> None:
    """All three cancel; one or two of them leave one phase's current."""
    assert abs(THREE.sum()) < 1e-12
    assert float(largest_sum(THREE)) == pytest.approx(7.0, rel=1e-6)


def test_currents_of_one_sense_add_up() -> None:
    assert float(largest_sum(np.array([2.0 + 0j, 3.0, -4.0]))) == pytest.approx(5.0)


def test_the_resistor_has_the_current_that_unequal_cts_leave() -> None:
    volts = across_resistor_v(THREE[None], np.ones((1, 3)), 450.0, 0.25)
    assert volts == pytest.approx(450 * (np.sqrt(2) * 7) ** 0.25)
