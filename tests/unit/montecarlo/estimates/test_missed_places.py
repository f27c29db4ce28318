"""Where missed earth faults lie: exact in the place, counted by hand fault by fault."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from montecarlo.estimates.assemble import Gathered
from montecarlo.estimates.missed_places import missed_by_place
from montecarlo.quantities import Array
from montecarlo.sampling.design import BLOCKS

SIZES = [40 + k for k in range(BLOCKS)]  # faults with a result in each block
PLACES = np.array([0.0, 0.1, 0.25, 0.5, 0.8, 1.0])


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(11)


def sampled(rng: np.random.Generator, ohms: Array) -> tuple[Gathered, Array]:
    """Two lattices, (2 x 3 x 2) and (1 x 1 x 1); x* of each candidate in each fault, (13, n)."""
    phase_x, earth_x, every = [], [], []
    for phase, earth, delays in ((2, 3, 2), (1, 1, 1)):
        x, y = ([rng.random((n, k, delays)) ** 2 for n in SIZES] for k in (phase, earth))
        for one in (*x, *y):
            one[rng.random(one.shape) < 0.05] = np.nan  # operates on the load
        both = [np.minimum(a[:, :, None], b[:, None]) for a, b in zip(x, y, strict=True)]
        missed = np.concatenate([one.reshape(len(one), -1) for one in both])
        every.append(np.where(np.isnan(missed), 1.0, missed).T)
        phase_x.append(tuple(one.astype(np.float32) for one in x))
        earth_x.append(tuple(one.astype(np.float32) for one in y))
    none = np.zeros((13, BLOCKS))
    cut = tuple(part.astype(np.float32) for part in np.split(ohms, np.cumsum(SIZES)[:-1]))
    found = Gathered(
        "internal.earth", none, none[0], none, none, None, tuple(phase_x), tuple(earth_x)
    )
    return replace(found, fault_ohm=(cut, cut)), np.concatenate(every)


@pytest.mark.parametrize("power", [1.0, 3.0])
def test_every_cell_is_the_mean_over_its_faults(rng: np.random.Generator, power: float) -> None:
    """The law of the place is x^power: P(missed | a < x < b) of one fault by a fine sum."""
    ohms = rng.lognormal(1.0, 1.0, sum(SIZES))
    stratum, every = sampled(rng, ohms)
    uniform = (np.arange(4000) + 0.5) / 4000
    for candidate in (0, 4, 11, 12):
        found = missed_by_place(stratum, candidate, lambda x: x**power, classes=5, places=PLACES)
        assert found is not None
        assert found.from_ohm[0] == pytest.approx(ohms.min(), rel=1e-6)
        assert found.to_ohm[-1] == pytest.approx(ohms.max(), rel=1e-6)
        order = np.argsort(ohms)
        for k, mine in enumerate(np.array_split(every[candidate][order], 5)):
            for part, (low, high) in enumerate(pairwise(PLACES)):
                ends = low**power + uniform * (high**power - low**power)
                missed = np.mean(ends ** (1 / power) < mine[:, None])
                assert found.p_missed.p[k, part] == pytest.approx(missed, abs=3e-3)
        whole = np.mean(every[candidate] ** power)
        assert np.sum(found.share_of_faults) == pytest.approx(1.0, abs=1e-12)
        assert np.sum(found.share_of_faults * found.p_missed.p) == pytest.approx(whole, abs=1e-6)
        assert np.sum(found.share_of_missed) == pytest.approx(1.0, abs=1e-12)
        inside = (found.p_missed.low <= found.p_missed.p) & (
            found.p_missed.p <= found.p_missed.high
        )
        assert inside.all()


def test_few_resistances_are_a_class_each(rng: np.random.Generator) -> None:
    ohms = rng.choice([0.0, 10.0, 500.0], sum(SIZES), p=[0.5, 0.3, 0.2])
    stratum, _ = sampled(rng, ohms)
    found = missed_by_place(stratum, 3, lambda x: x, classes=5, places=PLACES)
    assert found is not None
    assert found.from_ohm.tolist() == found.to_ohm.tolist() == [0.0, 10.0, 500.0]
    counted = [np.mean(ohms == ohm) for ohm in found.from_ohm]
    assert found.share_of_faults.sum(axis=1) == pytest.approx(counted)


def test_there_is_nothing_without_a_result(rng: np.random.Generator) -> None:
    stratum, _ = sampled(rng, np.ones(sum(SIZES)))
    none = tuple(part[:0] for part in stratum.fault_ohm[0])  # type: ignore[index]
    x = tuple(np.empty((0, 1, 1), np.float32) for _ in none)
    empty = replace(stratum, phase_x=(x,), earth_x=(x,), fault_ohm=(none,))
    assert missed_by_place(empty, 0, lambda x: x, classes=5, places=PLACES) is None
