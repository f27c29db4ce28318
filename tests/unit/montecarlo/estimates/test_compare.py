"""Paired differences of two candidates and whether they show anything; what refuses the next better
candidate."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from scipy import stats

from montecarlo.engine.run import Outcome
from montecarlo.estimates.assemble import Gathered
from montecarlo.estimates.choose import Judgement
from montecarlo.estimates.compare import differences
from montecarlo.estimates.intervals import Estimate
from montecarlo.estimates.totals import Total
from montecarlo.estimates.verdicts import Verdict, verdict_of
from montecarlo.frames.choosing import hinge
from studies.report.refusals import because
from tests.made.studies import study_with

INSTALLATIONS, EVENTS = 32, 16


def counted(name: str, hits: Any) -> Gathered:
    """Hits (C, M) of 16 events on each of 32 installations."""
    hits = np.asarray(hits, float)
    return Gathered(
        name,
        hits,
        np.full(INSTALLATIONS, float(EVENTS)),
        np.zeros(hits.shape),
        None,
        None,
        None,
        None,
    )


def test_a_difference_weighs_its_types_as_the_study_does() -> None:
    # The paired t interval of SciPy on the installations' own differences, weighted by the events'
    # rates 0.2 and 1 a year: with some hundred events the limits lie close to it, and outside.
    rng = np.random.default_rng(5)
    near, far = rng.integers(0, 6, (2, INSTALLATIONS)), rng.integers(0, 3, (2, INSTALLATIONS))
    strata = {
        f"internal.{kind}": counted(kind, near)
        for kind in ("earth", "phase_phase", "phase_phase_earth", "three_phase")
    }
    strata |= {
        "external.near_fault": counted("near", near),
        "external.far_fault": counted("far", far),
    }
    gaps = differences(study_with(), strata, 1, 0)
    each = (0.2 * near + 1.0 * far) / 1.2 / EVENTS
    limits = stats.ttest_rel(each[1], each[0]).confidence_interval(0.95)
    assert gaps["p_false"].p == pytest.approx(np.mean(each[1] - each[0]), rel=1e-9)
    assert gaps["p_false"].low < limits.low
    assert gaps["p_false"].high > limits.high
    assert gaps["p_false"].high - gaps["p_false"].low < 1.2 * (limits.high - limits.low)
    assert gaps["p_missed"].p == pytest.approx(np.mean(near[1] - near[0]) / EVENTS)


@pytest.mark.parametrize(
    ("low", "high", "apart"),
    [
        (0.1, 0.2, True),
        (-0.2, -0.1, True),
        (-0.1, 0.1, False),
        (0.0, 0.0, False),
        (0.0, 0.1, False),
        (np.nan, np.nan, False),
    ],
)
def test_zero_inside_the_interval_tells_nothing_apart(low: float, high: float, apart: bool) -> None:
    gap = Estimate(*(np.asarray(value) for value in ((low + high) / 2, low, high)))
    assert verdict_of(gap) is (Verdict.APART if apart else Verdict.ALIKE)


def outcome(policy: dict[str, Any], chosen: int, **other: Any) -> Outcome:
    """Four candidates that miss 10, 20, 20 and 40 %, judged as stated; settings are their
    places."""
    missed, false = (
        np.array([0.1, 0.2, 0.2, 0.4]),
        other.pop("false", np.array([0.3, 0.02, 0.01, 0.0])),
    )
    parts = {
        "load_share": np.zeros(4),
        "knee_rule": np.full(4, True),
        "allowed": np.full(4, True),
        "bound": 1.5 * false,
        "usable": np.full(4, True),
        "limit_used": np.zeros(4),
    } | other
    judged = Judgement(
        missed=Total(missed, missed, missed),
        false=Total(false, false, false),
        open_ct_circuit_share=np.zeros(4),
        unresolved=np.zeros(4),
        **parts,
    )
    first = SimpleNamespace(
        judgement=judged, verdict=judged, assumption_sets={}, settings=[0, 1, 2, 3], number=1
    )
    first.verdict_of_all = lambda: judged
    first.part_of = lambda setting: first
    return cast(
        "Outcome",
        SimpleNamespace(
            study=study_with(policy=policy),
            chosen=chosen,
            first=first,
            settings=first.settings,
            batch_of=lambda setting: first,
        ),
    )


LIMIT = {"p_false_max": 0.01}


@pytest.mark.parametrize(
    ("policy", "chosen", "other", "number", "reason"),
    [
        (
            LIMIT,
            3,
            {"allowed": np.array([False, False, False, True])},
            3,
            "its false trips are bounded by 1.5 %, and the policy allows 1 %",
        ),  # of two that miss 20 %
        (
            {"false_per_year_max": 0.01},
            3,
            {"allowed": np.array([False, False, False, True])},
            3,
            "its false trips are bounded by 0.018 a year, and the policy allows 0.01 a year",
        ),  # 1.2 events a year
        (
            LIMIT,
            3,
            {
                "allowed": np.array([False, False, False, True]),
                "false": np.zeros(4),
                "bound": np.full(4, 0.02),
            },
            2,
            (
                "its false trips are bounded by 2 %, and the policy allows 1 %; none was seen, so"
                " more samples may admit it"
            ),
        ),
        (
            LIMIT,
            2,
            {"load_share": np.array([0.25, 0, 0, 0])},
            1,
            "it operates in 25 % of the sampled loads",
        ),
        (
            LIMIT,
            2,
            {"knee_rule": np.array([False, True, True, True])},
            1,
            "its setting drives more than half the knee voltage through its relay circuit",
        ),
        (
            LIMIT | {"ignore_knee_rule": True},
            2,
            {"knee_rule": np.array([False, True, True, True])},
            1,
            "it did not keep to the policy on an independent sample",
        ),
        (LIMIT, 2, {}, 1, "it did not keep to the policy on an independent sample"),
    ],
)
def test_the_next_better_candidate_and_the_rule_that_refused_it(
    policy: dict[str, Any], chosen: int, other: dict[str, Any], number: int, reason: str
) -> None:
    found = hinge(outcome(policy, chosen, **other))
    assert found is not None
    assert (found.candidate, because(found)) == (number, reason)


def test_the_best_of_all_hinges_on_nothing() -> None:
    assert hinge(outcome(LIMIT, 0)) is None
