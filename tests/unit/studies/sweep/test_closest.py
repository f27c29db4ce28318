"""What comes closest where nothing can be chosen."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from montecarlo.frames.closest import two_digits_up
from studies.sweep.closest import closest_of_each, closest_text
from tests.made import results
from tests.unit.studies.sweep.test_result_text import finished

if TYPE_CHECKING:
    from montecarlo import Result


def nothing(frame: Any, **policy: float) -> Result:
    return finished(frame, policy=policy or {"p_false_max": 0.001})


def test_the_closest_is_told_with_its_figures_and_the_limit_that_it_would_meet() -> None:
    frame = results.candidates(ohms=(300.0,), kinds=("two_phase_one_earth",))
    frame = frame.assign(
        p_false_bound=0.01 + frame["p_missed"], limit_used=10 + 1e3 * frame["p_missed"]
    )
    best = frame.sort_values("p_missed").iloc[0]
    (row,) = nothing(frame).closest.to_dict("records")
    assert (row["candidate"], row["p_missed"]) == (best["candidate"], best["p_missed"])
    assert row["limit"] == 0.001
    assert row["p_false_bound"] <= row["would_meet"] < 1.1 * row["p_false_bound"]
    text = " ".join(closest_text(nothing(frame).study, nothing(frame).closest))
    assert f"Closest of two phase elements and an earth element: no. {best['candidate']}," in text
    assert (
        f"It would meet p_false_max = {row['would_meet']:g} with 95 % confidence; "
        "the policy's limit is 0.001." in text
    )
    assert "in the selection sample, which makes it look better than it is." in text
    fresh = nothing(frame.assign(batch=2)).closest
    assert "The figures are of an independent sample, on which it then failed." in " ".join(
        closest_text(nothing(frame).study, fresh)
    )


def test_a_scheme_without_a_usable_candidate_says_so() -> None:
    frame = results.candidates(kinds=("two_phase_one_earth",)).assign(usable=False)
    (text,) = closest_text(nothing(frame).study, nothing(frame).closest)
    assert "nothing; none of 24 candidates is usable: 0 operate on load" in text


def test_limits_a_year_are_told_a_year() -> None:
    frame = results.candidates(kinds=("two_phase_one_earth",)).assign(
        p_false_bound=0.02, limit_used=2.4
    )
    (row,) = nothing(frame, false_per_year_max=0.01).closest.to_dict("records")
    assert (row["limit"], row["would_meet"]) == (0.01, 0.024)  # 1.2 events a year


def test_each_of_several_studies_tells_its_closest() -> None:
    result = nothing(results.candidates(kinds=("two_phase_one_earth",)))
    (table,) = closest_of_each({"as stated": result, "finer": result})
    assert [name for name, *_ in table.rows] == ["as stated", "finer"]
    number = result.closest["candidate"].iloc[0]
    assert all(row[-1].startswith(f"no. {number}, two phase elements") for row in table.rows)
    chosen = finished(results.candidates(), chosen=5)
    assert [*closest_of_each({"as stated": chosen})] == []


@pytest.mark.parametrize(
    ("value", "limit"),
    [(0.0123, 0.013), (0.012, 0.012), (0.0991, 0.1), (3e-7, 3e-7), (1.0, 1.0), (0.0, 0.0)],
)
def test_a_limit_of_two_digits_is_never_below_the_bound(value: float, limit: float) -> None:
    assert two_digits_up(value) == pytest.approx(limit)
    assert two_digits_up(value) >= value
