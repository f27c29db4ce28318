"""What a recommendation says against itself: kinds of event that the mix hides, ends of ranges,
limits on each kind of event, and what comes closest where nothing can be chosen."""

from __future__ import annotations

import re
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, cast

import numpy as np
import pytest

from montecarlo.engine.batch import Batch
from montecarlo.estimates.assemble import Gathered
from montecarlo.estimates.choose import Judgement, judge, weights_of, with_one_from
from montecarlo.estimates.drivers import Bound
from montecarlo.estimates.refusals import Rule, refusals_of
from montecarlo.estimates.robust import worst_of
from montecarlo.estimates.shares import shares_of_total
from montecarlo.estimates.weighted import Source
from montecarlo.frames.closest import two_digits_up
from montecarlo.frames.doubts import EventDoubt, Why, as_data, event_doubts
from montecarlo.frames.rare import origin
from montecarlo.sampling.stratum import LOAD, Stratum
from montecarlo.study.budget import too_few
from montecarlo.study.candidates import End, Setting, candidate_lattices, ends_of_ranges
from montecarlo.study.description import Study
from studies.report.refusals import note_text
from studies.sweep.closest import closest_of_each, closest_text
from studies.sweep.doubts import doubts_text, of_each
from studies.sweep.text import result_text
from tests.made import results
from tests.made.studies import study_with
from tests.unit.studies.sweep.test_result_text import finished

if TYPE_CHECKING:
    from montecarlo import Result

NEAR = Stratum("external.near_fault")
TRIALS = np.full(16, 128.0)  # 2,048 samples on 16 plants
ONE = {"candidates.phase_pickup_a": [0.1], "candidates.earth_pickup_a": [0.1]}
EACH = {"policy": {"p_false_max": 0.5, "p_false_max_each": 0.05}}


def counted(name: Stratum, *hits: float) -> Gathered:
    """Hits of each candidate among 2,048 samples, spread evenly."""
    total = np.stack([np.full(16, each / 16) for each in hits])
    return Gathered(name, total, TRIALS, np.zeros(total.shape), None, None, None, None)


def strata(study: Study, **hits: tuple[float, float]) -> dict[Stratum, Gathered]:
    """Of two candidates; none unless given, by the last part of the type's name."""
    weight = weights_of(study)
    return {
        name: counted(name, *hits.get(name.kind, (0.0, 0.0)))
        for name in (*weight.internal, *weight.external, LOAD)
    }


def doubts(study: Study, **hits: tuple[float, float]) -> list[EventDoubt]:
    return [*event_doubts(study, cast("Batch", SimpleNamespace(strata=strata(study, **hits))), 0)]


# --- kinds of event -----------------------------------------------------------


def test_shares_of_the_total_by_hand() -> None:
    """Weights 1 and 3, p 0.2 and 0.1: 0.2 of 0.5 and 0.3 of 0.5. Limits of the first: 0.1
    against 0.3 + 0.3, 0.3 against 0.3 - 0.15."""
    found = shares_of_total([1, 3], [[0.2], [0.1]], [[0.1], [0.05]], [[0.3], [0.2]])
    assert found.p.ravel() == pytest.approx([0.4, 0.6])
    assert found.low[0, 0] == pytest.approx(0.1 / 0.7)
    assert found.high[0, 0] == pytest.approx(0.3 / 0.45)
    none = shares_of_total([1, 3], [[0.0], [0.0]], [[0.0], [0.0]], [[0.1], [0.1]])
    assert np.isnan(none.p).all()


@pytest.mark.parametrize("seed", range(5))
def test_shares_add_up_and_lie_within_their_limits(seed: int) -> None:
    rng = np.random.default_rng(seed)
    p = rng.random((3, 4))
    found = shares_of_total(
        rng.random(3), p, p * rng.random((3, 4)), p + (1 - p) * rng.random((3, 4))
    )
    assert found.p.sum(axis=0) == pytest.approx(np.ones(4))
    assert (
        (found.low >= 0) & (found.low <= found.p) & (found.p <= found.high) & (found.high <= 1)
    ).all()


def test_the_limits_of_a_share_hold_it() -> None:
    """Two kinds, 60 and 40 % of the false trips: limits hold 0.6 in over 93 % of 2,000 draws."""
    from montecarlo.estimates.intervals import clopper_pearson

    rng = np.random.default_rng(7)
    hits = rng.binomial(2048, [[0.03], [0.01]], (2, 2000))
    found = clopper_pearson(hits, 2048.0)
    share = shares_of_total([1.0, 2.0], hits / 2048, found.low, found.high)
    held = (share.low[0] <= 0.6) & (share.high[0] >= 0.6)
    assert held.mean() > 0.93


def test_a_kind_that_always_trips_is_told_however_rare_it_is() -> None:
    """near_fault is a sixth of the events; with a rate of a thousandth the mix shows 0.1 %."""
    study = study_with({"external_events.near_fault.per_year": 0.001})
    found = doubts(study, near_fault=(2048, 0))
    assert [(one.why, one.event) for one in found] == [
        (Why.TRIPS_OFTEN, "near_fault"),
        (Why.MAKES_MOST, "near_fault"),
    ][: len(found)]
    assert found[0].value == 1
    assert found[0].limit == 0.2
    assert found[0].share == pytest.approx(0.001 / 1.001)
    first, *_ = doubts_text(found, 7)
    assert first.startswith("Caution: no. 7 trips falsely in 100 % (99.")
    assert (
        "of the events near_fault, more than 20 %. They are 0.1 % of the external events" in first
    )


def test_most_of_the_false_trips_in_one_kind_are_told_where_the_counts_can_say_so() -> None:
    study = study_with()  # near_fault 0.2 a year, far_fault 1 a year
    (found,) = doubts(study, near_fault=(300, 0), far_fault=(6, 0))
    assert (found.why, found.event) == (Why.MAKES_MOST, "near_fault")
    assert found.low > 0.5
    assert found.value == pytest.approx(0.2 * 300 / (0.2 * 300 + 6))
    assert doubts(study) == []  # nothing seen says nothing
    assert doubts(study, near_fault=(3, 0)) == []  # nor do three hits
    assert (
        doubts(study, near_fault=(100, 0), far_fault=(16, 0)) == []
    )  # 56 %, and its interval holds a half


def test_a_study_with_one_kind_of_event_has_no_mix() -> None:
    study = study_with(
        {
            "external_events": [
                {
                    "name": "only",
                    "kind": "three_phase",
                    "per_year": 1,
                    "external_reactance_pu": 0.2,
                    "clearing_time_s": 0.1,
                }
            ]
        }
    )
    assert doubts(study, only=(200, 0)) == []
    assert [one.why for one in doubts(study, only=(900, 0))] == [Why.TRIPS_OFTEN]


def test_the_recommendation_carries_its_cautions() -> None:
    event = EventDoubt(Why.TRIPS_OFTEN, "near_fault", 1.0, 0.998, 1.0, 0.2, 0.0074)
    end = End("delay_s", 0.1, 0.0, 0.1)
    lines = result_text(finished(results.candidates(), chosen=5, runner_up=6, doubts=(event, end)))
    text = re.sub(r"\s+", " ", " ".join(lines))
    assert "Caution: no. 5 trips falsely in 100 % (99.8 to 100 %) of the events near_fault" in text
    assert (
        "chosen at the end of these ranges: delay 0.1 s, the highest of 0 to 0.1 s. Extend them"
        in text
    )
    assert (
        text.index("Chosen: no. 5")
        < text.index("Caution: no. 5")
        < text.index("Against earth faults")
    )


def test_cautions_stand_in_the_record_as_numbers() -> None:
    event = EventDoubt(Why.MAKES_MOST, "near_fault", 0.9, 0.8, 1.0, 0.5, 0.1)
    assert as_data(event) == {
        "kind": "makes_most",
        "event": "near_fault",
        "value": 0.9,
        "low": 0.8,
        "high": 1.0,
        "limit": 0.5,
        "share": 0.1,
    }
    assert as_data(End("delay_s", 0.1, 0.0, 0.1)) == {
        "kind": "end_of_range",
        "axis": "delay_s",
        "value": 0.1,
        "low": 0.0,
        "high": 0.1,
    }


def test_alike_cautions_of_several_choices_are_told_once() -> None:
    end = End("delay_s", 0.1, 0.0, 0.1)
    (one,) = of_each({"a": (3, (end,)), "b": (3, (end,)), "c": (4, ())})
    assert one.startswith('"a" and "b": No. 3 is chosen at the end')


# --- a limit on each kind -----------------------------------------------------


def test_a_limit_on_each_kind_refuses_what_the_mix_allows() -> None:
    hits = {"near_fault": (80.0, 160.0)}  # 3.9 and 7.8 %, bounded by 4.7 and 8.9 %
    study = study_with(ONE | EACH)
    judged = judge(study, candidate_lattices(study), strata(study, **hits))
    assert judged.usable.all()
    assert judged.allowed.tolist() == [True, False]
    assert (judged.bound < 0.5).all()
    assert judged.limit_used == pytest.approx(judged.each[NEAR] / 0.05)
    alone = study_with(ONE | {"policy": {"p_false_max": 0.5}})
    assert judge(alone, candidate_lattices(alone), strata(alone, **hits)).allowed.all()
    assert refusals_of(study, judged, 0) == ()
    (refusal,) = refusals_of(study, judged, 1)
    assert (refusal.rule, refusal.event, refusal.limit) == (Rule.EVENT, "near_fault", 0.05)
    assert refusal.value == judged.each[NEAR][1]
    assert note_text([refusal]) == "p_false bound of near_fault above 0.05"


def test_a_limit_on_each_kind_also_binds_a_policy_of_costs() -> None:
    costs = {"missed_fault": 1e6, "false_trip": 1.0, "unit": "EUR"}
    study = study_with(ONE | {"policy": {"least_annual_cost": costs, "p_false_max_each": 0.05}})
    judged = judge(study, candidate_lattices(study), strata(study, far_fault=(160.0, 10.0)))
    assert judged.allowed.tolist() == [False, True]
    assert judged.order() == (1,)


def test_the_worst_of_several_scenarios_counts_for_each_kind() -> None:
    study = study_with(ONE | EACH)
    one, other = (
        judge(study, candidate_lattices(study), strata(study, near_fault=hits))
        for hits in ((0.0, 160.0), (80.0, 80.0))
    )
    worst = worst_of([one, other])
    assert worst.allowed.tolist() == [True, False]
    assert worst.each[NEAR].tolist() == [
        other.each[NEAR][0],
        one.each[NEAR][1],
    ]
    assert worst.limit_used.tolist() == [other.limit_used[0], one.limit_used[1]]


def test_a_limit_on_each_kind_that_the_samples_cannot_show_is_told_before_the_run() -> None:
    study = study_with({"policy": {"p_false_max": 0.5, "p_false_max_each": 1e-3}})
    text = too_few(study)
    assert (
        "Without a single false trip 512 samples of near_fault show fewer than 0.0058 at 95 %"
        in text
    )
    assert "above the limit on each kind, 0.001" in text
    # -ln 0.05 / 0.001 = 2996
    assert "policy.p_false_max_each needs at least 3000 samples" in text
    assert too_few(study_with({"policy": {"p_false_max": 0.5, "p_false_max_each": 0.1}})) == ""
    assert (
        too_few(
            study_with(
                {"policy": {"p_false_max": 0.5, "p_false_max_each": 1e-3}, "study.samples": 4096}
            )
        )
        == ""
    )  # weighted samples may show it


@pytest.mark.parametrize("value", [0, 1.5, -0.1])
def test_a_limit_on_each_kind_is_a_probability(value: float) -> None:
    from tests.made.studies import faults_of

    (fault,) = faults_of({"policy": {"p_false_max": 0.5, "p_false_max_each": value}})
    assert fault.startswith("policy.p_false_max_each: ")


# --- ends of ranges -----------------------------------------------------------


def setting(
    phase: float = 0.15, earth: float = 0.06, ohm: float = 200.0, delay: float = 0.1
) -> Setting:
    return Setting("two_phase_one_earth", phase, earth, ohm, delay)


GRIDS = {
    "candidates": {
        "phase_pickup_a": [0.1, 0.15, 0.2],
        "earth_pickup_a": [0.02, 0.06, 0.1],
        "stabilising_resistance_ohm": [0, 200, 600],
        "delay_s": [0, 0.1, 0.2],
    }
}


@pytest.mark.parametrize(
    ("chosen", "ends"),
    [
        (setting(), []),
        (setting(phase=0.1), [End("phase_pickup_a", 0.1, 0.1, 0.2)]),
        (
            setting(phase=0.2, earth=0.02),
            [End("earth_pickup_a", 0.02, 0.02, 0.1), End("phase_pickup_a", 0.2, 0.1, 0.2)],
        ),
        (
            setting(ohm=600, delay=0.2),
            [End("stabilising_resistance_ohm", 600, 0, 600), End("delay_s", 0.2, 0, 0.2)],
        ),
        (setting(ohm=0, delay=0), []),  # nothing below 0
    ],
)
def test_ends_of_ranges_are_told_axis_by_axis(chosen: Setting, ends: list[End]) -> None:
    assert [*ends_of_ranges(study_with(GRIDS), chosen)] == ends


def test_where_the_relays_own_range_ends_there_is_nothing_to_extend() -> None:
    relay = {"relay.range_a": [0.02, 0.2], "relay.step_a": 0.01}
    assert ends_of_ranges(study_with(GRIDS | relay), setting(phase=0.2, earth=0.02)) == ()
    wider = {"relay.range_a": [0.02, 0.205], "relay.step_a": 0.01}  # less than a step is left
    assert ends_of_ranges(study_with(GRIDS | wider), setting(phase=0.2)) == ()
    finer = {"relay.range_a": [0.01, 0.2], "relay.step_a": 0.01}
    assert [
        end.axis
        for end in ends_of_ranges(study_with(GRIDS | finer), setting(phase=0.2, earth=0.02))
    ] == ["earth_pickup_a"]


def test_a_list_of_one_value_is_no_range() -> None:
    grids = {"candidates": GRIDS["candidates"] | {"delay_s": [0.1], "phase_pickup_a": [0.15]}}
    assert ends_of_ranges(study_with(grids), setting()) == ()


# --- nothing can be chosen ----------------------------------------------------


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
    assert f"Closest of two phase elements, one earth element: no. {best['candidate']}," in text
    assert (
        f"It would meet p_false_max = {row['would_meet']:g} with 95 % confidence; "
        "the policy's is 0.001." in text
    )
    assert "Figures of the study's own batch" in text
    fresh = nothing(frame.assign(batch=2)).closest
    assert "Figures of a fresh batch, drawn for a candidate that then failed." in " ".join(
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
    texts = [*closest_of_each({"as stated": result, "finer": result})]
    assert [text.split(",")[0] for text in texts] == [
        'Closest of "as stated"',
        'Closest of "finer"',
    ]
    chosen = finished(results.candidates(), chosen=5)
    assert [*closest_of_each({"as stated": chosen})] == []


@pytest.mark.parametrize(
    ("value", "limit"),
    [(0.0123, 0.013), (0.012, 0.012), (0.0991, 0.1), (3e-7, 3e-7), (1.0, 1.0), (0.0, 0.0)],
)
def test_a_limit_of_two_digits_is_never_below_the_bound(value: float, limit: float) -> None:
    assert two_digits_up(value) == pytest.approx(limit)
    assert two_digits_up(value) >= value


# --- how a row was estimated --------------------------------------------------


def test_an_earth_fault_is_integrated_and_not_counted() -> None:
    one = counted(Stratum("internal.phase_phase"), 1.0)
    earth = Gathered(
        "internal.earth", one.total, TRIALS, one.unresolved, one.total, None, None, None
    )
    assert origin([earth], 1) == [Source.INTEGRATED.value]
    assert origin([one], 1) == [Source.COUNT.value]


# --- one judgement from several batches, one choice ---------------------------


def test_a_judgement_takes_one_candidate_from_another_batch() -> None:
    study = study_with(ONE | EACH)
    one, other = (
        judge(study, candidate_lattices(study), strata(study, near_fault=hits))
        for hits in ((0.0, 160.0), (80.0, 0.0))
    )
    mixed = with_one_from(one, 1, other, 1)
    assert isinstance(mixed, Judgement)
    assert mixed.bound.tolist() == [one.bound[0], other.bound[1]]
    assert mixed.false.high.tolist() == [one.false.high[0], other.false.high[1]]
    assert mixed.each[NEAR].tolist() == [
        one.each[NEAR][0],
        other.each[NEAR][1],
    ]
    assert one.allowed.tolist() == [True, False]  # as it was


def test_a_bound_is_the_studys_own_where_the_samples_are_taken_as_a_whole() -> None:
    bound, p, here = (
        np.array([3e-4, 0.02, 5e-4]),
        np.array([2e-4, 0.01, 0.0]),
        np.array([1e-4, 0.015, 0.0]),
    )
    found = Bound.like({"external.a": 1.0}, 1e-3, bound, p, here)
    assert found.used(here) == pytest.approx(bound / 1e-3)
    assert (found.used(2 * here) >= found.used(here)).all()
    assert found.used(np.zeros(3))[2] == pytest.approx(
        0.5
    )  # what was never seen is left open as it was
