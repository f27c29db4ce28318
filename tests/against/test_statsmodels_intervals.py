"""Our limits of a proportion, and of the difference of two, against statsmodels."""

import numpy as np
import pytest
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from montecarlo.estimates.intervals import Estimate, clopper_pearson, wilson
from montecarlo.estimates.totals import independent_difference


@pytest.mark.parametrize(("limits", "method"), [(clopper_pearson, "beta"), (wilson, "wilson")])
@pytest.mark.parametrize("level", [0.5, 0.9, 0.95, 0.999])
@pytest.mark.parametrize("trials", [1, 7, 2000, 10**7])
def test_limits_agree(limits, method, level, trials):
    hits = np.unique([0, 1, trials - 1, *np.linspace(0, trials, 40).astype(int)])
    low, high = limits(hits, trials, level)
    expected_low, expected_high = proportion_confint(
        hits, np.full_like(hits, trials), 1 - level, method
    )
    np.testing.assert_allclose(low, expected_low, rtol=1e-9, atol=1e-15)
    np.testing.assert_allclose(high, expected_high, rtol=1e-9, atol=1e-15)


@pytest.mark.parametrize("level", [0.8, 0.95, 0.999])
@pytest.mark.parametrize(("trials", "others"), [(1, 7), (40, 40), (2000, 300), (10**6, 10**7)])
def test_limits_of_a_difference_agree(level, trials, others):
    for share in (0.0, 0.01, 0.3, 0.5, 0.98, 1.0):
        for other_share in (0.0, 0.02, 0.5, 1.0):
            hits, other_hits = round(share * trials), round(other_share * others)
            one = Estimate(hits / trials, *wilson(hits, trials, level))
            other = Estimate(other_hits / others, *wilson(other_hits, others, level))
            gap = independent_difference(one, other)
            expected = confint_proportions_2indep(
                hits, trials, other_hits, others, method="newcomb", compare="diff", alpha=1 - level
            )
            np.testing.assert_allclose([gap.low, gap.high], expected, rtol=1e-9, atol=1e-12)
            assert -1 - 1e-12 <= gap.low <= gap.p <= gap.high <= 1 + 1e-12
