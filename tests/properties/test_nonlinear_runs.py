"""Whole small studies with a non-linear resistor: as an ordinary resistor it is one in parallel, a
huge one is none; and what follows it at the desk, in records and on the commissioning sheet."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from montecarlo import run_study
from montecarlo.engine.block import Block
from montecarlo.engine.job import Job
from montecarlo.engine.sizes import designs
from montecarlo.relays.nonlinear import rms_current
from montecarlo.study.axes import Setting
from montecarlo.study.candidates import candidate_lattices, lattices_of
from montecarlo.study.description import Study
from montecarlo.study.strata import strata
from studies.commissioning.expected import Sheet
from studies.nominal.desk import Desk
from studies.nominal.operating import operating_a
from studies.nominal.peak import caution, peak_frame, peak_of_chosen, peak_voltages
from studies.sweep.by_hand import beside_by_hand
from studies.waveforms.cases import nearest_cases, ratios_of
from tests.made.studies import REMOVE, study_with
from tests.properties.test_scheme_runs import (
    GRIDS,
    IDEAL,
    NUMBERS,
    every_kind,
    numbers,
    same,
    study_on,
)

KEY = "scheme.nonlinear_resistor"
GIVEN = {"c": 75.0, "beta": 0.25}
PARALLEL_OHM, PICKUP_A, STABILISING_OHM, BURDEN_OHM = 1200.0, 0.05, 300.0, 0.1
BRANCH_OHM = STABILISING_OHM + BURDEN_OHM
HIGH = pytest.mark.parametrize("kind", ["per_phase", "two_phase_one_earth"])


def _grid(kind: str, pickup_a: float, ohm: float) -> dict[str, Any]:
    axis = "phase" if kind == "per_phase" else "earth"
    own = {f"candidates.{axis}_pickup_a": [pickup_a]}
    return own | {"candidates.stabilising_resistance_ohm": [ohm]}


def _alike(kind: str) -> tuple[Study, Study]:
    """With an ordinary resistor across the leg, and with the leg that both make."""
    resistor = {KEY: {"c": PARALLEL_OHM, "beta": 1.0}}
    leg_ohm = BRANCH_OHM * PARALLEL_OHM / (BRANCH_OHM + PARALLEL_OHM)
    leg_a = PICKUP_A * (1 + BRANCH_OHM / PARALLEL_OHM)
    return (
        study_on(kind, _grid(kind, PICKUP_A, STABILISING_OHM) | resistor),
        study_on(kind, _grid(kind, leg_a, leg_ohm - BURDEN_OHM)),
    )


@HIGH
def test_with_beta_1_it_is_an_ordinary_resistor_in_parallel(kind: str) -> None:
    """The leg is both in parallel, and operates at what both take: by phasors and in time."""
    beside, plain = (numbers(study) for study in _alike(kind))
    same(beside, plain, 1e-6)
    assert (
        beside["p_missed"] > numbers(study_on(kind, _grid(kind, PICKUP_A, 0)))["p_missed"]
    ).all()


@every_kind
def test_a_huge_one_is_none(kind: str) -> None:
    if kind == "biased":
        return
    plain = study_on(kind)
    huge = study_on(kind, {KEY: {"c": 1e6, "beta": 0.25}})
    assert len({one.circuit for one in candidate_lattices(huge)}) > len(
        {one.circuit for one in candidate_lattices(plain)}
    )
    same(numbers(huge), numbers(plain))


def test_its_pick_ups_do_not_touch_each_other() -> None:
    study = study_on("two_phase_one_earth", {KEY: GIVEN})
    together = run_study(study, workers=1).candidates
    for pickup in GRIDS["two_phase_one_earth"]["earth_pickup_a"]:
        alone = {KEY: GIVEN, "candidates.earth_pickup_a": [pickup]}
        mine = numbers(study_on("two_phase_one_earth", alone))
        rows = together.loc[together["earth_pickup_a"] == pickup, NUMBERS].astype(float)
        same(rows.reset_index(drop=True), mine)


def test_it_raises_what_is_missed_and_spares_no_sample() -> None:
    plain, given = (
        run_study(study_on("two_phase_one_earth", changes), workers=1).candidates
        for changes in ({}, {KEY: {"c": 45.0, "beta": 0.25}})
    )
    assert (given["p_missed"] >= plain["p_missed"]).all()
    assert (given["p_missed"] > plain["p_missed"]).any()
    assert (given["unresolved"] == plain["unresolved"]).all()


# --- what follows it ----------------------------------------------------------

SETTING = Setting("two_phase_one_earth", 0.1, PICKUP_A, STABILISING_OHM, 0.0)
LEG_A = PICKUP_A + float(rms_current(PICKUP_A * BRANCH_OHM, GIVEN["c"], GIVEN["beta"]))


def ideal(changes: dict[str, Any] | None = None) -> Study:
    exact = IDEAL | {"ct.knee_current_a": 1e-9, "relay.pickup_error_percent": 0}
    ohms = {"candidates.stabilising_resistance_ohm": [STABILISING_OHM]}
    return study_with(exact | ohms | {KEY: GIVEN} | (changes or {}))


def test_the_desk_adds_what_it_takes() -> None:
    assert LEG_A > 1.01 * PICKUP_A
    desk = Desk(ideal())
    (lattice,) = lattices_of(desk.study, SETTING)
    assert operating_a(desk, lattice, "earth", PICKUP_A, 200.0) == pytest.approx(
        desk.turns * LEG_A, rel=1e-5
    )
    assert desk.element_ohms(lattice.circuit)["earth"] == pytest.approx(BRANCH_OHM)
    row = {
        "scheme": SETTING.scheme,
        "phase_pickup_a": np.nan,
        "earth_pickup_a": PICKUP_A,
        "stabilising_resistance_ohm": STABILISING_OHM,
        "protected_median": np.nan,
        "p_false": 0.0,
        "p_false_high": 0.1,
    }
    unprotected = next(beside_by_hand(desk, row))[1]
    x = desk.turns * LEG_A * desk.neutral_ohm / desk.emf_v
    assert f"= {100 * x:.3g} %" in unprotected
    assert f"({PICKUP_A:g} + {LEG_A - PICKUP_A:.3g}) A" in unprotected


def test_cases_at_the_boundary_are_those_of_the_ordinary_resistor() -> None:
    ratios, legs_a = [], []
    for study in _alike("per_phase"):
        (lattice,) = candidate_lattices(study)
        job = Job(study, (lattice,), *designs(study))
        (stratum,) = (one for one in strata(study) if one.kind == "near_fault")
        block = Block(job, job.design_of(stratum).chunks(stratum)[:1])
        ratios.append(ratios_of(block, lattice))
        case = nearest_cases(study, next(lattice.settings())).cases[0]
        legs_a.append(case.legs_a)
    assert ratios[0] == pytest.approx(ratios[1], rel=1e-6)
    share = PARALLEL_OHM / (BRANCH_OHM + PARALLEL_OHM)
    assert legs_a[0] == pytest.approx(share * legs_a[1], rel=1e-6, abs=1e-9)


def test_an_injection_at_the_pick_up_includes_what_it_takes() -> None:
    sheet = Sheet(ideal(), SETTING)
    tests = [(one, k) for one, k in sheet.pickup_tests if sheet.scheme.elements[k].axis == "earth"]
    assert {one is None for one, _ in tests} == {True, False}
    for injection, number in tests:
        wanted = PICKUP_A if injection is None else 1500 * LEG_A
        assert sheet.pickup(injection, number) == pytest.approx(wanted, rel=1e-4)


def test_the_peak_is_limited_beside_the_one_without_it() -> None:
    plain = peak_voltages(study_with({"candidates.stabilising_resistance_ohm": [0, 300]}))
    assert "with_resistor_v" not in peak_frame(plain)
    per_phase = {"scheme.kind": "per_phase", "candidates.earth_pickup_a": REMOVE}
    study = ideal(per_phase | {KEY: {"c": 150.0, "beta": 0.25}})
    (row,) = peak_voltages(study)
    assert row.with_resistor_v == pytest.approx(
        min(150 * (np.sqrt(2) * row.current_a) ** 0.25, row.highest_v)
    )
    (alone,) = peak_voltages(study.model_copy(update={"scheme": _without(study)}))
    assert alone.peak_formula_v == row.peak_formula_v
    assert alone.peak_simulated_v == row.peak_simulated_v
    chosen = {"scheme": "per_phase", "stabilising_resistance_ohm": STABILISING_OHM}
    said = peak_of_chosen(peak_frame([row]), chosen)
    assert "without the study's non-linear resistor" in said
    assert "dangerous to persons" in said
    assert ("is needed" in caution([alone])[0]) if alone.above_limit else not caution([alone])


def test_the_peak_counts_relay_circuits_without_the_resistor() -> None:
    """A balanced fault through CTs that saturate unequally crosses the earth circuit, and the phase
    circuits have no resistor."""
    low, high = (
        peak_voltages(ideal({KEY: {"c": 150.0, "beta": 0.25}, "scheme.phase_stabilising_ohm": ohm}))
        for ohm in (0, 600)
    )
    for (row,) in (low, high):
        assert row.with_resistor_v is not None
        assert row.with_resistor_v <= row.highest_v
        across_v = 150 * (np.sqrt(2) * row.current_a) ** 0.25
        assert row.with_resistor_v >= min(across_v, row.highest_v) * (1 - 1e-6)
    assert high[0].with_resistor_v > 2 * across_v


def _without(study: Study) -> Any:
    return study.scheme.model_copy(update={"nonlinear_resistor": None})
