"""What an assumption set would choose by itself, and by how much the study's choice is worse
there."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pandas as pd
import pytest

from montecarlo.engine.run import Outcome
from montecarlo.estimates.verdicts import Verdict
from montecarlo.frames.robustness import assumption_set_choices
from montecarlo.study.assumption_sets import AS_STATED
from tests.unit.montecarlo.estimates.test_robust import judged


def outcome(chosen: int | None, **assumption_sets: Any) -> Outcome:
    """Three candidates, of which the study as stated likes the first best."""
    stated = judged([0.1, 0.2, 0.3], [0, 0, 0])
    first = SimpleNamespace(
        judgements={AS_STATED: stated, **assumption_sets},
        assumption_sets=assumption_sets,
        settings=[0, 1, 2],
    )
    return cast("Outcome", SimpleNamespace(first=first, chosen=chosen, settings=first.settings))


def test_each_assumption_set_has_its_own_choice_and_the_regret_of_the_study_s() -> None:
    rows = assumption_set_choices(outcome(1, hard=judged([0.9, 0.5, 0.6], [0.1, 0, 0]))).set_index(
        "assumption_set"
    )
    assert list(rows.index) == ["as stated", "hard"]
    assert rows["candidate"].tolist() == [1, 2]
    assert rows["chosen"].tolist() == [2, 2]
    assert rows["regret"].tolist() == pytest.approx([0.1, 0.0])
    assert rows.loc["hard", "verdict"] is Verdict.ITSELF
    assert rows.loc["hard", ["regret_low", "regret_high"]].tolist() == [0, 0]


def test_the_limits_of_a_regret_are_those_of_independent_estimates() -> None:
    # limits a tenth to either side: 0.02 of 0.2 and 0.01 of 0.1, root of the squares 0.02236
    row = assumption_set_choices(outcome(1, hard=judged([0.9, 0.5, 0.6], [0.1, 0, 0]))).iloc[0]
    assert row["regret_low"] == pytest.approx(0.1 - np.hypot(0.02, 0.01))
    assert row["regret_high"] == pytest.approx(0.1 + np.hypot(0.02, 0.01))
    assert row["verdict"] is Verdict.APART
    close = assumption_set_choices(outcome(1, near=judged([0.19, 0.2, 0.3], [0, 0, 0]))).iloc[1]
    assert close["verdict"] is Verdict.ALIKE


def test_costs_are_regretted_where_the_policy_weighs_them() -> None:
    row = assumption_set_choices(
        outcome(0, dear=judged([0.1, 0.2, 0.3], [0, 0, 0], [9, 4, 5]))
    ).iloc[1]
    assert (row["quantity"], row["candidate"], row["regret"]) == ("cost_per_year", 2, 5.0)


def test_an_assumption_set_that_allows_nothing_and_a_study_without_a_choice_have_empty_cells() -> (
    None
):
    nothing = judged([0.1, 0.2, 0.3], [0, 0, 0], allowed=np.zeros(3, bool))
    row = assumption_set_choices(outcome(None, none=nothing)).iloc[1]
    assert pd.isna(row["candidate"])
    assert pd.isna(row["chosen"])
    assert pd.isna(row["regret"])
    assert assumption_set_choices(outcome(0)).empty
