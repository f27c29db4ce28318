"""What one candidate misses and another catches: against plain loops, a closed form and the tallies
of p_missed."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from montecarlo.estimates.assemble import gather
from montecarlo.estimates.caught import missed_samples, missed_shares, sum_caught
from montecarlo.estimates.counting import count_missed, sum_conditional
from montecarlo.estimates.tally import Pickups, Tally
from montecarlo.quantities import Array
from montecarlo.sampling.design import BLOCKS

INSTALLATIONS, EVENTS, DELAYS = 3, 7, 2
N = INSTALLATIONS * EVENTS
PHASE, EARTH = np.array([0.1, 0.2, 0.4]), np.array([0.01, 0.03])
ALONG = np.random.default_rng(6).random(N)


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(11)


def pickups(rng: np.random.Generator, scale: float = 1.0) -> Pickups:
    return Pickups(scale * rng.uniform(0, 0.5, (N, 1)), scale * rng.uniform(0, 0.04, (N, 1)))


def pairs(y: Array, along: Array | None = None) -> Array:
    """Sums over all samples, (missed by, caught by)."""
    return np.asarray(sum_caught(y, INSTALLATIONS, along).total.sum(axis=0)[..., 0])


def test_counted_samples_are_missed_as_the_tally_counts_them(rng: np.random.Generator) -> None:
    fault, load = pickups(rng), pickups(rng, scale=0.6)
    fault.phase[4] = np.nan
    each = missed_samples(fault, load, PHASE, EARTH, DELAYS)
    tally = count_missed(fault, load, PHASE, EARTH, DELAYS, INSTALLATIONS, None)
    assert np.isnan(each[4]).all()
    assert np.nansum(each.reshape(INSTALLATIONS, EVENTS, -1), axis=1) == pytest.approx(
        tally.total.reshape(INSTALLATIONS, -1)
    )


def test_conditional_shares_are_those_of_the_tally(rng: np.random.Generator) -> None:
    phase_x, earth_x = rng.uniform(0, 1, (N, 3, DELAYS)), rng.uniform(0, 1, (N, 2, DELAYS))
    load = pickups(rng, scale=0.6)
    earth_x[4] = np.nan
    each = missed_shares(phase_x, earth_x, load, PHASE, EARTH, lambda x: x**2)
    tally = sum_conditional(
        phase_x, earth_x, load, PHASE, EARTH, INSTALLATIONS, lambda x: x**2, ALONG, False
    )
    assert np.isnan(each[4]).all()
    assert np.nansum(each.reshape(INSTALLATIONS, EVENTS, -1), axis=1) == pytest.approx(
        tally.total.reshape(INSTALLATIONS, -1)
    )
    assert (
        each[~load.silent(PHASE, EARTH, 1)[0][:, 0, 0]][:, 0] == 1
    ).all()  # what operates on load


def test_of_counted_samples_a_loop_finds_the_same_pairs(rng: np.random.Generator) -> None:
    y = np.asarray(rng.random((N, 4)) < 0.5, float)
    found = sum_caught(y, INSTALLATIONS)
    for installation, a, b in product(range(INSTALLATIONS), range(4), range(4)):
        own = y[installation * EVENTS : (installation + 1) * EVENTS]
        assert found.total[installation, a, b, 0] == sum(
            1 for row in own if row[a] == 1 and row[b] == 0
        )
    assert found.trials.tolist() == [EVENTS] * INSTALLATIONS
    assert found.noise is None


def test_of_earth_faults_the_place_is_integrated(rng: np.random.Generator) -> None:
    """Counting places drawn at random against the formula: beyond 5 standard errors once in 1.7
    million seeds."""
    x = rng.random((N, 2))
    place = rng.random((40_000, N))
    hits = (place < x[:, 0]) & (place >= x[:, 1])
    assert pairs(x, ALONG)[0, 1] == pytest.approx(
        hits.sum() / len(place), abs=5 * np.sqrt(N / 4 / len(place))
    )


def test_two_independent_uniform_stretches_leave_a_sixth() -> None:
    # E max(U - V, 0) = 1/6 for independent uniform U, V; its standard deviation is sqrt(1/12 -
    # 1/36) = 0.236
    y = np.random.default_rng(3).random((INSTALLATIONS * 20_000, 2))
    found = sum_caught(y, INSTALLATIONS, y[:, 0]).total.sum(axis=0)[..., 0] / len(y)
    assert found[0, 1] == pytest.approx(1 / 6, abs=5 * 0.236 / np.sqrt(len(y)))


@pytest.mark.parametrize("conditional", [False, True])
def test_the_two_ways_differ_by_the_difference_of_the_misses(
    rng: np.random.Generator, conditional: bool
) -> None:
    y = rng.random((N, 5)) if conditional else np.asarray(rng.random((N, 5)) < 0.3, float)
    y[:, 4] = y[:, 2]
    y[6, 1] = np.nan
    found = pairs(y, ALONG if conditional else None)
    missed = y[np.arange(N) != 6].sum(axis=0)
    assert found - found.T == pytest.approx(missed[:, None] - missed, abs=1e-12)
    assert found[2, 4] == found[4, 2] == 0
    assert (np.diag(found) == 0).all()
    assert (found >= 0).all()


def test_a_sample_unresolved_for_one_candidate_counts_for_no_pair(rng: np.random.Generator) -> None:
    y = rng.random((N, 3))
    y[1, 2] = np.nan
    tally = sum_caught(y, INSTALLATIONS, ALONG)
    assert tally.unresolved.tolist() == [1, 0, 0]
    assert pairs(y, ALONG)[0, 1] == pytest.approx(
        np.maximum(y[:, 0] - y[:, 1], 0)[np.arange(N) != 1].sum()
    )


def test_pairs_add_and_have_limits_like_any_type(rng: np.random.Generator) -> None:
    blocks = [
        Tally((), caught=sum_caught(rng.random((N, 2)), INSTALLATIONS, ALONG))
        for _ in range(BLOCKS)
    ]
    both = blocks[0] + blocks[1]
    assert both.caught is not None
    assert blocks[0].caught is not None
    assert blocks[1].caught is not None
    assert np.array_equal(both.caught.total, blocks[0].caught.total + blocks[1].caught.total)
    assert (blocks[0] + Tally(())).caught is None
    found = gather(
        "internal.earth", [Tally((block.caught,)) for block in blocks if block.caught is not None]
    )
    estimate = found.estimate()
    assert estimate.p.shape == (4,)  # row after row: missed by 0, then by 1
    assert estimate.p[0] == estimate.p[3] == 0
    assert (estimate.low <= estimate.p).all()
    assert (estimate.p <= estimate.high).all()
