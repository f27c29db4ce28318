"""Tables of who clears faults, from invented sums."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from montecarlo.engine.clearing import Cleared, Clearing
from montecarlo.engine.clearing_paths import STATED, TESTS, cases_of
from montecarlo.engine.damage import Burnt
from montecarlo.estimates.intervals import clopper_pearson
from montecarlo.formulas.dependability import annual_cost
from montecarlo.frames.clearing import ClearingFrames
from montecarlo.frames.damage import _quantile
from montecarlo.quantities import Array
from montecarlo.sampling.design import BLOCKS
from montecarlo.sampling.stratum import INTER_TURN, Stratum
from montecarlo.study.description import Study
from montecarlo.study.strata import internal_shares
from tests.made.branches import BRANCHES
from tests.made.clearing import SCHEME, SMALL, TIMES, part, setting_of, with_parts
from tests.made.studies import study_with

FAULTS = 4.0  # of a type and block
COST = {"missed_fault": 1e6, "false_trip": 1e4}
PATHS = (*SCHEME, "neutral_voltage")


def invented(study: Study, p: Array, burnt: tuple[Burnt, ...] | None = None) -> ClearingFrames:
    """The same probabilities (cases, blocks, J + 1) in every type."""
    blocks = tuple(
        Cleared(
            FAULTS * p[:, k],
            np.full((3, p.shape[2] - 1), 0.5 * FAULTS),
            np.zeros((len(p), 2)),
            np.array([FAULTS]),
            np.zeros(1),
        )
        for k in range(BLOCKS)
    )
    cleared: dict[Stratum, tuple[Cleared, ...]] = dict.fromkeys(internal_shares(study), blocks)
    return ClearingFrames(
        Clearing(study, setting_of(study), 1, cases_of(study), PATHS, cleared, burnt)
    )


def scattered(study: Study) -> Array:
    """(cases, blocks, J + 1), each row of sum 1."""
    rng = np.random.default_rng(5)
    return rng.dirichlet(np.ones(len(PATHS) + 1), (len(cases_of(study)), BLOCKS))


# --- quantiles with weights ---------------------------------------------------


@pytest.mark.parametrize("share", [0.05, 0.5, 0.95, 1.0])
def test_a_weight_is_so_many_alike(share: float) -> None:
    rng = np.random.default_rng(3)
    values, times = rng.normal(size=30), rng.integers(0, 5, 30)
    alike = np.repeat(values, times)
    wanted = np.quantile(alike, share, method="inverted_cdf")
    some = times > 0
    assert _quantile(values[some], times[some], share) == wanted
    assert _quantile(values[some], 0.001 * times[some], share) == wanted


def test_a_quantile_of_nothing_is_none_and_of_one_value_this_one() -> None:
    assert np.isnan(_quantile(np.array([]), np.array([]), 0.5))
    assert _quantile(np.array([7.0]), np.array([1e-9]), 0.95) == 7.0
    assert _quantile(np.array([2.0, 1.0]), np.array([0.5, 0.5]), 0.5) == 1.0


# --- how often to test --------------------------------------------------------


def test_tests_cost_what_the_formula_says() -> None:
    parts = with_parts(part("relay", *SCHEME), test_cost=500.0)
    study = study_with(SMALL | parts | {"policy": {"least_annual_cost": COST}})
    p = scattered(study)
    table = invented(study, p).tests()
    assert table["interval_factor"].tolist() == [0.25, 0.5, 1.0, 2.0, 4.0]
    assert table["proof_test_years"].tolist() == [0.5, 1.0, 2.0, 4.0, 8.0]
    cases = [*TESTS[:2], STATED, *TESTS[2:]]
    nobody = [p[cases_of(study).index(case), :, -1].mean() for case in cases]
    assert table["p_nobody"].to_numpy() == pytest.approx(nobody, rel=1e-12)
    for end in ("", "_low", "_high"):
        costs = annual_cost(
            table["proof_test_years"],
            table[f"p_nobody{end}"],
            faults_per_year=0.01,
            missed_fault=1e6,
            test=500.0,
        )
        assert table[f"cost_per_year{end}"].to_numpy() == pytest.approx(costs, rel=1e-12)
    assert table["cost_per_year"][0] == pytest.approx(0.01 * 1e6 * nobody[0] + 500 / 0.5)


def test_without_costs_none_is_told_and_without_parts_no_test() -> None:
    study = study_with(SMALL | with_parts(part("relay", *SCHEME)))
    assert "cost_per_year" not in invented(study, scattered(study)).tests()
    plain = study_with(SMALL)
    frames = invented(plain, scattered(plain))
    assert not len(frames.tests())
    assert not len(frames.dependability())
    assert frames.unwanted_per_year() == 0


def test_unwanted_trips_add_up() -> None:
    two = {"dist": "empirical", "values": [0.001, 0.003]}
    parts = [part("relay", *SCHEME, spurious_per_year=two)]
    parts += [part("breaker", *SCHEME, spurious_per_year=0.01)]
    study = study_with(SMALL | with_parts(*parts))
    assert invented(study, scattered(study)).unwanted_per_year() == pytest.approx(0.012)


def test_parts_of_another_scheme_are_not_counted() -> None:
    """The first candidate has no earth element."""
    kinds = {"scheme.kind": ["per_phase", "two_phase_one_earth"], "study.kind": "scheme_comparison"}
    small = {key: value for key, value in SMALL.items() if not key.startswith("candidates.")}
    parts = [part("relay", "phase_elements", spurious_per_year=0.01)]
    parts += [part("earth_relay", "earth_element", spurious_per_year=0.5, rate=0.09)]
    study = study_with(small | kinds | with_parts(*parts))
    blocks = invented(study, scattered(study))
    alone = ClearingFrames(replace(blocks.clearing, paths=("phase_elements", "neutral_voltage")))
    assert alone.unwanted_per_year() == pytest.approx(0.01)
    assert [one.name for one in alone.parts] == ["relay"]
    assert blocks.unwanted_per_year() == pytest.approx(0.51)


# --- rows and limits ----------------------------------------------------------


def test_a_year_has_all_faults_also_those_outside_the_scope() -> None:
    """Sums over paths and types are faults a year; "all" is what the scheme should see."""
    shares = {"internal_faults.shares": {"earth": 0.5, "phase_phase": 0.2, "inter_turn": 0.3}}
    both = {"scheme.kind": ["two_phase_one_earth", "core_balance"]}
    small = {key: value for key, value in SMALL.items() if not key.startswith("candidates.")}
    study = study_with(small | BRANCHES | both | shares | {"study.kind": "scheme_comparison"})
    assert INTER_TURN in internal_shares(study)
    sums = invented(study, scattered(study)).who_clears().groupby("type")["per_year"].sum()
    assert sums["inter_turn"] == pytest.approx(0.01 * 0.3)
    assert sums["all"] == pytest.approx(0.01 * 0.7)
    assert sums.drop("all").sum() == pytest.approx(0.01)


def test_what_never_happened_has_the_limit_of_so_many_faults() -> None:
    study = study_with(SMALL)
    p = np.zeros((1, BLOCKS, len(PATHS) + 1))
    p[..., 0] = 1.0
    table = invented(study, p).who_clears().set_index(["type", "path"])
    limit = float(clopper_pearson(0, FAULTS * BLOCKS).high)
    for kind in ("all", "earth", "three_phase"):
        never, always = (table.loc[(kind, path)] for path in ("nobody", "phase_elements"))
        assert never[["p", "p_low"]].tolist() == [0, 0]
        assert never["p_high"] == pytest.approx(limit)
        assert always[["p", "p_high"]].tolist() == [1, 1]
        assert always["p_low"] == pytest.approx(1 - limit)


def test_few_hits_of_a_counted_type_have_limits_as_wide_as_those_of_a_count() -> None:
    """One fault of each of two blocks is not cleared; of earth faults p is no count."""
    study = study_with(SMALL)
    p = np.zeros((1, BLOCKS, len(PATHS) + 1))
    p[..., 0] = 1.0
    p[:, :2, 0], p[:, :2, -1] = 1 - 1 / FAULTS, 1 / FAULTS
    table = invented(study, p).who_clears().set_index(["type", "path"])
    low, high = clopper_pearson(2, FAULTS * BLOCKS)
    row = table.loc[("three_phase", "nobody")]
    assert row["p_low"] <= low
    assert row["p_high"] >= high
    assert table.loc[("earth", "nobody"), "p_high"] < high


def test_damage_without_a_result_is_left_out_and_weighs_by_its_path() -> None:
    """Two faults with one place a block, the second without a result."""
    damage: dict[str, Any] = {"zones": [{"name": "small", "current_a": 10, "time_s": 3}]}
    study = study_with(SMALL | {"fault_energy": TIMES, "damage": damage})
    harm = np.array([[1.0, 2.0, 3.0, 10.0], [9.0, 9.0, 9.0, 9.0]])
    weight = np.array([[0.5, 0.2, 0.2, 0.1], [np.nan] * 4])
    one = Burnt(
        weight, harm, np.full((2, 4), 0.25), 2 * harm, (harm > 3).astype(np.int8), np.ones(2, bool)
    )
    frames = invented(study, scattered(study), (one,) * BLOCKS)
    table = frames.damage().set_index("path")
    assert table.loc["all", "mean_s"] == pytest.approx(0.5 + 0.4 + 0.6 + 1.0)
    assert table.loc["neutral_voltage", ["p", "mean_s"]].tolist() == pytest.approx([0.2, 0.6])
    assert table.loc["all", ["p_low", "p", "p_high"]].tolist() == [1, 1, 1]
    assert table.loc["all", ["median_s", "p95_s", "iron_p95_cm3"]].tolist() == [1, 10, 20]
    assert table["after_opening_share"].to_numpy() == pytest.approx(0.25)
    assert frames.zones().set_index("zone")["p"].to_dict() == pytest.approx(
        {"small": 0.9, "beyond the zones": 0.1}
    )
