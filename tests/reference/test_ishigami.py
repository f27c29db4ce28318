"""Sobol' effects on the Ishigami function.

Ishigami and Homma, An importance quantification technique in uncertainty analysis for computer
models, ISUMA 1990: f = sin x1 + a sin² x2 + b x3⁴ sin x1 on (-pi, pi)³. Analytic variances (as
printed in Saltelli et al., Global Sensitivity Analysis: The Primer, Wiley 2008, from memory, and
with many libraries) for a = 7, b = 0.1: first 0.3139, 0.4424, 0; total 0.5576, 0.4424, 0.2437.
Derived again: V = a²/8 + b pi⁴/5 + b² pi⁸/18 + 1/2, V1 = (1 + b pi⁴/5)²/2, V2 = a²/8, V13 = 8 b²
pi⁸/225."""

import os

import numpy as np
import pytest

from montecarlo.estimates.drivers import sobol_effects
from montecarlo.sampling.nets import Net
from studies.verify.published.statistics import FIRST, TOTAL, ishigami

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "20"))


def mixtures(points, groups):
    """f at the first half of the columns, at the second, and at the first with each group's from
    the second."""
    one, other = np.split(points, 2, axis=1)
    pages = []
    for group in groups:
        page = one.copy()
        page[:, group] = other[:, group]
        pages.append(ishigami(page))
    return ishigami(one), ishigami(other), np.stack(pages)


def effects(n, groups, block=0):
    points = Net(SEED, "ishigami", 0, block, (("a", 4), ("b", 4))).points(0, n).values
    return sobol_effects(*mixtures(points, groups), np.random.default_rng([SEED, block]))


def test_the_printed_values():
    found = effects(4096, [[0], [1], [2]])
    assert found.first.p == pytest.approx(
        FIRST, abs=0.02
    )  # rmse 0.004 on such nets (30 seeds): 5 sigma
    assert found.total.p == pytest.approx(TOTAL, abs=0.02)
    for one in (found.first, found.total):
        assert ((one.low < one.p) & (one.p < one.high)).all()
        assert (one.high - one.low < 0.15).all()


def test_the_printed_values_are_those_of_the_closed_form():
    a, b = 7, 0.1
    whole = a**2 / 8 + b * np.pi**4 / 5 + b**2 * np.pi**8 / 18 + 0.5
    one, two, both = (1 + b * np.pi**4 / 5) ** 2 / 2, a**2 / 8, 8 * b**2 * np.pi**8 / 225
    assert np.array([one, two, 0]) / whole == pytest.approx(FIRST, abs=1e-4)
    assert np.array([one + both, two, both]) / whole == pytest.approx(TOTAL, abs=1e-4)


def test_an_input_that_nothing_reads_has_exactly_none():
    found = effects(256, [[0], [3]])
    assert found.first.p[1] == found.total.p[1] == 0
    assert found.total.low[1] == found.total.high[1] == 0


def test_a_group_is_one_input():
    """x1 and x3 together: all that x2 leaves, since x2 acts alone."""
    found = effects(4096, [[0, 2], [1], [3]])
    assert found.first.p[:2] == pytest.approx([1 - 0.4424, 0.4424], abs=0.02)
    assert found.total.p[:2] == pytest.approx([1 - 0.4424, 0.4424], abs=0.02)


def test_limits_hold_the_printed_values_nearly_always():
    """On nets the bootstrap over-covers: of 6 x 8 limits at 95 % fewer than 9 miss; 2.4 would be
    fair, and 9 or more then come by chance once in 1,000."""
    missed = 0
    for block in range(8):
        found = effects(256, [[0], [1], [2]], block)
        for one, truth in ((found.first, FIRST), (found.total, TOTAL)):
            missed += int(((one.low > truth) | (truth > one.high)).sum())
    assert missed < 9


def test_an_output_that_never_varies_depends_on_nothing():
    same = np.ones(128)
    found = sobol_effects(same, same, np.ones((2, 128)), np.random.default_rng(1))
    assert not found.first.p.any()
    assert not found.total.p.any()
