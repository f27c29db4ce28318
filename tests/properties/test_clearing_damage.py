"""Damage of earth faults in whole small studies: against the energy of the same faults, by hand,
and what adds up."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from montecarlo.engine.clearing import Clearing
from montecarlo.engine.progress import silent
from montecarlo.engine.workers import workers_of
from montecarlo.frames.clearing import ClearingFrames
from montecarlo.frames.damage import FAILED, UNSEEN
from montecarlo.quantities import Array
from studies.earthing.lasting import sample_earth_faults
from tests.made.clearing import SCHEME, SMALL, TIMES, followed, part, setting_of, with_parts
from tests.made.studies import study_with

EXPONENT = {"dist": "uniform", "low": 1.0, "high": 2.0}
ZONES = [
    {"name": "insulation", "current_a": 10, "time_s": 1},
    {"name": "some laminations", "current_a": 100, "time_s": 0.5},
]
EARTH_ALONE: dict[str, Any] = {"internal_faults.shares": {"earth": 1.0}}
PARTS = with_parts(part("relay", *SCHEME, rate=0.05), part("second", "neutral_voltage", rate=0.1))


def harmed(**damage: Any) -> dict[str, Any]:
    return EARTH_ALONE | {"fault_energy": TIMES, "damage": damage}


def joined(found: Clearing, name: str) -> Array:
    """Of all blocks, (faults x places, J + 1)."""
    assert found.burnt is not None
    return np.concatenate([getattr(one, name) for one in found.burnt])


# --- against the energy of the same faults ------------------------------------


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"candidates.delay_s": [0.3]},
        {"candidates.delay_s": [0.4], "backup.neutral_voltage.delay_s": 0.1},
        {"earthing.other_neutrals_ohm": 30.0, "machine.terminal_capacitance_f": 1e-6},
        {"internal_faults.position": {"dist": "empirical", "values": [0.05, 0.4, 1.0]}},
    ],
)
def test_damage_by_the_square_is_the_heat_of_an_ohm(changes: dict[str, Any]) -> None:
    """Nothing fails, so that each fault lasts until its fastest element."""
    every = harmed(exponent=2.0) | changes
    found, study = followed(every), study_with(SMALL | every)
    heat = sample_earth_faults(study, setting_of(study), 1, workers_of(1), silent).fault_a2s
    weight, harm = joined(found, "weight"), joined(found, "equivalent_s")
    assert np.isin(weight, (0, 1)).all()
    assert weight.sum(axis=0)[-1] > 0
    assert weight[:, :-1].any()
    assert (weight * harm).sum(axis=1) * 10.0**2 == pytest.approx(heat.ravel(), rel=1e-12)


# --- what adds up -------------------------------------------------------------


@pytest.fixture(scope="module")
def failing() -> Clearing:
    damage = {"exponent": EXPONENT, "zones": ZONES, "beyond": "core"}
    return followed(harmed(**damage) | PARTS)


def test_means_of_the_paths_add_up_to_that_of_all(failing: Clearing) -> None:
    table = ClearingFrames(failing).damage().set_index("path")
    every, paths = table.loc["all"], table.drop(["all", UNSEEN, FAILED])
    assert paths.index.tolist() == [*failing.paths, "nobody"]
    for column in ("p", "mean_s"):
        split = table.loc[[UNSEEN, FAILED], column]
        assert (split > 0).all()
        assert split.sum() == pytest.approx(table.loc["nobody", column], rel=1e-12)
    assert paths["p"].sum() == pytest.approx(1, abs=1e-12)
    assert paths["mean_s"].sum() == pytest.approx(every["mean_s"], rel=1e-12)
    after = (paths["mean_s"] * paths["after_opening_share"]).sum()
    assert after == pytest.approx(every["mean_s"] * every["after_opening_share"], rel=1e-12)
    for low, middle, high in (("p_low", "p", "p_high"), ("mean_s_low", "mean_s", "mean_s_high")):
        assert ((table[low] <= table[middle]) & (table[middle] <= table[high])).all()
    seen = table[table["p"] > 0]
    assert (seen["median_s"] <= seen["p95_s"]).all()
    assert every["p95_s"] <= paths.loc["nobody", "p95_s"]


@pytest.mark.parametrize("place", [{}, {"internal_faults.position": 0.7}])
def test_by_the_interval_between_tests_damage_is_that_of_a_study_with_this_interval(
    place: dict[str, Any],
) -> None:
    """And its cost: at half, as stated and at four times the interval."""
    cost = {"missed_fault": 7.0, "false_trip": 1.0, "damage": {"at_reference": 2.0, "power": 0.5}}
    policy = {"policy": {"least_annual_cost": cost}}
    damage = {"exponent": EXPONENT, "zones": ZONES, "beyond": "core"}
    parts = PARTS["dependability"] | {"test_cost": 3.0}

    def given(years: float) -> ClearingFrames:
        tables = {"dependability": parts | {"proof_test_years": years}}
        return ClearingFrames(followed(harmed(**damage) | tables | policy | place))

    def by_hand(found: Clearing) -> tuple[Array, Array]:
        weight = joined(found, "weight")
        return weight / len(weight), joined(found, "equivalent_s")

    stated = given(2.0).tests().set_index("proof_test_years")
    for years in (1.0, 2.0, 8.0):
        own, row = given(years), stated.loc[years]
        means, weight, harm = own.block_means(), *by_hand(own.clearing)
        mean_s, priced = (weight * harm).sum(), (weight * 2.0 * harm**0.5).sum()
        assert row["damage_mean_s"] == pytest.approx(mean_s, rel=1e-9)
        assert means["damage_mean_s"].mean() == pytest.approx(mean_s, rel=1e-9)
        assert means["cost_of_damage"].mean() == pytest.approx(priced, rel=1e-9)
        whole = 0.01 * 7.0 * means["p_nobody"].mean() + 3.0 / years + 0.01 * priced
        assert row["cost_per_year"] == pytest.approx(whole, rel=1e-9)
        assert row["cost_per_year_low"] < row["cost_per_year"] < row["cost_per_year_high"]


def test_places_stand_for_the_winding_as_the_exact_probabilities_do(failing: Clearing) -> None:
    """Eight places a fault: within a stretch of one eighth, less by its share of the faults."""
    frames = ClearingFrames(failing)
    table = frames.who_clears()
    exact = table[(table["type"] == "earth") & (table["failure_rates"] == "as stated")]
    stood = frames.damage().set_index("path")["p"]
    for path, p in exact.set_index("path")["p"].items():
        assert stood[path] == pytest.approx(p, abs=0.02)


def test_a_slower_path_does_more_damage_on_the_same_fault(failing: Clearing) -> None:
    harm, iron = joined(failing, "equivalent_s"), joined(failing, "iron_cm3")
    after = joined(failing, "after_share")
    order = [0, 1, 3, 2, 4]  # the back-up's voltage element is faster than that of current
    for values in (harm, iron, 1 - after):
        assert (np.diff(values[:, order], axis=1) >= -1e-12).all()
    assert ((after >= 0) & (after <= 1)).all()


def test_zones_add_up_and_follow_from_the_damage(failing: Clearing) -> None:
    zones = ClearingFrames(failing).zones().set_index("zone")
    assert zones.index.tolist() == ["insulation", "some laminations", "core"]
    assert zones["p"].sum() == pytest.approx(1, abs=1e-12)
    fixed = followed(harmed(exponent=1.5, zones=ZONES) | PARTS)
    weight, harm = joined(fixed, "weight"), joined(fixed, "equivalent_s")
    up_to_s = [(zone["current_a"] / 10) ** 1.5 * zone["time_s"] for zone in ZONES]
    ends = [0.0, *up_to_s, np.inf]
    p = ClearingFrames(fixed).zones()["p"]
    for at in range(3):
        inside = (harm > ends[at]) & (harm <= ends[at + 1])
        assert p[at] == pytest.approx((weight * inside).sum() / len(weight), rel=1e-9)
        assert 0 < p[at] < 1


# --- by hand ------------------------------------------------------------------

PHASE_V = 11e3 / np.sqrt(3)
WINDING_OHM = (0.2 + 0.2 + 0.08) / 3 * 11e3**2 / 25e6  # at its end, of reactances alone
CYCLE_S = 0.02


def one_fault(current_a: float, closed_s: float, decay_s: float, **damage: Any) -> Clearing:
    """A bolted fault at the terminals of a machine without capacitance, on its own bus; seen at
    once, the breaker open after `closed_s`."""
    ohm = np.sqrt((PHASE_V / current_a) ** 2 - WINDING_OHM**2)
    times = {
        "breaker_time_s": closed_s - CYCLE_S,
        "field_decay_time_constant_s": decay_s,
        "undetected_time_s": 60.0,
    }
    return followed(
        harmed(**damage)
        | {
            "fault_energy": times,
            "machine.subtransient_reactance_pu": 0.2,
            "machine.stator_capacitance_f": 0.0,
            "machine.winding_resistance_ohm": 0.0,
            "earthing.resistance_ohm": ohm,
            "internal_faults.position": 1.0,
            "internal_faults.earth_fault_resistance_ohm": 0.0,
        }
    )


def test_a_fault_of_400_a_by_hand() -> None:
    """400^1.5 (0.1 s + 1 s/1.5) = 6,133 A^1.5 s, of 10 A in 194 s."""
    found = one_fault(400.0, 0.1, 1.0, exponent=1.5)
    weight, harm = joined(found, "weight"), joined(found, "equivalent_s")
    assert (weight[:, :2].sum(axis=1) == 1).all()
    assert harm[:, :2] * 10**1.5 == pytest.approx(8000 * (0.1 + 1 / 1.5), rel=1e-9)
    assert harm[0, 0] == pytest.approx(193.95, abs=0.005)
    assert joined(found, "after_share")[:, 0] == pytest.approx(0.8696, abs=5e-5)
    row = ClearingFrames(found).damage().iloc[0]
    assert row[["mean_s", "median_s", "p95_s"]].tolist() == pytest.approx([193.95] * 3, abs=0.005)


def test_an_arc_of_10_kj_melts_about_a_cubic_centimetre() -> None:
    """200 A and 100 V for half a second, and nothing after; half of it where half gets there."""
    arc = {"exponent": 1.0, "arc_voltage_v": 100.0}
    for share in (1.0, 0.5):
        found = one_fault(200.0, 0.5, 0.0, **arc, core_share=share)
        iron = joined(found, "iron_cm3")[:, :2]
        assert iron == pytest.approx(0.982 * share, abs=2e-3)
        assert joined(found, "equivalent_s")[:, :2] == pytest.approx(10.0, rel=1e-9)
        assert (joined(found, "after_share") == 0).all()


@pytest.mark.parametrize("reference_a", [1.0, 50.0])
def test_the_reference_current_is_a_unit(reference_a: float) -> None:
    ten, other = (
        one_fault(400.0, 0.1, 1.0, exponent=1.5, reference_a=a) for a in (10, reference_a)
    )
    ratio = joined(ten, "equivalent_s") / joined(other, "equivalent_s")
    assert ratio == pytest.approx((reference_a / 10) ** 1.5, rel=1e-12)


def test_each_element_has_its_own_delay() -> None:
    """400^1.5 times the difference of the delays."""
    delays = {"candidates.delay_s": [0.1], "candidates.earth_delay_s": [0.35]}
    harm = joined(followed(harmed(exponent=1.0, reference_a=1.0) | delays), "equivalent_s")
    phase, earth, current, voltage = harm.T[:4]
    assert (earth - phase) / (voltage - phase) == pytest.approx(0.25 / 0.4, rel=1e-9)
    assert (current - earth) / (voltage - phase) == pytest.approx(0.65 / 0.4, rel=1e-9)
