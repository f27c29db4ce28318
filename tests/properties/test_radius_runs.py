"""How far inputs may be off, of whole runs: against a value by hand, there and back, and what must
not change it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from montecarlo.engine.margins import Margin, Radius, Reason, Unasked
from montecarlo.engine.progress import silent
from montecarlo.engine.radius import HALVINGS, NARROW, NEAR, STEP, radius_of
from montecarlo.engine.run import Outcome, run
from montecarlo.engine.shifted import Again, Resolving
from montecarlo.engine.workers import workers_of
from montecarlo.frames.result import Result
from montecarlo.quantities import half_width
from montecarlo.study.shifts import Way, changed, uncertain_inputs
from studies.sweep.demand import demand_text
from studies.sweep.recommendation import recommendation
from tests.made.studies import REMOVE, faults_of, study_with

CYCLE_S, DELAY_S = 0.02, 0.1
COSTS = {"missed_fault": 1, "false_trip": 1}
KEY = "external_events.through.clearing_time_s"
# Every sample spills far beyond the pick-up, from the fault's beginning to its end
STUDY: dict[str, Any] = {
    "study.samples": 2048,
    "study.earth_fault_samples": 64,
    "study.installations": 32,
    "study.rare_samples": 0,
    "study.radius": True,
    "scheme.kind": "per_phase",
    "internal_faults.shares": {"earth": 0.8, "phase_phase": 0.19, "inter_turn": 0.01},
    "load.current_pu": 0.05,
    "machine.subtransient_reactance_pu": 0.3,
    "machine.transient_reactance_pu": 0.3,
    "machine.synchronous_reactance_pu": 0.3,
    "ct.turns_ratio_error_percent": {"dist": "uniform", "low": -3, "high": 3},
    "ct.knee_voltage_v": 5000,
    "ct.knee_current_a": 1e-5,
    "relay.pickup_error_percent": 0,
    "external_events": [
        {
            "name": "through",
            "kind": "three_phase",
            "per_year": 1,
            "external_reactance_pu": 0.01,
            "external_resistance_pu": 1.0,
            "clearing_time_s": {"dist": "uniform", "low": 0.04, "high": 0.06},
        }
    ],
    "candidates.phase_pickup_a": [0.01],
    "candidates.earth_pickup_a": REMOVE,
    "candidates.stabilising_resistance_ohm": [0],
    "candidates.delay_s": [DELAY_S],
    "policy.p_false_max": 0.01,
}


def outcome(**changes: Any) -> Outcome:
    return run(study_with(STUDY | changes), workers=1)


def margin(found: Radius | None, way: Way = Way.HIGHER) -> Margin:
    """Of the clearing time."""
    assert found is not None
    (one,) = [one for one in found.margins if one.key == KEY and one.way is way]
    return one


@pytest.fixture(scope="module")
def found() -> tuple[Outcome, Radius]:
    done = outcome()
    radius = radius_of(done, workers_of(1), silent)
    assert radius is not None
    return done, radius


def test_the_longest_clearing_time_is_the_one_by_hand(found: tuple[Outcome, Radius]) -> None:
    """An RMS over a cycle stays above a small pick-up for the fault, up to half a cycle to the zero
    of its current, and a cycle: the delay is outlasted from there on."""
    one = margin(found[1])
    assert one.breaks is not None
    longest = one.longest + one.breaks
    assert DELAY_S - 1.5 * CYCLE_S - 0.001 <= longest <= DELAY_S - CYCLE_S + 0.001
    assert margin(found[1], Way.LOWER).breaks is None  # shorter faults trip nothing
    ways = {(each.key, each.way) for each in found[1].margins}
    assert (KEY, Way.WIDER) not in ways  # a fault has one duration: its centre tells all
    assert ("ct.turns_ratio_error_percent", Way.WIDER) in ways  # each CT has its own


def test_the_break_as_new_centre_is_at_the_limit(found: tuple[Outcome, Radius]) -> None:
    """There it is kept, and one step further it is not."""
    done, radius = found
    one = margin(radius)
    assert done.chosen is not None
    assert done.fresh is not None
    assert one.breaks is not None
    (item,) = [item for item in uncertain_inputs(done.study) if item.key == KEY]
    part = max(1, done.study.study.samples // radius.samples)
    again = Resolving(done.study.alone, done.chosen, done.fresh, workers_of(1), part)
    step = max(STEP * half_width(item.distribution), NARROW * one.reach)
    at, beyond = again.used(
        [
            Again(changed(done.study, item, Way.HIGHER, distance), again.names)
            for distance in (one.breaks, one.breaks + 1.01 * step)
        ],
        silent,
        "",
    )
    assert at.bound <= 1
    assert beyond.bound > 1 or at.bound >= 1 - NEAR


@pytest.mark.slow
def test_two_workers_find_the_same(found: tuple[Outcome, Radius]) -> None:
    assert radius_of(found[0], workers_of(2), silent) == found[1]


@pytest.mark.slow
def test_a_wider_input_does_not_break_further_away(found: tuple[Outcome, Radius]) -> None:
    wide = {"dist": "uniform", "low": 0.035, "high": 0.065}
    event = {**STUDY["external_events"][0], "clearing_time_s": wide}
    other = margin(radius_of(outcome(external_events=[event]), workers_of(1), silent))
    near = margin(found[1])
    assert other.breaks is not None
    assert near.breaks is not None
    assert other.breaks <= near.breaks + NARROW * other.reach


def test_nothing_is_sought_without_choice_or_wish(found: tuple[Outcome, Radius]) -> None:
    done, _ = found
    off = study_with(STUDY | {"study.radius": False})
    crew = workers_of(1)
    assert radius_of(replace(done, study=off), crew, silent) is None
    assert radius_of(replace(done, chosen=None), crew, silent) is None


def test_a_limit_that_the_samples_do_not_show_is_said(found: tuple[Outcome, Radius]) -> None:
    done, _ = found
    strict = study_with(STUDY | {"policy.p_false_max": 1e-6})
    none = radius_of(replace(done, study=strict), workers_of(1), silent)
    assert none is not None
    assert none.unasked is Unasked.TOO_FEW
    free = study_with(
        STUDY | {"policy": {"least_annual_cost": {"missed_fault": 1, "false_trip": 1}}}
    )
    none = radius_of(replace(done, study=free), workers_of(1), silent)
    assert none is not None
    assert none.unasked is Unasked.NO_LIMIT


# --- another setting ----------------------------------------------------------

FINE, COARSE = 0.01, 50.0  # A: below every spill, and far above
LONG = {
    "candidates.phase_pickup_a": [FINE, COARSE],
    "external_events": [
        {
            **STUDY["external_events"][0],
            "clearing_time_s": {"dist": "uniform", "low": 0.08, "high": 0.1},
        }
    ],
}


@pytest.fixture(scope="module")
def coarse() -> tuple[Outcome, Radius]:
    """The fine setting trips on these faults, and the coarse one sees little."""
    done = outcome(**LONG)
    assert done.chosen is not None
    assert done.chosen.phase_pickup_a == COARSE
    radius = radius_of(done, workers_of(1), silent)
    assert radius is not None
    return done, radius


def test_the_choice_changes_where_the_fine_setting_no_longer_trips(
    coarse: tuple[Outcome, Radius],
) -> None:
    """By hand, as above: it trips no more where the longest fault ends so long before its delay."""
    one = margin(coarse[1], Way.LOWER)
    assert one.breaks is None
    assert one.change is not None
    assert one.change.reason is Reason.MISSES
    assert one.change.setting is not None
    assert one.change.setting.phase_pickup_a == FINE
    longest, step = one.longest - one.change.distance, one.reach / 2**HALVINGS
    assert DELAY_S - 1.5 * CYCLE_S - 0.001 <= longest <= DELAY_S - CYCLE_S + 0.001 + step
    assert margin(coarse[1], Way.HIGHER).change is None


@pytest.mark.slow
def test_the_change_as_new_centre_changes_the_choice(coarse: tuple[Outcome, Radius]) -> None:
    """Two steps before it the run still chooses alike, and two steps further the other setting."""
    done, radius = coarse
    one = margin(radius, Way.LOWER)
    assert one.change is not None
    (item,) = [item for item in uncertain_inputs(done.study) if item.key == KEY]
    step = one.reach / 2**HALVINGS
    places = (one.change.distance - 2 * step, one.change.distance + 2 * step)
    chosen = [run(changed(done.study, item, Way.LOWER, at), workers=1).chosen for at in places]
    assert [each and each.phase_pickup_a for each in chosen] == [COARSE, FINE]


@pytest.mark.slow
def test_a_larger_margin_is_reached_later_or_never(coarse: tuple[Outcome, Radius]) -> None:
    done, radius = coarse
    wide = done.study.policy.margins.model_copy(update={"missed": 0.999})
    policy = done.study.policy.model_copy(update={"margins": wide})
    study = done.study.model_copy(update={"policy": policy})
    other = radius_of(replace(done, study=study), workers_of(1), silent)
    assert margin(radius, Way.LOWER).change is not None
    assert margin(other, Way.LOWER).change is None


@pytest.mark.slow
def test_two_workers_find_the_same_change(coarse: tuple[Outcome, Radius]) -> None:
    assert radius_of(coarse[0], workers_of(2), silent) == coarse[1]


# --- a radius that the policy demands -----------------------------------------

FEW: dict[str, Any] = {"study.samples": 512}
BOTH = FEW | {"candidates.phase_pickup_a": [FINE, COARSE]}


def test_a_demand_that_the_best_setting_lacks_takes_the_next_one() -> None:
    """The fine setting breaks at two half-widths or so, by hand as above."""
    done = outcome(**BOTH, **{"policy.least_radius": 3})
    assert done.undemanded is not None
    assert done.chosen is not None
    assert done.undemanded.phase_pickup_a == FINE
    assert done.chosen.phase_pickup_a == COARSE
    (found,) = done.in_the_way
    assert (found.setting, found.key) == (done.undemanded, KEY)
    assert found.centre == pytest.approx(0.05 + 3 * 0.01)
    assert found.used > 1
    first, cost, why = demand_text(Result(done))
    assert first == (
        "It keeps to the limit with the centre of any one input 3 half-widths off"
        " (policy.least_radius)."
    )
    assert cost.startswith("Without this demand no. 1 is chosen. The demand costs +")
    assert why.startswith("No. 1 breaks the limit with the clearing time of through at 0.08 s:")


@pytest.mark.slow
def test_a_demand_that_is_met_costs_nothing() -> None:
    done = outcome(**BOTH, **{"policy.least_radius": 0.5})
    assert done.chosen is not None
    assert done.chosen.phase_pickup_a == FINE
    assert not done.in_the_way
    assert [*demand_text(Result(done))][1] == "Without this demand the same setting is chosen."


@pytest.mark.slow
def test_where_no_setting_has_it_nothing_is_recommended() -> None:
    done = outcome(**FEW, **{"policy.least_radius": 3})
    assert done.chosen is None
    text = " ".join(recommendation(Result(done)).texts)
    assert "No setting is recommended" in text
    assert "No. 1 breaks the limit with the clearing time of through at 0.08 s" in text
    assert "Narrow that input, lower policy.least_radius, or give coarser candidates." in text


@pytest.mark.slow
def test_two_workers_meet_a_demand_alike() -> None:
    study = study_with(STUDY | BOTH | {"policy.least_radius": 3})
    one, two = (run(study, workers=number) for number in (1, 2))
    assert one.chosen == two.chosen
    assert one.in_the_way == two.in_the_way


@pytest.mark.parametrize(
    ("changes", "begin"),
    [
        ({"policy.least_radius": 0}, "policy.least_radius: 0 half-widths, must be above 0"),
        ({"policy.least_radius": "much"}, "policy.least_radius: "),
        ({"policy.least_radius": 6}, "policy.least_radius: 6 half-widths, must be at most"),
        (
            {"policy": {"least_annual_cost": COSTS, "least_radius": 1}},
            "policy.least_radius: 1 half-widths, but policy.least_annual_cost has no limit",
        ),
    ],
)
def test_a_demand_that_is_nonsense_is_one_line(changes: dict[str, Any], begin: str) -> None:
    (fault,) = faults_of(changes)
    assert fault.startswith(begin)
    assert "\n" not in fault
