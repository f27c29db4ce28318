"""How many weighted samples a fresh batch has, from what an earlier one saw of the candidates that
matter."""

from __future__ import annotations

import pytest

from montecarlo.engine.enlarging import MOST_TIMES, enlarged, plans
from montecarlo.engine.rare import Known
from montecarlo.estimates.rare import BATCH, HITS, Seen, Why
from montecarlo.study.axes import Setting
from studies.report.notes import sentence

OWN, NEAR = 8192, "external.near_fault"
ONE, OTHER = (Setting("per_phase", pickup, None, 0.0, 0.0) for pickup in (0.1, 0.2))


def seen(effective: float, largest: float = 0.01, lost: float = 0.0) -> Seen:
    return Seen(OWN, 3e-4, effective, largest, lost)


def known(
    one: Seen, other: Seen | None = None, decides: tuple[Setting, ...] = (ONE, OTHER)
) -> Known:
    return Known(
        {},
        {NEAR: {ONE: one} if other is None else {ONE: one, OTHER: other}},
        {NEAR: frozenset(decides)},
    )


def test_hits_in_proportion() -> None:
    plan = plans(known(seen(100.0)), [ONE], OWN)[NEAR]
    assert plan.samples % BATCH == 0
    assert HITS <= plan.seen.steady_hits * plan.samples / OWN < HITS * 1.02
    assert plan.samples == plan.wanted
    assert plan.seen.expected(plan.samples).trust.why is Why.GOOD


def test_enough_stays_as_it_is() -> None:
    assert plans(known(seen(HITS + 1)), [ONE], OWN) == {}
    # the precision asks for more already
    assert plans(known(seen(100.0)), [ONE], 3 * OWN) == {}


@pytest.mark.parametrize("lost", [seen(0.0), seen(100.0, lost=0.2)])
def test_what_more_samples_would_not_mend(lost: Seen) -> None:
    assert plans(known(lost), [ONE], OWN) == {}


def test_only_candidates_that_matter_and_events_that_decide() -> None:
    both = known(seen(150.0), seen(60.0))
    assert plans(both, [ONE, OTHER], OWN)[NEAR].setting == OTHER
    assert plans(both, [ONE], OWN)[NEAR].setting == ONE
    assert plans(known(seen(150.0), seen(60.0), decides=(ONE,)), [OTHER], OWN) == {}


def test_one_large_sample_does_not_set_the_size_but_must_pass() -> None:
    """19 effective hits, one sample a fifth of them: some 75 without it. The size lets the plain
    number pass too."""
    plan = plans(known(seen(19.0, 0.21)), [ONE], OWN)[NEAR]
    assert plan.wanted < OWN * HITS / 19.0 / 2
    assert plan.seen.expected(plan.samples).trust.why is Why.GOOD


def test_the_limit_binds_and_is_told() -> None:
    short = plans(known(seen(15.0)), [ONE], OWN)
    assert short[NEAR].samples == MOST_TIMES * OWN < short[NEAR].wanted
    (text,) = map(sentence, enlarged(short, OWN, [OTHER, ONE], ""))
    assert text.startswith(
        "external.near_fault: the independent sample has 65536 weighted samples instead of 8192."
        " Candidate 2 would have some 15 effective hits in 8192 samples; steady limits need 200."
    )
    assert f"{short[NEAR].wanted} would be needed; at most 8 times the study's own" in text


def test_where_the_limit_leaves_too_few_hits_nothing_is_spent_and_that_is_told() -> None:
    hopeless = plans(known(seen(5.0)), [ONE], OWN)
    assert hopeless[NEAR].samples == OWN
    (text,) = map(sentence, enlarged(hopeless, OWN, [ONE], "wet"))
    assert text.startswith(
        "external.near_fault, wet: the independent sample has 8192 weighted samples, too few"
    )
    assert "at most 8 times" in text
