"""Missed earth faults under other laws of the place: values by hand, and an optimum found by linear
programming."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import linprog

from montecarlo.estimates.assemble import Gathered
from montecarlo.estimates.counting import missed_places
from montecarlo.estimates.place_laws import (
    LAWS,
    STATED,
    Kind,
    PlaceLaw,
    best_under,
    missed_under,
)
from montecarlo.quantities import Array
from montecarlo.sampling.design import BLOCKS

SIZES = [7 + k % 3 for k in range(BLOCKS)]  # faults with a result in each block


def at(law: PlaceLaw, x: float, stated: float | None = None) -> float:
    return float(law.below(np.array(x), np.array(x if stated is None else stated)))


@pytest.mark.parametrize(
    ("kind", "factor", "x", "expected"),
    [
        (Kind.MOST, 2.0, 0.2, 0.4),  # below 1/3 twice as many
        (Kind.MOST, 2.0, 0.5, 0.75),  # 2/3 below 1/3, then half as many
        (Kind.LEAST, 2.0, 0.2, 0.1),
        (Kind.LEAST, 2.0, 0.8, 0.6),  # 1/3 below 2/3, then twice as many
        (Kind.MOST, 5.0, 0.1, 0.5),
        (Kind.LEAST, 5.0, 0.9, 0.5),
    ],
)
def test_laws_within_a_factor_by_hand(kind: Kind, factor: float, x: float, expected: float) -> None:
    assert at(PlaceLaw(kind, factor=factor), x) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(("exponent", "expected"), [(0, 0.2), (1, 0.04), (9, 0.2**10)])
def test_ageing_by_hand(exponent: float, expected: float) -> None:
    assert at(PlaceLaw(Kind.AGEING, exponent=exponent, flat=0.0), 0.2) == pytest.approx(expected)
    half = PlaceLaw(Kind.AGEING, exponent=exponent, flat=0.5)
    assert at(half, 0.2) == pytest.approx(0.1 + expected / 2)


def test_every_law_is_a_law() -> None:
    """None below the neutral, all below the terminals, never falling; also where the study's own
    law has no fault in a part of the winding."""
    x = np.linspace(0, 1, 401)
    for stated in (x, x**2, np.clip((x - 0.2) / 0.5, 0, 1)):
        for law in LAWS:
            found = law.below(x, stated)
            assert found[0] == pytest.approx(0, abs=1e-12)
            assert found[-1] == pytest.approx(1, abs=1e-12)
            assert (np.diff(found) >= -1e-12).all()


@pytest.mark.parametrize("factor", [2.0, 5.0])
def test_no_law_within_the_factor_gives_more_or_fewer(factor: float) -> None:
    """Cells of equal probability, a density ratio each: the optimum of a linear program over all
    ratios in [1/m, m] that make a law, for critical positions drawn at random."""
    rng = np.random.default_rng(5)
    cells = 120  # a multiple of m + 1: both closed forms change at the end of a cell
    ends = np.arange(1, cells + 1) / cells
    critical = np.sort(rng.integers(0, cells + 1, 40)) / cells  # at ends of cells, in probability
    missed = np.mean(ends[None, :] <= critical[:, None] + 1e-12, axis=0) / cells
    for kind, sign in ((Kind.MOST, -1), (Kind.LEAST, 1)):
        best = linprog(
            sign * missed,
            A_eq=np.full((1, cells), 1 / cells),
            b_eq=[1.0],
            bounds=[(1 / factor, factor)] * cells,
        )
        found = PlaceLaw(kind, factor=factor).below(critical, critical).mean()
        assert found == pytest.approx(sign * best.fun, abs=1e-9)


def sampled() -> tuple[Gathered, Array]:
    """Two lattices, (2 x 3 x 2) and (1 x 1 x 1); x* of each candidate in each fault, (13, n)."""
    rng = np.random.default_rng(3)
    phase_x, earth_x, every = [], [], []
    for phase, earth, delays in ((2, 3, 2), (1, 1, 1)):
        x, y = (
            tuple(rng.random((n, k, delays)).astype(np.float32) for n in SIZES)
            for k in (phase, earth)
        )
        x[0][0] = np.nan  # operates on the load: missed anywhere
        both = [missed_places(a[:, :, None], b[:, None]) for a, b in zip(x, y, strict=True)]
        every.append(np.concatenate([one.reshape(len(one), -1) for one in both]).T)
        phase_x.append(x)
        earth_x.append(y)
    none = np.zeros((13, BLOCKS))
    found = Gathered(
        "internal.earth", none, none[0], none, none, None, tuple(phase_x), tuple(earth_x)
    )
    return found, np.concatenate(every).astype(float)


def test_p_is_the_mean_over_all_faults() -> None:
    stratum, every = sampled()
    wanted = np.isin(np.arange(13), [0, 7, 12])
    found = missed_under(stratum, LAWS, lambda x: x**2, wanted)
    for k, law in enumerate(LAWS):
        expected = law.below(every[wanted], every[wanted] ** 2).mean(axis=1)
        assert found.p[k] == pytest.approx(expected, abs=1e-12)
    assert found.p[LAWS.index(STATED)] == pytest.approx((every[wanted] ** 2).mean(axis=1))
    assert found.faults.tolist() == [SIZES] * 3


def test_a_block_without_a_result_does_not_count() -> None:
    stratum, _ = sampled()
    assert stratum.phase_x is not None
    assert stratum.earth_x is not None
    empty = [
        tuple((blocks[0][:0], *blocks[1:]) for blocks in kept)
        for kept in (stratum.phase_x, stratum.earth_x)
    ]
    wanted = np.ones(13, bool)
    less = missed_under(
        replace(stratum, phase_x=empty[0], earth_x=empty[1]), LAWS, lambda x: x, wanted
    )
    whole = missed_under(stratum, LAWS, lambda x: x, wanted)
    assert np.isnan(less.by_block[:, :, 0]).all()
    assert (less.by_block[:, :, 1:] == whole.by_block[:, :, 1:]).all()
    weights = np.array(SIZES[1:]) / sum(SIZES[1:])
    assert less.p == pytest.approx(whole.by_block[:, :, 1:] @ weights)


def test_a_law_may_prefer_another_candidate() -> None:
    """One misses a quarter of the winding of every fault, another a little or half of it: that one
    is better where most faults lie near the neutral, by hand 0.50 to 0.85."""
    rng = np.random.default_rng(7)
    x = np.stack([np.full(640, 0.25), np.tile([0.02, 0.5], 320), np.full(640, 0.4)])
    x = x + 1e-3 * rng.random(x.shape)
    missed = np.stack([law.below(x, x) for law in LAWS])
    by_block = missed.reshape(len(LAWS), 3, BLOCKS, -1).mean(axis=-1)
    found = best_under(missed.mean(axis=-1), by_block, LAWS.index(STATED), 0)
    near = LAWS.index(PlaceLaw(Kind.MOST, factor=5.0))
    assert missed.mean(axis=-1)[near] == pytest.approx([0.85, 0.5, 0.88], abs=0.005)
    assert found[near] == 1
    assert LAWS.index(STATED) not in found
    assert set(found.values()) == {1}
    assert not best_under(missed.mean(axis=-1), by_block, LAWS.index(STATED), 1)


def test_a_preference_within_the_scatter_is_none() -> None:
    rng = np.random.default_rng(8)
    by_block = 0.3 + 0.05 * rng.standard_normal((2, 3, BLOCKS))
    by_block[0, 0] -= 0.2  # under the first law, stated, surely the best
    whole = by_block.mean(axis=-1)
    assert best_under(whole, by_block, 0, 0) == {}
