"""Elasticities and laws among failures, against a limit state whose answers are known: y = 1 where
a·u > beta, so that

    E[u_i | y] = a_i phi(beta)/Phi(-beta)        E[u_i² - 1 | y] = a_i² beta phi(beta)/Phi(-beta)

(moments of a normal law cut on one side; a of length 1)."""

import numpy as np
import pytest
from scipy.special import ndtr

from montecarlo.estimates.drivers import Bands, Sampled, elasticity, gap, mean_of, shift
from montecarlo.estimates.rare import Mixture
from tests.made.rare_cases import rng

A = np.array([0.6, 0.5, 0.4, 0.3, np.sqrt(1 - 0.86), 0.0])
CTS = np.array([1, -1, 1, -1, 1, -1]) / np.sqrt(6)


def phi(t):
    return np.exp(-(t**2) / 2) / np.sqrt(2 * np.pi)


def mills(beta):
    return phi(beta) / ndtr(-beta)


def linear(beta, n=32_768, key=0):
    """Six inputs of one column each, drawn plainly or, for rare events, from a density at the limit
    state."""
    rare = beta > 2
    density = Mixture(
        6, np.arange(6), np.array([0.1, 0.9]), np.stack([np.zeros(6), beta * A]), np.ones((2, 6))
    )
    u = density.sample(rng(60, key), n) if rare else rng(60, key).standard_normal((n, 6))
    w = np.exp(density.log_weight(u)) if rare else np.ones(n)
    return Sampled(
        "x",
        1.0,
        w,
        (u @ A > beta)[:, None].astype(float),
        {f"u{i}": u[:, [i]] for i in range(6)},
        {},
    )


@pytest.mark.parametrize("beta", [0.5, 4.0])
def test_elasticities_of_a_linear_limit_state(beta):
    sample = linear(beta)
    for i, a in enumerate(A):
        found = elasticity([sample], 0, f"u{i}")
        for one, truth in (
            (found.centre, a * mills(beta)),
            (found.spread, a**2 * beta * mills(beta)),
        ):
            assert (
                abs(one.p - truth) < 4.5 * (one.high - one.low) / 3.92
            )  # 24 of them: once in 6,000
            assert one.high - one.low < (0.2 if beta < 2 else 0.6)


def test_limits_hold_the_truth_as_often_as_they_say():
    beta, held = 1.0, 0
    for key in range(200):
        found = elasticity([linear(beta, 4096, key)], 0, "u0").centre
        held += bool(found.low < A[0] * mills(beta) < found.high)
    assert held >= 178  # of 190 expected; below 178 once in 3,000


def test_columns_of_one_input_move_together():
    """Two ends in opposition: a common shift does nothing, a common spread everything."""
    u = rng(61).standard_normal((65_536, 6))
    sample = Sampled("x", 1.0, np.ones(len(u)), (u @ CTS > 1)[:, None].astype(float), {"ct": u}, {})
    found = elasticity([sample], 0, "ct")
    assert abs(found.centre.p) < 4 * (found.centre.high - found.centre.low) / 3.92
    assert found.spread.p == pytest.approx(
        mills(1.0), abs=4.5 * (found.spread.high - found.spread.low) / 3.92
    )


def test_a_correlated_input_moves_alone():
    """z = L u with correlation r, y = 1 where (z1 + z2)/s > 1, s² = 2 + 2r: d ln p by the centre of
    z1 is mills/s, by its spread the share of the variance that it carries, (1 + r)/s², times beta
    mills."""
    r, n = 0.6, 131_072
    u = rng(62).standard_normal((n, 2))
    z = np.stack([u[:, 0], r * u[:, 0] + np.sqrt(1 - r**2) * u[:, 1]], axis=1)
    dual = z @ np.linalg.inv([[1, r], [r, 1]])
    s = np.sqrt(2 + 2 * r)
    sample = Sampled(
        "x",
        1.0,
        np.ones(n),
        (z.sum(axis=1) / s > 1)[:, None].astype(float),
        {"one": z[:, :1], "two": z[:, 1:]},
        {"one": dual[:, :1], "two": dual[:, 1:]},
    )
    for key in ("one", "two"):
        found = elasticity([sample], 0, key)
        for one, truth in (
            (found.centre, mills(1.0) / s),
            (found.spread, (1 + r) / s**2 * mills(1.0)),
        ):
            assert abs(one.p - truth) < 4.5 * (one.high - one.low) / 3.92


def test_the_place_is_exact():
    """y given the rest is the probability of a place below y; here y = Phi(1) always: moments of a
    cut normal law."""
    y = np.full((256, 1), ndtr(1.0))
    sample = Sampled("x", 1.0, np.ones(256), y, {"place": np.zeros((256, 1))}, {}, placed="place")
    found = elasticity([sample], 0, "place")
    assert found.centre.p == pytest.approx(-phi(1.0) / ndtr(1.0), rel=1e-12)
    assert found.spread.p == pytest.approx(-phi(1.0) / ndtr(1.0), rel=1e-12)
    # a uniform cut at Phi(1), against a uniform on [0, 1]: furthest apart at the cut; steps of
    # 1/256
    assert shift([sample], 0, "place", Bands(0, rng(63))).distance == pytest.approx(
        1 - ndtr(1.0), abs=1 / 256
    )


def test_laws_among_failures():
    """Kolmogorov's distance of N(0, 1) given a·u > beta; for a = 1 it is Phi(beta). A dead input
    stays in its band."""
    u = rng(64).standard_normal((16_384, 2))
    sample = Sampled(
        "x",
        1.0,
        np.ones(len(u)),
        (u[:, 0] > 1)[:, None].astype(float),
        {"active": u[:, :1], "dead": u[:, 1:]},
        {},
    )
    active = shift([sample], 0, "active", Bands(0, rng(65)))
    assert active.distance == pytest.approx(ndtr(1.0), abs=1 / 256)
    dead = shift([sample], 0, "dead", Bands(0, rng(66)))
    assert (
        0.5 < dead.band * np.sqrt(sample.y.sum()) / 1.36 < 1.3
    )  # Kolmogorov's own 95 % quantile, 1.36/root n
    inside = 0
    for key in range(30):
        other = rng(67, key).standard_normal((2048, 1))
        y = (rng(68, key).random((2048, 1)) < 0.2).astype(float)
        one = Sampled("x", 1.0, np.ones(2048), y, {"dead": other}, {})
        found = shift([one], 0, "dead", Bands(0, rng(69, key)))
        inside += found.distance <= found.band
    assert inside >= 23  # of 28.5 expected; fewer once in 3,000


def test_nothing_seen_gives_no_number():
    sample = linear(0.5, 256)
    none = Sampled("x", 1.0, sample.w, 0 * sample.y, sample.scores, {})
    assert np.isnan(elasticity([none], 0, "u0").centre.p)
    assert np.isnan(shift([none], 0, "u0", Bands(0, rng(70))).distance)


def test_differences_are_paired_and_totals_add():
    one, other = linear(0.5, 8192, 1), linear(0.5, 8192, 2)
    parts = [
        Sampled(s.name, share, s.w, s.y, s.scores, {}) for s, share in ((one, 0.3), (other, 0.7))
    ]
    then, same = gap(parts, [s.y[:, 0] for s in parts], 0)
    assert float(same.p) == float(same.low) == float(same.high) == 0
    now = mean_of([(s.share, s.w * s.y[:, 0]) for s in parts])
    assert float(then.p) == float(now.p)
    assert abs(now.p - ndtr(-0.5)) < 4.5 * (now.high - now.low) / 3.92
    none, all_of_it = gap(parts, [0 * s.y[:, 0] for s in parts], 0)
    assert float(none.p) == 0 < none.high < 1e-3  # none in 8,192 of either
    assert float(all_of_it.p) == pytest.approx(-float(now.p))
    assert all_of_it.high > -now.low  # not wider than it was, but none in 8,192 is not never
    _, fewer = gap(parts, [s.y[:, 0] * (np.arange(8192) % 10 > 0) for s in parts], 0)
    assert fewer.p == pytest.approx(-now.p / 10, rel=0.15)
    assert fewer.high - fewer.low < now.high - now.low
