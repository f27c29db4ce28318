"""The conclusion of a comparison of schemes: what it may say of which intervals."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from studies.schemes.text import conclusion
from tests.made import schemes
from tests.made.studies import REMOVE, faults_of


def said(hidden: float = 0.0, width: float = 0.003, **options: Any) -> str:
    frame = schemes.schemes(**options)
    found = conclusion(
        None, frame, schemes.differences(frame, width), schemes.caught(frame, hidden)
    )
    assert 3 <= sum(text.count(". ") + 1 for text in found) <= 7
    return " ".join(found)


def test_the_best_is_named_with_its_limits_and_the_others_with_their_differences() -> None:
    text = said()
    assert text.startswith(
        "two_phase_one_earth misses least, 15.6 % (15.4 to 15.8 %) of the internal faults within "
        "reach. per_phase (+22.1, +21.8 to +22.4), biased (+20.1, +19.8 to +20.4), "
    )
    assert "second_cores (+5.9, +5.6 to +6.2) miss more." in text


def test_where_the_interval_holds_0_none_is_said_to_miss_least() -> None:
    text = said(width=0.1)
    assert text.startswith(
        "two_phase_one_earth misses 15.6 % (15.4 to 15.8 %) of the internal faults within reach; "
        "not distinguishable from it: second_cores. per_phase (+22.1, "
    )
    text = said(width=0.5)
    assert (
        "within reach; not distinguishable from it: per_phase, biased, restricted_earth_fault and"
        " second_cores. In false" in text
    )
    assert "miss more" not in text
    assert "least" not in text


def test_false_trips_are_told_apart_by_their_own_differences() -> None:
    text = said(width=0.001)
    assert (
        "In false trips two_phase_one_earth is not distinguishable from biased and second_cores; it"
        " trips more often than per_phase (-0.13, -0.23 to -0.03) and restricted_earth_fault"
        " (-0.13, -0.23 to -0.03)." in text
    )


def test_what_the_best_misses_and_another_catches_is_told_only_where_it_is_above_0() -> None:
    text = said()
    assert (
        "No more than 0.4 % of the internal faults are missed by two_phase_one_earth and caught by"
        " any one of the others. Missed by second_cores and caught by two_phase_one_earth are 5.9 %"
        " (5.31 to 6.89 %), among them 7.08 % (6.37 to 8.19 %) of the earth faults." in text
    )
    text = said(hidden=0.01)
    assert (
        "Of the internal faults 1 % (0.9 to 1.5 %) are missed by two_phase_one_earth and caught by"
        " per_phase, among them 1.2 % (1.08 to 1.72 %) of the earth faults. Missed by per_phase and"
        " caught by " in text
    )


def test_with_a_back_up_it_is_said_what_nobody_catches() -> None:
    assert (
        "With the back-up in the neutral nobody catches 5 % (4.8 to 5.2 %) with two_phase_one_earth"
        " and 16 % (15.8 to 16.2 %) with restricted_earth_fault; not distinguishable from the"
        " first: per_phase, biased and second_cores." in said(backup=True)
    )
    assert "nobody" not in said()


def test_a_scheme_that_has_no_setting_is_named_with_the_reason() -> None:
    text = said(without=("biased",))
    assert text.endswith("No setting of biased can be chosen (operates on load).")
    assert "biased (" not in text


def test_one_scheme_or_none_is_left() -> None:
    frame = schemes.schemes(2, without=("per_phase",))
    one = conclusion(None, frame, schemes.differences(frame), schemes.caught(frame))
    assert one == [
        (
            "Only two_phase_one_earth has a setting that the policy allows; it misses 15.6 % (15.4"
            " to 15.8 %) of the internal faults within reach."
        ),
        "No setting of per_phase can be chosen (operates on load).",
    ]
    frame = schemes.schemes(2, without=("per_phase", "two_phase_one_earth"))
    none = conclusion(None, frame, schemes.differences(frame), schemes.caught(frame))
    assert none[0] == "No scheme has a setting that the policy allows."
    assert len(none) == 3


def test_where_costs_decide_they_are_compared() -> None:
    frame = schemes.schemes(2).assign(
        cost_per_year=[2100.0, 1000.0],
        cost_per_year_low=[2000.0, 900.0],
        cost_per_year_high=[2200.0, 1100.0],
    )
    rows = schemes.differences(frame)
    gap = rows[rows["quantity"] == "p_missed"].assign(
        quantity="cost_per_year", difference=1100, low=1000, high=1200
    )
    text = " ".join(conclusion("EUR", frame, pd.concat([gap, rows]), schemes.caught(frame)))
    assert text.startswith(
        "per_phase costs least, 1,000 EUR a year (900 to 1,100). two_phase_one_earth "
        "(+1,100 EUR a year, +1,000 to +1,200) costs more."
    )


# --- at the door --------------------------------------------------------------

TWO = {"study.kind": "scheme_comparison", "scheme.kind": ["two_phase_one_earth", "per_phase"]}


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        (
            {"scheme.kind": "two_phase_one_earth"},
            (
                "study.kind: scheme_comparison needs at least two schemes in scheme.kind; name"
                " another, or take setting_sweep"
            ),
        ),
        (
            {"study.compare_remanence_models": True},
            (
                "study.compare_remanence_models: true together with scheme_comparison; "
                "take it out, or run both models as setting_sweep"
            ),
        ),
    ],
)
def test_what_cannot_be_compared_is_refused(changes: dict[str, Any], fault: str) -> None:
    assert faults_of(TWO | changes) == (fault,)
    assert faults_of(TWO | {"policy.p_false_max": REMOVE}) != (fault,)
