"""The primary operating current. V_s, R_st and V_k >= 2 V_s: `montecarlo/report/published/relaying.py`."""

import pytest

from montecarlo.estimates import handcalc


def test_primary_operating_current():
    # Formula N(I_s + n I_exc), common practice, no source; recomputed: 250 A, CT 600/1, I_exc 1 %, n = 4: I_s 0.377 A.
    setting = 250 / 600 - 4 * 0.01
    assert setting == pytest.approx(0.377, abs=5e-4)
    assert handcalc.primary_operating_current(600, setting, 0.01, 4) == pytest.approx(250, rel=1e-12)
    assert handcalc.primary_operating_current(600, 0.377, 0.01, 4) == pytest.approx(250, rel=1e-3)
