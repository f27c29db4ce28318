"""Estimates from strata: what the interval of conditional types rests on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from montecarlo.estimates.assemble import Gathered, line_end_total, weighted
from montecarlo.estimates.intervals import student_mean
from montecarlo.quantities import Array
from montecarlo.sampling.design import BLOCKS

INSTALLATIONS, EVENTS = 4 * BLOCKS, 10


def stratum(means: Array, conditional: bool = True) -> Gathered:
    """means (C, M) of the installations, each of EVENTS samples."""
    trials = np.full(means.shape[1], float(EVENTS))
    return Gathered(
        "internal.some",
        means * trials,
        trials,
        np.zeros(means.shape),
        np.full(means.shape, 0.1) if conditional else None,
        None,
        None,
        None,
    )


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(8)


def opposed(rng: np.random.Generator, blocks: Array) -> Array:
    """Installations that differ much inside a block and leave its mean at `blocks` (C, 16), as
    points of a net do."""
    off = rng.uniform(0, 0.2, (len(blocks), BLOCKS, 2))
    return np.asarray(
        (blocks[..., None] + np.concatenate([off, -off], axis=-1)).reshape(len(blocks), -1)
    )


def test_a_conditional_interval_is_student_t_over_the_blocks(rng: np.random.Generator) -> None:
    blocks = 0.4 + 0.01 * rng.random((3, BLOCKS))
    found, wanted = stratum(opposed(rng, blocks)).estimate(), student_mean(blocks)
    for one, other in zip(found, wanted, strict=True):
        assert one == pytest.approx(other, rel=1e-12)


def test_a_total_knows_that_two_types_move_together_by_block(rng: np.random.Generator) -> None:
    blocks = 0.4 + 0.01 * rng.random((1, BLOCKS))
    one, other = stratum(opposed(rng, blocks)), stratum(opposed(rng, blocks))
    both, alone = weighted([one, other], [0.5, 0.5]), one.estimate()
    assert both.high - both.low == pytest.approx(alone.high - alone.low, rel=1e-6)
    apart = stratum(opposed(rng, 0.4 + 0.01 * rng.random((1, BLOCKS))))
    independent = weighted([one, apart], [0.5, 0.5])
    assert independent.high - independent.low < 0.95 * (both.high - both.low)


# --- samples without a result -------------------------------------------------


def test_nothing_known_is_not_nothing_missed_under_the_other_law() -> None:
    means = np.full((2, INSTALLATIONS), 0.5)
    some = replace(stratum(means), line_end=means * EVENTS)
    assert line_end_total([some], [1.0]).tolist() == [0.5, 0.5]
    lost = np.array([np.full(INSTALLATIONS, float(EVENTS)), np.zeros(INSTALLATIONS)])
    assert np.isnan(line_end_total([replace(some, unresolved=lost)], [1.0])).tolist() == [
        True,
        False,
    ]
