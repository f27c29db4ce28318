"""Bias by hand: what the slopes add, and the ratio of differential to bias current. All numbers
worked by hand from the tests' study: 25 MVA, 11 kV (1312 A, E = 6351 V), CT 1500/1 A, largest
through fault 4 pu = 3.499 A secondary."""

from __future__ import annotations

from typing import Any

import pytest

from studies.nominal.bias import bias
from studies.nominal.desk import Desk
from studies.nominal.stability import stabilising_resistance, stability
from tests.made.said import words
from tests.made.studies import study_with

BIASED: dict[str, Any] = {
    "scheme.kind": "biased",
    "candidates": {"phase_pickup_a": [0.1], "first_slope": [0.2]},
}
TWO_SLOPES: dict[str, Any] = BIASED | {
    "scheme.bias_form": "greater_of",
    "candidates.second_slope": [0.8],
    "candidates.turning_point_a": [2.0],
}


def said(changes: dict[str, Any]) -> str:
    desk = Desk(study_with(changes))
    return words([*stability(desk), *stabilising_resistance(desk), *bias(desk)])


@pytest.mark.parametrize(
    ("changes", "row"),
    [
        # load 1312 / 1500 = 0.8748 A, bias 0.2 of it = 0.175 A; through fault 3.499 A, 0.6998
        # A; x = I R / E
        ({}, "0.2 0.1 0.275 all (x = 1.38) 0.8 22.9"),
        (
            {"scheme.bias_form": "greater_of"},
            "0.2 0.1 0.175 87.6 % 0.7 20",
        ),
        (
            {"scheme.bias_form": "greater_of", "candidates.phase_pickup_a": [0.2]},
            "0.2 0.2 0.2 all (x = 1) 0.7 20",
        ),
        (
            {"scheme.bias_current": "sum"},
            "0.2 0.1 0.45 all (x = 2.25) 1.5 42.9",
        ),
        (
            {"scheme.bias_current": "largest"},
            "0.2 0.1 0.275 all (x = 1.38) 0.8 22.9",
        ),
        # above 2 A half: 0.1 + 0.2 x 3.499 + 0.3 x 1.499 = 1.25 A
        (
            {"candidates.second_slope": [0.5], "candidates.turning_point_a": [2.0]},
            "0.2, 0.5 above 2 A 0.1 0.275 all (x = 1.38) 1.25 35.7",
        ),
    ],
)
def test_bias_by_hand(changes: dict[str, Any], row: str) -> None:
    text = said(BIASED | changes)
    assert row in text
    assert "Stabilising voltage" not in text  # nothing to stabilise
    assert "Four-wire" not in text


def test_no_word_of_bias_without_any() -> None:
    assert "iased" not in said({"candidates.earth_pickup_a": [0.02]})


def test_the_slope_that_there_is_by_hand() -> None:
    # far_fault sqrt(3) / (0.2 + 0.2 + 0.8) x 1312 A / 1500 = 1.263 A, below the turning point;
    # near_fault (0.2 x 3.499 + 0.6 x 1.499) / 3.499 = 0.457
    text = said(TWO_SLOPES)
    assert "I_b: 0.875 A rated load; 1.26 A far_fault; 3.5 A near_fault" in text
    assert "slope 0.875 A 1.26 A 3.5 A limit 0.2, 0.8 above 2 A 0.20 0.20 0.46 0.80" in text


def test_the_ratio_with_the_pick_up_on_top() -> None:
    # 0.1 A on top: 0.2 + 0.1 / 0.8748 = 0.31, 0.2 + 0.1 / 3.499 = 0.23
    text = said(BIASED)
    assert "slope 0.875 A 1.26 A 3.5 A limit 0.2 0.31 0.28 0.23 0.20" in text
    # I_b of both ends: half of the pick-up's part
    text = said(BIASED | {"scheme.bias_current": "sum"})
    assert "slope 1.75 A 2.53 A 7 A limit 0.2 0.26 0.24 0.21 0.20" in text


def test_one_table_for_schemes_whose_elements_are_alike() -> None:
    own = {
        "name": "own",
        "legs": [{"name": "one", "cts": ["neutral_end.L1", "-line_end.L1"]}],
        "elements": [
            {"leg": "one", "setting": "phase", "bias_cts": ["neutral_end.L1", "line_end.L1"]}
        ],
    }
    text = said(BIASED | {"scheme": {"kind": ["biased", "own"], "custom": [own]}})
    assert text.count("I_d / I_b at a pick-up") == 1
    assert "biased, own, phase: I_d / I_b at a pick-up of 0.1 A" in text
