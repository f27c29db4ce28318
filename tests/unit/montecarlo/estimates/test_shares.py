"""The share of each kind in the total, and its limits."""

from __future__ import annotations

import numpy as np
import pytest

from montecarlo.estimates.shares import shares_of_total


def test_shares_of_the_total_by_hand() -> None:
    """Weights 1 and 3, p 0.2 and 0.1: 0.2 of 0.5 and 0.3 of 0.5. Limits of the first: 0.1
    against 0.3 + 0.3, 0.3 against 0.3 - 0.15."""
    found = shares_of_total([1, 3], [[0.2], [0.1]], [[0.1], [0.05]], [[0.3], [0.2]])
    assert found.p.ravel() == pytest.approx([0.4, 0.6])
    assert found.low[0, 0] == pytest.approx(0.1 / 0.7)
    assert found.high[0, 0] == pytest.approx(0.3 / 0.45)
    none = shares_of_total([1, 3], [[0.0], [0.0]], [[0.0], [0.0]], [[0.1], [0.1]])
    assert np.isnan(none.p).all()


@pytest.mark.parametrize("seed", range(5))
def test_shares_add_up_and_lie_within_their_limits(seed: int) -> None:
    rng = np.random.default_rng(seed)
    p = rng.random((3, 4))
    found = shares_of_total(
        rng.random(3), p, p * rng.random((3, 4)), p + (1 - p) * rng.random((3, 4))
    )
    assert found.p.sum(axis=0) == pytest.approx(np.ones(4))
    assert (
        (found.low >= 0) & (found.low <= found.p) & (found.p <= found.high) & (found.high <= 1)
    ).all()


def test_the_limits_of_a_share_hold_it() -> None:
    """Two kinds, 60 and 40 % of the false trips: limits hold 0.6 in over 93 % of 2,000 draws."""
    from montecarlo.estimates.intervals import clopper_pearson

    rng = np.random.default_rng(7)
    hits = rng.binomial(2048, [[0.03], [0.01]], (2, 2000))
    found = clopper_pearson(hits, 2048.0)
    share = shares_of_total([1.0, 2.0], hits / 2048, found.low, found.high)
    held = (share.low[0] <= 0.6) & (share.high[0] >= 0.6)
    assert held.mean() > 0.93
