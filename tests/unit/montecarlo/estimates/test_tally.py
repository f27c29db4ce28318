"""Tallies against plain loops over samples and settings."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from montecarlo.estimates.counting import (
    count_missed,
    count_operated,
    joint_counts,
    missed_places,
    one_setting,
    places_kept,
    step_noise,
    sum_conditional,
)
from montecarlo.estimates.tally import BackupTally, LatticeTally, Pickups, Tally

INSTALLATIONS, EVENTS, DELAYS = 3, 7, 2
N = INSTALLATIONS * EVENTS
ALONG = np.random.default_rng(6).random(N)  # of each event, the input that decides most
PHASE, EARTH = np.array([0.1, 0.2, 0.4]), np.array([0.01, 0.03])


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(5)


def pickups(rng: np.random.Generator, columns: int, scale: float = 1.0) -> Pickups:
    return Pickups(
        scale * rng.uniform(0, 0.5, (N, columns)), scale * rng.uniform(0, 0.04, (N, columns))
    )


def test_joint_counts_are_what_a_loop_counts(rng: np.random.Generator) -> None:
    phase, earth = rng.integers(0, 4, (N, 2)), rng.integers(0, 3, (N, 2))
    a = phase[:, None] <= np.arange(3)[:, None]
    b = earth[:, None] <= np.arange(2)[:, None]
    weights = rng.uniform(0, 2, N)
    expected = np.einsum("npd,ned->nped", a, b).reshape(INSTALLATIONS, EVENTS, 3, 2, 2).sum(axis=1)
    assert np.array_equal(joint_counts(phase, earth, (3, 2), INSTALLATIONS), expected)
    weighted = (
        np.einsum("n,npd,ned->nped", weights, a, b)
        .reshape(INSTALLATIONS, EVENTS, 3, 2, 2)
        .sum(axis=1)
    )
    assert joint_counts(phase, earth, (3, 2), INSTALLATIONS, weights) == pytest.approx(
        weighted, rel=1e-12
    )


def test_operated_means_any_element_and_unresolved_is_kept_apart(rng: np.random.Generator) -> None:
    event = pickups(rng, DELAYS)
    event.phase[4] = np.nan
    tally = count_operated(event, PHASE, EARTH, DELAYS, INSTALLATIONS)
    assert tally.unresolved.tolist() == [1, 0, 0]
    assert tally.trials.tolist() == [EVENTS] * INSTALLATIONS
    assert event.earth is not None
    for p, phase in enumerate(PHASE):
        for e, earth in enumerate(EARTH):
            operated = (event.phase > phase) | (event.earth > earth)
            operated[4] = False
            assert np.array_equal(
                tally.total[:, p, e], operated.reshape(INSTALLATIONS, EVENTS, DELAYS).sum(axis=1)
            )


def test_missed_counts_a_sample_that_would_have_operated_on_load(rng: np.random.Generator) -> None:
    fault, load = pickups(rng, 1), pickups(rng, 1, scale=0.6)
    weight = rng.uniform(0, 2, N)
    tally = count_missed(fault, load, PHASE, EARTH, DELAYS, INSTALLATIONS, weight)
    assert fault.earth is not None
    assert load.earth is not None
    assert tally.line_end is not None
    for p, phase in enumerate(PHASE):
        for e, earth in enumerate(EARTH):
            detects = (fault.phase[:, 0] > phase) | (fault.earth[:, 0] > earth)
            on_load = (load.phase[:, 0] > phase) | (load.earth[:, 0] > earth)
            missed = (~detects | on_load).reshape(INSTALLATIONS, EVENTS)
            for d in range(DELAYS):
                assert np.array_equal(tally.total[:, p, e, d], missed.sum(axis=1))
                assert tally.line_end[:, p, e, d] == pytest.approx(
                    (missed * weight.reshape(INSTALLATIONS, EVENTS)).sum(axis=1), abs=1e-12
                )


def test_the_earth_fault_is_missed_over_the_shortest_stretch(rng: np.random.Generator) -> None:
    phase_x, earth_x = rng.uniform(0, 1, (N, 3, DELAYS)), rng.uniform(0, 1, (N, 2, DELAYS))
    load = Pickups(np.zeros((N, 1)), np.zeros((N, 1)))
    load.phase[0] = 9.0  # operates on load: missed whatever the fault
    earth_x[1] = np.nan
    tally = sum_conditional(
        phase_x, earth_x, load, PHASE, EARTH, INSTALLATIONS, lambda x: x, ALONG, True
    )
    assert tally.unresolved.tolist() == [1, 0, 0]
    x = np.minimum(phase_x[:, :, None], earth_x[:, None])
    x[0], x[1] = 1.0, 0.0
    assert tally.total == pytest.approx(
        x.reshape(INSTALLATIONS, EVENTS, 3, 2, DELAYS).sum(axis=1), rel=1e-12
    )
    assert tally.line_end == pytest.approx(
        (x**2).reshape(INSTALLATIONS, EVENTS, 3, 2, DELAYS).sum(axis=1), rel=1e-12
    )
    resolved = np.arange(N) != 1
    assert tally.noise == pytest.approx(step_noise(x, resolved, ALONG, INSTALLATIONS), rel=1e-12)
    kept = places_kept(phase_x, earth_x, load, PHASE, EARTH, ALONG)
    assert sum(part.nbytes for part in kept) == 4 * (N - 1) * ((3 + 2) * DELAYS + 1)
    assert kept[2] == pytest.approx(ALONG[resolved], abs=6e-8)
    assert missed_places(kept[0][:, :, None], kept[1][:, None]) == pytest.approx(
        x[resolved], abs=6e-8
    )


def test_noise_comes_from_the_steps_between_neighbours(rng: np.random.Generator) -> None:
    y, resolved = rng.random((N, 2)), np.arange(N) != 9
    noise = step_noise(y, resolved, ALONG, INSTALLATIONS)
    for installation in range(INSTALLATIONS):
        own = np.arange(installation * EVENTS, (installation + 1) * EVENTS)
        own = own[np.argsort(ALONG[own])]
        steps = [(y[a] - y[b]) ** 2 for a, b in pairwise(own) if resolved[a] and resolved[b]]
        assert noise[installation] == pytest.approx(
            resolved[own].sum() * np.mean(steps, axis=0) / 2, rel=1e-12
        )
    assert np.isnan(
        step_noise(
            y[:INSTALLATIONS], resolved[:INSTALLATIONS], ALONG[:INSTALLATIONS], INSTALLATIONS
        )
    ).all()


def test_noise_of_random_events_is_their_variance_and_that_of_a_trend_is_small(
    rng: np.random.Generator,
) -> None:
    along, chance = rng.random(8 * 4000), rng.random(8 * 4000)
    every = np.ones(along.size, bool)
    # n·S² of 8 uniforms: 8/12; the mean of 4,000 installations is off by 5 % once in a million
    # seeds
    assert step_noise(chance, every, along, 4000).mean() == pytest.approx(8 / 12, rel=0.05)
    even = np.tile(np.arange(8) / 8, 4000) + along / 8  # one event in each eighth, as on a net
    assert step_noise(even, every, even, 4000).mean() < 0.15 * 8 / 12


def test_tallies_add(rng: np.random.Generator) -> None:
    one, other = (
        Tally(
            (count_operated(pickups(rng, DELAYS), PHASE, EARTH, DELAYS, INSTALLATIONS),),
            {"seen": k},
        )
        for k in (1.0, 2.0)
    )
    both = one + other
    assert np.array_equal(both.lattices[0].total, one.lattices[0].total + other.lattices[0].total)
    assert both.lattices[0].trials.tolist() == [2 * EVENTS] * INSTALLATIONS
    assert both.counts == {"seen": 3.0}


def test_classes_add_and_split_as_the_lattices_do(rng: np.random.Generator) -> None:
    def drawn() -> LatticeTally:
        return count_operated(pickups(rng, DELAYS), PHASE, EARTH, DELAYS, INSTALLATIONS)

    one, other = (Tally((drawn(),), classes={"a": (drawn(),), "b": (drawn(),)}) for _ in range(2))
    both = one + other
    assert [*both.classes] == ["a", "b"]
    (summed,) = both.classes["b"]
    assert np.array_equal(summed.total, one.classes["b"][0].total + other.classes["b"][0].total)
    parts = both.split(INSTALLATIONS)
    found = np.concatenate([part.classes["b"][0].total for part in parts])
    assert np.array_equal(found, summed.total)


# --- with a back-up -----------------------------------------------------------


def test_of_counted_faults_nobody_catches_what_is_missed_and_left(rng: np.random.Generator) -> None:
    fault, load = pickups(rng, 1), pickups(rng, 1, scale=0.6)
    fault.phase[3] = np.nan
    left = rng.random(N) < 0.4
    nobody = count_missed(
        fault, load, PHASE, EARTH, DELAYS, INSTALLATIONS, None, np.asarray(left, float)
    )
    assert fault.earth is not None
    assert load.earth is not None
    assert nobody.unresolved.tolist() == [1, 0, 0]
    for p, phase in enumerate(PHASE):
        for e, earth in enumerate(EARTH):
            detects = (fault.phase[:, 0] > phase) | (fault.earth[:, 0] > earth)
            on_load = (load.phase[:, 0] > phase) | (load.earth[:, 0] > earth)
            both = (~detects | on_load) & left
            both[3] = False
            assert np.array_equal(
                nobody.total[:, p, e, 0], both.reshape(INSTALLATIONS, EVENTS).sum(axis=1)
            )


def test_of_earth_faults_nobody_catches_the_shorter_stretch_even_where_load_operates(
    rng: np.random.Generator,
) -> None:
    phase_x, earth_x, backup_x = (
        rng.uniform(0, 1, (N, 3, 1)),
        rng.uniform(0, 1, (N, 2, 1)),
        rng.uniform(0, 1, N),
    )
    load = Pickups(np.zeros((N, 1)), np.zeros((N, 1)))
    load.phase[0] = 9.0
    tally = sum_conditional(
        phase_x, earth_x, load, PHASE, EARTH, INSTALLATIONS, lambda x: x**2, ALONG, False, backup_x
    )
    x = np.minimum(phase_x[:, :, None], earth_x[:, None])
    x[0] = 1.0
    y = np.minimum(x, backup_x[:, None, None, None]) ** 2
    assert tally.total == pytest.approx(
        y.reshape(INSTALLATIONS, EVENTS, 3, 2, 1).sum(axis=1), rel=1e-12
    )
    assert tally.noise == pytest.approx(
        step_noise(y, np.ones(N, bool), ALONG, INSTALLATIONS), rel=1e-12
    )


def test_the_backup_itself_is_one_setting_and_adds(rng: np.random.Generator) -> None:
    y = rng.uniform(0, 1, N)
    one = one_setting(y, INSTALLATIONS, along=ALONG)
    assert one.total[:, 0, 0, 0] == pytest.approx(y.reshape(INSTALLATIONS, EVENTS).sum(axis=1))
    assert one.noise == pytest.approx(
        step_noise(y, np.ones(N, bool), ALONG, INSTALLATIONS)[:, None, None, None]
    )
    assert one_setting(y > 0.5, INSTALLATIONS).noise is None
    tally = Tally((one,), backup=BackupTally(one, (one, one)))
    both = (tally + tally).backup
    assert both is not None
    assert np.array_equal(both.operates.total, 2 * one.total)
    assert [np.array_equal(part.total, 2 * one.total) for part in both.nobody] == [True, True]
    assert (tally + Tally((one,))).backup is None
