"""Estimates from strata: what the interval of conditional types rests on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from montecarlo.estimates.assemble import Stratum, line_end_total, weighted
from montecarlo.estimates.intervals import student_mean
from montecarlo.estimates.paired import Half, paired
from montecarlo.quantities import Array
from montecarlo.sampling.design import BLOCKS

PLANTS, EVENTS = 4 * BLOCKS, 10


def stratum(means: Array, conditional: bool = True) -> Stratum:
    """means (C, M) of the plants, each of EVENTS samples."""
    trials = np.full(means.shape[1], float(EVENTS))
    return Stratum("internal.some", means * trials, trials, np.zeros(means.shape),
                   np.full(means.shape, 0.1) if conditional else None, None, None, None)


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(8)


def opposed(rng: np.random.Generator, blocks: Array) -> Array:
    """Plants that differ much inside a block and leave its mean at `blocks` (C, 16), as points of a net do."""
    off = rng.uniform(0, 0.2, (len(blocks), BLOCKS, 2))
    return np.asarray((blocks[..., None] + np.concatenate([off, -off], axis=-1)).reshape(len(blocks), -1))


def test_a_conditional_interval_is_student_t_over_the_blocks(rng: np.random.Generator) -> None:
    blocks = 0.4 + 0.01 * rng.random((3, BLOCKS))
    found, wanted = stratum(opposed(rng, blocks)).estimate(), student_mean(blocks)
    for one, other in zip(found, wanted, strict=True):
        assert one == pytest.approx(other, rel=1e-12)


def test_a_difference_is_paired_by_blocks_and_of_counts_by_plants(rng: np.random.Generator) -> None:
    blocks = 0.4 + 0.01 * rng.random((2, BLOCKS))
    means = opposed(rng, blocks)
    gap = student_mean(0.5 + blocks[0] - blocks[1])
    assert paired(*sides(stratum(means))) == pytest.approx([part - 0.5 for part in gap], rel=1e-9)
    by_plant = student_mean(0.5 + means[0] - means[1])
    assert paired(*sides(stratum(means, conditional=False))) == pytest.approx(
        [part - 0.5 for part in by_plant], rel=1e-9)


def sides(one: Stratum) -> tuple[Half, Half]:
    """Its first two candidates."""
    return Half([one], [1.0], 0), Half([one], [1.0], 1)


def test_a_total_knows_that_two_types_move_together_by_block(rng: np.random.Generator) -> None:
    blocks = 0.4 + 0.01 * rng.random((1, BLOCKS))
    one, other = stratum(opposed(rng, blocks)), stratum(opposed(rng, blocks))
    both, alone = weighted([one, other], [0.5, 0.5]), one.estimate()
    assert both.high - both.low == pytest.approx(alone.high - alone.low, rel=1e-6)
    apart = stratum(opposed(rng, 0.4 + 0.01 * rng.random((1, BLOCKS))))
    independent = weighted([one, apart], [0.5, 0.5])
    assert independent.high - independent.low < 0.95 * (both.high - both.low)


# --- samples without a result ------------------------------------------------------------------------------


@pytest.mark.parametrize("conditional", [True, False])
def test_a_difference_holds_whatever_the_unresolved_would_have_done(rng: np.random.Generator,
                                                                    conditional: bool) -> None:
    """Both ends: those that one side lost all missed and those of the other none, and the other way round."""
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
        clean.high - clean.low + 2 * lost.sum() / whole.trials.sum(), rel=0.02)     # means over fewer events


def test_a_plant_without_any_result_is_no_plant_that_misses_nothing(rng: np.random.Generator) -> None:
    means = rng.random((2, PLANTS))
    some = stratum(means, conditional=False)
    lost = np.zeros(means.shape)
    lost[:, 0] = EVENTS
    found = paired(*sides(replace(some, unresolved=lost, total=means * (EVENTS - lost))))
    assert found.p == pytest.approx((means[0] - means[1])[1:].mean(), rel=1e-12)
    nothing = paired(*sides(replace(some, unresolved=np.full(means.shape, float(EVENTS)), total=0 * means)))
    assert np.isnan(np.stack(nothing)).all()


def test_nothing_known_is_not_nothing_missed_under_the_other_law() -> None:
    means = np.full((2, PLANTS), 0.5)
    some = replace(stratum(means), line_end=means * EVENTS)
    assert line_end_total([some], [1.0]).tolist() == [0.5, 0.5]
    lost = np.array([np.full(PLANTS, float(EVENTS)), np.zeros(PLANTS)])
    assert np.isnan(line_end_total([replace(some, unresolved=lost)], [1.0])).tolist() == [True, False]
