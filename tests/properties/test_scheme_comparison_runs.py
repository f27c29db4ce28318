"""Schemes on the same samples: what one misses and another catches, in whole small runs."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from montecarlo import Result, run_study
from montecarlo.engine.workers import Workers
from montecarlo.estimates.verdicts import Verdict
from montecarlo.study.description import Study
from studies.report.terminal import lines
from studies.schemes.frames import ALL_TYPES, caught_rows, difference_rows, scheme_rows
from studies.schemes.run import findings
from tests.made.custom_schemes import REBUILT
from tests.made.said import words
from tests.made.studies import study_with

SMALL: dict[str, Any] = {
    "study.kind": "scheme_comparison",
    "study.samples": 128,
    "study.installations": 16,
    "study.earth_fault_samples": 32,
    "policy.p_false_max": 0.5,
    "backup": {"neutral_voltage": {"pickup_percent": 10, "delay_s": 0.3}},
}
THREE: dict[str, Any] = {
    "scheme": {
        "kind": ["per_phase", "two_phase_one_earth", "restricted_earth_fault"],
        "watched_phases": ["L1", "L3"],
    },
    "ct.neutral_conductor": {},
    "candidates.earth_pickup_a": [0.05, 0.1],
    "candidates.stabilising_resistance_ohm": [300],
}


def compared(study: Study) -> Result:
    return run_study(study, workers=1, by_scheme=True)


@pytest.fixture(scope="module")
def three() -> Result:
    return compared(study_with(SMALL | THREE))


@pytest.fixture(
    scope="module",
    params=["two_phase_one_earth", pytest.param("per_phase", marks=pytest.mark.slow)],
)
def twice(request: pytest.FixtureRequest) -> Result:
    """A built-in scheme and the same written as the study's own."""
    kind = request.param
    grid: dict[str, Any] = {"phase_pickup_a": [0.1, 0.2], "stabilising_resistance_ohm": [0, 300]}
    return compared(
        study_with(
            SMALL
            | {
                "scheme": {
                    "kind": [kind, "mine"],
                    "watched_phases": ["L2", "L3"],
                    "custom": [REBUILT[kind](("L2", "L3"))],
                },
                "candidates": (
                    grid
                    | ({"earth_pickup_a": [0.05, 0.1]} if kind == "two_phase_one_earth" else {})
                ),
            }
        )
    )


def test_of_two_schemes_that_are_electrically_equal_neither_catches_what_the_other_misses(
    twice: Result,
) -> None:
    caught = caught_rows(twice.outcome)
    assert len(caught) == 2 * (4 + 1)
    assert (caught["p"] == 0).all()
    gaps = difference_rows(twice.outcome)
    assert set(gaps["quantity"]) == {"p_missed", "p_false", "p_nobody"}
    assert (gaps["difference"] == 0).all()
    assert (gaps["verdict"] == Verdict.ALIKE).all()
    text = words(findings(twice, Workers(1)).text)
    assert "No significant difference in missed faults: " in text
    assert "Fewest" not in text


def test_the_two_ways_differ_by_the_difference_of_the_misses(three: Result) -> None:
    """By type and in all, whatever is sampled."""
    caught = caught_rows(three.outcome).set_index(["missed_by", "caught_by", "type"])["p"]
    gaps = difference_rows(three.outcome).set_index(["scheme", "minus", "quantity"])["difference"]
    types = three.by_type.set_index(["candidate", "type"])["p"]
    numbers = scheme_rows(three).set_index("scheme")["candidate"]
    for one, other, kind in caught.index:
        both = caught[one, other, kind] - caught[other, one, kind]
        gap = (
            gaps[one, other, "p_missed"]
            if kind == ALL_TYPES
            else (types[numbers[one], kind] - types[numbers[other], kind])
        )
        assert both == pytest.approx(gap, abs=1e-12)


def test_a_restricted_earth_fault_element_alone_leaves_the_faults_between_phases_to_the_others(
    three: Result,
) -> None:
    caught = caught_rows(three.outcome).set_index(["missed_by", "caught_by", "type"])
    row = caught.loc[("restricted_earth_fault", "per_phase", "phase_phase")]
    missed = three.by_type.set_index(["candidate", "type"])["p"]
    number = scheme_rows(three).set_index("scheme").loc["per_phase", "candidate"]
    assert row["p"] == pytest.approx(
        1 - missed[number, "phase_phase"], abs=0.02
    )  # its spill alone, by errors of CTs
    assert row["p"] > 0.5
    assert caught.loc[("two_phase_one_earth", "per_phase", ALL_TYPES), "p"] < row["p"]


def test_intervals_hold_their_estimates_and_years_add_up(three: Result) -> None:
    caught = caught_rows(three.outcome)
    assert ((caught["p_low"] <= caught["p"]) & (caught["p"] <= caught["p_high"])).all()
    every = caught["type"] == ALL_TYPES
    sums = caught[~every].groupby(["missed_by", "caught_by"])["per_year"].sum()
    assert caught[every].set_index(["missed_by", "caught_by"])[
        "per_year"
    ].to_dict() == pytest.approx(sums.to_dict())


def test_differences_are_those_of_the_table_and_turn_their_sign_with_the_pair(
    three: Result,
) -> None:
    gaps = difference_rows(three.outcome).set_index(["scheme", "minus", "quantity"])
    rows = scheme_rows(three).set_index("scheme")
    for (one, other, quantity), row in gaps.iterrows():
        assert row["difference"] == pytest.approx(-gaps.loc[(other, one, quantity), "difference"])
        assert row["low"] == pytest.approx(-gaps.loc[(other, one, quantity), "high"])
        assert row["difference"] == pytest.approx(
            rows.loc[one, quantity] - rows.loc[other, quantity], abs=1e-9
        )


def test_a_scheme_without_a_setting_is_told_and_stands_in_no_pair() -> None:
    none = compared(
        study_with(
            SMALL
            | THREE
            | {
                "scheme.kind": ["per_phase", "two_phase_one_earth", "biased"],
                "candidates.first_slope": [0.5],
                "candidates.earth_pickup_a": [0.0001],
            }
        )
    )
    schemes = scheme_rows(none).set_index("scheme")
    assert not schemes.loc["two_phase_one_earth", "has_best"]
    assert np.isnan(schemes.loc["two_phase_one_earth", "p_missed"])
    assert schemes.loc["two_phase_one_earth", "note"]
    caught = caught_rows(none.outcome)
    assert {*caught["missed_by"]} == {*schemes.index[schemes["has_best"]]}
    text = words(findings(none, Workers(1)).text)
    assert "No setting of two phase elements and an earth element can be chosen" in text


def test_every_file_is_there_and_the_text_fits(three: Result) -> None:
    found = findings(three, Workers(1))
    assert {"schemes", "scheme_differences", "caught_by_other", "candidates"} <= set(found.frames)
    assert {"schemes", "caught_by_other", "schemes_protected_winding", "tradeoff"} <= set(
        found.figures
    )
    assert max(map(len, lines(found.text, 80))) <= 80
    assert "nan" not in words(found.text).split()
    assert list(found.frames["schemes"]["scheme"]) == list(three.study.scheme.kinds)
    assert found.frames["schemes"]["chosen"].sum() == 1
