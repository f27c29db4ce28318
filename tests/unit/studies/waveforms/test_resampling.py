"""Band-limited resampling: what the new rate can show passes, what it cannot is gone."""

from __future__ import annotations

import numpy as np
import pytest

from studies.waveforms import resampling
from studies.waveforms.resampling import band_limited

STEP_S = 1 / 12_800
FIRST_S = -0.05
TIMES = np.arange(-160, 480) / 4000.0  # inside what is given by more than the filter's reach
GIVEN = FIRST_S + STEP_S * np.arange(2560)


def at_the_new_rate(frequency_hz: float) -> np.ndarray:
    given = np.cos(2 * np.pi * frequency_hz * GIVEN + 0.7)
    return band_limited(given[None], FIRST_S, STEP_S, TIMES)[0]


@pytest.mark.parametrize("frequency_hz", [0.0, 16.7, 50.0, 350.0, 1350.0])
def test_what_the_rate_can_show_passes(frequency_hz: float) -> None:
    wanted = np.cos(2 * np.pi * frequency_hz * TIMES + 0.7)
    assert at_the_new_rate(frequency_hz) == pytest.approx(wanted, abs=1e-3)


@pytest.mark.parametrize("frequency_hz", [2000.0, 2600.0, 3999.0, 5000.0])
def test_what_it_cannot_show_is_gone_and_does_not_come_back_lower(frequency_hz: float) -> None:
    assert np.abs(at_the_new_rate(frequency_hz)).max() < 1e-3


def test_a_step_rises_at_its_time_and_ends_flat() -> None:
    given = np.where(GIVEN < 0, -1.0, 3.0)
    found = band_limited(given[None], FIRST_S, STEP_S, TIMES)[0]
    reach = int(np.ceil(resampling.CROSSINGS / (2 * resampling.PASS)))
    assert found[: 160 - reach] == pytest.approx(-1, abs=1e-3)
    assert found[160 + reach :] == pytest.approx(3, abs=1e-3)
    crossing = np.flatnonzero((found[:-1] < 1) & (found[1:] >= 1))
    assert crossing.size == 1
    assert abs(TIMES[crossing[0]]) <= 1 / 4000


def test_channels_are_sums_of_channels_still_and_pieces_do_not_show(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rng = np.random.default_rng(4)
    two = rng.normal(size=(2, GIVEN.size))
    whole = band_limited(np.vstack([two, two[0] - 2 * two[1]]), FIRST_S, STEP_S, TIMES)
    assert whole[2] == pytest.approx(whole[0] - 2 * whole[1], abs=1e-12)
    monkeypatch.setattr(resampling, "AT_ONCE", 7)
    assert np.array_equal(band_limited(two, FIRST_S, STEP_S, TIMES), whole[:2])
