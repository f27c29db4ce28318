"""Which relay circuits a round leaves out, on made-up counts."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from montecarlo.estimates.assemble import Gathered
from montecarlo.estimates.choose import judge
from montecarlo.estimates.racing import Race, _finest
from montecarlo.sampling.stratum import Stratum
from montecarlo.study.candidates import candidate_lattices, settings_of
from montecarlo.study.strata import strata
from tests.made.studies import FEW_TYPES, study_with

M, EVENTS = 32, 200  # installations, and events of each: 6,400 samples
# Three circuits with two candidates each: a fine phase pick-up, then a coarse one
GRIDS: dict[str, Any] = FEW_TYPES | {
    "candidates.stabilising_resistance_ohm": [0, 100, 1000],
    "candidates.phase_pickup_a": [0.2, 0.8],
    "candidates.earth_pickup_a": [0.1],
    "candidates.delay_s": [0.0],
    "policy.p_false_max": 0.01,
    "policy.ignore_knee_rule": True,
}
MISSED, TRIPS = [0.1, 0.2, 0.3, 0.4, 0.3, 0.5], [0.0] * 6


def race(
    missed: list[float] = MISSED,
    trips: list[float] = TRIPS,
    on_load: list[float] | None = None,
    error: float = 0.002,
    changes: dict[str, Any] | None = None,
) -> Race:
    """Every installation has the shares given; so nothing scatters but the counts."""
    study = study_with(GRIDS | (changes or {}))
    lattices = candidate_lattices(study)
    shares = {"internal": missed, "external": trips, "state": on_load or [0.0] * 6}

    def counts(name: Stratum) -> Gathered:
        share = np.array(shares[name.side.value])
        total = np.round(share[:, None] * EVENTS) * np.ones(M)
        noise = np.zeros_like(total) if name == "internal.earth" else None
        trials = np.full(M, float(EVENTS))
        return Gathered(name, total, trials, 0 * total, noise, None, None, None)

    found = {name: counts(name) for name in strata(study)}
    return Race(study, lattices, found, judge(study, lattices, found), error, lattices)


def left_out(one: Race, **how: Any) -> tuple[int, ...]:
    kept = how.pop("kept", frozenset())
    return one.left_out(kept, **({"by_scheme": False, "refused_only": False} | how))


def test_circuits_that_surely_miss_more_than_an_allowed_leader_go() -> None:
    assert left_out(race()) == (1, 2)


def test_without_a_setting_that_the_policy_surely_allows_nobody_is_behind() -> None:
    """One trip in 200 in each candidate: 0.005 has an upper limit near 0.01 at these levels."""
    assert left_out(race(trips=[0.01] * 6)) == ()


def test_a_circuit_goes_whose_every_candidate_surely_trips_too_often() -> None:
    assert left_out(race(trips=[0.1, 0.1, 0.0, 0.0, 0.0, 0.0])) == (0,)


def test_a_fine_candidate_that_is_refused_does_not_hold_its_circuit() -> None:
    """0 ohm misses 1 % where it trips too often, and 35 % where it does not."""
    one = race([0.01, 0.35, 0.1, 0.2, 0.12, 0.3], [0.2, 0.0, 0.0, 0.0, 0.0, 0.0])
    assert 0 in left_out(one)


def test_operation_on_a_single_load_refuses_for_good() -> None:
    missed = [0.1, 0.2, 0.3, 0.4, 0.3, 0.5]  # the last two circuits are alike
    assert left_out(race(missed, on_load=[1 / EVENTS, 1 / EVENTS, 0, 0, 0, 0])) == (0,)


@pytest.mark.parametrize(("more", "gone"), [(0, ()), (4, ()), (M, (1,))])
def test_a_difference_that_the_samples_do_not_show_keeps_a_circuit(
    more: int, gone: tuple[int, ...]
) -> None:
    """The second circuit misses ten faults more on so many installations."""
    one = race([0.1, 0.2, 0.1, 0.3, 0.1, 0.2])
    shares = one.study.internal_faults.shares
    assert shares.phase_phase > 0
    one.strata[Stratum("internal.phase_phase")].total[2, :more] += 10
    judged = judge(one.study, one.lattices, one.strata)
    assert left_out(replace(one, judged=judged)) == gone


def test_kept_candidates_hold_their_circuits() -> None:
    one = race()
    assert left_out(one, kept=frozenset(settings_of(one.lattices)[2:3])) == (2,)


def test_by_refusals_alone_nobody_is_behind() -> None:
    assert left_out(race(), refused_only=True) == ()


def test_of_circuits_that_are_all_refused_the_closest_to_the_policy_stays() -> None:
    assert left_out(race(trips=[0.5, 0.5, 0.5, 0.4, 0.5, 0.5])) == (0, 2)


def test_the_best_setting_without_delay_keeps_its_circuit() -> None:
    """With a delay the first circuit is best, without one the second."""
    changes = {"candidates.delay_s": [0.0, 0.2], "candidates.phase_pickup_a": [0.8]}
    one = race([0.3, 0.1, 0.2, 0.2, 0.4, 0.4], changes=changes)
    assert left_out(one) == (2,)


def test_a_smaller_error_leaves_out_no_more() -> None:
    trips = [0.0, 0.0, 0.03, 0.03, 0.02, 0.02]
    gone = [
        {*left_out(race(trips=trips, error=error), refused_only=True)}
        for error in (0.1, 1e-3, 1e-6, 1e-12)
    ]
    assert all(later <= sooner for sooner, later in pairwise(gone))
    assert gone[0] != gone[-1]


def test_where_costs_are_weighed_the_dearer_circuits_go() -> None:
    cost = {"missed_fault": 1000.0, "false_trip": 1.0, "unit": "EUR"}
    changes = {"policy": {"least_annual_cost": cost, "ignore_knee_rule": True}}
    assert left_out(race(changes=changes)) == (1, 2)


def test_the_finest_of_some_candidates_cover_the_others() -> None:
    rng = np.random.default_rng(1)
    shape = (3, 4, 2)
    cells = np.arange(100, 124)
    for _ in range(200):
        some = cells[rng.random(24) < 0.4]
        kept = {*_finest(some, cells, shape).tolist()}
        places = {int(one): np.unravel_index(one - 100, shape) for one in some}
        for one, place in places.items():
            covered = any(
                other != one and all(np.array(there) <= np.array(place))
                for other, there in places.items()
            )
            assert (one in kept) == (not covered)
