"""The conclusion of a comparison of schemes: what it may say of which intervals."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from studies.schemes.text import answer, further, gaps_table
from tests.made import schemes
from tests.made.studies import REMOVE, faults_of, study_with

STUDY = study_with()
COSTS = {"least_annual_cost": {"missed_fault": 2e6, "false_trip": 8e4, "unit": "EUR"}}
NAMES = ("one element per phase", "one biased element per phase", "restricted earth fault")


def said(hidden: float = 0.0, width: float = 0.003, **options: Any) -> str:
    frame = schemes.schemes(**options)
    differences = schemes.differences(frame, width)
    return " ".join(
        [
            *answer(STUDY, frame, differences),
            *further(None, frame, differences, schemes.caught(frame, hidden)),
        ]
    )


def gaps(width: float) -> dict[str, tuple[str, ...]]:
    frame = schemes.schemes()
    (table,) = gaps_table(None, frame, schemes.differences(frame, width))
    assert table.header[0] == "other scheme minus the best"
    return {name: cells for name, *cells in table.rows}


def test_the_best_comes_first_with_its_setting_and_its_limits() -> None:
    assert said().startswith(
        "Fewest missed faults: two phase elements and an earth element, no. 1, phase 0.1 A, earth"
        " 0.02 A, 0 ohm, no delay. Dependability: it leaves 15.6 % (15.4 to 15.8 %) of"
        " the faults in its scope uncleared: 0.00154 a year (0.00152 to 0.00156), one in 648 years."
    )


def test_the_others_stand_beside_it_with_their_differences() -> None:
    found = gaps(0.003)
    assert found["one element per phase"] == ["+22.1 (+21.8 to +22.4)", "-0.13 (-0.43 to +0.17)"]
    assert found["second cores"][0] == "+5.9 (+5.6 to +6.2)"
    assert len(found) == 4


def test_where_the_interval_holds_0_none_is_said_to_miss_least() -> None:
    text = said(width=0.1)
    assert text.startswith("Best estimate: two phase elements")
    assert "No significant difference in missed faults: second cores." in text
    text = said(width=0.5)
    assert f"No significant difference in missed faults: {', '.join(NAMES)} and second" in text
    assert "ewest" not in text


def test_false_trips_are_judged_by_their_own_differences() -> None:
    assert (
        "No significant difference in false trips: one biased element per phase and second cores."
        " The best scheme has more false trips than one element per phase and restricted earth"
        " fault." in said(width=0.001)
    )


def test_what_the_best_misses_and_another_catches_is_told_only_where_it_is_above_0() -> None:
    text = said()
    assert (
        "Missed by two phase elements and an earth element and caught by any one other scheme: at"
        " most 0.4 % of the internal faults. Missed by second cores and caught by two phase"
        " elements and an earth element: 5.9 % (5.31 to 6.89 %) of the internal faults. Of the"
        " earth faults alone: 7.08 % (6.37 to 8.19 %)." in text
    )
    text = said(hidden=0.01)
    assert (
        "Missed by two phase elements and an earth element and caught by one element per phase: 1 %"
        " (0.9 to 1.5 %) of the internal faults. Of the earth faults alone: 1.2 % (1.08 to 1.72 %)."
        " Missed by one element per phase and caught by " in text
    )


def test_with_a_back_up_it_is_said_what_nothing_clears() -> None:
    assert (
        "Internal faults that neither the scheme nor the neutral back-up clears: 5 % (4.8 to 5.2 %)"
        " with two phase elements and an earth element. The most are 16 % (15.8 to 16.2 %) with"
        " restricted earth fault. No significant difference from the first: one element per"
        " phase, one biased element per phase and second cores." in said(backup=True)
    )
    assert "back-up" not in said()


def test_a_scheme_that_has_no_setting_is_named_with_the_reason() -> None:
    text = said(without=("biased",))
    assert text.endswith(
        "No setting of one biased element per phase can be chosen: operates on load."
    )


def test_one_scheme_or_none_is_left() -> None:
    frame = schemes.schemes(2, without=("per_phase",))
    none = schemes.differences(frame), schemes.caught(frame)
    first, *_ = answer(STUDY, frame, none[0])
    assert first.startswith("The only scheme with a setting that the policy allows: two phase")
    assert [*further(None, frame, *none)] == [
        "No setting of one element per phase can be chosen: operates on load."
    ]
    assert [*gaps_table(None, frame, none[0])] == []
    frame = schemes.schemes(2, without=("per_phase", "two_phase_one_earth"))
    assert [*answer(STUDY, frame, none[0])] == ["No scheme has a setting that the policy allows."]
    assert len([*further(None, frame, *none)]) == 2


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
    both = pd.concat([gap, rows])
    text = " ".join(answer(study_with(policy=COSTS), frame, both))
    assert text.startswith("Lowest cost: one element per phase, no. 2, ")
    assert " It costs 1,000 EUR a year (900 to 1,100). Dependability: it leaves " in text
    (table,) = gaps_table("EUR", frame, both)
    assert table.header[-1] == "EUR a year"
    assert table.rows[0][-1] == "+1,100 (+1,000 to +1,200)"


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
