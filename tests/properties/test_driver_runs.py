"""Drivers on whole models: what must hold whatever the numbers, and two studies whose answers are
known."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.special import ndtr

from montecarlo.engine.block import Block
from montecarlo.engine.count import count
from montecarlo.engine.densities import find_densities
from montecarlo.engine.job import Job
from montecarlo.engine.space import inputs_of
from montecarlo.engine.winding import solved
from montecarlo.engine.workers import Workers
from montecarlo.estimates.drivers import elasticity, gap
from montecarlo.estimates.intervals import Estimate
from montecarlo.quantities import number
from montecarlo.sampling.design import Chunk, Design
from montecarlo.sampling.stratum import EARTH, Stratum
from montecarlo.sampling.transform import draw
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import grid_lattices
from montecarlo.study.description import Study
from montecarlo.study.wider import with_inputs
from studies.drivers.columns import columns_of, groups_of, scores_of
from studies.drivers.effects import PICKUP, POSITION, effects, job_of, missed_parts, nets
from studies.drivers.samples import CENTRE, HALVED, Change, changed, sampled
from tests.made.studies import REMOVE, study_with
from tests.properties.test_rare_runs import (
    MOTOR_PU,
    PICKUPS,
    RATIO,
    SIGMA_PERCENT,
    ratio_errors_only,
)

SPREAD = {"dist": "uniform", "low": 0.5, "high": 1.5}
TIED = {
    "correlations": [{"between": ["ct.knee_voltage_v", "ct.turns_ratio_error_percent"], "rho": 0.7}]
}


def silent(done: int, total: int, what: str) -> None: ...


def first(study: Study) -> Setting:
    return next(setting for lattice in grid_lattices(study) for setting in lattice.settings())


def block_of(study: Study, stratum: Stratum, n: int = 64, seed: int = 1) -> Block:
    columns, small = columns_of(study, stratum), Design(16, 16)
    job = Job(study, grid_lattices(study), small, small)
    return Block(
        job,
        Chunk(stratum, 0, 0, 0, 0),
        columns.at(np.random.default_rng(seed).random((n, columns.dims))),
    )


def test_critical_positions_row_by_row_are_those_that_are_tallied() -> None:
    study = study_with()
    block = block_of(study, EARTH)
    tally = count(block, along := solved(block))
    rows = missed_parts(block, along)  # the law of the place is uniform: F(x) = x
    sums = np.concatenate([lattice.total.reshape(64, -1) for lattice in tally.lattices], axis=1)
    assert rows == pytest.approx(sums, abs=1e-12)


@pytest.mark.parametrize("stratum", [EARTH, Stratum("external.near_fault")])
def test_scores_are_those_that_the_model_draws_by(stratum: Stratum) -> None:
    study = study_with(TIED)
    columns, items = columns_of(study, stratum), inputs_of(study, stratum)
    points = columns.at(np.random.default_rng(2).random((200, columns.dims)))
    scores, duals = scores_of(items, study.ties, points)
    samples = draw(items, study.ties, points)
    for item in items:
        values = item.distribution.ppf(ndtr(scores[item.key]))
        drawn = samples[item.key].reshape(200, -1)
        assert values == pytest.approx(
            np.broadcast_to(values, drawn.shape) if item.columns > 1 else values
        )
        assert np.broadcast_to(values, drawn.shape) == pytest.approx(drawn, rel=1e-9)
    assert set(duals) == {"ct.knee_voltage_v", "ct.turns_ratio_error_percent"}
    one, other = scores["ct.knee_voltage_v"], scores["ct.turns_ratio_error_percent"]
    assert duals["ct.knee_voltage_v"] == pytest.approx((one - 0.7 * other) / (1 - 0.49))


def test_correlated_inputs_are_one_group_and_every_other_its_own() -> None:
    columns = columns_of(study_with(), EARTH)
    apart, tied = groups_of(columns, []), groups_of(columns, study_with(TIED).ties)
    assert [group.keys for group in apart] == [(key,) for key in columns.widths]
    assert len(tied) == len(apart) - 1
    (both,) = (group for group in tied if len(group.keys) == 2)
    assert set(both.keys) == {"ct.knee_voltage_v", "ct.turns_ratio_error_percent"}
    assert len(columns.of(both.keys)) == 12


def test_a_plain_number_is_no_group_and_what_nothing_reads_has_an_effect_of_exactly_0() -> None:
    study = study_with(
        {
            "study.samples": 2048,
            "internal_faults.phase_fault_resistance_ohm": SPREAD,
            "candidates.stabilising_resistance_ohm": [0],
        }
    )
    found = effects(study, first(study), Workers(1), silent)
    assert [(part.stratum, part.output) for part in found] == [
        (EARTH, PICKUP),
        (EARTH, POSITION),
        ("external.near_fault", PICKUP),
        ("external.far_fault", PICKUP),
    ]
    for part in found:
        names = [group.name for group in part.groups]
        assert "ct.knee_current_a" not in names  # a plain number
        live = [k for k, name in enumerate(names) if name == "ct.turns_ratio_error_percent"]
        assert part.effects.total.p[live] > 0
    for part in found[:2]:
        dead = [group.name for group in part.groups].index(
            "internal_faults.phase_fault_resistance_ohm"
        )
        for one in (part.effects.first, part.effects.total):
            assert one.p[dead] == one.low[dead] == one.high[dead] == 0
    place = [group.name for group in found[1].groups].index("internal_faults.position")
    assert found[1].effects.total.p[place] == 0  # the critical position is exact in the place
    assert found[0].effects.total.p[place] > 0.3


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_two_sets_of_points_know_nothing_of_each_other(seed: int) -> None:
    """Columns of the same input: correlations beyond 5/root n once in 25,000, for each of 60
    columns."""
    study = study_with({"study.seed": seed, "study.samples": 8192})
    one, other = nets(study, EARTH, columns_of(study, EARTH))
    together = [
        np.corrcoef(np.log(a), np.log(b))[0, 1] for a, b in zip(one.T, other.T, strict=True)
    ]
    assert np.abs(together).max() < 5 / len(one) ** 0.5
    for points in (one, other):  # each is even: a point in every 1,024th
        assert (
            np.sort(np.floor(points * len(points)), axis=0) == np.arange(len(points))[:, None]
        ).all()


# --- closed forms -------------------------------------------------------------

IDEAL: dict[str, Any] = {
    "study.samples": 8192,
    "load.current_pu": 0.0,
    "machine.stator_capacitance_f": 0.0,
    "ct.knee_voltage_v": 1e4,
    "ct.knee_current_a": 1e-6,
    "ct.turns_ratio_error_percent": 0.0,
    "ct.remanence_percent": 0.0,
    "ct.lead_resistance_ohm": 1.0,
    "relay.pickup_error_percent": 0.0,
    "scheme.kind": "per_phase",
    "candidates.earth_pickup_a": REMOVE,
    "candidates.phase_pickup_a": [0.02],
    "candidates.stabilising_resistance_ohm": [0],
    "internal_faults.earth_fault_resistance_ohm": 0.0,
    "machine.subtransient_reactance_pu": 0.005,
    "machine.negative_sequence_reactance_pu": 0.005,
    "machine.zero_sequence_reactance_pu": 0.005,
    "earthing.resistance_ohm": {"dist": "uniform", "low": 15.0, "high": 30.0},
    "machine.voltage_factor": {"dist": "uniform", "low": 0.8, "high": 1.2},
    "internal_faults.position": {"dist": "uniform", "low": 0.6, "high": 1.0},
}


def log_variance(low: float, high: float) -> float:
    """Of ln of a uniform."""
    x, w = np.polynomial.legendre.leggauss(32)
    value = np.log((low + high) / 2 + (high - low) / 2 * x)
    return float(w @ value**2 / 2 - (w @ value / 2) ** 2)


def test_the_effects_of_a_bolted_fault_with_ideal_cts_are_known() -> None:
    """Derived: the element gets x·E/(R_N·n), so ln of it is a sum and an input's effects are its
    variance's share; the critical position is I·n·R_N/E, a product."""
    study = study_with(IDEAL)
    pickup, position = effects(study, first(study), Workers(1), silent)[:2]
    names = [group.name for group in pickup.groups]
    inputs = {
        "internal_faults.position": (0.6, 1.0),
        "earthing.resistance_ohm": (15.0, 30.0),
        "machine.voltage_factor": (0.8, 1.2),
    }
    parts = {name: log_variance(*ends) for name, ends in inputs.items()}

    def near(one: Estimate, name: str, truth: float) -> None:
        k = names.index(name)
        assert (
            abs(one.p[k] - truth) < 4.5 * (one.high[k] - one.low[k]) / 3.92
        )  # nine of them: once in 16,000
        assert one.high[k] - one.low[k] < 0.25

    for name, part in parts.items():
        for one in (pickup.effects.first, pickup.effects.total):
            near(one, name, part / sum(parts.values()))
    assert pickup.floored == 0
    # R in (15, 30), 1/v with v in (0.8, 1.2): squares of coefficients of variation, product of
    # independent factors
    r2 = (15.0**2 / 12) / 22.5**2
    mean = np.log(1.5) / 0.4
    v2 = (1 / (0.8 * 1.2)) / mean**2 - 1
    whole = (1 + r2) * (1 + v2) - 1
    for name, square in (("earthing.resistance_ohm", r2), ("machine.voltage_factor", v2)):
        near(position.effects.first, name, square / whole)
    near(position.effects.total, "earthing.resistance_ohm", r2 * (1 + v2) / whole)


def law_of(pickup_a: float, sigma_percent: float, study: Study) -> float:
    """Probability of a false trip by ratio errors alone (tests/properties/test_rare_runs.py)."""
    current_a = MOTOR_PU * RATIO * study.machine.rated_current_a / 1500
    single = 2 * ndtr(-pickup_a / current_a / (2**0.5 * sigma_percent / 100))
    return float(1 - (1 - single) ** 3)


@pytest.mark.parametrize("weighted", [False, pytest.param(True, marks=pytest.mark.slow)])
def test_false_trips_by_ratio_errors_alone_answer_as_their_law_does(weighted: bool) -> None:
    """Of the finest pick-up counted, of a rarer one weighted: p, the elasticity to the errors'
    spread, half of it."""
    study, key, name = ratio_errors_only(), "ct.turns_ratio_error_percent", "external.start"
    (lattice,) = grid_lattices(study)
    pick = 2 if weighted else 0
    setting = [*lattice.settings()][pick]
    densities = (
        find_densities(job_of(study, *lattice.settings()), Workers(1), silent) if weighted else {}
    )
    _, (sample,) = sampled(study, (lattice,), densities, Workers(1), silent)
    p = law_of(PICKUPS[pick], SIGMA_PERCENT, study)
    changes = [Change(key, HALVED), Change(key, CENTRE)]
    y, _ = changed(study, setting, densities, [sample], changes, Workers(1), silent)
    for change, truth in zip(
        changes, (law_of(PICKUPS[pick], SIGMA_PERCENT / 2, study), 0.0), strict=True
    ):
        then, difference = gap([sample], [y[change][name]], pick)
        assert then.p == pytest.approx(truth, abs=max(4 * float(then.high - then.low) / 3.92, 1e-5))
        error = float(difference.high - difference.low) / 3.92
        assert difference.p == pytest.approx(
            truth - p, abs=4 * error + 0.02 * p
        )  # 2 % for the solver and 1/(1 + e)
    found = elasticity([sample], pick, key)
    step = 1.001
    slope = np.log(law_of(PICKUPS[pick], SIGMA_PERCENT * step, study) / p) / np.log(step)
    assert found.spread.p == pytest.approx(
        slope, abs=4 * float(found.spread.high - found.spread.low) / 3.92 + 0.05
    )
    assert abs(found.centre.p) < 4 * float(found.centre.high - found.centre.low) / 3.92 + 1e-9


# --- what must hold -----------------------------------------------------------

FEW: dict[str, Any] = {
    "study.samples": 2048,
    "candidates.stabilising_resistance_ohm": [300],
    "candidates.phase_pickup_a": [0.2],
    "candidates.earth_pickup_a": [0.02, 0.1],
    "internal_faults.phase_fault_resistance_ohm": SPREAD,
}


def test_an_input_that_nothing_reads_changes_no_row_when_it_changes() -> None:
    study = study_with(FEW)
    change = Change("internal_faults.phase_fault_resistance_ohm", HALVED)
    missed, false = sampled(study, grid_lattices(study), {}, Workers(1), silent)
    found, _ = changed(
        study, first(study), {}, [missed[0], missed[1], *false], [change], Workers(1), silent
    )
    y = found[change]
    assert np.array_equal(y[EARTH], missed[0].y[:, 0])  # an earth fault
    assert set(y) == {EARTH, missed[1].name}  # no external event has it at all


@pytest.mark.slow
def test_two_workers_give_the_numbers_of_one() -> None:
    study = study_with(IDEAL | {"study.samples": 256})
    rows = [
        sampled(study, grid_lattices(study), {}, Workers(workers), silent) for workers in (1, 2)
    ]
    for one, other in zip(*([*missed, *false] for missed, false in rows), strict=True):
        assert np.array_equal(one.y, other.y)
        assert np.array_equal(one.w, other.w)
    found = [effects(study, first(study), Workers(workers), silent) for workers in (1, 2)]
    for alone, pair in zip(*found, strict=True):
        assert np.array_equal(alone.effects.total, pair.effects.total)
        assert np.array_equal(alone.effects.first, pair.effects.first)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("earthing.resistance_ohm", 30.0),
        ("external_events.near_fault.external_reactance_pu", 0.1),
        ("ct.turns_ratio_error_percent", 0.1),
    ],
)
def test_a_changed_study_is_the_file_read_again_with_that_key_changed(
    key: str, value: float
) -> None:
    one, other = with_inputs(study_with(FEW), {key: number(value)}), study_with(FEW | {key: value})
    assert one.model_dump(mode="json") == other.model_dump(mode="json")
    assert study_with(FEW).model_dump(mode="json") != other.model_dump(mode="json")
