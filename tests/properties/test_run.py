"""Whole small studies: what must hold whatever the numbers are."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest
from pandas.testing import assert_frame_equal

from montecarlo import Result, run_study
from montecarlo.engine.batch import Batch
from montecarlo.engine.sizes import check_sizes
from montecarlo.errors import StudyError
from montecarlo.estimates.refusals import Refusal, Rule
from montecarlo.estimates.verdicts import Verdict
from montecarlo.frames.choosing import nearest
from montecarlo.relays.schemes import BUILT_IN
from montecarlo.secondary import steady
from montecarlo.study.axes import Setting
from montecarlo.study.budget import samples_that_show, shown_at_best
from studies.report.notes import sentences
from studies.report.refusals import in_words
from tests.made.branches import BRANCHES
from tests.made.studies import FEW_TYPES, study_table, study_with

SMALL: dict[str, Any] = FEW_TYPES | {
    "study.samples": 256,
    "study.installations": 32,
    "study.earth_fault_samples": 64,
    "candidates.delay_s": [0.0, 0.06],
}
SETTING = [
    "scheme",
    "phase_pickup_a",
    "earth_pickup_a",
    "stabilising_resistance_ohm",
    "delay_s",
    "first_slope",
]


def run(changes: dict[str, Any] | None = None, workers: int = 1) -> Result:
    return run_study(study_with(SMALL | (changes or {})), workers=workers)


@pytest.fixture(scope="module")
def small() -> Result:
    return run()


@pytest.mark.slow
def test_two_workers_give_the_numbers_of_one(small: Result) -> None:
    pair = run(workers=2)
    for table in ("candidates", "by_type", "protected_winding", "inputs"):
        assert_frame_equal(getattr(small, table), getattr(pair, table), check_exact=True)
    assert small.installations.keys() == pair.installations.keys()
    assert all(
        np.array_equal(small.installations[key], pair.installations[key], equal_nan=True)
        for key in small.installations
    )


def test_another_seed_gives_other_numbers_and_the_same_seed_the_same(small: Result) -> None:
    assert_frame_equal(run().candidates, small.candidates, check_exact=True)
    assert not run({"study.seed": 7}).candidates["p_missed"].equals(small.candidates["p_missed"])


@pytest.fixture(scope="module")
def every() -> Result:
    """Every built-in scheme on the same events."""
    return run(
        {
            "scheme.kind": list(BUILT_IN),
            "ct.neutral_conductor": {},
            **BRANCHES,
            "candidates.first_slope": [0.0, 0.2],
            "candidates.earth_pickup_a": [0.02, 0.06, 0.1],
        }
    )


def test_probabilities_and_limits_are_in_order(every: Result) -> None:
    assert set(every.candidates["scheme"]) == set(BUILT_IN)
    for frame, p in (
        (every.candidates, "p_missed"),
        (every.candidates, "p_false"),
        (every.by_type, "p"),
    ):
        assert (frame[f"{p}_low"] <= frame[p] + 1e-12).all()
        assert (frame[p] <= frame[f"{p}_high"] + 1e-12).all()
        assert frame[p].between(0, 1).all()
    assert (every.candidates["p_false_bound"] <= every.candidates["p_false_high"] + 1e-12).all()
    assert (every.candidates["protected_p05"] <= every.candidates["protected_p95"]).all()


def test_a_coarser_setting_misses_more_and_trips_falsely_less(every: Result) -> None:
    frame = every.candidates[every.candidates["batch"] == 1]
    for finer in (*SETTING[1:3], "first_slope"):
        others = [column for column in SETTING if column != finer]
        for _, group in frame.groupby(others, dropna=False):
            ordered = group.sort_values(finer)
            assert (ordered["p_missed"].diff().dropna() >= -1e-12).all()
            assert (ordered["p_false"].diff().dropna() <= 1e-12).all()


def test_a_longer_delay_never_trips_falsely_more(every: Result) -> None:
    frame = every.candidates[every.candidates["batch"] == 1]
    for _, group in frame.groupby(
        [column for column in SETTING if column != "delay_s"], dropna=False
    ):
        assert (group.sort_values("delay_s")["p_false"].diff().dropna() <= 1e-12).all()


def test_another_event_leaves_the_numbers_of_the_others(small: Result) -> None:
    study = study_with(SMALL)
    third = study.external_events[0].model_copy(update={"name": "one_more"})
    more = run_study(
        study.model_copy(update={"external_events": (third, *study.external_events)}), workers=1
    )
    first = small.by_type[small.by_type["batch"] == 1].set_index(["candidate", "type"])
    again = more.by_type[more.by_type["batch"] == 1].set_index(["candidate", "type"])
    shared = first.index.intersection(again.index)
    pd.testing.assert_series_equal(first.loc[shared, "p"], again.loc[shared, "p"], check_exact=True)
    assert "one_more" in again.index.get_level_values("type")


def test_a_setting_in_service_off_the_grid_is_in_the_tables_and_compared() -> None:
    existing = {
        "phase_pickup_a": 0.5,
        "earth_pickup_a": 0.3,
        "stabilising_resistance_ohm": 50.0,
        "delay_s": 0.04,
    }
    both = study_table()["external_events"]
    result = run(
        {"external_events": both, "candidates.existing": existing, "policy.p_false_max": 0.9}
    )
    row = result.candidates[result.candidates["existing"]]
    assert len(row) == 1
    assert row.iloc[0]["stabilising_resistance_ohm"] == 50.0
    assert row.iloc[0]["batch"] == 2
    assert result.chosen is not None
    gap = result.comparison.set_index(["pair", "quantity"]).loc["chosen minus existing", "p_missed"]
    chosen = result.candidates.set_index("candidate").loc[result.chosen]
    assert gap["difference"] == pytest.approx(
        chosen["p_missed"] - row.iloc[0]["p_missed"], abs=1e-9
    )
    assert gap["low"] <= gap["difference"] <= gap["high"]


def by_limit(limit: float) -> Callable[[tuple[Refusal, ...]], bool]:
    """Whether one of the refusals is by this limit on p_false."""
    return lambda found: (Rule.FALSE_TRIPS, limit) in {(one.rule, one.limit) for one in found}


def test_nothing_allowed_is_said_and_nothing_is_chosen() -> None:
    result = run({"policy.p_false_max": 1e-9})
    assert result.chosen is None
    assert not result.candidates["chosen"].any()
    assert result.candidates["refusals"].map(by_limit(1e-9)).all()
    assert result.candidates["usable"].any()  # though the limit allows none of them
    assert not result.candidates["allowed"].any()
    (closest,) = result.closest.to_dict("records")
    usable = result.candidates[result.candidates["usable"]]
    assert closest["p_false_bound"] == usable["p_false_bound"].min()
    assert closest["would_meet"] >= closest["p_false_bound"]
    # what a study of drivers looks at
    assert nearest(result.candidates, or_any=True) == closest["candidate"]
    assert nearest(result.candidates.assign(usable=False)) is None
    number = nearest(result.candidates.assign(usable=False), or_any=True)
    used = result.candidates.set_index("candidate")["limit_used"]
    assert used[number] == used.min()


def test_phasors_and_the_transient_pass_agree_inside_the_limit_of_phasors(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    changes = {
        "candidates.stabilising_resistance_ohm": [300.0],
        "candidates.phase_pickup_a": [0.2],
        "candidates.earth_pickup_a": [0.02, 0.1, 0.2],
        "internal_faults.shares": {"earth": 1.0},
        "ct.remanence_percent": 0.0,
        "candidates.delay_s": [0.0],
    }
    phasors = run(changes).candidates
    monkeypatch.setattr(steady, "VALID_KNEE_SHARE", 0.0)
    in_time = run(changes).candidates
    assert in_time["p_missed"].to_numpy() == pytest.approx(phasors["p_missed"].to_numpy(), rel=0.03)


def test_the_position_law_can_be_changed() -> None:
    changes = {"internal_faults.shares": {"earth": 1.0}}
    even = run(changes).candidates
    line_end = run(
        changes
        | {
            "internal_faults.position": {
                "dist": "beta",
                "alpha": 2.0,
                "beta": 1.0,
                "low": 0.0,
                "high": 1.0,
            }
        }
    ).candidates  # density 2x
    first = even["batch"].eq(1) & line_end["batch"].eq(1)
    assert line_end.loc[first, "p_missed"].to_numpy() == pytest.approx(
        even.loc[first, "missed_line_end_law"].to_numpy(), abs=1e-9
    )
    assert line_end["missed_line_end_law"].isna().all()


def test_an_exact_answer_for_the_share_out_of_reach(small: Result) -> None:
    assert small.candidates["outside_scope_per_year"].to_numpy() == pytest.approx(0.01 * 0.01)
    weights = (
        small.by_type[small.by_type["side"] == "internal"].groupby("candidate")["weight"].sum()
    )
    assert weights.to_numpy() == pytest.approx(1.0)


def test_a_fault_that_is_seen_nowhere_is_not_seen_at_the_terminals() -> None:
    result = run(
        {
            "internal_faults.shares": {"earth": 1.0},
            "earthing.resistance_ohm": 800.0,
            "candidates.earth_pickup_a": [0.1],
        }
    )
    assert (result.protected_winding["p_detected"] == 0).all()
    assert (result.candidates["protected_median"] == 0).all()
    assert (result.candidates["p_missed"] == 1).all()
    # 64 sampled faults do not prove "never"
    assert (result.candidates["p_missed_low"] < 1).all()


def test_neighbours_are_estimated_on_the_chosen_one_s_fresh_numbers() -> None:
    result = run(
        {"policy.p_false_max": 0.9, "policy.ignore_knee_rule": True, "relay.phase_burden_ohm": 0.0}
    )
    rows = result.candidates.set_index("candidate")
    assert result.chosen is not None
    around = result.neighbours
    assert set(around["minus"]) == {result.chosen}
    assert 4 <= around["candidate"].nunique() <= 7
    assert (rows.loc[around["candidate"], "batch"] == 2).all()
    for gap in around.to_dict("records"):
        differing = [
            name
            for name in SETTING
            if rows.loc[gap["candidate"], name] != rows.loc[result.chosen, name]
            and rows.loc[gap["candidate"], name] == rows.loc[gap["candidate"], name]
        ]
        assert differing == [gap["pair"]]
        apart = (
            rows.loc[gap["candidate"], gap["quantity"]] - rows.loc[result.chosen, gap["quantity"]]
        )
        assert gap["difference"] == pytest.approx(apart, abs=1e-9)
        assert gap["verdict"] == (
            Verdict.ALIKE if gap["low"] <= 0 <= gap["high"] else Verdict.APART
        )
        alone = (
            result.compare(gap["candidate"], result.chosen)
            .set_index("quantity")
            .loc[gap["quantity"]]
        )
        assert (
            gap["low"] < alone["low"] < alone["high"] < gap["high"]
        )  # limits of a table hold together
    assert {"chosen minus runner-up"} == set(result.comparison["pair"])


def test_nothing_chosen_has_no_neighbours() -> None:
    result = run({"policy.p_false_max": 1e-9})
    assert not len(result.neighbours)
    assert not len(result.comparison)
    assert result.hinge is None


def test_no_false_trip_in_n_years_follows_the_rate() -> None:
    once, twice = (run({"policy.years": years}).candidates for years in (10.0, 20.0))
    assert once["p_no_false_trip"].to_numpy() == pytest.approx(np.exp(-10 * once["false_per_year"]))
    for end in ("", "_low", "_high"):
        assert twice[f"p_no_false_trip{end}"].to_numpy() == pytest.approx(
            once[f"p_no_false_trip{end}"] ** 2
        )
    assert (once["p_no_false_trip_low"] <= once["p_no_false_trip"]).all()
    assert (once["p_no_false_trip"] <= once["p_no_false_trip_high"]).all()
    assert once["p_no_false_trip_low"].to_numpy() == pytest.approx(
        np.exp(-2 * once["p_false_high"])
    )  # 0.2 a year


def test_any_two_candidates_are_compared_on_the_same_events(small: Result) -> None:
    frame = small.candidates.set_index("candidate")
    batch = frame.index[frame["batch"] == 1][[0, -1]]
    asked = run({"study.compare": [[int(number) for number in batch]]})
    rows = asked.comparison[asked.comparison["pair"] == "asked for"]
    pd.testing.assert_frame_equal(rows.reset_index(drop=True), small.compare(*batch))
    for gap in rows.to_dict("records"):
        apart = frame.loc[batch[0], gap["quantity"]] - frame.loc[batch[1], gap["quantity"]]
        assert gap["difference"] == pytest.approx(apart, abs=1e-9)
        assert gap["batch"] == 1
    assert (
        asked.provenance["study_digest"] == small.provenance["study_digest"]
    )  # no number depends on it
    with pytest.raises(
        StudyError, match=r"compare: 1 and 99, must be candidates' numbers, 1 \.\.\. 40"
    ):
        small.compare(1, 99)


@pytest.mark.slow
def test_a_limit_out_of_reach_is_told_with_the_samples_that_it_needs() -> None:
    few = run(
        {
            "policy.p_false_max": 0.005,
            "candidates.phase_pickup_a": [20.0],
            "candidates.earth_pickup_a": [20.0],
            "policy.ignore_knee_rule": True,
        }
    )
    assert few.chosen is None
    assert (few.candidates["p_false"] == 0).all()
    assert few.candidates["p_false_bound"].to_numpy() == pytest.approx(shown_at_best(few.study))
    needed = samples_that_show(few.study, 0.005)
    assert f"The limit needs at least {needed} samples" in " ".join(sentences(few))
    assert few.candidates["refusals"].map(lambda found: any(one.samples for one in found)).all()
    assert (
        in_words(few.candidates)["note"]
        .str.contains("none seen; about .* samples without one would show the limit")
        .all()
    )
    enough = run_study(
        few.study.model_copy(
            update={"study": few.study.study.model_copy(update={"samples": needed})}
        ),
        workers=1,
    )
    assert enough.chosen is not None
    assert "needs at least" not in " ".join(sentences(enough))


def cost_policy(missed_fault: float, false_trip: float) -> dict[str, Any]:
    return {
        "policy": {"least_annual_cost": {"missed_fault": missed_fault, "false_trip": false_trip}}
    }


def test_the_least_annual_cost_is_chosen() -> None:
    result = run(cost_policy(1e6, 5e3))
    frame = result.candidates
    weights = 1e6 * frame["missed_per_year"] + 5e3 * frame["false_per_year"]
    assert frame["cost_per_year"].to_numpy() == pytest.approx(weights, rel=1e-9)
    assert (frame["cost_per_year_low"] <= frame["cost_per_year"]).all()
    assert (frame["cost_per_year"] <= frame["cost_per_year_high"]).all()
    # MOVER adds in squares what the two sides would add plainly at their limits
    assert (
        frame["cost_per_year_high"]
        <= 1e6 * 0.0099 * frame["p_missed_high"] + 5e3 * 0.2 * frame["p_false_high"] + 1e-9
    ).all()
    first = result.outcome.first.judgement
    best = min(np.flatnonzero(first.usable), key=lambda k: first.aim[k])
    assert result.chosen == best + 1
    gaps = result.comparison.set_index(["pair", "quantity"])["difference"].loc[
        "chosen minus runner-up"
    ]
    assert gaps["cost_per_year"] == pytest.approx(
        1e6 * 0.0099 * gaps["p_missed"] + 5e3 * 0.2 * gaps["p_false"]
    )
    assert frame["installations_above_limit"].isna().all()
    assert (~frame["refusals"].map(bool) == frame["usable"]).all()


@pytest.mark.slow
def test_dear_false_trips_choose_coarser_and_dear_faults_finer() -> None:
    finer, coarser = run(cost_policy(1.0, 0.0)), run(cost_policy(1e3, 1e9))
    assert finer.chosen is not None
    assert coarser.chosen is not None
    rows = [
        result.candidates.set_index("candidate").loc[result.chosen] for result in (finer, coarser)
    ]
    assert rows[0]["p_missed"] < rows[1]["p_missed"]
    assert rows[0]["p_false"] > rows[1]["p_false"]
    # with false trips for nothing only missed faults count
    first = finer.outcome.first.judgement
    assert first.missed.total[finer.chosen - 1] == first.missed.total[first.usable].min()


def in_assumption_sets(**changes: dict[str, Any]) -> Result:
    return run(
        {
            "external_events": study_table()["external_events"],
            "policy.p_false_max": 0.5,
            "policy.ignore_knee_rule": True,
            "policy.assumption_sets": [
                {"name": name, "changes": keys} for name, keys in changes.items()
            ],
        }
    )


@pytest.mark.slow
def test_an_assumption_set_that_changes_nothing_changes_nothing() -> None:
    both = study_table()["external_events"]
    alone = run(
        {"external_events": both, "policy.p_false_max": 0.5, "policy.ignore_knee_rule": True}
    )
    same = in_assumption_sets(same={"load.power_factor": 0.9})
    shared = list(alone.candidates.columns)
    assert_frame_equal(same.candidates[shared], alone.candidates, check_exact=True)
    assert (same.candidates["worst_assumption_set"] == "as stated").all()
    assert same.candidates["worst_p_missed"].equals(
        same.candidates["p_missed"]
    )  # on the same random numbers
    assert alone.assumption_sets.empty
    assert alone.assumption_set_choices.empty
    assert (
        same.assumption_set_choices["candidate"] == same.assumption_set_choices["candidate"].iloc[0]
    ).all()


@pytest.mark.slow
def test_the_choice_is_the_best_by_its_worst_assumption_set() -> None:
    result = in_assumption_sets(
        stiff={"earthing.resistance_ohm": 60.0},  # earth faults drive a third
        slow={
            "external_events.near_fault.clearing_time_s": 0.4,
            "external_events.far_fault.clearing_time_s": 0.4,
        },
    )
    first, rows = result.outcome.first, result.assumption_sets
    assert result.chosen is not None
    every = [first.judgement, *first.assumption_sets.values()]
    allowed = np.all([each.usable & each.allowed for each in every], axis=0)
    worst = np.max([each.missed.total for each in every], axis=0)
    tried = result.outcome.tries  # the better ones missed the limit on fresh numbers
    assert worst[result.chosen - 1] == np.sort(worst[allowed])[tried - 1]
    assert worst[result.chosen - 1] > first.judgement.missed.total[result.chosen - 1]
    mine = rows[rows["candidate"] == result.chosen].set_index("assumption_set")
    assert list(mine.index[mine["worst"]]) == ["stiff"]
    assert mine["allowed"].all()
    row = result.candidates.set_index("candidate").loc[result.chosen]
    assert row["worst_assumption_set"] == "stiff"
    assert row["worst_p_missed"] == mine["p_missed"].max()
    assert row["worst_p_false_bound"] == mine["p_false_bound"].max()
    own = result.assumption_set_choices.set_index("assumption_set")
    assert list(own.index) == ["as stated", "stiff", "slow"]
    for name, each in zip(own.index, every, strict=True):
        best = own.loc[name, "candidate"] - 1
        assert (each.usable & each.allowed)[best]
        assert each.missed.total[best] == each.missed.total[each.usable & each.allowed].min()
        assert (
            own.loc[name, "regret"]
            == each.missed.total[result.chosen - 1] - each.missed.total[best]
        )
        assert 0 <= own.loc[name, "regret"] <= own.loc[name, "regret_high"]
        assert own.loc[name, "regret_low"] <= own.loc[name, "regret"]
    refused = result.candidates[~result.candidates["allowed_in_all"]]
    assert len(refused) > len(result.candidates) / 2
    assert refused["refusals"].map(bool).all()


def test_a_run_says_how_many_solutions_its_earth_faults_took(small: Result) -> None:
    told = (
        "64 earth faults on 16 randomised Sobol' nets (32 installations, 2 events each) were solved"
        " at 16 places along the winding. That makes 1,024 solutions a circuit, 2,048 in all."
    )
    assert any(told in sentence for sentence in sentences(small))
    assert small.provenance["notes"]["phasor_solutions"] == 2048


def test_more_earth_faults_than_a_net_has_points_are_refused() -> None:
    with pytest.raises(
        StudyError, match=r"study.earth_fault_samples: 1000000000000 would be .* 68719476736; give"
    ):
        run({"study.earth_fault_samples": 10**12})


def test_more_samples_than_their_chunks_can_be_listed_are_refused() -> None:
    with pytest.raises(
        StudyError,
        match=r"study.samples \(or --samples\): 1000000001, at most 1000000000; give fewer",
    ):
        run({"study.samples": 10**9 + 1, "study.earth_fault_samples": 512})


def test_an_independent_sample_larger_than_any_other_may_be_is_refused() -> None:
    precision = {"p_missed": 0.1, "most_samples": 10**9 + 1}
    with pytest.raises(
        StudyError,
        match=r"study.precision.most_samples: 1000000001, at most 1000000000; give fewer",
    ):
        run({"study.precision": precision})


def test_more_weighted_samples_than_memory_holds_are_refused_where_they_are_sought_at_once() -> (
    None
):
    changes = {"study.rare_samples": 10**9, "study.racing": False, "study.earth_fault_samples": 512}
    with pytest.raises(
        StudyError, match=r"study.rare_samples: 1000000000 weighted samples .* study.racing = true"
    ):
        run(changes)
    check_sizes(study_with(changes | {"study.racing": True}))


# --- precision ----------------------------------------------------------------


def half_width(result: Result, name: str) -> float:
    row = result.candidates.set_index("candidate").loc[result.chosen]
    return float((row[f"{name}_high"] - row[f"{name}_low"]) / 2 / row[name])


@pytest.mark.slow
def test_the_fresh_batch_is_as_large_as_the_precision_asks(small: Result) -> None:
    limit = {"policy.p_false_max": 0.5}  # so that there is a choice on so few samples
    rough = run(limit)
    assert rough.chosen is not None
    asked = 0.3 * half_width(rough, "p_missed")
    fine = run(limit | {"study.precision": {"p_missed": asked}})
    assert fine.chosen is not None
    assert half_width(fine, "p_missed") < 0.6 * half_width(rough, "p_missed")
    assert any(text.startswith("Precision of the chosen setting") for text in sentences(fine))
    first = fine.candidates["batch"] == 1
    assert_frame_equal(
        fine.candidates[first],
        rough.candidates[first & (rough.candidates["batch"] == 1)],
        check_exact=True,
    )  # the study's own batch stays what it was


def test_a_cap_on_the_precision_is_told() -> None:
    capped = run(
        {"policy.p_false_max": 0.5, "study.precision": {"p_missed": 1e-4, "most_samples": 512}}
    )
    assert any(
        "short of what was asked, with at most 512 of each" in text for text in sentences(capped)
    )


@pytest.mark.slow
def test_what_a_fresh_batch_refused_is_told_by_that_batch(monkeypatch: pytest.MonkeyPatch) -> None:
    keeps, calls = Batch.keeps_to_policy, []

    def once_refused(fresh: Batch, setting: Setting) -> bool:
        if not any(fresh is each for each in calls):
            calls.append(fresh)
        return fresh is not calls[0] and keeps(fresh, setting)

    monkeypatch.setattr(Batch, "keeps_to_policy", once_refused)
    both = study_table()["external_events"]
    result = run({"external_events": both, "policy.p_false_max": 0.5})
    ((setting, batch),) = result.outcome.refused.items()
    assert batch is calls[0]
    at = result.outcome.first.settings.index(setting)
    row, told = result.candidates.iloc[at], result.outcome.batch_of(setting)
    assert row["batch"] == 2
    assert row["p_missed"] == told.judgement.missed.total[told.settings.index(setting)]
    types = result.by_type[result.by_type["candidate"] == row["candidate"]]
    assert (types["batch"] == 2).all()
    assert len(types) == len(result.by_type) / len(result.candidates)


def test_shares_of_each_kind_add_up(small: Result) -> None:
    rows = small.by_type[small.by_type["side"] != "state"]
    sums = rows.groupby(["candidate", "side"])["share_of_total"].sum(min_count=1).dropna()
    assert len(sums) > len(small.candidates)
    assert sums.to_numpy() == pytest.approx(np.ones(len(sums)))
    earth = small.by_type[small.by_type["type"] == "earth"]
    assert (earth["p_from"] == "integrated over the place").all()
