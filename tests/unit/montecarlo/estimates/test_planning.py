"""Sizes of a fresh batch for a wanted precision."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from montecarlo.estimates.planning import SAFETY, planned

PARTS = st.lists(
    st.tuples(st.floats(1e-4, 0.1), st.integers(100, 10_000), st.floats(0.1, 50.0)),
    min_size=1,
    max_size=5,
)


@given(PARTS, st.floats(1e-4, 1e-1))
def test_a_plan_meets_its_target_and_never_draws_less_than_before(parts, target):
    half, drawn, cost = map(np.array, zip(*parts, strict=True))
    n = planned(half, drawn, cost, target)
    assert (n >= drawn).all()
    assert np.sqrt(np.sum(half**2 * drawn / n)) <= target / SAFETY * (1 + 1e-9)


def test_one_part_needs_the_square_of_the_shortfall():
    # a tenth of the half-width takes a hundred times the samples: any text on sampling
    assert planned([0.1], [1000], [1.0], 0.01)[0] == pytest.approx(1000 * 100 * SAFETY**2, abs=1)


def test_the_split_is_neymans():
    # equal cost: n in proportion to the standard deviations (Neyman 1934); equal ones: to
    # 1/sqrt(cost) (Cochran, 5.5)
    n = planned([0.3, 0.1], [100, 100], [1.0, 1.0], 1e-3)
    assert n[0] / n[1] == pytest.approx(3, rel=1e-3)
    n = planned([0.1, 0.1], [100, 100], [1.0, 16.0], 1e-3)
    assert n[0] / n[1] == pytest.approx(4, rel=1e-3)
