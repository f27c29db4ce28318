"""Paired differences from what each candidate does more: limits by hand, nothing seen, earth
faults, types together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from montecarlo.estimates.assemble import Gathered
from montecarlo.estimates.choose import cost_weights, weights_of
from montecarlo.estimates.compare import (
    Side,
    differences_of,
    level_of,
    trip_cost_difference,
)
from montecarlo.estimates.intervals import (
    Estimate,
    clopper_pearson,
    clustered,
    clustered_size,
    student_mean,
)
from montecarlo.estimates.paired import Half, paired
from montecarlo.quantities import Array
from montecarlo.sampling.design import BLOCKS
from montecarlo.study.axes import Setting
from tests.made.studies import REMOVE, study_with

INSTALLATIONS, EVENTS = 4 * BLOCKS, 10
NONE_SEEN = 1 - 0.025 ** (1 / (INSTALLATIONS * EVENTS))  # exact upper limit, no event among them


def stratum(means: Array, conditional: bool = False, name: str = "internal.some") -> Gathered:
    """means (C, M) of the installations, each of EVENTS samples."""
    trials = np.full(means.shape[1], float(EVENTS))
    return Gathered(
        name,
        means * trials,
        trials,
        np.zeros(means.shape),
        np.full(means.shape, 0.1) if conditional else None,
        None,
        None,
        None,
    )


def hits(*by_candidate: dict[int, int], name: str = "internal.some") -> Gathered:
    """Events of a candidate by installation."""
    means = np.zeros((len(by_candidate), INSTALLATIONS))
    for candidate, installations in enumerate(by_candidate):
        for installation, count in installations.items():
            means[candidate, installation] = count / EVENTS
    return stratum(means, name=name)


def sides(*found: Gathered, weights: tuple[float, ...] = (1.0,)) -> tuple[Half, Half]:
    """Their first two candidates."""
    return Half(found, weights, 0), Half(found, weights, 1)


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(8)


# --- counts -------------------------------------------------------------------


def test_few_events_one_way_have_the_limits_of_the_two_shares() -> None:
    """By hand: six installations with one event more; the other share is none of the same effective
    size."""
    more = np.zeros(INSTALLATIONS)
    more[:6] = 1.0
    found = paired(*sides(hits(dict.fromkeys(range(6), 1), {})))
    trials = np.full(INSTALLATIONS, float(EVENTS))
    own, size = clustered(more, trials), clustered_size(more, trials, 0.025)
    none = clopper_pearson(0.0, size).high
    p = 6 / (INSTALLATIONS * EVENTS)
    assert found == pytest.approx(
        (p, p - np.hypot(p - float(own.low), none), float(own.high)), rel=1e-12
    )
    assert 0 < found.low < 0.15 * p  # six to none: a sign test gives 3.1 %
    assert found.high > 2 * p  # Student's t: 0.2 to 1.8 times p


def test_events_of_one_installation_count_as_less_than_as_many_of_several() -> None:
    apart, together = (
        paired(*sides(hits(some, {}))) for some in (dict.fromkeys(range(8), 1), {3: 8})
    )
    assert together.p == apart.p
    assert together.high > 1.5 * apart.high


def test_the_other_way_round_is_the_same_with_the_other_sign() -> None:
    one, other = sides(hits({1: 3, 5: 1, 7: 1}, {5: 2, 9: 1}))
    there, back = paired(one, other), paired(other, one)
    assert (back.p, back.low, back.high) == pytest.approx(
        (-there.p, -there.high, -there.low), rel=1e-12
    )


@pytest.mark.parametrize("level", [0.95, 0.995])
def test_where_nothing_differs_the_limits_are_those_of_none_seen(level: float) -> None:
    """Both ways, independent of each other; types in squares."""
    both = hits({2: 4}, {2: 4})
    none = 1 - ((1 - level) / 2) ** (1 / (INSTALLATIONS * EVENTS))
    assert paired(*sides(both), level) == pytest.approx((0.0, -none, none), rel=1e-12)
    far = replace(both, name="internal.other")
    found = paired(*sides(both, far, weights=(0.7, 0.3)), level)
    assert found == pytest.approx(
        (0.0, -none * np.hypot(0.7, 0.3), none * np.hypot(0.7, 0.3)), rel=1e-12
    )


def test_plentiful_events_have_nearly_the_limits_of_a_paired_t(rng: np.random.Generator) -> None:
    means = rng.binomial(EVENTS, 0.4, (2, INSTALLATIONS)) / EVENTS
    found, wanted = paired(*sides(stratum(means))), student_mean(0.5 + (means[0] - means[1]) / 2)
    assert found.p == pytest.approx(2 * wanted.p - 1, abs=1e-12)
    assert 1.0 < (found.high - found.low) / (2 * (wanted.high - wanted.low)) < 1.15


def test_types_that_trip_on_the_same_installations_are_not_independent() -> None:
    here, there = dict.fromkeys(range(10), 1), dict.fromkeys(range(20, 30), 1)
    one = hits(here, {})
    same, apart = (
        paired(*sides(one, hits(some, {}, name="internal.other"), weights=(0.5, 0.5)))
        for some in (here, there)
    )
    alone = paired(*sides(one))
    assert same.high - same.p == pytest.approx(alone.high - alone.p, rel=1e-9)
    assert apart.high - apart.p == pytest.approx((alone.high - alone.p) / np.sqrt(2), rel=1e-9)


def test_each_side_weighs_a_type_its_own_way_or_has_none_of_it() -> None:
    near, far = (
        hits({1: 2, 2: 1}, {1: 1}, name="external.near"),
        hits({4: 1}, {}, name="external.far"),
    )
    p = [[row.sum() / (INSTALLATIONS * EVENTS) for row in each.total] for each in (near, far)]
    found = paired(Half([near, far], [0.6, 0.4], 0), Half([near], [1.0], 1))
    assert found.p == pytest.approx(0.6 * p[0][0] + 0.4 * p[1][0] - p[0][1], rel=1e-12)
    assert found.low < found.p < found.high


# --- earth faults, on nets ----------------------------------------------------


def opposed(rng: np.random.Generator, blocks: Array) -> Array:
    """Installations that differ much inside a block and leave its mean at `blocks` (C, 16), as
    points of a net do."""
    off = rng.uniform(0, 0.2, (len(blocks), BLOCKS, 2))
    return np.asarray(
        (blocks[..., None] + np.concatenate([off, -off], axis=-1)).reshape(len(blocks), -1)
    )


@pytest.mark.parametrize(("shift", "most"), [(0.05, 1.02), (0.0, 1.3)])
def test_conditional_means_are_paired_by_blocks(
    rng: np.random.Generator, shift: float, most: float
) -> None:
    """As Student's t over the blocks where all of them differ one way, and a little wider where
    they do not; over installations, whose differences cancel within the blocks, it would be ten
    times as wide."""
    means = opposed(rng, 0.4 + 0.01 * rng.random((2, BLOCKS)) + np.array([[shift], [0.0]]))
    found = paired(*sides(stratum(means, conditional=True)))
    gap = (means[0] - means[1]).reshape(BLOCKS, -1).mean(axis=1)
    wanted = student_mean(0.5 + gap)
    assert found.p == pytest.approx(gap.mean(), rel=1e-9)
    assert 0.99 < (found.high - found.low) / (wanted.high - wanted.low) < most
    plain = student_mean(0.5 + means[0] - means[1])
    assert plain.high - plain.low > 5 * (found.high - found.low)


def test_a_few_small_differences_of_earth_faults_say_little_of_larger_ones() -> None:
    means = np.full((2, INSTALLATIONS), 0.3)
    means[0, :3] += 1e-4
    found = paired(*sides(stratum(means, conditional=True)))
    assert 0 < found.p < 1e-5
    assert found.high == pytest.approx(NONE_SEEN, rel=0.01)
    assert found.low == pytest.approx(-NONE_SEEN, rel=0.01)


def test_earth_faults_that_all_come_out_alike_may_differ() -> None:
    found = paired(*sides(stratum(np.full((2, INSTALLATIONS), 0.3), conditional=True)))
    assert found == pytest.approx((0.0, -NONE_SEEN, NONE_SEEN), rel=1e-12)


# --- samples without a result -------------------------------------------------


@pytest.mark.parametrize("conditional", [True, False])
def test_a_difference_holds_whatever_the_unresolved_would_have_done(
    rng: np.random.Generator, conditional: bool
) -> None:
    """Both ends: those that one side lost all missed and those of the other none, and the other way
    round."""
    means = np.round(opposed(rng, 0.4 + 0.05 * rng.random((2, BLOCKS))), 1)
    whole = stratum(means, conditional)
    lost = np.zeros(means.shape)
    lost[0, ::3], lost[1, 1::5] = 2, 1
    some = replace(whole, unresolved=lost, total=means * (EVENTS - lost))
    found = paired(*sides(some))
    for fill in ([1, 0], [0, 1]):
        truth = paired(*sides(replace(whole, total=some.total + lost * np.array(fill)[:, None])))
        assert found.low < truth.p < found.high
    clean = paired(*sides(whole))
    assert found.high - found.low == pytest.approx(
        clean.high - clean.low + 2 * lost.sum() / whole.trials.sum(), rel=0.02
    )  # means over fewer events


def test_an_installation_without_any_result_is_no_installation_that_misses_nothing(
    rng: np.random.Generator,
) -> None:
    means = rng.random((2, INSTALLATIONS))
    some = stratum(means)
    lost = np.zeros(means.shape)
    lost[:, 0] = EVENTS
    found = paired(*sides(replace(some, unresolved=lost, total=means * (EVENTS - lost))))
    assert found.p == pytest.approx((means[0] - means[1])[1:].mean(), rel=1e-12)
    nothing = paired(
        *sides(replace(some, unresolved=np.full(means.shape, float(EVENTS)), total=0 * means))
    )
    assert np.isnan(np.stack(nothing)).all()


# --- the same, and several pairs ----------------------------------------------


def compared(one: Side, other: Side) -> Estimate:
    return differences_of(one, other)["p_false"]


def test_only_what_must_be_the_same_differs_by_nothing() -> None:
    """One setting in two studies that are alike where it matters; not two settings that no sample
    tells apart."""
    study, again, other = (
        study_with({"policy.p_false_max": limit, "machine.armature_time_constant_s": time})
        for limit, time in ((0.01, 0.15), (0.02, 0.15), (0.01, 0.16))
    )
    names = (
        "internal.earth",
        "internal.phase_phase",
        "internal.phase_phase_earth",
        "internal.three_phase",
        "external.near_fault",
        "external.far_fault",
    )
    strata = {name: hits({1: 1}, {1: 1}, name=name) for name in names}
    copied = {name: replace(each) for name, each in strata.items()}
    setting, finer = (Setting("per_phase", pickup, None, 0.0, 0.0) for pickup in (0.1, 0.05))
    mine = Side(study, strata, 0, setting)
    for side in (Side(study, strata, 0), Side(again, copied, 0, setting)):
        assert tuple(map(float, compared(mine, side))) == (0.0, 0.0, 0.0)
    for side in (
        Side(study, strata, 1),
        Side(again, copied, 0, finer),
        Side(other, copied, 0, setting),
    ):
        gap = compared(mine, side)
        assert gap.p == 0
        assert gap.low < 0 < gap.high


def test_other_rates_and_prices_alone_make_the_difference_of_one_setting() -> None:
    """By hand: what counts more times its own probability, with its limits alone."""
    near = "external.near_fault"
    setting = Setting("per_phase", 0.1, None, 0.0, 0.0)

    def side(price: float, rate: float) -> Side:
        cost = {"missed_fault": 1e5, "false_trip": price}
        study = study_with(
            {
                "policy.p_false_max": REMOVE,
                "policy.least_annual_cost": cost,
                "external_events.near_fault.per_year": rate,
            }
        )
        names = [*cost_weights(study), *weights_of(study).external]
        return Side(study, {name: hits({1: 4, 7: 2}, name=name) for name in names}, 0, setting)

    p, low, high = (part[0] for part in side(10.0, 0.2).strata[near].estimate())
    found = differences_of(side(30.0, 0.2), side(10.0, 0.2))
    for quantity in ("p_missed", "p_false"):
        assert tuple(map(float, found[quantity])) == (0.0, 0.0, 0.0)
    assert found["cost_per_year"].p == pytest.approx(20 * (0.2 + 1.0) * p)  # both events alike
    assert found["cost_per_year"].low > 0
    dearer = differences_of(side(10.0, 0.5), side(10.0, 0.2))["cost_per_year"]
    assert [*map(float, dearer)] == pytest.approx([10 * 0.3 * part for part in (p, low, high)])
    gap = trip_cost_difference(side(10.0, 0.5), side(30.0, 0.2))
    assert gap is not None  # near: 10 * 0.5 - 30 * 0.2, far: 10 - 30
    assert gap.p == pytest.approx(-21 * p)


def test_limits_of_several_pairs_share_what_may_fail() -> None:
    assert level_of(1) == level_of(0) == 0.95
    assert level_of(10) == pytest.approx(0.995, abs=1e-12)
