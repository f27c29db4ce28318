"""Several studies on common random numbers, and the best setting of every scheme in one run."""

from __future__ import annotations

from typing import Any

import pytest

from montecarlo.engine.run import run
from montecarlo.engine.side_by_side import run_alternatives
from montecarlo.estimates.compare import Side, differences_of
from tests.made.studies import FEW_TYPES, REMOVE, study_table, study_with

SMALL: dict[str, Any] = FEW_TYPES | {
    "study.samples": 128,
    "study.installations": 16,
    "study.earth_fault_samples": 32,
    "policy.p_false_max": 0.9,
    "relay.pickup_error_percent": 0.0,
}


def test_a_study_does_not_differ_from_itself_and_differs_from_one_with_less_fault_current() -> None:
    studies = {
        "as stated": study_with(SMALL),
        "again": study_with(SMALL),
        "less": study_with(SMALL | {"earthing.resistance_ohm": 200.0}),
    }
    found = run_alternatives(studies, workers=1)
    fresh = [outcome.fresh for outcome in found.outcomes.values() if outcome.fresh is not None]
    assert [batch.round_ for batch in fresh] == [1, 1, 1]
    for gap in found.differences([("as stated", "again")])["as stated", "again"].values():
        assert tuple(map(float, gap)) == (0.0, 0.0, 0.0)
    missed = found.differences([("less", "as stated")])["less", "as stated"]["p_missed"]
    assert missed.low > 0.05
    totals = [batch.judgement.missed.total[0] for batch in fresh]
    assert missed.p == pytest.approx(totals[2] - totals[0], rel=1e-9)


def test_fresh_batches_are_brought_to_one_round_and_choices_stand() -> None:
    strict = study_with(SMALL | {"policy.p_false_max": 1e-9})
    found = run_alternatives({"free": study_with(SMALL), "none": strict}, workers=1)
    assert found.outcomes["none"].chosen is None
    assert found.differences([("free", "none")]) == {}
    assert found.outcomes["free"].chosen is not None


@pytest.mark.slow
def test_every_scheme_has_its_best_setting_in_the_same_fresh_batch() -> None:
    both = SMALL | {"scheme.kind": ["two_phase_one_earth", "per_phase"]}
    outcome = run(study_with(both), workers=1, by_scheme=True)
    assert outcome.fresh is not None
    assert set(outcome.best) == {"two_phase_one_earth", "per_phase"}
    for scheme, best in outcome.best.items():
        assert best is not None
        assert best.scheme == scheme
        assert best in outcome.fresh.settings
        without = {} if scheme != "per_phase" else {"candidates.earth_pickup_a": REMOVE}
        alone = run(study_with(SMALL | {"scheme.kind": scheme} | without), workers=1)
        assert alone.chosen == best
    assert outcome.chosen == min(
        outcome.best.values(),
        key=[outcome.first.settings[k] for k in outcome.first.verdict.order()].index,
    )
    assert outcome.runner_up in set(outcome.best.values()) - {outcome.chosen}


def test_events_of_unlike_rates_weigh_each_side_by_its_own() -> None:
    both = SMALL | {"external_events": study_table()["external_events"]}
    one, other = (study_with(both | {"external_events.0.per_year": rate}) for rate in (0.2, 2.0))
    strata = run(one, workers=1).first.strata
    gap = differences_of(Side(one, strata, 0), Side(other, strata, 0))["p_false"]
    near, far = (strata[f"external.{name}"].estimate().p[0] for name in ("near_fault", "far_fault"))
    assert gap.p == pytest.approx((0.2 * near + far) / 1.2 - (2.0 * near + far) / 3.0, abs=1e-12)
