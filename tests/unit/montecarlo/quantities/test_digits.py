"""Last bits make no difference to what is written and ranked."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from montecarlo.frames.digits import rounded_frame, rounded_values
from montecarlo.quantities.digits import alike, to_digits

NOISE = 1e-14  # relative


def test_digits_are_those_that_python_prints() -> None:
    values = np.random.default_rng(1).lognormal(0.0, 20.0, 1000)
    for wanted, found in zip(values, to_digits(values), strict=True):
        assert found == pytest.approx(wanted, rel=5.1e-8, abs=0)
        assert found == float(f"{found:.8g}")


@pytest.mark.parametrize("sign", [1, -1])
def test_what_lies_half_way_goes_one_way_whatever_the_last_bits(sign: int) -> None:
    """k out of 2^n, with nine digits of which the last is a 5."""
    halves = [
        k / 2.0**n
        for n in range(6, 15)
        for k in range(1, 2**n, 2)
        if len(f"{k / 2.0**n:.14f}".strip("0.")) == 9
    ]
    assert len(halves) > 100
    values = sign * np.array(halves)
    assert to_digits(values * (1 + NOISE)) == to_digits(values * (1 - NOISE)) == to_digits(values)


def test_few_numbers_show_their_last_bits() -> None:
    """Expected: 0.4 * 1e8 * 2e-14 * 1e5 = 0.08 numbers; five or more once in ten million seeds."""
    values = 10 ** np.random.default_rng(2).uniform(-9, 3, 100_000)
    one, other = (np.array(to_digits(values * (1 + noise))) for noise in (NOISE, -NOISE))
    assert np.count_nonzero(one != other) < 5
    assert np.count_nonzero(alike(values * (1 + NOISE)) != alike(values * (1 - NOISE))) < 60


def test_whole_numbers_and_what_is_no_number_stay() -> None:
    values = [0.0, 8_123_456_789.0, -3.0, math.inf, -math.inf]
    assert to_digits(values) == values
    assert math.isnan(to_digits([math.nan])[0])
    assert math.copysign(1, to_digits([-0.0])[0]) == -1


def test_a_table_keeps_its_settings_counts_texts_and_gaps() -> None:
    third = 1 / 3
    frame = pd.DataFrame(
        {
            "delay_s": [third, 0.1],
            "p": [third, math.nan],
            "candidate": pd.Series([1, None], dtype=object),
            "mixed": pd.Series([third, "a"], dtype=object),
            "samples": [1_234_567_891, 2],
            "usable": [True, False],
        }
    )
    found = rounded_frame(frame)
    assert [*found.columns] == [*frame.columns]
    assert found["p"].iloc[0] == 0.33333333
    assert math.isnan(found["p"].iloc[1])
    assert found["mixed"].tolist() == [0.33333333, "a"]
    same = ["delay_s", "candidate", "samples", "usable"]
    pd.testing.assert_frame_equal(found[same], frame[same])


def test_a_record_keeps_what_is_no_fraction() -> None:
    record = {"mean": 2 / 3, "candidates": 7, "event": "far", "limit": None}
    assert rounded_values(record) == {**record, "mean": 0.66666667}
