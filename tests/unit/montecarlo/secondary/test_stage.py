"""What the stages' code is made of, on plain numbers: sums, inverses, the legs' equations."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from montecarlo.relays.schemes import BUILT_IN, build_scheme
from montecarlo.secondary import stage, stage_code
from montecarlo.secondary import workspace as at
from montecarlo.secondary.stage import Wiring

SEED = 3  # of the random numbers


class Lane(np.ndarray):
    """A number that answers like those of code that is being written."""

    def less(self, bound: Any, then: Any, otherwise: Any) -> Lane:
        return np.where(self < bound, then, otherwise).view(Lane)

    def equals(self, other: Any, then: Any, otherwise: Any) -> Lane:
        return np.where(self == other, then, otherwise).view(Lane)


def number(value: float) -> Lane:
    return np.array([value]).view(Lane)


class Rows(dict[int, Lane]):
    def number(self, value: float) -> Lane:
        return number(value)


TABLES = {
    **{name: build_scheme(name).table for name in BUILT_IN},
    "a leg with no CT": np.array([[1.0, -1.0], [0.0, 0.0]]),
    "legs in a chain": np.array([[1.0, 1.0, 0, 0], [0, 1, 1, 0], [0, 0, 1, 1], [1, 0, 0, 1]]),
    "two turns": np.array([[2.0, -1.0, 0.0], [0.0, 0.5, 1.0]]),
}


@pytest.fixture(params=TABLES, ids=str)
def table(request: pytest.FixtureRequest) -> np.ndarray:
    return np.asarray(TABLES[request.param])


def _wiring(table: np.ndarray) -> Wiring:
    cts = table.shape[1]
    return Wiring(tuple(map(tuple, table.tolist())), (0,) * cts, (7,) * cts)


def test_sums_are_those_of_the_table(table: np.ndarray) -> None:
    values = np.random.default_rng(SEED).normal(size=table.shape[1])
    found = stage.signed_sums(list(map(number, values)), table.tolist())
    assert_allclose(np.ravel(found), table @ values, rtol=1e-13, atol=1e-13)


@pytest.mark.parametrize("count", [1, 2, 7])
def test_inverses_by_one_division(count: int) -> None:
    values = np.random.default_rng(SEED).uniform(1, 1e6, count)
    found = stage.inverses(list(map(number, values)))
    assert_allclose(np.ravel(found), 1 / values, rtol=1e-13)


@pytest.mark.parametrize("power", range(9))
def test_whole_powers(power: int) -> None:
    assert_allclose(stage.to_power(number(1.3), power), 1.3**power, rtol=1e-14)


@pytest.mark.parametrize("ohm", [0.0, 1e-3, 1.0, 1e6])
def test_the_legs_answer_as_a_dense_solution(table: np.ndarray, ohm: float) -> None:
    rng = np.random.default_rng(SEED)
    legs, cts = table.shape
    leg_ohm = ohm * rng.uniform(0.5, 2, legs)
    tie, push = rng.uniform(0, 3, cts), rng.normal(size=cts)
    w = Rows({at.OHM + p: number(leg_ohm[p]) for p in range(legs)})
    found = stage.legs_voltages(w, _wiring(table), list(map(number, tie)), list(map(number, push)))
    matrix = np.eye(legs) + leg_ohm[:, None] * (table * tie @ table.T)
    dense = np.linalg.solve(matrix, leg_ohm * (table @ push))
    assert_allclose(np.ravel(found), dense, rtol=1e-9, atol=1e-12)


def _core(rest: float, reach: float, stiffness: float) -> Rows:
    """A core with two stops alike; flux that the stage began with: 0.3 knee flux."""
    rows = {at.LINEAR: 0.01, at.STEEP: 0.2, at.FLUX: 0.3, at.NEXT: 0.3}
    for own_rest, own_reach, drop, stiff in stage.STOPS:
        rows |= {own_rest: rest, own_reach: reach, drop: -reach, stiff: stiffness}
    return Rows({row: number(value) for row, value in rows.items()})


@pytest.mark.parametrize("m", [-1.2, -0.2, 0.1, 0.33, 1.1])
def test_slope_is_the_derivative_of_the_exciting_current(m: float) -> None:
    w, step = _core(0.05, 0.3, 0.7), 1e-6
    _, slope = stage.excite(w, 0, 7, number(m))
    ahead, behind = (stage.excite(w, 0, 7, number(m + turn * step))[0] for turn in (1, -1))
    assert_allclose(slope, (ahead - behind) / (2 * step), rtol=1e-6)


def test_a_stop_is_dragged_only_beyond_its_reach() -> None:
    w = _core(0.05, 0.3, 0.7)
    stage.keep(w, 0)
    assert w[at.REST1] == 0.05  # 0.25 away: held
    w[at.NEXT] = number(0.9)
    stage.keep(w, 0)
    assert_allclose(w[at.REST1], 0.6)
    assert w[at.FLUX] == 0.9
    pulled_a = 2 * 0.7 * 0.3
    exciting_a, _ = stage.excite(w, 0, 7, number(0.9))
    assert_allclose(exciting_a, (0.01 + 0.2 * 0.9**14) * 0.9 + pulled_a)


def test_more_legs_than_the_workspace_holds_are_refused() -> None:
    many = np.eye(at.MOST + 1)
    with pytest.raises(ValueError, match="the workspace holds"):
        stage_code.compiled(many, np.zeros(at.MOST + 1, int), np.full(at.MOST + 1, 7))
