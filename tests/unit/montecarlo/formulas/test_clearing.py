"""The first path that works: against every state one by one, products, limits."""

from __future__ import annotations

import os
from itertools import product

import numpy as np
import pytest

from montecarlo.formulas.clearing import first_that_works
from montecarlo.quantities import Array

SEED = int(os.environ.get("STATORODDS_TEST_SEED", "20"))
N, PATHS, PARTS = 40, 4, 3


def by_states(times: Array, failure: Array, parts: Array, needs: Array) -> Array:
    """One sample: each of the 2^(J + g) states, weighed and looked at."""
    found = np.zeros(len(times) + 1)
    for own in product((0, 1), repeat=len(times)):
        for common in product((0, 1), repeat=len(parts)):
            weight = np.prod([q if f else 1 - q for f, q in zip(own, failure, strict=True)])
            weight *= np.prod([q if f else 1 - q for f, q in zip(common, parts, strict=True)])
            works = [
                j
                for j in range(len(times))
                if not own[j]
                and np.isfinite(times[j])
                and not any(f and need[j] for f, need in zip(common, needs, strict=True))
            ]
            first = min(works, key=lambda j: (times[j], j)) if works else len(times)
            found[first] += weight
    return found


def case(*, parts: int = PARTS, paths: int = PATHS) -> tuple[Array, Array, Array, Array]:
    """Times on a few values, so that some are equal. Some paths do not see the fault, none of them
    that of the last sample."""
    rng = np.random.default_rng(SEED)
    times = rng.choice([0.02, 0.1, 0.4, np.inf], (N, paths))
    times[-1] = np.inf
    return times, rng.random((N, paths)), rng.random(parts), rng.random((parts, paths)) < 0.5


@pytest.mark.parametrize("parts", [0, 1, 2, 5])
@pytest.mark.parametrize("paths", [1, 2, 4])
def test_every_state_one_by_one(parts: int, paths: int) -> None:
    times, failure, common, needs = case(parts=parts, paths=paths)
    found = first_that_works(times, failure, common, needs)
    each = [by_states(t, q, common, needs) for t, q in zip(times, failure, strict=True)]
    np.testing.assert_allclose(found, each, atol=1e-14)


def test_probabilities_add_up_to_one() -> None:
    found = first_that_works(*case())
    assert found.shape == (N, PATHS + 1)
    assert np.all(found >= 0)
    np.testing.assert_allclose(found.sum(axis=1), 1, rtol=1e-14)


def test_without_common_parts_it_is_a_product() -> None:
    q = np.array([0.1, 0.2, 0.3])
    (found,) = first_that_works([[0.4, 0.02, 0.1]], q)
    assert found == pytest.approx([0.2 * 0.3 * 0.9, 0.8, 0.2 * 0.7, 0.1 * 0.2 * 0.3])


def test_what_never_fails_leaves_it_to_the_fastest() -> None:
    times, _, _, needs = case()
    found = first_that_works(times, np.zeros(PATHS), np.zeros(PARTS), needs)
    seen = np.isfinite(times).any(axis=1)
    assert 0 < seen.mean() < 1
    assert np.all(found[seen, np.argmin(times[seen], axis=1)] == 1)
    assert np.all(found[~seen, -1] == 1)
    assert np.all(found.sum(axis=1) == 1)


def test_a_path_that_always_fails_is_as_if_it_were_not_there() -> None:
    times, failure, parts, needs = case()
    failure[:, 0] = 1.0
    found = first_that_works(times, failure, parts, needs)
    rest = first_that_works(times[:, 1:], failure[:, 1:], parts, needs[:, 1:])
    assert np.all(found[:, 0] == 0)
    np.testing.assert_allclose(found[:, 1:], rest, atol=1e-15)


def test_a_path_that_does_not_see_the_fault_never_clears() -> None:
    times, failure, parts, needs = case()
    found = first_that_works(times, failure, parts, needs)
    assert np.all(found[:, :-1][np.isinf(times)] == 0)
    assert np.all(first_that_works(np.full((2, 3), np.inf), np.zeros(3)) == [0, 0, 0, 1])


def test_of_equal_times_the_earlier_column_comes_first() -> None:
    found = first_that_works(np.full((1, 20), 0.1), np.full(20, 0.5))
    np.testing.assert_allclose(found[0, :20], 0.5 ** np.arange(1, 21), rtol=1e-14)


def test_a_part_that_all_need_is_what_the_best_scheme_cannot_beat() -> None:
    """A battery: nobody clears at least as often as it fails."""
    found = first_that_works([[0.1, 0.2]], np.zeros(2), [1e-3], np.ones((1, 2), bool))
    assert found[0] == pytest.approx([0.999, 0.0, 0.001])


@pytest.mark.parametrize("p", [0.0, 1.0])
def test_a_part_of_one_state_is_that_state(p: float) -> None:
    """One that never fails is none; one that always fails takes its paths with it."""
    times, failure, parts, needs = case()
    found = first_that_works(times, failure, [*parts[:-1], p], needs)
    without = np.where(needs[-1], 1.0, failure) if p else failure
    np.testing.assert_allclose(
        found, first_that_works(times, without, parts[:-1], needs[:-1]), atol=1e-15
    )


def test_each_sample_may_have_parts_of_its_own() -> None:
    times, failure, _, needs = case()
    parts = np.random.default_rng(SEED + 1).random((N, PARTS))
    found = first_that_works(times, failure, parts, needs)
    each = [first_that_works(times[i : i + 1], failure[i], parts[i], needs)[0] for i in range(N)]
    np.testing.assert_allclose(found, each, atol=1e-15)


def test_an_unknown_time_leaves_its_sample_unknown() -> None:
    found = first_that_works([[0.1, np.nan], [0.1, 0.2]], [0.1, 0.1])
    assert np.isnan(found[0]).all()
    assert found[1] == pytest.approx([0.9, 0.09, 0.01])


def test_needs_the_wrong_way_round_are_refused() -> None:
    times, failure, parts, needs = case()
    with pytest.raises(IndexError):
        first_that_works(times, failure, parts, needs.T)


def test_common_parts_make_nobody_likelier_than_independence_would() -> None:
    """Of the same probability of failure for each path, shared or not."""
    q, p = 0.05, 0.02
    shared = first_that_works([[0.1, 0.2]], [q, q], [p], [[True, True]])[0, -1]
    apart = first_that_works([[0.1, 0.2]], [q, q], [p, p], np.eye(2, dtype=bool))[0, -1]
    assert apart == pytest.approx((1 - (1 - q) * (1 - p)) ** 2)
    assert shared == pytest.approx(p + (1 - p) * q**2)
    assert shared > apart
