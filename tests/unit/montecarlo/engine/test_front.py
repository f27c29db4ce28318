"""The front of settings that keep to each of some limits on false trips, on made judgements."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from montecarlo.engine.front import LIMITS, front_limits, front_of
from montecarlo.errors import StudyError
from montecarlo.estimates.choose import Judgement
from montecarlo.estimates.totals import Total
from montecarlo.quantities import Array
from montecarlo.sampling.stratum import Side, Stratum
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import candidate_lattices, settings_of
from montecarlo.study.description import Study
from tests.made.studies import study_with

TODAY = (0.1, 0.046, 0.022, 0.01, 0.0046, 0.0022, 1e-3, 4.6e-4, 2.2e-4, 1e-4, 4.6e-5, 2.2e-5, 1e-5)
NEAR = Stratum.of(Side.EXTERNAL, "near_fault")


def total(values: Array) -> Total:
    return Total(values, 0.9 * values, 1.1 * values)


def made(study: Study, seed: int = 1) -> tuple[list[Setting], Judgement]:
    """Settings with invented estimates; a fifth of them is not usable."""
    settings = settings_of(candidate_lattices(study))
    rng = np.random.default_rng(seed)
    count = len(settings)
    missed, false = rng.random(count), 10 ** rng.uniform(-6, 0, count)
    quiet = np.zeros(count)
    usable = rng.random(count) > 0.2
    judged = Judgement(
        missed=total(missed),
        false=total(false),
        bound=1.2 * false,
        load_share=quiet,
        open_ct_circuit_share=quiet,
        unresolved=quiet,
        knee_rule=usable,
        allowed=usable,
        usable=usable,
        limit_used=quiet,
        each={NEAR: rng.permutation(false)},
    )
    return settings, judged


def test_limits_are_evenly_spaced_in_the_logarithm() -> None:
    assert front_limits(study_with({})) == TODAY
    limits = front_limits(study_with({"policy.front": [0.05, 0.001]}))
    assert len(limits) == LIMITS
    assert (limits[0], limits[-1]) == (0.05, 0.001)
    assert np.diff(np.log(limits)) == pytest.approx(np.log(0.02) / 12, rel=0.2)  # two digits


def test_limits_that_lie_close_stay_apart() -> None:
    limits = front_limits(study_with({"policy.front": [0.1, 0.0999]}))
    assert len(set(limits)) == LIMITS
    assert list(limits) == sorted(limits, reverse=True)


@pytest.mark.parametrize("seed", range(5))
def test_each_point_is_the_best_that_keeps_to_its_limit(seed: int) -> None:
    study = study_with({})
    settings, judged = made(study, seed)
    points = [*front_of(study, settings, judged, settings[0].scheme, 512)]
    for point, limit in zip(points, TODAY, strict=False):
        keeping = judged.usable & (judged.bound <= limit)
        assert point.limit == limit
        assert point.p_missed == judged.missed.total[keeping].min()
        assert point.bound <= limit
        at = settings.index(point.setting)
        assert (point.p_false, point.bound) == (judged.false.total[at], judged.bound[at])
    missed = [point.p_missed for point in points]
    assert missed == sorted(missed)  # a tighter limit never misses less
    assert not (judged.usable & (judged.bound <= [*TODAY, 0][len(points)])).any()


def test_another_scheme_has_no_point() -> None:
    study = study_with({})
    settings, judged = made(study)
    assert not [*front_of(study, settings, judged, "per_phase", 512)]


def test_the_limit_on_each_kind_of_event_holds_too() -> None:
    study = study_with({"policy.p_false_max_each": 0.01})
    settings, judged = made(study)
    for point in front_of(study, settings, judged, settings[0].scheme, 512):
        assert judged.each[NEAR][settings.index(point.setting)] <= 0.01


@pytest.mark.parametrize(
    "front",
    [[0.1], [0.1, 1e-2, 1e-3], [1e-5, 0.1], [0.1, 0.1], [0.1, 0], [1.5, 0.1], [0.1, -1], "0.1"],
)
def test_nonsense_is_refused(front: object) -> None:
    with pytest.raises(StudyError, match=r"^policy\.front: .*limit") as error:
        study_with({"policy.front": front})
    assert "\n" not in str(error.value)


def test_a_front_below_what_counts_show_is_refused() -> None:
    """512 samples without a false trip of two events show 0.5 %."""
    with pytest.raises(
        StudyError, match=r"^policy\.front: \[0.004, 0.0001\], 512 .* study.samples"
    ):
        study_with({"policy.front": [4e-3, 1e-4]})
    assert study_with({"policy.front": [6e-3, 1e-4]}).policy.front == (6e-3, 1e-4)
    weighted = {"policy.front": [4e-3, 1e-4], "study.rare_samples": 4096}  # may show it
    assert study_with(weighted).policy.front == (4e-3, 1e-4)


def test_of_equal_settings_the_one_with_fewer_false_trips() -> None:
    study = study_with({})
    settings, judged = made(study)
    alike = replace(judged, missed=total(np.full(len(settings), 0.3)))
    first, *_ = front_of(study, settings, alike, settings[0].scheme, 512)
    assert first.bound == judged.bound[judged.usable].min()
