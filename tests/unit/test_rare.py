"""Rare events: pilots, mixtures, sums and limits. Chance is fixed by the seed; odds of another seed beside each."""

import pickle

import numpy as np
import pytest
from scipy.special import ndtr
from scipy.stats import norm

from montecarlo.estimates.rare import (
    BATCH,
    Mixture,
    Sums,
    fit,
    pooled_log_weight,
    refit,
    subset_pilot,
    variation,
)
from montecarlo.estimates.rare.active import active_coordinates, departure
from montecarlo.estimates.rare.allocation import allocate
from montecarlo.estimates.rare.clusters import cluster
from tests.unit.rare_cases import mixture, rng, total, two_sided

# --- pilots -----------------------------------------------------------------------------------------------


def test_levels_hold_what_they_say():
    pilot = subset_pilot(total, 12, rng(1))
    assert pilot.reached
    assert pilot.calls < sum(len(level.g) for level in pilot.levels)        # seeds are not called again
    thresholds = [level.threshold for level in pilot.levels]
    assert thresholds[0] == -np.inf
    assert thresholds[-1] == 0
    assert (np.diff(thresholds) > 0).all()
    for level in pilot.levels:
        assert (level.g > level.threshold).all()
        np.testing.assert_allclose(level.g, total(level.u))     # a rejected proposal keeps the accepted state


def test_chains_stay_where_a_proposal_was_refused():
    calls = []

    def model(u):
        calls.append(u)
        return u[:, 0] if len(calls) == 1 else np.full(len(u), -9.0)      # every proposal fails

    pilot = subset_pilot(model, 2, rng(2), goal=0.5, per_level=100)
    assert pilot.levels[-1].threshold == 0.5
    seeds = calls[0][calls[0][:, 0] > 0.5]
    repeats = len(pilot.levels[-1].u) // len(seeds)
    np.testing.assert_array_equal(pilot.levels[-1].u, np.tile(seeds, (repeats, 1)))
    assert repeats >= 3


def test_pilots_are_right_on_average():
    # scatter of the mean of 60 about 0.05; outside 0.75 ... 1.3 five times that
    found = [subset_pilot(total, 12, rng(3, k)).p for k in range(60)]
    assert 0.75 < np.mean(found) / ndtr(-4) < 1.3


def test_chains_keep_the_conditional_law():
    # u0 given u0 > 3.2: mean by the Mills ratio; 40 pilots, standard error 0.01, band five of them
    levels = [subset_pilot(lambda u: u[:, 0] - 3.2, 5, rng(4, k)).levels[-1].u for k in range(40)]
    assert np.mean([u[:, 0].mean() for u in levels]) == pytest.approx(norm.pdf(3.2) / ndtr(-3.2), abs=0.05)
    assert np.mean([u[:, 1].mean() for u in levels]) == pytest.approx(0, abs=0.1)
    assert np.mean([(u[:, 1] ** 2).mean() for u in levels]) == pytest.approx(1, abs=0.15)


def test_a_pilot_ends_where_nothing_is_to_be_found():
    assert not subset_pilot(lambda u: total(u, 30.0), 12, rng(5)).reached
    flat = subset_pilot(lambda u: np.full(len(u), -1.0), 3, rng(6))
    assert (flat.reached, flat.p, flat.calls) == (False, 0.0, 300)
    step = subset_pilot(lambda u: np.where(u[:, 0] > 0, -1.0, -2.0), 3, rng(7))         # never above -1
    assert not step.reached
    silent = subset_pilot(lambda u: np.where(u[:, 0] > 2, u[:, 0] - 4, -np.inf), 3, rng(8))  # no current in most
    assert silent.reached
    assert 0.2 < silent.p / ndtr(-4) < 5


def test_unresolved_samples_are_counted_and_never_moved_to():
    def model(u):
        return np.where(u[:, 1] > 1, np.nan, total(u, 3.0))

    pilot = subset_pilot(model, 12, rng(9))
    assert pilot.unresolved > 30
    assert all((level.u[level.g > level.threshold][:, 1] <= 1).all() for level in pilot.levels)
    assert all(np.isfinite(level.g).all() for level in pilot.levels[1:])


# --- mixtures ---------------------------------------------------------------------------------------------


def test_log_weight_is_the_ratio_of_the_densities():
    m, u = mixture(), 2 * rng(10).standard_normal((50, 7))
    q = sum(share * norm.pdf(u[:, [1, 4]], mean, sd).prod(axis=1) for share, mean, sd in
            zip(m.shares, m.means, m.sds, strict=True))
    np.testing.assert_allclose(m.log_weight(u), np.log(norm.pdf(u[:, [1, 4]]).prod(axis=1) / q), rtol=1e-12)


def test_weights_integrate_to_one_and_keep_below_their_ceiling():
    # standard error from the batches; 5 of them fail by chance once in 1.7 million
    m = mixture()
    w = np.exp(m.log_weight(m.sample(rng(11), 400 * BATCH)))
    batches = w.reshape(-1, BATCH).mean(axis=1)
    assert abs(batches.mean() - 1) < 5 * batches.std() / np.sqrt(400)
    assert w.max() <= m.largest_weight == 128 / 13
    assert np.exp(m.log_weight(np.full((1, 7), -9.0)))[0] < 1e-3         # covered by the wide component


def test_rows_come_from_the_components_and_the_rest_stays_normal():
    m = mixture()
    u = m.sample(rng(12), 1000 * BATCH)
    assert u[:, 1].mean() == pytest.approx(0.5 * 2.0, abs=0.02)
    assert (u[:, 1] ** 2).mean() == pytest.approx(13 / 128 + 51 / 128 * 4 + 0.5 * 4.25, abs=0.06)
    dead = np.delete(u, [1, 4], axis=1)
    assert np.abs(dead.mean(axis=0)).max() < 0.015
    assert np.abs(dead.var(axis=0) - 1).max() < 0.02


def test_a_mixture_is_small():
    pilots = [subset_pilot(total, 50, rng(13, k)) for k in range(2)]
    assert len(pickle.dumps(fit(pilots))) < 20_000


def test_rows_that_are_no_whole_batches_are_refused():
    with pytest.raises(ValueError, match="multiple of"):
        mixture().sample(rng(14), 100)
    with pytest.raises(ValueError, match="multiple of"):
        Sums.of(np.zeros((100, 1), bool), np.zeros(100), 10.0)


# --- fitting ----------------------------------------------------------------------------------------------


def test_active_coordinates_are_found_and_dead_ones_seldom_taken():
    pilots = [subset_pilot(total, 50, rng(15, k)) for k in range(4)]
    found = fit(pilots).active
    assert set(range(10)) <= set(found)
    assert len(found) <= 13


def test_a_sign_that_may_be_either_is_found_by_spread_and_both_modes_by_clusters():
    m = fit([subset_pilot(two_sided, 20, rng(16, k)) for k in range(4)])
    assert 3 in m.active
    column = m.means[:, list(m.active).index(3)]
    assert column.max() > 3
    assert column.min() < -3


def test_departure_is_that_of_a_normal():
    # 2,000 dead coordinates: chi-squared of 2 has mean 2, standard error 0.045; the share beyond its 1 % point
    out = departure(rng(17).standard_normal((400, 2000)), np.ones(400), 400)
    assert out.mean() == pytest.approx(2, abs=0.25)
    assert (out > 9.21).mean() == pytest.approx(0.01, abs=0.012)


def test_coordinates_are_tested_against_those_that_the_model_never_saw():
    # ten times what independent samples would show, dead and unseen alike: 0.05 dead ones a test on average
    found = []
    for k in range(40):
        sums = 10 * rng(33, k).chisquare(2, 80)
        sums[7] = 300.0
        found.append(active_coordinates([sums], 40))
    assert all(7 in one for one in found)
    assert sum(len(one) for one in found) - 40 < 15


@pytest.mark.parametrize("modes", [1, 2, 6])
def test_no_mode_is_left_without_clusters(modes):
    """Mean ln of the density lost by the clusters on fresh samples of each mode: 0.34 at most on 30 seeds; a mode that
    shares one wide cluster with another loses more than 1."""
    centres = 6 * np.eye(6)[:modes]

    def draw(key):
        return np.concatenate([c + rng(18, modes, key).standard_normal((300, 6)) for c in centres])

    x = draw(0)
    found = cluster(x, np.ones(len(x)), len(x), rng(19))
    y = draw(1)
    true, ours = (np.mean([norm.pdf(y, c, 1).prod(axis=1) for c in centres], axis=0),
                  sum(share * norm.pdf(y, mean, sd).prod(axis=1)
                      for share, mean, sd in zip(found.shares, found.means, found.sds, strict=True)))
    assert np.log(true / ours).reshape(modes, -1).mean(axis=1).max() < 0.6
    assert found.sds.min() >= 0.3


def test_every_mixture_keeps_its_nominal_share():
    pilots = [subset_pilot(total, 12, rng(20, k)) for k in range(2)]
    first = fit(pilots)
    u = first.sample(rng(21), 20 * BATCH)
    g = np.stack([total(u, b) for b in (1.0, 2.0, 3.0, 4.0)], axis=1)
    second = refit(u, first.log_weight(u), g, first)
    u = second.sample(rng(22), 20 * BATCH)
    third = refit(u, second.log_weight(u), np.stack([total(u, b) for b in (2.0, 4.0)], axis=1), second)
    for m in (first, second, third):
        assert m.nominal_share >= 0.1 - 1e-12
        assert m.shares.sum() == pytest.approx(1)


def test_a_refit_without_a_hit_changes_nothing():
    first = fit([subset_pilot(total, 12, rng(23))])
    u = first.sample(rng(24), BATCH)
    assert refit(u, first.log_weight(u), np.full((BATCH, 3), -1.0), first) is first
    assert refit(u, first.log_weight(u), np.full((BATCH, 3), np.nan), first) is first


def test_no_level_beyond_the_first_gives_the_nominal_density():
    flat = fit([subset_pilot(lambda u: np.full(len(u), -1.0), 3, rng(25))])
    u = flat.sample(rng(26), BATCH)
    np.testing.assert_array_equal(flat.log_weight(u), 0.0)


def test_shares_go_where_variance_is():
    """Of two components of which one alone meets the event, that one gets what may be had."""
    m = Mixture(1, np.array([0]), np.array([13, 55, 60]) / 128, np.array([[0.0], [-4], [4]]), np.ones((3, 1)))
    u = m.sample(rng(34), 40 * BATCH)
    hits = np.flatnonzero(u[:, 0] > 4)
    least = np.array([13 / 128, 0, 0])
    better = allocate(m, u, np.exp(m.log_weight(u)), [hits], least)
    assert better.nominal_share == pytest.approx(13 / 128)
    assert better.shares[2] > 0.7
    assert better.shares.sum() == pytest.approx(1)
    cov = [variation(Sums.of(x > 4, one.log_weight(x), one.largest_weight))[0]
           for one in (m, better) for x in [one.sample(rng(35), 400 * BATCH)]]
    assert cov[1] < cov[0]


def test_rounds_put_together_weigh_as_one_mixture():
    one = mixture()
    other = Mixture(7, np.array([2]), np.array([0.2, 0.8]), np.array([[0.0], [3.0]]), np.ones((2, 1)))
    u = rng(36).standard_normal((20, 7))
    density = np.exp(-one.log_weight(u)) * 0.25 + np.exp(-other.log_weight(u)) * 0.75
    np.testing.assert_allclose(pooled_log_weight(u, [one, other], [100, 300]), -np.log(density), rtol=1e-12)
