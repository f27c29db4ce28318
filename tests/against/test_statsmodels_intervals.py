"""Our limits of a proportion against statsmodels' proportion_confint."""

import numpy as np
import pytest
from statsmodels.stats.proportion import proportion_confint

from montecarlo.estimates.intervals import clopper_pearson, wilson


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
