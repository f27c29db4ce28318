"""What a delay buys, of whole runs: the counterpart, its sample and its sentences."""

from __future__ import annotations

from typing import Any

import pytest

from montecarlo.engine.delays import across_the_delay
from montecarlo.engine.run import run
from montecarlo.frames.result import Result
from montecarlo.study.axes import Setting
from studies.sweep.delay import delay_text
from tests.made.clearing import SMALL, part, with_parts
from tests.made.reading import words as count_words
from tests.made.studies import study_with

AT_ONCE, LATER = 0.0, 0.15


def settings(*delays: float) -> list[Setting]:
    return [Setting("per_phase", 0.1 * (k + 1), None, 0.0, delay) for k, delay in enumerate(delays)]


def test_the_counterpart_is_the_best_across_the_delay() -> None:
    first, second, third = settings(LATER, AT_ONCE, AT_ONCE)
    assert across_the_delay((first, second, third), (first, second, third), first) == second
    assert across_the_delay((second, first, third), (first, second, third), second) == first
    assert across_the_delay((first,), (first, second), first) is None
    assert across_the_delay((second, third), (second, third), second) is None


def result(**changes: Any) -> Result:
    delays = {"candidates.delay_s": [AT_ONCE, LATER]}
    return Result(run(study_with(delays | changes), workers=1))


@pytest.fixture(scope="module")
def delayed() -> Result:
    """Any setting may be chosen, and the delay saves false trips alone."""
    return result(**{"policy.p_false_max": 0.9})


def test_a_delayed_choice_stands_beside_the_best_without(delayed: Result) -> None:
    outcome = delayed.outcome
    assert outcome.chosen is not None
    assert outcome.across_delay is not None
    assert outcome.fresh is not None
    assert (outcome.chosen.delay_s, outcome.across_delay.delay_s) == (LATER, AT_ONCE)
    assert outcome.across_delay in outcome.fresh.settings
    name, worth, buys = delay_text(delayed)
    number = outcome.first.settings.index(outcome.across_delay) + 1
    assert name.startswith(f"Best setting without delay: no. {number}, ")
    assert "uncleared" in worth
    assert "external events" in worth
    assert buys.startswith("The delay of 0.15 s buys")


COSTS = {"policy": {"least_annual_cost": {"missed_fault": 1.0, "false_trip": 1e4}}}
NOBODY = with_parts(part("relay", "phase_elements", "earth_element"))


@pytest.mark.parametrize(
    ("more", "cost"), [({}, "cost."), (NOBODY, "cost of missed faults and false trips.")]
)
def test_a_cost_is_named_in_full_where_there_is_a_total_cost_too(
    more: dict[str, Any], cost: str
) -> None:
    *_, last = delay_text(result(**(SMALL | COSTS | more)))
    assert last.startswith("The delay of 0.15 s buys")
    assert last.endswith(f" {cost}")


def test_its_sentences_are_short(delayed: Result) -> None:
    for text in delay_text(delayed):
        for sentence in text.split(". "):
            assert count_words(sentence) <= 30, sentence


@pytest.mark.slow
def test_one_delay_has_nothing_to_say() -> None:
    one = result(**{"candidates.delay_s": [LATER], "policy.p_false_max": 0.9})
    assert one.chosen is not None
    assert one.outcome.across_delay is None
    assert not [*delay_text(one)]
